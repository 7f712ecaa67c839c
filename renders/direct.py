"""Direct light: what a lamp gives to places that see it, with everything else in the way."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates, maximum_filter, minimum_filter

from brimcast.scene.built import BuiltSet

from .camera import gather
from .device import counts, draw, floats, opaque_int
from .engine import dr, mi
from .interfaces import STEP_OFF_MM
from .lights import Lights, lamp_factor
from .windows import Window
from .world import Geometry, World

# Lamp points a cell of the direct map, away from shadows' edges and at them; points of a meter's disc.
FEW_POINTS = 16
MANY_POINTS = 64
POINTS_A_METER = 4096
RAYS_A_METER = 1 << 15
# Places across and along the table's window to which matte surfaces send light, and rays from each.
COARSE = 48, 36
RAYS_A_PLACE = 1024


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


def meter_bounced(built: BuiltSet, world: World, lights: Lights) -> np.ndarray:
    """Return the light that matte surfaces send to each meter, (lamps, 16 bands, meters, 16 parts).

    Spectral irradiance per unit luminance of the lamp, 1/nm.
    """
    lamps, meters = len(built.lamps), len(built.meters)
    if not meters:
        return np.zeros((lamps, 16, 0, 16))
    places, ways, numbers = [], [], []
    for number, meter in enumerate(built.meters):
        rng = np.random.default_rng((built.seed, 49979687, number))
        places.append(_disc(meter, RAYS_A_METER, rng))
        ways.append(_cosine_ways(meter.normal, RAYS_A_METER, rng))
        numbers.append(number * 16 + np.arange(RAYS_A_METER) % 16)
    gathered = (np.concatenate(part) for part in (places, ways, numbers))
    light = _gather(world, lights, *gathered, meters * 16, built.seed * 31 + 7)
    return light.reshape(lamps, 16, meters, 16) / (RAYS_A_METER / 16)


def map_bounced(built: BuiltSet, world: World, lights: Lights, window: Window) -> np.ndarray | None:
    """Return the light that matte surfaces send to the table's window, (lamps, 16 bands, rows, columns).

    Spectral irradiance per unit luminance of the lamp, 1/nm, on a grid of `COARSE` places from edge to edge
    of the window, for `spread_bounced`; None where nothing but the table is matte, which sends itself none.
    """
    shares = [(panel.front, panel.back, panel.transmittance) for panel in built.panels[1:]]
    pictured = any(getattr(panel, "picture", None) for panel in built.panels)
    if window.cells == 0 or not (pictured or np.any(shares)):
        return None
    rng = np.random.default_rng((built.seed, 86028121))
    columns, rows = COARSE
    corner = built.panels[0].corner_mm[:2]
    (u, v), half = window.centres(), window.cell_mm / 2
    x, y = (np.linspace(at[0] - half, at[-1] + half, many) for at, many in ((u, columns), (v, rows)))
    flat = corner + np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    places = np.repeat(np.pad(flat, ((0, 0), (0, 1)), constant_values=STEP_OFF_MM), RAYS_A_PLACE, axis=0)
    ways = _cosine_ways(np.array([0.0, 0.0, 1.0]), len(places), rng)
    numbers = np.repeat(np.arange(len(flat)), RAYS_A_PLACE)
    light = _gather(world, lights, places, ways, numbers, len(flat), built.seed * 37 + 11)
    light = light.reshape(len(built.lamps), 16, rows, columns) / RAYS_A_PLACE
    return gaussian_filter(light, (0, 0, 1, 1), mode="nearest")


def spread_bounced(light: np.ndarray, window: Window) -> np.ndarray:
    """Spread (..., rows, columns) light as of `map_bounced` over the cells of the window."""
    steps = [(np.arange(n) + 0.5) / n * (m - 1) for n, m in zip(window.shape, light.shape[-2:], strict=True)]
    where = np.meshgrid(*steps, indexing="ij")
    flat = light.reshape(-1, *light.shape[-2:])
    found = np.stack([map_coordinates(one, where, order=1) for one in flat])
    return found.reshape(*light.shape[:-2], *window.shape)


def _gather(world: World, lights: Lights, places, ways, numbers, whole: int, salt: int) -> np.ndarray:
    """Return π times the radiance that comes along rays, summed by number, (lamps, 16, whole).

    Of rays drawn by the cosine that is, over their count, the irradiance.
    """
    count, lamps = len(places), int(lights.count.numpy()[0])
    index = dr.arange(mi.UInt32, count)
    image, direct = dr.zeros(mi.Float, lamps * 16 * whole), dr.zeros(mi.Float, count * lamps)
    dr.make_opaque(index, image, direct)
    _, image = gather(
        world.geometry,
        lights,
        floats(np.pad(places, ((0, 0), (0, 1)))),
        floats(np.pad(ways, ((0, 0), (0, 1)))),
        counts(numbers),
        opaque_int(whole),
        index,
        opaque_int(salt),
        direct,
        image,
    )
    return np.pi * image.numpy().reshape(lamps, 16, whole)


def _cosine_ways(normal: np.ndarray, count: int, rng) -> np.ndarray:
    side = np.cross(normal, [0.0, 0.0, 1.0] if abs(normal[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    other = np.cross(normal, side)
    radius = np.sqrt(rng.random(count))
    angle = 2 * np.pi * rng.random(count)
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    z = np.sqrt(np.maximum(0, 1 - radius**2))
    return x[:, None] * side + y[:, None] * other + z[:, None] * normal
