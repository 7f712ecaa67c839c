"""Pictures drawn by rule: what each spot of a surface throws back and lets through, chart by chart."""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np

from brimcast.vessels.covers import Cover

from .prints import Print, reflect_colour

# Spots no finer than this, nor more than so many.
FINEST_MM, MOST_SPOTS = 0.2, 200_000
#: Share of the light that a surface throws back or lets through at most, both together.
MOST_KEPT = 0.95


class Paint(NamedTuple):
    """What spots do to light: (n, 16) shares each, those of the back where it differs from the sheet's."""

    reflectance: np.ndarray
    transmittance: np.ndarray
    back: np.ndarray | None = None


class Artist(Protocol):
    """Whoever paints a chart."""

    def __call__(self, name: str, number: int, x, y, size_mm) -> Paint:
        """Return the Paint of spots at places (n,) and (n,) on the chart of a name and number, mm."""


def paint(cover: Cover, artist: Artist) -> Print:
    """Return the picture on a cover; between its charts nothing is thrown back."""
    size = np.array(cover.size_mm)
    spot = max(FINEST_MM, float(np.sqrt(size.prod() / MOST_SPOTS)))
    columns, lines = np.maximum(1, np.ceil(size / spot)).astype(int)
    across, upward = ((np.arange(n) + 0.5) * side / n for n, side in zip((columns, lines), size, strict=True))
    shape = lines, columns, 16
    reflectance, transmittance = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    back = None
    for number, chart in enumerate(cover.charts):
        low, high = np.array(chart.corner_mm), np.add(chart.corner_mm, chart.size_mm)
        # A spot more all round, for places on the chart's very edge.
        i = np.flatnonzero((across > low[0] - 1.5 * spot) & (across < high[0] + 1.5 * spot))
        j = np.flatnonzero((upward > low[1] - 1.5 * spot) & (upward < high[1] + 1.5 * spot))
        x, y = np.meshgrid(
            np.clip(across[i], low[0], high[0]) - low[0], np.clip(upward[j], low[1], high[1]) - low[1]
        )
        here = np.ix_(j, i)
        found = artist(chart.name, number, x.ravel(), y.ravel(), chart.size_mm)
        reflectance[here] = np.reshape(found.reflectance, (len(j), len(i), 16))
        transmittance[here] = np.reshape(found.transmittance, (len(j), len(i), 16))
        if found.back is not None:
            back = np.zeros(shape, np.float32) if back is None else back
            back[here] = np.reshape(found.back, (len(j), len(i), 16))
    nothing = np.broadcast_to(np.float32(0), shape)
    return Print(reflectance, nothing, transmittance if transmittance.any() else None, back)


def spectra_of(linear_srgb, share=1.0) -> np.ndarray:
    """Return (n, 16) shares of linear sRGB colours (n, 3), times a share."""
    return share * reflect_colour(np.clip(linear_srgb, 0, 1))


def face_pass(whole, inside: float):
    """Return what one of two faces of a translucent slice passes, for the slice to pass a whole.

    Light goes to and fro between them: T^2 / (1 - R^2) passes two alike (G. G. Stokes, 1862).

    Parameters
    ----------
    whole : (..., 16) float
        Share that the slice passes.
    inside : float
        Share that the inner sides throw back.
    """
    return np.sqrt(np.asarray(whole) * (1 - inside**2))


def blend(share, one, other) -> np.ndarray:
    """Return colours (n, 3) between two, by shares (n,) of the other."""
    return one + np.asarray(share)[:, None] * (np.asarray(other) - one)


def step(edges, value):
    """Return 0 below the first edge, 1 above the second, smooth between."""
    share = np.clip((value - edges[0]) / (edges[1] - edges[0]), 0, 1)
    return share * share * (3 - 2 * share)


class Cells:
    """Cells round places strewn at random.

    Parameters
    ----------
    places : (k, 2) float
    """

    def __init__(self, places):
        from scipy.spatial import cKDTree

        self._tree = cKDTree(places)

    def look(self, x, y):
        """Return the nearest place's distance, how much farther the next is, and the nearest's number."""
        away, number = self._tree.query(np.stack([x, y], axis=1), k=2)
        return away[:, 0], away[:, 1] - away[:, 0], number[:, 0]


def strew(random, size, step):
    """Return places (k, 2) over a rectangle, one in each square of a step, somewhere in it."""
    columns, lines = (int(np.ceil(side / step)) + 2 for side in size)
    corner = np.stack(np.meshgrid(np.arange(columns) - 1, np.arange(lines) - 1), axis=-1).reshape(-1, 2)
    return (corner + random.uniform(0.1, 0.9, corner.shape)) * step
