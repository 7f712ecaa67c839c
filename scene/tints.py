"""Tinted glass and drinks: a smooth absorption from a colour, shares of the light, or a few absorbances."""

from functools import cache

import numpy as np

from brimcast.shared.bands import BAND_CENTRES_NM, GRID_NM, band_means
from brimcast.shared.colour import D65_XYZ, XYZ_TO_SRGB, adaptation, xyz_from_spectrum
from brimcast.shared.observer import observer_on_grid
from brimcast.shared.spectra import daylight

# Light that passes less than this is taken as this, so that an absorption stays a number.
LEAST_SHARE = 1e-4
_D65_K = 6504.0
_NODE_NM = 8.0
_ROUNDS = 12
_LEAST_ABSORBANCE = 1e-4


def absorb_colour(linear_srgb, thickness_mm):
    """Return the smoothest absorption that gives white light (D65) a colour on its way through a thickness.

    Of all transmittances with the colour, the one whose logarithm has the least sum of squared slopes:
    the idea of S. A. Burns, Numerical methods for smoothest reflectance reconstruction, Color Res. Appl.
    45, 8-21 (2020; from memory), with the bound that nothing shines by itself. What the surfaces reflect
    is not counted.

    Parameters
    ----------
    linear_srgb : (3,) float
        0 to 1; 1 is the light itself.
    thickness_mm : float

    Returns
    -------
    (321,) float
        Napierian, 1/mm, on `GRID_NM`.

    Raises
    ------
    ValueError
        No glass of that thickness has the colour, such as pure black.
    """
    from scipy.optimize import minimize

    target = np.linalg.solve(XYZ_TO_SRGB, np.asarray(linear_srgb, dtype=float))
    weights, spread = _seen(), _nodes()
    count = spread.shape[1]

    def pull(logs):
        steps = np.diff(logs)
        slope = np.zeros(count)
        slope[1:] += 2 * steps
        slope[:-1] -= 2 * steps
        return (steps**2).sum(), slope

    def miss(logs):
        return weights.T @ np.exp(spread @ logs) - target

    def miss_slope(logs):
        return (weights * np.exp(spread @ logs)[:, None]).T @ spread

    start = np.full(count, np.log(np.clip(target[1], LEAST_SHARE, 0.99)))
    found = minimize(
        pull, start, jac=True, method="SLSQP", bounds=[(np.log(LEAST_SHARE), 0.0)] * count,
        constraints={"type": "eq", "fun": miss, "jac": miss_slope}, options={"maxiter": 300, "ftol": 1e-10},
    )  # fmt: skip
    if np.abs(miss(found.x)).max() > 1e-5:
        raise ValueError("no glass has this colour; take one less dark or less saturated")
    return np.maximum(spread @ -found.x, 0.0) / thickness_mm


def absorb_bands(shares, thickness_mm):
    """Return a smooth absorption that lets a share of each band's light through a thickness.

    Parameters
    ----------
    shares : (16,) float
        0 to 1 for each band of 20 nm from 380 nm; surfaces not counted.
    thickness_mm : float

    Returns
    -------
    (321,) float
        Napierian, 1/mm, on `GRID_NM`.
    """
    from scipy.interpolate import PchipInterpolator

    wanted = np.clip(np.asarray(shares, dtype=float), LEAST_SHARE, 1.0)
    logs = np.log(wanted)
    # A curve through the bands' middles has other means than they have; mend them by the ratio.
    for _ in range(_ROUNDS):
        ends = [GRID_NM[0], *BAND_CENTRES_NM, GRID_NM[-1]]
        curve = np.minimum(PchipInterpolator(ends, [logs[0], *logs, logs[-1]])(GRID_NM), 0.0)
        logs = np.minimum(logs + np.log(wanted / band_means(np.exp(curve))), 0.0)
    return np.maximum(-curve, 0.0) / thickness_mm


def absorb_points(wavelengths_nm, absorbances, path_mm):
    """Return the smooth absorption through a few decadic absorbances, nowhere negative.

    The logarithm of the absorbance is the curve through the points that bends least, straight beyond them
    (a natural spline): what fades evenly over the wavelengths, as brown drinks do, comes out as it is.

    Parameters
    ----------
    wavelengths_nm : (n,) float
        Rising, at least two.
    absorbances : (n,) float
        0 or more; less than 1e-4 is taken as that.
    path_mm : float
        Length of the way through the drink, mm.

    Returns
    -------
    (321,) float
        Napierian, 1/mm, on `GRID_NM`.
    """
    from scipy.interpolate import CubicSpline

    curve = CubicSpline(wavelengths_nm, np.log(np.maximum(absorbances, _LEAST_ABSORBANCE)), bc_type="natural")
    within = np.clip(GRID_NM, wavelengths_nm[0], wavelengths_nm[-1])
    logs = curve(within) + (GRID_NM - within) * curve(within, 1)
    return np.log(10) * np.exp(logs) / path_mm


@cache
def _seen():
    """Return the (321, 3) weights that make a transmittance XYZ, white D65 becoming that of sRGB."""
    light = daylight(_D65_K)
    white = xyz_from_spectrum(light)
    steps = np.full(GRID_NM.shape, GRID_NM[1] - GRID_NM[0])
    steps[[0, -1]] /= 2
    weights = (light * steps)[:, None] * observer_on_grid() / white[1]
    return weights @ adaptation(white, D65_XYZ).T


@cache
def _nodes():
    """Return the (321, n) matrix of straight lines between nodes."""
    nodes = np.arange(GRID_NM[0], GRID_NM[-1] + 1e-9, _NODE_NM)
    return np.stack([np.interp(GRID_NM, nodes, one) for one in np.eye(len(nodes))], axis=1)
