"""Contact sheets and films: tables from above at one scale, with what varies written beside them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from .. import strokes
from ..adjust import display
from ..images import settings_text
from ..keep import replacing_file
from ..strokes import INK, QUIET, WHITE, Word
from .extents import Extent, fit_extent
from .sweeps import View

# Of a table or picture on the sheet, at most; smaller where there are many.
TILE_PX, FILM_PX = (340, 420), (720, 820)
MOST_PX, MOST_FILM_PX = 50_000_000, 200_000_000
MOST_COLUMNS = 6
BLANK = (226, 223, 217)  # beyond the computed map
_MARGIN, _GAP, _FINE = 44, 22, 3
# A film lasts so long, and a frame of it at least and at most so long, ms.
_FILM_MS, _FRAME_MS = 6000, (60, 700)
_DESCRIPTION, _SOFTWARE = 0x010E, 0x0131  # EXIF 3.0, table 4


def find_extent(views: Sequence[View], most_px: tuple[float, float]) -> Extent:
    """Return the part of the table that holds the focused light of all views, as large as fits.

    Raises
    ------
    ValueError
        No view has any.
    """
    boxes = np.array([view.box_mm for view in views if view.box_mm is not None])
    if not len(boxes):
        raise ValueError("no view has focused light on the table")
    lit = [view for view in views if view.box_mm is not None]
    ends = []
    for axis, cells in enumerate(("x_mm", "y_mm")):
        low, high = boxes[:, 2 * axis].min(), boxes[:, 2 * axis + 1].max()
        lows, highs = zip(*(_ends(getattr(view, cells)) for view in lit), strict=True)
        # A narrow strip that some maps lack is not worth its blank.
        slack = 0.08 * (high - low)
        low = max(lows) if low < max(lows) < low + slack else max(low, min(lows))
        high = min(highs) if high - slack < min(highs) < high else min(high, max(highs))
        ends += [float(low), float(high)]
    return fit_extent(ends, most_px)


def _ends(centres: np.ndarray) -> tuple[float, float]:
    half = (centres[1] - centres[0]) / 2
    return centres[0] - half, centres[-1] + half


def show_table(view: View, extent: Extent, gain: float) -> np.ndarray:
    """Return a view to scale, (h, w, 3) float sRGB 0 to 255, with glasses, datum and a bar of scale."""
    width, height = extent.size_px
    tile = np.full((height, width, 3), BLANK, float)
    if view.light is not None:
        tile = _lay_light(view, extent, gain)
    for colour, stroke in ((WHITE, 3.6), (INK, 1.3)):
        for circle in view.circles:
            at = extent.place(circle.x_mm, circle.y_mm)
            dash = (9, 6) if circle.part == "mouth" else None
            strokes.ring(tile, at, circle.radius_mm * extent.px_per_mm, stroke, colour, dash=dash)
        strokes.cross(tile, extent.place(0.0, 0.0), 6, stroke, colour)
    length = extent.bar_mm * extent.px_per_mm
    strokes.box(tile, 8, height - 16, 12 + length, height - 8, strokes.PAPER)
    strokes.box(tile, 10, height - 14, 10 + length, height - 10, INK)
    return tile


def _lay_light(view: View, extent: Extent, gain: float) -> np.ndarray:
    """Return the light by pixels; where cells are small, means of nine places each, in linear light."""
    width, height = extent.size_px
    times = 1 if (view.x_mm[1] - view.x_mm[0]) * extent.px_per_mm >= 2 else _FINE
    places = (
        (view.x_mm, extent.left + (np.arange(width * times) + 0.5) / (extent.px_per_mm * times)),
        (view.y_mm, extent.far - (np.arange(height * times) + 0.5) / (extent.px_per_mm * times)),
    )
    found, within = [], []
    for centres, at in places:
        cells = np.floor((at - centres[0]) / (centres[1] - centres[0]) + 0.5).astype(int)
        within.append((cells >= 0) & (cells < len(centres)))
        found.append(np.clip(cells, 0, len(centres) - 1))
    columns, rows = found
    seen = view.light[np.ix_(rows, columns)] * gain
    mapped = np.logical_and.outer(within[1], within[0]).reshape(height, times, width, times).mean(axis=(1, 3))
    shown = display(seen.reshape(height, times, width, times, 3).mean(axis=(1, 3)))
    return np.where(mapped[..., None] > 0.5, shown, np.array(BLANK)).astype(float)


def show_picture(linear: np.ndarray, most_px: tuple[float, float]) -> np.ndarray:
    """Return a picture made to fit, (h, w, 3) float sRGB 0 to 255; it is never enlarged."""
    from PIL import Image

    picture = Image.fromarray(display(linear))
    picture.thumbnail((round(most_px[0]), round(most_px[1])), Image.Resampling.LANCZOS)
    return np.asarray(picture, float)


def fit_tiles(count: int) -> tuple[float, float]:
    """Return the most pixels across and down that a tile may have on a sheet of so many."""
    return _shrink(TILE_PX, MOST_PX / count)


def fit_film(steps: int, beside: int) -> tuple[float, float]:
    """Return the same for a film of so many steps with so many tables beside one another."""
    columns = math.ceil(math.sqrt(beside))
    whole = _shrink(FILM_PX, MOST_FILM_PX / steps)
    return whole[0] / columns, whole[1] / columns


def _shrink(size: tuple[int, int], most_px: float) -> tuple[float, float]:
    share = min(1.0, math.sqrt(most_px / (size[0] * size[1])))
    return size[0] * share, size[1] * share


def choose_columns(count: int) -> int:
    """Return how many tiles stand side by side on a sheet of one variation."""
    return min(count, max(MOST_COLUMNS, math.ceil(math.sqrt(count))))


def lay_sheet(
    tiles: Sequence[np.ndarray], captions: Sequence[str], columns: int, title: str, lines: Sequence[str]
) -> np.ndarray:
    """Return the contact sheet, (h, w, 3) uint8.

    Parameters
    ----------
    tiles : sequence of (h, w, 3) float
        Row by row.
    captions : sequence of str
        What is written under each.
    columns : int
    title : str
    lines : sequence of str
        Under the title.
    """
    wide, high = (max(tile.shape[axis] for tile in tiles) for axis in (1, 0))
    letters = 18 if wide >= 150 else 11
    head, caption = _MARGIN + 64 + 27 * len(lines), letters + 16
    rows = -(-len(tiles) // columns)
    width = max(2 * _MARGIN + columns * (wide + _GAP) - _GAP, 760)
    sheet = strokes.blank(width, head + rows * (high + caption + _GAP) + _MARGIN)
    words = _title(title, lines, width)
    for number, (tile, text) in enumerate(zip(tiles, captions, strict=True)):
        left = _MARGIN + number % columns * (wide + _GAP)
        top = head + number // columns * (high + caption + _GAP)
        sheet[top : top + tile.shape[0], left : left + tile.shape[1]] = tile
        words.append(Word(left, top + high + 8, text, size=letters, width=wide))
    return strokes.printed(sheet, words)


def _title(title: str, lines: Sequence[str], width: int) -> list[Word]:
    room = width - 2 * _MARGIN
    under = [
        Word(_MARGIN, _MARGIN + 50 + 27 * row, text, size=18, colour=QUIET, width=room)
        for row, text in enumerate(lines)
    ]
    return [Word(_MARGIN, _MARGIN, title, size=32, width=room), *under]


def lay_frame(
    tiles: Sequence[np.ndarray], captions: Sequence[str], value: str, title: str, line: str
) -> np.ndarray:
    """Return one frame of a film, (h, w, 3) uint8: tables side by side, the value that runs written large.

    Parameters
    ----------
    tiles : sequence of (h, w, 3) float
        All of one size, the same in every frame.
    captions : sequence of str
        Under each table; empty where there is one alone.
    value, title, line : str
    """
    columns = math.ceil(math.sqrt(len(tiles)))
    high, wide = tiles[0].shape[:2]
    caption = 30 * any(captions)
    head = _MARGIN + 96
    width = max(2 * _MARGIN + columns * (wide + _GAP) - _GAP, 560)
    rows = -(-len(tiles) // columns)
    sheet = strokes.blank(width, head + rows * (high + caption + _GAP) + 40)
    words = [
        Word(_MARGIN, _MARGIN - 10, title, size=20, colour=QUIET, width=width - 2 * _MARGIN),
        Word(_MARGIN, _MARGIN + 26, value, size=36, width=width - 2 * _MARGIN),
        Word(_MARGIN, sheet.shape[0] - 46, line, size=17, colour=QUIET, width=width - 2 * _MARGIN),
    ]
    for number, (tile, text) in enumerate(zip(tiles, captions, strict=True)):
        left = _MARGIN + number % columns * (wide + _GAP)
        top = head + number // columns * (high + caption + _GAP)
        sheet[top : top + high, left : left + wide] = tile
        words.append(Word(left, top + high + 6, text, size=17, width=wide))
    return strokes.printed(sheet, words)


def write_film(path: Path, frames: Sequence[np.ndarray], settings: dict) -> None:
    """Write frames, (h, w, 3) uint8, as an animated WebP that runs round and round.

    The settings stand as JSON in its EXIF image description.

    Raises
    ------
    OSError
        The file cannot be written; an earlier one stays as it was.
    """
    from PIL import Image

    exif = Image.Exif()
    exif[_DESCRIPTION] = settings_text(settings)
    exif[_SOFTWARE] = "brimcast"
    first, *others = map(Image.fromarray, frames)
    lasting = int(np.clip(_FILM_MS / len(frames), *_FRAME_MS))
    with replacing_file(path) as fresh:
        first.save(
            fresh, format="WEBP", save_all=True, append_images=others, duration=lasting, loop=0,
            quality=88, method=4, exif=exif,
        )  # fmt: skip
