"""What happens where a ray meets a face: which body, which medium before and after, Fresnel, directions.

All functions are plain arithmetic on Dr.Jit arrays and are inlined into the kernels of both passes.
"""

from __future__ import annotations

from dataclasses import dataclass

from .engine import dr, mi
from .world import AIR, DIELECTRIC, MATTE, METAL, World

# A new ray starts this far from the face it leaves, mm: a hundred times the rounding of a coordinate of
# 100 mm in single precision, and a fiftieth of what a drink reaches into its glass.
STEP_OFF_MM = 1e-3
# Smallest cosine between a ray and the face it leaves.
GRAZING = 1e-4


@dataclass
class Hit:
    """Where a ray meets the set, and what it meets."""

    valid: mi.Bool
    distance_mm: mi.Float
    point: mi.Point3f
    face_normal: mi.Normal3f
    normal: mi.Normal3f
    entering: mi.Bool
    body: mi.UInt32
    kind: mi.UInt32
    slot: mi.UInt32
    panel: mi.UInt32
    patch: mi.UInt32


def find_hit(world: World, ray: mi.Ray3f, active: mi.Bool) -> Hit:
    """Intersect and look up the face."""
    near = world.scene.ray_intersect_preliminary(ray, coherent=False, active=active)
    valid = active & near.is_valid()
    face = near.prim_index
    record = dr.gather(mi.Vector4f, world.face_normal, face, valid)
    corners = dr.gather(mi.Vector4u, world.face_corners, face, valid)
    face_normal = mi.Normal3f(record.x, record.y, record.z)
    body = corners.w
    n0 = dr.gather(mi.Vector4f, world.vertex_normal, corners.x, valid)
    n1 = dr.gather(mi.Vector4f, world.vertex_normal, corners.y, valid)
    n2 = dr.gather(mi.Vector4f, world.vertex_normal, corners.z, valid)
    b1, b2 = near.prim_uv.x, near.prim_uv.y
    blend = n0 * (1 - b1 - b2) + n1 * b1 + n2 * b2
    normal = dr.normalize(mi.Normal3f(blend.x, blend.y, blend.z))
    about = dr.gather(mi.Vector4u, world.bodies, body, valid)
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
        patch=mi.UInt32(record.w),
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


def optics(table: mi.Float, row: mi.UInt32, medium: mi.UInt32, active: mi.Bool) -> mi.Vector2f:
    """Index and absorption per mm of a medium at the wavelength of a row."""
    return dr.gather(mi.Vector2f, table, row * (AIR + 1) + medium, active)


@dataclass
class Meeting:
    """Both ways on from an interface."""

    same: mi.Bool
    reflectance: mi.Float
    reflected: mi.Vector3f
    refracted: mi.Vector3f


def meet(direction: mi.Vector3f, hit: Hit, index_before: mi.Float, index_after: mi.Float) -> Meeting:
    """Unpolarised Fresnel reflectance and both directions at a smooth interface or mirror.

    Directions use the exact normal of the surface; where the mesh's face disagrees about the side, the
    direction is nudged back to the side that it belongs to.
    """
    toward = dr.select(hit.entering, hit.normal, -hit.normal)
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
        same=index_before == index_after,
        reflectance=reflectance,
        reflected=_keep_side(reflected, face),
        refracted=_keep_side(refracted, -face),
    )


def _keep_side(direction: mi.Vector3f, side: mi.Normal3f) -> mi.Vector3f:
    short = dr.maximum(0, GRAZING - dr.dot(direction, side))
    return dr.normalize(direction + short * side)


def step_off(hit: Hit, direction: mi.Vector3f) -> mi.Point3f:
    """Start of the next ray, on the side of the face to which it leaves."""
    side = dr.select(dr.dot(direction, hit.face_normal) > 0, STEP_OFF_MM, -STEP_OFF_MM)
    return hit.point + side * hit.face_normal


__all__ = [
    "DIELECTRIC",
    "GRAZING",
    "Hit",
    "MATTE",
    "METAL",
    "Meeting",
    "cross_count",
    "find_hit",
    "meet",
    "optics",
    "step_off",
    "top_medium",
]
