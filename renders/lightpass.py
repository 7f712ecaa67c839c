"""The light pass: for each lamp, the light that glassware sends to every matte surface, band by band.

A pilot of few rays finds where the light lands and how often it is thrown back; then rounds of sixteen
independent batches are traced until the asked error is reached. The batches carry the standard errors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter

from brimcast.scene.built import BuiltSet
from brimcast.scene.lamps import Lamp, plain_table_factor

from .aim import DEEPEST_GAP, Aim, Order, aim_lamp, draw_rows, even_chances
from .device import floats, opaque_int
from .engine import dr, mi
from .launches import Tally
from .photons import ENDS, ORDERS_OF_REFLECTION, WANDERING, trace
from .splats import lay_down
from .uncertainty import relative_error
from .voxels import OCTANTS, Voxels, no_voxels
from .windows import Window, Windows, list_windows
from .world import World

BATCHES = 16


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
    "draft": Effort(1.0, 0.10, (16, 16, 16), (36, 20, 16), 12),
    "proof": Effort(0.5, 0.05, (32, 16, 16), (72, 40, 24), 32, (32, 64), 30_000),
    "final": Effort(0.25, 0.02, (32, 32, 16), (128, 64, 32), 128, (32, 96), 100_000),
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
    sides : (batches, sides) float
        Luminous flux landed on each panel side.
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


@dataclass
class LightPlan:
    """What the pilot found: where to look, and how often light is thrown back on its way.

    Attributes
    ----------
    windows : Windows
    orders : dict of str to tuple of Order
        By lamp name.
    aims : dict of str to Aim
    voxels : Voxels
    """

    windows: Windows
    orders: dict[str, tuple[Order, ...]]
    aims: dict[str, Aim]
    voxels: Voxels


Progress = Callable[[float, str], None]


def plan_light(built: BuiltSet, world: World, effort: Effort, voxels: Voxels | None = None) -> LightPlan:
    """Send a pilot from every lamp; place the fine window and draw up the chances of reflections.

    Parameters
    ----------
    voxels : Voxels, optional
        Of the cloudy media that a camera looks at, see `scouting.scout`.
    """
    landings, orders, aims = [], {}, {}
    cloudy = built.is_cloudy
    for number, lamp in enumerate(built.lamps):
        aim = aims[lamp.name] = aim_lamp(lamp, world)
        found = [Order(0, even_chances(), even_chances())]
        thrown = []
        thrown.append(_pilot(built, world, lamp, aim, found[0], 16, 64, number)[:3])
        for forced in (1, 2):
            order = Order(forced, even_chances(), even_chances())
            *landed, gone, gaps = _pilot(built, world, lamp, aim, order, 256, 14, number)
            thrown.append(landed)
            found.append(_learn(order, gaps, landed[1], gone))
        landings.append((lamp, [np.concatenate(part) for part in zip(*thrown, strict=True)]))
        if cloudy:
            found.append(Order(WANDERING, even_chances(), even_chances()))
        orders[lamp.name] = tuple(found)
    cell = built.cell_mm or effort.cell_mm
    return LightPlan(_place_windows(world, landings, cell), orders, aims, voxels or no_voxels())


def _pilot(built, world, lamp, aim, order, count, grid, number):
    rows = draw_rows(built, world, lamp, aim, order, count, grid, (built.seed, 7919, number, order.forced))
    tally = open_tally(world, 0, count)
    landed, _ = trace(world.geometry, rows, aim.frame, tell_blockers(world), tally, no_voxels())
    visible = np.repeat(rows.visible.numpy(), grid * grid)
    flux = landed.flux.numpy() * visible
    where = np.stack([landed.u.numpy(), landed.v.numpy()], axis=1)
    gaps = rows.order.numpy().reshape(count, 4)[:, 1:3]
    down = landed.code.numpy() != 0
    return where, np.where(down, flux, 0), landed.panel.numpy(), np.where(down, 0, flux), gaps


def _learn(order: Order, gaps: np.ndarray, landed: np.ndarray, gone: np.ndarray) -> Order:
    """Chances of each gap by the light that took it, with a share for what the pilot did not see.

    Light that lands counts for more than what goes into the room, which only the energy book wants.
    """
    rows = len(gaps)
    learned = []
    for place in (0, 1):
        chances = 0.1 * even_chances()
        for flux, share in ((landed, 0.6), (gone, 0.3)):
            seen = np.bincount(gaps[:, place], flux.reshape(rows, -1).sum(axis=1), minlength=DEEPEST_GAP)
            wanted = seen if seen.sum() > 0 else even_chances()
            chances = chances + share * wanted / wanted.sum()
        learned.append(chances / chances.sum())
    return Order(order.forced, *learned)


def _place_windows(world: World, landings, cell: float) -> Windows:
    """Fine window where the table's caustics fall, coarse windows over every panel side."""
    listed = []
    for number, side in enumerate(world.sides):
        coarse = max(side.size_mm) / 128
        shape = tuple(int(np.ceil(size / coarse)) for size in reversed(side.size_mm))
        fine = Window(number, (0.0, 0.0), coarse, (0, 0))
        if number == 0:
            fine = _crop(landings, side.size_mm, cell)
        listed += [fine, Window(number, (0.0, 0.0), coarse, shape, side.widths)]
    return list_windows(listed)


def _crop(landings, size_mm, cell: float) -> Window:
    """Smallest window that holds what is bright enough to look at, lamp by lamp and kind by kind.

    Bright enough is a twentieth of the bare table's light, or a sixteenth of the kind's own brightest
    place where that is less, but never under a fiftieth of the bare table; averaged over three by three
    squares of 8 mm, for the pilot's rays are few.
    """
    square = 8.0
    counts = [int(np.ceil(size / square)) for size in reversed(size_mm)]
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for lamp, (where, flux, panel) in landings:
        plain = plain_table_factor(lamp) * lamp.passed
        for kind in (0, 1):
            here = (flux > 0) & (panel == kind)
            bins = [np.arange(count + 1) * square for count in counts]
            light, *_ = np.histogram2d(where[here, 1], where[here, 0], bins, weights=flux[here])
            light = uniform_filter(light / (square**2 * plain), 3, mode="constant")
            lines, columns = np.nonzero(light > max(0.02, min(0.05, light.max() / 16)))
            if len(lines):
                low = np.minimum(low, [columns.min() * square, lines.min() * square])
                high = np.maximum(high, [(columns.max() + 1) * square, (lines.max() + 1) * square])
    if not np.isfinite(low).all():
        return Window(0, (0.0, 0.0), cell, (0, 0))
    margin = 12.0
    corner = np.floor(np.maximum(low - margin, 0) / cell) * cell
    far = np.minimum(high + margin, size_mm)
    columns, lines = np.ceil((far - corner) / cell - 1e-6).astype(int)
    return Window(0, (float(corner[0]), float(corner[1])), cell, (int(lines), int(columns)))


def tell_blockers(world: World):
    """Whether anything could stand between lamp and glassware, as a kernel input."""
    return dr.opaque(mi.Bool, world.has_blockers)


def open_tally(world: World, meters: int, rows: int, frames=None, haze=None) -> Tally:
    """Return empty sums for a launch of so many rows past so many meters; `haze` is added to."""
    if haze is None:
        haze = dr.zeros(mi.Float, 1)
    tally = Tally(
        ends=dr.zeros(mi.Float64, ENDS * ORDERS_OF_REFLECTION),
        absorbed=dr.zeros(mi.Float64, ORDERS_OF_REFLECTION),
        incident=dr.zeros(mi.Float64, 1),
        meters=dr.zeros(mi.Float, max(1, rows * meters)),
        meter_frames=frames if meters else dr.zeros(mi.Float, 8),
        meter_count=opaque_int(meters),
        panels=dr.zeros(mi.Float64, len(world.sides)),
        haze=haze,
    )
    dr.make_opaque(tally)
    return tally


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
    spread: bool = True,
    kept=None,
) -> LampLight:
    """Trace one lamp's light until the asked error is reached.

    Parameters
    ----------
    number : int
        The lamp's place in `built.lamps`.
    progress : callable
        Called with the share done and a line of text.
    spread : bool
        Lay footprints; plain points where false.
    kept : object with load() and save(light), optional
        Where finished rounds are kept, so that interrupted work goes on.
    """
    lamp = built.lamps[number]
    light = (kept and kept.load(lamp.name)) or _dark(built, world, plan, lamp)
    most = _most_rounds(built, effort)
    while light.rounds < most:
        if light.rounds and light.relative_error <= effort.error:
            break
        fresh = _trace_round(built, world, plan, number, effort, light.rounds, progress, spread, light)
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
        sides=np.zeros((BATCHES, len(world.sides))),
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
        total = getattr(light, name)
        total += (getattr(fresh, name) - total) * share
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


def _trace_round(built, world, plan, number, effort, done, progress, spread, light) -> LampLight:
    lamp = built.lamps[number]
    fresh = _dark(built, world, plan, lamp)
    frames = meter_frames(built)
    fine = plan.windows.fine
    maps = dr.zeros(mi.Float, 32 * plan.windows.cells)
    hazes = [dr.zeros(mi.Float, max(1, fresh.haze[0].size)) for _ in range(2)]
    dr.make_opaque(maps, *hazes)
    efforts = list(zip((*effort.rows, effort.cloudy[0]), (*effort.grid, effort.cloudy[1]), strict=True))
    for batch in range(BATCHES):
        channels = dr.zeros(mi.Float, max(1, 6 * fine.cells))
        dr.make_opaque(channels)
        for order, (count, grid) in zip(plan.orders[lamp.name], efforts, strict=False):
            seed = (built.seed, number, order.forced, batch, done)
            rows = draw_rows(built, world, lamp, plan.aims[lamp.name], order, count, grid, seed)
            scattered = int(order.forced == WANDERING)
            tally = open_tally(world, len(built.meters), count, frames, hazes[scattered])
            aim = plan.aims[lamp.name].frame
            landed, tally = trace(world.geometry, rows, aim, tell_blockers(world), tally, plan.voxels)
            hazes[scattered] = tally.haze
            laid = dr.opaque(mi.Bool, spread)
            maps, channels = lay_down(landed, rows, plan.windows.table, maps, channels, laid)
            _book(fresh, batch, order, rows, tally, built)
            fresh.rays += count * grid * grid
        if fine.cells:
            fresh.channels[batch] = channels.numpy().reshape(2, 3, *fine.shape) / fine.cell_mm**2
        share = (done * BATCHES + batch + 1) / (BATCHES * _most_rounds(built, effort))
        progress(share, f"light of {lamp.name}, round {done + 1}")
    fresh.maps = maps.numpy().reshape(16, 2, -1) / (plan.windows.areas_mm2 * BATCHES).astype(np.float32)
    if fresh.haze.size:
        fresh.haze = np.stack([haze.numpy() for haze in hazes]).reshape(fresh.haze.shape) / BATCHES
    return fresh


def _book(fresh: LampLight, batch: int, order: Order, rows, tally: Tally, built: BuiltSet) -> None:
    """Add a launch's sums to its batch."""
    fresh.ends[batch] += tally.ends.numpy().reshape(ENDS, ORDERS_OF_REFLECTION)
    fresh.absorbed[batch] += tally.absorbed.numpy()
    fresh.sides[batch] += tally.panels.numpy()
    if order.forced == 0:
        fresh.incident[batch] += tally.incident.numpy()[0]
    if built.meters:
        flux = tally.meters.numpy().reshape(dr.width(rows.band), len(built.meters))
        area = np.pi * np.array([meter.radius_mm for meter in built.meters]) ** 2
        np.add.at(fresh.meters[batch], rows.band.numpy(), flux / area)
