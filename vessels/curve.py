"""Curves through measured points, and rounded corners."""

from collections.abc import Mapping

import numpy as np

from .outline import FINE_CHORD_MM, FINE_TURN, OutlineError, arc, joined, right_of, tidied

_SAME_MM = 1e-6
_FLATTEST, _STEEPEST = 0.25, 3.0  # times the flatter neighbour's slope


def smooth_curve(points, corners=()):
    """Return a smooth outline through measured points.

    The most even cubic spline in chord length that keeps, between two neighbours, radius and height
    within the range of the two: it never bulges beyond what the points say.

    Parameters
    ----------
    points : (n, 2) float
        Height and diameter, mm, from the foot up.
    corners : iterable of int, or mapping of int to float
        Points, from 0, that stay sharp; as a mapping, with the radius that rounds them, mm (0: sharp).

    Returns
    -------
    Outline
        Fine: chords are within 0.0001 mm of the curve; see ``outline.thinned``.

    Raises
    ------
    OutlineError
        Heights do not increase, a diameter is not positive, a corner is no inner point, or its
        radius does not fit.
    """
    points = np.asarray(points, dtype=float)
    radii = dict(corners) if isinstance(corners, Mapping) else dict.fromkeys(corners, 0.0)
    _check_points(points, radii)
    stations = np.stack([points[:, 1] / 2, points[:, 0]], axis=1)
    ends = [0, *sorted(radii), len(points) - 1]
    curve = joined(_stretch(stations[a : b + 1]) for a, b in zip(ends[:-1], ends[1:], strict=True))
    for index in sorted(radii, reverse=True):
        if radii[index] > 0:
            try:
                curve = rounded(curve, corner_near(curve, stations[index]), radii[index])
            except ValueError as fault:
                raise OutlineError(index, str(fault)) from None
    return curve


def corner_near(outline, point_mm, within_mm=1e-6):
    """Return the index of the point that begins the corner at a position, None if none is there."""
    ends = np.flatnonzero(np.diff(outline.pieces))
    if not len(ends):
        return None
    distances = np.hypot(*(outline.points_mm[ends] - point_mm).T)
    return int(ends[distances.argmin()]) if distances.min() <= within_mm else None


def rounded(outline, corner, radius_mm):
    """Return the outline with one corner replaced by an arc that touches both sides.

    Parameters
    ----------
    outline : Outline
    corner : int or None
        Index of the first of the corner's two points; None (no corner there) changes nothing.
    radius_mm : float
        Radius of the arc, mm.

    Raises
    ------
    ValueError
        No arc of that radius touches both sides.
    """
    if corner is None:
        return outline
    before, after = outline.cut(0, corner), outline.cut(corner + 1, outline.end)
    left, right = before.tangents[-1], after.tangents[0]
    side = np.sign(left[0] * right[1] - left[1] * right[0])
    place, onward, centre = meeting(before, after, -side * radius_mm)
    if place is None or not _is_outside(centre, radius_mm, before, place, after, onward):
        raise ValueError(f"a radius of {radius_mm:g} mm does not fit at this corner")
    starts, ends = before.at(place)[0] - centre, after.at(onward)[0] - centre
    start_deg, end_deg = (np.degrees(np.arctan2(v[1], v[0])) for v in (starts, ends))
    sweep_deg = side * ((side * (end_deg - start_deg)) % 360)
    bend = arc(centre, radius_mm, start_deg, start_deg + sweep_deg)
    return joined([before.cut(0, place), bend, after.cut(onward, after.end)])


def _is_outside(centre, radius_mm, before, place, after, onward):
    """Whether all that an arc takes the place of is outside its circle; else it cuts through the outline."""
    taken = np.concatenate([before.points_mm[int(place) + 1 :], after.points_mm[: int(onward) + 1]])
    return np.hypot(*(taken - centre).T).min() > radius_mm - _SAME_MM


def meeting(before, after, distance_mm=0.0):
    """Return where two outlines, each moved sideways along its normals, cross nearest the end of the first.

    Returns
    -------
    place, onward : float or None
        Places on the first and on the second outline; None if they do not cross.
    point_mm : (2,) float or None
        The crossing, mm.
    """
    moved = [one.points_mm + distance_mm * one.normals for one in (before, after)]
    hits = _crossings(*moved)
    if not len(hits):
        return None, None, None
    i, j = hits[np.lexsort((hits[:, 1], -hits[:, 0]))[0]]
    u, v = _fractions(moved[0][i : i + 2], moved[1][j : j + 2])

    def side(one, place):
        point, tangent = one.at(np.clip(place, 0, one.end))
        return point + distance_mm * right_of(tangent)

    # Newton steps from the crossing of the chords to that of the curves.
    places = np.array([i + u, j + v])
    for _ in range(8):
        gap = side(before, places[0]) - side(after, places[1])
        if np.hypot(*gap) < 1e-11:
            break
        h = 1e-4 * np.where(places + 1e-4 > [before.end, after.end], -1, 1)
        slopes = np.stack(
            [
                (side(before, places[0] + h[0]) - side(before, places[0])) / h[0],
                -(side(after, places[1] + h[1]) - side(after, places[1])) / h[1],
            ],
            axis=1,
        )
        places = np.clip(places - np.linalg.lstsq(slopes, gap, rcond=None)[0], 0, [before.end, after.end])
    return places[0], places[1], (side(before, places[0]) + side(after, places[1])) / 2


def _crossings(first, second):
    """Return (k, 2) indices of the steps of two polylines that cross."""
    import shapely

    steps = [np.stack([line[:-1], line[1:]], axis=1) for line in (first, second)]
    real = [np.flatnonzero(np.hypot(*(s[:, 1] - s[:, 0]).T) > 0) for s in steps]
    tree = shapely.STRtree(shapely.linestrings(steps[1][real[1]]))
    hits = tree.query(shapely.linestrings(steps[0][real[0]]), predicate="intersects").T
    return np.stack([real[0][hits[:, 0]], real[1][hits[:, 1]]], axis=1)


def _fractions(first, second):
    """Return how far along two steps, (2, 2) each, their crossing lies."""
    a, b = first[1] - first[0], second[1] - second[0]
    across = a[0] * b[1] - a[1] * b[0]
    if across == 0:
        return 0.0, 0.0
    way = second[0] - first[0]
    return np.clip([(way[0] * b[1] - way[1] * b[0]) / across, (way[0] * a[1] - way[1] * a[0]) / across], 0, 1)


def _check_points(points, radii):
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 2:
        raise ValueError(f"points have shape {points.shape}; at least two (height, diameter) are needed")
    for index, (height_mm, diameter_mm) in enumerate(points):
        if not (np.isfinite(height_mm) and np.isfinite(diameter_mm)):
            raise OutlineError(index, "height or diameter is not a finite number")
        if diameter_mm <= 0:
            raise OutlineError(index, f"diameter {diameter_mm:g} mm; it must be more than 0")
        if index and height_mm <= points[index - 1, 0]:
            raise OutlineError(
                index, f"height {height_mm:g} mm is not above the point before ({points[index - 1, 0]:g} mm)"
            )
    for index, radius_mm in radii.items():
        if not 0 < index < len(points) - 1:
            raise OutlineError(index, f"a corner must lie between the ends, points 2 to {len(points) - 1}")
        if not (np.isfinite(radius_mm) and radius_mm >= 0):
            raise OutlineError(index, f"corner radius {radius_mm:g} mm; it must be 0 or more")


def _stretch(stations):
    """Return the smooth outline through (n, 2) points, radius and height, mm."""
    from scipy.interpolate import CubicHermiteSpline

    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(stations, axis=0).T))])
    steps = np.diff(along)
    chords = np.diff(stations, axis=0) / steps[:, None]
    outward = _even_slopes(steps, chords[:, 0])
    upward = _even_slopes(steps, chords[:, 1])
    # Where the curve stands upright it goes at full speed, else the bend there would be needlessly sharp.
    upright = outward == 0
    upward[upright] = np.minimum(1.0, _STEEPEST * _flatter(chords[:, 1]))[upright]
    curve = CubicHermiteSpline(along, stations, np.stack([outward, upward], axis=1))
    places = fine_places(curve, along)
    ways, points = curve(places, 1), curve(places)
    points[np.searchsorted(places, along)] = stations
    return tidied(points, ways / np.hypot(*ways.T)[:, None])


def _flatter(chords):
    """Return (n + 1,) the flatter of the chords that meet at each point, 0 at a turning point."""
    before, after = np.concatenate([chords[:1], chords]), np.concatenate([chords, chords[-1:]])
    return np.where(before * after > 0, np.minimum(np.abs(before), np.abs(after)), 0.0) * np.sign(before)


def _even_slopes(steps, chords):
    """Return the slopes (n + 1,) of the most even cubic spline that does not overshoot any step.

    Second derivatives jump as little as can be (not at all if no limit is met), and stay the same in
    the first and the last step. Slopes stay within a quarter and three times the flatter neighbour's,
    which keeps each step monotone (C. de Boor, B. Swartz, J. Approx. Theory 21, 411, 1977), and are
    nought at a turning point.
    """
    from scipy.optimize import lsq_linear

    flatter = _flatter(chords)
    count = len(steps)
    if count == 1:
        return np.repeat(chords, 2)
    # Second derivatives where each step starts and stops: rows for the slopes, and what chords add.
    k = np.arange(count)
    start, stop = np.zeros((2, count, count + 1))
    start[k, k], start[k, k + 1] = -4 / steps, -2 / steps
    stop[k, k], stop[k, k + 1] = 2 / steps, 4 / steps
    bend = 6 * chords / steps
    ends = [0, -1]
    system = np.concatenate([start[1:] - stop[:-1], (stop - start)[ends]])
    goal = np.concatenate([-(bend[1:] + bend[:-1]), 2 * bend[ends]])
    free = flatter != 0
    slopes = np.zeros(count + 1)
    if free.any():
        signed = system[:, free] * flatter[free]
        slopes[free] = flatter[free] * lsq_linear(signed, goal, (_FLATTEST, _STEEPEST), tol=1e-12).x
    return slopes


def fine_places(curve, along):
    """Return parameters close enough for a fine outline, the stations among them."""
    places = []
    for start, stop in zip(along[:-1], along[1:], strict=True):
        trial = np.linspace(start, stop, 129)
        ways = curve(trial, 1)
        turns = np.abs(np.diff(np.unwrap(np.arctan2(ways[:, 1], ways[:, 0]))))
        steps = np.hypot(*np.diff(curve(trial), axis=0).T)
        # Points that each step needs, by turn and by the chord's distance from the curve.
        needs = np.maximum(turns / FINE_TURN, np.sqrt(turns * steps / (8 * FINE_CHORD_MM)))
        needed = np.concatenate([[0.0], np.cumsum(needs + 1e-3)])
        count = int(np.ceil(1.1 * needed[-1]))
        places.append(np.interp(needed[-1] * np.arange(count) / count, needed, trial))
    return np.append(np.concatenate(places), along[-1])
