"""Matte surfaces as the camera's paths meet them: what they send back, and where a path goes on."""

from __future__ import annotations

from dataclasses import dataclass

from .device import add_to, draw
from .engine import dr, mi
from .eye import fraction
from .lights import Lights, lamp_factor, look_up, look_up_blurred

MAX_BOUNCES = 6
# From this bounce on, half of the paths end and the others count double.
ROULETTE_BOUNCE = 2


@dataclass
class Start:
    """A sample as it sets out.

    Attributes
    ----------
    ray : mi.Ray3f
    pixel, whole : mi.UInt32
        Where it counts, and how many such places the picture has.
    row, band : mi.UInt32
        Its wavelength.
    bounces : mi.UInt32
        One where lamps that it meets do not count.
    seed : mi.UInt32
    first_choice, first_point, first_way : mi.Float, mi.Float, mi.Point2f
        Stratified numbers for the first interface, the first lamp points and the first bounce.
    """

    ray: object
    pixel: object
    whole: object
    row: object
    band: object
    bounces: object
    seed: object
    first_choice: object
    first_point: object
    first_way: object


@dataclass
class Look:
    """A sample on its way, beside its walk.

    Attributes
    ----------
    weight : mi.Float
        Share of the radiance met that arrives.
    bounces, step, scatters : mi.UInt32
        Matte surfaces met, faces of all kinds, and how often it was scattered in a cloudy medium, which
        counts as one bounce.
    """

    weight: object
    bounces: object
    step: object
    scatters: object


@dataclass
class Ground:
    """A place on a matte surface.

    Attributes
    ----------
    panel : mi.UInt32
    u, v : mi.Float
    origin, outward : mi.Point3f, mi.Normal3f
        Start of rays that leave it, and its normal.
    albedo, passed : mi.Float
        Reflectance, and diffuse transmittance.
    translucent : mi.Bool
    index : mi.Float
        Of the medium before it: radiance there is that in air times the square.
    """

    panel: object
    u: object
    v: object
    origin: object
    outward: object
    albedo: object
    passed: object
    translucent: object
    index: object


@dr.syntax
def look_up_as(lights: Lights, plane, side, u, v, sharp, active):
    """Light of a panel side's map: sharp for what is looked at, blurred for what lights it."""
    found = mi.Float(0)
    if active & sharp:
        found = look_up(lights, plane, side, u, v, active & sharp)
    if active & ~sharp:
        found = look_up_blurred(lights, plane, side, u, v, active & ~sharp)
    return found


@dr.syntax
def shade(
    geometry, lights: Lights, start: Start, look: Look, ground: Ground, shown, plain, index, direct, img
):
    """Light a matte surface by all lamps and the maps; what is met plainly is noted for `resolve` instead."""
    each = mi.UInt32(0)
    while dr.hint(each < lights.count, exclude=[geometry, lights, start, ground, img, direct]):
        orderly = fraction(start.first_point + 0.618034 * mi.Float(each))
        chance = dr.select(look.bounces == 0, orderly, draw(start.seed, look.step * 64 + 32 + each))
        point = dr.minimum(mi.UInt32(chance * mi.Float(lights.point_count)), lights.point_count - 1)
        both = ground.translucent
        factor = lamp_factor(geometry, lights, each, point, ground.origin, ground.outward, both, shown)
        dr.scatter(direct, factor, index * lights.count + each, plain)
        later = shown & ~plain
        weight = dr.gather(mi.Vector2f, lights.weights, each * lights.rows + start.row, later)
        plane = each * 16 + start.band
        sharp, other = look.bounces == 0, ground.panel ^ 1
        stored = look_up_as(lights, plane, ground.panel, ground.u, ground.v, sharp, later)
        behind = look_up_as(lights, plane, other, ground.u, ground.v, sharp, later & (ground.passed > 0))
        squared = ground.index * ground.index
        light = ground.albedo * (dr.maximum(factor, 0) * weight.y + weight.x * stored / squared)
        light += ground.passed * (dr.maximum(-factor, 0) * weight.y + weight.x * behind / squared)
        add_to(img, look.weight * dr.inv_pi * light, plane * start.whole + start.pixel, later)
        each += 1


def bounce(start: Start, look: Look, ground: Ground, shown, known):
    """One more bounce from a matte surface, or through a translucent one, for the share that is not known.

    Returns
    -------
    crossed : mi.Bool
        It goes on behind the surface.
    way : mi.Vector3f
    stop : mi.Bool
        The path ends.
    look : Look
    """
    free = mi.Point2f(draw(start.seed, look.step * 64), draw(start.seed, look.step * 64 + 1))
    spin = dr.select(look.bounces == 0, start.first_way, free)
    both = ground.albedo + ground.passed
    crossed = shown & (draw(start.seed, look.step * 64 + 5) * both < ground.passed)
    side = dr.select(crossed, -ground.outward, ground.outward)
    way = mi.Frame3f(side).to_world(mi.warp.square_to_cosine_hemisphere(spin))
    bounces = look.bounces + dr.select(shown, 1, 0)
    late = shown & (bounces >= ROULETTE_BOUNCE)
    stop = (known == 1) | (late & (draw(start.seed, look.step * 64 + 2) < 0.5)) | (bounces >= MAX_BOUNCES)
    weight = look.weight * dr.select(shown, (1 - known) * both * dr.select(late, 2, 1), 1)
    return crossed, way, stop, Look(weight, bounces, look.step, look.scatters)
