"""Convex solids by their planes, and the same with rounded edges and exact normals."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .mesh import Mesh

_SAME = 1e-7  # of the size: corners nearer than this are one


@dataclass(frozen=True, eq=False)
class Convex:
    """What lies behind all of some planes; the origin is inside.

    Parameters
    ----------
    normals : (n, 3) float
        Outward unit normals.
    offsets_mm : (n,) float
        Distance of each plane from the origin, mm, positive.

    Raises
    ------
    ValueError
        A plane leaves the origin out, or the planes enclose nothing.
    """

    normals: np.ndarray
    offsets_mm: np.ndarray

    def __post_init__(self):
        if not (self.offsets_mm > 0).all():
            raise ValueError(f"a plane lies {self.offsets_mm.min():.3g} mm off the middle; it must be over 0")

    @cached_property
    def _found(self):
        """Corners (k, 3), and the corners of each face in counter-clockwise order seen from outside."""
        from scipy.spatial import HalfspaceIntersection, QhullError

        try:
            planes = np.column_stack([self.normals, -self.offsets_mm])
            raw = HalfspaceIntersection(planes, np.zeros(3)).intersections
        except QhullError as error:
            raise ValueError(f"the planes enclose no solid: {str(error).splitlines()[0]}") from None
        if not np.isfinite(raw).all():
            raise ValueError("the planes enclose no solid")
        same = _SAME * np.abs(raw).max()
        _, first = np.unique(np.round(raw / (10 * same)).astype(np.int64), axis=0, return_index=True)
        corners = raw[np.sort(first)]
        faces = []
        for normal, offset in zip(self.normals, self.offsets_mm, strict=True):
            on = np.flatnonzero(np.abs(corners @ normal - offset) < 100 * same)
            if len(on) < 3:
                faces.append(on[:0])
                continue
            across = corners[on[1]] - corners[on[0]]
            across /= np.linalg.norm(across)
            away = corners[on] - corners[on].mean(axis=0)
            angle = np.arctan2(away @ np.cross(normal, across), away @ across)
            faces.append(on[np.argsort(angle)])
        return corners, faces

    @property
    def corners_mm(self):
        """(k, 3) corners, mm."""
        return self._found[0]

    @property
    def faces(self):
        """Corners of each plane's face, counter-clockwise seen from outside; empty where it has none."""
        return self._found[1]

    def shrunk(self, by_mm):
        """Return the solid with every plane moved inward."""
        return Convex(self.normals, self.offsets_mm - by_mm)


def box(width_mm, depth_mm, height_mm):
    """Return a box with its middle at the origin."""
    half = np.array([width_mm, depth_mm, height_mm], dtype=float) / 2
    return Convex(np.concatenate([np.eye(3), -np.eye(3)]), np.concatenate([half, half]))


def round_edges(solid, radius_mm, step_deg=6.0):
    """Return the mesh of a convex solid whose edges are rounded: it stays inside, flat faces stay flat.

    Parameters
    ----------
    solid : Convex
    radius_mm : float
        Of the edges; 0 leaves them sharp.
    step_deg : float
        Largest turn between neighbouring vertices on a rounding.

    Returns
    -------
    Mesh
        One patch if rounded, one for each face if sharp.

    Raises
    ------
    ValueError
        The radius leaves nothing of the solid.
    """
    if radius_mm == 0:
        return _flat(solid)
    if not 0 < radius_mm < solid.offsets_mm.min():
        most = solid.offsets_mm.min()
        raise ValueError(f"edges of {radius_mm:g} mm do not fit; allowed: under {most:.3g} mm")
    return _Rounding(solid.shrunk(radius_mm), radius_mm, np.radians(step_deg)).mesh()


def _flat(solid):
    vertices, normals, faces, patches, start = [], [], [], [], 0
    for normal, face in zip(solid.normals, solid.faces, strict=True):
        if len(face):
            vertices.append(solid.corners_mm[face])
            normals.append(np.tile(normal, (len(face), 1)))
            fan = np.arange(1, len(face) - 1)
            faces.append(start + np.stack([np.zeros_like(fan), fan, fan + 1], axis=1))
            patches.append(np.full(len(fan), len(patches)))
            start += len(face)
    return Mesh(*map(np.concatenate, (vertices, faces, normals, patches)))


class _Rounding:
    """A solid and a ball summed: faces moved out, pieces of cylinders along edges and of balls at corners."""

    def __init__(self, core, radius_mm, step):
        self.core, self.radius_mm, self.step = core, radius_mm, step
        self.vertices, self.normals, self.faces = [], [], []
        self.at = {}

    def mesh(self):
        """Return the Mesh."""
        sides = self._edges()
        for number, face in enumerate(self.core.faces):
            ring = [self._vertex(corner, number) for corner in face]
            self.faces += [(ring[0], ring[k], ring[k + 1]) for k in range(1, len(ring) - 1)]
        for (start, end), (left, right) in sides.items():
            a, b = self._arc(start, left, right), self._arc(end, left, right)
            for k in range(len(a) - 1):
                self.faces += [(a[k], a[k + 1], b[k + 1]), (a[k], b[k + 1], b[k])]
        for corner in range(len(self.core.corners_mm)):
            self._cap(corner, sides)
        return Mesh(
            np.array(self.vertices), np.array(self.faces), np.array(self.normals), np.zeros(len(self.faces))
        )

    def _edges(self):
        """Return (corner, corner) -> (face on the left, face on the right), each edge once."""
        left = {}
        for number, face in enumerate(self.core.faces):
            left |= {(int(a), int(b)): number for a, b in zip(face, np.roll(face, -1), strict=True)}
        return {(a, b): (number, left[b, a]) for (a, b), number in left.items() if a < b}

    def _add(self, corner, normal):
        self.vertices.append(self.core.corners_mm[corner] + self.radius_mm * normal)
        self.normals.append(normal)
        return len(self.vertices) - 1

    def _vertex(self, corner, face):
        key = int(corner), face
        if key not in self.at:
            self.at[key] = self._add(corner, self.core.normals[face])
        return self.at[key]

    def _arc(self, corner, start, end):
        """Return the vertices from one face's normal to another's round a corner."""
        key = int(corner), start, end
        if key not in self.at:
            n, m = self.core.normals[start], self.core.normals[end]
            angle = np.arccos(np.clip(n @ m, -1, 1))
            count = max(int(np.ceil(angle / self.step - 1e-9)), 1)
            shares = np.arange(1, count) / count
            ways = np.sin((1 - shares) * angle)[:, None] * n + np.sin(shares * angle)[:, None] * m
            between = [self._add(corner, way) for way in ways / np.sin(angle)]
            self.at[key] = [self._vertex(corner, start), *between, self._vertex(corner, end)]
            self.at[int(corner), end, start] = self.at[key][::-1]
        return self.at[key]

    def _cap(self, corner, sides):
        """Add the piece of a ball at a corner, in rings round the middle of its normals."""
        follows = {}
        for (start, end), (left, right) in sides.items():
            # Seen from outside, going round the corner counter-clockwise.
            if corner == start:
                follows[right] = left
            elif corner == end:
                follows[left] = right
        rim, face = [], min(follows)
        for _ in follows:
            rim += self._arc(corner, face, follows[face])[:-1]
            face = follows[face]
        ways = np.array([self.normals[k] for k in rim])
        middle = ways.mean(axis=0)
        middle /= np.linalg.norm(middle)
        rings = max(int(np.ceil(np.arccos(np.clip((ways @ middle).min(), -1, 1)) / self.step)), 1)
        inner = [self._add(corner, middle)] * len(rim)
        for ring in range(1, rings + 1):
            if ring == rings:
                outer = rim
            else:
                mixed = middle + ring / rings * (ways - middle)
                outer = [self._add(corner, way) for way in mixed / np.linalg.norm(mixed, axis=1)[:, None]]
            for k in range(len(rim)):
                after = (k + 1) % len(rim)
                if ring > 1:
                    self.faces.append((inner[k], outer[after], inner[after]))
                self.faces.append((inner[k], outer[k], outer[after]))
            inner = outer
