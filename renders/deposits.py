"""Each ray's light added to the cells of the maps where it came down, and where those beside it do.

A ray stands for the lamp points beside its own: through the same point of the aim's rectangle their light
takes nearly the same way, and where it lands is told by the ray's fan (`fans`). How much of the front that
may be, the pilot finds out (`steadiness`); elsewhere glass may be too crooked, and light is laid half a cell
or a cell beside its ray at most, where being off does not count.
"""

from __future__ import annotations

from .device import add_to, draw_pair
from .engine import dr, mi
from .fronts import find_on_front, fold
from .launches import LampRows, Landings
from .sequences import steps
from .windows import Laying, WindowTable

# Lamp points for which each ray stands.
POINTS_BESIDE = 4
# Where the whole front's light lands within so much of a cell, the cell's own breadth is wider.
LEAST_CELLS = 0.5


@dr.freeze(warn_after=1000)
@dr.syntax
def lay_down(landings: Landings, rows: LampRows, windows: WindowTable, most_cells, maps, channels):
    """Add each ray's light to the cells where it came down.

    Parameters
    ----------
    landings : Landings
    rows : LampRows
    windows : WindowTable
    most_cells : mi.Float
        How far light may be laid beside its ray, in cells of the fine window; 0 for points.
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
    map_first = (dr.gather(mi.UInt32, rows.band, row) * 2 + kind) * windows.count
    channel_first = (dr.gather(mi.UInt32, rows.batch, row) * 2 + kind) * 3 * windows.fine
    visible = dr.gather(mi.Float, rows.visible, row)
    end = dr.gather(mi.UInt32, rows.end, row)
    width = dr.gather(mi.Float, rows.width, row)

    lateral = dr.gather(mi.Point2f, rows.lateral, row)
    home = find_on_front(lateral, rows.front)
    right, up = landings.shifts
    # Share of the front round its lamp point for which a ray stands, along either side.
    whole_mm = dr.norm(right) * rows.front.x + dr.norm(up) * rows.front.y
    share = dr.minimum(most_cells / (laying.fine_frame.z * whole_mm), 1)
    share = dr.select(most_cells > 0, dr.maximum(share, landings.share), 0)
    wide = (whole_mm * laying.fine_frame.z > LEAST_CELLS) & dr.isfinite(whole_mm)
    spread = landings.down & wide & (share > 0)
    points = dr.select(spread, mi.UInt32(POINTS_BESIDE), 1)
    flux = landings.flux / mi.Float(points)
    start = mi.Point2f(*draw_pair(rows.ray, dr.gather(mi.Vector4u, rows.order, row).w))
    number = mi.UInt32(0)
    while dr.hint(number < points, exclude=[rows, windows, landings, laying, maps, channels]):
        even = start + mi.Float(number) * mi.Point2f(*steps(2))
        beside = fold(lateral + share * (2 * (even - dr.floor(even)) - 1))
        aside = find_on_front(beside, rows.front) - home
        shift = dr.select(spread, right * aside.x + up * aside.y, 0)
        on_panel, cell = laying.cell(landings.u + shift.x, landings.v + shift.y)
        here = landings.down & on_panel
        add_to(maps, flux, map_first + cell, here)
        fine = here & (cell < windows.fine)
        add_to(channels, flux * visible, channel_first + cell, fine)
        add_to(channels, flux * width, channel_first + end * windows.fine + cell, fine & (end > 0))
        number += 1
    return maps, channels
