"""The light pass: for each lamp, the light that glassware sends to every matte surface, band by band.

After the pilot, rounds of sixteen independent batches are traced until the asked error is reached. The
batches carry the standard errors.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.scene.lamps import plain_table_factor

from .aim import draw_rows
from .device import backend, floats
from .engine import dr, mi
from .keep import Unfinished
from .launches import open_tally, tell_blockers
from .lightsums import BATCHES, LampLight, LightSums, list_shapes
from .photons import WANDERING, trace
from .pilot import LightPlan
from .world import World

# Most rays of a launch, each some 40 bytes: a card wants few launches; a processor loses nothing by several,
# between which progress is told and Ctrl-C heard.
MOST_RAYS = {"cuda": 6_000_000, "metal": 6_000_000, "llvm": 500_000}


@dataclass(frozen=True)
class Effort:
    """How much is traced at a quality.

    Attributes
    ----------
    cell_mm : float
        Cell of the table's map.
    error : float
        Relative error of the luminous map over the caustic at which tracing stops.
    rows, grid : tuple of int
        Lamp points a batch and rays along a grid's side, for orders 0, 1 and 2; a round is sixteen batches.
    rounds : int
        Most rounds.
    cloudy : (2,) int
        Lamp points a batch and rays along a grid's side for light that is scattered.
    voxels : int
        About how many, for light inside cloudy media.
    beside_cells : float
        How far a ray's light may be laid beside it, see `deposits`: it may be off by as much.
    sent : (2,) int
        See `gathered.map_sent`.
    """

    cell_mm: float
    error: float
    rows: tuple[int, int, int]
    grid: tuple[int, int, int]
    rounds: int
    cloudy: tuple[int, int] = (16, 64)
    voxels: int = 6_000
    beside_cells: float = 0.5
    sent: tuple[int, int] = (64, 128)


# Sets with cloudy media get so many times fewer rounds.
CLOUDY_SHARE = 4
EFFORTS = {
    "draft": Effort(1.0, 0.10, (32, 32, 16), (30, 16, 14), 12, beside_cells=1.0),
    "proof": Effort(0.5, 0.05, (64, 64, 32), (48, 22, 14), 32, (32, 64), 30_000, sent=(128, 128)),
    "final": Effort(0.25, 0.02, (128, 128, 64), (64, 30, 18), 128, (32, 96), 100_000, sent=(128, 256)),
}


Progress = Callable[[float, str], None]


def trace_lamp(
    built: BuiltSet,
    world: World,
    plan: LightPlan,
    number: int,
    effort: Effort,
    progress: Progress = lambda share, text: None,
    store: Unfinished | None = None,
) -> LampLight:
    """Trace one lamp's light until the asked error is reached.

    Parameters
    ----------
    number : int
        The lamp's place in `built.lamps`.
    progress : callable
        Called with the share done and a line of text.
    store : keep.Unfinished, optional
        Where finished rounds are kept, so that interrupted work goes on.
    """
    lamp = built.lamps[number]
    plain = plain_table_factor(lamp)
    name = f"lamp-{lamp.name}"
    shapes = list_shapes(len(built.meters), len(world.sides), int(plan.voxels.count.numpy()[0]))
    sums = LightSums(plan.windows, _batches_at_once(effort), shapes, store and store.load(name))
    most = _most_rounds(built, effort)
    keeping_s, kept_at = 0.0, -math.inf
    while sums.rounds < most and not sums.error <= effort.error:
        _trace_round(built, world, plan, number, effort, sums, progress)
        if sums.rounds >= sums.until:
            sums.error = sums.find_error(plain * lamp.passed)
            sums.until = min(sums.rounds + _rounds_to_go(sums, effort), most)
        # Large sums take long to keep: then not every round's.
        if store and time.perf_counter() - kept_at > 5 * keeping_s:
            began = time.perf_counter()
            store.save(name, sums.arrays())
            kept_at = time.perf_counter()
            keeping_s = kept_at - began
    return sums.light(lamp, plain)


def _rounds_to_go(sums: LightSums, effort: Effort) -> int:
    """Rounds after which the error is looked at again: what it should take, but no more than there were."""
    wanted = sums.rounds * ((sums.error / effort.error) ** 2 - 1) if effort.error else math.inf
    return max(1, math.ceil(min(wanted, sums.rounds)))


def _most_rounds(built: BuiltSet, effort: Effort) -> int:
    """Scattered light is spread thin, so that its grain shows little and goes slowly."""
    return -(-effort.rounds // CLOUDY_SHARE) if built.is_cloudy else effort.rounds


def _trace_round(built, world, plan, number, effort, sums: LightSums, progress) -> None:
    """Trace sixteen batches, as many of them at once as there is room for."""
    lamp = built.lamps[number]
    aim = plan.aims[lamp.name]
    frames = _meter_frames(built)
    areas_mm2 = np.pi * np.array([meter.radius_mm for meter in built.meters]) ** 2
    efforts = list(zip((*effort.rows, effort.cloudy[0]), (*effort.grid, effort.cloudy[1]), strict=True))
    unbooked = None
    for launch in range(BATCHES // sums.together):
        batches = range(launch * sums.together, (launch + 1) * sums.together)
        for order, (count, grid) in zip(plan.orders[lamp.name], efforts, strict=False):
            seeds = [(built.seed, number, order.forced, batch, sums.rounds) for batch in batches]
            # Drawn while the device still traces the last launch, whose books wait for it.
            rows = draw_rows(built, world, lamp, aim, order, count, grid, seeds)
            if unbooked:
                sums.book(*unbooked)
            scattered = int(order.forced == WANDERING)
            haze = sums.hazes[scattered]
            tally = open_tally(world, len(built.meters), sums.together, sums.together * count, frames, haze)
            landed, tally = trace(world.geometry, rows, aim.frame, tell_blockers(world), tally, plan.voxels)
            sums.hazes[scattered] = tally.haze
            sums.lay_down(launch, landed, rows, effort.beside_cells)
            unbooked = (launch, rows, tally, order.forced == 0, areas_mm2)
        share = (sums.rounds * BATCHES + batches.stop) / (BATCHES * _most_rounds(built, effort))
        progress(share, f"light of {lamp.name}, round {sums.rounds + 1}")
    sums.book(*unbooked)
    sums.rounds += 1


def _meter_frames(built: BuiltSet):
    """Eight numbers a meter: centre, radius, normal, zero."""
    table = [[*meter.centre_mm, meter.radius_mm, *meter.normal, 0.0] for meter in built.meters]
    return floats(table) if table else dr.zeros(mi.Float, 8)


def _batches_at_once(effort: Effort) -> int:
    """How many batches, a divisor of sixteen, go into one launch: few launches waste little on the way."""
    rays = max(count * grid * grid for count, grid in zip(effort.rows, effort.grid, strict=True))
    most = MOST_RAYS[backend()]
    return max(some for some in (1, 2, 4, 8, 16) if some == 1 or some * rays <= most)
