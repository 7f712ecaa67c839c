"""The bright line through the peak of a table map, and the profile across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from .peaks import cell_size

SMOOTHING_MM = 0.5
MAX_SMOOTHING_MM = 8.0
CLEAR_BEND = 0.2
FLAT_BEND = 0.01
PROFILE_REACH_MM = 30.0
PROFILE_ALONG_MM = 2.0
TOP_REACH_MM = 1.0

_LANE_MM = 0.5
_STEP_MM = 0.125
_SAMPLING_MM = 0.5
_SPLINE_CELLS = 16  # reach of a cubic spline: its weights fall by 0.27 a cell, 1e-9 at 16 cells


@dataclass(frozen=True)
class Profile:
    """Values across the bright line, averaged along it.

    Attributes
    ----------
    offset_mm : (n,) float
        Signed distance from the peak, positive away from the datum, uniform, ascending.
    luminous, blue, red : (n,) float
        Means over 4 mm along the line.
    """

    offset_mm: np.ndarray
    luminous: np.ndarray
    blue: np.ndarray
    red: np.ndarray


@dataclass(frozen=True)
class Line:
    """What a profile says of its line; None where it does not say (see measures.md)."""

    width_mm: float | None = None
    edge_10_90_mm: float | None = None
    colour_spread_mm: float | None = None


def sample(x_mm, y_mm, values, points_mm):
    """Return a map at points, by cubic spline through the cell values.

    Parameters
    ----------
    x_mm, y_mm : (nx,), (ny,) float
        Cell centres.
    values : (ny, nx) float
    points_mm : (2, ...) float
        x and y; beyond the outermost cell centres the border value holds.

    Returns
    -------
    (...) float
    """
    width, height = cell_size(x_mm, y_mm)
    u = (points_mm[0] - x_mm[0]) / width
    v = (points_mm[1] - y_mm[0]) / height
    left = int(np.clip(np.floor(u.min()) - _SPLINE_CELLS, 0, len(x_mm) - 1))
    low = int(np.clip(np.floor(v.min()) - _SPLINE_CELLS, 0, len(y_mm) - 1))
    right, high = int(np.ceil(u.max())) + _SPLINE_CELLS, int(np.ceil(v.max())) + _SPLINE_CELLS
    window = np.asarray(values[low : max(high, low) + 1, left : max(right, left) + 1], dtype=float)
    return ndimage.map_coordinates(window, np.stack([v - low, u - left]), order=3, mode="nearest")


def face(x_mm, y_mm, values, peak):
    """Return the unit vector across the bright line at its peak, pointing away from the datum.

    It is the direction of strongest downward curvature of the map smoothed by a Gaussian of 0.5 mm. A
    broad line is flat on that scale, and noise would choose the direction: the Gaussian is doubled, up
    to 8 mm, while the bend (curvature times its square) is below a fifth of the peak. If it always is,
    the Gaussian with the largest bend decides.

    Parameters
    ----------
    x_mm, y_mm : (nx,), (ny,) float
        Cell centres.
    values : (ny, nx) float
    peak : Peak

    Returns
    -------
    (2,) float or None
        None where the map is flat, the bend below a hundredth of the peak throughout.
    """
    largest, across = FLAT_BEND * peak.mean, None
    smoothing = SMOOTHING_MM
    while largest < CLEAR_BEND * peak.mean and smoothing <= MAX_SMOOTHING_MM:
        bends, axes = np.linalg.eigh(_curve(x_mm, y_mm, values, peak, smoothing))
        if -bends[0] > largest:
            largest, across = -bends[0], axes[:, 0]
        smoothing *= 2
    if across is not None and across @ (peak.x_mm, peak.y_mm) < 0:
        return -across
    return across


def _curve(x_mm, y_mm, values, peak, smoothing_mm):
    """Return the Hessian (2, 2) of a smoothed map at its peak, times the square of the smoothing."""
    # Second derivatives of the Gaussian are summed over a fine sampling, so that coarse cells do no harm.
    step = min(smoothing_mm / 4, _SAMPLING_MM)
    count = round(4 * smoothing_mm / step)
    dx, dy = np.meshgrid(*[np.arange(-count, count + 1) * step] * 2)
    near = sample(x_mm, y_mm, values, np.stack([peak.x_mm + dx, peak.y_mm + dy]))
    dx, dy = dx / smoothing_mm, dy / smoothing_mm
    weight = np.exp(-(dx**2 + dy**2) / 2)
    near = near * weight / weight.sum()
    xy = (near * dx * dy).sum()
    return np.array([[(near * (dx**2 - 1)).sum(), xy], [xy, (near * (dy**2 - 1)).sum()]])


def cut(light, peak, across):
    """Return the profile of a table map across its bright line.

    Parameters
    ----------
    light : TableLight
    peak : Peak
    across : (2,) float
        Unit vector across the line.

    Returns
    -------
    Profile
        Up to 30 mm to either side, shorter where the map ends.
    """
    width, height = cell_size(light.x_mm, light.y_mm)
    step = max(_STEP_MM, min(width, height) / 4)
    count = round(PROFILE_REACH_MM / step)
    offset = np.arange(-count, count + 1) * step
    lanes = int(np.ceil(2 * PROFILE_ALONG_MM / min(width, height, _LANE_MM)))
    along = ((np.arange(lanes) + 0.5) / lanes * 2 - 1) * PROFILE_ALONG_MM

    def place(s, t):
        x, y = across
        return np.stack([peak.x_mm + s * x - t * y, peak.y_mm + s * y + t * x])

    def inside(points):
        x, y = points
        return (
            (x >= light.x_mm[0] - width / 2)
            & (x <= light.x_mm[-1] + width / 2)
            & (y >= light.y_mm[0] - height / 2)
            & (y <= light.y_mm[-1] + height / 2)
        )

    offset = offset[inside(place(offset, 0.0))]
    points = place(offset[:, None], along[None, :])
    lit = inside(points)
    keep = lit.any(axis=1)
    offset, points, lit = offset[keep], points[:, keep], lit[keep]

    def mean(values):
        return (sample(light.x_mm, light.y_mm, values, points) * lit).sum(axis=1) / lit.sum(axis=1)

    return Profile(offset, mean(light.luminous), mean(light.blue), mean(light.red))


def _meet(offset, values, level, falling):
    """Return the first offset where a walk meets a level, and the index past it; None if it never does.

    The walk starts on the other side of the level.
    """
    past = np.flatnonzero(values < level if falling else values >= level)
    if past.size == 0:
        return None
    after = past[0]
    share = (level - values[after - 1]) / (values[after] - values[after - 1])
    return offset[after - 1] + share * (offset[after] - offset[after - 1]), after


def read_line(profile):
    """Return width, edge and colour spread of the line in a profile.

    Parameters
    ----------
    profile : Profile

    Returns
    -------
    Line
    """
    offset, values = profile.offset_mm, profile.luminous
    base = np.median(values)
    near = np.flatnonzero(np.abs(offset) <= TOP_REACH_MM)
    top = near[np.argmax(values[near])]
    height = values[top] - base
    if height <= 1e-6 * values[top]:
        return Line()

    halves, rises = [], []
    for way in (1, -1):
        s, p = offset[top::way], values[top::way]
        half = _meet(s, p, base + 0.5 * height, falling=True)
        if half is None:
            continue
        halves.append(half[0])
        # The rise is the one through half height: back in from there to 90 %, on out to 10 %.
        foot = _meet(s[half[1] - 1 :], p[half[1] - 1 :], base + 0.1 * height, falling=True)
        head = _meet(s[half[1] :: -1], p[half[1] :: -1], base + 0.9 * height, falling=False)
        if foot is not None:
            rises.append(abs(float(foot[0] - head[0])))
    edge = min(rises, default=None)
    if len(halves) < 2:
        return Line(edge_10_90_mm=edge)
    width = float(halves[0] - halves[1])
    return Line(width, edge, _spread(profile, halves[1] - 2 * width, halves[0] + 2 * width))


def _spread(profile, start_mm, stop_mm):
    """Return how far the centroid of blue lies beyond that of red between two offsets, mm, or None."""
    part = (profile.offset_mm >= start_mm) & (profile.offset_mm <= stop_mm)
    centroids = []
    for values in (profile.blue, profile.red):
        over = (values - np.median(values))[part]
        if over.sum() <= 1e-9 * values[part].sum():
            return None
        centroids.append(float((over * profile.offset_mm[part]).sum() / over.sum()))
    return centroids[0] - centroids[1]
