"""Condensation on the outside of a glass: drops as caps with a contact angle, and runs."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .mesh import Mesh, combined, copied
from .strewing import Spots, StrewError, draw_power, strew

# Share of a cold wall that drops larger than r cover: 1 - (r / r_max)^n. E. J. Le Fevre, J. W. Rose, A theory
# of heat transfer by dropwise condensation, 3rd Int. Heat Transfer Conf. 2, 362-375 (1966); from memory.
SIZE_POWER = 1 / 3
# Of a wall: single drops cover about 0.55, published_values.yaml#ice_and_condensation/condensation_coverage.
MOST_COVERED = 0.55
# The cold stretch fades out over this height; common practice.
_FADE_MM = 6.0
# A drop reaches this deep into the glass, if the wall is thick enough, and deeper into relief.
_DEPTH_MM, _RELIEF_DEPTH_MM, _WALL_SHARE = 0.1, 0.25, 0.3
_RIM_MM = 3.0  # stays dry under the rim
# Runs: length as a share of the cold stretch; the head's size as a share of the largest drop's, and how much
# longer than wide it is; half the dry track's width, and the beads left in it, in radii of the head.
_RUN_SHARE = (0.15, 0.5)
_HEAD, _HEAD_LONG = (0.8, 1.2), 1.5
_TRACK, _BEAD, _BEADS_APART = 0.75, (0.12, 0.3), 2.2
_RING_DEG, _FEWEST_SECTORS, _MOST_SECTORS = 11.0, 8, 24


@dataclass(frozen=True)
class Dew:
    """Condensation.

    Parameters
    ----------
    count : int
        Drops, without runs.
    smallest_mm, largest_mm : float
        Diameters on the glass.
    angle_deg : float
        Contact angle, between the glass and a drop's surface at its edge.
    runs : int
        Drops that have run down and left a track.
    above : float
        How dense drops are outside the cold stretch, as a share of within.
    seed : int
    """

    count: int
    smallest_mm: float
    largest_mm: float
    angle_deg: float
    runs: int = 0
    above: float = 0.1
    seed: int = 1


class Drops(NamedTuple):
    """Drops on a glass.

    Parameters
    ----------
    spots : Spots
    radii_mm : (n,) float
        On the glass, level.
    long : (n,) float
        How much longer than wide each is.
    """

    spots: Spots
    radii_mm: np.ndarray
    long: np.ndarray


def strew_drops(skin, dew, cold_mm):
    """Return the drops on a glass: densest where it is cold, none on another.

    Parameters
    ----------
    skin : Skin
    dew : Dew
    cold_mm : (float, float)
        Heights between which the glass is cold: from the inside's floor to the fill line.

    Returns
    -------
    Drops

    Raises
    ------
    StrewError
        They find no room.
    """
    generator = np.random.default_rng([dew.seed, 0xDE3])
    z = skin.heights_mm
    low, high = cold_mm
    fade = np.clip((z - low) / _FADE_MM + 1, 0, 1) * np.clip((high - z) / _FADE_MM + 1, 0, 1)
    weights = np.where(fade > dew.above, fade, dew.above)
    # As far from foot and rim as the largest reaches.
    margin = dew.largest_mm * _HEAD[1] * _HEAD_LONG / 2 + 0.5
    weights *= (z > z.min() + margin) & (z < z.max() - max(_RIM_MM, margin))
    if skin.area_mm2(weights) <= 0:
        raise StrewError("up_to", f"no side of the glass is left for drops of {dew.largest_mm:g} mm")
    # From the covered share follows how many drops have a radius r: they go with r^(n - 3).
    radii = draw_power(generator, dew.count, dew.largest_mm / 2, dew.smallest_mm / 2, SIZE_POWER - 3)
    radii = np.sort(radii)[::-1]
    room = MOST_COVERED * skin.area_mm2(weights)
    if np.pi * (radii**2).sum() > room:
        most = int(dew.count * room / (np.pi * (radii**2).sum()))
        text = f"{dew.count} drops of up to {dew.largest_mm:g} mm find no room"
        raise StrewError("count", f"{text}; take about {most} at most, or smaller ones")
    runs = _Runs(skin, dew, generator, cold_mm, weights)
    spots, placed = strew(skin, generator, radii, weights, runs.taken, runs.is_off_track)
    if len(placed) < dew.count:
        text = f"{dew.count} drops of up to {dew.largest_mm:g} mm find no room, {len(placed)} do"
        raise StrewError("count", f"{text}; take fewer or smaller ones")
    long = np.ones(len(placed))
    if runs.taken is None:
        return Drops(spots, radii[placed], long)
    both = Spots(*map(np.concatenate, zip(spots, runs.taken[0], strict=True)))
    return Drops(both, np.concatenate([radii[placed], runs.taken[1]]), np.concatenate([long, runs.long]))


def typical_mm(dew):
    """Return the diameter of a typical drop, mm: larger ones cover half of the wall that is covered at all.

    A drop covers r^2 and the number goes with r^(n - 3), so that what is covered grows with r^n.
    """
    ends = np.array([dew.smallest_mm, dew.largest_mm]) ** SIZE_POWER
    return float(ends.mean() ** (1 / SIZE_POWER))


class _Runs:
    """Drops that ran down: each a head, a dry track over it, beads in the track."""

    def __init__(self, skin, dew, generator, cold_mm, weights):
        self.tracks, self.taken = [], None
        found, radii, long = [], [], []
        for _ in range(dew.runs):
            head = dew.largest_mm / 2 * generator.uniform(*_HEAD)
            top = skin.draw(generator, 1, weights).places_mm[0]
            length = (cold_mm[1] - cold_mm[0]) * generator.uniform(*_RUN_SHARE)
            around = np.arctan2(top[1], top[0])
            low = top[2] - length
            heights = [low, *np.arange(low + 2.5 * head, top[2], _BEADS_APART * head)]
            beads = len(heights) - 1
            sizes = [head, *(head * generator.uniform(*_BEAD, beads))]
            aside = np.array([0.0, *generator.uniform(-0.3, 0.3, beads)]) * head
            turns = around + aside / np.hypot(*top[:2])
            for height, size, turn in zip(heights, sizes, turns, strict=True):
                spot = skin.over(turn, height, weights)
                if spot and not any(
                    np.linalg.norm(spot.places_mm - other.places_mm) < size + radius
                    for other, radius in zip(found, radii, strict=True)
                ):
                    found.append(spot)
                    radii.append(size)
                    long.append(_HEAD_LONG if size == head else 1.0)
            self.tracks.append((around, low, top[2], _TRACK * head))
        if found:
            self.taken = Spots(*map(np.concatenate, zip(*found, strict=True))), np.array(radii)
            self.long = np.array(long)

    def is_off_track(self, places_mm, radii_mm):
        """Whether drops lie clear of the tracks."""
        clear = np.ones(len(places_mm), dtype=bool)
        angle, away = np.arctan2(places_mm[:, 1], places_mm[:, 0]), np.hypot(*places_mm[:, :2].T)
        for around, low, high, half in self.tracks:
            off = np.abs((angle - around + np.pi) % (2 * np.pi) - np.pi) * away
            # The head is longer than wide, and nothing lies on it.
            inside = (places_mm[:, 2] > low - 2.5 * half - radii_mm) & (places_mm[:, 2] < high)
            clear &= ~(inside & (off < half + radii_mm))
        return clear


def drop_mesh(drops, angle_deg, depth_mm):
    """Return all drops as one Mesh of closed bodies: caps that reach a little into the glass.

    A cap is that of a ball, its height a tan(angle / 2) for a radius a on the glass; it follows the bend
    of the glass, and its normals are those of the surface so bent.

    Parameters
    ----------
    drops : Drops
    angle_deg : float
    depth_mm : float
        How deep each goes into the glass.
    """
    # A drop of 0.6 mm has the fewest sectors, one of 6 mm the most.
    want = np.interp(np.log(drops.radii_mm), np.log([0.3, 3.0]), [_FEWEST_SECTORS, _MOST_SECTORS])
    sectors = 2 * np.round(want / 2).astype(int)
    parts = []
    for count in np.unique(sectors):
        share = (count - _FEWEST_SECTORS) / (_MOST_SECTORS - _FEWEST_SECTORS)
        rings = max(int(np.ceil(angle_deg / (_RING_DEG * (2.1 - 1.3 * share)))), 2)
        chosen = sectors == count
        parts.append(_caps(*_template(count, rings, np.radians(angle_deg)), drops, chosen, depth_mm))
    return combined(parts)


def depth_of(vessel, has_relief=False):
    """Return how deep drops may go into a glass, mm."""
    return min(_RELIEF_DEPTH_MM if has_relief else _DEPTH_MM, _WALL_SHARE * vessel.thinnest_mm)


def _template(sectors, rings, angle):
    """Return the Mesh of a cap over the unit circle, and how deep in the glass each vertex is, 0 or 1."""
    around = 2 * np.pi * np.arange(sectors) / sectors
    circle = np.stack([np.cos(around), np.sin(around)], axis=1)
    positions, normals = [[0.0, 0.0, np.tan(angle / 2)]], [[0.0, 0.0, 1.0]]
    for ring in range(1, rings + 1):
        polar = angle * ring / rings
        height = 0.0 if ring == rings else (np.cos(polar) - np.cos(angle)) / np.sin(angle)
        out = 1.0 if ring == rings else np.sin(polar) / np.sin(angle)
        positions += [[out * x, out * y, height] for x, y in circle]
        normals += [[np.sin(polar) * x, np.sin(polar) * y, np.cos(polar)] for x, y in circle]
    faces = [(0, 1 + k, 1 + (k + 1) % sectors) for k in range(sectors)]
    for ring in range(rings - 1):
        faces += _band(1 + (ring + 1) * sectors, 1 + ring * sectors, sectors)
    patches, deep = [0] * len(faces), [0.0] * len(positions)
    # Down into the glass, and closed there.
    start = len(positions)
    for down in (0.0, 1.0):
        positions += [[x, y, 0.0] for x, y in circle]
        normals += [[x, y, 0.0] for x, y in circle]
        deep += [down] * sectors
    faces += _band(start + sectors, start, sectors)
    patches += [1] * (2 * sectors)
    start = len(positions)
    positions += [[0.0, 0.0, 0.0], *([x, y, 0.0] for x, y in circle)]
    normals += [[0.0, 0.0, -1.0]] * (sectors + 1)
    deep += [1.0] * (sectors + 1)
    faces += [(start, start + 1 + (k + 1) % sectors, start + 1 + k) for k in range(sectors)]
    patches += [2] * sectors
    return Mesh(*map(np.array, (positions, faces, normals, patches))), np.array(deep)


def _band(lower, upper, sectors):
    quads = [
        (lower + k, lower + (k + 1) % sectors, upper + (k + 1) % sectors, upper + k) for k in range(sectors)
    ]
    return [face for a, b, c, d in quads for face in ((a, b, c), (a, c, d))]


def _caps(template, deep, drops, chosen, depth_mm):
    """Return the Mesh of the chosen drops."""
    spots, radius, long = drops.spots.take(chosen), drops.radii_mm[chosen], drops.long[chosen]
    wide = np.stack([radius, radius * long, radius], axis=1)[:, None]
    u, v, w = np.moveaxis(template.vertices_mm * wide, -1, 0)
    n_u, n_v, n_w = np.moveaxis(template.normals / wide, -1, 0)
    bend_u, bend_v = spots.bend_across[:, None], spots.bend_upward[:, None]
    # The cap stands on the glass: lowered by as much as the glass falls away, and its normals lean with it.
    w = w - deep * depth_mm - (bend_u * u**2 + bend_v * v**2) / 2
    n_u, n_v = n_u + n_w * bend_u * u, n_v + n_w * bend_v * v
    frame = [one[:, None] for one in (spots.across, spots.upward, spots.outward)]
    points = spots.places_mm[:, None] + sum(
        k[..., None] * axis for k, axis in zip((u, v, w), frame, strict=True)
    )
    ways = sum(k[..., None] * axis for k, axis in zip((n_u, n_v, n_w), frame, strict=True))
    ways /= np.linalg.norm(ways, axis=-1, keepdims=True)
    return copied(template, points, ways)
