"""Solving a set, and questions 1 and 6: answers that symmetry, the inverse square, or a known set tell."""

import math

import numpy as np
import pytest

from brimcast.renders.answers.answer import Lacking, entry
from brimcast.renders.answers.catalogue import QUESTIONS
from brimcast.renders.answers.solver import Solution, Step, solve
from brimcast.renders.answers.solverwords import tell_solution
from brimcast.renders.answers.solving import estimate_throw, fine_enough
from brimcast.renders.answers.study import Study
from brimcast.renders.answers.targets import read_range, read_target
from brimcast.renders.answers.trials import Outcome
from brimcast.shared.errors import PersonError

METER = """
brimcast: 1
lamps:
  key: {kind: disc, diameter: 30 mm, throw: 1 m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm],
        reading: {f_number: f/16, distance: 1 m, receptor: flat}}
meters: {here: {at: [0 mm, 0 mm, 0 mm]}}
"""
# A ball is round: the light that it focuses goes straight away from the lamp.
BALL = """
brimcast: 1
props: {ball: {shape: ball, diameter: 20 mm, material: {index: 1.5}, height: 5 mm}}
lamps: {key: {kind: disc, diameter: 10 mm, throw: 5 m, elevation: 45 deg, azimuth: 150 deg, colour: 587.6 nm}}
"""
SHOT = """
brimcast: 1
glasses: {hero: {vessel: {shape: shot, height: 40 mm}, drink: {liquid: water, fill: 32 mm}}}
lamps: {key: {kind: disc, diameter: 30 mm, throw: 3 m, elevation: 40 deg, azimuth: 150 deg, colour: 587.6 nm}}
"""
TUMBLER = """
brimcast: 1
glasses: {hero: {vessel: tumbler, drink: {liquid: water, fill: 70 mm}}}
lamps: {key: {kind: disc, diameter: 80 mm, throw: 2 m, elevation: 40 deg, azimuth: 170 deg, colour: 587.6 nm}}
"""


def run(study, vary, until, quality="draft"):
    return solve(study, [read_range(vary)], read_target(until), quality)


def test_two_stops_are_twice_the_throw(study_of):
    """E of a disc of radius r on its axis goes with 1 / (r² + d²) (photometry handbooks; exact)."""
    solution = run(study_of(METER), "lamps.key.throw=0.5m:4m", "meters.here = -2 stops")
    assert solution.met
    exact = math.sqrt(4 * (15**2 + 1000**2) - 15**2)
    assert solution.values[0]["value"] == pytest.approx(exact, abs=0.5)
    # d log2(E) / dd = -2 d / (r² + d²) / ln 2
    slope = -2 * exact / (15**2 + exact**2) / math.log(2)
    assert solution.slope == pytest.approx(slope, rel=0.05)
    assert tell_solution(solution)[0] == "Light on here is -2.00 stops at throw of key 2.00 m"


def test_brightness_out_of_range_is_told_with_the_nearest(study_of):
    solution = run(study_of(METER), "lamps.key.throw=2m:4m", "meters.here > -1 stop")
    assert not solution.met
    lines = tell_solution(solution)
    assert lines[0].startswith("None in range") and "2.00 m" in lines[1] and "-2.00 stops" in lines[1]


def test_best_at_an_end_and_met_throughout_are_told(study_of):
    brightest = run(study_of(METER), "lamps.key.throw=2m:4m", "maximise meters.here")
    assert "largest at throw of key 2.00 m" in tell_solution(brightest)[0]
    assert "end of the range" in tell_solution(brightest)[-1]
    throughout = run(study_of(METER), "lamps.key.throw=2m:4m", "meters.here < 0 stops")
    assert throughout.met and throughout.values[0]["value"] == 2000
    assert "already at throw of key 2.00 m" in tell_solution(throughout)[0]


def test_width_that_the_cells_cannot_tell_is_warned_of():
    """A line of 2.4 cells reads 4 % too wide, narrower ones more (measures.md)."""
    width, ranges = read_target("line_width < 2 mm"), (read_range("lamps.key.throw=1m:4m"),)
    for cell_mm, warned in ((1.0, True), (0.5, False)):
        step = Step((2000.0,), "draft", entry(2.0, 0.1, "mm"), cell_mm)
        outcome = Outcome("found", np.array([0.5]), np.array([0.01]), np.zeros(1), np.full(1, 0.1))
        reached = entry(2.0, 0.1, "mm")
        found = Solution(
            width, ranges, outcome, [entry(2000.0, 40.0)], reached, None, "refractive", None, [step]
        )
        assert tell_solution(found)[0] == "Line width is below 2.00 mm from throw of key 2.00 ± 0.04 m on"
        assert any("cells of" in line for line in tell_solution(found)) == warned


@pytest.mark.slow
def test_pattern_of_a_round_thing_turns_with_the_lamp(study_of):
    solution = run(study_of(BALL), "lamps.key.azimuth=90deg:150deg", "heading = 300 deg")
    azimuth = solution.values[0]
    assert azimuth["value"] == pytest.approx(120, abs=0.1 + 3 * azimuth["standard_error"])
    assert solution.slope == pytest.approx(1, abs=0.02)


def test_first_estimate_is_size_times_distance_over_width(study_of):
    study = study_of(SHOT)

    class Found:
        """A frame whose brightest spot is known."""

        def caustic(self, lamp, kind):
            return {"peak_mm": {"value": [0.0, -60.0]}}

    found = estimate_throw(study, Found(), "refractive", 2.0)
    # A shot glass stands on a foot of 20 mm radius, its wall is 2.6 mm.
    distance = (60 - (20 - 2.6)) / math.cos(math.radians(40))
    assert found["distance_mm"] == pytest.approx(distance, abs=0.5)
    assert found["throw_mm"] == pytest.approx(30 * found["distance_mm"] / 2.0)


def test_mistakes_are_told_before_anything_is_traced(study_of):
    for vary, until, said in (
        ("lamps.key.throww=1m:2m", "line_width < 2 mm", "did you mean 'throw'"),
        ("lamps.kay.throw=1m:2m", "line_width < 2 mm", "did you mean 'key'"),
        ("brief.line_width=1mm:2mm", "line_width < 2 mm", "no light depends on it"),
        ("lamps.key.throw=1m:2m", "meters.hare > 1 stop", "did you mean 'here'"),
        ("lamps.key.throw=0mm:2m", "meters.here > 1 stop", "out of range"),
    ):
        with pytest.raises(PersonError) as wrong:
            run(study_of(METER), vary, until)
        assert said in str(wrong.value)
    both = [read_range("lamps.key.throw=1m:2m"), read_range("lamps.key.power=-3 stops:0 stops")]
    with pytest.raises(PersonError, match="for a mark only"):
        solve(study_of(METER), both, read_target("meters.here = 1 stop"))


def test_questions_say_what_they_lack(study_of):
    with pytest.raises(Lacking, match="brief.mark"):
        QUESTIONS[6].answer(study_of(SHOT))
    sunny = study_of("brimcast: 1\nprops: {b: {shape: ball, diameter: 9 mm}}\nlamps: {s: {kind: sun}}\n")
    with pytest.raises(Lacking, match="a lamp on a stand"):
        QUESTIONS[1].answer(sunny)


@pytest.mark.slow
def test_mark_made_by_known_angles_gives_them_back(study_of):
    """The tip at 50 deg and 120 deg is the mark; from 40 deg and 150 deg the angles are found again.

    Within the useful 1 deg and three standard errors, which hold where in its cell a tip may lie: here, near
    the glass, half a cell is 0.6 deg seen from the datum. And light set so has its tip on the mark.
    """
    made = study_of(SHOT).frame(
        {"lamps.key.elevation": "50 deg", "lamps.key.azimuth": "120 deg"}, quality="proof"
    )
    x, y = made.caustic("key", "refractive")["tip_mm"]["value"]
    study = study_of(SHOT, {"brief.mark": f"[{x} mm, {y} mm]"}, quality="proof")
    found = QUESTIONS[6].answer(study).values
    assert found["met"]
    for angle, made_at in (("azimuth", 120), ("elevation", 50)):
        value, error = (found[f"{angle}_deg"][key] for key in ("value", "standard_error"))
        assert error < 0.6
        assert value == pytest.approx(made_at, abs=1 + 3 * error)
    angles = {
        f"lamps.key.{angle}": f"{found[f'{angle}_deg']['value']} deg" for angle in ("azimuth", "elevation")
    }
    again = study.frame({**angles, "render.seed": 77}, quality="proof").caustic("key", "refractive")["tip_mm"]
    # A cell, and three errors: half a cell each way for the mark and for the tip.
    assert math.dist(again["value"], (x, y)) < 0.5 + 3 * math.hypot(*again["standard_error"])
    # Over the table: half the glass's height, and the throw by the sine.
    height = 20 + 3000 * math.sin(math.radians(found["elevation_deg"]["value"]))
    assert found["height_over_table_mm"]["value"] == pytest.approx(height, abs=0.5)


@pytest.mark.slow
def test_throw_for_a_line_gives_that_line(study_of):
    """At the throw found, sets with noise of their own have the width asked for, within both errors."""
    study = study_of(TUMBLER, {"brief.line_width": "2.2 mm", "render.cell": "0.5 mm"})
    found = QUESTIONS[1].answer(study).values
    throw = found["throw_mm"]
    assert found["met"] and throw["standard_error"] < 0.1 * throw["value"]
    widths = [
        study.frame({"lamps.key.throw": f"{throw['value']} mm", "render.seed": 1000 + seed}).caustic("key")
        for seed in range(6)
    ]
    values = np.array([width["line_width_mm"]["value"] for width in widths])
    error = math.hypot(values.std(ddof=1) / math.sqrt(6), found["line_width_mm"]["standard_error"])
    assert values.mean() == pytest.approx(2.2, abs=3 * error)


@pytest.mark.parametrize(
    ("width_mm", "cell", "quality"),
    [
        (3.0, None, "draft"),
        (2.0, None, "proof"),
        (0.8, None, "final"),
        (0.1, None, "draft"),
        (1.0, "0.4 mm", "draft"),
    ],
)
def test_a_narrow_line_is_looked_for_in_cells_that_tell_it(width_mm, cell, quality):
    """Cells of 1, 0.5 and 0.25 mm by quality; where none will do, the answer says so."""
    changes = {"render.cell": cell} if cell else {}
    assert fine_enough(Study(BALL, changes=changes), width_mm) == quality
