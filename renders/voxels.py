"""Light inside cloudy media, counted in small cubes: bricks of voxels where such media are, none elsewhere.

A voxel holds, for each band, the light in parts: what was not scattered yet, by the octant into which it goes,
as beams cross; what was, by how often. Of each part it holds the fluence rate and the net flux along x, y and
z: its mean direction, and how narrowly it keeps to that. A camera's ray that is scattered in the medium reads
there what arrives from the lamps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter

from brimcast.scene.built import BuiltSet

from .device import add_to, counts, draw, draw_pair, floats, opaque_float, opaque_int, opaque_point
from .engine import dr, mi
from .interfaces import STEP_OFF_MM, cross_count, find_hit, top_medium
from .scattering import phase, widen
from .world import DIELECTRIC, Geometry, World

# Voxels along the side of a brick; no voxel is larger or smaller than this.
BRICK = 8
SMALLEST_MM, LARGEST_MM = 0.4, 5.0
# Random places in a voxel that tell how much of it the medium fills.
PLACES = 27
# Voxels that are filled less than this share the light of those around.
LEAST_FILLED = 0.4
NOWHERE = 0xFFFFFFFF
# Octants, then light scattered once, twice, oftener.
OCTANTS = 8
PARTS = OCTANTS + 3


@dataclass
class Voxels:
    """Where the voxels are, as kernels look them up.

    Attributes
    ----------
    corner : mi.Point3f
    per_mm : mi.Float
        Voxels a millimetre.
    bricks : mi.Vector3u
        Along x, y and z.
    first : mi.UInt32
        First voxel of each brick, x innermost; `NOWHERE` where there is none.
    volume : mi.Float
        Cloudy medium in each voxel, mm³.
    count : mi.UInt32
        Voxels.
    """

    corner: object
    per_mm: object
    bricks: object
    first: object
    volume: object
    count: object


def place_voxels(built: BuiltSet, world: World, about: int) -> Voxels:
    """Return about so many voxels wherever a medium of the set scatters; none where none does."""
    cloudy = [slot for slot, medium in enumerate(built.media) if medium.scattering_per_mm.any()]
    meshes = [solid.mesh for solid in built.solids if solid.kind == "dielectric" and solid.slot in cloudy]
    if not meshes:
        return no_voxels()
    volume = sum(abs(mesh.volume_mm3) for mesh in meshes)
    size = float(np.clip((volume / about) ** (1 / 3), SMALLEST_MM, LARGEST_MM))
    low = np.min([mesh.bounds_mm[0] for mesh in meshes], axis=0)
    high = np.max([mesh.bounds_mm[1] for mesh in meshes], axis=0)
    side = BRICK * size
    there = np.zeros(np.ceil((high - low) / side).astype(int) + 1, bool)
    for mesh in meshes:
        first, last = (np.floor((corner - low) / side).astype(int) for corner in mesh.bounds_mm)
        there[tuple(slice(a, b + 1) for a, b in zip(first, last, strict=True))] = True
    corners = (np.argwhere(there.transpose(2, 1, 0))[:, ::-1] * side + low).repeat(BRICK**3, axis=0)
    within = np.stack(np.unravel_index(np.arange(BRICK**3), (BRICK,) * 3)[::-1], axis=1) * size
    filled = _fill(world.geometry, corners + np.tile(within, (int(there.sum()), 1)), size, cloudy)
    # Bricks that hold nothing cloudy are given up.
    kept = filled.reshape(-1, BRICK**3).any(axis=1)
    order = np.argwhere(there.transpose(2, 1, 0))[~kept]
    there[order[:, 2], order[:, 1], order[:, 0]] = False
    return _number(low, size, there, filled.reshape(-1, BRICK**3)[kept].ravel() * size**3)


def no_voxels() -> Voxels:
    """Return what holds no light."""
    return _number(np.zeros(3), 1.0, np.zeros((1, 1, 1), bool), np.zeros(0))


def _number(corner, size: float, there: np.ndarray, volume: np.ndarray) -> Voxels:
    upright = there.transpose(2, 1, 0).ravel()
    first = np.where(upright, (np.cumsum(upright) - 1) * BRICK**3, NOWHERE)
    voxels = Voxels(
        corner=opaque_point(corner),
        per_mm=opaque_float(1 / size),
        bricks=mi.Vector3u(*map(opaque_int, there.shape)),
        first=counts(first),
        volume=floats(volume if len(volume) else [0.0]),
        count=opaque_int(len(volume)),
    )
    return voxels


def _fill(geometry: Geometry, corners: np.ndarray, size: float, cloudy: list[int]) -> np.ndarray:
    """Share of each voxel that a cloudy medium fills."""
    slots = np.zeros(32)
    slots[cloudy] = 1
    index = dr.arange(mi.UInt32, len(corners))
    dr.make_opaque(index)
    corner = floats(np.pad(corners, ((0, 0), (0, 1))))
    found = count_places(geometry, corner, opaque_float(size), floats(slots), index, opaque_int(PLACES))
    return found.numpy() / PLACES


@dr.freeze(warn_after=1000)
@dr.syntax
def count_places(geometry: Geometry, corner, size, cloudy, index, places):
    """How many random places of each voxel lie in a cloudy medium.

    Parameters
    ----------
    corner : mi.Float
        Four numbers a voxel.
    size : mi.Float
        Its side.
    cloudy : mi.Float
        One for each medium's slot that scatters, else 0; air last.
    index : mi.UInt32
        Number of each voxel.
    places : mi.UInt32
    """
    start = dr.gather(mi.Vector4f, corner, index)
    found = mi.Float(0)
    number = mi.UInt32(0)
    while dr.hint(number < places, exclude=[geometry]):
        x, y = draw_pair(index, 2 * number)
        z = draw(index, 2 * number + 1)
        place = mi.Point3f(start.x, start.y, start.z) + size * mi.Vector3f(x, y, z)
        medium = _medium_at(geometry, place)
        found += dr.gather(mi.Float, cloudy, medium)
        number += 1
    return found


@dr.syntax
def _medium_at(geometry: Geometry, place):
    """Slot of the medium at a place: what a ray leaves oftener than it enters on its way out, it began in."""
    ray = mi.Ray3f(place, mi.Vector3f(0, 0, 1))
    inside = mi.UInt64(0)
    active = mi.Bool(True)
    while dr.hint(active, exclude=[geometry]):
        hit = find_hit(geometry, ray, active)
        glassy = hit.valid & (hit.kind == DIELECTRIC)
        # `cross_count` adds where the ray enters; what it leaves must add here.
        inside = dr.select(glassy, inside + inside - cross_count(inside, hit), inside)
        ray.o = dr.select(hit.valid, hit.point + mi.Vector3f(0, 0, STEP_OFF_MM), ray.o)
        active &= hit.valid
    return top_medium(inside)


def find_voxel(voxels: Voxels, place: mi.Point3f, active: mi.Bool):
    """Return whether a place lies in a brick, and its voxel."""
    off = (place - voxels.corner) * voxels.per_mm
    within = active & dr.all(off >= 0)
    cell = mi.Vector3u(dr.maximum(off, 0))
    brick = cell >> 3
    within &= dr.all(brick < voxels.bricks)
    first = dr.gather(
        mi.UInt32, voxels.first, (brick.z * voxels.bricks.y + brick.y) * voxels.bricks.x + brick.x, within
    )
    within &= first != NOWHERE
    part = cell & 7
    return within, first + (part.z * BRICK + part.y) * BRICK + part.x


def settle(voxels: Voxels, glow: np.ndarray) -> np.ndarray:
    """Return the light per volume; a voxel that is hardly filled takes its neighbours in.

    Parameters
    ----------
    glow : (..., voxels, 4) float
        As laid in.
    """
    first, volume = voxels.first.numpy(), voxels.volume.numpy()
    bricks = [
        int(side[0]) for side in (voxels.bricks.z.numpy(), voxels.bricks.y.numpy(), voxels.bricks.x.numpy())
    ]
    place = np.argwhere((first != NOWHERE).reshape(bricks))
    within = np.stack(np.unravel_index(np.arange(BRICK**3), (BRICK,) * 3), axis=1)
    cell = tuple((place[:, None] * BRICK + within).reshape(-1, 3).T)
    hardly = volume < LEAST_FILLED / voxels.per_mm.numpy()[0] ** 3

    def take_in(values):
        whole = np.zeros([BRICK * side for side in bricks], np.float32)
        whole[cell] = values
        return np.where(hardly, uniform_filter(whole, 3, mode="constant")[cell] * 27, values)

    room = np.maximum(take_in(volume), 1e-6)
    flat = np.moveaxis(glow, -1, -2).reshape(-1, len(volume))
    flat = np.stack([take_in(values) / room for values in flat])
    return np.moveaxis(flat.reshape(*glow.shape[:-2], 4, len(volume)), -2, -1)


def lay_in(voxels: Voxels, glow, band, scatters, place, direction, amount, active) -> None:
    """Add light on its way to the voxel at a place.

    Parameters
    ----------
    glow : mi.Float
        (bands × parts × voxels × 4) flux × way: all of it, and along x, y and z.
    band, scatters : mi.UInt32
    amount : mi.Float
        Flux × way, mm.
    """
    within, voxel = find_voxel(voxels, place, active)
    octant = mi.UInt32(0)
    for axis in range(3):
        octant |= dr.select(direction[axis] > 0, 1 << axis, 0)
    part = dr.select(scatters == 0, octant, dr.minimum(OCTANTS - 1 + scatters, PARTS - 1))
    first = 4 * ((band * PARTS + part) * voxels.count + voxel)
    add_to(glow, amount, first, within)
    for axis in range(3):
        add_to(glow, amount * direction[axis], first + (1 + axis), within)


def read_glow(voxels: Voxels, glow, plane, place, jitter, direction, anisotropy, active):
    """Return the radiance per way that a place scatters back along a camera's ray, over its scattering.

    Light is read up to half a voxel aside, which on average interpolates between voxels.

    Parameters
    ----------
    plane : mi.UInt32
        (Lamp × 16 + band) × `PARTS`.
    jitter : mi.Vector3f
        Three numbers in [0, 1).
    direction : mi.Vector3f
        Of the camera's ray, against the light's.
    """
    _, voxel = find_voxel(voxels, place, active)
    aside = place + (jitter - 0.5) / voxels.per_mm
    near, neighbour = find_voxel(voxels, aside, active)
    near &= dr.gather(mi.Float, voxels.volume, neighbour, near) > 0
    voxel = dr.select(near, neighbour, voxel)
    within = active & (voxel < voxels.count)
    total = mi.Float(0)
    for part in range(PARTS):
        light = dr.gather(mi.Vector4f, glow, (plane + part) * voxels.count + voxel, within)
        flow = mi.Vector3f(light.y, light.z, light.w)
        strength = dr.norm(flow)
        kept = dr.minimum(strength / dr.maximum(light.x, 1e-30), 1)
        cosine = -dr.dot(flow, direction) / dr.maximum(strength, 1e-30)
        if part < OCTANTS:
            share = widen(cosine, anisotropy, 1 - kept)
        else:
            share = phase(cosine, anisotropy * kept)
        total += dr.select(light.x > 0, light.x * share, 0)
    return dr.select(within, total, 0)
