"""How lamps' fronts glow, as tables that every kernel reads alike; see `brimcast.scene.glow`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.glow import Glow, Sheet
from brimcast.scene.lamps import Lamp

from .device import counts, floats
from .engine import dr, mi

# Least numbers in the tables. Frozen kernels are recorded anew when two arrays come to be of the same length,
# and few others have these.
_SHAPES, _FRAMES, _SHARES = 4 * 61, 4 * 67, 1021


@dataclass
class GlowTable:
    """The lamps' glow.

    Attributes
    ----------
    shapes : mi.UInt32
        Twelve numbers a lamp: planes, steps and first number of its angles; columns, lines and first
        number of the sheet on its front; the same of its mask; each with a zero. No planes or columns: no
        such share.
    frames : mi.Float
        Eight numbers a lamp: half width, half height, depth and circle's radius squared of both sheets, mm.
    shares : mi.Float
        All shares one after another.
    """

    shapes: object
    frames: object
    shares: object


def list_glows(lamps: tuple[Lamp, ...]) -> GlowTable:
    """Return the glow of lamps on the device."""
    shapes, frames, shares = [], [], [np.zeros(_SHARES)]
    taken = _SHARES

    def keep(table: np.ndarray | None) -> list[int]:
        nonlocal taken
        if table is None:
            return [0, 0, 0, 0]
        shares.append(table.ravel())
        taken += table.size
        return [*table.shape[::-1], taken - table.size, 0]

    for lamp in lamps:
        glow = lamp.glow or Glow()
        steps, planes, first, _ = keep(glow.angles)
        shapes.append([planes, steps, first, 0])
        for sheet in (glow.front, glow.mask):
            shapes.append(keep(sheet.shares if sheet else None))
            frames.append(_frame(sheet))
    return GlowTable(
        counts(_padded(shapes, _SHAPES)), floats(_padded(frames, _FRAMES)), floats(np.concatenate(shares))
    )


def _padded(rows: list, least: int) -> np.ndarray:
    flat = np.ravel(rows)
    return np.pad(flat, (0, max(0, least - len(flat))))


def _frame(sheet: Sheet | None) -> list[float]:
    return [*sheet.half_mm, sheet.depth_mm, sheet.radius_mm**2] if sheet else [1.0, 1.0, 0.0, 0.0]


@dr.syntax
def shine(table: GlowTable, lamp, off, right, up, facing, way, active):
    """Relative radiance of a lamp's front at a place and in a direction; 1 where not active.

    Parameters
    ----------
    lamp : mi.UInt32
    off : mi.Vector3f
        Place from the front's centre, mm.
    right, up, facing : mi.Vector3f
        The front's axes.
    way : mi.Vector3f
        Unit vector in which the light leaves.
    """
    share = mi.Float(1)
    # Once through, and past it where no lane wants it.
    todo = mi.Bool(active)
    while dr.hint(todo, exclude=[table, lamp, off, right, up, facing, way]):
        # As seen from behind the lamp, right is left.
        x, y = -dr.dot(off, right), dr.dot(off, up)
        across, upward, along = -dr.dot(way, right), dr.dot(way, up), dr.dot(way, facing)
        share = _by_angle(table, lamp, across, upward, along, todo)
        share *= _by_place(table, lamp, 0, x, y, across, upward, along, todo)
        share *= _by_place(table, lamp, 1, x, y, across, upward, along, todo)
        todo = mi.Bool(False)
    return share


def _by_angle(table: GlowTable, lamp, across, upward, along, active):
    shape = dr.gather(mi.Vector4u, table.shapes, 3 * lamp, active)
    planes, steps, first = shape.x, shape.y, shape.z
    shaped = active & (planes > 0)
    last = mi.Float(steps) - 1
    angle = dr.atan2(dr.sqrt(across * across + upward * upward), along) * (2 * dr.inv_pi) * last
    angle = dr.clip(angle, 0, last)
    step = dr.minimum(mi.UInt32(angle), steps - 2)
    turn = dr.atan2(upward, across) * (0.5 * dr.inv_pi)
    turn = (turn - dr.floor(turn)) * mi.Float(planes)
    plane = dr.minimum(mi.UInt32(turn), planes - 1)
    angle, turn = angle - mi.Float(step), turn - mi.Float(plane)
    after = dr.select(plane + 1 < planes, plane + 1, 0)
    here, there = first + plane * steps + step, first + after * steps + step
    near = _between(table.shares, here, here + 1, angle, shaped)
    far = _between(table.shares, there, there + 1, angle, shaped)
    return dr.select(shaped, near + (far - near) * turn, 1)


def _by_place(table: GlowTable, lamp, number, x, y, across, upward, along, active):
    shape = dr.gather(mi.Vector4u, table.shapes, 3 * lamp + (number + 1), active)
    frame = dr.gather(mi.Vector4f, table.frames, 2 * lamp + number, active)
    columns, lines, first = shape.x, shape.y, shape.z
    shaped = active & (columns > 0)
    reach = frame.z / dr.maximum(along, 1e-6)
    x, y = x + across * reach, y + upward * reach
    u, v = x / frame.x, y / frame.y
    inside = (dr.abs(u) < 1) & (dr.abs(v) < 1) & ((frame.w == 0) | (x * x + y * y < frame.w))
    read = shaped & inside
    u = dr.clip((0.5 * u + 0.5) * mi.Float(columns) - 0.5, 0, mi.Float(columns) - 1)
    v = dr.clip((0.5 * v + 0.5) * mi.Float(lines) - 0.5, 0, mi.Float(lines) - 1)
    column, line = mi.UInt32(u), mi.UInt32(v)
    right, above = dr.minimum(column + 1, columns - 1), dr.minimum(line + 1, lines - 1)
    u, v = u - mi.Float(column), v - mi.Float(line)
    low, high = first + line * columns, first + above * columns
    low = _between(table.shares, low + column, low + right, u, read)
    high = _between(table.shares, high + column, high + right, u, read)
    return dr.select(shaped, dr.select(inside, low + (high - low) * v, 0), 1)


def _between(shares, first, second, share, active):
    near = dr.gather(mi.Float, shares, first, active)
    return near + (dr.gather(mi.Float, shares, second, active) - near) * share
