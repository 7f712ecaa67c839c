"""The command at work: interrupted and gone on with, watching, the same again, warm.

Each runs the command as a process of its own, with real kernels and few rays.
"""

import json
import re
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from brimcast.renders.images import read_exr, read_npz, write_exr
from brimcast.scripts.cli import main

PATIENCE_S = 180.0


def wait_for(what, child, seconds=PATIENCE_S):
    """Return the first truth that `what` gives while a child runs."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := what():
            return found
        if child.poll() is not None:
            pytest.fail(f"the command ended with {child.returncode}: {child.communicate()}")
        time.sleep(0.02)
    pytest.fail("the command takes too long")


def read_report(folder):
    """Return a report without what depends on the clock."""
    report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    return {key: value for key, value in report.items() if key not in ("seconds", "peak_memory_mib")}


def assert_alike(first, second, relative):
    """Compare two folders: reports leaf by leaf, maps against their own brightest cell."""
    compare(read_report(first), read_report(second), relative)
    one, other = (read_npz(folder / "maps.npz")[0] for folder in (first, second))
    assert one.keys() == other.keys()
    for name, values in one.items():
        assert np.abs(values - other[name]).max() <= relative * max(np.abs(values).max(), 1e-30), name


def compare(one, other, relative, path=()):
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        for key in one:
            compare(one[key], other[key], relative, (*path, key))
    elif isinstance(one, list):
        assert len(one) == len(other)
        for a, b in zip(one, other, strict=True):
            compare(a, b, relative, path)
    elif isinstance(one, float):
        # Uncertainties are differences of almost equal numbers, which lift the last digits. So may
        # lengths be: the spread of colours is one of places, each of them some 10 mm from the datum. A
        # heading may be near 0, and is as sure as places some 10 mm off.
        unsure = {"standard_error", "relative_error"} & set(path)
        smallest = 10 * relative if any(str(key).endswith(("_mm", "_deg")) for key in path) else 1e-9
        assert one == pytest.approx(other, rel=1e-3 if unsure else relative, abs=smallest), path
    else:
        assert one == other, path


def test_interrupted_proof_leaves_output_alone_and_goes_on(
    small_set, start_child, tmp_path, contents, little_effort
):
    folder, cache = tmp_path / "interrupted" / "out", tmp_path / "cache"
    folder.mkdir(parents=True)
    (folder / "report.json").write_text("earlier numbers")
    before = contents(folder)
    unfinished = cache / "brimcast" / "unfinished"
    command = ("map", str(small_set), "--quality", "proof", "--out")

    def finished_rounds():
        for path in unfinished.glob("*/lamp-key.npz"):
            with np.load(path) as kept:
                return int(kept["rounds"])
        return 0

    child = start_child(*command, folder, cache=cache)
    wait_for(lambda: finished_rounds() >= 1, child)
    child.send_signal(signal.SIGINT)
    out, err = child.communicate(timeout=PATIENCE_S)
    assert child.returncode == 130
    assert out == "" and "Traceback" not in err
    assert err.splitlines()[-1] == "interrupted; earlier output is unchanged; run again to go on"
    assert contents(folder) == before
    done = finished_rounds()
    assert 1 <= done < 4

    child = start_child(*command, folder, cache=cache)
    out, err = child.communicate(timeout=PATIENCE_S)
    assert child.returncode == 0, err
    # It begins with the round after those that were kept, and keeps nothing once it is through.
    assert int(re.search(r"light of key, round (\d+)", err)[1]) == done + 1
    assert list(unfinished.glob("*/*")) == []

    whole = tmp_path / "whole"
    assert main([*command, str(whole)]) == 0
    assert read_report(whole)["lamps"]["key"]["rounds"] == 4
    assert_alike(folder, whole, 1e-5)


def test_cells_are_larger_where_memory_would_not_hold_them(
    small_set, tmp_path, monkeypatch, capsys, little_effort
):
    monkeypatch.setattr("brimcast.renders.pilot.MOST_CELLS", 500)
    assert main(["map", str(small_set), "--out", str(tmp_path / "large")]) == 0
    cell_mm = read_report(tmp_path / "large")["cell_mm"]
    maps = read_npz(tmp_path / "large" / "maps.npz")[0]
    assert cell_mm in (4.0, 8.0, 16.0) and np.diff(maps["x_mm"]) == pytest.approx(cell_mm, rel=1e-4)
    assert len(maps["x_mm"]) * len(maps["y_mm"]) <= 500
    assert f"cells of {cell_mm:g} mm, not the draft's 2 mm; `render.cell` asks" in capsys.readouterr().out

    # What the set asks for it gets.
    text = small_set.read_text(encoding="utf-8")
    small_set.write_text(text.replace("{width: 36}", "{cell: 1 mm}"), encoding="utf-8")
    assert main(["map", str(small_set), "--out", str(tmp_path / "asked")]) == 0
    assert read_report(tmp_path / "asked")["cell_mm"] == 1.0
    assert "render.cell" not in capsys.readouterr().out


def test_same_set_and_seed_agree_from_process_to_process(small_set, start_child, tmp_path, little_effort):
    """To 1 part in 10^5: sums in another order differ in the last digits. Another seed differs visibly."""
    first, second, other = (tmp_path / name for name in ("first", "second", "other"))
    child = start_child("render", small_set, "--seed", 7, "--out", first)
    assert main(["render", str(small_set), "--seed", "7", "--out", str(second)]) == 0
    assert main(["map", str(small_set), "--seed", "8", "--out", str(other)]) == 0
    out, err = child.communicate(timeout=PATIENCE_S)
    assert child.returncode == 0, err
    assert_alike(first, second, 1e-5)
    pictures = [read_exr(folder / "picture.exr")[0]["key"] for folder in (first, second)]
    assert np.abs(pictures[0] - pictures[1]).max() <= 1e-5 * pictures[0].max()
    maps = [read_npz(folder / "maps.npz")[0]["key.refractive"] for folder in (first, other)]
    assert maps[0].shape != maps[1].shape or np.abs(maps[0] - maps[1]).max() > 0.01 * maps[0].max()


def test_watching_makes_a_map_at_every_save_and_outlives_faults(small_set, start_child, tmp_path):
    folder, text = tmp_path / "out", small_set.read_text()
    report = folder / "report.json"
    child = start_child("map", small_set, "--watch", "--out", folder)
    wait_for(report.exists, child)
    first = report.read_bytes()
    errors = child.stderr

    def hear(word):
        for line in errors:
            if word in line:
                return line
        pytest.fail(f"the command ended with {child.wait()}")

    hear("watching")
    small_set.write_text(text.replace("1 m", "1"), encoding="utf-8")
    assert "lamps.key.throw" in hear("small.yaml:7")
    hear("watching")
    assert report.read_bytes() == first

    small_set.write_text(text.replace("1 m", "800 mm"), encoding="utf-8")
    hear("watching")
    assert read_report(folder)["lamps"]["key"]["throw_mm"] == 800

    # A file that the set names counts as well, once it is there.
    drawn = text.replace("  hero:", "  ball:") + "glasses: {hero: {vessel: {drawing: shot.csv}}}\n"
    small_set.write_text(drawn, encoding="utf-8")
    assert "there is no file 'shot.csv'" in hear("small.yaml")
    hear("watching")
    small_set.with_name("shot.csv").write_text("height mm,diameter mm\n0,40\n60,46\n", encoding="utf-8")
    hear("watching")
    assert read_report(folder)["set"]["digest"] != json.loads(first)["set"]["digest"]
    child.send_signal(signal.SIGINT)
    out, err = child.communicate(timeout=PATIENCE_S)
    assert child.returncode == 130
    assert "Traceback" not in err and f"{folder} holds the last whole map" in err


def test_moving_a_lamp_compiles_nothing(small_set, tmp_path):
    """Every kernel of a second, third and fourth run was compiled by the first, says Dr.Jit's own record."""
    code = (
        "import json, sys\n"
        "from brimcast.renders import lightpass\n"
        "from brimcast.renders.engine import dr, start\n"
        "from brimcast.scripts.cli import main\n"
        "lightpass.EFFORTS['draft'] = lightpass.Effort(1.0, 1.0, (16, 16, 16), (24, 12, 8), 1)\n"
        "start()\n"
        "dr.set_flag(dr.JitFlag.KernelHistory, True)\n"
        "made = []\n"
        "for change in ('throw=1 m', 'throw=900 mm', 'azimuth=150 deg', 'elevation=40 deg'):\n"
        "    assert main(['render', *sys.argv[1:], '--change', 'lamps.key.' + change]) == 0\n"
        "    kernels = [entry for entry in dr.kernel_history() if entry['type'].name == 'JIT']\n"
        "    fresh = [entry for entry in kernels if not entry['cache_hit'] or entry['cache_disk']]\n"
        "    made.append((len(kernels), len(fresh)))\n"
        "print(json.dumps(made))\n"
    )
    arguments = [sys.executable, "-c", code, str(small_set), "--out", str(tmp_path / "out")]
    done = subprocess.run(arguments, capture_output=True, text=True, timeout=PATIENCE_S)
    assert done.returncode == 0, done.stderr
    (launched, made), *later = json.loads(done.stdout.splitlines()[-1])
    # The first run compiles, or reads from the disk, so the record does tell.
    assert launched > made > 0
    assert [fresh for _, fresh in later] == [0, 0, 0]
    assert all(launched > 0 for launched, _ in later)


def test_what_is_printed_is_what_was_written(small_set, tmp_path, little_effort, capsys):
    """And a picture that stood there for another set is named, not taken away."""
    folder = tmp_path / "out"
    write_exr(folder / "picture.exr", {}, np.zeros((2, 2, 3)), {"digest": "another"})
    assert main(["map", str(small_set), "--out", str(folder)]) == 0
    out = capsys.readouterr().out
    found = read_report(folder)["caustics"]["key"]["refractive"]
    stops = found["peak_over_table_stops"]["value"]
    assert f"brightest line {stops:+.1f}" in out
    assert f"{found['line_width_mm']['value']:.1f}" in out
    assert "relative: no lamp has a meter reading" in out
    assert f"wrote {folder}: maps.npz, report.json, table.png" in out
    assert "note: picture.exr there come from an earlier run and do not belong to this one" in out
    # A ball lens concentrates light by far more than the eight times that are warned of.
    assert stops > 3 and "never leave a lamp or the sun on filled glass unattended" in out


def test_what_was_made_of_an_earlier_picture_is_named(small_set, tmp_path, little_effort, capsys):
    """Beside a fresh picture, of the same set too; a damaged picture is named, and ends nothing."""
    folder = tmp_path / "out"
    assert main(["render", str(small_set), "--out", str(folder)]) == 0
    assert "earlier run" not in capsys.readouterr().out
    assert main(["adjust", str(folder)]) == 0
    assert main(["expose", str(small_set), "--from", str(folder)]) == 0
    capsys.readouterr()
    assert main(["render", str(small_set), "--out", str(folder)]) == 0
    named = "adjusted.json, stops-adjusted.png, stops-picture.png, stops-table.png there come from"
    assert named in capsys.readouterr().out
    assert main(["map", str(small_set), "--out", str(folder)]) == 0
    assert "earlier run" not in capsys.readouterr().out
    whole = (folder / "picture.exr").read_bytes()
    (folder / "picture.exr").write_bytes(whole[:100])
    assert main(["map", str(small_set), "--out", str(folder)]) == 0
    assert "note: picture.exr there come from" in capsys.readouterr().out


def test_light_that_is_not_concentrated_is_not_warned_of(small_set, tmp_path, little_effort, capsys):
    folder = tmp_path / "out"
    assert main(["map", str(small_set), "--out", str(folder), "--change", "props.hero.material=metal"]) == 0
    kinds = read_report(folder)["caustics"]["key"]
    assert all((found["peak_over_table_stops"]["value"] or 0) < 3 for found in kinds.values())
    out = capsys.readouterr().out
    assert "never leave" not in out and "earlier run" not in out
