"""The camera's rays sent ahead into cloudy media: in which directions they go through each voxel."""

from __future__ import annotations

from brimcast.scene.built import BuiltSet

from .camerapass import set_eye
from .device import add_to, draw, opaque_int
from .engine import dr, mi
from .eye import Eye, first_ray, spread_samples
from .interfaces import Tint, approach, find_hit, proceed, set_out
from .voxels import OCTANTS, Voxels, find_voxel, octant_of, place_voxels, point_ways
from .world import Geometry, World, list_wavelengths

# Rays, the wavelength at which they are bent, and the faces that each may meet.
RAYS = 1 << 18
WAVELENGTH_NM = 550.0
FACES = 24


def scout(built: BuiltSet, world: World, about: int) -> Voxels:
    """Return about so many voxels of the set's cloudy media, with the camera's directions in them."""
    voxels = place_voxels(built, world, about)
    count = int(voxels.count.numpy()[0])
    index = dr.arange(mi.UInt32, RAYS)
    seen = dr.zeros(mi.Float, OCTANTS * count * 4)
    dr.make_opaque(index, seen)
    tint = list_wavelengths(built, [WAVELENGTH_NM]).optics
    eye = set_eye(built.camera)
    seen = look_ahead(
        world.geometry, eye, voxels, tint, index, opaque_int(RAYS), opaque_int(built.seed), seen
    )
    return point_ways(voxels, seen.numpy().reshape(OCTANTS, count, 4))


@dr.freeze(warn_after=1000)
@dr.syntax
def look_ahead(geometry: Geometry, eye: Eye, voxels: Voxels, optics, index, rays, salt, seen):
    """Send rays from all over the picture through clear and cloudy media alike, until they meet a surface.

    Parameters
    ----------
    optics : mi.Float
        See `world.Wavelengths`, one row.
    index : mi.UInt32
        Number of each ray.
    rays : mi.UInt32
        How many.
    seen : mi.Float
        (octants × voxels × 4) sums of directions, and number of rays; added to.
    """
    whole = eye.pixels.x * eye.pixels.y
    pixel = mi.UInt32(mi.Float(index) / mi.Float(rays) * mi.Float(whole))
    _, places = spread_samples(pixel, salt, mi.Float(index & 1023))
    ray = first_ray(eye, pixel, mi.Point2f(places[0], places[1]), mi.Point2f(places[2], places[3]))
    walk = set_out(ray)
    tint = Tint(optics, mi.UInt32(0), mi.UInt32(0))
    active = mi.Bool(True)
    step = mi.UInt32(0)
    while dr.hint(active, exclude=[geometry, voxels, tint, seen]):
        hit = find_hit(geometry, walk.ray, active)
        # A place somewhere on the stretch, rather near its beginning.
        cloudy = active & hit.valid & (walk.scattering > 0)
        chance = draw(index ^ salt, 2 * step)
        place = walk.ray(hit.distance_mm * chance * chance)
        within, voxel = find_voxel(voxels, place, cloudy)
        first = 4 * (octant_of(walk.ray.d) * voxels.count + voxel)
        for axis in range(3):
            add_to(seen, walk.ray.d[axis], first + axis, within)
        add_to(seen, 1, first + 3, within)
        crossing = approach(geometry, walk, hit, tint, active, index ^ salt, (1 << 20) + step)
        reflect = crossing.metal | (draw(index ^ salt, 2 * step + 1) < crossing.meeting.reflectance)
        walk = proceed(walk, hit, crossing, reflect)
        step += 1
        active = (crossing.metal | crossing.glassy | crossing.sheer) & (step < FACES)
    return seen
