"""Garnish as shapes: closed, with volumes of closed forms, on maps as large as they are; how it leans."""

import numpy as np
import pytest
from scipy.optimize import brentq

from brimcast.vessels import fruit
from brimcast.vessels.covers import carved, lay_out
from brimcast.vessels.leaning import GAP_MM, LeanError, Stand, lean, tilted
from brimcast.vessels.library import vessel, vessel_from_outline
from brimcast.vessels.mesh import check
from brimcast.vessels.room import Pose
from brimcast.vessels.sprig import HERBS, sprig
from brimcast.vessels.tubes import tube


def _areas(cover):
    """Return the area of each chart on the map, and of its surface, mm2."""
    corners = cover.places_mm[cover.mesh.faces]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    flat = (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2
    flat *= np.interp(corners[:, :, 1].mean(axis=1), *cover.widths.T)
    real = np.linalg.norm(cover.mesh.crosses_mm2, axis=1) / 2
    count = len(cover.charts)
    return np.bincount(cover.mesh.patches, flat, count), np.bincount(cover.mesh.patches, real, count)


def _strip():
    path, facing = fruit.curl(7.0, 15.0, 2.5)
    return fruit.peel_strip(path, facing, 8.0, 1.5)


def _olives():
    still = [Pose(np.eye(3), np.array([0.0, 0.0, high])) for high in (0.0, 24.0)]
    return fruit.fruits(*fruit.olive_outline(18.0, 22.0, 0.6), still)


def _straw():
    return lay_out(tube(np.linspace([0, 0, 0], [30, 0, 160], 9), 3.0, 48, ends=True))


COVERS = {
    "wheel": lambda: fruit.wheel(70.0, 5.0),
    "wedge": lambda: fruit.wedge(56.0, 70.0, 60.0),
    "strip": _strip,
    "olives": _olives,
    "straw": _straw,
}


@pytest.mark.parametrize("name", COVERS)
def test_cover_is_closed_and_its_charts_lie_apart(name):
    cover = COVERS[name]()
    check(cover.mesh, normals_within_deg=15)
    boxes = [(*chart.corner_mm, *np.add(chart.corner_mm, chart.size_mm)) for chart in cover.charts]
    for k, (left, low, right, high) in enumerate(boxes):
        assert min(left, low) >= 0 and right <= cover.size_mm[0] + 1e-9 and high <= cover.size_mm[1] + 1e-9
        for other in boxes[:k]:
            aside = other[0] >= right + 2 or other[2] <= left - 2
            assert aside or other[1] >= high + 2 or other[3] <= low - 2
    used = cover.places_mm[cover.mesh.faces].reshape(-1, 3, 2)
    for patch, (left, low, right, high) in enumerate(boxes):
        own = used[cover.mesh.patches == patch].reshape(-1, 2)
        assert (own >= np.array([left, low]) - 1e-6).all() and (own <= np.array([right, high]) + 1e-6).all()


@pytest.mark.parametrize(
    ("name", "within"), [("wheel", 1e-3), ("wedge", 1e-3), ("olives", 2e-3), ("straw", 4e-3)]
)
def test_map_is_as_large_as_the_surface(name, within):
    """Light on a map is light over its area. A cylinder's facets are 0.3 % narrower than its map."""
    flat, real = _areas(COVERS[name]())
    assert flat == pytest.approx(real, rel=within)


def test_volumes_are_those_of_closed_forms():
    """Zone of a ball, pi t (R^2 - t^2 / 12); part of an ellipsoid; a bar along its middle (Pappus)."""
    assert fruit.wheel(70.0, 5.0).mesh.volume_mm3 == pytest.approx(np.pi * 5 * (35**2 - 25 / 12), rel=2e-3)
    lune = 4 / 3 * np.pi * 28 * 28 * 35 * 60 / 360
    assert fruit.wedge(56.0, 70.0, 60.0).mesh.volume_mm3 == pytest.approx(lune, rel=4e-3)
    turn_mm = np.hypot(2 * np.pi * 7.0, 15.0)
    assert _strip().mesh.volume_mm3 == pytest.approx(8.0 * 1.5 * 2.5 * turn_mm, rel=1e-2)


@pytest.mark.parametrize("name", ["highball", "v-cocktail", "copa"])
def test_slit_takes_away_the_wall_and_no_more(name, solid_of):
    """What is left, and the grown wall, together are the whole again: volumes by manifold3d."""
    stand = Stand(vessel(name))
    middle = (stand.lip_mm + 5 * stand.wall_way(18.0))[[0, 0, 1]] * [1, 0, 1]
    wheel = fruit.wheel(46.0, 5.0).moved([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]], middle)
    wall = stand.wall_solid(20.0, 0.25, 4.5)
    left = carved(wheel, wall, lambda points, normals: np.abs(points[:, :2]))
    check(left.mesh, closed=False, normals_within_deg=15)
    taken = (solid_of(wheel.mesh) ^ wall).volume()
    assert taken > 100 and left.mesh.volume_mm3 == pytest.approx(wheel.mesh.volume_mm3 - taken, rel=1e-6)
    assert left.charts[-1].name == "cut" and left.charts[:-1] == wheel.charts
    # It lies on the glass's own mesh nowhere.
    apart = solid_of(wheel.mesh) - wall
    assert apart.min_gap(solid_of(vessel(name).glass_mesh(0.5)), 1.0) > 0.2
    flat, real = _areas(left)
    assert flat[:2] == pytest.approx(real[:2], rel=1e-3)
    assert (real[:2] > 0.8 * np.pi * 23**2).all()


def _rod(radius, length):
    turns = np.pi / 3 * np.arange(6)
    ring = radius * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    along = np.linspace(0, length, 60)
    return np.column_stack([np.tile(ring, (60, 1)), np.repeat(along, 6)])


def test_rod_in_a_straight_glass_leans_from_corner_to_rim():
    """Floor, left wall and right rim touch a bar as thick as the rod: one equation for its tilt."""
    glass = vessel_from_outline(
        [[0, 70], [120, 70]], 2.0, 10.0, inside_mm=[[10, 66], [120, 66]], fillet_mm=0.2, rim_mm=0.1
    )
    wide, high, radius = 2 * (33.0 - GAP_MM), 110.0 - GAP_MM, 2.0

    def off(tilt):
        cos, sin = np.cos(tilt), np.sin(tilt)
        return (wide - radius * cos) * cos - (high - radius * sin) * sin - radius

    wanted = np.degrees(brentq(off, 0.1, 1.2))
    assert lean(Stand(glass), _rod(radius, 200.0), radius, 200.0).tilt_deg == pytest.approx(wanted, abs=1.0)


@pytest.mark.parametrize("name", ["rocks", "collins", "coupe", "v-cocktail", "copa", "flute"])
def test_what_leans_touches_the_rim_and_what_stops_its_foot_and_nothing_else(name):
    stand, points = Stand(vessel(name)), _rod(2.5, 260.0)
    found = lean(stand, points, 2.5, 260.0)
    put = points @ tilted(found.tilt_deg).T + [found.foot_mm[0], 0, found.foot_mm[1]]
    off = stand.clearance(put)
    assert off.min() > GAP_MM - 0.05
    low = put[:, 2] < stand.lip_mm[1] - 10
    assert off[low].min() < GAP_MM + 0.5 and off[~low].min() < GAP_MM + 0.5


def test_short_rod_does_not_lean():
    with pytest.raises(LeanError, match="does not reach the rim; allowed: at least"):
        lean(Stand(vessel("highball")), _rod(2.5, 100.0), 2.5, 100.0)


@pytest.mark.parametrize("herb", HERBS)
def test_sprig_has_sound_leaves_and_a_seed(herb):
    made = sprig(herb, 50.0, 30.0, 1)
    check(made.mesh, closed=False, normals_within_deg=60)
    names = [chart.name for chart in made.charts]
    assert names.count("leaf") >= 12 and names[0] == "stem"
    low, high = made.mesh.bounds_mm
    assert low[2] == pytest.approx(-30) and 50 < high[2] < 50 + HERBS[herb].leaf_mm
    assert not np.array_equal(sprig(herb, 50.0, 30.0, 2).mesh.vertices_mm[-9:], made.mesh.vertices_mm[-9:])
    # Leaves bend and bulge little: their charts are about as large as they are.
    flat, real = _areas(made)
    leaves = np.array([name == "leaf" for name in names])
    assert flat[leaves].sum() == pytest.approx(real[leaves].sum(), rel=0.1)
