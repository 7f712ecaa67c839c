"""Where a noisy function meets a wish: few evaluations, coarse ones first, and an answer with its ±.

The wish is met where the function, the miss, is 0, or below 0. It need not be monotone: a coarse scan goes
over the whole range first. See `trials` for why no library's root finder does.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .extremes import find_least
from .trials import CLEAR, TINY, Outcome, Plane, Trial, Trials, fit_plane, note_bend, note_surprise

LONGEST_STEP, ASIDE = 0.35, 0.15
# Evaluations at one level: at the coarse ones, and at the finest.
MOST_COARSE, MOST_FINEST = 4, 8


def scan(trials: Trials, count: int) -> list[Trial]:
    """Evaluate on an even grid at the coarsest level; return the trials that have a value."""
    steps = np.linspace(0.0, 1.0, count)
    row = [trials.at(place, 0) for place in itertools.product(steps, repeat=len(trials.axes))]
    return [one for one in row if one.value is not None]


def close_in(
    trials: Trials, start: np.ndarray, box: tuple[np.ndarray, np.ndarray], levels: Sequence[int]
) -> Plane | None:
    """Go to where a plane through what was seen meets 0, level by level.

    A level is done when the error of the place is within half the useful accuracy, and the last step was no
    longer than it; or after some evaluations: then noise is the limit.

    Parameters
    ----------
    trials : Trials
    start : (n,) float
    box : pair of (n,) float
        Least and largest place.
    levels : sequence of int
        From the coarsest.

    Returns
    -------
    Plane or None
        About the place found, at the finest level; None where the function has no values there.
    """
    t = np.clip(np.asarray(start, float), *box)
    if plane := fit_plane(trials, t, levels[0]):
        t = _step(t, plane.root, box)
    for level in levels:
        plane = None
        for _ in range(MOST_FINEST if level == levels[-1] else MOST_COARSE):
            trial = trials.at(t, level)
            if trial.value is None:
                t = _back(trials, t)
                continue
            if plane:
                note_surprise(trials, trial, plane)
            plane = fit_plane(trials, trial.t, level)
            if plane is None:
                t = _probe(trials, trial.t, box)
                continue
            t = _step(trial.t, plane.root, box)
            if np.array_equal(t, trial.t):
                # Held by the box: the root lies beyond.
                break
            good = trials.useful(t) / 2
            # A last step as short as the error is: else what the slope is off by would count.
            short = np.minimum(good, np.maximum(plane.root_error, good / 4))
            if (np.abs(t - trial.t) <= short).all() and (plane.root_error <= good).all():
                if plane.is_steep:
                    break
                t = _aside(trial.t, plane, box)
    # The last place may have been one aside.
    plane = fit_plane(trials, t, levels[-1])
    return plane and fit_plane(trials, _step(t, plane.root, box), levels[-1])


def _step(t: np.ndarray, to: np.ndarray, box) -> np.ndarray:
    """Return the end of a step, no longer than is wise, inside the box."""
    step = to - t
    longest = np.abs(step).max()
    return np.clip(t + step * min(1.0, LONGEST_STEP / max(longest, TINY)), *box)


def _aside(t: np.ndarray, plane: Plane, box) -> np.ndarray:
    """Return a place aside, along the variable whose slope is known least, the way there is more room."""
    doubt = (np.abs(plane.slope) / np.maximum(plane.slope_error, TINY)).max(axis=0)
    axis = int(np.argmin(doubt))
    aside = t.copy()
    way = 1.0 if box[1][axis] - t[axis] > t[axis] - box[0][axis] else -1.0
    aside[axis] += way * ASIDE
    return np.clip(aside, *box)


def _back(trials: Trials, t: np.ndarray) -> np.ndarray:
    """Return the place halfway to the nearest that has a value."""
    known = trials.known()
    if not known:
        return t
    nearest = min(known, key=lambda one: float(np.square(one.t - t).sum()))
    return (t + nearest.t) / 2


def _probe(trials: Trials, t: np.ndarray, box) -> np.ndarray:
    """Return a place aside, along the variable that was changed least so far."""
    known = np.array([one.t for one in trials.known()])
    axis = int(np.argmin(np.ptp(known, axis=0)))
    step = np.clip(4 * trials.useful(t)[axis], 0.03, 0.15)
    aside = t.copy()
    aside[axis] += step if t[axis] + step <= box[1][axis] else -step
    return np.clip(aside, *box)


def whole(trials: Trials) -> tuple[np.ndarray, np.ndarray]:
    """Return the box that is the whole range."""
    count = len(trials.axes)
    return np.zeros(count), np.ones(count)


def find_first(
    trials: Trials, below: bool, count: int, levels: Sequence[int], wrap: float | None = None
) -> Outcome:
    """Find where a miss of one variable becomes 0, nearest to the end preferred.

    Parameters
    ----------
    trials : Trials
        Of one variable and one miss.
    below : bool
        The miss may lie below 0. Then the answer is where it comes below 0 to stay so at all places scanned
        beyond; where there is no such place, the first stretch below 0 counts.
    count : int
        Places scanned.
    levels : sequence of int
    wrap : float, optional
        A miss that jumps by more between two places went round, not through 0.
    """
    row = scan(trials, count)
    if not row:
        return Outcome("dark")
    # On which side of 0 luck may have put a place is not looked at, if that leaves enough.
    clear = [one for one in row if abs(one.value[0]) >= CLEAR * one.error[0]]
    for places in (clear, row):
        found = _find_stretch(trials, row, places, levels) if below else None
        crossing = None if below else _find_crossing(places, wrap)
        if found:
            return found
        if crossing is not None:
            return _cross(trials, row, *crossing, levels)
    return _from_least(trials, row, below, levels)


def _find_stretch(trials: Trials, row: list[Trial], places: list[Trial], levels) -> Outcome | None:
    """Find where a stretch below 0 begins; None where there is none."""
    stretch = _choose_stretch(np.array([one.value[0] < 0 for one in places]))
    if stretch is None:
        return None
    first = stretch[0]
    if first > 0:
        return _look_beyond(
            trials, row, _cross(trials, row, places[first - 1], places[first], levels), levels
        )
    sure = trials.at(row[0].t, levels[-1])
    if sure.value is not None and sure.value[0] < 0:
        found = Outcome("everywhere", sure.t, None, sure.value, sure.error)
    else:
        beyond = places[0] if places[0] is not row[0] else row[min(1, len(row) - 1)]
        found = _cross(trials, row, row[0], beyond, levels)
    return _look_beyond(trials, row, found, levels)


def _look_beyond(trials: Trials, row: list[Trial], found: Outcome, levels: Sequence[int]) -> Outcome:
    """Tell whether what was found lasts: by the finest level at the far end, and where the scan was worst."""
    if found.verdict == "nowhere":
        return found
    beyond = [one for one in row if one.t[0] > found.t[0] + TINY]
    doubtful = {len(beyond) - 1, int(np.argmax([one.value[0] for one in beyond]))} if beyond else set()
    for place in sorted(doubtful):
        trial = trials.at(beyond[place].t, levels[-1]) if len(levels) > 1 else beyond[place]
        if trial.value is not None and trial.value[0] > CLEAR * trial.error[0]:
            return replace(found, lasts=False, ends=float(trial.t[0]))
    return found


def _find_crossing(places: list[Trial], wrap: float | None) -> tuple[Trial, Trial] | None:
    """Return the first two neighbours on either side of 0."""
    for one, other in itertools.pairwise(places):
        if one.value[0] * other.value[0] <= 0 and abs(one.value[0] - other.value[0]) <= (wrap or np.inf):
            return one, other
    return None


def _choose_stretch(holds: np.ndarray) -> tuple[int, int] | None:
    """Return the first and last place of the stretch that reaches the far end, else of the first one."""
    if not holds.any():
        return None
    if holds[-1]:
        missing = np.flatnonzero(~holds)
        return (int(missing[-1]) + 1 if len(missing) else 0), len(holds) - 1
    first = int(np.argmax(holds))
    return first, first + int(np.argmin(holds[first:])) - 1


def _cross(trials: Trials, row: list[Trial], low: Trial, high: Trial, levels: Sequence[int]) -> Outcome:
    """Close in on a crossing between two places of a scan: a cell beyond them at most, else anywhere."""
    share = abs(low.value[0]) / max(abs(low.value[0]) + abs(high.value[0]), TINY)
    start = low.t + share * (high.t - low.t)
    note_bend(trials, row, start)
    cell = np.full(1, 1 / max(len(row) - 1, 1))
    near = np.maximum(low.t - cell, 0.0), np.minimum(high.t + cell, 1.0)
    for box in (near, whole(trials)):
        plane = close_in(trials, start, box, levels)
        if plane is None:
            return Outcome("nowhere", low.t, None, low.value, low.error)
        if met(plane):
            break
        start = plane.t
    verdict = "found" if met(plane) else "nowhere"
    return Outcome(verdict, plane.t, plane.root_error, plane.value, plane.error, plane.slope)


def met(plane: Plane, slack: float = 0.0) -> bool:
    """Return whether a plane is 0 about its place, within its noise or a slack that does not count."""
    within = (np.abs(plane.value) <= CLEAR * plane.error + TINY).all()
    return bool(within or np.linalg.norm(plane.value) <= slack)


def _from_least(trials: Trials, row: list[Trial], below: bool, levels: Sequence[int]) -> Outcome:
    """Look between the places scanned, none of which meets the wish, for one that does.

    Where the least does, at the finest level, so may places scanned beside it: coarse levels are off.
    """
    sign = 1.0 if below else float(np.sign(min(row, key=lambda one: abs(one.value[0])).value[0])) or 1.0
    least = find_least(trials, row, sign, levels)
    if sign * least.value[0] > -CLEAR * least.value_error[0]:
        return least
    before = [one.t for one in reversed(row) if one.t[0] < least.t[0]]
    after = [one.t for one in row if one.t[0] > least.t[0]]
    for side in (before,) if below else (before, after):
        near = Trial(least.t, levels[-1], least.value, least.value_error)
        for trial in (_seen_at(trials, t, levels[-1]) for t in side):
            if trial.value is None:
                continue
            if sign * trial.value[0] > 0:
                found = _cross(trials, row, *sorted((trial, near), key=lambda one: one.t[0]), levels)
                # Where noise hides the crossing, the least is still sure.
                found = found if found.verdict == "found" else replace(least, verdict="found")
                return _look_beyond(trials, row, found, levels) if below else found
            near = trial
    if below:
        return _look_beyond(trials, row, Outcome("everywhere", near.t, None, near.value, near.error), levels)
    return replace(least, verdict="found")


def _seen_at(trials: Trials, t: np.ndarray, level: int) -> Trial:
    """Return a trial at a place, that which was made there if there is one."""
    return next((one for one in trials.known(level) if np.allclose(one.t, t)), None) or trials.at(t, level)
