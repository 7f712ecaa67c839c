"""What a launch of light is given, and what it tells: rows of rays, where they came down, sums."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .device import draw_pair, floats, opaque_int
from .engine import dr, mi
from .glowtable import GlowTable
from .world import World

# A ray ends in one of four ways (`photons`), and is thrown back 0, 1, 2 times or more.
ENDS = 4
ORDERS_OF_REFLECTION = 4
# Interfaces that a path may pass before a forced reflection is drawn no more.
DEEPEST_GAP = 48


@dataclass
class LampRows:
    """What the rays of each lamp point share; `grid` × `grid` rays a row.

    Attributes
    ----------
    ray : mi.UInt32
        Number of each ray: rows outermost, then the grid's upward and its across index.
    grid : mi.UInt32
        Rays along one side of the grid.
    batch : mi.UInt32
        Number of each row's batch within the launch.
    place : mi.Float
        Four numbers a row: lamp point, mm, and the flux weight of a ray at the grid's full size, mm².
    normal : mi.Float
        Four numbers a row: unit normal there, and whether the front has a glow.
    shift : mi.Float
        Two numbers a row: offset of the grid inside its cell.
    scatter : mi.UInt32
        One number a row: the seed of offsets that each cell of the grid has besides, or 0 for none. Regular
        grids beat with the cells that light is counted in, and draw stripes. Rows of a batch share theirs, so
        that together they fill each cell of the grid evenly.
    order : mi.UInt32
        Four numbers a row: forced reflections, interfaces before the first and between it and the second
        (`photons.TOSSED` where rays toss), and the seed of later choices.
    chances : mi.Float
        (batches × 2 × DEEPEST_GAP) how likely each of these numbers is; the first together with not tossing.
    tossed : mi.Float
        Share of the rows whose rays toss.
    optics, band : mi.Float, mi.UInt32
        See `world.Wavelengths`.
    visible : mi.Float
        Luminous weight of each row's band, nm: books are kept in luminous flux.
    end : mi.UInt32
        1 for the blue end of the spectrum, 400-480 nm, 2 for the red, 600-700 nm, else 0.
    width : mi.Float
        Weight of each row's band at those ends, nm.
    lateral : mi.Point2f
        Where each row's lamp point lies on the front's square, see `fronts.lay_on_square`.
    front : mi.Vector3f
        See `fronts.describe_front`.
    """

    ray: object
    grid: object
    batch: object
    place: object
    normal: object
    shift: object
    scatter: object
    order: object
    chances: object
    tossed: object
    optics: object
    band: object
    visible: object
    end: object
    width: object
    lateral: object
    front: object

    def row_of(self, ray):
        """Return the row of a ray."""
        return ray // (self.grid * self.grid)

    def chance_of(self, batch, reflection, passed, active):
        """Return the chance of so many interfaces before a forced reflection, 0 or 1; 1 where not active."""
        place = (batch * 2 + reflection) * DEEPEST_GAP + passed
        chance = dr.gather(mi.Float, self.chances, place, active & (passed < DEEPEST_GAP))
        return dr.select(active, chance, 1)

    def locate(self, ray):
        """Return where a ray goes through the aim's rectangle, across and up, in shares of its sides."""
        row = self.row_of(ray)
        within = ray - row * self.grid * self.grid
        up = within // self.grid
        seed = dr.gather(mi.UInt32, self.scatter, row)
        shift = dr.gather(mi.Vector2f, self.shift, row)
        shift += dr.select(seed != 0, mi.Vector2f(*draw_pair(within, seed)), 0)
        shift -= dr.floor(shift)
        return (mi.Vector2f(within - up * self.grid, up) + shift) / mi.Float(self.grid)


@dataclass
class Steady:
    """Where a ray without reflection may stand for much of the lamp's front, see `steadiness`.

    Attributes
    ----------
    shares : mi.Float
        (side × side) how much of it to either side, on a grid over the aim's rectangle; 0 where it may not.
    side : mi.UInt32
    """

    shares: object
    side: object


def nowhere_steady() -> Steady:
    """No such place. A table of one number would make a kernel of its own."""
    return Steady(floats(np.zeros(4)), opaque_int(2))


@dataclass
class AimFrame:
    """Rectangle across the light's way at the glassware, through which the rays of a lamp are aimed.

    With it goes how the lamp's front glows: its centre, its sides, and a table of this lamp alone.
    """

    corner: mi.Point3f
    across: mi.Vector3f
    upward: mi.Vector3f
    normal: mi.Vector3f
    back_off: mi.Float
    centre: mi.Point3f
    right: mi.Vector3f
    up: mi.Vector3f
    glow: GlowTable
    steady: Steady


@dataclass
class Landings:
    """Where each ray came down.

    Attributes
    ----------
    u, v : mi.Float
        Place on the panel, mm.
    flux : mi.Float
        Of rays that went into the room as well.
    down : mi.Bool
        Whether the ray landed.
    panel : mi.UInt32
        Panel number × 2 + 1 for the reflective kind.
    shifts : list of mi.Vector2f
        How far the place moves by each mm that the lamp point moves along the lamp's right and up, the aim's
        point staying; zeros where that is not told.
    share : mi.Float
        Of the lamp's front to either side, for which the ray may stand; 0 where nothing is known of it.
    """

    u: object
    v: object
    flux: object
    down: object
    panel: object
    shifts: list
    share: object


@dataclass
class Tally:
    """Sums of a launch by its batches, in double precision: millions of small numbers go into each.

    Attributes
    ----------
    ends : mi.Float64
        (batches × ends × orders of reflection) flux by `LANDED` and so on and by 0, 1, 2, more reflections.
    absorbed : mi.Float64
        (batches × orders of reflection) flux taken by media and metals.
    incident : mi.Float64
        (batches) flux that reached the glassware.
    meters : mi.Float
        (rows × meters) flux through each meter.
    meter_frames : mi.Float
        Eight numbers a meter: centre, radius, normal, zero.
    meter_count : mi.UInt32
    panels : mi.Float64
        (batches × panel sides × 2 kinds) flux landed.
    sides : mi.UInt32
        How many panel sides there are.
    haze : mi.Float
        (bands × octants × voxels) light that cloudy media send to the camera, see `voxels.lay_in`.
    """

    ends: object
    absorbed: object
    incident: object
    meters: object
    meter_frames: object
    meter_count: object
    panels: object
    sides: object
    haze: object


def tell_blockers(world: World):
    """Whether anything could stand between lamp and glassware, as a kernel input."""
    return dr.opaque(mi.Bool, world.has_blockers)


def open_tally(world: World, meters: int, batches: int, rows: int, frames=None, haze=None) -> Tally:
    """Return empty sums for a launch of so many batches and rows past so many meters; `haze` is added to."""
    if haze is None:
        haze = dr.zeros(mi.Float, 1)
    tally = Tally(
        ends=dr.zeros(mi.Float64, batches * ENDS * ORDERS_OF_REFLECTION),
        absorbed=dr.zeros(mi.Float64, batches * ORDERS_OF_REFLECTION),
        incident=dr.zeros(mi.Float64, batches),
        meters=dr.zeros(mi.Float, max(1, rows * meters)),
        meter_frames=frames if meters else dr.zeros(mi.Float, 8),
        meter_count=opaque_int(meters),
        panels=dr.zeros(mi.Float64, batches * len(world.sides) * 2),
        sides=opaque_int(len(world.sides)),
        haze=haze,
    )
    dr.make_opaque(tally)
    return tally
