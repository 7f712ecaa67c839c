"""The start of the engine: in a process of its own where it is real, and its refusals."""

import importlib.metadata
import json
import os
import subprocess
import sys

import pytest

from brimcast.renders import engine, libllvm
from brimcast.shared.errors import EngineError

REAL_START = """
import dataclasses, json, os, sys
from brimcast.renders import engine
from brimcast.shared.errors import EngineError

before = [name for name in ("drjit", "mitsuba") if name in sys.modules]
one = engine.start("cpu")
again = engine.start()
from brimcast.renders.engine import dr, mi

try:
    other = engine.start("gpu")
except EngineError as error:
    other = str(error)
scene = mi.load_dict({"type": "scene", "ball": {"type": "sphere"}})
hit = scene.ray_intersect(mi.Ray3f([0, 0, -3], [0, 0, 1]))
opened = []
if os.path.exists("/proc/self/maps"):
    opened = sorted({line.split()[-1] for line in open("/proc/self/maps") if "libLLVM" in line})
print(json.dumps({
    "before": before,
    "engine": dataclasses.asdict(one),
    "same": one is again,
    "other": other,
    "variant": mi.variant(),
    "distance": hit.t.numpy().tolist(),
    "opened": opened,
    "about": engine.about(),
}))
"""


def run_python(code, cache_home, **variables):
    """Run code in a fresh Python whose caches are apart, and return the finished process."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith("DRJIT_")}
    environment |= {"XDG_CACHE_HOME": str(cache_home), **variables}
    return subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, timeout=120
    )


@pytest.fixture(scope="module")
def started(tmp_path_factory):
    """What a real start on the processor told, and its cache folder."""
    cache_home = tmp_path_factory.mktemp("cache")
    done = run_python(REAL_START, cache_home)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1]), cache_home / "brimcast"


def test_real_start_traces_a_ray(started):
    told, _ = started
    assert told["before"] == []
    assert told["variant"] == told["engine"]["variant"] == "llvm_ad_mono"
    # A ball of radius 1 seen from 3 away.
    assert told["distance"] == pytest.approx([2.0], abs=1e-5)


def test_dr_jit_opens_the_chosen_library_and_no_other(started):
    told, _ = started
    chosen = told["engine"]["llvm_path"]
    assert int(told["engine"]["llvm_version"].split(".")[0]) >= libllvm.MINIMUM_VERSION
    if sys.platform == "linux":
        assert told["opened"] == [os.path.realpath(chosen)]


def test_second_start_returns_the_first_engine_and_no_other_device(started):
    told, _ = started
    assert told["same"]
    assert "cpu engine already runs" in told["other"]


def test_kernels_are_kept_in_the_users_cache_folder(started):
    _, root = started
    assert list((root / "kernels").glob("*.bin"))
    assert (root / "probes.json").is_file()


def test_about_names_what_runs(started):
    told, root = started
    lines = dict(told["about"])
    for package in ("brimcast", "mitsuba", "drjit"):
        assert lines[package] == importlib.metadata.version(package)
    assert told["engine"]["llvm_path"] in lines["LLVM"]
    assert lines["device"].startswith("cpu, ")
    assert int(lines["threads"]) >= 1
    assert str(root / "kernels") in lines["cache kernels"]
    assert "graphics card" in lines["faster with"]


def test_variable_that_names_nonsense_stops_before_dr_jit_is_imported(tmp_path):
    code = (
        "import sys\n"
        "from brimcast.renders import engine\n"
        "from brimcast.shared.errors import EngineError\n"
        "try:\n"
        "    engine.start('cpu')\n"
        "except EngineError as error:\n"
        "    print(error)\n"
        "    print(dict(engine.about('cpu'))['engine'])\n"
        "sys.exit('drjit' in sys.modules)\n"
    )
    done = run_python(code, tmp_path, DRJIT_LIBLLVM_PATH="/nowhere/libLLVM.so")
    assert done.returncode == 0, done.stderr
    for part in ("DRJIT_LIBLLVM_PATH", "/nowhere/libLLVM.so", "there is no such file", "Cure: ", "none: "):
        assert part in done.stdout


def test_dr_jit_imported_too_early_is_refused(tmp_path):
    """Dr.Jit takes a library when it is imported; what is set later it does not see."""
    code = (
        "import drjit\n"
        "from brimcast.renders import engine\n"
        "from brimcast.shared.errors import EngineError\n"
        "try:\n"
        "    engine.start('cpu')\n"
        "except EngineError as error:\n"
        "    print(error)\n"
    )
    done = run_python(code, tmp_path)
    assert "from brimcast.renders.engine import dr, mi" in done.stdout, done.stderr


@pytest.fixture
def bare_machine(monkeypatch):
    """A machine with an LLVM that is too old, and no graphics card."""
    refusal = "/usr/lib/libLLVM-15.so.1 (from the system): version 15.0.7 is older than 17"
    choice = libllvm.Choice(None, "", "no LLVM library that was found can be used", (refusal,))
    monkeypatch.setattr(engine, "prepare", lambda: choice)
    monkeypatch.setattr(engine, "_find_gpu", lambda: (None, "", "no NVIDIA driver is installed"))
    monkeypatch.setattr(engine, "_running", {})
    return refusal


@pytest.mark.parametrize("device", ["auto", "cpu"])
def test_machine_without_an_engine_is_told_what_was_found_and_the_cure(bare_machine, device):
    with pytest.raises(EngineError) as caught:
        engine.start(device)
    message = str(caught.value)
    assert bare_machine in message
    assert "Cure: " in message
    assert "DRJIT_LIBLLVM_PATH" in message
    assert ("no NVIDIA driver" in message) == (device == "auto")


def test_graphics_card_asked_for_and_missing_is_refused(bare_machine):
    with pytest.raises(EngineError, match="no NVIDIA driver is installed"):
        engine.start("gpu")


def test_unknown_device_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match="auto, cpu, gpu"):
        engine.start("quantum")


@pytest.mark.parametrize("system, machine, words", [
    ("linux", "aarch64", "Linux on aarch64"),
    ("darwin", "x86_64", "Intel processor"),
    ("linux", "x86_64", "force-reinstall mitsuba"),
])  # fmt: skip
def test_machines_without_a_mitsuba_package_are_named(monkeypatch, bare_machine, system, machine, words):
    monkeypatch.setattr(engine.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(engine.sys, "platform", system)
    monkeypatch.setattr(engine.platform, "machine", lambda: machine)
    with pytest.raises(EngineError, match=words):
        engine.start()


@pytest.mark.parametrize("system, words", [
    ("darwin", "brew install llvm"),
    ("win32", "llvm.org"),
    ("linux", "karellen-llvm-core"),
])  # fmt: skip
def test_cure_fits_the_system(monkeypatch, bare_machine, system, words):
    monkeypatch.setattr(engine.sys, "platform", system)
    with pytest.raises(EngineError, match=words):
        engine.start("cpu")


def test_driver_that_fails_its_probe_leaves_the_processor(monkeypatch, tmp_path):
    """A driver library that ends the process that opens it must not end ours."""
    monkeypatch.setattr(engine.sys, "platform", "linux")
    monkeypatch.setattr(engine.ctypes, "CDLL", lambda name: None)
    monkeypatch.setenv("DRJIT_LIBCUDA_PATH", "libcuda-of-the-test.so")
    variant, _, fault = engine._find_gpu()
    assert variant is None
    assert "libcuda-of-the-test.so" in fault


def test_unknown_name_of_the_module_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'cuda'"):
        engine.cuda  # noqa: B018 - the access is what is tested
