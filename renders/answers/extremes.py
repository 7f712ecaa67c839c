"""Where a noisy function of one variable is least, or largest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .trials import CLEAR, TINY, Outcome, Trial, Trials

_TRIALS = 5


def find_least(trials: Trials, row: list[Trial], sign: float, levels: Sequence[int]) -> Outcome:
    """Find where a function of one variable is least, or with sign -1 largest; `nowhere` as its verdict.

    Round the best place scanned a parabola is fitted to trials at the finest level. Its error is the place's;
    None at an end of the range, or where nothing bends upward beyond the noise.
    """
    level = levels[-1]
    best = min(row, key=lambda one: sign * one.value[0])
    # Places that may be as good, by their noise, and one more to either side.
    good = [place for place, one in enumerate(row) if not _lower(best, one, sign)]
    low, high = row[max(good[0] - 1, 0)].t, row[min(good[-1] + 1, len(row) - 1)].t
    if len(good) == 1 and good[0] in (0, len(row) - 1):
        end, inside = trials.at(best.t, level), trials.at((low + high) / 2, level)
        if end.value is not None and not _lower(inside, end, sign):
            return Outcome("nowhere", end.t, None, end.value, end.error, at_end=True)
    for share in np.linspace(0.0, 1.0, _TRIALS):
        trials.at(low + share * (high - low), level)
    vertex = _fit_vertex(_between(trials, low, high, level), sign)
    if vertex and low[0] < vertex[0] < high[0]:
        trials.at(np.array([vertex[0]]), level)
        vertex = _fit_vertex(_between(trials, low, high, level), sign)
    if vertex and low[0] < vertex[0] < high[0]:
        return Outcome("nowhere", *(np.array([one]) for one in vertex))
    seen = _between(trials, low, high, level) or [best]
    lowest = min(seen, key=lambda one: sign * one.value[0])
    at_end = bool(lowest.t[0] in (0.0, 1.0))
    return Outcome("nowhere", lowest.t, None, lowest.value, lowest.error, at_end=at_end)


def _between(trials: Trials, low: np.ndarray, high: np.ndarray, level: int) -> list[Trial]:
    return [one for one in trials.known(level) if low[0] <= one.t[0] <= high[0]]


def _lower(one: Trial, other: Trial, sign: float) -> bool:
    """Whether a trial is clearly lower than another."""
    if one.value is None:
        return False
    noise = np.hypot(one.error[0], other.error[0])
    return bool(sign * (other.value[0] - one.value[0]) > CLEAR * noise)


def _fit_vertex(seen: list[Trial], sign: float) -> tuple[float, float, float, float] | None:
    """Return place and value of a parabola's vertex, each before its error; None where it has none."""
    if len(seen) < 4:
        return None
    t = np.array([one.t[0] for one in seen])
    middle, half = (t.min() + t.max()) / 2, max(np.ptp(t) / 2, TINY)
    x = (t - middle) / half
    values = np.array([one.value[0] for one in seen])
    noise = np.array([one.error[0] for one in seen])
    noise = np.hypot(noise, TINY * (np.abs(values).max() + 1))
    design = np.stack([np.ones_like(x), x, x**2], axis=1) / noise[:, None]
    found, _, _, _ = np.linalg.lstsq(design, values / noise, rcond=None)
    spare = max(len(seen) - 3, 1)
    excess = max(1.0, float(np.square(values / noise - design @ found).sum() / spare))
    covariance = np.linalg.inv(design.T @ design) * excess
    flat, tilt, bend = found
    if sign * bend <= np.sqrt(covariance[2, 2]):
        return None
    at = -tilt / (2 * bend)
    moved = np.array([0.0, -1 / (2 * bend), tilt / (2 * bend**2)])
    lifted = np.array([1.0, at, at**2])
    error, value_error = (float(np.sqrt(way @ covariance @ way)) for way in (moved, lifted))
    value = float(flat + tilt * at + bend * at**2)
    return float(middle + half * at), float(half * error), value, value_error
