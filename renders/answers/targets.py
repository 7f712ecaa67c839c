"""What is to be reached and what may be changed for it, as a photographer writes them.

target = measure ("<" | ">" | "=") quantity | ("maximise" | "minimise") measure
range  = key "=" quantity ":" quantity
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from brimcast.scene.models_base import listed, nearest
from brimcast.shared.quantity import KINDS, QuantityError, parse

METER = "meters."
MARK_FORM = "tip = [40 mm, -120 mm]"
FORMS = f"'line_width < 2 mm', 'tip_x = 40 mm', '{MARK_FORM}', 'maximise area'"
_EXTREMES = {"maximise": ">", "maximize": ">", "minimise": "<", "minimize": "<"}
# A range's ends are read as the first of these kinds that both are.
_RANGE_KINDS = ("length", "angle", "azimuth", "stops", "fraction", "temperature", "volume", "abv", "brix")
_AREA = re.compile(r"\s*\+?(\d+\.?\d*|\.\d+)\s*(cm|mm)(2|²|\^2)\s*")


@dataclass(frozen=True)
class Measure:
    """A measure that can be aimed at.

    Attributes
    ----------
    key : str
        In the report's caustics (measures.md); of a meter, its name.
    kind : str
        Of quantity, a key of `KINDS`, or ``area``.
    unit : str
        Of its numbers.
    words : str
        What it is called in answers.
    digits : int
        Told behind the point.
    part : int or None
        0 for x, 1 for y of a place.
    is_meter : bool
    """

    key: str
    kind: str
    unit: str
    words: str
    digits: int = 1
    part: int | None = None
    is_meter: bool = False

    @property
    def is_place(self) -> bool:
        """Whether it has both an x and a y."""
        return self.key == "tip_mm" and self.part is None and not self.is_meter

    @property
    def period(self) -> float | None:
        """360 for a direction."""
        return 360.0 if self.kind == "azimuth" else None


MEASURE_WORDS = {
    "line_width": Measure("line_width_mm", "length", "mm", "line width", 2),
    "edge": Measure("edge_10_90_mm", "length", "mm", "edge", 2),
    "area": Measure("area_cm2", "area", "cm2", "bright area", 2),
    "length": Measure("length_mm", "length", "mm", "length"),
    "heading": Measure("heading_deg", "azimuth", "deg", "heading"),
    "peak": Measure("peak_over_table_stops", "stops", "stops", "peak over the plain table", 2),
    "pattern": Measure("pattern_over_table_stops", "stops", "stops", "pattern over the plain table", 2),
    "tip": Measure("tip_mm", "length", "mm", "tip"),
    "tip_x": Measure("tip_mm", "length", "mm", "tip x", part=0),
    "tip_y": Measure("tip_mm", "length", "mm", "tip y", part=1),
    "spread": Measure("spread_mm", "length", "mm", "spread"),
    "colour_spread": Measure("colour_spread_mm", "length", "mm", "colour spread", 2),
    "share": Measure("flux_share", "fraction", "%", "share of the light"),
}


@dataclass(frozen=True)
class Target:
    """What is to be reached.

    Attributes
    ----------
    text : str
        As it was written.
    measure : Measure
    sign : {'<', '>', '='}
        With no value: as little, or as much, as possible.
    value : float, (float, float) or None
        In the measure's unit (a share from 0 to 1); a pair for a mark.
    """

    text: str
    measure: Measure
    sign: str
    value: float | tuple[float, float] | None

    @property
    def is_mark(self) -> bool:
        """Whether a place on the table is to be met."""
        return isinstance(self.value, tuple)

    @property
    def is_extreme(self) -> bool:
        """Whether as much or as little as possible is wanted."""
        return self.value is None


@dataclass(frozen=True)
class Range:
    """A value of the set that may be changed, from the end preferred to the other.

    Attributes
    ----------
    key : str
        Dotted.
    first, last : float
        In `unit`.
    kind, unit : str
    """

    key: str
    first: float
    last: float
    kind: str
    unit: str

    @property
    def word(self) -> str:
        """The key's last part, and whose it is."""
        *above, last = self.key.split(".")
        return last if not above else f"{last} of {above[-1]}"

    def write(self, value: float) -> object:
        """Return a value as it stands in a set file."""
        if self.kind == "plain":
            return float(f"{value:.9g}")
        if self.kind == "fraction":
            return f"{100 * value:.9g} %"
        return f"{value:.9g} {self.unit}"


def read_target(text: str) -> Target:
    """Return a target.

    Raises
    ------
    QuantityError
        The text is none; the message says what is allowed.
    """
    words = text.split()
    if words and (sign := _EXTREMES.get(words[0].lower())):
        measure = read_measure(" ".join(words[1:]))
        if measure.is_place:
            raise QuantityError("a tip is a place; maximise or minimise 'tip_x', 'tip_y' or 'length'")
        if measure.period:
            raise QuantityError("a heading goes round in a circle; write it like heading = 330 deg")
        return Target(text, measure, sign, None)
    found = re.fullmatch(r"\s*([^<>=]*?)\s*(<=|>=|==|<|>|=)\s*(.*?)\s*", text, re.DOTALL)
    if not found:
        raise QuantityError(f"{text!r} is no target; write it like {FORMS}")
    measure, sign, written = read_measure(found[1]), found[2][0], found[3]
    if measure.is_place:
        if sign != "=":
            raise QuantityError(f"a tip is a place, neither more nor less; write it like {MARK_FORM}")
        return Target(text, measure, sign, _read_place(written))
    if measure.period and sign != "=":
        raise QuantityError("a heading goes round in a circle; write it like heading = 330 deg")
    return Target(text, measure, sign, _read_value(written, measure.kind))


def read_measure(word: str) -> Measure:
    """Return the measure of a word of `MEASURE_WORDS`, or of ``meters.NAME``.

    Raises
    ------
    QuantityError
    """
    if word.startswith(METER) and len(word) > len(METER):
        name = word.removeprefix(METER)
        return Measure(name, "stops", "stops", f"light on {name}", 2, is_meter=True)
    if word in MEASURE_WORDS:
        return MEASURE_WORDS[word]
    if not word:
        raise QuantityError(f"no measure is named; write it like {FORMS}")
    known = [*MEASURE_WORDS, f"{METER}NAME"]
    raise QuantityError(f"there is no measure {word!r}{nearest(word, known) or ';'} allowed: {listed(known)}")


def _read_value(text: str, kind: str) -> float:
    if kind != "area":
        return parse(text, kind)
    found = _AREA.fullmatch(text)
    if not found:
        raise QuantityError(f"{text!r} is no area; write it like 4 cm2")
    return float(found[1]) * (1.0 if found[2] == "cm" else 0.01)


def _read_place(text: str) -> tuple[float, float]:
    found = re.fullmatch(r"\[?([^,\[\]]+),([^,\[\]]+)\]?", text)
    if not found:
        raise QuantityError(f"{text!r} is no mark on the table; write x and y like {MARK_FORM}")
    return parse(found[1], "length"), parse(found[2], "length")


def read_range(text: str) -> Range:
    """Return a range; its first end is the one preferred.

    Raises
    ------
    QuantityError
    """
    form = "write it like lamps.key.throw=0.6m:4m"
    key, sign, ends = text.partition("=")
    key = key.strip()
    if not (sign and re.fullmatch(r"[^\s.]+(\.[^\s.]+)+", key)):
        raise QuantityError(f"{text!r} is no range of a key; {form}")
    # A clock's 10:30 has a colon of its own.
    halves = [(ends[: m.start()].strip(), ends[m.end() :].strip()) for m in re.finditer(":", ends)]
    halves = [half for half in halves if all(half)]
    if not halves:
        raise QuantityError(f"{ends.strip()!r} is no range; {form}")
    for kind in (*_RANGE_KINDS, "plain"):
        for half in halves:
            try:
                first, last = (parse(_number(end, kind), kind) for end in half)
            except QuantityError:
                continue
            return _ranged(key, first, last, kind)
    return _refuse(halves[0])


def _number(text: str, kind: str) -> object:
    return float(text) if kind == "plain" and re.fullmatch(r"[-+]?[\d.]+", text) else text


def _refuse(ends: tuple[str, str]) -> Range:
    """Raise what is wrong with the first end that is no quantity, or with two that do not match."""
    for end in ends:
        if not any(_is(end, kind) for kind in (*_RANGE_KINDS, "plain")):
            raise QuantityError(f"{end!r} is no quantity that can be varied; write it like 0.6m or 15 deg")
    raise QuantityError(f"{ends[0]!r} and {ends[1]!r} are not of one kind; write both with units of one kind")


def _is(text: str, kind: str) -> bool:
    try:
        parse(_number(text, kind), kind)
    except QuantityError:
        return False
    return True


def _ranged(key: str, first: float, last: float, kind: str) -> Range:
    if first == last:
        raise QuantityError(f"{key}: both ends are the same; a range needs two")
    kind = "angle" if kind == "azimuth" else kind
    return Range(key, first, last, kind, KINDS[kind].unit)
