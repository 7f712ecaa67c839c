"""The search, on functions whose answers are known, with noise that is known.

Counts of repeats are held to the binomial distribution: beyond its 0.05 and 99.95 % they do not go by luck.
"""

import itertools

import numpy as np
import pytest
from scipy.stats import binom

from brimcast.renders.answers.extremes import find_least
from brimcast.renders.answers.marks import find_mark
from brimcast.renders.answers.search import find_first, scan
from brimcast.renders.answers.trials import Axis, Trials

NOISE = (0.12, 0.04)
THROW = Axis(600.0, 4000.0, 0.1, by_share=True)
TEN = Axis(0.0, 10.0, 0.1)
REPEATS = 40


def noisy(function, *axes, noise=NOISE, bias=(0.0, 0.0), seed=1):
    """Trials of a function with normal noise and a constant of each level."""
    rng = np.random.default_rng(seed)

    def evaluate(values, level, number):
        found = function(*values)
        if found is None:
            return None
        found = np.atleast_1d(np.asarray(found, float)) + bias[level]
        return found + rng.normal(0, noise[level], found.shape), np.full(found.shape, noise[level])

    return Trials(axes, evaluate)


def width_miss(throw_mm):
    """A 30 mm lamp, 73 mm from glass to a line 0.75 mm wide by itself; wanted 2 mm. Widths add as squares."""
    return np.hypot(0.75, 30 * 73 / throw_mm) - 2


TRUE_MM = 30 * 73 / np.sqrt(2**2 - 0.75**2)


def off(trials, outcome, true):
    """The answer less the truth, in stated standard errors, for each variable."""
    places = zip(trials.axes, outcome.t, outcome.error, true, strict=True)
    return [(axis.outer(t) - real) / (axis.rate(t) * error) for axis, t, error, real in places]


def hold_to_normal(offs):
    """As many within one and two standard errors as there should be; bounds by the binomial distribution."""
    offs = np.abs(offs)
    for within, share in ((1, 0.6827), (2, 0.9545)):
        assert (offs < within).sum() >= binom.ppf(5e-4, len(offs), share), within


def test_throw_is_found_within_its_error():
    found, evaluations = [], []
    for seed in range(REPEATS):
        trials = noisy(width_miss, THROW, bias=(0.1, 0.0), seed=seed)
        outcome = find_first(trials, True, 6, (0, 1))
        assert outcome.verdict == "found" and outcome.lasts
        found += off(trials, outcome, [TRUE_MM])
        evaluations.append(len(trials.seen))
        # Half of the useful 10 % at most, or noise would have been the limit.
        assert THROW.rate(outcome.t[0]) * outcome.error[0] < 0.05 * TRUE_MM
    hold_to_normal(found)
    # And not far too careful either: their spread is that of their errors within a third.
    assert 0.67 < np.std(found) < 1.33
    assert np.mean(evaluations) < 15


def test_coarse_level_that_meets_the_wish_nowhere_does_not_end_what_a_finer_one_finds():
    """Coarse cells widen a line by 0.6 mm, so that the whole scan lies above 2 mm; at 4 m it has 1.6 mm."""
    found = []
    for seed in range(REPEATS):
        trials = noisy(
            lambda throw: 1.4 + 800 / throw - 2, THROW, bias=(0.6, 0.0), noise=(0.05, 0.02), seed=seed
        )
        outcome = find_first(trials, True, 6, (0, 1))
        assert all(one.value[0] > 0 for one in trials.seen if one.level == 0)
        assert outcome.verdict == "found" and outcome.lasts
        found += off(trials, outcome, [800 / 0.6])
    hold_to_normal(found)


def test_root_without_noise_is_exact():
    trials = noisy(width_miss, THROW, noise=(0.0, 0.0))
    outcome = find_first(trials, True, 6, (0, 1))
    assert trials.outer(outcome.t)[0] == pytest.approx(TRUE_MM, rel=1e-3)


def test_none_in_range_is_said_with_the_nearest():
    for seed in range(20):
        trials = noisy(lambda throw: width_miss(throw) + 1.5, THROW, seed=seed)
        outcome = find_first(trials, True, 6, (0, 1))
        assert outcome.verdict == "nowhere"
        # The least miss is at the far end, or nothing shows that it is not.
        least = width_miss(4000.0) + 1.5
        assert outcome.value[0] == pytest.approx(least, abs=4 * NOISE[1])
        assert width_miss(trials.outer(outcome.t)[0]) + 1.5 == pytest.approx(least, abs=4 * NOISE[1])


def test_met_everywhere_gives_the_end_preferred():
    outcome = find_first(noisy(lambda throw: width_miss(throw) - 4, THROW), True, 6, (0, 1))
    assert outcome.verdict == "everywhere" and outcome.t[0] == 0 and outcome.lasts


def test_first_crossing_that_lasts_is_taken():
    """Below 0 between 2 and 4, and beyond 7, where it lasts."""

    def wavy(x):
        return (x - 2) * (x - 4) * (7 - x) * 0.1 if x < 7 else 7 - x

    outcome = find_first(noisy(wavy, TEN), True, 11, (0, 1))
    assert outcome.verdict == "found" and outcome.lasts
    assert TEN.outer(outcome.t[0]) == pytest.approx(7, abs=0.2)


def test_stretch_that_ends_is_told():
    outcome = find_first(noisy(lambda x: (x - 5) ** 2 - 4, TEN), True, 7, (0, 1))
    assert TEN.outer(outcome.t[0]) == pytest.approx(3, abs=0.1)
    assert not outcome.lasts and TEN.outer(outcome.ends) > 7


def test_stretch_between_the_places_scanned_is_found():
    found = []
    for seed in range(40):
        trials = noisy(lambda x: 2 * (x - 5.1) ** 2 - 0.5, TEN, seed=seed)
        outcome = find_first(trials, True, 5, (0, 1))
        assert outcome.verdict == "found"
        found += off(trials, outcome, [4.6])
    hold_to_normal(found)


def test_preferred_end_chooses_among_crossings():
    def cubic(x):
        return (x - 2) * (x - 5) * (x - 8) / 10

    for axis, root in ((TEN, 2.0), (Axis(10.0, 0.0, 0.1), 8.0)):
        outcome = find_first(noisy(cubic, axis), False, 7, (0, 1))
        assert axis.outer(outcome.t[0]) == pytest.approx(root, abs=0.1)


def test_direction_that_goes_round_is_no_crossing():
    """Misses of a direction jump from +180 to -180; only the other change of sign counts."""

    def turning(x):
        return (36 * x - 60 + 180) % 360 - 180

    axis = Axis(10.0, 0.0, 0.1)
    outcome = find_first(noisy(turning, axis), False, 7, (0, 1), wrap=180.0)
    assert axis.outer(outcome.t[0]) == pytest.approx(60 / 36, abs=0.05)


def test_places_without_a_value_are_passed_over():
    def part(x):
        return None if x > 6.5 else x - 6

    outcome = find_first(noisy(part, TEN), False, 6, (0, 1))
    assert outcome.verdict == "nowhere" or TEN.outer(outcome.t[0]) == pytest.approx(6, abs=0.2)
    assert find_first(noisy(lambda x: None, TEN), True, 6, (0, 1)).verdict == "dark"


def test_least_is_found_within_its_error():
    found = []
    for seed in range(40):
        trials = noisy(lambda x: (x - 4) ** 2, TEN, noise=(0.5, 0.2), seed=seed)
        outcome = find_least(trials, scan(trials, 7), 1.0, (0, 1))
        found += off(trials, outcome, [4.0])
    hold_to_normal(found)


def test_largest_at_an_end_is_told():
    trials = noisy(lambda x: x, TEN)
    outcome = find_least(trials, scan(trials, 6), -1.0, (0, 1))
    assert outcome.at_end and outcome.t[0] == 1


def tip(elevation_deg, azimuth_deg):
    """Where the shadow of a point 150 mm over the table falls, from a mark at (40, -120) mm."""
    reach = 150 / np.tan(np.radians(elevation_deg))
    turn = np.radians(azimuth_deg)
    return reach * np.sin(turn) - 40, reach * np.cos(turn) + 120


def test_mark_is_met_by_two_angles():
    axes = Axis(10.0, 70.0, 1.0), Axis(120.0, 200.0, 1.0)
    true = np.degrees(np.arctan2(150, np.hypot(40, 120))), np.degrees(np.arctan2(40, -120))
    starts = list(itertools.product((0.0, 0.5, 1.0), repeat=2))
    found = []
    for seed in range(16):
        trials = noisy(tip, *axes, noise=(2.0, 0.7), bias=(0.5, 0.0), seed=seed)
        outcome = find_mark(trials, starts, (0, 1), 3.0)
        assert outcome.verdict == "found"
        assert trials.outer(outcome.t) == (pytest.approx(true[0], abs=1), pytest.approx(true[1], abs=1))
        found += off(trials, outcome, true)
    hold_to_normal(found)


def test_mark_out_of_reach_is_said_with_the_nearest():
    """Elevations of 60 deg and more reach no further than 87 mm; the mark is 126 mm off."""
    axes = Axis(60.0, 80.0, 1.0), Axis(120.0, 200.0, 1.0)
    trials = noisy(tip, *axes, noise=(2.0, 0.7))
    outcome = find_mark(trials, list(itertools.product((0.0, 0.5, 1.0), repeat=2)), (0, 1), 3.0)
    assert outcome.verdict == "nowhere"
    assert trials.outer(outcome.t)[0] == pytest.approx(60, abs=0.5)
    miss = np.hypot(40, 120) - 150 / np.tan(np.radians(60))
    assert np.linalg.norm(outcome.value) == pytest.approx(miss, abs=3)
