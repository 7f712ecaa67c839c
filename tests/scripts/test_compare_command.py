"""`brimcast compare` through the command: files, page, words, faults."""

import json

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from brimcast.renders import frames
from brimcast.renders.answers.comparepage import Line, wrap
from brimcast.renders.images import SETTINGS_KEY
from brimcast.scripts import comparing_sets
from brimcast.scripts.cli import main
from brimcast.scripts.comparing_sets import Asked, _make_studies, _Runs, name_swap, read_swap
from brimcast.scripts.computing import read_set

SET = """\
brimcast: 1
title: Small ball
props: {ball: {shape: ball, diameter: 30 mm, material: {index: 1.5}, height: 8 mm}}
lamps:
  key: {diameter: 20 mm, throw: 1 m, elevation: 60 deg, azimuth: 180 deg,
    reading: {f_number: f/11, distance: 1 m, receptor: flat}}
camera: {distance: 600 mm, elevation: 40 deg, f_number: f/16}
render: {width: 32}
"""
HALF = "lamps.key.power=-1 stop"


@pytest.fixture(scope="module", autouse=True)
def own_store(tmp_path_factory):
    """Keep computed sets in a folder of this module, so that no earlier program's are taken."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("store")
        patch.setattr(frames, "cache_root", lambda: folder)
        yield


@pytest.fixture(scope="module")
def set_path(tmp_path_factory):
    path = tmp_path_factory.mktemp("sets") / "ball.yaml"
    path.write_text(SET, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def halved(set_path):
    """Folder of the ball compared with itself at half power."""
    out = set_path.parent / "halved"
    assert main(["compare", str(set_path), "--swap", HALF, "--quality", "draft", "--out", str(out)]) == 0
    return out


def test_folder_holds_picture_page_and_numbers_of_one_comparison(halved):
    assert sorted(path.name for path in halved.iterdir()) == ["compare.json", "compare.pdf", "compare.png"]
    told = json.loads((halved / "compare.json").read_text(encoding="utf-8"))
    with Image.open(halved / "compare.png") as sheet:
        kept = json.loads(sheet.text[SETTINGS_KEY])
    page = json.loads(PdfReader(halved / "compare.pdf").metadata["/Keywords"])
    assert kept == page and kept["options"] == told["settings"]["options"]
    assert kept["options"]["A"]["set"] == SET and kept["options"]["B"]["changes"] == {
        "lamps.key.power": "-1 stop"
    }
    found = told["differences"]["B"]
    assert found["table_stops"]["value"] == pytest.approx(-1, abs=1e-4)
    assert (
        found["area_cm2"]["verdict"] == found["peak_over_table_stops"]["verdict"] == "no visible difference"
    )
    assert told["winner"] == "A" and "the brighter spot" in told["reason"]


def test_page_is_one_a4_landscape_with_its_fonts_and_numbers(halved):
    """Fonts are in the file (ISO 32000-1, 9.9: a FontFile of the descriptor)."""
    reader = PdfReader(halved / "compare.pdf")
    (page,) = reader.pages
    assert [float(side) for side in page.mediabox.upper_right] == pytest.approx([841.89, 595.28], abs=0.1)
    fonts = [font.get_object() for font in page["/Resources"]["/Font"].values()]
    assert fonts
    for font in fonts:
        below = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
        assert below["/FontDescriptor"]["/FontFile2"].get_object().get_data()
    assert len(page.images) == 4
    text = " ".join(page.extract_text().split())
    told = json.loads((halved / "compare.json").read_text(encoding="utf-8"))
    area = told["options"]["A"]["values"]["area_cm2"]
    assert f"{area['value']:.2f}" in text and "plain table 1.0 stops darker" in text.lower()
    assert told["reason"] in text and "scorch" in text and "does not certify" in text
    assert "the light of B is not that of A" in text and "key power -1 stop" in text
    assert "CreationDate" not in str(reader.metadata)


def test_sheet_shows_both_options_and_the_darker_one_darker(halved):
    with Image.open(halved / "compare.png") as picture:
        sheet = np.asarray(picture.convert("L"), float)
    height, width = sheet.shape
    assert 1200 < width < 2000 and 900 < height < 3000
    left, right = sheet[height // 4 : -200, : width // 2], sheet[height // 4 : -200, width // 2 :]
    assert right.mean() < 0.9 * left.mean()
    assert left.std() > 20


def test_same_set_twice_leaves_nothing_to_choose(set_path, tmp_path, capsys):
    out = tmp_path / "same"
    assert main(["compare", str(set_path), str(set_path), "--quality", "draft", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "no visible difference in area, brightness, line width" in said
    assert "No winner: between the options there is no visible difference." in said
    assert "Small ball (ball)" in said and "not that of" not in said


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ([], "one option only"),
        (["--swap", HALF] * 6, "7 options are too many; up to 6"),
        (["--swap", "vessel"], "not KEY=VALUE"),
        (["--swap", " ; "], "--swap: empty"),
        (["--swap", f"{HALF}; {HALF}"], "given twice"),
        (["--swap", "props.bull.diameter=20 mm"], "there is no prop 'bull'; did you mean 'ball'?"),
        (["--swap", "lamps.key.thrown=2 m"], "lamps.key.thrown"),
        (["--swap", "props.ball.diameter=20"], "props.ball.diameter"),
        (["absent.yaml"], "absent.yaml"),
        (["SET", "--swap", HALF], "not both"),
    ],
)
def test_a_mistake_is_one_line_and_leaves_earlier_output(more, told, set_path, halved, contents, capsys):
    before = contents(halved)
    given = [str(set_path) if part == "SET" else part for part in more]
    assert main(["compare", str(set_path), *given, "--out", str(halved)]) == 2
    said = capsys.readouterr().err
    assert told in said and len(said.strip().splitlines()) == 1 and "Traceback" not in said
    assert contents(halved) == before


def test_folder_that_is_a_file_is_told_of_before_work_begins(set_path, tmp_path, capsys):
    (tmp_path / "out").write_text("mine")
    assert main(["compare", str(set_path), "--swap", HALF, "--out", str(tmp_path / "out")]) == 2
    assert "is a file" in capsys.readouterr().err


def test_disk_that_fills_up_leaves_earlier_output(set_path, halved, contents, monkeypatch, capsys):
    from brimcast.renders.answers import comparepage

    def refuse(*_):
        raise OSError(28, "No space left on device")

    before = contents(halved)
    monkeypatch.setattr(comparepage, "write_page", refuse)
    swapped = ["compare", str(set_path), "--swap", HALF, "--quality", "draft", "--out", str(halved)]
    assert main(swapped) == 2
    assert "no space left" in capsys.readouterr().err and contents(halved) == before


def test_interrupted_comparison_leaves_earlier_output(set_path, halved, contents, monkeypatch, capsys):
    from brimcast.renders.answers import lineup

    def stop(*_):
        raise KeyboardInterrupt

    before = contents(halved)
    monkeypatch.setattr(lineup, "line_up", stop)
    assert main(["compare", str(set_path), "--swap", HALF, "--out", str(halved)]) == 130
    assert "run again to go on" in capsys.readouterr().err and contents(halved) == before


def test_swaps_are_read_and_named():
    assert read_swap("glasses.hero.vessel={shape: coupe, rim: 9 mm};lamps.key.throw=2 m;") == {
        "glasses.hero.vessel": "{shape: coupe, rim: 9 mm}",
        "lamps.key.throw": "2 m",
    }
    assert name_swap({"glasses.hero.vessel": "{shape: coupe}", "camera.f_number": "f/8"}) == (
        "vessel shape: coupe, camera f number f/8"
    )


def test_words_wrap_to_their_column():
    lines = wrap(Line("light that falls " * 9, inset_mm=2.0), 60.0, 8.0)
    assert len(lines) > 2 and " ".join(line.text for line in lines) == ("light that falls " * 9).strip()
    assert [line.inset_mm for line in lines[:3]] == [2.0, 4.0, 4.0]


GLASS = """\
brimcast: 1
glasses: {hero: {vessel: tumbler}}
lamps: {key: {throw: 1.2 m}, edge: {throw: 1 m, azimuth: 90 deg}}
cards: {lift: {at: [200 mm, 0 mm, 60 mm], facing: hero}}
camera: {distance: 600 mm, focus: hero}
"""


def test_lamps_and_camera_do_not_follow_a_swapped_glass(tmp_path):
    """What a photographer does: the glass alone is changed. A lamp that the swap itself names does move."""
    path = tmp_path / "glass.yaml"
    path.write_text(GLASS, encoding="utf-8")
    swaps = [{"glasses.hero.vessel": "flute"}, {"glasses.hero.vessel": "flute", "lamps.edge.aim": "hero"}]
    asked = Asked([path], [], {}, None, "cpu", False, None)
    studies, names = _make_studies(asked, [read_set(path, {})], swaps, "draft", lambda *_: None)
    assert names == ["Untitled set", "vessel flute", "vessel flute, edge aim hero"]
    first, held, freed = (study.built for study in studies)
    assert held.feet[0].height_mm > 2 * first.feet[0].height_mm
    for one, other in zip((*first.lamps, first.camera), (*held.lamps, held.camera), strict=True):
        for key in ("centre_mm", "aim_mm", "place_mm", "forward", "focus_mm"):
            if hasattr(one, key):
                assert getattr(other, key) == pytest.approx(getattr(one, key), abs=1e-3), key
    assert held.panels[1].normal == pytest.approx(first.panels[1].normal, abs=1e-6)
    key, edge = freed.lamps
    assert key.centre_mm == pytest.approx(first.lamps[0].centre_mm, abs=1e-3)
    assert edge.centre_mm[2] > first.lamps[1].centre_mm[2] + 50


def test_progress_of_many_runs_only_grows():
    told = []
    runs = _Runs(lambda share, words: told.append((share, words)), 4)
    for letter in "ABA":
        for share in (0.0, 0.5, 1.0):
            runs.of(letter)(share, "light")
    shares = [share for share, _ in told]
    assert shares == sorted(shares) and shares[-1] == pytest.approx(3 / 4) and told[3][1] == "B: light"


@pytest.mark.slow
def test_tolerance_makes_the_limits_wider(tmp_path, monkeypatch):
    """A wall a tenth of a millimetre thicker is what the next glass of the batch may have (brief.slips)."""
    path, told = tmp_path / "glass.yaml", {}
    path.write_text(GLASS.replace("tumbler", "tumbler, drink: {liquid: water}"), encoding="utf-8")
    monkeypatch.setattr(comparing_sets, "DRAWS", 2)
    swapped = [
        "compare",
        str(path),
        "--swap",
        "glasses.hero.vessel.wall=2.6 mm",
        "--change",
        "render.width=24",
    ]
    for name, more in (("noise", []), ("making", ["--tolerance"])):
        assert main([*swapped, *more, "--out", str(tmp_path / name)]) == 0
        told[name] = json.loads((tmp_path / name / "compare.json").read_text(encoding="utf-8"))
    before, after = (told[name]["differences"]["B"] for name in ("noise", "making"))
    assert told["noise"]["options"]["A"]["spread"] == {} and before["tip_mm"]["spread"] == 0
    # Two deviations of both glasses: each stands 2 mm off its mark, and with it its tip, more or less.
    assert after["tip_mm"]["spread"] > 0.2 and told["making"]["settings"]["tolerance"]
    for measure, found in after.items():
        if found["limit"] is not None:
            assert found["limit"] >= before[measure]["limit"], measure
    words = PdfReader(tmp_path / "making" / "compare.pdf").pages[0].extract_text()
    assert "one deviation by making and placing errors" in " ".join(words.split())
