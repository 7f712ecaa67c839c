"""The table plan: the table's light from above, to scale, with glasses, lamps and a scale bar."""

import math
from dataclasses import dataclass

import numpy as np

from . import strokes
from .adjust import display
from .strokes import INK, QUIET, WHITE, Word

TITLE_PX, SMALL_PX = 36, 18
MARGIN, TICK_BAND, LAMP_BAND, PATCH_PX = 90, 56, 150, 66
LEAST_LONG_SIDE, MOST_LONG_SIDE = 1000, 2000
LEAST_WIDTH = 800
SCALE_BARS_MM = (10, 20, 50, 100)
TICKS_MM = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 10**6)
DARKEST_STOP = -5


@dataclass(frozen=True)
class Circle:
    """A glass's foot or mouth seen from above.

    Parameters
    ----------
    x_mm, y_mm, radius_mm : float
    part : str
        "foot", drawn whole, or "mouth", drawn dashed.
    name : str
        Written beside a foot when the plan shows more than one.
    """

    x_mm: float
    y_mm: float
    radius_mm: float
    part: str = "foot"
    name: str = ""

    def __post_init__(self):
        if self.part not in ("foot", "mouth"):
            raise ValueError(f"part is {self.part!r}; use 'foot' or 'mouth'")
        if not self.radius_mm > 0:
            raise ValueError(f"radius_mm is {self.radius_mm}; use more than 0")


@dataclass(frozen=True)
class Plan:
    """What a table plan shows.

    Parameters
    ----------
    title, quality : str
    light : (ny, nx, 3) float
        The table's light as `adjust.develop` gives it (linear sRGB, 1 = display
        white), row by row from the camera's side.
    x_mm, y_mm : (nx,) and (ny,) float
        Cell centres, rising, square cells of one size.
    plain_level : float
        Linear level that the plain lit table has in `light`; 0 stops.
    circles : tuple of Circle
    lamps : tuple of (str, float)
        Name and azimuth in degrees (0 toward the camera, clockwise from above).
    relative : bool
        No meter reading stands behind the light.
    note : str
        One more line under the title.

    Raises
    ------
    ValueError
        Shapes disagree, cells are uneven, or `plain_level` is not above 0.
    """

    title: str
    quality: str
    light: np.ndarray
    x_mm: np.ndarray
    y_mm: np.ndarray
    plain_level: float
    circles: tuple = ()
    lamps: tuple = ()
    relative: bool = False
    note: str = ""

    def __post_init__(self):
        if np.shape(self.light) != (len(self.y_mm), len(self.x_mm), 3):
            raise ValueError(
                f"light is {np.shape(self.light)}; with these cell centres it must be"
                f" ({len(self.y_mm)}, {len(self.x_mm)}, 3)"
            )
        if min(len(self.x_mm), len(self.y_mm)) < 2:
            raise ValueError("a plan needs at least two cells each way")
        steps = np.concatenate([np.diff(self.x_mm), np.diff(self.y_mm)])
        if not (steps.min() > 0 and np.ptp(steps) < 1e-3 * steps.max()):
            raise ValueError(f"cells step by {steps.min():g} to {steps.max():g} mm; use one step, above 0")
        if not self.plain_level > 0:
            raise ValueError(f"plain_level is {self.plain_level}; use more than 0")

    @property
    def cell_mm(self):
        """Side of a cell, mm."""
        return float(self.x_mm[-1] - self.x_mm[0]) / (len(self.x_mm) - 1)


@dataclass(frozen=True)
class Layout:
    """Where things stand on the sheet, in pixels from its top left corner.

    Parameters
    ----------
    size : (int, int)
        Width and height of the sheet.
    frame : (int, int, int, int)
        Left, top, right, bottom of the table's light.
    px_per_mm : float
    zero : (float, float)
        The datum, which may lie outside the frame.
    scale_mm : int
        Length that the scale bar stands for.
    footer : int
        Top of the block under the plan.
    """

    size: tuple
    frame: tuple
    px_per_mm: float
    zero: tuple
    scale_mm: int
    footer: int

    def place(self, x_mm, y_mm):
        """Return the pixel position (right, down) of a point on the table."""
        return self.zero[0] + x_mm * self.px_per_mm, self.zero[1] - y_mm * self.px_per_mm

    @property
    def scale_bar(self):
        """Left, top, right, bottom of the scale bar."""
        left, top = self.frame[0], self.footer + 190
        return left, top, left + self.scale_mm * self.px_per_mm, top + 12


def draw_table_plan(plan):
    """Return the sheet: the table's light to scale, +y up, the camera's side below.

    Cells are drawn as whole squares of pixels, or averaged in linear light when
    there are more than 2000 along a side, so nothing is smoothed or lost.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    (h, w, 3) uint8
        sRGB.
    """
    layout = arrange(plan)
    sheet = strokes.blank(*layout.size)
    left, top, right, bottom = layout.frame
    sheet[top:bottom, left:right] = _magnified(plan)
    words = [
        *_title(layout, plan),
        *_draw_frame(sheet, layout),
        *_draw_glasses(sheet, layout, plan),
        *_draw_lamps(sheet, layout, plan),
        *_draw_stops(sheet, layout, plan),
        *_draw_scale_and_key(sheet, layout),
    ]
    return strokes.printed(sheet, words)


def arrange(plan):
    """Return where the parts of a plan's sheet stand.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    Layout
    """
    enlarged, averaged = _factors(plan)
    rows, columns = (side // averaged * enlarged for side in plan.light.shape[:2])
    px_per_mm = enlarged / (averaged * plan.cell_mm)
    sides = {_exit(plan, azimuth)[0] for _, azimuth in plan.lamps}
    left = MARGIN + TICK_BAND + LAMP_BAND * ("left" in sides)
    top = MARGIN + 80 + 30 * len(_lines_under_title(plan)) + LAMP_BAND * ("top" in sides)
    footer = top + rows + TICK_BAND + LAMP_BAND * ("bottom" in sides) + 66
    width = max(left + columns + LAMP_BAND * ("right" in sides) + MARGIN, LEAST_WIDTH + 2 * MARGIN)
    fitting = [mm for mm in SCALE_BARS_MM if mm * px_per_mm <= columns / 3]
    return Layout(
        size=(width, footer + 230 + MARGIN),
        frame=(left, top, left + columns, top + rows),
        px_per_mm=px_per_mm,
        zero=(
            left + (plan.cell_mm / 2 - plan.x_mm[0]) * px_per_mm,
            top + rows - (plan.cell_mm / 2 - plan.y_mm[0]) * px_per_mm,
        ),
        scale_mm=fitting[-1] if fitting else SCALE_BARS_MM[0],
        footer=footer,
    )


def _factors(plan):
    """Return pixels per side of a cell, and cells averaged along a side."""
    cells = max(plan.light.shape[:2])
    averaged = -(-cells // MOST_LONG_SIDE)
    return -(-LEAST_LONG_SIDE // (cells // averaged)), averaged


def _magnified(plan):
    enlarged, averaged = _factors(plan)
    rows, columns = (side // averaged for side in plan.light.shape[:2])
    kept = np.asarray(plan.light)[: rows * averaged, : columns * averaged]
    means = kept.reshape(rows, averaged, columns, averaged, 3).mean(axis=(1, 3))
    return display(means)[::-1].repeat(enlarged, axis=0).repeat(enlarged, axis=1)


def _lines_under_title(plan):
    facts = f"{plan.quality} quality · table from above · cell {plan.cell_mm:.3g} mm"
    relative = "Relative: no meter reading was given. Compare stops; take no f-number from it."
    return [line for line in (facts, plan.note, relative * plan.relative) if line]


def _title(layout, plan):
    left, width = layout.frame[0], layout.size[0] - MARGIN - layout.frame[0]
    lines = _lines_under_title(plan)
    return [Word(left, MARGIN, plan.title, size=TITLE_PX, width=width)] + [
        Word(left, MARGIN + 58 + 30 * row, text, colour=QUIET, width=width) for row, text in enumerate(lines)
    ]


def _draw_frame(sheet, layout):
    """Draw frame, ticks in mm on the left and below, and the camera's side; return the words."""
    left, top, right, bottom = layout.frame
    strokes.outline(sheet, *layout.frame)
    words = [Word(right + 34, bottom + 14, "mm", "la", SMALL_PX, QUIET)]
    step = next(mm for mm in TICKS_MM if (right - left + bottom - top) / layout.px_per_mm / mm <= 20)
    reach = (left - layout.zero[0], right - layout.zero[0])
    for tick, long in _ticks(step, reach, layout.px_per_mm):
        at = layout.zero[0] + tick * layout.px_per_mm
        strokes.line(sheet, (at, bottom), (at, bottom + (10 if long else 5)), 1.2)
        words += [Word(at, bottom + 14, f"{tick:g}", "ma", SMALL_PX, QUIET)] * long
    reach = (layout.zero[1] - bottom, layout.zero[1] - top)
    for tick, long in _ticks(step, reach, layout.px_per_mm):
        at = layout.zero[1] - tick * layout.px_per_mm
        strokes.line(sheet, (left - (10 if long else 5), at), (left, at), 1.2)
        words += [Word(left - 15, at, f"{tick:g}", "rm", SMALL_PX, QUIET)] * long

    middle, base = (left + right) / 2, layout.footer - 52
    strokes.triangle(sheet, [(middle - 62, base), (middle - 70, base + 15), (middle - 54, base + 15)])
    return [*words, Word(middle - 44, base + 8, "camera side", "lm")]


def _ticks(step, reach_px, px_per_mm):
    """Return the ticks within reach of the datum, mm, and whether each is a whole step."""
    parts = 4 if str(step)[0] == "2" else 5
    low, high = (px / px_per_mm * parts / step for px in reach_px)
    first, last = math.ceil(low - 1e-6), math.floor(high + 1e-6)
    return [(step * k / parts, k % parts == 0) for k in range(first, last + 1)]


def _draw_glasses(sheet, layout, plan):
    """Draw every foot and mouth and the datum, dark on white so that any ground shows them."""
    for colour, width in ((WHITE, 5.0), (INK, 1.8)):
        for circle in plan.circles:
            at = layout.place(circle.x_mm, circle.y_mm)
            dash = (16, 11) if circle.part == "mouth" else None
            strokes.ring(sheet, at, circle.radius_mm * layout.px_per_mm, width, colour, layout.frame, dash)
        strokes.cross(sheet, layout.zero, 11, width, colour, layout.frame)

    feet = [circle for circle in plan.circles if circle.part == "foot"]
    left, top, right, bottom = layout.frame
    widest = [max(c.radius_mm for c in plan.circles if (c.x_mm, c.y_mm) == (f.x_mm, f.y_mm)) for f in feet]
    below = [layout.place(f.x_mm, f.y_mm - radius) for f, radius in zip(feet, widest, strict=True)]
    return [
        Word(x, y + 8, foot.name, "ma", SMALL_PX, haloed=True)
        for foot, (x, y) in zip(feet, below, strict=True)
        if len(feet) > 1 and left < x < right and top < y < bottom - 30
    ]


def _draw_lamps(sheet, layout, plan):
    """Draw an arrow from each lamp's way toward the datum; return names and azimuths."""
    left, top, right, bottom = layout.frame
    labels = {}
    for name, azimuth_deg in plan.lamps:
        side, from_centre = _exit(plan, azimuth_deg)
        way = np.array(_outward(azimuth_deg))
        at = np.array([left + right, top + bottom]) / 2 + np.multiply(from_centre, layout.px_per_mm)
        clear = TICK_BAND + 8 if side in ("left", "bottom") else 16
        tip = at + way * clear / abs(way[0 if side in ("left", "right") else 1])
        strokes.arrow(sheet, tip + way * 58, tip)
        labels.setdefault(side, []).append((*(tip + way * 70), name, f"{azimuth_deg % 360:.4g}°"))

    words = []
    for side, entries in labels.items():
        axis = 1 if side in ("left", "right") else 0
        entries.sort(key=lambda entry: entry[axis])
        ends = (top, bottom) if axis else (left - MARGIN, right + MARGIN)
        spread = _spread([entry[axis] for entry in entries], 62 if axis else LAMP_BAND, *ends)
        anchor = {"left": "rm", "right": "lm", "top": "ms", "bottom": "ma"}[side]
        up, down = {"m": (-12, 12), "s": (-26, 0), "a": (0, 26)}[anchor[1]]
        for (x, y, name, azimuth), along in zip(entries, spread, strict=True):
            x, y = (x, along) if axis else (along, y)
            words.append(Word(x, y + up, name, anchor, width=LAMP_BAND, haloed=True))
            words.append(Word(x, y + down, azimuth, anchor, colour=QUIET, haloed=True))
    return words


def _outward(azimuth_deg):
    """Return the way to a lamp on the sheet (right, down)."""
    azimuth = math.radians(azimuth_deg)
    return -math.sin(azimuth), math.cos(azimuth)


def _exit(plan, azimuth_deg):
    """Return where the way to a lamp leaves the picture: side, and mm right and down of the middle."""
    half = [len(plan.x_mm) * plan.cell_mm / 2, len(plan.y_mm) * plan.cell_mm / 2]
    # From the datum if it is in the picture, else from the middle: it is the direction that counts.
    start = [-(plan.x_mm[0] + plan.x_mm[-1]) / 2, (plan.y_mm[0] + plan.y_mm[-1]) / 2]
    if any(abs(s) >= h for s, h in zip(start, half, strict=True)):
        start = [0.0, 0.0]
    way = _outward(azimuth_deg)
    reach = [
        (math.copysign(h, w) - s) / w if abs(w) > 1e-9 else math.inf
        for s, h, w in zip(start, half, way, strict=True)
    ]
    axis = reach.index(min(reach))
    side = (("left", "right"), ("top", "bottom"))[axis][way[axis] > 0]
    return side, [s + min(reach) * w for s, w in zip(start, way, strict=True)]


def _spread(places, gap, low, high):
    """Return rising places moved as little as keeps a gap between neighbours, within ends if they fit."""
    # Without the gaps the order alone is to hold: pool neighbours that break it to their mean.
    pools = []
    for row, place in enumerate(places):
        pools.append([place - row * gap, 1])
        while len(pools) > 1 and pools[-1][0] < pools[-2][0]:
            (mean, count), (before, many) = pools.pop(), pools.pop()
            pools.append([(mean * count + before * many) / (count + many), count + many])
    ends = low, max(low, high - gap * (len(places) - 1))
    moved = [min(max(mean, ends[0]), ends[1]) for mean, count in pools for _ in range(count)]
    return [place + row * gap for row, place in enumerate(moved)]


def _draw_stops(sheet, layout, plan):
    """Draw the strip of greys by stops over the plain lit table; return the words."""
    left, top = layout.frame[0], layout.footer
    clips_from = -math.log2(plan.plain_level)
    stops = range(DARKEST_STOP, min(max(math.ceil(clips_from - 1e-6), 1), 6) + 1)
    width = min(PATCH_PX, (layout.size[0] - MARGIN - left) // len(stops))
    words = [Word(left, top, "Stops over the plain lit table")]
    for row, stop in enumerate(stops):
        at = left + row * width
        sheet[top + 36 : top + 76, at : at + width] = display(np.full(3, plan.plain_level * 2.0**stop))
        words.append(Word(at + width / 2, top + 84, f"{stop:+d}" if stop else "0", "ma", SMALL_PX))
    end = left + len(stops) * width
    strokes.outline(sheet, left, top + 36, end, top + 76)
    zero = left + (0.5 - DARKEST_STOP) * width
    strokes.triangle(sheet, [(zero, top + 112), (zero - 7, top + 124), (zero + 7, top + 124)])
    words.append(Word(zero, top + 130, "plain table", "ma", SMALL_PX, QUIET))
    words.append(Word(end, top + 2, f"clips from {clips_from:+.1f}", "ra", SMALL_PX, QUIET))
    return words


def _draw_scale_and_key(sheet, layout):
    left, top, right, bottom = layout.scale_bar
    middle, row = (left + right) / 2, (top + bottom) / 2
    strokes.box(sheet, left, top, right, bottom)
    strokes.box(sheet, middle, top + 2, right - 2, bottom - 2, strokes.PAPER)
    at = max(right + 70, left + 230)
    strokes.ring(sheet, (at, row), 12, 1.8)
    strokes.ring(sheet, (at + 108, row), 12, 1.8, dash=(6, 4))
    strokes.cross(sheet, (at + 236, row), 11, 1.8)
    return [
        Word(left, bottom + 10, f"{layout.scale_mm} mm"),
        Word(at + 22, row, "foot", "lm"),
        Word(at + 130, row, "mouth", "lm"),
        Word(at + 256, row, "datum", "lm"),
    ]
