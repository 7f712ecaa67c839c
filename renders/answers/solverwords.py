"""What a search in a set came to, in the trade's words."""

from __future__ import annotations

import numpy as np

from ..measures import NARROW_CELLS
from .answer import entry, tell
from .solver import Solution, Step
from .targets import Range, Target
from .trials import CLEAR

NARROW = ("line_width_mm", "edge_10_90_mm")


def tell_value(one: Range, value: dict) -> str:
    """Return a value of what was varied in words: long lengths in metres, shares in per cent."""
    scale, unit, digits = 1.0, one.unit, 1
    if one.kind == "length" and max(abs(one.first), abs(one.last)) >= 1000:
        scale, unit, digits = 0.001, "m", 2
    elif one.kind == "length" and max(abs(one.first), abs(one.last)) < 30:
        digits = 2
    elif one.kind in ("fraction", "temperature"):
        scale, digits = (100.0, 1) if one.kind == "fraction" else (1.0, 0)
    elif one.kind in ("stops", "plain"):
        digits = 2
    return _scaled(value, scale, unit, digits)


def tell_measured(target: Target, measured: dict) -> str:
    """Return a measured value in words."""
    if measured["value"] is None:
        return "none"
    if target.is_mark:
        x, y = (_scaled(entry(*pair), 1.0, "", 0) for pair in _pairs(measured))
        return f"x {x}, y {y} mm"
    scale = 100.0 if target.measure.kind == "fraction" else 1.0
    sign = "+" if target.measure.kind == "stops" else ""
    return _scaled(measured, scale, target.measure.unit, target.measure.digits, sign)


def _pairs(measured: dict) -> list[tuple[float, float | None]]:
    errors = measured["standard_error"] or [None] * len(measured["value"])
    return list(zip(measured["value"], errors, strict=True))


def _scaled(value: dict, scale: float, unit: str, digits: int, sign: str = "") -> str:
    error = value["standard_error"]
    scaled = entry(value["value"] * scale, None if error is None else error * scale, unit)
    return tell(value | scaled, digits, sign)


def tell_step(ranges: tuple[Range, ...], target: Target, step: Step) -> str:
    """Return an evaluation in words: ``throw of key 1.42 m: line width 2.10 ± 0.10 mm (draft)``."""
    found = tell_measured(target, step.measured)
    return f"{_where(ranges, step.values)}: {target.measure.words} {found} ({step.quality})"


def _where(ranges: tuple[Range, ...], values) -> str:
    told = [
        f"{one.word} {tell_value(one, value if isinstance(value, dict) else entry(value))}"
        for one, value in zip(ranges, values, strict=True)
    ]
    return ", ".join(told)


def tell_solution(solution: Solution) -> list[str]:
    """Return what a search came to, in words; the first line stands by itself."""
    return _tell_outcome(solution) + _tell_cells(solution)


def _tell_cells(solution: Solution) -> list[str]:
    """Say where the map's cells are too coarse for the width asked (measures.md, what the cells do)."""
    target = solution.target
    cell_mm = min(step.cell_mm for step in solution.steps)
    if target.measure.key not in NARROW or target.value is None or target.value >= NARROW_CELLS * cell_mm:
        return []
    coarse = (
        f"The table is told in cells of {cell_mm:g} mm: what is narrower than {NARROW_CELLS * cell_mm:.1f} mm"
    )
    return [f"{coarse} reads too wide; take a finer quality"]


def _tell_outcome(solution: Solution) -> list[str]:
    target, ranges, outcome = solution.target, solution.ranges, solution.outcome
    if outcome.verdict == "dark":
        return [f"Nowhere in {_range(ranges)} is there a {target.measure.words} to be measured"]
    where, there = _where(ranges, solution.values), tell_measured(target, solution.measured)
    there = f"{target.measure.words} {there}"
    if target.is_extreme:
        return _tell_extreme(solution, where, there)
    if outcome.verdict == "nowhere":
        return _tell_nowhere(solution, where, there)
    if outcome.verdict == "everywhere":
        lines = [f"{_asked(target)} already at {where}: {there}"]
    elif target.sign == "=":
        lines = [f"{_asked(target)} at {where}"]
    else:
        lines = [f"{_asked(target)} from {where} on"]
    if target.is_mark:
        lines.append(f"There: {there}")
    if target.sign != "=":
        last = tell_value(ranges[0], entry(solution.ends if solution.ends is not None else ranges[0].last))
        lines.append(f"It stays so at what was tried up to {last}" if outcome.lasts
                     else f"It does not last: at {last} it is not so any more")  # fmt: skip
    if any(_is_vague(one, value) for one, value in zip(ranges, solution.values, strict=True)):
        return [
            *lines,
            "It hardly depends on that: the error is as large as the range; a finer quality may tell",
        ]
    return lines + _tell_slope(solution)


def _is_vague(one: Range, value: dict) -> bool:
    error = value["standard_error"]
    return error is not None and 2 * error > abs(one.last - one.first)


def _asked(target: Target) -> str:
    if target.is_mark:
        return "The tip lies on the mark"
    value = tell_measured(target, entry(target.value))
    words = {"<": "is below", ">": "is above", "=": "is"}[target.sign]
    return f"{_title(target)} {words} {value}"


def _title(target: Target) -> str:
    words = target.measure.words
    return words[0].upper() + words[1:]


def _range(ranges: tuple[Range, ...]) -> str:
    told = []
    for one in ranges:
        first, last = (tell_value(one, entry(end)) for end in (one.first, one.last))
        told.append(f"{one.word} from {first} to {last}")
    return ", ".join(told)


def _tell_nowhere(solution: Solution, where: str, there: str) -> list[str]:
    target, outcome = solution.target, solution.outcome
    asked = _asked(target)
    lines = [f"None in range: {asked[0].lower()}{asked[1:]} nowhere in {_range(solution.ranges)}"]
    away = ""
    if target.is_mark:
        away = f", {np.linalg.norm(outcome.value):.0f} mm from the mark"
    lines.append(f"Nearest at {where}: {there}{away}")
    if not target.is_mark and abs(outcome.value[0]) <= CLEAR * outcome.value_error[0]:
        lines.append("That is within the error of the computing; a finer quality may tell")
    return lines


def _tell_extreme(solution: Solution, where: str, there: str) -> list[str]:
    outcome = solution.outcome
    most = "largest" if solution.target.sign == ">" else "least"
    lines = [f"{_title(solution.target)} is {most} at {where}", f"There: {there}"]
    if outcome.at_end:
        lines.append("That is an end of the range: it may go on beyond")
    elif outcome.error is None:
        lines.append("No clear best: within the error of the computing it is flat there")
    return lines


def _tell_slope(solution: Solution) -> list[str]:
    """Return how steeply the measure changes at the answer, where that is told."""
    if solution.slope is None or solution.target.measure.kind == "fraction":
        return []
    one, measure = solution.ranges[0], solution.target.measure
    per, scale = one.unit or "step", 1.0
    if one.kind == "length" and max(abs(one.first), abs(one.last)) >= 1000:
        per, scale = "m", 1000.0
    if one.kind == "fraction":
        per, scale = "per cent", 0.01
    return [f"There it changes by {solution.slope * scale:+.2g} {measure.unit} per {per} of {one.word}"]
