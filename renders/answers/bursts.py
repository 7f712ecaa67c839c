"""How long a flash burns at its powers, and at which of them it is short enough."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from brimcast.scene.models_brief import Flash


class PowerRange(NamedTuple):
    """The highest powers at which a head is fast enough.

    Attributes
    ----------
    floor, ceiling : float or None
        Stops below full, at most 0; None where it is too slow at all powers that are given.
    words : str
    """

    floor: float | None
    ceiling: float | None
    words: str


def power_range(flash: Sequence[Flash], slowest_s: float) -> PowerRange:
    """Return where a head burns no longer than a time: the highest stretch of such powers.

    Between the powers given, the logarithm of the time runs straight over stops; beyond them nothing is said.

    Parameters
    ----------
    flash : sequence of Flash
        At least one, each with a power of its own.
    slowest_s : float
    """
    points = sorted((point.power_stops, math.log(point.t01_s / slowest_s)) for point in flash)
    (least, _), (most, _) = points[0], points[-1]
    fast = [number for number, (_, over) in enumerate(points) if over <= 0]
    if not fast:
        power, over = min(points, key=lambda point: point[1])
        shortest = tell_time(slowest_s * math.exp(over))
        return PowerRange(
            None, None, f"The head is too slow at every power given; shortest is {shortest} {_below(power)}"
        )
    top = fast[-1]
    bottom = top
    while bottom - 1 in fast:
        bottom -= 1
    ceiling = most if top == len(points) - 1 else _cross(points[top], points[top + 1])
    floor = least if bottom == 0 else _cross(points[bottom], points[bottom - 1])
    if (floor, ceiling) == (least, most):
        span = f"from {_stops(most)} to {_stops(least)} stops below full" if most > least else _below(most)
        return PowerRange(floor, ceiling, f"The head is fast enough at every power given, {span}")
    words = f"The head is fast enough up to {_stops(ceiling)} stops below full"
    if bottom > 0:
        words = f"The head is fast enough from {_stops(ceiling)} to {_stops(floor)} stops below full"
        words += "; lower, it burns longer"
    elif floor == least:
        words += f"; the lowest power given is {_stops(least)}"
    return PowerRange(floor, ceiling, words)


def _cross(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return the power between two points at which the time is just the slowest."""
    share = one[1] / (one[1] - other[1])
    return one[0] + share * (other[0] - one[0])


def _below(power: float) -> str:
    return "at full power" if power == 0 else f"at {_stops(power)} stops below full"


def _stops(power: float) -> str:
    # Without the sign, which full power would keep as -0.0.
    return f"{abs(power):.1f}"


def tell_time(seconds: float) -> str:
    """Return a time as on a flash, to two digits.

    >>> tell_time(0.000123)
    '1/8100 s'
    >>> tell_time(0.5)
    '0.5 s'
    """
    if seconds >= 0.3:
        return f"{seconds:.2g} s"
    return f"1/{float(f'{1 / seconds:.2g}'):.0f} s"
