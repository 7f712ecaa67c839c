"""Which value of a set reaches a target: variants computed where a search asks for them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from brimcast.scene import setfile
from brimcast.scene.lamps import Lamp, plain_table_factor
from brimcast.scene.models_base import listed, nearest
from brimcast.shared.errors import PersonError

from .answer import entry, with_unit
from .extremes import find_least
from .marks import find_mark
from .search import find_first, scan
from .study import Frame, Study
from .targets import Range, Target
from .trials import Axis, Outcome, Trials

QUALITIES = ("draft", "proof", "final")
SCANNED, SCANNED_EACH = 6, 3
MARK_SLACK_MM = 3.0
# Of a value whose error is not known, that share.
_DOUBT = 0.2


@dataclass(frozen=True)
class Step:
    """One evaluation.

    Attributes
    ----------
    values : tuple of float
        Of what was varied, in the ranges' units.
    quality : str
    measured : dict
        ± entry in the measure's unit.
    cell_mm : float
        Of the table's map.
    """

    values: tuple[float, ...]
    quality: str
    measured: dict
    cell_mm: float


@dataclass
class Solution:
    """What a search in a set came to.

    Attributes
    ----------
    target : Target
    ranges : tuple of Range
    outcome : Outcome
    values : list of dict
        ± entries of what was varied, where the answer is.
    measured : dict or None
        ± entry of the measure there.
    slope : float or None
        Change of the measure by what was varied, per its unit; of one variable and one measure only.
    kind : str or None
        Of caustic; None for light on a meter.
    ends : float or None
        Value at which a wish that was met is not met any more.
    steps : list of Step
    """

    target: Target
    ranges: tuple[Range, ...]
    outcome: Outcome
    values: list[dict]
    measured: dict | None
    slope: float | None
    kind: str | None
    ends: float | None
    steps: list[Step] = field(default_factory=list)

    @property
    def met(self) -> bool:
        """Whether the target is reached."""
        return self.outcome.verdict in ("found", "everywhere")


def useful_accuracy(one: Range) -> tuple[float, bool]:
    """Return how exact a value is useful, in its unit, or as a share of it (True)."""
    last = one.key.rsplit(".", 1)[-1]
    if one.kind == "length" and last in ("throw", "distance"):
        return 0.1, True
    exact = {"length": 3.0, "angle": 1.0, "stops": 0.2}.get(one.kind, math.inf)
    return min(exact, abs(one.last - one.first) / 20), False


def solve(
    study: Study,
    ranges: Sequence[Range],
    target: Target,
    finest: str = "proof",
    tell: Callable[[Step], None] = lambda step: None,
    starts: Sequence[Sequence[float]] | None = None,
) -> Solution:
    """Search a set for the values that reach a target.

    Parameters
    ----------
    study : Study
    ranges : sequence of Range
        One; for a mark one or two.
    target : Target
    finest : {'draft', 'proof', 'final'}
        Quality of the last steps; earlier ones are coarser.
    tell : callable
        Called after each evaluation.
    starts : sequence of values, optional
        Of a mark, where to look first; left out, all over the ranges.

    Raises
    ------
    PersonError
        A key cannot be changed so, a meter is not there, or nothing changes.
    Lacking
        The lamp throws no pattern.
    """
    ranges = tuple(ranges)
    _check(study, ranges, target)
    levels = tuple(range(QUALITIES.index(finest) + 1))
    kind = None if target.measure.is_meter else study.frame(quality="draft").brighter(study.lamp)
    steps: list[Step] = []
    read = _Reader(study, target, kind)

    def evaluate(values, level, number):
        written = {one.key: one.write(value) for one, value in zip(ranges, values, strict=True)}
        # Noise of its own for each, so that errors of trials are independent.
        written["render.seed"] = (study.set_file.render.seed + number) % 2**32
        frame = study.frame(written, quality=QUALITIES[level])
        found = read(frame)
        steps.append(Step(values, QUALITIES[level], found, frame.report["cell_mm"]))
        tell(steps[-1])
        return _miss(target, found, frame.report["cell_mm"])

    axes = tuple(Axis(one.first, one.last, *useful_accuracy(one)) for one in ranges)
    trials = Trials(axes, evaluate)
    if target.is_mark:
        outcome = find_mark(trials, _list_starts(axes, starts), levels, MARK_SLACK_MM)
    elif target.is_extreme:
        row = scan(trials, SCANNED)
        outcome = find_least(trials, row, 1.0, levels) if row else Outcome("dark")
        outcome = Outcome(**{**vars(outcome), "verdict": "found"}) if row else outcome
    else:
        wrap = 180.0 if target.measure.period else None
        outcome = find_first(trials, target.sign != "=", SCANNED, levels, wrap)
    return _solution(target, ranges, trials, outcome, kind, steps)


def _check(study: Study, ranges: tuple[Range, ...], target: Target) -> None:
    """Refuse what cannot be searched, before anything is traced."""
    if len(ranges) > 1 and not target.is_mark:
        raise PersonError(f"two values can be varied for a mark only, such as tip = [40 mm, -120 mm]; "
                          f"vary one for '{target.text}'")  # fmt: skip
    meters = study.set_file.meters
    if target.measure.is_meter and target.measure.key not in meters:
        name = target.measure.key
        told = f"{nearest(name, meters) or ';'} allowed: {listed(meters)}" if meters else "; the set has none"
        raise PersonError(f"there is no meter {name!r}{told}")
    for one in ranges:
        ends = [study.vary({one.key: one.write(value)}) for value in (one.first, one.last)]
        if len({setfile.digest(each) for each in ends}) == 1:
            raise PersonError(f"{one.key}: no light depends on it; vary what the light depends on")


def _list_starts(axes: tuple[Axis, ...], starts) -> list[tuple[float, ...]]:
    if starts is None:
        count = SCANNED if len(axes) == 1 else SCANNED_EACH
        return list(itertools.product(np.linspace(0.0, 1.0, count), repeat=len(axes)))
    return [tuple(axis.inner(value) for axis, value in zip(axes, start, strict=True)) for start in starts]


class _Reader:
    """Reads the measure of a target in a frame, as a ± entry."""

    def __init__(self, study: Study, target: Target, kind: str | None):
        self.lamp, self.measure, self.kind = study.lamp, target.measure, kind
        # A meter is told over the plain table of the set as it stands, so that moving a lamp counts.
        self.plain = sum(map(_light_plain_table, study.built.lamps)) if self.measure.is_meter else None

    def __call__(self, frame: Frame) -> dict:
        measure = self.measure
        if not measure.is_meter:
            found = frame.caustic(self.lamp, self.kind)[measure.key]
            value, error = found["value"], found["standard_error"]
            if measure.part is not None and value is not None:
                value, error = value[measure.part], None if error is None else error[measure.part]
            return with_unit({**found, "value": value, "standard_error": error}, measure.unit)
        light = frame.report["meters"][measure.key]["all"]["light"]
        if not light["value"] > 0:
            return entry(None, None, measure.unit)
        stops = math.log2(light["value"] / self.plain)
        return entry(stops, light["standard_error"] / light["value"] / math.log(2), measure.unit)


def _light_plain_table(lamp: Lamp) -> float:
    return plain_table_factor(lamp) * lamp.scale * lamp.passed


def _miss(target: Target, found: dict, cell_mm: float) -> tuple[list[float], list[float]] | None:
    """Return by how much a measured value misses a target, and its error."""
    if found["value"] is None:
        return None
    values = np.atleast_1d(np.asarray(found["value"], float))
    known = found["standard_error"] is not None
    errors = np.atleast_1d(np.asarray(found["standard_error"], float)) if known else _DOUBT * np.abs(values)
    if target.is_mark:
        # A tip is a corner of a contour on the cells' lines: it may lie half a cell to either side.
        errors = np.hypot(errors, cell_mm / math.sqrt(12))
    misses = values - np.asarray(0.0 if target.is_extreme else target.value)
    if period := target.measure.period:
        misses = (misses + period / 2) % period - period / 2
    return list(-misses if target.sign == ">" else misses), list(errors)


def _solution(target, ranges, trials: Trials, outcome: Outcome, kind, steps) -> Solution:
    """Turn an outcome's places and misses into values of the set and of the measure."""
    if outcome.t is None:
        return Solution(target, ranges, outcome, [], None, None, kind, None, steps)
    rates = np.array([axis.rate(float(t)) for axis, t in zip(trials.axes, outcome.t, strict=True)])
    errors = [None] * len(rates) if outcome.error is None else (rates * outcome.error).tolist()
    found = zip(trials.outer(outcome.t), errors, ranges, strict=True)
    values = [entry(value, error, one.unit) for value, error, one in found]
    side = -1.0 if target.sign == ">" else 1.0
    reached = side * outcome.value + np.asarray(0.0 if target.is_extreme else target.value)
    if target.measure.period:
        reached = reached % target.measure.period
    slope = None
    if outcome.slope is not None and outcome.slope.shape == (1, 1):
        forward = math.copysign(1.0, ranges[0].last - ranges[0].first)
        slope = float(side * outcome.slope[0, 0] * forward / rates[0])
    reached, sure = reached.tolist(), np.asarray(outcome.value_error).tolist()
    if not target.is_mark:
        reached, sure = reached[0], sure[0]
    measured = entry(reached, sure, target.measure.unit)
    ends = None if outcome.ends is None else trials.axes[0].outer(outcome.ends)
    return Solution(target, ranges, outcome, values, measured, slope, kind, ends, steps)
