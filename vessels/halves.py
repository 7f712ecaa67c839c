"""Drawn outlines laid out as one side of a glass: which side is drawn, where the axis is, what stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .outline import Outline, joined, line, tidied

MOST_TILT_DEG = 5.0
_HEIGHTS = 61  # levels at which a drawing is looked at
_NEAR = 1e-5  # of the drawing's height: as good as nothing
_EXACT = 1e-9  # of the height: rounding of numbers
_LEVEL_DEG = 5.0  # an underside begins this flat on the axis
_UNLIKE = 0.1  # of the width: two sides that differ by more are not the two sides of one glass


class HalvesError(ValueError):
    """A drawing that cannot be read as a glass's outline."""


@dataclass(frozen=True, eq=False)
class Split:
    """One side of a drawing, from low on the axis outward and up, the axis at 0.

    Parameters
    ----------
    side : Outline
    axis_mm : float
        Where the axis stood, mm from the drawing's origin.
    asymmetry_mm : float or None
        Largest difference between the radii of both sides; None: one side is drawn.
    tilt_deg : float
        How far the axis leant, degrees clockwise.
    """

    side: Outline
    axis_mm: float
    asymmetry_mm: float | None = None
    tilt_deg: float = 0.0


@dataclass(frozen=True, eq=False)
class Laid:
    """A side that stands on the table; see `outlinefile.Drawn`."""

    outer: Outline
    inner: Outline | None
    whole: bool
    underside: bool
    hollow_mm: float
    low_mm: float
    factor: float

    def placed(self, side):
        """Return another curve of the same drawing at its place, as an inside: upward."""
        return _as_inside(_moved(side, self.low_mm, self.factor))


def split_drawing(curve, axis_mm=None, tilt_deg=0.0):
    """Return one side of a drawn curve; where both sides are drawn, their mean.

    Parameters
    ----------
    curve : Outline
        x to the right, z up, mm, in the order it was drawn.
    axis_mm : float, optional
        Where the axis stands; default found.
    tilt_deg : float
        For a second curve of a drawing: the lean of the first one, which is taken out.

    Raises
    ------
    HalvesError
        The axis cannot be found, the glass leans, or the sides are not those of one glass.
    """
    if tilt_deg:
        curve = _turned(curve, axis_mm, tilt_deg)
    if axis_mm is None:
        axis_mm, lean_deg = _both_sides(curve)
        if axis_mm is None:
            axis_mm = _drawn_axis(curve)
        elif abs(lean_deg) > MOST_TILT_DEG:
            raise HalvesError(f"leans by {lean_deg:.1f} deg; turn it upright")
        elif abs(lean_deg) > 1e-3:
            tilt_deg, curve = lean_deg, _turned(curve, axis_mm, lean_deg)
    sides = _stretches(_moved_x(curve, axis_mm))
    if not sides:
        raise HalvesError("the whole path lies on the axis")
    right, left = (next((one for one in sides if sign * _middle(one) > 0), None) for sign in (1, -1))
    if left is not None:
        left = Outline(left.points_mm * [-1, 1], left.tangents * [-1, 1], left.pieces)
    if right is None or left is None:
        return Split(_from_below(right or left), axis_mm, None, tilt_deg)
    right, left = _from_below(right), _from_below(left)
    asymmetry_mm = _difference_mm(right, left)
    width_mm = max(right.points_mm[:, 0].max(), left.points_mm[:, 0].max())
    if asymmetry_mm > _UNLIKE * width_mm:
        raise HalvesError(
            f"its two sides differ by {asymmetry_mm:.1f} mm about the axis x = {axis_mm:.1f} mm; "
            "draw one side, or give the axis"
        )
    side = _mean(right, left) if asymmetry_mm > _NEAR * width_mm else right
    return Split(side, axis_mm, asymmetry_mm, tilt_deg)


def lay_side(side, height_mm=None):
    """Return a side standing on the table, its underside and inside told apart from its outside.

    Parameters
    ----------
    side : Outline
        From `split_drawing`.
    height_mm : float, optional
        Height that it is stretched to, exactly.
    """
    low_mm, high_mm = side.points_mm[:, 1].min(), side.points_mm[:, 1].max()
    factor = 1.0 if height_mm is None else height_mm / (high_mm - low_mm)
    side = _moved(side, low_mm, factor)
    top_mm = side.points_mm[:, 1].max()
    on_axis = side.points_mm[0, 0] <= _NEAR * top_mm
    crest = int(np.flatnonzero(side.points_mm[:, 1] >= top_mm * (1 - _EXACT))[0])
    stands = np.flatnonzero(side.points_mm[: crest + 1, 1] <= top_mm * _EXACT)
    if not len(stands):
        raise HalvesError("does not go up from its foot; draw it from the foot to the rim")
    start = int(stands[-1])
    outer = side.cut(start, crest)
    outer.points_mm[0, 1] = 0.0
    rest = side.cut(crest, side.end) if crest < side.end else None
    has_inside = rest is not None and rest.points_mm[:, 1].min() < 0.9 * top_mm
    hollow_mm = float(side.points_mm[0, 1]) if on_axis and start else 0.0
    underside = bool(on_axis and start)
    if not has_inside:
        return Laid(outer, None, False, underside, hollow_mm, low_mm, factor)
    inner = _on_axis(rest.turned_back())
    whole = _on_axis(side.cut(0, crest) if underside else outer)
    return Laid(whole, inner, True, underside, hollow_mm, low_mm, factor)


def mean_radii(points, axis=None):
    """Return heights and mean radii of digitised points (n, 2), x and y, and the asymmetry.

    The asymmetry is the largest difference between both sides, None where one side is given.
    """
    x, y = points.T
    if axis is None:
        axis = (x.min() + x.max()) / 2
    right, left = (points[sign * (x - axis) > 0] for sign in (1, -1))
    tables = []
    for part in (right, left):
        order = np.argsort(part[:, 1], kind="stable")
        tables.append((part[order, 1], np.abs(part[order, 0] - axis)))
    if not len(left) or not len(right):
        return (*tables[0 if len(right) else 1], None)
    (z, r), (z_left, r_left) = tables
    if min(len(z), len(z_left)) < 2:
        raise HalvesError("has only one point on one side of the axis; give the axis")
    other = np.interp(z, z_left, r_left)
    asymmetry = np.abs(r - other).max()
    if asymmetry > _UNLIKE * max(r.max(), r_left.max()):
        raise HalvesError(f"its two sides differ by {asymmetry:.4g} about the axis {axis:.4g}; give the axis")
    return z, (r + other) / 2, float(asymmetry)


def _levels(curve):
    """Return heights at which to look, and the x of all crossings at each."""
    x, z = curve.points_mm.T
    low, high = z.min(), z.max()
    # A drawing that leans shows one side alone near foot and rim.
    levels = low + (high - low) * np.linspace(0.08, 0.92, _HEIGHTS)
    found = []
    for level in levels:
        above = z >= level
        k = np.flatnonzero(above[:-1] != above[1:])
        share = (level - z[k]) / (z[k + 1] - z[k])
        found.append(np.sort(x[k] + share * (x[k + 1] - x[k])))
    return levels, found


def _both_sides(curve):
    """Return the axis and its lean if the curve shows both sides of a glass, else None and 0."""
    levels, found = _levels(curve)
    even = np.array([len(xs) >= 2 and len(xs) % 2 == 0 for xs in found])
    if even.mean() < 0.95:
        return None, 0.0
    levels = levels[even]
    ends = np.array([(xs[0], xs[-1]) for xs, is_even in zip(found, even, strict=True) if is_even])
    middles, width = ends.mean(axis=1), np.ptp(ends)
    # A section of one side has crossings on both sides of the wall, and never its full width between them.
    if np.ptp(ends, axis=1).max() < 0.8 * np.ptp(curve.points_mm[:, 0]):
        return None, 0.0
    # Closed along the axis, the one end is upright and the other is not.
    spreads = np.ptp(ends, axis=0)
    if spreads.min() < _NEAR * width and spreads.max() > 1e-3 * width:
        return None, 0.0
    slope, offset = np.polyfit(levels, middles, 1)
    if np.abs(middles - slope * levels - offset).max() > _UNLIKE / 2 * width:
        return None, 0.0
    height = (curve.points_mm[:, 1].min() + curve.points_mm[:, 1].max()) / 2
    return float(slope * height + offset), float(np.degrees(np.arctan(slope)))


def _drawn_axis(curve):
    """Return the axis of a curve that shows one side: where its underside or its inside ends."""
    x, z = curve.points_mm.T
    near = 1e-3 * np.ptp(x)
    if np.array_equal(curve.points_mm[0], curve.points_mm[-1]):
        # A closed line runs along the axis itself, up to the top or, in a section, to the inner base.
        upright = np.abs(curve.tangents[:, 0]) < 1e-3
        reach = {edge: z[upright & (np.abs(x - edge) <= near)] for edge in (x.min(), x.max())}
        edges = [edge for edge, heights in reach.items() if len(heights) and np.ptp(heights) > 0]
        if len(edges) == 2:
            below = z.min() + 0.9 * np.ptp(z)
            edges = [edge for edge in edges if reach[edge].max() < below]
        if len(edges) == 1:
            return float(edges[0])
    else:
        at = 0 if z[0] <= z[-1] else -1
        extreme = min(abs(x[at] - x.min()), abs(x[at] - x.max())) <= near
        if extreme and abs(curve.tangents[at, 1]) < np.sin(np.radians(_LEVEL_DEG)):
            return float(x[at])
    raise HalvesError("shows one side but no axis; draw the underside from the axis, or give axis: its x")


def _turned(curve, axis_mm, tilt_deg):
    """Return the curve turned counter-clockwise by a lean, about the axis at half height."""
    angle = np.radians(tilt_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    low, high = curve.points_mm[:, 1].min(), curve.points_mm[:, 1].max()
    about = np.array([axis_mm, (low + high) / 2])
    # x along the leaning axis must become upright: a positive lean goes to the right with height.
    points = (curve.points_mm - about) @ turn + about
    return Outline(points, curve.tangents @ turn, curve.pieces)


def _moved_x(curve, axis_mm):
    return Outline(curve.points_mm - [axis_mm, 0.0], curve.tangents, curve.pieces)


def _moved(side, low_mm, factor):
    points = (side.points_mm - [0.0, low_mm]) * factor
    points[:, 0] = np.maximum(points[:, 0], 0.0)
    return Outline(points, side.tangents, side.pieces)


def _middle(curve):
    return curve.points_mm[:, 0].mean()


def _stretches(curve):
    """Return the parts of a curve that lie beside the axis, the longest first."""
    near = _NEAR * np.ptp(curve.points_mm[:, 1])
    x = np.where(np.abs(curve.points_mm[:, 0]) <= near, 0.0, curve.points_mm[:, 0])
    side = np.sign(x)
    closed = np.array_equal(curve.points_mm[0], curve.points_mm[-1])
    if closed and (side == 0).any() | (np.diff(side) != 0).any() and side[0] != 0:
        # Begin on the axis.
        k = int(np.flatnonzero(side != side[0])[0])
        place = float(k) if side[k] == 0 else _zero(curve, k - 1)
        curve = joined([curve.cut(place, curve.end), curve.cut(0, place)])
        return _stretches(curve)
    changes = np.flatnonzero(np.diff(side))
    places = [0.0]
    for k in changes:
        if side[k] and side[k + 1]:
            places.append(_zero(curve, k))
        else:
            places.append(float(k if side[k] == 0 else k + 1))
    places.append(float(curve.end))
    parts = []
    for start, stop in zip(places[:-1], places[1:], strict=True):
        if stop - start < 1e-9:
            continue
        part = curve.cut(start, stop)
        if np.abs(part.points_mm[:, 0]).max() > near:
            parts.append(part)
    return sorted(parts, key=lambda part: -np.hypot(*np.diff(part.points_mm, axis=0).T).sum())


def _zero(curve, k):
    """Return the place in a step where the curve crosses the axis."""
    low, high = float(k), float(k + 1)
    right = curve.points_mm[k, 0] > 0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if (curve.at(middle)[0][0] > 0) == right else (low, middle)
    return high


def _from_below(side):
    """Return a side run from its lower end on the axis, or its foot, upward."""
    if side.points_mm[:, 0].mean() < 0:
        side = Outline(side.points_mm * [-1, 1], side.tangents * [-1, 1], side.pieces)
    near = _NEAR * np.ptp(side.points_mm[:, 1])
    first, last = side.points_mm[0], side.points_mm[-1]
    # Ends on the axis come before others, then the lower before the higher.
    backward = (last[0] > near, last[1]) < (first[0] > near, first[1])
    side = side.turned_back() if backward else side
    points = side.points_mm.copy()
    points[np.abs(points[:, 0]) <= near, 0] = 0.0
    return Outline(points, side.tangents, side.pieces)


def _as_inside(side):
    """Return a curve cut at its crest, upward."""
    side = _from_below(side)
    crest = int(side.points_mm[:, 1].argmax())
    return side.cut(0, crest)


def _on_axis(curve):
    """Return a curve begun on the axis."""
    if curve.points_mm[0, 0] == 0:
        return curve
    return joined([line((0.0, curve.points_mm[0, 1]), curve.points_mm[0]), curve])


def _difference_mm(right, left):
    """Return the largest difference of the outermost radii at equal heights, foot and rim left out."""
    heights = [side.points_mm[:, 1] for side in (right, left)]
    low, high = max(z.min() for z in heights), min(z.max() for z in heights)
    levels = low + (high - low) * np.linspace(0.05, 0.95, 4 * _HEIGHTS)
    radii = []
    for side in (right, left):
        x, z = side.points_mm.T
        widest = []
        for level in levels:
            above = z >= level
            k = np.flatnonzero(above[:-1] != above[1:])
            share = (level - z[k]) / (z[k + 1] - z[k])
            widest.append((x[k] + share * (x[k + 1] - x[k])).max(initial=0.0))
        radii.append(np.array(widest))
    return float(np.abs(radii[0] - radii[1]).max())


def _mean(right, left):
    """Return the mean of two like curves, matched by length along each piece, or along the whole."""
    if right.pieces.max() != left.pieces.max():
        return _mean_piece(right, left)
    parts = []
    for piece in range(right.pieces.max() + 1):
        both = []
        for side in (right, left):
            k = np.flatnonzero(side.pieces == piece)
            both.append(Outline(side.points_mm[k], side.tangents[k], np.zeros(len(k), dtype=int)))
        parts.append(_mean_piece(*both))
    points = np.concatenate([part.points_mm for part in parts])
    return tidied(points, np.concatenate([part.tangents for part in parts]))


def _mean_piece(right, left):
    lengths = [_along(side) for side in (right, left)]
    shares = np.union1d(*lengths)
    points, tangents = 0.0, 0.0
    for side, along in zip((right, left), lengths, strict=True):
        places = np.interp(shares, along, np.arange(len(along)))
        nodes = [side.at(place) for place in places]
        points = points + np.array([node[0] for node in nodes]) / 2
        tangents = tangents + np.array([node[1] for node in nodes])
    return tidied(points, tangents / np.hypot(*tangents.T)[:, None])


def _along(side):
    """Return the share of its length at each point of a curve."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(side.points_mm, axis=0).T))])
    return along / along[-1]
