"""What the front of a glass mirrors into the camera, and where on the glass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..sight import Lookout, Seen, part_of
from ..sightgrid import Grid, ways_of

# Each cell in which a lamp's small image may lie is looked at by so many rays, across and down.
FINER = 8
# Parts of one thing's image that are no more cells apart are one: along a thin rim cells are missed.
JOINED = 8
# Neighbours' ways that part by more, radians, are of different faces: nothing between them is searched.
MOST_TURN = 0.5


@dataclass(frozen=True)
class Image:
    """One mirrored image.

    Attributes
    ----------
    thing : int
        What is mirrored, as `Lookout.names` counts.
    place_mm : (3,) float
        Its middle, on the glass.
    area_mm2 : float
        As seen: level with the sensor.
    reflectance : float
        Share of its light that the glass throws back there.
    """

    thing: int
    place_mm: np.ndarray
    area_mm2: float
    reflectance: float


class _Samples(NamedTuple):
    """Rays that found something mirrored: cell, thing, area, place and share thrown back."""

    cell: np.ndarray
    thing: np.ndarray
    area: np.ndarray
    place: np.ndarray
    share: np.ndarray


def list_images(lookout: Lookout, grid: Grid, glass: str) -> list[Image]:
    """Return all that the first faces of a glass or prop mirror into the camera, the largest first.

    Parameters
    ----------
    lookout : Lookout
    grid : Grid
        Over the glass.
    glass : str
    """
    ways, part = grid.ways(), lookout.is_part(glass)
    seen = lookout.look(grid.camera.place_mm, ways, mirrored=True)
    mine = part_of(seen, part)
    near = _near_lamps(lookout, seen, mine & _is_thrown(seen, ways), grid.shape)
    rough = _sample(seen, mine & ~near, np.arange(len(ways)), grid, 1.0)
    fine = _look_closer(lookout, grid, np.flatnonzero(near), part)
    images = _gather(_Samples(*map(np.concatenate, zip(rough, fine, strict=True))), grid.shape)
    return sorted(images, key=lambda image: -image.area_mm2)


def _is_thrown(seen: Seen, ways) -> np.ndarray:
    """Return which rays a first face threw back."""
    return np.einsum("ij,ij->i", seen.way, ways) < 1 - 1e-6


def _near_lamps(lookout: Lookout, seen: Seen, thrown, shape) -> np.ndarray:
    """Return in which cells (n,) a lamp may be mirrored, though the ray through the middle miss it."""
    ways = np.where(thrown[:, None], seen.way, np.nan).reshape(*shape, 3)
    turn = np.zeros(shape)
    for axis in (0, 1):
        for step in (-1, 1):
            beside = np.roll(ways, step, axis)
            apart = np.linalg.norm(beside - ways, axis=-1)
            turn = np.fmax(turn, np.where(apart < MOST_TURN, apart, 0.0))
    near = np.zeros(thrown.shape, bool)
    for lamp in lookout.built.lamps:
        toward = lamp.centre_mm - seen.from_mm
        far = np.linalg.norm(toward, axis=1)
        missed = np.linalg.norm(toward / far[:, None] - seen.way, axis=1)
        near |= thrown & (missed < lamp.radius_mm / far + turn.ravel())
    return near


def _sample(seen: Seen, wanted, cells, grid: Grid, share: float) -> _Samples:
    """Return the rays wanted that found something, each of which stands for a share of its cell."""
    found = wanted & (seen.end >= 0) & (seen.weight > 0)
    place = seen.place_mm[found]
    area = share * grid.area_mm2(place)
    return _Samples(cells[found], seen.end[found], area, place, seen.weight[found])


def _look_closer(lookout: Lookout, grid: Grid, cells, part) -> _Samples:
    """Return what many rays find in some of the cells."""
    offsets = (np.arange(FINER) + 0.5) / FINER - 0.5
    offsets = np.stack(np.meshgrid(offsets, offsets), axis=-1).reshape(-1, 2) * grid.step
    spots = (grid.spots[cells][:, None] + offsets).reshape(-1, 2)
    seen = lookout.look(grid.camera.place_mm, ways_of(grid.camera, spots), mirrored=True)
    return _sample(seen, part_of(seen, part), np.repeat(cells, len(offsets)), grid, 1 / len(offsets))


def _gather(samples: _Samples, shape) -> list[Image]:
    """Return the parts of each thing's image that hang together."""
    from scipy import ndimage

    images = []
    for thing in np.unique(samples.thing):
        own = samples.thing == thing
        cell, area = samples.cell[own], samples.area[own]
        taken = np.zeros(shape, bool)
        taken.flat[cell] = True
        labels, count = ndimage.label(ndimage.binary_dilation(taken, iterations=JOINED // 2), np.ones((3, 3)))
        part = labels.flat[cell] - 1

        def total(values, part=part, count=count):
            return np.bincount(part, values, count)

        whole = total(area)
        place = np.stack([total(area * axis) / whole for axis in samples.place[own].T], axis=1)
        share = total(area * samples.share[own]) / whole
        images += [Image(int(thing), *each) for each in zip(place, whole, share, strict=True)]
    return images
