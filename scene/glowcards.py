"""The largest card that hides behind a glass: what glows in the drink and is not seen beside it."""

from __future__ import annotations

import numpy as np

from .built import Camera
from .panels import sides_of

# Kept inside the outline all round.
MARGIN_MM = 1.0
# A card's size is told, and cut, to so much.
GRAIN_MM = 0.1
LEAST_MM = 2.0
# Level cuts through what hides the card; between two of them it is taken as straight.
_CUTS = 120
# Places on the edge of the lens's opening, beside its middle.
_LENS_POINTS = 24
_STEP_MM = 0.05


class HiddenError(ValueError):
    """No card can be hidden there; `key` is what to change: `at` or `facing`."""

    def __init__(self, key: str, text: str):
        super().__init__(text)
        self.key = key


def hide_card(
    camera: Camera, meshes, at_mm, normal: np.ndarray, shape: float | None = None
) -> tuple[float, float]:
    """Return width and height of the largest rectangle round a place that things hide from a camera.

    From every place of the lens's opening its whole outline is seen inside the outline of what hides it, as
    straight lines go, and `MARGIN_MM` away from it. It does not reach under the table.

    Parameters
    ----------
    camera : Camera
    meshes : sequence of Mesh
        What hides it; level cuts through it are taken as round, without hollows.
    at_mm : (3,) float
        Its centre.
    normal : (3,) float
        Where its front looks.
    shape : float, optional
        Width over height; left out, the area is the largest.

    Returns
    -------
    (float, float)
        mm, rounded down to `GRAIN_MM`.

    Raises
    ------
    HiddenError
    """
    import shapely

    at = np.asarray(at_mm, float)
    u, v = sides_of(normal)
    cuts = [ring for mesh in meshes for ring in cut_level(mesh.vertices_mm, mesh.faces)]
    middle = np.concatenate([np.concatenate(pair) for pair in cuts]).mean(axis=0)
    way = at - camera.place_mm
    if way @ camera.forward <= (middle - camera.place_mm) @ camera.forward:
        raise HiddenError("at", "is not behind the glass as the camera sees it; put it there")
    if abs(way @ normal) < 0.1 * np.linalg.norm(way):
        raise HiddenError("facing", "edge-on to the camera; face it to the glass or the camera")
    seen = None
    for place in lens_places(camera):
        shade = _shade(place, cuts, at, u, v, normal)
        seen = shade if seen is None else shapely.intersection(seen, shade)
    free = seen.buffer(-MARGIN_MM)
    if v[2] > 1e-6:
        # Nothing of it goes through the table.
        free = free.intersection(shapely.box(-1e5, -at[2] / v[2], 1e5, 1e5))
    if not free.covers(shapely.Point(0.0, 0.0)):
        raise HiddenError("at", "the camera sees this place beside the glass; move it behind")
    width, height = _largest(_edges(free), shape)
    size = tuple(float(np.floor(side / GRAIN_MM + 1e-6) * GRAIN_MM) for side in (width, height))
    if min(size) < LEAST_MM:
        text = f"only {size[0]:.1f} x {size[1]:.1f} mm would be hidden round this place"
        raise HiddenError("at", f"{text}; move it behind the middle")
    return size


def cut_level(vertices_mm: np.ndarray, faces: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return the outlines (n, 3) of a body below and above each of its level layers, as points.

    Of each outline only its convex hull is kept: seen from anywhere, what lies within hides no more.
    """
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    start, stop = vertices_mm[edges[:, 0]], vertices_mm[edges[:, 1]]
    low, high = vertices_mm[:, 2].min(), vertices_mm[:, 2].max()
    lift = 1e-6 * (high - low)
    rings = []
    for level in np.linspace(low + lift, high - lift, _CUTS + 1):
        through = (start[:, 2] - level) * (stop[:, 2] - level) < 0
        a, b = start[through], stop[through]
        share = (level - a[:, 2]) / (b[:, 2] - a[:, 2])
        rings.append(_hull(a + share[:, None] * (b - a)))
    return [(below, above) for below, above in zip(rings[:-1], rings[1:], strict=True) if len(below)]


def _hull(ring: np.ndarray) -> np.ndarray:
    """Return the corners of the convex hull of places (n, 3) at one height."""
    import shapely

    hull = shapely.MultiPoint(ring[:, :2]).convex_hull
    if hull.geom_type != "Polygon":
        return ring
    corners = shapely.get_coordinates(hull)[:-1]
    return np.column_stack([corners, np.full(len(corners), ring[0, 2])])


def lens_places(camera: Camera) -> np.ndarray:
    """Return the middle of the lens and places round the edge of its opening, (n, 3) mm."""
    turn = np.linspace(0, 2 * np.pi, _LENS_POINTS, endpoint=False)
    ring = np.cos(turn)[:, None] * camera.right + np.sin(turn)[:, None] * camera.up
    radius_mm = camera.focal_mm / camera.f_number / 2
    return camera.place_mm + radius_mm * np.concatenate([np.zeros((1, 3)), ring])


def _shade(place, cuts, at, u, v, normal):
    """Return what is hidden from a place, on the card's plane, mm from its centre."""
    import shapely

    ways = np.concatenate([ring for pair in cuts for ring in pair]) - place
    owners = np.repeat(np.arange(len(cuts)), [sum(map(len, pair)) for pair in cuts])
    with np.errstate(divide="ignore"):
        scale = (at - place) @ normal / (ways @ normal)
    # What stands beyond the card's plane hides nothing of it.
    before = np.bincount(owners, scale <= 1) == 0
    kept = before[owners]
    spots = place + scale[kept, None] * ways[kept] - at
    flat = np.stack([spots @ u, spots @ v], axis=1)
    numbers = (np.cumsum(before) - 1)[owners[kept]]
    return shapely.union_all(shapely.convex_hull(shapely.linestrings(flat, indices=numbers)))


def _edges(area) -> np.ndarray:
    """Return places (n, 2) along the edges of an area, no farther apart than `_STEP_MM`."""
    import shapely

    return shapely.get_coordinates(shapely.segmentize(area.boundary, _STEP_MM))


def _largest(edges: np.ndarray, shape: float | None) -> tuple[float, float]:
    """Return width and height of the largest rectangle round the origin with no edge inside it."""
    x, y = np.abs(edges).T
    if shape is not None:
        half = float(np.maximum(x / shape, y).min())
        return 2 * half * shape, 2 * half
    order = np.argsort(x)
    x, y = x[order], y[order]
    # As wide as to the k-th place, it is as tall as the lowest place before that.
    tall = np.minimum.accumulate(y)[:-1]
    best = int(np.argmax(x[1:] * tall))
    return 2 * float(x[best + 1]), 2 * float(tall[best])
