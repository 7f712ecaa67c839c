"""The sight pass: what single rays meet, and where their straight ways lead. No light, no chance.

A ray goes on as most of its light does: through every interface that lets light through, back only where all
of it is thrown back; or, asked for the mirrored way, back from the first face that it meets and no farther
than to the next thing. Rough faces count as smooth.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from brimcast.scene.built import BuiltSet

from .device import counts, floats, opaque_int
from .engine import dr, mi, start
from .interfaces import Tint, approach, find_hit, proceed, set_out
from .lights import Lights, meet_front, set_lamps
from .world import Geometry, build_world, list_wavelengths

WAVELENGTH_NM = 587.0
# Faces that a ray may meet, and rays in one launch.
MAX_FACES = 128
LAUNCH = 1 << 21
NOTHING = 0xFFFFFFFF


@dataclass
class Trail:
    """What each ray met, as the kernel tells it.

    Attributes
    ----------
    first, end : mi.UInt32
        Body that was met first, and that the way ended on; a lamp's number comes after those of bodies.
    reach, last : mi.Float
        mm to the first, and from the last turn to the end.
    weight : mi.Float
        Share of the end's radiance that comes back along the ray.
    drunk : mi.Bool
        The way led through a marked body.
    place : mi.Point3f
        Where the last stretch began.
    way : mi.Vector3f
        Its direction.
    """

    first: object
    end: object
    reach: object
    last: object
    weight: object
    drunk: object
    place: object
    way: object


@dr.freeze(warn_after=1000)
@dr.syntax
def follow_straight(geometry: Geometry, lights: Lights, optics, marks, places, ways, index, bodies, mirrored):
    """Follow rays to their ends.

    Parameters
    ----------
    optics : mi.Float
        See `world.Wavelengths`, one row.
    marks : mi.UInt32
        1 for each body that is to be noted, else 0.
    places, ways : mi.Float
        Four numbers a ray: start and direction, each with a zero.
    index : mi.UInt32
        Number of each ray.
    bodies : mi.UInt32
        How many there are.
    mirrored : mi.Bool
        Take the way that the first face throws back.
    """
    place = dr.gather(mi.Vector4f, places, index)
    way = dr.gather(mi.Vector4f, ways, index)
    walk = set_out(mi.Ray3f(mi.Point3f(place.x, place.y, place.z), mi.Vector3f(way.x, way.y, way.z)))
    # The tints of metals and prints are those of the band 580 to 600 nm.
    tint = Tint(optics, mi.UInt32(0), mi.UInt32(10))
    trail = Trail(
        mi.UInt32(NOTHING), mi.UInt32(NOTHING), mi.Float(0), mi.Float(0), mi.Float(1), mi.Bool(False),
        mi.Point3f(walk.ray.o), mi.Vector3f(walk.ray.d),
    )  # fmt: skip
    active, turned = mi.Bool(True), mi.Bool(False)
    travelled = mi.Float(0)
    step = mi.UInt32(0)
    while dr.hint(active, exclude=[geometry, lights, tint, marks, bodies, mirrored]):
        hit = find_hit(geometry, walk.ray, active)
        hit.roughness = mi.Float(0)
        reach = dr.select(hit.valid, hit.distance_mm, dr.inf)
        lamp, near, lit, glow = meet_front(lights, walk.ray, reach, active)
        shone = active & (lamp < lights.count)
        found = active & hit.valid & ~shone
        crossing = approach(geometry, walk, hit, tint, found, index, step)
        met = shone | (found & ~crossing.sheer)
        thing = dr.select(shone, bodies + lamp, hit.body)

        # What the ray meets first, and where it ends: on a lamp, on what is matte, or mirrored.
        fresh = met & (trail.first == NOTHING)
        trail.first = dr.select(fresh, thing, trail.first)
        trail.reach = dr.select(fresh, travelled + near, trail.reach)
        over = shone | crossing.matte | (turned & (crossing.glassy | crossing.metal))
        trail.end = dr.select(over, thing, trail.end)
        trail.last = dr.select(over, near, trail.last)
        trail.place = dr.select(active, walk.ray.o, trail.place)
        trail.way = dr.select(active, walk.ray.d, trail.way)

        # Through, or back.
        thinning = walk.absorption + walk.scattering
        kept = dr.select(met | found, dr.exp(-thinning * dr.minimum(near, 1e9)), 1)
        back = crossing.total | (mirrored & crossing.event & ~turned)
        going = found & ~over
        reflectance = crossing.meeting.reflectance
        mirror = dr.gather(mi.Float, geometry.metal_reflectance, hit.body * 16 + tint.band, crossing.metal)
        share = dr.select(back, dr.select(crossing.metal, mirror, reflectance), 1 - reflectance)
        kept *= dr.select(going & crossing.event, share, 1)
        kept *= dr.select(going & crossing.sheer, crossing.spot.through, 1)
        trail.weight *= dr.select(shone, kept * dr.select(lit, glow, 0), kept)
        mark = dr.gather(mi.UInt32, marks, hit.body, going & crossing.glassy)
        trail.drunk |= going & crossing.glassy & ~back & hit.entering & (mark == 1)
        turned |= going & mirrored & crossing.event & back
        travelled += dr.select(going, near, 0)
        walk = proceed(walk, hit, crossing, back)
        step += 1
        active = going & (step < MAX_FACES)
    return trail


@dataclass(frozen=True, eq=False)
class Seen:
    """What rays met.

    Attributes
    ----------
    first, end : (n,) int
        Thing met first, and that the way ended on, as `Lookout.names` counts them; -1 for none.
    place_mm : (n, 3) float
        Where the first was met; nan where there was none.
    weight : (n,) float
        Share of the end's radiance that comes back along the ray; 0 on the back of a lamp.
    drink : (n,) bool
        The way led through the drink asked for.
    from_mm, way, last_mm : (n, 3), (n, 3), (n,) float
        Begin of the last stretch, its direction, and its length; infinite where it met nothing.
    """

    first: np.ndarray
    end: np.ndarray
    place_mm: np.ndarray
    weight: np.ndarray
    drink: np.ndarray
    from_mm: np.ndarray
    way: np.ndarray
    last_mm: np.ndarray


class Lookout:
    """A set on the device, ready to be looked at ray by ray.

    Parameters
    ----------
    built : BuiltSet
    device : {'auto', 'cpu', 'gpu'}
    drink_of : str, optional
        Glass whose drink is noted.

    Attributes
    ----------
    names : tuple of str
        Of things: solids, panels, then lamps.

    Raises
    ------
    EngineError
        No device can trace.
    """

    def __init__(self, built: BuiltSet, device: str = "auto", drink_of: str | None = None):
        start(device)
        self.built = built
        bodies = [*built.solids, *built.panels]
        self.names = tuple(thing.name for thing in [*bodies, *built.lamps])
        self._world = build_world(built)
        self._lights = set_lamps(built, self._world)
        self._optics = list_wavelengths(built, np.array([WAVELENGTH_NM])).optics
        self._bodies = opaque_int(len(bodies))
        self._marks = counts([is_drink(built, body, drink_of) for body in bodies])

    def is_part(self, of: str) -> np.ndarray:
        """Return which things (n,) are a solid of a glass or prop: its glass, ice, drink and the like."""
        solids = [solid.name == of or solid.name.startswith(f"{of} ") for solid in self.built.solids]
        return np.array(solids + [False] * (len(self.names) - len(solids)))

    def look(self, places_mm, ways, mirrored: bool = False) -> Seen:
        """Return what rays meet.

        Parameters
        ----------
        places_mm, ways : (n, 3) float
            Starts, in the room's air, and unit directions; one start serves all.
        mirrored : bool
            Follow what the first face throws back instead of what goes through.
        """
        ways = np.asarray(ways, float).reshape(-1, 3)
        places = np.broadcast_to(np.asarray(places_mm, float), ways.shape)
        parts = [
            self._launch(places[start : start + LAUNCH], ways[start : start + LAUNCH], mirrored)
            for start in range(0, len(ways), LAUNCH)
        ]
        if not parts:
            none, numbers, rows = np.zeros(0, int), np.zeros(0), np.zeros((0, 3))
            return Seen(none, none, rows, numbers, none > 0, rows, rows, numbers)
        names = [field.name for field in fields(Seen)]
        return Seen(*(np.concatenate([part[name] for part in parts]) for name in names))

    def _launch(self, places, ways, mirrored: bool) -> dict:
        index = dr.arange(mi.UInt32, len(ways))
        dr.make_opaque(index)
        rows = [floats(np.pad(rows, ((0, 0), (0, 1)))) for rows in (places, ways)]
        flag = dr.opaque(mi.Bool, mirrored)
        inputs = self._optics, self._marks, *rows, index, self._bodies, flag
        trail = follow_straight(self._world.geometry, self._lights, *inputs)
        first, end = (np.array(part.numpy(), np.int64) for part in (trail.first, trail.end))
        none = first == NOTHING
        last = np.where(end == NOTHING, np.inf, trail.last.numpy().astype(float))
        place = places + trail.reach.numpy().astype(float)[:, None] * ways
        return {
            "first": np.where(none, -1, first),
            "end": np.where(end == NOTHING, -1, end),
            "place_mm": np.where(none[:, None], np.nan, place),
            "weight": trail.weight.numpy().astype(float),
            "drink": trail.drunk.numpy(),
            "from_mm": trail.place.numpy().T.astype(float),
            "way": trail.way.numpy().T.astype(float),
            "last_mm": last,
        }


def part_of(seen: Seen, part: np.ndarray) -> np.ndarray:
    """Return which rays (n,) met one of the things of a mask first, see `Lookout.is_part`."""
    return (seen.first >= 0) & part[seen.first]


def is_drink(built: BuiltSet, body, glass: str | None) -> bool:
    """Return whether a body of a set is a drink in a glass."""
    own = glass is not None and body.name.startswith(f"{glass} ")
    slotted = own and getattr(body, "kind", None) == "dielectric"
    return slotted and built.media[body.slot].kind == "drink"
