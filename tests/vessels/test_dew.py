"""Condensation: caps of the published form, sizes by their law, on the outside alone, none on another."""

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from brimcast.vessels import dew
from brimcast.vessels.dew import Dew, Drops
from brimcast.vessels.facets import Cut
from brimcast.vessels.finish import Finish, find_zones, finish
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import check
from brimcast.vessels.relief import Flutes
from brimcast.vessels.strewing import Skin, Spots, StrewError, draw_power

GLASS = vessel("highball")
SKIN = Skin(GLASS.outer)
COLD = (GLASS.base_mm, 110.0)


def flat_drops(*radii_mm):
    """Drops on the plane y = 0, one every 20 mm."""
    count = len(radii_mm)
    x, up, out = (np.tile(axis, (count, 1)) for axis in ([1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]))
    places = x * 20 * np.arange(count)[:, None]
    return Drops(Spots(places, x, up, out, *np.zeros((2, count))), np.array(radii_mm), np.ones(count))


def test_cap_has_the_published_height_volume_and_angle(published):
    """published_values.yaml#ice_and_condensation/droplet_cap; facets lie inside the cap."""
    cap = published["ice_and_condensation"]["droplet_cap"]["value"]
    depth = 0.1
    mesh = check(dew.drop_mesh(flat_drops(cap["a"]), cap["q"], depth), normals_within_deg=12)
    assert -mesh.bounds_mm[0, 1] == pytest.approx(cap["h"], abs=1e-5)
    assert mesh.bounds_mm[1, 1] == pytest.approx(depth)
    # The dome's rim: its normals are turned by the contact angle from the glass's.
    rim = (np.abs(mesh.vertices_mm[:, 1]) < 1e-9) & (np.abs(mesh.normals[:, 1]) > 1e-3)
    assert -mesh.normals[rim, 1] == pytest.approx(np.cos(np.radians(cap["q"])))
    sectors = rim.sum()
    share = sectors / (2 * np.pi) * np.sin(2 * np.pi / sectors)
    dome = mesh.volume_mm3 - share * np.pi * depth
    assert 0.94 * share * cap["V"] < dome < share * cap["V"]


def test_sizes_follow_the_law_of_dropwise_condensation():
    """Number of radius r as r^(n - 3), so that drops over r cover 1 - (r / r_max)^n; Kolmogorov-Smirnov.

    Of dropwise condensation n = 1/3 (E. J. Le Fevre, J. W. Rose, 1966; from memory).
    """
    count, low, high = 20_000, 0.3, 2.5
    radii = np.sort(draw_power(np.random.default_rng(2), count, low, high, dew.SIZE_POWER - 3))
    power = 1 / 3 - 2
    under = (low**power - radii**power) / (low**power - high**power)
    assert np.abs(under - (np.arange(count) + 0.5) / count).max() < 1.95 / np.sqrt(count)  # 0.1 % level
    covered = np.cumsum(radii[::-1] ** 2)[::-1] / (radii**2).sum()
    law = (1 - (radii / high) ** (1 / 3)) / (1 - (low / high) ** (1 / 3))
    squares = (radii**4).sum() ** 0.5 / (radii**2).sum()
    assert np.abs(covered - law).max() < 4 * squares


def test_typical_drop_halves_what_drops_cover():
    asked = Dew(20_000, 0.25, 0.9, 40)
    power = dew.SIZE_POWER - 3
    radii = np.sort(draw_power(np.random.default_rng(3), asked.count, 0.45, 0.125, power))
    covered = np.cumsum(radii**2)
    middle = radii[np.searchsorted(covered, covered[-1] / 2)]
    assert dew.typical_mm(asked) == pytest.approx(2 * middle, rel=0.02)
    assert dew.typical_mm(Dew(10, 2, 2, 40)) == pytest.approx(2)


KINDS = [Dew(300, 0.6, 3.5, 50), Dew(200, 1, 5, 75, runs=6), Dew(600, 0.3, 0.3, 20)]


@pytest.mark.parametrize("asked", KINDS)
def test_drops_stand_on_the_outside_and_end_in_the_glass(asked):
    drops = dew.strew_drops(SKIN, asked, COLD)
    # The walls in the glass have eight sides at least: half of 45 deg.
    mesh = check(dew.drop_mesh(drops, asked.angle_deg, 0.1), normals_within_deg=23)
    section = shapely.Polygon(GLASS.section.points_mm)
    shapely.prepare(section)
    radius, height = np.hypot(*mesh.vertices_mm[:, :2].T), mesh.vertices_mm[:, 2]
    inside = shapely.contains_xy(section, radius, height)
    away = shapely.distance(shapely.points(radius, height), section.exterior)
    # Nothing comes through the wall: what is not in the glass is outside, the rest ends near the outside.
    room = shapely.Polygon([*GLASS.inner.points_mm, (0.0, GLASS.height_mm)])
    assert away[inside].max() < 0.13 and not shapely.contains_xy(room, radius, height).any()
    # As high as the largest head's cap: a tan(q / 2).
    assert (away[~inside] < 3 * 1.5 * np.tan(np.radians(asked.angle_deg) / 2)).all()
    # The bottoms lie in the glass; the domes' rims on its outside.
    bottom = mesh.patches % 3 == 2
    assert inside[np.unique(mesh.faces[bottom])].all()
    rims = np.setdiff1d(np.unique(mesh.faces[mesh.patches % 3 == 1]), np.flatnonzero(inside & (away > 0.05)))
    assert away[rims].max() < 2e-3


def test_drops_do_not_lie_on_one_another():
    """So at most one is met at any place, where 15 could be counted."""
    drops = dew.strew_drops(SKIN, Dew(3000, 0.8, 5, 60, runs=8), COLD)
    pairs = cKDTree(drops.spots.places_mm).query_pairs(5.0, output_type="ndarray")
    apart = np.linalg.norm(np.subtract(*drops.spots.places_mm[pairs.T]), axis=1)
    beads = drops.long > 1
    free = ~beads[pairs].any(axis=1)
    assert (apart > drops.radii_mm[pairs].sum(axis=1))[free].all()


def test_drops_are_dense_where_it_is_cold():
    """Per area over the fill line as a share of under it: `above`, within four standard errors."""
    for above in (0.0, 0.3):
        drops = dew.strew_drops(SKIN, Dew(3000, 0.5, 0.5, 40, above=above), COLD)
        z = drops.spots.places_mm[:, 2]
        # A straight wall: counts per height; the cold fades out over 6 mm.
        high, low = ((z > 117) & (z < 140)).sum() / 23, ((z > 30) & (z < 110)).sum() / 80
        assert abs(high - above * low) <= 4 * np.sqrt(max(above * low, 1e-9) / 23)


def test_runs_leave_dry_tracks():
    asked = Dew(2500, 0.6, 3.0, 50, runs=5, seed=3)
    drops = dew.strew_drops(SKIN, asked, COLD)
    heads = np.flatnonzero(drops.long > 1)
    assert 3 <= len(heads) <= 5
    places = drops.spots.places_mm
    small = np.arange(asked.count)
    for head in heads:
        off = places[small] - places[head]
        over = (off @ drops.spots.upward[head] > 0) & (off @ drops.spots.upward[head] < 12)
        near = np.abs(off @ drops.spots.across[head]) < 0.75 * drops.radii_mm[head]
        # Not what lies on the far side of the glass.
        near &= np.linalg.norm(off, axis=1) < 15
        assert not (over & near).any()


@pytest.mark.parametrize("done", [Finish(cut=Cut(8, 2, 20, 70)), Finish(reliefs=(Flutes(1.0, 20, 70, 16),))])
def test_drops_follow_relief_and_facets(first_hit, done):
    """A spot on a panel or flute lies on the finished mesh, within its chords, with its facets' normals."""
    thick = vessel("rocks", wall_mm=6)
    mesh = finish(thick, done).mesh
    skin = Skin(thick.outer, tuple(find_zones(thick, done)))
    drops = dew.strew_drops(skin, Dew(25, 1, 1, 40), (20, 70))
    for place, outward in zip(drops.spots.places_mm, drops.spots.outward, strict=True):
        inward = -np.array([place[0], place[1], 0]) / np.hypot(*place[:2])
        met, face, _ = first_hit(mesh, place - 50 * inward, inward)
        assert met == pytest.approx(place, abs=0.004)
        facet = mesh.crosses_mm2[face] / np.linalg.norm(mesh.crosses_mm2[face])
        assert facet @ outward > np.cos(np.radians(5))


def test_seeds_and_cans():
    one, again, other = (dew.strew_drops(SKIN, Dew(200, 1, 3, 50, seed=seed), COLD) for seed in (1, 1, 2))
    assert np.array_equal(one.spots.places_mm, again.spots.places_mm)
    assert not np.array_equal(one.spots.places_mm, other.spots.places_mm)
    can = vessel("can")
    drops = dew.strew_drops(Skin(can.outer), Dew(400, 1, 3, 50), (0, can.height_mm))
    assert drops.spots.places_mm[:, 2].max() < can.height_mm - 3


def test_drops_that_find_no_room():
    with pytest.raises(StrewError, match=r"take about \d+ at most") as caught:
        dew.strew_drops(SKIN, Dew(20_000, 3, 5, 50), COLD)
    assert caught.value.part == "count"
    with pytest.raises(StrewError, match="no side of the glass is left"):
        dew.strew_drops(SKIN, Dew(10, 1, 2, 50, above=0), (300, 320))
