"""Sheets bent about parallel lines, such as folded foil or a paper sweep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.vessels.leaf import Leaf
from brimcast.vessels.mesh import Mesh

from .built import Sheet

# A bend is made of flat strips that turn by so much at most.
STEP_DEG = 2.0
# Of the length between two points: less than this off a line counts as on it.
_STRAIGHT = 1e-3


class BendError(ValueError):
    """A line that no sheet can follow; `index` counts its points from 0."""

    def __init__(self, index: int, text: str):
        super().__init__(text)
        self.index = index


@dataclass(frozen=True, eq=False)
class Bent:
    """The line along which a sheet is bent.

    Attributes
    ----------
    points_mm : (m + 1, 3) float
    normals : (m, 2, 3) float
        The front's normal at the start and the end of each strip between two points.
    across : (3,) float
        Unit vector square to the line, from the left edge to the right one as seen from the front with the
        line going up.
    """

    points_mm: np.ndarray
    normals: np.ndarray
    across: np.ndarray


def lay_strip(name: str, bent: Bent, width_mm: float, front: np.ndarray, back: np.ndarray) -> Sheet:
    """Return a sheet of even width, its middle along a bent line, its map flattened: across and along."""
    count = len(bent.normals)
    starts, stops = bent.points_mm[:-1], bent.points_mm[1:]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(stops - starts, axis=1))])
    half = bent.across * width_mm / 2
    corners = np.stack([starts - half, starts + half, stops + half, stops - half], axis=1)
    normals = bent.normals[:, [0, 0, 1, 1]]
    places = np.empty((count, 4, 2))
    places[..., 0] = [0.0, width_mm, width_mm, 0.0]
    places[..., 1] = np.stack([along[:-1], along[:-1], along[1:], along[1:]], axis=1)
    faces = 4 * np.arange(count)[:, None, None] + np.array([(0, 1, 2), (0, 2, 3)])
    # A sharp fold begins a new smooth patch.
    folds = (np.abs(bent.normals[1:, 0] - bent.normals[:-1, 1]) > 1e-6).any(axis=1)
    patches = np.repeat(np.concatenate([[0], np.cumsum(folds)]), 2)
    mesh = Mesh(corners.reshape(-1, 3), faces.reshape(-1, 3), normals.reshape(-1, 3), patches)
    size = (width_mm, float(along[-1]))
    return Sheet.of(name, Leaf(mesh, places.reshape(-1, 2), size), front, back)


def fold(points_mm, bend_mm: float | None = None) -> Bent:
    """Return the line of a sheet that is folded at points, or bent there with a radius.

    Parameters
    ----------
    points_mm : (n, 3) float
        At least two. Points beside the plane that fits them best are moved onto it, for a sheet bends about
        parallel lines only. The sheet's width is square to that plane; of points on one line it is level and
        square to them, or along +x where they stand over one another.
    bend_mm : float, optional
        Radius of the bends; left out, it is folded sharply.

    Raises
    ------
    BendError
        Two points are one, the line turns straight back, or a bend does not fit between its neighbours.
    """
    points = np.asarray(points_mm, float)
    across = _across(points)
    middle = points.mean(axis=0)
    points = points - ((points - middle) @ across)[:, None] * across
    ways = np.diff(points, axis=0)
    lengths = np.linalg.norm(ways, axis=1)
    if (short := np.flatnonzero(lengths < 1e-3)).size:
        index = int(short[0]) + 1
        raise BendError(index, "is the same place as the point before; take one of them out")
    ways /= lengths[:, None]
    sides = np.cross(across, ways)
    aside, ahead = (np.einsum("ij,ij->i", one[:-1], ways[1:]) for one in (sides, ways))
    turns = np.arctan2(aside, ahead)
    if (back := np.flatnonzero(np.abs(turns) > np.radians(179))).size:
        raise BendError(int(back[0]) + 1, "turns straight back on itself; open the fold by a few degrees")
    if bend_mm is None:
        return Bent(points, np.stack([sides, sides], axis=1), across)
    return _round(points, ways, lengths, sides, turns, across, bend_mm)


def _across(points: np.ndarray) -> np.ndarray:
    """Return the unit vector square to the plane that fits points best, turned toward +x, +y or +z."""
    _, spread, axes = np.linalg.svd(points - points.mean(axis=0))
    if spread[1] > _STRAIGHT * spread[0]:
        across = axes[2]
    else:
        across = np.cross(axes[0], [0.0, 0.0, 1.0])
        if np.linalg.norm(across) < _STRAIGHT:
            return np.array([1.0, 0.0, 0.0])
        across /= np.linalg.norm(across)
    across = np.where(np.abs(across) < 1e-12, 0.0, across)
    # The first part of it that is not nearly nothing points ahead, so that the front is always the same.
    return across * np.sign(across[np.abs(across) > 0.1][0])


def _round(points, ways, lengths, sides, turns, across, bend_mm) -> Bent:
    """Put an arc into each corner of a folded line."""
    reach = np.concatenate([[0.0], bend_mm * np.tan(np.abs(turns) / 2), [0.0]])
    for index in range(len(lengths)):
        if reach[index] + reach[index + 1] > lengths[index] * (1 + 1e-9):
            at = index + 1 if reach[index + 1] >= reach[index] else index
            text = f"a bend of {bend_mm:g} mm does not fit here: it reaches {reach[at]:.0f} mm to either side"
            raise BendError(at, text)
    line, normals = [points[0]], []
    for index, turn in enumerate(turns):
        start = points[index + 1] - reach[index + 1] * ways[index]
        if np.linalg.norm(start - line[-1]) > 1e-6:
            line.append(start)
            normals.append((sides[index], sides[index]))
        # The middle of the arc lies on the side to which the line turns.
        radius = np.sign(turn) * bend_mm
        angles = np.linspace(0, turn, 1 + int(np.ceil(abs(np.degrees(turn)) / STEP_DEG)))
        around = [np.cos(angle) * sides[index] - np.sin(angle) * ways[index] for angle in angles]
        for before, after in zip(around[:-1], around[1:], strict=True):
            line.append(start + radius * (sides[index] - after))
            normals.append((before, after))
    if np.linalg.norm(points[-1] - line[-1]) > 1e-6:
        line.append(points[-1])
        normals.append((sides[-1], sides[-1]))
    return Bent(np.array(line), np.array(normals), across)


def sweep(start_mm, radius_mm: float, height_mm: float) -> Bent:
    """Return the line of paper that leaves level ground toward +y at a place and curves upright.

    Parameters
    ----------
    start_mm : (3,) float
    radius_mm : float
    height_mm : float
        Of its upper end over the start; not below the radius.
    """
    count = int(np.ceil(90 / STEP_DEG))
    turn = np.linspace(0, np.pi / 2, count + 1)
    ahead, up, nothing = np.sin(turn), np.cos(turn), np.zeros(count + 1)
    line = np.asarray(start_mm, float) + radius_mm * np.stack([nothing, ahead, 1 - up], axis=1)
    exact = np.stack([nothing, -ahead, up], axis=1)
    normals = np.stack([exact[:-1], exact[1:]], axis=1)
    if height_mm > radius_mm * (1 + 1e-9):
        line = np.concatenate([line, [line[-1] + [0.0, 0.0, height_mm - radius_mm]]])
        normals = np.concatenate([normals, [[exact[-1], exact[-1]]]])
    return Bent(line, normals, np.array([1.0, 0.0, 0.0]))
