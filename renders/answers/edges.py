"""Where the edge of a body's shadow lies on a level surface, and what casts it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.built import Solid
from brimcast.scene.lamps import Lamp

from ..world import load_mesh, measure_reach

# A shadow's outline is looked for in so many steps, and its direction told from places so far to the side.
STEPS = 4000
ASIDE_MM = 1.0


@dataclass(frozen=True, eq=False)
class Edge:
    """A place on the edge of a shadow.

    Attributes
    ----------
    place_mm : (3,) float
        Where the shadow of the lamp's middle ends.
    along, outward : (3,) float
        Level unit vectors: along the edge, and out of the shadow.
    gap_mm : float
        From there to what casts it, along the light.
    """

    place_mm: np.ndarray
    along: np.ndarray
    outward: np.ndarray
    gap_mm: float


class Caster:
    """A body whose shadow is looked at.

    Parameters
    ----------
    solid : Solid
    lamp : Lamp
    """

    def __init__(self, solid: Solid, lamp: Lamp):
        self.solid, self.lamp = solid, lamp
        self.scene = load_mesh(solid.mesh.vertices_mm, solid.mesh.faces)

    def meet(self, places_mm: np.ndarray) -> np.ndarray:
        """Return how far places (n, 3) are from the body, toward the lamp's middle, (n,) mm; inf past it."""
        ways = self.lamp.centre_mm - places_mm
        ways /= np.linalg.norm(ways, axis=1, keepdims=True)
        return measure_reach(self.scene, places_mm, ways)

    def end(self, start_mm: np.ndarray, way: np.ndarray) -> np.ndarray | None:
        """Return the farthest place (3,) in shadow on a way, a level unit vector; None without shadow."""
        cast = cast_points(self.lamp, self.solid.mesh.vertices_mm, start_mm[2])
        most = float(((cast - start_mm) @ way).max())
        if most <= 0:
            return None
        low, high = 0.0, most + 1.0
        # Coarsely, then finely between the last place in shadow and the next.
        for _ in range(2):
            steps = np.linspace(low, high, STEPS)
            dark = np.flatnonzero(np.isfinite(self.meet(start_mm + steps[:, None] * way)))
            if not len(dark) or dark[-1] == STEPS - 1:
                return None
            low, high = steps[dark[-1]], steps[dark[-1] + 1]
        return start_mm + low * way

    def find_edge(self, start_mm: np.ndarray, way: np.ndarray) -> Edge | None:
        """Return the edge met when going on from a place along a level unit vector; None without a shadow."""
        aside = ASIDE_MM * np.array([-way[1], way[0], 0.0])
        before, place, after = (self.end(start_mm + side * aside, way) for side in (-1, 0, 1))
        if before is None or place is None or after is None:
            return None
        along = (after - before) / np.linalg.norm(after - before)
        outward = np.array([along[1], -along[0], 0.0])
        return Edge(place, along, outward * np.sign(outward @ way), float(self.meet(place[None])[0]))


def cast_points(lamp: Lamp, points_mm: np.ndarray, height_mm: float) -> np.ndarray:
    """Return where the shadows (n, 3) of points under the lamp's middle fall on a level plane."""
    share = (lamp.centre_mm[2] - height_mm) / (lamp.centre_mm[2] - points_mm[:, 2:])
    return lamp.centre_mm + share * (points_mm - lamp.centre_mm)


def away_from(lamp: Lamp, place_mm: np.ndarray) -> np.ndarray:
    """Return the level unit vector along which a lamp's light goes on at a place."""
    way = (place_mm - lamp.centre_mm) * [1.0, 1.0, 0.0]
    length = np.linalg.norm(way)
    # From straight above no way is away; the camera's side is taken.
    return way / length if length > 1e-6 * lamp.throw_mm else np.array([0.0, -1.0, 0.0])
