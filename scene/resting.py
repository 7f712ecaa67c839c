"""Things made about an origin of their own, and how they come to rest in a glass or on its rim."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from brimcast.vessels.covers import Cover
from brimcast.vessels.leaning import Lean, LeanError, Stand, lean, tilted
from brimcast.vessels.mesh import Mesh, placed, rotated
from brimcast.vessels.room import Pose, spread_points

from .painting import Artist

#: What garnish keeps off the glass at least, mm.
CLEAR_MM = 0.02
_STEPS = 14
# A size that goes in is told in per cents.
_SIZE_STEP = 0.002
_THINNED_MM = 2.5


class GarnishError(ValueError):
    """A garnish does not go where it is to; `part` is the key at fault, if it is one."""

    def __init__(self, text: str, part: str = ""):
        super().__init__(text)
        self.part = part


@dataclass(frozen=True, eq=False)
class Made:
    """A garnish, about an origin of its own.

    Attributes
    ----------
    covers : tuple of (str, Cover, Artist)
        What it is called after the garnish, its surface, and who paints it.
    solids : tuple of (str, Mesh, made)
    """

    covers: tuple[tuple[str, Cover, Artist], ...]
    solids: tuple[tuple[str, Mesh, object], ...] = ()

    @property
    def points_mm(self) -> np.ndarray:
        """(n, 3) places all over it."""
        still = Pose(np.eye(3), np.zeros(3))
        meshes = [cover for _, cover, _ in self.covers] + [_Body(mesh) for _, mesh, _ in self.solids]
        return np.concatenate([spread_points(one, still) for one in meshes])

    def moved(self, turn, place_mm=(0.0, 0.0, 0.0)) -> Made:
        """Return it turned by a (3, 3) matrix about its origin, then moved."""
        turn = np.asarray(turn, float)
        return Made(
            tuple((own, cover.moved(turn, place_mm), artist) for own, cover, artist in self.covers),
            tuple((own, placed(rotated(mesh, turn), place_mm), made) for own, mesh, made in self.solids),
        )


class _Body(NamedTuple):
    mesh: Mesh


def sink(made: Made, stand: Stand, from_mm: float, to_mm: float, part: str) -> Made:
    """Return a garnish in the drink, as low as may be from a height up, then as far out as it goes.

    Parameters
    ----------
    made : Made
    stand : Stand
    from_mm, to_mm : float
        Heights between which its origin is to be.
    part : str
        Key at fault where it is too large.

    Raises
    ------
    GarnishError
        It does not go in.
    """
    points = made.points_mm

    def clear(x: float, z: float, size: float = 1.0) -> bool:
        return stand.is_clear(size * points + [x, 0, z])

    levels = np.arange(from_mm, max(to_mm, from_mm + 1), 1.0)
    z = next((z for z in levels if clear(0.0, z)), None)
    if z is None:
        low, high = 0.0, 1.0
        while high - low > _SIZE_STEP:
            size = (low + high) / 2
            low, high = (size, high) if any(clear(0.0, z, size) for z in levels[::4]) else (low, size)
        raise GarnishError(f"does not go into the drink; allowed: about {100 * low:.0f} % of its size", part)
    low, high = 0.0, float(stand.inner_radius_mm(z, z + 1))
    for _ in range(_STEPS):
        x = (low + high) / 2
        low, high = (x, high) if clear(x, z) else (low, x)
    return made.moved(np.eye(3), (low, 0.0, z))


def lean_on(stand: Stand, points, rod_mm: float, length_mm: float, part: str = "") -> Lean:
    """Return how a thing leans, see ``leaning.lean``; what is wrong is the fault of a key."""
    try:
        return lean(stand, points, rod_mm, length_mm)
    except LeanError as wrong:
        raise GarnishError(str(wrong), part) from None


def leaned(made: Made, found: Lean) -> Made:
    """Return what stood along z from its origin, leaning."""
    return made.moved(tilted(found.tilt_deg), (found.foot_mm[0], 0.0, found.foot_mm[1]))


def rod_points(radius_mm: float, length_mm: float) -> np.ndarray:
    """Return places (n, 3) all over a rod along z from 0."""
    turns = 2 * np.pi * np.arange(6) / 6
    along = np.linspace(0, length_mm, max(2, int(length_mm / 5)))
    circle = radius_mm * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    return np.column_stack([np.tile(circle, (len(along), 1)), np.repeat(along, 6)])


def thin(points_mm) -> np.ndarray:
    """Return one of all places (n, 3) that are close together: enough to try whether a thing fits."""
    _, first = np.unique(np.round(points_mm / _THINNED_MM), axis=0, return_index=True)
    return points_mm[first]
