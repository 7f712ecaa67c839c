"""The outline of a caustic on a table map: its part, tip, heading, and the area above a level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from .peaks import cell_size, enclose


@dataclass(frozen=True)
class Outline:
    """Largest connected part of a map above a level.

    Attributes
    ----------
    rows, columns : slice
        Box of the map round the part, one cell wider where the map goes on.
    part : (rows, columns) bool
        Cells of that box that belong to the part.
    level : float
        The contour's value.
    """

    rows: slice
    columns: slice
    part: np.ndarray
    level: float


def trace_outline(values, level):
    """Return the largest connected part of a map at or above a level.

    Parameters
    ----------
    values : (ny, nx) float
    level : float

    Returns
    -------
    Outline or None
        Largest in cells; cells that share a side or a corner are connected. None if no cell reaches
        the level.
    """
    above = values >= level
    if not above.any():
        return None
    rows, columns = enclose(above, 1, 1)
    labels, count = ndimage.label(above[rows, columns], structure=np.ones((3, 3)))
    largest = 1 + np.argmax(np.bincount(labels.ravel(), minlength=count + 1)[1:])
    part = labels == largest
    inner_rows, inner_columns = enclose(part, 1, 1)
    part = part[inner_rows, inner_columns]
    first_row, first_column = rows.start + inner_rows.start, columns.start + inner_columns.start
    return Outline(
        slice(first_row, first_row + part.shape[0]),
        slice(first_column, first_column + part.shape[1]),
        part,
        level,
    )


def find_tip(x_mm, y_mm, values, outline):
    """Return the point of an outline that lies farthest from the datum.

    The contour runs through the points on the lines between neighbouring cell centres where linear
    interpolation meets the level. It is straight between them, so its farthest point is one of them.

    Parameters
    ----------
    x_mm, y_mm : (nx,), (ny,) float
        Cell centres.
    values : (ny, nx) float
    outline : Outline

    Returns
    -------
    (2,) tuple of float, or None
        None where the outline leaves the map at its farthest point.
    """
    width, height = cell_size(x_mm, y_mm)
    x, y = x_mm[outline.columns], y_mm[outline.rows]
    inside = np.asarray(values[outline.rows, outline.columns], dtype=float)
    row, column = np.nonzero(outline.part)
    here = inside[row, column]
    last_row, last_column = inside.shape[0] - 1, inside.shape[1] - 1

    farthest, tip = -1.0, None
    for down, right in ((0, 1), (0, -1), (1, 0), (-1, 0)):
        next_row, next_column = row + down, column + right
        # The box is one cell wider than the part, so a neighbour is missing only where the map ends.
        ends = (next_row < 0) | (next_row > last_row) | (next_column < 0) | (next_column > last_column)
        there = inside[np.clip(next_row, 0, last_row), np.clip(next_column, 0, last_column)]
        below = there < outline.level
        share = np.full(here.shape, 0.5)
        np.divide(here - outline.level, here - there, out=share, where=below)
        point_x = x[column] + share * right * width
        point_y = y[row] + share * down * height
        distance = np.where(below | ends, np.hypot(point_x, point_y), -1.0)
        k = np.argmax(distance)
        if distance[k] > farthest:
            farthest = distance[k]
            tip = None if ends[k] else (float(point_x[k]), float(point_y[k]))
    return tip


def find_heading(x_mm, y_mm, values, outline):
    """Return the azimuth, deg in [0, 360), of the flux centroid of a map inside an outline.

    Azimuth 0 lies toward the camera (-y) and grows clockwise seen from above. None where the centroid
    falls on the datum.
    """
    (x, y), _ = _weigh(x_mm, y_mm, values, outline)
    if np.hypot(x, y) < 1e-6 * max(cell_size(x_mm, y_mm)):
        return None
    return float(np.degrees(np.arctan2(-x, -y)) % 360.0)


def measure_spread(x_mm, y_mm, values, outline):
    """Return the rms distance, mm, of a map's flux inside an outline from its centroid."""
    return _weigh(x_mm, y_mm, values, outline)[1]


def _weigh(x_mm, y_mm, values, outline):
    """Return the flux centroid of a map inside an outline, and the rms distance of the flux from it, mm.

    Cells that the contour cuts count by the part inside it: the measures must not jump as a cell passes
    the level, or uncertainty.py would overstate their errors.
    """
    inside = np.asarray(values[outline.rows, outline.columns], dtype=float)
    # Cells of other parts are put out; none of them touches this one.
    inside = np.where(outline.part | (inside < outline.level), inside, 0.0)
    flux, share = share_squares(inside, outline.level)
    flux *= share
    width, height = cell_size(x_mm, y_mm)
    u, v = (np.arange(n + 1) - 0.5 for n in inside.shape[::-1])
    x, y = x_mm[outline.columns.start] + width * u, y_mm[outline.rows.start] + height * v
    across, along = flux.sum(axis=0) / flux.sum(), flux.sum(axis=1) / flux.sum()
    centre = float(across @ x), float(along @ y)
    squares = across @ (x - centre[0]) ** 2 + along @ (y - centre[1]) ** 2
    return centre, float(np.sqrt(squares))


def measure_area(x_mm, y_mm, values, level):
    """Return the area, mm², where a map is at or above a level, to a fraction of a cell."""
    above = values >= level
    if not above.any():
        return 0.0
    rows, columns = enclose(above, 1, 1)
    width, height = cell_size(x_mm, y_mm)
    return float(share_squares(values[rows, columns], level)[1].sum() * width * height)


def share_squares(values, level):
    """Return mean and share above a level for each square between four cell centres.

    A square is split into four triangles about its mean; the map is taken as linear on each, which
    gives the share in closed form.

    Parameters
    ----------
    values : (ny, nx) float
    level : float

    Returns
    -------
    (ny + 1, nx + 1) float, twice
        Mean of the four corners; share of the square at or above the level. Beyond the outermost
        centres the border value holds, for half a square.
    """
    over = np.pad(np.asarray(values, dtype=float), 1, mode="edge")
    corners = np.stack([over[:-1, :-1], over[:-1, 1:], over[1:, 1:], over[1:, :-1]])
    means = corners.mean(axis=0)
    reached = (corners >= level).sum(axis=0)
    share = (reached == 4).astype(float)
    mixed = (reached > 0) & (reached < 4)
    sides, middle = corners[:, mixed] - level, means[mixed] - level
    share[mixed] = _share_triangles(middle, sides, np.roll(sides, 1, axis=0)).mean(axis=0)
    share[[0, -1]] *= 0.5
    share[:, [0, -1]] *= 0.5
    return means, share


def _share_triangles(a, b, c):
    """Return the share of triangles where the linear function with these corner values is at least 0."""
    low, mid, high = np.sort(np.stack(np.broadcast_arrays(a, b, c)), axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        corner = high**2 / ((high - mid) * (high - low))
        rest = 1 - low**2 / ((low - mid) * (low - high))
    return np.select([low >= 0, mid >= 0, high > 0], [1.0, rest, corner], 0.0)
