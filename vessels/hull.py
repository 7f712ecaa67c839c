"""The profile of a turned body from its silhouette: the largest body that stays inside it.

A point of the silhouette's edge is a ray that touches the body. Two neighbouring ones span a plane strip;
at each height the strip is a piece of a line, and the body's circle reaches the nearest such piece. This
holds at the foot and the rim as well, where what is seen is the edge nearer to the camera.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FAR_MM = 1e5  # a camera so far away sees no perspective that could be measured
_STEP_PX = 2.0  # from foot or rim, where their radius is taken


class NoProfileError(ValueError):
    """No turned body of the height that was given has the silhouette."""


@dataclass(frozen=True, eq=False)
class Silhouette:
    """The edge of a body as a level camera sees it, straight ahead, the body's axis upright.

    Parameters
    ----------
    left, right : (n, 2) float
        Points from the top to the bottom: to the right of the axis, and above the horizon, in pixels.
    centre_px : float
        Where the picture's middle lies, pixels to the right of the axis.
    """

    left: np.ndarray
    right: np.ndarray
    centre_px: float = 0.0


def find_profile(silhouette, distance_mm, height_mm, step_mm):
    """Return the profile of the body.

    Parameters
    ----------
    silhouette : Silhouette
    distance_mm : float
        From the lens to the body's axis, mm; `FAR_MM` or more: without perspective.
    height_mm : float
        Of the body; it sets the scale.
    step_mm : float
        Between heights of the profile.

    Returns
    -------
    heights_mm : (n,) float
        From 0, the foot, to the rim.
    radii_mm : (2, n) float
        As the left and the right edge have it.
    focal_px : float
        Focal length, pixels.
    eye_mm : float
        Height of the lens above the foot, mm.

    Raises
    ------
    NoProfileError
        Height and distance do not go with the silhouette.
    """
    apart = np.ptp(np.concatenate([silhouette.left[:, 1], silhouette.right[:, 1]]))
    roughly = apart * distance_mm / height_mm

    def gap(focal_px):
        low, high = _ends(silhouette, distance_mm, focal_px)
        return high - low - height_mm

    focal_px = _root(gap, 0.5 * roughly, 2 * roughly, 1e-4 * roughly)
    low, high = _ends(silhouette, distance_mm, focal_px)
    count = int(np.ceil((high - low) / step_mm)) + 1
    levels = np.linspace(low, high, count)
    radii = np.array([_reach(rays, levels, distance_mm) for rays in _rays(silhouette, focal_px)])
    return levels - low, radii, focal_px, -low


def _root(function, low, high, within):
    """Return where a function is nought between two places."""
    from scipy.optimize import brentq

    if function(low) * function(high) > 0:
        raise NoProfileError("no body of that height at that distance has this silhouette")
    return brentq(function, low, high, xtol=within)


def _rays(silhouette, focal_px):
    """Return the directions (n, 3) of both edges: to the right, away, up; the axis straight ahead."""
    turn = np.arctan2(silhouette.centre_px, focal_px)
    cos, sin = np.cos(turn), np.sin(turn)
    both = []
    for edge in (silhouette.left, silhouette.right):
        across = (edge[:, 0] - silhouette.centre_px) / focal_px
        both.append(
            np.stack([cos * across + sin, cos - sin * across, edge[:, 1] / focal_px], axis=1)
        )  # fmt: skip
    return both


def _ends(silhouette, distance_mm, focal_px):
    """Return the heights of foot and rim over the lens, mm."""
    both = _rays(silhouette, focal_px)
    slopes = np.concatenate([rays[:, 2] / rays[:, 1] for rays in both])
    step_mm = _STEP_PX * distance_mm / focal_px

    def inside(level, sign, share):
        levels = np.array([level - sign * share * step_mm])
        return min(_reach(rays, levels, distance_mm)[0] for rays in both)

    ends = []
    for slope, sign in ((slopes.min(), -1), (slopes.max(), 1)):
        tip, middle = slope * distance_mm, (slopes.min() + slopes.max()) / 2 * distance_mm

        def beyond(level, slope=slope, sign=sign, tip=tip):
            # The plane that touches the end lets circles reach this far; the sides, a little before it:
            cone = sign * (tip - level) / max(abs(slope), 1e-9)
            return inside(level, sign, 1.0) - cone

        level = _root(beyond, middle, tip, 1e-4)
        # A rounding that goes out by some way in this step goes out by half of it in a quarter of the step.
        reached = max(2 * inside(level, sign, 0.25) - inside(level, sign, 1.0), 0.0)
        ends.append(tip - sign * abs(slope) * reached)
    return ends


def _reach(rays, levels, distance_mm, most=2_000_000):
    """Return the largest radius at each level (m,) that no strip between rays (n, 3) cuts."""
    levels = np.where(np.abs(levels) < 1e-6, 1e-6, levels)
    parts = np.array_split(levels, max(1, int(np.ceil(len(levels) * len(rays) / most))))
    return np.concatenate([_reach_part(rays, part[:, None], distance_mm) for part in parts])


def _reach_part(rays, levels, distance_mm):
    up = rays[:, 2]
    ahead = np.sign(levels) * up > 0  # the ray comes to that level in front of the camera
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.where(ahead, levels / up, 0.0)
    x, y = reach * rays[:, 0], reach * rays[:, 1] - distance_mm
    first, second = ahead[:, :-1], ahead[:, 1:]
    ax, ay, bx, by = x[:, :-1], y[:, :-1], x[:, 1:], y[:, 1:]
    # Where only one end comes to the level, the strip goes on for ever, along the level ray in it.
    share = up[:-1] / np.where(up[:-1] == up[1:], 1.0, up[:-1] - up[1:])
    along = rays[:-1, :2] + share[:, None] * (rays[1:, :2] - rays[:-1, :2])
    wx = np.where(first & second, bx - ax, along[:, 0])
    wy = np.where(first & second, by - ay, along[:, 1])
    ox, oy = np.where(first, ax, bx), np.where(first, ay, by)
    length = wx * wx + wy * wy
    place = -(ox * wx + oy * wy) / np.where(length > 0, length, 1.0)
    place = np.clip(place, 0.0, np.where(first & second, 1.0, np.inf))
    square = (ox + place * wx) ** 2 + (oy + place * wy) ** 2
    return np.sqrt(np.where(first | second, square, np.inf).min(axis=1))
