"""What varies in a sweep: ranges and lists as a person writes them, and the variants of a set they make."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from brimcast.scene.setfile import SetFile
from brimcast.shared.errors import PersonError
from brimcast.shared.quantity import KINDS, QuantityError, as_written, show

OPTION = "--vary"
FEWEST, MOST = 2, 1000
HINT = "write it like 'lamps.key.throw=0.6m:3m:9', or with values: 'glasses.hero.vessel=highball,pint'"
# Scales of a camera go in even stops.
IN_STOPS = ("f_number", "iso", "time")
_CLOCK = "o'clock"


@dataclass(frozen=True)
class Variation:
    """One key of a set and the values that it takes in turn.

    Attributes
    ----------
    key : str
        Such as ``lamps.key.throw``.
    texts : tuple of str
        The values as in a set file.
    numbers : tuple of float or None
        The same as numbers in `unit`; None where the values are words.
    unit : str
        As the person wrote it; empty for plain numbers, f-numbers and ISO speeds.
    """

    key: str
    texts: tuple[str, ...]
    numbers: tuple[float, ...] | None = None
    unit: str = ""


@dataclass(frozen=True)
class Variant:
    """One set of a sweep.

    Attributes
    ----------
    places : tuple of int
        Which of its values each variation has, from 0.
    changes : dict of str to str
        The values by dotted key.
    """

    places: tuple[int, ...]
    changes: dict[str, str]

    def __str__(self) -> str:
        return ", ".join(f"{key} {text}" for key, text in self.changes.items())


def read_variation(given: str) -> Variation:
    """Return what an option such as ``lamps.key.throw=0.6m:3m:9`` or ``...vessel=highball,pint`` says.

    The steps of a range are even in the unit in which it is written; those of f-numbers, ISO speeds and times
    are even in stops. Hours of o'clock run clockwise.

    Raises
    ------
    PersonError
        One line that names the option.
    """
    key, sign, values = (part.strip() for part in given.partition("="))
    if not (key and sign and values):
        raise _fault(given, f"not KEY=LOW:HIGH:COUNT; {HINT}")
    listed = _split(values)
    if len(listed) > 1:
        return _read_list(given, key, listed)
    ends, _, count = values.rpartition(":")
    if ":" not in ends or not count.strip().lstrip("+-").isdecimal():
        raise _fault(given, f"no range LOW:HIGH:COUNT and no values with commas between; {HINT}")
    if not FEWEST <= int(count) <= MOST:
        raise _fault(given, f"{int(count)} steps are not allowed; allowed: {FEWEST} to {MOST}")
    texts, numbers, unit = _read_range(given, ends, int(count))
    return Variation(key, texts, numbers, unit)


def _read_list(given: str, key: str, listed: list[str]) -> Variation:
    if not all(listed):
        raise _fault(given, "a value is empty; write values with one comma between")
    if len(listed) > MOST:
        raise _fault(given, f"{len(listed)} values are not allowed; allowed: {FEWEST} to {MOST}")
    if twice := next((text for text in listed if listed.count(text) > 1), None):
        raise _fault(given, f"{twice} is given twice; keep one")
    for kind in KINDS:
        try:
            written = [_read_number(text, kind) for text in listed]
        except QuantityError:
            continue
        if len({unit for _, unit in written}) == 1:
            return Variation(key, tuple(listed), tuple(number for number, _ in written), written[0][1])
    return Variation(key, tuple(listed))


def _split(text: str) -> list[str]:
    """Return the parts between commas, but for commas inside brackets."""
    parts, depth = [""], 0
    for sign in text:
        depth += (sign in "[{(") - (sign in "]})")
        if sign == "," and depth <= 0:
            parts.append("")
        else:
            parts[-1] += sign
    return [part.strip() for part in parts]


def _read_range(given: str, ends: str, count: int) -> tuple[tuple[str, ...], tuple[float, ...], str]:
    """Return texts, numbers and unit of a range's steps."""
    # A colon may be part of a time of the clock.
    places = [place for place, sign in enumerate(ends) if sign == ":"]
    for place, kind in itertools.product(places, KINDS):
        low, high = ends[:place].strip(), ends[place + 1 :].strip()
        try:
            (first, unit), (last, other) = _read_number(low, kind), _read_number(high, kind)
        except QuantityError:
            continue
        if other != unit:
            factors = KINDS[kind].units[unit], KINDS[kind].units[other]
            if any(map(callable, factors)):
                raise _fault(given, f"{low} and {high} have two units; write both in one")
            last *= float(factors[1] / factors[0])
        if first == last:
            raise _fault(given, f"LOW and HIGH are the same, {low}; write two different values")
        if unit == _CLOCK and last < first:
            last += 12
        even = np.geomspace if kind in IN_STOPS else np.linspace
        numbers = tuple(float(f"{number:.12g}") + 0.0 for number in even(first, last, count))
        return tuple(_write(number, kind, unit) for number in numbers), numbers, unit
    named = ends.replace(":", " and ", 1) if len(places) == 1 else repr(ends)
    raise _fault(given, f"{named} are not two quantities of one kind; write both with their unit; {HINT}")


def _read_number(text: str, kind: str) -> tuple[float, str]:
    """Return number and unit; a bare number is a plain one, for nothing says that it is an ISO speed."""
    if kind == "iso" and not text.lower().startswith("iso"):
        raise QuantityError("a plain number")
    return as_written(text, kind)


def _write(number: float, kind: str, unit: str) -> str:
    """Return a number in a unit as it stands in a set file."""
    if kind == "stops":
        return show(number, kind)
    if kind in IN_STOPS:
        return show(number, kind, digits=3)
    if unit == _CLOCK and number >= 13:
        number -= 12
    return f"{float(f'{number:.6g}'):.10g} {unit}".rstrip()


def list_variants(variations: Sequence[Variation]) -> list[Variant]:
    """Return all variants, the first variation's value changing fastest.

    Raises
    ------
    PersonError
        There are more than two variations, two of one key, or too many variants.
    """
    if len(variations) > 2:
        raise PersonError(f"{OPTION}: given {len(variations)} times; a sweep varies one key or two")
    keys = [variation.key for variation in variations]
    if len(set(keys)) < len(keys):
        raise PersonError(f"{OPTION} {keys[0]}: given twice; keep one")
    grid = [range(len(variation.texts)) for variation in variations]
    if (count := int(np.prod([len(places) for places in grid]))) > MOST:
        raise PersonError(f"{OPTION}: {count} variants are not allowed; allowed: up to {MOST}")
    return [_take(variations, places[::-1]) for places in itertools.product(*grid[::-1])]


def _take(variations: Sequence[Variation], places: tuple[int, ...]) -> Variant:
    pairs = zip(variations, places, strict=True)
    return Variant(places, {variation.key: variation.texts[place] for variation, place in pairs})


def check_variants(variants: Sequence[Variant], check: Callable[[Variant], object]) -> Iterator[object]:
    """Yield what a check returns of each variant; raise what all of them find wrong together at the end.

    Parameters
    ----------
    variants : sequence of Variant
    check : callable
        Such as one that parses the set; raises PersonError.

    Raises
    ------
    PersonError
        A line for each thing that is wrong, however many variants share it.
    """
    found: dict[str | None, list[tuple[Variant, str]]] = {}
    for variant in variants:
        try:
            yield check(variant)
        except PersonError as mistakes:
            for fault in mistakes.faults:
                found.setdefault(fault.key, []).append((variant, fault.text))
    if found:
        raise PersonError([_tell(key, wrong) for key, wrong in found.items()])


def _tell(key: str | None, wrong: list[tuple[Variant, str]]) -> str:
    """Return one line on what is wrong at a key, by the first variant that has it."""
    variant, text = wrong[0]
    of = key if key in variant.changes else next((own for own in variant.changes if _within(key, own)), None)
    if of is None:
        named, text = ", ".join(f"{own}={value}" for own, value in variant.changes.items()), f"{key}: {text}"
        others = len({other.places for other, _ in wrong}) - 1
    else:
        named, text = f"{of}={variant.changes[of]}", text if key == of else f"{key}: {text}"
        others = len({other.changes[of] for other, _ in wrong}) - 1
    more = f" (and {others} more value{'s' * (others > 1)})" if others else ""
    return f"{OPTION} {named}: {text}{more}"


def _within(key: str | None, other: str) -> bool:
    """Return whether one dotted key leads to the other."""
    one, other = f"{key}.", f"{other}."
    return one.startswith(other) or other.startswith(one)


def steady_changes(set_file: SetFile, base: SetFile, picture: bool) -> dict[str, str]:
    """Return changes that make variants alike which differ only in what no ray knows of.

    A lamp's power, ISO speed and a white balance by temperature are put on after tracing (`exposures`),
    and so is an f-number where no picture is taken: the same computed set serves all their values. Gels
    are not among them: the errors of measures go through them in the kernel.

    Parameters
    ----------
    set_file : SetFile
        The variant.
    base : SetFile
        The set as it is swept.
    picture : bool
        Its noise is judged at the powers of `base`.
    """
    powers = {name: lamp.power_stops if picture else 0.0 for name, lamp in base.lamps.items()}
    changes = {f"lamps.{name}.power": show(powers[name], "stops") for name in set_file.lamps}
    camera = set_file.camera
    if camera is None:
        return changes
    changes["camera.iso"] = "ISO 100"
    if not isinstance(camera.white, str):
        changes["camera.white"] = "5600 K"
    # The room that a hidden card has depends on the opening of the lens.
    if not picture and not set_file.cards:
        changes["camera.f_number"] = "f/11"
    return changes


def _fault(given: str, text: str) -> PersonError:
    return PersonError(f"{OPTION} {given!r}: {text}")
