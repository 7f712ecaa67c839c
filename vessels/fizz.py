"""Bubbles of gas in a drink: on the wall where they grow, and rising in trains."""

from dataclasses import dataclass

import numpy as np

from .meniscus import GRAVITY_M_S2
from .mesh import swung
from .solids import balls
from .strewing import draw_power

# A rising bubble leaves the wall with a radius of up to 0.05 mm and grows by 0.12 to 0.24 mm/s:
# G. Liger-Belair et al., Study of effervescence in a glass of champagne, Am. J. Enol. Vitic. 50, 317-323
# (1999). It rises with about 2/3 of the speed of Stokes (the same authors, Langmuir 18, 2002; from memory).
_LAUNCH_MM = 0.05
_GROWTH_MM_S = 0.2
_OF_STOKES = 0.66
_VISCOSITY_PA_S = 1.2e-3
_MOST_TRAINS_PER_S = 25.0
_TRAIN = 14  # bubbles in a train, about
_FACETS = 20
# A bubble on the wall all but touches it. Were it to reach into the glass, rays that start anew a thousandth
# of a millimetre from a face would be lost where the two cross.
_FILM_MM = 0.02
_CLEAR_MM = 0.1
# The largest bubbles are few: numbers fall as the power of the size.
_STEEPNESS = 2.0


@dataclass(frozen=True)
class Fizz:
    """Bubbles in a drink.

    Parameters
    ----------
    count : int
    rising : float
        Share of them that rises in trains, 0 to 1; the others sit on the wall.
    smallest_mm, largest_mm : float
        Diameters, mm.
    seed : int
    """

    count: int
    rising: float
    smallest_mm: float
    largest_mm: float
    seed: int = 1

    def __post_init__(self):
        if not self.count > 0:
            raise ValueError(f"{self.count} bubbles; at least 1 is needed")
        if not 0 <= self.rising <= 1:
            raise ValueError(f"rising: {self.rising:g}; it must lie between 0 and 1")
        if not 0 < self.smallest_mm <= self.largest_mm:
            raise ValueError(f"from {self.smallest_mm:g} to {self.largest_mm:g} mm; the largest comes last")


def strew_fizz(inner, fill_height_mm, fizz):
    """Return where the bubbles are.

    Parameters
    ----------
    inner : Outline
        Inside of the glass from the axis out and up to the rim's crest.
    fill_height_mm : float
        Height of the surface above the table, mm.
    fizz : Fizz

    Returns
    -------
    centres_mm : (n, 3) float
    diameters_mm : (n,) float
        Fewer than asked for where the glass has no room for more.

    Raises
    ------
    ValueError
        The largest bubble does not fit under the surface.
    """
    depth_mm = fill_height_mm - inner.points_mm[0, 1]
    if fizz.largest_mm + 2 * _CLEAR_MM >= depth_mm:
        raise ValueError(f"a bubble of {fizz.largest_mm:g} mm does not fit into {depth_mm:.1f} mm of drink")
    generator = np.random.default_rng(fizz.seed)
    wall = inner.cut(0, inner.place_at_height(fill_height_mm, last=False)).densified(0.25)
    rising = int(round(fizz.rising * fizz.count))
    spots = [_on_wall(wall, fill_height_mm, fizz, fizz.count - rising, generator)]
    spots.append(_in_trains(wall, fill_height_mm, fizz, rising, generator))
    return tuple(np.concatenate(parts) for parts in zip(*spots, strict=True))


def fizz_mesh(inner, fill_height_mm, fizz):
    """Return the bubbles of `strew_fizz` as one Mesh of closed balls."""
    centres, sizes = strew_fizz(inner, fill_height_mm, fizz)
    if not len(sizes):
        raise ValueError("no bubble finds room in the drink")
    return balls(centres, sizes, _FACETS)


def _places(wall, count, generator):
    """Return points on the wall, evenly by its area: radius, height and the way into the drink (n, 2)."""
    middle = (wall.points_mm[1:] + wall.points_mm[:-1]) / 2
    area = middle[:, 0] * np.hypot(*np.diff(wall.points_mm, axis=0).T)
    chosen = generator.choice(len(area), count, p=area / area.sum())
    return middle[chosen], -wall.normals[:-1][chosen]


def _on_wall(wall, fill_height_mm, fizz, count, generator):
    sizes = draw_power(generator, count, fizz.smallest_mm, fizz.largest_mm, -_STEEPNESS)
    points, into = _places(wall, count, generator)
    centres = points + (sizes / 2 + _FILM_MM)[:, None] * into
    around = generator.uniform(0, 2 * np.pi, count)
    kept = (centres[:, 1] + sizes / 2 < fill_height_mm - _CLEAR_MM) & (centres[:, 0] > 0)
    return swung(*centres.T, around)[kept], sizes[kept]


def _in_trains(wall, fill_height_mm, fizz, count, generator):
    """Return bubbles above one another, each farther from the next the longer it has grown."""
    centres, sizes = [np.empty((0, 3))], [np.empty(0)]
    missing = count
    for _ in range(4 * count + 1):
        if missing <= 0:
            break
        (point,), (into,) = _places(wall, 1, generator)
        # Off the wall by the largest radius, so that the train rises clear of it where it is upright.
        start = point + (fizz.largest_mm / 2 + _CLEAR_MM) * into
        spacing_s = generator.uniform(1, 4) / _MOST_TRAINS_PER_S
        time_s = spacing_s * (generator.random() + np.arange(3 * _TRAIN))
        radius = _LAUNCH_MM + _GROWTH_MM_S * time_s
        height = start[1] + _risen_mm(time_s)
        inside = np.interp(height, wall.points_mm[:, 1], wall.points_mm[:, 0]) - radius - _CLEAR_MM
        size = 2 * radius
        kept = (size >= fizz.smallest_mm) & (size <= fizz.largest_mm) & (abs(start[0]) <= inside)
        kept &= height + radius < fill_height_mm - _CLEAR_MM
        kept &= np.cumsum(kept) <= min(missing, _TRAIN)
        number = int(kept.sum())
        centres.append(swung(abs(start[0]), height[kept], generator.uniform(0, 2 * np.pi)))
        sizes.append(size[kept])
        missing -= number
    return np.concatenate(centres), np.concatenate(sizes)


def _risen_mm(time_s):
    """Return how far a growing bubble has risen: its speed goes with its radius squared."""
    speed = _OF_STOKES * 2 * 1000 * GRAVITY_M_S2 / (9 * _VISCOSITY_PA_S) * 1e-3  # mm/s for a radius of 1 mm
    cubes = (_LAUNCH_MM + _GROWTH_MM_S * time_s) ** 3 - _LAUNCH_MM**3
    return speed * cubes / (3 * _GROWTH_MM_S)
