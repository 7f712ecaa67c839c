"""Surfaces of matte things in pieces that lie flat on one map, each with the place of every vertex on it."""

from dataclasses import dataclass, replace

import numpy as np

from .leaf import Leaf, grid_faces
from .mesh import Mesh, combined, united

GAP_MM = 3.0  # between charts on a map, more than two of its coarsest cells of a garnish
_STEP = 1e-5  # of a coordinate's range, to either side: slopes by differences
_FINEST_MM = 1e-7  # places nearer than this are one
_THINNEST_MM = 1e-4  # least height of a face that is kept after a cut
_CUT = "cut"


@dataclass(frozen=True)
class Chart:
    """Where one piece of a surface lies on the map.

    Parameters
    ----------
    name : str
    corner_mm : (float, float)
        Its lower left corner.
    size_mm : (float, float)
    """

    name: str
    corner_mm: tuple[float, float]
    size_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Piece:
    """A smooth piece of a surface with a flat chart of its own.

    Parameters
    ----------
    name : str
    mesh : Mesh
        One patch.
    places_mm : (n, 2) float
        Of each vertex on the chart, from its lower left corner, seen from the front.
    size_mm : (float, float)
        Of the chart.
    """

    name: str
    mesh: Mesh
    places_mm: np.ndarray
    size_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Cover(Leaf):
    """A surface in pieces, all on one map; the mesh has a patch for each chart, in their order.

    Parameters
    ----------
    mesh, places_mm, size_mm, widths
        As of a leaf.
    charts : tuple of Chart
    """

    charts: tuple[Chart, ...] = ()


def drawn(name, surface, across, upward, places, size_mm, facing=None):
    """Return the piece of a surface over a grid of two coordinates, with its normals.

    Faces without area, such as those at a pole, are left out.

    Parameters
    ----------
    name : str
    surface : callable
        From two arrays of coordinates to places (..., 3), mm; smooth. Seen from the front, the first runs to
        the right where the second runs up.
    across, upward : (k,) and (l,) float
        The grid's lines.
    places : callable
        From the same arrays to places on the chart (..., 2), mm.
    size_mm : (float, float)
        Of the chart.
    facing : callable, optional
        From the same arrays to outward vectors (..., 3); left out, taken from the surface's slopes.
    """
    u, v = (each.ravel() for each in np.meshgrid(across, upward))
    if facing is None:
        du, dv = (_STEP * (lines[-1] - lines[0]) for lines in (across, upward))
        right = surface(u + du, v) - surface(u - du, v)
        normals = np.cross(right, surface(u, v + dv) - surface(u, v - dv))
    else:
        normals = facing(u, v)
    normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    points = np.round(surface(u, v) / _FINEST_MM) * _FINEST_MM
    faces = grid_faces(len(upward), len(across))
    a, b, c = (points[faces[:, k]] for k in range(3))
    faces = faces[np.linalg.norm(np.cross(b - a, c - a), axis=1) > _FINEST_MM]
    return Piece(name, Mesh(points, faces, normals, np.zeros(len(faces), int)), places(u, v), size_mm)


def flat(name, outline_mm, middle_mm, frame):
    """Return a flat piece: a fan from a place in it that sees all of its closed outline (k, 2), mm.

    Parameters
    ----------
    name : str
    outline_mm : (k, 2) float
        Counter-clockwise, mm.
    middle_mm : (2,) float
    frame : (origin, right, up)
        Each (3,): where the outline's own origin is, mm, and the unit vectors of its two coordinates.
    """
    origin, right, up = (np.asarray(each, float) for each in frame)
    points = np.concatenate([[middle_mm], outline_mm])
    count = len(outline_mm)
    number = np.arange(count)
    faces = np.stack([np.zeros(count, int), 1 + number, 1 + (number + 1) % count], axis=1)
    vertices = origin + points[:, :1] * right + points[:, 1:] * up
    vertices = np.round(vertices / _FINEST_MM) * _FINEST_MM
    low = points.min(axis=0)
    mesh = Mesh(vertices, faces, np.tile(np.cross(right, up), (count + 1, 1)), np.zeros(count, int))
    return Piece(name, mesh, points - low, tuple(np.ptp(points, axis=0).tolist()))


def lay_out(pieces):
    """Return a Cover of pieces: their charts side by side in rows, the tallest first."""
    order = sorted(range(len(pieces)), key=lambda k: (-pieces[k].size_mm[1], k))
    wide = max(
        max(piece.size_mm[0] for piece in pieces),
        1.4 * np.sqrt(sum(np.prod(np.array(piece.size_mm) + GAP_MM) for piece in pieces)),
    )
    corners, x, y, tall, reach = {}, 0.0, 0.0, 0.0, 0.0
    for k in order:
        width, height = pieces[k].size_mm
        if x > 0 and x + width > wide + 1e-9:
            x, y, tall = 0.0, y + tall + GAP_MM, 0.0
        corners[k] = (float(x), float(y))
        x, tall, reach = x + width + GAP_MM, max(tall, height), max(reach, x + width)
    return Cover(
        combined([piece.mesh for piece in pieces]),
        np.concatenate([piece.places_mm + corners[k] for k, piece in enumerate(pieces)]),
        (float(reach), float(y + tall)),
        charts=tuple(Chart(piece.name, corners[k], piece.size_mm) for k, piece in enumerate(pieces)),
    )


def stacked(pieces):
    """Return a Cover of bodies of revolution, one over another on the map, and each row's own width.

    Parameters
    ----------
    pieces : list of (Piece, (k, 2) float)
        Each with the height on its chart, mm, and how wide it is there, as a share of the map's width.
    """
    low, corners, widths = 0.0, [], []
    for piece, wide in pieces:
        corners.append((0.0, low))
        widths.append(wide + [low, 0.0])
        low += piece.size_mm[1] + GAP_MM
    return Cover(
        combined([piece.mesh for piece, _ in pieces]),
        np.concatenate(
            [piece.places_mm + corner for (piece, _), corner in zip(pieces, corners, strict=True)]
        ),
        (float(max(piece.size_mm[0] for piece, _ in pieces)), float(low - GAP_MM)),
        np.concatenate(widths),
        tuple(Chart(p.name, corner, p.size_mm) for (p, _), corner in zip(pieces, corners, strict=True)),
    )


def carved(cover, body, place_of):
    """Return a closed cover less a body: where the body was, there is a chart of its own, called ``cut``.

    Parameters
    ----------
    cover : Cover
    body : manifold3d.Manifold
    place_of : callable
        From places (n, 3), mm, and normals on the cut (n, 3) to places on its chart (n, 2), mm, 0 or more.

    Returns
    -------
    Cover
        The same one where nothing is cut away.
    """
    import manifold3d

    mesh = cover.mesh
    positions, united_faces = united(mesh)
    # Faces carry their numbers through the cut, so that nothing else has to be carried by corners.
    count, number = len(mesh.faces), manifold3d.Manifold.reserve_ids(1)
    whole = manifold3d.Mesh64(
        positions,
        united_faces.astype(np.uint64),
        run_index=np.array([0, 3 * count], np.uint64),
        run_original_id=np.array([number], np.uint32),
        face_id=np.arange(count, dtype=np.uint64),
    )
    solid = manifold3d.Manifold(whole)
    if solid.status() != manifold3d.Error.NoError:
        raise ValueError(f"the surface is not closed: {solid.status()}")
    rest = (solid - body).to_mesh64()
    corners = np.asarray(rest.vert_properties)[np.asarray(rest.tri_verts).astype(int)][:, :, :3]
    owner = np.repeat(rest.run_original_id, np.diff(rest.run_index) // 3)
    source = np.asarray(rest.face_id).astype(int)
    # Where two surfaces just touch, faces without area are left; no light meets them.
    real = _heights(corners) > _THINNEST_MM
    own, cut = real & (owner == number), real & (owner != number)
    if not cut.any():
        return cover
    # What is left of a face has the normals and places that the face had there.
    whole = mesh.faces[source[own]]
    shares = _shares(mesh.vertices_mm[whole], corners[own])
    normals = np.einsum("nij,njk->nik", shares, mesh.normals[whole]).reshape(-1, 3)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    kept = np.einsum("nij,njk->nik", shares, cover.places_mm[whole]).reshape(-1, 2)
    plain = np.cross(corners[cut][:, 1] - corners[cut][:, 0], corners[cut][:, 2] - corners[cut][:, 0])
    plain = np.repeat(plain / np.linalg.norm(plain, axis=1, keepdims=True), 3, axis=0)
    places = place_of(corners[cut].reshape(-1, 3), plain)
    corner = (0.0, cover.size_mm[1] + GAP_MM)
    size = tuple(float(side) for side in places.max(axis=0))
    count = len(cover.charts)
    points = np.concatenate([corners[own], corners[cut]]).reshape(-1, 3)
    made = Mesh(
        points,
        np.arange(len(points)).reshape(-1, 3),
        np.concatenate([normals, plain]),
        np.concatenate([mesh.patches[source[own]], np.full(int(cut.sum()), count)]),
    )
    return replace(
        cover,
        mesh=made,
        places_mm=np.concatenate([kept, places + corner]),
        size_mm=(max(cover.size_mm[0], size[0]), corner[1] + size[1]),
        charts=(*cover.charts, Chart(_CUT, corner, size)),
    )


def _heights(corners):
    """Return the least height of each triangle (n, 3, 3)."""
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    twice = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    return twice / np.maximum(longest, 1e-30)


def _shares(triangles, points):
    """Return the shares (n, k, 3) of corners of triangles (n, 3, 3) at places (n, k, 3) in their plane."""
    a, b, c = (triangles[:, k, None] for k in range(3))
    normal = np.cross(b - a, c - a)
    square = (normal * normal).sum(axis=2)
    sides = (b, c), (c, a)
    first, second = (
        (np.cross(end - start, points - start) * normal).sum(axis=2) / square for start, end in sides
    )
    # Not clipped: of faces in one plane, some may have been made one.
    return np.stack([first, second, 1 - first - second], axis=2)
