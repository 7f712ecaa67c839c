"""A lamp's front as a square from -1 to 1, on which lamp points beside a point are found."""

from __future__ import annotations

import numpy as np

from brimcast.scene.lamps import Lamp

from .device import opaque_vector
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


def lay_on_square(lamp: Lamp, place_mm: np.ndarray) -> np.ndarray:
    """(n, 2) where points (n, 3) of the front lie on the square; evenly, if they do so on the front.

    A disc after P. Shirley, K. Chiu, A low distortion map between disk and square, Journal of Graphics Tools
    2 (1997). A bulb or tube counts as what one sees of it.
    """
    off = place_mm - lamp.centre_mm
    x, y = (2 * (off @ side) / size for side, size in zip((lamp.right, lamp.up), lamp.size_mm, strict=True))
    if lamp.kind not in _ROUND:
        return np.stack([x, y], axis=1)
    angle = np.arctan2(y, x)
    quarter = np.round(angle / (np.pi / 2))
    radius = np.hypot(x, y)
    beside = (angle - quarter * np.pi / 2) / (np.pi / 4) * radius
    turned = quarter.astype(int) % 4
    sides = [radius, -beside, -radius, beside], [beside, radius, -beside, -radius]
    return np.stack([np.choose(turned, side) for side in sides], axis=1)


def place_on_front(lamp: Lamp, square: np.ndarray) -> np.ndarray:
    """(n, 3) where places (n, 2) on the square lie on the front, mm: the way back."""
    x, y = square.T
    if lamp.kind in _ROUND:
        wide = np.abs(x) > np.abs(y)
        radius, beside = np.where(wide, [x, y], [y, x])
        angle = np.pi / 4 * beside / np.where(radius == 0, 1, radius)
        first, second = radius * np.cos(angle), radius * np.sin(angle)
        x, y = np.where(wide, [first, second], [second, first])
    right, up = (
        np.multiply.outer(side, axis) for side, axis in zip((x, y), (lamp.right, lamp.up), strict=True)
    )
    return lamp.centre_mm + lamp.size_mm[0] / 2 * right + lamp.size_mm[1] / 2 * up


def mirror(square: np.ndarray) -> np.ndarray:
    """As `fold`."""
    return np.where(np.abs(square) > 1, np.sign(square) * 2 - square, square)


def find_on_front(square: mi.Point2f, front: mi.Vector3f) -> mi.Vector2f:
    """Return how far right and up a place on the square lies on the front, mm."""
    wide = dr.abs(square.x) > dr.abs(square.y)
    radius, beside = dr.select(wide, square.x, square.y), dr.select(wide, square.y, square.x)
    sine, cosine = dr.sincos(dr.pi / 4 * beside / dr.select(radius == 0, 1, radius))
    disc = radius * dr.select(wide, mi.Vector2f(cosine, sine), mi.Vector2f(sine, cosine))
    return dr.select(front.z > 0, disc, mi.Vector2f(square)) * mi.Vector2f(front.x, front.y)


def fold(square: mi.Point2f) -> mi.Point2f:
    """Return places up to a width past the square's edges, mirrored into it: so they lie evenly again."""
    return dr.select(dr.abs(square) > 1, dr.sign(square) * 2 - square, square)
