"""Whether plates, one lamp alone each, add up to all lamps on: light adds, so what is left is grain."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import maximum_filter, minimum_filter

from brimcast.scene.built import BuiltSet

from ..outlines import trace_outline
from ..peaks import find_peak
from ..report import KINDS
from .answer import Lacking, entry
from .pattern import OUTLINE_STOPS
from .study import Frame, Study

# Of the plain table's light: a pattern under it is told by its error over that (measures.md).
FAINT_SHARE = 0.25
# A cell's straight light is that of one place in it. Where a sharp shadow edge goes through, its variance is
# p (1 - p) of the lit share p, 1/6 on average; the range over three cells sees each such cell three times.
EDGE_SHARE = 1 / 18


@dataclass(frozen=True)
class Adding:
    """The sum of all plates against all lamps on.

    Attributes
    ----------
    table : dict
        Entry, %: mean difference over the table's window.
    grain, expected : dict
        Entries, %: rms difference of cells in the outline of all patterns, and what the grain of the two
        computings alone makes of it.
    meters : dict of str to dict
        Entry, %, by meter.
    """

    table: dict
    grain: dict
    expected: dict
    meters: dict


def add_plates(study: Study) -> Adding:
    """Compute all lamps on, and each lamp alone from other random numbers, and compare.

    Raises
    ------
    Lacking
        Neither a pattern on the table nor a meter could be compared.
    PersonError, EngineError
    """
    whole = study.frame()
    alone = {lamp.name: study.frame(built=switch_on(whole.built, lamp.name)) for lamp in whole.built.lamps}
    meters = {name: _compare_meter(name, whole, alone) for name in whole.report["meters"]}
    meters = {name: found for name, found in meters.items() if found is not None}
    if len(whole.x_mm) < 2 and not meters:
        raise Lacking(
            "a glass or prop that throws a pattern, or a meter", "meters={line: {at: [0 mm, 0 mm, 0 mm]}}"
        )
    nothing = entry(None, None, "%")
    if len(whole.x_mm) < 2:
        return Adding(nothing, nothing, nothing, meters)
    differences = {name: _difference(whole, plate, name) for name, plate in alone.items()}
    return Adding(
        _compare_table(whole, alone, differences), *_compare_cells(whole, alone, differences), meters
    )


def switch_on(built: BuiltSet, name: str) -> BuiltSet:
    """Return a set with one of its lamps on alone; the others stand where they stood. Another seed."""
    number = [lamp.name for lamp in built.lamps].index(name)
    return replace(
        built,
        lamps=(built.lamps[number],),
        seed=built.seed + 1 + number,
        digest=f"{built.digest} {name} alone",
    )


def _difference(whole: Frame, plate: Frame, name: str) -> np.ndarray:
    """Return a lamp's light alone less its light among all, (ny, nx) of the whole's window.

    Each run looks closely only where that run's patterns fall; beyond that nothing is compared, and 0.
    """
    found = np.zeros((len(whole.y_mm), len(whole.x_mm)))
    if len(plate.x_mm) < 2:
        return found
    half = (whole.x_mm[1] - whole.x_mm[0]) / 2

    def common(one: np.ndarray, other: np.ndarray) -> np.ndarray:
        # All windows of a quality lie on one lattice.
        return (one > other[0] - half) & (one < other[-1] + half)

    def box(one: Frame, other: Frame):
        return np.ix_(common(one.y_mm, other.y_mm), common(one.x_mm, other.x_mm))

    here, there = box(whole, plate), box(plate, whole)
    found[here] = plate.luminous(name)[there] - whole.luminous(name)[here]
    return found


def _compare_table(whole: Frame, alone: dict, differences: dict) -> dict:
    total = sum(whole.luminous(name).sum() for name in alone)
    squares = 0.0
    for name, plate in alone.items():
        for frame in (whole, plate):
            squares += _flux_error(frame, name) ** 2 + _edge_variance(whole, name).sum()
    off = sum(difference.sum() for difference in differences.values())
    return entry(float(100 * off / total), float(100 * math.sqrt(squares) / total), "%")


def _flux_error(frame: Frame, name: str) -> float:
    """Return the standard error of a lamp's focused light, summed over its window's cells."""
    error = 0.0
    for kind in KINDS:
        share = frame.report["caustics"][name][kind]["flux_share"]
        if share["value"] and len(frame.x_mm) > 1:
            # Both kinds come from the same points of the lamp, so their errors may go the same way.
            error += share["standard_error"] / share["value"] * frame.luminous(name, (kind,)).sum()
    return float(error)


def _edge_variance(frame: Frame, name: str) -> np.ndarray:
    """Return the variance of a lamp's straight light, (ny, nx), at the edges of shadows."""
    light = frame.luminous(name, ("direct",))
    return EDGE_SHARE * (maximum_filter(light, 3) - minimum_filter(light, 3)) ** 2


def _outline(light: np.ndarray, frame: Frame) -> np.ndarray:
    """Return which cells lie in the outline of focused light (measures.md)."""
    inside = np.zeros(light.shape, bool)
    if light.max() > 0:
        peak = find_peak(frame.x_mm, frame.y_mm, light)
        outline = trace_outline(light, peak.mean / 2**OUTLINE_STOPS)
        inside[outline.rows, outline.columns] = outline.part
    return inside


def _compare_cells(whole: Frame, alone: dict, differences: dict) -> tuple[dict, dict]:
    focused = {name: whole.luminous(name, KINDS) for name in alone}
    inside = _outline(sum(focused.values()), whole)
    if not inside.any():
        return entry(None, None, "%"), entry(None, None, "%")
    mean = sum(whole.luminous(name) for name in alone)[inside].mean()
    off = sum(differences.values())[inside]
    squares = 0.0
    for name, plate in alone.items():
        squares += 2 * _edge_variance(whole, name)[inside].mean()
        own = _outline(focused[name], whole)
        if not own.any():
            continue
        # Both runs state their error over the lamp's own outline.
        level = max(focused[name][own].mean(), FAINT_SHARE * whole.report["lamps"][name]["plain_table"])
        errors = [frame.report["relative_error"][name] * level for frame in (whole, plate)]
        squares += (own & inside).sum() / inside.sum() * float(np.square(errors).sum())
    grain = float(np.sqrt(np.mean(off**2)) / mean)
    return entry(100 * grain, None, "%"), entry(float(100 * math.sqrt(squares) / mean), None, "%")


def _compare_meter(name: str, whole: Frame, alone: dict) -> dict | None:
    """Return the difference on a meter, %; None where no light falls on it."""
    together = whole.report["meters"][name]["all"]["light"]
    if not together["value"] > 0:
        return None
    plates = [plate.report["meters"][name]["all"]["light"] for plate in alone.values()]
    off = sum(plate["value"] for plate in plates) - together["value"]
    error = math.hypot(together["standard_error"], *(plate["standard_error"] for plate in plates))
    return entry(100 * off / together["value"], 100 * error / together["value"], "%")
