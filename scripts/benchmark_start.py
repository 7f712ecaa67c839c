"""Seconds of starting: of importing the packages, and of a whole draft map as a process of its own."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from .benchmark_set import Tell

DEMO = Path(__file__).resolve().parents[1] / "scene" / "examples" / "obbleway-tonic.yaml"
MODULES = "brimcast.shared.quantity", "brimcast.vessels", "brimcast.scene.setfile", "brimcast.scripts.cli"
# Loaded only when something is to be traced.
HEAVY = "mitsuba", "drjit"


def measure(device: str, repeats: int, tell: Tell) -> dict:
    """Return seconds of importing and of a warm `brimcast map` of the demo at draft.

    Raises
    ------
    RuntimeError
        A process failed.
    """
    tell("imports")
    bare_s = _median_seconds(["-c", "pass"], repeats)
    code = f"import sys, {', '.join(MODULES)}\nsys.exit(any(name in sys.modules for name in {HEAVY!r}))"
    figures = {"import_seconds": _median_seconds(["-c", code], repeats) - bare_s, "python_seconds": bare_s}
    with tempfile.TemporaryDirectory() as folder:
        tell("draft maps of the demo, each a process of its own")
        run = ["-m", "brimcast.scripts.cli", "map", str(DEMO), "--quality", "draft", "--device", device]
        figures["warm_map_seconds"] = _median_seconds([*run, "--out", folder], repeats)
    return figures


def _median_seconds(arguments: list[str], repeats: int) -> float:
    seconds = []
    # The first run fills the caches, that of byte code too.
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    for _ in range(repeats + 1):
        began = time.perf_counter()
        done = subprocess.run([sys.executable, *arguments], capture_output=True, text=True, env=kept)
        seconds.append(time.perf_counter() - began)
        if done.returncode:
            raise RuntimeError(f"python {' '.join(arguments)} ended with {done.returncode}: {done.stderr}")
    return statistics.median(seconds[1:])


def describe(figures: dict) -> str:
    """Return the figures as lines of text."""
    return "\n".join(
        [
            f"import of the packages  {figures['import_seconds']:.3f} s beyond Python's own start",
            f"brimcast map, warm      {figures['warm_map_seconds']:.2f} s as a whole process, demo at draft",
        ]
    )
