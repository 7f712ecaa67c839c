"""Bare tubes, straight or bent into a ring, as kernels see them: met by a ray, and seen from a place."""

from __future__ import annotations

from .engine import dr, mi

# Steps toward a ring tube, and how near its skin they end as a share of its thickness.
_RING_STEPS = 96
_RING_NEAR = 1e-3


def meet_tube(way, d, axis, half, square):
    """Whether a ray from the origin meets the skin of a straight tube at `way`, and where."""
    level, lean = dr.dot(way, axis), dr.dot(d, axis)
    aside, flat = way - level * axis, d - lean * axis
    steep = dr.maximum(dr.squared_norm(flat), 1e-12)
    middle = dr.dot(aside, flat) / steep
    room = square - dr.squared_norm(aside - middle * flat)
    near = middle - dr.safe_sqrt(room / steep)
    return (room > 0) & (dr.abs(near * lean - level) < half), near


@dr.syntax
def meet_ring(way, d, axis, radius, half, active):
    """Whether a ray from the origin meets the skin of a ring tube at `way`, and where.

    Each step is as long as the skin is far, so that none goes through it.
    """
    along = dr.dot(way, d)
    outer = radius + half
    room = outer * outer - dr.squared_norm(way - along * d)
    chord = dr.safe_sqrt(room)
    near = dr.maximum(along - chord, 0)
    touched = mi.Bool(False)
    going = active & (room > 0) & (along + chord > 0)
    step = mi.UInt32(0)
    while dr.hint(going, exclude=[way, d, axis]):
        off = near * d - way
        height = dr.dot(off, axis)
        across = dr.safe_sqrt(dr.squared_norm(off) - height * height) - radius
        gap = dr.sqrt(across * across + height * height) - half
        touched |= going & (gap < _RING_NEAR * half)
        near += dr.select(going & ~touched, gap, 0)
        step += 1
        going &= ~touched & (near < along + chord) & (step < _RING_STEPS)
    return touched, near


def tube_strip(centre, axes, ring, half, square, start, place):
    """A point of a tube as seen from a place: way to it, outward normal, and the area that all points share.

    The skin in sight looks like a flat strip inside the tube, across the sight line, whose points are then
    moved onto the skin; on a ring the strip follows its round, and is longer outside than inside.

    Parameters
    ----------
    centre : mi.Point3f
    axes : pair of mi.Vector3f
        The tube's axis and the one across; of a ring, both lie in its plane.
    ring : mi.Bool
    half, square : mi.Float
        Half the tube's length, or the ring's radius; square of the tube's own radius, mm².
    start : mi.Vector4f
        Place along the tube and across, from -1 to 1.
    place : mi.Point3f
        From where it is seen.
    """
    level, upright = axes
    turn = dr.pi * start.x
    sine, cosine = dr.sincos(turn)
    out = cosine * level + sine * upright
    along = dr.select(ring, cosine * upright - sine * level, level)
    sight = centre + dr.select(ring, half * out, mi.Vector3f(0)) - place
    aside = sight - dr.dot(sight, along) * along
    far2 = dr.maximum(dr.squared_norm(aside), 1e-12)
    shrunk = dr.maximum(1 - square / far2, 0)
    width = dr.sqrt(square * shrunk)
    back = aside * dr.rsqrt(far2)
    strip = aside * shrunk + start.y * width * dr.cross(along, back)
    # From the strip along the sight line to the skin, whose ends lie nearer.
    strip2 = dr.squared_norm(strip)
    middle = dr.dot(strip, aside) / strip2
    nearer = middle - dr.safe_sqrt((square - dr.squared_norm(aside - middle * strip)) / strip2)
    off = nearer * strip - aside
    length = dr.select(ring, 2 * dr.pi * (half + dr.dot(off, out)), 2 * half)
    step = dr.select(ring, mi.Vector3f(0), start.x * half * along)
    return sight + step + off, -back, 2 * width * length * nearer
