"""Colour of light in a photographer's words: lamps, gels, white. Text -> what it says, and back.

Nothing here takes long to import, for `brimcast adjust` is to answer at once; `models_colours` makes keys of
a set file of it.
"""

from __future__ import annotations

import difflib
import re
from typing import NamedTuple

from brimcast.shared.quantity import QuantityError, parse

DAYLIGHT_K = 5600.0  # common practice: what flash and daylight lamps are balanced to
TUNGSTEN_K = 3200.0  # common practice: studio halogen
# Common practice: full warming takes 5600 K to 3200 K, full cooling the other way, 134 mired.
FULL_MIRED = 1e6 / TUNGSTEN_K - 1e6 / DAYLIGHT_K
SIZES = {"full": 1.0, "three-quarter": 0.75, "half": 0.5, "quarter": 0.25, "eighth": 0.125}
AS_SHOT = "as shot"

# A measurement is a CSV file.
FILE_PATTERN = r"^[^\r\n]+\.[cC][sS][vV]$"
_HUE = re.compile(r"(complementary\s+)?(.*?nm)[\s,]+(?:purity\s+)?(\S.*%)", re.IGNORECASE)
_SIZED = re.compile(rf"(?:({'|'.join(SIZES)})\s+)?(cto|ctb|plus\s+green|minus\s+green)", re.IGNORECASE)


class Temperature(NamedTuple):
    """Colour of a lamp by its colour temperature, K."""

    temperature_k: float


class Line(NamedTuple):
    """A lamp of one wavelength, nm."""

    wavelength_nm: float


class Flash(NamedTuple):
    """A flash tube: a phase of daylight, K."""

    temperature_k: float


class Led(NamedTuple):
    """A white LED, K."""

    temperature_k: float
    high_cri: bool


class Measured(NamedTuple):
    """A measured spectrum or transmission: a CSV file, found from the set file's folder."""

    file: str


class Conversion(NamedTuple):
    """A gel that warms (positive) or cools."""

    shift_mired: float


class Green(NamedTuple):
    """A gel that makes greener (positive) or less green; 1 is full."""

    size: float


class Density(NamedTuple):
    """A neutral density gel."""

    stops: float


class Hue(NamedTuple):
    """A saturated gel by its dominant or complementary wavelength."""

    wavelength_nm: float
    purity: float
    complementary: bool


Emission = Temperature | Line | Flash | Led | Measured
Gel = Conversion | Green | Density | Hue | Measured
WORDS: dict[str, Emission] = {
    "daylight": Temperature(DAYLIGHT_K),
    "tungsten": Temperature(TUNGSTEN_K),
    "flash": Flash(DAYLIGHT_K),
}
WHITE_WORDS = {"daylight": DAYLIGHT_K, "tungsten": TUNGSTEN_K}
COLOUR_FORMS = ("flash 5800 K", "LED 4000 K", "high-CRI LED 5600 K", "my-lamp.csv")
GEL_FORMS = (
    "warming 134 mired", "cooling 80 mired", "half CTO", "full CTB", "half plus green", "quarter minus green",
    "ND 1 stop", "530 nm 60 %", "complementary 530 nm 60 %", "my-gel.csv",
)  # fmt: skip


def read_colour(value: object) -> Emission:
    """Return the colour of a lamp that a text says.

    Raises
    ------
    QuantityError
        It says none.
    """
    text = value.strip() if isinstance(value, str) else ""
    if text in WORDS:
        return WORDS[text]
    if re.match(FILE_PATTERN, text):
        return Measured(text)
    if found := re.match(r"(?i)flash\s+(.*)", text):
        return Flash(_within(found[1], "temperature", "4000 K", "25000 K"))
    if found := re.match(r"(?i)(high-cri\s+)?led(?:\s+(.*))?$", text):
        kelvin = found[2] or f"{DAYLIGHT_K:g} K"
        return Led(_within(kelvin, "temperature", "2200 K", "10000 K"), bool(found[1]))
    if not re.search(r"\d", text):
        forms = listed([*WORDS, *COLOUR_FORMS])
        allowed = f"write a temperature such as '5600 K', a line such as '587.6 nm', {forms}"
        raise QuantityError(f"{_wrong(value, 'colour')}; {allowed}")
    if text.endswith("nm"):
        return Line(_within(text, "wavelength", "380 nm", "700 nm"))
    return Temperature(_within(text, "temperature", "1000 K", "25000 K"))


def read_gel(value: object) -> Gel:
    """Return the gel that a text says.

    Raises
    ------
    QuantityError
        It says none.
    """
    text = " ".join(value.split()) if isinstance(value, str) else ""
    if re.match(FILE_PATTERN, text):
        return Measured(text)
    if found := re.fullmatch(r"(?i)(warming|cooling)\s+(.*)", text):
        warming = found[1].lower() == "warming"
        most = "400 mired" if warming else "200 mired"
        shift = _within(found[2], "mired", "0 mired", most, open_below=True)
        return Conversion(shift if warming else -shift)
    if found := _SIZED.fullmatch(text):
        size, kind = SIZES[(found[1] or "full").lower()], found[2].lower()
        if kind in ("cto", "ctb"):
            return Conversion(size * FULL_MIRED * (1 if kind == "cto" else -1))
        return Green(size if kind.startswith("plus") else -size)
    if found := re.fullmatch(r"(?i)(?:nd|neutral density)\s+(.*)", text):
        return Density(_within(found[1], "stops", "0 stops", "20 stops", open_below=True))
    if found := _HUE.fullmatch(text):
        wavelength = _within(found[2], "wavelength", "380 nm", "700 nm")
        return Hue(wavelength, _within(found[3], "fraction", "0 %", "95 %"), bool(found[1]))
    near = difflib.get_close_matches(text, GEL_FORMS, n=1, cutoff=0.6)
    meant = f"; did you mean {near[0]!r}?" if near else ";"
    raise QuantityError(f"{_wrong(value, 'gel')}{meant} write it like {listed(GEL_FORMS)}")


def describe_gel(gel: Gel) -> str:
    """Return a gel in words that `read_gel` reads."""
    match gel:
        case Conversion(shift):
            return f"{'warming' if shift > 0 else 'cooling'} {abs(shift):.4g} mired"
        case Green(size):
            name = next(name for name, share in SIZES.items() if share == abs(size))
            return f"{name} {'plus' if size > 0 else 'minus'} green"
        case Density(stops):
            return f"ND {stops:.4g} stop{'s' * (stops > 1)}"
        case Hue(wavelength, purity, complementary):
            return f"{'complementary ' * complementary}{wavelength:.4g} nm {100 * purity:.4g} %"
        case Measured(file):
            return file


def read_white(value: object) -> float | str:
    """Return what is to look white: K, ``as shot``, or a name.

    Raises
    ------
    QuantityError
        It is none of these.
    """
    text = value.strip() if isinstance(value, str) else ""
    if text in WHITE_WORDS:
        return WHITE_WORDS[text]
    if text == AS_SHOT or re.match(r"^[^\W\d_][\w-]*$", text):
        return text
    if not isinstance(value, str):
        words = listed([*WHITE_WORDS, AS_SHOT])
        allowed = f"write a temperature such as '5600 K', {words}, or a card's name"
        raise QuantityError(f"{_wrong(value, 'white')}; {allowed}")
    return _within(value, "temperature", "1000 K", "25000 K")


def _within(text: str, kind: str, least: str, most: str, open_below: bool = False) -> float:
    number = parse(text, kind)
    low, high = parse(least, kind), parse(most, kind)
    if not low <= number <= high or (open_below and number == low):
        limit = f"{'above' if open_below else 'at least'} {least} and at most {most}"
        raise QuantityError(f"{text} is out of range; allowed: {limit}")
    return number


def _wrong(value: object, what: str) -> str:
    if isinstance(value, list | tuple | dict):
        return f"a {'group of keys' if isinstance(value, dict) else 'list'} is no {what}"
    return f"{value!r} " + ("has no unit" if isinstance(value, int | float) else f"is no {what}")


def listed(words) -> str:
    """Return words as `'a', 'b' or 'c'`."""
    *first, last = [repr(word) for word in words]
    return f"{', '.join(first)} or {last}" if first else last
