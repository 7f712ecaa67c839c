"""A few points that stand for a dense profile, for a person to read and edit."""

from __future__ import annotations

import numpy as np

from .curve import smooth_curve

_MOST = 48
_NEAR_MM, _NEAR_PX = 0.06, 0.4  # how near to the profile the curve through the points must come
_APART_MM, _APART_PX = 0.6, 2.5  # least distance of points
_CORNER_DEG = 30.0  # turn within twice the least distance
_FROM_MM = 5.0  # under the rim's rounding, the stretch whose direction goes on to the top


def choose_stations(heights_mm, radii_mm, height_mm, lip_mm, mm_per_px):
    """Return points and corners of an outline that keeps to a profile.

    Parameters
    ----------
    heights_mm, radii_mm : (n,) float
        Profile from the foot up, noise and all.
    height_mm : float
        Height of the last point.
    lip_mm : float
        Below the rim, the profile is its rounding; there the side goes straight on instead.
    mm_per_px : float
        Size of a pixel of the picture that it was taken from.

    Returns
    -------
    points_mm : tuple of (float, float)
        Height and diameter.
    corners : dict of int to float
        Points, from 0, that stay sharp: radius 0.
    """
    heights, radii = _without_lip(heights_mm, radii_mm, height_mm, max(lip_mm, 2 * mm_per_px))
    apart_mm = max(_APART_MM, _APART_PX * mm_per_px)
    near_mm = max(_NEAR_MM, _NEAR_PX * mm_per_px)
    corners = _corners(heights, radii, apart_mm)
    chosen = sorted({0, len(heights) - 1, *corners, int(radii[1:-1].argmax()) + 1})
    while len(chosen) < _MOST:
        curve = _through(heights, radii, chosen, corners)
        off = _off_mm(curve, heights, radii)
        # Next to a point there is no room for another.
        room = np.abs(heights[:, None] - heights[chosen]).min(axis=1) >= apart_mm / 2
        worst = int((off * room).argmax())
        if not room.any() or off[worst] <= near_mm:
            break
        chosen = sorted({*chosen, worst})
    points = tuple((round(float(heights[k]), 2), round(2 * float(radii[k]), 2)) for k in chosen)
    return points, {chosen.index(k): 0.0 for k in corners}


def _without_lip(heights, radii, height_mm, lip_mm):
    """Return the profile with the side going straight on over the rim's rounding."""
    below = height_mm - lip_mm
    stretch = (heights > below - _FROM_MM) & (heights <= below)
    keep = heights < below
    if stretch.sum() < 3:
        return heights, radii
    slope, start = np.polyfit(heights[stretch], radii[stretch], 1)
    top = max(float(slope * height_mm + start), 0.1)
    return np.append(heights[keep], height_mm), np.append(radii[keep], top)


def _through(heights, radii, chosen, corners):
    points = np.stack([heights[chosen], 2 * np.maximum(radii[chosen], 0.05)], axis=1)
    return smooth_curve(points, [chosen.index(k) for k in corners])


def _off_mm(curve, heights, radii):
    """Return how far the curve passes from each point of the profile, mm."""
    import shapely

    return shapely.distance(shapely.points(radii, heights), shapely.LineString(curve.points_mm))


def _corners(heights, radii, apart_mm):
    """Return the places where a profile turns sharply."""
    points = np.stack([radii, heights], axis=1)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    inner = np.flatnonzero((along > 2 * apart_mm) & (along < along[-1] - 2 * apart_mm))
    if not len(inner):
        return []

    def at(places):
        return np.stack([np.interp(places, along, one) for one in points.T], axis=1)

    here = along[inner]
    before, after = points[inner] - at(here - apart_mm), at(here + apart_mm) - points[inner]
    across = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.degrees(np.abs(np.arctan2(across, (before * after).sum(axis=1))))
    found = []
    for k in np.argsort(-turn):
        if turn[k] < _CORNER_DEG:
            break
        if all(abs(along[inner[k]] - along[other]) > 3 * apart_mm for other in found):
            found.append(int(inner[k]))
    return sorted(found)
