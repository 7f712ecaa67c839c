"""Exposure and white of a set's light: what the camera makes of it, as it was or is now."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from brimcast.scene.colourwords import AS_SHOT, DAYLIGHT_K
from brimcast.shared.colour import BAND_XYZ, xy_from_xyz, xyz_from_bands
from brimcast.shared.exposure import marked_f_number

from .adjust import Exposure

if TYPE_CHECKING:
    from brimcast.scene.built import BuiltSet

White = float | tuple[float, float]


class Exposed(NamedTuple):
    """How light is developed: exposure, white, and why white is not the one asked for; empty where it is."""

    exposure: Exposure
    white: White
    unbalanced: str


def expose(camera: Exposure, white: float | str, plain, gels, meters: dict) -> Exposed:
    """Return exposure and white for light as it is now.

    A relative set is metered on the plain table, all lamps together at their powers, gels off: 1 over that
    light is its scale.

    Parameters
    ----------
    camera : Exposure
        Its `relative` is taken anew where it is not None.
    white : float or str
        K; ``as shot``, the light of all lamps together on the bare table at the datum; or the name of a
        meter. Where that light is none, or not known, daylight is taken and `unbalanced` says why.
    plain : (lamps, 16) float
        Each lamp's light on the bare table at the datum, at its power, without gels.
    gels : (lamps, 16) float
        Share that each lamp's gels pass.
    meters : dict of str to (lamps, 16) float
        Light on each meter, likewise, times the reflectance of what is to be neutral there.
    """
    if camera.relative is not None:
        lit = float(np.sum(plain @ BAND_XYZ[:, 1]))
        camera = replace(camera, relative=1 / lit if lit > 0 else 1.0)
    if not isinstance(white, str):
        return Exposed(camera, float(white), "")
    if white != AS_SHOT and white not in meters:
        return Exposed(camera, DAYLIGHT_K, f"{white!r} was not metered")
    light = np.sum((plain if white == AS_SHOT else meters[white]) * gels, axis=0)
    if not np.sum(light) > 0:
        return Exposed(camera, DAYLIGHT_K, f"no light falls on {white!r}")
    return Exposed(camera, tuple(float(value) for value in xy_from_xyz(xyz_from_bands(light))), "")


def expose_set(built: BuiltSet, plain, gels, meters: dict) -> Exposed:
    """Return exposure and white of a set's camera; without one, the plain table is exposed as metered."""
    camera = built.camera
    if camera is None:
        return expose(Exposure(1.0, 100.0, relative=1.0), DAYLIGHT_K, plain, gels, meters)
    as_set = Exposure(camera.f_number, camera.iso, camera.magnification, 1.0 if built.relative else None)
    return expose(as_set, camera.white or camera.white_k, plain, gels, meters)


def tell_exposure(exposure: Exposure) -> str:
    """Return in words how light is exposed."""
    if exposure.relative is not None:
        return "Exposed as metered on the plain table."
    marked = marked_f_number(exposure.f_number)
    return f"Exposed at f/{marked:g}, ISO {exposure.iso:g}, close focus counted."


def list_unbalanced(exposed: Exposed) -> list[str]:
    """Return what to say where white is not the one asked for."""
    if not exposed.unbalanced:
        return []
    return [f"white balance: {exposed.unbalanced}, so it is that of {exposed.white:.0f} K"]
