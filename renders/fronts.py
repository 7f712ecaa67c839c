"""A lamp's front as a square from -1 to 1, on which lamp points beside a point are found."""

from __future__ import annotations

import numpy as np

from brimcast.scene.lamps import Lamp

from .device import floats, opaque_vector
from .engine import dr, mi

_ROUND = ("disc", "bulb")
_FLAT = ("panel", "tube")


def describe_front(lamp: Lamp) -> mi.Vector3f:
    """Return half its width and height, mm, and 1 if it is round; zeros where points do not lie evenly."""
    known = is_even(lamp)
    return opaque_vector([*(np.array(lamp.size_mm) / 2), lamp.kind in _ROUND] if known else np.zeros(3))


def is_even(lamp: Lamp) -> bool:
    """Whether points that lie evenly on the square do so on the front."""
    return lamp.kind in (*_ROUND, *_FLAT) and not lamp.dense_mm


def lay_on_square(lamp: Lamp, place_mm: np.ndarray) -> mi.Point2f:
    """Return where points (n, 3) of the front lie on the square; of a bulb or tube, as it is seen."""
    off = place_mm - lamp.centre_mm
    sides = zip((lamp.right, lamp.up), lamp.size_mm, strict=True)
    square = mi.Point2f(*(floats(2 * (off @ side) / size) for side, size in sides))
    if lamp.kind in _ROUND:
        square = 2 * mi.warp.uniform_disk_to_square_concentric(square) - 1
    dr.eval(square)
    return square


def find_on_front(square: mi.Point2f, front: mi.Vector3f) -> mi.Point2f:
    """Return how far right and up a place on the square lies on the front, mm."""
    disc = mi.warp.square_to_uniform_disk_concentric((square + 1) / 2)
    return dr.select(front.z > 0, disc, square) * mi.Vector2f(front.x, front.y)


def fold(square: mi.Point2f) -> mi.Point2f:
    """Return places up to a width past the square's edges, mirrored into it: so they lie evenly again."""
    return dr.select(dr.abs(square) > 1, dr.sign(square) * 2 - square, square)
