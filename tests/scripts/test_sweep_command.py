"""`brimcast sweep`: what it leaves, what it computes and what it keeps, in this process and by workers."""

import csv
import json
import signal
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from brimcast.renders import job, lightpass
from brimcast.renders.answers import plots, sweeps
from brimcast.renders.images import SETTINGS_KEY
from brimcast.renders.stored import read_stored
from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scripts.cli import main

# A ball lens of index 1.5 images a lamp of 60 mm on the table, 15 mm behind its centre.
BALL = """
brimcast: 1
title: Ball lens
table: {size: [120 mm, 120 mm]}
props: {ball: {shape: ball, diameter: 20 mm, material: {index: 1.5}, height: 5 mm}}
lamps:
  key:
    {kind: disc, diameter: 60 mm, throw: 1 m, elevation: 90 deg, colour: 587.6 nm, aim: ball,
     reading: {f_number: f/8, distance: 1 m, receptor: flat}}
camera: {distance: 400 mm, elevation: 50 deg}
meters: {side: {at: [30 mm, 0 mm, 0 mm]}}
render: {cell: 0.5 mm, width: 32}
"""
THROWS = ("0.4 m", "0.7 m", "1 m")
LITTLE = lightpass.Effort(1.0, 1.0, (16, 16, 16), (24, 12, 8), 1)


class Bench:
    """A set file, a folder, and the sets that were computed."""

    def __init__(self, folder, patch):
        self.path, self.out, self.computed = folder / "ball.yaml", folder / "out", []
        self.path.write_text(BALL, encoding="utf-8")
        self.stop_at = None
        patch.setitem(lightpass.EFFORTS, "draft", LITTLE)
        run = job.run

        def count(built, *arguments, **options):
            if len(self.computed) == self.stop_at:
                raise KeyboardInterrupt
            self.computed.append(built.lamps[0].throw_mm)
            return run(built, *arguments, **options)

        patch.setattr(job, "run", count)

    def sweep(self, *vary, extra=()):
        """Run the command; return its status."""
        options = [part for text in vary for part in ("--vary", text)]
        return main(["sweep", str(self.path), *options, "--out", str(self.out), "--device", "cpu", *extra])

    @property
    def table(self):
        """Lines of the CSV by column."""
        with (self.out / "measures.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    @property
    def frames(self):
        """Names of the frames kept."""
        return {path.name for path in (self.out / "frames").iterdir()}


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """The ball swept over three throws."""
    with pytest.MonkeyPatch.context() as patch:
        made = Bench(tmp_path_factory.mktemp("sweep"), patch)
        assert made.sweep("lamps.key.throw=0.4m:1m:3") == 0
        assert made.computed == [400, 700, 1000]
        # Drawn once is enough: it takes longer than all else that is not computed again.
        patch.setattr(plots, "draw_page", lambda *_: np.zeros((8, 8, 3), np.uint8))
        yield made


def numbers(bench, name):
    return np.array([float(line[name]) for line in bench.table])


def test_line_sharpens_as_the_lamp_goes_back(bench):
    """Common practice: blur is lamp size over throw."""
    wide = numbers(bench, "key.refractive.line_width_mm")
    error = numbers(bench, "key.refractive.line_width_mm.standard_error")
    assert np.all(np.diff(wide) < -3 * np.hypot(error[1:], error[:-1]))
    # Near lamps blur the line to their image, f / (throw - f) of their diameter (thin lens, any optics
    # handbook), of which an even disc's profile has cos 30° at half height. Cells add 0.46 h² (measures.md).
    image_mm = 60 * 15 / (400 - 15) * np.cos(np.radians(30))
    assert wide[0] == pytest.approx(np.sqrt(image_mm**2 + 0.46 * 0.5**2), abs=3 * error[0] + 0.05 * image_mm)


@pytest.mark.parametrize(
    "throw", [*(pytest.param(throw, marks=pytest.mark.slow) for throw in THROWS[:-1]), THROWS[-1]]
)
def test_table_of_measures_says_what_a_direct_run_says(throw, bench, tmp_path):
    (line,) = (line for line in bench.table if line["lamps.key.throw"] == throw)
    assert f"{float(line['lamps.key.throw [m]']):g} m" == throw
    options = ["--change", f"lamps.key.throw={throw}", "--device", "cpu", "--out", str(tmp_path)]
    assert main(["map", str(bench.path), *options]) == 0
    report = json.loads((tmp_path / "report.json").read_text(encoding="utf-8"))
    told = report["caustics"]["key"]["refractive"]
    for key in ("line_width_mm", "area_cm2", "peak_over_table_stops", "flux_share"):
        name = f"key.refractive.{key}"
        assert float(line[name]) == pytest.approx(told[key]["value"], rel=1e-4), key
        error = float(line[f"{name}.standard_error"])
        assert error == pytest.approx(told[key]["standard_error"], rel=1e-2), key
    peak = [float(line[f"key.refractive.peak_{axis}_mm"]) for axis in "xy"]
    assert peak == pytest.approx(told["peak_mm"]["value"], abs=1e-3)
    light = report["meters"]["side"]["all"]["light"]
    assert float(line["meters.side.light"]) == pytest.approx(light["value"], rel=1e-4)
    error = float(line["meters.side.light.standard_error"])
    assert error == pytest.approx(light["standard_error"], rel=1e-2, abs=1e-4)
    assert float(line["key.plain_table"]) == pytest.approx(report["lamps"]["key"]["plain_table"], rel=1e-4)


def test_every_file_is_there_and_carries_its_settings(bench):
    names = {path.name for path in bench.out.iterdir() if path.is_file()}
    assert {"sheet.png", "film.webp", "measures.csv", "sweep.json", "plot-key-refractive.png"} <= names
    told = json.loads((bench.out / "sweep.json").read_text(encoding="utf-8"))
    assert told["settings"]["vary"] == {"lamps.key.throw": list(THROWS)}
    assert told["settings"]["set"] == BALL
    for variant, line in zip(told["variants"], bench.table, strict=True):
        assert (bench.out / variant["frame"] / "report.json").is_file()
        value = variant["measures"]["key.refractive.area_cm2"]
        assert value["value"] == pytest.approx(float(line["key.refractive.area_cm2"]), rel=1e-4)
        assert value["unit"] == "cm²"
    with Image.open(bench.out / "film.webp") as film:
        assert film.n_frames == len(THROWS)
        settings = json.loads(film.getexif()[0x010E])
    assert settings["vary"] == told["settings"]["vary"]
    for name in ("sheet.png", "plot-key-refractive.png", "plot-light.png"):
        with Image.open(bench.out / name) as picture:
            assert json.loads(picture.text[SETTINGS_KEY]) == settings


def test_what_no_ray_knows_of_is_swept_without_computing(bench, monkeypatch, capsys):
    """Again, with power and ISO speed varied: light goes with power, the pattern's measures stay."""
    monkeypatch.setattr(bench, "computed", [])
    before = bench.table
    assert bench.sweep("lamps.key.throw=0.4m:1m:3", "lamps.key.power=-1 stop,0 stops") == 0
    assert bench.computed == [] and "0 computed, 3 kept" in capsys.readouterr().out
    after = bench.table
    assert [line["lamps.key.power"] for line in after] == ["-1 stop"] * 3 + ["0 stops"] * 3
    for less, full, once in zip(after[:3], after[3:], before, strict=True):
        for name in ("key.plain_table", "meters.side.light", "meters.side.light.standard_error"):
            assert float(less[name]) == pytest.approx(float(full[name]) / 2, rel=1e-4, abs=1e-6)
        for name in once:
            assert full[name] == once[name], name
        assert less["key.refractive.peak_over_table_stops"] == full["key.refractive.peak_over_table_stops"]
        assert less["meters.side.stops_over_table"] == full["meters.side.stops_over_table"]
    sheet = np.asarray(Image.open(bench.out / "sheet.png").convert("L"), float)
    assert bench.sweep("camera.iso=ISO 100:ISO 400:3", extra=["--change", "lamps.key.throw=1 m"]) == 0
    assert bench.computed == []
    brighter = np.asarray(Image.open(bench.out / "sheet.png").convert("L"), float)
    assert sheet.shape != brighter.shape or np.abs(sheet - brighter).max() > 30


def test_interrupted_extension_keeps_whole_frames_and_goes_on(bench, monkeypatch, capsys):
    assert bench.sweep("lamps.key.throw=0.4m:1m:3") == 0
    kept, sheet = bench.frames, (bench.out / "sheet.png").read_bytes()
    monkeypatch.setattr(bench, "computed", [])
    bench.stop_at = 1
    assert bench.sweep("lamps.key.throw=0.4m:1m:5") == 130
    assert capsys.readouterr().err.splitlines()[-1] == (
        "interrupted; whole frames are kept, other output is unchanged; run again to go on"
    )
    assert bench.computed == [550]
    assert (bench.out / "sheet.png").read_bytes() == sheet
    (fresh,) = bench.frames - kept
    assert (bench.out / "frames" / fresh / "maps.npz").is_file()

    bench.stop_at = None
    assert bench.sweep("lamps.key.throw=0.4m:1m:5") == 0
    assert bench.computed == [550, 850]
    assert len(bench.frames) == len(kept) + 2 and len(bench.table) == 5
    assert Image.open(bench.out / "film.webp").n_frames == 5


@pytest.mark.slow
def test_pictures_are_taken_once_and_serve_powers_and_maps(bench, monkeypatch):
    monkeypatch.setattr(bench, "computed", [])
    fixed = ["--change", "lamps.key.throw=900 mm"]
    vary = "lamps.key.power=-1 stop,0 stops"
    assert bench.sweep(vary, extra=[*fixed, "--picture"]) == 0
    assert bench.computed == [900]
    told = json.loads((bench.out / "sweep.json").read_text(encoding="utf-8"))
    assert len({variant["frame"] for variant in told["variants"]}) == 1
    with Image.open(bench.out / "pictures.png") as sheet:
        assert json.loads(sheet.text[SETTINGS_KEY])["picture"] is True
    stored = read_stored(bench.out / told["variants"][0]["frame"], table=True)
    seen = []
    for power in ("-1 stop", "0 stops"):
        set_file = setfile.parse(BALL, "ball.yaml", {"lamps.key.throw": "900 mm", "lamps.key.power": power})
        seen.append(sweeps.view_picture(sweeps.trim_built(build(set_file, detail=0.5)), stored))
    assert seen[0].shape == (21, 32, 3)
    assert seen[0] == pytest.approx(seen[1] / 2, rel=1e-4, abs=1e-9)
    assert bench.sweep(vary, extra=fixed) == 0
    assert bench.computed == [900]


@pytest.mark.slow
def test_interrupted_workers_end_quietly_and_keep_whole_frames(small_set, start_child, tmp_path):
    out = tmp_path / "out"
    child = start_child(
        "sweep",
        small_set,
        "--vary",
        "lamps.key.throw=0.6m:2m:6",
        "--workers",
        2,
        "--device",
        "cpu",
        "--out",
        out,
    )
    end = time.monotonic() + 180
    while not list(out.glob("frames/*/report.json")) and child.poll() is None and time.monotonic() < end:
        time.sleep(0.05)
    child.send_signal(signal.SIGINT)
    said, err = child.communicate(timeout=60)
    assert child.returncode == 130 and said == "" and "Traceback" not in err
    assert err.splitlines()[-1].startswith("interrupted; whole frames are kept")
    whole = [path for path in (out / "frames").iterdir() if path.name[0] != "."]
    assert 1 <= len(whole) < 6
    for folder in whole:
        assert read_stored(folder, table=True).lamps == ["key"]
    assert [path.name for path in out.iterdir()] == ["frames"]


@pytest.mark.parametrize(
    ("vary", "extra", "told"),
    [
        ([], (), ["--vary: missing"]),
        (["lamps.key.throw=1m:1m:3"], (), ["LOW and HIGH are the same"]),
        (["lamps.kye.throw=1m:2m:3"], (), ["--vary lamps.kye.throw=1 m: ", "did you mean 'key'?"]),
        (["lamps.key.throw=1 deg:2 deg:3"], (), ["--vary lamps.key.throw=1 deg: ", "(and 2 more values)"]),
        # This shows only when the set is built.
        (
            ["glasses.hero.drink.fill=100 mm,400 mm"],
            ["--change", "glasses={hero: {vessel: highball, drink: {liquid: water}, at: [90 mm, 0 mm]}}"],
            ["--vary glasses.hero.drink.fill=400 mm: "],
        ),
        (["lamps.key.throw=1m:2m:3"], ["--change", "lamps.key.throw=3 m"], ["--change", "keep one"]),
        (["lamps.key.throw=1m:2m:3"], ["--workers", "0"], ["--workers 0: not allowed"]),
        (["lamps.key.throw=1m:2m:3"], ["--workers", "2", "--scheduler", "tcp://a:1"], ["give one"]),
        (["lamps.key.throw=1m:2m:3"], ["--change", "lamps.key.kind=lantern"], ["lamps.key.kind", "lantern"]),
    ],
)
def test_mistakes_are_told_before_anything_is_computed(vary, extra, told, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(job, "run", lambda *_, **__: pytest.fail("it computes"))
    path = tmp_path / "ball.yaml"
    path.write_text(BALL, encoding="utf-8")
    options = [part for text in vary for part in ("--vary", text)]
    assert main(["sweep", str(path), *options, "--out", str(tmp_path / "out"), *extra]) == 2
    out, err = capsys.readouterr()
    assert out == "" and len(err.splitlines()) == 1
    assert all(text in err for text in told), err
    assert not (tmp_path / "out").exists()


def test_picture_needs_a_camera(tmp_path, capsys):
    path = tmp_path / "ball.yaml"
    path.write_text(BALL.replace("camera: {distance: 400 mm, elevation: 50 deg}\n", ""), encoding="utf-8")
    assert main(["sweep", str(path), "--vary", "lamps.key.throw=1m:2m:3", "--picture"]) == 2
    assert "a camera" in capsys.readouterr().err


def test_workers_without_dask_are_told_the_cure(tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "distributed", None)
    path = tmp_path / "ball.yaml"
    path.write_text(BALL, encoding="utf-8")
    assert main(["sweep", str(path), "--vary", "lamps.key.throw=1m:2m:3", "--workers", "2"]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "Dask" in line and "brimcast[cluster]" in line


def test_default_folder_is_beside_that_of_the_set(tmp_path, monkeypatch):
    from brimcast.scripts import sweeping

    monkeypatch.setattr(sweeping, "sweep", lambda asked: [str(asked.out)])
    assert main(["sweep", "sets/tonic.yaml", "--vary", "a=1m:2m:2"]) == 0
    asked = []
    monkeypatch.setattr(sweeping, "sweep", lambda it: asked.append(it) or [])
    assert main(["sweep", "sets/tonic.yaml", "--vary", "a=1m:2m:2"]) == 0
    assert asked[0].out == Path("out/tonic-sweep")
