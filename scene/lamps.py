"""Lamps of a real size: where they stand, points on their surface, and their light on the bare table."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from brimcast.shared.bands import BAND_EDGES_NM, GRID_NM, band_means
from brimcast.shared.colour import BAND_XYZ

from .glow import Glow
from .tubes import spread_on_ring, spread_on_tube

# Farther than this, a lamp is told of as far away: the sun, the sky's far end.
DISTANT_MM = 1e6


@dataclass(frozen=True)
class LampPoints:
    """Points on a lamp's surface, each standing for a share of it.

    Attributes
    ----------
    place_mm, normal : (n, 3) float
    area_mm2 : (n,) float
        Share of the surface; the shares of n points estimate n times the surface.
    lamp : Lamp
        Whose they are: its radiance may depend on direction and place.
    """

    place_mm: np.ndarray
    normal: np.ndarray
    area_mm2: np.ndarray
    lamp: Lamp


@dataclass(frozen=True)
class Lamp:
    """A lamp with a glowing front; diffusely, if nothing else is said.

    Attributes
    ----------
    name : str
    kind : {'disc', 'bulb', 'panel', 'tube', 'ring'}
        Form of the front: flat disc, sphere, flat rectangle, straight tube, tube bent into a ring.
    centre_mm : (3,) float
        Centre of the emitting front (of the sphere, of the tube).
    facing, right, up : (3,) float
        Unit vectors; `facing` points at the aim point, right and up are as one sees the front from there.
        A straight tube lies along `right`.
    size_mm : (2,) float
        Width and height; the diameter twice for a disc or bulb; length and diameter of a straight tube; of a
        ring, the diameter of the tube's middle line and of the tube.
    aim_mm : (3,) float
    throw_mm, elevation_deg, azimuth_deg : float
        As stated in the set, from the emitting front to the aim point.
    spectrum : (321,) float or None
        Relative spectral radiance on `GRID_NM`; None for a lamp of one line.
    line_nm : float or None
        Wavelength of a one-line lamp.
    power_stops : float
        Power below the reading's.
    luminance : float
        Luminance × time of the front on its axis at power 0, cd s/m² (or relative).
    glow : Glow or None
        How its radiance depends on direction and place; None for a diffuse, even front. Flat fronts only.
    word : str
        What the photographer calls it; the form where that is left out.
    calibrated : bool
        `luminance` is physical, from a reading or measured candela.
    dense_mm : float
        Points of a disc lie as dense as they look from this far before its middle; 0: evenly.
    """

    name: str
    kind: Literal["disc", "bulb", "panel", "tube", "ring"]
    centre_mm: np.ndarray
    facing: np.ndarray
    right: np.ndarray
    up: np.ndarray
    size_mm: tuple[float, float]
    aim_mm: np.ndarray
    throw_mm: float
    elevation_deg: float
    azimuth_deg: float
    spectrum: np.ndarray | None
    line_nm: float | None = None
    power_stops: float = 0.0
    luminance: float = 1.0
    glow: Glow | None = None
    word: str = ""
    calibrated: bool = False
    dense_mm: float = 0.0

    @property
    def radius_mm(self) -> float:
        """Radius of the circle round the emitting front."""
        if self.kind in ("panel", "tube"):
            return float(np.hypot(*self.size_mm) / 2)
        return self.size_mm[0] / 2 + (self.size_mm[1] / 2 if self.kind == "ring" else 0.0)

    @property
    def area_mm2(self) -> float:
        """Area of an even front that would be as strong on the axis, far off."""
        width, height = self.size_mm
        area = {"panel": width * height, "tube": width * height, "ring": np.pi * width * height}
        area_mm2 = area.get(self.kind, np.pi * width**2 / 4)
        if self.glow is None:
            return area_mm2
        # What is projected into a plane of focus takes light from the picture, not from the lens.
        lens = replace(self.glow, mask=None) if self.glow.projects else self.glow
        bare = replace(self, glow=lens)
        points = spread_points(bare, _fine_grid(bare), self.centre_mm + self.facing, 1.0)
        return area_mm2 * float(bare.radiance(points, points.normal).mean())

    @property
    def distant(self) -> bool:
        """Whether it stands so far away that its rays count as parallel."""
        return self.throw_mm > DISTANT_MM

    def radiance(self, points: LampPoints, toward: np.ndarray) -> np.ndarray:
        """Return the radiance of points in given directions, relative to that on the axis.

        Parameters
        ----------
        toward : (n, 3) float
            Unit vectors of the set.
        """
        if self.glow is None:
            return np.ones(len(points.area_mm2))
        off = points.place_mm - self.centre_mm
        frame = np.stack([-self.right, self.up, self.facing], axis=1)
        return self.glow.radiance(-(off @ self.right), off @ self.up, toward @ frame)

    @property
    def band_spectrum(self) -> np.ndarray:
        """(16,) spectral radiance per band of a front of unit luminance, 1/nm."""
        if self.line_nm is not None:
            band = int(np.clip(np.searchsorted(BAND_EDGES_NM, self.line_nm, "right") - 1, 0, 15))
            values = np.zeros(16)
            values[band] = 1 / BAND_XYZ[band, 1]
            return values
        values = band_means(self.spectrum)
        return values / (values @ BAND_XYZ[:, 1])

    def spectral_radiance(self, wavelength_nm: np.ndarray) -> np.ndarray:
        """Spectral radiance of a front of unit luminance at each wavelength, 1/nm."""
        scale = 1 / (band_means(self.spectrum) @ BAND_XYZ[:, 1])
        return scale * np.interp(wavelength_nm, GRID_NM, self.spectrum)

    @property
    def scale(self) -> float:
        """Luminance × time at the power in use."""
        return self.luminance * 2.0**self.power_stops


def place_lamp(aim_mm, throw_mm: float, elevation_deg: float, azimuth_deg: float):
    """Return the centre and the unit vectors facing, right and up of a lamp aimed at a point.

    Azimuth runs clockwise seen from above, 0° toward the camera (−y), 90° to camera left (−x);
    elevation is the angle of the line from aim to lamp above the table plane.
    """
    elevation, azimuth = np.radians(elevation_deg), np.radians(azimuth_deg)
    out = np.array(
        [
            -np.sin(azimuth) * np.cos(elevation),
            -np.cos(azimuth) * np.cos(elevation),
            np.sin(elevation),
        ]
    )
    facing = -out
    # A lamp straight above has no level side of its own: its right hand then follows the azimuth.
    right = np.array([-np.cos(azimuth), np.sin(azimuth), 0.0])
    up = np.cross(facing, right)
    return np.asarray(aim_mm, float) + throw_mm * out, facing, right, up


def spread_points(lamp: Lamp, uv: np.ndarray, toward_mm: np.ndarray, reach_mm: float) -> LampPoints:
    """Map the unit square onto the part of a lamp's front that a ball of the set can see.

    Parameters
    ----------
    lamp : Lamp
    uv : (n, 2) float
        Numbers in [0, 1).
    toward_mm : (3,) float
        Centre of the ball that is lit.
    reach_mm : float
        Radius of that ball.

    Returns
    -------
    LampPoints
        A flat front is covered evenly; a bulb or tube by its projected area toward the ball, reaching so
        far round that every point seen from inside the ball can be drawn.
    """
    uv = np.asarray(uv, float)
    count = len(uv)
    if lamp.kind == "bulb":
        return _spread_on_ball(lamp, uv, np.asarray(toward_mm, float), reach_mm)
    if lamp.kind == "tube":
        skin = spread_on_tube(lamp.centre_mm, lamp.right, lamp.size_mm, uv, toward_mm, reach_mm)
        return LampPoints(*skin, lamp)
    if lamp.kind == "ring":
        axes = lamp.right, lamp.up
        skin = spread_on_ring(lamp.centre_mm, axes, lamp.size_mm, uv, toward_mm, reach_mm)
        return LampPoints(*skin, lamp)
    if lamp.kind == "disc":
        radius, area = _spread_radii(lamp, uv[:, 0])
        angle = 2 * np.pi * uv[:, 1]
        flat = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    else:
        flat = (uv - 0.5) * np.asarray(lamp.size_mm)
        area = lamp.size_mm[0] * lamp.size_mm[1]
    place = lamp.centre_mm + flat[:, :1] * lamp.right - flat[:, 1:] * lamp.up
    normal = np.broadcast_to(lamp.facing, (count, 3)).copy()
    return LampPoints(place, normal, np.full(count, area), lamp)


def _spread_radii(lamp: Lamp, u: np.ndarray):
    """Distances from a disc's middle, and the share of its area for which each stands."""
    if not lamp.dense_mm:
        # Equal areas by the square root.
        return lamp.radius_mm * np.sqrt(u), np.pi * lamp.radius_mm**2
    # Equal solid angles from a place before the middle.
    least = lamp.dense_mm / np.hypot(lamp.dense_mm, lamp.radius_mm)
    cosine = 1 - u * (1 - least)
    radius = lamp.dense_mm * np.sqrt(1 - cosine**2) / cosine
    return radius, 2 * np.pi * (1 - least) * lamp.dense_mm**2 / cosine**3


def _spread_on_ball(lamp: Lamp, uv: np.ndarray, toward: np.ndarray, reach_mm: float) -> LampPoints:
    axis = toward - lamp.centre_mm
    distance = np.linalg.norm(axis)
    axis = axis / distance
    # Points turned away from the axis by up to 90° plus the half-angle of the ball can still be seen.
    slack = min(1.0, reach_mm / distance)
    cosine = (1 + slack) * np.sqrt(uv[:, 0]) - slack
    density = 2 * (cosine + slack) / (1 + slack) ** 2 / (2 * np.pi * lamp.radius_mm**2)
    sine = np.sqrt(np.maximum(0, 1 - cosine**2))
    angle = 2 * np.pi * uv[:, 1]
    side = np.cross(axis, [0.0, 0.0, 1.0] if abs(axis[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    other = np.cross(axis, side)
    normal = (
        cosine[:, None] * axis
        + (sine * np.cos(angle))[:, None] * side
        + (sine * np.sin(angle))[:, None] * other
    )
    with np.errstate(divide="ignore"):
        area = np.where(density > 0, 1 / density, 0.0)
    return LampPoints(lamp.centre_mm + lamp.radius_mm * normal, normal, area, lamp)


def irradiance_factor(points: LampPoints, place_mm, normal) -> float:
    """Return E/L in sr: irradiance at a point from an unblocked lamp of unit radiance on its axis."""
    way = np.asarray(place_mm, float) - points.place_mm
    distance2 = np.einsum("ij,ij->i", way, way)
    leaving = np.maximum(0, np.einsum("ij,ij->i", way, points.normal))
    arriving = np.maximum(0, -(way @ np.asarray(normal, float)))
    share = points.lamp.radiance(points, way / np.sqrt(distance2)[:, None])
    return float(np.mean(points.area_mm2 * leaving * arriving * share / distance2**2))


def even_grid(count: int) -> np.ndarray:
    """Return about `count` cell centres of the unit square, (n, 2)."""
    side = max(1, round(count**0.5))
    steps = (np.arange(side) + 0.5) / side
    return np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)


def _fine_grid(lamp: Lamp) -> np.ndarray:
    """Grid for sums over a front; finer where an edge may cross it."""
    return even_grid(4096 if lamp.glow is None else 65536)


def plain_table_factor(lamp: Lamp) -> float:
    """Return E/L in sr at the datum with nothing on the table."""
    datum = np.zeros(3)
    points = spread_points(lamp, _fine_grid(lamp), datum, 1.0)
    return irradiance_factor(points, datum, (0.0, 0.0, 1.0))


def calibrated(lamp: Lamp, light_exposure: float, distance_mm: float) -> Lamp:
    """Return the lamp with the luminance that an incident reading on its axis implies.

    Parameters
    ----------
    light_exposure : float
        Lux-seconds at the meter, facing the lamp.
    distance_mm : float
        From the emitting front to the meter.

    Raises
    ------
    ValueError
        The lamp sends no light along its axis.
    """
    place = lamp.centre_mm + lamp.facing * distance_mm
    points = spread_points(lamp, _fine_grid(lamp), place, 1.0)
    factor = irradiance_factor(points, place, -lamp.facing)
    if factor <= 0:
        raise ValueError(f"the lamp sends no light to a meter on its axis, {distance_mm:.0f} mm away")
    return replace(lamp, luminance=light_exposure / factor, calibrated=True)
