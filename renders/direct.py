"""Direct light: what a lamp gives to places that see it, with everything else in the way."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates, maximum_filter, minimum_filter

from brimcast.scene.built import BuiltSet

from .camera import gather, resolve_gathered
from .device import draw, floats, opaque_int, opaque_vector
from .engine import dr, mi
from .interfaces import STEP_OFF_MM
from .lights import Lights, lamp_factor
from .sequences import spread
from .windows import Window
from .world import Geometry, World

# Lamp points a cell of the direct map, away from shadows' edges and at them; points of a meter's disc.
FEW_POINTS = 16
MANY_POINTS = 64
POINTS_A_METER = 4096
RAYS_A_METER = 1 << 15
# From each place of the table, in one launch: a million at most.
RAYS_AT_ONCE = 64
# How far its colour is smoothed, in places: it changes more slowly from place to place than how much it is.
COLOUR_PLACES = 4


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
    places, ways = [], []
    for number, meter in enumerate(built.meters):
        rng = np.random.default_rng((built.seed, 49979687, number))
        # Every sixteenth point of the disc makes a part.
        disc = _disc(meter, RAYS_A_METER, rng).reshape(-1, 16, 3)
        places.append(disc.swapaxes(0, 1).reshape(-1, 3))
        ways.append(_cosine_ways(meter.normal, rng.random((RAYS_A_METER, 2))))
    gathered = np.concatenate(places), np.concatenate(ways)
    light = _gather(world, lights, *gathered, RAYS_A_METER // 16, built.seed * 31 + 7)
    return light.reshape(lamps, 16, meters, 16)


def are_others_matte(built: BuiltSet) -> bool:
    """Whether anything but the table could send light to it, other than by way of glass."""
    shares = [(panel.front, panel.back, panel.transmittance) for panel in built.panels[1:]]
    return bool(np.any(shares)) or any(getattr(panel, "picture", None) for panel in built.panels)


@dataclass(frozen=True, eq=False)
class Sent:
    """Light that matte surfaces send to the table's window.

    Attributes
    ----------
    light : (lamps, 16, lines, columns) float
        Spectral irradiance per unit luminance of the lamp, 1/nm.
    window : Window
        The places where it is known.
    """

    light: np.ndarray
    window: Window

    def add_to(self, lights: Lights) -> Lights:
        """Return lights from which the camera reads it, instead of following paths from the table."""
        lines, columns = self.window.shape
        return replace(
            lights,
            sent=floats(self.light),
            sent_frame=opaque_vector([*self.window.corner_mm, 1 / self.window.cell_mm]),
            sent_shape=mi.Vector2u(opaque_int(columns), opaque_int(lines)),
        )

    def spread(self, number: int, window: Window, weights: np.ndarray | None = None) -> np.ndarray:
        """Return a lamp's over the cells of the fine window, (16, ny, nx); with weights, their sum."""
        light = self.light[number]
        if weights is not None:
            light = np.tensordot(weights, light, 1)
        ratio = window.cell_mm / self.window.cell_mm
        where = np.meshgrid(*((np.arange(n) + 0.5) * ratio - 0.5 for n in window.shape), indexing="ij")
        flat = light.reshape(-1, *light.shape[-2:])
        found = np.stack([map_coordinates(one, where, order=1, mode="nearest") for one in flat])
        return found.reshape(*light.shape[:-2], *window.shape)


def map_sent(built: BuiltSet, world: World, lights: Lights, window: Window, effort: tuple[int, int]) -> Sent:
    """Find what matte surfaces send to the table's window, straight or by way of glass.

    Parameters
    ----------
    window : Window
        The fine one.
    effort : (2,) int
        Places along its longer side, and rays from each: a multiple of `RAYS_AT_ONCE`.
    """
    most, rays = effort
    height, width = (cells * window.cell_mm for cells in window.shape)
    cell = max(max(height, width) / most, window.cell_mm)
    shape = tuple(math.ceil(size / cell - 1e-6) for size in (height, width))
    coarse = Window(window.side, window.corner_mm, cell, shape)
    rng = np.random.default_rng((built.seed, 86028121))
    flat = np.stack(np.meshgrid(*coarse.centres()), axis=-1).reshape(-1, 2) + built.panels[0].corner_mm[:2]
    starts = np.repeat(np.pad(flat, ((0, 0), (0, 1)), constant_values=STEP_OFF_MM), RAYS_AT_ONCE, axis=0)
    light = np.zeros((len(built.lamps), 16, *shape))
    for part in range(rays // RAYS_AT_ONCE):
        places = starts.copy()
        places[:, :2] += (rng.random((len(places), 2)) - 0.5) * cell
        # Shifted evenly from place to place, so that neighbours add to one another.
        even = spread(RAYS_AT_ONCE, 2, rng) + spread(len(flat), 2, rng)[:, None]
        ways = _cosine_ways(np.array([0.0, 0.0, 1.0]), even.reshape(-1, 2) % 1)
        found = _gather(world, lights, places, ways, RAYS_AT_ONCE, built.seed * 37 + 11 + 5 * part)
        light += found.reshape(light.shape) * RAYS_AT_ONCE / rays
    return Sent(_smooth(light), coarse)


def _smooth(light: np.ndarray) -> np.ndarray:
    """Smooth (lamps, 16, lines, columns) light over its neighbours, and its colour over more of them."""
    wide = gaussian_filter(light, (0, 0, COLOUR_PLACES, COLOUR_PLACES), mode="nearest")
    share = wide / np.maximum(wide.sum(axis=1, keepdims=True), 1e-30)
    return share * gaussian_filter(light.sum(axis=1, keepdims=True), (0, 0, 1, 1), mode="nearest")


def _gather(world: World, lights: Lights, places, ways, each: int, salt: int) -> np.ndarray:
    """Return π times the mean radiance that comes along every `each` rays, (lamps, 16, groups).

    Of rays drawn by the cosine that is the irradiance.
    """
    count, lamps = len(places), int(lights.count.numpy()[0])
    whole = count // each
    index, plane = dr.arange(mi.UInt32, count), dr.arange(mi.UInt32, whole * lamps * 16)
    groups = dr.arange(mi.UInt32, whole)
    image, direct = dr.zeros(mi.Float, lamps * 16 * whole), dr.zeros(mi.Float, count * lamps)
    dr.make_opaque(index, plane, groups, image, direct)
    rays = floats(np.pad(places, ((0, 0), (0, 1)))), floats(np.pad(ways, ((0, 0), (0, 1))))
    size, together = opaque_int(whole), opaque_int(each)
    salt = opaque_int(salt)
    met, image = gather(world.geometry, lights, *rays, together, size, index, salt, direct, image)
    image = resolve_gathered(world.geometry, lights, met, groups, plane, size, together, size, image)
    return np.pi / each * image.numpy().reshape(lamps, 16, whole)


def _cosine_ways(normal: np.ndarray, even: np.ndarray) -> np.ndarray:
    """Directions (n, 3) by the cosine from a normal, of numbers (n, 2) in [0, 1)."""
    side = np.cross(normal, [0.0, 0.0, 1.0] if abs(normal[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    other = np.cross(normal, side)
    radius, angle = np.sqrt(even[:, 0]), 2 * np.pi * even[:, 1]
    x, y, z = radius * np.cos(angle), radius * np.sin(angle), np.sqrt(1 - even[:, 0])
    return x[:, None] * side + y[:, None] * other + z[:, None] * normal
