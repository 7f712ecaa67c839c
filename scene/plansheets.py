"""Sheets of a set plan to print and to walk on set with: the views to scale, then numbers and cautions."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from brimcast.vessels.linework import INK, PAPER, QUIET, Area, Paper, Stroke, Text, circle

from .built import BuiltSet
from .captions import Label, set_labels, width_of
from .planviews import THIN, View, draw_view, window_of
from .setplan import DATUM, camera_lines, finding_lines

PAPERS_MM = {"a4": (210.0, 297.0), "a3": (297.0, 420.0)}
SCALES = (1.0, 0.5, 0.2, 0.1, 0.05, 0.04, 1 / 30, 0.025, 0.02, 0.01, 0.005, 0.002, 0.001)
MARGIN_MM, GAP_MM, HEAD_MM, FOOT_MM = 10.0, 8.0, 17.0, 16.0
ROW_MM, WORD_MM, TITLE_MM = 4.6, 2.9, 5.2
PLAN, ELEVATION = (0, 1), (1, 2)
NAMES = {PLAN: "Plan, from above", ELEVATION: "Elevation, from the right"}


def draw_sheets(built: BuiltSet, plan: dict, paper: str = "a4") -> list[Paper]:
    """Return the pages of a set plan.

    Parameters
    ----------
    built : BuiltSet
    plan : dict
        See `setplan.describe_plan`.
    paper : {'a4', 'a3'}
        Upright or on its side, whichever takes the larger scale.
    """
    size, views = _arrange(built, paper)
    return [_draw_views(built, plan, size, views, paper), *_write_numbers(plan, size)]


def _arrange(built: BuiltSet, paper: str) -> tuple[tuple[float, float], list[View]]:
    """Choose the largest scale at which both views fit, side by side or one above the other."""
    windows = {axes: window_of(built, axes) for axes in (PLAN, ELEVATION)}
    sides = [high - low for low, high in windows.values()]
    upright = PAPERS_MM[paper]
    for scale in SCALES:
        for size in (upright[::-1], upright):
            room = np.array(size) - [2 * MARGIN_MM, 2 * MARGIN_MM + HEAD_MM + FOOT_MM]
            (w1, h1), (w2, h2) = (side * scale for side in sides)
            beside = (w1 + w2 + GAP_MM, max(h1, h2))
            above = (max(w1, w2), h1 + h2 + GAP_MM)
            for together, stacked in ((beside, False), (above, True)):
                if np.all(np.array(together) <= room):
                    return size, _put(windows, scale, size, stacked)
    raise ValueError(f"a set {np.max(sides) / 1000:.0f} m across does not fit on paper")


def _put(windows, scale, size, stacked: bool) -> list[View]:
    (plan, elevation) = windows.items()
    top = size[1] - MARGIN_MM - HEAD_MM
    tall = [float((high - low)[1] * scale) for low, high in windows.values()]
    wide = float((plan[1][1] - plan[1][0])[0] * scale)
    first = np.array([MARGIN_MM, top - tall[0]])
    second = first + [wide + GAP_MM, tall[0] - tall[1]]
    if stacked:
        second = np.array([MARGIN_MM, first[1] - GAP_MM - tall[1]])
    return [
        View(axes, low, high, scale, corner)
        for (axes, (low, high)), corner in zip((plan, elevation), (first, second), strict=True)
    ]


def _draw_views(built: BuiltSet, plan: dict, size, views: list[View], paper: str) -> Paper:
    ratio = f"1:{round(1 / views[0].scale, 3):g}"
    marks = _heading(plan, size, f"Set plan {ratio} on {paper.upper()}")
    for view in views:
        low, high = view.frame_mm
        drawn, labels = draw_view(built, view)
        marks += drawn
        marks += set_labels(sorted(labels, key=lambda label: label.quiet), low, high)
        marks += _side_words(view)
    marks += _foot(size, views[0].scale)
    return Paper(tuple(size), tuple(marks))


def _side_words(view: View) -> list:
    low, high = view.frame_mm
    corners = np.array([low, (high[0], low[1]), high, (low[0], high[1]), low])
    marks = [Stroke(corners, THIN, QUIET), Text((low[0], high[1] + 2.6), NAMES[view.axes], size_mm=WORD_MM)]
    middle = (low[0] + high[0]) / 2
    sides = [((middle, low[1] - 2.6), "camera side", "middle"), ((middle, high[1] + 2.6), "behind", "middle")]
    if view.axes == ELEVATION:
        sides = [((low[0], low[1] - 2.6), "camera side", "start"), ((high[0], low[1] - 2.6), "behind", "end")]
    return marks + [Text(at, words, anchor, WORD_MM, QUIET) for at, words, anchor in sides]


def _heading(plan: dict, size, words: str) -> list:
    top = size[1] - MARGIN_MM
    right = size[0] - MARGIN_MM
    title = plan["set"]["title"]
    most = int((right - MARGIN_MM - width_of(words, 4.0) - 6) / width_of("n", TITLE_MM))
    title = title if len(title) <= most else title[: most - 1].rstrip() + "…"
    return [
        Text((MARGIN_MM, top - 3), title, size_mm=TITLE_MM),
        Text((right, top - 3), words, "end", 4.0),
        Stroke(np.array([(MARGIN_MM, top - 7.5), (right, top - 7.5)]), 0.35),
    ]


def _foot(size, scale: float) -> list:
    """Draw the scale bar, and say where everything is measured from."""
    long_mm = next(mm for mm in (20_000, 5000, 2000, 1000, 500, 200, 100, 50, 20) if mm * scale <= 60)
    left, low = MARGIN_MM, MARGIN_MM + 4.5
    fifth = long_mm * scale / 5
    marks = [Stroke(np.array([(left, low), (left + 5 * fifth, low)]), 0.2)]
    for part in range(5):
        start = left + part * fifth
        box = np.array([(start, low), (start + fifth, low), (start + fifth, low + 1.5), (start, low + 1.5)])
        marks += [Area(box, INK if part % 2 == 0 else PAPER), Stroke(np.concatenate([box, box[:1]]), THIN)]
    words = f"{long_mm / 1000:g} m" if long_mm >= 1000 else f"{long_mm} mm"
    marks.append(Text((left, low - 2.6), "0", "middle", WORD_MM))
    marks.append(Text((left + 5 * fifth, low - 2.6), words, "middle", WORD_MM))
    at = np.array([left + 5 * fifth + 14, low + 1])
    quarters = [Area(np.concatenate([[at], circle(at, 1.3, turn, turn + 90)]), INK) for turn in (0, 180)]
    marks += [*quarters, Stroke(circle(at, 1.3), THIN)]
    lines = (
        f"datum: {DATUM}. Azimuth runs clockwise from the camera's side.",
        "Print at 100 %, then measure the bar. Pale: light on its way to the hero. Thick line: bright front.",
        "Long dashes: frame. Short dashes: crop guide. Across it: plane of focus.",
    )
    for row, line in enumerate(lines):
        marks.append(Text((at[0] + 3, low + 4.6 - 3.8 * row), line, size_mm=2.5, grey=QUIET))
    return marks


@dataclass
class _Flow:
    """Rows of words that go on over pages."""

    size: tuple[float, float]
    plan: dict
    pages: list[list] = field(default_factory=list)
    at_mm: float = 0.0

    def need(self, tall_mm: float) -> None:
        """Begin a page where the rest of this one is too short."""
        if not self.pages or self.at_mm - tall_mm < MARGIN_MM:
            self.pages.append(_heading(self.plan, self.size, "Set plan, numbers"))
            self.at_mm = self.size[1] - MARGIN_MM - HEAD_MM + 3

    def say(self, words: str, grey: int = INK, size_mm: float = WORD_MM) -> None:
        """Write a line, broken where it is too long; what follows a break is set in."""
        most = int((self.size[0] - 2 * MARGIN_MM) / width_of("n", size_mm))
        for row, line in enumerate(_broken(words, most)):
            self.need(ROW_MM)
            at = (MARGIN_MM + 4 * (row > 0), self.at_mm)
            self.pages[-1].append(Text(at, line, size_mm=size_mm, grey=grey))
            self.at_mm -= ROW_MM

    def head(self, words: str) -> None:
        """Write a heading."""
        self.need(3 * ROW_MM)
        self.at_mm -= 0.6 * ROW_MM
        self.say(words, size_mm=3.6)

    def table(self, rows: list[tuple[str, ...]]) -> None:
        """Write rows in columns, the first row a heading; ruled."""
        wide = [max(width_of(row[k]) for row in rows) for k in range(len(rows[0]))]
        spare = self.size[0] - 2 * MARGIN_MM - sum(wide)
        gap = min(5.0, spare / max(len(wide) - 1, 1))
        lefts = MARGIN_MM + np.concatenate([[0.0], np.cumsum([w + gap for w in wide])[:-1]])
        for number, row in enumerate(rows):
            self.need(ROW_MM)
            for k, (left, word) in enumerate(zip(lefts, row, strict=True)):
                at, anchor = (left, "start") if k == 0 else (left + wide[k], "end")
                grey = QUIET if number == 0 else INK
                self.pages[-1].append(Text((at, self.at_mm), word, anchor, 2.7, grey))
            rule = self.at_mm - ROW_MM / 2
            ends = np.array([(MARGIN_MM, rule), (lefts[-1] + wide[-1], rule)])
            self.pages[-1].append(Stroke(ends, THIN, INK if number == 0 else 200))
            self.at_mm -= ROW_MM


def _broken(words: str, most: int) -> list[str]:
    import textwrap

    return textwrap.wrap(words, most, subsequent_indent="") or [""]


def _write_numbers(plan: dict, size) -> list[Paper]:
    flow = _Flow(tuple(size), plan)
    flow.need(0)
    flow.say(f"Lengths in mm, angles in degrees; places from the datum, the {DATUM}.", QUIET)
    flow.head("Lamps")
    flow.table(_lamp_rows(plan))
    _draw_throws(flow, plan)
    if plan["sheets"]:
        flow.head("Flags, cards and what else hangs")
        flow.table(_sheet_rows(plan))
    flow.head("Camera")
    for line in camera_lines(plan["camera"]):
        flow.say(line.strip())
    flow.head("In the way?")
    for line in finding_lines(plan):
        flow.say(line)
    flow.head("Cautions")
    for line in plan["cautions"]:
        flow.say(line)
    return [Paper(tuple(size), tuple(marks)) for marks in flow.pages]


def _lamp_rows(plan: dict) -> list[tuple[str, ...]]:
    places = ("over table", "over floor", "along floor", "right", "behind")
    rows = [("lamp", "front", "throw", "elev.", "azim.", *places, "power", "stand at")]
    for name, lamp in plan["lamps"].items():
        angles = (f"{lamp['elevation_deg']:.3g}°", f"{lamp['azimuth_deg']:.4g}°")
        power = f"{lamp['power_stops']:+.3g} st" if lamp["power_stops"] else "full"
        if lamp["far"]:
            rows.append((name, lamp["front"], "far off", *angles, *(["-"] * 5), power, "-"))
            continue
        x, y, _ = lamp["place_mm"]
        numbers = (lamp["height_over_table_mm"], lamp["height_over_floor_mm"], lamp["from_datum_mm"], x, y)
        stand = ", ".join(f"{value:.0f}" for value in lamp["stand_mm"] or ()) or "-"
        places = (f"{value:.0f}" for value in numbers)
        rows.append((name, lamp["front"], f"{lamp['throw_mm']:.0f}", *angles, *places, power, stand))
    return rows


def _sheet_rows(plan: dict) -> list[tuple[str, ...]]:
    places = ("right", "behind", "over table", "over floor")
    rows = [("name", "kind", "size", *places, "faces azim.", "elev.", "stand at")]
    for name, sheet in plan["sheets"].items():
        x, y, z = sheet["place_mm"]
        azimuth = "-" if sheet["faces_azimuth_deg"] is None else f"{sheet['faces_azimuth_deg']:.0f}°"
        stand = "on the table"
        if sheet["stand_mm"] is not None:
            stand = ", ".join(f"{value:.0f}" for value in sheet["stand_mm"])
        size = " x ".join(f"{side:.0f}" for side in sheet["size_mm"])
        places = (f"{value:.0f}" for value in (x, y, z, sheet["height_over_floor_mm"]))
        elevation = f"{sheet['faces_elevation_deg']:.0f}°"
        rows.append((name, sheet["kind"], size, *places, azimuth, elevation, stand))
    return rows


def _draw_throws(flow: _Flow, plan: dict) -> None:
    """Draw every lamp swung round its aim into the sheet: throw, elevation and height at their true size."""
    lamps = {name: lamp for name, lamp in plan["lamps"].items() if not lamp["far"]}
    if not lamps:
        return
    wide = max(max(lamp["along_floor_from_aim_mm"] for lamp in lamps.values()), 300.0)
    half = [x["size_mm"][-1] / 2 * np.cos(np.radians(x["elevation_deg"])) for x in lamps.values()]
    heights = np.array([lamp["place_mm"][2] for lamp in lamps.values()])
    tall, low = max(float((heights + half).max()), 200.0), min(float((heights - half).min()), 0.0)
    room = (flow.size[0] - 2 * MARGIN_MM - 50, 72.0)
    scale = next(s for s in SCALES if wide * s <= room[0] and (tall - low) * s <= room[1])
    height = (tall - low) * scale
    flow.need(height + 16)
    flow.head(f"Throws 1:{round(1 / scale, 3):g}, each lamp swung round its aim into the sheet")
    base = np.array([MARGIN_MM + 8, flow.at_mm - height - 3])
    base[1] -= low * scale
    marks, labels = [Stroke(np.array([base, base + [wide * scale + 6, 0]]), 0.5)], []
    marks.append(Text(tuple(base - [0, 2.4]), "table top", "start", 2.5, QUIET))
    for number, (name, lamp) in enumerate(lamps.items()):
        aim = base + [0, lamp["aim_mm"][2] * scale]
        at = base + np.array([lamp["along_floor_from_aim_mm"], lamp["place_mm"][2]]) * scale
        foot = np.array([at[0], base[1]])
        marks.append(Stroke(np.array([at, aim]), 0.25))
        marks.append(Stroke(np.array([at, foot]), THIN, QUIET, (1.2, 0.9)))
        across = np.array([aim[1] - at[1], at[0] - aim[0]]) / max(np.hypot(*(at - aim)), 1e-9)
        half = max(lamp["size_mm"][-1] / 2 * scale, 0.8)
        marks.append(Stroke(np.array([at - half * across, at + half * across]), 0.6))
        radius = 12.0 + 6 * number
        marks.append(Stroke(np.array([aim, aim + [radius + 2, 0]]), THIN, QUIET))
        marks.append(Stroke(circle(aim, radius, 0, lamp["elevation_deg"]), THIN, QUIET))
        middle = circle(aim, radius, lamp["elevation_deg"] / 2, lamp["elevation_deg"] / 2 + 1)[0]
        labels.append(Label(f"{name}  throw {lamp['throw_mm']:.0f}, {lamp['place_mm'][2]:.0f} up", at, 1.5))
        labels.append(Label(f"{lamp['elevation_deg']:.3g}°", middle, 0.5, quiet=True))
    low_mm, high_mm = base - [8, 4], base + [room[0] + 50, height + 6]
    flow.pages[-1] += marks + set_labels(sorted(labels, key=lambda label: label.quiet), low_mm, high_mm)
    flow.at_mm = base[1] + min(low * scale, -3) - 5
