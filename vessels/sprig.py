"""Sprigs of herbs: a stem with leaves, each leaf one bent sheet, its upper side in front."""

from dataclasses import dataclass, replace

import numpy as np

from .covers import drawn, lay_out
from .mesh import rotated
from .tubes import tube

# Side veins on each half of a blade, and by how much of a step they come farther on at its edge.
VEINS, VEIN_RISE = 7, 2.2
# A sprig shorter than so many of its leaves has smaller ones.
_LEAF_SHARE = 1.2
_GOLDEN = np.pi * (3 - np.sqrt(5))


@dataclass(frozen=True)
class Blade:
    """A leaf.

    Parameters
    ----------
    length_mm, width_mm : float
    rise_deg : float
        Between the stem and the leaf where it leaves it.
    bow_deg : float
        How far it has bent away from the stem at its tip.
    fold_deg : float
        How far each half is lifted off the flat.
    teeth : int
        On each side.
    pucker_mm : float
        How far the blade bulges between its veins.
    """

    length_mm: float
    width_mm: float
    rise_deg: float
    bow_deg: float
    fold_deg: float
    teeth: int = 0
    pucker_mm: float = 0.0


@dataclass(frozen=True)
class Herb:
    """How a herb grows.

    Parameters
    ----------
    leaf_mm, width_mm : float
        Largest leaf.
    stem_mm : float
        Diameter of the stem at its foot.
    step_mm : float
        Along the stem from leaf to leaf, or pair to pair.
    paired : bool
        Leaves stand in pairs, each at right angles to the one before; else one by one round the stem.
    """

    leaf_mm: float
    width_mm: float
    stem_mm: float
    step_mm: float
    paired: bool


# Usual sizes of what is sold; common practice.
HERBS = {
    "mint": Herb(36.0, 22.0, 2.4, 8.0, True),
    "rosemary": Herb(24.0, 2.0, 2.6, 1.7, False),
}


def sprig(herb, leafy_mm, bare_mm, seed):
    """Return a sprig along z: its stem from -bare to 0, its leaves from 0 up.

    Charts: ``stem``; ``end``, its foot and top; ``leaf``, its base at the bottom and its midrib upward in the
    middle.

    Parameters
    ----------
    herb : {'mint', 'rosemary'}
    leafy_mm, bare_mm : float
        Lengths of the stem with leaves, and of that below without.
    seed : int
    """
    kind, random = HERBS[herb], np.random.default_rng([seed, 41])
    # The tip of a shoot has small leaves.
    size = min(1.0, leafy_mm / (_LEAF_SHARE * kind.leaf_mm))
    scaled = {key: size * getattr(kind, key) for key in ("leaf_mm", "width_mm", "step_mm")}
    kind = replace(kind, **scaled)
    count = max(2, int(leafy_mm / kind.step_mm))
    heights = leafy_mm * (np.linspace(0, 1, count) ** 0.85)
    along = np.linspace(-bare_mm, leafy_mm, 24)
    share = np.clip(along / leafy_mm, 0, 1)
    path = np.stack([0 * along, 0 * along, along], axis=1)
    pieces = tube(path, kind.stem_mm / 2 * (1 - 0.6 * share), sections=12, ends=True)
    first = random.uniform(0, 2 * np.pi)
    for number, height in enumerate(heights):
        up = number / (count - 1)
        for twin in range(2 if kind.paired else 1):
            turn = first + (number * np.pi / 2 + twin * np.pi if kind.paired else number * _GOLDEN)
            turn += random.normal(0, 0.12)
            blade = _blade(kind, up, random)
            pieces.append(_leaf(blade, kind.stem_mm / 2 * (1 - 0.6 * up), height, turn))
    if kind.paired:
        # The bud: small leaves that still stand upright.
        for number in range(4):
            bud = Blade(0.3 * kind.leaf_mm, 0.16 * kind.leaf_mm, 12 + 8 * (number % 2), 20, 30, 6, 0.1)
            pieces.append(_leaf(bud, 0.4, leafy_mm - 1.0, first + 0.4 + number * np.pi / 2))
    return lay_out(pieces)


def _blade(kind, up, random):
    """Return a leaf at a share of the way up."""
    vary = random.uniform(0.88, 1.08)
    if not kind.paired:
        size = vary * (1 - 0.45 * up**3)
        rise = 62 - 34 * up + random.normal(0, 6)
        return Blade(size * kind.leaf_mm, kind.width_mm, rise, random.uniform(-8, 18), -22)
    size = vary * (0.9 + 0.35 * up - 0.85 * up**2)
    rise, bow = 66 - 40 * up + random.normal(0, 6), random.uniform(14, 40)
    return Blade(
        size * kind.leaf_mm, size * kind.width_mm * random.uniform(0.92, 1.06), rise, bow,
        random.uniform(8, 18), 11, 0.45 * size,
    )  # fmt: skip


def outline_of(along, teeth=0):
    """Return how wide half a blade is, 0 to 1, at shares of its length; needles have no teeth."""
    along = np.asarray(along, float)
    if not teeth:
        return np.clip(6 * along, 0, 1) ** 0.5 * np.clip(9 * (1 - along), 0, 1) ** 0.7
    oval = along**0.62 * (1 - along) ** 0.85
    saw = np.mod(along * teeth, 1.0)
    notch = np.where(saw < 0.75, saw / 0.75, (1 - saw) / 0.25)
    return oval / 0.4256 * (1 + 0.09 * (notch - 0.5) * np.sin(np.pi * along))


def vein_phase(along, across):
    """Return the number of the vein that a place on a blade is at; whole on the veins.

    Parameters
    ----------
    along, across : float arrays
        Shares of the length, and of the half width, 0 the midrib.
    """
    return VEINS * along * 1.35 - VEIN_RISE * np.abs(across)


def _leaf(blade, stem_mm, height_mm, turn):
    """Return the piece of one leaf, its base on the stem."""
    long, half = blade.length_mm, blade.width_mm / 2
    rows = np.linspace(0.004, 0.996, 6 * blade.teeth + 1 if blade.teeth else 15)
    lines = np.linspace(-1, 1, 13 if blade.teeth else 5)
    fine = np.linspace(0, 1, 400)
    leaning = np.radians(blade.rise_deg + blade.bow_deg * fine**1.5)
    # The midrib, outward from the stem and up.
    way = np.stack([np.sin(leaning), np.cos(leaning)], axis=1) * long / 399
    rib = np.concatenate([[[0.0, 0.0]], np.cumsum((way[1:] + way[:-1]) / 2, axis=0)])
    fold = np.radians(blade.fold_deg)

    def place(x, t):
        out, up = np.interp(t, fine, rib[:, 0]), np.interp(t, fine, rib[:, 1])
        lean = np.radians(blade.rise_deg + blade.bow_deg * np.clip(t, 0, 1) ** 1.5)
        wide = half * outline_of(np.clip(t, 0, 1), blade.teeth) * x
        bulge = blade.pucker_mm * np.sin(np.pi * vein_phase(t, x)) ** 2 * outline_of(np.clip(t, 0, 1), 1)
        bulge *= (1 - np.exp(-((x / 0.2) ** 2))) * (1 - x**4)
        lift = np.abs(wide) * np.sin(fold) + bulge
        # The upper side looks toward the stem and up.
        return np.stack(
            [
                stem_mm + out - lift * np.cos(lean),
                wide * np.cos(fold),
                height_mm + up + lift * np.sin(lean),
            ],
            axis=-1,
        )

    places = lambda x, t: np.stack(  # noqa: E731
        [half * (1.06 + x * outline_of(t, blade.teeth)), long * t], axis=-1
    )
    piece = drawn("leaf", place, lines, rows, places, (2.12 * half, long))
    cos, sin = np.cos(turn), np.sin(turn)
    matrix = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])
    return replace(piece, mesh=rotated(piece.mesh, matrix))
