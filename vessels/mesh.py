"""Closed meshes with the exact normals of the surface they stand for."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

_THINNEST_FACE_MM = 1e-7


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles of a surface, with the true surface's normal at each vertex.

    A vertex on a sharp edge stands once for each side, so that each copy has its own normal.

    Parameters
    ----------
    vertices_mm : (n, 3) float
        Positions, mm.
    faces : (m, 3) int32
        Vertex indices, counter-clockwise seen from outside.
    normals : (n, 3) float
        Outward unit normals of the surface itself, not of the facets.
    patches : (m,) int32
        Smooth patch of each face; faces on two sides of a sharp edge differ.
    roughness : (p,) float, optional
        How rough each patch is, 0 polished to 1 (width of the GGX distribution of its slopes);
        patches of different roughness share no vertices. None: all polished.
    """

    vertices_mm: np.ndarray
    faces: np.ndarray
    normals: np.ndarray
    patches: np.ndarray
    roughness: np.ndarray | None = None

    def __post_init__(self):
        kinds = {"vertices_mm": float, "normals": float, "faces": np.int32, "patches": np.int32}
        for name, kind in kinds.items():
            object.__setattr__(self, name, np.ascontiguousarray(getattr(self, name), dtype=kind))
        if self.vertices_mm.ndim != 2 or self.vertices_mm.shape[1] != 3:
            raise ValueError(f"vertices_mm has shape {self.vertices_mm.shape}; (n, 3) is needed")
        if self.normals.shape != self.vertices_mm.shape:
            raise ValueError(f"{len(self.normals)} normals for {len(self.vertices_mm)} vertices")
        if self.faces.ndim != 2 or self.faces.shape[1] != 3:
            raise ValueError(f"faces has shape {self.faces.shape}; (m, 3) is needed")
        if self.patches.shape != (len(self.faces),):
            raise ValueError(f"{self.patches.size} patches for {len(self.faces)} faces")
        if self.roughness is not None:
            object.__setattr__(self, "roughness", np.ascontiguousarray(self.roughness, dtype=float))
            if self.roughness.shape != (int(self.patches.max(initial=-1)) + 1,):
                raise ValueError(f"{self.roughness.size} values of roughness, not one for each patch")

    @property
    def vertex_roughness(self):
        """(n,) roughness at each vertex, that of its patch."""
        values = np.zeros(len(self.vertices_mm))
        if self.roughness is not None:
            values[self.faces] = self.roughness[self.patches][:, None]
        return values

    @cached_property
    def crosses_mm2(self):
        """(m, 3) cross products of the faces' edges: twice the area along the facet's normal, mm2."""
        a, b, c = (self.vertices_mm[self.faces[:, k]] for k in range(3))
        return np.cross(b - a, c - a)

    @property
    def volume_mm3(self):
        """Enclosed volume, mm3 (negative when the faces look inward)."""
        return float(_tetrahedra_mm3(self).sum())

    @property
    def area_mm2(self):
        """Area of all faces, mm2."""
        return float(np.linalg.norm(self.crosses_mm2, axis=1).sum() / 2)

    @property
    def bounds_mm(self):
        """(2, 3) lowest and highest corner of the box round the mesh, mm."""
        return np.array([self.vertices_mm.min(axis=0), self.vertices_mm.max(axis=0)])


def placed(mesh, at_mm=(0.0, 0.0, 0.0), turn_deg=0.0):
    """Return the mesh turned about the z axis, then moved.

    Parameters
    ----------
    mesh : Mesh
    at_mm : (3,) float
        Where the mesh's own origin goes, mm.
    turn_deg : float
        Degrees, clockwise seen from above.
    """
    angle = np.radians(turn_deg)
    cos, sin = np.cos(angle), np.sin(angle)
    turned = rotated(mesh, [[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]]) if turn_deg else mesh
    moved = turned.vertices_mm + np.asarray(at_mm, dtype=float)
    return replace(turned, vertices_mm=moved)


def rotated(mesh, matrix):
    """Return the mesh turned about its origin by a (3, 3) rotation matrix.

    Raises
    ------
    ValueError
        The matrix stretches, shears or mirrors.
    """
    matrix = np.asarray(matrix, dtype=float)
    if matrix.shape != (3, 3) or not np.allclose(matrix @ matrix.T, np.eye(3), atol=1e-9):
        raise ValueError("matrix is not a rotation: its rows are not at right angles and of length 1")
    if np.linalg.det(matrix) < 0:
        raise ValueError("matrix mirrors; only turns are allowed")
    return replace(mesh, vertices_mm=_times(mesh.vertices_mm, matrix), normals=_times(mesh.normals, matrix))


def bent(mesh, matrix):
    """Return the mesh with every point times a (3, 3) matrix that leans or stretches; flat stays flat.

    Raises
    ------
    ValueError
        The matrix mirrors or flattens.
    """
    matrix = np.asarray(matrix, dtype=float)
    if not np.linalg.det(matrix) > 0:
        raise ValueError("matrix mirrors or flattens; only leaning and stretching are allowed")
    if np.array_equal(matrix, np.eye(3)):
        return mesh
    normals = _times(mesh.normals, np.linalg.inv(matrix).T)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return replace(mesh, vertices_mm=_times(mesh.vertices_mm, matrix), normals=normals)


def combined(meshes):
    """Return one mesh of several; the patches of each stay apart from those of the others."""
    meshes = list(meshes)
    if not meshes:
        raise ValueError("no mesh to combine")
    vertices = np.cumsum([0] + [len(mesh.vertices_mm) for mesh in meshes])
    patches = np.cumsum([0] + [int(mesh.patches.max(initial=-1)) + 1 for mesh in meshes])
    rough = any(mesh.roughness is not None for mesh in meshes)
    return Mesh(
        np.concatenate([mesh.vertices_mm for mesh in meshes]),
        np.concatenate([mesh.faces + start for mesh, start in zip(meshes, vertices, strict=False)]),
        np.concatenate([mesh.normals for mesh in meshes]),
        np.concatenate([mesh.patches + start for mesh, start in zip(meshes, patches, strict=False)]),
        np.concatenate([_roughness(mesh) for mesh in meshes]) if rough else None,
    )


def copied(mesh, points_mm, normals):
    """Return one mesh of n copies of another with k vertices, each with places and normals of its own.

    Parameters
    ----------
    mesh : Mesh
        Whose faces, patches and roughness all have; patches of copies stay apart.
    points_mm, normals : (n, k, 3) float
    """
    number = np.arange(len(points_mm))[:, None]
    return Mesh(
        points_mm.reshape(-1, 3),
        (mesh.faces + (number * len(mesh.vertices_mm))[..., None]).reshape(-1, 3),
        normals.reshape(-1, 3),
        (mesh.patches + number * (int(mesh.patches.max()) + 1)).ravel(),
        None if mesh.roughness is None else np.tile(mesh.roughness, len(points_mm)),
    )


def swung(out, up, angles):
    """Return (…, 3) points or ways with a part away from the z axis and one up, at angles round it, radians.

    The three broadcast.
    """
    return np.stack(np.broadcast_arrays(out * np.cos(angles), out * np.sin(angles), up), axis=-1)


def united(mesh):
    """Return positions (k, 3), mm, each once, and faces (m, 3) that index them."""
    order = np.lexsort(mesh.vertices_mm.T)
    ordered = mesh.vertices_mm[order]
    new = np.concatenate([[True], (ordered[1:] != ordered[:-1]).any(axis=1)])
    index = np.empty(len(order), dtype=np.int32)
    index[order] = np.cumsum(new) - 1
    return ordered[new], index[mesh.faces]


def merged(mesh):
    """Return a trimesh.Trimesh with vertices of equal position made one, for export and checks."""
    import trimesh

    positions, faces = united(mesh)
    return trimesh.Trimesh(positions, faces, process=False)


def check(mesh, closed=True, normals_within_deg=10.0):
    """Raise ValueError with the exact fault if the mesh cannot be rendered; return the mesh.

    Parameters
    ----------
    mesh : Mesh
    closed : bool
        False for single sheets: watertightness and direction are not looked at.
    normals_within_deg : float
        Largest angle allowed between a face and the normals at its corners.
    """
    if not len(mesh.faces):
        raise ValueError("the mesh has no faces")
    if not (np.isfinite(mesh.vertices_mm).all() and np.isfinite(mesh.normals).all()):
        raise ValueError("a vertex or normal is not a finite number")
    if mesh.faces.min() < 0 or mesh.faces.max() >= len(mesh.vertices_mm):
        raise ValueError(f"a face names a vertex outside 0 … {len(mesh.vertices_mm) - 1}")
    lengths = np.linalg.norm(mesh.normals, axis=1)
    worst = int(np.abs(lengths - 1).argmax())
    if abs(lengths[worst] - 1) > 1e-9:
        raise ValueError(f"normal {worst} has length {lengths[worst]:.9g}, not 1")
    _check_areas(mesh)
    _check_normals(mesh, normals_within_deg)
    if closed:
        _check_closed(mesh)
    return mesh


def _roughness(mesh):
    return np.zeros(int(mesh.patches.max(initial=-1)) + 1) if mesh.roughness is None else mesh.roughness


def _times(vectors, matrix):
    # Written out: equal rows must give equal bits, so that copies at an edge stay at one position.
    x, y, z = vectors.T
    return np.stack([row[0] * x + row[1] * y + row[2] * z for row in matrix], axis=1)


def _tetrahedra_mm3(mesh):
    middle = mesh.bounds_mm.mean(axis=0)
    return np.einsum("ij,ij->i", mesh.vertices_mm[mesh.faces[:, 0]] - middle, mesh.crosses_mm2) / 6


def _check_areas(mesh):
    corners = mesh.vertices_mm[mesh.faces]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    doubled = np.linalg.norm(mesh.crosses_mm2, axis=1)
    flat = np.flatnonzero(doubled <= longest * _THINNEST_FACE_MM)
    if len(flat):
        where = np.round(corners[flat[0]].mean(axis=0), 4).tolist()
        raise ValueError(f"{len(flat)} face(s) have no area, the first (face {flat[0]}) at {where} mm")


def _check_normals(mesh, within_deg):
    facet = mesh.crosses_mm2 / np.linalg.norm(mesh.crosses_mm2, axis=1, keepdims=True)
    cosines = np.einsum("ik,ijk->ij", facet, mesh.normals[mesh.faces]).min(axis=1)
    worst = int(cosines.argmin())
    off_deg = np.degrees(np.arccos(np.clip(cosines[worst], -1, 1)))
    if off_deg > within_deg:
        where = np.round(mesh.vertices_mm[mesh.faces[worst]].mean(axis=0), 4).tolist()
        raise ValueError(
            f"a normal of face {worst} at {where} mm is {off_deg:.1f} deg off it; {within_deg:g} is allowed"
        )


def _check_closed(mesh):
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    positions, faces = united(mesh)
    count = np.int64(len(positions))
    starts, ends = faces.reshape(-1).astype(np.int64), np.roll(faces, -1, axis=1).reshape(-1).astype(np.int64)
    forward = starts * count + ends
    known, uses = np.unique(forward, return_counts=True)
    open_edges = np.flatnonzero(~np.isin(ends * count + starts, known))
    if len(open_edges):
        where = np.round(positions[starts[open_edges[0]]], 4).tolist()
        raise ValueError(f"not watertight: {len(open_edges)} open edge(s), the first at {where} mm")
    if uses.max() > 1:
        where = np.round(positions[known[uses.argmax()] // count], 4).tolist()
        raise ValueError(f"not watertight: more than two faces share the edge at {where} mm")
    # Each closed part by itself, since one inward part could hide behind another.
    _, part = connected_components(coo_matrix((np.ones(len(starts)), (starts, ends)), shape=(count, count)))
    volumes = np.bincount(part[faces[:, 0]], weights=_tetrahedra_mm3(mesh))
    if volumes.min() <= 0:
        raise ValueError(f"faces look inward: part {volumes.argmin()} has volume {volumes.min():.6g} mm3")
