"""Bare tubes, straight or bent into a ring, as bright skins: points on the part that a set can see.

From any place, a straight tube looks like a flat strip that
stands across the sight line inside the tube, and a ring like many such strips one after another.
"""

from __future__ import annotations

import numpy as np


def spread_on_tube(
    centre_mm: np.ndarray, along: np.ndarray, size_mm, uv: np.ndarray, toward_mm, reach_mm: float
):
    """Map the unit square onto the skin of a straight tube that a ball can see.

    Parameters
    ----------
    centre_mm, along : (3,) float
        Its middle, and the unit vector of its axis.
    size_mm : (2,) float
        Length and diameter.
    uv : (n, 2) float
    toward_mm : (3,) float
    reach_mm : float
        Centre and radius of the ball.

    Returns
    -------
    place_mm, normal : (n, 3) float
    area_mm2 : (n,) float
    """
    length, diameter = size_mm
    place = centre_mm + np.outer((uv[:, 0] - 0.5) * length, along)
    normal, density = _turn_toward(place, along, np.asarray(toward_mm, float), reach_mm, uv[:, 1])
    return place + diameter / 2 * normal, normal, length * diameter / 2 / density


def spread_on_ring(centre_mm: np.ndarray, axes, size_mm, uv: np.ndarray, toward_mm, reach_mm: float):
    """Map the unit square onto the skin of a ring tube that a ball can see; it hides no part of itself.

    Parameters
    ----------
    axes : pair of (3,) float
        Unit vectors in the ring's plane.
    size_mm : (2,) float
        Diameter of the tube's middle line, and of the tube.

    See `spread_on_tube` for the others.
    """
    across, thickness = size_mm
    turn = 2 * np.pi * uv[:, :1]
    out = np.cos(turn) * axes[0] + np.sin(turn) * axes[1]
    along = -np.sin(turn) * axes[0] + np.cos(turn) * axes[1]
    place = centre_mm + across / 2 * out
    normal, density = _turn_toward(place, along, np.asarray(toward_mm, float), reach_mm, uv[:, 1])
    # The skin is longer on the ring's outside.
    round_mm = 2 * np.pi * (across / 2 + thickness / 2 * np.einsum("ij,ij->i", normal, out))
    return place + thickness / 2 * normal, normal, round_mm * thickness / 2 / density


def _turn_toward(place, along, toward, reach_mm: float, u: np.ndarray):
    """Normals round a tube's axis, dense where the ball sees the skin face on; their density per radian."""
    way = toward - place
    way = way - np.sum(way * along, axis=-1, keepdims=True) * along
    distance = np.linalg.norm(way, axis=1, keepdims=True)
    ahead = way / np.maximum(distance, 1e-9)
    aside = np.cross(np.broadcast_to(along, ahead.shape), ahead)
    # Skin turned away by up to 90° plus the half-angle of the ball can still be seen.
    slack = np.minimum(1.0, reach_mm / np.maximum(distance[:, 0], 1e-9))
    most = np.pi / 2 + np.arcsin(slack)
    whole = 2 * (np.sin(most) + slack * most)
    # The share of the light up to an angle has no inverse in closed form: Newton's steps, safe as it rises.
    angle = (2 * u - 1) * most * 0.8
    for _ in range(30):
        share = np.sin(angle) + slack * angle + whole / 2 - u * whole
        angle = np.clip(angle - share / np.maximum(np.cos(angle) + slack, 0.005), -most, most)
    density = np.maximum(np.cos(angle) + slack, 1e-6) / whole
    return np.cos(angle)[:, None] * ahead + np.sin(angle)[:, None] * aside, density
