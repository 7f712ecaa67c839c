"""A window in a black panel through which one lamp lights the hero, and the flags that make it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.bodies import corners_of, front_outline
from brimcast.scene.built import BuiltSet
from brimcast.scene.frame import azimuth_of
from brimcast.scene.lamps import Lamp
from brimcast.scene.panels import sides_of

# Flags reach so far beyond the light that they are to stop (common practice), and are whole mm in size.
BEYOND_MM = 10.0
# Over the table's top a flag ends so high; places right behind it get light from under it.
LIFTED_MM = 4.0
LEAST_SLOPE = 0.05
# Directions in which an outline is told.
SUPPORTS = 24


@dataclass(frozen=True, eq=False)
class Screen:
    """A plane across a lamp's light, between lamp and hero.

    Attributes
    ----------
    middle_mm : (3,) float
        Where the line from the lamp to the hero goes through it.
    right, up, normal : (3,) float
        Unit vectors: level and upward as one sees it from the lamp, and toward the lamp.
    """

    middle_mm: np.ndarray
    right: np.ndarray
    up: np.ndarray
    normal: np.ndarray

    @classmethod
    def across(cls, lamp: Lamp, hero_mm: np.ndarray, distance_mm: float) -> Screen:
        """Return the plane square to the beam, so far from the hero's middle."""
        way = lamp.centre_mm - hero_mm
        normal = way / np.linalg.norm(way)
        return cls(hero_mm + distance_mm * normal, *sides_of(normal), normal)

    @property
    def facing(self) -> dict[str, str]:
        """Where it looks, as a set file says it."""
        level = np.hypot(*self.normal[:2])
        azimuth = azimuth_of(self.normal) if level > 1e-6 else 0.0
        elevation = np.degrees(np.arctan2(self.normal[2], level))
        return {"azimuth": f"{azimuth:.4f} deg", "elevation": f"{elevation:.4f} deg"}

    def lift(self, flat_mm) -> np.ndarray:
        """Return places (n, 3) of the set from places (n, 2) on the plane, right and up from its middle."""
        flat = np.asarray(flat_mm, float)
        return self.middle_mm + flat[..., :1] * self.right + flat[..., 1:] * self.up

    def pierce(self, lamp: Lamp, points_mm: np.ndarray) -> np.ndarray:
        """Return where lines from round a lamp's front to points (n, 3) beyond go through it, (m n, 2) mm."""
        front = front_outline(lamp)[:, None]
        low, high = (points_mm - self.middle_mm) @ self.normal, (front - self.middle_mm) @ self.normal
        off = points_mm + (-low / (high - low))[..., None] * (front - points_mm) - self.middle_mm
        return np.stack([off @ self.right, off @ self.up], axis=-1).reshape(-1, 2)

    def measure_depth(self, places_mm: np.ndarray) -> np.ndarray:
        """Return how far places (n, 3) of the table lie behind flags and what comes under them, (n,) mm."""
        under = 2 * LIFTED_MM / max(LEAST_SLOPE, self.normal[2])
        return (self.middle_mm - places_mm) @ self.normal - under

    def keep_beyond(self, polygon_mm: np.ndarray) -> np.ndarray:
        """Return the part (n, 3) of a flat polygon that lies behind flags on it."""
        depth = -self.measure_depth(polygon_mm)
        kept = []
        for number, (here, this) in enumerate(zip(polygon_mm, depth, strict=True)):
            after, that = polygon_mm[(number + 1) % len(depth)], depth[(number + 1) % len(depth)]
            if this <= 0:
                kept.append(here)
            if (this <= 0) != (that <= 0):
                kept.append(here + this / (this - that) * (after - here))
        return np.array(kept).reshape(-1, 3)


@dataclass(frozen=True, eq=False)
class Opening:
    """The window, and what has to be black round it.

    Attributes
    ----------
    screen : Screen
    box, region : (4,) float
        Left, right, low, high on the screen, mm: of the window, and of all light that comes to the table.
    outline_mm : (n, 2) float
        Corners round all lines from the lamp's front to the glass, counter-clockwise seen from the lamp.
    """

    screen: Screen
    box: np.ndarray
    region: np.ndarray
    outline_mm: np.ndarray

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the window."""
        left, right, low, high = self.box
        return float(right - left), float(high - low)

    @property
    def corners_mm(self) -> np.ndarray:
        """(4, 3) corners of the window."""
        left, right, low, high = self.box
        return self.screen.lift([(left, low), (right, low), (right, high), (left, high)])

    def list_flags(self) -> dict[str, dict]:
        """Return the flags needed to leave the window alone open, in the words of a set file."""
        (left, right, low, high), (first, last, bottom, top) = self.box, self.region
        boxes = {
            _name_side(-self.screen.right): (first, left, bottom, top),
            _name_side(self.screen.right): (right, last, bottom, top),
            _name_side(-self.screen.up): (left, right, bottom, low),
            _name_side(self.screen.up): (left, right, high, top),
        }
        flags = {}
        for name, (a, b, c, d) in boxes.items():
            if b > a and d > c:
                place = self.screen.lift([((a + b) / 2, (c + d) / 2)])[0]
                flags[name] = {
                    "at": [f"{round(value, 2) + 0.0:.2f} mm" for value in place],
                    "size": [f"{b - a:.0f} mm", f"{d - c:.0f} mm"],
                    "facing": self.screen.facing,
                }
        return flags


def _name_side(way: np.ndarray) -> str:
    """Return what a side of the window is called, as the camera's side sees it."""
    x, y, z = way
    if abs(z) > LEAST_SLOPE:
        return "above" if z > 0 else "below"
    if abs(x) >= abs(y):
        return "right" if x > 0 else "left"
    return "far" if y > 0 else "near"


def list_points(built: BuiltSet, hero: str) -> np.ndarray:
    """Return the outermost points (n, 3), mm, of the hero with all that is in and on it."""
    from scipy.spatial import ConvexHull

    meshes = [
        thing.mesh.vertices_mm
        for thing in (*built.solids, *built.panels)
        if thing.name == hero or thing.name.startswith(f"{hero} ")
    ]
    points = np.concatenate(meshes)
    return points[ConvexHull(points).vertices]


def cut_opening(built: BuiltSet, lamp: Lamp, hero: str, screen: Screen) -> Opening:
    """Return the window that keeps nothing of a lamp off the hero, and no wider.

    Its sides are whole mm.

    Raises
    ------
    ValueError
        The screen cuts through the glass, or stands behind the lamp.
    """
    points = list_points(built, hero)
    depth = (points - screen.middle_mm) @ screen.normal
    if depth.max() >= 0:
        lacks = depth.max() + 1
        raise ValueError(f"it would cut through the glass; {lacks:.0f} mm more are needed")
    if ((front_outline(lamp) - screen.middle_mm) @ screen.normal).min() <= 0:
        raise ValueError("the lamp stands nearer to the glass than that")
    lines = screen.pierce(lamp, points)
    low, high = np.floor(lines.min(axis=0)), np.ceil(lines.max(axis=0))
    table = screen.keep_beyond(corners_of(built.panels[0]))
    lit = screen.pierce(lamp, table)
    first, last = np.floor(lit.min(axis=0)) - BEYOND_MM, np.ceil(lit.max(axis=0)) + BEYOND_MM
    if screen.up[2] > LEAST_SLOPE:
        first[1] = max(first[1], np.ceil((LIFTED_MM - screen.middle_mm[2]) / screen.up[2]))
    box, region = (np.array([a[0], b[0], a[1], b[1]]) for a, b in ((low, high), (first, last)))
    return Opening(screen, box, region, _support(lines))


def _support(flat_mm: np.ndarray) -> np.ndarray:
    """Return a polygon round points: where lines that touch them in evenly spread directions meet."""
    turns = 2 * np.pi * np.arange(SUPPORTS) / SUPPORTS
    ways = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    reach = (flat_mm @ ways.T).max(axis=0)
    after, far = np.roll(ways, -1, axis=0), np.roll(reach, -1)
    sides = np.stack([ways, after], axis=1)
    return np.linalg.solve(sides, np.stack([reach, far], axis=1)[..., None])[..., 0]


def light_patch(opening: Opening, lamp: Lamp) -> np.ndarray:
    """Return corners (n, 2), mm, round all of the table that light can reach through a window."""
    from scipy.spatial import ConvexHull

    front, corners = front_outline(lamp)[:, None], opening.corners_mm
    way = corners - front
    down = way[..., 2] < -1e-9
    reach = np.where(down, -front[..., 2] / np.where(down, way[..., 2], -1.0), 1e6)
    patch = (front + reach[..., None] * way)[..., :2].reshape(-1, 2)
    return patch[ConvexHull(patch).vertices]


def tell_inside(polygon_mm: np.ndarray, places_mm: np.ndarray, beyond_mm: float = 0.0) -> np.ndarray:
    """Return which places (n, 2) lie in a convex counter-clockwise polygon, or so near beyond a side."""
    sides = np.roll(polygon_mm, -1, axis=0) - polygon_mm
    out = np.stack([sides[:, 1], -sides[:, 0]], axis=1) / np.linalg.norm(sides, axis=1, keepdims=True)
    off = np.einsum("nsk,sk->ns", places_mm[:, None] - polygon_mm, out)
    return np.all(off <= beyond_mm, axis=1)
