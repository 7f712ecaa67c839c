"""Round tubes along a path: stems, picks, straws."""

import numpy as np

from .covers import Piece
from .leaf import grid_faces
from .mesh import Mesh


def tube(path_mm, radius_mm, sections=24, name="stem", ends=False, thickness_mm=0.0):
    """Return the pieces of a round tube along a smooth path, its outside in front.

    Parameters
    ----------
    path_mm : (n, 3) float
    radius_mm : float or (n,) float
    sections : int
    name : str
        Of the chart: round it from left to right, along it from bottom to top.
    ends : bool
        Close both ends: by discs, or by rings where it has a thickness, mm.
    thickness_mm : float

    Returns
    -------
    list of Piece
    """
    path = np.asarray(path_mm, float)
    radius = np.broadcast_to(np.asarray(radius_mm, float), len(path))
    lengths = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    ahead = np.gradient(path, lengths, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    first = np.cross(ahead[0], np.eye(3)[int(np.abs(ahead[0]).argmin())])
    sides = []
    for way in ahead:
        # Carried along without turning about the path.
        first = first - (first @ way) * way
        first /= np.linalg.norm(first)
        sides.append(first)
    sides = np.array(sides)
    others = np.cross(ahead, sides)
    turns = 2 * np.pi * np.arange(sections + 1) / sections
    cos, sin = np.cos(turns), np.sin(turns)
    cos[-1], sin[-1] = cos[0], sin[0]
    out = cos[:, None] * sides[:, None] + sin[:, None] * others[:, None]
    points = path[:, None] + radius[:, None, None] * out
    widest = float(radius.max())
    places = np.stack(np.broadcast_arrays(turns * widest, lengths[:, None]), axis=-1)
    faces = grid_faces(len(path), sections + 1)
    mesh = Mesh(points.reshape(-1, 3), faces, out.reshape(-1, 3), np.zeros(len(faces), int))
    size = float(2 * np.pi * widest), float(lengths[-1])
    found = [Piece(name, mesh, places.reshape(-1, 2), size)]
    for k, sign in ((0, -1.0), (-1, 1.0)) if ends else ():
        found.append(_end(points[k, :-1], path[k], sign * ahead[k], radius[k], thickness_mm))
    return found


def _end(ring, middle, facing, radius, thickness):
    """Return a tube's end: a disc, or a ring as thick as its wall."""
    share = 1 - thickness / radius if thickness else 0.0
    inner = middle + share * (ring - middle)
    count = len(ring)
    number, after = np.arange(count), (np.arange(count) + 1) % count
    one = np.stack([number, after, count + after], axis=1)
    other = np.stack([number, count + after, count + number], axis=1)
    faces = np.concatenate([one, other] if thickness else [one])
    points = np.concatenate([ring, inner])
    a, b, c = points[faces[0]]
    if np.cross(b - a, c - a) @ facing < 0:
        faces = faces[:, ::-1]
    right = (ring[0] - middle) / radius
    flat_places = np.stack([(points - middle) @ right, (points - middle) @ np.cross(facing, right)], axis=1)
    mesh = Mesh(points, faces, np.tile(facing, (2 * count, 1)), np.zeros(len(faces), int))
    return Piece("end", mesh, flat_places + radius, (2 * radius, 2 * radius))
