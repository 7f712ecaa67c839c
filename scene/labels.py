"""Labels of a set's glasses: where they lie, and their pictures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from brimcast.vessels import label
from brimcast.vessels.finish import Finish
from brimcast.vessels.library import Vessel
from brimcast.vessels.mesh import placed
from brimcast.vessels.outside import FinishError, find_outside

from . import models_surfaces as surfaces
from .built import Sheet
from .panels import bands_of
from .prints import picture_shape, read_print, tell_unreadable


def stick_label(
    name: str, model: surfaces.Label, vessel: Vessel, done: Finish, folder: Path, detail: float
) -> Sheet:
    """Return a label of a glass, not yet placed.

    Parameters
    ----------
    name : str
        The sheet's.
    model : Label
    vessel : Vessel
    done : Finish
        Of the glass.
    folder : path
        From which the picture is found.
    detail : float

    Raises
    ------
    FinishError
        It does not go on the glass, or its picture cannot be read.
    """
    if not isinstance(vessel, Vessel):
        raise FinishError("label", "a glass from a mesh takes no label; take this out")
    path = folder / model.picture if model.picture else None
    try:
        shape = picture_shape(path) if path else None
        cut = label.cut_label(vessel, _lay_out(model, vessel, shape), done, detail)
        picture = read_print(path, cut.size_mm, model.kind == "ink") if path else None
    except OSError as wrong:
        raise FinishError("label.picture", tell_unreadable(path, wrong)) from None
    back = np.zeros(16) if model.kind == "ink" else bands_of(model.back)
    return Sheet.of(name, cut, bands_of(model.reflectance), back, picture=picture)


def place_sheet(sheet: Sheet, at_mm, turn_deg: float) -> Sheet:
    """Return a sheet turned about the z axis, then moved."""
    return replace(sheet, mesh=placed(sheet.mesh, at_mm, turn_deg))


def _lay_out(model: surfaces.Label, vessel: Vessel, shape: tuple[int, int] | None) -> label.Label:
    """Return where a label goes by its width, its picture's proportions, or all round."""
    side = find_outside(vessel, "label", model.from_mm, model.to_mm, of_metal=True)
    level = side.at(np.linspace(model.from_mm, model.to_mm, 65))
    steps = np.hypot(np.diff(level.radius_mm), np.diff(level.height_mm))
    radius_mm = np.interp(0.5, np.cumsum([0, *steps]) / steps.sum(), level.radius_mm) + label.GAP_MM
    round_mm = 2 * np.pi * radius_mm
    width_mm = model.width_mm or (steps.sum() * shape[0] / shape[1] if shape else round_mm)
    if width_mm > round_mm * (1 + 1e-9):
        text = f"{width_mm:.4g} mm wide; once round the glass is {round_mm:.4g} mm"
        raise FinishError("label.width" if model.width_mm else "label", text)
    half_deg = min(180.0, np.degrees(width_mm / 2 / radius_mm))
    return label.Label(model.from_mm, model.to_mm, (model.facing_deg - half_deg, model.facing_deg + half_deg))
