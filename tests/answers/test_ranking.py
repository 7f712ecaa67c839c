"""Ranking of options with errors: closed forms of normal distributions, and draws."""

import math

import numpy as np
import pytest

from brimcast.renders.answers.answer import entry
from brimcast.renders.answers.ranking import rank


def phi(x):
    """Normal distribution function."""
    return (1 + math.erf(x / math.sqrt(2))) / 2


@pytest.mark.parametrize(
    ("one", "other", "errors"),
    [(10.0, 9.0, (1.0, 0.5)), (3.2, 3.1, (0.01, 0.2)), (-1.0, -1.0, (2.0, 0.1)), (5.0, 2.0, (0.0, 1.5))],
)
def test_two_options_are_as_sure_as_the_normal_distribution_says(one, other, errors):
    """The difference of two independent normals is normal: Phi(d / hypot(s1, s2))."""
    ranked = rank({"a": entry(one, errors[0]), "b": entry(other, errors[1])})
    assert ranked.first == "a"
    assert ranked.chance == pytest.approx(phi((one - other) / math.hypot(*errors)), abs=1e-5)


def test_three_options_are_as_sure_as_draws_say():
    means, errors = np.array([4.0, 3.6, 3.0]), np.array([0.3, 0.5, 1.0])
    drawn = np.random.default_rng(2).normal(means, errors, size=(1_000_000, 3))
    shares = np.bincount(drawn.argmax(axis=1), minlength=3) / len(drawn)
    ranked = rank({name: entry(*pair) for name, *pair in zip("abc", means, errors, strict=True)})
    # A share of a million draws has an error of 0.0005 at most.
    assert [ranked.chances[name] for name in "abc"] == pytest.approx(shares, abs=2e-3)


@pytest.mark.parametrize("count", [2, 4, 6])
def test_equal_options_share_the_chance(count):
    ranked = rank({f"option {number}": entry(7.0, 0.4) for number in range(count)})
    assert list(ranked.chances.values()) == pytest.approx([1 / count] * count)


def test_smaller_can_be_better():
    widths = {"wide": entry(3.0, 0.2), "narrow": entry(2.5, 0.2)}
    assert rank(widths, larger=False).order == ("narrow", "wide")
    assert rank(widths, larger=False).chance == pytest.approx(rank(widths).chance)


def test_exact_values_leave_no_doubt():
    assert rank({"a": entry(1.0, 0.0), "b": entry(1.001, 0.0)}).chances == pytest.approx({"b": 1, "a": 0})


def test_what_is_not_known_is_not_guessed():
    assert rank({"a": entry(None), "b": entry(None)}) is None
    assert rank({"a": entry(1.0), "b": entry(2.0, 0.1)}).chance is None
    some = rank({"a": entry(None), "b": entry(2.0, 0.1)})
    assert some.order == ("b",) and some.chance == pytest.approx(1)
