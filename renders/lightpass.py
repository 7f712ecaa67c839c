"""The light pass: for each lamp, the light that glassware sends to every matte surface, band by band.

After the pilot, rounds of sixteen independent batches are traced until the asked error is reached. The
batches carry the standard errors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.scene.lamps import Lamp, plain_table_factor

from .aim import Order, draw_rows
from .deposits import lay_down
from .device import floats
from .engine import dr, mi
from .launches import ENDS, ORDERS_OF_REFLECTION, Tally, open_tally, tell_blockers
from .photons import WANDERING, trace
from .pilot import LightPlan
from .uncertainty import relative_error
from .voxels import OCTANTS
from .windows import Windows
from .world import World

BATCHES = 16
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
    """

    cell_mm: float
    error: float
    rows: tuple[int, int, int]
    grid: tuple[int, int, int]
    rounds: int
    cloudy: tuple[int, int] = (16, 64)
    voxels: int = 6_000


# What is fainter than this share of the plain table need not be more exact than there: light of large lamps.
FAINT_SHARE = 0.25
# Sets with cloudy media get so many times fewer rounds.
CLOUDY_SHARE = 4
EFFORTS = {
    "draft": Effort(1.0, 0.10, (32, 16, 16), (30, 20, 16), 12),
    "proof": Effort(0.5, 0.05, (64, 32, 16), (48, 28, 20), 32, (32, 64), 30_000),
    "final": Effort(0.25, 0.02, (128, 64, 32), (64, 40, 24), 128, (32, 96), 100_000),
}


@dataclass
class LampLight:
    """What one lamp's light does after it has met glassware; per unit luminance of its front without gels.

    Maps and meters, which have bands, are without gels too; what is luminous, blue or red went through them.

    Attributes
    ----------
    lamp : Lamp
    plain : float
        Luminous light on the bare table at the datum, without gels.
    maps : (16, 2, cells) float32
        Mean spectral irradiance of every cell of `windows`, 1/nm; kinds refractive, reflective.
    channels : (batches, 2, 3, ny, nx) float32
        Luminous, blue and red light in the table's fine window, batch by batch.
    meters : (batches, 16, meters) float
        Mean spectral irradiance on each meter.
    ends : (batches, ENDS, 4) float
        Luminous flux by end and by number of reflections, mm².
    sides : (batches, sides, 2) float
        Luminous flux landed on each panel side, by kind.
    absorbed : (batches, 4) float
    incident : (batches,) float
        Luminous flux that reached the glassware.
    haze : (2, 16, octants, voxels) float32
        What cloudy media send to the camera of straight and of scattered light, as laid into `voxels`, /nm.
    rounds : int
    relative_error : float
        Of the luminous map over the caustic's outline.
    rays : int
    """

    lamp: Lamp
    plain: float
    maps: np.ndarray
    channels: np.ndarray
    meters: np.ndarray
    ends: np.ndarray
    sides: np.ndarray
    absorbed: np.ndarray
    incident: np.ndarray
    haze: np.ndarray
    rounds: int = 0
    relative_error: float = float("nan")
    rays: int = 0

    @property
    def plain_seen(self) -> float:
        """Luminous light on the bare table at the datum, through the lamp's gels."""
        return self.plain * self.lamp.passed


Progress = Callable[[float, str], None]


def meter_frames(built: BuiltSet):
    """Eight numbers a meter: centre, radius, normal, zero."""
    table = [[*meter.centre_mm, meter.radius_mm, *meter.normal, 0.0] for meter in built.meters]
    return floats(table) if table else dr.zeros(mi.Float, 8)


def trace_lamp(
    built: BuiltSet,
    world: World,
    plan: LightPlan,
    number: int,
    effort: Effort,
    progress: Progress = lambda share, text: None,
    kept=None,
) -> LampLight:
    """Trace one lamp's light until the asked error is reached.

    Parameters
    ----------
    number : int
        The lamp's place in `built.lamps`.
    progress : callable
        Called with the share done and a line of text.
    kept : object with load() and save(light), optional
        Where finished rounds are kept, so that interrupted work goes on.
    """
    lamp = built.lamps[number]
    light = (kept and kept.load(lamp.name)) or _dark(built, world, plan, lamp)
    most = _most_rounds(built, effort)
    while light.rounds < most:
        if light.rounds and light.relative_error <= effort.error:
            break
        fresh = _trace_round(built, world, plan, number, effort, light.rounds, progress, light)
        _fold(light, fresh)
        light.relative_error = _error(light, plan.windows)
        if kept:
            kept.save(light)
    return light


def _dark(built, world, plan, lamp) -> LampLight:
    fine = plan.windows.fine
    return LampLight(
        lamp=lamp,
        plain=plain_table_factor(lamp),
        maps=np.zeros((16, 2, plan.windows.cells), np.float32),
        channels=np.zeros((BATCHES, 2, 3, *fine.shape), np.float32),
        meters=np.zeros((BATCHES, 16, len(built.meters))),
        ends=np.zeros((BATCHES, ENDS, ORDERS_OF_REFLECTION)),
        sides=np.zeros((BATCHES, len(world.sides), 2)),
        absorbed=np.zeros((BATCHES, ORDERS_OF_REFLECTION)),
        incident=np.zeros(BATCHES),
        haze=np.zeros((2, 16, OCTANTS, plan.voxels.count.numpy()[0]), np.float32),
    )


def _most_rounds(built: BuiltSet, effort: Effort) -> int:
    """Scattered light is spread thin, so that its grain shows little and goes slowly."""
    return -(-effort.rounds // CLOUDY_SHARE) if built.is_cloudy else effort.rounds


def _fold(light: LampLight, fresh: LampLight) -> None:
    """Average a new round into the rounds before."""
    share = 1 / (light.rounds + 1)
    for name in ("maps", "channels", "meters", "ends", "sides", "absorbed", "incident", "haze"):
        total, new = getattr(light, name), getattr(fresh, name)
        if light.rounds:
            new -= total
            new *= share
            total += new
        else:
            setattr(light, name, new)
    light.rounds += 1
    light.rays += fresh.rays


def _error(light: LampLight, windows: Windows) -> float:
    """Error of the luminous map, both kinds together, over the caustic's outline; 0 where no light falls."""
    if not windows.fine.cells:
        return 0.0
    x_mm, y_mm = windows.fine.centres()
    least = light.plain_seen * FAINT_SHARE
    error = relative_error(x_mm, y_mm, light.channels[:, :, 0].sum(axis=1), least)
    return 0.0 if error is None else float(error)


def _trace_round(built, world, plan, number, effort, done, progress, light) -> LampLight:
    """Trace sixteen batches, as many of them at once as there is room for."""
    lamp = built.lamps[number]
    fresh = _dark(built, world, plan, lamp)
    frames = meter_frames(built)
    fine = plan.windows.fine
    maps = dr.zeros(mi.Float, 32 * plan.windows.cells)
    hazes = [dr.zeros(mi.Float, max(1, fresh.haze[0].size)) for _ in range(2)]
    dr.make_opaque(maps, *hazes)
    efforts = list(zip((*effort.rows, effort.cloudy[0]), (*effort.grid, effort.cloudy[1]), strict=True))
    together = _batches_at_once(effort)
    aim = plan.aims[lamp.name]
    for first in range(0, BATCHES, together):
        batches = range(first, first + together)
        channels = dr.zeros(mi.Float, max(1, together * 6 * fine.cells))
        dr.make_opaque(channels)
        for order, (count, grid) in zip(plan.orders[lamp.name], efforts, strict=False):
            seeds = [(built.seed, number, order.forced, batch, done) for batch in batches]
            rows = draw_rows(built, world, lamp, aim, order, count, grid, seeds)
            scattered = int(order.forced == WANDERING)
            sums = open_tally(world, len(built.meters), together, together * count, frames, hazes[scattered])
            landed, tally = trace(world.geometry, rows, aim.frame, tell_blockers(world), sums, plan.voxels)
            hazes[scattered] = tally.haze
            maps, channels = lay_down(landed, rows, plan.windows.table, maps, channels)
            _book(fresh, batches, order, rows, tally, built)
            fresh.rays += together * count * grid * grid
        if fine.cells:
            light_mm2 = channels.numpy().reshape(together, 2, 3, *fine.shape)
            fresh.channels[batches.start : batches.stop] = light_mm2 / fine.cell_mm**2
        share = (done * BATCHES + batches.stop) / (BATCHES * _most_rounds(built, effort))
        progress(share, f"light of {lamp.name}, round {done + 1}")
    fresh.maps = maps.numpy().reshape(16, 2, -1) / (plan.windows.areas_mm2 * BATCHES).astype(np.float32)
    if fresh.haze.size:
        fresh.haze = np.stack([haze.numpy() for haze in hazes]).reshape(fresh.haze.shape) / BATCHES
    return fresh


def _batches_at_once(effort: Effort) -> int:
    """How many batches, a divisor of sixteen, go into one launch: few launches waste little on the way."""
    rays = max(count * grid * grid for count, grid in zip(effort.rows, effort.grid, strict=True))
    most = MOST_RAYS[mi.variant().partition("_")[0]]
    return max(some for some in (1, 2, 4, 8, 16) if some == 1 or some * rays <= most)


def _book(fresh: LampLight, batches: range, order: Order, rows, tally: Tally, built: BuiltSet) -> None:
    """Add a launch's sums to its batches."""
    here = slice(batches.start, batches.stop)
    fresh.ends[here] += tally.ends.numpy().reshape(-1, ENDS, ORDERS_OF_REFLECTION)
    fresh.absorbed[here] += tally.absorbed.numpy().reshape(-1, ORDERS_OF_REFLECTION)
    fresh.sides[here] += tally.panels.numpy().reshape(len(batches), -1, 2)
    if order.forced == 0:
        fresh.incident[here] += tally.incident.numpy()
    if built.meters:
        flux = tally.meters.numpy().reshape(dr.width(rows.band), len(built.meters))
        area = np.pi * np.array([meter.radius_mm for meter in built.meters]) ** 2
        place = batches.start + rows.batch.numpy(), rows.band.numpy()
        np.add.at(fresh.meters, place, flux / area)
