"""The commands on vessels: what they print and write, and what they say of mistakes."""

import json
import re

import numpy as np
import pytest
import trimesh
from PIL import Image

from brimcast.renders import job
from brimcast.renders.caches import kernel_folder
from brimcast.scripts import contact, glassware
from brimcast.scripts.cli import main
from brimcast.vessels.library import SHAPES, vessel

SET = """\
brimcast: 1
glasses:
  hero: {vessel: {shape: rocks, height: 100 mm}, glass: crystal, drink: {liquid: water}}
  spare: {vessel: shot}
lamps:
  key: {}
"""
VESSEL_FILE = """\
brimcast-vessel: 1
outline:
  - [0 mm, 60 mm]
  - [50 mm, 64 mm]
  - [100 mm, 66 mm]
wall: 2 mm
base: 8 mm
"""


@pytest.fixture
def here(tmp_path, monkeypatch):
    """The working folder, with a set file and a vessel file in it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "set.yaml").write_text(SET, encoding="utf-8")
    (tmp_path / "mine.yaml").write_text(VESSEL_FILE, encoding="utf-8")
    return tmp_path


def _number(pattern, text):
    return float(re.search(pattern, text).group(1))


def test_list_has_every_glass_with_its_measures(capsys):
    assert main(["vessel", "list"]) == 0
    head, *rows = capsys.readouterr().out.splitlines()
    assert head.split() == ["name", "height", "diameter", "wall", "base", "capacity"]
    assert [row.split()[0] for row in rows] == list(SHAPES)
    assert len({len(row) for row in rows}) == 1
    rocks = next(row for row in rows if row.startswith("rocks"))
    assert rocks.split()[1::2] == ["92", "85", "3.0", "18.0", f"{vessel('rocks').capacity_ml():.0f}"]


def test_list_for_programs_says_what_a_set_may_change(capsys):
    assert main(["vessel", "list", "--json"]) == 0
    listed = {one["name"]: one for one in json.loads(capsys.readouterr().out)}
    assert list(listed) == list(SHAPES)
    assert {name: one["can_ask"] for name, one in listed.items()} == {
        name: list(shape.allowed) for name, shape in SHAPES.items()
    }
    for name in ("rocks", "tasting", "can"):
        assert listed[name]["capacity_ml"] == pytest.approx(vessel(name).capacity_ml(), abs=0.01)
    assert listed["can"]["closed"] and not listed["bottle"]["closed"]


def test_show_prints_numbers_and_writes_the_drawing(here, capsys):
    assert main(["vessel", "show", "coupe", "--fill", "110mm", "--fill", "150 ml"]) == 0
    out = capsys.readouterr().out
    glass = vessel("coupe")
    assert _number(r"capacity to the brim +(\d+) ml", out) == round(glass.capacity_ml())
    assert _number(r"filled to 110 mm +(\d+) ml", out) == round(glass.capacity_ml(110))
    level_mm = _number(r"filled to ([\d.]+) mm +150 ml", out)
    assert glass.capacity_ml(level_mm) == pytest.approx(150, abs=0.5)
    assert "mass (soda-lime)" in out and "tips at" in out
    written = re.findall(r"wrote (\S+)", out)
    assert written == ["out/vessels/coupe.png", "out/vessels/coupe.svg"]
    assert (here / written[1]).read_text().startswith("<svg")
    with Image.open(here / written[0]) as picture:
        assert picture.format == "PNG"


def test_show_takes_material_and_a_file_of_ones_own(here, capsys):
    assert main(["vessel", "show", "rocks", "--made-of", "crystal", "--out", "mine.svg"]) == 0
    out = capsys.readouterr().out
    heavy = _number(r"mass \(crystal\) +(\d+) g", out)
    assert main(["vessel", "show", "rocks", "--out", "folder"]) == 0
    light = _number(r"mass \(soda-lime\) +(\d+) g", capsys.readouterr().out)
    assert heavy / light == pytest.approx(2.9 / 2.5, abs=0.005)
    assert (here / "mine.svg").exists() and not (here / "mine.png").exists()
    assert (here / "folder" / "rocks.png").exists()


def test_show_reads_glasses_of_a_set_and_vessel_files(here, capsys):
    assert main(["vessel", "show", "set.yaml"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("rocks\n") and _number(r"height +([\d.]+) mm", out) == 100
    assert "mass (crystal)" in out
    assert main(["vessel", "show", "set.yaml", "--of", "spare"]) == 0
    assert capsys.readouterr().out.startswith("shot\n")
    assert main(["vessel", "show", "mine.yaml"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("mine\n") and _number(r"diameter at the rim +([\d.]+) mm", out) == 66


def test_show_says_what_a_drawing_of_the_turned_glass_leaves_out(here, capsys):
    text = SET.replace("glass: crystal,", "glass: crystal, bubbles: {count: 3},")
    (here / "set.yaml").write_text(text, encoding="utf-8")
    assert main(["vessel", "show", "set.yaml"]) == 0
    assert "note: these are the turned glass's; bubbles left out" in capsys.readouterr().out


@pytest.mark.parametrize("ending", ["stl", "ply", "obj", "glb"])
def test_export_writes_a_closed_solid(here, capsys, ending):
    assert main(["vessel", "export", "shot", "--to", f"shot.{ending}", "--detail", "0.3"]) == 0
    out = capsys.readouterr().out
    body = trimesh.load(here / f"shot.{ending}", force="mesh")
    body.merge_vertices(merge_norm=True)
    assert body.is_watertight
    scale = 1e-3 if ending == "glb" else 1.0
    assert _number(r"([\d.]+) ml of solid", out) == pytest.approx(body.volume / scale**3 / 1000, abs=0.1)
    assert f"lengths in {'m' if ending == 'glb' else 'mm'}" in out


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        (["show", "highbal"], "no glass is called 'highbal'; did you mean 'highball'?"),
        (["show", "nope.yaml"], "nope.yaml: there is no such file"),
        (["show", "set.yaml", "--of", "her"], "set.yaml: there is no glass 'her'; did you mean 'hero'?"),
        (["show", "rocks", "--of", "hero"], "--of 'hero': 'rocks' is no set file"),
        (["show", "mine.yaml", "--of", "hero"], "--of 'hero': mine.yaml is no set file"),
        (["show", "rocks", "--fill", "100"], "--fill '100': 100 has no unit"),
        (["show", "rocks", "--fill", "5mm"], "--fill '5mm': height 5 mm; the inside goes from 18 to 92 mm"),
        (["show", "rocks", "--fill", "2 l"], "--fill '2 l': volume 2000 ml; the glass holds 32"),
        (["show", "can", "--fill", "50mm"], "--fill '50mm': a can is closed"),
        (["show", "rocks", "--out", "set.yaml/x.png"], "set.yaml/x.png: cannot be written"),
        (["export", "rocks", "--to", "rocks.fbx"], "--to 'rocks.fbx': the ending must be one of .stl"),
        (["export", "rocks", "--to", "rocks.stl", "--detail", "0"], "--detail: 0; it must be more than 0"),
        (["contact", "teacup"], "no glass is called 'teacup'"),
        (["contact", "rocks", "--out", "sheet.jpg"], "--out 'sheet.jpg': a contact sheet is a .png"),
    ],
)
def test_mistakes_are_the_persons_and_nothing_is_written(here, capsys, arguments, text):
    before = sorted(here.rglob("*"))
    assert main(["vessel", *arguments]) == 2
    streams = capsys.readouterr()
    assert streams.out == "" and text in streams.err
    assert sorted(here.rglob("*")) == before


@pytest.fixture
def small_sheet(here, little_effort, monkeypatch):
    """Little pictures, and a cache of their own."""
    monkeypatch.setattr(contact, "PICTURE_PX", (40, 50))
    monkeypatch.setattr(contact, "MAP_PX", (64, 84))
    monkeypatch.setattr(contact, "CELL_MM", 5.0)
    # Compiled kernels stay where they are.
    monkeypatch.setenv("DRJIT_CACHE_DIR", str(kernel_folder()))
    monkeypatch.setenv("XDG_CACHE_HOME", str(here / "cache"))
    return here


def test_contact_sheet_pictures_each_glass_and_keeps_what_it_made(small_sheet, capsys, monkeypatch):
    """A lit table with the can's shadow on it; the second sheet traces nothing."""
    assert main(["vessel", "contact", "shot", "can", "--out", "sheet.png"]) == 0
    assert "wrote sheet.png: 2 glasses" in capsys.readouterr().out
    with Image.open("sheet.png") as picture:
        settings, first = json.loads(picture.text["brimcast"]), np.asarray(picture)
    assert settings["glasses"] == ["shot", "can"]
    frames = [contact._frame(name, "auto", None) for name in ("shot", "can")]
    for frame in frames:
        assert frame.picture.shape == (50, 40, 3) and frame.plan.shape == (84, 64, 3)
        assert 90 < np.median(frame.plan) < 190
    # The can's shadow: 45 degrees, so as long as the can is high, away from the lamp.
    left, _, _, far = contact.SHOWN_MM
    scale = 64 / (contact.SHOWN_MM[1] - left)
    along = np.array([0.5, -np.sqrt(3) / 2])
    for distance_mm, dark in ((90, True), (170, False)):
        x, y = distance_mm * along
        level = frames[1].plan[int((far - y) * scale), int((x - left) * scale)].mean()
        assert (level < 40) == dark, distance_mm

    def fail(*_, **__):
        raise AssertionError("traced again")

    monkeypatch.setattr(job, "run", fail)
    assert main(["vessel", "contact", "shot", "can", "--out", "again.png"]) == 0
    with Image.open("again.png") as picture:
        assert np.array_equal(np.asarray(picture), first)


def test_interrupted_contact_sheet_goes_on_where_it_stopped(small_sheet, capsys, monkeypatch):
    (small_sheet / "sheet.png").write_bytes(b"earlier sheet")
    traced = []

    def run(built, **options):
        if len(traced) == 1 and traced[0] == "shot":
            traced.append("stopped")
            raise KeyboardInterrupt
        traced.append(built.title)
        return whole(built, **options)

    whole = job.run
    monkeypatch.setattr(job, "run", run)
    arguments = ["vessel", "contact", "shot", "can", "--out", "sheet.png"]
    assert main(arguments) == 130
    assert "interrupted; 1 of 2 glasses are done and kept, run again to go on" in capsys.readouterr().err
    assert (small_sheet / "sheet.png").read_bytes() == b"earlier sheet"
    assert main(arguments) == 0
    assert traced == ["shot", "stopped", "can"]


@pytest.mark.parametrize("name", SHAPES)
def test_every_glass_stands_whole_in_its_picture(name):
    """Foot and rim, with the widest circle at each height, projected by the set's own camera."""
    from brimcast.scene import setfile
    from brimcast.scene.builder import build

    glass = glassware.named(name)
    camera = build(setfile.parse(contact.set_text(name)), detail=0.1).camera
    around = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    rings = glass.outer.points_mm[:: max(len(glass.outer.points_mm) // 60, 1)]
    points = [(r * np.cos(a), r * np.sin(a), z) for r, z in rings for a in around]
    seen = np.array(points) - camera.place_mm
    depth = seen @ camera.forward
    across, up = seen @ camera.right / depth, seen @ camera.up / depth
    # Thin lens: focused near, it stands farther from the sensor.
    image_mm = camera.focal_mm * camera.focus_mm / (camera.focus_mm - camera.focal_mm)
    half = np.array(camera.sensor_mm) / 2 / image_mm
    assert np.abs(across).max() < 0.9 * half[0] and np.abs(up).max() < 0.9 * half[1]
