"""Where a glass is and where it is not: things that rest on its rim or lean in it."""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from .library import Vessel
from .outline import thinned
from .room import Room

GAP_MM = 0.3  # between a thing and the glass that it rests on
_FINE_MM, _AROUND, _CUT_SECTIONS = 0.005, 6, 160
_STEEPEST_DEG, _STEP_DEG, _FINEST_DEG = 84.0, 6.0, 0.1
_UPPER_SHARE = 0.6  # of the inside, that a thing may touch on the side to which it leans
_FEW = 40  # one of so many places is looked at first
_DEEP_MM = 3.0  # from one try for the foot's depth to the next


class LeanError(ValueError):
    """A thing does not go into the glass, or does not stay there."""


class Lean(NamedTuple):
    """How a thing leans, in the plane through the glass's axis: toward +x.

    Parameters
    ----------
    tilt_deg : float
        Of its axis off upright.
    foot_mm : (float, float)
        Where its lower end's middle is: x and height.
    """

    tilt_deg: float
    foot_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Stand:
    """A glass, upright and round, as that which things keep clear of.

    Parameters
    ----------
    vessel : Vessel
    """

    vessel: Vessel

    @cached_property
    def _section(self):
        """The glass's section in the half plane of radius and height."""
        import shapely

        section = shapely.Polygon(thinned(self.vessel.section, _FINE_MM, 20.0).points_mm)
        shapely.prepare(section)
        return section

    @cached_property
    def room(self):
        """The Room inside."""
        return Room(self.vessel)

    @property
    def lip_mm(self):
        """(2,) radius and height of the rim's crest."""
        return self.vessel.inner.points_mm[-1]

    def off_glass(self, points_mm):
        """Return how far places (n, 3) are from the glass, mm, negative in it."""
        import shapely

        spots = shapely.points(np.hypot(points_mm[:, 0], points_mm[:, 1]), points_mm[:, 2])
        away = shapely.distance(self._section.boundary, spots)
        return np.where(shapely.covers(self._section, spots), -away, away)

    def clearance(self, points_mm):
        """Return how far places (n, 3) are inside the glass or, over the rim, off it, mm; else negative."""
        over = points_mm[:, 2] > self.lip_mm[1]
        found = np.empty(len(points_mm))
        found[over] = self.off_glass(points_mm[over])
        found[~over] = self.room.clearance(points_mm[~over])
        return found

    def is_clear(self, points_mm):
        """Whether places (n, 3) are all `GAP_MM` and more inside the glass or, over the rim, off it."""
        # What does not fit is mostly told by a few of many places.
        return all(self._is_clear(few) for few in (points_mm[::_FEW], points_mm) if len(few))

    def _is_clear(self, points_mm):
        over = points_mm[:, 2] > self.lip_mm[1]
        if not self.room.is_clear(points_mm[~over], GAP_MM):
            return False
        return self.off_glass(points_mm[over]).min(initial=np.inf) >= GAP_MM

    def inner_radius_mm(self, low_mm, high_mm):
        """Return the least radius of the inside between two heights, mm."""
        inner = self.vessel.inner.densified(0.25).points_mm
        between = (inner[:, 1] >= low_mm) & (inner[:, 1] <= high_mm)
        return float(inner[between, 0].min(initial=self.lip_mm[0]))

    def wall_way(self, down_mm):
        """Return the unit vector (radius, height) upward along the wall, over a stretch below the rim."""
        import shapely

        near = self._section.intersection(shapely.Point(self.lip_mm).buffer(down_mm))
        way = self.lip_mm - np.array(near.centroid.coords[0])
        return way / np.hypot(*way)

    def wall_solid(self, down_mm, spare_mm, half_wide_mm):
        """Return the wall at +x, as far as it reaches below the rim, grown by a clearance, for manifold3d.

        Parameters
        ----------
        down_mm : float
            Below the crest.
        spare_mm : float
            Clearance.
        half_wide_mm : float
            How far it goes to either side of the plane through the axis, at least.
        """
        import manifold3d
        import shapely

        near = self._section.intersection(shapely.Point(self.lip_mm).buffer(down_mm))
        parts = [part for part in getattr(near, "geoms", [near]) if part.area > 0]
        wall = max(parts, key=lambda part: -part.distance(shapely.Point(self.lip_mm)))
        grown = wall.buffer(spare_mm).simplify(0.01)
        outline = np.array(grown.exterior.coords[:-1])
        least = max(float(outline[:, 0].min()), 0.5)
        half_deg = min(float(np.degrees(np.arcsin(min(half_wide_mm / least, 1.0)))), 90.0)
        cross = manifold3d.CrossSection([outline], manifold3d.FillRule.NonZero)
        return cross.revolve(_CUT_SECTIONS, 2 * half_deg).rotate((0, 0, -half_deg))


def lean(stand, points_mm, rod_mm, length_mm):
    """Return how a thing on a rod comes to rest, leaning on the rim.

    It lies as low as it can: of all ways in which it touches the rim and what stops its foot, the one in
    which the middle between floor and rim's height lies lowest, as if nothing held it by friction. What
    stands over the rim is held by hand, so to speak, else long things would lie flat.

    Parameters
    ----------
    stand : Stand
    points_mm : (n, 3) float
        All over the thing, its rod along z from 0; it leans toward x.
    rod_mm : float
        Radius where it touches the rim.
    length_mm : float

    Raises
    ------
    LeanError
        It does not go in, or it is too short to reach the rim.
    """
    find = lambda tilt: _settle(stand, points_mm, rod_mm, tilt)  # noqa: E731
    tilts = np.arange(0.0, _STEEPEST_DEG, _STEP_DEG)
    found = {tilt: find(tilt) for tilt in tilts}
    fit = [tilt for tilt in tilts if found[tilt]]
    if not fit:
        raise LeanError("does not go into the glass; allowed: a thinner or smaller one")
    best = min(fit, key=lambda tilt: found[tilt][0])
    step = _STEP_DEG
    while step > _FINEST_DEG:
        step /= 2
        for tilt in (best - step, best + step):
            if 0 <= tilt < _STEEPEST_DEG and (other := find(tilt)) and other[0] < found[best][0]:
                found[tilt], best = other, tilt
                break
    _, x, z = found[best]
    if z + length_mm * np.cos(np.radians(best)) < stand.lip_mm[1] + rod_mm:
        need = (stand.lip_mm[1] - z) / np.cos(np.radians(best)) + 2 * rod_mm
        raise LeanError(f"{length_mm:g} mm does not reach the rim; allowed: at least {need:.0f} mm")
    return Lean(float(best), (float(x), float(z)))


def tilted(tilt_deg):
    """Return the (3, 3) matrix that tilts what stands along z toward x."""
    cos, sin = np.cos(np.radians(tilt_deg)), np.sin(np.radians(tilt_deg))
    return np.array([[cos, 0, sin], [0, 1, 0], [-sin, 0, cos]])


def _settle(stand, points_mm, rod_mm, tilt_deg):
    """Return the height of the middle, and the foot's place, of a thing at a tilt; None where it fits not."""
    cos, sin = np.cos(np.radians(tilt_deg)), np.sin(np.radians(tilt_deg))
    base, (_, crest) = stand.vessel.base_mm, stand.lip_mm
    # The rod slid outward until it touches the rim or the wall below it.
    levels = np.linspace(crest - _UPPER_SHARE * (crest - base), crest + 20.0, 64) - crest
    turns = 2 * np.pi * np.arange(_AROUND) / _AROUND
    side, depth = rod_mm * np.cos(turns), rod_mm * np.sin(turns)
    middle = levels / cos
    rod = np.stack(
        np.broadcast_arrays(
            middle[:, None] * sin + side * cos, depth, crest + middle[:, None] * cos - side * sin
        ),
        axis=-1,
    ).reshape(-1, 3)
    low, high = -stand.lip_mm[0], stand.lip_mm[0] + rod_mm / cos
    for _ in range(14):
        x = (low + high) / 2
        points = rod + [x, 0, 0]
        right = points[points[:, 0] > 0]
        clear = stand.is_clear(right)
        low, high = (x, high) if clear else (low, x)
    # Its foot as deep as it goes along that line.
    bodies = points_mm @ tilted(tilt_deg).T
    foot = lambda z: np.array([low + (z - crest) / cos * sin, 0.0, z])  # noqa: E731
    levels = np.arange(base + GAP_MM, crest, _DEEP_MM)
    feet = np.stack([foot(z) for z in levels])
    for number in np.flatnonzero(stand.room.clearance(feet) > 0):
        if stand.is_clear(bodies + feet[number]):
            below, above = levels[number] - _DEEP_MM, levels[number]
            for _ in range(12):
                z = (below + above) / 2
                free = stand.room.clearance(foot(z)[None])[0] > 0
                free = free and stand.is_clear(bodies + foot(z))
                below, above = (below, z) if free else (z, above)
            return above + (crest - base) / 2 * cos, foot(above)[0], above
    return None
