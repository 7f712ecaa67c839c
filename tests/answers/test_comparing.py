"""Differences and verdicts: synthetic numbers with known answers."""

import math

import pytest

from brimcast.renders.answers.answer import entry
from brimcast.renders.answers.comparing import (
    CLEAR,
    NONE,
    SLIGHT,
    TRAITS,
    UNKNOWN,
    find_difference,
    find_differences,
    tell_difference,
)
from brimcast.renders.answers.judging import judge


def option(**changed):
    """Return the numbers of an option; a changed one is given as value and error."""
    numbers = {
        "area_cm2": (10.0, 0.1),
        "peak_stops": (3.0, 0.02),
        "peak_over_table_stops": (3.0, 0.02),
        "table_stops": (0.0, 0.0),
        "line_width_mm": (2.0, 0.02),
        "length_mm": (100.0, 0.5),
        "tip_mm": ([30.0, -120.0], [0.5, 0.5]),
        "heading_deg": (345.0, 0.1),
        "lab": ([100.0, 0.0, 0.0], 0.2),
    } | changed
    return {key: entry(*pair) for key, pair in numbers.items()}


# Useful accuracy, common practice: place 3 mm, line width and area 10 %, exposure 1/3 stop, colour 3 dE00.
@pytest.mark.parametrize(
    ("measure", "value", "verdict"),
    [
        ("area_cm2", 10.9, NONE),
        ("area_cm2", 11.5, SLIGHT),
        ("area_cm2", 13.0, CLEAR),
        ("peak_stops", 3.3, NONE),
        ("peak_stops", 2.6, SLIGHT),
        ("peak_stops", 2.2, CLEAR),
        ("line_width_mm", 2.15, NONE),
        ("line_width_mm", 1.7, SLIGHT),
        ("length_mm", 102.9, NONE),
        ("length_mm", 103.5, SLIGHT),
        ("tip_mm", [32.0, -118.0], NONE),
        ("tip_mm", [32.0, -116.0], SLIGHT),
        ("tip_mm", [30.0, -100.0], CLEAR),
    ],
)
def test_verdict_is_by_the_trades_useful_accuracy(measure, value, verdict):
    error = [0.5, 0.5] if measure == "tip_mm" else 0.01
    found = find_difference(measure, option(), option(**{measure: (value, error)}))
    assert found.verdict == verdict


def test_noise_hides_a_difference_of_less_than_two_standard_errors():
    """Errors of both add in quadrature: 0.5 and 1.2 make 1.3."""
    noisy = option(area_cm2=(12.5, 1.2))
    found = find_difference("area_cm2", option(area_cm2=(10.0, 0.5)), noisy)
    assert found.number["standard_error"] == pytest.approx(1.3)
    assert found.limit == pytest.approx(2.6) and found.verdict == NONE
    assert find_difference("area_cm2", option(area_cm2=(10.0, 0.5)), option(area_cm2=(12.7, 1.2))).visible


def test_making_and_placing_errors_hide_a_difference_too():
    one, other = option(), option(length_mm=(110.0, 0.5))
    assert find_difference("length_mm", one, other).verdict == CLEAR
    spread = {"length_mm": 4.0, "tip_mm": [1.0, 1.0]}
    found = find_difference("length_mm", one, other, (spread, spread))
    assert found.spread == pytest.approx(4 * math.sqrt(2)) and found.verdict == NONE
    # A spread that is not known leaves open whether the difference counts.
    assert find_difference("length_mm", one, other, (spread, {"length_mm": None})).verdict == UNKNOWN


def test_heading_goes_the_short_way_round_and_counts_by_what_it_moves_at_the_tip():
    found = find_difference("heading_deg", option(), option(heading_deg=(2.0, 0.1)))
    assert found.number["value"] == pytest.approx(17.0)
    assert found.limit == pytest.approx(math.degrees(math.atan(3 / math.hypot(30, 120))), rel=1e-6)
    assert "clockwise" in tell_difference(found, option(), option(heading_deg=(2.0, 0.1)))


def test_tip_is_told_with_its_way():
    moved = option(tip_mm=([40.0, -140.0], [0.5, 0.5]))
    found = find_difference("tip_mm", option(), moved)
    assert found.number["value"] == pytest.approx(math.hypot(10, 20)) and found.way_mm == (10.0, -20.0)
    assert "10 mm to the right and 20 mm toward the camera" in tell_difference(found, option(), moved)


def test_colours_differ_as_the_published_pair_does():
    """Pair 1 of Sharma, Wu and Dalal, Color Res. Appl. 30, 21 (2005), table 1: 2.0425."""
    one, other = option(lab=([50.0, 2.6772, -79.7751], 0.1)), option(lab=([50.0, 0.0, -82.7485], 0.2))
    found = find_difference("colour_de00", one, other)
    assert found.number["value"] == pytest.approx(2.0425, abs=1e-4)
    assert found.number["standard_error"] == pytest.approx(math.hypot(0.1, 0.2)) and found.verdict == NONE


def test_what_is_not_there_cannot_be_told():
    none = option(line_width_mm=(None, None), lab=(None, None))
    for measure in ("line_width_mm", "colour_de00"):
        found = find_difference(measure, option(), none)
        assert found.verdict == UNKNOWN and not found.visible
        assert "only one of them" in tell_difference(found, option(), none)
        assert "neither" in tell_difference(find_difference(measure, none, none), none, none)
    unsure = option(length_mm=(150.0, None))
    assert find_difference("length_mm", option(), unsure).verdict == UNKNOWN


def test_equal_options_have_no_visible_difference_and_no_winner():
    found = find_differences(option(), option())
    assert [one.measure for one in found] == list(TRAITS)
    assert {one.verdict for one in found} == {NONE}
    judged = judge({"A": option(), "B": option()})
    assert judged.winner is None and "no visible difference" in judged.reason


def test_winner_is_ahead_by_one_thing_at_least_and_behind_by_none():
    values = {"A": option(), "B": option(area_cm2=(14.0, 0.1)), "C": option(area_cm2=(10.2, 0.1))}
    judged = judge(values)
    assert judged.winner == "B" and "larger pattern" in judged.reason and "14.0" in judged.reason
    assert judged.rankings["area"].order == ("B", "C", "A") and judged.rankings["area"].chance > 0.99
    values["B"] = option(area_cm2=(14.0, 0.1), line_width_mm=(3.0, 0.02))
    judged = judge(values)
    assert judged.winner is None and "what counts decides" in judged.reason
    assert judge(values, by="area").winner == "B"
    assert judge(values, by="width").winner is None  # A and C are alike
    assert judge({name: values[name] for name in "AB"}, by="width").winner == "A"


def test_spread_takes_a_win_away():
    values = {"A": option(), "B": option(area_cm2=(14.0, 0.1))}
    assert judge(values, {"A": {"area_cm2": 3.0}, "B": {"area_cm2": 3.0}}).winner is None
