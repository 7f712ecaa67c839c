"""The light pass against photons that share nothing: which error of the table's map is left after a time."""

from __future__ import annotations

import hashlib
import time
from dataclasses import replace

import numpy as np

from .benchmark_set import Subject, Tell, digest_solids, keep_arrays, load_arrays

CELL_MM = 0.25
# Where the reference, smoothed, is brighter than this share of its brightest place.
CAUSTIC_SHARE, SMOOTHING_MM = 1 / 8, 1.0
# Each of the two reference runs.
REFERENCE_ROWS, REFERENCE_GRID = (64, 32, 16), (136, 46, 32)
REFERENCE_ROUNDS = {"cpu": 2, "gpu": 16}
# Lamp points a batch and rays along a grid's side of a timed run of the light pass.
ROWS, GRID = {"cpu": (64, 32, 16), "gpu": (128, 64, 32)}, {"cpu": (48, 28, 20), "gpu": (96, 48, 32)}
# Photons of a timed run, for orders 0, 1 and 2.
PHOTONS = {"cpu": (200_000, 50_000, 20_000), "gpu": (1_000_000, 250_000, 100_000)}


def measure_photons(subject: Subject, device: str, repeats: int, tell: Tell) -> dict:
    """Return the figures of the light pass and of lone photons, on cells of 0.25 mm.

    The error is the mean squared error over the caustic, relative to its mean light, against two long,
    independent runs: the product of the differences from both is free of their own noise. Each lone photon
    has a lamp point, a wavelength and choices of its own, drawn at random; the time of drawing them is not
    counted, and that of the light pass is counted whole.

    Parameters
    ----------
    subject : Subject
    device : {'cpu', 'gpu'}
    repeats : int
        Timed runs of each, of which the medians count.
    tell : callable
    """
    from scipy.ndimage import gaussian_filter

    from brimcast.renders.lightpass import Effort
    from brimcast.renders.pilot import plan_light
    from brimcast.renders.stock import trace_lone_photons

    plan = plan_light(subject.built, subject.world, CELL_MM)
    halves = _find_halves(subject, plan, REFERENCE_ROUNDS[device], tell)
    smooth = gaussian_filter(halves.mean(axis=0), SMOOTHING_MM / CELL_MM)
    caustic = smooth > CAUSTIC_SHARE * smooth.max()
    level = float(halves[:, caustic].mean())

    effort = Effort(CELL_MM, 0.0, ROWS[device], GRID[device], 1)
    ways = {
        "light_pass": lambda seed: _trace(subject, plan, seed, effort),
        "photons": lambda seed: trace_lone_photons(
            replace(subject.built, seed=seed), subject.world, plan, PHOTONS[device]
        ),
    }
    figures = {}
    for name, run in ways.items():
        run(199)
        runs = [run(200 + repeat) for repeat in range(repeats)]
        errors = [np.mean(np.prod([(found - half)[caustic] for half in halves], axis=0)) for found, _ in runs]
        figures[f"map_error_{name}"] = float(np.median(errors)) / level**2
        figures[f"map_seconds_{name}"] = float(np.median([seconds for _, seconds in runs]))
    error, seconds = (
        figures[f"map_{what}_photons"] / figures[f"map_{what}_light_pass"] for what in ("error", "seconds")
    )
    return figures | {"footprint_gain": error * seconds, "map_caustic_cells": int(caustic.sum())}


def _trace(subject: Subject, plan, seed: int, effort) -> tuple[np.ndarray, float]:
    """Return a luminous map of both kinds and the seconds that it took."""
    from brimcast.renders.lightpass import trace_lamp

    began = time.perf_counter()
    built = replace(subject.built, seed=seed)
    light = trace_lamp(built, subject.world, plan, 0, effort)
    found = light.channels[:, :, 0].sum(axis=1).mean(axis=0)
    return found, time.perf_counter() - began


def _find_halves(subject: Subject, plan, rounds: int, tell: Tell) -> np.ndarray:
    """Return two long, independent maps, (2, ny, nx): kept ones, or new ones to keep."""
    from brimcast.renders.lightpass import Effort

    fine = plan.windows.fine
    told = repr((CELL_MM, REFERENCE_ROWS, REFERENCE_GRID, rounds, fine.corner_mm, fine.shape))
    name = f"map-{digest_solids(subject.built, hashlib.sha256(told.encode()))}.npz"
    if kept := load_arrays(name):
        return kept["halves"]
    tell("reference of the map, two runs; it is kept for next time")
    effort = Effort(CELL_MM, 0.0, REFERENCE_ROWS, REFERENCE_GRID, rounds, beside_cells=0.0)
    halves = np.stack([_trace(subject, plan, 2000 + half, effort)[0] for half in (1, 2)])
    keep_arrays(name, {"halves": halves.astype(np.float32)}, tell)
    return halves


def describe_photons(figures: dict) -> list[str]:
    """Return the figures as lines of text."""
    ours, theirs = (
        f"{figures[f'map_error_{name}']:.3g} in {figures[f'map_seconds_{name}']:.2f} s"
        for name in ("light_pass", "photons")
    )
    return [
        f"table's map at {CELL_MM} mm: error {ours}, by lone photons {theirs}",
        f"less error than photons at equal time  {figures['footprint_gain']:10.1f} ×",
    ]
