"""Relief on the outside of a glass: flutes, ribs, rings, hammered and wavy surfaces.

Each is a depth that depends on the angle round the axis and on the way along the outline, and comes with
its two derivatives, so that the surface made of it (`surface`) has exact normals.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np

_ROUNDING = 0.2  # of a ridge between two flutes: its radius is this share of the flute's own
_CELL_SOFTNESS = 12.0
_WAVES = 24
TO_CAMERA = -np.pi / 2  # angle of azimuth 0


@dataclass(frozen=True)
class Relief(ABC):
    """What all relief has.

    Parameters
    ----------
    depth_mm : float
        From the outermost to the deepest places, mm.
    from_mm, to_mm : float
        Heights above the table between which it lies, mm.
    """

    depth_mm: float
    from_mm: float
    to_mm: float

    part = "relief"
    fades = True

    def count_round(self):
        """Return how many equal parts the relief has round the glass."""
        return 1

    def twist(self):
        """Return the turn over its whole length, radians, counter-clockwise seen from above."""
        return 0.0

    def limits(self, length_mm, radius_mm):
        """Return the least and the largest value of the shape."""
        return 0.0, 1.0

    @abstractmethod
    def shape(self, angle, along_mm, length_mm, radius_mm):
        """Return depth over full depth, 0 to 1, and its change per radian and per mm along the outline."""


@dataclass(frozen=True)
class Flutes(Relief):
    """Rounded channels side by side, or ribs (the channels' ridges and valleys swapped).

    Parameters
    ----------
    count : int
        Round the glass; the first channel (or rib) faces the camera.
    twist_deg : float
        Turn from the lower to the upper end, degrees, clockwise seen from above.
    standing : bool
        Ribs.
    """

    count: int = 24
    twist_deg: float = 0.0
    standing: bool = False

    @property
    def part(self):
        """Name in errors."""
        return "ribs" if self.standing else "flutes"

    def count_round(self):
        """Return the count."""
        return self.count

    def twist(self):
        """Return the turn over the whole length, radians."""
        return -np.radians(self.twist_deg)

    def shape(self, angle, along_mm, length_mm, radius_mm):
        """See `Relief.shape`."""
        turn = self.twist() / length_mm
        share, slope = channel(self.count * (angle - TO_CAMERA - turn * along_mm))
        if self.standing:
            share, slope = 1 - share, -slope
        return share, slope * self.count, -slope * self.count * turn


@dataclass(frozen=True)
class Rings(Relief):
    """Rounded grooves round the glass, evenly spaced.

    Parameters
    ----------
    count : int
    """

    count: int = 3

    part = "rings"
    fades = False

    def shape(self, angle, along_mm, length_mm, radius_mm):
        """See `Relief.shape`."""
        pace = 2 * np.pi * self.count / length_mm
        share, slope = channel(pace * along_mm + np.pi)
        return share + 0 * angle, 0 * (angle + along_mm), slope * pace + 0 * angle


@dataclass(frozen=True)
class Hammered(Relief):
    """Shallow round dents side by side at random.

    Parameters
    ----------
    scale_mm : float
        From dent to dent, mm.
    seed : int
    """

    scale_mm: float = 8.0
    seed: int = 1

    part = "hammered"

    def limits(self, length_mm, radius_mm):
        """See `Relief.limits`."""
        return extremes(self, length_mm, radius_mm)

    def shape(self, angle, along_mm, length_mm, radius_mm):
        """Return a soft least of the squared distances to the dents' middles; see `Relief.shape`."""
        count = max(int(round(2 * np.pi * radius_mm / self.scale_mm)), 3)
        lines = int(np.ceil(length_mm / self.scale_mm)) + 4
        off = np.random.default_rng(self.seed).uniform(-0.35, 0.35, (2, count, lines))
        x = (angle / (2 * np.pi) * count) % count
        y = np.asarray(along_mm / self.scale_mm + 2)
        x, y = np.broadcast_arrays(x, y)
        total, pull_x, pull_y = np.zeros(x.shape), np.zeros(x.shape), np.zeros(x.shape)
        column, line = np.floor(x).astype(int), np.floor(y).astype(int)
        for i in range(-2, 3):
            for j in range(-2, 3):
                at = (column + i) % count, np.clip(line + j, 0, lines - 1)
                dx = x - (column + i + 0.5 + off[0][at])
                dy = y - (np.clip(line + j, 0, lines - 1) + 0.5 + off[1][at])
                weight = np.exp(-_CELL_SOFTNESS * (dx**2 + dy**2))
                total += weight
                pull_x += 2 * dx * weight
                pull_y += 2 * dy * weight
        least = -np.log(total) / _CELL_SOFTNESS
        return -least, -pull_x / total * count / (2 * np.pi), -pull_y / total / self.scale_mm


@dataclass(frozen=True)
class Wavy(Relief):
    """Smooth random waviness.

    Parameters
    ----------
    scale_mm : float
        From crest to crest, on average, mm.
    seed : int
    """

    scale_mm: float = 30.0
    seed: int = 1

    part = "wavy"

    def limits(self, length_mm, radius_mm):
        """See `Relief.limits`."""
        return extremes(self, length_mm, radius_mm)

    def shape(self, angle, along_mm, length_mm, radius_mm):
        """Return a sum of waves that close round the glass; see `Relief.shape`."""
        generator = np.random.default_rng(self.seed)
        way = np.pi * (np.arange(_WAVES) + generator.random(_WAVES)) / _WAVES
        pace = 2 * np.pi / self.scale_mm * generator.uniform(0.7, 1.3, _WAVES)
        phases = generator.uniform(0, 2 * np.pi, _WAVES)
        value, round_, upward = 0.0, 0.0, 0.0
        for cos, sin, k, phase in zip(np.cos(way), np.sin(way), pace, phases, strict=True):
            turns = np.round(k * cos * radius_mm)
            at = turns * angle + k * sin * along_mm + phase
            value = value + np.cos(at)
            round_ = round_ - turns * np.sin(at)
            upward = upward - k * sin * np.sin(at)
        return value, round_, upward


def channel(phase):
    """Return the section of a rounded channel and its slope per radian: 1 at 0 (deepest), 0 at pi (ridge)."""
    cos = np.cos(phase / 2)
    root = np.sqrt(cos**2 + _ROUNDING**2)
    height = np.sqrt(1 + _ROUNDING**2) - _ROUNDING
    return (root - _ROUNDING) / height, -cos * np.sin(phase / 2) / (2 * root * height)


def extremes(relief, length_mm, radius_mm):
    """Return the least and the largest value of a random relief's shape, sought from coarse to fine."""

    def shape(angle, along_mm):
        return relief.shape(angle, along_mm, length_mm, radius_mm)[0]

    fine = relief.scale_mm / 6
    angles = np.arange(0, 2 * np.pi, fine / radius_mm)
    places = np.linspace(0, length_mm, int(length_mm / fine) + 2)
    angles, places = (part.ravel() for part in np.meshgrid(angles, places))
    around, up = (part.ravel()[None] for part in np.meshgrid(*[np.linspace(-1, 1, 7)] * 2))
    found = []
    for sign in (1, -1):
        values = sign * shape(angles, places)
        best = np.argsort(values)[:40]
        a, s, reach = angles[best, None], places[best, None], fine
        for _ in range(3):
            a, s = a + around * reach / radius_mm, np.clip(s + up * reach, 0, length_mm)
            values = sign * shape(a, s)
            row = np.arange(len(a)), values.argmin(axis=1)
            a, s, reach = a[row][:, None], s[row][:, None], reach / 3
        found.append(sign * float(values.min()))
    return tuple(found)
