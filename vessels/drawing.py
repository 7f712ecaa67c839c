"""The section of a vessel to scale, with its measures, for a sheet of paper."""

from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np

from .library import Vessel
from .linework import INK, PAPER, QUIET, Area, Paper, Stroke, Text, circle, svg_text, write_png
from .numbers import Numbers, describe

SCALES = (1.0, 0.5, 0.2, 0.1)
# What a page of A4 leaves for the section, mm.
_ROOM_MM = (118.0, 195.0)
_MARGIN_MM, _GAP_MM, _LINE_MM = 12.0, 8.0, 5.0
_LEFT_MM, _RIGHT_MM = 22.0, 58.0
_THIN, _THICK = 0.13, 0.35
_WORD_MM = 3.0
_NARROW_SHARE = 0.6  # of the widest radius: a waist narrower than this is measured


@dataclass(frozen=True)
class Layout:
    """Where the section stands on the paper.

    Parameters
    ----------
    scale : float
        Millimetres of paper per millimetre of glass.
    axis_mm, table_mm : float
        The glass's axis from the left, the table top from below, mm of paper.
    half_mm : float
        Half the section's width, mm of paper.
    size_mm : (float, float)
        The paper's.
    """

    scale: float
    axis_mm: float
    table_mm: float
    half_mm: float
    size_mm: tuple[float, float]

    def place(self, points_mm):
        """Return places on the paper of points (…, 2), radius and height of the glass."""
        return np.asarray(points_mm, dtype=float) * self.scale + [self.axis_mm, self.table_mm]


def draw_section(vessel: Vessel, numbers: Numbers) -> Paper:
    """Return the drawing of a vessel's section.

    It stands at 1:1 where a page of A4 has room, else at the next of ``SCALES``; fill lines are those of
    the numbers.

    Parameters
    ----------
    vessel : Vessel
    numbers : Numbers
    """
    facts = describe(numbers)
    layout = _arrange(vessel, len(facts))
    marks = [
        *_draw_glass(vessel, layout),
        *_draw_fills(vessel, numbers, layout),
        *_draw_axis(vessel, numbers, layout),
        *_draw_height(vessel, layout),
        *_draw_diameters(vessel, layout),
        *_draw_words(vessel, facts, layout),
    ]
    return Paper(layout.size_mm, tuple(marks))


def write_section(vessel: Vessel, numbers: Numbers, *paths: Path) -> None:
    """Write the drawing into files, PNG or SVG by their ending.

    Raises
    ------
    ValueError
        A path ends otherwise.
    OSError
        A file cannot be written.
    """
    for path in paths:
        if Path(path).suffix.lower() not in (".png", ".svg"):
            raise ValueError(f"{path}: a drawing is a .png or .svg")
    paper = draw_section(vessel, numbers)
    facts = "; ".join(f"{label}: {value}" for label, value in describe(numbers))
    about = f"brimcast {version('brimcast')}. {vessel.name}. {facts}"
    for path in map(Path, paths):
        if path.suffix.lower() == ".png":
            write_png(path, paper, about=about)
        else:
            path.write_text(svg_text(paper, f"{vessel.name}, section", about), encoding="utf-8")


def _arrange(vessel, facts):
    half_mm = float(vessel.outer.points_mm[:, 0].max())
    fitting = [s for s in SCALES if 2 * half_mm * s <= _ROOM_MM[0] and vessel.height_mm * s <= _ROOM_MM[1]]
    scale = fitting[0] if fitting else SCALES[-1]
    words_mm = 6 + _LINE_MM * (facts + 0.5)
    table_mm = _MARGIN_MM + words_mm + 3 * _GAP_MM
    width = max(_LEFT_MM + 2 * half_mm * scale + _RIGHT_MM, 130.0) + _MARGIN_MM
    height = table_mm + vessel.height_mm * scale + 2 * _GAP_MM + _MARGIN_MM
    left = _MARGIN_MM + _LEFT_MM - 10 + half_mm * scale
    return Layout(scale, left, table_mm, half_mm * scale, (width, height))


def _draw_glass(vessel, layout):
    """Draw table and section: glass in a tone, its edges heavy."""
    outline = vessel.section.points_mm
    marks = []
    for side in (1, -1):
        marks.append(Area(layout.place(outline * [side, 1])))
        if vessel.closed:
            marks.append(Area(layout.place(vessel.inner.points_mm * [side, 1]), PAPER))
    for side in (1, -1):
        marks.append(Stroke(layout.place(outline * [side, 1]), _THICK))
        if vessel.closed:
            marks.append(Stroke(layout.place(vessel.inner.points_mm * [side, 1]), _THIN))
    reach = layout.half_mm + 6
    ends = [(layout.axis_mm - reach, layout.table_mm), (layout.axis_mm + reach, layout.table_mm)]
    return [*marks, Stroke(np.array(ends), 0.5)]


def _draw_axis(vessel, numbers, layout):
    """Draw the axis, and the empty glass's centre of mass as a quartered disc."""
    ends = layout.place([(0, -3 / layout.scale), (0, vessel.height_mm + 3 / layout.scale)])
    at = layout.place((0.0, numbers.centre_mm))
    quarters = [Area(np.concatenate([[at], circle(at, 1.4, start, start + 90)]), INK) for start in (0, 180)]
    return [
        Stroke(ends, _THIN, QUIET, (6.0, 1.2, 1.2, 1.2)),
        Area(circle(at, 1.4), PAPER),
        *quarters,
        Stroke(circle(at, 1.4), _THIN),
    ]


def _draw_fills(vessel, numbers, layout):
    """Draw fill lines, and on the right what they hold, the wall and the base."""
    marks, labels = [], []
    for fill in numbers.fills:
        place = vessel.inner.place_at_height(fill.height_mm, last=False)
        radius = 0.0 if place is None else vessel.inner.at(place)[0][0]
        left, right = layout.place([(-radius, fill.height_mm), (radius, fill.height_mm)])
        marks.append(Stroke(np.array([left, right]), 0.25))
        tip = layout.place((0.6 * radius, fill.height_mm))
        marks.append(Stroke(tip + np.array([(0, 0), (-1.3, 2.2), (1.3, 2.2), (0, 0)]), _THIN))
        labels.append((right, f"fill {round(fill.height_mm, 1):g}: {fill.volume_ml:.0f} ml"))
    if not vessel.closed:
        middle = vessel.base_mm + 0.72 * (vessel.height_mm - vessel.base_mm)
        outside = vessel.outer.at(vessel.outer.place_at_height(middle))[0]
        labels.append((layout.place(outside), f"wall {_wall_there(vessel, outside):.2g}"))
        labels.append((layout.place((0.0, vessel.base_mm)), f"base {vessel.base_mm:.3g}"))
    else:
        under = vessel.outer.points_mm[-1]
        labels.append((layout.place(under), f"lid {under[1]:.3g}"))
    labels.sort(key=lambda label: label[0][1])
    heights = _apart([at[1] for at, _ in labels], 4.2)
    beyond = layout.axis_mm + layout.half_mm + 8
    for (at, words), height in zip(labels, heights, strict=True):
        knee = (beyond - 2, height)
        marks.append(Stroke(np.array([at, (max(at[0], beyond - 7), at[1]), knee, (beyond, height)]), _THIN))
        marks.append(Area(circle(at, 0.4), INK))
        marks.append(Text((beyond + 1, height), words, size_mm=_WORD_MM))
    return marks


def _wall_there(vessel, point):
    """Return the shortest way from a point of the outside to the inside, mm."""
    import shapely

    return shapely.LineString(vessel.inner.points_mm).distance(shapely.Point(point))


def _apart(heights, least):
    """Return rising heights moved as little as keeps them apart."""
    # Those that crowd move together about their own middle.
    groups = []
    for height in heights:
        groups.append([height, 1])
        while len(groups) > 1 and groups[-1][0] - groups[-2][0] < least * sum(g[1] for g in groups[-2:]) / 2:
            (upper, more), (lower, some) = groups.pop(), groups.pop()
            groups.append([(lower * some + upper * more) / (some + more), some + more])
    return [middle + least * (k - (count - 1) / 2) for middle, count in groups for k in range(count)]


def _draw_height(vessel, layout):
    at = layout.axis_mm - layout.half_mm - 9
    low, high = layout.table_mm, layout.place((0, vessel.height_mm))[1]
    rim = layout.axis_mm - vessel.rim_radius_mm * layout.scale
    return [
        Stroke(np.array([(at - 1.5, high), (rim - 1, high)]), _THIN),
        Stroke(np.array([(at - 1.5, low), (layout.axis_mm - layout.half_mm - 6, low)]), _THIN),
        *_arrows((at, low), (at, high)),
        Text((at - 2.4, (low + high) / 2), f"{vessel.height_mm:g}", "middle", _WORD_MM, upward=True),
    ]


def _draw_diameters(vessel, layout):
    """Draw rim above, foot and widest circle below, and a waist beside it."""
    points = vessel.outer.points_mm
    widest = points[points[:, 0].argmax()]
    top = layout.place((0, vessel.height_mm))[1]
    rows = [((vessel.rim_radius_mm, vessel.height_mm), top + _GAP_MM)]
    rows.append(((vessel.foot_radius_mm, 0.0), layout.table_mm - _GAP_MM))
    known = [vessel.rim_radius_mm, vessel.foot_radius_mm]
    if min(abs(widest[0] - radius) for radius in known) > 0.5:
        rows.append((tuple(widest), layout.table_mm - 2 * _GAP_MM))
    marks = []
    for (radius, height), row in rows:
        ends = layout.place([(-radius, height), (radius, height)])
        beyond = 1.5 * np.sign(row - ends[0, 1])
        for x, y in ends:
            marks.append(Stroke(np.array([(x, y + beyond / 2), (x, row + beyond)]), _THIN, QUIET))
        marks += _arrows((ends[0, 0], row), (ends[1, 0], row))
        marks += _boxed(f"{2 * radius:.4g} dia", layout.axis_mm, row)
    waist = _find_waist(vessel)
    if waist is not None:
        left, right = layout.place([(-waist[0], waist[1]), (waist[0], waist[1])])
        for tail, tip in ((left - [7, 0], left), (right + [7, 0], right)):
            marks += [Stroke(np.array([tail, tip]), _THIN), _head(tip, tip - tail)]
        words = f"{2 * waist[0]:.3g} dia"
        marks.append(Text((left[0] - 8, left[1]), words, "end", _WORD_MM))
    return marks


def _find_waist(vessel):
    """Return radius and height of a stem's or neck's narrowest place, None where nothing is that narrow."""
    points = vessel.outer.points_mm
    radius, height = points[points[:, 1].argmin() :].T
    inner = np.flatnonzero((height > 0.03 * vessel.height_mm) & (height < 0.97 * vessel.height_mm))
    if vessel.closed or not len(inner):
        return None
    least = radius[inner].min()
    ends = min(vessel.rim_radius_mm, vessel.foot_radius_mm)
    if least > _NARROW_SHARE * radius.max() or least > ends - 0.1:
        return None
    level = height[inner[radius[inner] < least + 0.02]]
    return float(least), float((level.min() + level.max()) / 2)


def _boxed(words, x, y):
    """Return words in the middle of a line, on a patch of paper."""
    half = 0.29 * _WORD_MM * len(words) + 0.6
    patch = np.array([(x - half, y - 2), (x + half, y - 2), (x + half, y + 2), (x - half, y + 2)])
    return [Area(patch, PAPER), Text((x, y), words, "middle", _WORD_MM)]


def _arrows(start, stop):
    start, stop = np.array(start, dtype=float), np.array(stop, dtype=float)
    return [Stroke(np.array([start, stop]), _THIN), _head(stop, stop - start), _head(start, start - stop)]


def _head(tip, way):
    way = np.asarray(way) / np.hypot(*way)
    across = np.array([-way[1], way[0]])
    return Area(np.array([tip, tip - 2.4 * way + 0.45 * across, tip - 2.4 * way - 0.45 * across]), INK)


def _draw_words(vessel, facts, layout):
    """Draw the name, the numbers, the scale and its bar at the foot of the page."""
    left = _MARGIN_MM
    top = layout.table_mm - 3 * _GAP_MM - 2
    marks = [Text((left, top), vessel.name, size_mm=5.5)]
    ratio = f"1:{1 / layout.scale:g}"
    marks.append(Text((left, top - 6), f"section {ratio}, measures in mm", size_mm=_WORD_MM, grey=QUIET))
    for row, (label, value) in enumerate(facts):
        height = top - 6 - _LINE_MM * (row + 1)
        marks.append(Text((left, height), label, size_mm=_WORD_MM, grey=QUIET))
        marks.append(Text((left + 42, height), value, size_mm=_WORD_MM))
    # The bar tells whether a print has kept its scale.
    long_mm = 50 if layout.scale >= 0.5 else 200
    right = layout.size_mm[0] - _MARGIN_MM
    bar, high = long_mm * layout.scale, top
    corners = [(right - bar, high), (right, high), (right, high + 1.2), (right - bar, high + 1.2)]
    halves = [(right - bar / 2, high + 0.2), (right - 0.2, high + 0.2), (right - 0.2, high + 1)]
    marks += [Area(np.array(corners), INK), Area(np.array([*halves, (right - bar / 2, high + 1)]), PAPER)]
    marks.append(Text((right, high - 2.4), f"{long_mm} mm", "end", _WORD_MM))
    return marks
