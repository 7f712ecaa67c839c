"""Options end to end: a ball lens, itself with other grain, at half power, and moved."""

import math

import numpy as np
import pytest

from brimcast.renders.answers.comparing import NONE, find_differences, tell_difference
from brimcast.renders.answers.comparison import compare, describe, list_settings
from brimcast.renders.answers.lineup import Option, line_up
from brimcast.renders.answers.samelight import list_notes
from brimcast.renders.answers.sharedmaps import find_extent, see_table
from brimcast.renders.answers.sidebyside import make_panels
from brimcast.renders.answers.study import Frame

RELATIVE = """
brimcast: 1
title: Ball
props: {ball: {shape: ball, diameter: 30 mm, material: {index: 1.5}, at: [60 mm, 0 mm], height: 8 mm}}
lamps: {key: {kind: disc, diameter: 20 mm, throw: 1 m, elevation: 60 deg, azimuth: 180 deg,
  aim: [60 mm, 0 mm, 20 mm]}}
camera: {distance: 600 mm, elevation: 40 deg, aim: [60 mm, -10 mm, 10 mm]}
render: {width: 32}
"""
HALF = {"lamps.key.power": "-1 stop"}


@pytest.fixture(scope="module")
def lined(study_of):
    """The ball, other grain, half power, 10 mm to the right, all without readings."""
    changes = [{}, {"render.seed": "2"}, HALF, {"props.ball.at": "[70 mm, 0 mm]"}]
    studies = [study_of(RELATIVE, change) for change in changes]
    return line_up(studies, ["as it is", "other grain", "half power", "moved"])


def differences(lined, letter):
    return {one.measure: one for one in find_differences(lined.values["A"], lined.values[letter])}


def test_other_grain_makes_no_visible_difference(lined):
    found = differences(lined, "B")
    assert found["area_cm2"].number["value"] != 0
    assert {one.verdict for one in found.values()} == {NONE}
    assert compare(lined).tell("B")[0].startswith(NONE)


def test_half_power_is_a_stop_less_light_and_the_same_pattern(lined):
    """Power below full in stops is log2 of light, by definition; sets without readings keep to it, too."""
    found = differences(lined, "C")
    for measure in ("table_stops", "peak_stops"):
        assert found[measure].number["value"] == pytest.approx(-1, abs=1e-4), measure
        assert found[measure].visible
    rest = [one for name, one in found.items() if name not in ("table_stops", "peak_stops")]
    assert {one.verdict for one in rest} == {NONE}
    full, half = (lined.picture(lined.options[place]) for place in (0, 2))
    assert half.mean() / full.mean() == pytest.approx(0.5, rel=1e-3)
    assert [note for note in lined.notes if "power" in note] == [
        "the light of C is not that of A: its key differs in power. This compares the light, too"
    ]


def test_a_ball_moved_by_10_mm_moves_the_tip_by_as_much(lined):
    """The lamp is 1 m off, so the light turns by half a degree: a tenth of a millimetre under the ball."""
    found = differences(lined, "D")["tip_mm"]
    assert found.number["value"] == pytest.approx(10, abs=1) and found.visible
    assert found.way_mm[0] == pytest.approx(10, abs=1)
    # Across the line of sight from the datum the tip is known to a cell.
    assert abs(found.way_mm[1]) <= lined.first.frame.report["cell_mm"] + 1e-6
    assert "to the right" in tell_difference(found, lined.values["A"], lined.values["D"])


def test_tables_have_one_scale(lined):
    """The ball's spot is 10 mm farther to the right in D, on the picture too."""
    extent = find_extent(lined, (240, 1000))
    size = extent.size_px
    spots = []
    for option in (lined.first, lined.options[3]):
        seen = see_table(lined, option, extent, size).sum(axis=2)
        assert (seen > 0).mean() > 0.9
        rows, columns = np.nonzero(seen > 0.5 * seen.max())
        spots.append((columns.mean(), rows.mean()))
    moved = np.subtract(spots[1], spots[0]) * extent.wide / size[0]
    assert moved == pytest.approx([10, 0], abs=1)


def test_half_power_is_darker_on_the_sheet(lined):
    panels = make_panels(lined).shown
    assert len({panel.table.shape for panel in panels}) == 1
    means = [panel.table.mean() for panel in panels]
    assert means[2] < 0.85 * means[0] and means[1] == pytest.approx(means[0], rel=0.02)


def test_numbers_for_programs_hold_what_the_words_say(lined):
    told = describe(compare(lined), ["caution: hot"])
    assert told["differences"]["C"]["peak_stops"]["value"] == pytest.approx(-1, abs=1e-4)
    assert list(told["options"]) == list("ABCD") and told["cautions"] == ["caution: hot"]
    assert told["options"]["A"]["values"]["table_stops"]["value"] == 0
    assert list_settings(lined, False)["options"]["C"]["changes"] == HALF


def told_of(*studies):
    """Return the notes on sets that need not be traced for them."""
    options = zip("AB", studies, strict=True)
    return list_notes([Option(letter, "", it, Frame(it.built, None), "key", 1.0) for letter, it in options])


def test_other_light_and_other_places_are_told_of(study_of):
    """Aimed at the ball, a lamp goes where the ball goes."""
    aimed = RELATIVE.replace("aim: [60 mm, 0 mm, 20 mm]", "aim: ball")
    changed = aimed.replace("at: [60 mm, 0 mm]", "at: [70 mm, 0 mm]").replace("width: 48", "width: 40")
    notes = told_of(study_of(aimed), study_of(changed))
    assert any("its key stands 10 mm from its place in A, for it aims elsewhere" in note for note in notes)
    assert "B differs from A in: props" in notes and not any("camera" in note for note in notes)
    other = RELATIVE.replace("diameter: 20 mm", "diameter: 65 mm").replace("distance: 600", "distance: 500")
    notes = told_of(
        study_of(RELATIVE), study_of(other.replace("lamps: {key:", "lamps: {sun: {kind: sun}, key:"))
    )
    assert any("it adds sun; its key differs in diameter" in note for note in notes)
    assert any("the camera of B differs in distance" in note for note in notes)
    metered = RELATIVE.replace(
        "20 mm]}}", "20 mm], reading: {f_number: f/11, distance: 1 m, receptor: flat}}}"
    )
    assert any(
        "only one has meter readings" in note for note in told_of(study_of(RELATIVE), study_of(metered))
    )
    assert told_of(study_of(RELATIVE), study_of(RELATIVE)) == []


def test_making_and_placing_errors_are_taken_from_where_they_are_found(study_of):
    asked = []

    def find_spread(study, lamp, kind):
        asked.append((study.changes, lamp, kind))
        return {"tip_mm": [8.0, 8.0], "area_cm2": 0.0}

    studies = [study_of(RELATIVE), study_of(RELATIVE, {"props.ball.at": "[70 mm, 0 mm]"})]
    lined = line_up(studies, "AB", picture=False, find_spread=find_spread)
    assert [lamp for _, lamp, _ in asked] == ["key", "key"] and asked[1][0]
    (tip,) = (one for one in compare(lined).differences["B"] if one.measure == "tip_mm")
    assert tip.verdict == NONE and tip.spread == pytest.approx(8 * math.sqrt(2))
