"""What glasses stand on: flat tops, bands round them, trays with a raised lip."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .lathe import sections_for
from .leaf import Leaf
from .mesh import Mesh, combined


@dataclass(frozen=True)
class RoundEdge:
    """A circle seen from above, its centre at the origin."""

    diameter_mm: float

    @property
    def box_mm(self) -> tuple[float, float]:
        """Width and depth."""
        return self.diameter_mm, self.diameter_mm

    @property
    def along(self) -> np.ndarray:
        """(c,) share of the way round at each column of vertices, clockwise from above."""
        return np.linspace(0, 1, sections_for(self.diameter_mm / 2) + 1)

    @property
    def joins(self) -> np.ndarray:
        """(m,) columns that are joined to the next one."""
        return np.arange(len(self.along) - 1)

    @property
    def parts(self) -> np.ndarray:
        """(m,) smooth part of each join; two, so that neighbours across the seam differ."""
        return (self.joins >= len(self.joins) // 2).astype(int)

    @property
    def outward(self) -> np.ndarray:
        """(c, 2) unit normals of the edge."""
        angles = -2 * np.pi * self.along
        # The last column is the first again, to the bit.
        angles[-1] = angles[0]
        return np.stack([np.cos(angles), np.sin(angles)], axis=1)

    def spots(self, inset_mm: float) -> np.ndarray:
        """Return places (c, 2), mm, so far inside the edge."""
        return (self.diameter_mm / 2 - inset_mm) * self.outward

    def length(self, inset_mm):
        """Return the way round, mm, so far inside the edge."""
        return np.pi * (self.diameter_mm - 2 * np.asarray(inset_mm, float))

    def room(self, place_mm) -> float:
        """Return how far inside the edge a place (x, y) is, mm; below 0 outside."""
        return self.diameter_mm / 2 - float(np.hypot(*place_mm))


@dataclass(frozen=True)
class SquareEdge:
    """A rectangle seen from above, its middle at the origin; as `RoundEdge`."""

    width_mm: float
    depth_mm: float

    joins = np.arange(0, 8, 2)
    parts = np.arange(4)
    outward = np.repeat([(-1.0, 0.0), (0.0, 1.0), (1.0, 0.0), (0.0, -1.0)], 2, axis=0)

    @property
    def box_mm(self) -> tuple[float, float]:
        """Width and depth."""
        return self.width_mm, self.depth_mm

    @property
    def along(self) -> np.ndarray:
        """(8,) share of the way round at each column: both ends of each side, clockwise from above."""
        ends = np.cumsum([0.0, self.depth_mm, self.width_mm, self.depth_mm, self.width_mm])
        return np.repeat(ends, 2)[1:-1] / ends[-1]

    def spots(self, inset_mm: float) -> np.ndarray:
        """Return places (8, 2), mm, so far inside the edge."""
        half = np.array([self.width_mm, self.depth_mm]) / 2 - inset_mm
        corners = half * np.array([(-1, -1), (-1, 1), (1, 1), (1, -1)])
        return corners[[0, 1, 1, 2, 2, 3, 3, 0]]

    def length(self, inset_mm):
        """Return the way round, mm, so far inside the edge."""
        return 2 * (self.width_mm + self.depth_mm) - 8 * np.asarray(inset_mm, float)

    def room(self, place_mm) -> float:
        """Return how far inside the nearest side a place (x, y) is, mm; below 0 outside."""
        return float((np.array(self.box_mm) / 2 - np.abs(place_mm)).min())


Edge = RoundEdge | SquareEdge


def flat_top(edge: Edge, inset_mm: float = 0.0, height_mm: float = 0.0, up: bool = True) -> Leaf:
    """Return the level face within an edge, seen from above or, with ``up`` false, from below."""
    spots = edge.spots(inset_mm)[[*edge.joins, edge.joins[-1] + 1]]
    count = len(edge.joins)
    points = np.column_stack([np.vstack([spots[:count], [0.0, 0.0]]), np.full(count + 1, height_mm)])
    this = np.arange(count)
    # Columns run clockwise from above.
    faces = np.stack([np.full(count, count), (this + 1) % count, this], axis=1)
    normals = np.tile([0.0, 0.0, 1.0 if up else -1.0], (count + 1, 1))
    mesh = Mesh(points, faces if up else faces[:, ::-1], normals, np.zeros(count))
    size = tuple(side - 2 * inset_mm for side in edge.box_mm)
    places = points[:, :2] * (1.0 if up else -1.0, 1.0) + np.array(size) / 2
    return Leaf(mesh, places, size)


def band(edge: Edge, profile_mm) -> Leaf:
    """Return the sheet that a profile sweeps round an edge.

    Parameters
    ----------
    edge : RoundEdge or SquareEdge
    profile_mm : (k, 2) float
        Distance inside the edge, and height; the front is on the left of the way it runs, seen with the
        outside on the right.

    Returns
    -------
    Leaf
        Its map's width is the mean way round. On a rectangle, where the way in the profile goes inward,
        each side's width follows that of the whole way round.
    """
    profile = np.asarray(profile_mm, float)
    outward, along, columns = edge.outward, edge.along, len(edge.along)
    steps = np.hypot(*np.diff(profile, axis=0).T)
    lengths = np.concatenate([[0.0], np.cumsum(steps)])
    rounds = edge.length(profile[:, 0])
    width = float(((rounds[1:] + rounds[:-1]) / 2 * steps).sum() / lengths[-1])
    vertices, normals, places, faces, patches = [], [], [], [], []
    for k, (start, stop) in enumerate(zip(profile[:-1], profile[1:], strict=True)):
        inward, rise = (stop - start) / steps[k]
        first = 2 * columns * k
        for row, (inset, height) in enumerate((start, stop)):
            vertices.append(np.column_stack([edge.spots(inset), np.full(columns, height)]))
            normals.append(np.column_stack([-rise * outward, np.full(columns, -inward)]))
            places.append(np.column_stack([along * width, np.full(columns, lengths[k + row])]))
        low = first + edge.joins
        faces.append(np.stack([low, low + 1, low + 1 + columns], axis=1))
        faces.append(np.stack([low, low + 1 + columns, low + columns], axis=1))
        patches += 2 * [(edge.parts.max() + 1) * k + edge.parts]
    mesh = Mesh(*map(np.concatenate, (vertices, faces, normals, patches)))
    widths = np.stack([lengths, rounds / width], axis=1)
    return Leaf(mesh, np.concatenate(places), (width, float(lengths[-1])), widths)


def lip_profile(lip_mm: float, thickness_mm: float) -> list[tuple[float, float]]:
    """Return a tray's upright lip for `band`: up the inside from the floor, over, and down the outside."""
    inside, top = (thickness_mm, thickness_mm), (thickness_mm, lip_mm)
    return [inside, top, (0.0, lip_mm), (0.0, 0.0)]


def tray_solid(edge: Edge, lip_mm: float, thickness_mm: float) -> Mesh:
    """Return a tray as a closed solid standing on z = 0, its lip so high over that."""
    floor = flat_top(edge, thickness_mm, thickness_mm)
    lip = band(edge, lip_profile(lip_mm, thickness_mm))
    return combined([floor.mesh, lip.mesh, flat_top(edge, up=False).mesh])
