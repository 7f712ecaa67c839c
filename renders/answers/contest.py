"""Which of two glasses wins, by each measure and by all of them; no score is made of several."""

from __future__ import annotations

from collections.abc import Mapping

from .answer import tell
from .ranking import Ranking, rank

# By which one glass beats another: whether more is better, its unit, and how that is said.
CONTEST = {
    "area_cm2": (True, "cm2", "Larger pattern"),
    "peak_over_table_stops": (True, "stops", "Brighter peak"),
    "line_width_mm": (False, "mm", "Narrower line"),
}
# A glass wins by all measures only where each is so sure.
SURE = 0.9


def hold_contest(values: Mapping[str, Mapping[str, dict]]) -> dict[str, Ranking]:
    """Return the ranking of glasses by each measure of `CONTEST` that all of them have."""
    rankings = {}
    for measure, (larger, _, _) in CONTEST.items():
        ranking = rank({side: values[side][measure] for side in values}, larger)
        if ranking and len(ranking.order) == len(values):
            rankings[measure] = ranking
    return rankings


def find_winner(values: Mapping, rankings: Mapping[str, Ranking], width_mm: float | None):
    """Return who wins, and by what.

    Parameters
    ----------
    values : mapping
        `hero` and `rival`, each with the measures of `CONTEST`.
    rankings : mapping of str to Ranking
    width_mm : float or None
        How wide the line may be, where the brief says so.

    Returns
    -------
    ('hero', 'rival' or None, 'all', 'brief.line_width' or None)
        By all: first by every measure, each with a probability of `SURE`. By the brief: its line alone is
        narrow enough.
    """
    firsts = {ranking.first for ranking in rankings.values()}
    sure = all((ranking.chance or 0) >= SURE for ranking in rankings.values())
    if len(rankings) == len(CONTEST) and len(firsts) == 1 and sure:
        return firsts.pop(), "all"
    widths = {side: values[side]["line_width_mm"]["value"] for side in ("hero", "rival")}
    if width_mm is not None and None not in widths.values():
        within = [side for side, width in widths.items() if width <= width_mm]
        if len(within) == 1:
            return within[0], "brief.line_width"
    return None, None


def tell_contest(measure: str, values: Mapping, names: Mapping[str, str], ranking: Ranking) -> str:
    """Return in words who is first by a measure, and how sure that is."""
    sign = "+" if measure.endswith("stops") else ""
    numbers = " against ".join(tell(values[side][measure], 2, sign) for side in ranking.order)
    return f"{CONTEST[measure][2]}: {names[ranking.first]}, {numbers}, {_tell_chance(ranking.chance)}"


def _tell_chance(chance: float | None) -> str:
    if chance is None:
        return "how sure is not known"
    return "sure to more than 99 %" if chance > 0.99 else f"sure to {100 * chance:.0f} %"
