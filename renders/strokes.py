"""Lines, shapes and words on a sheet of paper, for plans.

A sheet is an (h, w, 3) float array of sRGB values, 0 to 255. Places are in
pixels, right and down from its top left corner, so the first pixel's centre is
(0.5, 0.5). Each pixel is inked by how much of it a stroke covers, worked out from
the distance to the stroke: edges are smooth and places exact.

The typeface is the one that Pillow carries (Aileron; its name table says "No Rights
Reserved"), so that every machine sets the same words.
"""

import math
import unicodedata
from dataclasses import dataclass

import numpy as np

PAPER, INK, QUIET, WHITE = (250, 249, 246), (32, 31, 30), (104, 100, 96), (255, 255, 255)

# What the typeface has beyond ASCII, of the signs that are of use here.
SIGNS = "°±·’“”…"


@dataclass(frozen=True)
class Word:
    """A line of text on a sheet.

    Parameters
    ----------
    x, y : float
    text : str
    anchor : str
        Which point of the text stands at x, y: Pillow's two letters,
        l, m, r across; a (top), m (middle), s (foot of the letters) down.
    size : int
        Height of the letters' body.
    colour : (int, int, int)
    width : float
        Longer text is cut and ends in an ellipsis.
    haloed : bool
        Set on a rim of paper, so that it reads on any ground.
    """

    x: float
    y: float
    text: str
    anchor: str = "la"
    size: int = 21
    colour: tuple = INK
    width: float = math.inf
    haloed: bool = False


def blank(width, height):
    """Return an empty sheet, (height, width, 3)."""
    return np.full((height, width, 3), PAPER, float)


def line(sheet, start, end, width, colour=INK, frame=None):
    """Draw a straight line with round ends, on `frame` (left, top, right, bottom) alone if given."""
    (x0, y0), (x1, y1) = start, end
    pad = width + 1
    box = (min(x0, x1) - pad, min(y0, y1) - pad, max(x0, x1) + pad, max(y0, y1) + pad)
    part, x, y = _part(sheet, box, frame)
    dx, dy = x1 - x0, y1 - y0
    along = np.clip(((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy), 0, 1)
    distance = np.hypot(x - x0 - along * dx, y - y0 - along * dy)
    _ink(part, width / 2 + 0.5 - distance, colour)


def outline(sheet, left, top, right, bottom, width=1.5):
    """Draw the outline of an upright rectangle."""
    corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
    for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
        line(sheet, start, end, width)


def cross(sheet, at, arm, width, colour=INK, frame=None):
    """Draw an upright cross with arms of a length."""
    line(sheet, (at[0] - arm, at[1]), (at[0] + arm, at[1]), width, colour, frame)
    line(sheet, (at[0], at[1] - arm), (at[0], at[1] + arm), width, colour, frame)


def ring(sheet, at, radius, width, colour=INK, frame=None, dash=None):
    """Draw a circle, in dashes if `dash` gives their length and that of the gaps."""
    pad = radius + width + 1
    part, x, y = _part(sheet, (at[0] - pad, at[1] - pad, at[0] + pad, at[1] + pad), frame)
    coverage = width / 2 + 0.5 - np.abs(np.hypot(x - at[0], y - at[1]) - radius)
    if dash:
        # Whole dashes only; one that is drawn wider is longer too, so a rim goes round its ends.
        count = max(round(2 * math.pi * radius / sum(dash)), 4)
        turn = np.arctan2(y - at[1], x - at[0]) / (2 * math.pi) * count % 1
        past_end = (np.abs(turn - 0.5) - dash[0] / sum(dash) / 2) * 2 * math.pi * radius / count
        coverage = np.minimum(coverage, width / 2 - 0.4 - past_end)
    _ink(part, coverage, colour)


def triangle(sheet, corners, colour=INK):
    """Fill a triangle."""
    corners = np.array(corners, float)
    part, x, y = _part(sheet, (*(corners.min(0) - 1), *(corners.max(0) + 1)))
    centre, outside = corners.mean(0), -np.inf
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.hypot(*(b - a))
        normal *= -np.sign((centre - a) @ normal)
        outside = np.maximum(outside, (x - a[0]) * normal[0] + (y - a[1]) * normal[1])
    _ink(part, 0.5 - outside, colour)


def arrow(sheet, tail, tip, colour=INK):
    """Draw an arrow."""
    tail, tip = np.array(tail, float), np.array(tip, float)
    way = (tip - tail) / np.hypot(*(tip - tail))
    across = np.array([-way[1], way[0]])
    line(sheet, tail, tip - way * 12, 2.5, colour)
    triangle(sheet, [tip, tip - way * 20 + across * 8, tip - way * 20 - across * 8], colour)


def box(sheet, left, top, right, bottom, colour=INK):
    """Fill an upright rectangle."""
    part, x, y = _part(sheet, (left, top, right, bottom))
    wide = np.clip(np.minimum(x + 0.5, right) - np.maximum(x - 0.5, left), 0, 1)
    high = np.clip(np.minimum(y + 0.5, bottom) - np.maximum(y - 0.5, top), 0, 1)
    _ink(part, wide * high, colour)


def _part(sheet, box, frame=None):
    """Return the part of a sheet inside a box, and its pixel centres (right, down)."""
    low_x, low_y, high_x, high_y = frame or (0, 0, sheet.shape[1], sheet.shape[0])
    x0, x1 = (int(np.clip(v, low_x, high_x)) for v in (math.floor(box[0]), math.ceil(box[2])))
    y0, y1 = (int(np.clip(v, low_y, high_y)) for v in (math.floor(box[1]), math.ceil(box[3])))
    return sheet[y0:y1, x0:x1], np.arange(x0, x1) + 0.5, np.arange(y0, y1)[:, None] + 0.5


def _ink(part, coverage, colour):
    part += np.clip(coverage, 0, 1)[..., None] * (np.array(colour, float) - part)


def printed(sheet, words):
    """Return a sheet with its words set, as 8-bit sRGB.

    Parameters
    ----------
    sheet : (h, w, 3) float
    words : list of Word

    Returns
    -------
    (h, w, 3) uint8
    """
    from PIL import Image, ImageDraw, ImageFont

    picture = Image.fromarray(np.round(sheet).astype(np.uint8))
    pen = ImageDraw.Draw(picture)
    fonts = {size: ImageFont.load_default(size) for size in {word.size for word in words}}
    for word in words:
        font = fonts[word.size]
        halo = {"stroke_width": 3, "stroke_fill": PAPER} if word.haloed else {}
        text = _spelled(word.text, word.width, font)
        pen.text((word.x, word.y), text, font=font, anchor=word.anchor, fill=word.colour, **halo)
    return np.asarray(picture)


def _spelled(text, width, font):
    """Return text in letters that the typeface has, not wider than `width` pixels."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    bare = "".join(c if " " <= c <= "~" or c in SIGNS else "?" for c in bare)
    cut = bare
    while font.getlength(cut) > width and len(bare) > 1:
        bare = bare[:-1].rstrip()
        cut = bare + "…"
    return cut
