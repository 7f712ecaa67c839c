"""Direct light: what a lamp gives to places that see it, with everything else in the way."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter, minimum_filter

from brimcast.scene.built import BuiltSet

from .device import draw, floats, opaque_int
from .engine import dr, mi
from .interfaces import STEP_OFF_MM
from .lights import Lights, lamp_factor
from .windows import Window
from .world import Geometry, World

# Lamp points a cell of the direct map, away from shadows' edges and at them; points of a meter's disc.
FEW_POINTS = 16
MANY_POINTS = 64
POINTS_A_METER = 4096


@dr.freeze(warn_after=1000)
@dr.syntax
def light_places(geometry: Geometry, lights: Lights, numbers, index, place, normal):
    """Mean E/L in sr of one lamp at places.

    Parameters
    ----------
    numbers : tuple of mi.UInt32
        Lamp, lamp points a place, seed.
    index : mi.UInt32
        Number of each place.
    place, normal : mi.Float
        Four numbers a place: position and normal, each with a zero.
    """
    lamp, count, salt = numbers
    where = dr.gather(mi.Vector4f, place, index)
    facing = dr.gather(mi.Vector4f, normal, index)
    start = mi.Point3f(where.x, where.y, where.z)
    side = mi.Vector3f(facing.x, facing.y, facing.z)
    first = mi.UInt32(draw(index, salt) * mi.Float(lights.point_count))
    stride = lights.point_count // count
    total = mi.Float(0)
    number = mi.UInt32(0)
    while dr.hint(number < count, exclude=[geometry, lights]):
        # Every stride-th point of the lamp's set, from a start of the place's own.
        point = (first + number * stride) % lights.point_count
        total += lamp_factor(geometry, lights, lamp, point, start, side, mi.Bool(False), mi.Bool(True))
        number += 1
    return total / mi.Float(count)


def light_on(world, lights, lamp: int, places: np.ndarray, normal, count: int, seed: int) -> np.ndarray:
    """Return a lamp's direct light on places (n, 3) that face one way, (n,) E/L in sr.

    So many of its points count; with `lights.POINTS` all of them, the same at every place.
    """
    place = floats(np.pad(places, ((0, 0), (0, 1))))
    facing = floats(np.tile([*normal, 0.0], (len(places), 1)))
    index = dr.arange(mi.UInt32, len(places))
    dr.make_opaque(index)
    numbers = opaque_int(lamp), opaque_int(count), opaque_int(seed)
    return light_places(world.geometry, lights, numbers, index, place, facing).numpy()


def map_direct(built: BuiltSet, world: World, lights: Lights, window: Window) -> np.ndarray:
    """Return the direct light of every lamp on the table's window, (lamps, ny, nx), E/L in sr.

    Where a shadow's edge passes, a cell gets many points of the lamp; elsewhere few tell as much.
    """
    found = np.zeros((len(built.lamps), *window.shape))
    if window.cells == 0:
        return found
    u, v = window.centres()
    rng = np.random.default_rng((built.seed, 15485863))
    table = built.panels[0]
    flat = np.stack(np.meshgrid(table.corner_mm[0] + u, table.corner_mm[1] + v), axis=-1)
    flat += (rng.random(flat.shape) - 0.5) * window.cell_mm
    places = np.pad(flat.reshape(-1, 2), ((0, 0), (0, 1)), constant_values=STEP_OFF_MM)
    for lamp in range(len(built.lamps)):
        light = light_on(world, lights, lamp, places, (0, 0, 1), FEW_POINTS, built.seed + lamp)
        around = light.reshape(window.shape)
        edge = minimum_filter(around, 3) < 0.97 * maximum_filter(around, 3)
        edge = np.flatnonzero(edge)
        if len(edge):
            finer = light_on(world, lights, lamp, places[edge], (0, 0, 1), MANY_POINTS, built.seed + lamp)
            light[edge] = finer
        found[lamp] = light.reshape(window.shape)
    return found


def _disc(meter, count: int, rng) -> np.ndarray:
    """(count, 3) points spread over a meter's disc."""
    side = np.cross(meter.normal, [0.0, 0.0, 1.0] if abs(meter.normal[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    other = np.cross(meter.normal, side)
    radius = meter.radius_mm * np.sqrt((np.arange(count) + rng.random(count)) / count)
    angle = 2 * np.pi * ((np.arange(count) * 0.6180339887498949) % 1)
    flat = radius[:, None] * (np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * other)
    return meter.centre_mm + flat


def meter_direct(built: BuiltSet, world: World, lights: Lights) -> np.ndarray:
    """Return the direct light on each meter, (lamps, meters, 16): E/L in sr, sixteen independent parts."""
    found = np.zeros((len(built.lamps), len(built.meters), 16))
    for number, meter in enumerate(built.meters):
        rng = np.random.default_rng((built.seed, 32452843, number))
        places = _disc(meter, POINTS_A_METER, rng)
        for lamp in range(len(built.lamps)):
            light = light_on(world, lights, lamp, places, meter.normal, 16, built.seed + 97 * number + lamp)
            # Every sixteenth point of the disc makes a part.
            found[lamp, number] = light.reshape(-1, 16).mean(axis=0)
    return found
