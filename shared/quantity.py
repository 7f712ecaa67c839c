"""Quantities with units as people write them: text -> number in a fixed unit, and back.

The grammar, for every kind alike::

    quantity = [sign] term {term}          several terms only for lengths: 5 ft 6 in
    term     = number [unit]
    number   = 1.8 | 1/160 | 1 1/3 | 10:30 (only o'clock)

A kind may have a prefix instead of a unit: f/11, ISO 100.
"""

import difflib
import math
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from numbers import Real

from .exposure import exact_f_number, marked_f_number

__all__ = [
    "KINDS", "Kind", "QuantityError", "as_written", "exact_f_number", "marked_f_number", "parse", "show",
]  # fmt: skip

SRM_PER_A430 = Fraction("12.7")  # ASBC Beer-10
EBC_PER_A430 = Fraction(25)  # Analytica-EBC 9.6


class QuantityError(ValueError):
    """A quantity that cannot be read; the message says what is allowed."""


@dataclass(frozen=True)
class Kind:
    """One kind of quantity.

    Parameters
    ----------
    name : str
        As it stands in messages.
    unit : str
        Unit of the number that `parse` returns, and that `show` writes
        (a fraction is shown in %, and kept from 0 to 1).
    forms : str
        What may be written, for manuals and schemas.
    example : str
    units : dict
        Unit -> factor to the canonical unit, or a function.
    prefix : str
        Stands before the number and takes the place of a unit.
    bare : bool
        A number alone is enough.
    low, high : float
        Limits of the canonical number.
    above : bool
        `low` itself is not allowed.
    signed : bool
        A shift: shown with its sign.
    compound : bool
        Several terms may follow one another, larger unit first.
    """

    name: str
    unit: str
    forms: str
    example: str
    units: dict[str, Fraction | int | Callable] = field(default_factory=dict)
    prefix: str = ""
    bare: bool = False
    low: float = -math.inf
    high: float = math.inf
    above: bool = False
    signed: bool = False
    compound: bool = False


def _from_mired(mired):
    if mired <= 0:
        raise QuantityError("a temperature in mired must be above 0")
    return 10**6 / mired


def _from_clock(hour):
    if not 1 <= hour < 13:
        raise QuantityError("the hours of o'clock go from 1 to 12")
    return (hour - 6) * 30


_MILLI = Fraction(1, 1000)
_INCH = Fraction("25.4")
_LENGTHS = {"mm": 1, "cm": 10, "m": 1000, "in": _INCH, "ft": 12 * _INCH}
_ABOVE_ZERO = {"low": 0, "above": True}

KINDS = {
    "length": Kind("length", "mm", "mm, cm, m, in, ft, also 5 ft 6 in", "150 mm", _LENGTHS,
                   compound=True),
    "angle": Kind("angle", "deg", "deg or °", "35 deg", {"deg": 1}),
    "azimuth": Kind(
        "azimuth", "deg",
        "deg or °, or o'clock on a plan with the camera at 6 o'clock (10 o'clock is 120 deg)",
        "120 deg", {"deg": 1, "o'clock": _from_clock},
    ),
    "stops": Kind("number of stops", "stops", "stops, also thirds: 1 1/3 stops", "-1 1/3 stops",
                  {"stops": 1}, signed=True),
    "temperature": Kind("colour temperature", "K", "K or mired", "5600 K",
                        {"K": 1, "mired": _from_mired}, **_ABOVE_ZERO),
    "mired": Kind("mired shift", "mired", "mired, with a sign for a shift", "+80 mired",
                  {"mired": 1}, signed=True),
    "f_number": Kind("f-number", "", "f/ and the number marked on the lens", "f/11",
                     prefix="f/", **_ABOVE_ZERO),
    "time": Kind("time", "s", "s, also as a fraction", "1/160 s", {"s": 1}, **_ABOVE_ZERO),
    "abv": Kind("alcohol by volume", "% vol", "% vol", "40 % vol", {"% vol": 1}, low=0, high=100),
    "brix": Kind("sugar content", "Brix", "Brix", "12 Brix", {"Brix": 1}, low=0, high=100),
    "beer_colour": Kind("beer colour", "SRM", "SRM or EBC", "12.7 SRM",
                        {"SRM": 1, "EBC": SRM_PER_A430 / EBC_PER_A430}, low=0),
    "fraction": Kind("share", "%", "%, 0 to 100", "18 %", {"%": Fraction(1, 100)}, low=0, high=1),
    "volume": Kind("volume", "ml", "ml, cl or l", "330 ml", {"ml": 1, "cl": 10, "l": 1000}, low=0),
    "wavelength": Kind("wavelength", "nm", "nm", "587.6 nm", {"nm": 1}, **_ABOVE_ZERO),
    "illuminance": Kind("illuminance", "lx", "lx", "500 lx", {"lx": 1}, low=0),
    "light_exposure": Kind("light exposure", "lx s", "lx s", "160 lx s", {"lx s": 1}, low=0),
    "energy": Kind("energy", "Ws", "Ws or J", "400 Ws", {"Ws": 1, "J": 1}, low=0),
    "speed": Kind("speed", "m/s", "m/s", "5 m/s", {"m/s": 1}, low=0),
    "watts": Kind("electrical power", "W", "W or kW", "650 W", {"W": 1, "kW": 1000}, low=0),
    "iso": Kind("ISO speed", "", "ISO and a number, or the number alone", "ISO 100",
                prefix="ISO", bare=True, **_ABOVE_ZERO),
    "count": Kind("count", "", "a whole number without a unit", "12", bare=True, low=0),
    "plain": Kind("number", "", "a number without a unit", "1.5", bare=True),
    "absorption": Kind("absorption", "/mm", "/mm, /cm or /m (also 1/m)", "0.01 /mm",
                       {"/mm": 1, "/cm": Fraction(1, 10), "/m": _MILLI}, low=0),
}  # fmt: skip

# Other spellings, without spaces and in small letters.
_ALIASES = {
    "inch": "in", "inches": "in", '"': "in", "''": "in", "foot": "ft", "feet": "ft", "'": "ft",
    "°": "deg", "degree": "deg", "degrees": "deg", "stop": "stops", "kelvin": "k", "mireds": "mired",
    "sec": "s", "second": "s", "seconds": "s", "%abv": "%vol", "°bx": "brix", "°brix": "brix",
    "lux": "lx", "luxs": "lxs", "joule": "j", "joules": "j", "litre": "l", "liter": "l",
    "1/mm": "/mm", "1/cm": "/cm", "1/m": "/m",
}  # fmt: skip

_PLAIN_SIGNS = str.maketrans({
    "\N{MINUS SIGN}": "-", "\N{FRACTION SLASH}": "/", "\N{LATIN SMALL LETTER F WITH HOOK}": "f",
    "\N{PRIME}": "'", "\N{RIGHT SINGLE QUOTATION MARK}": "'", "\N{MODIFIER LETTER APOSTROPHE}": "'",
    "\N{DOUBLE PRIME}": '"', "\N{RIGHT DOUBLE QUOTATION MARK}": '"', "\N{MIDDLE DOT}": " ",
})  # fmt: skip

_TERM = re.compile(
    r"""\s*(?:
        (?:(?P<whole>\d+)\s+)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)
        | (?P<hour>\d{1,2}):(?P<minute>[0-5]\d)
        | (?P<decimal>(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d{1,2})?)
    )(?P<unit>(?:\s*1/)?[^\d.+-]*)""",
    re.VERBOSE | re.ASCII | re.IGNORECASE,
)
_LONGEST = 80


def parse(text, kind):
    """Return a written quantity as a number in the canonical unit of its kind.

    Parameters
    ----------
    text : str or number
        Such as ``"1.8 m"``. A number alone is enough only where the kind is `bare`.
    kind : str
        A key of `KINDS`.

    Returns
    -------
    float
        In ``KINDS[kind].unit``; a fraction from 0 to 1, an azimuth from 0 up to 360,
        an f-number by its exact value (11.3137 for ``f/11``).

    Raises
    ------
    QuantityError
        The text cannot be read, its unit is missing or unknown, or the value is out of range.
    """
    rules = KINDS[kind]
    if isinstance(text, Real) and not isinstance(text, bool):
        number, text = float(text), repr(float(text)).removesuffix(".0")
        value = number if rules.bare or not math.isfinite(number) else float(_convert(text, rules))
    elif isinstance(text, str) and text.strip():
        text = _plain(text)
        value = float(_convert(text, rules))
    else:
        raise QuantityError(f"{_written(text)} is no {rules.name}; write it like {rules.example}")
    _check_range(text, value, kind)
    if kind == "azimuth":
        return value % 360
    return exact_f_number(value) if kind == "f_number" else value


def as_written(text, kind):
    """Return the number and the unit of a written quantity: 1.8 and m of ``1.8 m``.

    Of several terms, the unit is the last's, and the number all of them in it: 66 and in of ``5 ft 6 in``.

    Raises
    ------
    QuantityError
        See `parse`.
    """
    value = parse(text, kind)
    rules, plain = KINDS[kind], _plain(text)
    sign, terms = _terms(plain.removeprefix(rules.prefix).lstrip())
    if rules.prefix or not terms:
        return value, ""
    unit = _unit(terms[-1]["unit"].strip(), plain, 0, rules)
    if len(terms) > 1:
        return value / float(rules.units[unit]), unit
    return float(sign * _number(terms[0], plain)), unit


def show(value, kind, digits=6):
    """Return a canonical number written for people, in the form that `parse` reads.

    Parameters
    ----------
    value : float
        In ``KINDS[kind].unit``.
    kind : str
        A key of `KINDS`.
    digits : int
        Significant digits kept after rounding; digits before the point are all
        kept. Parsing the text gives the value back to these digits.

    Returns
    -------
    str
        Such as ``"1800 mm"``, ``"1/160 s"``, ``"-1 1/3 stops"``, ``"f/11"``.

    Raises
    ------
    QuantityError
        The value is out of the range of its kind.
    """
    rules = KINDS[kind]
    _check_range(repr(value), value, kind)
    if kind == "f_number":
        value = marked_f_number(value)
    if kind == "azimuth":
        value %= 360
    value = value / float(rules.units.get(rules.unit, 1))
    number = _fraction(value, kind) or _decimal(value, digits)
    if kind == "azimuth" and float(number) >= 360:
        number = "0"
    if rules.signed and value > 0:
        number = "+" + number
    if rules.prefix:
        return rules.prefix + ("" if rules.prefix.endswith("/") else " ") + number
    unit = "stop" if kind == "stops" and 0 < abs(value) <= 1 else rules.unit
    return f"{number} {unit}".rstrip()


def _plain(text):
    """Return the text in plain signs, one-character fractions written out; refuse commas."""
    text = re.sub("[¼-¾⅐-⅞]", lambda sign: " " + unicodedata.normalize("NFKC", sign[0]), text)
    text = " ".join(text.translate(_PLAIN_SIGNS).split())
    if re.search(r"\d,\d", text):
        pointed = re.sub(r"(\d),(\d)", r"\1.\2", text)
        raise QuantityError(
            f"{text} has a comma in the number; write a decimal point, as in {pointed}, "
            "and no mark between thousands"
        )
    return text


def _convert(text, rules):
    """Return the canonical value of plain text, exact."""
    body = text
    if rules.prefix and text.casefold().startswith(rules.prefix.casefold()):
        body = text[len(rules.prefix) :].lstrip()
    elif rules.prefix and not rules.bare and _TERM.fullmatch(text):
        raise QuantityError(f"{text} has no {rules.prefix} before it; write it like {rules.example}")
    sign, terms = _terms(body)
    if not terms or (len(terms) > 1 and not rules.compound):
        raise QuantityError(f"{text[:_LONGEST]!r} is no {rules.name}; write it like {rules.example}")

    factors = []
    total = Fraction(0)
    for match in terms:
        number = _number(match, text)
        unit = _unit(match["unit"].strip(), text, number, rules)
        factor = rules.units.get(unit, 1)
        if match["hour"] and unit != "o'clock":
            raise QuantityError(f"{text} is no {rules.name}; write it like {rules.example}")
        factors.append(factor)
        total += factor(number * sign) if callable(factor) else number * sign * factor
    if any(later >= earlier for earlier, later in zip(factors, factors[1:], strict=False)):
        raise QuantityError(f"{text} does not go from the larger unit to the smaller, like 5 ft 6 in")
    return total


def _terms(text):
    """Return the sign and the matches of all terms; none if the text is not made of terms."""
    if len(text) > _LONGEST:
        return 1, []
    sign = -1 if text.startswith("-") else 1
    place = 1 if text[:1] in ("-", "+") else 0
    terms = []
    while place < len(text):
        match = _TERM.match(text, place)
        if not match:
            return sign, []
        terms.append(match)
        place = match.end()
    return sign, terms


def _number(match, text):
    """Return the number of one term, exact."""
    if match["decimal"]:
        return Fraction(match["decimal"])
    if match["hour"]:
        return int(match["hour"]) + Fraction(int(match["minute"]), 60)
    if int(match["bottom"]) == 0:
        raise QuantityError(f"{text} divides by zero")
    return int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"]))


def _unit(written, text, number, rules):
    """Return the unit as `rules.units` spells it, or an empty text where none is needed."""
    choices = {_key(unit): unit for unit in rules.units}
    if not written:
        if rules.bare or rules.prefix:
            return ""
        listed = ", ".join(rules.units)
        several = "one of " if len(rules.units) > 1 else ""
        raise QuantityError(
            f"{text} has no unit; write it with {several}{listed}, such as {text} {rules.unit}"
        )
    key = _key(written)
    key = _ALIASES.get(key, key)
    if key in choices:
        return choices[key]
    if not choices:
        raise QuantityError(f"{text}: {rules.name} takes no unit; write it like {rules.example}")
    spelled = {**{alias: name for alias, name in _ALIASES.items() if name in choices}, **choices}
    near = difflib.get_close_matches(key, spelled, n=2, cutoff=0.5)
    meant = dict.fromkeys(choices[_ALIASES.get(match, match)] for match in near)
    question = f"; did you mean {_listed(meant)}?" if meant else ";"
    raise QuantityError(
        f"{text}: unknown unit {written} for {rules.name}{question} use {_listed(rules.units)}"
    )


def _key(unit):
    return re.sub(r"\s", "", unit).casefold()


def _listed(names):
    *first, last = names
    return f"{', '.join(first)} or {last}" if first else last


def _check_range(text, value, kind):
    rules = KINDS[kind]
    if not math.isfinite(value):
        raise QuantityError(f"{text} is not a finite number; write it like {rules.example}")
    if kind == "count" and value != int(value):
        raise QuantityError(f"{text} is not a whole number; write it like {rules.example}")
    if value < rules.low or value > rules.high or (rules.above and value == rules.low):
        scale = float(rules.units.get(rules.unit, 1))
        low = f"{'above' if rules.above else 'at least'} {rules.low / scale:g} {rules.unit}".rstrip()
        high = "" if math.isinf(rules.high) else f" and at most {rules.high / scale:g} {rules.unit}"
        raise QuantityError(f"{text} is out of range; {rules.name} must be {low}{high}")


def _written(value):
    return "nothing" if isinstance(value, str) or value is None else f"{value!r}"


def _decimal(value, digits):
    """Return a number without an exponent, whole numbers in full."""
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if places else text


def _fraction(value, kind):
    """Return a short time as 1/n and stops in thirds or halves, or None."""
    if kind == "time" and value <= 0.5 and abs(1 / value - round(1 / value)) < 1e-9 / value:
        return f"1/{round(1 / value)}"
    if kind != "stops":
        return None
    for bottom in (2, 3):
        top = round(abs(value) * bottom)
        if top % bottom and abs(abs(value) * bottom - top) < 1e-9:
            whole = f"{top // bottom} " if top > bottom else ""
            return f"{'-' if value < 0 else ''}{whole}{top % bottom}/{bottom}"
    return None
