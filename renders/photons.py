"""The light pass's kernel: from a grid of rays that leave lamp points to where each comes down.

Every ray of one lamp point shares that point's wavelength and its choices at interfaces, so that neighbours
take the same way, and a processor's lanes have the same to do.

The light is split by *order*, the number of partial reflections that are forced:

- order 0 goes through every interface, weight 1 − R at each;
- order 1 is thrown back once, at the interface whose number is drawn with the lamp point, weight R there;
- order 2 is thrown back twice so, and from then on reflects with probability R.

Together they are all the light that is not scattered, and the strong order 0 needs no random choice at all.
In orders 1 and 2 some lamp points toss instead: each ray is thrown back with probability R until it was so as
often as its order says. A way counts by how likely both sorts together are to take it, so that none brings a
lump of light, however rare its interface or glancing its reflection (balance heuristic: E. Veach, L. Guibas,
Optimally combining sampling techniques for Monte Carlo rendering, SIGGRAPH 1995).
Total reflection and metal are no choice: they happen in every order. Cloudy media thin these orders out; what
they scatter is followed by an order of its own, whose rays choose each for itself.
"""

from __future__ import annotations

from dataclasses import dataclass

from .clouds import DRAWS_IN_CLOUDS, pass_cloud
from .device import add_to, draw
from .engine import dr, mi
from .fans import find_shifts, follow, open_fan
from .glowtable import shine
from .interfaces import Crossing, Hit, Tint, approach, find_hit, get_kept, proceed, set_out
from .launches import ENDS, ORDERS_OF_REFLECTION, AimFrame, LampRows, Landings, Steady, Tally
from .voxels import Voxels
from .world import DIPS, NO_PANEL, Geometry

# A wine glass's wall leads light round by total reflection: of all light on the glass 5e-3 goes on past 100
# events, 1.6e-4 past 400, none past 1600. Few rays go so far, so they cost no time.
MAX_EVENTS = 2000
# Light weaker than this share of what set out is dropped and booked as absorbed.
FAINT = 1e-6
# Steps of the draws for choices come first, then those for the slopes of rough faces, then those in clouds.
ROUGH_DRAWS = 1 << 20
# The order of what is scattered. Light that was scattered so often, or is so weak, has a last chance.
WANDERING = 3
MAX_SCATTERS = 20_000
WEAK = 0.02
LAST_CHANCE = 0.2
# Stands for the number of an interface where a ray tosses at each.
TOSSED = 0xFFFFFFFF
# How a ray ended.
LANDED, ESCAPED, LOST, BLACK, MISSED = 0, 1, 2, 3, 4

# Forms of a path so far: the sequences that make a reflective caustic, and all others.
_START, _THROWN, _IN, _BACK, _OUT, _OTHER = 0, 1, 2, 3, 4, 5


@dataclass
class Landed:
    """How a ray ended, and where it came down: u and v on the map, panel side."""

    end: object
    u: object
    v: object
    panel: object


def _next_form(form, partial, reflect):
    """Follow whether a path is still one that the first wall threw back."""
    out = mi.UInt32(_OTHER)
    out = dr.select((form == _START) & reflect, _THROWN, out)
    out = dr.select((form == _START) & ~reflect, _IN, out)
    out = dr.select((form == _IN) & reflect & partial, _BACK, out)
    return dr.select((form == _BACK) & ~reflect, _OUT, out)


@dr.syntax
def _pass_meters(row, ray, distance, flux, tally, active):
    """Add a stretch's flux to every meter whose front it goes through."""
    number = mi.UInt32(0)
    while dr.hint(number < tally.meter_count, exclude=[tally, ray]):
        place = dr.gather(mi.Vector4f, tally.meter_frames, 2 * number, active)
        facing = dr.gather(mi.Vector4f, tally.meter_frames, 2 * number + 1, active)
        normal = mi.Vector3f(facing.x, facing.y, facing.z)
        centre = mi.Point3f(place.x, place.y, place.z)
        slope = dr.dot(ray.d, normal)
        along = dr.dot(centre - ray.o, normal) / slope
        off = ray(along) - centre
        through = active & (slope < 0) & (along > 0) & (along < distance)
        through &= dr.squared_norm(off) < place.w * place.w
        add_to(tally.meters, flux, row * tally.meter_count + number, through)
        number += 1


@dataclass
class Photon:
    """Light on its way, beside its walk.

    Attributes
    ----------
    flux, taken : mi.Float
        What is left of it, and what media and metals took.
    forced, passed : mi.UInt32
        Reflections still to be forced, and interfaces passed since the last of them.
    odds, chance : mi.Float
        Until the last of them: the shares of the light that took each turn of this way, multiplied, which
        `flux` does not hold yet; and the chances of interfaces drawn so.
    choices, bounces, scatters : mi.UInt32
        Choices made, reflections of every sort, and how often it was scattered.
    form : mi.UInt32
        See `_next_form`.
    """

    flux: object
    taken: object
    forced: object
    passed: object
    odds: object
    chance: object
    choices: object
    bounces: object
    scatters: object
    form: object


def _send(geometry: Geometry, rows: LampRows, aim: AimFrame, row, blockers):
    """Send each ray off.

    Returns
    -------
    mi.Ray3f
        From just before the glassware.
    flux, far : mi.Float
        None where something is in its way; from the lamp point to the aim's rectangle, mm.
    steady : mi.Float
        Share of the front for which it may stand, see `steadiness`.
    """
    place = dr.gather(mi.Vector4f, rows.place, row)
    facing = dr.gather(mi.Vector4f, rows.normal, row)
    start = mi.Point3f(place.x, place.y, place.z)
    through = rows.locate(rows.ray)
    target = aim.corner + aim.across * through.x + aim.upward * through.y
    way = target - start
    far2 = dr.squared_norm(way)
    far = dr.sqrt(far2)
    direction = way / far
    outward = mi.Vector3f(facing.x, facing.y, facing.z)
    leaving = dr.maximum(dr.dot(direction, outward), 0)
    crossing = dr.abs(dr.dot(direction, aim.normal))
    flux = place.w / mi.Float(rows.grid * rows.grid) * leaving * crossing / far2
    only = mi.UInt32(0)
    shaped = (flux > 0) & (facing.w != 0)
    flux *= shine(aim.glow, only, start - aim.centre, aim.right, aim.up, outward, direction, shaped)

    # A start far off would cost all digits, and so would the way from there.
    short = dr.maximum(far - aim.back_off, 0)
    origin = target - direction * dr.minimum(far, aim.back_off)
    back = mi.Ray3f(origin, -direction, short * 0.9999, 0.0, [])
    hidden = geometry.scene.ray_test(back, coherent=False, active=(flux > 0) & blockers & (short > 0))
    return mi.Ray3f(origin, direction), dr.select(hidden, 0, flux), far, _find_share(aim.steady, through)


def _find_share(steady: Steady, through):
    column, line = (mi.UInt32(mi.Float(place) * mi.Float(steady.side)) for place in through)
    return dr.gather(mi.Float, steady.shares, line * steady.side + column)


def _choose(photon: Photon, crossing: Crossing, choice, seed):
    """Through or back, by the order of the launch: the way, and the share of the light that takes it."""
    reflectance = crossing.meeting.reflectance
    forcing = photon.forced > 0
    gap = dr.select(photon.forced == choice.x, choice.y, choice.z)
    tosses = dr.select(forcing, gap == TOSSED, choice.x >= 2)
    tossed = tosses & (draw(seed, photon.choices) < reflectance)
    reflect = crossing.total | dr.select(forcing & ~tosses, photon.passed == gap, tossed)
    share = dr.select(reflect, reflectance, 1 - reflectance)
    return reflect, dr.select(crossing.event & ~crossing.total & (forcing | ~tosses), share, 1)


def _pass_on(
    photon: Photon, hit: Hit, crossing: Crossing, reflect, share, mirror, rows: LampRows, choice, batch
):
    """The photon behind the face."""
    kept = get_kept(hit, crossing, reflect)
    event, metal = crossing.event, crossing.metal
    forcing = photon.forced > 0
    partial = event & ~crossing.total
    counted = partial & forcing
    thrown = counted & reflect
    odds = photon.odds * dr.select(counted, share, 1)
    chance = photon.chance * rows.chance_of(batch, choice.x - photon.forced, photon.passed, thrown)
    forced = photon.forced - dr.select(thrown, 1, 0)
    done = thrown & (forced == 0)
    onward = photon.flux * dr.select(metal, mirror, dr.select(counted, 1, share))
    onward *= dr.select(done, odds / (chance + rows.tossed * odds), 1)
    lost = dr.select(metal & ~forcing, photon.flux * (1 - mirror), 0)
    kept *= dr.select(crossing.sheer, crossing.spot.through, 1)
    lost += dr.select(forced == 0, onward * (1 - kept), 0)
    return Photon(
        flux=onward * kept,
        taken=photon.taken + lost,
        forced=forced,
        passed=dr.select(thrown, 0, photon.passed + dr.select(counted, 1, 0)),
        odds=dr.select(done, 1, odds),
        chance=chance,
        choices=photon.choices + dr.select(partial, 1, 0),
        bounces=photon.bounces + dr.select(event & reflect, 1, 0),
        scatters=photon.scatters,
        form=dr.select(event, _next_form(photon.form, partial, reflect), photon.form),
    )


@dr.freeze(warn_after=1000)
@dr.syntax
def trace(geometry: Geometry, rows: LampRows, aim: AimFrame, blockers, tally: Tally, voxels: Voxels):
    """Send rows × grid² rays off and follow each until it comes down on a panel or is gone.

    Parameters
    ----------
    geometry : Geometry
    rows : LampRows
    aim : AimFrame
    blockers : mi.Bool
        Opaque: whether anything but the table could stand between lamp and glassware.
    tally : Tally
    voxels : Voxels

    Returns
    -------
    Landings, Tally
    """
    row = rows.row_of(rows.ray)
    choice = dr.gather(mi.Vector4u, rows.order, row)
    band = dr.gather(mi.UInt32, rows.band, row)
    batch = dr.gather(mi.UInt32, rows.batch, row)
    visible = dr.gather(mi.Float, rows.visible, row)
    ray, sent, far, steady = _send(geometry, rows, aim, row, blockers)

    walk = set_out(ray)
    fan = open_fan(ray, aim, dr.minimum(far, aim.back_off))
    zero = mi.UInt32(0)
    wandering = choice.x == WANDERING
    # Rays that wander or toss choose each for itself.
    alone = wandering | (choice.y == TOSSED)
    seed = choice.w ^ dr.select(alone, rows.ray * mi.UInt32(0x9E3779B1) + 1, 0)
    photon = Photon(
        flux=mi.Float(sent), taken=mi.Float(0),
        forced=dr.select(wandering, 0, choice.x), passed=zero, odds=mi.Float(1), chance=mi.Float(1),
        choices=zero, bounces=zero, scatters=zero,
        form=mi.UInt32(_START),
    )  # fmt: skip
    active = mi.Bool(sent > 0)
    landed = Landed(mi.UInt32(MISSED), mi.Float(0), mi.Float(0), mi.UInt32(0))
    tint = Tint(rows.optics, row, band)

    while dr.hint(active, exclude=[geometry, rows, tint, tally, aim, voxels]):
        hit = find_hit(geometry, walk.ray, active)
        met = active & (walk.events > 0)
        # Light not yet thrown back, or scattered, as its order says belongs to another order.
        counts_here = (photon.forced == 0) & (~wandering | (photon.scatters > 0))

        # The stretch up to the face, or to where it is scattered: meters see only light that has met
        # glassware; media take their share, cloudy ones lay theirs into voxels.
        reach = dr.select(hit.valid, hit.distance_mm, dr.inf)
        counted = active & counts_here
        cloud = pass_cloud(walk, photon, reach, wandering, seed, counted, band, tally, voxels, active)
        _pass_meters(row, walk.ray, cloud.length, photon.flux, tally, met & counts_here)
        photon = _thin_out(walk, photon, hit.valid | cloud.scattered, cloud.length, wandering, counts_here)

        facing = active & ~cloud.scattered
        crossing = approach(geometry, walk, hit, tint, facing, seed, ROUGH_DRAWS + walk.events)
        landed = _come_down(walk, hit, crossing, landed, met, facing)
        first = (crossing.event | crossing.sheer) & ~met
        dr.scatter_add(tally.incident, mi.Float64(photon.flux * visible), batch, first)

        # An interface between two media, or a mirror; or a new way in a cloud.
        reflect, share = _choose(photon, crossing, choice, seed)
        mirror = dr.gather(mi.Float, geometry.metal_reflectance, hit.body * 16 + band, crossing.metal)
        photon = _pass_on(photon, hit, crossing, reflect, share, mirror, rows, choice, batch)
        fan = follow(geometry, fan, walk.ray, hit, crossing, reflect, walk.index, facing)
        walk = proceed(walk, hit, crossing, reflect)
        walk.ray.o = dr.select(cloud.scattered, cloud.place, walk.ray.o)
        walk.ray.d = dr.select(cloud.scattered, cloud.way, walk.ray.d)
        photon.scatters += dr.select(cloud.scattered, 1, 0)
        photon.form = dr.select(cloud.scattered, _OTHER, photon.form)

        going = crossing.metal | crossing.glassy | crossing.sheer | cloud.scattered
        active, photon, landed = _tell_going(walk, photon, landed, sent, seed, cloud.scattered, going)

    counts = ~wandering | (photon.scatters > 0)
    told = ~wandering & (landed.panel == 0)
    shifts = [dr.select(told, shift, 0) for shift in find_shifts(fan, ray, aim, far)]
    steady = dr.select(choice.x == 0, steady, 0)
    return _close(photon, walk, landed, batch, visible, counts, tally, shifts, steady), tally


def _thin_out(walk, photon: Photon, bounded, length, wandering, counts) -> Photon:
    """Take from light what media absorb on a stretch; of light that goes straight, what they scatter too."""
    thinning = walk.absorption + dr.select(wandering, 0, walk.scattering)
    kept = dr.select(bounded, dr.exp(-thinning * length), 1)
    absorbed = walk.absorption / dr.maximum(thinning, 1e-30)
    photon.taken += dr.select(counts, photon.flux * (1 - kept) * absorbed, 0)
    photon.flux *= kept
    return photon


def _tell_going(walk, photon: Photon, landed: Landed, sent, seed, scattered, going):
    """Tell which rays go on: faint light is taken out and booked, a way without end is lost."""
    weak = scattered & (photon.flux < sent * WEAK)
    spared = draw(seed, DRAWS_IN_CLOUDS - 1 - photon.scatters) < LAST_CHANCE
    photon.flux *= dr.select(weak, dr.select(spared, 1 / LAST_CHANCE, 0), 1)
    faint = going & (photon.flux * photon.odds < sent * FAINT)
    photon.taken += dr.select(faint & (photon.forced == 0), photon.flux, 0)
    endless = going & ((walk.events >= MAX_EVENTS) | (photon.scatters >= MAX_SCATTERS)) & ~faint
    landed.end = dr.select(endless, LOST, landed.end)
    return going & ~faint & ~endless, photon, landed


def _come_down(walk, hit: Hit, crossing: Crossing, landed: Landed, met, facing) -> Landed:
    """Note the end of the way: into the room, or down on a panel."""
    outside = walk.inside == 0
    down = crossing.matte & met
    # What may stand in a drink is told apart: any other panel that light meets there tells of a wrong count.
    black = hit.panel == NO_PANEL
    surface = dr.select(black, BLACK, LANDED)
    end = dr.select(met & facing & ~hit.valid, dr.select(outside, ESCAPED, LOST), landed.end)
    end = dr.select(down, dr.select(outside | black | (hit.slot == DIPS), surface, LOST), end)
    spot = crossing.spot
    here = Landed(end, spot.u, spot.v, hit.panel)
    landed = dr.select(down, here, landed)
    landed.end = end
    return landed


def _close(
    photon: Photon, walk, landed: Landed, batch, visible, counts, tally: Tally, shifts, share
) -> Landings:
    """Book each ray's light by its batch and end, and tell where it came down."""
    done = (walk.events > 0) & (photon.forced == 0) & counts
    over = done & (landed.end != MISSED)
    here = over & (landed.end == LANDED)
    reflections = dr.minimum(photon.bounces, ORDERS_OF_REFLECTION - 1)
    light = mi.Float64(photon.flux * visible)
    taken = mi.Float64(photon.taken * visible)
    dr.scatter_add(tally.absorbed, taken, batch * ORDERS_OF_REFLECTION + reflections, done)
    end = batch * ENDS + landed.end
    dr.scatter_add(tally.ends, light, end * ORDERS_OF_REFLECTION + reflections, over)
    thrown = (photon.form == _THROWN) | (photon.form == _OUT)
    panel = landed.panel * 2 + dr.select(thrown, 1, 0)
    add_to(tally.panels, light, batch * tally.sides * 2 + panel, here)
    return Landings(
        u=landed.u,
        v=landed.v,
        flux=dr.select(over, photon.flux, 0),
        down=here,
        panel=panel,
        shifts=shifts,
        share=share,
    )
