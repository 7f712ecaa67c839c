"""The command `brimcast expose`: readings, ratios, f-number and power to reach, stops maps, headroom."""

from __future__ import annotations

import contextlib
import json
import math
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from brimcast.scene.built import BuiltSet
from brimcast.shared import exposure
from brimcast.shared.errors import Fault, PersonError
from brimcast.shared.quantity import QuantityError, parse

from .exposure_words import list_lines


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
    """Return the lines to print; renders a draft where no folder is given, and writes the stops maps.

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
    folder = asked.from_folder
    if folder is None:
        folder = asked.out or Path("out") / asked.path.stem
        _render(asked, built, folder)
    numbers |= _measure_folder(
        built, folder, asked.out or folder, lambda settings: _is_same(set_file, asked, settings)
    )
    if as_json:
        from brimcast.renders.images import plain_numbers

        return [json.dumps(plain_numbers(numbers), indent=2, sort_keys=True, ensure_ascii=False)]
    return list_lines(numbers)


def _read_target(text: str | None, built: BuiltSet) -> float | None:
    if text is None:
        return None
    if built.relative:
        raise PersonError("--target: no lamp has a reading, so no f-number can be told; give every lamp one")
    try:
        return parse(text, "f_number")
    except QuantityError as error:
        raise PersonError(f"--target: {error}") from None


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
    from brimcast.scene.frame import describe_camera
    from brimcast.scene.readings import list_points, read_lamp

    camera = built.camera
    iso = camera.iso if camera else 100.0
    loss = exposure.close_up_loss(camera.magnification) if camera else 0.0
    plain = {lamp.name: lamp for lamp in built.lamps}
    points = {}
    for point in list_points(built):
        lights = {name: read_lamp(built, lamp, point) for name, lamp in plain.items()}
        points[point.name] = {
            "where": point.words,
            "place_mm": [float(value) for value in point.place_mm],
            "lamps": {name: _reading(light, iso, built.relative) for name, light in lights.items()},
        }
    glass = next(point for point in list_points(built) if point.name == "glass")
    for name, lamp in plain.items():
        entry = points["glass"]["lamps"][name]
        entry["power_stops"] = lamp.power_stops
        if entry["f_number"]:
            away_m = float(sum((lamp.centre_mm - glass.place_mm) ** 2) ** 0.5 / 1000)
            entry["guide_number_m"] = float(exposure.guide_number(entry["f_number"], away_m, iso))
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
    """Return whether a folder's settings are the set's, but for power and how finely it was computed."""
    from brimcast.scene import setfile

    try:
        kept = setfile.parse(settings["set"], str(asked.path), settings["changes"])
    except (PersonError, KeyError):
        return False
    if list(kept.lamps) != list(set_file.lamps):
        return False
    lamps = {
        name: lamp.model_copy(update={"power_stops": set_file.lamps[name].power_stops})
        for name, lamp in kept.lamps.items()
    }
    alike = {"lamps": lamps} | {name: getattr(set_file, name) for name in ("title", "render", "room")}
    return setfile.digest(kept.model_copy(update=alike)) == setfile.digest(set_file)


def _measure_folder(built: BuiltSet, folder: Path, out: Path, is_same) -> dict:
    """Return what a computed folder tells, and write the stops maps of its picture and table."""
    import numpy as np

    from brimcast.renders import exposures

    found = exposures.read_folder(folder, built)
    told: dict = {
        "traced": exposures.traced_meters(built, found),
        "folder": str(folder),
        "same_set": is_same(found.settings),
        "quality": found.report.get("quality"),
        "headroom": exposures.caustic_headroom(built, found),
        "maps": {},
        "wrote": [],
    }
    table = exposures.expose_table(built, found)
    views = {
        "picture": exposures.expose_picture(built, found),
        # From above, the camera's side below.
        "table": None if table is None else np.flipud(table),
    }
    for name, linear in views.items():
        if linear is not None:
            told["maps"][name] = _draw(name, linear, built, out / f"stops-{name}.png", found.settings, told)
    return told


def _draw(name: str, linear, built: BuiltSet, path: Path, settings: dict, told: dict) -> dict:
    from brimcast.renders import stopsmap
    from brimcast.renders.images import write_png

    stops = stopsmap.measure_stops(linear)
    shares = {"clipped": float(stops.clipped.mean()), "blocked_up": float(stops.blocked.mean())}
    words = f"{shares['clipped']:.1%} clipped, {shares['blocked_up']:.1%} blocked up"
    what = "the camera's picture" if name == "picture" else "the table from above, camera side below"
    lines = (f"Stops, {what}: {words}.", _exposed_words(built))
    try:
        write_png(path, stopsmap.draw_stops_map(stops, built.title, lines), settings)
    except OSError as error:
        reason = f"cannot be written: {(error.strerror or str(error)).lower()}"
        raise PersonError(Fault(str(path), None, None, None, reason)) from None
    told["wrote"].append(str(path))
    return {**shares, "headroom_stops": stops.headroom_stops}


def _exposed_words(built: BuiltSet) -> str:
    camera = built.camera
    if camera is None or built.relative:
        return "Exposed as metered on the plain table."
    marked = exposure.marked_f_number(camera.f_number)
    return f"Exposed at f/{marked:g}, ISO {camera.iso:g}, close focus counted."
