"""What options of commands are given: texts read, mistakes told by the option's name."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from brimcast.shared.errors import PersonError

Value = TypeVar("Value")


def read_option(option: str, read: Callable[[str], Value], text: str) -> Value:
    """Return what a reader makes of an option's text.

    Raises
    ------
    PersonError
        The reader refuses it.
    """
    from brimcast.shared.quantity import QuantityError

    try:
        return read(text)
    except QuantityError as wrong:
        raise PersonError(f"{option}: {wrong}") from None


def read_kind(option: str, kind: str, text: str) -> float:
    """Return an option's quantity, see `quantity.parse`; of an f-number, `11` will do for `f/11`.

    Raises
    ------
    PersonError
    """
    from brimcast.shared.quantity import parse

    text = text.strip()
    if kind == "f_number" and not text.lower().startswith("f"):
        text = f"f/{text}"
    return read_option(option, lambda written: parse(written, kind), text)


def read_numbers(what: str, texts: list[str], most: int) -> list[int]:
    """Return whole numbers from 1 to `most`, each once, in the order given.

    Raises
    ------
    PersonError
    """
    wrong = [text for text in texts if not (text.isdecimal() and 1 <= int(text) <= most)]
    if wrong:
        raise PersonError(f"{what}: {wrong[0]!r} is not known; allowed: numbers from 1 to {most}")
    return list(dict.fromkeys(map(int, texts)))
