"""The tables of several options from above: one extent, one scale, one exposure."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import binary_erosion

from ..adjust import develop
from ..direct import map_direct
from ..lights import set_lamps
from ..windows import Window
from ..world import build_world
from .extents import Extent, fit_extent
from .lineup import Lineup, Option, develop_table
from .pattern import outline_box

MARGIN_MM = 16.0
LEAST_MM = 60.0
# Shadows of low lamps run on; no farther than this from the datum are they shown.
SHADOW_MM = 350.0
# Each pixel is the mean of the light at so many places each way.
_FINE = 3
# Cells along the longer side where a computed map does not reach, and only direct light falls.
_COARSE = 300
# Places along the edge of a computed map that tell what cards and walls add to direct light.
_EDGE = 8


def find_extent(lineup: Lineup, most_px: tuple[float, float]) -> Extent:
    """Return the least rectangle with all options' patterns, glasses seen from above, and their shadows."""
    boxes = []
    for option in lineup.options:
        boxes += _glass_boxes(option)
        if option.frame.luminous(option.lamp, (lineup.kind,)).any():
            boxes.append(outline_box(option.frame, option.lamp, lineup.kind))
    low_x, high_x, low_y, high_y = np.array(boxes or [[0.0, 0.0, 0.0, 0.0]]).T
    sides = []
    for low, high in ((low_x.min(), high_x.max()), (low_y.min(), high_y.max())):
        spare = max(LEAST_MM - (high - low), 0) / 2 + MARGIN_MM
        sides += [float(low - spare), float(high + spare)]
    return fit_extent(sides, most_px)


def _glass_boxes(option: Option) -> list[list[float]]:
    """Return boxes (left, right, near, far) of the glasses and of what their rims shade from the lamp."""
    (lamp,) = (lamp for lamp in option.built.lamps if lamp.name == option.lamp)
    boxes = []
    for foot in option.built.feet:
        radius = max(foot.foot_radius_mm, foot.rim_radius_mm)
        (x, y), top = foot.centre_mm, foot.stands_mm + foot.height_mm
        boxes.append([x - radius, x + radius, y - radius, y + radius])
        if lamp.centre_mm[2] > 1.01 * top:
            # The rim is thrown on the table as a circle again, larger and farther off.
            grown = lamp.centre_mm[2] / (lamp.centre_mm[2] - top)
            at = lamp.centre_mm[:2] + (np.array([x, y]) - lamp.centre_mm[:2]) * grown
            reach = foot.rim_radius_mm * grown
            box = [at[0] - reach, at[0] + reach, at[1] - reach, at[1] + reach]
            boxes.append([float(np.clip(side, -SHADOW_MM, SHADOW_MM)) for side in box])
    return boxes


def see_table(lineup: Lineup, option: Option, extent: Extent, size: tuple[int, int]) -> np.ndarray:
    """Return an option's table from above, the camera's side below.

    Where its computed map does not reach, no focused light falls: there the lamps' direct light is shown.

    Parameters
    ----------
    lineup : Lineup
    option : Option
    extent : Extent
    size : (int, int)
        Width and height of the picture, pixels.

    Returns
    -------
    (h, w, 3) float
        Linear sRGB, 1 = display white, exposed as the first option.
    """
    width, height = size
    x = extent.left + (np.arange(width * _FINE) + 0.5) * extent.wide / (width * _FINE)
    y = extent.far - (np.arange(height * _FINE) + 0.5) * extent.deep / (height * _FINE)
    seen = np.zeros((len(y), len(x), 3), np.float32)
    x_mm, y_mm = option.frame.x_mm, option.frame.y_mm
    within = np.zeros(len(x), bool), np.zeros(len(y), bool)
    if min(len(x_mm), len(y_mm)) > 1:
        (columns, across), (rows, deep) = _find_cells(x, x_mm), _find_cells(y, y_mm)
        within = across, deep
        light = develop_table(option, lineup.exposed)
        seen[np.ix_(deep, across)] = light[np.ix_(rows[deep], columns[across])]
    if not (within[0].all() and within[1].all()):
        here = within[1][:, None] & within[0][None, :]
        direct = _see_direct(lineup, option, extent, x, y)
        # What cards and walls add goes on evenly beyond the map.
        edge = here & ~binary_erosion(here, iterations=_EDGE)
        added = np.median((seen - direct)[edge], axis=0) if edge.any() else np.zeros(3)
        seen[~here] = np.maximum(direct + added, 0)[~here]
    return seen.reshape(height, _FINE, width, _FINE, 3).mean(axis=(1, 3))


def _find_cells(places, centres) -> tuple[np.ndarray, np.ndarray]:
    """Return the number of the cell of each place, and whether it lies in any."""
    cell = (centres[-1] - centres[0]) / (len(centres) - 1)
    number = np.floor((places - centres[0]) / cell + 0.5).astype(int)
    return number, (number >= 0) & (number < len(centres))


def _see_direct(lineup: Lineup, option: Option, extent: Extent, x, y) -> np.ndarray:
    """Return the lamps' direct light at places of the extent, developed, (ny, nx, 3)."""
    built = option.built
    cell = max(extent.wide, extent.deep) / _COARSE
    shape = int(np.ceil(extent.deep / cell)), int(np.ceil(extent.wide / cell))
    table = built.panels[0]
    corner = extent.left - table.corner_mm[0], extent.near - table.corner_mm[1]
    world = build_world(built)
    direct = map_direct(built, world, set_lamps(built, world), Window(0, corner, cell, shape))
    columns = np.minimum(((x - extent.left) / cell).astype(int), shape[1] - 1)
    rows = np.minimum(((y - extent.near) / cell).astype(int), shape[0] - 1)
    matte = table.front / np.pi * option.factor
    bands, gels = {}, {}
    for lamp, light in zip(built.lamps, direct, strict=True):
        spectrum = lamp.band_spectrum * lamp.scale * matte
        bands[lamp.name] = light[None] * spectrum[:, None, None]
        gels[lamp.name] = lamp.gel
    exposed = lineup.exposed
    return develop(bands, exposed.exposure, gels=gels, white=exposed.white)[np.ix_(rows, columns)]
