"""The pilot: few rays from each lamp find where its light lands, and how often it is thrown back."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import uniform_filter

from brimcast.scene.built import BuiltSet
from brimcast.scene.lamps import plain_table_factor

from .aim import Aim, Order, aim_lamp, draw_rows, even_chances
from .launches import DEEPEST_GAP, open_tally, tell_blockers
from .photons import WANDERING, trace
from .steadiness import find_steady
from .voxels import Voxels, no_voxels
from .windows import Window, Windows, list_windows
from .world import World

# Rays of a lamp point's grid, along a side, and lamp points: without reflections, and with one or two.
STRAIGHT_ROWS, STRAIGHT_GRID, THROWN_ROWS, THROWN_GRID = 16, 40, 256, 8
# Share of the lamp points whose rays toss where they are thrown back, once and twice.
SHARES_TOSSED = (0.25, 0.5)
# What fewer rays than these brought to a neighbourhood tells nothing of how bright it is.
FEWEST_RAYS = 3
# Of the fine window: a lamp's light takes some 400 bytes a cell. Where there would be more, cells are larger.
MOST_CELLS = 3_000_000


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


def plan_light(built: BuiltSet, world: World, cell_mm: float, voxels: Voxels | None = None) -> LightPlan:
    """Send a pilot from every lamp; place the fine window and draw up the chances of reflections.

    Parameters
    ----------
    cell_mm : float
        Of the fine window, where the set asks for no other and it is not too large.
    voxels : Voxels, optional
        Of the cloudy media that a camera looks at, see `scouting.scout`.
    """
    landings, orders, aims = [], {}, {}
    cloudy = built.is_cloudy
    for number, lamp in enumerate(built.lamps):
        aim = aims[lamp.name] = aim_lamp(lamp, world)
        found = [Order(0, even_chances(), even_chances())]
        thrown = []
        thrown.append(_pilot(built, world, lamp, aim, found[0], STRAIGHT_ROWS, STRAIGHT_GRID, number)[:3])
        for forced in (1, 2):
            order = Order(forced, even_chances(), even_chances())
            *landed, gone, gaps = _pilot(built, world, lamp, aim, order, THROWN_ROWS, THROWN_GRID, number)
            thrown.append(landed)
            found.append(_learn(order, gaps, landed[1], gone))
        landings.append((lamp, [np.concatenate(part) for part in zip(*thrown, strict=True)]))
        if cloudy:
            found.append(Order(WANDERING, even_chances(), even_chances()))
        orders[lamp.name] = tuple(found)
    windows = _place_windows(world, landings, built.cell_mm or cell_mm)
    while not built.cell_mm and windows.fine.cells > MOST_CELLS:
        windows = _place_windows(world, landings, 2 * windows.fine.cell_mm)
    for number, lamp in enumerate(built.lamps):
        aim, seed = aims[lamp.name], (built.seed, 15487469, number)
        steady = find_steady(built, world, lamp, aim, orders[lamp.name][0], seed, windows.fine.cell_mm)
        aims[lamp.name] = replace(aim, frame=replace(aim.frame, steady=steady))
    return LightPlan(windows, orders, aims, voxels or no_voxels())


def _pilot(built, world, lamp, aim, order, count, grid, number):
    seed = (built.seed, 7919, number, order.forced)
    rows = draw_rows(built, world, lamp, aim, order, count, grid, [seed], regular=True)
    tally = open_tally(world, 0, 1, count)
    landed, _ = trace(world.geometry, rows, aim.frame, tell_blockers(world), tally, no_voxels())
    visible = np.repeat(rows.visible.numpy(), grid * grid)
    flux = landed.flux.numpy() * visible
    where = np.stack([landed.u.numpy(), landed.v.numpy()], axis=1)
    gaps = rows.order.numpy().reshape(count, 4)[:, 1:3]
    down = landed.down.numpy()
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
    return Order(order.forced, *learned, SHARES_TOSSED[order.forced - 1])


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
            place = where[here, 1], where[here, 0]
            light, rays = (np.histogram2d(*place, bins, weights=w)[0] for w in (flux[here], None))
            light, rays = (uniform_filter(one, 3, mode="constant") for one in (light / square**2, rays))
            # A lamp may miss the datum: then only its own brightest place tells what is bright.
            least = max(0.02 * plain, min(0.05 * plain, light.max() / 16)) if plain > 0 else light.max() / 16
            lines, columns = np.nonzero((light > least) & (9 * rays > FEWEST_RAYS - 0.5))
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
