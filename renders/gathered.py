"""What matte surfaces send, straight or by way of glass: to the table's window, to meters."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from brimcast.scene.built import BuiltSet

from .camera import gather, resolve_gathered
from .device import floats, opaque_int, opaque_vector
from .engine import dr, mi
from .interfaces import STEP_OFF_MM
from .lights import Lights
from .windows import Window
from .world import World

# From each part of a meter.
RAYS_A_PART = 2048
# From each place of the table, in one launch: a million at most.
RAYS_AT_ONCE = 64
# How far its colour is smoothed, in places: it changes more slowly from place to place than how much it is.
COLOUR_PLACES = 4


def meter_bounced(built: BuiltSet, world: World, lights: Lights) -> np.ndarray:
    """Return the light that matte surfaces send to each meter, (lamps, 16 bands, meters, 16 parts).

    Spectral irradiance per unit luminance of the lamp, 1/nm.
    """
    lamps, meters = len(built.lamps), len(built.meters)
    if not meters:
        return np.zeros((lamps, 16, 0, 16))
    posts = [[*meter.centre_mm, meter.radius_mm, *meter.normal, 1] for meter in built.meters]
    light = _gather(world, lights, np.repeat(posts, 16, axis=0), RAYS_A_PART, built.seed * 31 + 7)
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
    flat = np.stack(np.meshgrid(*coarse.centres()), axis=-1).reshape(-1, 2) + built.panels[0].corner_mm[:2]
    posts = np.column_stack([flat, np.tile([STEP_OFF_MM, cell / 2, 0, 0, 1, 0], (len(flat), 1))])
    light = np.zeros((len(built.lamps), 16, *shape))
    for part in range(rays // RAYS_AT_ONCE):
        found = _gather(world, lights, posts, RAYS_AT_ONCE, built.seed * 37 + 11 + 5 * part)
        light += found.reshape(light.shape) * RAYS_AT_ONCE / rays
    return Sent(_smooth(light), coarse)


def _smooth(light: np.ndarray) -> np.ndarray:
    """Smooth (lamps, 16, lines, columns) light over its neighbours, and its colour over more of them."""
    wide = gaussian_filter(light, (0, 0, COLOUR_PLACES, COLOUR_PLACES), mode="nearest")
    share = wide / np.maximum(wide.sum(axis=1, keepdims=True), 1e-30)
    return share * gaussian_filter(light.sum(axis=1, keepdims=True), (0, 0, 1, 1), mode="nearest")


def _gather(world: World, lights: Lights, posts: np.ndarray, rays: int, salt: int) -> np.ndarray:
    """Return the spectral irradiance of posts (n, 8) by so many rays from each, (lamps, 16, n).

    See `camera.gather`.
    """
    whole, lamps = len(posts), int(lights.count.numpy()[0])
    index, plane = dr.arange(mi.UInt32, whole * rays), dr.arange(mi.UInt32, whole * lamps * 16)
    groups = dr.arange(mi.UInt32, whole)
    image, direct = dr.zeros(mi.Float, lamps * 16 * whole), dr.zeros(mi.Float, whole * rays * lamps)
    dr.make_opaque(index, plane, groups, image, direct)
    size, each = opaque_int(whole), opaque_int(rays)
    salt = opaque_int(salt)
    met, image = gather(world.geometry, lights, floats(posts), each, size, index, salt, direct, image)
    image = resolve_gathered(world.geometry, lights, met, groups, plane, size, each, size, image)
    return np.pi / rays * image.numpy().reshape(lamps, 16, whole)
