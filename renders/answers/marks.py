"""Where several misses become 0 at once, such as those of a tip from a mark in x and y."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import least_squares

from .search import close_in, met, whole
from .trials import CLEAR, TINY, Outcome, Trial, Trials, note_bend

# Steps of a descent, and how far aside its slopes look.
MOST_DESCENT, SLOPE_STEP = 8, 0.03
_FAR = 1e6


def find_mark(trials: Trials, starts: Sequence, levels: Sequence[int], slack: float) -> Outcome:
    """Find where several misses become 0 at once; with fewer variables than misses, where they are least.

    Parameters
    ----------
    trials : Trials
    starts : sequence of (n,) float
        Places looked at first, at the coarsest level.
    levels : sequence of int
    slack : float
        Length of a miss that does not count.
    """
    row = [one for one in (trials.at(start, 0) for start in starts) if one.value is not None]
    if not row:
        return Outcome("dark")
    row.sort(key=_length)
    # From another start where one leads to a dead end.
    for start in row[:3]:
        _descend(trials, start.t)
        nearest = min(trials.known(0), key=_length)
        if _length(nearest) <= max(slack, CLEAR * float(np.linalg.norm(nearest.error))):
            break
    note_bend(trials, row, nearest.t)
    plane = close_in(trials, nearest.t, whole(trials), levels)
    if plane is None:
        return Outcome("nowhere", nearest.t, None, nearest.value, nearest.error)
    verdict = "found" if met(plane, slack) else "nowhere"
    return Outcome(verdict, plane.t, plane.root_error, plane.value, plane.error, plane.slope)


def _length(trial: Trial) -> float:
    return float(np.linalg.norm(trial.value))


def _descend(trials: Trials, start: np.ndarray) -> None:
    """Let the library's bounded least squares go toward 0 at the coarsest level, as far as noise lets it.

    It needs slopes over steps that stand out of the noise, and knows no errors: where it ends is a start.
    """
    misses = len(trials.known()[0].value)

    def miss(t: np.ndarray) -> np.ndarray:
        value = trials.at(t, 0).value
        # What has no value is far off: the step is taken back.
        return np.full(misses, _FAR) if value is None else value

    def slopes(t: np.ndarray) -> np.ndarray:
        here = next(one for one in reversed(trials.seen) if np.array_equal(one.t, t))
        columns = []
        for axis in range(len(t)):
            step = np.zeros(len(t))
            step[axis] = SLOPE_STEP if t[axis] + SLOPE_STEP <= 1 else -SLOPE_STEP
            there = trials.at(t + step, 0)
            known = there.value is not None and here.value is not None
            columns.append((there.value - here.value) / step[axis] if known else np.zeros(misses))
        return np.stack(columns, axis=1)

    inside = np.clip(start, TINY, 1 - TINY)
    steps = float((trials.useful(start) / 2).min())
    least_squares(miss, inside, slopes, (0.0, 1.0), xtol=steps, ftol=0.05, gtol=None, max_nfev=MOST_DESCENT)
