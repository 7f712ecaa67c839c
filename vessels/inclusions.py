"""Bubbles in the glass itself: closed balls strewn at random through the wall and the base."""

from dataclasses import dataclass

import numpy as np

from .mesh import swung
from .outside import FinishError
from .solids import balls

_CLEAR_MM = 0.1  # of glass between a bubble and the surface, and between two bubbles
_SECTIONS = 32  # facets round a bubble
_TRIES = 200  # draws per bubble before the glass counts as full
MOST_BUBBLES = 1000


@dataclass(frozen=True)
class Bubbles:
    """Bubbles in the glass.

    Parameters
    ----------
    count : int
    diameter_mm : float
        Of the smallest, mm.
    largest_mm : float
        Diameter of the largest, mm; sizes are spread evenly.
    seed : int
    """

    count: int
    diameter_mm: float
    largest_mm: float
    seed: int = 1

    def __post_init__(self):
        if not 0 < self.count <= MOST_BUBBLES:
            raise FinishError("bubbles", f"{self.count} bubbles; allowed: 1 to {MOST_BUBBLES}")
        if not 0 < self.diameter_mm <= self.largest_mm:
            text = f"from {self.diameter_mm:g} mm to {self.largest_mm:g} mm; the largest comes last"
            raise FinishError("bubbles", text)


def strew_bubbles(core_mm, bubbles):
    """Return bubbles in a glass, evenly by its volume, as centres and diameters.

    Parameters
    ----------
    core_mm : (n, 2) float
        Section of the glass from axis to axis, radius and height, mm, as deep as its relief goes.
    bubbles : Bubbles

    Returns
    -------
    centres_mm : (count, 3) float
    diameters_mm : (count,) float

    Raises
    ------
    FinishError
        The glass is too thin or too full.
    """
    import shapely

    generator = np.random.default_rng(bubbles.seed)
    sizes = np.linspace(bubbles.largest_mm, bubbles.diameter_mm, bubbles.count)
    section = shapely.Polygon(core_mm)
    boundary = shapely.LineString(core_mm)  # without the axis, which is no surface
    radius_mm, low_mm, high_mm = core_mm[:, 0].max(), core_mm[:, 1].min(), core_mm[:, 1].max()
    shapely.prepare(section)
    centres = np.empty((0, 3))
    for number, size in enumerate(sizes):
        # Even by area of the circles that the section's points sweep, so even by volume.
        away = radius_mm * np.sqrt(generator.random(_TRIES))
        height = generator.uniform(low_mm, high_mm, _TRIES)
        around = generator.uniform(0, 2 * np.pi, _TRIES)
        points = shapely.points(away, height)
        room = shapely.contains(section, points)
        room[room] = shapely.distance(points[room], boundary) > size / 2 + _CLEAR_MM
        spots = swung(away, height, around)[room]
        gap = np.linalg.norm(spots[:, None] - centres, axis=2) - (size + sizes[:number]) / 2
        spots = spots[(gap > _CLEAR_MM).all(axis=1)]
        if not len(spots):
            text = f"bubble {number + 1} of {bubbles.count}, {size:.3g} mm across, finds no room in the glass"
            raise FinishError("bubbles", f"{text}; take fewer or smaller ones")
        centres = np.concatenate([centres, spots[:1]])
    return centres, sizes


def bubble_mesh(core_mm, bubbles):
    """Return all bubbles of a glass as one Mesh of closed balls; see `strew_bubbles`."""
    return balls(*strew_bubbles(core_mm, bubbles), _SECTIONS)
