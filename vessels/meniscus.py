"""The edge of a drink's surface, where it climbs up the wall of its glass."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .outline import Outline

GRAVITY_M_S2 = 9.80665
# So many capillary lengths from the wall the surface is flat to a hundred-thousandth.
_REACH = 12.0
_STEEP_DEG = 20.0  # the wall turns by so much where the rim begins
_POINTS = 160
_LEAST_RISE_MM = 1e-3


@dataclass(frozen=True)
class Wetting:
    """How a drink meets its glass.

    Parameters
    ----------
    capillary_mm : float
        Capillary length, mm; see `capillary_length_mm`.
    contact_deg : float
        Angle between surface and wall, measured in the drink, 5 to 90 degrees; 90 leaves the surface flat.
    """

    capillary_mm: float
    contact_deg: float

    def __post_init__(self):
        if not (np.isfinite(self.capillary_mm) and self.capillary_mm > 0):
            raise ValueError(f"capillary_mm: {self.capillary_mm:g} mm; it must be more than 0")
        if not 5 <= self.contact_deg <= 90:
            raise ValueError(f"contact_deg: {self.contact_deg:g} deg; it must lie between 5 and 90")


@dataclass(frozen=True, eq=False)
class _Wall:
    """The inside of a glass near the surface: radius and slope by height over the surface's middle."""

    height_mm: np.ndarray
    radius_mm: np.ndarray
    slope: np.ndarray
    highest_mm: float

    def radius(self, height_mm):
        return float(np.interp(height_mm, self.height_mm, self.radius_mm))

    def angle(self, height_mm):
        """Return the wall's angle against the level outside, radians; upright is a quarter turn."""
        return float(np.interp(height_mm, self.height_mm, self.slope))


def capillary_length_mm(tension_mn_m, density_kg_m3):
    """Return the length over which surface tension and weight balance, mm.

    Parameters
    ----------
    tension_mn_m : float
        Surface tension, mN/m.
    density_kg_m3 : float
    """
    return float(np.sqrt(1e3 * tension_mn_m / (density_kg_m3 * GRAVITY_M_S2)))


@lru_cache(maxsize=64)
def climb(inner, level_mm, wetting, clear_mm=0.0):
    """Return the surface of a drink from the wall to the axis.

    Solves the equation of Young and Laplace for a surface of revolution: its curvature grows with its
    height. Where the rim does not leave it room, the surface clings to the highest place that there is.

    Parameters
    ----------
    inner : Outline
        Inside of the glass from the axis out and up to the rim's crest.
    level_mm : float
        Height of the surface's middle above the table, mm.
    wetting : Wetting
    clear_mm : float
        How far under the crest it must stay, mm.

    Returns
    -------
    Outline or None
        None where the surface stays flat.
    """
    wall = _wall_near(inner, level_mm, _REACH * wetting.capillary_mm, clear_mm)
    contact = np.radians(wetting.contact_deg)
    turn = wall.angle(0.0) - contact
    if wall.highest_mm <= _LEAST_RISE_MM or abs(turn) < np.radians(0.1):
        return None
    found = _shoot(wall, wetting.capillary_mm, contact, np.sign(turn))
    if found is None or abs(found[1][-1]) < _LEAST_RISE_MM:
        return None
    radius, height, angle = (values[::-1] for values in found)
    points = np.stack([radius, height + level_mm], axis=1)
    tangents = -np.stack([np.cos(angle), np.sin(angle)], axis=1)
    # Flat from where the edge no longer shows.
    points[-1, 1], tangents[-1] = level_mm, (-1.0, 0.0)
    if points[-1, 0] > 0:
        points = np.vstack([points, [0.0, level_mm]])
        tangents = np.vstack([tangents, [-1.0, 0.0]])
    return Outline(points, tangents, np.zeros(len(points), int))


def _wall_near(inner, level_mm, reach_mm, clear_mm):
    start = inner.place_at_height(level_mm, last=False)
    if start is None:
        raise ValueError(f"level {level_mm:g} mm does not meet the wall")
    fine = inner.densified(0.1)
    z = fine.points_mm[:, 1] - level_mm
    first = int(np.flatnonzero(z >= 0)[0])
    begin = first
    while begin > 0 and z[begin - 1] < z[begin] and z[begin] > -reach_mm:
        begin -= 1
    stop = first
    while stop < len(z) - 1 and z[stop + 1] >= z[stop] and z[stop] < reach_mm:
        stop += 1
    part = slice(begin, stop + 1)
    slope = np.arctan2(fine.tangents[part, 1], fine.tangents[part, 0])
    height = z[part]
    above = (height > 0) & (np.abs(slope - np.interp(0.0, height, slope)) > np.radians(_STEEP_DEG))
    crest = inner.points_mm[-1, 1] - level_mm - clear_mm
    highest = min(crest, float(height[above][0])) if above.any() else crest
    return _Wall(height, fine.points_mm[part, 0], slope, highest)


def _shoot(wall, capillary_mm, contact, sign):
    """Return radius, height and angle of the surface from the middle to the wall, in steps.

    What is sought is how high it stands where it begins to show: the higher, the sooner it has the angle at
    which it meets the wall.
    """
    from scipy.optimize import brentq

    def short(logarithm):
        path = _follow(wall, capillary_mm, contact, sign * np.exp(logarithm))
        if path is None:
            return -wall.radius(0.0)
        radius, height, _ = path(1.0)
        return wall.radius(height) - radius

    # As at a plane wall, where tan(angle / 4) falls off evenly.
    reach = wall.radius(0.0) - _beginning(wall, capillary_mm)
    guess = 4 * capillary_mm * np.tan(abs(wall.angle(0.0) - contact) / 4)
    low = high = np.log(guess) - reach / capillary_mm
    while short(low) >= 0:
        low -= 0.5
        if low < -60:
            return None
    while short(high) <= 0:
        high += 0.5
        if high > 20:
            return None
    best = brentq(short, low, high, xtol=1e-7)
    path = _follow(wall, capillary_mm, contact, sign * np.exp(best))
    return path(np.linspace(0, 1, _POINTS))


def _beginning(wall, capillary_mm):
    """Return the radius where a surface begins to show."""
    return max(wall.radius(0.0) - _REACH * capillary_mm, 1e-3 * capillary_mm)


def _follow(wall, capillary_mm, contact, height_mm):
    """Return a surface until it has the angle of the wall at its height, or is as high as it may be.

    It is a function of the share of its way from the middle, and gives radius, height over the middle and
    angle. None: it stays too flat.
    """
    from scipy.integrate import solve_ivp
    from scipy.special import ive

    a, start = capillary_mm, _beginning(wall, capillary_mm)
    # Near the middle the surface is nearly flat: z = z0 I0(r / a).
    x = start / a
    slope = height_mm / a * ive(1, x) / ive(0, x)
    middle = height_mm / (ive(0, x) * np.exp(min(x, 600.0)))

    def change(_, state):
        radius, height, angle = state
        return np.cos(angle), np.sin(angle), height / a**2 - np.sin(angle) / max(radius, 1e-9)

    def meets(_, state):
        return state[2] - (wall.angle(state[1] - middle) - contact)

    def full(_, state):
        return state[1] - middle - wall.highest_mm

    meets.terminal = full.terminal = True
    run = solve_ivp(
        change, (0.0, 2 * (wall.radius(0.0) - start) + 20 * a), (start, height_mm, np.arctan(slope)),
        events=(meets, full), dense_output=True, rtol=1e-8, atol=1e-10, method="DOP853",
    )  # fmt: skip
    if run.status != 1:
        return None

    def path(share):
        radius, height, angle = run.sol(run.t[-1] * share)
        return radius, height - middle, angle

    return path
