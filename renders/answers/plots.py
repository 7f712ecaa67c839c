"""Plots of a sweep: each measure against what varies, ± one standard error as a band, or bars at words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..report import KINDS
from .pattern import KIND_WORDS
from .variations import Variant, Variation

# In the words of the trade, in the order of the page.
CAUSTIC_WORDS = {
    "line_width_mm": "Width of the brightest line, mm",
    "edge_10_90_mm": "Softness of its sharper edge, mm",
    "peak_over_table_stops": "Brightest spot over the plain table, stops",
    "pattern_over_table_stops": "Pattern alone over the plain table, stops",
    "length_mm": "Reach from the foot, mm",
    "heading_deg": "Heading on the plan, deg",
    "tip_x_mm": "Tip, to the right, mm",
    "tip_y_mm": "Tip, away from the camera, mm",
    "peak_x_mm": "Brightest spot, to the right, mm",
    "peak_y_mm": "Brightest spot, away from the camera, mm",
    "area_cm2": "Area at half the peak and more, cm²",
    "spread_mm": "Spread of the pattern, mm",
    "colour_spread_mm": "Blue beyond red across the line, mm",
    "flux_share": "Share of the light on the glass that it holds",
}
METER_WORDS = {"light": "Light on the meter", "stops_over_table": "Over the plain table, stops"}
MOST_TICKS = 9
# Inches: a panel with what stands round it, and room over and under all of them.
_PANEL_IN, _HIGH_IN, _LOW_IN, _LEGEND_IN, _LINE_IN = (4.4, 2.9), 0.95, 0.55, 0.45, 0.22
_BESIDE = 6  # entries of a legend in a line
# Told apart in black and white too.
_STYLES = (("-", "o"), ("--", "s"), (":", "^"), ("-.", "D"), ((0, (6, 2, 1, 2, 1, 2)), "v"))
_GREYS = ("0.0", "0.35", "0.55")


def list_pages(measures: Sequence[dict]) -> dict[str, tuple[str, dict[str, str]]]:
    """Return what is plotted: title, and words by measure, for each page that has any value.

    Parameters
    ----------
    measures : sequence of dict
        See `sweeps.list_measures`, one a variant.
    """
    names = [name for name in measures[0] if any(_is_told(found.get(name)) for found in measures)]
    lamps = [name.removesuffix(".plain_table") for name in measures[0] if name.endswith(".plain_table")]
    pages = {}
    for lamp in lamps:
        for kind in KINDS:
            start = f"{lamp}.{kind}."
            words = {start + key: text for key, text in CAUSTIC_WORDS.items() if start + key in names}
            if len(words) > 1:
                pages[f"{lamp}-{kind}"] = (f"{lamp}, {KIND_WORDS[kind]}", words)
    lights = {}
    for lamp in lamps:
        name = f"{lamp}.plain_table"
        if name in names:
            lights[name] = f"{lamp} on the plain table{_in_unit(measures[0][name])}"
    for name in names:
        if name.startswith("meters."):
            meter, _, key = name.removeprefix("meters.").rpartition(".")
            unit = _in_unit(measures[0][name]) if key == "light" else ""
            lights[name] = f"{meter}: {METER_WORDS[key]}{unit}"
    if lights:
        pages["light"] = ("Light on table and meters", lights)
    return pages


def _is_told(measured: dict | None) -> bool:
    return measured is not None and measured["value"] is not None


def _in_unit(measured: dict) -> str:
    return f", {measured['unit']}" if measured["unit"] else ", relative"


def draw_page(
    title: str,
    words: dict[str, str],
    variations: Sequence[Variation],
    variants: Sequence[Variant],
    measures: Sequence[dict],
    note: str,
) -> np.ndarray:
    """Return a page of plots, (h, w, 3) uint8: a panel for each measure, a line for each second value.

    Parameters
    ----------
    title : str
    words : dict of str to str
        What is written over each panel, by measure.
    variations, variants, measures
        As of the sweep.
    note : str
        Under the title.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    columns = min(3, len(words))
    rows = -(-len(words) // columns)
    lines = -(-len(variations[1].texts) // _BESIDE) if len(variations) == 2 else 0
    low = _LOW_IN + (_LEGEND_IN + _LINE_IN * lines) * bool(lines)
    size = columns * _PANEL_IN[0], rows * _PANEL_IN[1] + _HIGH_IN + low
    figure = Figure(figsize=size, dpi=110)
    canvas = FigureCanvasAgg(figure)
    figure.text(0.15 / size[0], 1 - 0.15 / size[1], f"{title}\n{note}", va="top", fontsize=12)
    panels = figure.subplots(
        rows,
        columns,
        squeeze=False,
        gridspec_kw={
            "left": 0.7 / size[0],
            "right": 1 - 0.2 / size[0],
            "bottom": low / size[1],
            "top": 1 - _HIGH_IN / size[1],
            "wspace": 0.26,
            "hspace": 0.42,
        },
    ).ravel()
    for panel, (name, text) in zip(panels, words.items(), strict=False):
        _draw_panel(panel, name, variations, variants, measures)
        panel.set_title(text, fontsize=10, loc="left")
    for panel in panels[len(words) :]:
        panel.set_axis_off()
    if len(variations) == 2:
        handles, labels = panels[0].get_legend_handles_labels()
        figure.legend(handles, labels, title=variations[1].key, loc="lower left", ncols=_BESIDE, fontsize=9)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3].copy()


def _draw_panel(panel, name: str, variations, variants, measures) -> None:
    first = variations[0]
    along = np.array(first.numbers if first.numbers else range(len(first.texts)), float)
    seconds = range(len(variations[1].texts)) if len(variations) == 2 else [None]
    for second in seconds:
        values, errors, limits = _read_line(name, second, len(along), variants, measures)
        (dash, marker), grey = _STYLES[(second or 0) % len(_STYLES)], _GREYS[(second or 0) % len(_GREYS)]
        about = {"marker": marker, "color": grey, "markersize": 4}
        about["label"] = None if second is None else variations[1].texts[second]
        if first.numbers is None:
            # Nothing lies between two words; what shares one stands side by side.
            aside = 0 if second is None else 0.4 * ((second + 0.5) / len(variations[1].texts) - 0.5)
            panel.errorbar(along + aside, values, errors, linestyle="", capsize=3, **about)
        else:
            aside = 0
            panel.fill_between(along, values - errors, values + errors, color=grey, alpha=0.22, linewidth=0)
            panel.plot(along, values, linestyle=dash, **about)
        if limits.any():
            hollow = {**about, "label": None, "markerfacecolor": "white", "linestyle": "", "zorder": 3}
            panel.plot((along + aside)[limits], values[limits], **hollow)
    panel.margins(x=0.05 if first.numbers else 0.15)
    if by_text := len(first.texts) <= MOST_TICKS or first.numbers is None:
        step = -(-len(first.texts) // MOST_TICKS)
        panel.set_xticks(along[::step], [_short(text) for text in first.texts[::step]])
    panel.set_xlabel(first.key + (f", {first.unit}" if first.unit and not by_text else ""), fontsize=9)
    panel.tick_params(labelsize=8)
    panel.ticklabel_format(axis="y", useOffset=False)
    panel.grid(True, color="0.88", linewidth=0.6)
    panel.set_axisbelow(True)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)


def _short(text: str) -> str:
    return text if len(text) <= 12 else text[:11] + "…"


def _read_line(name: str, second: int | None, count: int, variants, measures):
    """Return (count,) values and standard errors along the first variation, NaN where one is not known.

    And (count,) whether a value is the most that it can be.
    """
    values, errors, limits = np.full(count, np.nan), np.full(count, np.nan), np.zeros(count, bool)
    for variant, found in zip(variants, measures, strict=True):
        measured = found.get(name)
        if _is_told(measured) and (second is None or variant.places[1] == second):
            values[variant.places[0]] = measured["value"]
            error = measured["standard_error"]
            errors[variant.places[0]] = np.nan if error is None else error
            limits[variant.places[0]] = measured.get("upper_limit", False)
    if name.endswith("heading_deg"):
        told = ~np.isnan(values)
        values[told] = np.unwrap(values[told], period=360)
    return values, errors, limits
