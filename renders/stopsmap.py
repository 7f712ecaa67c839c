"""Stops maps: a picture in steps of a stop, its ends hatched so that it reads in black and white."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from . import strokes
from .adjust import LUMINANCE, METERED_CARD_LEVEL
from .strokes import QUIET, Word

# Farther under an 18 % card as metered than this, a shadow is called blocked up (common practice).
BLOCKED_STOPS = -5.0
# From there to saturation, 3.07 stops over the card.
STEPS = range(-5, 4)
CLIP_STOPS = -math.log2(METERED_CARD_LEVEL)
_DARKEST, _BRIGHTEST = 56, 226  # greys of the lowest and highest step
_HATCH_PX, _MARGIN, _LEAST_WIDE = 12, 60, 900


@dataclass(frozen=True, eq=False)
class Stops:
    """A picture in stops.

    Attributes
    ----------
    over_card : (h, w) float
        Stops over an 18 % card as metered, of the luminance; -inf in the dark.
    clipped, blocked : (h, w) bool
        A channel is at saturation; the luminance is more than 5 stops under the card.
    headroom_stops : float
        From the brightest channel of the brightest pixel to saturation; below 0 where it clips.
    """

    over_card: np.ndarray
    clipped: np.ndarray
    blocked: np.ndarray
    headroom_stops: float


def measure_stops(linear) -> Stops:
    """Return a developed picture in stops.

    Parameters
    ----------
    linear : (h, w, 3) float
        As `adjust.develop` gives it, 1 = saturation.
    """
    linear = np.asarray(linear, np.float32)
    level = np.maximum(linear @ LUMINANCE.astype(np.float32), 0)
    with np.errstate(divide="ignore"):
        over = np.log2(level / METERED_CARD_LEVEL)
    brightest = float(linear.max())
    headroom = -math.log2(brightest) if brightest > 0 else math.inf
    clipped = linear.max(axis=-1) >= 1
    return Stops(over, clipped, (over < BLOCKED_STOPS) & ~clipped, headroom)


def draw_stops_map(stops: Stops, title: str, lines=()) -> np.ndarray:
    """Return a sheet with the picture in steps of a stop, and their key.

    Clipped areas are white under dark strokes that rise to the right, blocked-up ones black under pale
    strokes that fall to the right.

    Parameters
    ----------
    stops : Stops
    title : str
    lines : sequence of str
        Told under the title.

    Returns
    -------
    (h, w, 3) uint8
        sRGB.
    """
    factor = -(-_LEAST_WIDE // stops.over_card.shape[1])
    picture = _shade(*(np.kron(part, np.ones((factor, factor), part.dtype)) if factor > 1 else part
                       for part in (stops.over_card, stops.clipped, stops.blocked)))  # fmt: skip
    height, width = picture.shape
    top = _MARGIN + 62 + 30 * len(lines)
    sheet = strokes.blank(width + 2 * _MARGIN, top + height + 210)
    sheet[top : top + height, _MARGIN : _MARGIN + width] = picture[..., None]
    strokes.outline(sheet, _MARGIN, top, _MARGIN + width, top + height)
    words = [Word(_MARGIN, _MARGIN - 14, title, size=34, width=width)]
    for row, line in enumerate(lines):
        words.append(Word(_MARGIN, _MARGIN + 38 + 30 * row, line, colour=QUIET, width=width))
    words += _draw_key(sheet, top + height + 40)
    return strokes.printed(sheet, words)


def _shade(over, clipped, blocked) -> np.ndarray:
    """Return greys (h, w) by whole stops, hatched at both ends."""
    steps = np.clip(np.floor(over), STEPS[0], STEPS[-1])
    grey = _DARKEST + (steps - STEPS[0]) * (_BRIGHTEST - _DARKEST) / (len(STEPS) - 1)
    line, column = np.indices(over.shape)
    rising = (line + column) % _HATCH_PX < 3
    falling = (line - column) % _HATCH_PX < 3
    grey = np.where(clipped, np.where(rising, 30, 255), grey)
    return np.where(blocked, np.where(falling, 190, 0), grey)


def _draw_key(sheet, top: int) -> list[Word]:
    """Draw the steps with their limits, and both hatchings; return the words."""
    left, tall, count = _MARGIN, 44, len(STEPS) + 2
    wide = min(84, (sheet.shape[1] - 2 * _MARGIN) // count)
    steps = np.array([STEPS[0] - 1, *STEPS, STEPS[-1] + 1], float)
    over = np.repeat(steps, wide)[None, :].repeat(tall, axis=0)
    number = np.arange(count).repeat(wide)[None, :].repeat(tall, axis=0)
    greys = _shade(over, number == count - 1, number == 0)
    sheet[top : top + tall, left : left + count * wide] = greys[..., None]
    strokes.outline(sheet, left, top, left + count * wide, top + tall)
    words = [
        Word(left + (place + 1) * wide, top + tall + 8, f"{step:+d}" if step else "0", "ma", 18)
        for place, step in enumerate(STEPS)
    ]
    words.append(Word(left + (count - 1) * wide, top + tall + 8, f"{CLIP_STOPS:+.1f}", "ma", 18))
    words.append(Word(left, top + tall + 42, "blocked up", size=18))
    words.append(Word(left + count * wide, top + tall + 42, "clipped", "ra", 18))
    middle = left + count * wide / 2
    return [*words, Word(middle, top + tall + 42, "stops over an 18 % card as metered", "ma", 18, QUIET)]
