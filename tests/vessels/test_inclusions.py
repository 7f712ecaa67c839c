"""Bubbles in the glass: inside it, apart, evenly spread, and the same again."""

import numpy as np
import pytest
import shapely

from brimcast.vessels.facets import Cut
from brimcast.vessels.finish import Finish, finish
from brimcast.vessels.inclusions import Bubbles, bubble_mesh, strew_bubbles
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import check
from brimcast.vessels.outside import FinishError

TUMBLER = vessel("tumbler", wall_mm=5, base_mm=15)
CUT = finish(TUMBLER, Finish(cut=Cut(8, 3.5, 20, 80)), 0.5)


def test_bubbles_are_closed_balls_of_the_sizes_asked_for():
    """Volume of each ball within the facets' loss, (n / 2 pi) sin(2 pi / n) both ways round."""
    bubbles = Bubbles(25, 0.4, 1.2, 3)
    mesh = check(bubble_mesh(CUT.core_mm, bubbles), normals_within_deg=12)
    diameters = np.linspace(0.4, 1.2, 25)
    share = 32 / (2 * np.pi) * np.sin(2 * np.pi / 32)
    assert mesh.volume_mm3 == pytest.approx(share**2 * np.pi / 6 * (diameters**3).sum(), rel=0.01)


def test_bubbles_lie_inside_the_glass_and_apart():
    """Also under facets: all of each lies before every panel's plane, 31.5 mm off the axis."""
    centres, sizes = strew_bubbles(CUT.core_mm, Bubbles(300, 0.3, 1.0, 5))
    section = shapely.Polygon(TUMBLER.section.points_mm)
    radius = np.hypot(centres[:, 0], centres[:, 1])
    room = shapely.distance(shapely.points(radius, centres[:, 2]), section.exterior)
    on_axis = radius < sizes
    assert shapely.contains_xy(section, radius, centres[:, 2]).all()
    assert (room[~on_axis] > sizes[~on_axis] / 2).all()
    turn = -np.pi / 2 + 2 * np.pi * np.arange(8) / 8
    beyond = centres[:, :2] @ np.stack([np.cos(turn), np.sin(turn)]) + sizes[:, None] / 2
    panel = (centres[:, 2] > 25) & (centres[:, 2] < 75)
    assert panel.sum() > 15 and beyond[panel].max() < 31.5
    gaps = np.linalg.norm(centres[:, None] - centres, axis=2) - (sizes[:, None] + sizes) / 2
    assert gaps[~np.eye(300, dtype=bool)].min() > 0.05


def test_bubbles_are_spread_evenly_by_volume():
    """Share in the base against the share of the glass's volume there, within four standard errors."""
    centres, _ = strew_bubbles(TUMBLER.section.points_mm, Bubbles(800, 0.05, 0.05, 2))
    # As far as bubbles reach: 0.125 mm within the surface.
    room = shapely.Polygon(TUMBLER.section.points_mm).buffer(-0.125)
    low = shapely.intersection(room, shapely.box(0, 0, 100, 14))
    share = low.centroid.x * low.area / (room.centroid.x * room.area)
    seen = np.mean(centres[:, 2] < 14)
    assert abs(seen - share) < 4 * np.sqrt(share * (1 - share) / 800)


def test_same_seed_gives_the_same_bubbles():
    first, _ = strew_bubbles(CUT.core_mm, Bubbles(20, 0.4, 0.4, 3))
    again, _ = strew_bubbles(CUT.core_mm, Bubbles(20, 0.4, 0.4, 3))
    other, _ = strew_bubbles(CUT.core_mm, Bubbles(20, 0.4, 0.4, 4))
    assert np.array_equal(first, again) and not np.array_equal(first, other)


@pytest.mark.parametrize(
    ("bubbles", "text"),
    [
        ((5, 20.0, 20.0), "bubble 1 of 5, 20 mm across, finds no room in the glass"),
        ((900, 8.0, 8.0), r"bubble \d+ of 900, 8 mm across, finds no room"),
        ((0, 1.0, 1.0), "0 bubbles; allowed: 1 to 1000"),
        ((5, 2.0, 1.0), "from 2 mm to 1 mm"),
    ],
)
def test_bubbles_that_do_not_fit(bubbles, text):
    with pytest.raises(FinishError, match=text) as caught:
        strew_bubbles(CUT.core_mm, Bubbles(*bubbles))
    assert caught.value.part == "bubbles"
