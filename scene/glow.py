"""How a lamp's front glows: how its radiance depends on the direction and on the place on the front.

The radiance of a front is its radiance on the axis times three shares:

- one by direction, from a table of angles: the beam of a reflector, a honeycomb, a measured distribution;
- one by the place on the front: a softbox is darker toward its edges;
- one by where the ray goes through a plane across the axis: the bright back of a snoot, seen through its
  mouth, or the picture that a projection spot makes in its plane of focus.

Places on a front are told as one sees them who stands behind the lamp and looks along its beam: x to the
right, y up, z along the beam.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

#: Angles from the axis at which the share by direction is stored: 0 to 90 deg by a quarter of a degree.
ANGLES_DEG = np.linspace(0.0, 90.0, 361)
#: Azimuths round the axis at which a distribution is stored that is not the same all round.
PLANES = 72
# Where a front is seen edge on: no light leaves there, and its radiance is told no more.
_EDGE_ON = np.cos(np.radians(89.0))


@dataclass(frozen=True, eq=False)
class Sheet:
    """Shares of light in a plane across a lamp's axis; none passes outside.

    Attributes
    ----------
    half_mm : (2,) float
        Half its width and half its height.
    shares : (lines, columns) float
        From 0 to 1; first line at the bottom, first column on the left, cell centres spread evenly.
    depth_mm : float
        From the front along the beam; behind the front it is negative.
    radius_mm : float
        Light outside this circle is cut off; none is where it is 0.
    """

    half_mm: tuple[float, float]
    shares: np.ndarray = field(default_factory=lambda: np.ones((1, 1)))
    depth_mm: float = 0.0
    radius_mm: float = 0.0

    def pass_on(self, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
        """Return the share at places of the plane, bilinear between cell centres."""
        u, v = x_mm / self.half_mm[0], y_mm / self.half_mm[1]
        inside = (np.abs(u) < 1) & (np.abs(v) < 1)
        if self.radius_mm:
            inside &= x_mm**2 + y_mm**2 < self.radius_mm**2
        lines, columns = self.shares.shape
        x = np.clip((u + 1) / 2 * columns - 0.5, 0, columns - 1)
        y = np.clip((v + 1) / 2 * lines - 0.5, 0, lines - 1)
        column, line = x.astype(int), y.astype(int)
        right, above = np.minimum(column + 1, columns - 1), np.minimum(line + 1, lines - 1)
        x, y = x - column, y - line
        low = self.shares[line, column] * (1 - x) + self.shares[line, right] * x
        high = self.shares[above, column] * (1 - x) + self.shares[above, right] * x
        return np.where(inside, low * (1 - y) + high * y, 0.0)


@dataclass(frozen=True, eq=False)
class Glow:
    """Radiance of a front relative to its radiance on the axis.

    Attributes
    ----------
    angles : (planes, 361) float or None
        Share by angle from the axis (`ANGLES_DEG`); one plane where it is the same all round, else `PLANES`
        of them, counter-clockwise from x. None: alike in every direction.
    front : Sheet or None
        Share by place on the front.
    mask : Sheet or None
        Share by where a ray goes through a plane before or behind the front.
    """

    angles: np.ndarray | None = None
    front: Sheet | None = None
    mask: Sheet | None = None

    @property
    def projects(self) -> bool:
        """Whether it makes a picture in a plane of focus."""
        return self.mask is not None and self.mask.depth_mm > 0

    def radiance(self, x_mm: np.ndarray, y_mm: np.ndarray, toward: np.ndarray) -> np.ndarray:
        """Return the relative radiance at places of the front in given directions.

        Parameters
        ----------
        x_mm, y_mm : (n,) float
        toward : (n, 3) float
            Unit vectors: x, y and z along the beam.
        """
        share = np.ones(np.broadcast_shapes(np.shape(x_mm), toward.shape[:-1]))
        if self.angles is not None:
            share = share * self._by_angle(toward)
        if self.front is not None:
            share = share * self.front.pass_on(x_mm, y_mm)
        if self.mask is not None:
            reach = self.mask.depth_mm / np.maximum(toward[..., 2], 1e-6)
            share = share * self.mask.pass_on(x_mm + toward[..., 0] * reach, y_mm + toward[..., 1] * reach)
        return share

    def _by_angle(self, toward: np.ndarray) -> np.ndarray:
        planes, steps = self.angles.shape
        across = np.hypot(toward[..., 0], toward[..., 1])
        angle = np.arctan2(across, toward[..., 2]) / (np.pi / 2) * (steps - 1)
        angle = np.clip(angle, 0, steps - 1)
        step = np.minimum(angle.astype(int), steps - 2)
        turn = np.arctan2(toward[..., 1], toward[..., 0]) / (2 * np.pi) % 1.0 * planes
        plane = np.minimum(turn.astype(int), planes - 1)
        angle, turn = angle - step, turn - plane
        after = (plane + 1) % planes
        near = self.angles[plane, step] * (1 - angle) + self.angles[plane, step + 1] * angle
        far = self.angles[after, step] * (1 - angle) + self.angles[after, step + 1] * angle
        return near * (1 - turn) + far * turn


def beam_profile(beam_deg: float) -> np.ndarray:
    """Return the (1, 361) share by direction of a front whose intensity falls as a power of the cosine.

    Parameters
    ----------
    beam_deg : float
        Full angle between the directions of half the intensity on the axis (CIE S 017, 17-27-075; IES LP-16),
        up to the 120 deg of an evenly glowing front.

    Notes
    -----
    The intensity of a flat front is its radiance times the cosine.
    """
    power = np.log(0.5) / np.log(np.cos(np.radians(beam_deg / 2)))
    return np.cos(np.radians(ANGLES_DEG))[None, :] ** max(power - 1, 0.0)


def honeycomb_profile(acceptance_deg: float) -> np.ndarray:
    """Return the (1, 361) share that a honeycomb lets through by direction.

    A round cell of width w and depth d, black inside, shows through its far mouth what two circles share that
    are shifted by d tan(angle); nothing passes from tan(angle) = w / d on.

    Parameters
    ----------
    acceptance_deg : float
        Full angle in which some light passes, 2 atan(w / d).
    """
    shift = np.tan(np.radians(np.minimum(ANGLES_DEG, 89.99))) / np.tan(np.radians(acceptance_deg / 2))
    shift = np.minimum(shift, 1.0)
    return (2 / np.pi * (np.arccos(shift) - shift * np.sqrt(1 - shift**2)))[None, :]


def intensity_profile(intensity: np.ndarray) -> np.ndarray:
    """Return the share by direction of a front with given intensities, (planes, 361), relative to the axis.

    Seen edge on, a flat front sends nothing; from 89 deg on, its radiance is that at 89 deg.
    """
    cosine = np.maximum(np.cos(np.radians(ANGLES_DEG)), _EDGE_ON)
    return intensity / intensity[:, :1] / cosine


def falloff_sheet(size_mm: tuple[float, float], falloff_stops: float, cells: int = 65) -> Sheet:
    """Return the share by place of a softbox that is darker toward its edges.

    The loss in stops grows with the square of the distance from the middle: `falloff_stops` at the middle of
    each edge, twice that in the corners.
    """
    half = (size_mm[0] / 2, size_mm[1] / 2)
    steps = (np.arange(cells) + 0.5) / cells * 2 - 1
    return Sheet(half, 2.0 ** (-falloff_stops * (steps[None, :] ** 2 + steps[:, None] ** 2)))
