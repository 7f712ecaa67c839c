"""How well a sweep of 64 frames spreads over workers of a Dask cluster on this machine."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from .benchmark_set import SET, Tell

FRAMES = 64


def measure(device: str, workers: int, tell: Tell) -> dict:
    """Return seconds of the sweep with one worker and with more, and the efficiency of more.

    Each worker computes on its own core, or on its own graphics card, so that one worker is a fair measure of
    what each of several can do. Workers are started, and their kernels compiled, before the clock runs.

    Parameters
    ----------
    device : {'auto', 'cpu', 'gpu'}
    workers : int
    """
    figures = {"sweep_frames": FRAMES, "sweep_workers": workers}
    for count in dict.fromkeys((1, workers)):
        tell(f"sweep of {FRAMES} frames, {count} worker{'s' if count > 1 else ''}")
        figures[f"sweep_seconds_{count}"] = _sweep(device, count)
    alone_s, together_s = figures["sweep_seconds_1"], figures[f"sweep_seconds_{workers}"]
    return figures | {"sweep_efficiency": alone_s / together_s / workers}


def _sweep(device: str, workers: int) -> float:
    from brimcast.renders.answers.takes import Pool, Take

    with tempfile.TemporaryDirectory() as folder, Pool(device, workers, threads=1) as pool:
        frames = str(Path(folder) / "frames")

        def list_takes(first_mm: int, count: int) -> list[Take]:
            throws = [f"{first_mm + 5 * number} mm" for number in range(count)]
            about = "draft", device, False, frames
            return [Take(SET, "set.yaml", {"lamps.key.throw": throw}, *about, throw) for throw in throws]

        _compute(pool, list_takes(600, 4 * workers))
        began = time.perf_counter()
        _compute(pool, list_takes(1000, FRAMES))
        return time.perf_counter() - began


def _compute(pool, takes) -> None:
    """Compute takes and wait for all."""
    for _ in pool.compute(takes, lambda share, text: None):
        pass


def describe(figures: dict) -> str:
    """Return the figures as lines of text."""
    workers, efficiency = figures["sweep_workers"], figures["sweep_efficiency"]
    alone_s, together_s = figures["sweep_seconds_1"], figures[f"sweep_seconds_{workers}"]
    return (
        f"sweep of {figures['sweep_frames']} frames  {alone_s:.1f} s by one worker, {together_s:.1f} s by "
        f"{workers}: efficiency {efficiency:.2f}"
    )
