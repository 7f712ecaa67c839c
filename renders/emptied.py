"""What filling the glasses does to the caustics: a set against the same set with its glasses empty."""

from __future__ import annotations

import numpy as np

from .report import KINDS


def compare(filled: dict, empty: dict) -> dict:
    """Return what `report.json` says under `empty_against_filled`; report.md lists its keys.

    Parameters
    ----------
    filled, empty : dict
        Reports of the same lamps, at the same quality; see `brimcast.renders.report.describe`.

    Returns
    -------
    dict
        By lamp and kind: values with standard errors, those of the two sets combined in quadrature; None
        where a set has no such value.
    """
    return {
        name: {kind: compare_caustics(empty["caustics"][name][kind], kinds[kind]) for kind in KINDS}
        for name, kinds in filled["caustics"].items()
    }


def compare_caustics(before: dict, after: dict) -> dict:
    """Return what changes from one caustic to another, each a dict of measures with errors."""
    return {
        "peak_shift_mm": find_distance(before["peak_mm"], after["peak_mm"]),
        "tip_shift_mm": find_distance(before["tip_mm"], after["tip_mm"]),
        "width_change_mm": find_change(before["line_width_mm"], after["line_width_mm"]),
        "brightness_change_stops": find_change(
            before["peak_over_table_stops"], after["peak_over_table_stops"]
        ),
    }


def find_distance(one: dict, other: dict) -> dict:
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


def find_change(before: dict, after: dict) -> dict:
    """Return how much a value grows from one to the other."""
    if before["value"] is None or after["value"] is None:
        return {"value": None, "standard_error": None}
    errors = [before["standard_error"], after["standard_error"]]
    error = None if None in errors else float(np.hypot(*errors))
    return {"value": after["value"] - before["value"], "standard_error": error}
