"""What keeps light from going straight on, and which lines it cuts off."""

from __future__ import annotations

import numpy as np

from .built import BuiltSet

# A line that ends so near a sheet ends on it.
TOUCH_MM = 0.05
# Lines times triangles that are looked at in one go: bounds memory.
PAIRS = 1_000_000


def list_screens(built: BuiltSet) -> dict[str, np.ndarray]:
    """Return the triangles (m, 3, 3) of table, plates, panels and walls by name: light does not pass."""
    # What is neither flat nor one of these, such as a label, belongs to a glass.
    flat = [panel for panel in built.panels if hasattr(panel, "corner_mm") or panel.name in built.sheets]
    return {panel.name: panel.mesh.vertices_mm[panel.mesh.faces] for panel in flat}


def cut_off(place_mm, spots_mm: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Return which lines from a place to spots (n, 3) go through triangles (m, 3, 3); ends do not count.

    After T. Möller, B. Trumbore, Fast, minimum storage ray/triangle intersection, 1997.
    """
    place, spots = np.asarray(place_mm, float), np.asarray(spots_mm, float)
    corner = triangles[:, 0]
    one, other = triangles[:, 1] - corner, triangles[:, 2] - corner
    start = place - corner
    turned = np.cross(start, one)
    high = np.einsum("mi,mi->m", other, turned)
    found = np.zeros(len(spots), bool)
    for some in np.array_split(np.arange(len(spots)), 1 + len(spots) * len(triangles) // PAIRS):
        way = spots[some] - place
        length = np.linalg.norm(way, axis=1)[:, None]
        # way × other · v = way · (other × v), so that each product is one of matrices.
        with np.errstate(divide="ignore", invalid="ignore"):
            scale = 1 / (way @ np.cross(other, one).T)
            u, v = (way @ np.cross(other, start).T) * scale, (way @ turned.T) * scale
            along = high * scale * length
            inside = (u >= 0) & (v >= 0) & (u + v <= 1)
            found[some] = np.any(inside & (along > TOUCH_MM) & (along < length - TOUCH_MM), axis=1)
    return found
