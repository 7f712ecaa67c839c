"""Files of a computed set: numbers, maps, plan and picture, in a folder that changes only when whole."""

from __future__ import annotations

import math
from importlib.metadata import version
from pathlib import Path

import numpy as np

from brimcast.shared.errors import Fault, PersonError
from brimcast.shared.exposure import marked_f_number

from .adjust import LUMINANCE, Exposure, develop, display
from .cropguide import mark_crop
from .images import read_exr, read_npz, write_exr, write_json, write_npz, write_png
from .job import Outcome
from .keep import replacing
from .plan import Circle, Plan, draw_table_plan
from .report import list_maps, units

__all__ = ["list_settings", "list_stale", "plan_table", "write_output"]

# White balance of a table plan where the set has no camera: that of a camera that is left at its default.
PLAIN_WHITE_K = 5600.0
DRAFT_NOTE = " Specks are grain; proof and final have less."


def list_settings(outcome: Outcome, text: str, changes: dict[str, str] | None = None) -> dict:
    """Return what every file carries: all that it takes to compute it again.

    Parameters
    ----------
    outcome : Outcome
    text : str
        The set file's.
    changes : dict of str to str, optional
        Values used instead of the file's, by dotted key.
    """
    built, engine = outcome.built, outcome.engine
    return {
        "version": version("brimcast"),
        "title": built.title,
        "digest": built.digest,
        "set": text,
        "changes": changes or {},
        "seed": built.seed,
        "quality": outcome.quality,
        "cell_mm": outcome.window.cell_mm,
        "units": units(outcome),
        "engine": {"variant": engine.variant, "device": engine.device, "device_name": engine.device_name},
        "power_stops": {lamp.name: lamp.power_stops for lamp in built.lamps},
    }


def write_output(outcome: Outcome, report: dict, folder: str | Path, settings: dict) -> list[str]:
    """Write report.json, maps.npz, table.png and, of a picture, picture.png and picture.exr.

    Parameters
    ----------
    outcome : Outcome
    report : dict
        See `report.describe`.
    folder : path
        Left as it was when anything goes wrong.
    settings : dict
        See `list_settings`.

    Returns
    -------
    list of str
        Names of the files written. There is no table.png where no focused light falls on the table.

    Raises
    ------
    PersonError
        The folder cannot be written.
    """
    try:
        with replacing(folder) as fresh:
            write_json(fresh / "report.json", {**report, "settings": settings})
            write_npz(fresh / "maps.npz", list_maps(outcome), settings)
            plan = plan_table(outcome)
            if plan:
                write_png(fresh / "table.png", draw_table_plan(plan), settings)
            if outcome.picture:
                _write_picture(outcome, fresh, settings)
            return sorted(path.name for path in fresh.iterdir())
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise PersonError(Fault(str(folder), None, None, None, f"cannot be written: {reason}")) from error


def list_stale(folder: str | Path, digest: str) -> list[str]:
    """Return the files in a folder that an earlier run left there for a set that said something else."""
    stale = []
    for name, read in (("maps.npz", read_npz), ("picture.exr", read_exr)):
        path = Path(folder) / name
        if path.exists() and read(path)[-1].get("digest") != digest:
            stale.append(name)
    return stale


def plan_table(outcome: Outcome) -> Plan | None:
    """Return the plan of the table's light as the camera would expose it; None where it would be empty."""
    built = outcome.built
    if min(outcome.window.shape) < 2:
        return None
    exposure, white_k = _expose(outcome)
    matte = built.panels[0].front / math.pi
    bands, plain = {}, {}
    for number, light in enumerate(outcome.lights):
        lamp = light.lamp
        spectrum = lamp.band_spectrum * lamp.scale
        here = light.maps[:, :, : outcome.window.cells].sum(axis=1).reshape(16, *outcome.window.shape)
        straight = outcome.direct[number] * spectrum[:, None, None]
        bands[lamp.name] = (here * lamp.scale + straight) * matte[:, None, None]
        plain[lamp.name] = (light.plain * spectrum * matte)[:, None, None]
    plain_level = float(develop(plain, exposure, white=white_k)[0, 0] @ LUMINANCE)
    if not plain_level > 0:
        return None
    return Plan(
        title=built.title,
        quality=outcome.quality,
        light=develop(bands, exposure, white=white_k),
        x_mm=outcome.x_mm,
        y_mm=outcome.y_mm,
        plain_level=plain_level,
        circles=tuple(
            Circle(*foot.centre_mm, radius, part, foot.name)
            for foot in built.feet
            for part, radius in (("foot", foot.foot_radius_mm), ("mouth", foot.rim_radius_mm))
        ),
        lamps=tuple((lamp.name, lamp.azimuth_deg) for lamp in built.lamps),
        relative=built.relative,
        note=_exposure_note(outcome) + DRAFT_NOTE * (outcome.quality == "draft"),
    )


def _expose(outcome: Outcome) -> tuple[Exposure, float]:
    """Exposure and white of the camera; without one, the plain table is exposed as metered."""
    built, camera = outcome.built, outcome.built.camera
    if camera:
        relative = 1.0 if built.relative else None
        return Exposure(camera.f_number, camera.iso, camera.magnification, relative), camera.white_k
    plain = sum(light.plain * light.lamp.scale for light in outcome.lights)
    return Exposure(1.0, 100.0, relative=1 / plain if plain > 0 else 1.0), PLAIN_WHITE_K


def _exposure_note(outcome: Outcome) -> str:
    camera = outcome.built.camera
    if camera is None:
        return "No camera: exposed as metered on the plain table."
    if outcome.built.relative:
        return "Exposed as metered on the plain table."
    return f"Exposed as by the camera: f/{marked_f_number(camera.f_number):g}, ISO {camera.iso:g}."


def _write_picture(outcome: Outcome, folder: Path, settings: dict) -> None:
    exposure, white_k = _expose(outcome)
    lamps = outcome.built.lamps
    # At 0 stops: the files hold each lamp's light before its power.
    bands = {
        lamp.name: outcome.picture.bands[number] * np.float32(lamp.luminance)
        for number, lamp in enumerate(lamps)
    }
    powers = {lamp.name: lamp.power_stops for lamp in lamps}
    linear = develop(bands, exposure, power_stops=powers, white=white_k)
    write_png(folder / "picture.png", mark_crop(display(linear), outcome.built.camera), settings)
    write_exr(folder / "picture.exr", bands, linear, settings)
