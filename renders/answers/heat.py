"""How much heat a lamp sends before any glass bends it, and how small it can be imaged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from brimcast.scene.bodies import word_of
from brimcast.scene.lamps import Lamp, even_grid, irradiance_factor, spread_points

from .straight import find_extent

# Full sun on a surface that faces it: the standard test irradiance of IEC 60904-3 (ASTM G173, air mass 1.5),
# 1000 W/m2. Sky and windows give less; it is taken for them too.
SUN_KW_M2 = 1.0
DAYLIGHT = ("sun", "sky", "window")
FRONT_POINTS = 1024
# Directions in which a front's light is summed up: from the axis, and round it.
STEPS, TURNS = 180, 24


def emitted_flux(lamp: Lamp) -> float:
    """Return all that a front of unit luminance sends out, mm2 sr.

    π times its area where it glows evenly in all directions (Lambert); else summed over ways and places. Of a
    projection spot all of its beam counts: iris and mask take light away and do not gather it.
    """
    width, height = lamp.size_mm
    around = {"bulb": np.pi * width**2, "tube": np.pi * width * height, "ring": np.pi**2 * width * height}
    if lamp.kind in around:
        return float(np.pi * around[lamp.kind])
    area = width * height if lamp.kind == "panel" else np.pi * width**2 / 4
    if lamp.glow is None:
        return float(np.pi * area)
    angle = (np.arange(STEPS) + 0.5) / STEPS * np.pi / 2
    turn = (np.arange(TURNS) + 0.5) / TURNS * 2 * np.pi
    angle, turn = (part.ravel() for part in np.meshgrid(angle, turn, indexing="ij"))
    ways = np.stack([np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn), np.cos(angle)], axis=1)
    ways = ways @ np.stack([lamp.right, lamp.up, lamp.facing])
    share = np.sin(angle) * np.cos(angle) * (np.pi / 2 / STEPS) * (2 * np.pi / TURNS)
    if lamp.glow.projects:
        mask = lamp.glow.mask
        whole = replace(mask, shares=np.ones((1, 1)), radius_mm=max(mask.half_mm))
        lamp = replace(lamp, glow=replace(lamp.glow, mask=whole))
    points = spread_points(lamp, even_grid(64), lamp.aim_mm, 1.0)
    total = 0.0
    for place in range(len(points.area_mm2)):
        here = _pick(points, np.full(len(ways), place))
        total += float(lamp.radiance(here, ways) @ share) * float(points.area_mm2[place])
    return total / len(points.area_mm2)


def _pick(points, numbers):
    return type(points)(
        points.place_mm[numbers], points.normal[numbers], points.area_mm2[numbers], points.lamp
    )


def plain_factor(lamp: Lamp, place_mm: np.ndarray, normal=None) -> float:
    """Return E/L in sr of a lamp that nothing blocks at a place that faces one way, or the lamp."""
    way = lamp.centre_mm - place_mm
    points = spread_points(lamp, even_grid(FRONT_POINTS), place_mm, 1.0)
    return irradiance_factor(points, place_mm, way / np.linalg.norm(way) if normal is None else normal)


def plain_heat(lamp: Lamp, place_mm: np.ndarray, watts: float | None) -> float | None:
    """Return the heat on a surface at a place that faces the lamp, kW/m2; None where nothing tells it.

    Errs on the safe side: full sun for all daylight; of a lamp, all its electrical power leaves by its front.

    Parameters
    ----------
    watts : float or None
        Electrical power of the lamp.
    """
    if word_of(lamp) in DAYLIGHT:
        return SUN_KW_M2
    if watts is None:
        return None
    # W per mm2 are 1000 kW per m2.
    return 1000.0 * watts * plain_factor(lamp, place_mm) / emitted_flux(lamp)


def least_image(lamp: Lamp, distance_mm: float) -> float:
    """Return the smaller side, mm, of what a lens so far before it makes of a lamp's front."""
    sides = [find_extent(lamp, way) for way in (lamp.right, lamp.up)]
    return float(min(sides) / lamp.throw_mm * distance_mm)
