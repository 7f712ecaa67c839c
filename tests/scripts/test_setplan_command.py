"""`brimcast setplan`: numbers from the datum, drawings to scale on paper, clashes."""

import json
import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from brimcast.scripts.cli import main

SVG = "{http://www.w3.org/2000/svg}"
SET = """
brimcast: 1
title: Ninth <Pierling> & Spritz
table: {size: [1.2 m, 0.9 m]}
glasses: {hero: {vessel: rocks}}
lamps:
  key: {diameter: 65 mm, throw: 1.8 m, elevation: 40 deg, azimuth: 150 deg, aim: [0 mm, 0 mm, 0 mm]}
  fill: {kind: panel, size: [300 mm, 900 mm], throw: 1.2 m, elevation: 10 deg, azimuth: 60 deg}
flags: {cutter: {size: [300 mm, 200 mm], at: [300 mm, 350 mm, 420 mm], facing: key}}
cards: {glow: {size: [60 mm, 90 mm], at: [0 mm, 120 mm, 46 mm], facing: camera}}
camera: {lens: 90 mm, sensor: [44 mm, 33 mm], elevation: 14 deg, crop: square, rise: 3 mm}
room: {table_height: 800 mm, ceiling: 3 m, walls: {behind: 1.9 m}, stands: {cutter: [750 mm, 500 mm]}}
"""


@pytest.fixture
def set_path(tmp_path):
    path = tmp_path / "spritz.yaml"
    path.write_text(SET, encoding="utf-8")
    return path


def numbers_of(capsys, *arguments):
    assert main(["setplan", *map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_lamp_stands_where_throw_elevation_and_azimuth_put_it(set_path, capsys):
    """Spherical coordinates, worked out here; azimuth 150 deg is behind and to the left."""
    lamp = numbers_of(capsys, set_path)["lamps"]["key"]
    level, up = 1800 * math.cos(math.radians(40)), 1800 * math.sin(math.radians(40))
    assert lamp["place_mm"] == pytest.approx([-level * 0.5, level * math.cos(math.radians(30)), up], rel=1e-5)
    assert lamp["height_over_table_mm"] == pytest.approx(up, rel=1e-5)
    assert lamp["height_over_floor_mm"] == pytest.approx(up + 800, rel=1e-5)
    assert lamp["from_datum_mm"] == pytest.approx(level, rel=1e-5)
    assert lamp["azimuth_from_datum_deg"] == pytest.approx(150, rel=1e-5)
    assert (lamp["throw_mm"], lamp["elevation_deg"], lamp["azimuth_deg"]) == (1800, 40, 150)


def test_numbers_name_all_that_a_crew_sets_up(set_path, capsys):
    plan = numbers_of(capsys, set_path)
    assert set(plan["lamps"]) == {"key", "fill"} and set(plan["sheets"]) == {"cutter", "glow"}
    assert plan["sheets"]["glow"]["on_table"] and plan["sheets"]["cutter"]["stand_mm"] == [750, 500]
    assert plan["camera"]["crop_of_frame"] == [0.75, 1]
    assert plan["room"]["ceiling_over_table_mm"] == 2200
    assert {"what", "things", "state", "clearance_mm", "text"} == set(plan["checks"][0])
    assert any("scorch" in line or "fire" in line for line in plan["cautions"])
    for word in ("tubes and vents", "Stands", "Mains", "certify"):
        assert any(word in line for line in plan["cautions"]), word


def test_for_programs_nothing_is_drawn_unless_a_place_is_named(set_path, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    numbers_of(capsys, set_path)
    assert [path.name for path in tmp_path.iterdir()] == ["spritz.yaml"]
    numbers_of(capsys, set_path, "--out", "plan.svg")
    assert (tmp_path / "plan.svg").is_file()


@pytest.fixture(scope="module", params=["a4", "a3"])
def pages(request, tmp_path_factory):
    """Paper, and its pages as SVG and PNG in order."""
    folder = tmp_path_factory.mktemp(request.param)
    path = folder / "spritz.yaml"
    path.write_text(SET, encoding="utf-8")
    assert main(["setplan", str(path), "--out", str(folder), "--paper", request.param]) == 0
    # `setplan.svg`, `setplan-2.svg` and so on.
    drawn, painted = (sorted(folder.glob(f"*.{k}"), key=lambda p: len(p.name)) for k in ("svg", "png"))
    return request.param, drawn, painted


def lines_of(root, width):
    """Return the ends of all lines of a stroke width, mm of paper."""
    found = [line for line in root.iter(f"{SVG}polyline") if float(line.get("stroke-width")) == width]
    pairs = [re.findall(r"(-?[\d.]+),(-?[\d.]+)", line.get("points")) for line in found]
    return [np.array(points, float) for points in pairs if len(points) == 2]


def test_drawing_is_to_the_scale_that_it_states(pages):
    """Throw lines on plan and elevation, and the bar, measured on the paper."""
    root = ET.parse(pages[1][0]).getroot()
    words = " ".join(text.text for text in root.iter(f"{SVG}text"))
    scale = 1 / float(re.search(r"Set plan 1:([\d.]+) on", words)[1])
    lengths = sorted(np.linalg.norm(ends[1] - ends[0]) / scale for ends in lines_of(root, 0.2))
    wanted = [1000.0]
    for throw, elevation, azimuth in ((1800, 40, 150), (1200, 10, 60)):
        level, up = throw * math.cos(math.radians(elevation)), throw * math.sin(math.radians(elevation))
        wanted += [level, math.hypot(level * math.cos(math.radians(azimuth)), up)]
    assert lengths == pytest.approx(sorted(wanted), abs=0.01 / scale)
    assert "1 m" in words and root.get("width").endswith("mm")


def test_every_page_is_a_sheet_of_paper_and_keeps_its_words_on_it(pages):
    """Sides of ISO 216."""
    paper, drawn, painted = pages
    sides = {"a4": (210, 297), "a3": (297, 420)}[paper]
    assert len(drawn) == len(painted) >= 2
    for path in drawn:
        root = ET.parse(path).getroot()
        width, height = (float(root.get(side)[:-2]) for side in ("width", "height"))
        assert sorted((width, height)) == sorted(sides)
        for text in root.iter(f"{SVG}text"):
            # Letters are about half as wide as their body is high.
            long = 0.5 * float(text.get("font-size")) * len(text.text)
            start = {"start": 0, "middle": -0.5, "end": -1}[text.get("text-anchor")] * long
            left = float(text.get("x")) + start
            assert 2 < left and left + long < width - 2, text.text
            assert 3 < float(text.get("y")) < height - 3, text.text
    for path in painted:
        with Image.open(path) as image:
            assert sorted(np.array(image.size) / 200 * 25.4) == pytest.approx(sorted(sides), abs=0.2)
            assert image.info["dpi"] == pytest.approx((200, 200), abs=0.1)


def test_drawing_names_every_thing_and_shows_every_angle(pages):
    words = [text.text for path in pages[1] for text in ET.parse(path).getroot().iter(f"{SVG}text")]
    for name in ("hero", "flag cutter", "card glow", "camera", "150°", "60°", "40°", "10°"):
        assert name in words, name
    for part in ("key  throw 1.80 m", "fill  throw 1.20 m", "Cautions", "Ninth <Pierling> & Spritz"):
        assert any(part in word for word in words), part


def test_same_set_draws_the_same_bytes(pages, tmp_path):
    paper, drawn, _ = pages
    again = tmp_path / "plan.svg"
    assert main(["setplan", str(drawn[0].parent / "spritz.yaml"), "--out", str(again), "--paper", paper]) == 0
    assert again.read_bytes() == drawn[0].read_bytes()


def test_words_tell_clashes_first(set_path, capsys, tmp_path):
    arguments = ["setplan", str(set_path), "--out", str(tmp_path / "plan"), "--change", "room.ceiling=2 m"]
    assert main(arguments) == 0
    said = capsys.readouterr().out
    assert "clash: ceiling too low for key" in said
    assert said.index("clash:") < said.index("other clearances")


def test_plan_that_cannot_be_written_is_told(set_path, capsys):
    assert main(["setplan", str(set_path), "--out", str(set_path / "plan.svg")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_pages_of_an_earlier_larger_plan_go(set_path, tmp_path):
    out = tmp_path / "plan"
    out.mkdir()
    for name in ("setplan-2.svg", "setplan-8.svg", "setplan-9.png", "notes.svg"):
        (out / name).write_text("earlier")
    assert main(["setplan", str(set_path), "--out", str(out)]) == 0
    pages = len(list(out.glob("setplan*.png"))) - 1
    for number in range(pages + 1, 8):
        (out / f"setplan-{number}.svg").write_text("earlier")
    assert main(["setplan", str(set_path), "--out", str(out)]) == 0
    names = {path.name for path in out.iterdir()}
    drawn = {
        f"setplan{f'-{n}' if n > 1 else ''}.{kind}" for n in range(1, pages + 1) for kind in ("svg", "png")
    }
    assert names == drawn | {"notes.svg"}
    assert "earlier" not in (out / "setplan-2.svg").read_text(encoding="utf-8")


def test_plan_that_ends_halfway_leaves_the_earlier_one(
    set_path, tmp_path, fill_disk_at_second_picture, capsys
):
    from brimcast.vessels import linework

    out = tmp_path / "plan"
    assert main(["setplan", str(set_path), "--out", str(out)]) == 0
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    fill_disk_at_second_picture(linework)
    assert main(["setplan", str(set_path), "--out", str(out), "--change", "lamps.key.throw=1.7 m"]) == 2
    assert "cannot be written: no space left" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


def test_far_card_shrinks_the_scale(set_path, tmp_path):
    far = ["--change", "cards.glow.at=[90 m, 90 m, 50 mm]"]
    assert main(["setplan", str(set_path), "--out", str(tmp_path / "plan.svg"), *far]) == 0
    assert "Set plan 1:500 on A4" in (tmp_path / "plan.svg").read_text(encoding="utf-8")


def test_set_without_camera_room_or_glass_can_be_planned(tmp_path, capsys):
    path = tmp_path / "bare.yaml"
    path.write_text("brimcast: 1\nlamps: {key: {}}\n", encoding="utf-8")
    assert main(["setplan", str(path), "--out", str(tmp_path / "plan")]) == 0
    said = capsys.readouterr().out
    assert "no camera" in said and "no room in the set" in said
