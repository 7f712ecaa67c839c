"""Footprints: each ray's light spread over the quadrilateral between it and its neighbours' landings.

Four neighbours of the grid with the same history span a bilinear patch; the light of the patch, a quarter
of each corner's, is laid down in stratified shares, about one a cell. Where the histories differ, a ray's
quarter stays a point. Either way all light is laid down, once.

After the variable-sized splats of C. Wyman and C. Dachsbacher, Improving image-space caustics via
variable-sized splatting (2008), and the caustic triangles of T. Umenhoffer, G. Patow and L. Szirmay-Kalos,
Robust multiple specular reflections and refractions (2008).
"""

from __future__ import annotations

from .device import add_to
from .engine import dr, mi
from .launches import LampRows, Landings
from .windows import Laying, WindowTable

# A patch longer than this many cells is thinner than anything one looks for; its rays stay points, so
# that no light is drawn across places where none falls.
LONGEST_CELLS = 48


def _grid_place(rows: LampRows, index):
    row = index // (rows.grid * rows.grid)
    within = index - row * rows.grid * rows.grid
    up = within // rows.grid
    return row, within - up * rows.grid, up


def _corner(landings: Landings, index, active):
    return mi.Vector2f(
        dr.gather(mi.Float, landings.u, index, active), dr.gather(mi.Float, landings.v, index, active)
    )


def _find_patches(landings: Landings, rows: LampRows, windows: WindowTable):
    """Tell for each ray whether it, its right, upper and upper right neighbours span a patch."""
    index = rows.ray
    _, across, up = _grid_place(rows, index)
    code = landings.code
    whole = (code != 0) & (across + 1 < rows.grid) & (up + 1 < rows.grid)
    low = high = mi.Vector2f(landings.u, landings.v)
    for step in (mi.UInt32(1), rows.grid, rows.grid + 1):
        whole &= dr.gather(mi.UInt32, code, index + step, whole) == code
        place = _corner(landings, index + step, whole)
        low, high = dr.minimum(low, place), dr.maximum(high, place)
    laying = Laying(windows, landings.panel >> 1, whole)
    return whole & (dr.max(high - low) * laying.fine_frame.z < LONGEST_CELLS)


class _Book:
    """Where a ray's light is added: its band's map, and the channels of its batch."""

    def __init__(self, maps, channels, windows: WindowTable, rows: LampRows, row, kind):
        self.maps, self.channels, self.fine = maps, channels, windows.fine
        self.plane = (dr.gather(mi.UInt32, rows.band, row) * 2 + kind) * windows.count
        self.visible = dr.gather(mi.Float, rows.visible, row)
        self.end = dr.gather(mi.UInt32, rows.end, row)
        self.width = dr.gather(mi.Float, rows.width, row)
        self.first = (dr.gather(mi.UInt32, rows.batch, row) * 2 + kind) * 3 * windows.fine

    def add(self, flux, cell, active):
        add_to(self.maps, flux, self.plane + cell, active)
        fine = active & (cell < self.fine)
        add_to(self.channels, flux * self.visible, self.first + cell, fine)
        coloured = fine & (self.end > 0)
        colour = self.first + self.end * self.fine
        add_to(self.channels, flux * self.width, colour + cell, coloured)


@dr.freeze(warn_after=1000)
@dr.syntax
def lay_down(landings: Landings, rows: LampRows, windows: WindowTable, maps, channels, spread):
    """Add the rays' light to the maps.

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
    spread : mi.Bool
        Opaque: footprints, or plain points where false.

    Returns
    -------
    maps, channels
    """
    patch = _find_patches(landings, rows, windows) & spread
    dr.eval(patch)

    index = rows.ray
    row, across, up = _grid_place(rows, index)
    active = landings.code != 0
    here = mi.Vector2f(landings.u, landings.v)
    laying = Laying(windows, landings.panel >> 1, active)
    kind = landings.panel & 1
    book = _Book(maps, channels, windows, rows, row, kind)

    # The quarters that no patch takes stay where the ray came down.
    left, below = across > 0, up > 0
    taken = mi.Float(0)
    for there, step in (
        (active, mi.UInt32(0)),
        (active & left, mi.UInt32(1)),
        (active & below, rows.grid),
        (active & left & below, rows.grid + 1),
    ):
        taken += dr.select(dr.gather(mi.Bool, patch, index - step, there), 0.25, 0)
    on_panel, cell = laying.cell(here.x, here.y)
    book.add(landings.flux * (1 - taken), cell, active & on_panel & (taken < 1))

    # A patch's light, in equal shares stratified over its two sides, about one a cell.
    right = _corner(landings, index + 1, patch)
    above = _corner(landings, index + rows.grid, patch)
    opposite = _corner(landings, index + rows.grid + 1, patch)
    flux = 0.25 * (
        landings.flux
        + dr.gather(mi.Float, landings.flux, index + 1, patch)
        + dr.gather(mi.Float, landings.flux, index + rows.grid, patch)
        + dr.gather(mi.Float, landings.flux, index + rows.grid + 1, patch)
    )
    per_cell = laying.fine_frame.z
    across_cells = dr.maximum(dr.norm(right - here), dr.norm(opposite - above)) * per_cell
    up_cells = dr.maximum(dr.norm(above - here), dr.norm(opposite - right)) * per_cell
    count_s = mi.UInt32(dr.clip(dr.ceil(across_cells), 1, LONGEST_CELLS))
    count_t = mi.UInt32(dr.clip(dr.ceil(up_cells), 1, LONGEST_CELLS))
    total = count_s * count_t
    share = flux / mi.Float(total)
    share_s, share_t = 1 / mi.Float(count_s), 1 / mi.Float(count_t)
    number = mi.UInt32(0)
    while dr.hint(patch & (number < total), exclude=[laying, book]):
        t_index = number // count_s
        s_index = number - t_index * count_s
        # No draw hangs on another here, so four rounds do.
        jitter, _ = mi.sample_tea_32(index, number)
        s = (mi.Float(s_index) + mi.Float(jitter & 0xFFFF) * (1 / 65536)) * share_s
        t = (mi.Float(t_index) + mi.Float(jitter >> 16) * (1 / 65536)) * share_t
        place = (here * (1 - s) + right * s) * (1 - t) + (above * (1 - s) + opposite * s) * t
        on_panel, cell = laying.cell(place.x, place.y)
        book.add(share, cell, on_panel)
        number += 1
    return maps, channels
