"""Files of a computed set: numbers, maps, plan and picture, in a folder that changes only when whole."""

from __future__ import annotations

import json
import math
from concurrent.futures import ThreadPoolExecutor
from importlib.metadata import version
from pathlib import Path

import numpy as np

from brimcast.scene.frame import crop_share
from brimcast.shared.errors import PersonError, telling_unwritable
from brimcast.shared.exposure import marked_f_number

from .adjust import LOOKS, LUMINANCE, develop, display
from .balance import Exposed, expose_set, tell_exposure
from .cropguide import mark_crop
from .images import read_exr_settings, write_exr, write_json, write_npz, write_png
from .job import Outcome
from .keep import replacing
from .plan import Circle, Plan, draw_table_plan
from .report import list_maps, meter_bands, units

__all__ = ["expose", "list_settings", "list_stale", "plan_table", "write_output"]

# What `adjust` and `expose` make of a picture.
DERIVED = ("adjusted.json", "stops-adjusted.png", "stops-picture.png", "stops-table.png")
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
        "gels": {lamp.name: list(lamp.gels) for lamp in built.lamps},
        "meters": [meter.name for meter in built.meters],
        "relative": built.relative,
        "camera": _list_camera(outcome),
        "look": {"name": "plain", "meaning": LOOKS["plain"]},
    }


def _list_camera(outcome: Outcome) -> dict | None:
    """What of the camera makes levels of light."""
    camera = outcome.built.camera
    if camera is None:
        return None
    numbers = {
        "f_number": marked_f_number(camera.f_number),
        "iso": camera.iso,
        "magnification": camera.magnification,
        "white": camera.white or camera.white_k,
    }
    # As report.json has them, for all files are to say the same.
    short = {key: float(f"{it:.6g}") if isinstance(it, float) else it for key, it in numbers.items()}
    share = crop_share(camera)
    return {**short, "crop_share": share and [float(f"{side:.6g}") for side in share]}


def expose(outcome: Outcome, met: np.ndarray) -> Exposed:
    """Return exposure and white for a set's light; `met` is the mean of `report.meter_bands`."""
    built = outcome.built
    plain = np.stack([light.plain * light.lamp.scale * light.lamp.band_spectrum for light in outcome.lights])
    gels = np.stack([light.lamp.gel for light in outcome.lights])
    meters = {meter.name: met[..., place] * meter.reflectance for place, meter in enumerate(built.meters)}
    return expose_set(built, plain, gels, meters)


def write_output(
    outcome: Outcome, report: dict, folder: str | Path, settings: dict
) -> tuple[list[str], Exposed]:
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
    names : list of str
        Files written. There is no table.png where no focused light falls on the table.
    exposed : Exposed
        How they are developed.

    Raises
    ------
    PersonError
        The folder cannot be written.
    """
    met = meter_bands(outcome).mean(axis=1)
    exposed = expose(outcome, met)
    # Packing lets go of the interpreter, so maps and pictures are packed side by side.
    with telling_unwritable(folder), replacing(folder) as fresh, ThreadPoolExecutor(2) as pool:
        tasks = [pool.submit(write_npz, fresh / "maps.npz", list_maps(outcome, met), settings)]
        if outcome.picture:
            tasks.append(pool.submit(_write_picture, outcome, exposed, fresh, settings))
        write_json(fresh / "report.json", {**report, "settings": settings})
        plan = plan_table(outcome, exposed)
        if plan:
            write_png(fresh / "table.png", draw_table_plan(plan), settings)
        for task in tasks:
            task.result()
        return sorted(path.name for path in fresh.iterdir()), exposed


def list_stale(folder: str | Path, digest: str, written: list[str]) -> list[str]:
    """Return the files in a folder that earlier runs left there and that do not belong to this one.

    A picture of a set that said something else, or that cannot be read; beside a fresh picture, all that was
    made of an earlier one.

    Parameters
    ----------
    folder : path
    digest : str
        Of the set.
    written : list of str
        Names of the files just written.
    """
    folder = Path(folder)
    left = [name for name in ("picture.exr", *DERIVED) if name not in written and (folder / name).exists()]
    if "picture.png" in written:
        return left
    readers = {"picture.exr": read_exr_settings, "adjusted.json": _adjusted_settings}
    return [name for name in left if name in readers and _digest_of(folder / name, readers[name]) != digest]


def _digest_of(path: Path, read_settings) -> str | None:
    try:
        return read_settings(path).get("digest")
    except PersonError:
        return None


def _adjusted_settings(path: Path) -> dict:
    try:
        return json.loads(path.read_text(encoding="utf-8"))["settings"]
    except (OSError, ValueError, KeyError, TypeError):
        return {}


def plan_table(outcome: Outcome, exposed: Exposed) -> Plan | None:
    """Return the plan of the table's light as the camera would expose it; None where it would be empty."""
    built = outcome.built
    if min(outcome.window.shape) < 2:
        return None
    exposure, white = exposed.exposure, exposed.white
    matte = built.panels[0].front / math.pi
    bands, plain = {}, {}
    for number, light in enumerate(outcome.lights):
        lamp = light.lamp
        spectrum = lamp.band_spectrum * lamp.scale
        here = light.maps[:, :, : outcome.window.cells].sum(axis=1).reshape(16, *outcome.window.shape)
        through = (lamp.gel * matte)[:, None, None]
        bands[lamp.name] = (here + outcome.bare(number)) * lamp.scale * through
        plain[lamp.name] = (light.plain * spectrum)[:, None, None] * through
    plain_level = float(develop(plain, exposure, white=white)[0, 0] @ LUMINANCE)
    if not plain_level > 0:
        return None
    return Plan(
        title=built.title,
        quality=outcome.quality,
        light=develop(bands, exposure, white=white),
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
        note=tell_exposure(exposure) + DRAFT_NOTE * (outcome.quality == "draft"),
    )


def _write_picture(outcome: Outcome, exposed: Exposed, folder: Path, settings: dict) -> None:
    lamps = outcome.built.lamps
    # At 0 stops: the files hold each lamp's light before its power.
    bands = {
        lamp.name: outcome.picture.bands[number] * np.float32(lamp.luminance)
        for number, lamp in enumerate(lamps)
    }
    powers = {lamp.name: lamp.power_stops for lamp in lamps}
    gels = {lamp.name: lamp.gel for lamp in lamps}
    linear = develop(bands, exposed.exposure, power_stops=powers, gels=gels, white=exposed.white)
    shown = mark_crop(display(linear), crop_share(outcome.built.camera))
    write_png(folder / "picture.png", shown, settings, quick=True)
    write_exr(folder / "picture.exr", bands, linear, settings)
