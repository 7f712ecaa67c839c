"""The outside of a glass by its height: where relief is cut, pressed or blown into it."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .outline import Outline

_MOST_STEPS, _SAME_MM = 60, 1e-13


class Level(NamedTuple):
    """Places on the outside.

    Parameters
    ----------
    height_mm, radius_mm : (n,) float
    tangents : (n, 2) float
        Unit vectors along the outline, upward: radius and height.
    """

    height_mm: np.ndarray
    radius_mm: np.ndarray
    tangents: np.ndarray

    @property
    def normals(self):
        """(n, 2) outward unit normals."""
        return np.stack([self.tangents[:, 1], -self.tangents[:, 0]], axis=1)


class PartError(ValueError):
    """A part of what was asked for cannot be.

    Parameters
    ----------
    part : str
        Which part, by its key, such as ``cut``.
    text : str
        What is wrong, the value, what is allowed.
    """

    def __init__(self, part, text):
        super().__init__(text)
        self.part = part


class FinishError(PartError):
    """A feature of a glass does not go on it; `part` says which."""


@dataclass(frozen=True, eq=False)
class Outside:
    """A stretch of the outside that rises steadily and has no corner.

    Parameters
    ----------
    outline : Outline
        From a point at or just below the stretch to one at or just above it.
    low_mm, high_mm : float
        Heights at which the stretch begins and ends, mm.
    """

    outline: Outline
    low_mm: float
    high_mm: float

    def at(self, heights_mm):
        """Return the Level at heights between the two ends, mm."""
        heights = np.atleast_1d(np.asarray(heights_mm, dtype=float))
        z = self.outline.points_mm[:, 1]
        k = np.clip(np.searchsorted(z, heights, side="right") - 1, 0, len(z) - 2)
        low, high = np.zeros(len(k)), np.ones(len(k))
        share = np.clip((heights - z[k]) / (z[k + 1] - z[k]), 0, 1)
        for _ in range(_MOST_STEPS):
            points, slopes = self.outline.between(share[:, None], k)
            off = points[:, 1] - heights
            far = np.abs(off) > _SAME_MM
            if not far.any():
                break
            low, high = np.where(off < 0, share, low), np.where(off < 0, high, share)
            # By Newton, or half-way where that leads out. What is found stays: it must not depend on others.
            better = share - off / np.where(slopes[:, 1] > 0, slopes[:, 1], np.inf)
            better = np.where((better > low) & (better < high), better, (low + high) / 2)
            share = np.where(far, better, share)
        return Level(heights, points[:, 0], slopes / np.hypot(*slopes.T)[:, None])


def find_outside(vessel, part, low_mm, high_mm, of_metal=False):
    """Return the stretch of a glass's outside between two heights.

    Parameters
    ----------
    vessel : Vessel
    part : str
        For whom, named in errors.
    low_mm, high_mm : float
        Above the table.
    of_metal : bool
        Whether sheet metal takes it too.

    Raises
    ------
    FinishError
        It reaches over the rim or under the foot, falls back, or has a corner.
    """
    if vessel.closed and not of_metal:
        raise FinishError(part, f"a {vessel.name} is of sheet metal; only glass takes it")
    outer = vessel.outer
    z = outer.points_mm[:, 1]
    crest = int(z.argmax())
    floor_mm, top_mm = z[:crest].min(), z[crest]
    if not low_mm < high_mm:
        raise FinishError(part, f"goes from {low_mm:g} mm to {high_mm:g} mm; 'to' must lie above 'from'")
    if not floor_mm < low_mm or not high_mm < top_mm:
        where = f"it must lie above {floor_mm:g} mm and below the rim, {top_mm:g} mm"
        raise FinishError(part, f"goes from {low_mm:g} mm to {high_mm:g} mm; {where}")
    below = int(np.flatnonzero(z[:crest] <= low_mm)[-1])
    above = below + 1 + int(np.argmax(z[below + 1 :] >= high_mm))
    corners = np.flatnonzero(np.diff(outer.pieces[below : above + 1]) > 0) + below
    if len(corners):
        text = f"the outside has a corner at {z[corners[0]]:.1f} mm; stay above it or below it"
        raise FinishError(part, text)
    if (np.diff(z[below : above + 1]) <= 0).any():
        raise FinishError(part, f"the outside falls back between {low_mm:g} mm and {high_mm:g} mm")
    stretch = slice(below, above + 1)
    outline = Outline(outer.points_mm[stretch], outer.tangents[stretch], outer.pieces[stretch])
    return Outside(outline, low_mm, high_mm)
