"""What cut citrus looks like: flesh in segments of vesicles, membranes, pith, and peel with its pores."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brimcast.shared.colour import decode_hex

from .painting import MOST_KEPT, Cells, Paint, face_pass, spectra_of, step, strew

# What the inner sides of a slice's faces throw back.
INSIDE = 0.25
# Shares thrown back and, of a slice of 5 mm, let through, for a colour of 1: flesh, pith, peel. From memory:
# wet flesh lets a quarter to a third of the light through in its colour. A strip of peel, however thin, is
# as dense as a slice of so much of that.
_FLESH, _PITH, _PEEL = (0.34, 0.36), (0.62, 0.05), (0.72, 0.02)
_SLICE_MM, _THIN = 5.0, 0.6
_ZEST_MM = 1.1
# A vesicle, mm: how wide, and how long over it.
_VESICLE_MM, _LONG = 1.9, 3.4


@dataclass(frozen=True)
class Fruit:
    """A citrus fruit, as sold.

    Attributes
    ----------
    diameter_mm, long : float
        Its diameter, and its length over that.
    segments : int
    pith_mm : float
    flesh, peel, pith : str
        Colours.
    """

    diameter_mm: float
    long: float
    segments: int
    pith_mm: float
    flesh: str
    peel: str
    pith: str = "#f6ecd2"


# Common practice: middling fruit as sold for bars.
FRUITS = {
    "orange": Fruit(72.0, 1.0, 10, 2.6, "#ffa032", "#f08a12"),
    "lemon": Fruit(56.0, 1.25, 9, 2.6, "#fbe98c", "#f6cd22"),
    "lime": Fruit(46.0, 1.1, 10, 1.2, "#d3e58e", "#5f9a2c"),
    "grapefruit": Fruit(96.0, 0.95, 11, 4.0, "#f8735c", "#f4b64e"),
}


class Painter:
    """Paints wheels, wedges and strips of one fruit.

    Parameters
    ----------
    fruit : Fruit
    diameter_mm : float
        Of this one.
    slice_mm : float
        How thick what is painted is, for what it lets through.
    seed : int
    """

    def __init__(self, fruit: Fruit, diameter_mm: float, slice_mm: float, seed: int):
        self.fruit, self.radius = fruit, diameter_mm / 2
        self.length = diameter_mm * fruit.long
        self.thick = max(slice_mm / _SLICE_MM, _THIN)
        self.seed = seed

    def __call__(self, name: str, number: int, x, y, size_mm) -> Paint:
        if name in ("front", "back"):
            # The back shows the same segments, seen from the other side.
            side = -1.0 if name == "back" else 1.0
            return self._mix(*self._wheel(side * (x - size_mm[0] / 2), y - size_mm[1] / 2))
        if name in ("left", "right"):
            return self._mix(*self._half(x - size_mm[0] / 2, y, number))
        if name == "peel":
            return self._peel(x, y, size_mm, number)
        fibres = self._mottle(x, y, size_mm, 0.7, 0.06, number)
        # A slit is cut through flesh; all else that is neither cut nor peel is pith.
        return self._mix(0 * x + (0.7 if name == "cut" else 0.0), 0 * x, fibres)

    def _mix(self, flesh, peel, tone) -> Paint:
        """Return the paint of spots that are flesh, peel, or else pith, by shares, and lighter by a tone."""
        fruit = self.fruit
        colours = [decode_hex(hue) for hue in (fruit.flesh, fruit.peel, fruit.pith)]
        shares = flesh, peel, 1 - flesh - peel
        kept, passed = np.zeros((2, len(tone), 16))
        for share, colour, (back, whole) in zip(shares, colours, (_FLESH, _PEEL, _PITH), strict=True):
            # Most spots are all of one kind.
            here = np.flatnonzero(share)
            shade = np.clip(colour * tone[here, None], 0, 1)
            kept[here] += share[here, None] * spectra_of(shade, back)
            # What goes deeper takes on more colour, and a thicker slice passes less.
            through = spectra_of(shade**1.6) * whole**self.thick
            passed[here] += share[here, None] * face_pass(through, INSIDE)
        # Of something very thin the rule would give more than there is.
        return Paint(kept, np.minimum(passed, MOST_KEPT - 1e-6 - np.maximum(kept, INSIDE)))

    def _wheel(self, x, y):
        random = np.random.default_rng([self.seed, 5])
        fruit, radius = self.fruit, self.radius
        scale = radius / (fruit.diameter_mm / 2)
        from_middle, angle = np.hypot(x, y), np.mod(np.arctan2(y, x), 2 * np.pi)
        count = fruit.segments
        borders = (np.arange(count) + random.uniform(-0.16, 0.16, count)) * 2 * np.pi / count
        borders = np.sort(np.mod(borders + random.uniform(0, 2 * np.pi), 2 * np.pi))
        number = np.searchsorted(borders, angle, side="right") - 1
        after = np.mod(angle - borders[number], 2 * np.pi)
        before = np.mod(borders[(number + 1) % count] - angle, 2 * np.pi)
        rind = _ZEST_MM + fruit.pith_mm * scale
        reach = radius - rind + random.uniform(-0.35, 0.35, count)[number] * scale
        reach = reach + 0.25 * scale * np.sin(3 * angle + random.uniform(0, 6))
        sides = [
            from_middle * np.sin(np.minimum(after, np.pi / 2)),
            from_middle * np.sin(np.minimum(before, np.pi / 2)),
            reach - from_middle,
            1.6 * (from_middle - (0.05 + 0.03 * random.uniform(0, 1, count)[number]) * radius),
        ]
        # Segments have round corners.
        depth = -0.7 * np.log(sum(np.exp(-np.clip(side, -20, 20) / 0.7) for side in sides))
        flesh = step((0.12, 0.5), depth)
        # Vesicles point to the middle.
        wide = 0.62 * radius
        strewn = strew(random, (radius / _LONG, 2 * np.pi * wide), _VESICLE_MM * scale**0.5)
        away, edge, which = Cells(strewn).look(from_middle / _LONG, angle * wide)
        tone, film = self._vesicles(random, len(strewn), away, edge, which)
        # A thin white skin between them shows through in places.
        flesh = flesh * (1 - 0.4 * film)
        tone = tone * (1 + 0.1 * step((0.55, 0.95), from_middle / reach))
        peel = step((-0.25, 0.25), from_middle - (radius - _ZEST_MM))
        fibres = 0.97 + 0.05 * np.sin(40 * angle) * step((0.2, 0.6), peel + 0.4)
        return flesh * (1 - peel), peel, np.where(flesh > 0.5, tone, fibres)

    def _half(self, x, y, number):
        """A wedge's cut face, its straight edge along y = 0."""
        random = np.random.default_rng([self.seed, 6, number])
        fruit, radius, long = self.fruit, self.radius, self.length / 2
        scale = radius / (fruit.diameter_mm / 2)
        share = np.hypot(x / long, y / radius)
        # Depth under the peel: along the way to the middle, taken square to the peel.
        slope = np.hypot(x / long**2, y / radius**2) / np.maximum(share, 1e-6)
        depth = (1 - share) / np.maximum(slope, 1 / (2 * max(long, radius)))
        rind = _ZEST_MM + fruit.pith_mm * scale + 0.25 * np.sin(x * 0.4)
        inside = -0.7 * np.log(np.exp(-(depth - rind) / 0.7) + np.exp(-(y - 0.8) / 0.7))
        flesh = step((0.0, 0.5), inside)
        strewn = strew(random, (2 * long, radius / _LONG), _VESICLE_MM * scale**0.5)
        lean = x + 0.35 * x * (1 - y / radius)
        away, edge, which = Cells(strewn).look(np.clip(lean, -long, long) + long, y / _LONG)
        tone, film = self._vesicles(random, len(strewn), away, edge, which)
        flesh = flesh * (1 - 0.4 * film)
        peel = step((-0.25, 0.25), _ZEST_MM - depth)
        return flesh * (1 - peel), peel, np.where(flesh > 0.5, tone, 0.98 + 0 * x)

    @staticmethod
    def _vesicles(random, count, away, edge, which):
        """Return how light spots in vesicles are, and how much of the skin between them shows."""
        each = 1 + random.normal(0, 0.1, count)[which]
        film = (1 - step((0.0, 0.28), edge)) * random.uniform(0.2, 1.0, count)[which]
        return np.clip(each * (1.06 - 0.16 * step((0.2, 1.2), away)), 0.6, 1.25), film

    def _mottle(self, x, y, size_mm, step_mm, by, number):
        random = np.random.default_rng([self.seed, 7, number])
        strewn = strew(random, size_mm, step_mm)
        away, _, which = Cells(strewn).look(x, y)
        return 1 + by * random.normal(0, 1, len(strewn))[which] * np.exp(-((away / step_mm) ** 2))

    def _peel(self, x, y, size_mm, number) -> Paint:
        """Zest: oil glands close together, each a little dent with a lighter rim."""
        random = np.random.default_rng([self.seed, 8, number])
        strewn = strew(random, size_mm, 1.05)
        away, _, which = Cells(strewn).look(x, y)
        gland = random.uniform(0.5, 1.0, len(strewn))[which]
        tone = 1 - 0.3 * gland * np.exp(-((away / 0.22) ** 2)) + 0.05 * np.exp(-(((away - 0.42) / 0.15) ** 2))
        tone *= self._mottle(x, y, size_mm, 6.0, 0.05, number)
        return self._mix(0 * x, 1 + 0 * x, np.clip(tone, 0, 1.2))


def mixed_hues(fruit: Fruit, flesh: str | None, peel: str | None) -> Fruit:
    """Return a fruit with other colours where they are given."""
    return replace(fruit, flesh=flesh or fruit.flesh, peel=peel or fruit.peel)
