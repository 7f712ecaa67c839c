"""Footprints: the light of a grid cell spread over the quadrilateral between its corners' landings.

Four neighbours of the grid with the same history span a bilinear patch; the light of the patch, a quarter
of each corner's, is laid down in stratified shares, about one a cell. Where the histories differ or the
landings bend too much from ray to ray, no patch is.

After the variable-sized splats of C. Wyman and C. Dachsbacher, Improving image-space caustics via
variable-sized splatting (2008), and the caustic triangles of T. Umenhoffer, G. Patow and L. Szirmay-Kalos,
Robust multiple specular reflections and refractions (2008).
"""

from __future__ import annotations

from .device import add_to
from .engine import dr, mi
from .launches import LampRows, Landings
from .windows import Laying, WindowTable

# A patch longer than this many cells is thinner than anything one looks for; no light is drawn across places
# where perhaps none falls.
LONGEST_CELLS = 48
# Second difference of the landings, in cells and in lengths of the edge; both are too much for a patch. A
# parabola leaves its chord by an eighth of it. Where the glass turns a corner that is narrower than the grid,
# chords would pass by the line that it throws.
MOST_BEND_CELLS, MOST_BEND = 2.0, 0.5


def _corner(landings: Landings, index, active):
    return mi.Vector2f(
        dr.gather(mi.Float, landings.u, index, active), dr.gather(mi.Float, landings.v, index, active)
    )


def _bend(landings: Landings, start, step, before, after, active):
    """Return the largest second difference of the landings, mm, along an edge and those beyond its ends.

    `start` is the edge's first ray and `step` leads to its second; `before` and `after` tell whether the grid
    has a ray beyond either. Only rays of the same history count. 0 where the edge is long against it.
    """
    code = dr.gather(mi.UInt32, landings.code, start, active)
    first, second = _corner(landings, start, active), _corner(landings, start + step, active)
    bend = mi.Float(0)
    for there, index, near, far in (
        (active & before, start - step, first, second),
        (active & after, start + 2 * step, second, first),
    ):
        there &= dr.gather(mi.UInt32, landings.code, index, there) == code
        off = _corner(landings, index, there) - 2 * near + far
        bend = dr.maximum(bend, dr.select(there, dr.norm(off), 0))
    return dr.select(bend > MOST_BEND * dr.norm(second - first), bend, 0)


@dr.freeze(warn_after=1000)
def find_patches(landings: Landings, rows: LampRows, windows: WindowTable):
    """Tell which cells of the grids are patches, and which are not.

    Parameters
    ----------
    landings : Landings
        Of every ray of the grids.
    rows : LampRows
    windows : WindowTable

    Returns
    -------
    patch, loose : mi.Bool
        By the ray at a cell's lower left corner. The grid goes round: its last cells end at its first rays.
    """
    index, code = rows.ray, landings.code
    _, across, up = rows.locate(index)
    inside = (across + 1 < rows.grid) & (up + 1 < rows.grid)
    right = dr.select(across + 1 < rows.grid, index + 1, index + 1 - rows.grid)
    over = dr.select(up + 1 < rows.grid, rows.grid, rows.grid - rows.grid * rows.grid)
    alike, lit = inside & (code != 0), code != 0
    low = high = mi.Vector2f(landings.u, landings.v)
    for corner in (right, index + over, right + over):
        there = dr.gather(mi.UInt32, code, corner)
        alike &= there == code
        lit |= there != 0
        place = _corner(landings, corner, alike)
        low, high = dr.minimum(low, place), dr.maximum(high, place)
    laying = Laying(windows, landings.panel >> 1, alike)
    bend = mi.Float(0)
    for step, aside, place in ((mi.UInt32(1), rows.grid, across), (rows.grid, mi.UInt32(1), up)):
        before, after = place > 0, place + 2 < rows.grid
        for start in (index, index + aside):
            bend = dr.maximum(bend, _bend(landings, start, step, before, after, alike))
    patch = alike & (dr.max(high - low) * laying.fine_frame.z < LONGEST_CELLS)
    patch &= bend * laying.fine_frame.z < MOST_BEND_CELLS
    return patch, ~patch


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


def _open_book(landings: Landings, rows: LampRows, windows: WindowTable, maps, channels, active):
    """Return where the rays lay their light, and the book of each."""
    row, _, _ = rows.locate(rows.ray)
    laying = Laying(windows, landings.panel >> 1, active)
    return laying, _Book(maps, channels, windows, rows, row, landings.panel & 1)


@dr.freeze(warn_after=1000)
def lay_points(landings: Landings, rows: LampRows, windows: WindowTable, maps, channels):
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
    active = landings.code != 0
    laying, book = _open_book(landings, rows, windows, maps, channels, active)
    on_panel, cell = laying.cell(landings.u, landings.v)
    book.add(landings.flux, cell, active & on_panel)
    return maps, channels


@dr.freeze(warn_after=1000)
@dr.syntax
def lay_patches(landings: Landings, patch, rows: LampRows, windows: WindowTable, maps, channels):
    """Add the light of each patch to the cells that it covers.

    Parameters
    ----------
    landings, rows, windows
        As for `find_patches`.
    patch : mi.Bool
    maps, channels : mi.Float
        As in `lay_points`.

    Returns
    -------
    maps, channels
    """
    index = rows.ray
    laying, book = _open_book(landings, rows, windows, maps, channels, patch)
    # In equal shares stratified over the patch's two sides, about one a cell.
    here = mi.Vector2f(landings.u, landings.v)
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
