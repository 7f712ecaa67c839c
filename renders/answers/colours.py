"""Colour of a caustic's light against the lamp's own, and what colour in glass or drink costs it."""

from __future__ import annotations

import math

import numpy as np

from brimcast.shared.colour import delta_e_to_white, xyz_from_bands

from .answer import entry, quadrature
from .pairs import error_inside, inside, outline_of
from .pattern import OUTLINE_STOPS
from .study import Frame

# Parts of a caustic, by how far under its peak they reach: all of it, and where it is brightest.
PARTS = {"pattern": OUTLINE_STOPS, "brightest": 1.0}


def compare_colour(clear: Frame, tinted: Frame, lamp: str, kind: str) -> dict[str, dict]:
    """Return how the parts of a caustic are coloured, and what light the colour costs.

    Parameters
    ----------
    clear, tinted : Frame
        Without colour in glass and drink, and with it. The parts are those of the clear one.
    lamp, kind : str

    Returns
    -------
    dict
        `pattern_de00`, `pattern_loss_stops`, `brightest_de00`, `brightest_loss_stops`; see questions.md, 14.
        The error of a difference is that by which the clear caustic is off the lamp's light.
    """
    white = xyz_from_bands(clear.stored.plain[lamp] * clear.stored.gel[lamp])
    found = {}
    for part, stops in PARTS.items():
        outline = outline_of(clear, lamp, kind, stops)
        before, after = (
            xyz_from_bands(inside(frame, clear, outline, frame.table(lamp, (kind,))).sum(axis=-1))
            for frame in (clear, tinted)
        )
        difference, loss = entry(None, None, "dE00"), entry(None, None, "stops")
        if after[1] > 0:
            difference = entry(delta_e_to_white(after, white), delta_e_to_white(before, white), "dE00")
            error = quadrature(*(error_inside(frame, lamp, kind, outline) for frame in (clear, tinted)))
            stops_lost = float(np.log2(before[1] / after[1]))
            loss = entry(stops_lost, None if error is None else error / math.log(2), "stops")
        found |= {f"{part}_de00": difference, f"{part}_loss_stops": loss}
    return found
