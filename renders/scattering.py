"""Light in cloudy media: how far it goes before it is scattered, and which way then.

The phase function is that of L. G. Henyey and J. L. Greenstein, Diffuse radiation in the galaxy, Astrophys.
J. 93, 70 (1941).
"""

from __future__ import annotations

from .engine import dr, mi

# Nearer to even than this, all directions are alike.
_EVEN = 1e-3


def free_path(scattering: mi.Float, chance: mi.Float) -> mi.Float:
    """Return a way, mm, that light goes before it is scattered; infinite where nothing scatters."""
    way = -dr.log(1 - chance) / dr.maximum(scattering, 1e-30)
    return dr.select(scattering > 0, way, dr.inf)


def phase(cosine: mi.Float, anisotropy: mi.Float) -> mi.Float:
    """Return the share of the light scattered into a direction, 1/sr."""
    squared = 1 + anisotropy * anisotropy - 2 * anisotropy * cosine
    return dr.inv_four_pi * (1 - anisotropy * anisotropy) / (squared * dr.sqrt(squared))


def turn(direction: mi.Vector3f, anisotropy: mi.Float, first: mi.Float, second: mi.Float) -> mi.Vector3f:
    """Return a direction into which light is scattered; two numbers in [0, 1) draw it."""
    even = dr.abs(anisotropy) < _EVEN
    safe = dr.select(even, 1, anisotropy)
    part = (1 - safe * safe) / (1 - safe + 2 * safe * first)
    cosine = dr.select(even, 1 - 2 * first, (1 + safe * safe - part * part) / (2 * safe))
    sine = dr.sqrt(dr.maximum(1 - cosine * cosine, 0))
    sin, cos = dr.sincos(2 * dr.pi * second)
    return dr.normalize(mi.Frame3f(direction).to_world(mi.Vector3f(sine * cos, sine * sin, cosine)))


def tire(scattering: mi.Float, anisotropy: mi.Float, tired: mi.Bool):
    """Return scattering and anisotropy of light that has forgotten where it came from.

    Scattering by s with anisotropy g then does what s (1 - g) without any does (similarity relation, H. C.
    van de Hulst, Multiple Light Scattering, 1980), in fewer steps.
    """
    return dr.select(tired, scattering * (1 - anisotropy), scattering), dr.select(tired, 0, anisotropy)
