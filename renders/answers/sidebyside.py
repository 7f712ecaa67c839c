"""The sheet of a comparison: options side by side, pictures above, tables from above below at one scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brimcast.scene.frame import crop_share

from .. import strokes
from ..adjust import LUMINANCE, develop, display
from ..cropguide import mark_crop
from ..strokes import INK, QUIET, WHITE, Word
from .extents import Extent
from .lineup import Lineup, Option
from .sharedmaps import find_extent, see_table

# Widths of an option on the sheet by how many there are, pixels.
_WIDTHS = {2: 680, 3: 560, 4: 460, 5: 400, 6: 360}
_TALLEST = 1.5  # of picture and of table, over the width
_MARGIN, _GAP, _HEAD, _NAMES, _FOOT = 60, 30, 118, 64, 200
TITLE_PX, LETTER_PX, SMALL_PX = 36, 34, 18
_KEY_STOPS = range(-4, 4)


@dataclass(frozen=True, eq=False)
class Panel:
    """One option as it is shown.

    Attributes
    ----------
    letter, name : str
    picture : (h, w, 3) uint8 or None
        sRGB; None without a camera.
    table : (h, w, 3) uint8
        From above, the camera's side below, with the feet and mouths of glasses and the datum.
    """

    letter: str
    name: str
    picture: np.ndarray | None
    table: np.ndarray


@dataclass(frozen=True, eq=False)
class Panels:
    """All options as they are shown.

    Attributes
    ----------
    shown : tuple of Panel
    extent : Extent
        What of the table they show, and its scale.
    plain_level : float
        Linear level of the first option's plain table, 1 at saturation; 0 in the dark.
    """

    shown: tuple[Panel, ...]
    extent: Extent
    plain_level: float


def make_panels(lineup: Lineup) -> Panels:
    """Return all options as they are shown: pictures by one exposure, tables also at one scale."""
    wide = _WIDTHS[max(len(lineup.options), 2)]
    extent = find_extent(lineup, (wide, _TALLEST * wide))
    shown = tuple(_make_panel(lineup, option, extent) for option in lineup.options)
    return Panels(shown, extent, _find_plain_level(lineup))


def _make_panel(lineup: Lineup, option: Option, extent: Extent) -> Panel:
    scale = extent.px_per_mm
    table = display(see_table(lineup, option, extent, extent.size_px)).astype(float)
    for colour, width in ((WHITE, 4.0), (INK, 1.5)):
        for foot in option.built.feet:
            at = extent.place(*foot.centre_mm)
            strokes.ring(table, at, foot.foot_radius_mm * scale, width, colour)
            strokes.ring(table, at, foot.rim_radius_mm * scale, width, colour, dash=(14, 10))
        strokes.cross(table, extent.place(0.0, 0.0), 9, width, colour)
    linear, picture = lineup.picture(option), None
    if linear is not None:
        picture = mark_crop(display(linear), crop_share(option.built.camera))
    return Panel(option.letter, option.name, picture, np.round(table).astype(np.uint8))


def _find_plain_level(lineup: Lineup) -> float:
    built, stored = lineup.first.built, lineup.first.frame.stored
    matte = built.panels[0].front / math.pi
    bands = {lamp.name: (stored.plain[lamp.name] * lamp.gel * matte)[:, None, None] for lamp in built.lamps}
    level = develop(bands, lineup.exposed.exposure, white=lineup.exposed.white)[0, 0] @ LUMINANCE
    return float(level)


def draw_sheet(
    panels: Panels, title: str, facts: Sequence[str], captions: Sequence[Sequence[str]]
) -> np.ndarray:
    """Return the sheet.

    Parameters
    ----------
    panels : Panels
    title : str
    facts : sequence of str
        Told under the title; at most two.
    captions : sequence of sequence of str
        Lines under each table; at most three.

    Returns
    -------
    (h, w, 3) uint8
        sRGB.
    """
    count, wide = len(panels.shown), _WIDTHS[max(len(panels.shown), 2)]
    pictures = [None if panel.picture is None else _fit(panel.picture, wide) for panel in panels.shown]
    high = max((picture.shape[0] for picture in pictures if picture is not None), default=0)
    deep = panels.shown[0].table.shape[0]
    tops = _MARGIN + _HEAD + _NAMES
    below = tops + (high + _GAP if high else 0)
    columns = max(count, 2)
    sheet = strokes.blank(2 * _MARGIN + columns * wide + (columns - 1) * _GAP, below + deep + _FOOT + _MARGIN)
    reach = sheet.shape[1] - 2 * _MARGIN
    words = [Word(_MARGIN, _MARGIN - 12, title, size=TITLE_PX, width=reach)]
    for row, fact in enumerate(facts):
        words.append(Word(_MARGIN, _MARGIN + 40 + 28 * row, fact, colour=QUIET, width=reach))
    for number, (panel, picture) in enumerate(zip(panels.shown, pictures, strict=True)):
        left = _MARGIN + number * (wide + _GAP)
        words.append(Word(left, tops - 24, panel.letter, "ls", LETTER_PX))
        words.append(Word(left + 40, tops - 24, panel.name, "ls", width=wide - 40))
        if picture is not None:
            _paste(sheet, picture, left + (wide - picture.shape[1]) // 2, tops)
        elif high:
            words.append(Word(left + wide / 2, tops + high / 2, "no camera, no picture", "mm", colour=QUIET))
        _paste(sheet, panel.table, left + (wide - panel.table.shape[1]) // 2, below)
        for row, text in enumerate(captions[number]):
            words.append(Word(left, below + deep + 10 + 24 * row, text, "la", SMALL_PX, width=wide))
    return strokes.printed(sheet, words + _draw_foot(sheet, panels, below + deep + 106))


def _fit(picture: np.ndarray, wide: int) -> np.ndarray:
    """Return a picture as large as its column lets it be."""
    from PIL import Image

    scale = min(wide / picture.shape[1], _TALLEST * wide / picture.shape[0])
    size = max(round(picture.shape[1] * scale), 1), max(round(picture.shape[0] * scale), 1)
    return np.asarray(Image.fromarray(picture).resize(size, Image.Resampling.LANCZOS))


def _paste(sheet, picture, left: int, top: int) -> None:
    height, width = picture.shape[:2]
    sheet[top : top + height, left : left + width] = picture
    strokes.outline(sheet, left, top, left + width, top + height)


def _draw_foot(sheet, panels: Panels, top: int) -> list[Word]:
    """Draw scale bar and key of tones; return the words."""
    bar_mm = panels.extent.bar_mm
    left, right = _MARGIN, _MARGIN + bar_mm * panels.extent.px_per_mm
    strokes.box(sheet, left, top, right, top + 12)
    strokes.box(sheet, (left + right) / 2, top + 2, right - 2, top + 10, strokes.PAPER)
    words = [
        Word(left, top + 22, f"{bar_mm} mm, all tables; the camera's side is below", size=SMALL_PX),
        Word(left, top + 46, "circle: foot · dashed: mouth · cross: datum", size=SMALL_PX, colour=QUIET),
    ]
    if not panels.plain_level > 0:
        return words
    patch, tall = 44, 30
    start = sheet.shape[1] - _MARGIN - patch * len(_KEY_STOPS)
    for place, stop in enumerate(_KEY_STOPS):
        at = start + place * patch
        sheet[top : top + tall, at : at + patch] = display(np.full(3, panels.plain_level * 2.0**stop))
        label = f"{stop:+d}" if stop else "0"
        words.append(Word(at + patch / 2, top + tall + 4, label, "ma", SMALL_PX))
    strokes.outline(sheet, start, top, start + patch * len(_KEY_STOPS), top + tall)
    key = f"stops over the plain table of {panels.shown[0].letter}"
    return [*words, Word(sheet.shape[1] - _MARGIN, top + tall + 28, key, "ra", SMALL_PX, QUIET)]
