"""Making tolerances: variants stay in their band, fill it, and come out alike from one seed."""

import numpy as np
import pytest

from brimcast.vessels.library import SHAPES, vessel, vessel_from_outline
from brimcast.vessels.variants import _spread, variants

READINGS = [(0, 60), (50, 64), (100, 66)]


def _offs(made):
    return np.array([(one.wall_off_mm, one.diameter_off_mm) for one in made])


def test_wall_and_diameter_are_off_by_what_is_said():
    for one in variants("rocks", 0.3, 1.5, 6):
        assert one.vessel.thinnest_mm == pytest.approx(3.0 + one.wall_off_mm, abs=1e-3)
        assert 2 * one.vessel.rim_radius_mm == pytest.approx(85 + one.diameter_off_mm, abs=1e-9)
        assert one.vessel.height_mm == 92 and one.vessel.base_mm == pytest.approx(18)


@pytest.mark.parametrize("count", [1, 5, 8])
def test_band_is_filled_evenly(count):
    """One in each of `count` equal parts of the band, in both measures."""
    offs = _offs(variants("tumbler", 0.4, 2.0, count, seed=7)) / (0.4, 2.0)
    assert (np.abs(offs) <= 1).all()
    for column in offs.T:
        assert sorted(np.floor((column + 1) / 2 * count).astype(int)) == list(range(count))


def test_one_seed_gives_the_same_glasses_and_another_seed_others():
    first, again, other = (_offs(variants("tumbler", 0.4, 2.0, 5, seed)) for seed in (3, 3, 4))
    assert np.array_equal(first, again)
    assert not np.isclose(first, other).any()


def test_wall_and_diameter_vary_independently():
    """Spearman's rank correlation over 900 glasses: its standard error is 1 / sqrt(899), 0.033."""
    from scipy.stats import spearmanr

    assert abs(spearmanr(*_spread(900, seed=5).T).statistic) < 4 * 0.033


def test_capacity_follows_the_inside():
    """A straight glass with a flat base holds pi r^2 per mm: r the radius less the wall."""
    made = variants([(0, 70), (100, 70)], 0.3, 1.0, 4, wall_mm=2.0, base_mm=8.0, fillet_mm=0.0)
    for one in made:
        radius_mm = (70 + one.diameter_off_mm) / 2 - (2.0 + one.wall_off_mm)
        risen_ml = one.vessel.capacity_ml(80) - one.vessel.capacity_ml(30)
        assert risen_ml == pytest.approx(np.pi * radius_mm**2 * 50 / 1000, rel=1e-8)


def test_no_tolerance_gives_the_glass_itself():
    (library,) = variants("coupe", 0, 0, 1)
    (measured,) = variants(READINGS, 0, 0, 1, wall_mm=2.0, base_mm=8.0)
    assert np.array_equal(library.vessel.section.points_mm, vessel("coupe").section.points_mm)
    plain = vessel_from_outline(READINGS, 2.0, 8.0)
    assert np.array_equal(measured.vessel.section.points_mm, plain.section.points_mm)


def test_measures_that_were_asked_for_vary_with_the_glass_and_the_stem_does_not():
    made = variants("tasting", 0, 3.0, 3, diameter_mm=70.0, rim_diameter_mm=50.0, height_mm=170.0)
    for one in made:
        factor = (70 + one.diameter_off_mm) / 70
        assert 2 * one.vessel.rim_radius_mm == pytest.approx(50 * factor, rel=1e-9)
        stem = one.vessel.outer.at(one.vessel.outer.place_at_height(35.0))[0][0]
        assert 2 * stem == pytest.approx(SHAPES["tasting"].points[5][1], abs=1e-6)
        assert one.vessel.height_mm == 170


def test_wall_by_height_varies_as_a_whole():
    table = ((10.0, 3.0), (90.0, 1.5))
    made = variants(READINGS, 0.2, 0, 3, wall_mm=table, base_mm=8.0, fillet_mm=2.0)
    thinnest = [one.vessel.thinnest_mm - one.wall_off_mm for one in made]
    assert np.ptp(thinnest) < 0.01


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        (("rocks", -0.1, 0, 3), "wall_pm_mm: -0.1 mm; it must be 0 or more and less than 3 mm"),
        (("rocks", 3.0, 0, 3), "wall_pm_mm: 3 mm"),
        (("rocks", 0, 85.0, 3), "diameter_pm_mm: 85 mm"),
        (("rocks", float("nan"), 0, 3), "wall_pm_mm: nan mm"),
        (("rocks", 0.1, 0, 0), "count: 0; it must be 1 to 1000"),
        (("can", 0.1, 0, 2), "can has no wall_mm"),
        (("teacup", 0.1, 0, 2), "no glass is called 'teacup'"),
    ],
)
def test_tolerances_that_cannot_be_are_named(asked, text):
    with pytest.raises(ValueError, match=text):
        variants(*asked)
