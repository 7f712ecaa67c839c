"""The light pass's kernel: from a grid of rays that leave lamp points to where each comes down.

Every ray of one lamp point shares that point's wavelength and its choices at interfaces, so that neighbours
take the same way and land side by side; footprints (`splats`) then spread each ray's light between them.

The light is split by *order*, the number of partial reflections that are forced:

- order 0 goes through every interface, weight 1 − R at each;
- order 1 is thrown back once, at the interface whose number is drawn with the lamp point, weight R there;
- order 2 is thrown back twice so, and from then on reflects with probability R.

Together they are all the light, and the strong order 0 needs no random choice at all. Total reflection and
metal are no choice: they happen in every order.
"""

from __future__ import annotations

from dataclasses import dataclass

from .engine import dr, mi
from .interfaces import MATTE, METAL, cross_count, find_hit, meet, optics, step_off, top_medium
from .world import AIR, NO_PANEL, World

MAX_EVENTS = 400
# Light weaker than this share of what set out is dropped and booked as absorbed.
FAINT = 1e-6
# How a ray ended.
LANDED, ESCAPED, LOST, BLACK, MISSED = 0, 1, 2, 3, 4
ENDS = 4
ORDERS_OF_REFLECTION = 4

# Forms of a path so far: the sequences that make a reflective caustic, and all others.
_START, _THROWN, _IN, _BACK, _OUT, _OTHER = 0, 1, 2, 3, 4, 5


@dataclass
class LampRows:
    """What the rays of each lamp point share; `grid` × `grid` rays a row.

    Attributes
    ----------
    ray : mi.UInt32
        Number of each ray: rows outermost, then the grid's upward and its across index.
    grid : mi.UInt32
        Rays along one side of the grid.
    place : mi.Float
        Four numbers a row: lamp point, mm, and the flux weight of a ray at the grid's full size, mm².
    normal : mi.Float
        Four numbers a row: unit normal there, and zero.
    shift : mi.Float
        Two numbers a row: offset of the grid inside its cell.
    order : mi.UInt32
        Four numbers a row: forced reflections, interfaces before the first and between it and the second,
        and the seed of later choices.
    optics, band : mi.Float, mi.UInt32
        See `world.Wavelengths`.
    visible : mi.Float
        Luminous weight of each row's band, nm: books are kept in luminous flux.
    """

    ray: object
    grid: object
    place: object
    normal: object
    shift: object
    order: object
    optics: object
    band: object
    visible: object


@dataclass
class AimFrame:
    """Rectangle across the light's way at the glassware, through which the rays of a lamp are aimed."""

    corner: mi.Point3f
    across: mi.Vector3f
    upward: mi.Vector3f
    normal: mi.Vector3f
    back_off: mi.Float


@dataclass
class Landings:
    """Where each ray came down.

    Attributes
    ----------
    u, v : mi.Float
        Place on the panel, mm.
    flux : mi.Float
        Of rays that went into the room as well; they have no code.
    code : mi.UInt32
        Hash of the ray's history and its panel; zero where it did not land.
    panel : mi.UInt32
        Panel number × 2 + 1 for the reflective kind.
    """

    u: object
    v: object
    flux: object
    code: object
    panel: object


@dataclass
class Tally:
    """Sums that a launch adds to, in double precision: millions of small numbers go into each.

    Attributes
    ----------
    ends : mi.Float64
        (ends × orders of reflection) flux by `LANDED` and so on and by 0, 1, 2, more reflections.
    absorbed : mi.Float64
        (orders of reflection) flux taken by media and metals.
    incident : mi.Float64
        (1) flux that reached the glassware.
    meters : mi.Float
        (rows × meters) flux through each meter.
    meter_frames : mi.Float
        Eight numbers a meter: centre, radius, normal, zero.
    meter_count : mi.UInt32
    panels : mi.Float64
        (panel sides) flux landed.
    """

    ends: object
    absorbed: object
    incident: object
    meters: object
    meter_frames: object
    meter_count: object
    panels: object


def _draw(seed: mi.UInt32, step: mi.UInt32) -> mi.Float:
    """A number in [0, 1) for a seed and a step: the same for all rays of a lamp point."""
    value, _ = mi.sample_tea_32(seed, step)
    return mi.Float(value >> 8) * 2.0**-24


def _next_form(form, partial, reflect):
    """Follow whether a path is still one that the first wall threw back."""
    out = mi.UInt32(_OTHER)
    out = dr.select((form == _START) & reflect, _THROWN, out)
    out = dr.select((form == _START) & ~reflect, _IN, out)
    out = dr.select((form == _IN) & reflect & partial, _BACK, out)
    return dr.select((form == _BACK) & ~reflect, _OUT, out)


@dr.syntax
def _pass_meters(rows_index, ray, distance, flux, tally_meters, frames, count, active):
    """Add a segment's flux to every meter whose front it goes through."""
    number = mi.UInt32(0)
    while dr.hint(number < count, exclude=[frames, tally_meters, ray]):
        place = dr.gather(mi.Vector4f, frames, 2 * number, active)
        facing = dr.gather(mi.Vector4f, frames, 2 * number + 1, active)
        normal = mi.Vector3f(facing.x, facing.y, facing.z)
        centre = mi.Point3f(place.x, place.y, place.z)
        slope = dr.dot(ray.d, normal)
        along = dr.dot(centre - ray.o, normal) / slope
        off = ray(along) - centre
        through = active & (slope < 0) & (along > 0) & (along < distance)
        through &= dr.squared_norm(off) < place.w * place.w
        dr.scatter_add(tally_meters, flux, rows_index * count + number, through)
        number += 1


@dr.freeze(warn_after=1000)
@dr.syntax
def trace(world: World, rows: LampRows, aim: AimFrame, blockers, tally: Tally):
    """Send rows × grid² rays off and follow each until it comes down on a panel or is gone.

    Parameters
    ----------
    world : World
    rows : LampRows
    aim : AimFrame
    blockers : mi.Bool
        Opaque: whether anything but the table could stand between lamp and glassware.
    tally : Tally

    Returns
    -------
    Landings, Tally
    """
    index = rows.ray
    per_row = rows.grid * rows.grid
    row = index // per_row
    within = index - row * per_row
    up_index = within // rows.grid
    across_index = within - up_index * rows.grid

    # The ray's start on the lamp and its aim on the rectangle.
    place = dr.gather(mi.Vector4f, rows.place, row)
    facing = dr.gather(mi.Vector4f, rows.normal, row)
    shift = dr.gather(mi.Vector2f, rows.shift, row)
    choice = dr.gather(mi.Vector4u, rows.order, row)
    start = mi.Point3f(place.x, place.y, place.z)
    scale = 1 / mi.Float(rows.grid)
    target = (
        aim.corner
        + aim.across * ((mi.Float(across_index) + shift.x) * scale)
        + aim.upward * ((mi.Float(up_index) + shift.y) * scale)
    )
    way = target - start
    far2 = dr.squared_norm(way)
    far = dr.sqrt(far2)
    direction = way / far
    leaving = dr.maximum(dr.dot(direction, mi.Vector3f(facing.x, facing.y, facing.z)), 0)
    crossing = dr.abs(dr.dot(direction, aim.normal))
    sent = place.w * scale * scale * leaving * crossing / far2

    # Begin just before the glassware: a start far off would cost all digits. What stands between counts.
    short = dr.maximum(far - aim.back_off, 0)
    origin = start + direction * short
    active = mi.Bool(sent > 0)
    hidden = world.scene.ray_test(
        mi.Ray3f(origin, -direction, short * 0.9999, 0.0, []), coherent=False, active=active & blockers & (short > 0)
    )
    active &= ~hidden

    ray = mi.Ray3f(origin, direction)
    flux = mi.Float(sent)
    inside = mi.UInt64(0)
    before = mi.UInt32(AIR)
    history = mi.UInt32(0)
    events = mi.UInt32(0)
    choices = mi.UInt32(0)
    bounces = mi.UInt32(0)
    form = mi.UInt32(_START)
    forced = mi.UInt32(choice.x)
    countdown = mi.UInt32(choice.y)
    end = mi.UInt32(MISSED)
    taken = mi.Float(0)
    landed = mi.Point3f(0)
    panel = mi.UInt32(0)
    index_before = mi.Float(1)
    absorption = mi.Float(0)
    visible = dr.gather(mi.Float, rows.visible, row)

    while dr.hint(active, exclude=[world, rows, tally, aim]):
        hit = find_hit(world, ray, active)
        # Meters see only light that has met glassware; the direct light is added elsewhere.
        _pass_meters(
            row,
            ray,
            dr.select(hit.valid, hit.distance_mm, dr.inf),
            flux,
            tally.meters,
            tally.meter_frames,
            tally.meter_count,
            active & (events > 0) & (forced == 0),
        )
        kept = dr.exp(-absorption * hit.distance_mm)
        kept = dr.select(hit.valid, kept, 1)
        # Light that has not yet been thrown back as often as its order says belongs to a lower order.
        taken += dr.select(forced == 0, flux * (1 - kept), 0)
        flux *= kept

        gone = active & ~hit.valid
        matte = hit.valid & (hit.kind == MATTE)
        metal = hit.valid & (hit.kind == METAL)
        glassy = hit.valid & ~matte & ~metal

        # The end of the way: into the room, or down on a panel.
        met = events > 0
        end = dr.select(gone & met, dr.select(inside == 0, ESCAPED, LOST), end)
        down = matte & met
        end = dr.select(
            down, dr.select(inside != 0, LOST, dr.select(hit.panel == NO_PANEL, BLACK, LANDED)), end
        )
        landed = dr.select(down, hit.point, landed)
        panel = dr.select(down, hit.panel, panel)

        # An interface between two media, or a mirror.
        crossed = cross_count(inside, hit)
        after = top_medium(crossed)
        beyond = optics(rows.optics, row, after, glassy)
        meeting = meet(ray.d, hit, index_before, beyond.x)
        event = metal | (glassy & ~meeting.same)
        total = metal | (meeting.reflectance >= 1)
        dr.scatter_add(tally.incident, mi.Float64(flux * visible), mi.UInt32(0), event & ~met)

        # Through or back, by the order of the launch.
        open_choice = event & ~total
        now = (forced > 0) & (countdown == 0)
        free = (forced == 0) & (choice.x == 2)
        tossed = free & (_draw(choice.w, choices) < meeting.reflectance)
        reflect = total | dr.select(free, tossed, now)
        chance = dr.select(reflect, meeting.reflectance, 1 - meeting.reflectance)
        share = dr.select(open_choice & ~free, chance, 1)
        mirror = dr.gather(mi.Float, world.metal_reflectance, hit.body * 16 + dr.gather(mi.UInt32, rows.band, row), metal)
        taken += dr.select(metal & (forced == 0), flux * (1 - mirror), 0)
        flux *= dr.select(metal, mirror, dr.select(event, share, 1))
        forced = dr.select(open_choice & reflect & ~free, forced - 1, forced)
        countdown = dr.select(
            open_choice & ~free, dr.select(reflect, choice.z, countdown - dr.select(countdown > 0, 1, 0)), countdown
        )
        choices += dr.select(open_choice, 1, 0)
        bounces += dr.select(event & reflect, 1, 0)
        form = dr.select(event, _next_form(form, ~total, reflect), form)
        mark = hit.patch * 2 + dr.select(reflect, 1, 0) + 1
        history = dr.select(event, (history ^ mark) * mi.UInt32(0x9E3779B1) + (history >> 15), history)

        # The next stretch.
        turned = dr.select(reflect, meeting.reflected, meeting.refracted)
        onward = dr.select(event, turned, ray.d)
        stays = event & reflect
        inside = dr.select(glassy & ~stays, crossed, inside)
        before = dr.select(glassy & ~stays, after, before)
        index_before = dr.select(glassy & ~stays, beyond.x, index_before)
        absorption = dr.select(glassy & ~stays, beyond.y, absorption)
        events += dr.select(event, 1, 0)
        ray.o = dr.select(metal | glassy, step_off(hit, onward), ray.o)
        ray.d = onward

        # Faint light is taken out and booked; a way without end is lost.
        faint = (metal | glassy) & (flux < sent * FAINT)
        taken += dr.select(faint & (forced == 0), flux, 0)
        endless = (metal | glassy) & (events >= MAX_EVENTS) & ~faint
        end = dr.select(endless, LOST, end)
        active &= (metal | glassy) & ~faint & ~endless

    done = (events > 0) & (forced == 0)
    reflections = dr.minimum(bounces, ORDERS_OF_REFLECTION - 1)
    dr.scatter_add(tally.absorbed, mi.Float64(taken * visible), reflections, done)
    over = done & (end != MISSED)
    dr.scatter_add(tally.ends, mi.Float64(flux * visible), end * ORDERS_OF_REFLECTION + reflections, over)
    here = over & (end == LANDED)
    dr.scatter_add(tally.panels, mi.Float64(flux * visible), panel, here)

    corner = dr.gather(mi.Vector4f, world.frames, 3 * panel, here)
    side_u = dr.gather(mi.Vector4f, world.frames, 3 * panel + 1, here)
    side_v = dr.gather(mi.Vector4f, world.frames, 3 * panel + 2, here)
    off = landed - mi.Point3f(corner.x, corner.y, corner.z)
    thrown = (form == _THROWN) | (form == _OUT)
    landings = Landings(
        u=dr.dot(off, mi.Vector3f(side_u.x, side_u.y, side_u.z)),
        v=dr.dot(off, mi.Vector3f(side_v.x, side_v.y, side_v.z)),
        flux=dr.select(over, flux, 0),
        code=dr.select(here, (history ^ (panel * 2 + 1)) | 1, 0),
        panel=panel * 2 + dr.select(thrown, 1, 0),
    )
    return landings, tally
