"""Numbers in a set: quantities with units and limits, lists of lengths, plain numbers, names.

Defaults are written as a person would write them, and are read by the same code.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple

from pydantic_core import core_schema

from brimcast.shared.quantity import KINDS, QuantityError, parse

from .models_base import fault, show

NAME_PATTERN = r"^[A-Za-z\u00C0-\uFFFF][0-9A-Za-z_\u00C0-\uFFFF-]{0,59}$"

_NUMBER = r"(?:\d+\s+\d+\s*/\s*\d+|\d+\s*/\s*\d+|\d+:\d\d|\d+\.?\d*|\.\d+|\d*\s*[\u00BC-\u00BE\u2150-\u215E])"
_ALSO = {
    "deg": ["°"], "stops": ["stop"], "mired": ["mireds"], "in": ["inch", "inches", '"', "\u2033"],
    "ft": ["foot", "feet", "'", "\u2032"], "/mm": ["1/mm"], "/cm": ["1/cm"], "/m": ["1/m"],
    "o'clock": ["o\u2019clock"], "% vol": ["%vol", "% abv"], "lx s": ["lx·s"],
}  # fmt: skip


class Point(NamedTuple):
    """A place in the set, mm."""

    x_mm: float
    y_mm: float
    z_mm: float


class Spot(NamedTuple):
    """A place on the table, mm."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class Quantity:
    """A number with a unit, written as text; the value is the number in the canonical unit of its kind.

    Parameters
    ----------
    kind : str
        Key of `brimcast.shared.quantity.KINDS`.
    above, least, most : str or None
        Limits, written like the quantity; `above` itself is not allowed.
    reason : str
        Why the limits are so, where that is not plain.
    """

    kind: str
    above: str | None = None
    least: str | None = None
    most: str | None = None
    reason: str = ""

    def read(self, value: object) -> float:
        """Return the canonical number.

        Raises
        ------
        PydanticCustomError
            The text is no such quantity, or is out of range.
        """
        rules = KINDS[self.kind]
        if isinstance(value, list | dict | bool) or isinstance(value, str) and len(value) > 80:
            raise fault(f"{show(value)} is no {rules.name}; write it like {rules.example}")
        try:
            number = parse(value, self.kind)
        except QuantityError as error:
            raise fault(str(error)) from None
        low = -float("inf") if self.least is None else parse(self.least, self.kind)
        high = float("inf") if self.most is None else parse(self.most, self.kind)
        if self.above is not None and number <= parse(self.above, self.kind) or not low <= number <= high:
            raise fault(f"{value} is out of range; allowed: {self.limits}")
        return number

    @property
    def limits(self) -> str:
        """The limits in words."""
        words = [
            f"{word} {limit}"
            for word, limit in (("above", self.above), ("at least", self.least), ("at most", self.most))
            if limit is not None
        ]
        return " and ".join(words) + (f" ({self.reason})" if self.reason else "")

    def json(self) -> dict[str, Any]:
        """Return the JSON Schema of the text."""
        rules = KINDS[self.kind]
        units = [spelling for unit in rules.units for spelling in (unit, *_ALSO.get(unit, ()))]
        ends = "|".join(re.escape(unit).replace(r"\ ", r"\s*").replace("\\'", "'") for unit in units)
        if rules.prefix:
            term = rf"{'(?:' + rules.prefix + ')?' if rules.bare else rules.prefix}\s*{_NUMBER}"
        else:
            term = rf"{_NUMBER}\s*(?:{ends})"
        more = rf"(?:\s*{term})*" if self.kind == "length" else ""
        limits = f"; {self.limits}" if self.limits else ""
        text = {
            "type": "string",
            "pattern": rf"^\s*[-+\u2212]?\s*{term}{more}\s*$",
            "examples": [rules.example],
            "description": f"{rules.name}: {rules.forms}{limits}",
        }
        return {"anyOf": [text, {"type": "number"}]} if rules.bare else text

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, core, handler):
        return self.json()


@dataclass(frozen=True)
class Lengths:
    """A list with one quantity for each of its names, made into a tuple."""

    names: tuple[str, ...]
    each: Quantity
    make: Callable[..., tuple] = lambda *numbers: numbers

    def check(self, value: object) -> list:
        wanted = f"a list of {len(self.names)}: [{', '.join(self.names)}]"
        if not isinstance(value, list | tuple):
            raise fault(f"{show(value)} is not {wanted}")
        if len(value) != len(self.names):
            raise fault(f"has {len(value)} item{'s' * (len(value) != 1)}; write {wanted}")
        return list(value)

    def __get_pydantic_core_schema__(self, source, handler):
        one = core_schema.no_info_plain_validator_function(self.each.read)
        items = core_schema.tuple_positional_schema([one] * len(self.names))
        checked = core_schema.no_info_before_validator_function(self.check, items)
        return core_schema.no_info_after_validator_function(lambda found: self.make(*found), checked)

    def __get_pydantic_json_schema__(self, core, handler):
        count = len(self.names)
        example = KINDS[self.each.kind].example
        return {
            "type": "array",
            "prefixItems": [{"title": name, **self.each.json()} for name in self.names],
            "items": False,
            "minItems": count,
            "maxItems": count,
            "examples": [[example] * count],
        }


@dataclass(frozen=True)
class Number:
    """A plain number without a unit, between limits."""

    least: float
    most: float
    whole: bool = False

    def read(self, value: object) -> float:
        """Return the number.

        Raises
        ------
        PydanticCustomError
            It is no number, or is out of range.
        """
        name = "a whole number" if self.whole else "a number"
        limits = f"allowed: {name} from {self.least:.10g} to {self.most:.10g}, without a unit"
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise fault(f"{show(value)} is not {name}; {limits}")
        if not self.least <= value <= self.most or self.whole and value != math.floor(value):
            raise fault(f"{show(value)} is not allowed; {limits}")
        return int(value) if self.whole else float(value)

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, core, handler):
        kind = "integer" if self.whole else "number"
        return {"type": kind, "minimum": self.least, "maximum": self.most}


class Aspect:
    """Width over height of a picture, written `4:5` or `square`."""

    PATTERN = r"^\s*(\d{1,4}(?:\.\d+)?)\s*:\s*(\d{1,4}(?:\.\d+)?)\s*$"

    def read(self, value: object) -> float:
        """Return width over height.

        Raises
        ------
        PydanticCustomError
            It is no such text, or narrower than 1:20 or wider than 20:1.
        """
        text = {"square": "1:1"}.get(value, value) if isinstance(value, str) else ""
        found = re.match(self.PATTERN, text)
        sides = [float(side) for side in found.groups()] if found else [0.0]
        if not min(sides) > 0 or not 1 / 20 <= sides[0] / sides[1] <= 20:
            raise fault(f"{show(value)} is no crop; write width : height, such as 4:5 or 16:9, or square")
        return sides[0] / sides[1]

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, core, handler):
        text = {"type": "string", "pattern": self.PATTERN, "examples": ["4:5"]}
        return {"anyOf": [{"enum": ["square"]}, text]}


LENGTH = Quantity("length", least="-100 m", most="100 m")
SIZE = Quantity("length", above="0 mm", most="100 m")
GAP = Quantity("length", least="0 mm", most="100 m")

Length = Annotated[float, LENGTH]
Size = Annotated[float, SIZE]
Gap = Annotated[float, GAP]
Slide = Annotated[float, Quantity("length", least="-100 mm", most="100 mm")]
Turn = Annotated[float, Quantity("angle", least="-360 deg", most="360 deg")]
Azimuth = Annotated[float, Quantity("azimuth")]
Elevation = Annotated[float, Quantity("angle", least="-90 deg", most="90 deg")]
Share = Annotated[float, Quantity("fraction")]
At = Annotated[Spot, Lengths(("x", "y"), LENGTH, Spot)]
At3 = Annotated[Point, Lengths(("x", "y", "z"), LENGTH, Point)]
Pair = Annotated[tuple[float, float], Lengths(("width", "height"), SIZE)]
