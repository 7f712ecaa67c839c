"""Footprints: each ray's light spread over the quadrilateral between it and its neighbours' landings.

Four neighbours of the grid with the same history span a bilinear patch; the light of the patch, a quarter
of each corner's, is laid down in stratified shares, about one a cell. Where the histories differ, a ray's
quarter stays a point. Either way all light is laid down, once.

After the variable-sized splats of C. Wyman and C. Dachsbacher, Improving image-space caustics via
variable-sized splatting (2008), and the caustic triangles of T. Umenhoffer, G. Patow and L. Szirmay-Kalos,
Robust multiple specular reflections and refractions (2008).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .device import counts, floats, opaque_int
from .engine import dr, mi
from .photons import LampRows, Landings

# A patch longer than this many cells is thinner than anything one looks for; its rays stay points, so
# that no light is drawn across places where none falls.
LONGEST_CELLS = 48


@dataclass(frozen=True)
class Window:
    """A rectangle of cells on one panel side.

    Attributes
    ----------
    side : int
        Panel side (row of `World.sides`).
    corner_mm : (2,) float
        Lower left, in the panel's u and v.
    cell_mm : float
    shape : (2,) int
        Cells along v and u.
    """

    side: int
    corner_mm: tuple[float, float]
    cell_mm: float
    shape: tuple[int, int]

    @property
    def cells(self) -> int:
        """Number of cells."""
        return self.shape[0] * self.shape[1]

    def centres(self):
        """Return the cell centres along u and v, mm."""
        return tuple(
            first + (np.arange(count) + 0.5) * self.cell_mm
            for first, count in zip(self.corner_mm, reversed(self.shape), strict=True)
        )


@dataclass
class Windows:
    """The fine and the coarse window of every panel side, on the device.

    Attributes
    ----------
    listed : tuple of Window
        Two a side: the fine one (empty where the side needs none), then the coarse one of the whole side.
    first : tuple of int
        First cell of each window in a flat map.
    cells : int
        Cells of all windows.
    frames : mi.Float
        Four numbers a window: corner u and v, 1/cell, zero.
    shapes : mi.UInt32
        Four numbers a window: cells along u, along v, first cell, zero.
    count : mi.UInt32
        `cells`, on the device.
    """

    listed: tuple[Window, ...]
    first: tuple[int, ...]
    cells: int
    frames: object
    shapes: object
    count: object


def list_windows(listed) -> Windows:
    """Number the cells of windows one after another."""
    listed = tuple(listed)
    first = np.concatenate([[0], np.cumsum([window.cells for window in listed])]).astype(int)
    frames = floats([[*window.corner_mm, 1 / window.cell_mm, 0] for window in listed])
    shapes = counts([[w.shape[1], w.shape[0], start, 0] for w, start in zip(listed, first, strict=False)])
    cells = int(first[-1])
    return Windows(listed, tuple(map(int, first[:-1])), cells, frames, shapes, opaque_int(cells))


def _cell_in(frame, shape, u, v):
    along_u = (u - frame.x) * frame.z
    along_v = (v - frame.y) * frame.z
    within = (along_u >= 0) & (along_v >= 0)
    column, line = mi.UInt32(dr.maximum(along_u, 0)), mi.UInt32(dr.maximum(along_v, 0))
    within &= (column < shape.x) & (line < shape.y)
    return within, shape.z + line * shape.x + column


class Laying:
    """Where light on a panel side goes: its fine window, else the coarse one."""

    def __init__(self, windows: Windows, side, active):
        self.fine_frame = dr.gather(mi.Vector4f, windows.frames, 2 * side, active)
        self.fine_shape = dr.gather(mi.Vector4u, windows.shapes, 2 * side, active)
        self.wide_frame = dr.gather(mi.Vector4f, windows.frames, 2 * side + 1, active)
        self.wide_shape = dr.gather(mi.Vector4u, windows.shapes, 2 * side + 1, active)

    def cell(self, u, v):
        """Return whether a place lies on the panel, and its cell."""
        fine, fine_cell = _cell_in(self.fine_frame, self.fine_shape, u, v)
        wide, wide_cell = _cell_in(self.wide_frame, self.wide_shape, u, v)
        return fine | wide, dr.select(fine, fine_cell, wide_cell)


def _grid_place(rows: LampRows, index):
    row = index // (rows.grid * rows.grid)
    within = index - row * rows.grid * rows.grid
    up = within // rows.grid
    return row, within - up * rows.grid, up


def _corner(landings: Landings, index, active):
    return mi.Vector2f(
        dr.gather(mi.Float, landings.u, index, active), dr.gather(mi.Float, landings.v, index, active)
    )


def _find_patches(landings: Landings, rows: LampRows, windows: Windows):
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


@dr.freeze(warn_after=1000)
@dr.syntax
def lay_down(landings: Landings, rows: LampRows, windows: Windows, target, spread):
    """Add the rays' light to a flat map.

    Parameters
    ----------
    landings : Landings
    rows : LampRows
    windows : Windows
    target : mi.Float
        (16 bands × 2 kinds × cells) flux, added to.
    spread : mi.Bool
        Opaque: footprints, or plain points where false.
    """
    patch = _find_patches(landings, rows, windows) & spread
    dr.eval(patch)

    index = rows.ray
    row, across, up = _grid_place(rows, index)
    active = landings.code != 0
    here = mi.Vector2f(landings.u, landings.v)
    laying = Laying(windows, landings.panel >> 1, active)
    plane = (dr.gather(mi.UInt32, rows.band, row) * 2 + (landings.panel & 1)) * windows.count

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
    dr.scatter_add(target, landings.flux * (1 - taken), plane + cell, active & on_panel & (taken < 1))

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
    while dr.hint(patch & (number < total), exclude=[laying, windows, target, landings, rows]):
        t_index = number // count_s
        s_index = number - t_index * count_s
        jitter, _ = mi.sample_tea_32(index, number)
        s = (mi.Float(s_index) + mi.Float(jitter & 0xFFFF) * (1 / 65536)) * share_s
        t = (mi.Float(t_index) + mi.Float(jitter >> 16) * (1 / 65536)) * share_t
        place = (here * (1 - s) + right * s) * (1 - t) + (above * (1 - s) + opposite * s) * t
        on_panel, cell = laying.cell(place.x, place.y)
        dr.scatter_add(target, share, plane + cell, on_panel)
        number += 1
    return target
