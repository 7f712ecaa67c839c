"""Glass walls: thickness, base, heel and rim."""

import numpy as np
import pytest
import shapely

from brimcast.vessels.curve import smooth_curve
from brimcast.vessels.outline import OutlineError
from brimcast.vessels.wall import Measures, close_wall

STRAIGHT = smooth_curve([(0, 70), (90, 70)])
BELLIED = smooth_curve([(0, 50), (30, 74), (70, 78), (110, 60)])


def _thickness_mm(wall, height_mm):
    """Return the shortest way from the inside at a height to the outside, mm."""
    inside = wall.inner.at(wall.inner.place_at_height(height_mm, last=False))[0]
    return shapely.LineString(wall.outer.points_mm).distance(shapely.Point(inside))


def test_section_of_a_straight_glass_has_the_area_of_its_rectangles():
    """Square edges: 35 x 90 less the inside 32.5 x 80."""
    measures = Measures(wall_mm=2.5, base_mm=10, fillet_mm=0, heel_mm=0, rim_mm=0)
    wall = close_wall(STRAIGHT, measures)
    assert shapely.Polygon(wall.section.points_mm).area == pytest.approx(35 * 90 - 32.5 * 80, abs=1e-9)
    assert wall.thinnest_mm == pytest.approx(2.5, abs=1e-9)
    assert wall.section.pieces[-1] == 4  # underside, outside, rim, inside, inner base


def test_each_rounding_takes_the_area_of_its_corner():
    """A right-angled corner loses (1 - pi/4) r^2; the inner fillet adds it; the round rim is a half disc."""
    corner = 1 - np.pi / 4
    measures = Measures(wall_mm=2.5, base_mm=10, fillet_mm=5, heel_mm=3)
    wall = close_wall(STRAIGHT, measures)
    rim = 2.5 * 1.25 - np.pi * 1.25**2 / 2
    area = 35 * 90 - 32.5 * 80 - corner * 3**2 + corner * 5**2 - rim
    # Chords of the fine outline: 0.0001 mm.
    assert shapely.Polygon(wall.section.points_mm).area == pytest.approx(area, abs=2e-3)
    assert wall.section.pieces[-1] == 0


def test_hollow_takes_a_cap_under_the_foot_and_the_glass_stands_on_a_circle():
    measures = Measures(wall_mm=2.5, base_mm=10, fillet_mm=5, heel_mm=3, hollow_mm=1.5)
    wall = close_wall(STRAIGHT, measures)
    assert wall.outer.points_mm[0] == pytest.approx([0, 1.5], abs=1e-12)
    assert wall.outer.normals[0] == pytest.approx([0, -1], abs=1e-12)
    lowest = wall.outer.points_mm[wall.outer.points_mm[:, 1].argmin()]
    assert lowest == pytest.approx([32, 0], abs=1e-12)
    assert (wall.outer.points_mm[:, 1] < 1e-3).sum() < 40
    turns = np.diff(np.arctan2(wall.outer.tangents[:, 1], wall.outer.tangents[:, 0]))
    assert np.abs(turns).max() < np.radians(0.3)


@pytest.mark.parametrize("outline", [STRAIGHT, BELLIED], ids=["straight", "bellied"])
def test_round_rim_ends_at_the_height_and_is_as_wide_as_the_wall(outline):
    top_mm = outline.points_mm[-1, 1]
    wall = close_wall(outline, Measures(wall_mm=2.4, base_mm=9, fillet_mm=4))
    crest = wall.outer.points_mm[-1]
    assert crest == pytest.approx(wall.inner.points_mm[-1], abs=1e-9)
    assert crest[1] == pytest.approx(top_mm, abs=1e-9)
    assert wall.section.points_mm[:, 1].max() == pytest.approx(top_mm, abs=1e-9)
    rim = wall.section.points_mm[wall.section.points_mm[:, 1] > top_mm - 0.6]
    assert len(rim) > 300
    assert np.hypot(*(rim - (crest - [0, 1.2])).T) == pytest.approx(1.2, abs=1e-7)


def test_cut_rim_has_the_given_edge_radius():
    wall = close_wall(STRAIGHT, Measures(wall_mm=2.5, base_mm=10, fillet_mm=5, rim_mm=0.3))
    flat = wall.section.points_mm[wall.section.points_mm[:, 1] > 90 - 1e-9, 0]
    assert [flat.min(), flat.max()] == pytest.approx([32.8, 34.7], abs=1e-9)


def test_thickness_is_the_shortest_way_across_everywhere():
    wall = close_wall(BELLIED, Measures(wall_mm=2.0, base_mm=9, fillet_mm=4))
    for height_mm in np.linspace(20, 105, 12):
        assert _thickness_mm(wall, height_mm) == pytest.approx(2.0, abs=2e-4)


def test_thickness_follows_its_table():
    """Readings at three heights; the way across leans, so the height it is read at shifts by under 1 mm."""
    table = ((10.0, 4.0), (50.0, 2.0), (100.0, 1.2))
    wall = close_wall(BELLIED, Measures(wall_mm=table, base_mm=9, fillet_mm=2))
    for height_mm, thickness_mm in table[1:]:
        assert _thickness_mm(wall, height_mm) == pytest.approx(thickness_mm, abs=0.06)
    assert _thickness_mm(wall, 30) == pytest.approx(np.clip(_thickness_mm(wall, 30), 2.0, 4.0))
    heights = np.linspace(20, 100, 17)
    assert (np.diff([_thickness_mm(wall, z) for z in heights]) < 1e-6).all()


def test_ball_inside_a_bowl_rests_on_its_lowest_point_and_touches_the_wall_once():
    outline = smooth_curve([(0, 65), (2, 60), (8, 12), (20, 9), (60, 9), (70, 30), (90, 62), (120, 66)])
    wall = close_wall(outline, Measures(wall_mm=1.0, base_mm=72))
    start, foot = wall.inner.points_mm[0], wall.inner.normals[0]
    assert start == pytest.approx([0, 72], abs=1e-9) and foot == pytest.approx([0, -1], abs=1e-9)
    turns = np.diff(np.arctan2(wall.inner.tangents[:, 1], wall.inner.tangents[:, 0]))
    assert np.abs(turns).max() < np.radians(0.3)
    assert wall.thinnest_mm == pytest.approx(1.0, abs=3e-4)
    assert _thickness_mm(wall, 72.001) > 2


def test_measured_inside_is_taken_as_it_is():
    inside = smooth_curve([(8, 56), (50, 64), (90, 64.6)])
    wall = close_wall(STRAIGHT, Measures(wall_mm=2.5, base_mm=8, fillet_mm=3), inside)
    kept = wall.inner.points_mm[(wall.inner.points_mm[:, 1] > 20) & (wall.inner.points_mm[:, 1] < 85)]
    # Chords of the fine outline: 0.0001 mm.
    assert shapely.distance(shapely.LineString(inside.points_mm), shapely.points(kept)).max() < 2e-4


def test_inside_that_breaks_through_is_refused_with_its_height():
    inside = smooth_curve([(8, 56), (50, 72), (90, 64)])
    with pytest.raises(ValueError, match=r"breaks through the outside (3|4)\d\.\d mm above the table"):
        close_wall(STRAIGHT, Measures(wall_mm=2.5, base_mm=8, fillet_mm=3), inside)


@pytest.mark.parametrize(
    ("measures", "text"),
    [
        ({"wall_mm": 0.0}, "wall_mm"),
        ({"wall_mm": ((10.0, 2.0), (5.0, 1.0))}, "must increase"),
        ({"base_mm": -2.0}, "base_mm"),
        ({"base_mm": 95.0}, "base_mm: 95 mm; it must be less than the height, 90 mm"),
        ({"hollow_mm": 12.0}, "hollow_mm: 12 mm; it must be less than the base, 10 mm"),
        ({"heel_mm": 50.0}, "heel_mm: a radius of 50 mm does not fit"),
        ({"fillet_mm": 40.0}, "fillet_mm: a radius of 40 mm does not fit"),
        ({"rim_mm": 1.3}, "rim_mm: 1.3 mm; it must be under half the wall there, 1.25 mm"),
        ({"wall_mm": 36.0}, "wall_mm: the wall is thicker than the glass's radius"),
    ],
)
def test_measures_that_do_not_fit_are_named(measures, text):
    with pytest.raises(ValueError, match=text):
        close_wall(STRAIGHT, Measures(**{"wall_mm": 2.5, "base_mm": 10.0, "fillet_mm": 5.0} | measures))


def test_outline_must_start_on_the_table():
    with pytest.raises(OutlineError, match="stands on the table") as caught:
        close_wall(smooth_curve([(3, 70), (90, 70)]), Measures(wall_mm=2.5, base_mm=10))
    assert caught.value.index == 0
