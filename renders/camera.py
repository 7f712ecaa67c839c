"""The camera pass's kernels: from a pixel through glass and drink to a lamp or a matte surface.

A matte surface shines by the direct light of every lamp (shadow rays stop at glass), by the light pass's
maps, and by one more bounce; lamps met after a bounce do not count, their light is in the first two. That
is every path, once. What is seen without glass between is taken in all bands at once (`resolve`); behind
glass each sample follows one wavelength, as the rays of each part there.
"""

from __future__ import annotations

from dataclasses import dataclass

from .device import add_to, draw, draw_pair
from .engine import dr, mi
from .eye import Eye, first_ray, fraction, spread_samples
from .fronts import find_on_front
from .interfaces import STEP_OFF_MM, Tint, approach, find_hit, get_kept, proceed, set_out
from .lights import Lights, look_up, look_up_blurred, meet_front, share_sent
from .matte import Ground, Look, Start, bounce, shade
from .scattering import free_path, tire, turn
from .sequences import steps
from .voxels import OCTANTS, read_haze
from .world import NO_PANEL, Geometry

MAX_STEPS = 96
# Scatterings in clouds after which a path has forgotten its direction, and after which a tenth of paths end.
TIRED = 4
WEARY = 48
# Of what a post's rays are drawn by: place 2, way 2.
POST_STEPS = steps(4)


@dataclass
class Samples:
    """What the camera's rays met first, where it was matte and no glass stood between.

    Attributes
    ----------
    side : mi.UInt32
        Panel side, `NO_PANEL` where there is nothing of the kind.
    u, v : mi.Float
        Place on its map, mm.
    spot : mi.UInt32
        Spot of its picture.
    direct : mi.Float
        (samples × lamps) irradiance per unit radiance of each lamp; below 0 where it falls on the back.
    """

    side: object
    u: object
    v: object
    spot: object
    direct: object


@dr.freeze(warn_after=1000)
@dr.syntax
def look(geometry: Geometry, lights: Lights, eye: Eye, pixels, index, count, salt, direct, image):
    """Send the camera's rays; add what they see behind glass to the picture, and note what they meet first.

    Parameters
    ----------
    pixels : mi.UInt32
        Pixel of each group of samples.
    index : mi.UInt32
        Number of each sample, pixel by pixel.
    count : mi.UInt32
        Samples a pixel; their wavelengths are stratified.
    salt : mi.UInt32
        Seed.
    direct : mi.Float
        (samples × lamps) zeros, filled in.
    image : mi.Float
        (lamps × 16 × pixels) sums, added to; the caller divides by the samples.

    Returns
    -------
    Samples, mi.Float
        The image with what was added.
    """
    group = index // count
    number = index - group * count
    pixel = dr.gather(mi.UInt32, pixels, group)
    turn = mi.Float(number)
    starts, places = spread_samples(pixel, salt, turn)
    # One wavelength stratum a sample, shifted by pixel.
    stratum = fraction((turn + starts[5]) / mi.Float(count))
    row = dr.minimum(mi.UInt32(stratum * mi.Float(lights.rows)), lights.rows - 1)
    start = Start(
        ray=first_ray(eye, pixel, mi.Point2f(places[0], places[1]), mi.Point2f(places[2], places[3])),
        pixel=pixel,
        whole=eye.pixels.x * eye.pixels.y,
        row=row,
        band=dr.gather(mi.UInt32, lights.band, row),
        bounces=mi.UInt32(0),
        seed=index ^ (salt * 0x85EBCA6B),
        first_choice=places[4],
        first_point=places[6],
        first_way=mi.Point2f(places[7], places[8]),
    )
    return follow(geometry, lights, start, index, direct, image)


@dr.freeze(warn_after=1000)
def gather(geometry: Geometry, lights: Lights, posts, count, whole, index, salt, direct, image):
    """Collect the light that matte surfaces send to posts, by rays drawn by the cosine from their normals.

    Lamps met on the way do not count.

    Parameters
    ----------
    posts : mi.Float
        Eight numbers each: centre and half the breadth of a square or round patch, mm; its normal, and 1 if
        it is round.
    count : mi.UInt32
        Rays from each post, one after another.
    whole : mi.UInt32
        How many posts.
    index, salt, direct, image
        As in `look`.
    """
    # By the golden ratio: the wavelengths of rays that follow one another are spread evenly.
    number = index // count
    turn = mi.Float(index - number * count)
    starts = [*draw_pair(number, salt + 5), *draw_pair(number, salt + 6)]
    x, y, u, v = (fraction(start + turn * step) for start, step in zip(starts, POST_STEPS, strict=True))
    patch, facing = (dr.gather(mi.Vector4f, posts, 2 * number + part) for part in (0, 1))
    frame = mi.Frame3f(mi.Vector3f(facing.x, facing.y, facing.z))
    off = find_on_front(2 * mi.Point2f(x, y) - 1, mi.Vector3f(patch.w, patch.w, facing.w))
    place = mi.Point3f(patch.x, patch.y, patch.z) + frame.s * off.x + frame.t * off.y
    way = frame.to_world(mi.warp.square_to_cosine_hemisphere(mi.Point2f(u, v)))
    stratum = fraction(mi.Float((index * 0x9E3779B9) >> 8) * 2.0**-24 + draw(number, salt))
    row = dr.minimum(mi.UInt32(stratum * mi.Float(lights.rows)), lights.rows - 1)
    start = Start(
        ray=mi.Ray3f(place, way),
        pixel=number,
        whole=whole,
        row=row,
        band=dr.gather(mi.UInt32, lights.band, row),
        bounces=mi.UInt32(1),
        seed=index ^ (salt * 0x85EBCA6B),
        first_choice=draw(index, salt + 1),
        first_point=draw(index, salt + 2),
        first_way=mi.Point2f(draw(index, salt + 3), draw(index, salt + 4)),
    )
    return follow(geometry, lights, start, index, direct, image)


@dr.syntax
def _pass_cloud(lights: Lights, start: Start, walk, look: Look, reach, image, active):
    """Tell where on a stretch the ray is scattered, and its way from there; add what the lamps send there.

    The voxels hold all light of the lamps, scattered once or often, so that it is read the first time only;
    from then on the ray looks for light that matte surfaces send in.
    """
    scattered, way, place = mi.Bool(False), mi.Vector3f(walk.ray.d), mi.Point3f(walk.ray.o)
    # A ray in a medium without end has slipped through a seam.
    if active & (walk.scattering > 0) & (reach < dr.inf):
        step = look.step * 64
        first, second = draw_pair(start.seed, step + 6)
        third, fourth = draw_pair(start.seed, step + 7)
        scattering, anisotropy = tire(walk.scattering, walk.anisotropy, look.scatters >= TIRED)
        free = free_path(scattering, first)
        scattered = free < reach
        place = walk.ray(dr.minimum(free, reach))
        kept = dr.select(scattered, dr.exp(-walk.absorption * free), 1)
        look.weight *= kept
        jitter = mi.Vector3f(*draw_pair(start.seed, step + 8), draw(start.seed, step + 9))
        lamp = mi.UInt32(0)
        shown = scattered & (look.bounces == 0)
        while dr.hint(shown & (lamp < lights.count), exclude=[lights, start, image]):
            plane = lamp * 16 + start.band
            weight = dr.gather(mi.Vector2f, lights.weights, lamp * lights.rows + start.row, shown)
            light = read_haze(lights.voxels, lights.haze, plane * OCTANTS, place, jitter, walk.ray.d, shown)
            # Radiance in a medium is that in air times the square of its index.
            light *= weight.x * look.weight / (walk.index * walk.index)
            add_to(image, light, plane * start.whole + start.pixel, shown)
            lamp += 1
        way = turn(walk.ray.d, anisotropy, second, third)
        # Light lost in a cloud has a last chance.
        weary = scattered & (look.scatters >= WEARY)
        look.weight *= dr.select(weary, dr.select(fourth < 0.9, 1 / 0.9, 0), 1)
        look.bounces = dr.select(scattered, dr.maximum(look.bounces, 1), look.bounces)
        look.scatters += dr.select(scattered, 1, 0)
    return scattered, place, way, look


@dr.syntax
def follow(geometry: Geometry, lights: Lights, start: Start, index, direct, image):
    """Walk each sample on through glass and from matte surface to matte surface until it ends."""
    seen = Samples(mi.UInt32(NO_PANEL), mi.Float(0), mi.Float(0), mi.UInt32(0), mi.Float(0))
    tint = Tint(lights.optics, start.row, start.band)
    active = mi.Bool(True)
    walk = set_out(start.ray)
    look = Look(mi.Float(1), mi.UInt32(start.bounces), mi.UInt32(0), mi.UInt32(0))

    while dr.hint(active, exclude=[geometry, lights, start, tint, image, direct]):
        hit = find_hit(geometry, walk.ray, active)
        reach = dr.select(hit.valid, hit.distance_mm, dr.inf)

        # A lamp's front, where nothing matte or cloudy has come before.
        lamp, near, lit, glow = meet_front(lights, walk.ray, reach, active & (look.bounces == 0))
        scattered, place, way, look = _pass_cloud(lights, start, walk, look, near, image, active)
        met = active & (lamp < lights.count) & ~scattered
        length = dr.select(met | hit.valid, near, 0)
        length = dr.select(scattered, 0, length)
        look.weight *= dr.exp(-walk.absorption * length)
        shine = dr.gather(mi.Vector2f, lights.weights, lamp * lights.rows + start.row, met & lit).y * glow
        counted = (lamp * 16 + start.band) * start.whole + start.pixel
        add_to(image, look.weight * shine, counted, met & lit)
        active &= (hit.valid | scattered) & ~met
        facing = active & ~scattered

        # A matte surface: all lamps direct, and the maps; then one more bounce from it.
        step = look.step * 64
        crossing = approach(geometry, walk, hit, tint, facing, start.seed, step + 4)
        spot = crossing.spot
        shown = crossing.matte & (hit.panel != NO_PANEL)
        plain = shown & (walk.events == 0) & (look.bounces == start.bounces) & (look.weight == 1)
        seen = dr.select(plain, Samples(hit.panel, spot.u, spot.v, spot.number, mi.Float(0)), seen)
        outward = dr.select(hit.entering, hit.normal, -hit.normal)
        step_off = dr.select(hit.entering, STEP_OFF_MM, -STEP_OFF_MM) * hit.face_normal
        shares = spot.number * 16 + start.band
        ground = Ground(
            hit.panel, spot.u, spot.v, hit.point + step_off, outward,
            albedo=dr.gather(mi.Float, geometry.reflectance, shares, shown),
            passed=dr.gather(mi.Float, geometry.transmittance, shares, shown & spot.translucent),
            translucent=spot.translucent, index=walk.index,
        )  # fmt: skip
        shade(geometry, lights, start, look, ground, shown, plain, index, direct, image)
        first = shown & (look.bounces == 0)
        known = dr.select(first, share_sent(lights, hit.panel, spot.u, spot.v), 0)
        crossed, bounced, stop, look = bounce(start, look, ground, shown, known)

        # An interface: through or back by chance.
        orderly = (walk.events == 0) & (start.bounces == 0)
        chance = dr.select(orderly, start.first_choice, draw(start.seed, step + 3))
        reflect = crossing.metal | (chance < crossing.meeting.reflectance)
        mirror = dr.gather(mi.Float, geometry.metal_reflectance, hit.body * 16 + start.band, crossing.metal)
        look.weight *= dr.select(crossing.metal, mirror, 1) * get_kept(hit, crossing, reflect)
        look.weight *= dr.select(crossing.sheer, spot.through, 1)
        walk = proceed(walk, hit, crossing, reflect)
        walk.ray.o = dr.select(shown, hit.point + dr.select(crossed, -step_off, step_off), walk.ray.o)
        walk.ray.d = dr.select(shown, bounced, walk.ray.d)
        walk.ray.o = dr.select(scattered, place, walk.ray.o)
        walk.ray.d = dr.select(scattered, way, walk.ray.d)

        look.step += 1
        active = crossing.metal | crossing.glassy | crossing.sheer | (shown & ~stop) | scattered
        active &= (look.step < MAX_STEPS + look.scatters) & (look.weight > 1e-6)
    return Samples(seen.side, seen.u, seen.v, seen.spot, direct), image


@dr.freeze(warn_after=1000)
def resolve(geometry, lights: Lights, samples: Samples, pixels, index, groups, count, whole, image):
    """Add what the samples of `look` met first to the picture, in all bands.

    Parameters
    ----------
    index : mi.UInt32
        Number of each lamp, band and group of samples, groups innermost.
    groups : mi.UInt32
        How many groups.
    pixels, count, image
        As in `look`.
    whole : mi.UInt32
        How many pixels the picture has.
    """
    return _resolve(look_up, geometry, lights, samples, pixels, index, groups, count, whole, image)


@dr.freeze(warn_after=1000)
def resolve_gathered(geometry, lights: Lights, samples: Samples, pixels, index, groups, count, whole, image):
    """The same for the samples of `gather`."""
    return _resolve(look_up_blurred, geometry, lights, samples, pixels, index, groups, count, whole, image)


@dr.syntax
def _read_where(read, lights: Lights, plane, side, u, v, active):
    """Read a map only if any sample asks."""
    found = mi.Float(0)
    if active:
        found = read(lights, plane, side, u, v, active)
    return found


@dr.syntax
def _resolve(read, geometry, lights: Lights, samples: Samples, pixels, index, groups, count, whole, image):
    plane = index // groups
    group = index - plane * groups
    lamp = plane // 16
    band = plane - lamp * 16
    pixel = dr.gather(mi.UInt32, pixels, group)
    radiance = dr.gather(mi.Float, lights.bands, plane)
    total = mi.Float(0)
    number = mi.UInt32(0)
    # A lamp's maps, too, are dark in bands that it does not send.
    lit = radiance > 0
    while dr.hint(lit & (number < count), exclude=[geometry, lights, samples, image, pixels, read]):
        where = group * count + number
        side = dr.gather(mi.UInt32, samples.side, where)
        seen = side != NO_PANEL
        u = dr.gather(mi.Float, samples.u, where, seen)
        v = dr.gather(mi.Float, samples.v, where, seen)
        direct = dr.gather(mi.Float, samples.direct, where * lights.count + lamp, seen)
        spot = dr.gather(mi.UInt32, samples.spot, where, seen)
        albedo = dr.gather(mi.Float, geometry.reflectance, spot * 16 + band, seen)
        passed = dr.gather(mi.Float, geometry.transmittance, spot * 16 + band, seen)
        light = dr.maximum(direct, 0) * radiance + read(lights, plane, side, u, v, seen)
        total += dr.select(seen, light * albedo * dr.inv_pi, 0)
        behind = dr.maximum(-direct, 0) * radiance
        behind += _read_where(read, lights, plane, side ^ 1, u, v, seen & (passed > 0))
        total += dr.select(seen, behind * passed * dr.inv_pi, 0)
        number += 1
    add_to(image, total, plane * whole + pixel, lit)
    return image
