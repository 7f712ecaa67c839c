"""Colour of a caustic's light against the lamp's own, and what colour in glass or drink costs it."""

from __future__ import annotations

import math

import numpy as np

from brimcast.shared.colour import delta_e_to_white, xyz_from_bands

from ..peaks import average
from .answer import entry, quadrature
from .pairs import error_inside, inside, outline_of
from .study import Frame


def compare_colour(clear: Frame, tinted: Frame, lamp: str, kind: str) -> dict[str, dict]:
    """Return how a caustic is coloured, over its outline and at its peak; both are those without colour.

    Returns
    -------
    dict
        `outline_de00`, `outline_loss_stops`, `peak_de00`, `peak_loss_stops`; see questions.md, 14. The error
        of a difference is what the caustic without colour is off the lamp's light by.
    """
    outline = outline_of(clear, lamp, kind)
    if outline is None:
        return {}
    over = [_xyz_inside(frame, clear, outline, lamp, kind) for frame in (clear, tinted)]
    place = clear.caustic(lamp, kind)["peak_mm"]["value"]
    at = [_xyz_at(frame, place, lamp, kind) for frame in (clear, tinted)]
    flux_error = quadrature(*(error_inside(frame, lamp, kind, outline) for frame in (clear, tinted)))
    peaks = [frame.caustic(lamp, kind)["pattern_over_table_stops"] for frame in (clear, tinted)]
    peak_error = quadrature(*(peak["standard_error"] for peak in peaks))
    white = xyz_from_bands(clear.stored.plain[lamp] * clear.stored.gel[lamp])
    return {
        "outline_de00": _difference(*over, white),
        "outline_loss_stops": _loss(*over, None if flux_error is None else flux_error / math.log(2)),
        "peak_de00": _difference(*at, white),
        "peak_loss_stops": _loss(*at, peak_error),
    }


def _xyz_inside(frame: Frame, owner: Frame, outline, lamp: str, kind: str) -> np.ndarray:
    return xyz_from_bands(inside(frame, owner, outline, frame.table(lamp, (kind,))).sum(axis=-1))


def _xyz_at(frame: Frame, place_mm, lamp: str, kind: str) -> np.ndarray:
    bands = frame.table(lamp, (kind,))
    return xyz_from_bands([average(frame.x_mm, frame.y_mm, band, place_mm) for band in bands])


def _difference(clear: np.ndarray, tinted: np.ndarray, white: np.ndarray) -> dict:
    if not tinted[1] > 0:
        return entry(None, None, "dE00")
    return entry(delta_e_to_white(tinted, white), delta_e_to_white(clear, white), "dE00")


def _loss(clear: np.ndarray, tinted: np.ndarray, error: float | None) -> dict:
    if not tinted[1] > 0:
        return entry(None, None, "stops")
    return entry(float(np.log2(clear[1] / tinted[1])), error, "stops")
