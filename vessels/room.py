"""The inside of a glass as room for solids: how far they are from it, and what lines it."""

from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np

from .library import Vessel
from .mesh import merged, swung
from .outline import line, thinned

_SECTORS, _WALL_MM, _CHORD_MM, _FINE_MM, _SHAFT_MM = 48, 15.0, 0.05, 0.005, 2000.0
# Closest points on a body that is looked at.
_NEAR_MM = 4.0


class Pose(NamedTuple):
    """Where a piece is: turned by a (3, 3) matrix about its middle, the middle at a place (3,), mm."""

    turn: np.ndarray
    place_mm: np.ndarray


@dataclass(frozen=True, eq=False)
class Room:
    """The inside of a glass.

    Parameters
    ----------
    vessel : Vessel
    bend : (3, 3) float
        What makes the upright round glass lean or oval; see ``finish``.
    """

    vessel: Vessel
    bend: np.ndarray = field(default_factory=lambda: np.eye(3))

    @property
    def crest_mm(self):
        """Height of the rim, mm."""
        return float(self.vessel.inner.points_mm[-1, 1])

    @property
    def mouth_mm(self):
        """Radius of the narrowest place between the widest of the inside and the rim, mm."""
        radius = self.vessel.inner.points_mm[:, 0]
        return float(radius[int(radius.argmax()) :].min())

    @cached_property
    def _shapes(self):
        """The inside with a shaft over it, and its wall, in the half plane of radius and height."""
        import shapely

        inner = thinned(self.vessel.inner, _FINE_MM, 20.0).points_mm
        far = self.crest_mm + 1e4
        room = shapely.Polygon([*inner, (inner[-1, 0], far), (0.0, far)])
        wall = shapely.LineString([*inner, (inner[-1, 0], far)])
        shapely.prepare([room, wall])
        return room, wall

    def clearance(self, points_mm):
        """Return how far points (n, 3) are inside the glass, mm, negative where they are in the glass.

        Over the rim there is room as far as the mouth is wide.
        """
        import shapely

        room, wall = self._shapes
        upright = points_mm @ np.linalg.inv(self.bend).T
        spots = shapely.points(np.hypot(upright[:, 0], upright[:, 1]), upright[:, 2])
        away = shapely.distance(spots, wall)
        return np.where(shapely.covers(room, spots), away, -away)

    def is_clear(self, points_mm, gap_mm):
        """Whether points (n, 3) are all farther inside the glass than a gap, 0 or more, mm."""
        import shapely

        room, wall = self._shapes
        upright = points_mm @ np.linalg.inv(self.bend).T
        radius, height = np.hypot(upright[:, 0], upright[:, 1]), upright[:, 2]
        # Whether a prepared shape is near is told much faster than how near.
        if not shapely.intersects_xy(room, radius, height).all():
            return False
        return not shapely.dwithin(wall, shapely.points(radius, height), gap_mm).any()

    def blocks(self):
        """Return the corners of convex blocks, each (n, 3) mm, that line the inside and a shaft over it."""
        inner = thinned(self.vessel.inner, _CHORD_MM, 20.0).points_mm
        shaft = line(inner[-1], (inner[-1, 0], self.crest_mm + _SHAFT_MM)).points_mm
        turn = 2 * np.pi * np.arange(_SECTORS + 1) / _SECTORS
        found = []
        for start, end in [*zip(inner[:-1], inner[1:], strict=True), shaft]:
            way = end - start
            if np.hypot(*way) < 1e-6:
                continue
            out = _WALL_MM * np.array([way[1], -way[0]]) / np.hypot(*way)
            ring = np.array([start, end, start + out, end + out])
            ring[:, 0] = np.maximum(ring[:, 0], 0.0)
            for a, b in zip(turn[:-1], turn[1:], strict=True):
                corners = swung(*ring.T, np.array([[a], [b]])).reshape(-1, 3)
                found.append(corners @ self.bend.T)
        return found


def spread_points(piece, pose):
    """Return points all over a placed piece, mm, so close that no wall gets between them."""
    mesh = piece.mesh
    corners = mesh.vertices_mm[mesh.faces]
    lengths = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    points = [mesh.vertices_mm]
    for k in np.flatnonzero(lengths.max(axis=1) > _NEAR_MM):
        count = int(np.ceil(lengths[k].max() / _NEAR_MM))
        i, j = np.meshgrid(np.arange(count + 1), np.arange(count + 1))
        # Beginning at the corner between the longer sides: of a slender face, its long edges are enough.
        first = (int(lengths[k].argmin()) + 2) % 3
        slender = lengths[k].min() <= _NEAR_MM / 2
        inside = (i + j <= count) & ((i == 0) | (j == 0) | (not slender))
        u, v = i[inside] / count, j[inside] / count
        a, b, c = np.roll(corners[k], -first, axis=0)
        points.append(a + u[:, None] * (b - a) + v[:, None] * (c - a))
    return np.concatenate(points) @ pose.turn.T + pose.place_mm


def clash_mm3(one, pose, other, other_pose):
    """Return the volume that two placed pieces share, mm3, by their meshes."""
    import manifold3d

    bodies = []
    for piece, at in ((one, pose), (other, other_pose)):
        solid = merged(piece.mesh)
        vertices = (solid.vertices @ at.turn.T + at.place_mm).astype(np.float64)
        bodies.append(manifold3d.Manifold(manifold3d.Mesh64(vertices, solid.faces.astype(np.uint64))))
    return (bodies[0] ^ bodies[1]).volume()
