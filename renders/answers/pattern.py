"""Where a caustic falls, how long and how bright it is: questions 2 and 3."""

from __future__ import annotations

import numpy as np

from ..outlines import trace_outline
from ..peaks import find_peak
from .answer import Answer, entry, tell, with_unit
from .study import Frame, Study

KIND_WORDS = {"refractive": "through the glass", "reflective": "thrown back by the glass"}
OUTLINE_STOPS = 3.0


def answer_place(study: Study) -> Answer:
    """Answer where the caustic falls and how long it is."""
    frame = study.frame()
    kind = frame.brighter(study.lamp)
    found = frame.caustic(study.lamp, kind)
    values = {
        "kind": kind,
        "tip_mm": with_unit(found["tip_mm"], "mm"),
        "length_mm": with_unit(found["length_mm"], "mm"),
        "heading_deg": with_unit(found["heading_deg"], "deg"),
        "box_mm": entry(outline_box(frame, study.lamp, kind), None, "mm"),
    }
    first = f"The pattern {KIND_WORDS[kind]} reaches {tell(values['length_mm'], 0)} from the foot"
    lines = [f"{first}, heading {tell(values['heading_deg'], 0)}"]
    if found["tip_mm"]["value"] is None:
        lines = [f"The pattern {KIND_WORDS[kind]} leaves the table or fades out; no tip can be told"]
    else:
        x, y = found["tip_mm"]["value"]
        across, deep = ("right" if x >= 0 else "left"), ("behind" if y >= 0 else "toward the camera")
        lines.append(f"Tip {abs(x):.0f} mm {across} and {abs(y):.0f} mm {deep} of the datum")
    left, right, near, far = values["box_mm"]["value"]
    lines.append(f"Its outline lies between x {left:.0f} and {right:.0f} mm, y {near:.0f} and {far:.0f} mm")
    return Answer(tuple(lines), values)


def outline_box(frame: Frame, lamp: str, kind: str) -> list[float]:
    """Return the least and largest x, then y, mm, of a caustic's outline (measures.md)."""
    x, y = outline_corners(frame, lamp, kind).T
    return [float(x.min()), float(x.max()), float(y.min()), float(y.max())]


def outline_corners(frame: Frame, lamp: str, kind: str) -> np.ndarray:
    """Return the corners (n, 2) of the cells in a caustic's outline (measures.md), mm from the datum."""
    light = frame.luminous(lamp, (kind,))
    peak = find_peak(frame.x_mm, frame.y_mm, light)
    outline = trace_outline(light, peak.mean / 2**OUTLINE_STOPS)
    rows, columns = np.nonzero(outline.part)
    half = (frame.x_mm[1] - frame.x_mm[0]) / 2
    middles = np.stack([frame.x_mm[outline.columns][columns], frame.y_mm[outline.rows][rows]], axis=1)
    corners = half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    return (middles[:, None] + corners).reshape(-1, 2)


def answer_brightness(study: Study) -> Answer:
    """Answer how bright the caustic is over the plain lit table."""
    frame = study.frame()
    kind = frame.brighter(study.lamp)
    found = frame.caustic(study.lamp, kind)
    values = {
        "kind": kind,
        "peak_over_table_stops": with_unit(found["peak_over_table_stops"], "stops"),
        "pattern_over_table_stops": with_unit(found["pattern_over_table_stops"], "stops"),
    }
    brightest = tell(values["peak_over_table_stops"], 1, "+")
    return Answer((f"The brightest spot, {KIND_WORDS[kind]}, is {brightest} over the plain table",), values)
