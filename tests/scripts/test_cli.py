"""Exit statuses, what is said on which stream, and what is left alone when something is wrong."""

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
import yaml

from brimcast.renders import job
from brimcast.scene import setfile
from brimcast.scripts.cli import main
from brimcast.scripts.words import SCORCH
from brimcast.shared.errors import EngineError

EXAMPLES = Path(__file__).resolve().parents[2] / "scene" / "examples"
SLOW_TO_IMPORT = {"mitsuba", "drjit", "numpy", "scipy", "trimesh", "pydantic", "yaml", "rich", "PIL"}


@pytest.fixture
def kept(tmp_path):
    """A folder with earlier output in it."""
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "report.json").write_text("earlier numbers")
    (folder / "picture.png").write_bytes(b"earlier picture")
    return folder


def test_help_starts_without_what_is_slow_to_import():
    code = (
        "import json, sys\n"
        "from brimcast.scripts.cli import main\n"
        "status = main(['--help'])\n"
        "print(json.dumps([status, sorted({name.partition('.')[0] for name in sys.modules})]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    *told, last = done.stdout.splitlines()
    status, modules = json.loads(last)
    assert status == 0
    assert SLOW_TO_IMPORT & set(modules) == set()
    commands = {line.split()[0] for line in told[told.index("Commands:") + 1 :]}
    assert commands >= {"render", "map", "check", "about", "new", "schema", "caches"}
    # A line that is too long ends in dots.
    assert not any(line.endswith("...") for line in told[told.index("Commands:") :])


@pytest.mark.parametrize(
    "arguments",
    [
        ["melt"],
        ["map"],
        ["map", "one.yaml", "two.yaml"],
        ["map", "one.yaml", "--quality", "superb"],
        ["map", "one.yaml", "--seed", "first"],
        ["render", "one.yaml", "--device", "abacus"],
        ["render", "one.yaml", "--watch"],
        ["new"],
        ["check", "absent.yaml"],
        ["map", "absent.yaml", "--out", "o"],
        ["map", "absent.yaml", "--watch"],
        ["new", "!!!"],
    ],
)
def test_mistakes_on_the_command_line_end_with_2_and_leave_nothing(arguments, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(arguments) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.strip() and "Traceback" not in told.err
    assert list(tmp_path.iterdir()) == []


def test_faults_of_a_set_are_one_line_each_with_their_place(tmp_path, kept, contents, capsys):
    path = tmp_path / "faulty.yaml"
    path.write_text(
        "brimcast: 1\nglasses:\n  hero: {vessel: bucket}\nlamps:\n  key: {throw: 150, elevation: 35 deg}\n",
        encoding="utf-8",
    )
    before = contents(kept)
    for command in ("map", "render", "check"):
        out = [] if command == "check" else ["--out", str(kept)]
        assert main([command, str(path), *out]) == 2
        told = capsys.readouterr()
        assert told.out == ""
        lines = told.err.splitlines()
        assert [line.rpartition("yaml:")[2].split(":")[0] for line in lines] == ["3", "5"]
        assert all(line.startswith(f"{path}:") for line in lines)
    assert contents(kept) == before


def test_what_shows_only_when_built_is_the_persons_mistake_too(tmp_path, kept, contents, capsys):
    path = tmp_path / "full.yaml"
    path.write_text(
        "brimcast: 1\n"
        "glasses:\n"
        "  hero: {vessel: highball, drink: {liquid: water, fill: 400 mm}}\n"
        "lamps: {key: {}}\n",
        encoding="utf-8",
    )
    before = contents(kept)
    assert main(["map", str(path), "--out", str(kept)]) == 2
    assert capsys.readouterr().err.startswith(f"{path}:3:")
    assert contents(kept) == before


def test_picture_without_a_camera_is_a_fault_at_the_camera(small_set, kept, contents, capsys):
    text = small_set.read_text()
    small_set.write_text("\n".join(line for line in text.splitlines() if not line.startswith("camera")))
    before = contents(kept)
    assert main(["render", str(small_set), "--out", str(kept)]) == 2
    assert ": camera: " in capsys.readouterr().err
    assert contents(kept) == before


@pytest.mark.parametrize("change", ["lamps.key.throw=150", "lamps.fill.throw=1 m", "lamps.key.throw", "=1 m"])
def test_changes_that_mean_nothing_are_faults(change, small_set, capsys):
    assert main(["check", str(small_set), "--change", change]) == 2
    told = capsys.readouterr()
    assert told.out == "" and len(told.err.splitlines()) == 1


def test_folder_that_cannot_be_written_is_refused_before_any_work(small_set, tmp_path, monkeypatch, capsys):
    def trace(*arguments, **options):
        raise AssertionError("light was traced")

    monkeypatch.setattr(job, "run", trace)
    file = tmp_path / "note.txt"
    file.write_text("mine")
    assert main(["map", str(small_set), "--out", str(file / "deeper")]) == 2
    assert str(file) in capsys.readouterr().err
    assert file.read_text() == "mine"
    if os.access("/proc", os.W_OK):
        return
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    assert main(["map", str(small_set), "--out", str(locked / "out")]) == 2


def test_engine_that_cannot_start_ends_with_1_and_its_cure(small_set, kept, contents, monkeypatch, capsys):
    """Where no driver is found; a processor engine that already runs refuses the same."""
    monkeypatch.setenv("DRJIT_LIBCUDA_PATH", "/nowhere/libcuda.so")
    if sys.platform == "darwin":
        pytest.skip("the graphics of a Mac are looked for without a path")
    before = contents(kept)
    assert main(["map", str(small_set), "--out", str(kept), "--device", "gpu"]) == 1
    told = capsys.readouterr()
    assert told.out == "" and "Traceback" not in told.err
    assert "graphics card" in told.err or "start another process" in told.err
    assert contents(kept) == before


def test_engine_error_from_the_depths_is_told_as_it_is(small_set, tmp_path, monkeypatch, capsys):
    def refuse(*arguments, **options):
        raise EngineError("no LLVM library. Cure: install one")

    monkeypatch.setattr(job, "run", refuse)
    assert main(["map", str(small_set), "--out", str(tmp_path / "out")]) == 1
    assert capsys.readouterr().err == "brimcast: no LLVM library. Cure: install one\n"


def test_fault_of_ours_ends_with_1_in_one_line_and_keeps_its_traceback(
    small_set, kept, contents, tmp_path, monkeypatch, capsys
):
    def fail(*arguments, **options):
        raise RuntimeError("see above") from ValueError("a photon\nfell off")

    monkeypatch.setattr(job, "run", fail)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("BRIMCAST_DEBUG", raising=False)
    (tmp_path / "cache").mkdir()
    before = contents(kept)
    assert main(["map", str(small_set), "--out", str(kept)]) == 1
    line = capsys.readouterr().err
    assert line.count("\n") == 1 and "a photon fell off" in line
    kept_in = Path(line.split("(kept in ")[1].rstrip(")\n"))
    assert kept_in.is_relative_to(tmp_path / "cache")
    assert "Traceback" in kept_in.read_text() and "in fail" in kept_in.read_text()
    assert contents(kept) == before

    monkeypatch.setenv("BRIMCAST_DEBUG", "1")
    assert main(["map", str(small_set), "--out", str(kept)]) == 1
    assert "in fail" in capsys.readouterr().err


def test_check_tells_a_set_in_the_words_of_the_trade(capsys):
    """The tonic: throw 1.5 m at 35 degrees, aimed 75 mm up: 1.5 sin 35 + 0.075 m high, 1.5 cos 35 m along."""
    assert main(["check", str(EXAMPLES / "obbleway-tonic.yaml")]) == 0
    told = capsys.readouterr().out
    assert "throw 1.50 m, elevation 35 deg, azimuth 150 deg (11 o'clock)" in told
    assert "stands 0.94 m above the table, 1.23 m along the floor" in told
    assert "fill line 118 mm above the table" in told
    assert "f/" in told and "magnification 0.0" in told


def test_check_tells_capacity_and_fill_of_the_tasting_glass(capsys, published):
    """`published_values.yaml#vessel_geometry/iso3591_wine_glass`: what it holds; a third is in it."""
    entry = published["vessel_geometry"]["iso3591_wine_glass"]
    assert main(["check", str(EXAMPLES / "tasting-glass.yaml")]) == 0
    line = next(line for line in capsys.readouterr().out.splitlines() if line.startswith("hero"))
    holds = float(line.split("holds ")[1].split()[0])
    drink = float(line.split("brim; ")[1].split()[0])
    assert abs(holds - entry["value"]["capacity_ml"]) <= entry["tolerance"]["capacity_ml"]
    assert drink == pytest.approx(0.33 * holds, abs=1)


def test_change_counts_as_if_it_stood_in_the_file(small_set, capsys):
    assert main(["check", str(small_set), "--change", "lamps.key.throw=5 ft 6 in"]) == 0
    assert "throw 1.68 m" in capsys.readouterr().out


def test_new_writes_a_set_that_checks_and_never_overwrites(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "Crème d'Ombre"]) == 0
    path = tmp_path / "creme-d-ombre.yaml"
    assert setfile.read(path).title == "Crème d'Ombre"
    assert main(["check", str(path)]) == 0
    path.write_text("mine now")
    capsys.readouterr()
    assert main(["new", "creme d ombre"]) == 2
    assert path.name in capsys.readouterr().err
    assert path.read_text() == "mine now"


def test_schema_takes_the_examples(tmp_path, capsys):
    """JSON Schema 2020-12, by the jsonschema package."""
    assert main(["schema"]) == 0
    printed = capsys.readouterr().out
    assert main(["schema", "--out", str(tmp_path / "set.json")]) == 0
    schema = json.loads((tmp_path / "set.json").read_text(encoding="utf-8"))
    assert schema == json.loads(printed)
    validator = jsonschema.Draft202012Validator(schema)
    for path in EXAMPLES.glob("*.yaml"):
        assert list(validator.iter_errors(yaml.safe_load(path.read_text(encoding="utf-8")))) == []
    assert list(validator.iter_errors({"brimcast": 1, "lamps": {"key": {"throw": 3}}}))


def test_caches_are_shown_and_cleaned(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.delenv("DRJIT_CACHE_DIR", raising=False)
    kernels = tmp_path / "brimcast" / "kernels"
    kernels.mkdir(parents=True)
    (kernels / "one").write_bytes(bytes(2_000_000))
    assert main(["caches"]) == 0
    assert f"kernels: 2.0 MB in 1 files, {kernels}" in capsys.readouterr().out
    assert main(["caches", "--clean"]) == 0
    assert "freed 2.0 MB" in capsys.readouterr().out
    assert not (kernels / "one").exists()


def test_about_names_device_and_versions(capsys):
    assert main(["about"]) == 0
    told = capsys.readouterr().out
    assert "mitsuba: 3." in told and "device: " in told and "cache kernels: " in told


def test_warning_never_certifies():
    assert "scorch" in SCORCH and "does not certify" in SCORCH
