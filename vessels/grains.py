"""Salt or sugar on a rim: small boxes that stick to the outside of the lip."""

from dataclasses import dataclass

import numpy as np

from .ice import turn_matrix
from .mesh import copied
from .relief import TO_CAMERA
from .solids import slab
from .strewing import StrewError, strew

# Of its size: the room that each has to itself, how far its middle is off the glass, and how its sides vary.
_ROOM, _OFF, _SIDES = 0.42, 0.3, (0.7, 1.0)


@dataclass(frozen=True)
class Grains:
    """Grains on a rim.

    Parameters
    ----------
    count : int
    size_mm : float
        Edge of the largest; others are down to half of it.
    down_mm : float
        How far they reach down from the rim's crest.
    share : float
        Of the way round, its middle toward the camera's side.
    seed : int
    """

    count: int
    size_mm: float
    down_mm: float
    share: float = 1.0
    seed: int = 1


def grain_mesh(skin, grains):
    """Return all grains as one Mesh of closed boxes, each partly in the glass, denser toward the crest.

    Parameters
    ----------
    skin : Skin
        With ``upright`` low, so that the lip itself counts.
    grains : Grains

    Raises
    ------
    StrewError
        They find no room.
    """
    generator = np.random.default_rng([grains.seed, 0x5A17])
    sizes = np.sort(grains.size_mm * generator.uniform(0.5, 1.0, grains.count))[::-1]
    below = skin.heights_mm.max() - skin.heights_mm
    weights = np.clip(1 - below / grains.down_mm, 0, 1)

    def is_dipped(places_mm, radii_mm):
        off = np.arctan2(places_mm[:, 1], places_mm[:, 0]) - TO_CAMERA
        return np.abs((off + np.pi) % (2 * np.pi) - np.pi) <= np.pi * grains.share

    spots, placed = strew(skin, generator, _ROOM * sizes, weights, keep=is_dipped)
    if len(placed) < grains.count:
        text = f"{grains.count} grains of up to {grains.size_mm:g} mm find no room, {len(placed)} do"
        raise StrewError("count", f"{text}; take fewer, smaller ones, or let them reach farther down")
    box = slab(1.0, 1.0, 1.0)
    about = box.vertices_mm - [0.0, 0.0, 0.5]
    turns = np.array([turn_matrix(generator) for _ in placed])
    sides = sizes[placed][:, None] * generator.uniform(*_SIDES, (len(placed), 3))
    middles = spots.places_mm + _OFF * sizes[placed][:, None] * spots.outward
    points = np.einsum("nij,nkj->nki", turns, about * sides[:, None]) + middles[:, None]
    return copied(box, points, np.einsum("nij,kj->nki", turns, box.normals))
