"""Light that comes straight from one lamp to places in the open, and the edges of shadows in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from brimcast.scene.built import BuiltSet, Solid
from brimcast.scene.lamps import Lamp
from brimcast.scene.screens import list_screens

from ..direct import light_on
from ..engine import start
from ..interfaces import STEP_OFF_MM
from ..lights import POINTS, set_lamps
from ..world import build_world
from .study import Study

# Of full light: less than this is full shade, and more than the rest of it full light.
FULL = 0.0005
TENTH = 0.1


def strip_set(study: Study, built: BuiltSet, solids: tuple[Solid, ...] = ()) -> BuiltSet:
    """Return a set of one lamp, the study's, with table, what hangs, and some solids; all else taken away."""
    props = study.set_file.props.keys() | built.parts.keys()
    kept = list_screens(built).keys() - props
    return replace(
        built,
        lamps=tuple(lamp for lamp in built.lamps if lamp.name == study.lamp),
        solids=solids,
        panels=tuple(panel for panel in built.panels if panel.name in kept),
        meters=(),
    )


def see_light(study: Study, stripped: BuiltSet, places_mm: np.ndarray, count: int = POINTS) -> np.ndarray:
    """Return the light of the lamp of a stripped set on level places, (n,) E/L in sr, by the renderer's rays.

    Parameters
    ----------
    places_mm : (n, 3) float
    count : int
        Points of the lamp looked at from each place, a divisor of `lights.POINTS`.
    """
    start(study.device)
    world = build_world(stripped)
    lifted = np.asarray(places_mm, float) + [0.0, 0.0, STEP_OFF_MM]
    return light_on(world, set_lamps(stripped, world), 0, lifted, (0, 0, 1), count, stripped.seed)


def measure_width(along_mm: np.ndarray, share: np.ndarray) -> tuple[float | None, float | None]:
    """Return how far it is from full light to full shade, and from 90 to 10 % of the light, mm.

    Parameters
    ----------
    along_mm : (n,) float
        Distances, from the lit side into the shade.
    share : (n,) float
        Of the full light.

    Returns
    -------
    full_mm, rise_mm : float or None
        None where the light does not start full or never falls so far: what is thinner than the lamp's
        blur casts no full shade.
    """

    def cross(level: float) -> float | None:
        under = np.flatnonzero(share < level)
        if not len(under) or under[0] == 0:
            return None
        first = under[0]
        part = (share[first - 1] - level) / (share[first - 1] - share[first])
        return float(along_mm[first - 1] + part * (along_mm[first] - along_mm[first - 1]))

    lit, bright, dim, dark = (cross(level) for level in (1 - FULL, 1 - TENTH, TENTH, FULL))
    full = None if lit is None or dark is None else dark - lit
    return full, None if bright is None or dim is None else dim - bright


def find_extent(lamp: Lamp, way: np.ndarray) -> float:
    """Return how wide a lamp's front is along a unit vector, mm."""
    right, up = abs(float(lamp.right @ way)), abs(float(lamp.up @ way))
    width, height = lamp.size_mm
    match lamp.kind:
        case "bulb":
            return width
        case "panel":
            return width * right + height * up
        case "tube":
            return width * right + height * float(np.sqrt(max(0.0, 1 - right**2)))
        case "ring":
            return width * float(np.hypot(right, up)) + height
    return width * float(np.hypot(right, up))


def estimate_width(lamp: Lamp, place_mm: np.ndarray, edge: np.ndarray, gap_mm: float) -> float:
    """Return the whole width of a straight shadow's edge on a level surface, mm, by similar triangles.

    Lamp's size across the edge × distance edge to shadow ÷ distance lamp to edge, as seen along the light;
    on the surface that is stretched by how slantingly light falls across the edge: by 1 / sin(elevation) for
    an edge across the light's way, not at all for one along it.

    Parameters
    ----------
    place_mm : (3,) float
        On the shadow's edge.
    edge : (3,) float
        Unit vector along it, level.
    gap_mm : float
        From there to what casts it.
    """
    way = place_mm - lamp.centre_mm
    far = float(np.linalg.norm(way))
    way = way / far
    across = np.cross(edge, way)
    slant = float(np.linalg.norm(across))
    size = find_extent(lamp, across / slant)
    return float(size * gap_mm / (far - gap_mm) * slant / abs(way[2]))
