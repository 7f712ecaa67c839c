"""What an answer is: lines in the trade's words, numbers with errors, and what is missing to give one."""

from __future__ import annotations

import math
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Answer:
    """One question answered.

    Attributes
    ----------
    lines : tuple of str
        In the words of the trade; the first stands by itself.
    values : dict
        By name, see `entry`; also plain texts, lists, and dicts of these.
    cautions : tuple of str
    """

    lines: tuple[str, ...]
    values: dict = field(default_factory=dict)
    cautions: tuple[str, ...] = ()


class Lacking(Exception):
    """A question cannot be answered, for the set lacks something.

    Parameters
    ----------
    what : str
        What is missing, such as ``"a camera"`` or ``"how fast the splash flies"``.
    give : str
        How to give it, such as ``"brief.splash_speed=3 m/s"``; empty where it is no single key.
    """

    def __init__(self, what: str, give: str = ""):
        self.what, self.give = what, give
        super().__init__(f"needs {what}" + (f"; give {give}" if give else ""))


def entry(value: float | list | None, error: float | list | None = None, unit: str = "") -> dict:
    """Return a number of an answer.

    Parameters
    ----------
    value : float, list of float or None
    error : like value
        One standard error; None where it is not known, 0 where the answer is exact arithmetic.
    unit : str
    """
    return {"value": value, "standard_error": error, "unit": unit}


def with_unit(measured: dict, unit: str) -> dict:
    """Return a ± entry of a report as a number of an answer; one that is an upper limit stays so."""
    return {**measured, "unit": unit}


def tell(number: dict, digits: int = 1, sign: str = "") -> str:
    """Return a number in words: value, ± one standard error where that reaches the last digit, and unit.

    What is too narrow for the cells of its map is told as the most that it can be.

    >>> tell(entry(2.03, 0.12, "mm"))
    '2.0 ± 0.1 mm'
    >>> tell(entry(1.5, 0.001, "stops"), sign="+")
    '+1.5 stops'
    >>> tell(entry(2.61, 0.1, "mm") | {"upper_limit": True})
    'at most 2.6 ± 0.1 mm'
    >>> tell(entry(None))
    'none'
    """
    value, error, unit = number["value"], number["standard_error"], number["unit"]
    if value is None:
        return "none"
    known = error is None or error < 10.0**-digits / 2
    shown = f"{value:{sign}.{digits}f}" + ("" if known else f" ± {error:.{digits}f}")
    most = "at most " if number.get("upper_limit") else ""
    return f"{most}{shown} {unit}".rstrip()


def quadrature(*errors: float | None) -> float | None:
    """Return independent standard errors combined; None where one is not known."""
    return None if None in errors else math.hypot(*errors)
