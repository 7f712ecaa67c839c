"""Pieces of ice, real or acrylic: cubes, spears, balls, cracked pieces, their cracks and cloudy cores."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from .convex import Convex, box, round_edges
from .lathe import sections_for, turn
from .mesh import Mesh, bent, combined, merged, placed, rotated
from .outline import CHORD_ERROR_MM, arc, joined, line
from .outside import PartError
from .solids import ball

# Ice Ih at 0 C, published_values.yaml#ice_and_condensation/ice_density; acrylic from memory (ISO 7823-1).
DENSITY_KG_M3 = {"ice": 916.72, "acrylic": 1190.0}

# Largest turn on a rounding and its chord error; and for the few faces that are weighed.
_STEP_DEG, _STEEPEST_DEG, _CHORD_MM = 10.0, 15.0, 0.004
_COARSE_DEG = 60.0
# Cracked pieces: planes, the least angle between two, how far in the nearest lies, how far apart the farthest
# corners are over the distance of the farthest plane, and shapes tried.
_FACES, _APART_DEG, _NEAREST, _SPAN, _SHAPES = (9, 13), 38.0, 0.62, (2.0, 3.2), 24
_TRIES = 400
# A corner so flat or an edge so short that its rounding has needles: off by more than, share that is few.
_OFF_DEG, _FEW_NEEDLES = 14.0, 0.01
# Cracks: facets round one, how much of its size it bulges, its rim over its gap, room to the surface, and how
# many may be at one place. A rim that ended sharply would be thinner than a ray's step.
_CRACK_SECTIONS, _BULGE, _RIM, _CLEAR_MM, MOST_CRACKS = 32, (0.02, 0.12), 0.25, 0.3, 12


class IceError(PartError):
    """A piece of ice cannot be made; `part` says which of its keys is wrong."""


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece of ice about its own middle, the centre of mass at the origin.

    Parameters
    ----------
    mesh : Mesh
    coarse : Mesh
        The same with few faces, for weighing and floating.
    corners_mm : (n, 3) float
        What touches: the hull of these points, swollen by `round_mm`. One point for a ball.
    round_mm : float
    """

    mesh: Mesh
    coarse: Mesh
    corners_mm: np.ndarray
    round_mm: float

    @cached_property
    def volume_mm3(self):
        """What it weighs and displaces by, mm3: of a ball itself, else of the few faces."""
        is_ball = len(self.corners_mm) == 1
        return 4 / 3 * np.pi * self.round_mm**3 if is_ball else self.coarse.volume_mm3

    @property
    def reach_mm(self):
        """Greatest distance from the middle, mm."""
        return float(np.linalg.norm(self.corners_mm, axis=1).max() + self.round_mm)

    @cached_property
    def axes(self):
        """(3, 3) unit vectors, one a row: the way in which the corners are spread most first."""
        return np.linalg.svd(self.corners_mm - self.corners_mm.mean(axis=0), full_matrices=False)[2]

    @property
    def girth_mm(self):
        """Diameter of the narrowest round hole that it goes through lengthwise, mm, a little over."""
        if len(self.corners_mm) == 1:
            return 2 * self.round_mm
        widths = []
        for axis in self.axes:
            flat = self.corners_mm - np.outer(self.corners_mm @ axis, axis)
            middle = (flat.max(axis=0) + flat.min(axis=0)) / 2
            widths.append(2 * np.linalg.norm(flat - middle, axis=1).max() + 2 * self.round_mm)
        return float(min(widths))

    @cached_property
    def _planes(self):
        """(n, 4) outward normals and offsets of the corners' hull."""
        from scipy.spatial import ConvexHull

        return ConvexHull(self.corners_mm).equations

    def within(self, points_mm):
        """Return how far points (m, 3) lie inside a piece that is convex, mm, negative outside."""
        if len(self.corners_mm) == 1:
            return self.round_mm - np.linalg.norm(points_mm, axis=1)
        away = -points_mm @ self._planes[:, :3].T - self._planes[:, 3]
        return away.min(axis=1) + self.round_mm


def sphere(diameter_mm, detail=1.0):
    """Return a ball of ice."""
    radius_mm = diameter_mm / 2
    sections = 2 * (sections_for(radius_mm, CHORD_ERROR_MM / detail**2) // 2)
    return Piece(ball(diameter_mm, sections), ball(diameter_mm, 24), np.zeros((1, 3)), radius_mm)


def block(width_mm, depth_mm, height_mm, edge_mm=0.0, detail=1.0):
    """Return a cube or a spear: a box with edges of a radius, 0 sharp, larger as it has melted."""
    return _convex_piece(box(width_mm, depth_mm, height_mm), edge_mm, detail)


def cracked(size_mm, seed=1, edge_mm=0.0, detail=1.0):
    """Return an irregular piece as it is broken off a block: a convex solid behind planes at random.

    Parameters
    ----------
    size_mm : float
        Greatest distance between two of its corners before the edges are rounded.
    seed : int
    edge_mm, detail : float
        As for `block`.
    """
    generator = np.random.default_rng([seed, 0x1CE])
    best, fewest = None, 1.0
    for _ in range(_SHAPES):
        normals = _spread_normals(generator, int(generator.integers(*_FACES)))
        solid = Convex(normals, generator.uniform(_NEAREST, 1.0, len(normals)))
        try:
            corners = solid.corners_mm
        except ValueError:
            continue
        span = np.linalg.norm(corners[:, None] - corners, axis=2).max()
        if not _SPAN[0] < span < _SPAN[1]:
            continue
        solid = Convex(normals, solid.offsets_mm * size_mm / span)
        if edge_mm >= solid.offsets_mm.min():
            continue
        needles = _needles(_convex_piece(solid, edge_mm).mesh)
        if needles < fewest:
            best, fewest = solid, needles
        if fewest < _FEW_NEEDLES:
            break
    if best is None:
        raise IceError("edge", f"edges of {edge_mm:g} mm do not fit a piece of {size_mm:g} mm; take less")
    return _convex_piece(best, edge_mm, detail)


def imported(mesh):
    """Return a piece of ice from a closed Mesh, about its centre of mass; it touches with its hull."""
    middle = merged(mesh).center_mass
    mesh = placed(mesh, -middle)
    from scipy.spatial import ConvexHull

    hull = ConvexHull(mesh.vertices_mm)
    return Piece(mesh, mesh, mesh.vertices_mm[hull.vertices], 0.0)


def roughened(piece, roughness):
    """Return a piece whose surface has melted unevenly: all of it as rough as said (see `Mesh`)."""
    if not roughness:
        return piece
    patches = int(piece.mesh.patches.max()) + 1
    return replace(piece, mesh=replace(piece.mesh, roughness=np.full(patches, float(roughness))))


def core(piece, share):
    """Return the mesh of a cloudy core: the same shape, smaller, about the middle."""
    if not 0 < share < 1:
        raise IceError("core", f"{share:g} of the piece; allowed: between 0 and 1")
    return bent(replace(piece.mesh, roughness=None), share * np.eye(3))


class Cracks(NamedTuple):
    """Thin films of air in a piece.

    Parameters
    ----------
    count : int
    size_mm : float
        Diameter of the largest; others are down to half of it.
    gap_mm : float
        Thickness in the middle.
    seed : int
    """

    count: int
    size_mm: float
    gap_mm: float
    seed: int = 1


def crack_mesh(piece, cracks):
    """Return the cracks of a piece: closed, slightly bulging discs of air inside it.

    Raises
    ------
    IceError
        They find no room.
    """
    generator = np.random.default_rng([cracks.seed, 0xC7AC])
    found, balls = [], []
    for number in range(cracks.count):
        for _ in range(_TRIES):
            size = cracks.size_mm * generator.uniform(0.5, 1.0)
            mesh = _crack(generator, size, cracks.gap_mm)
            middle = generator.uniform(-1, 1, 3) * piece.reach_mm
            mesh = placed(mesh, middle)
            crowd = sum(np.linalg.norm(middle - other) < (size + wide) / 2 for other, wide in balls)
            if piece.within(mesh.vertices_mm).min() >= _CLEAR_MM and crowd < MOST_CRACKS:
                found.append(mesh)
                balls.append((middle, size))
                break
        else:
            text = f"crack {number + 1} of {cracks.count}, {cracks.size_mm:g} mm, finds no room in the piece"
            raise IceError("cracks", f"{text}; take fewer or smaller ones")
    return combined(found)


def turn_matrix(generator):
    """Return a (3, 3) rotation, evenly at random."""
    from scipy.spatial.transform import Rotation

    return Rotation.random(rng=generator).as_matrix()


def _convex_piece(solid, edge_mm, detail=1.0):
    try:
        fine_deg = np.degrees(np.sqrt(8 * _CHORD_MM / edge_mm)) if edge_mm else _STEP_DEG
        mesh = round_edges(solid, edge_mm, min(min(fine_deg, _STEP_DEG) / detail, _STEEPEST_DEG))
    except ValueError as error:
        raise IceError("edge", str(error)) from None
    coarse = round_edges(solid, edge_mm, _COARSE_DEG)
    middle = merged(coarse).center_mass
    corners = solid.shrunk(edge_mm).corners_mm if edge_mm else solid.corners_mm
    return Piece(placed(mesh, -middle), placed(coarse, -middle), corners - middle, float(edge_mm))


def _spread_normals(generator, count):
    """Return unit vectors at random, no two nearer than an angle."""
    found = np.empty((0, 3))
    nearest = np.cos(np.radians(_APART_DEG))
    for _ in range(_TRIES):
        way = generator.normal(size=3)
        way /= np.linalg.norm(way)
        if not len(found) or (found @ way).max() < nearest:
            found = np.concatenate([found, way[None]])
        if len(found) == count:
            break
    return found


def _needles(mesh):
    """Return the share of the area whose faces are far off the normals at their corners."""
    areas = np.linalg.norm(mesh.crosses_mm2, axis=1)
    facet = mesh.crosses_mm2 / np.maximum(areas, 1e-300)[:, None]
    cosines = np.einsum("ik,ijk->ij", facet, mesh.normals[mesh.faces]).min(axis=1)
    return areas[cosines < np.cos(np.radians(_OFF_DEG))].sum() / areas.sum()


def _crack(generator, size_mm, gap_mm):
    """Return a disc between two caps of nearly the same bulge, turned at random."""
    radius = size_mm / 2
    bulge = generator.uniform(*_BULGE) * size_mm
    lower, upper = (_cap(radius, bulge, side * gap_mm / 2) for side in (-1, 1))
    rim = line(lower.points_mm[-1], upper.points_mm[-1])
    mesh = turn(joined([lower, rim, upper.turned_back()]), _CRACK_SECTIONS)
    oval = generator.uniform(0.6, 1.0)
    return rotated(bent(mesh, np.diag([1.0, oval, 1.0])), turn_matrix(generator))


def _cap(radius_mm, bulge_mm, off_mm):
    """Return the outline of one side of a crack, from its top on the axis out to its rim, off the middle."""
    rim_mm = _RIM * off_mm
    rise_mm = bulge_mm + off_mm - rim_mm
    ball_mm = (radius_mm**2 + rise_mm**2) / (2 * rise_mm)
    half_deg = np.degrees(np.arcsin(min(radius_mm / ball_mm, 1.0)))
    middle = (0.0, rim_mm + rise_mm - ball_mm)
    curve = arc(middle, ball_mm, 90, 90 - half_deg, turn_deg=max(half_deg / 6, 1.0))
    curve.points_mm[0] = (0.0, rim_mm + rise_mm)
    curve.points_mm[-1] = (radius_mm, rim_mm)
    return curve
