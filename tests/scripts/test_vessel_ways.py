"""`brimcast vessel trace` and `import`, as people type them."""

import numpy as np
import pytest
import trimesh
from PIL import Image, ImageDraw

from brimcast.scripts import failures, vessel
from brimcast.vessels.vesselfile import read_file, read_vessel


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """Return a function that runs a command in a folder of its own: status, output, errors."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments):
        status = failures.guard(vessel.app, list(arguments))
        said = capsys.readouterr()
        return status, said.out, said.err

    return command


@pytest.fixture
def photo(tmp_path):
    """A dark cylinder, 300 pixels wide and 600 tall, seen from far away."""
    picture = Image.new("RGB", (600, 800), (225, 222, 215))
    ImageDraw.Draw(picture).rectangle((150, 100, 449, 699), fill=(30, 30, 30))
    noise = np.random.default_rng(1).normal(0, 2, (800, 600, 3))
    Image.fromarray(np.uint8(np.clip(np.asarray(picture) + noise, 0, 255))).save(tmp_path / "tumbler.png")


def test_trace_writes_a_vessel_file_and_a_picture_to_check(run, photo, tmp_path):
    status, out, _ = run("trace", "tumbler.png", "--height", "150mm", "--wall", "2 mm", "--distance", "50 m")
    assert status == 0
    assert "widest 75." in out or "widest 74.9" in out
    assert "both sides differ" in out and "leans by" in out and "look at the picture" in out
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "tumbler-overlay.png", "tumbler.png", "tumbler.yaml"]  # fmt: skip
    glass = read_vessel("tumbler.yaml")
    assert glass.height_mm == 150 and 2 * glass.rim_radius_mm == pytest.approx(75.0, abs=0.3)
    text = (tmp_path / "tumbler.yaml").read_text(encoding="utf-8")
    assert "# Traced from tumbler.png." in text and "base: 8 mm  # a guess" in text
    assert "wall: 2 mm\n" in text
    assert Image.open("tumbler-overlay.png").size == (600, 800)


def test_trace_says_what_it_had_to_guess(run, photo):
    status, out, _ = run("trace", "tumbler.png", "--height", "15 cm", "--out", "other.yaml")
    assert status == 0 and "note: no distance was given" in out
    assert "wall: 2 mm  # a guess" in open("other.yaml", encoding="utf-8").read()
    assert read_file("other.yaml").measured.wall_mm == 2.0


def test_trace_never_writes_over_an_edited_file(run, photo, tmp_path):
    (tmp_path / "tumbler.yaml").write_text("mine", encoding="utf-8")
    status, _, err = run("trace", "tumbler.png", "--height", "150mm")
    assert status == 2 and "tumbler.yaml: is there already" in err
    assert (tmp_path / "tumbler.yaml").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["none.png", "--height", "150mm"], "none.png: cannot be read: no such file"),
        (["tumbler.png", "--height", "150"], "--height: 150 has no unit"),
        (["tumbler.png", "--height", "150mm", "--wall", "-2mm"], "--wall: -2mm is out of range"),
        (["tumbler.png", "--height", "150mm", "--distance", "20cm"], "go farther"),
        (["tumbler.png", "--height", "150mm", "--out", "a.txt"], "ends with .yaml"),
        (["tumbler.png"], "--height"),
    ],
)
def test_mistakes_of_a_trace_are_said_and_nothing_is_written(arguments, words, run, photo, tmp_path):
    status, _, err = run("trace", *arguments)
    assert status == 2 and words in err
    assert [path.name for path in tmp_path.iterdir()] == ["tumbler.png"]


def test_import_writes_an_upright_mesh_in_mm_and_says_how_to_name_it(run, tmp_path):
    solid = trimesh.creation.cylinder(3, 8, sections=64)
    solid.apply_translation([40, 5, 9])
    solid.export(tmp_path / "made.obj")
    status, out, _ = run("import", "made.obj", "--scale", "cm")
    assert status == 0
    assert "60.0 x 60.0 mm across, 80.0 mm tall; closed" in out
    assert "vessel: {mesh: made-mm.ply, unit: mm}" in out
    written = trimesh.load(tmp_path / "made-mm.ply")
    assert written.is_volume and written.bounds[0] == pytest.approx([-30, -30, 0], abs=1e-3)


def test_import_mends_only_when_asked(run, tmp_path):
    ball = trimesh.creation.icosphere(3, 40.0)
    trimesh.Trimesh(ball.vertices, ball.faces[1:], process=False).export(tmp_path / "open.stl")
    status, _, err = run("import", "open.stl", "--scale", "mm")
    assert status == 2 and "open.stl: is not closed: it has a hole" in err and "--repair" in err
    assert not (tmp_path / "open-mm.ply").exists()
    status, out, _ = run("import", "open.stl", "--scale", "mm", "--repair")
    assert status == 0 and "note: 1 small holes were closed" in out
