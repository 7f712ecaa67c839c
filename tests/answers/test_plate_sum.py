"""Question 27: plates of their own add up to all lights on, but for the grain; and a fault would be seen."""

from types import SimpleNamespace

import numpy as np
import pytest

from brimcast.renders.answers.adding import _edge_variance, add_plates, switch_on
from brimcast.renders.answers.answer import Lacking
from brimcast.renders.answers.catalogue import QUESTIONS

# A ball lens that focuses two lamps on the table, and a meter where the first one's light falls.
BALL = """
brimcast: 1
props: {ball: {shape: ball, diameter: 20 mm, material: {index: 1.5}, height: 5 mm}}
lamps:
  key: {diameter: 100 mm, throw: 2 m, elevation: 70 deg, azimuth: 150 deg, aim: ball}
  back: {diameter: 150 mm, throw: 2 m, elevation: 60 deg, azimuth: 240 deg, aim: ball, gels: [half CTO]}
meters: {line: {at: [2 mm, -4 mm, 0 mm], diameter: 12 mm}}
"""


@pytest.fixture(scope="module")
def study(study_of):
    return study_of(BALL)


def test_plates_add_up_to_all_lights_on(study):
    """Light adds (superposition of incoherent light, any optics handbook)."""
    found = QUESTIONS[27].answer(study)
    table, meter = found.values["table_percent"], found.values["meters"]["line"]
    for off in (table, meter):
        assert 0 < off["standard_error"] < 1
        assert 0 != abs(off["value"]) < 4 * off["standard_error"]
    assert found.lines[0].startswith("Yes: plates summed")


def test_what_is_left_is_the_grain(study_of):
    """Independent runs differ by the root of the sum of their squared errors.

    The focus is a few cells wide, so the mean square of four seeds is held to what they expect.
    """
    answers = [QUESTIONS[27].answer(study_of(BALL, {"render.seed": seed})).values for seed in range(1, 5)]
    grain, expected = (
        np.sqrt(np.mean([values[key]["value"] ** 2 for values in answers]))
        for key in ("grain_percent", "expected_grain_percent")
    )
    assert 1 < grain < 40 and grain == pytest.approx(expected, rel=0.35)


def test_what_was_computed_is_not_built_again(study, monkeypatch):
    first = study.frame()
    monkeypatch.setattr("brimcast.renders.answers.study.build", None)
    assert study.frame() is first and study.frame({"brief.line_width": "1 mm"}) is first


def test_lamp_switched_off_leaves_the_other_as_it_was(study):
    built = study.frame().built
    alone = switch_on(built, "back")
    assert [lamp.name for lamp in alone.lamps] == ["back"]
    assert alone.lamps[0] is built.lamps[1] and alone.solids is built.solids
    assert alone.seed != built.seed and alone.digest != built.digest


def test_sum_needs_two_lamps(study_of):
    with pytest.raises(Lacking, match="two lamps"):
        QUESTIONS[27].answer(study_of("brimcast: 1\nlamps: {key: {}}\n"))


def make_frame(lights, error, x_from=0):
    """Return what a run would leave: lamps' light (ny, nx) on cells of 1 mm, with an error of each."""
    shape = next(iter(lights.values())).shape
    stated = {"value": 0.2, "standard_error": 0.2 * error}
    dark = {"value": None, "standard_error": None}
    return SimpleNamespace(
        x_mm=x_from + np.arange(shape[1]) + 0.5,
        y_mm=np.arange(shape[0]) + 0.5,
        built=SimpleNamespace(lamps=[SimpleNamespace(name=name) for name in lights]),
        luminous=lambda name, kinds=("refractive",): lights[name] * ("refractive" in kinds),
        report={
            "caustics": {
                name: {"refractive": {"flux_share": stated}, "reflective": {"flux_share": dark}}
                for name in lights
            },
            "lamps": {name: {"plain_table": 1.0} for name in lights},
            "relative_error": dict.fromkeys(lights, error),
            "meters": {
                "line": {
                    "all": {
                        "light": {
                            "value": float(sum(light.mean() for light in lights.values())),
                            "standard_error": 0.01,
                        }
                    }
                }
            },
        },
    )


def add(monkeypatch, whole, alone):
    """Compare runs made up."""
    monkeypatch.setattr("brimcast.renders.answers.adding.switch_on", lambda built, name: alone[name])
    study = SimpleNamespace(frame=lambda built=None: built or whole)
    return add_plates(study)


def test_what_does_not_add_is_seen(monkeypatch):
    """Plates too bright by 5 % on one lamp of two are 2.5 % too bright together, on table and meter."""
    flat = np.full((30, 40), 10.0)
    whole = make_frame({"key": flat, "back": flat}, 0.001)
    found = add(
        monkeypatch,
        whole,
        {"key": make_frame({"key": 1.05 * flat}, 0.001), "back": make_frame({"back": flat}, 0.001)},
    )
    assert found.table["value"] == pytest.approx(2.5)
    assert found.grain["value"] == pytest.approx(2.5)
    assert found.meters["line"]["value"] == pytest.approx(2.5)
    # Four runs, each known to 0.001 of its half of the light; the brighter one's is larger.
    assert found.table["standard_error"] == pytest.approx(100 * 0.001 * (3 + 1.05**2) ** 0.5 / 2)
    assert found.meters["line"]["standard_error"] == pytest.approx(100 * 0.01 * 3**0.5 / 20)


def test_grain_of_made_up_runs_is_what_is_expected(monkeypatch):
    rng = np.random.default_rng(3)

    def grained():
        return 10 * (1 + 0.1 * rng.standard_normal((60, 60)))

    whole = make_frame({"key": grained(), "back": grained()}, 0.1)
    found = add(
        monkeypatch,
        whole,
        {"key": make_frame({"key": grained()}, 0.1), "back": make_frame({"back": grained()}, 0.1)},
    )
    # Four errors of 1 on a light of 20.
    assert found.expected["value"] == pytest.approx(10, rel=0.02)
    assert found.grain["value"] == pytest.approx(10, rel=0.05)


def test_windows_that_differ_are_compared_where_they_overlap(monkeypatch):
    light = np.tile(np.linspace(1, 2, 20), (10, 1))
    whole = make_frame({"key": light}, 0.01)
    moved = make_frame({"key": light[:, 5:]}, 0.01, x_from=5)
    assert add(monkeypatch, whole, {"key": moved}).table["value"] == pytest.approx(0, abs=1e-9)


def test_edges_of_shadows_scatter_as_estimated():
    """Each cell is lit or dark by one place drawn in it; a straight edge 30 degrees to the cells."""
    rng = np.random.default_rng(5)
    y, x = np.mgrid[:40, :40]

    def sample():
        place_x, place_y = x + rng.random(x.shape), y + rng.random(y.shape)
        return (place_y - 20 > 0.577 * (place_x - 20)).astype(float)

    runs = np.array([sample() for _ in range(400)])
    frame = SimpleNamespace(luminous=lambda name, kinds: runs[0])
    assert _edge_variance(frame, "key").sum() == pytest.approx(runs.var(axis=0).sum(), rel=0.25)
