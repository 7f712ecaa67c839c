"""What a person measured of a glass, and the vessel that it makes; one form for set files and vessel files.

Readers take plain values as they stand in YAML, quantities with their units, and raise `Wrong`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from brimcast.shared.quantity import QuantityError, parse

from .curve import smooth_curve
from .library import Vessel, vessel_from_outline
from .outline import OutlineError
from .wall import Measures, close_wall, wall_of_section

_MOST_MM = 2000.0
_STEM_SHARE, _FILLET_SHARE = 0.4, 0.15  # as in `library.vessel_from_outline`
EDGES = {"round": None, "cut": 0.0}


class Wrong(ValueError):
    """A value that cannot be read.

    Parameters
    ----------
    text : str
        What is wrong, the value, and what is allowed.
    *below : str or int
        Path from the value that was read to the one at fault.
    """

    def __init__(self, text, *below):
        super().__init__(text)
        self.text, self.below = text, below


@dataclass(frozen=True)
class Drawing:
    """An outline in a file.

    Parameters
    ----------
    file : str
        SVG or CSV.
    height_mm : float or None
        Height of the glass, which sets the scale; None: as the file says.
    path : str or None
        Name (id) of the path in an SVG; None: the first.
    inside : str or None
        Name (id) of the path that is the inside; None: not drawn apart.
    axis : float or None
        Where the axis stands, in the drawing's units; None: found.
    """

    file: str
    height_mm: float | None = None
    path: str | None = None
    inside: str | None = None
    axis: float | None = None


@dataclass(frozen=True)
class Measured:
    """A glass by its measures. The outline is either a table of points or a drawing.

    Parameters
    ----------
    outline_mm : tuple of (float, float)
        Height and outer diameter, mm, from the foot up.
    drawing : Drawing or None
    corners : mapping of int to float
        Points, from 0, that stay sharp, with the radius that rounds them, mm.
    inside_mm : tuple of (float, float)
        Height and inner diameter, mm; empty: the wall's thickness counts.
    wall_mm : float or tuple of (float, float)
        Thickness, or pairs of height and thickness, mm.
    base_mm : float
        Height of the inside's lowest point, mm; not under the first point of ``inside_mm``.
    fillet_mm, heel_mm, hollow_mm : float or None
        See `wall.Measures`; None: as usual for such a glass.
    edge_mm : float or None
        Radius of the edges of a cut rim, mm, 0 sharp; None: a round rim.
    bead_mm : float or None
        Diameter of a rolled rim, mm.
    """

    outline_mm: tuple[tuple[float, float], ...] = ()
    drawing: Drawing | None = None
    corners: Mapping[int, float] = field(default_factory=dict)
    inside_mm: tuple[tuple[float, float], ...] = ()
    wall_mm: float | tuple[tuple[float, float], ...] = 2.0
    base_mm: float = 8.0
    fillet_mm: float | None = None
    heel_mm: float | None = None
    hollow_mm: float | None = None
    edge_mm: float | None = None
    bead_mm: float | None = None

    @property
    def finish(self):
        """Keywords of `wall.Measures` that are given."""
        names = {"fillet_mm": "fillet_mm", "heel_mm": "heel_mm", "hollow_mm": "hollow_mm"}
        names |= {"edge_mm": "rim_mm", "bead_mm": "bead_mm"}
        return {to: getattr(self, name) for name, to in names.items() if getattr(self, name) is not None}


def make_vessel(measured, folder=".", name="measured"):
    """Return the Vessel that measures make; `folder` is where the drawing's file is looked for.

    Raises
    ------
    OutlineError
        A point of the outline is wrong; ``index`` says which.
    ValueError
        The measures do not fit together; the text begins with the measure.
    PersonError
        The drawing cannot be read.
    """
    if measured.drawing is None:
        if measured.inside_mm:
            try:
                smooth_curve(measured.inside_mm)
            except OutlineError as wrong:
                raise ValueError(f"inside_mm: {wrong}") from None
        lowest_mm = measured.inside_mm[0][0] if measured.inside_mm else 0.0
        return vessel_from_outline(
            measured.outline_mm,
            measured.wall_mm,
            max(measured.base_mm, lowest_mm),
            measured.corners,
            measured.inside_mm or None,
            name=name,
            **measured.finish,
        )
    from .outlinefile import read_outline

    drawn = read_outline(Path(folder) / measured.drawing.file, measured.drawing, measured.corners)
    if drawn.whole:
        wall = wall_of_section(drawn.outer, drawn.inner)
    else:
        wall = close_wall(drawn.outer, _drawn_measures(measured, drawn), drawn.inner)
    points = wall.outer.points_mm
    foot = points[points[:, 1] < min(wall.inner.points_mm[0, 1], 0.1 * points[-1, 1]), 0]
    return Vessel(
        name=name,
        height_mm=float(points[-1, 1]),
        outer=wall.outer,
        inner=wall.inner,
        section=wall.section,
        foot_radius_mm=float(foot.max()),
        rim_radius_mm=float(drawn.outer.points_mm[-1, 0]),
        thinnest_mm=wall.thinnest_mm,
    )


def _drawn_measures(measured, drawn):
    radius, height = drawn.outer.points_mm.T
    finish = measured.finish
    # What the drawing shows of the foot is not made a second time.
    finish.setdefault("heel_mm", 0.0 if drawn.underside else 1.0)
    finish.setdefault("hollow_mm", drawn.hollow_mm)
    if "fillet_mm" not in finish and radius.min() >= _STEM_SHARE * radius.max():
        finish["fillet_mm"] = 2 * _FILLET_SHARE * float(np.interp(measured.base_mm, height, radius))
    floored = drawn.inner is not None and drawn.inner.points_mm[0, 0] == 0
    base_mm = float(drawn.inner.points_mm[0, 1]) if floored else measured.base_mm
    return Measures(measured.wall_mm, base_mm, **finish)


def read_length(value, above_mm=0.0, least_mm=None):
    """Return a length with its unit as mm."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise Wrong(f"{_show(value)} is no length; write it like 150 mm")
    try:
        number = parse(value, "length")
    except QuantityError as error:
        raise Wrong(str(error)) from None
    low = number >= least_mm if least_mm is not None else number > above_mm
    if not (low and number <= _MOST_MM):
        limit = f"at least {least_mm:g}" if least_mm is not None else f"above {above_mm:g}"
        raise Wrong(f"{value} is out of range; allowed: {limit} mm and at most {_MOST_MM:g} mm")
    return number


def read_gap(value):
    """Return a length that may be 0 as mm."""
    return read_length(value, least_mm=0.0)


def read_points(value, names=("height", "outer diameter"), fewest=2):
    """Return pairs of lengths, mm."""
    wanted = f"a list of [{names[0]}, {names[1]}], from the foot up"
    if not isinstance(value, list | tuple) or len(value) < fewest:
        raise Wrong(f"{_show(value)} is not {wanted}; at least {fewest} pairs are needed")
    pairs = []
    for index, pair in enumerate(value):
        if not isinstance(pair, list | tuple) or len(pair) != 2:
            raise Wrong(f"{_show(pair)} is not a pair [{names[0]}, {names[1]}]", index)
        for place, item in enumerate(pair):
            try:
                read_gap(item)
            except Wrong as wrong:
                raise Wrong(wrong.text, index, place) from None
        pairs.append((read_gap(pair[0]), read_gap(pair[1])))
    return tuple(pairs)


def read_wall(value):
    """Return a thickness, mm, or pairs of height and thickness."""
    if not isinstance(value, list | tuple):
        return read_length(value)
    pairs = read_points(value, ("height", "thickness"), fewest=1)
    for index, (height_mm, thick_mm) in enumerate(pairs):
        if thick_mm <= 0:
            raise Wrong(f"a wall of {thick_mm:g} mm; it must be more than 0", index, 1)
        below_mm = pairs[index - 1][0]
        if index and height_mm <= below_mm:
            raise Wrong(f"{height_mm:g} mm is not above the height before, {below_mm:g} mm", index, 0)
    return pairs


def read_corners(value):
    """Return the radius at each corner, mm, by point from 0; a plain list means sharp ones."""
    if isinstance(value, Mapping):
        radii = {}
        for key, radius in value.items():
            try:
                radii[_point(key)] = read_gap(radius)
            except Wrong as wrong:
                raise Wrong(wrong.text, key) from None
        return radii
    if not isinstance(value, list | tuple):
        raise Wrong(f"{_show(value)} is no list of points; write [2, 5], or {{2: 1.5 mm}} with radii")
    corners = {}
    for index, item in enumerate(value):
        try:
            corners[_point(item)] = 0.0
        except Wrong as wrong:
            raise Wrong(wrong.text, index) from None
    return corners


def read_edge(value):
    """Return the radius of the rim's edges, mm, 0 for `cut`, None for `round`."""
    if isinstance(value, str) and value in EDGES:
        return EDGES[value]
    try:
        return read_gap(value)
    except Wrong:
        text = "allowed: round, cut, or the radius of a cut rim's edges like 0.5 mm"
        raise Wrong(f"{_show(value)} is no edge; {text}") from None


def read_text(value):
    """Return a text."""
    if not isinstance(value, str) or not value.strip():
        raise Wrong(f"{_show(value)} is not a text")
    return value


def read_number(value):
    """Return a plain number without a unit."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
        raise Wrong(f"{_show(value)} is not a number; write it without a unit, as in the drawing")
    return float(value)


def _point(value):
    if isinstance(value, str) and value.isdecimal():
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 1000:
        raise Wrong(f"{_show(value)} is no point of the outline; points are counted from 1")
    return value - 1


def _show(value):
    if isinstance(value, Mapping):
        return "a group of keys"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    return repr(value)[:60]


#: Keys of a glass's measures: which field each fills, how it is read.
KEYS = {
    "outline": ("outline_mm", read_points),
    "corners": ("corners", read_corners),
    "inside": ("inside_mm", lambda value: read_points(value, ("height", "inner diameter"))),
    "wall": ("wall_mm", read_wall),
    "base": ("base_mm", read_length),
    "fillet": ("fillet_mm", read_gap),
    "heel": ("heel_mm", read_gap),
    "hollow": ("hollow_mm", read_gap),
    "edge": ("edge_mm", read_edge),
    "bead": ("bead_mm", read_length),
}
#: Keys of a drawing.
DRAWING_KEYS = {
    "drawing": ("file", read_text),
    "height": ("height_mm", read_length),
    "path": ("path", read_text),
    "inside_path": ("inside", read_text),
    "axis": ("axis", read_number),
}
