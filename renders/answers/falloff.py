"""How a lamp's light falls off over the table, by arithmetic alone."""

from __future__ import annotations

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.scene.frame import project
from brimcast.scene.lamps import Lamp, even_grid, irradiance_factor, spread_points
from brimcast.scene.readings import SAMPLES, UP, Point, read_lamp

from .answer import entry, tell

# Places along the line, and those at which what hangs is looked for.
PLACES = 121
LOOKED_AT = 31
# Less than this share of a lamp's light counts as shaded.
SHADED = 0.95


def cross_table(built: BuiltSet, lamp: Lamp) -> np.ndarray:
    """Return places (n, 3) on the line from edge to edge of the table through the datum, toward a lamp.

    From the lamp's side to the far one; a lamp right overhead has the line that goes to the camera.
    """
    away = np.hypot(*lamp.centre_mm[:2])
    toward = lamp.centre_mm[:2] / away if away > 1.0 else np.array([0.0, 1.0])
    half = np.asarray(built.panels[0].size_mm) / 2
    with np.errstate(divide="ignore"):
        reach = float(np.min(half / np.abs(toward)))
    places = np.linspace(reach, -reach, PLACES)[:, None] * toward
    return np.concatenate([places, np.zeros((PLACES, 1))], axis=1)


def light_along(lamp: Lamp, places_mm: np.ndarray, facing: bool) -> np.ndarray:
    """Return a lamp's light at places (n, 3), nothing between, on a meter that faces up, or it; per unit."""
    found = []
    for place in places_mm:
        normal = UP
        if facing:
            way = lamp.centre_mm - place
            normal = way / np.linalg.norm(way)
        found.append(irradiance_factor(spread_points(lamp, even_grid(SAMPLES), place, 1.0), place, normal))
    return np.array(found)


def measure_fall_off(built: BuiltSet, lamp: Lamp) -> dict:
    """Return a lamp's fall-off over the table, and over what of it is in the frame.

    Returns
    -------
    dict
        `table`, and with a camera `frame`: None, or `length_mm` of the stretch and the stops from its
        brightest to its darkest place, `stops` on a meter flat on the table and `facing_stops` on one that
        faces the lamp, None where some place gets no light. `shaded_share`, see `share_shaded`.
    """
    places = cross_table(built, lamp)
    stretches = {"table": np.ones(len(places), bool)}
    if built.camera is not None:
        stretches["frame"] = in_frame(built, places)
    light = {"stops": light_along(lamp, places, False), "facing_stops": light_along(lamp, places, True)}
    found: dict = {}
    for name, part in stretches.items():
        found[name] = None
        if part.sum() > 1:
            ends = places[part][[0, -1]]
            found[name] = {"length_mm": entry(float(np.linalg.norm(ends[1] - ends[0])), 0.0, "mm")}
            found[name] |= {key: _stops_across(values[part]) for key, values in light.items()}
    return {**found, "shaded_share": entry(share_shaded(built, lamp, places), None)}


def _stops_across(light: np.ndarray) -> dict:
    if not light.min() > 0:
        return entry(None, None, "stops")
    return entry(float(np.log2(light.max() / light.min())), 0.0, "stops")


def in_frame(built: BuiltSet, places_mm: np.ndarray) -> np.ndarray:
    """Return which places (n, 3) the camera frames, hidden or not."""
    # nan, of what is not before the lens, is no smaller than 1.
    return (np.abs(project(built.camera, places_mm)[:, :2]) < 1).all(axis=1)


def share_shaded(built: BuiltSet, lamp: Lamp, places_mm: np.ndarray) -> float:
    """Return the share of places at which what hangs or lies about keeps some of a lamp's light off."""
    some = places_mm[:: max(1, len(places_mm) // LOOKED_AT)]
    plain = light_along(lamp, some, False) * lamp.scale * lamp.passed
    met = np.array([read_lamp(built, lamp, Point("", place, UP, "")) for place in some])
    return float(np.mean(met < SHADED * plain))


def tell_fall_off(found: dict) -> str:
    """Return a lamp's fall-off, see `measure_fall_off`, in words."""
    words = []
    for name, what in (("table", "of table"), ("frame", "in the frame")):
        part = found.get(name)
        if part is None:
            words += ["none of that line is in the frame"] if name in found else []
            continue
        length = f"over the {part['length_mm']['value']:.0f} mm {what}"
        facing = f"({tell(part['facing_stops'])} with the meter facing it)"
        lit = part["stops"]["value"] is not None
        words.append(f"{tell(part['stops'])} {length} {facing}" if lit else f"not all is lit {length}")
    if share := found["shaded_share"]["value"]:
        words.append(f"what hangs or lies about shades {share:.0%} of the line, not counted here")
    return "; ".join(words)
