"""Light on a stretch through a cloudy medium: laid into voxels for the camera, and scattered."""

from __future__ import annotations

from dataclasses import dataclass

from .device import draw_pair
from .engine import dr, mi
from .scattering import free_path, tire, turn
from .voxels import lay_in

# Steps of the draws: those for choices and rough faces come before.
DRAWS_IN_CLOUDS = 1 << 24
# Light that was scattered so often has forgotten its direction.
TIRED = 16


@dataclass
class Cloud:
    """What a cloudy medium does to light on a stretch.

    Attributes
    ----------
    scattered : mi.Bool
    length : mi.Float
        Up to there, or to the face, mm.
    place, way : mi.Point3f, mi.Vector3f
        Where it is scattered, and into which direction.
    """

    scattered: object
    length: object
    place: object
    way: object


@dr.syntax
def pass_cloud(walk, photon, reach, wandering, seed, counted, band, tally, voxels, active) -> Cloud:
    """Lay what light a stretch has into voxels, and scatter it where it wanders.

    Parameters
    ----------
    walk, photon : Walk, photons.Photon
    reach : mi.Float
        Length of the stretch up to the next face, mm.
    wandering, counted : mi.Bool
        Whether it may be scattered here, and whether its light counts.
    seed, band : mi.UInt32
    tally : Tally
    voxels : Voxels
    """
    scattered, length = mi.Bool(False), mi.Float(reach)
    place, way = mi.Point3f(walk.ray.o), mi.Vector3f(walk.ray.d)
    # A ray in a medium without end has slipped through a seam.
    if active & (walk.scattering > 0) & (reach < dr.inf):
        step = DRAWS_IN_CLOUDS + 2 * (photon.scatters + walk.events)
        first, second = draw_pair(seed, step)
        third, fourth = draw_pair(seed, step + 1)
        scattering, anisotropy = tire(walk.scattering, walk.anisotropy, photon.scatters >= TIRED)
        free = free_path(scattering, first)
        scattered = wandering & (free < reach)
        # Light that goes straight is laid down at two places of its stretch, drawn by how it thins out;
        # light that wanders where it is scattered.
        thinning = walk.absorption + walk.scattering
        left = dr.exp(-thinning * reach)
        for chance in (0.5 * first, 0.5 * second + 0.5):
            along = dr.minimum(-dr.log(1 - chance * (1 - left)) / thinning, reach)
            amount = 0.5 * photon.flux * (1 - left) / thinning
            straight = counted & ~wandering
            lay_in(voxels, tally.haze, band, walk.ray(along), walk.ray.d, walk.anisotropy, amount, straight)
        place = walk.ray(dr.minimum(free, reach))
        amount = photon.flux * dr.exp(-walk.absorption * free) / scattering
        shown = counted & scattered
        lay_in(voxels, tally.haze, band, place, walk.ray.d, walk.anisotropy, amount, shown)
        length = dr.select(scattered, free, reach)
        way = turn(walk.ray.d, anisotropy, third, fourth)
    return Cloud(scattered, length, place, way)
