"""Outlines: the curve of a section as points with exact tangents, in smooth pieces."""

from dataclasses import dataclass

import numpy as np

CHORD_ERROR_MM = 0.002
NORMAL_OFF_DEG = 3.0
_BETWEEN_SHARE = 1 / 30  # of that: how far a tangent may be off the one taken between two points
# Between two points of an outline that is not yet thinned:
FINE_TURN = np.radians(0.25)
FINE_CHORD_MM = 1e-4
_SAME_MM = 1e-6
_SMOOTH = 1e-3  # radians; two tangents closer than this make no corner


class OutlineError(ValueError):
    """A point of an outline is wrong.

    Parameters
    ----------
    index : int
        Which point, from 0.
    text : str
        What is wrong, the value, what is allowed.
    """

    def __init__(self, index, text):
        super().__init__(f"point {index + 1}: {text}")
        self.index = index
        self.text = text


@dataclass(frozen=True, eq=False)
class Outline:
    """A curve in the half plane of radius and height.

    The solid lies on the left, so the outward normal is on the right of the way the curve runs:
    a glass's section starts under its foot on the axis, goes out, up, over the rim, in and down.

    Parameters
    ----------
    points_mm : (n, 2) float
        Radius and height, mm. A corner stands twice, once for each side.
    tangents : (n, 2) float
        Unit vectors along the curve, exact at each point.
    pieces : (n,) int
        Smooth piece of each point, 0, 1, 2 … along the curve.
    closed : bool
        True when the last point goes on to the first (a ring clear of the axis).
    """

    points_mm: np.ndarray
    tangents: np.ndarray
    pieces: np.ndarray
    closed: bool = False

    @property
    def normals(self):
        """(n, 2) outward unit normals."""
        return right_of(self.tangents)

    @property
    def end(self):
        """Place of the last point."""
        return len(self.points_mm) - 1

    def at(self, place):
        """Return point (2,), mm, and unit tangent (2,) at a place, 3.5 being half-way from point 3 to 4."""
        k = min(int(place), self.end - 1)
        u = place - k
        if u == 0 or u == 1:
            return self.points_mm[k + int(u)], self.tangents[k + int(u)]
        point, slope = self.between(u, slice(k, k + 1))
        size = np.hypot(*slope[0])
        return point[0], slope[0] / size if size else self.tangents[k]

    def between(self, u, steps=slice(None)):
        """Return points (n, 2), mm, at a share u of each step, and their slopes (n, 2): cubics."""
        a, b = self.points_mm[:-1][steps], self.points_mm[1:][steps]
        length = np.hypot(*(b - a).T)[:, None]
        da, db = self.tangents[:-1][steps] * length, self.tangents[1:][steps] * length
        points = a + u * u * (3 - 2 * u) * (b - a) + u * (1 - u) * ((1 - u) * da - u * db)
        return points, 6 * u * (1 - u) * (b - a) + (1 - u) * (1 - 3 * u) * da + u * (3 * u - 2) * db

    def place_at_height(self, height_mm, last=True):
        """Return the last (or first) place where the curve passes a height, None if it never does."""
        above = self.points_mm[:, 1] >= height_mm
        steps = np.flatnonzero(above[:-1] != above[1:])
        if not len(steps):
            exact = np.flatnonzero(self.points_mm[:, 1] == height_mm)
            return float(exact[-1 if last else 0]) if len(exact) else None
        k = int(steps[-1 if last else 0])
        start, end = self.points_mm[k : k + 2, 1]
        length = np.hypot(*(self.points_mm[k + 1] - self.points_mm[k]))
        rise, fall = self.tangents[k : k + 2, 1] * length

        def is_before(u):
            height = start + u * u * (3 - 2 * u) * (end - start) + u * (1 - u) * ((1 - u) * rise - u * fall)
            return (height >= height_mm) == above[k]

        low, high = 0.0, 1.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if is_before(middle) else (low, middle)
        return k + high

    def cut(self, start, end):
        """Return the part between two places."""
        between = np.arange(int(np.floor(start)) + 1, int(np.ceil(end)))
        (p0, t0), (p1, t1) = self.at(start), self.at(end)
        points = np.concatenate([[p0], self.points_mm[between], [p1]])
        tangents = np.concatenate([[t0], self.tangents[between], [t1]])
        part = tidied(points, tangents)
        # A cut at a corner keeps only the side that goes on.
        first = int(part.end > 0 and part.pieces[0] != part.pieces[1])
        last = len(part.points_mm) - int(part.end > 1 and part.pieces[-1] != part.pieces[-2])
        pieces = part.pieces[first:last] - part.pieces[first]
        return Outline(part.points_mm[first:last], part.tangents[first:last], pieces)

    def turned_back(self):
        """Return the same curve run the other way."""
        return Outline(
            self.points_mm[::-1], -self.tangents[::-1], self.pieces.max() - self.pieces[::-1], self.closed
        )

    def densified(self, step_mm):
        """Return the curve with further points, no two farther apart than a step."""
        steps = np.hypot(*np.diff(self.points_mm, axis=0).T)
        counts = np.maximum(np.ceil(steps / step_mm).astype(int), 1)
        k = np.repeat(np.arange(self.end), counts)
        share = np.concatenate([np.arange(n) / n for n in counts])
        points, slopes = self.between(share[:, None], k)
        # Points that were there stay as they are.
        between = (share > 0)[:, None]
        points = np.where(between, points, self.points_mm[k])
        tangents = np.where(between, slopes, self.tangents[k])
        return Outline(
            np.concatenate([points, self.points_mm[-1:]]),
            np.concatenate([tangents / np.hypot(*tangents.T)[:, None], self.tangents[-1:]]),
            np.append(self.pieces[k], self.pieces[-1]),
            self.closed,
        )


def right_of(vectors):
    """Return (…, 2) vectors turned a quarter clockwise: tangents become outward normals."""
    return np.stack([vectors[..., 1], -vectors[..., 0]], axis=-1)


def left_of(vectors):
    """Return (…, 2) vectors turned a quarter counter-clockwise: outward normals become tangents."""
    return np.stack([-vectors[..., 1], vectors[..., 0]], axis=-1)


def line(start_mm, end_mm):
    """Return the straight outline between two points (radius, height), mm."""
    points = np.array([start_mm, end_mm], dtype=float)
    way = points[1] - points[0]
    return Outline(points, np.tile(way / np.hypot(*way), (2, 1)), np.zeros(2, dtype=int))


def arc(centre_mm, radius_mm, start_deg, end_deg, turn_deg=None):
    """Return a circular outline.

    Parameters
    ----------
    centre_mm : (2,) float
        Radius and height of the centre, mm.
    radius_mm : float
        Radius of the arc, mm.
    start_deg, end_deg : float
        Directions from the centre, 0 outward, 90 up; a growing angle makes the solid convex.
    turn_deg : float
        Largest turn between two points; default a quarter of a degree, less for large radii.
    """
    finest = min(FINE_TURN, np.sqrt(8 * FINE_CHORD_MM / radius_mm))
    turn = finest if turn_deg is None else np.radians(turn_deg)
    start, sweep = np.radians(start_deg), np.radians(end_deg - start_deg)
    count = max(int(np.ceil(abs(sweep) / turn - 1e-9)), 1) + 1
    angles = start + sweep * np.linspace(0, 1, count)
    away = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    away[np.abs(away) < 1e-15] = 0.0
    return Outline(
        np.asarray(centre_mm, dtype=float) + radius_mm * away,
        left_of(away) * np.sign(sweep),
        np.zeros(count, dtype=int),
    )


def joined(outlines, closed=False):
    """Return one outline of several that follow each other; where the tangent jumps there is a corner.

    Raises
    ------
    ValueError
        One does not start where the one before ends.
    """
    outlines = list(outlines)
    for before, after in zip(outlines[:-1], outlines[1:], strict=True):
        gap = np.hypot(*(after.points_mm[0] - before.points_mm[-1]))
        if gap > 1e-5:
            raise ValueError(f"outlines do not meet: {gap:.4g} mm between them at {before.points_mm[-1]} mm")
    points = np.concatenate([one.points_mm for one in outlines])
    tangents = np.concatenate([one.tangents for one in outlines])
    # The end of one and the start of the next become one position.
    for count in np.cumsum([len(one.points_mm) for one in outlines])[:-1]:
        points[count] = points[count - 1]
    return tidied(points, tangents, closed)


def tidied(points_mm, tangents, closed=False):
    """Return an outline without repeated points; a repeated one stays where it is a corner."""
    points_mm = points_mm.copy()
    same = np.hypot(*np.diff(points_mm, axis=0).T) <= _SAME_MM
    first = np.concatenate([[True], ~same])
    last = np.concatenate([~same, [True]])
    # Of a run of equal points the first stays, and the last as well if the tangent has turned.
    opens, stops = np.flatnonzero(first), np.flatnonzero(last)
    corner = np.hypot(*(tangents[opens] - tangents[stops]).T) > _SMOOTH
    points_mm[stops[corner]] = points_mm[opens[corner]]
    keep = np.sort(np.concatenate([opens, stops[corner]]))
    starts = np.isin(keep, stops[corner])
    return Outline(points_mm[keep], tangents[keep], np.cumsum(starts), closed)


def accuracy_of(detail):
    """Return chord error, mm, and largest angle of a normal off its chord, degrees, for a detail.

    1: `CHORD_ERROR_MM`. 0.5: half as many points each way, four times the chord error.
    """
    if not (np.isfinite(detail) and detail > 0):
        raise ValueError(f"detail: {detail:g}; it must be more than 0")
    return CHORD_ERROR_MM / detail**2, min(NORMAL_OFF_DEG / detail, 8.0)


def thinned(outline, chord_error_mm=CHORD_ERROR_MM, normal_off_deg=NORMAL_OFF_DEG):
    """Return the outline with only as many of its points as accuracy needs.

    Parameters
    ----------
    outline : Outline
    chord_error_mm : float
        No dropped point lies farther than this from the chord that takes its place, mm.
    normal_off_deg : float
        No tangent is more than this off the chords that meet there. Between two points, where the
        renderer takes what lies between their normals, none is off by more than a thirtieth of it: a
        straight wall does not begin within the rounding before it.
    """
    limits = np.cos(np.radians([normal_off_deg, _BETWEEN_SHARE * normal_off_deg]))
    # Corners stay, and the points that touch the table, the rim's height and the widest circle.
    extremes = {int(outline.points_mm[:, 1].argmin()), *(int(k) for k in outline.points_mm.argmax(axis=0))}
    stops = sorted({-1, outline.end, *np.flatnonzero(np.diff(outline.pieces)).tolist(), *extremes})
    keep = []
    for before, stop in zip(stops[:-1], stops[1:], strict=True):
        # A stretch starts at the last one's end, or beyond it at a corner.
        start = before + 1 if before < 0 or outline.pieces[before] != outline.pieces[before + 1] else before
        points, tangents = outline.points_mm[start : stop + 1], outline.tangents[start : stop + 1]
        chosen = [0]
        while chosen[-1] < stop - start:
            chosen.append(_farthest(points, tangents, chosen[-1], chord_error_mm, limits))
        keep.extend(start + k for k in chosen if not keep or start + k > keep[-1])
    return Outline(outline.points_mm[keep], outline.tangents[keep], outline.pieces[keep], outline.closed)


def _farthest(points, tangents, start, chord_error_mm, limits):
    def fits(stop):
        way = points[stop] - points[start]
        length = np.hypot(*way)
        way = way / length
        between = points[start + 1 : stop] - points[start]
        cosine = min(way @ tangents[start], way @ tangents[stop])
        if cosine < limits[0] or np.abs(between @ right_of(way)).max(initial=0) > chord_error_mm:
            return False
        share = (between @ way / length)[:, None]
        taken = (1 - share) * tangents[start] + share * tangents[stop]
        true = np.einsum("ij,ij->i", taken, tangents[start + 1 : stop]) / np.hypot(*taken.T)
        return true.min(initial=1.0) >= limits[1]

    last, good, step = len(points) - 1, start + 1, 1
    while good < last and fits(min(good + step, last)):
        good, step = min(good + step, last), 2 * step
    while step > 1:
        step //= 2
        if good + step <= last and fits(good + step):
            good += step
    return good
