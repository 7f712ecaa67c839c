"""Glasses as they are made: shape, finish, tint and bubbles of a set's glass."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from brimcast.shared.colour import decode_hex
from brimcast.shared.errors import PersonError
from brimcast.vessels import relief
from brimcast.vessels.facets import Cut
from brimcast.vessels.finish import Finish, Frost, finish
from brimcast.vessels.inclusions import Bubbles, bubble_mesh
from brimcast.vessels.library import Vessel
from brimcast.vessels.mesh import Mesh, bent
from brimcast.vessels.outside import FinishError

from . import models_finish as models
from .built import Sheet
from .glassfiles import folder_of
from .labels import stick_label
from .media import Medium
from .panels import bands_of
from .setfile import SetFile, faults_at
from .tints import absorb_bands, absorb_colour

# Where an uneven surface ends that is not said to: this share of the height under the rim.
_RIM_SHARE = 0.05


class Tinted(NamedTuple):
    """A material and its tint."""

    base: object
    tint: object


class Bubble(NamedTuple):
    """What is in a bubble: air."""


@dataclass(frozen=True, eq=False)
class Dressed:
    """A glass of a set as it is made.

    Attributes
    ----------
    mesh : Mesh
    vessel : Vessel
        With its thinnest wall as it now is.
    made : object
        What the glass is made of.
    bubbles : Mesh or None
    bend : (3, 3) float
        See `fit`.
    labels : tuple of Sheet
    """

    mesh: Mesh
    vessel: Vessel
    made: object
    bubbles: Mesh | None
    bend: np.ndarray
    labels: tuple[Sheet, ...]

    def fit(self, mesh: Mesh) -> Mesh:
        """Return what fits the upright round glass so that it fits this one."""
        return bent(mesh, self.bend)


def dress_glass(set_file: SetFile, name: str, vessel: Vessel, detail: float) -> Dressed:
    """Return a glass of the set with its finish, not yet placed.

    Raises
    ------
    PersonError
        A feature does not go on the glass.
    """
    glass = set_file.glasses[name]
    try:
        _check_stuff(glass, vessel)
        done = finish_of(glass, vessel)
        finished = finish(vessel, done, detail)
        bubbles = None
        if glass.bubbles:
            bubbles = bent(bubble_mesh(finished.core_mm, _bubbles_of(glass.bubbles)), finished.bend)
        labels = tuple(_stick_labels(set_file, name, vessel, done, detail))
    except FinishError as error:
        raise PersonError(faults_at(set_file, f"glasses.{name}.{error.part}", str(error))) from None
    made = Tinted(glass.glass, glass.tint) if glass.tint else glass.glass
    return Dressed(finished.mesh, finished.vessel, made, bubbles, finished.bend, labels)


def _stick_labels(set_file: SetFile, name: str, vessel: Vessel, done: Finish, detail: float):
    for number, model in enumerate(set_file.glasses[name].labels, 1):
        own = f"{name} label" if number == 1 else f"{name} label {number}"
        try:
            yield stick_label(own, model, vessel, done, folder_of(set_file), detail)
        except FinishError as error:
            raise FinishError(f"labels.{number}{error.part.removeprefix('label')}", str(error)) from None


def _check_stuff(glass: models.Finish, vessel) -> None:
    for word in ("tint", "bubbles", "hammered", "wavy"):
        if getattr(glass, word) and vessel.closed:
            raise FinishError(word, f"a {vessel.name} is of metal; take this out")
        if getattr(glass, word) and word != "tint" and not isinstance(vessel, Vessel):
            raise FinishError(
                word, "a glass from a mesh does not tell its inside from its outside; take this out"
            )
    if glass.tint:
        try:
            absorption_of_tint(glass.tint)
        except ValueError as error:
            raise FinishError("tint", str(error)) from None


def finish_of(glass: models.Finish, vessel: Vessel) -> Finish:
    """Return what the set file says of a glass in the words of `vessels`."""
    reliefs = []
    for word, standing in (("flutes", False), ("ribs", True)):
        if model := getattr(glass, word):
            span = model.depth_mm, model.from_mm, model.to_mm
            reliefs.append(relief.Flutes(*span, model.count, model.twist_deg, standing))
    if model := glass.rings:
        reliefs.append(relief.Rings(model.depth_mm, model.from_mm, model.to_mm, model.count))
    for word, kind in (("hammered", relief.Hammered), ("wavy", relief.Wavy)):
        if model := getattr(glass, word):
            low = vessel.base_mm if model.from_mm is None else model.from_mm
            high = (1 - _RIM_SHARE) * vessel.height_mm if model.to_mm is None else model.to_mm
            reliefs.append(kind(model.depth_mm, low, high, model.scale_mm, model.seed))
    model = glass.cut
    return Finish(
        cut=model and Cut(model.facets, model.depth_mm, model.from_mm, model.to_mm, model.bevel_deg),
        reliefs=tuple(reliefs),
        frosts=tuple(Frost(frost.from_mm, frost.to_mm, frost.roughness) for frost in glass.frosted),
        tilt_deg=glass.tilt_deg,
        out_of_round_mm=glass.out_of_round_mm,
    )


def _bubbles_of(model: models.Bubbles) -> Bubbles:
    largest = model.diameter_mm if model.largest_mm is None else model.largest_mm
    return Bubbles(model.count, model.diameter_mm, largest, model.seed)


def tint_medium(base: Medium, tint: models.Tint) -> Medium:
    """Return a medium with a tint added."""
    return replace(
        base, name=f"{base.name}, tinted", absorption_per_mm=base.absorption_per_mm + absorption_of_tint(tint)
    )


@lru_cache(maxsize=32)
def absorption_of_tint(tint: models.Tint) -> np.ndarray:
    """Return the (321,) absorption of a tint, Napierian, 1/mm; of a measured one, see `transmissions`."""
    match tint:
        case models.ColourTint():
            return absorb_colour(decode_hex(tint.colour), tint.at_mm)
        case models.ShareTint():
            return absorb_bands(bands_of(tint), tint.at_mm)
        case models.BandTint():
            return absorb_bands(tint.bands, tint.at_mm)
    raise TypeError(f"no tint is known for {tint!r}")
