"""What keeps light from going straight on, and which lines it cuts off."""

from __future__ import annotations

import numpy as np

from .built import BuiltSet

# A line that ends so near a sheet ends on it.
TOUCH_MM = 0.05
# More triangles of one plane than this are looked up in it, instead of one by one.
FEW_TRIANGLES = 8


def list_screens(built: BuiltSet) -> dict[str, np.ndarray]:
    """Return the triangles (m, 3, 3) of table, plates, panels and walls by name: light does not pass."""
    # What is neither flat nor one of these, such as a label, belongs to a glass.
    flat = [panel for panel in built.panels if hasattr(panel, "corner_mm") or panel.name in built.sheets]
    return {panel.name: panel.mesh.vertices_mm[panel.mesh.faces] for panel in flat}


def tell_shaded(built: BuiltSet) -> list[str]:
    """Return what to say of lamps whose middle no part of the hero glass sees: something stands between."""
    if not built.feet:
        return []
    foot, screens, told = built.feet[0], list_screens(built), []
    heights = foot.stands_mm + foot.height_mm * np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    spots = np.column_stack([np.tile(foot.centre_mm, (len(heights), 1)), heights])
    for lamp in built.lamps:
        if lamp.word != "sky":
            hiding = [name for name, faces in screens.items() if cut_off(lamp.centre_mm, spots, faces).all()]
            told += [f"{name} keeps the light of {lamp.name} from {foot.name}" for name in hiding]
    return told


def cut_off(place_mm, spots_mm: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Return which lines from a place to spots (n, 3) go through triangles (m, 3, 3); ends do not count.

    After T. Möller, B. Trumbore, Fast, minimum storage ray/triangle intersection, 1997.
    """
    if len(triangles) > FEW_TRIANGLES and (flat := _plane_of(triangles)) is not None:
        return _cut_by_flat(np.asarray(place_mm, float), np.asarray(spots_mm, float), triangles, *flat)
    if len(triangles) > FEW_TRIANGLES:
        near = _near_lines(np.asarray(place_mm, float), np.asarray(spots_mm, float), triangles)
        if not near.all():
            cut = np.zeros(len(near), bool)
            cut[near] = cut_off(place_mm, spots_mm[near], triangles) if near.any() else False
            return cut
    cut = np.zeros(len(spots_mm), bool)
    way = np.asarray(spots_mm, float) - place_mm
    length = np.linalg.norm(way, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        for corner, second, third in triangles:
            one, other = second - corner, third - corner
            across = np.cross(way, other)
            scale = across @ one
            start = np.asarray(place_mm, float) - corner
            u = across @ start / scale
            turned = np.cross(start, one)
            v = way @ turned / scale
            along = (other @ turned / scale) * length
            inside = (u >= 0) & (v >= 0) & (u + v <= 1)
            cut |= inside & (along > TOUCH_MM) & (along < length - TOUCH_MM)
    return cut


def _near_lines(place, spots, triangles) -> np.ndarray:
    """Return which lines come so near the middle of triangles that they may meet one."""
    points = triangles.reshape(-1, 3)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    radius = np.linalg.norm(points - middle, axis=1).max()
    way = spots - place
    square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-12)
    share = np.clip(way @ (middle - place) / square, 0, 1)
    return np.linalg.norm(place + share[:, None] * way - middle, axis=1) <= radius + TOUCH_MM


def _plane_of(triangles: np.ndarray):
    """Return a place on the plane that holds all triangles, and two unit vectors along it; None without."""
    points = triangles.reshape(-1, 3)
    middle = points.mean(axis=0)
    axes = np.linalg.svd((points - middle)[:: max(1, len(points) // 3000)], full_matrices=False)[2]
    return (middle, *axes[:2]) if np.abs((points - middle) @ axes[2]).max() < 1e-3 else None


def _cut_by_flat(place, spots, triangles, middle, one, other) -> np.ndarray:
    """Return which lines go through triangles of one plane: where they meet it, then what is there."""
    square = np.cross(one, other)
    cut, way = np.zeros(len(spots), bool), spots - place
    with np.errstate(divide="ignore", invalid="ignore"):
        share = ((middle - place) @ square) / (way @ square)
    along = share * np.linalg.norm(way, axis=1)
    meets = np.isfinite(share) & (along > TOUCH_MM) & (along < np.linalg.norm(way, axis=1) - TOUCH_MM)
    where = place + np.where(meets, share, 0)[:, None] * way - middle
    flat = np.stack([where @ one, where @ other], axis=1)
    corners = np.stack([(triangles - middle) @ one, (triangles - middle) @ other], axis=-1)
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    lines = np.flatnonzero(meets & np.all((flat >= low) & (flat <= high), axis=1))
    sides = np.roll(corners, -1, axis=1) - corners
    for some in np.array_split(lines, max(1, len(lines) * len(triangles) // 1_000_000)):
        rel = flat[some, None, None] - corners
        turn = sides[..., 0] * rel[..., 1] - sides[..., 1] * rel[..., 0]
        cut[some] = np.any(np.all(turn >= 0, axis=2) | np.all(turn <= 0, axis=2), axis=1)
    return cut
