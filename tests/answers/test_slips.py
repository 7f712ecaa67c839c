"""Making and placing errors: what is drawn, what stays, and how a spread is told from noise."""

import numpy as np
import pytest

from brimcast.renders.answers import slipped, slips
from brimcast.scene.builder import build

SET = """
brimcast: 1
glasses:
  hero: {vessel: {shape: shot, wall: 2.6 mm}, at: [3 mm, 4 mm], turn: 15 deg}
lamps:
  key: {kind: disc, throw: 700 mm, elevation: 40 deg, azimuth: 150 deg}
  day: {kind: sun, elevation: 50 deg, azimuth: 200 deg}
flags: {side: {at: [200 mm, 0 mm, 100 mm]}}
cards: {glow: {at: [0 mm, 60 mm, 30 mm], size: hidden, facing: camera}}
camera: {aim: hero, focus: hero, distance: 1 m}
brief: {slips: {place: 2 mm, turn: 10 deg, throw: 20 mm, angle: 1 deg, wall: 0.1 mm, diameter: 0.3 mm}}
"""


@pytest.fixture(scope="module")
def study(study_of):
    return study_of(SET)


def test_draws_have_the_spread_of_the_brief(study):
    """Standard deviations by the chi-square distribution: within 5 standard errors for 400 draws."""
    variants = slipped.draw_slips(study, 400, seed=2)
    glasses = [variant.glasses["hero"] for variant in variants]
    lamps = [variant.lamps["key"] for variant in variants]
    drawn = {
        (2.0, 3.0): [glass.at_mm[0] for glass in glasses],
        (2.0, 4.0): [glass.at_mm[1] for glass in glasses],
        (10.0, 15.0): [glass.turn_deg for glass in glasses],
        (0.1, 2.6): [glass.vessel.wall_mm for glass in glasses],
        # A shot glass is 49 mm wide where the set does not say.
        (0.3, 49.0): [glass.vessel.diameter_mm for glass in glasses],
        (20.0, 700.0): [lamp.throw_mm for lamp in lamps],
        (1.0, 40.0): [lamp.elevation_deg for lamp in lamps],
        (1.0, 150.0): [lamp.azimuth_deg for lamp in lamps],
    }
    for (spread, middle), values in drawn.items():
        assert np.std(values, ddof=1) == pytest.approx(spread, rel=5 / np.sqrt(800))
        assert np.mean(values) == pytest.approx(middle, abs=5 * spread / np.sqrt(400))
    table = np.corrcoef(list(drawn.values()))
    assert np.abs(table - np.eye(len(table))).max() < 5 / np.sqrt(400)
    assert {variant.lamps["day"].elevation_deg for variant in variants} == {50.0}


def test_draws_repeat_by_seed_and_have_noise_of_their_own(study):
    def places(seed):
        return [variant.glasses["hero"].at_mm for variant in slipped.draw_slips(study, 3, seed)]

    assert places(5) == places(5) != places(6)
    assert len({variant.render.seed for variant in slipped.draw_slips(study, 3, 5)}) == 3


def test_only_the_glass_moves(study):
    frozen = slipped.freeze_places(study)
    moved = build(study.vary({**frozen, **slipped.move_glass(study, "hero", (5.0, 0.0))}), detail=0.5)
    still = study.built
    assert moved.feet[0].centre_mm == pytest.approx((8, 4))
    for before, after in zip(still.lamps, moved.lamps, strict=True):
        assert after.centre_mm == pytest.approx(before.centre_mm, abs=1e-3)
        assert after.facing == pytest.approx(before.facing, abs=1e-6)
    assert moved.camera.place_mm == pytest.approx(still.camera.place_mm, abs=1e-5)
    assert moved.camera.focus_mm == pytest.approx(still.camera.focus_mm, abs=1e-5)
    for before, after in zip(still.panels, moved.panels, strict=True):
        assert after.normal == pytest.approx(before.normal, abs=1e-7), before.name
        assert after.size_mm == pytest.approx(before.size_mm, rel=1e-6), before.name


def test_measured_outline_slips_all_round(study_of):
    study = study_of("""
brimcast: 1
glasses: {hero: {vessel: {outline: [[0 mm, 50 mm], [80 mm, 60 mm]], wall: [[0 mm, 3 mm], [60 mm, 2 mm]]}}}
lamps: {key: {}}
""")
    vessel = study.vary(slipped.remake_glass(study, "hero", 0.1, 0.6)).glasses["hero"].vessel
    assert vessel.outline_mm == (pytest.approx((0, 50.5)), pytest.approx((80, 60.6)))
    assert vessel.wall_mm == (pytest.approx((0, 3.1)), pytest.approx((60, 2.1)))


def test_noise_is_taken_off_a_scatter():
    """Independent noise adds as variance does: 0.3 and 0.4 make 0.5."""
    rng = np.random.default_rng(1)
    values = 7 + rng.normal(0, 0.3, 4000) + rng.normal(0, 0.4, 4000)
    found = slips.scatter([{"value": value, "standard_error": 0.4} for value in values])
    assert found == pytest.approx(0.3, rel=0.05)
    assert slips.scatter([{"value": value, "standard_error": 9.0} for value in values]) == 0
    undefined = {"value": None, "standard_error": None}
    assert slips.scatter([undefined, {"value": 1.0, "standard_error": 0.1}]) is None


def test_directions_scatter_across_north():
    turned = [{"value": value % 360, "standard_error": 0.0} for value in (358, 359, 0, 1, 2)]
    assert slips.scatter(turned, 360.0) == pytest.approx(np.std([-2, -1, 0, 1, 2], ddof=1))
