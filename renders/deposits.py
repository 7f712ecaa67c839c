"""Each ray's light added to the cell of the maps where it came down."""

from __future__ import annotations

from .device import add_to
from .engine import dr, mi
from .launches import LampRows, Landings
from .windows import Laying, WindowTable


@dr.freeze(warn_after=1000)
def lay_down(landings: Landings, rows: LampRows, windows: WindowTable, maps, channels):
    """Add each ray's light to the cell where it came down.

    Parameters
    ----------
    landings : Landings
    rows : LampRows
    windows : WindowTable
    maps : mi.Float
        (16 bands × 2 kinds × cells) flux, added to.
    channels : mi.Float
        (batches × 2 kinds × 3 × cells of the fine window) luminous flux and that of 400-480 and 600-700 nm,
        added to.

    Returns
    -------
    maps, channels
    """
    row = rows.row_of(rows.ray)
    kind = landings.panel & 1
    laying = Laying(windows, landings.panel >> 1, landings.down)
    on_panel, cell = laying.cell(landings.u, landings.v)
    here = landings.down & on_panel
    flux = landings.flux
    add_to(maps, flux, (dr.gather(mi.UInt32, rows.band, row) * 2 + kind) * windows.count + cell, here)

    fine = here & (cell < windows.fine)
    first = (dr.gather(mi.UInt32, rows.batch, row) * 2 + kind) * 3 * windows.fine + cell
    add_to(channels, flux * dr.gather(mi.Float, rows.visible, row), first, fine)
    end = dr.gather(mi.UInt32, rows.end, row)
    width = dr.gather(mi.Float, rows.width, row)
    add_to(channels, flux * width, first + end * windows.fine, fine & (end > 0))
    return maps, channels
