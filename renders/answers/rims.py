"""Edges of a glass in the picture: the dark one before a bright field, the bright one before a dark field."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy.ndimage import uniform_filter1d

# Luminance over the field's under which an edge is dark.
DARK = 0.5
# A dark edge begins no farther in than this share of the glass's width: grazed, glass mirrors the field.
GRAZED = 0.03
# What is bright for less ends no dark edge, mm.
GLINT_MM = 0.1
# A rim light lies so near the outline, as a share of the width there, and is so much over the background.
RIM = 0.06
RIM_TIMES = 2.0
# Pixels beside the outline that count as background, from the second on.
BESIDE_PX = 3
# Gaps in a rim light that do not break it; and lines of a picture that are averaged, against its grain: both
# over the height.
GAP = 0.01
AVERAGED = 0.02


class Run(NamedTuple):
    """Part of a line: where it begins and ends."""

    begin: float
    end: float

    @property
    def length(self) -> float:
        return self.end - self.begin


def find_dark_edge(depth_mm: np.ndarray, level: np.ndarray, width_mm: float) -> Run | None:
    """Return the dark edge along a line from a glass's outline to its middle.

    Parameters
    ----------
    depth_mm : (n,) float
        From the outline inward, rising evenly.
    level : (n,) float
        Luminance over that of the field; nan where something stands before the glass.
    width_mm : float
        Of the glass there.

    Returns
    -------
    Run or None
        mm from the outline, without length where nothing is dark; None where it is dark to the middle.
    """
    dark = level < DARK
    begin = int(np.argmax(dark))
    if not dark.any() or depth_mm[begin] > GRAZED * width_mm:
        return Run(0.0, 0.0)
    step = float(depth_mm[1] - depth_mm[0])
    held = max(1, math.ceil(GLINT_MM / step))
    bright = np.convolve(~dark[begin:], np.ones(held), "valid") > held - 0.5
    if not bright.any():
        return None
    return Run(float(depth_mm[begin]), float(depth_mm[begin + int(np.argmax(bright))]))


def find_rim(luminance: np.ndarray, edge: np.ndarray, width: np.ndarray, side: int, least: float):
    """Return in which lines of a picture a glass has a rim light along one side.

    Parameters
    ----------
    luminance : (h, w) float
    edge : (h,) float
        The outline, in pixels from the left border; nan where the line shows no glass.
    width : (h,) float
        Of the glass, in pixels.
    side : int
        -1 for the left outline, 1 for the right.
    least : float
        A background darker than this counts as being so bright.

    Returns
    -------
    lit : (h,) bool
    background : (h,) float
        Luminance beside the outline; nan where the frame ends there.
    """
    lines, columns = luminance.shape
    together = max(1, round(AVERAGED * np.count_nonzero(np.isfinite(edge))))
    luminance = uniform_filter1d(luminance, together, axis=0)
    # Pixels by how far they lie inward from the outline.
    inward = side * (edge[:, None] - (np.arange(columns) + 0.5))
    band = np.maximum(RIM * width, 1.0)[:, None]
    within = (inward >= -0.5) & (inward <= band)
    outside = (inward < -1) & (inward >= -1 - BESIDE_PX)
    lit, background = np.zeros(lines, bool), np.full(lines, np.nan)
    for line in np.flatnonzero(within.any(axis=1) & outside.any(axis=1)):
        background[line] = np.median(luminance[line, outside[line]])
        brightest = luminance[line, within[line]].max()
        lit[line] = brightest >= RIM_TIMES * max(background[line], least)
    return lit, background


def find_longest(lit: np.ndarray) -> tuple[int, int]:
    """Return the first line and that after the last of the longest unbroken part; gaps to `GAP` are none."""
    lit = np.array(lit, bool)
    most = int(GAP * len(lit))
    for begin, end in list_parts(~lit):
        if 0 < begin and end < len(lit) and end - begin <= most:
            lit[begin:end] = True
    return max(list_parts(lit), key=lambda part: part[1] - part[0], default=(0, 0))


def list_parts(lit: np.ndarray) -> list[tuple[int, int]]:
    """Return the first line and that after the last of each part."""
    steps = np.diff(np.concatenate([[0], np.asarray(lit, int), [0]]))
    return list(zip(np.flatnonzero(steps == 1).tolist(), np.flatnonzero(steps == -1).tolist(), strict=True))
