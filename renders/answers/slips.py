"""What making and placing errors do: tolerance bands for a caustic's measures, and question 13."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from brimcast.shared.errors import PersonError

from ..measures import MEASURES
from .answer import Answer, entry, tell
from .pattern import KIND_WORDS
from .slipped import draw_slips, freeze_places, move_glass, move_lamp, turn_glass
from .study import Study

__all__ = ["answer_slips", "draw_slips", "find_spread", "scatter", "with_band"]

# A band needs that share of the draws; others are sets that cannot be, such as a glass off its coaster.
LEAST_SHARE = 0.5
DRAWS = 8
# Digits that a band is told to, by measure.
_DIGITS = {"mm": 1, "deg": 1, "stops": 2}
# Measures that question 13 tells of: name, what it is called, unit, digits.
_MOVED = (
    ("tip_mm", "tip", "mm", 2),
    ("peak_mm", "brightest spot", "mm", 2),
    ("line_width_mm", "line width", "mm", 3),
    ("peak_over_table_stops", "peak", "stops", 3),
)


def find_spread(study: Study, lamp: str, kind: str, draws: int = 8, seed: int = 1) -> dict[str, object]:
    """Return how far the measures of a caustic scatter from set to set: one standard deviation each.

    Parameters
    ----------
    study : Study
    lamp, kind : str
        Whose caustic.
    draws : int
        How many variants are computed; a spread from 8 is itself known to about a quarter.
    seed : int
        Of the draws.

    Returns
    -------
    dict
        By key of `MEASURES`, in its unit; pairs for places. None where a measure is undefined in one of the
        variants. The noise of the computing is taken off.

    Raises
    ------
    PersonError
        More than half of the variants cannot be.
    """
    found, refused = [], None
    for variant in draw_slips(study, draws, seed):
        try:
            found.append(study.frame(set_file=variant).caustic(lamp, kind))
        except PersonError as error:
            refused = error
    if refused and len(found) < max(2, LEAST_SHARE * draws):
        raise refused
    periods = {"heading_deg": 360.0}
    return {key: scatter([one[key] for one in found], periods.get(key)) for key in MEASURES}


def scatter(entries: list[dict], period: float | None = None):
    """Return the standard deviation of measured values, that of the measuring taken off.

    Parameters
    ----------
    entries : list of dict
        ± entries of a report, at least two.
    period : float, optional
        Of a direction, which is then taken about its mean.

    Returns
    -------
    float, list of float or None
        Never below 0; None where one of the entries is undefined.
    """
    if any(one["value"] is None for one in entries):
        return None
    values = np.array([one["value"] for one in entries], float)
    if period:
        turns = np.exp(2j * np.pi * values / period)
        values = np.angle(turns / turns.mean()) * period / (2 * np.pi)
    errors = [one["standard_error"] for one in entries]
    noise = np.mean(np.square([error for error in errors if error is not None] or [0.0]), axis=0)
    return np.sqrt(np.maximum(values.var(axis=0, ddof=1) - noise, 0.0)).tolist()


def with_band(study: Study, answer: Answer, draws: int = DRAWS) -> Answer:
    """Return an answer about a caustic with its tolerance band: each measure told from set to set.

    The measures' entries get a `band`, one standard deviation; see `find_spread`.

    Parameters
    ----------
    study : Study
    answer : Answer
        With its `kind`, and measures by their keys.
    draws : int

    Raises
    ------
    PersonError, EngineError
    """
    spread = find_spread(study, study.lamp, answer.values["kind"], draws)
    values, told = dict(answer.values), []
    for key in MEASURES:
        if key in values:
            values[key] = {**values[key], "band": spread[key]}
            told.append(f"{_name(key)} {_tell_band(values[key])}")
    lines = (
        *answer.lines,
        f"From set to set: {', '.join(told)}",
        f"(one standard deviation over {draws} sets with the slips of the brief, noise taken off)",
    )
    return replace(answer, lines=lines, values=values | {"band_draws": draws})


def _name(key: str) -> str:
    return key.rsplit("_", 1)[0].replace("_", " ")


def _tell_band(value: dict) -> str:
    band, unit = value["band"], value["unit"]
    if band is None:
        return "not told"
    digits = _DIGITS.get(unit, 2)
    if isinstance(band, list):
        return f"± {band[0]:.{digits}f} mm in x, ± {band[1]:.{digits}f} mm in y"
    if band < 10.0**-digits / 2:
        return "± less than what the computing can tell"
    return f"± {band:.{digits}f} {unit}"


def answer_slips(study: Study) -> Answer:
    """Answer what placing errors do: how far tip, brightest spot, line and peak go with each.

    Central differences over the slips of the brief. Both sides have the same seed, so that some of their
    noise goes away; the ± counts all of it, and is too large rather than too small.
    """
    hero, lamp, slips = study.hero, study.lamp, study.brief.slips
    kind = study.frame().brighter(lamp)
    moves = {
        "glass_x": ("The glass off to the right", "mm", slips.place_mm,
                    lambda by: move_glass(study, hero, (by, 0.0))),
        "glass_y": ("The glass off away from the camera", "mm", slips.place_mm,
                    lambda by: move_glass(study, hero, (0.0, by))),
        "glass_turn": ("The glass turned", "deg", slips.turn_deg, lambda by: turn_glass(study, hero, by)),
    }  # fmt: skip
    if hasattr(study.set_file.lamps[lamp], "throw_mm"):
        moves["lamp_throw"] = ("The lamp farther", "mm", slips.throw_mm,
                               lambda by: move_lamp(study, lamp, by))  # fmt: skip
    frozen = freeze_places(study)
    values, lines = {"kind": kind}, []
    for name, (words, unit, step, change) in moves.items():
        if not step > 0:
            continue
        sides = [study.frame({**frozen, **change(side * step)}).caustic(lamp, kind) for side in (-1, 1)]
        rates = {
            key: differ([side[key] for side in sides], step, f"{own}/{unit}") for key, _, own, _ in _MOVED
        }
        values[name] = rates | {"step": entry(step, 0.0, unit)}
        lines.append(_tell_rates(words, unit, rates))
    return Answer((f"Per unit of error, {KIND_WORDS[kind]}:", *lines), values)


def differ(sides: list[dict], step: float, unit: str) -> dict:
    """Return the central difference of a measure over a step to either side, per unit of the step.

    Parameters
    ----------
    sides : pair of dict
        ± entries below and above.
    step : float
        To either side.
    unit : str
    """
    if any(one["value"] is None for one in sides):
        return entry(None, None, unit)
    below, above = (np.asarray(one["value"], float) for one in sides)
    errors = [one["standard_error"] for one in sides]
    error = None if None in errors else (np.hypot(*np.asarray(errors, float)) / (2 * step)).tolist()
    return entry(((above - below) / (2 * step)).tolist(), error, unit)


def _tell_rates(words: str, unit: str, rates: dict[str, dict]) -> str:
    """Return in words what a slip does; in one short sentence where nothing shows."""
    known = {key: rate for key, rate in rates.items() if rate["value"] is not None}
    shown = [_tell_rate(key, rate) for key, rate in known.items()]
    if not any(_shows(rate) for rate in known.values()):
        tip = known.get("tip_mm")
        to = "" if tip is None else f"; the tip moves {_vector(tip, 2)} mm per {unit}"
        return f"{words}: it does nothing that the computing can tell{to}"
    return f"{words}, per {unit}: {', '.join(shown)}"


def _shows(rate: dict) -> bool:
    value, error = np.atleast_1d(rate["value"]), rate["standard_error"]
    return error is None or bool((np.abs(value) > 2 * np.atleast_1d(error)).any())


def _tell_rate(key: str, rate: dict) -> str:
    words, own, digits = next((words, own, digits) for name, words, own, digits in _MOVED if name == key)
    if isinstance(rate["value"], list):
        return f"{words} {_vector(rate, digits)} {own}"
    return f"{words} {tell(entry(rate['value'], rate['standard_error'], own), digits, '+')}"


def _vector(rate: dict, digits: int) -> str:
    errors = rate["standard_error"] or [None] * len(rate["value"])
    x, y = (tell(entry(*pair), digits, "+") for pair in zip(rate["value"], errors, strict=True))
    return f"x {x}, y {y}"
