"""Round things strewn over the outside of a glass: where each lies, without lying on another."""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from .mesh import swung
from .outside import PartError

_STEP_MM = 0.25
# Bends tighter than this share of a thing's size do not carry it.
_TIGHTEST = 0.5
_ROUNDS, _CHUNK, _GROWTH = 80, 64, 1.4


class StrewError(PartError):
    """Things do not go on a glass; `part` says which of their keys is wrong."""


class Spots(NamedTuple):
    """Places on a surface, each with its frame and how it bends.

    Parameters
    ----------
    places_mm : (n, 3) float
    across, upward, outward : (n, 3) float
        Unit vectors: level, up along the wall, and the outward normal.
    bend_across, bend_upward : (n,) float
        Curvatures, 1/mm, positive where the surface falls away.
    """

    places_mm: np.ndarray
    across: np.ndarray
    upward: np.ndarray
    outward: np.ndarray
    bend_across: np.ndarray
    bend_upward: np.ndarray

    def take(self, chosen):
        """Return some of them."""
        return Spots(*(values[chosen] for values in self))


@dataclass(frozen=True, eq=False)
class Skin:
    """The outside of a glass from its foot to its rim.

    Parameters
    ----------
    outer : Outline
        From the axis under the foot to the rim's crest, or on over a lid.
    zones : tuple of Surface or Facets
        Where it has relief.
    upright : float
        Least part of the normal that is level: what looks up or down more is no side.
    """

    outer: object
    zones: tuple = ()
    upright: float = 0.15

    @cached_property
    def _line(self):
        """Places up the outside, evenly spaced: radius, height, tangents, bend, steps."""
        z = self.outer.points_mm[:, 1]
        crest = int(z.argmax())
        side = self.outer.cut(int(z[: crest + 1].argmin()), crest).densified(_STEP_MM)
        points, tangents = side.points_mm, side.tangents
        steps = np.hypot(*np.gradient(points, axis=0).T)
        turned = np.unwrap(np.arctan2(tangents[:, 1], tangents[:, 0]))
        bend = np.gradient(turned) / np.maximum(steps, 1e-3)
        return points, tangents, bend, steps

    @property
    def heights_mm(self):
        """Heights of the places up the outside, mm."""
        return self._line[0][:, 1]

    def area_mm2(self, weights):
        """Return the area of the outside, each height counted by a weight, mm2."""
        points, _, _, steps = self._line
        return float((2 * np.pi * points[:, 0] * steps * weights * self._is_side).sum())

    @cached_property
    def _is_side(self):
        return self._line[1][:, 1] > self.upright

    def draw(self, generator, count, weights):
        """Return Spots at random, evenly by area times a weight for each of `heights_mm`."""
        points, tangents, bend, steps = self._line
        share = np.cumsum(points[:, 0] * steps * weights * self._is_side)
        place = np.interp(generator.random(count) * share[-1], np.concatenate([[0.0], share]), _places(share))
        place = np.clip(place, 0, len(points) - 1)
        around = generator.uniform(0, 2 * np.pi, count)
        low = np.minimum(place.astype(int), len(points) - 2)
        part = (place - low)[:, None]
        spots = (1 - part) * points[low] + part * points[low + 1]
        ways = (1 - part) * tangents[low] + part * tangents[low + 1]
        return self.at(around, spots, ways / np.hypot(*ways.T)[:, None], bend[low])

    def over(self, around, height_mm, weights):
        """Return the Spots of one place at an angle and height, None where its weight is zero."""
        points, tangents, bend, _ = self._line
        near = int(np.abs(points[:, 1] - height_mm).argmin())
        if not weights[near] or not self._is_side[near]:
            return None
        return self.at(np.array([around]), points[[near]], tangents[[near]], bend[[near]])

    def at(self, around, spots, ways, bend):
        """Return Spots at angles, radii and heights (n, 2), with tangents (n, 2) and bends."""
        radius, height = spots.T
        places, outward = swung(radius, height, around), swung(ways[:, 1], -ways[:, 0], around)
        bends = np.stack([ways[:, 1] / np.maximum(radius, 1e-6), bend], axis=1)
        for zone in self.zones:
            k = np.flatnonzero((height > zone.side.low_mm) & (height < zone.side.high_mm))
            if len(k):
                places[k], outward[k] = zone.lay(around[k], height[k])
                bends[k] = 0.0
        across = np.stack([-outward[:, 1], outward[:, 0], np.zeros(len(outward))], axis=1)
        across /= np.linalg.norm(across, axis=1, keepdims=True)
        return Spots(places, across, np.cross(outward, across), outward, *bends.T)


def strew(skin, generator, radii_mm, weights, taken=None, keep=None):
    """Return Spots for round things, the largest placed first, none on another as far as there is room.

    Parameters
    ----------
    skin : Skin
    generator : numpy Generator
    radii_mm : (n,) float
        Falling.
    weights : (m,) float
        For each of ``skin.heights_mm``.
    taken : (Spots, (k,) float), optional
        What already lies there, and its radii.
    keep : function of places (n, 3) and radii (n,) -> (n,) bool, optional
        Where one may lie.

    Returns
    -------
    Spots
    placed : (k,) int
        Which of the radii found room.
    """
    from scipy.spatial import cKDTree

    trees = [(cKDTree(taken[0].places_mm), float(taken[1].max()))] if taken and len(taken[1]) else []
    found, numbers, start, size = [], [], 0, _CHUNK
    while start < len(radii_mm):
        left = np.arange(start, min(start + size, len(radii_mm)))
        start, size = start + size, int(size * _GROWTH)
        mine, widest = [], float(radii_mm[left[0]])
        for _ in range(_ROUNDS):
            spots = skin.draw(generator, len(left), weights)
            radius = radii_mm[left]
            tight = np.maximum(np.abs(spots.bend_across), np.abs(spots.bend_upward))
            free = tight * radius < _TIGHTEST
            if keep is not None:
                free &= keep(spots.places_mm, radius)
            own = [(cKDTree(np.concatenate([one.places_mm for one in mine])), widest)] if mine else []
            for tree, other in [*trees, *own]:
                free &= tree.query(spots.places_mm)[0] > radius + other
            # Of two that would meet, the later waits.
            where = np.flatnonzero(free)
            pairs = cKDTree(spots.places_mm[where]).query_pairs(2 * widest, output_type="ndarray")
            pairs = np.sort(pairs, axis=1)
            apart = np.linalg.norm(
                spots.places_mm[where[pairs[:, 0]]] - spots.places_mm[where[pairs[:, 1]]], axis=1
            )
            meets = apart < radius[where[pairs[:, 0]]] + radius[where[pairs[:, 1]]]
            free[where[pairs[meets, 1]]] = False
            if free.any():
                mine.append(spots.take(free))
                numbers.append(left[free])
                left = left[~free]
            if not len(left):
                break
        if mine:
            trees.append((cKDTree(np.concatenate([one.places_mm for one in mine])), widest))
            found += mine
    if not found:
        return skin.draw(generator, 0, weights), np.zeros(0, dtype=int)
    return Spots(*map(np.concatenate, zip(*found, strict=True))), np.concatenate(numbers)


def draw_power(generator, count, low, high, exponent):
    """Return (count,) values at random between two ends, in either order; numbers go with value**exponent."""
    power = exponent + 1
    return (low**power + (high**power - low**power) * generator.random(count)) ** (1 / power)


def _places(share):
    return np.arange(len(share) + 1) - 0.5
