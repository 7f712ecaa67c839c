"""Footprints against plain points: which error of the table's map is left after the same time."""

from __future__ import annotations

import hashlib
import time
from dataclasses import replace

import numpy as np

from .benchmark_set import Subject, Tell, digest_solids, keep_arrays, load_arrays

CELL_MM = 0.25
# Where the reference, smoothed, is brighter than this share of its brightest place.
CAUSTIC_SHARE, SMOOTHING_MM = 1 / 8, 1.0
# Each of the two reference runs of points.
REFERENCE_ROWS, REFERENCE_GRID = (32, 16, 16), (192, 64, 32)
REFERENCE_ROUNDS = {"cpu": 2, "gpu": 16}


def measure_footprints(subject: Subject, device: str, effort, repeats: int, tell: Tell) -> dict:
    """Return the figures of the light pass with footprints and with points, on cells of 0.25 mm.

    The error is the mean squared error over the caustic, relative to its mean light, against two long,
    independent runs of points: the product of the differences from both is free of their own noise. Points
    are rays of the same grids, which scatter less than photons that know nothing of each other.

    Parameters
    ----------
    subject : Subject
    device : {'cpu', 'gpu'}
    effort : lightpass.Effort
    repeats : int
        Timed runs of each, of which the medians count.
    tell : callable
    """
    from scipy.ndimage import gaussian_filter

    from brimcast.renders.pilot import plan_light

    plan = plan_light(subject.built, subject.world, CELL_MM)
    halves = _find_halves(subject, plan, REFERENCE_ROUNDS[device], tell)
    smooth = gaussian_filter(halves.mean(axis=0), SMOOTHING_MM / CELL_MM)
    caustic = smooth > CAUSTIC_SHARE * smooth.max()
    level = float(halves[:, caustic].mean())

    effort = replace(effort, cell_mm=CELL_MM)
    runs = {"footprints": [], "points": []}
    for repeat in range(-1, repeats):
        for name, listed in runs.items():
            found, seconds = _trace(subject, plan, 200 + repeat, effort, name == "footprints")
            first, second = ((found - half)[caustic] for half in halves)
            if repeat >= 0:
                listed.append((float(np.mean(first * second)) / level**2, seconds))
    median = {name: np.median(np.array(listed), axis=0) for name, listed in runs.items()}
    figures = {"footprint_gain": float(np.prod(median["points"]) / np.prod(median["footprints"]))}
    for name, (error, seconds) in median.items():
        figures |= {f"map_error_{name}": float(error), f"map_seconds_{name}": float(seconds)}
    return figures | {"map_caustic_cells": int(caustic.sum())}


def _trace(subject: Subject, plan, seed: int, effort, spread: bool) -> tuple[np.ndarray, float]:
    """Return a luminous map of both kinds and the seconds that it took."""
    from brimcast.renders.lightpass import trace_lamp

    began = time.perf_counter()
    built = replace(subject.built, seed=seed)
    light = trace_lamp(built, subject.world, plan, 0, effort, spread=spread)
    found = light.channels[:, :, 0].sum(axis=1).mean(axis=0)
    return found, time.perf_counter() - began


def _find_halves(subject: Subject, plan, rounds: int, tell: Tell) -> np.ndarray:
    """Return two long, independent maps of points, (2, ny, nx): kept ones, or new ones to keep."""
    from brimcast.renders.lightpass import Effort

    fine = plan.windows.fine
    told = repr((CELL_MM, REFERENCE_ROWS, REFERENCE_GRID, rounds, fine.corner_mm, fine.shape))
    name = f"footprints-{digest_solids(subject.built, hashlib.sha256(told.encode()))}.npz"
    if kept := load_arrays(name):
        return kept["halves"]
    tell("reference of the map, two runs of points; it is kept for next time")
    effort = Effort(CELL_MM, 0.0, REFERENCE_ROWS, REFERENCE_GRID, rounds)
    halves = np.stack([_trace(subject, plan, 2000 + half, effort, False)[0] for half in (1, 2)])
    keep_arrays(name, {"halves": halves.astype(np.float32)}, tell)
    return halves


def describe_footprints(figures: dict) -> list[str]:
    """Return the figures as lines of text."""
    told = [
        f"with {name} {figures[f'map_error_{name}']:.3g} in {figures[f'map_seconds_{name}']:.2f} s"
        for name in ("footprints", "points")
    ]
    return [
        f"table's map at {CELL_MM} mm: error {', '.join(told)}",
        f"less error than points at equal time   {figures['footprint_gain']:10.1f} ×",
    ]
