"""The command `brimcast expose`: readings, ratios, f-number and power to reach, stops maps, headroom."""

from __future__ import annotations

import contextlib
import math
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from brimcast.scene.built import BuiltSet
from brimcast.shared import exposure
from brimcast.shared.errors import PersonError, telling_unwritable

from .exposure_words import list_lines
from .options import read_kind

if TYPE_CHECKING:
    from brimcast.renders.adjust import Exposure
    from brimcast.renders.stored import Stored


@dataclass(frozen=True)
class Asked:
    """What `brimcast expose` is asked.

    Attributes
    ----------
    path : Path
    from_folder, out : Path or None
    target : str or None
        An f-number.
    ratios : tuple of str
        Such as ``key:fill``.
    changes : mapping
    device : str
    """

    path: Path
    from_folder: Path | None
    out: Path | None
    target: str | None
    ratios: tuple[str, ...]
    changes: Mapping[str, str]
    device: str


def tell(asked: Asked, as_json: bool) -> list[str]:
    """Return the lines to print; renders a draft where there is no run of the set, and writes the stops maps.

    Raises
    ------
    PersonError, EngineError
    """
    from brimcast.scene.builder import build
    from brimcast.scene.setfile import read

    set_file = read(asked.path, asked.changes)
    built = build(set_file, detail=0.5)
    # All that can be wrong is told before anything long begins.
    target = _read_target(asked.target, built)
    numbers = describe_readings(built, target)
    numbers["ratios"] = [_ratio(text, numbers) for text in asked.ratios or _usual_ratios(numbers)]
    stored = _find_run(built, set_file, asked)
    numbers["same_set"] = _is_same(set_file, asked, stored.settings)
    numbers |= _measure_run(built, stored, asked.out or stored.folder)
    if as_json:
        from brimcast.renders.images import json_text

        return [json_text(numbers)]
    return list_lines(numbers)


def _read_target(text: str | None, built: BuiltSet) -> float | None:
    if text is None:
        return None
    if built.relative:
        raise PersonError("--target: no lamp has a reading, so no f-number can be told; give every lamp one")
    return read_kind("--target", "f_number", text)


def _render(asked: Asked, built: BuiltSet, folder: Path) -> None:
    from . import computing

    changes = {"render.quality": "draft"} | dict(asked.changes)
    # What the render says goes beside the numbers, which a program may read.
    with contextlib.redirect_stdout(sys.stderr):
        computing.compute(asked.path, folder, changes, asked.device, picture=built.camera is not None)


def describe_readings(built: BuiltSet, target: float | None = None) -> dict:
    """Return meter readings of every lamp alone at every point, and what they mean for the camera.

    Parameters
    ----------
    built : BuiltSet
    target : float, optional
        Exact f-number on the lens at which each lamp is to expose the glass rightly.

    Returns
    -------
    dict
    """
    from brimcast.scene.bodies import is_far
    from brimcast.scene.frame import describe_camera
    from brimcast.scene.readings import list_points, read_lamp

    camera = built.camera
    iso = camera.iso if camera else 100.0
    loss = exposure.close_up_loss(camera.magnification) if camera else 0.0
    places = {point.name: point for point in list_points(built)}
    points = {}
    for name, point in places.items():
        lights = {lamp.name: read_lamp(built, lamp, point) for lamp in built.lamps}
        points[name] = {
            "where": point.words,
            "place_mm": [float(value) for value in point.place_mm],
            "lamps": {lamp: _reading(light, iso, built.relative) for lamp, light in lights.items()},
        }
    for lamp in built.lamps:
        entry = points["glass"]["lamps"][lamp.name]
        entry["power_stops"] = lamp.power_stops
        if entry["f_number"]:
            away_m = float(sum((lamp.centre_mm - places["glass"].place_mm) ** 2) ** 0.5 / 1000)
            guide_m = float(exposure.guide_number(entry["f_number"], away_m, iso))
            # Sun and sky are no lamps of the studio.
            entry["guide_number_m"] = None if is_far(lamp) else guide_m
            entry["lens_f_number"] = entry["f_number"] * 2 ** (-loss / 2)
            if target:
                entry["power_for_target_stops"] = lamp.power_stops + _stops_to(entry["lens_f_number"], target)
    return {
        "set": {"title": built.title, "digest": built.digest},
        "relative": built.relative,
        "iso": iso,
        "camera": describe_camera(built),
        "close_up_loss_stops": float(loss),
        "target_f_number": target,
        "points": points,
    }


def _stops_to(f_number: float, target: float) -> float:
    return 2 * math.log2(target / f_number)


def _reading(light: float, iso: float, relative: bool) -> dict:
    """Return one reading; an f-number only where the light is physical."""
    lit = light > 0
    return {
        "light": float(light),
        "f_number": float(exposure.f_number_for(light, iso)) if lit and not relative else None,
    }


def _usual_ratios(numbers: dict) -> list[str]:
    """Return the strongest lamp at the glass against each other one."""
    lights = {name: entry["light"] for name, entry in numbers["points"]["glass"]["lamps"].items()}
    first, *others = sorted(lights, key=lambda name: -lights[name])
    return [f"{first}:{other}" for other in others if lights[other] > 0]


def _ratio(text: str, numbers: dict) -> dict:
    """Return a ratio of two lamps at the glass, or of all lamps' light at two points."""
    one, sign, other = (part.strip() for part in text.partition(":"))
    lamps, points = numbers["points"]["glass"]["lamps"], numbers["points"]
    if sign and one in lamps and other in lamps:
        key, fill = lamps[one]["light"], lamps[other]["light"]
        kind = "lamps"
    elif sign and one in points and other in points:
        lit, shade = (sum(e["light"] for e in points[name]["lamps"].values()) for name in (one, other))
        # The shadow side has the fill alone; the highlight side has key and fill.
        key, fill, kind = lit - shade, shade, "points"
    else:
        known = ", ".join([*lamps, *points])
        raise PersonError(f"--ratio {text!r}: write two lamps or two meters as A:B; there are {known}")
    if fill <= 0 or key < 0:
        return {"of": [one, other], "by": kind, "incident": None, "highlight_to_shadow": None}
    incident, both = exposure.lighting_ratio(key, fill)
    return {"of": [one, other], "by": kind, "incident": float(incident), "highlight_to_shadow": float(both)}


def _is_same(set_file, asked: Asked, settings: dict) -> bool:
    """Return whether settings are the set's, but for power, gels and how finely it was computed."""
    from brimcast.scene import setfile

    try:
        kept = setfile.parse(settings["set"], str(asked.path), settings["changes"])
    except (PersonError, KeyError):
        return False
    if list(kept.lamps) != list(set_file.lamps):
        return False
    lamps = {}
    for name, lamp in kept.lamps.items():
        now = set_file.lamps[name]
        lamps[name] = lamp.model_copy(update={"power_stops": now.power_stops, "gels": now.gels})
    alike = {"lamps": lamps} | {name: getattr(set_file, name) for name in ("title", "render", "room")}
    return setfile.digest(kept.model_copy(update=alike)) == setfile.digest(set_file)


def _find_run(built: BuiltSet, set_file, asked: Asked) -> Stored:
    """Return the run to expose: the folder given, else an earlier run of this set, else a draft made now."""
    from brimcast.renders.exposures import read_folder

    if asked.from_folder is not None:
        return read_folder(asked.from_folder, built)
    folder = asked.out or Path("out") / asked.path.stem
    for place in (folder, folder / "draft"):
        with contextlib.suppress(PersonError):
            stored = read_folder(place, built)
            seen = stored.bands is not None or built.camera is None
            if seen and _is_same(set_file, asked, stored.settings):
                return stored
    _render(asked, built, folder / "draft")
    return read_folder(folder / "draft", built)


def _measure_run(built: BuiltSet, stored: Stored, out: Path) -> dict:
    """Return what a computed folder tells, and write the stops maps of its picture and table."""
    import numpy as np

    from brimcast.renders import balance, exposures
    from brimcast.scene.emptied import list_empty

    light = exposures.set_light(built, stored)
    table = exposures.expose_table(built, stored, light)
    focused = exposures.expose_table(built, stored, light, exposures.TABLE_KINDS[1:])
    views = {
        "picture": exposures.expose_picture(built, stored, light),
        # From above, the camera's side below.
        "table": None if table is None else np.flipud(table),
    }
    views = {name: linear for name, linear in views.items() if linear is not None}
    return {
        "traced": exposures.traced_meters(stored, light),
        "folder": str(stored.folder),
        "quality": stored.report.get("quality"),
        "empty_glasses": list_empty(built),
        "headroom": exposures.caustic_headroom(built, stored, table, focused),
        "notes": balance.list_unbalanced(light.exposed),
        **_draw(views, light.exposed.exposure, stored.settings, out),
    }


def _draw(views: dict, exposure: Exposure, settings: dict, out: Path) -> dict:
    """Write stops maps, all or none; return what they show by name, and the paths."""
    from brimcast.renders import stopsmap
    from brimcast.renders.keep import replacing_files

    whats = {"picture": "the camera's picture", "table": "the table from above, camera side below"}
    paths = [out / f"stops-{name}.png" for name in views]
    shown = {name: stopsmap.measure_stops(linear) for name, linear in views.items()}
    with telling_unwritable(out), replacing_files(paths) as fresh:
        for (name, stops), path in zip(shown.items(), fresh, strict=True):
            stopsmap.write_stops_map(path, stops, whats[name], exposure, settings)
    return {"maps": {name: stops.shares() for name, stops in shown.items()}, "wrote": list(map(str, paths))}
