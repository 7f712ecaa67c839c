"""What filling the glasses does to the caustics: a set against the same set with its glasses empty."""

from __future__ import annotations

import numpy as np

from .job import Outcome
from .report import KINDS, list_table_lights
from .uncertainty import find_peak_with_errors


def compare(filled: Outcome, filled_report: dict, empty: Outcome, empty_report: dict) -> dict:
    """Return what `report.json` says under `empty_against_filled`; report.md lists its keys.

    Parameters
    ----------
    filled, empty : Outcome
        Of the same lamps, at the same quality.
    filled_report, empty_report : dict
        See `brimcast.renders.report.describe`.

    Returns
    -------
    dict
        By lamp and kind: values with standard errors, those of the two sets combined in quadrature; None
        where a set has no such value.
    """
    found = {}
    for number, light in enumerate(filled.lights):
        name = light.lamp.name
        found[name] = {}
        for place, kind in enumerate(KINDS):
            before, after = (report["caustics"][name][kind] for report in (empty_report, filled_report))
            peaks = [find_peak_of(outcome, number, place) for outcome in (empty, filled)]
            found[name][kind] = {
                "peak_shift_mm": _distance(*peaks),
                "tip_shift_mm": _distance(before["tip_mm"], after["tip_mm"]),
                "width_change_mm": _change(before["line_width_mm"], after["line_width_mm"]),
                "brightness_change_stops": _change(
                    before["peak_over_table_stops"], after["peak_over_table_stops"]
                ),
            }
    return found


def find_peak_of(outcome: Outcome, number: int, kind: int) -> dict:
    """Return where a lamp's light of a kind is brightest, mm from the datum: value and standard error."""
    if outcome.window.cells == 0:
        return {"value": None, "standard_error": None}
    return find_peak_with_errors(*list_table_lights(outcome, number, kind))


def _distance(one: dict, other: dict) -> dict:
    """Return the distance of two places and its standard error, in their unit.

    The error is that along the way from one to the other, each part of it from both places.
    """
    if one["value"] is None or other["value"] is None:
        return {"value": None, "standard_error": None}
    way = np.subtract(other["value"], one["value"])
    distance = float(np.hypot(*way))
    if one["standard_error"] is None or other["standard_error"] is None:
        return {"value": distance, "standard_error": None}
    parts = np.hypot(one["standard_error"], other["standard_error"])
    # Without a direction the larger of both errors is taken: any way may be the wrong one.
    error = np.hypot(*(way / distance * parts)) if distance > 0 else parts.max()
    return {"value": distance, "standard_error": float(error)}


def _change(before: dict, after: dict) -> dict:
    """Return how much a value grows from one to the other."""
    if before["value"] is None or after["value"] is None:
        return {"value": None, "standard_error": None}
    errors = [before["standard_error"], after["standard_error"]]
    error = None if None in errors else float(np.hypot(*errors))
    return {"value": after["value"] - before["value"], "standard_error": error}
