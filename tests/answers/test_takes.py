"""Variants computed by workers: as here, two at once, with a worker dying, through a scheduler."""

import os
import signal
import threading
import time

import pytest

from brimcast.renders.answers import takes
from brimcast.renders.frames import FrameStore
from brimcast.shared.errors import EngineError, PersonError

BALL = """
brimcast: 1
table: {size: [120 mm, 120 mm]}
props: {ball: {shape: ball, diameter: 20 mm, material: {index: 1.5}, height: 5 mm}}
lamps: {key: {kind: disc, diameter: 20 mm, elevation: 90 deg, colour: 587.6 nm, aim: ball}}
render: {cell: 2 mm}
"""


def make_takes(folder, throws, text=BALL):
    about = "draft", "cpu", False, str(folder)
    return [
        takes.Take(text, "ball.yaml", {"lamps.key.throw": throw}, *about, f"throw {throw}")
        for throw in throws
    ]


def silent(share, text):
    """Progress that nobody watches."""


@pytest.mark.slow
def test_two_workers_compute_what_this_process_does(tmp_path):
    """And the same through the address of their scheduler, as on a cluster."""
    told = []
    with takes.Pool("cpu", workers=2) as pool:
        assert (pool.variant, pool.count) == ("llvm_ad_mono", 2)
        first = make_takes(tmp_path / "a", ["1 m", "2 m"])
        there = list(pool.compute(first, lambda share, _: told.append(share)))
        with takes.Pool("cpu", scheduler=pool.address) as cluster:
            assert cluster.count == 2
            there += cluster.compute(make_takes(tmp_path / "a", ["3 m"]), silent)
        # The same again takes the frames that are there.
        states = {path.stat().st_ino for path in (tmp_path / "a").glob("*/report.json")}
        list(pool.compute(make_takes(tmp_path / "a", ["1 m"]), silent))
        assert {path.stat().st_ino for path in (tmp_path / "a").glob("*/report.json")} == states
    assert told[0] == 0 and sorted(told) == told
    here = list(takes.compute_here(make_takes(tmp_path / "b", ["1 m", "2 m", "3 m"]), silent))
    names = [sorted(os.path.basename(path) for path in paths) for paths in (there, here)]
    assert names[0] == names[1] and len(set(names[0])) == 3
    for name in names[0]:
        one, other = (FrameStore(tmp_path / side, None).find(name) for side in "ab")
        for key in ("peak_over_table_stops", "area_cm2", "line_width_mm"):
            values = [stored.report["caustics"]["key"]["refractive"][key]["value"] for stored in (one, other)]
            assert values[0] == pytest.approx(values[1], rel=1e-4)


@pytest.mark.slow
def test_worker_that_dies_is_told_in_one_line_and_frames_stay_whole(tmp_path):
    with takes.Pool("cpu", workers=1) as pool:
        (kept,) = pool.compute(make_takes(tmp_path, ["1 m"]), silent)
        over = threading.Event()

        def kill_busy():
            while not over.wait(0.05):
                for address, busy in pool._client.processing().items():
                    if busy:
                        pid = pool._client.run(os.getpid, workers=[address], on_error="ignore").get(address)
                        if pid:
                            os.kill(pid, signal.SIGKILL)

        killer = threading.Thread(target=kill_busy)
        killer.start()
        began = time.monotonic()
        try:
            with pytest.raises(EngineError, match="a worker died while it computed throw 2 m; .* Cure: "):
                list(pool.compute(make_takes(tmp_path, ["2 m"]), silent))
        finally:
            over.set()
            killer.join()
        assert time.monotonic() - began < takes.MOST_AWAY_S
    store = FrameStore(tmp_path, None)
    assert store.find(os.path.basename(kept)) is not None
    assert [path.name for path in tmp_path.iterdir() if path.name[0] != "."] == [os.path.basename(kept)]


@pytest.mark.slow
def test_mistakes_in_a_worker_come_back_as_they_are(tmp_path):
    with takes.Pool("cpu", workers=1) as pool:
        wrong = make_takes(tmp_path, ["1 m"], BALL.replace("ball,", "bowl,"))
        with pytest.raises(PersonError, match="bowl"):
            list(pool.compute(wrong, silent))


@pytest.mark.parametrize("address", ["nonsense", "tcp://127.0.0.1:1"])
def test_scheduler_that_is_not_there_is_told(address, monkeypatch):
    monkeypatch.setattr(takes, "PATIENT_S", 0.5)
    with pytest.raises(PersonError, match="--scheduler .* cannot be reached"):
        takes.Pool("cpu", None, address).__enter__()


@pytest.mark.parametrize(("visible", "cards"), [(None, ["0", "1"]), ("3,GPU-8f", ["3", "GPU-8f"]), ("", [])])
def test_cards_are_those_that_the_driver_lists_unless_told(visible, cards, tmp_path, monkeypatch):
    driver = tmp_path / "nvidia-smi"
    driver.write_text("#!/bin/sh\nprintf 'GPU 0: A (UUID: GPU-1)\\n  MIG 1g\\nGPU 1: A (UUID: GPU-2)\\n'\n")
    driver.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path), prepend=os.pathsep)
    monkeypatch.delenv("CUDA_VISIBLE_DEVICES", raising=False)
    if visible is not None:
        monkeypatch.setenv("CUDA_VISIBLE_DEVICES", visible)
    assert takes.list_cards() == cards


def test_without_a_driver_there_are_no_cards(tmp_path, monkeypatch):
    monkeypatch.delenv("CUDA_VISIBLE_DEVICES", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert takes.list_cards() == []
