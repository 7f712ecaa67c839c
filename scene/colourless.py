"""A set with the colour taken out of its glasses and drinks, and what of them is coloured."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from dataclasses import replace

import numpy as np

from brimcast.shared.gels import describe
from brimcast.shared.spectra import daylight

from .built import BuiltSet
from .media import Medium

# Coloured is what shows on a usual way through it: 3 dE00, or a tenth of a stop. Common practice, the ways
# too; colourless tableware makes 1 dE00.
WAY_MM = {"glass": 10.0, "drink": 60.0}
LEAST_DE00, LEAST_STOPS = 3.0, 0.1
_DAYLIGHT_K = 5600.0


def list_coloured(built: BuiltSet, names: Collection[str]) -> list[str]:
    """Return the names of the media that are coloured, or grey, among those that things of a set are made of.

    Parameters
    ----------
    built : BuiltSet
    names : collection of str
        Glasses with what is in them, or props.
    """
    slots = _slots(built, names)
    return [medium.name for slot, medium in enumerate(built.media) if slot in slots and _shows(medium)]


def take_colour(built: BuiltSet, names: Collection[str]) -> BuiltSet:
    """Return the set with glasses and drinks that absorb nothing, all else and every index as it was.

    A prop of the very same glass as one of `names` loses its colour with it.
    """
    slots = _slots(built, names)
    media = tuple(
        replace(medium, absorption_per_mm=np.zeros_like(medium.absorption_per_mm))
        if slot in slots
        else medium
        for slot, medium in enumerate(built.media)
    )
    told = repr([built.digest, "colourless", sorted(slots)])
    return replace(built, media=media, digest=hashlib.sha256(told.encode()).hexdigest())


def _slots(built: BuiltSet, names: Collection[str]) -> set[int]:
    """Return the slots of what things are made of; what a glass holds is named after it."""
    return {
        solid.slot
        for solid in built.solids
        if solid.kind == "dielectric"
        and any(solid.name == name or solid.name.startswith(f"{name} ") for name in names)
    }


def _shows(medium: Medium) -> bool:
    if medium.kind not in WAY_MM:
        return False
    found = describe(daylight(_DAYLIGHT_K), np.exp(-WAY_MM[medium.kind] * medium.absorption_per_mm))
    return found["delta_e_to_white"] >= LEAST_DE00 or found["loss_stops"] >= LEAST_STOPS
