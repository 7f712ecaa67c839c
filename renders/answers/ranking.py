"""Which of several options is first by a measure, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

# An option is looked at this many errors to either side of its value, at steps of a hundredth.
_REACH, _STEPS = 10.0, 2001
# An exact value gets an error this small beside the values, so that one sum serves all.
_EXACT = 1e-12


@dataclass(frozen=True)
class Ranking:
    """Options in order.

    Attributes
    ----------
    order : tuple of str
        The best first; options that lack the measure are left out.
    chances : dict of str to float, or None
        For each of them, the probability that it really is first; they add up to 1. None where an error is
        not known.
    """

    order: tuple[str, ...]
    chances: dict[str, float] | None

    @property
    def first(self) -> str:
        """The best."""
        return self.order[0]

    @property
    def chance(self) -> float | None:
        """Probability that the first really is first."""
        return None if self.chances is None else self.chances[self.first]


def rank(entries: Mapping[str, Mapping], larger: bool = True) -> Ranking | None:
    """Return options in order of a measure, with the probability that the first really is first.

    The true values are taken as independent normal about those computed, each with its standard error as
    deviation. The probability that option i is first is then the integral of its density times the other
    options' chances of lying below; for two options, a distance d apart, that is Phi(d / hypot(s1, s2)).

    Parameters
    ----------
    entries : mapping of str to dict
        By option: `value` and `standard_error`, see `answer.entry`. A value of None is not ranked; an error
        of 0 is exact.
    larger : bool
        Whether the larger value is the better one.

    Returns
    -------
    Ranking or None
        None where no option has a value.
    """
    known = {name: entry for name, entry in entries.items() if entry["value"] is not None}
    if not known:
        return None
    sign = 1 if larger else -1
    order = tuple(sorted(known, key=lambda name: -sign * known[name]["value"]))
    errors = [known[name]["standard_error"] for name in order]
    if None in errors:
        return Ranking(order, None)
    means = sign * np.array([known[name]["value"] for name in order], float)
    return Ranking(order, dict(zip(order, _chances(means, np.array(errors, float)), strict=True)))


def _chances(means: np.ndarray, errors: np.ndarray) -> list[float]:
    """Return for each normal the probability that it is the largest of all."""
    scale = max(np.abs(means).max(), np.ptp(means), errors.max()) or 1.0
    errors = np.maximum(errors, _EXACT * scale)
    # Every option has its own fine steps, so that none falls between another's.
    reach = np.linspace(-_REACH, _REACH, _STEPS)
    places = np.unique(means[:, None] + errors[:, None] * reach)
    from_mean = (places - means[:, None]) / errors[:, None]
    below = ndtr(from_mean)
    parts = []
    for number in range(len(means)):
        others = np.delete(below, number, axis=0).prod(axis=0)
        # The share between two places is exact, whatever the step; the others' chance there is their mean.
        parts.append(float(np.diff(below[number]) @ ((others[1:] + others[:-1]) / 2)))
    total = sum(parts)
    return [part / total for part in parts]
