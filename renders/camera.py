"""The camera pass's kernels: from a pixel through glass and drink to a lamp or a matte surface.

A matte surface shines by the direct light of every lamp (shadow rays stop at glass), by the light pass's
maps, and by one more bounce; lamps met after a bounce do not count, their light is in the first two. That
is every path, once. What is seen without glass between is taken in all bands at once (`resolve`); behind
glass each sample follows one wavelength, as the rays of each part there.
"""

from __future__ import annotations

from dataclasses import dataclass

from .engine import dr, mi
from .interfaces import MATTE, METAL, cross_count, find_hit, meet, optics, step_off, top_medium
from .splats import Windows
from .world import NO_PANEL, World

MAX_STEPS = 96
MAX_BOUNCES = 6
# From this bounce on, half of the paths end and the others count double.
ROULETTE_BOUNCE = 2
# Additive recurrences of the generalised golden ratio in seven dimensions (M. Roberts, The unreasonable
# effectiveness of quasirandom sequences, 2018): film 2, lens 2, first choice, wavelength, lamp point.
RATIO = 1.1127756842787055
STEPS = tuple((1 / RATIO) ** (power + 1) for power in range(7))


@dataclass
class Eye:
    """The camera as kernel inputs."""

    place: mi.Point3f
    forward: mi.Vector3f
    right: mi.Vector3f
    up: mi.Vector3f
    # Half the field's width and height at unit distance, the pixels across, the pixels down.
    field: mi.Vector2f
    pixels: mi.Vector2u
    lens_radius: mi.Float
    focus: mi.Float


@dataclass
class Lights:
    """All lamps and what the light pass found, as kernel inputs.

    Attributes
    ----------
    count, point_count : mi.UInt32
        Lamps, and points a lamp.
    place, normal : mi.Float
        Four numbers a point: place and area, mm; normal and zero.
    rows : mi.UInt32
        Wavelength rows.
    weights : mi.Float
        Two numbers per lamp and row: weight of the band's map, and spectral radiance with that weight.
    bands : mi.Float
        (lamps × 16) mean spectral radiance of each band.
    optics, band : mi.Float, mi.UInt32
        See `world.Wavelengths`.
    fronts : mitsuba.Scene
        The lamps' shining fronts.
    front_lamp : mi.UInt32
        Lamp of each face of `fronts`.
    front_normal : mi.Float
        Four numbers a face of `fronts`: unit normal, and zero. It shines on that side.
    maps : mi.Float
        (lamps × 16 × cells) irradiance.
    windows : Windows
    """

    count: object
    point_count: object
    place: object
    normal: object
    rows: object
    weights: object
    bands: object
    optics: object
    band: object
    fronts: object
    front_lamp: object
    front_normal: object
    maps: object
    windows: Windows


@dataclass
class Samples:
    """What the camera's rays met first, where it was matte and no glass stood between.

    Attributes
    ----------
    side : mi.UInt32
        Panel side, `NO_PANEL` where there is nothing of the kind.
    u, v : mi.Float
        Place on the panel, mm.
    direct : mi.Float
        (samples × lamps) irradiance per unit radiance of each lamp.
    """

    side: object
    u: object
    v: object
    direct: object


def _fraction(value):
    return value - dr.floor(value)


def _uniform(seed, step):
    value, _ = mi.sample_tea_32(seed, step)
    return mi.Float(value >> 8) * 2.0**-24


def front_normal(lights: Lights, face, active):
    """Unit normal of a lamp's front."""
    record = dr.gather(mi.Vector4f, lights.front_normal, face, active)
    return mi.Vector3f(record.x, record.y, record.z)


def look_up(lights: Lights, base, side, u, v, active):
    """Bilinear light of a map at a place on a panel side: the fine window where it reaches, else the coarse.

    Parameters
    ----------
    base : mi.UInt32
        First number of the map of one lamp and band.
    """
    windows = lights.windows
    fine = dr.gather(mi.Vector4f, windows.frames, 2 * side, active)
    size = dr.gather(mi.Vector4u, windows.shapes, 2 * side, active)
    x, y = (u - fine.x) * fine.z, (v - fine.y) * fine.z
    within = (x >= 0) & (y >= 0) & (x < mi.Float(size.x)) & (y < mi.Float(size.y))
    wide = dr.gather(mi.Vector4f, windows.frames, 2 * side + 1, active)
    wide_size = dr.gather(mi.Vector4u, windows.shapes, 2 * side + 1, active)
    x = dr.select(within, x, (u - wide.x) * wide.z)
    y = dr.select(within, y, (v - wide.y) * wide.z)
    columns = dr.select(within, size.x, wide_size.x)
    lines = dr.select(within, size.y, wide_size.y)
    first = base + dr.select(within, size.z, wide_size.z)
    x = dr.clip(x - 0.5, 0, mi.Float(columns) - 1)
    y = dr.clip(y - 0.5, 0, mi.Float(lines) - 1)
    column, line = mi.UInt32(x), mi.UInt32(y)
    next_column = dr.minimum(column + 1, columns - 1)
    next_line = dr.minimum(line + 1, lines - 1)
    share_x, share_y = x - mi.Float(column), y - mi.Float(line)
    near = dr.gather(mi.Float, lights.maps, first + line * columns + column, active) * (1 - share_x)
    near += dr.gather(mi.Float, lights.maps, first + line * columns + next_column, active) * share_x
    far = dr.gather(mi.Float, lights.maps, first + next_line * columns + column, active) * (1 - share_x)
    far += dr.gather(mi.Float, lights.maps, first + next_line * columns + next_column, active) * share_x
    return near * (1 - share_y) + far * share_y


def lamp_factor(world: World, lights: Lights, lamp, point, place, normal, active):
    """Irradiance per unit radiance of a lamp at a place, by one point of its front; 0 where blocked."""
    where = lamp * lights.point_count + point
    start = dr.gather(mi.Vector4f, lights.place, where, active)
    facing = dr.gather(mi.Vector4f, lights.normal, where, active)
    way = mi.Point3f(start.x, start.y, start.z) - place
    far2 = dr.squared_norm(way)
    far = dr.sqrt(far2)
    toward = way / far
    arriving = dr.dot(toward, normal)
    leaving = -dr.dot(toward, mi.Vector3f(facing.x, facing.y, facing.z))
    lit = active & (arriving > 0) & (leaving > 0)
    ray = mi.Ray3f(place, toward, far * 0.9999, 0.0, [])
    lit &= ~world.scene.ray_test(ray, coherent=False, active=lit)
    return dr.select(lit, start.w * arriving * leaving / far2, 0)


def first_ray(eye: Eye, pixel, film, lens):
    """Ray of the thin lens through a place on the film."""
    line = pixel // eye.pixels.x
    column = pixel - line * eye.pixels.x
    x = (2 * (mi.Float(column) + film.x) / mi.Float(eye.pixels.x) - 1) * eye.field.x
    y = (1 - 2 * (mi.Float(line) + film.y) / mi.Float(eye.pixels.y)) * eye.field.y
    sharp = eye.focus * (eye.forward + x * eye.right + y * eye.up)
    disc = mi.warp.square_to_uniform_disk_concentric(lens) * eye.lens_radius
    off = disc.x * eye.right + disc.y * eye.up
    return mi.Ray3f(eye.place + off, dr.normalize(sharp - off))


def spread_samples(pixel, salt, turn):
    """Starts of the pixel's seven recurrences, and their values for one sample."""
    starts = [_uniform(pixel, salt + place) for place in range(7)]
    return starts, [_fraction(start + turn * step) for start, step in zip(starts, STEPS, strict=True)]


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
    first_choice, first_point : mi.Float
        Stratified numbers for the first interface and the first lamp points.
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


@dr.freeze(warn_after=1000)
@dr.syntax
def look(world: World, lights: Lights, eye: Eye, pixels, index, count, salt, direct, image):
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
    stratum = _fraction((turn + starts[5]) / mi.Float(count))
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
    )
    return follow(world, lights, start, index, direct, image)


@dr.freeze(warn_after=1000)
@dr.syntax
def gather(world: World, lights: Lights, places, ways, numbers, whole, index, salt, direct, image):
    """Collect the light that matte surfaces send along given rays; lamps met on the way do not count.

    Parameters
    ----------
    places, ways : mi.Float
        Four numbers a ray: start and direction, each with a zero.
    numbers : mi.UInt32
        Where each ray counts, below `whole`.
    index, salt, direct, image
        As in `look`.
    """
    place = dr.gather(mi.Vector4f, places, index)
    way = dr.gather(mi.Vector4f, ways, index)
    row = dr.minimum(mi.UInt32(_uniform(index, salt) * mi.Float(lights.rows)), lights.rows - 1)
    start = Start(
        ray=mi.Ray3f(mi.Point3f(place.x, place.y, place.z), mi.Vector3f(way.x, way.y, way.z)),
        pixel=dr.gather(mi.UInt32, numbers, index),
        whole=whole,
        row=row,
        band=dr.gather(mi.UInt32, lights.band, row),
        bounces=mi.UInt32(1),
        seed=index ^ (salt * 0x85EBCA6B),
        first_choice=_uniform(index, salt + 1),
        first_point=_uniform(index, salt + 2),
    )
    return follow(world, lights, start, index, direct, image)


@dr.syntax
def follow(world: World, lights: Lights, start: Start, index, direct, image):
    """Walk each sample on through glass and from matte surface to matte surface until it ends."""
    whole = start.whole
    side = mi.UInt32(NO_PANEL)
    u = mi.Float(0)
    v = mi.Float(0)

    active = mi.Bool(True)
    weight = mi.Float(1)
    ray = mi.Ray3f(start.ray)
    pixel, row, band, seed = start.pixel, start.row, start.band, start.seed
    inside = mi.UInt64(0)
    index_before = mi.Float(1)
    absorption = mi.Float(0)
    events = mi.UInt32(0)
    bounces = mi.UInt32(start.bounces)
    step = mi.UInt32(0)
    cap = dr.opaque(mi.UInt32, MAX_STEPS)

    while dr.hint(active, exclude=[world, lights, start, image, direct]):
        hit = find_hit(world, ray, active)
        reach = dr.select(hit.valid, hit.distance_mm, dr.inf)

        # A lamp's front, where nothing matte has come before.
        straight = active & (bounces == 0)
        front = lights.fronts.ray_intersect_preliminary(ray, coherent=False, active=straight)
        on_front = straight & front.is_valid() & (front.t < reach)
        lamp = dr.gather(mi.UInt32, lights.front_lamp, front.prim_index, on_front)
        lit = dr.dot(ray.d, front_normal(lights, front.prim_index, on_front)) < 0
        lamp_weight = dr.gather(mi.Vector2f, lights.weights, lamp * lights.rows + row, on_front)
        kept = dr.exp(-absorption * dr.select(on_front, front.t, dr.select(hit.valid, hit.distance_mm, 0)))
        weight *= kept
        dr.scatter_add(image, weight * lamp_weight.y, (lamp * 16 + band) * whole + pixel, on_front & lit)
        active &= hit.valid & ~on_front

        matte = active & (hit.kind == MATTE)
        metal = active & (hit.kind == METAL)
        glassy = active & ~matte & ~metal

        # A matte surface: all lamps direct, and the maps.
        shown = matte & (hit.panel != NO_PANEL)
        frame_corner = dr.gather(mi.Vector4f, world.frames, 3 * hit.panel, shown)
        frame_u = dr.gather(mi.Vector4f, world.frames, 3 * hit.panel + 1, shown)
        frame_v = dr.gather(mi.Vector4f, world.frames, 3 * hit.panel + 2, shown)
        off = hit.point - mi.Point3f(frame_corner.x, frame_corner.y, frame_corner.z)
        at_u = dr.dot(off, mi.Vector3f(frame_u.x, frame_u.y, frame_u.z))
        at_v = dr.dot(off, mi.Vector3f(frame_v.x, frame_v.y, frame_v.z))
        outward = dr.select(hit.entering, hit.face_normal, -hit.face_normal)
        plain = shown & (events == 0) & (bounces == 0)
        side = dr.select(plain, hit.panel, side)
        u = dr.select(plain, at_u, u)
        v = dr.select(plain, at_v, v)
        albedo = dr.gather(mi.Float, world.panel_albedo, hit.panel * 16 + band, shown)
        origin = hit.point + 1e-3 * outward
        each = mi.UInt32(0)
        while dr.hint(each < lights.count, exclude=[world, lights, start, image, direct]):
            chance = dr.select(
                bounces == 0, _fraction(start.first_point + 0.618034 * mi.Float(each)), _uniform(seed, step * 64 + 32 + each)
            )
            point = dr.minimum(mi.UInt32(chance * mi.Float(lights.point_count)), lights.point_count - 1)
            factor = lamp_factor(world, lights, each, point, origin, outward, shown)
            dr.scatter(direct, factor, index * lights.count + each, plain)
            later = shown & ~plain
            row_weight = dr.gather(mi.Vector2f, lights.weights, each * lights.rows + row, later)
            light = factor * row_weight.y
            light += row_weight.x * look_up(
                lights, (each * 16 + band) * lights.windows.count, hit.panel, at_u, at_v, later
            )
            dr.scatter_add(
                image, weight * albedo * dr.inv_pi * light, (each * 16 + band) * whole + pixel, later
            )
            each += 1

        # One more bounce from it.
        bounces += dr.select(shown, 1, 0)
        frame = mi.Frame3f(outward)
        spin = mi.Point2f(_uniform(seed, step * 64), _uniform(seed, step * 64 + 1))
        scattered = frame.to_world(mi.warp.square_to_cosine_hemisphere(spin))
        late = shown & (bounces >= ROULETTE_BOUNCE)
        stop = late & (_uniform(seed, step * 64 + 2) < 0.5)
        weight *= dr.select(shown, albedo * dr.select(late, 2, 1), 1)

        # An interface: through or back by chance.
        crossed = cross_count(inside, hit)
        after = top_medium(crossed)
        beyond = optics(lights.optics, row, after, glassy)
        meeting = meet(ray.d, hit, index_before, beyond.x)
        event = metal | (glassy & ~meeting.same)
        chance = dr.select(events == 0, start.first_choice, _uniform(seed, step * 64 + 3))
        reflect = metal | (chance < meeting.reflectance)
        mirror = dr.gather(mi.Float, world.metal_reflectance, hit.body * 16 + band, metal)
        weight *= dr.select(metal, mirror, 1)
        turned = dr.select(event, dr.select(reflect, meeting.reflected, meeting.refracted), ray.d)
        through = glassy & ~(event & reflect)
        inside = dr.select(through, crossed, inside)
        index_before = dr.select(through, beyond.x, index_before)
        absorption = dr.select(through, beyond.y, absorption)
        events += dr.select(event, 1, 0)
        ray.o = dr.select(shown, origin, step_off(hit, turned))
        ray.d = dr.select(shown, scattered, turned)

        step += 1
        active &= (metal | glassy | (shown & ~stop & (bounces < MAX_BOUNCES))) & (step < cap) & (weight > 1e-6)
    return Samples(side, u, v, direct), image


@dr.freeze(warn_after=1000)
@dr.syntax
def resolve(world: World, lights: Lights, eye: Eye, samples: Samples, pixels, index, groups, count, image):
    """Add what the samples met first to the picture, in all bands.

    Parameters
    ----------
    index : mi.UInt32
        Number of each lamp, band and group of samples, groups innermost.
    groups : mi.UInt32
        How many groups.
    pixels, count, image
        As in `look`.
    """
    plane = index // groups
    group = index - plane * groups
    lamp = plane // 16
    band = plane - lamp * 16
    pixel = dr.gather(mi.UInt32, pixels, group)
    radiance = dr.gather(mi.Float, lights.bands, plane)
    total = mi.Float(0)
    number = mi.UInt32(0)
    while dr.hint(number < count, exclude=[world, lights, samples, image, pixels]):
        where = group * count + number
        side = dr.gather(mi.UInt32, samples.side, where)
        seen = side != NO_PANEL
        u = dr.gather(mi.Float, samples.u, where, seen)
        v = dr.gather(mi.Float, samples.v, where, seen)
        direct = dr.gather(mi.Float, samples.direct, where * lights.count + lamp, seen)
        albedo = dr.gather(mi.Float, world.panel_albedo, side * 16 + band, seen)
        light = direct * radiance + look_up(lights, plane * lights.windows.count, side, u, v, seen)
        total += dr.select(seen, light * albedo * dr.inv_pi, 0)
        number += 1
    dr.scatter_add(image, total, plane * (eye.pixels.x * eye.pixels.y) + pixel)
    return image

