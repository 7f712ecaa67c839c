"""Sheets, bent or flat, with the place of every vertex on a flat map."""

from dataclasses import dataclass, field, replace

import numpy as np

from .mesh import Mesh, placed, rotated


@dataclass(frozen=True, eq=False)
class Leaf:
    """A sheet with a map of its own.

    Parameters
    ----------
    mesh : Mesh
        Its front on the outside; not closed, or closed by being all one sheet.
    places_mm : (n, 2) float
        Of each vertex on the map, from its lower left corner as seen from the front.
    size_mm : (float, float)
        Of the map.
    widths : (k, 2) float
        Height on the map, mm, and how wide the sheet is there, over the map's width.
    """

    mesh: Mesh
    places_mm: np.ndarray
    size_mm: tuple[float, float]
    widths: np.ndarray = field(default_factory=lambda: np.array([[0.0, 1.0], [1.0, 1.0]]))

    def moved(self, turn, place_mm):
        """Return it turned about its origin by a (3, 3) matrix, then moved."""
        return replace(self, mesh=placed(rotated(self.mesh, turn), place_mm))


def grid_faces(rows, columns):
    """Return the faces of a grid, rows upward, columns to the right as seen from the front."""
    corner = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    lower = np.stack([corner, corner + 1, corner + columns + 1], axis=1)
    upper = np.stack([corner, corner + columns + 1, corner + columns], axis=1)
    return np.concatenate([lower, upper])
