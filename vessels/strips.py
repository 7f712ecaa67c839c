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
    in_step : bool
        All lines have equally many vertices, and each is woven to the same one of the next line, also
        where it stands turned; else to those that are nearest.
    roughness : float
        As for ``Mesh``.
    """

    lines: tuple[Line, ...]
    closed: bool = True
    in_step: bool = False
    roughness: float = 0.0


def woven(strips):
    """Return a Mesh of strips, one patch each; where two share a line, its positions must be equal bits."""
    vertices, normals, faces, patches = [], [], [], []
    count = 0
    for patch, strip in enumerate(strips):
        starts = count + np.cumsum([0] + [len(line.angles) for line in strip.lines])
        for k, (lower, upper) in enumerate(zip(strip.lines[:-1], strip.lines[1:], strict=True)):
            onward = lower.angles if strip.in_step else upper.angles
            band = _band(lower.angles, onward, strip.closed, starts[k], starts[k + 1])
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
    i, places = _steps(lower, lower[0], closed)
    j, onward = _steps(upper, lower[0], closed)
    middles = [(line[:-1] + line[1:]) / 2 for line in (places, onward)]
    order = np.argsort(np.concatenate(middles), kind="stable")
    below = order < len(middles[0])
    at, over = np.cumsum(below) - below, np.cumsum(~below) - ~below
    stepped = np.where(
        below,
        lower_start + i[np.minimum(at + 1, len(i) - 1)],
        upper_start + j[np.minimum(over + 1, len(j) - 1)],
    )
    return np.stack([lower_start + i[at], stepped, upper_start + j[over]], axis=1)


def _steps(angles, start, closed):
    """Return the vertices along a line and their angles; a closed one goes once round from near a start."""
    index = np.arange(len(angles))
    if not closed or len(angles) == 1:
        return index, angles
    first = int(np.abs((angles - start + np.pi) % (2 * np.pi) - np.pi).argmin())
    turned = np.concatenate([angles[first:], angles[: first + 1] + 2 * np.pi])
    return np.append(np.roll(index, -first), first), turned - 2 * np.pi * np.round(
        (turned[0] - start) / 2 / np.pi
    )
