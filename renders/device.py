"""Numbers on the device, in forms that neither compile nor record anything anew when they change."""

from __future__ import annotations

import numpy as np

from .engine import dr, mi

_ROUNDS = 8
# Bytes.
WIDEST_VECTOR = 64


def backend() -> str:
    """Return what traces: 'llvm', 'cuda' or 'metal'."""
    return mi.variant().partition("_")[0]


def add_to(target, value, index, active):
    """Add values to a target whose size changes from set to set.

    Left to itself, Dr.Jit makes copies of small targets, and compiles their size into the kernel.
    """
    dr.scatter_add(target, value, index, active, mode=dr.ReduceMode.Direct)


def draw(seed, step):
    """Return a number in [0, 1): the same for a seed and a step (tiny encryption algorithm)."""
    return draw_pair(seed, step)[0]


def draw_pair(seed, step):
    """Return two numbers as `draw` does.

    Eight rounds: F. Zafar, M. Olano, A. Curtis, GPU random numbers via the tiny encryption algorithm, High
    Performance Graphics (2010). After four, draws of steps that follow one another hang together, and walks
    through a cloud come out a tenth too long.
    """
    numbers = mi.sample_tea_32(seed, step, _ROUNDS)
    return tuple(mi.Float(number >> 8) * 2.0**-24 for number in numbers)


def floats(values):
    """Single-precision array in the device's own memory."""
    return _owned(mi.Float, values, np.float32)


def counts(values):
    """Unsigned array in the device's own memory."""
    return _owned(mi.UInt32, values, np.uint32)


def _owned(kind, values, dtype):
    """Copy numbers out of NumPy's memory, where an array may begin anywhere.

    Frozen functions would be recorded again, and the copy itself compiled in another form, whenever an array
    begins at a multiple of the width of a vector of numbers, or no longer does.
    """
    values = np.asarray(values, dtype)
    room = np.empty(values.nbytes + WIDEST_VECTOR, np.uint8)
    first = -room.ctypes.data % WIDEST_VECTOR
    aligned = room[first : first + values.nbytes].view(dtype)
    aligned[:] = values.ravel()
    copy = kind(aligned) + dr.opaque(kind, 0)
    dr.eval(copy)
    return copy


def opaque_int(value: int):
    """A number that a kernel reads from memory, so that changing it never compiles."""
    return dr.opaque(mi.UInt32, int(value))


def opaque_float(value: float):
    """A number that a kernel reads from memory, so that changing it never compiles."""
    return dr.opaque(mi.Float, float(value))


def opaque_point(values):
    """A point that a kernel reads from memory."""
    return mi.Point3f(*map(opaque_float, values))


def opaque_vector(values):
    """A vector that a kernel reads from memory."""
    return mi.Vector3f(*map(opaque_float, values))
