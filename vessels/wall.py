"""The glass wall: outer outline and thickness become a closed section."""

from dataclasses import dataclass

import numpy as np

from .bead import bead_rim
from .curve import corner_near, rounded
from .offset import largest_disc, offset
from .outline import Outline, OutlineError, arc, joined, line

_STEP_MM = 0.25  # between points where a disc is fitted


@dataclass(frozen=True)
class Measures:
    """How thick the glass is and how its edges are finished.

    Parameters
    ----------
    wall_mm : float or tuple of (float, float)
        Thickness, mm, the shortest way across; or pairs of height and thickness, heights increasing.
    base_mm : float
        Height of the inside's lowest point above the table (the base's thickness, with its hollow), mm.
    fillet_mm : float or None
        Radius between a flat inner base and the wall, mm; None: the base is the largest ball that
        rests on the lowest point (bowls).
    heel_mm : float
        Radius at the foot's edge on the table, mm.
    hollow_mm : float
        How high the underside lies over the table on the axis, mm.
    rim_mm : float or None
        Radius of the rim's two edges, mm; None: fully round (fire-polished).
    bead_mm : float or None
        Diameter of a rolled rim, mm; it takes the place of ``rim_mm``.
    """

    wall_mm: float | tuple[tuple[float, float], ...]
    base_mm: float
    fillet_mm: float | None = None
    heel_mm: float = 1.0
    hollow_mm: float = 0.0
    rim_mm: float | None = None
    bead_mm: float | None = None

    def __post_init__(self):
        table = [(0.0, self.wall_mm)] if isinstance(self.wall_mm, int | float) else list(self.wall_mm)
        heights = [height for height, _ in table]
        if not table or any(b <= a for a, b in zip(heights[:-1], heights[1:], strict=True)):
            raise ValueError(f"wall_mm: heights {heights} must increase")
        object.__setattr__(self, "wall_mm", tuple((float(z), float(w)) for z, w in table))
        for name, values in (("wall_mm", [w for _, w in table]), ("base_mm", [self.base_mm])):
            if not all(np.isfinite(value) and value > 0 for value in values):
                raise ValueError(f"{name}: {values} mm; it must be more than 0")
        for name in ("fillet_mm", "heel_mm", "hollow_mm", "rim_mm"):
            value = getattr(self, name)
            if value is not None and not (np.isfinite(value) and value >= 0):
                raise ValueError(f"{name}: {value:g} mm; it must be 0 or more")
        if self.bead_mm is not None and not (np.isfinite(self.bead_mm) and self.bead_mm > 0):
            raise ValueError(f"bead_mm: {self.bead_mm:g} mm; it must be more than 0")
        if self.hollow_mm >= self.base_mm:
            raise ValueError(
                f"hollow_mm: {self.hollow_mm:g} mm; it must be less than the base, {self.base_mm:g} mm"
            )


@dataclass(frozen=True, eq=False)
class Wall:
    """The section of a glass.

    Parameters
    ----------
    outer : Outline
        From the axis under the foot, out and up to the rim's crest.
    inner : Outline
        From the axis on the inner base, out and up to the rim's crest; its normals point into the glass.
    section : Outline
        Outer, then inner backwards: the closed section of the glass.
    thinnest_mm : float
        Least thickness below the rim's rounding, mm.
    """

    outer: Outline
    inner: Outline
    section: Outline
    thinnest_mm: float


def close_wall(outer, measures, inner=None):
    """Return the section of the glass that an outer outline and a wall make.

    Parameters
    ----------
    outer : Outline
        Outside from the foot's edge on the table (height 0) up to the rim, stem and foot included.
    measures : Measures
    inner : Outline, optional
        Measured inside, upward to the rim's height or more; the wall's thickness is then not used.
        One that begins on the axis has its floor, and the base's measure is not used either.

    Returns
    -------
    Wall

    Raises
    ------
    ValueError
        Wall, base and radii do not fit together; the text names the measure.
    OutlineError
        The outline does not start on the table.
    """
    if abs(outer.points_mm[0, 1]) > 1e-6:
        raise OutlineError(0, f"height {outer.points_mm[0, 1]:g} mm; the first point stands on the table, 0")
    top_mm = outer.points_mm[-1, 1]
    if measures.base_mm >= top_mm:
        raise ValueError(f"base_mm: {measures.base_mm:g} mm; it must be less than the height, {top_mm:g} mm")
    # Both sides go straight on over the rim, so that the rim can be fitted between them.
    beyond_mm = 2 * max(w for _, w in measures.wall_mm) + 1
    side = _lengthened(outer, beyond_mm)
    inside = _lengthened(inner, beyond_mm) if inner is not None else _inside(side, measures.wall_mm)
    if inner is None or inner.points_mm[0, 0] > 0:
        inside = _with_floor(inside, measures)
    outside = _with_underside(side, measures)
    if measures.bead_mm is not None:
        halves, stops = bead_rim(outside, inside, top_mm, measures.bead_mm)
    elif measures.rim_mm is None:
        halves, stops = _round_rim(outside, inside, top_mm)
    else:
        halves, stops = _cut_rim(outside, inside, top_mm, measures.rim_mm)
    thinnest_mm = _thinnest_mm(outside.cut(0, stops[0]), inside.cut(0, stops[1]))
    section = joined([halves[0], halves[1].turned_back()])
    _check_section(section)
    return Wall(halves[0], halves[1], section, thinnest_mm)


def wall_of_section(outer, inner):
    """Return the wall whose outside and inside are both known from the axis to the rim's crest.

    Parameters
    ----------
    outer, inner : Outline
        From the axis out and up; both end at the crest.

    Raises
    ------
    ValueError
        The two sides cross, or one crosses itself.
    """
    section = joined([outer, inner.turned_back()])
    _check_section(section)
    # The rim, where both sides meet, is no measure of the wall.
    below_mm = inner.points_mm[0, 1] + 0.8 * (inner.points_mm[-1, 1] - inner.points_mm[0, 1])
    sides = [side.cut(0, side.place_at_height(below_mm)) for side in (outer, inner)]
    return Wall(outer, inner, section, _thinnest_mm(*sides))


def _lengthened(outline, length_mm):
    point, tangent = outline.points_mm[-1], outline.tangents[-1]
    return joined([outline, line(point, point + length_mm * tangent)])


def _inside(side, table):
    """Return the side moved inward by the wall's thickness."""
    heights, walls = np.array(table).T
    if len(table) == 1:
        return offset(side, -walls[0])
    from scipy.interpolate import PchipInterpolator

    # The far points keep the thickness as it is beyond the table, without a kink at its ends.
    far_mm = 10 * abs(side.points_mm[:, 1]).max() + 10 * abs(heights).max()
    thickness = PchipInterpolator(
        [heights[0] - far_mm, *heights, heights[-1] + far_mm], [walls[0], *walls, walls[-1]]
    )
    side = side.densified(_STEP_MM)
    z = side.points_mm[:, 1]
    return offset(side, -thickness(z), thickness(z, 1) * side.tangents[:, 1])


def _with_floor(inside, measures):
    """Return the inside closed by its base: from the axis outward, then up."""
    base_mm, fillet_mm = measures.base_mm, measures.fillet_mm
    place = inside.place_at_height(base_mm)
    if place is None:
        lowest_mm = inside.points_mm[:, 1].min()
        raise ValueError(f"base_mm: {base_mm:g} mm; the wall's inside only goes down to {lowest_mm:.2f} mm")
    part = inside.cut(place, inside.end)
    if part.points_mm[:, 0].min() <= 0:
        raise ValueError("wall_mm: the wall is thicker than the glass's radius")
    if fillet_mm is None:
        part = part.densified(_STEP_MM)
        radius_mm, touch = largest_disc(np.array([0.0, base_mm]), np.array([0.0, 1.0]), part)
        point = part.at(touch)[0]
        if touch > part.end - 1 or radius_mm <= 0:
            raise ValueError("fillet_mm: no ball that rests on the base touches the wall; give a radius")
        centre = np.array([0.0, base_mm + radius_mm])
        ball = arc(centre, radius_mm, -90, np.degrees(np.arctan2(point[1] - centre[1], point[0])))
        return joined([ball, part.cut(touch, part.end)])
    corner = np.array([part.points_mm[0, 0], base_mm])
    whole = joined([line((0.0, base_mm), corner), part])
    return _finished(whole, corner, fillet_mm, "fillet_mm")


def _with_underside(side, measures):
    """Return the outside from the axis under the foot: hollow, heel, then up."""
    foot_mm = side.points_mm[0, 0]
    heel_mm, hollow_mm = measures.heel_mm, measures.hollow_mm
    edge = np.array([foot_mm, 0.0])
    outside = _finished(joined([line((0.0, 0.0), edge), side]), edge, heel_mm, "heel_mm")
    if hollow_mm == 0:
        return outside
    # A ball from below that meets the axis at the hollow's height and touches the heel's circle.
    rest_mm = outside.points_mm[1, 0]
    ball_mm = (rest_mm**2 + hollow_mm**2) / (2 * hollow_mm) - heel_mm
    if ball_mm <= 0:
        raise ValueError(f"hollow_mm: {hollow_mm:g} mm is too much for a foot of {2 * foot_mm:g} mm diameter")
    centre = (0.0, hollow_mm - ball_mm)
    touch_deg = np.degrees(np.arctan2(heel_mm - centre[1], rest_mm))
    parts = [arc(centre, ball_mm, 90, touch_deg)]
    if heel_mm > 0:
        parts.append(arc((rest_mm, heel_mm), heel_mm, touch_deg - 180, -90))
    # A sharp edge stands twice; a drawn rounding comes out of the table without one.
    return joined([*parts, outside.cut(2 if outside.pieces[1] != outside.pieces[2] else 1, outside.end)])


def _round_rim(outside, inside, top_mm):
    """Return both sides up to the crest of a fully round rim, and the places where the rounding starts."""
    from scipy.optimize import brentq

    dense = inside.densified(_STEP_MM)

    def disc(height_mm):
        place = outside.place_at_height(height_mm)
        point, tangent = outside.at(place)
        inward = np.array([-tangent[1], tangent[0]])
        radius_mm, touch = largest_disc(point, inward, dense)
        return point + radius_mm * inward, radius_mm, place, touch

    def crest_over_top(height_mm):
        centre, radius_mm, _, _ = disc(height_mm)
        return centre[1] + radius_mm - top_mm

    lowest_mm = max(top_mm - 5 * disc(top_mm)[1], 0.5 * top_mm)
    if crest_over_top(lowest_mm) >= 0:
        raise ValueError(f"wall_mm: no round rim fits under {top_mm:g} mm; the wall is too thick there")
    centre, radius_mm, place, touch = disc(brentq(crest_over_top, lowest_mm, top_mm, xtol=1e-10))
    angles_deg = [
        np.degrees(np.arctan2(*(point - centre)[::-1])) % 360
        for point in (outside.at(place)[0], dense.at(touch)[0])
    ]
    start_deg = angles_deg[0] - 360 if angles_deg[0] > 180 else angles_deg[0]
    if not start_deg < 90 < angles_deg[1]:
        raise ValueError("the wall lies flat at the rim; no rim can be made there")
    outer = joined([outside.cut(0, place), arc(centre, radius_mm, start_deg, 90)])
    inner = joined([dense.cut(0, touch), arc(centre, radius_mm, angles_deg[1], 90)])
    return (outer, inner), (place, _same_place(inside, dense, touch))


def _cut_rim(outside, inside, top_mm, rim_mm):
    """Return both sides up to the middle of a flat rim with rounded edges, and where the edges start."""
    places = [side.place_at_height(top_mm) for side in (outside, inside)]
    if None in places:
        raise ValueError(f"the inside does not reach the rim's height, {top_mm:g} mm")
    edges = [side.at(place)[0].copy() for side, place in zip((outside, inside), places, strict=True)]
    middle = (edges[0] + edges[1]) / 2
    half_mm = abs(edges[0][0] - middle[0])
    if rim_mm >= half_mm:
        raise ValueError(f"rim_mm: {rim_mm:g} mm; it must be under half the wall there, {half_mm:.3g} mm")
    halves = []
    for side, place, edge in zip((outside, inside), places, edges, strict=True):
        half = joined([side.cut(0, place), line(edge, middle)])
        halves.append(_finished(half, edge, rim_mm, "rim_mm"))
    return tuple(halves), tuple(places)


def _finished(outline, point_mm, radius_mm, name):
    """Return the outline with the corner at a point rounded; the measure's name goes into the error."""
    if radius_mm == 0:
        return outline
    try:
        return rounded(outline, corner_near(outline, point_mm), radius_mm)
    except ValueError as fault:
        raise ValueError(f"{name}: {fault}") from None


def _same_place(outline, dense, place):
    """Return the place on an outline that lies at the height of a place on its dense copy."""
    found = outline.place_at_height(dense.at(place)[0][1])
    return outline.end if found is None else found


def _thinnest_mm(outside, inside):
    import shapely

    rim = outside.points_mm[-1]
    whole = np.concatenate([outside.points_mm, [[0.0, rim[1]]]])
    beyond = ~shapely.covers(
        shapely.Polygon(whole).buffer(1e-9), shapely.points(inside.points_mm[inside.points_mm[:, 1] < rim[1]])
    )
    if beyond.any():
        height_mm = inside.points_mm[inside.points_mm[:, 1] < rim[1]][beyond][0, 1]
        raise ValueError(f"the inside breaks through the outside {height_mm:.1f} mm above the table")
    return float(shapely.LineString(outside.points_mm).distance(shapely.LineString(inside.points_mm)))


def _check_section(section):
    import shapely

    # Points on the axis close the polygon by themselves.
    polygon = shapely.Polygon(section.points_mm)
    if not polygon.is_valid:
        fault = shapely.is_valid_reason(polygon)
        raise ValueError(f"the glass's section crosses itself: {fault} (radius, height, mm)")
