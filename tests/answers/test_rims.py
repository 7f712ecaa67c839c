"""Dark edges and rim lights on painted lines and pictures of known widths."""

import numpy as np
import pytest

from brimcast.renders.answers.rims import Run, find_dark_edge, find_longest, find_rim

DEPTH = np.arange(0, 30, 0.01)


def paint(*dark):
    level = np.full(len(DEPTH), 0.9)
    for begin, end in dark:
        level[(DEPTH >= begin) & (DEPTH < end)] = 0.1
    return level


def test_dark_edge_is_as_wide_as_painted():
    run = find_dark_edge(DEPTH, paint((0, 4.2), (9, 12)), 60.0)
    assert run.begin == 0 and run.length == pytest.approx(4.2, abs=0.011)


def test_sliver_that_mirrors_the_field_lies_outside_the_dark_edge():
    run = find_dark_edge(DEPTH, paint((0.4, 4.2)), 60.0)
    assert (run.begin, run.end) == pytest.approx((0.4, 4.2), abs=0.011)


def test_glints_do_not_end_a_dark_edge_and_wider_gaps_do():
    assert find_dark_edge(DEPTH, paint((0, 2), (2.05, 5)), 60.0).end == pytest.approx(5, abs=0.011)
    assert find_dark_edge(DEPTH, paint((0, 2), (2.3, 5)), 60.0).end == pytest.approx(2, abs=0.011)


def test_what_is_dark_farther_in_is_no_edge():
    assert find_dark_edge(DEPTH, paint((5, 12)), 60.0) == Run(0, 0)
    assert find_dark_edge(DEPTH, paint(), 60.0) == Run(0, 0)


def test_dark_to_the_middle_has_no_width():
    assert find_dark_edge(DEPTH, paint((0, 31)), 60.0) is None


def test_a_label_ends_the_edge():
    level = paint((0, 31))
    level[DEPTH >= 6] = np.nan
    assert find_dark_edge(DEPTH, level, 60.0).end == pytest.approx(6, abs=0.011)


def paint_rim(rows, column=22, times=4.0, grey=0.02):
    """A glass from 20 to 80 pixels with a rim light at a column, in some rows."""
    picture = np.full((200, 100), grey)
    picture[rows, column] = times * grey
    return picture


EDGE, WIDTH = np.full(200, 20.0), np.full(200, 60.0)


def test_rim_light_is_found_where_painted():
    lit, background = find_rim(paint_rim(slice(50, 150)), EDGE, WIDTH, -1, 0.001)
    begin, end = find_longest(lit)
    # Four lines are averaged.
    assert begin == pytest.approx(50, abs=2) and end == pytest.approx(150, abs=2)
    assert np.all(background == 0.02)


@pytest.mark.parametrize("change", [{"column": 26}, {"times": 1.8}, {"grey": 0.0002}])
def test_what_is_no_rim_light(change):
    """Farther in than 6 % of the width (3.6 pixels), under a stop brighter, or too dark to be seen."""
    assert not find_rim(paint_rim(slice(None), **change), EDGE, WIDTH, -1, 0.001)[0].any()


def test_right_rim_is_looked_for_from_the_right():
    picture = paint_rim(slice(None), column=77)
    assert find_rim(picture, np.full(200, 80.0), WIDTH, 1, 0.001)[0].all()
    assert not find_rim(picture, EDGE, WIDTH, -1, 0.001)[0].any()


def test_lines_without_glass_or_background_have_no_rim():
    edge = EDGE.copy()
    edge[:100] = np.nan
    assert not find_rim(paint_rim(slice(None)), edge, WIDTH, -1, 0.001)[0][:100].any()
    assert not find_rim(paint_rim(slice(None), column=0), np.zeros(200), WIDTH, -1, 0.001)[0].any()


def test_longest_run_jumps_small_gaps_alone():
    lit = np.ones(200, bool)
    lit[60:62] = False
    assert find_longest(lit) == (0, 200)
    lit[120:124] = False
    assert find_longest(lit) == (0, 120)
    assert find_longest(np.zeros(200, bool)) == (0, 0)
