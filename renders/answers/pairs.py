"""Two computed variants of a set beside each other: what moved, what widened, what is left."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from ..emptied import compare_caustics, find_change
from ..outlines import Outline, trace_outline
from ..peaks import find_peak
from .answer import entry, quadrature, tell, with_unit
from .pattern import OUTLINE_STOPS
from .study import Frame

BANDS = {"line_width_mm": "mm", "peak_over_table_stops": "stops", "length_mm": "mm", "area_cm2": "cm2"}
_CHANGES = {"spread": "mm", "area": "cm2"}


def compare(before: Frame, after: Frame, lamp: str, kind: str) -> dict[str, dict]:
    """Return what changes in a lamp's caustic of a kind from one variant to another.

    Returns
    -------
    dict
        `peak_shift_mm`, `tip_shift_mm`, `width_change_mm`, `brightness_change_stops` as in report.md, and
        `spread_change_mm`, `area_change_cm2`, after less before; errors of both in quadrature. A shift of the
        peak is known no better than the cells of both maps are fine.
    """
    one, other = before.caustic(lamp, kind), after.caustic(lamp, kind)
    found = {
        name: with_unit(number, name.rpartition("_")[2])
        for name, number in compare_caustics(one, other).items()
    }
    shift = found["peak_shift_mm"]
    # A place anywhere in a cell is off by cell / sqrt(12) along a line; here are two of them.
    cells = math.hypot(before.report["cell_mm"], after.report["cell_mm"]) / math.sqrt(12)
    found["peak_shift_mm"] = entry(shift["value"], quadrature(shift["standard_error"], cells), "mm")
    for name, unit in _CHANGES.items():
        measure = f"{name}_{unit}"
        found[f"{name}_change_{unit}"] = with_unit(find_change(one[measure], other[measure]), unit)
    return found


def tell_changes(found: dict[str, dict]) -> str:
    """Return in words what `compare` found, what has no value left out."""
    wider = found["width_change_mm"]
    parts = [
        ("brightest spot moves {}", tell(found["peak_shift_mm"])),
        ("tip moves {}", tell(found["tip_shift_mm"])),
        ("line {} " + ("narrower" if (wider["value"] or 0) < 0 else "wider"), tell(_size(wider), 2)),
        ("peak {}", tell(found["brightness_change_stops"], 2, "+")),
    ]
    told = [words.format(number) for words, number in parts if number != "none"]
    return ", ".join(told) or "no line to compare"


def contrast_left(before: Frame, after: Frame, lamp: str, kind: str) -> dict:
    """Return the pattern at its peak over the plain table, after as a share of before, %."""
    return share_of(*(frame.caustic(lamp, kind)["pattern_over_table_stops"] for frame in (before, after)))


def share_of(before: dict, after: dict) -> dict:
    """Return what is left of a light, %, of stops before and after."""
    change = find_change(before, after)
    if change["value"] is None:
        return entry(None, None, "%")
    share, error = 100 * 2.0 ** change["value"], change["standard_error"]
    return entry(share, None if error is None else share * math.log(2) * error, "%")


def light_left(before: Frame, after: Frame, lamp: str, kind: str) -> dict:
    """Return how much of the pattern's light still falls inside the outline that it had before, %."""
    outline = outline_of(before, lamp, kind)
    if outline is None:
        return entry(None, None, "%")
    one, other = (inside(frame, before, outline, frame.luminous(lamp, (kind,))) for frame in (before, after))
    share = 100 * other.sum() / one.sum()
    errors = [error_inside(frame, lamp, kind, outline) for frame in (before, after)]
    error = quadrature(*errors)
    return entry(float(share), None if error is None else float(share * error), "%")


def find_made(bare: Frame, frame: Frame, lamp: str, kind: str) -> dict[str, dict]:
    """Return the brightest place that a variant makes: of those with at least twice the bare one's light.

    So the spot that a thick base throws, drink or not, does not hide what the drink does.

    Returns
    -------
    dict
        `place_mm` and `stops`, the pattern's light there over the plain table; None where there is no such
        place. The error is that of a cell, as in measures.md.
    """
    light = frame.luminous(lamp, (kind,))
    rows, columns = np.indices(light.shape)
    before = read_cells(bare, frame, rows, columns, bare.luminous(lamp, (kind,)))
    made = np.where(light >= 2 * before, light, 0.0)
    plain, error = frame.report["lamps"][lamp]["plain_table"], frame.report["relative_error"][lamp]
    if not made.any() or not plain:
        return {"place_mm": entry(None, None, "mm"), "stops": entry(None, None, "stops")}
    peak = find_peak(frame.x_mm, frame.y_mm, made)
    cell = frame.report["cell_mm"] / math.sqrt(12)
    return {
        "place_mm": entry([peak.x_mm, peak.y_mm], [cell, cell], "mm"),
        "stops": entry(math.log2(peak.mean / plain), None if error is None else error / math.log(2), "stops"),
    }


def outline_of(frame: Frame, lamp: str, kind: str, stops: float = OUTLINE_STOPS) -> Outline | None:
    """Return the outline of a lamp's caustic, measures.md, or one so many stops under its peak.

    None where there is no light.
    """
    light = frame.luminous(lamp, (kind,))
    if not light.any():
        return None
    peak = find_peak(frame.x_mm, frame.y_mm, light)
    return trace_outline(light, peak.mean / 2**stops)


def inside(frame: Frame, owner: Frame, outline: Outline, values: np.ndarray) -> np.ndarray:
    """Return values of a frame's map, (..., ny, nx), in the cells of an outline on `owner`, (..., n)."""
    rows, columns = np.nonzero(outline.part)
    return read_cells(frame, owner, rows + outline.rows.start, columns + outline.columns.start, values)


def read_cells(frame: Frame, owner: Frame, rows, columns, values: np.ndarray) -> np.ndarray:
    """Return values of a frame's map at rows and columns of another's, whose window may be another.

    Each is taken from the cell nearest to it; where the frame's window does not reach it is dark.
    """
    cell = frame.report["cell_mm"]
    rows = np.rint((owner.y_mm[rows] - frame.y_mm[0]) / cell).astype(int)
    columns = np.rint((owner.x_mm[columns] - frame.x_mm[0]) / cell).astype(int)
    height, width = values.shape[-2:]
    there = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    return np.where(there, values[..., rows.clip(0, height - 1), columns.clip(0, width - 1)], 0.0)


def error_inside(frame: Frame, lamp: str, kind: str, outline: Outline) -> float | None:
    """Return the relative standard error of a frame's light inside an outline.

    Of the whole map's flux, which cells err in together, and of single cells, which err by themselves.
    """
    flux, cell = frame.caustic(lamp, kind)["flux_share"], frame.report["relative_error"][lamp]
    if not flux["value"] or flux["standard_error"] is None or cell is None:
        return None
    return math.hypot(flux["standard_error"] / flux["value"], cell / math.sqrt(outline.part.sum()))


def _size(number: dict) -> dict:
    return number if number["value"] is None else {**number, "value": abs(number["value"])}


def find_bands(frames: Sequence[Frame], lamp: str, kind: str) -> dict[str, dict]:
    """Return the least and the largest of measures over variants, with their errors."""
    bands = {}
    for measure, unit in BANDS.items():
        found = [frame.caustic(lamp, kind)[measure] for frame in frames]
        found = sorted((one for one in found if one["value"] is not None), key=lambda one: one["value"])
        ends = [found[0], found[-1]] if found else []
        sides = [[end[key] for end in ends] or None for key in ("value", "standard_error")]
        bands[measure] = entry(*sides, unit)
    return bands


def tell_bands(bands: Mapping[str, dict]) -> str:
    """Return bands in words."""
    words = {"line_width_mm": "line", "peak_over_table_stops": "peak", "length_mm": "length from the foot"}
    told = []
    for measure, word in words.items():
        if ends := bands[measure]["value"]:
            digits, sign = (0 if measure == "length_mm" else 2), ("+" if measure.endswith("stops") else "")
            low, high = (f"{end:{sign}.{digits}f}" for end in ends)
            told.append(f"{word} {low} to {high} {bands[measure]['unit']}")
    return ", ".join(told) or "no line to compare"
