"""Questions 1 and 6: how far back the lamp must go, and which angle puts the tip on a mark."""

from __future__ import annotations

import math

import numpy as np

from brimcast.scene.pieces import choose_vessel

from ..lightpass import EFFORTS
from ..measures import NARROW_CELLS
from .answer import Answer, Lacking, entry, tell
from .pattern import KIND_WORDS
from .solver import QUALITIES, Solution, solve
from .solverwords import tell_measured, tell_solution
from .study import Frame, Study
from .targets import Range, Target, read_measure

THROWS_MM = (400.0, 8000.0)
ELEVATIONS_DEG = (10.0, 75.0)
# Where the throw found is so many times the trade's, the line's own width is what counts.
OWN_WIDTH_RATIO = 1.5
# Of an azimuth that a tip's direction tells: where a pattern is no mirror image it is off by some degrees.
AZIMUTH_REACH_DEG, AZIMUTH_ASIDE_DEG = 40.0, 12.0


def estimate_throw(study: Study, frame: Frame, kind: str, width_mm: float) -> dict | None:
    """Return the throw that the trade's first estimate asks for a line width, with what it is made of.

    Common practice: blur = lamp size × distance glass-to-line ÷ throw (measures.md). The distance goes from
    the inside of the far wall, upright over the foot, down to the brightest spot at the lamp's elevation.
    None where the spot is not beyond that wall, or is not known.
    """
    lamp = next(one for one in study.built.lamps if one.name == study.lamp)
    peak = frame.caustic(study.lamp, kind)["peak_mm"]["value"]
    if not study.built.feet or peak is None or lamp.distant:
        return None
    foot = study.built.feet[0]
    wall_mm = choose_vessel(study.set_file, foot.name).thinnest_mm
    level_mm = math.dist(peak, foot.centre_mm) - (foot.foot_radius_mm - wall_mm)
    if not (level_mm > 0 and lamp.elevation_deg < 80):
        return None
    distance_mm = level_mm / math.cos(math.radians(lamp.elevation_deg))
    size_mm = max(lamp.size_mm)
    throw_mm = size_mm * distance_mm / width_mm
    return {"throw_mm": throw_mm, "lamp_size_mm": size_mm, "distance_mm": distance_mm}


def first_estimate(study: Study, solution: Solution) -> tuple[dict | None, list[str]]:
    """Return the trade's estimate beside a solution for line width by throw, as values and in words."""
    target, one = solution.target, solution.ranges[0]
    by_throw = one.key == f"lamps.{study.lamp}.throw" and len(solution.ranges) == 1
    if not by_throw or target.measure.key != "line_width_mm" or target.value is None or not target.value > 0:
        return None, []
    found = estimate_throw(study, study.frame(quality="draft"), solution.kind, target.value)
    if found is None:
        return None, []
    size, distance = found["lamp_size_mm"], found["distance_mm"]
    line = (
        f"The trade's first estimate: {found['throw_mm'] / 1000:.2f} m "
        f"({size:.0f} mm lamp x {distance:.0f} mm from glass to line / {target.value:g} mm; common practice)"
    )
    lines = [line]
    reached = solution.values[0]["value"] if solution.met and solution.values else None
    if reached and reached > OWN_WIDTH_RATIO * found["throw_mm"]:
        lines.append("It leaves out the width that the line has under the smallest lamp, which rules here")
    return {key: entry(value, None, "mm") for key, value in found.items()}, lines


def answer_throw(study: Study) -> Answer:
    """Answer how far back the lamp must go until the bright line is narrow enough."""
    lamp, width_mm = study.lamp, study.brief.line_width_mm
    if not hasattr(study.set_file.lamps[lamp], "throw_mm"):
        raise Lacking(f"a lamp on a stand, and {lamp} is the sky or the sun", "brief.lamp=NAME")
    throws = Range(f"lamps.{lamp}.throw", *THROWS_MM, "length", "mm")
    target = Target(f"line_width < {width_mm:g} mm", read_measure("line_width"), "<", width_mm)
    solution = solve(study, [throws], target, fine_enough(study, width_mm))
    estimate, line = first_estimate(study, solution)
    values = {
        "met": solution.met,
        "throw_mm": solution.values[0] if solution.values else entry(None, None, "mm"),
        "line_width_mm": solution.measured or entry(None, None, "mm"),
        "wanted_mm": entry(width_mm, 0.0, "mm"),
        "lasts": solution.outcome.lasts,
        "estimate": estimate,
        "kind": solution.kind,
    }
    return Answer((*tell_solution(solution), *line), values)


def fine_enough(study: Study, width_mm: float) -> str:
    """Return the study's quality, or a finer one whose cells tell a line of that width from a wider one."""
    finer = QUALITIES[QUALITIES.index(study.quality) :]
    cells = {quality: study.set_file.render.cell_mm or EFFORTS[quality].cell_mm for quality in finer}
    return next((one for one in finer if width_mm >= NARROW_CELLS * cells[one]), study.quality)


def answer_mark(study: Study) -> Answer:
    """Answer which elevation, azimuth and stand height put the tip on the mark."""
    mark = study.brief.mark
    if mark is None:
        raise Lacking("a mark on the table for the tip", "brief.mark=[40 mm, -120 mm]")
    name = study.lamp
    model = study.set_file.lamps[name]
    if not hasattr(model, "throw_mm"):
        raise Lacking(f"a lamp on a stand, and {name} is the sky or the sun", "brief.lamp=NAME")
    ranges, starts = _aim_about(study, mark)
    target = Target("tip = mark", read_measure("tip"), "=", (mark[0], mark[1]))
    solution = solve(study, ranges, target, study.quality, starts=starts)
    values = {"met": solution.met, "mark_mm": entry([mark[0], mark[1]], 0.0, "mm"), "kind": solution.kind}
    lines = tell_solution(solution)
    if solution.values:
        elevation, azimuth = solution.values
        azimuth = entry(azimuth["value"] % 360, azimuth["standard_error"], "deg")
        height = _stand_height(study, elevation)
        values |= {"elevation_deg": elevation, "azimuth_deg": azimuth, "tip_mm": solution.measured}
        values |= {"height_over_table_mm": height, "miss_mm": entry(_miss_mm(solution), None, "mm")}
        told = f"Elevation {tell(elevation)}, azimuth {tell(azimuth)}"
        lines = [f"{told} put the tip on the mark" if solution.met else f"{lines[0]}; nearest: {told}"]
        lines.append(
            f"The lamp's front then is {tell(height, 0)} over the table, {_from_floor(study, height)}"
        )
        lines.append(f"Tip {KIND_WORDS[solution.kind]}: {tell_measured(target, solution.measured)}, "
                     f"{_miss_mm(solution):.0f} mm from the mark")  # fmt: skip
    return Answer(tuple(lines), values)


def _miss_mm(solution: Solution) -> float:
    return float(np.linalg.norm(solution.outcome.value))


def _aim_about(study: Study, mark) -> tuple[list[Range], list[tuple[float, float]]]:
    """Return ranges of elevation and azimuth round a guess, and where to look first.

    A round glass turns its pattern as the lamp goes round it: the azimuth is off by as much as the tip is.
    """
    model, lamp = study.set_file.lamps[study.lamp], study.lamp
    frame = study.frame(quality="draft")
    tip = frame.caustic(lamp)["tip_mm"]["value"]
    middle = next(one.aim_mm[:2] for one in study.built.lamps if one.name == lamp)
    azimuth = model.azimuth_deg
    if tip is not None:
        turn = _bearing(mark, middle) - _bearing(tip, middle)
        azimuth += (turn + 180) % 360 - 180
    ranges = [
        Range(f"lamps.{lamp}.elevation", *ELEVATIONS_DEG, "angle", "deg"),
        Range(
            f"lamps.{lamp}.azimuth", azimuth - AZIMUTH_REACH_DEG, azimuth + AZIMUTH_REACH_DEG, "angle", "deg"
        ),
    ]
    low, high = ELEVATIONS_DEG
    rows = [low + share * (high - low) for share in (0.15, 0.4, 0.65)]
    aside = [(rows[1], azimuth + side) for side in (-AZIMUTH_ASIDE_DEG, AZIMUTH_ASIDE_DEG)]
    return ranges, [*((elevation, azimuth) for elevation in rows), *aside]


def _bearing(place, middle) -> float:
    """Azimuth of a place seen from another, deg."""
    x, y = np.asarray(place, float) - np.asarray(middle, float)
    return math.degrees(math.atan2(-x, -y))


def _stand_height(study: Study, elevation: dict) -> dict:
    """Height of the lamp's front over the table at an elevation, mm."""
    lamp = next(one for one in study.built.lamps if one.name == study.lamp)
    angle = math.radians(elevation["value"])
    height = lamp.aim_mm[2] + lamp.throw_mm * math.sin(angle)
    error = elevation["standard_error"]
    if error is not None:
        error = lamp.throw_mm * math.cos(angle) * math.radians(error)
    return entry(float(height), error, "mm")


def _from_floor(study: Study, height: dict) -> str:
    room = study.set_file.room
    if room is None:
        return "plus the table's own height over the floor"
    return f"{height['value'] + room.table_height_mm:.0f} mm over the floor"
