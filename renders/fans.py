"""How rays beside a ray go: ray differentials, from the aim's rectangle to where the light comes down.

A ray's *fan* are the rays through the same point of the aim's rectangle whose direction is turned a little
about either of its sides. To first order each stays beside its ray by a place and a way, which every stretch
and every face change in turn (H. Igehy, Tracing ray differentials, SIGGRAPH 1999).
"""

from __future__ import annotations

from dataclasses import dataclass

from .engine import dr, mi
from .interfaces import Crossing, Hit
from .launches import AimFrame
from .world import Geometry

# Cosine behind a face under which light leaves it so flatly that its way is not told: 0.02 is 1.1 degrees.
LEAST_COSINE = 0.02


@dataclass
class Fan:
    """What a ray's place, mm, and way change by, per unit that its first way turns toward either side.

    Attributes
    ----------
    places, ways : list of mi.Vector3f
        Two each: across and upward.
    """

    places: list
    ways: list


def open_fan(ray, aim: AimFrame, before_mm) -> Fan:
    """The fan of a ray that starts so far before the aim's rectangle."""
    sides = dr.normalize(aim.across), dr.normalize(aim.upward)
    ways = [side - ray.d * dr.dot(ray.d, side) for side in sides]
    return Fan([-before_mm * way for way in ways], ways)


def follow(geometry: Geometry, fan: Fan, ray, hit: Hit, crossing: Crossing, reflect, index, active) -> Fan:
    """The fan at the next face, and behind it where light turns there.

    Parameters
    ----------
    ray : mi.Ray3f
        Up to the face.
    reflect : mi.Bool
    index : mi.Float
        Of the medium before the face.
    """
    turns = active & crossing.event
    bend = dr.gather(mi.Vector4f, geometry.face_bend, hit.face, turns)
    # The axes of the table.
    first, second = mi.coordinate_system(hit.face_normal)
    sign = dr.select(hit.entering, 1, -1)
    toward = sign * hit.normal
    cosine = dr.clip(-dr.dot(ray.d, toward), 1e-3, 1)
    ratio = index / crossing.beyond.x
    behind = dr.sqrt(dr.maximum(1 - ratio * ratio * (1 - cosine * cosine), 0))
    behind = dr.maximum(behind, LEAST_COSINE)
    # The new way is so much of the old one and of the normal; `slope` is how the latter goes by the cosine.
    along = dr.select(reflect, 1, ratio)
    across = dr.select(reflect, 2 * cosine, ratio * cosine - behind)
    slope = dr.select(reflect, 2, ratio - ratio * ratio * cosine / behind)
    facing = dr.dot(ray.d, hit.face_normal)
    places, ways = [], []
    for place, way in zip(fan.places, fan.ways, strict=True):
        there = place + hit.distance_mm * way
        there -= ray.d * (dr.dot(there, hit.face_normal) / facing)
        x, y = dr.dot(there, first), dr.dot(there, second)
        turned = sign * ((bend.x * x + bend.y * y) * first + (bend.z * x + bend.w * y) * second)
        turned -= toward * dr.dot(toward, turned)
        change = -dr.dot(way, toward) - dr.dot(ray.d, turned)
        places.append(dr.select(active & hit.valid, there, place))
        ways.append(dr.select(turns, along * way + across * turned + slope * change * toward, way))
    return Fan(places, ways)


def find_shifts(fan: Fan, ray, aim: AimFrame, far_mm) -> list:
    """How far a place on the table moves by each mm that the lamp point moves along the lamp's right and up.

    Parameters
    ----------
    ray : mi.Ray3f
        As it set out.
    far_mm : mi.Float
        From the lamp point to the aim's rectangle.

    Returns
    -------
    list of mi.Vector2f
        Two; not finite where light goes too flatly.
    """
    across, upward = dr.normalize(aim.across), dr.normalize(aim.upward)
    shifts = []
    for side in (aim.right, aim.up):
        # Along the ray a lamp point moves nothing: what it goes toward the rectangle is taken off so.
        depth = dr.dot(side, aim.normal) / dr.dot(ray.d, aim.normal)
        by_across = dr.dot(side, across) - depth * dr.dot(ray.d, across)
        by_upward = dr.dot(side, upward) - depth * dr.dot(ray.d, upward)
        moved = fan.places[0] * by_across + fan.places[1] * by_upward
        shifts.append(-mi.Vector2f(moved.x, moved.y) / far_mm)
    return shifts
