"""Where rays go on alike when their lamp point moves: there each may stand for a larger part of the front.

Light of order 0 (`photons`) has no choices, so that its way is a matter of lamp point, aim and wavelength
alone. From a few lamp points rays are sent through the same places of the aim's rectangle; where each tells
by its fan (`fans`) where the others land, the way is *steady*. At a crease of the glass, or where it bends
much within the breadth of a few hundredths of a radian, it is not.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.ndimage import minimum_filter

from brimcast.scene.built import BuiltSet
from brimcast.scene.lamps import Lamp

from .aim import Aim, Order, draw_rows
from .device import counts, floats, opaque_int
from .engine import mi
from .fronts import describe_front, find_on_front, is_even
from .launches import LampRows, Landings, Steady, nowhere_steady, open_tally, tell_blockers
from .photons import trace
from .sequences import spread
from .voxels import no_voxels
from .world import World

# Pairs of lamp points, and rays along a side of the grid from each.
PAIRS, GRID = 8, 64
# Part of the front for which a ray may stand, to either side, as an angle at the glassware, rad.
WIDEST = 0.015
# By how much landings may be off, in cells.
MOST_OFF = 0.5


def find_steady(
    built: BuiltSet, world: World, lamp: Lamp, aim: Aim, order: Order, seed, cell_mm: float
) -> Steady:
    """Send a pilot of one wavelength and tell where the ways of a lamp's light are steady.

    Parameters
    ----------
    order : Order
        Of no reflection.
    seed : sequence of int
    cell_mm : float
        Of the table's fine window.
    """
    if not is_even(lamp):
        return nowhere_steady()
    far_mm = float(np.linalg.norm(lamp.centre_mm - world.centre_mm))
    share = min(1.0, WIDEST * far_mm / (max(lamp.size_mm) / 2))
    rows = draw_rows(built, world, lamp, aim, order, 2 * PAIRS, GRID, [seed], regular=True)
    drawn = 2 * spread(PAIRS, 2, np.random.default_rng(seed)) - 1
    # Beside each point another, toward the middle, so that it lies on the front.
    square = np.concatenate([drawn, drawn - share * np.sign(drawn)])
    flat = find_on_front(mi.Point2f(*(floats(side) for side in square.T)), describe_front(lamp))
    lateral_mm = np.stack([side.numpy() for side in flat], axis=1)
    rows = _align(rows, lamp.centre_mm + lateral_mm @ np.stack([lamp.right, lamp.up]))
    tally = open_tally(world, 0, 1, len(square))
    landed, _ = trace(world.geometry, rows, aim.frame, tell_blockers(world), tally, no_voxels())
    near = np.abs(square[:, None] - square).max(axis=2) <= share * 1.01
    off = _compare(landed, lateral_mm, near)
    # A crease may run between the rays of the grid.
    steady = minimum_filter((off < MOST_OFF * cell_mm).reshape(GRID, GRID), 3)
    return Steady(floats(share * steady), opaque_int(GRID))


def _align(rows: LampRows, place_mm: np.ndarray) -> LampRows:
    """Let rows leave from places (n, 3), in one wavelength, through the same places of the aim."""
    count = len(place_mm)
    place = rows.place.numpy().reshape(count, 4).copy()
    place[:, :3] = place_mm
    brightest = int(np.argmax(rows.visible.numpy()))
    optics = rows.optics.numpy().reshape(count, -1)[brightest]
    return replace(
        rows,
        place=floats(place),
        shift=floats(np.full((count, 2), 0.5)),
        optics=floats(np.tile(optics, count)),
        band=counts(np.full(count, rows.band.numpy()[brightest])),
    )


def _compare(landed: Landings, lateral_mm: np.ndarray, near: np.ndarray) -> np.ndarray:
    """Return how far landings through each place of the grid lie from where others tell, at worst, mm.

    Parameters
    ----------
    lateral_mm : (points, 2) float
        Of the lamp points, along the lamp's right and up.
    near : (points, points) bool
        Whether one is to tell of the other.
    """
    points = len(lateral_mm)
    where = np.stack([landed.u.numpy(), landed.v.numpy()]).reshape(2, points, -1)
    by_right, by_up = (
        np.stack([part.numpy() for part in shift]).reshape(2, points, -1) for shift in landed.shifts
    )
    panel = np.where(landed.down.numpy(), landed.panel.numpy().astype(int), -1).reshape(points, -1)
    worst = np.zeros(panel.shape[1])
    for one, other in np.argwhere(near & ~np.eye(points, dtype=bool)):
        right, up = lateral_mm[other] - lateral_mm[one]
        with np.errstate(invalid="ignore"):
            told = where[:, one] + by_right[:, one] * right + by_up[:, one] * up
            off = np.hypot(*(told - where[:, other]))
        alike = (panel[one] == panel[other]) & (panel[one] >= 0)
        off = np.where(alike & np.isfinite(off), off, np.inf)
        worst = np.maximum(worst, off)
    return worst
