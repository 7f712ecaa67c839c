"""Adjusting a rendered folder against rendering it anew, through set file and command."""

import json
import os
import shutil
import subprocess
import sys
import time

import numpy as np
import pytest
from PIL import Image

from brimcast.renders.bandfile import see_bands
from brimcast.renders.images import read_exr, write_exr
from brimcast.scene.colourwords import read_gel
from brimcast.scene.emission import pass_gels
from brimcast.scripts.cli import main
from brimcast.shared.bands import GRID_NM
from brimcast.shared.colour import XYZ_TO_SRGB, lab_from_xyz
from brimcast.shared.spectra import daylight

READING = "reading: {f_number: %s, distance: 1 m, receptor: flat}"
SET = f"""\
brimcast: 1
title: Small
table: {{size: [400 mm, 400 mm]}}
props: {{ball: {{shape: ball, diameter: 50 mm, height: 2 mm}}}}
lamps:
  key: {{throw: 1 m, {READING % "f/16"}, power: -1 stop}}
  back:
    throw: 800 mm
    azimuth: 220 deg
    colour: tungsten
    gels: [half CTB, ND 1/2 stop]
    {READING % "f/11"}
cards: {{grey: {{at: [-60 mm, 60 mm, 60 mm], facing: camera, size: [100 mm, 80 mm], reflectance: 18 %}}}}
camera: {{distance: 900 mm, elevation: 25 deg, white: grey, crop: '1:1'}}
meters: {{line: {{at: [0 mm, -60 mm, 0 mm]}}}}
render: {{width: 60}}
"""
RELATIVE = "\n".join(line.replace(READING % "f/16", "azimuth: 150 deg") for line in SET.splitlines()) + "\n"
RELATIVE = RELATIVE.replace(f"    {READING % 'f/11'}\n", "").replace("white: grey", "white: as shot")
ENGINE = {"mitsuba", "drjit", "scipy", "trimesh", "shapely", "yaml"}


@pytest.fixture(scope="module")
def traced(compute):
    """The set rendered."""
    return compute(SET, command="render").folder


@pytest.fixture
def folder(traced, tmp_path):
    """A copy of it."""
    return shutil.copytree(traced, tmp_path / "set")


def adjust(folder, *arguments, out=None):
    where = ["--out", str(out)] if out else []
    assert main(["adjust", str(folder), *arguments, *where]) == 0
    found = out or folder
    report = json.loads((found / "adjusted.json").read_text(encoding="utf-8"))
    with Image.open(found / "picture.png") as image:
        return report, np.asarray(image).astype(float), json.loads(image.text["brimcast"])


def picture_of(folder):
    with Image.open(folder / "picture.png") as image:
        return np.asarray(image).astype(float)


def assert_alike(seen, expected, grain=None):
    """Alike but for grain: rounds of rays are the same, but which pixels get more of them is not.

    What is matte and seen plainly has hardly any grain, and is most of the picture. `grain` is the root mean
    square difference that another seed makes.
    """
    assert seen.shape == expected.shape
    assert abs((seen - expected).mean()) < 0.5
    assert np.quantile(np.abs(seen - expected), 0.75) <= 1
    if grain is not None:
        assert np.sqrt(((seen - expected) ** 2).mean()) < grain


def test_nothing_asked_gives_the_picture_that_was_rendered(traced, folder):
    report, picture, settings = adjust(folder)
    assert np.array_equal(picture, picture_of(traced))
    assert settings["look"]["name"] == "plain"
    rendered = json.loads((traced / "report.json").read_text(encoding="utf-8"))
    for name, lamp in report["lamps"].items():
        assert lamp["plain_table"] == pytest.approx(rendered["lamps"][name]["plain_table"], rel=1e-5)
        assert lamp["gels"] == rendered["lamps"][name]["gels"]
    assert report["caustics"] == rendered["caustics"]


def test_adjusted_is_as_rendered_anew(traced, folder, compute):
    """Power, gel, ISO and white; f-number is left, for it changes the blur of a fresh render."""
    gels = ("--gel", "back=warming 60 mired", "--gel", "back=quarter minus green")
    camera = ("--iso", "200", "--white", "4800 K")
    report, picture, _ = adjust(folder, "--power", "key=-2 stops", *gels, *camera)
    changes = {
        "lamps.key.power": "-2 stops", "lamps.back.gels": ["warming 60 mired", "quarter minus green"],
        "camera.iso": "200", "camera.white": "4800 K",
    }  # fmt: skip
    fresh = compute(SET, command="render", changes=changes)
    expected = picture_of(fresh.folder)
    other = picture_of(compute(SET, command="render", changes=changes, seed=2).folder)
    assert_alike(picture, expected, np.sqrt(((other - expected) ** 2).mean()))
    for name, lamp in report["lamps"].items():
        there = fresh.report["lamps"][name]
        assert lamp["power_stops"] == there["power_stops"]
        assert lamp["plain_table"] == pytest.approx(there["plain_table"], rel=1e-5)
        if name == "back":
            assert lamp["gels"]["loss_stops"] == pytest.approx(there["gels"]["loss_stops"], abs=1e-5)
    for who in ("key", "back"):
        there = fresh.report["meters"]["line"]["lamps"][who]
        here = report["meters"]["line"]["lamps"][who]
        error = there["light"]["standard_error"]
        assert here["light"] == pytest.approx(there["light"]["value"], abs=3 * error)
        assert here["xy"] == pytest.approx(there["xy"], abs=2e-3)
    # The caustic's numbers under another gel were not measured.
    assert report["caustics"]["back"] is None and report["caustics"]["key"] is not None
    # What was traced is as it was.
    for name in ("picture.exr", "maps.npz", "report.json"):
        assert (folder / name).read_bytes() == (traced / name).read_bytes()


def test_gel_costs_its_luminous_loss_on_the_table(traced, folder):
    bare, *_ = adjust(folder, "--gel", "back=none")
    for gel in ("full CTB", "530 nm 60 %", "complementary 530 nm 60 %", "ND 1 1/3 stops"):
        gelled, *_ = adjust(folder, "--gel", f"back={gel}")
        lost = np.log2(bare["lamps"]["back"]["plain_table"] / gelled["lamps"]["back"]["plain_table"])
        # Sixteen bands against the whole spectrum.
        assert lost == pytest.approx(gelled["lamps"]["back"]["gels"]["loss_stops"], abs=0.03)
        assert gelled["lamps"]["key"] == bare["lamps"]["key"]


def test_gel_after_tracing_is_the_gel_before_it_to_the_width_of_a_band(folder, compute, tmp_path):
    """The lamp's measured spectrum with the gel in it, traced anew: the meter's light has the same colour."""
    gel = "complementary 530 nm 60 %"
    report, *_ = adjust(folder, "--gel", "key=" + gel, "--power", "back=off")
    light = daylight(5600) * pass_gels((read_gel(gel),))
    rows = "\n".join(f"{w:g},{v:.8g}" for w, v in zip(GRID_NM, light, strict=True))
    (tmp_path / "gelled.csv").write_text(rows, encoding="utf-8")
    (tmp_path / "set.yaml").write_text(SET, encoding="utf-8")
    fresh = compute(tmp_path / "set.yaml", changes={"lamps.key.colour": "gelled.csv"})
    there = fresh.report["meters"]["line"]["lamps"]["key"]["xy"]
    here = report["meters"]["line"]["lamps"]["key"]["xy"]
    labs = [lab_from_xyz(np.array([x / y, 1, (1 - x - y) / y])) for x, y in (there, here)]
    # 3 dE00 is what is of use; chroma is high here, so Lab distance by its share of it.
    assert np.linalg.norm(labs[0] - labs[1]) < 0.03 * np.hypot(*labs[0][1:])


def test_f_number_changes_the_exposure_alone_and_says_so(traced, folder, capsys):
    _, eleven, _ = adjust(folder)
    assert "blur" not in capsys.readouterr().out
    report, eight, settings = adjust(folder, "--f", "8")
    assert "blur and depth of field stay as rendered" in capsys.readouterr().out
    assert any("blur" in note for note in report["notes"])
    assert settings["adjusted"]["f_number"] == pytest.approx(8)
    _, faster, _ = adjust(folder, "--iso", "200")
    # One stop either way, so the same picture.
    assert np.array_equal(eight, faster)
    assert eight.mean() > eleven.mean()
    again, same, _ = adjust(folder)
    # Changes start from what was traced, not from the last.
    assert np.array_equal(same, eleven) and again["notes"] == []


def test_white_from_a_card_makes_it_neutral(traced):
    bands, rgb, _ = read_exr(traced / "picture.exr")
    lines, columns = slice(10, 14), slice(16, 22)
    card = rgb[lines, columns].astype(float).mean(axis=(0, 1))
    spread = rgb[lines, columns].astype(float).std(axis=(0, 1)) / 24**0.5
    assert card.max() > 0
    # Its middle, to the grain: three standard errors, and a per cent for light that varies over the card.
    assert np.ptp(card) < 3 * np.hypot(*np.sort(spread)[1:]) + 0.01 * card.max()
    # Under daylight's white it is not.
    mixed = sum(part[:, lines, columns].mean(axis=(1, 2)) for part in bands.values())
    assert np.ptp(mixed) > 0


def test_relative_set_is_metered_anew(compute, tmp_path):
    traced = compute(RELATIVE, command="render")
    changes = {"lamps.key.power": "-3 stops", "lamps.back.gels": ["complementary 530 nm 60 %"]}
    fresh = compute(RELATIVE, command="render", changes=changes)
    assert fresh.report["relative"]
    asked = ("--power", "key=-3 stops", "--gel", "back=complementary 530 nm 60 %")
    report, picture, _ = adjust(traced.folder, *asked, out=tmp_path / "o")
    assert_alike(picture, picture_of(fresh.folder))
    for name, lamp in report["lamps"].items():
        assert lamp["plain_table"] == pytest.approx(fresh.report["lamps"][name]["plain_table"], rel=1e-5)
    assert any("metered anew" in note for note in report["notes"])
    # As shot, the light of all lamps on the bare table is white: on a bare spot of the table, nearly.
    assert sorted(path.name for path in (tmp_path / "o").iterdir()) == [
        "adjusted.json", "picture.png", "stops-adjusted.png",
    ]  # fmt: skip


def test_pitch_holds_what_the_camera_clips_and_both_looks_are_stated(folder):
    _, plain, settings = adjust(folder, "--f", "4")
    assert settings["look"]["name"] == "plain" and "clipped" in settings["look"]["meaning"]
    report, pitch, settings = adjust(folder, "--f", "4", "--look", "pitch")
    assert settings["look"]["name"] == "pitch" and "shoulder" in settings["look"]["meaning"]
    assert (plain == 255).mean() > 0.2 > (pitch == 255).mean()
    assert report["picture"]["clipped_share"] > 0.2
    assert report["settings"]["look"]["name"] == "pitch"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--power", "rim=-1 stop"], "there is no lamp 'rim'"),
        (["--power", "key"], "write it like --power key="),
        (["--power", "key=1 stop"], "above the reading's power"),
        (["--power", "key=-1"], "no unit"),
        (["--gel", "back=blue"], "is no gel"),
        (["--gel", "rim=half CTO"], "there is no lamp 'rim'"),
        (["--gel", "back=none", "--gel", "back=half CTO"], "both none and a gel"),
        (["--gel", "back=absent.csv"], "there is no file"),
        (["--f", "wide"], "f-number"),
        (["--iso", "0"], "ISO"),
        (["--white", "rim"], "was not metered"),
        (["--white", "300 K"], "out of range"),
        (["--power", "key=off", "--power", "back=off", "--white", "as shot"], "no light falls"),
    ],
)
def test_mistakes_end_with_2_in_one_line_and_change_nothing(folder, arguments, words, capsys):
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert main(["adjust", str(folder), *arguments]) == 2
    told = capsys.readouterr()
    assert told.out == "" and len(told.err.splitlines()) == 1 and words in told.err
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_folder_that_cannot_be_adjusted_is_told(folder, tmp_path, capsys):
    assert main(["adjust", str(tmp_path / "none")]) == 2
    assert "holds no picture.exr" in capsys.readouterr().err
    maps = (folder / "maps.npz").read_bytes()
    (folder / "maps.npz").write_bytes(maps[:-300])
    assert main(["adjust", str(folder)]) == 2
    assert "maps.npz" in capsys.readouterr().err
    (folder / "maps.npz").write_bytes(maps)
    bands, rgb, settings = read_exr(folder / "picture.exr")
    write_exr(folder / "picture.exr", bands, rgb, settings | {"seed": 99})
    assert main(["adjust", str(folder)]) == 2
    assert "different runs" in capsys.readouterr().err


def test_bands_seen_in_place_are_those_that_the_library_reads(traced, tmp_path, capsys):
    """OpenEXR 3.5, the reference implementation."""
    path = traced / "picture.exr"
    seen, settings = see_bands(path)
    bands, _, told = read_exr(path)
    assert settings == told and list(seen) == list(bands)
    for name, stored in bands.items():
        assert np.array_equal(seen[name], stored)
        assert isinstance(seen[name].base, np.memmap)
    whole = path.read_bytes()
    for kept in (len(whole) - 5, len(whole) // 2, 3000, 10):
        (tmp_path / "picture.exr").write_bytes(whole[:kept])
        assert main(["adjust", str(tmp_path)]) == 2
        assert "picture.exr" in capsys.readouterr().err


def test_bands_packed_by_another_program_are_read_too(traced, tmp_path):
    import OpenEXR

    with OpenEXR.File(str(traced / "picture.exr"), separate_channels=True) as file:
        for part in file.parts:
            part.header["compression"] = OpenEXR.ZIP_COMPRESSION
        file.write(str(tmp_path / "packed.exr"))
    seen, _ = see_bands(tmp_path / "packed.exr")
    bands, *_ = read_exr(traced / "picture.exr")
    assert all(np.array_equal(seen[name], stored) for name, stored in bands.items())


def test_adjusting_loads_no_engine(folder):
    """What takes long to import stays away, or no second would be enough."""
    code = (
        "import json, sys\n"
        "from brimcast.scripts.cli import main\n"
        f"status = main(['adjust', {str(folder)!r}, '--gel', 'back=half CTO'])\n"
        "print(json.dumps([status, sorted({name.partition('.')[0] for name in sys.modules})]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    status, modules = json.loads(done.stdout.splitlines()[-1])
    assert status == 0 and not ENGINE & set(modules)


@pytest.mark.slow
def test_adjusting_takes_less_than_a_second(folder):
    """1200 x 1500 pixels and two lamps on two cores, from start to end of the command; the best of six."""
    if os.getloadavg()[0] > 0.5 * (os.cpu_count() or 1):
        pytest.skip("other work is running, so a time tells nothing")
    bands, rgb, settings = read_exr(folder / "picture.exr")
    rng = np.random.default_rng(1)
    lines, columns = np.arange(1500) * rgb.shape[0] // 1500, np.arange(1200) * rgb.shape[1] // 1200
    grain = rng.lognormal(0, 0.05, (1500, 1200)).astype(np.float32)
    large = {name: stored[:, lines][:, :, columns] * grain for name, stored in bands.items()}
    write_exr(folder / "picture.exr", large, rgb[lines][:, columns], settings)
    command = [sys.executable, "-m", "brimcast.scripts.cli", "adjust", str(folder), "--gel", "back=full CTB"]
    taken = []
    for _ in range(6):
        began = time.perf_counter()
        subprocess.run([*command, "--power", "key=-2 stops", "--f", "8"], check=True, capture_output=True)
        taken.append(time.perf_counter() - began)
    assert min(taken) < 1.0, taken


def test_adjusted_picture_agrees_with_its_bands_by_hand(folder):
    """Bands summed pixel by pixel with the published matrix, for a set at its own white of 6504 K."""
    from brimcast.renders.adjust import adaptation_from
    from brimcast.shared.colour import BAND_XYZ, encode_srgb
    from brimcast.shared.exposure import exact_f_number, level

    _, picture, settings = adjust(folder, "--white", "6504 K", "--power", "key=off", "--gel", "back=none")
    bands, *_ = read_exr(folder / "picture.exr")
    camera = settings["camera"]
    scale = level(1.0, exact_f_number(11), camera["iso"], camera["magnification"])
    xyz = np.einsum("bhw,bc->hwc", bands["back"].astype(float), BAND_XYZ) * scale
    linear = xyz @ (XYZ_TO_SRGB @ adaptation_from(6504.0)).T
    inside = (linear.min(axis=-1) >= 0) & (linear.max(axis=-1) < 1)
    assert inside.mean() > 0.5
    # The crop guide lies over the rest.
    inside[:, :10] = inside[:, 50:] = False
    assert (picture[:, 8, 0] == 255).all() and (picture[:, 9, 0] == 0).all()
    assert np.abs(picture - 255 * encode_srgb(linear))[inside].max() < 0.52
