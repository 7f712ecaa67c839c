"""Outlines through measured points, corners, thinning."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimcast.vessels.curve import corner_near, rounded, smooth_curve
from brimcast.vessels.outline import OutlineError, arc, joined, line, thinned


@st.composite
def readings(draw):
    count = draw(st.integers(2, 9))
    steps = draw(st.lists(st.floats(0.5, 40), min_size=count - 1, max_size=count - 1))
    diameters = draw(st.lists(st.floats(4, 120), min_size=count, max_size=count))
    corners = draw(st.sets(st.integers(1, count - 2), max_size=2)) if count > 2 else set()
    return np.column_stack([np.cumsum([0.0, *steps]), diameters]), sorted(corners)


@settings(max_examples=40, deadline=None)
@given(readings())
def test_curve_stays_within_its_neighbours_and_passes_the_points(case):
    points, corners = case
    curve = smooth_curve(points, corners)
    radius, height = curve.points_mm.T
    stations = np.column_stack([points[:, 1] / 2, points[:, 0]])
    for low, high in zip(stations[:-1], stations[1:], strict=True):
        between = (height >= low[1]) & (height <= high[1])
        assert radius[between].min() >= min(low[0], high[0]) - 1e-9
        assert radius[between].max() <= max(low[0], high[0]) + 1e-9
    distances = np.hypot(*(curve.points_mm[:, None] - stations[None]).transpose(2, 0, 1))
    # In a very sharp bend points nearer than 1e-6 mm count as one.
    assert distances.min(axis=0).max() <= 1e-6
    assert (np.diff(height) >= 0).all()
    # A corner on a straight stretch is none.
    assert curve.pieces[-1] <= len(corners)


@settings(max_examples=40, deadline=None)
@given(readings())
def test_tangents_are_those_of_the_curve(case):
    """The tangent at each point lies between the chords that meet there, and is of length 1."""
    curve = smooth_curve(*case)
    assert np.allclose(np.hypot(*curve.tangents.T), 1, atol=1e-12)
    for piece in range(curve.pieces[-1] + 1):
        points, tangents = curve.points_mm[curve.pieces == piece], curve.tangents[curve.pieces == piece]
        chords = np.diff(points, axis=0)
        chords /= np.hypot(*chords.T)[:, None]
        assert np.einsum("ij,ij->i", chords, tangents[:-1]).min() > np.cos(np.radians(0.5))
        assert np.einsum("ij,ij->i", chords, tangents[1:]).min() > np.cos(np.radians(0.5))


def test_points_of_an_ellipse_give_the_ellipse():
    """An outside truth: 13 readings of an egg of half axes 40 and 60 mm; the curve stays within 0.03 mm."""
    angle = np.radians(np.linspace(-60, 60, 13))
    points = np.column_stack([60 * np.sin(angle), 2 * 40 * np.cos(angle)])
    points[:, 0] -= points[0, 0]
    curve = smooth_curve(points)
    height = curve.points_mm[:, 1] + 60 * np.sin(angle[0])
    assert np.abs(curve.points_mm[:, 0] - 40 * np.sqrt(1 - (height / 60) ** 2)).max() < 0.03


def test_straight_wall_stays_straight():
    curve = smooth_curve([(0, 60), (50, 60), (90, 60), (150, 70)])
    upright = curve.points_mm[:, 1] <= 50
    assert np.array_equal(curve.points_mm[upright, 0], np.full(upright.sum(), 30.0))


def test_only_the_named_corner_is_sharp():
    points = [(0, 65), (8, 40), (20, 30), (40, 60), (70, 66)]
    assert smooth_curve(points).pieces[-1] == 0
    sharp = smooth_curve(points, corners=[2])
    first = corner_near(sharp, (15, 20))
    assert sharp.pieces.tolist() == [0] * (first + 1) + [1] * (sharp.end - first)
    assert np.array_equal(sharp.points_mm[first], sharp.points_mm[first + 1])
    assert sharp.tangents[first] @ sharp.tangents[first + 1] < np.cos(np.radians(45))


@pytest.mark.parametrize(
    ("points", "corners", "index", "text"),
    [
        ([(0, 60), (20, 62), (20, 64)], (), 2, "not above the point before"),
        ([(0, 60), (20, -1), (30, 64)], (), 1, "must be more than 0"),
        ([(0, 60), (20, np.nan), (30, 64)], (), 1, "not a finite number"),
        ([(0, 60), (20, 62), (30, 64)], (2,), 2, "between the ends"),
        ([(0, 60), (20, 62), (30, 64)], {1: -1.0}, 1, "must be 0 or more"),
        ([(0, 60), (20, 20), (21, 64)], {1: 50.0}, 1, "does not fit"),
    ],
)
def test_wrong_readings_are_named_by_their_index(points, corners, index, text):
    with pytest.raises(OutlineError, match=text) as caught:
        smooth_curve(points, corners)
    assert caught.value.index == index


def test_rounded_right_angle_is_the_shape_that_a_disc_leaves():
    """Independent route: shapely's opening of a square by a disc."""
    square = joined([line((0, 0), (10, 0)), line((10, 0), (10, 10))])
    soft = rounded(square, corner_near(square, (10, 0)), 2.0)
    polygon = shapely.Polygon([*soft.points_mm, (0, 10)])
    opened = shapely.box(0, 0, 10, 10).buffer(-2, quad_segs=720).buffer(2, quad_segs=720)
    missing = (4 - np.pi) * 2**2 / 4
    assert 100 - polygon.area == pytest.approx(missing, rel=1e-4)
    assert shapely.difference(shapely.box(5, 0, 10, 5), opened).area == pytest.approx(missing, rel=1e-4)
    assert soft.pieces[-1] == 0


def test_rounded_corner_between_curves_is_smooth():
    """Tangents on both sides of each contact agree: the chord turns by no more than a fine step."""
    curve = smooth_curve([(0, 65), (8, 40), (20, 30), (40, 60), (70, 66)], corners={2: 1.5})
    assert curve.pieces[-1] == 0
    ways = np.arctan2(curve.tangents[:, 1], curve.tangents[:, 0])
    assert np.abs(np.diff(ways)).max() < np.radians(0.3)
    nearest = np.hypot(*(curve.points_mm - [15.0, 20.0]).T).min()
    assert 0.05 < nearest < 1.5


@pytest.mark.parametrize("chord_error_mm", [0.05, 0.002])
def test_thinned_outline_keeps_its_chord_error(chord_error_mm):
    curve = smooth_curve([(0, 65), (8, 40), (20, 30), (40, 60), (70, 66), (120, 50)], corners=[2])
    thin = thinned(curve, chord_error_mm, normal_off_deg=8)
    kept = shapely.LineString(thin.points_mm)
    off = shapely.distance(kept, shapely.points(curve.points_mm))
    assert off.max() <= chord_error_mm + 1e-12
    assert len(thin.points_mm) < len(curve.points_mm) / 5
    assert np.isin(thin.points_mm, curve.points_mm).all()


def test_thinned_outline_keeps_normals_near_the_chords():
    thin = thinned(arc((0, 0), 0.3, 0, 180), 1.0, normal_off_deg=3)
    chords = np.diff(thin.points_mm, axis=0)
    chords /= np.hypot(*chords.T)[:, None]
    off_deg = np.degrees(np.arccos(np.einsum("ij,ij->i", chords, thin.tangents[:-1]).min()))
    assert off_deg <= 3 + 1e-9


@settings(max_examples=25, deadline=None)
@given(readings(), st.floats(1.0, 8.0))
def test_tangents_between_kept_points_follow_the_curve(case, normal_off_deg):
    """Taken linearly between two kept points, as a renderer takes normals: off by a thirtieth at most."""
    curve = smooth_curve(*case)
    thin = thinned(curve, 0.02, normal_off_deg)
    for piece in range(curve.pieces[-1] + 1):
        points, tangents = curve.points_mm[curve.pieces == piece], curve.tangents[curve.pieces == piece]
        kept, ends = thin.points_mm[thin.pieces == piece], thin.tangents[thin.pieces == piece]
        heights = kept[:, 1]
        step = np.clip(np.searchsorted(heights, points[:, 1], side="right") - 1, 0, len(kept) - 2)
        way = kept[step + 1] - kept[step]
        share = np.einsum("ij,ij->i", points - kept[step], way) / np.einsum("ij,ij->i", way, way)
        taken = (1 - share)[:, None] * ends[step] + share[:, None] * ends[step + 1]
        taken /= np.hypot(*taken.T)[:, None]
        off = np.abs(taken[:, 0] * tangents[:, 1] - taken[:, 1] * tangents[:, 0])
        assert np.degrees(off.max()) <= normal_off_deg / 30 + 1e-6


def test_wall_does_not_begin_within_the_rounding_before_it():
    """Long chords of a rounded right angle have the straight side's own direction at both ends."""
    square = joined([line((0, 0), (10, 0)), line((10, 0), (10, 90))])
    thin = thinned(rounded(square, corner_near(square, (10, 0)), 1.25))
    steps = np.diff(thin.points_mm, axis=0)
    (wall,) = np.flatnonzero(np.hypot(*steps.T) > 20)
    assert np.abs(thin.tangents[[wall, wall + 1], 0]).max() < 1e-12


def test_at_follows_an_arc_between_its_points():
    curve = arc((3, 4), 20, 10, 80)
    for place in (0.3, 17.77, curve.end - 0.5):
        point, tangent = curve.at(place)
        away = (point - [3, 4]) / 20
        assert np.hypot(*away) == pytest.approx(1, abs=1e-11)
        assert away @ tangent == pytest.approx(0, abs=1e-8)
