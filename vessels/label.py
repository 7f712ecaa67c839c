"""A label on a glass: a curved sheet just off the wall, with the place of each vertex in its picture."""

from dataclasses import dataclass

import numpy as np

from .leaf import Leaf, grid_faces
from .mesh import Mesh, bent
from .outline import accuracy_of
from .outside import FinishError, find_outside

GAP_MM = 0.05  # between wall and sheet


@dataclass(frozen=True)
class Label:
    """A sticker or print on the outside.

    Parameters
    ----------
    from_mm, to_mm : float
        Heights above the table of its lower and upper edge, mm.
    around_deg : (float, float)
        Azimuths of its two sides, degrees, 0 toward the camera, clockwise seen from above; from the
        smaller to the larger.
    """

    from_mm: float
    to_mm: float
    around_deg: tuple[float, float]

    part = "label"

    def __post_init__(self):
        first, last = self.around_deg
        if not 0 < last - first <= 360:
            raise FinishError("label", f"goes from {first:g} deg to {last:g} deg; allowed: up to once round")


def cut_label(vessel, label, done=None, detail=1.0):
    """Return the sheet of a label on a glass.

    Parameters
    ----------
    vessel : Vessel
    label : Label
    done : Finish, optional
        Of the glass: a label lies on plain wall, and leans with it.
    detail : float
        As for ``Vessel.glass_mesh``.

    Raises
    ------
    FinishError
        It reaches over the rim or under the foot, or lies on relief.
    """
    from .finish import bend_of
    from .lathe import sections_for

    side = find_outside(vessel, "label", label.from_mm, label.to_mm, of_metal=True)
    for one in (*done.reliefs, *([done.cut] if done.cut else [])) if done else ():
        if one.from_mm < label.to_mm and label.from_mm < one.to_mm:
            text = f"lies on the {one.part}, which goes from {one.from_mm:g} mm to {one.to_mm:g} mm"
            raise FinishError("label", f"{text}; a label needs plain wall")
    chord_error_mm, _ = accuracy_of(detail)
    heights = _heights(side, chord_error_mm)
    level = side.at(heights)
    first, last = np.radians(label.around_deg)
    sections = sections_for(level.radius_mm.max() + GAP_MM, chord_error_mm)
    across = np.linspace(0.0, 1.0, int(np.ceil((last - first) / (2 * np.pi) * sections)) + 1)
    # Read from outside, left is the larger azimuth.
    azimuth = last + across * (first - last)
    outward = np.stack([-np.sin(azimuth), -np.cos(azimuth)], axis=1)
    radius = level.radius_mm + GAP_MM * level.normals[:, 0]
    z = heights + GAP_MM * level.normals[:, 1]
    lengths = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(radius), np.diff(z)))])
    grid = (len(heights), len(across))
    flat = radius[:, None, None] * outward
    points = np.concatenate([flat, np.broadcast_to(z[:, None, None], (*grid, 1))], axis=2)
    normals = level.normals[:, :1, None] * outward
    normals = np.concatenate([normals, np.broadcast_to(level.normals[:, 1:, None], (*grid, 1))], axis=2)
    mesh = Mesh(
        points.reshape(-1, 3),
        grid_faces(*grid),
        normals.reshape(-1, 3),
        # Two patches: what lands on both sides of the seam of a label all round lies in different ones.
        np.tile(np.arange(grid[1] - 1) >= (grid[1] - 1) // 2, 2 * (grid[0] - 1)),
    )
    middle = np.interp(lengths[-1] / 2, lengths, radius)
    size = float(middle * (last - first)), float(lengths[-1])
    # From the left as one reads it.
    places = np.stack(np.broadcast_arrays(across * size[0], lengths[:, None]), axis=2)
    widths = np.stack([lengths, radius / middle], axis=1)
    bend = np.eye(3) if done is None else bend_of(vessel, done)
    return Leaf(bent(mesh, bend), places.reshape(-1, 2), size, widths)


def _heights(side, chord_error_mm):
    """Return heights as close as the wall's bend asks for."""
    heights = np.array([side.low_mm, side.high_mm])
    while True:
        middles = (heights[1:] + heights[:-1]) / 2
        radius = side.at(heights).radius_mm
        off = np.abs(side.at(middles).radius_mm - (radius[1:] + radius[:-1]) / 2)
        far = off > chord_error_mm
        if not far.any():
            return heights
        heights = np.sort(np.concatenate([heights, middles[far]]))
