"""How far camera or glass may move before the picture shifts by more than so many pixels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from brimcast.scene.built import Camera
from brimcast.scene.frame import project

from .viewing import Pixels

# Where nothing shifts by the limit within this many mm, or deg, any move will do.
FARTHEST = 10_000.0


def list_moves(camera: Camera, pixels: Pixels, hero_mm: np.ndarray, axis_mm, tip_mm: np.ndarray) -> dict:
    """Return what each single move of camera and glass shifts.

    Parameters
    ----------
    camera : Camera
    pixels : Pixels
    hero_mm : (n, 3) float
        Places that move and turn with the glass.
    axis_mm : (2,) float
        Of the glass.
    tip_mm : (m, 3) float
        Places that move with the glass, but do not turn with it: where a round glass focuses stays.

    Returns
    -------
    dict of str to dict of str to callable
        For `camera` and `glass`: by `x_mm`, `y_mm`, `z_mm` (camera), `turn_deg`, clockwise from above, a
        function of the move that gives the largest shift of any place, pixels.
    """
    everything = np.concatenate([hero_mm, tip_mm])
    before = project(camera, everything)[:, :2]
    axes = np.eye(3)

    def shift(moved: Camera = camera, places: np.ndarray = everything) -> float:
        return float(np.hypot(*pixels.of(project(moved, places)[:, :2] - before).T).max())

    def pan(angle: float) -> Camera:
        ways = {name: turn_about(getattr(camera, name), (0, 0), angle) for name in ("forward", "right", "up")}
        return replace(camera, **ways)

    def slide(way: np.ndarray):
        return lambda move: shift(replace(camera, place_mm=camera.place_mm + move * way))

    def push(way: np.ndarray):
        return lambda move: shift(places=everything + move * way)

    def turn(angle: float) -> float:
        return shift(places=np.concatenate([turn_about(hero_mm, axis_mm, angle), tip_mm]))

    return {
        "camera": {
            **{f"{name}_mm": slide(way) for name, way in zip("xyz", axes, strict=True)},
            "turn_deg": lambda angle: shift(pan(angle)),
        },
        "glass": {"x_mm": push(axes[0]), "y_mm": push(axes[1]), "turn_deg": turn},
    }


def farthest_move(shift_of: Callable[[float], float], limit: float) -> float | None:
    """Return how far a thing may move, either way, before a shift in pixels grows beyond a limit.

    Parameters
    ----------
    shift_of : callable
        Shift by a move, which may be negative; grows with it.
    limit : float

    Returns
    -------
    float or None
        None where the limit is not reached within `FARTHEST`.
    """

    def beyond(move: float) -> bool:
        # What leaves the view (nan) has moved too far.
        return not max(shift_of(move), shift_of(-move)) <= limit

    high = 1e-6
    while not beyond(high):
        high *= 2
        if high > FARTHEST:
            return None
    low = high / 2
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (low, middle) if beyond(middle) else (middle, high)
    return low


def turn_about(places_mm: np.ndarray, axis_mm, angle_deg: float) -> np.ndarray:
    """Return places, or directions about (0, 0), turned clockwise from above about an upright axis."""
    angle = np.radians(angle_deg)
    cosine, sine = np.cos(angle), np.sin(angle)
    turned = np.array(places_mm, float)
    x, y = turned[..., 0] - axis_mm[0], turned[..., 1] - axis_mm[1]
    turned[..., 0] = axis_mm[0] + cosine * x + sine * y
    turned[..., 1] = axis_mm[1] - sine * x + cosine * y
    return turned
