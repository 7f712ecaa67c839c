"""Meshes as files for other programs: STL, PLY, OBJ, GLB."""

from pathlib import Path

from .mesh import Mesh, merged

#: Ending of the file -> unit of its lengths; only glTF fixes one (metres, and y up).
FORMATS = {".stl": "mm", ".ply": "mm", ".obj": "mm", ".glb": "m"}


def export_mesh(mesh: Mesh, path: str | Path) -> None:
    """Write a mesh into a file, by its ending.

    STL, PLY and OBJ are in mm, z up; GLB is in metres, y up, as glTF 2.0 asks. STL and PLY hold the bare
    closed surface, so that programs find it watertight; OBJ and GLB keep the exact normals, a vertex on a
    sharp edge standing once for each side.

    Parameters
    ----------
    mesh : Mesh
    path : path

    Raises
    ------
    ValueError
        The ending is none of ``FORMATS``.
    OSError
        The file cannot be written.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in FORMATS:
        raise ValueError(f"{path.name}: the ending must be one of {', '.join(FORMATS)}")
    body = merged(mesh) if kind in (".stl", ".ply") else _with_normals(mesh)
    if kind == ".glb":
        # z up becomes y up: (x, y, z) -> (x, z, -y).
        body.apply_transform([[1e-3, 0, 0, 0], [0, 0, 1e-3, 0], [0, -1e-3, 0, 0], [0, 0, 0, 1]])
    content = body.export(file_type=kind[1:], **_options(kind))
    path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)


def _with_normals(mesh):
    import trimesh

    return trimesh.Trimesh(mesh.vertices_mm, mesh.faces, vertex_normals=mesh.normals, process=False)


def _options(kind):
    from importlib.metadata import version

    made_by = f"brimcast {version('brimcast')}"
    if kind == ".obj":
        return {"digits": 7, "include_normals": True, "header": made_by}
    if kind == ".glb":

        def sign(tree):
            tree["asset"]["generator"] = made_by

        return {"include_normals": True, "tree_postprocessor": sign}
    return {}
