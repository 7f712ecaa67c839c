"""Windows of cells on panel sides: where light is counted, finely round the caustics, coarsely elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .device import counts, floats, opaque_int
from .engine import dr, mi


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
    widths : (k, 2) float or None
        See `built.Sheet`; the side is flat without.
    """

    side: int
    corner_mm: tuple[float, float]
    cell_mm: float
    shape: tuple[int, int]
    widths: np.ndarray | None = None

    @property
    def areas_mm2(self) -> np.ndarray:
        """(cells,) area of each cell."""
        width = np.ones(self.shape[0])
        if self.widths is not None:
            width = np.interp(self.centres()[1], *self.widths.T)
        return np.repeat(width * self.cell_mm**2, self.shape[1])

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
class WindowTable:
    """Windows as kernels look them up.

    Attributes
    ----------
    frames : mi.Float
        Four numbers a window: corner u and v, 1/cell, zero.
    shapes : mi.UInt32
        Four numbers a window: cells along u, along v, first cell, zero.
    count, fine : mi.UInt32
        Cells of all windows, and of the first, which is the table's fine one.
    """

    frames: object
    shapes: object
    count: object
    fine: object


@dataclass(frozen=True, eq=False)
class Windows:
    """The fine and the coarse window of every panel side.

    Attributes
    ----------
    listed : tuple of Window
        Two a side: the fine one (empty where the side needs none), then the coarse one of the whole side.
    cells : int
        Cells of all windows, one window after another.
    table : WindowTable
    """

    listed: tuple[Window, ...]
    cells: int
    table: WindowTable

    @property
    def fine(self) -> Window:
        """The table's fine window."""
        return self.listed[0]

    @property
    def areas_mm2(self) -> np.ndarray:
        """(cells,) area of each cell."""
        return np.concatenate([window.areas_mm2 for window in self.listed])

    def blur(self, maps: np.ndarray) -> np.ndarray:
        """Return (..., cells) light in the coarse windows alone, (..., cells less the fine ones).

        What lies in the table's fine window is added to the coarse cells below it.
        """
        fine, wide = self.listed[:2]
        found = maps[..., fine.cells :].copy()
        if fine.cells:
            lines, columns = (
                np.minimum(((centres - corner) / wide.cell_mm).astype(int), count - 1)
                for centres, corner, count in zip(
                    reversed(fine.centres()), reversed(wide.corner_mm), wide.shape, strict=True
                )
            )
            into = (lines[:, None] * wide.shape[1] + columns).ravel()
            share = (fine.cell_mm / wide.cell_mm) ** 2
            for one, light in zip(
                found.reshape(-1, found.shape[-1]), maps.reshape(-1, maps.shape[-1]), strict=True
            ):
                one[: wide.cells] += share * np.bincount(into, light[: fine.cells], wide.cells)
        return found


def list_windows(listed) -> Windows:
    """Number the cells of windows one after another."""
    listed = tuple(listed)
    first = np.concatenate([[0], np.cumsum([window.cells for window in listed])]).astype(int)
    table = WindowTable(
        floats([[*window.corner_mm, 1 / window.cell_mm, 0] for window in listed]),
        counts([[w.shape[1], w.shape[0], start, 0] for w, start in zip(listed, first, strict=False)]),
        opaque_int(first[-1]),
        opaque_int(listed[0].cells),
    )
    return Windows(listed, int(first[-1]), table)


def _cell_in(frame, shape, u, v):
    along_u = (u - frame.x) * frame.z
    along_v = (v - frame.y) * frame.z
    within = (along_u >= 0) & (along_v >= 0)
    column, line = mi.UInt32(dr.maximum(along_u, 0)), mi.UInt32(dr.maximum(along_v, 0))
    within &= (column < shape.x) & (line < shape.y)
    return within, shape.z + line * shape.x + column


class Laying:
    """Where light on a panel side goes: its fine window, else the coarse one."""

    def __init__(self, windows: WindowTable, side, active):
        self.fine_frame = dr.gather(mi.Vector4f, windows.frames, 2 * side, active)
        self.fine_shape = dr.gather(mi.Vector4u, windows.shapes, 2 * side, active)
        self.wide_frame = dr.gather(mi.Vector4f, windows.frames, 2 * side + 1, active)
        self.wide_shape = dr.gather(mi.Vector4u, windows.shapes, 2 * side + 1, active)

    def cell(self, u, v):
        """Return whether a place lies on the panel, and its cell."""
        fine, fine_cell = _cell_in(self.fine_frame, self.fine_shape, u, v)
        wide, wide_cell = _cell_in(self.wide_frame, self.wide_shape, u, v)
        return fine | wide, dr.select(fine, fine_cell, wide_cell)
