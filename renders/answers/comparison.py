"""A comparison as a whole: what it says in words, and what its JSON file holds (report.md)."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from importlib.metadata import version

from ..balance import tell_exposure
from .answer import tell
from .comparing import NONE, TRAITS, Difference, find_differences, tell_difference
from .judging import Judgement, judge
from .lineup import Lineup
from .pattern import KIND_WORDS


@dataclass(frozen=True, eq=False)
class Comparison:
    """Options compared.

    Attributes
    ----------
    lineup : Lineup
    differences : dict of str to list of Difference
        By letter, of every option but the first, against the first.
    judgement : Judgement
    by : str or None
        What counts; None for all.
    """

    lineup: Lineup
    differences: dict[str, list[Difference]]
    judgement: Judgement
    by: str | None

    def tell(self, letter: str) -> list[str]:
        """Return in words how an option differs from the first; what is not visible comes last."""
        values, first = self.lineup.values, self.lineup.first.letter
        told = self._telling(letter)
        hidden = [TRAITS[found.measure].what for found in told if found.verdict == NONE]
        lines = [
            tell_difference(found, values[first], values[letter]) for found in told if found.verdict != NONE
        ]
        return [*lines, *([f"{NONE} in {', '.join(hidden)}"] if hidden else [])]

    def _telling(self, letter: str) -> list[Difference]:
        """Return the differences worth a word: under the same light on the table one number tells of both."""
        found = self.differences[letter]
        alike = all(one.verdict == NONE for one in found if one.measure == "table_stops")
        return [
            one for one in found if not (alike and one.measure in ("table_stops", "peak_over_table_stops"))
        ]

    @property
    def about(self) -> str:
        """What is compared, in a line."""
        lineup = self.lineup
        quality = lineup.first.study.quality
        return f"{quality} quality · lamp {lineup.lamp}, its light {KIND_WORDS[lineup.kind]}"

    @property
    def exposure(self) -> str:
        """How all options are exposed, in a line."""
        told = tell_exposure(self.lineup.exposed.exposure).removeprefix("Exposed ").removesuffix(".")
        return f"all exposed as {self.lineup.first.letter}: {told}"

    def caption(self, letter: str) -> list[str]:
        """Return an option's main numbers in short lines."""
        values = self.lineup.values[letter]
        if values["peak_stops"]["value"] is None:
            return ["no pattern on the table"]
        width = values["line_width_mm"]
        wide = "no line" if width["value"] is None else f"line {tell(width, 1)} wide"
        first = self.lineup.first.letter
        stops = tell(values["peak_stops"], 1, "+")
        return [f"{stops} over the plain table of {first}", f"pattern {tell(values['area_cm2'], 2)}", wide]


def compare(lineup: Lineup, by: str | None = None) -> Comparison:
    """Return what differs between the first option and the others, and who wins.

    Parameters
    ----------
    lineup : Lineup
    by : str, optional
        A key of `judging.CONTESTS`.
    """
    first, *others = lineup.options
    values = lineup.values
    differences = {
        option.letter: find_differences(
            values[first.letter], values[option.letter], (first.spread, option.spread)
        )
        for option in others
    }
    spreads = {option.letter: option.spread for option in lineup.options}
    return Comparison(lineup, differences, judge(values, spreads, by), by)


def describe(comparison: Comparison, cautions: list[str]) -> dict:
    """Return the contents of compare.json, but for its settings."""
    lineup, judgement = comparison.lineup, comparison.judgement
    return {
        "lamp": lineup.lamp,
        "kind": lineup.kind,
        "winner": judgement.winner,
        "reason": judgement.reason,
        "by": comparison.by,
        "rankings": {name: asdict(ranking) for name, ranking in judgement.rankings.items()},
        "options": {
            option.letter: {
                "name": option.name,
                "title": option.built.title,
                "values": lineup.values[option.letter],
                "spread": option.spread,
            }
            for option in lineup.options
        },
        "differences": {
            letter: {
                one.measure: {
                    **one.number,
                    "spread": one.spread,
                    "limit": one.limit,
                    "verdict": one.verdict,
                    "way_mm": one.way_mm,
                }
                for one in found
            }
            for letter, found in comparison.differences.items()
        },
        "words": {letter: comparison.tell(letter) for letter in comparison.differences},
        "notes": list(lineup.notes),
        "cautions": cautions,
    }


def list_settings(lineup: Lineup, tolerance: bool) -> dict:
    """Return what it takes to make a comparison again, for every file of it."""
    exposure = lineup.exposed.exposure
    return {
        "version": version("brimcast"),
        "title": lineup.first.built.title,
        "quality": lineup.first.study.quality,
        "tolerance": tolerance,
        "exposure": asdict(exposure),
        "white": lineup.exposed.white,
        "options": {
            option.letter: {
                "file": option.study.file,
                "set": option.study.text,
                "changes": {key: value for key, value in option.study.changes.items()},
                "digest": option.built.digest,
                "seed": option.built.seed,
            }
            for option in lineup.options
        },
    }
