"""Meshes of glasses from other programs, made upright, in millimetres, with smooth normals."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from brimcast.shared.errors import Fault, PersonError

from .mending import find_faults, mend
from .mesh import Mesh, check

UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
ENDINGS = (".ply", ".obj", ".stl", ".glb")
SHARP_DEG = 30.0
_MOST_BYTES = 500_000_000
_MOST_FACES = 4_000_000
_SAME = 1e-6  # of the size: positions nearer than this are one
_END = 0.02  # of the height: what belongs to foot and rim
_COARSE_DEG = 10.0
_LEAST_MM, _MOST_MM = 5.0, 2000.0


class Refusal(ValueError):
    """What a file holds is no glass that can be used."""


@dataclass(frozen=True)
class Import:
    """How a mesh is to be taken.

    Parameters
    ----------
    unit : str or None
        A key of `UNITS`, the length of 1 in the file; None: as the kind of file says (GLB: metres).
    height_mm : float or None
        Height of the glass; it sets the scale instead of a unit.
    up : str or None
        'z' or 'y', the file's upward axis; None: as the kind of file says (GLB: y), else z.
    sharp_deg : float
        Edges that turn by more than this stay sharp.
    repair : bool
        Mend what can be: small holes, faces turned the wrong way, faces without area.
    """

    unit: str | None = None
    height_mm: float | None = None
    up: str | None = None
    sharp_deg: float = SHARP_DEG
    repair: bool = False


@dataclass(frozen=True, eq=False)
class MeshVessel:
    """A glass that is only a mesh: nobody knows its inside from its outside, so nothing can be poured in.

    Parameters
    ----------
    name : str
    mesh : Mesh
        Its foot on z = 0, the foot's middle at the origin.
    height_mm : float
    foot_radius_mm, rim_radius_mm : float
        Largest distance from the axis at the foot and at the top, mm.
    notes : tuple of str
        What was mended, and what a person should know.
    """

    name: str
    mesh: Mesh
    height_mm: float
    foot_radius_mm: float
    rim_radius_mm: float
    notes: tuple[str, ...] = ()
    closed: bool = False

    def glass_mesh(self, detail=1.0, sections=None):
        """Return the mesh, as it was imported whatever the detail."""
        return self.mesh

    @property
    def base_mm(self):
        """Refuse: see `capacity_ml`."""
        return self.capacity_ml()

    def drink_mesh(self, fill_height_mm, detail=1.0, sections=None, wetting=None, from_mm=None, layer=0):
        """Refuse: see `capacity_ml`."""
        return self.capacity_ml()

    def capacity_ml(self, height_mm=None):
        """Raise ValueError: a mesh does not tell inside from outside."""
        raise ValueError(
            "a glass from a mesh cannot be filled: a mesh does not tell its inside from its outside; "
            "give the glass by an outline or a drawing, or take the drink out"
        )

    def fill_height_for_ml(self, volume_ml, wetting=None):
        """Refuse: see `capacity_ml`."""
        return self.capacity_ml()


def import_mesh(path, ask=None):
    """Return the glass in a mesh file, a `MeshVessel`.

    Parameters
    ----------
    path : Path
        PLY, OBJ, STL or GLB.
    ask : Import, optional

    Raises
    ------
    PersonError
        No mesh, no scale, or no closed solid; where it is open is said in mm of the glass as it stands.
    """
    path, ask = Path(path), ask or Import()
    positions, faces = _load(path)
    try:
        positions, faces, welded = _welded(positions, faces)
        positions = _upright(path, positions, ask)
        faults = find_faults(positions, faces)
        notes = [f"{welded} vertices at one place were made one"] if welded else []
        if faults and ask.repair:
            positions, faces, done = mend(positions, faces)
            notes += done
            faults = find_faults(positions, faces)
        if faults:
            raise Refusal("; ".join(faults) + _offer(positions, faces, ask))
        mesh, turn_deg = smooth_mesh(positions, faces, ask.sharp_deg)
    except Refusal as wrong:
        raise _fault(path, str(wrong)) from None
    # Inward parts are hollows in the glass; `find_faults` has looked at them.
    check(mesh, closed=False, normals_within_deg=max(ask.sharp_deg, 10.0) + 1)
    if turn_deg > _COARSE_DEG:
        notes.append(f"coarse: neighbouring faces turn by up to {turn_deg:.0f} deg; caustics will be rough")
    height_mm = float(mesh.bounds_mm[1, 2])
    radii, z = np.hypot(*positions[:, :2].T), positions[:, 2]
    foot_mm, rim_mm = (
        float(radii[chosen].max()) for chosen in (z <= _END * height_mm, z >= (1 - _END) * height_mm)
    )
    return MeshVessel(path.stem, mesh, height_mm, foot_mm, rim_mm, tuple(notes))


def smooth_mesh(positions_mm, faces, sharp_deg=SHARP_DEG):
    """Return a Mesh with normals averaged where faces meet smoothly, and the largest smooth turn.

    Parameters
    ----------
    positions_mm : (n, 3) float
    faces : (m, 3) int
        Of a closed surface, counter-clockwise from outside.
    sharp_deg : float
        Where two faces turn by more than this, the edge stays sharp.

    Returns
    -------
    Mesh
    turn_deg : float
        Largest turn over an edge that counts as smooth.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    corners = positions_mm[faces]
    facet = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facet /= np.maximum(np.linalg.norm(facet, axis=1, keepdims=True), 1e-300)
    first, second = _shared_edges(faces)
    turn = np.degrees(np.arccos(np.clip((facet[first // 3] * facet[second // 3]).sum(axis=1), -1, 1)))
    smooth = turn <= sharp_deg
    first, second = first[smooth], second[smooth]
    # Half edge k runs from corner k to the next; its partner runs back.
    starts = np.concatenate([first, _next(first)])
    ends = np.concatenate([_next(second), second])
    count = 3 * len(faces)
    graph = coo_matrix((np.ones(len(starts), dtype=bool), (starts, ends)), shape=(count, count))
    copies, copy = connected_components(graph, directed=False)
    graph = coo_matrix((np.ones(len(first), dtype=bool), (first // 3, second // 3)), shape=(len(faces),) * 2)
    _, patches = connected_components(graph, directed=False)
    weighted = facet[:, None] * _corner_angles(corners)[..., None]
    normals = np.stack([np.bincount(copy, weighted[..., k].ravel(), copies) for k in range(3)], axis=1)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    # At the tip of a cone the mean is no face's normal: each face keeps its own.
    each = np.repeat(facet, 3, axis=0)
    far = np.flatnonzero((normals[copy] * each).sum(axis=1) < np.cos(np.radians(sharp_deg)))
    copy[far] = copies + np.arange(len(far))
    normals = np.concatenate([normals, each[far]])
    vertices = np.zeros((len(normals), 3))
    vertices[copy] = corners.reshape(-1, 3)
    used, index = np.unique(copy, return_inverse=True)
    mesh = Mesh(vertices[used], index.reshape(-1, 3), normals[used], patches)
    return mesh, float(turn[smooth].max(initial=0.0))


def _load(path):
    """Return positions (n, 3) and triangles (m, 3) of a file, as it has them."""
    kind = path.suffix.lower()
    if kind not in ENDINGS:
        raise _fault(path, f"is no mesh that can be read; allowed: {', '.join(ENDINGS)}")
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise _fault(path, f"longer than {_MOST_BYTES // 1_000_000} MB")
        import trimesh

        loaded = trimesh.load(path, process=False)
    except OSError as error:
        raise _fault(path, f"cannot be read: {(error.strerror or str(error)).lower()}") from None
    except PersonError:
        raise
    except Exception as error:  # each of the readers has errors of its own
        said = " ".join(str(error).split())[:120] or type(error).__name__
        raise _fault(path, f"is no valid {kind[1:].upper()}: {said}") from None
    if isinstance(loaded, trimesh.Scene):
        loaded = loaded.to_mesh()
    faces = np.asarray(getattr(loaded, "faces", ()))
    if not len(faces):
        raise _fault(path, "holds no triangles")
    if len(faces) > _MOST_FACES:
        raise _fault(path, f"has {len(faces)} faces; at most {_MOST_FACES} can be used")
    positions = np.asarray(loaded.vertices, dtype=float)
    if not np.isfinite(positions).all() or np.ptp(positions, axis=0).min() <= 0:
        raise _fault(path, "is flat, or has places that are no numbers")
    return positions, faces.astype(np.int64)


def _welded(positions, faces):
    """Return positions each once, faces that name them, and how many near ones became one."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    exact, index = np.unique(positions, axis=0, return_inverse=True)
    faces = index.reshape(-1)[faces]
    near = cKDTree(exact).query_pairs(_SAME * np.ptp(exact, axis=0).max(), output_type="ndarray")
    if len(near):
        graph = coo_matrix((np.ones(len(near), dtype=bool), near.T), shape=(len(exact),) * 2)
        count, group = connected_components(graph, directed=False)
        exact_new = np.zeros((count, 3))
        exact_new[group] = exact
        exact, faces, welded = exact_new, group[faces], len(exact) - count
    else:
        welded = 0
    # A face with two corners at one place is nothing.
    real = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    used, index = np.unique(faces[real], return_inverse=True)
    return exact[used], index.reshape(-1, 3), welded


def _upright(path, positions, ask):
    """Return positions in mm, z up, the foot's middle at the origin."""
    is_glb = path.suffix.lower() == ".glb"
    # glTF 2.0, section 3.4: right-handed, +Y up, all linear distances in metres.
    if (ask.up or ("y" if is_glb else "z")) == "y":
        positions = positions[:, [0, 2, 1]] * [1, -1, 1]
    unit = ask.unit or ("m" if is_glb else None)
    tall = np.ptp(positions[:, 2])
    if ask.height_mm is not None:
        factor = ask.height_mm / tall
    elif unit is not None:
        factor = UNITS[unit]
    else:
        offer = "give the unit (mm, cm, m, in) or the glass's height"
        raise Refusal(f"has no unit: it is {tall:.4g} tall; {offer}")
    positions = positions * factor
    size = np.ptp(positions, axis=0)
    if not (size.min() >= _LEAST_MM and size.max() <= _MOST_MM):
        across = " x ".join(f"{side:.4g}" for side in size)
        raise Refusal(f"is {across} mm: no glass is; check its unit, or give its height")
    z = positions[:, 2] - positions[:, 2].min()
    foot = positions[z <= 0.005 * size[2], :2]
    middle = (foot.min(axis=0) + foot.max(axis=0)) / 2
    return np.column_stack([positions[:, :2] - middle, z])


def _offer(positions, faces, ask):
    """Return words that offer to mend a solid, if that would do."""
    if ask.repair:
        return "; that cannot be mended here"
    positions, faces, done = mend(positions, faces)
    if find_faults(positions, faces):
        return ""
    how = "repair: true in a set file, or --repair"
    return f"; can be mended with {how} ({'; '.join(done)})"


def _shared_edges(faces):
    """Return pairs of half edges (k,), (k,) that run along one edge in opposite ways; 3 face + corner."""
    count = np.int64(faces.max()) + 1
    starts, ends = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    forward, backward = starts * count + ends, ends * count + starts
    order = np.argsort(forward)
    place = np.minimum(np.searchsorted(forward[order], backward), len(order) - 1)
    partner = np.where(forward[order][place] == backward, order[place], -1)
    first = np.flatnonzero((partner >= 0) & (starts < ends))
    return first, partner[first]


def _next(half_edges):
    return half_edges - half_edges % 3 + (half_edges % 3 + 1) % 3


def _corner_angles(corners):
    """Return (m, 3) angles at the corners of triangles."""
    onward = np.roll(corners, -1, axis=1) - corners
    back = np.roll(corners, 1, axis=1) - corners
    cosine = (onward * back).sum(axis=2)
    sine = np.linalg.norm(np.cross(onward, back), axis=2)
    return np.arctan2(sine, cosine)


def _fault(path, text):
    return PersonError(Fault(str(path), None, None, None, text))
