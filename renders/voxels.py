"""Light inside cloudy media, counted in small cubes: bricks of voxels where such media are, none elsewhere.

A voxel holds what the medium there scatters toward the camera, band by band. Which way that is, the camera's
own rays tell beforehand: through each voxel they go in few directions, one for each surface they came in by,
told apart by octant. So light is weighed by the phase function when it is laid in, and beams that cross keep
their directions.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter, uniform_filter

from brimcast.scene.built import BuiltSet
from brimcast.scene.media import Medium
from brimcast.shared.bands import GRID_NM

from .device import add_to, counts, draw, draw_pair, floats, opaque_float, opaque_int, opaque_point
from .engine import dr, mi
from .interfaces import STEP_OFF_MM, cross_count, find_hit, top_medium
from .scattering import phase
from .world import DIELECTRIC, Geometry, World

# Voxels along the side of a brick; no voxel is larger or smaller than this.
BRICK = 8
SMALLEST_MM, LARGEST_MM = 0.4, 5.0
# Random places in a voxel that tell how much of it the medium fills.
PLACES = 64
# Voxels that are filled less than this share the light of those around.
LEAST_FILLED = 0.4
_LEAST_ROOM = 1e-3  # of a voxel
# Share of the way over which light is lost or forgets its direction that scattered light is evened out over,
# the wavelength by which that way is told, and the least and the most of it in voxels.
BLUR, SEEN_NM = 0.25, 550.0
_LEAST_BLUR, _MOST_BLUR = 0.5, 4.0
# Rays of the camera that tell their direction in a voxel.
FEW_RAYS = 4
NOWHERE = 0xFFFFFFFF
# Directions of the camera's rays in a voxel.
OCTANTS = 8


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
    ways : mi.Float
        Four numbers for each octant and voxel: mean direction of the camera's rays, and zero; all zeros
        where none of the octant comes.
    count : mi.UInt32
        Voxels.
    blur : mi.Float
        Over how much light that was scattered may be evened out in each voxel, mm: it changes slowly.
    """

    corner: object
    per_mm: object
    bricks: object
    first: object
    volume: object
    ways: object
    count: object
    blur: object


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
    corners += np.tile(within, (int(there.sum()), 1))
    shares = np.stack([_fill(world.geometry, corners, size, slot) for slot in cloudy])
    filled = shares.sum(axis=0).reshape(-1, BRICK**3)
    blur = np.array([_reach_mm(built.media[slot]) for slot in cloudy])[shares.argmax(axis=0)]
    blur = np.clip(BLUR * blur, _LEAST_BLUR * size, _MOST_BLUR * size).reshape(-1, BRICK**3)
    # Bricks that hold nothing cloudy are given up.
    kept = filled.any(axis=1)
    order = np.argwhere(there.transpose(2, 1, 0))[~kept]
    there[order[:, 2], order[:, 1], order[:, 0]] = False
    return _number(low, size, there, filled[kept].ravel() * size**3, blur[kept].ravel())


def no_voxels() -> Voxels:
    """Return what holds no light."""
    return _number(np.zeros(3), 1.0, np.zeros((1, 1, 1), bool), np.zeros(0), np.zeros(0))


def _reach_mm(medium: Medium) -> float:
    """Return the way over which light is lost or forgets its direction: its amount changes over as much."""
    reduced = medium.scattering_per_mm * (1 - medium.anisotropy)
    return 1 / max(float(np.interp(SEEN_NM, GRID_NM, medium.absorption_per_mm + reduced)), 1e-9)


def _number(corner, size: float, there: np.ndarray, volume: np.ndarray, blur: np.ndarray) -> Voxels:
    upright = there.transpose(2, 1, 0).ravel()
    first = np.where(upright, (np.cumsum(upright) - 1) * BRICK**3, NOWHERE)
    return Voxels(
        corner=opaque_point(corner),
        per_mm=opaque_float(1 / size),
        bricks=mi.Vector3u(*map(opaque_int, there.shape)),
        first=counts(first),
        volume=floats(volume if len(volume) else [0.0]),
        ways=floats(np.zeros((OCTANTS, max(1, len(volume)), 4))),
        count=opaque_int(len(volume)),
        blur=floats(blur if len(blur) else [0.0]),
    )


def _fill(geometry: Geometry, corners: np.ndarray, size: float, slot: int) -> np.ndarray:
    """Share of each voxel that a medium fills."""
    slots = np.zeros(32)
    slots[slot] = 1
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


def settle(voxels: Voxels, haze: np.ndarray) -> np.ndarray:
    """Return the light per volume.

    Straight light of a voxel that is hardly filled is taken together with its neighbours'; scattered light is
    evened out over `Voxels.blur`.

    Parameters
    ----------
    haze : (2, ..., voxels) float
        Straight and scattered light as laid in.

    Returns
    -------
    (..., voxels) float32
    """
    spread, volume = _Neighbours(voxels), voxels.volume.numpy()
    size, blur = 1 / voxels.per_mm.numpy()[0], voxels.blur.numpy()
    straight, scattered = haze.reshape(2, -1, haze.shape[-1])
    room = _invert(spread.take_in(volume), size)
    settled = np.stack([spread.take_in(values) * room for values in straight])
    for reach in np.unique(blur[volume > 0]):
        here = blur == reach
        room = _invert(spread.even_out(volume * here, reach / size), size)
        for values, total in zip(scattered, settled, strict=True):
            if values.any():
                total[here] += (spread.even_out(values * here, reach / size) * room)[here]
    return settled.reshape(haze.shape[1:]).astype(np.float32)


def _invert(room: np.ndarray, size: float) -> np.ndarray:
    """Return 1 / room; 0 where no medium is: light is laid there only by rays that slipped through a seam."""
    return np.divide(1.0, room, out=np.zeros_like(room), where=room > _LEAST_ROOM * size**3)


class _Neighbours:
    """Voxels as one block, so that each finds those around it."""

    def __init__(self, voxels: Voxels):
        sides = [int(side.numpy()[0]) for side in (voxels.bricks.z, voxels.bricks.y, voxels.bricks.x)]
        place = np.argwhere((voxels.first.numpy() != NOWHERE).reshape(sides))
        within = np.stack(np.unravel_index(np.arange(BRICK**3), (BRICK,) * 3), axis=1)
        self.shape = [BRICK * side for side in sides]
        self.cell = tuple((place[:, None] * BRICK + within).reshape(-1, 3).T)
        self.hardly = voxels.volume.numpy() < LEAST_FILLED / voxels.per_mm.numpy()[0] ** 3

    def around(self, values: np.ndarray) -> np.ndarray:
        """Sum over each voxel and those that touch it."""
        return uniform_filter(self._block(values), 3, mode="constant")[self.cell] * 27

    def even_out(self, values: np.ndarray, reach: float) -> np.ndarray:
        """Values spread over a reach in voxels."""
        return gaussian_filter(self._block(values), reach, mode="constant", truncate=3.0)[self.cell]

    def _block(self, values: np.ndarray) -> np.ndarray:
        whole = np.zeros(self.shape, np.float32)
        whole[self.cell] = values
        return whole

    def take_in(self, values: np.ndarray) -> np.ndarray:
        """Values, those of hardly filled voxels with their neighbours'."""
        return np.where(self.hardly, self.around(values), values)


def point_ways(voxels: Voxels, seen: np.ndarray) -> Voxels:
    """Return the voxels with the camera's directions in them.

    Parameters
    ----------
    seen : (octants, voxels, 4) float
        Sums of the directions of the camera's rays, and their number. Where few or none came, rays of the
        voxels around count, else those of all.
    """
    if not seen[..., 3].any():
        return voxels
    spread = _Neighbours(voxels)
    ways = np.zeros_like(seen)
    for here, way in zip(seen, ways, strict=True):
        if not here[:, 3].any():
            continue
        near = np.stack([spread.around(column) for column in here.T], axis=1)
        few, none = here[:, 3] < FEW_RAYS, near[:, 3] < FEW_RAYS
        way[:] = np.where(none[:, None], here.sum(axis=0), np.where(few[:, None], near, here))
        way[:, 3] = 0
        way /= np.linalg.norm(way, axis=1, keepdims=True)
    return replace(voxels, ways=floats(ways))


def octant_of(direction) -> mi.UInt32:
    """Return the number of the octant into which a direction points."""
    octant = mi.UInt32(0)
    for axis in range(3):
        octant |= dr.select(direction[axis] > 0, 1 << axis, 0)
    return octant


@dr.syntax
def lay_in(voxels: Voxels, haze, band, place, direction, anisotropy, amount, active) -> None:
    """Add what light on its way through a place sends to the camera from there.

    Parameters
    ----------
    haze : mi.Float
        (bands × octants × voxels) flux × way × phase, added to.
    band : mi.UInt32
    direction, anisotropy : mi.Vector3f, mi.Float
        Of the light, and of the medium.
    amount : mi.Float
        Flux × way, mm.
    """
    within, voxel = find_voxel(voxels, place, active)
    octant = mi.UInt32(0)
    while dr.hint(within & (octant < OCTANTS), exclude=[voxels, haze]):
        way = dr.gather(mi.Vector4f, voxels.ways, octant * voxels.count + voxel, within)
        back = mi.Vector3f(way.x, way.y, way.z)
        shown = within & (dr.squared_norm(back) > 0)
        share = phase(-dr.dot(direction, back), anisotropy)
        add_to(haze, amount * share, (band * OCTANTS + octant) * voxels.count + voxel, shown)
        octant += 1


def read_haze(voxels: Voxels, haze, plane, place, jitter, direction, active):
    """Return the radiance that a place scatters back along a camera's ray, over its scattering.

    Light is read up to half a voxel aside, which on average interpolates between voxels.

    Parameters
    ----------
    plane : mi.UInt32
        (Lamp × 16 + band) × `OCTANTS`.
    jitter : mi.Vector3f
        Three numbers in [0, 1).
    direction : mi.Vector3f
        Of the camera's ray, against the light's.
    """
    inside, voxel = find_voxel(voxels, place, active)
    aside = place + (jitter - 0.5) / voxels.per_mm
    near, neighbour = find_voxel(voxels, aside, active)
    near &= dr.gather(mi.Float, voxels.volume, neighbour, near) > 0
    voxel = dr.select(near, neighbour, voxel)
    light = (plane + octant_of(direction)) * voxels.count + voxel
    return dr.gather(mi.Float, haze, light, active & (inside | near))
