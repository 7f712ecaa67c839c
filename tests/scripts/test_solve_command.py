"""The command `brimcast solve`."""

import json

import pytest

from brimcast.scripts.cli import main

METER = """
brimcast: 1
lamps:
  key: {kind: disc, diameter: 30 mm, throw: 1 m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm],
        reading: {f_number: f/16, distance: 1 m, receptor: flat}}
meters: {here: {at: [0 mm, 0 mm, 0 mm]}}
"""


@pytest.fixture
def set_file(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    path = tmp_path / "meter.yaml"
    path.write_text(METER, encoding="utf-8")
    return path


def test_solve_prints_answer_and_steps(set_file, capsys):
    asked = ["--vary", "lamps.key.throw=0.5m:4m", "--until", "meters.here < -2 stops", "--quality", "draft"]
    assert main(["solve", str(set_file), *asked, "--device", "cpu"]) == 0
    shown = capsys.readouterr()
    assert "Light on here is below -2.00 stops from throw of key 2.00 m on" in shown.out
    assert "throw of key 0.50 m: light on here +2.00 stops (draft)" in shown.err
    # The same again for programs, from the cache.
    assert main(["solve", str(set_file), *asked, "--device", "cpu", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["met"] and told["verdict"] == "found"
    assert told["values"]["lamps.key.throw"]["value"] == pytest.approx(2000.2, abs=0.5)
    assert len(told["steps"]) > 5 and told["settings"]["quality"] == "draft"
    assert sorted(path.name for path in set_file.parent.iterdir()) == ["cache", "meter.yaml"]


@pytest.mark.parametrize(
    ("vary", "until", "said"),
    [
        ("lamps.key.throw=0.5:4m", "meters.here < -2 stops", "--vary: '0.5' and '4m'"),
        ("lamps.key.throw=0.5m:4m", "meter.here < -2 stops", "--until: there is no measure 'meter.here'"),
        ("lamps.key.thro=0.5m:4m", "meters.here < -2 stops", "lamps.key.thro: unknown key; did you mean"),
    ],
)
def test_mistakes_are_one_line_each(set_file, capsys, vary, until, said):
    assert main(["solve", str(set_file), "--vary", vary, "--until", until]) == 2
    shown = capsys.readouterr()
    assert said in shown.err and shown.err.count("\n") == 1 and not shown.out
