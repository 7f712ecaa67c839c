"""Strips between lines of vertices that need not have equally many: what relief is woven of."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .mesh import Mesh


class Line(NamedTuple):
    """Vertices on one level of a strip.

    Parameters
    ----------
    angles : (n,) float
        Where they stand round the axis, radians, increasing counter-clockwise seen from above.
    points_mm, normals : (n, 3) float
        Positions, and the surface's outward normals there.
    """

    angles: np.ndarray
    points_mm: np.ndarray
    normals: np.ndarray


@dataclass(frozen=True, eq=False)
class Strip:
    """A smooth patch of a surface, woven from line to line.

    Parameters
    ----------
    lines : tuple of Line
        From the first to the last the way goes as an outline's does, the solid on the left.
    closed : bool
        Every line goes all round; one with a single vertex is then a pole.
    roughness : float
        As for ``Mesh``.
    """

    lines: tuple[Line, ...]
    closed: bool = True
    roughness: float = 0.0


def woven(strips):
    """Return a Mesh of strips, one patch each; where two share a line, its positions must be equal bits."""
    vertices, normals, faces, patches = [], [], [], []
    count = 0
    for patch, strip in enumerate(strips):
        starts = count + np.cumsum([0] + [len(line.angles) for line in strip.lines])
        for k, (lower, upper) in enumerate(zip(strip.lines[:-1], strip.lines[1:], strict=True)):
            band = _band(lower.angles, upper.angles, strip.closed, starts[k], starts[k + 1])
            faces.append(band)
            patches.append(np.full(len(band), patch))
        vertices += [line.points_mm for line in strip.lines]
        normals += [line.normals for line in strip.lines]
        count = int(starts[-1])
    rough = np.array([strip.roughness for strip in strips])
    return Mesh(
        np.concatenate(vertices),
        np.concatenate(faces),
        np.concatenate(normals),
        np.concatenate(patches),
        rough if rough.any() else None,
    )


def _band(lower, upper, closed, lower_start, upper_start):
    """Return the faces between two lines of angles: always the side steps on whose next edge comes first."""
    i, places = _steps(lower, closed)
    j, onward = _steps(_facing(upper, lower[0]) if closed else upper, closed)
    if closed and len(upper) > 1:
        # The upper line is followed from where it stands over the lower one's start.
        j = (j + _first(upper, lower[0])) % len(upper)
    middles = [(line[:-1] + line[1:]) / 2 for line in (places, onward)]
    order = np.argsort(np.concatenate(middles), kind="stable")
    below = order < len(middles[0])
    at = np.cumsum(below) - below
    over = np.cumsum(~below) - ~below
    third = np.where(below, lower_start + i[np.minimum(at + 1, len(i) - 1)], 0)
    third = np.where(below, third, upper_start + j[np.minimum(over + 1, len(j) - 1)])
    return np.stack([lower_start + i[at], third, upper_start + j[over]], axis=1)


def _steps(angles, closed):
    """Return the vertices along a line and their angles; a closed one comes back to its first."""
    index = np.arange(len(angles))
    if not closed or len(angles) == 1:
        return index, angles
    return np.append(index, 0), np.append(angles, angles[0] + 2 * np.pi)


def _first(angles, start):
    return int(np.abs((angles - start + np.pi) % (2 * np.pi) - np.pi).argmin())


def _facing(angles, start):
    """Return a closed line's angles from its vertex nearest to a start, less whole turns."""
    if len(angles) == 1:
        return angles
    first = _first(angles, start)
    turned = np.concatenate([angles[first:], angles[:first] + 2 * np.pi])
    return turned - 2 * np.pi * np.round((turned[0] - start) / (2 * np.pi))
