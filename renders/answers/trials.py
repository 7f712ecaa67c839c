"""What was seen of a noisy function, and the plane through it near a place.

Root finders of libraries (`scipy.optimize.brentq`, `root`) take a function at its word: with noise they
close in on a sign that luck decided, and tell no error. Here a plane is fitted to what was seen, each place
weighted by its noise and by how far the function may bend on the way there. Levels (qualities) may be off
against one another by a constant of each; their slopes count alike. Variables run from 0, the end preferred,
to 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

# A variable that is told to a share, and whose ends lie further apart than that ratio, is walked by ratios.
LOG_RATIO = 4.0
# What teaches how much a function bends: a step of that length, off by so many standard errors. A slope of so
# many stands out.
LONG_STEP, CLEARLY = 0.04, 3.0
# A miss of so many standard errors is one.
CLEAR = 2.0
TINY = 1e-9
_DIGITS = 1e-12


@dataclass(frozen=True)
class Axis:
    """A variable.

    Attributes
    ----------
    first, last : float
        Ends of its range, the preferred one first.
    useful : float
        How exact an answer is useful, in its unit; a share of the value where `by_share`.
    by_share : bool
    """

    first: float
    last: float
    useful: float
    by_share: bool = False

    @property
    def by_ratio(self) -> bool:
        """Whether equal steps are equal ratios."""
        low, high = sorted((self.first, self.last))
        return self.by_share and low > 0 and high / low >= LOG_RATIO

    def outer(self, t: float) -> float:
        """Return the value at a place from 0 to 1."""
        if self.by_ratio:
            return self.first * (self.last / self.first) ** t
        return self.first + (self.last - self.first) * t

    def inner(self, value: float) -> float:
        """Return the place of a value."""
        if self.by_ratio:
            return math.log(value / self.first) / math.log(self.last / self.first)
        return (value - self.first) / (self.last - self.first)

    def rate(self, t: float) -> float:
        """Return how much the value changes per place, without sign."""
        if self.by_ratio:
            return abs(self.outer(t) * math.log(self.last / self.first))
        return abs(self.last - self.first)

    def useful_at(self, t: float) -> float:
        """Return the useful accuracy as a step of place."""
        return self.useful * (self.outer(t) if self.by_share else 1.0) / self.rate(t)


@dataclass(frozen=True)
class Trial:
    """What was seen at a place.

    Attributes
    ----------
    t : (n,) float
    level : int
    value, error : (m,) float or None
        By how much the wish is missed, and one standard error; None where the function has no value.
    """

    t: np.ndarray
    level: int
    value: np.ndarray | None
    error: np.ndarray | None


Evaluate = Callable[[tuple[float, ...], int, int], tuple[Sequence[float], Sequence[float]] | None]


@dataclass
class Trials:
    """All that was seen of a function.

    Attributes
    ----------
    axes : tuple of Axis
    evaluate : callable
        Given values, a level, and the number of the trial (for a seed of its own, so that noise is
        independent), returns miss and standard error, each a sequence of m; None where undefined.
    seen : list of Trial
    bend : float
        Most that the function was seen to leave a plane, per squared step of place.
    """

    axes: tuple[Axis, ...]
    evaluate: Evaluate
    seen: list[Trial] = field(default_factory=list)
    bend: float = 0.0

    def at(self, t, level: int) -> Trial:
        """Evaluate at a place."""
        t = np.clip(np.atleast_1d(np.asarray(t, float)), 0.0, 1.0)
        found = self.evaluate(self.outer(t), level, len(self.seen))
        value, error = (None, None) if found is None else (np.asarray(part, float) for part in found)
        self.seen.append(Trial(t, level, value, error))
        return self.seen[-1]

    def outer(self, t) -> tuple[float, ...]:
        """Return the values at a place."""
        return tuple(axis.outer(float(one)) for axis, one in zip(self.axes, t, strict=True))

    def useful(self, t) -> np.ndarray:
        """(n,) useful accuracy as steps of place."""
        return np.array([axis.useful_at(float(one)) for axis, one in zip(self.axes, t, strict=True)])

    def known(self, level: int | None = None) -> list[Trial]:
        """Return the trials with a value."""
        return [one for one in self.seen if one.value is not None and level in (None, one.level)]


@dataclass(frozen=True)
class Plane:
    """What a function looks like near a place, at one level.

    Attributes
    ----------
    t : (n,) float
    value : (m,) float
    slope : (m, n) float
    error, slope_error : (m,) and (m, n) float
        One standard error of value and slope.
    """

    t: np.ndarray
    value: np.ndarray
    slope: np.ndarray
    error: np.ndarray
    slope_error: np.ndarray

    @property
    def is_steep(self) -> bool:
        """Whether some slope along each variable stands out of its noise: else no root's error is known."""
        return bool((np.abs(self.slope) > CLEARLY * self.slope_error).any(axis=0).all())

    @property
    def root(self) -> np.ndarray:
        """(n,) place where the plane comes nearest to 0."""
        return self.t - np.linalg.pinv(self.slope, rcond=1e-6) @ self.value

    @property
    def root_error(self) -> np.ndarray:
        """(n,) one standard error of that place."""
        return np.sqrt(np.square(np.linalg.pinv(self.slope, rcond=1e-6)) @ np.square(self.error))

    def __call__(self, t) -> np.ndarray:
        return self.value + self.slope @ (np.asarray(t) - self.t)


@dataclass(frozen=True)
class Outcome:
    """What a search found.

    Attributes
    ----------
    verdict : {'found', 'everywhere', 'nowhere', 'dark'}
        Met at `t`; met from the end preferred on, which is `t`; met nowhere, `t` being the
        nearest; or the function has no values.
    t, error : (n,) float
        Place, and one standard error of it; None where it is an end of the range, or not known.
    value, value_error : (m,) float
        Miss there.
    slope : (m, n) float or None
    lasts : bool
        Of a miss to be below 0: it stays so at all places scanned beyond.
    ends : float or None
        Where it is not so any more, if it does not last.
    at_end : bool
        The least miss lies at an end of the range.
    """

    verdict: str
    t: np.ndarray | None = None
    error: np.ndarray | None = None
    value: np.ndarray | None = None
    value_error: np.ndarray | None = None
    slope: np.ndarray | None = None
    lasts: bool = True
    ends: float | None = None
    at_end: bool = False


def fit_plane(trials: Trials, t: np.ndarray, level: int) -> Plane | None:
    """Return the plane through what was seen, nearby more than far away; None where too little was seen.

    Every level has a constant of its own. Where the trials scatter more than their errors say, the plane's
    error is larger by that.
    """
    known = trials.known()
    levels = sorted({one.level for one in known})
    if level not in levels:
        return None
    places = np.array([one.t for one in known]) - t
    offsets = np.array([[float(one.level == each) for each in levels] for one in known])
    design = np.hstack([offsets, places])
    if np.linalg.matrix_rank(design, tol=1e-9) < design.shape[1]:
        return None
    bent = trials.bend * np.square(places).sum(axis=1)
    mine, count = levels.index(level), len(levels)
    values, slopes, errors, slope_errors = [], [], [], []
    for part in range(len(known[0].value)):
        seen = np.array([one.value[part] for one in known])
        noise = np.array([one.error[part] for one in known])
        spread = np.hypot(noise, bent) + _DIGITS * (np.abs(seen).max() + 1)
        scaled = design / spread[:, None]
        # Columns of like size, so that weights of many orders of magnitude lose no digits.
        size = np.linalg.norm(scaled, axis=0)
        inverse = np.linalg.pinv(scaled / size, rcond=1e-13) / size[:, None]
        found = inverse @ (seen / spread)
        spare = len(known) - design.shape[1]
        excess = np.square((seen - design @ found) / spread).sum() / spare if spare > 1 else 1.0
        sure = np.sqrt(np.square(inverse).sum(axis=1) * max(1.0, excess))
        values.append(found[mine])
        slopes.append(found[count:])
        errors.append(sure[mine])
        slope_errors.append(sure[count:])
    return Plane(np.asarray(t, float), *map(np.array, (values, slopes, errors, slope_errors)))


def note_bend(trials: Trials, row: list[Trial], t: np.ndarray) -> None:
    """Learn the bend from the trials of a scan that are nearest to a place: what they leave of a plane.

    Noise adds to it, the less the further apart they are.
    """
    near = sorted(row, key=lambda one: float(np.square(one.t - t).sum()))[: len(trials.axes) + 2]
    if len(near) < len(trials.axes) + 2:
        return
    places = np.array([one.t for one in near]) - t
    design = np.hstack([np.ones((len(near), 1)), places])
    values = np.array([one.value for one in near])
    left = values - design @ np.linalg.lstsq(design, values, rcond=None)[0]
    # Of three equal steps of a parabola, a straight line leaves two thirds of the bend.
    trials.bend = max(trials.bend, 1.5 * float(np.abs(left).max() / np.square(places).sum(axis=1).max()))


def note_surprise(trials: Trials, trial: Trial, plane: Plane) -> None:
    """Learn the bend from a trial that lies clearly off what a plane foresaw, after a step of some length."""
    length = float(np.linalg.norm(trial.t - plane.t))
    noise = np.hypot(trial.error, plane.error)
    off = np.abs(trial.value - plane(trial.t))
    if length >= LONG_STEP and (off > CLEARLY * noise).any():
        trials.bend = max(trials.bend, float(off.max()) / length**2)
