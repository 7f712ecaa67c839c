"""The files of a sweep: contact sheets, plots, film, table of measures, and sweep.json; see report.md."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.shared.errors import Fault, PersonError, telling_unwritable

from ..balance import tell_exposure
from ..exposures import set_light
from ..frames import FrameStore
from ..images import write_json, write_png
from ..keep import replacing
from ..stored import Stored
from . import plots, sheets, sweeps
from .extents import Extent
from .variations import Variant, Variation

SHEET, PICTURES, FILM = "sheet.png", "pictures.png", "film.webp"
MEASURES, SWEEP = "measures.csv", "sweep.json"
PLOT = "plot-{}.png"
_PICTURE_PX = (340, 340)
_FEW_WORDS = 6


@dataclass(frozen=True, eq=False)
class Frame:
    """One variant of a sweep and where it is kept.

    Attributes
    ----------
    variant : Variant
    built : BuiltSet
        Coarse and trimmed, see `sweeps.trim_built`.
    name : str
        In the frame store.
    """

    variant: Variant
    built: BuiltSet
    name: str


@dataclass(frozen=True, eq=False)
class Sweep:
    """A computed sweep.

    Attributes
    ----------
    variations : tuple of Variation
    frames : tuple of Frame
        In the order of `variations.list_variants`.
    store : FrameStore
    quality : str
    metered : bool
        Every table is shown at one level, instead of all at one exposure.
    settings : dict
        For every file.
    """

    variations: tuple[Variation, ...]
    frames: tuple[Frame, ...]
    store: FrameStore
    quality: str
    metered: bool
    settings: dict

    @property
    def title(self) -> str:
        """Title of the set."""
        return self.frames[0].built.title

    def open(self, frame: Frame) -> Stored:
        """Return what is kept of a frame.

        Raises
        ------
        PersonError
            It is damaged; it is removed, so that it will be computed again.
        """
        stored = self.store.find(frame.name)
        if stored is None:
            text = "was damaged and is removed; run again to compute it anew"
            raise PersonError(Fault(str(self.store.folder / frame.name), None, None, None, text))
        return stored

    def tell_values(self, frame: Frame) -> str:
        """Return a frame's values as a caption."""
        return ", ".join(frame.variant.changes.values())


def write_sweep(
    sweep: Sweep, folder: Path, picture: bool, progress: Callable[[float, str], None]
) -> tuple[list[str], list[dict]]:
    """Write a sweep's files into a folder, all or none.

    Returns
    -------
    names : list of str
        Files written; no sheet and no film where no variant throws focused light on the table.
    measures : list of dict
        See `sweeps.list_measures`.

    Raises
    ------
    PersonError
        The folder cannot be written, or a frame was damaged.
    """
    views, measures = [], []
    for number, frame in enumerate(sweep.frames):
        progress(0.3 * number / len(sweep.frames), "reading")
        stored = sweep.open(frame)
        measures.append(sweeps.list_measures(frame.built, stored))
        # Without the light itself, of which a thousand would not fit.
        views.append(replace(sweeps.view_table(frame.built, stored, sweep.metered), light=None))
    with telling_unwritable(folder), replacing(folder) as fresh:
        variants = [frame.variant for frame in sweep.frames]
        sweeps.write_csv(fresh / MEASURES, sweep.variations, variants, measures)
        write_json(fresh / SWEEP, _describe(sweep, measures))
        note = f"{sweep.title}; {sweep.quality}; ± is one standard error"
        if any(entry.get("upper_limit") for found in measures for entry in found.values()):
            note += "; hollow: at most so wide"
        for name, (title, words) in plots.list_pages(measures).items():
            page = plots.draw_page(title, words, sweep.variations, variants, measures, note)
            write_png(fresh / PLOT.format(name), page, sweep.settings)
        if any(view.box_mm for view in views):
            _draw_tables(sweep, views, fresh, lambda share, text: progress(0.3 + 0.6 * share, text))
        if picture:
            _draw_pictures(sweep, fresh, lambda share, text: progress(0.9 + 0.1 * share, text))
        return sorted(path.name for path in fresh.iterdir()), measures


def list_stale(folder: Path, written: Sequence[str]) -> list[str]:
    """Return the files of an earlier sweep in a folder that this one did not write."""
    mine = {PICTURES, SHEET, FILM, *(path.name for path in folder.glob(PLOT.format("*")))}
    return sorted(name for name in mine if name not in written and (folder / name).exists())


def _describe(sweep: Sweep, measures: list[dict]) -> dict:
    """Return what sweep.json holds."""
    return {
        "settings": sweep.settings,
        "variations": [
            {"key": each.key, "values": each.texts, "numbers": each.numbers, "unit": each.unit}
            for each in sweep.variations
        ],
        "variants": [
            {"values": frame.variant.changes, "frame": f"frames/{frame.name}", "measures": found}
            for frame, found in zip(sweep.frames, measures, strict=True)
        ],
    }


def _draw_tables(sweep: Sweep, views: list[sweeps.View], folder: Path, progress) -> None:
    """Draw the contact sheet of tables and the film, each at one scale and one exposure."""
    steps, beside = len(sweep.variations[0].texts), len(sweep.frames) // len(sweep.variations[0].texts)
    gain = sweeps.choose_gain(sweep.frames[0].built, views)
    sizes = sheets.fit_tiles(len(views)), sheets.fit_film(steps, beside)
    on_sheet, on_film = (sheets.find_extent(views, size) for size in sizes)
    small, large = [], []
    for number, frame in enumerate(sweep.frames):
        progress(number / len(sweep.frames), "drawing the tables")
        view = sweeps.view_table(frame.built, sweep.open(frame), sweep.metered)
        for tiles, extent in ((small, on_sheet), (large, on_film)):
            tiles.append(np.round(sheets.show_table(view, extent, gain)).astype(np.uint8))
    lines = [*_tell_what(sweep), _tell_look(sweep, gain)]
    columns = steps if beside > 1 else sheets.choose_columns(steps)
    captions = [sweep.tell_values(frame) for frame in sweep.frames]
    under = f"The bar is {on_sheet.bar_mm} mm, the same in all. Camera side below; cross: datum."
    sheet = sheets.lay_sheet(small, captions, columns, sweep.title, [*lines, under])
    write_png(folder / SHEET, sheet, sweep.settings)
    sheets.write_film(folder / FILM, _lay_film(sweep, large, on_film), sweep.settings)


def _lay_film(sweep: Sweep, tiles: list[np.ndarray], extent: Extent) -> list[np.ndarray]:
    """Return the frames of the film, along the first variation."""
    first, *second = sweep.variations
    captions = [f"{each.key} {text}" for each in second for text in each.texts] or [""]
    bar = f"{sweep.quality}; the bar is {extent.bar_mm} mm"
    return [
        sheets.lay_frame(tiles[step :: len(first.texts)], captions, f"{first.key} {text}", sweep.title, bar)
        for step, text in enumerate(first.texts)
    ]


def _draw_pictures(sweep: Sweep, folder: Path, progress) -> None:
    steps = len(sweep.variations[0].texts)
    most = [min(*pair) for pair in zip(_PICTURE_PX, sheets.fit_tiles(len(sweep.frames)), strict=True)]
    tiles = []
    for number, frame in enumerate(sweep.frames):
        progress(number / len(sweep.frames), "drawing the pictures")
        linear = sweeps.view_picture(frame.built, sweep.open(frame))
        tiles.append(sheets.show_picture(linear, most))
    captions = [sweep.tell_values(frame) for frame in sweep.frames]
    columns = steps if len(sweep.variations) > 1 else sheets.choose_columns(steps)
    lines = [*_tell_what(sweep), "The camera's pictures, as it exposes each."]
    sheet = sheets.lay_sheet(tiles, captions, columns, sweep.title, lines)
    write_png(folder / PICTURES, sheet, sweep.settings)


def _tell_what(sweep: Sweep) -> list[str]:
    """Return what varies, in words."""
    told = []
    for each in sweep.variations:
        few = each.numbers is None and len(each.texts) <= _FEW_WORDS
        ends = f"{each.texts[0]} to {each.texts[-1]}, {len(each.texts)} values"
        told.append(f"{each.key}: {', '.join(each.texts) if few else ends}")
    if len(told) == 2:
        told = [f"Across: {told[0]}", f"Down: {told[1]}"]
    return told


def _tell_look(sweep: Sweep, gain: float) -> str:
    """Return in words how bright the tables are shown."""
    built = sweep.frames[0].built
    start = f"{sweep.quality} quality; tables from above."
    if sweep.metered:
        return f"{start} Each shown with its plain table at one level."
    if built.relative:
        return f"{start} No meter readings: each is metered on its plain table."
    if built.camera is None:
        return f"{start} All at one exposure."
    exposed = tell_exposure(set_light(built, sweep.open(sweep.frames[0])).exposed.exposure)
    darker = f" Shown {-np.log2(gain):.1f} stops darker than that, all alike." if gain < 0.97 else ""
    return f"{start} {exposed}{darker}"
