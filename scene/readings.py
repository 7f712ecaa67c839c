"""What an incident meter would show on a set: lamp by lamp, by arithmetic alone.

As one meters: the glassware taken away, each lamp alone, flags, cards and all that hangs left in place. Light
that cards, table and walls throw back, diffusers let through and mirrors turn is not in it; a render's own
meters have it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from .bodies import hero_solid, room_of
from .built import BuiltSet
from .frame import look_along
from .lamps import Lamp, even_grid, irradiance_factor, spread_points
from .screens import cut_off, list_screens

SAMPLES = 1024
UP = np.array([0.0, 0.0, 1.0])
# Where a set has no meter on its background, and the camera looks at neither table nor wall behind the hero.
BEHIND_MM = 500.0


@dataclass(frozen=True)
class Point:
    """A place where the meter is held.

    Attributes
    ----------
    name : str
    place_mm : (3,) float
    normal : (3,) float or None
        Where the receptor faces; None: toward each lamp in turn.
    words : str
        Where that is, in words.
    """

    name: str
    place_mm: np.ndarray
    normal: np.ndarray | None
    words: str


def list_points(built: BuiltSet) -> tuple[Point, ...]:
    """Return the set's own meters, after `glass`, `table` and `background` where it has none called so."""
    own = {meter.name: meter for meter in built.meters}
    points = [Point(name, meter.centre_mm, meter.normal, "the set's meter") for name, meter in own.items()]
    table = Point("table", np.zeros(3), UP, "at the datum, facing up")
    usual = (at_glass(built), table, _at_background(built))
    return tuple([point for point in usual if point.name not in own] + points)


def at_glass(built: BuiltSet) -> Point:
    """Return the point in the hero's place."""
    if built.feet:
        foot = built.feet[0]
        place = np.array([*foot.centre_mm, foot.stands_mm + foot.height_mm / 2])
    elif solid := hero_solid(built):
        # Without glasses the hero is a prop.
        hero = solid.mesh.vertices_mm
        place = (hero.min(axis=0) + hero.max(axis=0)) / 2
    else:
        place = np.zeros(3)
    return Point("glass", place, None, "in the hero's place at half its height, facing the lamp")


def _at_background(built: BuiltSet) -> Point:
    """Return where the upper part of the picture sees the table or the wall behind."""
    camera = built.camera
    far = Point("background", np.array([0.0, BEHIND_MM, 0.0]), UP, f"{BEHIND_MM:.0f} mm behind, facing up")
    if camera is None:
        return far
    way, place = look_along(camera, (0.0, 2 / 3)), camera.place_mm
    table = -place[2] / way[2] if way[2] < 0 else np.inf
    wall = room_of(built).walls_mm.get("behind")
    wall = (wall - place[1]) / way[1] if wall is not None and way[1] > 0 else np.inf
    spot = place + min(table, wall) * way if np.isfinite(min(table, wall)) else far.place_mm
    half = np.asarray(built.panels[0].size_mm) / 2
    if table <= wall and np.all(np.abs(spot[:2]) <= half):
        return Point("background", spot, UP, "on the table where the upper part of the picture sees it")
    if wall < np.inf:
        spot = place + wall * way
        words = "on the wall behind where the upper part of the picture sees it"
        return Point("background", spot, np.array([0.0, -1.0, 0.0]), words)
    return far


def read_lamp(built: BuiltSet, lamp: Lamp, point: Point) -> float:
    """Return the light of one lamp on a meter, lx s (or relative), straight, at its power, through its gels.

    Flags, cards, foils, diffusers, mirrors, backdrop, walls and table stop it; glass does not.
    """
    normal = point.normal
    if normal is None:
        way = lamp.centre_mm - point.place_mm
        normal = way / np.linalg.norm(way)
    points = spread_points(lamp, even_grid(SAMPLES), point.place_mm, 1.0)
    lit = np.ones(len(points.place_mm))
    for triangles in list_screens(built).values():
        lit[cut_off(point.place_mm, points.place_mm, triangles)] = 0.0
    part = replace(points, area_mm2=points.area_mm2 * lit)
    return irradiance_factor(part, point.place_mm, normal) * lamp.scale * lamp.passed


def tell_shaded(built: BuiltSet, most: float = 0.95) -> Iterator[tuple[str, str]]:
    """Yield lamps of which less than a share comes to the hero past what hangs, and what to say of each."""
    glass = at_glass(built)
    bare = replace(built, panels=built.panels[:1])
    for lamp in built.lamps:
        plain = read_lamp(bare, lamp, glass)
        left = read_lamp(built, lamp, glass) / plain if plain > 0 else 1.0
        if left < most:
            kept = f"{1 - left:.0%} of {lamp.name}'s light"
            yield lamp.name, f"what hangs between keeps {kept} off the middle of the hero"
