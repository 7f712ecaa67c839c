"""What leaves, cherries, olives, picks and straws look like."""

from __future__ import annotations

import numpy as np

from brimcast.shared.colour import decode_hex
from brimcast.vessels.sprig import outline_of, vein_phase

from .painting import Cells, Paint, blend, spectra_of, step, strew

# Leaves by their upper side: green light thrown back, 10 to 15 %, and let through, 8 to 12 %; from memory.
LEAVES = {"mint": "#3b672a", "rosemary": "#47603a"}
_UNDERSIDES = {"mint": 1.5, "rosemary": 2.6}
_STEMS = {"mint": "#7c8a4a", "rosemary": "#8a7a58"}
# A leaf lets through so much of what its upper side throws back, yellower.
_LEAF_PASS = np.array([1.0, 0.72, 0.45])
FRUIT_HUES = {"olive": "#8f9140", "cherry": "#8e1522"}
_PIMENTO, _CHERRY_STEM = "#c23a22", "#6d6a35"
WOOD = "#c8a672"
# Paper of a straw, 0.4 mm thick, passes so much; from memory.
_PAPER_PASS = 0.06


class LeafPainter:
    """Paints a sprig.

    Parameters
    ----------
    herb : {'mint', 'rosemary'}
    colour : str
        Of the leaves' upper side.
    seed : int
    """

    def __init__(self, herb: str, colour: str, seed: int):
        self.herb, self.colour, self.seed = herb, decode_hex(colour), seed
        self.broad = herb == "mint"

    def __call__(self, name: str, number: int, x, y, size_mm) -> Paint:
        random = np.random.default_rng([self.seed, 11, number])
        if name != "leaf":
            tone = 1 + 0.12 * np.sin(x * 5) + 0.06 * np.sin(y * 0.9)
            return _opaque(decode_hex(_STEMS[self.herb]) * tone[:, None])
        own = self.colour * random.uniform(0.85, 1.15) * [random.uniform(0.9, 1.15), 1, 1]
        along = y / size_mm[1]
        half = size_mm[0] / 2.12
        teeth = 11 if self.broad else 0
        wide = np.maximum(half * outline_of(np.clip(along, 0.004, 0.996), teeth), 0.3)
        across = np.clip((x - size_mm[0] / 2) / wide, -1, 1)
        tone, vein = self._veins(along, across, half)
        if self.broad:
            strewn = strew(random, size_mm, 1.6)
            away, _, which = Cells(strewn).look(x, y)
            tone = tone * (1 + 0.07 * random.normal(0, 1, len(strewn))[which] * np.exp(-(away**2)))
        upper = own * tone[:, None]
        pale = upper.mean(axis=1, keepdims=True) * 0.35 + upper * 0.65
        back = blend(0.5 * vein, _UNDERSIDES[self.herb] * pale, 1.9 * own + 0.03)
        upper = blend(0.6 * vein, upper, 1.8 * own + 0.02)
        return Paint(spectra_of(upper), spectra_of(own * tone[:, None] * _LEAF_PASS), spectra_of(back))

    def _veins(self, along, across, half):
        """Return how light a blade is, and how much of a spot is vein."""
        rib = np.exp(-((across * half / (0.45 + 0.35 * (1 - along))) ** 2))
        if not self.broad:
            # The edges of a needle are rolled back, its middle is a groove.
            return 0.9 + 0.35 * np.abs(across) ** 2, 0.5 * rib
        phase = vein_phase(along, across)
        off = np.abs(phase - np.rint(phase))
        side = np.exp(-((off / 0.11) ** 2)) * step((0.0, 0.1), 1 - np.abs(across))
        return 0.94 + 0.2 * off, np.clip(rib + 0.8 * side, 0, 1)


class FruitPainter:
    """Paints olives and cherries, from the lower pole to the upper, and cherries' stems.

    Parameters
    ----------
    kind : {'olive', 'cherry'}
    colour : str
    seed : int
    """

    def __init__(self, kind: str, colour: str, seed: int):
        self.kind, self.colour, self.seed = kind, decode_hex(colour), seed

    def __call__(self, name: str, number: int, x, y, size_mm) -> Paint:
        if name != "fruit":
            return _opaque(decode_hex(_CHERRY_STEM) * (1 + 0.2 * np.sin(0.5 * y))[:, None])
        random = np.random.default_rng([self.seed, 12, number])
        strewn = strew(random, size_mm, 1.4)
        away, _, which = Cells(strewn).look(x, y)
        speck = random.uniform(0, 1, len(strewn))[which] ** 2 * np.exp(-((away / 0.3) ** 2))
        share = y / size_mm[1]
        mottle = 1 + 0.08 * np.sin(0.35 * x + 5 * share) * np.sin(9 * share + number)
        if self.kind == "cherry":
            dark = 1 - 0.45 * step((0.86, 1.0), share)
            return _opaque(self.colour * (mottle * dark * (1 - 0.12 * speck))[:, None])
        shade = blend(0.3 * speck, self.colour * mottle[:, None], np.array([0.55, 0.55, 0.25]))
        # A slice of red pepper fills the hole.
        hole = size_mm[1] - y
        ring = np.exp(-(((hole - 3.4) / 0.5) ** 2))
        shade = blend(0.5 * ring, shade, 0.5 * self.colour)
        return _opaque(blend(1 - step((2.7, 3.1), hole), shade, decode_hex(_PIMENTO)))


def paint_wood(name: str, number: int, x, y, size_mm) -> Paint:
    """Paint a pick of wood: an Artist."""
    grain = 1 + 0.1 * np.sin(7.0 * x + 0.6 * np.sin(0.11 * y)) + 0.05 * np.sin(23.0 * x + 0.05 * y)
    return _opaque(decode_hex(WOOD) * grain[:, None])


class PaperPainter:
    """Paints a paper straw, its stripes wound round it.

    Parameters
    ----------
    colour : str
    stripes : str or None
    """

    def __init__(self, colour: str, stripes: str | None):
        self.colour, self.stripes = decode_hex(colour), stripes and decode_hex(stripes)

    def __call__(self, name: str, number: int, x, y, size_mm) -> Paint:
        shade = np.broadcast_to(self.colour, (len(x), 3))
        if self.stripes is not None and name == "tube":
            # As wide as the gaps between them, at 45 deg: two round the tube.
            phase = np.mod((x - y) / (size_mm[0] / 2), 1.0)
            edge = 0.25 - np.abs(phase - 0.5)
            shade = blend(step((-0.02, 0.02), edge), shade, self.stripes)
        inside = np.broadcast_to(0.85 * self.colour, (len(x), 3))
        return Paint(spectra_of(shade, 0.9), spectra_of(shade, _PAPER_PASS), spectra_of(inside, 0.9))


def _opaque(shade) -> Paint:
    shade = np.clip(shade, 0, 0.95)
    return Paint(spectra_of(shade), np.zeros((len(shade), 16)))
