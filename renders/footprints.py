"""The light of a launch laid down: in patches of its grids, and as points of new rays where no patch is."""

from __future__ import annotations

from .aim import draw_between
from .engine import dr
from .launches import AimFrame, LampRows, Landings, open_tally, tell_blockers
from .photons import trace
from .splats import find_patches, lay_patches, lay_points
from .voxels import no_voxels
from .windows import WindowTable
from .world import World


def lay_footprints(
    world: World, rows: LampRows, aim: AimFrame, landed: Landings, windows: WindowTable, seeds, maps, channels
):
    """Add a launch's light to the maps.

    The light of a grid cell with one history at its corners is spread between their landings. Of other cells
    the corners would tell wrongly: that they differ depends on where they are, so there would be half too
    little light at the very border of a history and half too much a cell from it. One more ray goes through
    each, anywhere in the cell: dark corners do not tell that nothing comes from between them.

    Parameters
    ----------
    world : World
    rows : LampRows
        Of whole grids.
    aim : AimFrame
    landed : Landings
        Of the rows' rays.
    windows : WindowTable
    seeds : list of sequences of int
        One for each batch of the launch, none of them used before.
    maps, channels : mi.Float
        As for `splats.lay_points`.

    Returns
    -------
    maps, channels
    more : int
        Rays sent besides.
    """
    patch, loose = find_patches(landed, rows, windows)
    dr.eval(patch, loose)
    maps, channels = lay_patches(landed, patch, rows, windows, maps, channels)
    cells = dr.compress(loose)
    if dr.width(cells):
        between = draw_between(rows, cells, seeds)
        # The launch itself keeps the energy book.
        unread = open_tally(world, 0, len(seeds), dr.width(rows.band))
        again, _ = trace(world.geometry, between, aim, tell_blockers(world), unread, no_voxels())
        maps, channels = lay_points(again, between, windows, maps, channels)
    return maps, channels, dr.width(cells)
