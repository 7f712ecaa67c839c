"""Questions 2 and 3 end to end: a ball's focus lies where paraxial optics says."""

import pytest

from brimcast.renders.answers.catalogue import QUESTIONS

# A ball lens of index 1.5 and 20 mm focuses far light n D / (4 (n - 1)) = 15 mm behind its centre (any optics
# handbook): here on the table. Straight light lies about its axis.
BALL = """
brimcast: 1
props: {ball: {shape: ball, diameter: 20 mm, material: {index: 1.5}, at: [12 mm, 5 mm], height: 5 mm}}
lamps: {key: {kind: disc, diameter: 10 mm, throw: 20 m, elevation: 90 deg, colour: 587.6 nm, aim: ball}}
"""


@pytest.fixture(scope="module")
def study(study_of):
    return study_of(BALL)


def test_pattern_lies_under_the_ball(study):
    found = QUESTIONS[2].answer(study).values
    left, right, near, far = found["box_mm"]["value"]
    assert (left + right) / 2 == pytest.approx(12, abs=1) and (near + far) / 2 == pytest.approx(5, abs=1)
    assert right - left < 10


def test_brightness_is_that_of_the_report(study):
    found = QUESTIONS[3].answer(study).values["peak_over_table_stops"]
    report = study.frame().caustic("key")["peak_over_table_stops"]
    assert found["value"] == report["value"] > 3
    assert found["standard_error"] == report["standard_error"]
