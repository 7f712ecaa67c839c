"""Coasters, trays and folded cloth against closed forms and trimesh."""

import numpy as np
import pytest

from brimcast.vessels import tableware
from brimcast.vessels.cloth import fold_cloth
from brimcast.vessels.mesh import check, merged
from brimcast.vessels.tableware import RoundEdge, SquareEdge

EDGES = [RoundEdge(200.0), SquareEdge(240.0, 160.0)]


def area_of(edge, inset):
    if isinstance(edge, RoundEdge):
        return np.pi * (edge.diameter_mm / 2 - inset) ** 2
    return (edge.width_mm - 2 * inset) * (edge.depth_mm - 2 * inset)


def area_on_map(leaf):
    """Area, mm2, of the leaf's faces on its map, each as wide as the map says for its height."""
    a, b, c = (leaf.places_mm[leaf.mesh.faces[:, k]] for k in range(3))
    (ux, uy), (vx, vy) = (b - a).T, (c - a).T
    flat = (ux * vy - uy * vx) / 2
    assert flat.min() > 0, "a face is turned over on the map"
    return float((flat * np.interp((a + b + c)[:, 1] / 3, *leaf.widths.T)).sum())


def heights_over(mesh, place):
    """Heights, ascending, at which a mesh lies over a place (x, y): by barycentric coordinates."""
    a, b, c = (mesh.vertices_mm[mesh.faces[:, k]] for k in range(3))
    (ux, uy), (vx, vy), (wx, wy) = ((b - a)[:, :2].T, (c - a)[:, :2].T, (place - a[:, :2]).T)
    whole = ux * vy - uy * vx
    with np.errstate(divide="ignore", invalid="ignore"):
        u, v = (wx * vy - wy * vx) / whole, (ux * wy - uy * wx) / whole
    met = (u >= 0) & (v >= 0) & (u + v <= 1)
    return np.sort((a[:, 2] + u * (b - a)[:, 2] + v * (c - a)[:, 2])[met])


@pytest.mark.parametrize("edge", EDGES)
@pytest.mark.parametrize("up", [True, False])
def test_flat_top_is_as_large_as_its_edge_says_and_its_map_is_true(edge, up):
    leaf = tableware.flat_top(edge, 3.0, 5.0, up)
    check(leaf.mesh, closed=False)
    # A polygon in a circle is smaller by 2/3 (pi / n)^2.
    assert leaf.mesh.area_mm2 == pytest.approx(area_of(edge, 3.0), rel=1e-4)
    assert area_on_map(leaf) == pytest.approx(leaf.mesh.area_mm2, rel=1e-12)
    assert (leaf.places_mm >= -1e-9).all() and (leaf.places_mm <= np.array(leaf.size_mm) + 1e-9).all()


@pytest.mark.parametrize("edge", EDGES)
def test_lip_has_the_area_of_its_three_walls_on_the_map_too(edge):
    lip = tableware.band(edge, tableware.lip_profile(25.0, 4.0))
    check(lip.mesh, closed=False)
    inside, outside = (edge.length(inset) for inset in (4.0, 0.0))
    walls = inside * 21 + (area_of(edge, 0.0) - area_of(edge, 4.0)) + outside * 25
    assert lip.mesh.area_mm2 == pytest.approx(walls, rel=1e-4)
    assert lip.size_mm[1] == pytest.approx(21 + 4 + 25)
    # Between the rows of the profile the widths are linear, faces are taken at their middles.
    assert area_on_map(lip) == pytest.approx(walls, rel=2e-3)


@pytest.mark.parametrize("edge", EDGES)
def test_tray_is_a_closed_solid_with_the_volume_of_floor_and_lip(edge):
    mesh = check(tableware.tray_solid(edge, 25.0, 4.0))
    body = merged(mesh)
    assert body.is_watertight
    volume = area_of(edge, 0.0) * 25 - area_of(edge, 4.0) * 21
    assert mesh.volume_mm3 == pytest.approx(volume, rel=1e-3)
    assert body.volume == pytest.approx(mesh.volume_mm3, rel=1e-9)


def test_room_is_the_distance_from_the_edge():
    assert RoundEdge(100.0).room((30.0, 40.0)) == pytest.approx(0)
    assert SquareEdge(100.0, 60.0).room((45.0, 0.0)) == pytest.approx(5)
    assert SquareEdge(100.0, 60.0).room((0.0, -32.0)) == pytest.approx(-2)


def test_flat_cloth_is_as_long_as_its_layers_and_half_circles():
    """Without slack each layer would be depth - layer long, and each fold pi layer / 2."""
    leaf = fold_cloth((100.0, 80.0), 5, 2.0, 0.0, seed=3)
    check(leaf.mesh, closed=False, normals_within_deg=12.0)
    longest = 5 * (80 - 2) + 4 * np.pi * 2 / 2
    # Folds lie up to 2 mm inside; each shortens two layers, and the two ends one each.
    assert longest - 2 * 10 <= leaf.size_mm[1] <= longest
    assert leaf.mesh.area_mm2 == pytest.approx(leaf.size_mm[1] * 100, rel=1e-9)
    assert area_on_map(leaf) == pytest.approx(leaf.mesh.area_mm2, rel=1e-9)
    low, high = leaf.mesh.bounds_mm
    assert low[2] == pytest.approx(1) and high[2] == pytest.approx(9)
    assert high[1] <= 40 and low[1] >= -40


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_layers_of_wavy_cloth_keep_apart_and_stay_over_the_table(seed):
    """Straight lines down meet the layers one by one, at least as far apart as when flat."""
    leaf = fold_cloth((120.0, 90.0), 4, 1.0, 6.0, seed)
    check(leaf.mesh, closed=False, normals_within_deg=15.0)
    assert leaf.mesh.vertices_mm[:, 2].min() > 0.4
    x, y = np.meshgrid(np.linspace(-55.3, 55.3, 12), np.linspace(-40.3, 40.3, 9))
    heights = [heights_over(leaf.mesh, place) for place in zip(x.ravel(), y.ravel(), strict=True)]
    assert {len(found) for found in heights} == {4}
    steps = np.diff(heights, axis=1)
    # Straight faces between vertices 3 mm apart are off by some hundredths.
    assert steps.min() > 0.95
    top = np.array(heights)[:, -1]
    assert np.ptp(top) > 2 and top.max() < 3.5 + 6 + 0.1


def test_cloth_is_flat_under_a_foot_and_the_same_again_far_from_it():
    free = fold_cloth((200.0, 200.0), 3, 1.0, 6.0, 1)
    pressed = fold_cloth((200.0, 200.0), 3, 1.0, 6.0, 1, ((20.0, -10.0, 35.0),))
    check(pressed.mesh, closed=False, normals_within_deg=20.0)
    away = np.hypot(*(pressed.mesh.vertices_mm[:, :2] - [20, -10]).T)
    lifted = pressed.mesh.vertices_mm[:, 2]
    under = lifted[away < 35]
    assert under.max() == pytest.approx(2.5, abs=1e-9)
    far = away > 56
    assert (pressed.mesh.vertices_mm[far] == free.mesh.vertices_mm[far]).all()
    other = fold_cloth((200.0, 200.0), 3, 1.0, 6.0, 2)
    assert np.abs(other.mesh.vertices_mm[:500] - free.mesh.vertices_mm[:500]).max() > 0.5
