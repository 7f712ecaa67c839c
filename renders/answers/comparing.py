"""What differs between two options, how sure that is, and whether anybody would see it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from brimcast.shared.colour import delta_e_2000

from ..emptied import find_change, find_distance
from .answer import entry, quadrature, tell

CLEAR, SLIGHT, NONE, UNKNOWN = "clear", "slight", "no visible difference", "cannot be told"
# A difference is visible beyond this many deviations of the noise, and of making and placing errors.
SURE_DEVIATIONS = 2.0
# Beyond this many times what is just visible it is clear.
CLEAR_TIMES = 2.0
PLACE_MM, THIRD = 3.0, 1 / 3


@dataclass(frozen=True)
class Trait:
    """A measure by which options are compared.

    Attributes
    ----------
    what : str
        What is measured, in the trade's words.
    unit : str
    digits : int
        Told after the point.
    more, less : str
        How a larger and a smaller value are said; `{}` stands for the difference.
    accuracy : float or None
        The trade's useful accuracy, in the unit; None where `share` says it.
    share : float
        Useful accuracy as a share of the value.
    sign : str
        ``+`` where values are told with their sign.
    """

    what: str
    unit: str
    digits: int
    more: str
    less: str
    accuracy: float | None = None
    share: float = 0.0
    sign: str = ""


# Useful accuracy by common practice: place 3 mm, width and area 10 %, exposure a third of a stop, colour
# 3 dE00; a direction, what moves the tip by 3 mm.
TRAITS = {
    "area_cm2": Trait("area", "cm2", 2, "pattern larger by {}", "pattern smaller by {}", share=0.1),
    "peak_stops": Trait(
        "brightness",
        "stops",
        1,
        "brightest spot brighter by {}",
        "brightest spot dimmer by {}",
        THIRD,
        sign="+",
    ),
    "peak_over_table_stops": Trait(
        "over its table", "stops", 1, "stands out {} more", "stands out {} less", THIRD, sign="+"
    ),
    "table_stops": Trait(
        "plain table", "stops", 1, "plain table {} brighter", "plain table {} darker", THIRD, sign="+"
    ),
    "line_width_mm": Trait("line width", "mm", 1, "line wider by {}", "line narrower by {}", share=0.1),
    "length_mm": Trait("length", "mm", 0, "reaches {} farther", "reaches {} less far", PLACE_MM),
    "tip_mm": Trait("tip", "mm", 0, "tip moves {}", "tip moves {}", PLACE_MM),
    "heading_deg": Trait("heading", "deg", 0, "heads {} farther clockwise", "heads {} farther anticlockwise"),
    "colour_de00": Trait("colour", "dE00", 1, "colour differs by {}", "colour differs by {}", 3.0),
}


@dataclass(frozen=True)
class Difference:
    """How one option differs from another by a measure.

    Attributes
    ----------
    measure : str
        A key of `TRAITS`.
    number : dict
        Other less one, its standard error and unit, see `answer.entry`; of places, their distance.
    spread : float or None
        One deviation by making and placing errors of both; 0 where they were not asked for.
    limit : float or None
        What a difference has to exceed to be visible.
    verdict : str
        `CLEAR`, `SLIGHT`, `NONE` or `UNKNOWN`.
    way_mm : tuple of float or None
        Of places, how far to the right and away from the camera.
    """

    measure: str
    number: dict
    spread: float | None
    limit: float | None
    verdict: str
    way_mm: tuple[float, float] | None = None

    @property
    def visible(self) -> bool:
        """Whether it would be seen."""
        return self.verdict in (CLEAR, SLIGHT)


def find_differences(
    one: Mapping, other: Mapping, spreads: tuple[Mapping, Mapping] = ({}, {})
) -> list[Difference]:
    """Return how an option differs from another, in the order of `TRAITS`.

    Parameters
    ----------
    one, other : mapping of str to dict
        Numbers by measure, see `answer.entry`, and `lab`, the colour (L*, a*, b*) with its error in dE00.
    spreads : pair of mapping
        Deviations by making and placing errors of each, as `slips.find_spread` gives them; empty where they
        were not asked for.
    """
    return [find_difference(measure, one, other, spreads) for measure in TRAITS]


def find_difference(measure: str, one: Mapping, other: Mapping, spreads=({}, {})) -> Difference:
    """Return how an option differs from another by one measure."""
    number, way = _subtract(measure, one, other)
    spread = _spread(measure, one, other, spreads)
    accuracy = _accuracy(measure, one, other)
    if None in (number["value"], number["standard_error"], spread, accuracy):
        return Difference(measure, number, spread, None, UNKNOWN, way)
    limit = max(SURE_DEVIATIONS * number["standard_error"], SURE_DEVIATIONS * spread, accuracy)
    size = abs(number["value"])
    verdict = NONE if size <= limit else SLIGHT if size <= CLEAR_TIMES * limit else CLEAR
    return Difference(measure, number, spread, limit, verdict, way)


def _subtract(measure: str, one: Mapping, other: Mapping) -> tuple[dict, tuple[float, float] | None]:
    """Return other less one with its error, and of places the way from one to the other."""
    unit = TRAITS[measure].unit
    if measure == "colour_de00":
        return _subtract_colours(one["lab"], other["lab"]), None
    before, after = one[measure], other[measure]
    if measure == "tip_mm":
        number, way = find_distance(before, after), None
        if number["value"] is not None:
            way = tuple(float(b - a) for a, b in zip(before["value"], after["value"], strict=True))
        return entry(number["value"], number["standard_error"], unit), way
    number = find_change(before, after)
    value = number["value"]
    if measure == "heading_deg" and value is not None:
        value = (value + 180.0) % 360.0 - 180.0
    return entry(value, number["standard_error"], unit), None


def _subtract_colours(one: dict, other: dict) -> dict:
    if None in (one["value"], other["value"]):
        return entry(None, None, "dE00")
    error = quadrature(one["standard_error"], other["standard_error"])
    return entry(float(delta_e_2000(one["value"], other["value"])), error, "dE00")


def _spread(measure: str, one: Mapping, other: Mapping, spreads) -> float | None:
    """Return the deviation of a difference by making and placing errors; 0 for what they say nothing of."""
    key = "peak_over_table_stops" if measure == "peak_stops" else measure
    if not all(key in spread for spread in spreads):
        return 0.0
    scattered = [
        {measure: {"value": option[measure]["value"], "standard_error": spread[key]}}
        for option, spread in zip((one, other), spreads, strict=True)
    ]
    return _subtract(measure, *scattered)[0]["standard_error"]


def _accuracy(measure: str, one: Mapping, other: Mapping) -> float | None:
    """Return the trade's useful accuracy of a measure, in its unit."""
    trait = TRAITS[measure]
    if trait.accuracy is not None:
        return trait.accuracy
    values = [option[measure]["value"] for option in (one, other)]
    if measure == "heading_deg":
        tips = [option["tip_mm"]["value"] for option in (one, other)]
        reach = max((math.hypot(*tip) for tip in tips if tip is not None), default=0.0)
        return math.degrees(math.atan2(PLACE_MM, reach)) if reach > 0 else None
    return None if None in values else trait.share * sum(map(abs, values)) / 2


def tell_difference(difference: Difference, one: Mapping, other: Mapping) -> str:
    """Return a difference in words: what, by how much, both values, verdict."""
    trait = TRAITS[difference.measure]
    if difference.number["value"] is None or difference.verdict == UNKNOWN:
        return f"{trait.what}: {_tell_unknown(difference, one, other)}"
    both = _tell_both(trait, difference.measure, one, other)
    amount = tell({**difference.number, "value": abs(difference.number["value"])}, max(trait.digits, 1))
    if difference.verdict == NONE:
        return f"{trait.what}: {NONE} ({amount}{'; ' if both else ''}{both})"
    words = (trait.more if difference.number["value"] >= 0 else trait.less).format(amount)
    if difference.way_mm:
        words += f", {_tell_way(*difference.way_mm)}"
    return f"{words}{' (' if both else ''}{both}{')' if both else ''}: {difference.verdict}"


def _tell_both(trait: Trait, measure: str, one: Mapping, other: Mapping) -> str:
    if measure in ("colour_de00", "tip_mm", "table_stops"):
        return ""
    after, before = (tell(option[measure], trait.digits, trait.sign) for option in (other, one))
    return f"{after.removesuffix(trait.unit).rstrip()} against {before}"


def _tell_unknown(difference: Difference, one: Mapping, other: Mapping) -> str:
    if difference.measure == "colour_de00":
        missing = [option["lab"]["value"] is None for option in (one, other)]
    else:
        missing = [option[difference.measure]["value"] is None for option in (one, other)]
    if all(missing):
        return "neither has one that can be told"
    if any(missing):
        return "only one of them has one that can be told"
    return f"{UNKNOWN}, how sure it is is not known"


def _tell_way(right_mm: float, away_mm: float) -> str:
    ways = (
        (right_mm, "to the right", "to the left"),
        (away_mm, "away from the camera", "toward the camera"),
    )
    told = [f"{abs(by):.0f} mm {more if by > 0 else less}" for by, more, less in ways if abs(by) >= 0.5]
    return " and ".join(told)
