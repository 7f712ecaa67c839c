"""Filled against empty: the command's own comparison against two runs of it, and its cautions."""

import json

import numpy as np
import pytest

from brimcast.renders.emptied import find_change, find_distance
from brimcast.renders.images import read_npz
from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.emptied import list_empty
from brimcast.scripts.cli import main

SET = """brimcast: 1
glasses:
  hero: {vessel: {shape: tumbler, base: 3 mm}, drink: {liquid: water}}
lamps:
  key: {azimuth: 150 deg, elevation: 45 deg, throw: 2 m}
render: {cell: 2 mm}
"""
EMPTY = SET.replace(", drink: {liquid: water}", "")


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Return a function that maps a set: report, maps and the command's words."""
    folder = tmp_path_factory.mktemp("emptied")

    def go(text, capsys, *options):
        path = folder / f"{len(list(folder.iterdir()))}.yaml"
        path.write_text(text, encoding="utf-8")
        out = path.with_suffix("")
        assert main(["map", str(path), "--out", str(out), *options]) == 0
        report = json.loads((out / "report.json").read_text(encoding="utf-8"))
        return report, read_npz(out / "maps.npz")[0], capsys.readouterr().out

    return go


def brightest(maps):
    """Place of the brightest cell of refracted light: a disc of 1 mm is nowhere brighter than in it."""
    light = np.tensordot(maps["band_xyz"][:, 1], maps["key.refractive"], 1)
    row, column = np.unravel_index(light.argmax(), light.shape)
    return np.array([maps["x_mm"][column], maps["y_mm"][row]])


def test_comparison_is_that_of_two_runs(run, capsys):
    both, _, said = run(SET, capsys, "--empty")
    filled, filled_maps, filled_said = run(SET, capsys)
    empty, empty_maps, empty_said = run(EMPTY, capsys)
    # The folder is the filled set's; light adds up in any order, which the last digits show.
    for key, value in filled["caustics"]["key"]["refractive"].items():
        assert both["caustics"]["key"]["refractive"][key]["value"] == pytest.approx(value["value"], rel=1e-3)
    found = both["empty_against_filled"]["key"]["refractive"]
    before, after = (report["caustics"]["key"]["refractive"] for report in (empty, filled))
    for key, measure in (
        ("width_change_mm", "line_width_mm"),
        ("brightness_change_stops", "peak_over_table_stops"),
    ):
        one, other = before[measure], after[measure]
        assert found[key]["value"] == pytest.approx(other["value"] - one["value"], abs=2e-3)
        error = np.hypot(one["standard_error"], other["standard_error"])
        assert found[key]["standard_error"] == pytest.approx(error, rel=2e-3, abs=1e-4)
    tips = np.subtract(after["tip_mm"]["value"], before["tip_mm"]["value"])
    assert found["tip_shift_mm"]["value"] == pytest.approx(np.hypot(*tips), rel=1e-3)
    shift = np.hypot(*(brightest(filled_maps) - brightest(empty_maps)))
    assert shift > 10 and found["peak_shift_mm"]["value"] == pytest.approx(shift, abs=0.1)
    # The water's lens is the brighter one by far.
    assert found["brightness_change_stops"]["value"] > 1
    assert "filled against empty, through the glass: brightest line moves by" in said
    assert "the empty glass's pattern is not the served drink's" in said
    assert "caution: hero is empty; the pattern of the filled glass differs" in empty_said
    for text in (filled_said, said):
        assert "is empty" not in text
    assert "filled against empty" not in filled_said


def test_distance_has_the_spread_of_its_two_places():
    """Against a million pairs of places drawn about two that are 50 mm apart."""
    one = {"value": [10.0, -20.0], "standard_error": [2.0, 0.5]}
    other = {"value": [40.0, 20.0], "standard_error": [1.0, 3.0]}
    numbers = np.random.default_rng(5)
    drawn = [
        np.array(place["value"]) + numbers.normal(size=(1_000_000, 2)) * place["standard_error"]
        for place in (one, other)
    ]
    lengths = np.hypot(*(drawn[1] - drawn[0]).T)
    told = find_distance(one, other)
    assert told["value"] == pytest.approx(50)
    # At 3 mm over 50 mm the distance bends by a fifth of a per cent.
    assert told["standard_error"] == pytest.approx(lengths.std(), rel=0.01)
    assert find_distance(one, {"value": None, "standard_error": None})["value"] is None


def test_change_without_one_of_the_values_or_errors_is_not_guessed():
    known, unsure = {"value": 2.0, "standard_error": 0.3}, {"value": 5.0, "standard_error": None}
    assert find_change(known, unsure) == {"value": 3.0, "standard_error": None}
    nothing = {"value": None, "standard_error": None}
    assert find_change(nothing, known) == nothing


@pytest.mark.parametrize(
    ("glasses", "empty"),
    [
        ("hero: {vessel: rocks}", ["hero"]),
        ("hero: {vessel: rocks, ice: [{shape: cube}]}", ["hero"]),
        ("hero: {vessel: rocks, condensation: mist}", ["hero"]),
        ("hero: {vessel: rocks, drink: {liquid: water}}", []),
        ("hero: {vessel: rocks, drink: {liquid: milk, head: {height: 9 mm}}}", []),
        ("hero: {vessel: can}", []),
        ("a: {vessel: rocks, drink: {liquid: water}}\n  a-b: {vessel: shot, at: [200 mm, 0 mm]}", ["a-b"]),
    ],
)
def test_empty_glasses_are_known(glasses, empty):
    text = f"brimcast: 1\nglasses:\n  {glasses}\nprops: {{tank: {{shape: rod, diameter: 9 mm, length: 9 mm, "
    text += "material: water, at: [300 mm, 0 mm]}}\nlamps: {key: {}}\n"
    assert list_empty(build(setfile.parse(text), detail=0.3)) == empty


def test_comparison_of_an_empty_glass_is_refused(tmp_path, capsys):
    path = tmp_path / "set.yaml"
    path.write_text(EMPTY, encoding="utf-8")
    assert main(["map", str(path), "--out", str(tmp_path / "out"), "--empty"]) == 2
    said = capsys.readouterr().err
    assert "no glass holds a drink or ice" in said and not (tmp_path / "out").exists()
