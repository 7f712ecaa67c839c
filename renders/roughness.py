"""Rough interfaces: which way the tiny slope faces that light meets, and how much of it gets away.

The slopes follow the GGX distribution: B. Walter, S. Marschner, H. Li, K. Torrance, Microfacet models for
refraction through rough surfaces, EGSR 2007. Those that light can meet are drawn as by J. Dupuy and
A. Benyoub, Sampling visible GGX normals with spherical caps, HPG 2023: then what is left to weigh is the
share of the light that other slopes do not catch on its way off (Smith's masking), 1 at most. What they
catch is lost: light thrown on by a second slope is not followed.
"""

from __future__ import annotations

from .engine import dr, mi

# A normal nearer to the z axis than this takes its tangents from another axis.
_UPRIGHT = 0.999


def roughen(direction: mi.Vector3f, normal: mi.Normal3f, roughness: mi.Float, first, second) -> mi.Normal3f:
    """Return the normal of a slope that light meets on a rough surface.

    The same two numbers give neighbouring rays neighbouring slopes, also round a glass: tangents are level
    and upright, not picked by rules that jump.

    Parameters
    ----------
    direction : mi.Vector3f
        Of the light, toward the surface.
    normal : mi.Normal3f
        The surface's own, on either side.
    roughness : mi.Float
        GGX width of the slopes; 0 gives back the normal.
    first, second : mi.Float
        In [0, 1).

    Returns
    -------
    mi.Normal3f
        On the side of `normal`.
    """
    facing = dr.select(dr.dot(direction, normal) > 0, -1, 1)
    toward = normal * facing
    across, upward = _tangents(toward)
    seen = -direction
    # Slopes as those of a surface of roughness 1, seen from a direction stretched the same way.
    view = dr.normalize(
        mi.Vector3f(
            roughness * dr.dot(seen, across),
            roughness * dr.dot(seen, upward),
            dr.maximum(dr.dot(seen, toward), 1e-6),
        )
    )
    turn = 2 * dr.pi * first
    height = (1 - second) * (1 + view.z) - view.z
    out = dr.sqrt(dr.maximum(1 - height * height, 0))
    cap = mi.Vector3f(out * dr.cos(turn), out * dr.sin(turn), height) + view
    slope = dr.normalize(mi.Vector3f(roughness * cap.x, roughness * cap.y, dr.maximum(cap.z, 1e-6)))
    met = dr.normalize(slope.x * across + slope.y * upward + slope.z * toward)
    return mi.Normal3f(dr.select(roughness > 0, met * facing, normal))


def get_away(direction: mi.Vector3f, normal: mi.Normal3f, roughness: mi.Float) -> mi.Float:
    """Return the share of light, leaving a slope, that the surface's other slopes do not catch.

    It is the same for light thrown back and for light let through (Walter et al. 2007, equation 34).

    Parameters
    ----------
    direction : mi.Vector3f
        Of the light, off the surface.
    normal : mi.Normal3f
        The surface's own, on the side that the light belongs to.
    roughness : mi.Float

    Returns
    -------
    mi.Float
        0 where the direction points into the surface, 1 on a polished one.
    """
    cosine = dr.dot(direction, normal)
    squared = dr.maximum(cosine * cosine, 1e-12)
    slant = roughness * roughness * (1 - squared) / squared
    share = 2 / (1 + dr.sqrt(1 + dr.maximum(slant, 0)))
    return dr.select(roughness > 0, dr.select(cosine > 0, share, 0), 1)


def _tangents(normal):
    """Return a level and an upright unit vector square to a normal."""
    flat = dr.abs(normal.z) > _UPRIGHT
    axis = dr.select(flat, mi.Vector3f(1, 0, 0), mi.Vector3f(0, 0, 1))
    across = dr.normalize(dr.cross(axis, normal))
    return across, dr.cross(normal, across)
