"""Test pieces and props: balls, rods, slabs, prisms, rings and thin plates with openings."""

import numpy as np

from .lathe import turn
from .mesh import Mesh, copied
from .outline import arc, joined, line, tidied

_RELATIVE_CHORD = 0.001 / 30  # of the radius


def ball(diameter_mm, sections=None):
    """Return a ball with its centre at the origin; chord error a thirty-thousandth of the radius.

    ``sections`` is the number of facets per turn, a multiple of two.
    """
    radius_mm = _positive("diameter_mm", diameter_mm) / 2
    sections = _round_sections() if sections is None else int(sections)
    half = arc((0.0, 0.0), radius_mm, -90, 90, turn_deg=360 / sections)
    return turn(half, sections)


def balls(centres_mm, diameters_mm, sections):
    """Return balls as one Mesh: centres (n, 3), diameters (n,), mm, and facets per turn as for `ball`."""
    unit = ball(1.0, sections)
    points = diameters_mm[:, None, None] * unit.vertices_mm + centres_mm[:, None]
    return copied(unit, points, np.broadcast_to(unit.normals, points.shape))


def rod(diameter_mm, length_mm, sections=None):
    """Return an upright round rod with flat ends, its foot's centre at the origin."""
    radius_mm, length_mm = _positive("diameter_mm", diameter_mm) / 2, _positive("length_mm", length_mm)
    corners = [(0.0, 0.0), (radius_mm, 0.0), (radius_mm, length_mm), (0.0, length_mm)]
    return turn(_straight(corners), _round_sections() if sections is None else sections)


def ring(inner_diameter_mm, thickness_mm, height_mm, sections=None):
    """Return an upright tube with square edges, its foot's centre at the origin."""
    inside_mm = _positive("inner_diameter_mm", inner_diameter_mm) / 2
    outside_mm = inside_mm + _positive("thickness_mm", thickness_mm)
    height_mm = _positive("height_mm", height_mm)
    corners = [(inside_mm, 0.0), (outside_mm, 0.0), (outside_mm, height_mm), (inside_mm, height_mm)]
    section = _straight([*corners, corners[0]], closed=True)
    return turn(section, _round_sections() if sections is None else sections)


def torus(ring_diameter_mm, bar_diameter_mm, sections=None):
    """Return a round ring of round bar lying about the z axis, its centre at the origin."""
    middle_mm = _positive("ring_diameter_mm", ring_diameter_mm) / 2
    bar_mm = _positive("bar_diameter_mm", bar_diameter_mm) / 2
    if bar_mm >= middle_mm:
        raise ValueError(f"bar_diameter_mm: {bar_diameter_mm:g} mm; it must be under {ring_diameter_mm:g} mm")
    sections = _round_sections() if sections is None else int(sections)
    circle = arc((middle_mm, 0.0), bar_mm, 0, 360, turn_deg=360 / sections)
    # The last point is the first again.
    section = tidied(circle.points_mm[:-1], circle.tangents[:-1], closed=True)
    return turn(section, sections)


def slab(width_mm, depth_mm, thickness_mm):
    """Return a flat box: width along x, depth along y, its lower face's centre at the origin."""
    half = np.array([_positive("width_mm", width_mm) / 2, _positive("depth_mm", depth_mm) / 2])
    base = half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    return _extruded(base, _positive("thickness_mm", thickness_mm))


def prism(angle_deg, side_mm, length_mm):
    """Return an upright three-sided prism: its axis is z, its foot's centroid at the origin.

    The edge of the apex angle looks toward the camera (-y); the two sides that meet there have the
    length ``side_mm`` and the third lies square to y.
    """
    if not 0 < angle_deg < 180:
        raise ValueError(f"angle_deg: {angle_deg:g} deg; it must lie between 0 and 180")
    half = np.radians(angle_deg) / 2
    side_mm = _positive("side_mm", side_mm)
    width_mm, depth_mm = side_mm * np.sin(half), side_mm * np.cos(half)
    base = np.array([(0.0, -2 / 3 * depth_mm), (width_mm, depth_mm / 3), (-width_mm, depth_mm / 3)])
    return _extruded(base, _positive("length_mm", length_mm))


def plate_with_hole(width_mm, height_mm, hole_diameter_mm):
    """Return a single sheet in the plane z = 0 facing +z, with a round hole at the origin.

    Width lies along x, height along y. The sheet is not closed.
    """
    radius_mm = _positive("hole_diameter_mm", hole_diameter_mm) / 2
    around = 2 * np.pi * np.arange(_round_sections()) / _round_sections()
    return _sheet(width_mm, height_mm, radius_mm * np.stack([np.cos(around), np.sin(around)], axis=1))


def plate_with_slit(width_mm, height_mm, slit_width_mm, slit_length_mm):
    """Return a single sheet in the plane z = 0 facing +z, with a slit at the origin.

    Width lies along x, height along y, the slit's length along y. The sheet is not closed.
    """
    half = (_positive("slit_width_mm", slit_width_mm) / 2, _positive("slit_length_mm", slit_length_mm) / 2)
    return _sheet(width_mm, height_mm, np.array(half) * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]))


def _positive(name, value):
    if not (np.isfinite(value) and value > 0):
        raise ValueError(f"{name}: {value:g} mm; it must be more than 0")
    return float(value)


def _round_sections():
    """Return facets per turn for the chord error of round test pieces."""
    return 4 * int(np.ceil(np.pi / np.arccos(1 - _RELATIVE_CHORD) / 4))


def _straight(corners, closed=False):
    lines = [line(a, b) for a, b in zip(corners[:-1], corners[1:], strict=True)]
    return joined(lines, closed=closed)


def _extruded(base_mm, height_mm):
    """Return the upright solid over a convex polygon (n, 2), counter-clockwise seen from above."""
    count = len(base_mm)
    vertices, normals, faces, patches = [], [], [], []

    def add(corners, normal):
        start = sum(map(len, vertices))
        vertices.append(corners)
        normals.append(np.tile(normal, (len(corners), 1)))
        faces.extend((start, start + k, start + k + 1) for k in range(1, len(corners) - 1))
        patches.extend([len(vertices) - 1] * (len(corners) - 2))

    low = np.column_stack([base_mm, np.zeros(count)])
    high = np.column_stack([base_mm, np.full(count, height_mm)])
    add(low[::-1], [0.0, 0.0, -1.0])
    add(high, [0.0, 0.0, 1.0])
    for k in range(count):
        after = (k + 1) % count
        way = base_mm[after] - base_mm[k]
        outward = np.array([way[1], -way[0], 0.0]) / np.hypot(*way)
        add(np.array([low[k], low[after], high[after], high[k]]), outward)
    return Mesh(np.concatenate(vertices), np.array(faces), np.concatenate(normals), np.array(patches))


def _sheet(width_mm, height_mm, opening_mm):
    """Return a rectangle round the origin less an opening (n, 2), counter-clockwise, as one sheet."""
    import manifold3d

    half = np.array([_positive("width_mm", width_mm) / 2, _positive("height_mm", height_mm) / 2])
    if (np.abs(opening_mm).max(axis=0) >= half).any():
        raise ValueError(f"the opening does not fit into a plate of {width_mm:g} x {height_mm:g} mm")
    edge = half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    loops = [edge, opening_mm[::-1]]
    points = np.concatenate(loops)
    faces = np.asarray(manifold3d.triangulate([np.ascontiguousarray(loop) for loop in loops]))
    return Mesh(
        np.column_stack([points, np.zeros(len(points))]),
        faces,
        np.tile([0.0, 0.0, 1.0], (len(points), 1)),
        np.zeros(len(faces)),
    )
