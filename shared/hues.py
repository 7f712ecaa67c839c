"""Hues of coloured light: what a dominant wavelength and a purity mean, and the smoothest filter of a hue."""

from functools import cache

import numpy as np

from .bands import GRID_NM
from .colour import xy_from_xyz, xyz_from_xy
from .observer import observer_on_grid

MOST_PURITY = 0.95
_NODE_NM = 8.0
# The purity is approached in steps, so that each solution starts near the next.
_STEPS = 8
_ROUNDS = 30
# Slopes and misses of XYZ, of a white with Y = 1, that count as none.
_NEAR = 1e-9


def aim_at_hue(white_xy, wavelength_nm, purity, complementary=False):
    """Return the chromaticity of a hue and excitation purity (CIE 015:2018).

    Parameters
    ----------
    white_xy : (2,) float
    wavelength_nm : float
        380 to 700 nm: dominant, or complementary.
    purity : float
        0 to 0.95, the way from the white to the spectrum; to the purple line where complementary.
    complementary : bool

    Returns
    -------
    (2,) float

    Raises
    ------
    ValueError
        A number is out of range, or the hue has a dominant wavelength of its own.
    """
    if not GRID_NM[0] <= wavelength_nm <= GRID_NM[-1]:
        raise ValueError(f"a hue's wavelength lies from 380 to 700 nm, not at {wavelength_nm:g} nm")
    if not 0 <= purity <= MOST_PURITY:
        raise ValueError(f"purity goes from 0 to {MOST_PURITY:.0%}, not {purity:.4g}")
    white = np.asarray(white_xy, float)
    locus = xy_from_xyz(observer_on_grid())
    pure = np.array([np.interp(wavelength_nm, GRID_NM, locus[:, axis]) for axis in (0, 1)])
    if complementary:
        pure = _opposite(white, pure, locus[0], locus[-1])
        if pure is None:
            raise ValueError(
                f"{wavelength_nm:g} nm is the complement of no purple; write the dominant wavelength instead"
            )
    return white + purity * (pure - white)


def _opposite(white, pure, violet, red):
    """Return where the line from a pure colour through the white meets the purple line, or None."""
    matrix = np.column_stack([white - pure, violet - red])
    along, across = np.linalg.solve(matrix, violet - white)
    return white + along * (white - pure) if along > 0 and 0 <= across <= 1 else None


def smoothest_transmittance(light, xy):
    """Return the smoothest transmittance that gives a light a chromaticity.

    Of all that do, the one whose logarithm has the least sum of squared slopes: the idea of S. A. Burns,
    Numerical methods for smoothest reflectance reconstruction, Color Res. Appl. 45, 8-21 (2020; from
    memory), with its scale left free. Solved by Newton's method on the Lagrange function.

    Parameters
    ----------
    light : (321,) float
    xy : (2,) float

    Returns
    -------
    (321,) float
        On a scale of its own.

    Raises
    ------
    ValueError
        No such transmittance was found.
    """
    spread, steps = _nodes()
    weights = np.asarray(light, float)[:, None] * observer_on_grid()
    weights = weights / weights[:, 1].sum()
    white = weights.sum(axis=0)
    start = xy_from_xyz(white)
    logs, pulls = np.zeros(spread.shape[1]), np.zeros(3)
    for share in np.arange(1, _STEPS + 1) / _STEPS:
        # Y stays 1: the scale of a transmittance does not change its chromaticity.
        target = xyz_from_xy(start + share * (np.asarray(xy) - start))
        logs, pulls, miss = _newton(spread, steps, weights, target, logs, pulls)
    if not miss < 1e-6:
        raise ValueError("no smooth gel has this colour; take a lower purity")
    return np.exp(spread @ logs)


def _newton(spread, steps, weights, target, logs, pulls):
    """Return the logarithms at the nodes, the multipliers, and the largest miss of XYZ."""
    count = len(logs)
    smooth = 2 * steps.T @ steps

    def slope_of(logs, pulls):
        shone = np.exp(spread @ logs)[:, None] * weights
        here = np.concatenate([smooth @ logs + spread.T @ (shone @ pulls), shone.sum(axis=0) - target])
        return shone, here

    shone, here = slope_of(logs, pulls)
    for _ in range(_ROUNDS):
        if np.abs(here).max() < _NEAR:
            break
        # einsum, for these products are too small to share between threads.
        bend = smooth + np.einsum("ki,k,kj->ij", spread, shone @ pulls, spread)
        side = spread.T @ shone
        step = np.linalg.solve(np.block([[bend, side], [side.T, np.zeros((3, 3))]]), -here)
        # Shorter steps until the slopes fall.
        for reach in 0.5 ** np.arange(12):
            tried = logs + reach * step[:count], pulls + reach * step[count:]
            shone, there = slope_of(*tried)
            if np.abs(there).max() < np.abs(here).max():
                break
        (logs, pulls), here = tried, there
    return logs, pulls, float(np.abs(here[count:]).max())


@cache
def _nodes():
    """Return the (321, n) matrix of straight lines between nodes, and the (n - 1, n) one of their steps."""
    nodes = np.arange(GRID_NM[0], GRID_NM[-1] + 1e-9, _NODE_NM)
    eye = np.eye(len(nodes))
    return np.stack([np.interp(GRID_NM, nodes, one) for one in eye], axis=1), np.diff(eye, axis=0)
