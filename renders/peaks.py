"""The peak of a table map: the disc of 1 mm that is brightest on average."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import ndimage

PEAK_DIAMETER_MM = 1.0

_LATTICE_MM = 0.25


@dataclass(frozen=True)
class Peak:
    """Brightest disc of a map: its centre, mm, and the mean of the map over it."""

    x_mm: float
    y_mm: float
    mean: float


def cell_size(x_mm, y_mm):
    """Return the width and height of a cell, mm, from uniform cell centres."""
    return tuple(float(c[-1] - c[0]) / (len(c) - 1) for c in (x_mm, y_mm))


def enclose(mask, pad_x, pad_y):
    """Return the slices (rows, columns) of the box round a mask, wider by so many cells on each side."""
    rows = np.flatnonzero(mask.any(axis=1))
    columns = np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(rows[0] - pad_y, 0), rows[-1] + pad_y + 1),
        slice(max(columns[0] - pad_x, 0), columns[-1] + pad_x + 1),
    )


def cover(left_mm, bottom_mm, width_mm, height_mm, radius_mm):
    """Return the share of a disc about the origin that each cell of a row and column grid covers.

    Parameters
    ----------
    left_mm : (nx,) float
        Left borders of the cells.
    bottom_mm : (ny,) float
        Lower borders of the cells.
    width_mm, height_mm, radius_mm : float
        Size of a cell; radius of the disc.

    Returns
    -------
    (ny, nx) float
        Exact; the sum is 1 where the cells cover the disc.
    """

    def beneath(u):
        return 0.5 * (u * np.sqrt(radius_mm**2 - u**2) + radius_mm**2 * np.arcsin(u / radius_mm))

    def quadrant(x, y):
        # Area of the disc over [0, x] x [0, y]: a rectangle as far as the circle is above y, then an arc.
        signs = np.sign(x) * np.sign(y)
        x, y = np.minimum(np.abs(x), radius_mm), np.minimum(np.abs(y), radius_mm)
        flat = np.minimum(x, np.sqrt(radius_mm**2 - y**2))
        return signs * (flat * y + beneath(x) - beneath(flat))

    x0, y0 = np.meshgrid(left_mm, bottom_mm)
    x1, y1 = x0 + width_mm, y0 + height_mm
    area = quadrant(x1, y1) - quadrant(x0, y1) - quadrant(x1, y0) + quadrant(x0, y0)
    return area / (np.pi * radius_mm**2)


def average(x_mm, y_mm, values, centre_mm, diameter_mm=PEAK_DIAMETER_MM):
    """Return the mean of a map over a disc, each cell by the area that it covers.

    Parameters
    ----------
    x_mm, y_mm : (nx,), (ny,) float
        Cell centres.
    values : (ny, nx) float
    centre_mm : (2,) float
        Centre of the disc.
    diameter_mm : float

    Returns
    -------
    float
        Outside the map counts as dark.
    """
    width, height = cell_size(x_mm, y_mm)
    radius = diameter_mm / 2
    columns = np.flatnonzero(np.abs(x_mm - centre_mm[0]) < radius + width / 2)
    rows = np.flatnonzero(np.abs(y_mm - centre_mm[1]) < radius + height / 2)
    left = x_mm[columns] - centre_mm[0] - width / 2
    bottom = y_mm[rows] - centre_mm[1] - height / 2
    return float((cover(left, bottom, width, height, radius) * values[np.ix_(rows, columns)]).sum())


def find_peak(x_mm, y_mm, values):
    """Return the disc of 1 mm diameter with the largest mean.

    Centres are tried on a lattice of at most 0.25 mm that holds the cell centres. Of equal discs the one
    nearest their common centre is taken, so that a flat top has its peak in the middle.

    Parameters
    ----------
    x_mm, y_mm : (nx,), (ny,) float
        Cell centres.
    values : (ny, nx) float
        Not negative, somewhere positive.

    Returns
    -------
    Peak
    """
    centres, kernels = _discs(*(round(cell, 9) for cell in cell_size(x_mm, y_mm)))
    reach_y, reach_x = (n // 2 for n in kernels[0].shape)

    # A mean is never above its brightest cell: only discs that touch a cell above a known mean can win.
    row, column = np.unravel_index(np.argmax(values), values.shape)
    known = average(x_mm, y_mm, values, (x_mm[column], y_mm[row]))
    rows, columns = enclose(values >= min(known, values[row, column]), 2 * reach_x, 2 * reach_y)
    window = np.asarray(values[rows, columns], dtype=float)
    means = np.stack([ndimage.correlate(window, kernel, mode="constant") for kernel in kernels])

    best = float(means.max())
    disc, row, column = np.nonzero(means >= best * (1 - 1e-9))
    ties = np.stack([x_mm[columns][column], y_mm[rows][row]], axis=1) + centres[disc]
    nearest = np.argmin(np.hypot(*(ties - ties.mean(axis=0)).T))
    return Peak(float(ties[nearest, 0]), float(ties[nearest, 1]), best)


@cache
def _discs(width_mm, height_mm):
    """Return centres (n, 2) of the discs that are tried in each cell, from its centre, and their kernels."""
    radius = PEAK_DIAMETER_MM / 2

    def split(cell):
        count = max(1, int(np.ceil(cell / _LATTICE_MM - 1e-6)))
        reach = int(radius / cell + 1.5)
        return np.arange(count) * cell / count, np.arange(-reach, reach + 1) - 0.5

    (shifts_x, left), (shifts_y, bottom) = split(width_mm), split(height_mm)
    centres = [(dx, dy) for dx in shifts_x for dy in shifts_y]
    kernels = [
        cover(left * width_mm - dx, bottom * height_mm - dy, width_mm, height_mm, radius)
        for dx, dy in centres
    ]
    return np.array(centres), kernels
