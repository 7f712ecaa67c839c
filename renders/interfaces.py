"""What happens where a ray meets a face: which body, which medium before and after, Fresnel, directions.

All functions are plain arithmetic on Dr.Jit arrays and are inlined into the kernels of both passes.
"""

from __future__ import annotations

from dataclasses import dataclass

from .device import draw_pair
from .engine import dr, mi
from .roughness import get_away, roughen
from .world import AIR, DIELECTRIC, MATTE, METAL, NO_PANEL, SHEER, TRANSLUCENT, Geometry

# A new ray starts this far from the face it leaves, mm: twenty-five times the rounding of a coordinate of
# 100 mm in single precision. A longer step jumps over the thin edges of drops, grains and cracks: at 1e-3
# a set of 3000 drops lost 1.3e-4 of its light, at this 6e-6.
STEP_OFF_MM = 2e-4
# Smallest cosine between a ray and the face it leaves.
GRAZING = 1e-4


@dataclass
class Hit:
    """Where a ray meets the set, and what it meets."""

    valid: object
    distance_mm: object
    point: object
    face_normal: object
    normal: object
    entering: object
    body: object
    kind: object
    slot: object
    panel: object
    roughness: object
    corners: object
    blend: object
    face: object


def find_hit(geometry: Geometry, ray: mi.Ray3f, active: mi.Bool) -> Hit:
    """Intersect and look up the face."""
    near = geometry.scene.ray_intersect_preliminary(ray, coherent=False, active=active)
    valid = active & near.is_valid()
    face = near.prim_index
    record = dr.gather(mi.Vector4f, geometry.face_normal, face, valid)
    corners = dr.gather(mi.Vector4u, geometry.face_corners, face, valid)
    face_normal = mi.Normal3f(record.x, record.y, record.z)
    body = corners.w
    n0 = dr.gather(mi.Vector4f, geometry.vertex_normal, corners.x, valid)
    n1 = dr.gather(mi.Vector4f, geometry.vertex_normal, corners.y, valid)
    n2 = dr.gather(mi.Vector4f, geometry.vertex_normal, corners.z, valid)
    b1, b2 = near.prim_uv.x, near.prim_uv.y
    blend = n0 * (1 - b1 - b2) + n1 * b1 + n2 * b2
    normal = dr.normalize(mi.Normal3f(blend.x, blend.y, blend.z))
    about = dr.gather(mi.Vector4u, geometry.bodies, body, valid)
    entering = dr.dot(ray.d, face_normal) < 0
    return Hit(
        valid=valid,
        distance_mm=near.t,
        point=ray(near.t),
        face_normal=face_normal,
        normal=normal,
        entering=entering,
        body=body,
        kind=about.x,
        slot=about.y,
        panel=dr.select(entering, about.z, about.w),
        roughness=n0.w,
        corners=corners,
        blend=near.prim_uv,
        face=face,
    )


def top_medium(inside: mi.UInt64) -> mi.UInt32:
    """Medium that rules where the bodies counted in `inside` overlap: the lowest slot, air if none.

    Four bits a slot count how many bodies of that medium the ray is in.
    """
    lowest = mi.UInt32(dr.tzcnt(inside)) >> 2
    return dr.select(inside == 0, mi.UInt32(AIR), lowest)


def cross_count(inside: mi.UInt64, hit: Hit) -> mi.UInt64:
    """The count after the ray has crossed the face."""
    one = mi.UInt64(1) << mi.UInt64(hit.slot << 2)
    return dr.select(hit.entering, inside + one, inside - one)


def optics(table: mi.Float, row: mi.UInt32, medium: mi.UInt32, active: mi.Bool) -> mi.Vector4f:
    """Index, absorption and scattering per mm, and anisotropy of a medium at the wavelength of a row."""
    return dr.gather(mi.Vector4f, table, row * (AIR + 1) + medium, active)


@dataclass
class Meeting:
    """Both ways on from an interface."""

    reflectance: object
    reflected: object
    refracted: object


def meet(
    direction: mi.Vector3f, hit: Hit, slope: mi.Normal3f, index_before: mi.Float, index_after: mi.Float
) -> Meeting:
    """Unpolarised Fresnel reflectance and both directions at an interface or mirror.

    Directions use the exact normal of the surface, or of the slope met on a rough one; where the mesh's
    face disagrees about the side, the direction is nudged back to the side that it belongs to.
    """
    toward = dr.select(hit.entering, slope, -slope)
    face = dr.select(hit.entering, hit.face_normal, -hit.face_normal)
    cosine = dr.clip(-dr.dot(direction, toward), 1e-6, 1)
    ratio = index_before / index_after
    squared = 1 - ratio * ratio * (1 - cosine * cosine)
    total = squared <= 0
    cosine_after = dr.sqrt(dr.maximum(squared, 0))
    # Fresnel, E. Hecht, Optics: amplitude coefficients across and along the plane of incidence.
    across = (index_before * cosine - index_after * cosine_after) / (
        index_before * cosine + index_after * cosine_after
    )
    along = (index_after * cosine - index_before * cosine_after) / (
        index_after * cosine + index_before * cosine_after
    )
    reflectance = dr.select(total, 1, 0.5 * (across * across + along * along))
    reflected = direction + 2 * cosine * toward
    refracted = ratio * direction + (ratio * cosine - cosine_after) * toward
    return Meeting(
        reflectance=reflectance,
        reflected=_keep_side(reflected, face),
        refracted=_keep_side(refracted, -face),
    )


def _keep_side(direction: mi.Vector3f, side: mi.Normal3f) -> mi.Vector3f:
    short = dr.maximum(0, GRAZING - dr.dot(direction, side))
    return dr.normalize(direction + short * side)


@dataclass
class Walk:
    """A ray on its way: where it is, and the medium that it is in.

    Attributes
    ----------
    ray : mi.Ray3f
    inside : mi.UInt64
        How many bodies of each medium it is in, four bits a slot.
    index, absorption, scattering, anisotropy : mi.Float
        Of the medium that rules there, per mm.
    events : mi.UInt32
        Interfaces, mirrors and sheer sheets met so far.
    """

    ray: object
    inside: object
    index: object
    absorption: object
    scattering: object
    anisotropy: object
    events: object


def set_out(ray: mi.Ray3f) -> Walk:
    """A walk that begins in the room's air."""
    return Walk(mi.Ray3f(ray), mi.UInt64(0), mi.Float(1), mi.Float(0), mi.Float(0), mi.Float(0), mi.UInt32(0))


@dataclass
class Spot:
    """A place on a panel's side.

    Attributes
    ----------
    u, v : mi.Float
        On its map, mm.
    number : mi.UInt32
        Spot of its picture.
    through : mi.Float
        Share of the light that goes straight on.
    translucent : mi.Bool
        Whether the side lets light through diffusely.
    """

    u: object
    v: object
    number: object
    through: object
    translucent: object


@dr.syntax
def find_spot(geometry: Geometry, hit: Hit, band: mi.UInt32, active: mi.Bool) -> Spot:
    """Look up where on a panel's side a ray came down; zeros where it did not."""
    u, v, through, number, translucent = mi.Float(0), mi.Float(0), mi.Float(0), mi.UInt32(0), mi.Bool(False)
    if active:
        places = [dr.gather(mi.Vector2f, geometry.places, corner, active) for corner in hit.corners.xyz]
        place = places[0] + (places[1] - places[0]) * hit.blend.x + (places[2] - places[0]) * hit.blend.y
        about = dr.gather(mi.Vector4u, geometry.spots, hit.panel, active)
        scale = dr.gather(mi.Vector2f, geometry.spot_scales, hit.panel, active)
        column = dr.minimum(mi.UInt32(dr.maximum(place.x * scale.x, 0)), about.y - 1)
        line = dr.minimum(mi.UInt32(dr.maximum(place.y * scale.y, 0)), about.z - 1)
        number = about.x + line * about.y + column
        sheer = active & ((about.w & SHEER) != 0)
        through = dr.gather(mi.Float, geometry.through, number * 16 + band, sheer)
        translucent = (about.w & TRANSLUCENT) != 0
        u, v = place.x, place.y
    return Spot(u, v, number, through, translucent)


@dataclass
class Crossing:
    """What a face does to a walk.

    Attributes
    ----------
    matte, metal, glassy : mi.Bool
        Kind of the face; none where nothing was hit.
    sheer : mi.Bool
        A matte sheet at a place where light goes straight through.
    event : mi.Bool
        The way splits or turns here: another index behind the face, or a mirror.
    total : mi.Bool
        All light is thrown back.
    inside : mi.UInt64
        As in `Walk`, behind the face.
    beyond : mi.Vector4f
        See `optics`, behind the face.
    meeting : Meeting
    spot : Spot
        Of a matte or sheer face.
    """

    matte: object
    metal: object
    glassy: object
    sheer: object
    event: object
    total: object
    inside: object
    beyond: object
    meeting: Meeting
    spot: Spot


@dataclass
class Tint:
    """Colour of a walk: row of the optics table `optics`, and band."""

    optics: object
    row: object
    band: object


def approach(geometry: Geometry, walk: Walk, hit: Hit, tint: Tint, active: mi.Bool, seed, step) -> Crossing:
    """Tell what the face that was hit does to a walk.

    Seed and step draw the slope met on a rough face: the same ones draw the same.
    """
    found = active & hit.valid
    panel = found & (hit.kind == MATTE)
    spot = find_spot(geometry, hit, tint.band, panel & (hit.panel != NO_PANEL))
    sheer = panel & (spot.through > 0)
    matte = panel & ~sheer
    metal = found & (hit.kind == METAL)
    glassy = found & (hit.kind == DIELECTRIC)
    inside = cross_count(walk.inside, hit)
    beyond = optics(tint.optics, tint.row, top_medium(inside), glassy)
    slope = _find_slope(walk.ray.d, hit, metal | glassy, seed, step)
    meeting = meet(walk.ray.d, hit, slope, walk.index, beyond.x)
    event = metal | (glassy & (walk.index != beyond.x))
    total = metal | (meeting.reflectance >= 1)
    return Crossing(matte, metal, glassy, sheer, event, total, inside, beyond, meeting, spot)


@dr.syntax
def _find_slope(direction, hit: Hit, active, seed, step):
    slope = mi.Normal3f(hit.normal)
    if active & (hit.roughness > 0):
        first, second = draw_pair(seed, step)
        slope = roughen(direction, hit.normal, hit.roughness, first, second)
    return slope


def get_kept(hit: Hit, crossing: Crossing, reflect: mi.Bool) -> mi.Float:
    """Share of the light that a rough face lets get away on the way that was chosen; 1 where it is smooth."""
    way = dr.select(reflect, crossing.meeting.reflected, crossing.meeting.refracted)
    outward = dr.select(hit.entering == reflect, hit.normal, -hit.normal)
    return dr.select(crossing.event, get_away(way, outward, hit.roughness), 1)


def proceed(walk: Walk, hit: Hit, crossing: Crossing, reflect: mi.Bool) -> Walk:
    """Return the walk behind the face, or thrown back by it; through a sheer one it goes straight on."""
    back = crossing.event & reflect
    turned = dr.select(back, crossing.meeting.reflected, crossing.meeting.refracted)
    onward = dr.select(crossing.event, turned, walk.ray.d)
    through = crossing.glassy & ~back
    # The next stretch starts on the side of the face to which it leaves.
    side = dr.select(dr.dot(onward, hit.face_normal) > 0, STEP_OFF_MM, -STEP_OFF_MM)
    ray = mi.Ray3f(walk.ray)
    goes_on = crossing.metal | crossing.glassy | crossing.sheer
    ray.o = dr.select(goes_on, hit.point + side * hit.face_normal, ray.o)
    ray.d = onward
    return Walk(
        ray,
        dr.select(through, crossing.inside, walk.inside),
        dr.select(through, crossing.beyond.x, walk.index),
        dr.select(through, crossing.beyond.y, walk.absorption),
        dr.select(through, crossing.beyond.z, walk.scattering),
        dr.select(through, crossing.beyond.w, walk.anisotropy),
        walk.events + dr.select(crossing.event | crossing.sheer, 1, 0),
    )
