"""Focused light in the air: a set whose table lies higher, with holes where glass goes through."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np

from brimcast.scene.built import BuiltSet, Panel
from brimcast.vessels.mesh import Mesh, placed

from ..lightpass import Effort

# Round the glass the table keeps so far off, and its holes are told so finely.
CLEAR_MM, FINE_MM = 0.05, 0.02


def raise_table(built: BuiltSet, height_mm: float, effort: Effort) -> BuiltSet:
    """Return the set seen from a table that lies higher: what falls on it is the light at that height.

    The datum rises with the table; light inside glass and drink goes on through. Camera and meters are
    taken away. The digest tells height and effort too.
    """
    down = np.array([0.0, 0.0, -height_mm])
    told = f"{built.digest} {height_mm:.9g} {effort}"
    table = built.panels[0]
    if height_mm:
        table = replace(table, mesh=_cut_holes(table, built, height_mm))
    return replace(
        built,
        solids=tuple(replace(solid, mesh=placed(solid.mesh, down)) for solid in built.solids),
        panels=(table, *(_lower(panel, down) for panel in built.panels[1:])),
        lamps=tuple(
            replace(lamp, centre_mm=lamp.centre_mm + down, aim_mm=lamp.aim_mm + down) for lamp in built.lamps
        ),
        camera=None,
        meters=(),
        cell_mm=effort.cell_mm,
        digest=hashlib.sha256(told.encode()).hexdigest(),
    )


def _lower(panel, down: np.ndarray):
    moved = {"mesh": placed(panel.mesh, down)}
    if isinstance(panel, Panel):
        moved["corner_mm"] = panel.corner_mm + down
    return replace(panel, **moved)


def _cut_holes(table: Panel, built: BuiltSet, height_mm: float) -> Mesh:
    """Return the table's mesh, still at its own height, without what is inside a solid at another."""
    import shapely

    sections = (_cross(solid.mesh, height_mm) for solid in built.solids)
    hulls = [shapely.MultiPoint(points).convex_hull for points in sections if len(points)]
    holes = shapely.unary_union([hull.buffer(CLEAR_MM).simplify(FINE_MM) for hull in hulls])
    (left, near), (width, depth) = table.corner_mm[:2], table.size_mm
    rest = shapely.box(left, near, left + width, near + depth).difference(holes)
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(rest))
    corners = np.array([shapely.get_coordinates(shapely.orient_polygons(one))[:3] for one in triangles])
    vertices = np.pad(corners.reshape(-1, 2), ((0, 0), (0, 1)))
    faces = np.arange(len(vertices)).reshape(-1, 3)
    return Mesh(vertices, faces, np.tile([0.0, 0.0, 1.0], (len(vertices), 1)), np.zeros(len(faces), np.int32))


def _cross(mesh: Mesh, height_mm: float) -> np.ndarray:
    """Return where a mesh's edges go through a level plane, (n, 2) mm."""
    corners = mesh.vertices_mm[mesh.faces]
    start, stop = corners.reshape(-1, 3), np.roll(corners, -1, axis=1).reshape(-1, 3)
    low, high = start[:, 2] - height_mm, stop[:, 2] - height_mm
    through = (low < 0) != (high < 0)
    share = low[through] / (low[through] - high[through])
    return (start[through] + share[:, None] * (stop[through] - start[through]))[:, :2]
