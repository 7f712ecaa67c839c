"""Which option wins, and why: by one thing that counts, or by all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

from .answer import tell
from .comparing import NONE, TRAITS, Difference, find_difference
from .ranking import Ranking, rank

# What counts: the measure, whether more of it is better, and how that is said.
CONTESTS = {
    "brightness": ("peak_stops", True, "the brighter spot"),
    "area": ("area_cm2", True, "the larger pattern"),
    "width": ("line_width_mm", False, "the narrower line"),
}


@dataclass(frozen=True)
class Judgement:
    """Who wins.

    Attributes
    ----------
    winner : str or None
    reason : str
        One sentence.
    rankings : dict of str to Ranking
        By key of `CONTESTS`, those that any option has.
    """

    winner: str | None
    reason: str
    rankings: dict[str, Ranking]


def judge(
    values: Mapping[str, Mapping], spreads: Mapping[str, Mapping] | None = None, by: str | None = None
) -> Judgement:
    """Return which option wins, with the reason in one sentence.

    By one of `CONTESTS`, the first wins if it is visibly better than every other. By none, an option wins
    that is so by at least one of them and is visibly worse by none; no score is made of several.

    Parameters
    ----------
    values : mapping of str to mapping
        By option, see `find_differences`.
    spreads : mapping of str to mapping, optional
        By option.
    by : str, optional
        A key of `CONTESTS`.
    """
    spreads = spreads or {}
    asked = {by: CONTESTS[by]} if by else CONTESTS
    rankings, better = {}, {}
    for name, (measure, larger, _) in asked.items():
        ranking = rank({option: values[option][measure] for option in values}, larger)
        if ranking is None:
            continue
        rankings[name] = ranking
        # Who leads is seen to be ahead of all others; an option without the measure leaves that open.
        ahead = [_find(measure, ranking.first, other, values, spreads) for other in values]
        if all(found.visible for found, other in zip(ahead, values, strict=True) if other != ranking.first):
            better.setdefault(ranking.first, []).append(name)
    return _decide(asked, rankings, better, values, spreads)


def _find(measure: str, one: str, other: str, values: Mapping, spreads: Mapping) -> Difference:
    both = (spreads.get(one, {}), spreads.get(other, {}))
    return find_difference(measure, values[one], values[other], both)


def _decide(asked, rankings, better, values, spreads) -> Judgement:
    if not rankings:
        return Judgement(None, "No option throws a pattern that can be compared.", rankings)
    if len(better) == 1:
        ((winner, names),) = better.items()
        worse = [name for name in asked if _is_beaten(asked[name], winner, values, spreads)]
        if not worse:
            what = " and ".join(asked[name][2] for name in names)
            numbers = "; ".join(_tell_standing(asked[name][0], rankings[name], values) for name in names)
            return Judgement(winner, f"{winner} wins: it has {what} ({numbers}).", rankings)
        found = f"{winner} has {_listed(asked, names)} but not {_listed(asked, worse)}"
        return Judgement(None, f"No option wins by all: {found}; what counts decides.", rankings)
    if better:
        found = ", ".join(f"{option} has {_listed(asked, names)}" for option, names in better.items())
        return Judgement(None, f"No option wins by all: {found}; what counts decides.", rankings)
    if _all_alike(asked, values, spreads):
        return Judgement(None, "No winner: between the options there is no visible difference.", rankings)
    return Judgement(None, "No winner: none is visibly ahead of all others.", rankings)


def _listed(asked, names) -> str:
    return " and ".join(asked[name][2] for name in names)


def _is_beaten(contest, option: str, values: Mapping, spreads: Mapping) -> bool:
    """Return whether any other option is visibly better."""
    measure, larger, _ = contest
    sign = 1 if larger else -1
    found = (_find(measure, option, other, values, spreads) for other in values if other != option)
    return any(one.visible and sign * one.number["value"] > 0 for one in found)


def _all_alike(asked, values: Mapping, spreads: Mapping) -> bool:
    return all(
        _find(measure, one, other, values, spreads).verdict == NONE
        for measure, *_ in asked.values()
        for one, other in combinations(values, 2)
    )


def _tell_standing(measure: str, ranking: Ranking, values: Mapping) -> str:
    trait = TRAITS[measure]
    numbers = [tell(values[option][measure], trait.digits, trait.sign) for option in ranking.order[:2]]
    sure = ranking.chance
    told = "" if sure is None else f", {'over 99' if sure > 0.99 else f'{100 * sure:.0f}'} % sure"
    return f"{numbers[0]} against {numbers[1]}{told}"
