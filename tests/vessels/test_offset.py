"""Curves at a distance, held to shapely's buffers."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimcast.vessels.curve import smooth_curve
from brimcast.vessels.offset import largest_disc, offset
from brimcast.vessels.outline import arc, joined, line


def _buffered_side(outline, distance_mm):
    """Return shapely's curve at a distance on the inner side of an upward outline."""
    high = outline.points_mm[-1, 1]
    body = shapely.Polygon([(0, 0), *outline.points_mm, (0, high)])
    return body.buffer(-distance_mm, quad_segs=512).boundary


@settings(max_examples=15, deadline=None)
@given(
    diameters=st.lists(st.floats(40, 90), min_size=4, max_size=6),
    distance_mm=st.floats(0.5, 5),
    corner=st.sampled_from([(), (2,)]),
)
def test_inner_curve_is_that_of_a_buffered_body(diameters, distance_mm, corner):
    points = np.column_stack([np.arange(len(diameters)) * 25.0, diameters])
    outline = smooth_curve(points, corner)
    moved = offset(outline, -distance_mm)
    assert shapely.LineString(moved.points_mm).is_simple
    # Ends aside, where the body's flat bottom and top also count.
    z = moved.points_mm[:, 1]
    inner = moved.points_mm[(z > 2 * distance_mm + 2) & (z < points[-1, 0] - 2 * distance_mm - 2)]
    off = shapely.distance(_buffered_side(outline, distance_mm), shapely.points(inner))
    # Both are polygons: 0.0001 mm chords here, 512 to a quarter turn there.
    assert off.max() < 2e-3


def test_normals_stay_those_of_the_nearest_point():
    outline = smooth_curve([(0, 60), (40, 72), (90, 64), (120, 66)])
    moved = offset(outline, -2.0)
    back = moved.points_mm + 2.0 * moved.normals
    assert shapely.distance(shapely.LineString(outline.points_mm), shapely.points(back)).max() < 1e-12


def test_outer_corners_are_rounded_and_inner_ones_stay():
    """Right angles: 1 mm outside, a quarter circle; 1 mm inside, a corner at (9, 1)."""
    bend = joined([line((0, 0), (10, 0)), line((10, 0), (10, 10))])
    outside, inside = offset(bend, 1.0), offset(bend, -1.0)
    assert outside.pieces[-1] == 0
    rounding = outside.points_mm[(outside.points_mm[:, 0] > 10) & (outside.points_mm[:, 1] < 0)]
    assert np.allclose(np.hypot(*(rounding - [10, 0]).T), 1, atol=1e-12) and len(rounding) > 300
    assert inside.pieces[-1] == 1
    assert np.allclose(inside.points_mm, [(0, 1), (9, 1), (9, 1), (9, 10)], atol=1e-9)


def test_tight_bend_leaves_no_loop():
    """A 1 mm bend moved inward by 3 mm: the loop it makes is cut off where the straight sides cross."""
    bend = joined([line((0, 0), (9, 0)), arc((9, 1), 1, -90, 0), line((10, 1), (10, 10))])
    moved = offset(bend, -3.0)
    assert np.allclose(moved.points_mm, [(0, 3), (7, 3), (7, 3), (7, 10)], atol=1e-9)


def test_varying_distance_is_the_shortest_way_across():
    outline = line((30, 0), (34, 100)).densified(0.5)
    along = np.linspace(0, np.hypot(4, 100), len(outline.points_mm))
    wanted = 2 + 0.01 * along
    moved = offset(outline, -wanted, np.full(len(along), 0.01))
    for point, normal, distance in zip(moved.points_mm, moved.normals, wanted, strict=True):
        # The disc round the outline's point touches the curve: no point of the curve lies inside it.
        centre = point + distance * normal
        assert np.hypot(*(moved.points_mm - centre).T).min() == pytest.approx(distance, abs=1e-12)


def test_distance_cannot_change_faster_than_the_outline_runs():
    outline = line((30, 0), (30, 10))
    with pytest.raises(ValueError, match="faster"):
        offset(outline, [-1, -12], [1.1, 1.1])


def test_largest_disc_in_a_right_angled_corner():
    """On the point (0, 0) of a floor, beside a wall at radius 7: a disc of 7 mm touches at height 7."""
    wall = line((7, 0), (7, 40)).densified(0.25)
    radius_mm, place = largest_disc(np.array([0.0, 0.0]), np.array([0.0, 1.0]), wall)
    assert radius_mm == pytest.approx(7, abs=1e-9)
    assert wall.at(place)[0] == pytest.approx([7, 7], abs=1e-3)
