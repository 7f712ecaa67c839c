"""Measures of a caustic on the table, in the words of measures.md."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .outlines import find_heading, find_tip, measure_area, measure_spread, trace_outline
from .peaks import average, cell_size, find_peak
from .ridge import Line, cut, face, read_line

# Read from a map of light.
MAP_MEASURES = (
    "peak_over_table_stops",
    "pattern_over_table_stops",
    "peak_mm",
    "line_width_mm",
    "edge_10_90_mm",
    "tip_mm",
    "heading_deg",
    "length_mm",
    "area_cm2",
    "spread_mm",
    "colour_spread_mm",
)
# The last comes from the energy book (`report`).
MEASURES = (*MAP_MEASURES, "flux_share")
OUTLINE_STOPS = 3.0
# A line that reads narrower than so many cells may be narrower still (measures.md, what the cells do).
NARROW_CELLS = 3.0


@dataclass(frozen=True)
class TableLight:
    """Light of one lamp and one kind on the table.

    Attributes
    ----------
    x_mm, y_mm : (nx,), (ny,) float
        Cell centres, ascending, uniform, at least two each; the datum is the origin.
    luminous : (ny, nx) float
        The map M, lux-seconds or relative.
    blue, red : (ny, nx) float
        Radiant exposure of 400-480 nm and of 600-700 nm, any one unit.
    total : (ny, nx) float
        E, all light of the lamp (direct, reflective, refractive), in the unit of `luminous`.

    Raises
    ------
    ValueError
        The centres are not uniform and ascending, or a map has another shape.
    """

    x_mm: np.ndarray
    y_mm: np.ndarray
    luminous: np.ndarray
    blue: np.ndarray
    red: np.ndarray
    total: np.ndarray

    def __post_init__(self):
        for name in ("x_mm", "y_mm"):
            steps = np.diff(getattr(self, name))
            if steps.size == 0 or steps.min() <= 0 or np.ptp(steps) > 1e-3 * steps.mean():
                raise ValueError(f"{name} must hold at least two uniform, ascending cell centres")
        shape = (len(self.y_mm), len(self.x_mm))
        for name in ("luminous", "blue", "red", "total"):
            if getattr(self, name).shape != shape:
                raise ValueError(f"{name} has shape {getattr(self, name).shape}, the cells have {shape}")

    def crop(self, rows, columns):
        """Return the light of a box of cells, given as two slices; the maps are views."""
        maps = (self.luminous, self.blue, self.red, self.total)
        return TableLight(self.x_mm[columns], self.y_mm[rows], *(m[rows, columns] for m in maps))


def sum_flux(x_mm, y_mm, values):
    """Return the flux of a map: its sum times the area of a cell, mm².

    Raises
    ------
    ValueError
        The map holds a negative value or one that is not finite.
    """
    total = float(values.sum(dtype=float))
    if not (np.isfinite(total) and values.min() >= 0):
        raise ValueError("a map of light must be finite and nowhere negative")
    width, height = cell_size(x_mm, y_mm)
    return total * width * height


def measure(light, plain, foot_radius_mm):
    """Return the measures of one lamp's light of one kind; measures.md defines each.

    Parameters
    ----------
    light : TableLight
    plain : float or None
        P, what the same lamp gives at the datum with nothing on the table, unit of `light.total`.
    foot_radius_mm : float
        Radius of the hero glass's foot.

    Returns
    -------
    dict
        The keys of `MAP_MEASURES`, in that order. Floats; `tip_mm` and `peak_mm` are pairs (x, y). None where
        a measure has no meaning, for the reasons listed in measures.md.

    Raises
    ------
    ValueError
        `light.luminous` holds a negative value or one that is not finite.
    """
    found = dict.fromkeys(MAP_MEASURES)
    if sum_flux(light.x_mm, light.y_mm, light.luminous) == 0:
        return found
    cells = light.x_mm, light.y_mm

    peak = find_peak(*cells, light.luminous)
    found["peak_mm"] = (peak.x_mm, peak.y_mm)
    brightness = average(*cells, light.total, found["peak_mm"])
    if plain and brightness > 0:
        found["peak_over_table_stops"] = float(np.log2(brightness / plain))
        found["pattern_over_table_stops"] = float(np.log2(peak.mean / plain))

    across = face(*cells, light.luminous, peak)
    line = Line() if across is None else read_line(cut(light, peak, across))
    found["line_width_mm"] = line.width_mm
    found["edge_10_90_mm"] = line.edge_10_90_mm
    found["colour_spread_mm"] = line.colour_spread_mm

    outline = trace_outline(light.luminous, peak.mean / 2**OUTLINE_STOPS)
    found["heading_deg"] = find_heading(*cells, light.luminous, outline)
    found["spread_mm"] = measure_spread(*cells, light.luminous, outline)
    tip = find_tip(*cells, light.luminous, outline)
    if tip is not None:
        found["tip_mm"] = tip
        found["length_mm"] = max(0.0, float(np.hypot(*tip)) - foot_radius_mm)
    found["area_cm2"] = measure_area(*cells, light.luminous, peak.mean / 2) / 100.0
    return found
