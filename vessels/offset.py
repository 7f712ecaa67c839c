"""Curves at a distance from an outline, and the discs that fit beside one."""

import numpy as np

from .curve import meeting
from .outline import FINE_TURN, joined, left_of, tidied


def offset(outline, distance_mm, slopes=None):
    """Return the curve that keeps a distance from an outline, without crossing itself.

    It is the envelope of discs of that radius with their centres on the outline, so the distance is
    the shortest way across, as a wall gauge reads it, also where it varies.

    Parameters
    ----------
    outline : Outline
    distance_mm : float or (n,) float
        Distance at each point of the outline, mm; positive on the side of the normals.
    slopes : (n,) float, optional
        Change of the distance's size per millimetre along the outline.

    Returns
    -------
    Outline
        Runs the same way as the outline; outer corners are rounded, inner ones stay.

    Raises
    ------
    ValueError
        The distance changes faster than the outline runs.
    """
    count = len(outline.points_mm)
    distance = np.broadcast_to(np.asarray(distance_mm, dtype=float), count)
    slopes = np.zeros(count) if slopes is None else np.asarray(slopes, dtype=float)
    if np.abs(slopes).max() >= 1:
        raise ValueError("the wall's thickness changes faster than the outline runs")
    side = np.sign(distance)[:, None]
    square = np.sqrt(1 - slopes**2)[:, None]
    normals = square * outline.normals - side * slopes[:, None] * outline.tangents
    points, tangents = [], []
    for k in range(count):
        points.append((outline.points_mm[k] + distance[k] * normals[k])[None])
        tangents.append(left_of(normals[k])[None])
        if k + 1 < count and outline.pieces[k + 1] != outline.pieces[k]:
            fan = _fan(normals[k], normals[k + 1], np.sign(distance[k]))
            points.append(outline.points_mm[k] + distance[k] * fan)
            tangents.append(left_of(fan))
    return without_loops(tidied(np.concatenate(points), np.concatenate(tangents)))


def without_loops(outline):
    """Return the outline with the loops cut off that it makes where it crosses itself.

    The curve is followed from its end, so what hangs together with the end stays.
    """
    curve = outline.turned_back()
    while (hit := _first_crossing(curve)) is not None:
        i, j = hit
        before, after = curve.cut(0, i + 1), curve.cut(j, curve.end)
        place, onward, point = meeting(before, after)
        head, tail = before.cut(0, place), after.cut(onward, after.end)
        head.points_mm[-1] = tail.points_mm[0] = point
        curve = joined([head, tail])
    return curve.turned_back()


def largest_disc(point_mm, way, outline):
    """Return the largest disc that touches a point and stays clear of an outline.

    Parameters
    ----------
    point_mm : (2,) float
        Radius and height of the point, mm.
    way : (2,) float
        Unit vector from the point to the disc's centre.
    outline : Outline
        Points no farther apart than the detail that matters.

    Returns
    -------
    radius_mm : float
    place : float
        Where on the outline the disc touches.
    """
    from scipy.optimize import minimize_scalar

    def radius(points):
        # A disc through the point, centred along the way, passes through q when its radius is
        # |q - p|^2 / 2 (q - p).way
        gap = points - point_mm
        ahead = gap @ way
        square = (gap**2).sum(axis=-1)
        return np.where(ahead > 1e-12, square / np.where(ahead > 1e-12, 2 * ahead, 1.0), np.inf)

    nearest = int(radius(outline.points_mm).argmin())
    low, high = max(nearest - 1, 0), min(nearest + 1, outline.end)
    found = minimize_scalar(
        lambda place: float(radius(outline.at(place)[0])), bounds=(low, high), method="bounded",
        options={"xatol": 1e-9},
    )  # fmt: skip
    return float(found.fun), float(found.x)


def _fan(start, stop, side):
    """Return unit normals between two at a corner, where the sides draw apart there; else none."""
    turn = np.arctan2(start[0] * stop[1] - start[1] * stop[0], start @ stop)
    if turn * side <= 0:
        return np.empty((0, 2))
    count = int(np.ceil(abs(turn) / FINE_TURN)) + 1
    angles = np.arctan2(start[1], start[0]) + turn * np.linspace(0, 1, count)
    return np.stack([np.cos(angles), np.sin(angles)], axis=1)


def _first_crossing(curve):
    """Return indices of the first step that another crosses, and of that other; None if there is none."""
    import shapely

    steps = np.stack([curve.points_mm[:-1], curve.points_mm[1:]], axis=1)
    real = np.flatnonzero(np.hypot(*(steps[:, 1] - steps[:, 0]).T) > 0)
    lines = shapely.linestrings(steps[real])
    i, j = shapely.STRtree(lines).query(lines, predicate="intersects")
    far = j > i + 1
    if not far.any():
        return None
    i, j = i[far], j[far]
    first = i.min()
    # Of several that cross the same step, the last one cuts off the whole loop.
    return real[first], real[j[i == first].max()]
