"""Gels: smooth transmittances made from what a photographer asks of them, and what they do to a light.

No maker's gels. A film's two faces alone throw back 8 %, so no dyed gel passes more than `FILM_SHARE`.
Light thrown back and forth between stacked gels is left out: stacks multiply.
"""

from functools import lru_cache

import numpy as np

from .bands import GRID_NM
from .colour import (
    cct_duv,
    delta_e_to_white,
    mired_shift,
    xy_from_xyz,
    xyz_from_spectrum,
)
from .hues import aim_at_hue, smoothest_transmittance
from .spectra import PLANCK_C2_NM_K, daylight, planck

# Both faces of a clear film of index 1.5 and what goes to and fro inside: 2 n / (n^2 + 1).
FILM_SHARE = 2 * 1.5 / (1.5**2 + 1)

# The light that a gel is made for: flash and daylight, but cooling gels are for tungsten (common practice).
DAYLIGHT_K, TUNGSTEN_K = 5600.0, 3200.0

# From where a conversion gel takes nothing more away, nm, and how softly it levels off, 1/nm.
WARM_CLEAR_NM, COOL_CLEAR_NM = 630.0, 405.0
_SOFT_PER_NM = 4e-5

# Density of a full correction gel where it absorbs most: CC30 (common practice).
FULL_GREEN_DENSITY = 0.30
MOST_WARMING_MIRED, MOST_COOLING_MIRED = 400.0, 200.0


@lru_cache(maxsize=64)
def conversion(shift_mired):
    """Return a gel that shifts the colour temperature.

    By Wien's law exp(-c2 d / wavelength) turns every glowing body into one whose temperature is d mired
    away, whichever it is. The gel does that, but levels off where nothing more need be taken away (630 nm
    warming, 405 nm cooling). Its strength is set so that warming 5600 K daylight, or cooling a 3200 K
    glowing body, comes out exactly.

    Parameters
    ----------
    shift_mired : float
        Warming is positive: up to 400; cooling is negative: down to -200.

    Returns
    -------
    (321,) float
        Share that passes at each wavelength of `GRID_NM`.

    Raises
    ------
    ValueError
        The shift is larger.
    """
    if not -MOST_COOLING_MIRED <= shift_mired <= MOST_WARMING_MIRED:
        raise ValueError(
            f"a gel warms by up to {MOST_WARMING_MIRED:g} mired or cools by up to {MOST_COOLING_MIRED:g},"
            f" not {shift_mired:+g}"
        )
    if shift_mired == 0:
        return np.full(GRID_NM.shape, FILM_SHARE)
    warming = shift_mired > 0
    light = daylight(DAYLIGHT_K) if warming else planck(TUNGSTEN_K)
    rise = 1 / GRID_NM - 1 / (WARM_CLEAR_NM if warming else COOL_CLEAR_NM)
    rise = rise if warming else -rise
    taken = PLANCK_C2_NM_K * 1e-6 * _SOFT_PER_NM * np.logaddexp(0, rise / _SOFT_PER_NM)
    start_k = cct_duv(_xy(light))[0]

    def miss(strength):
        reached_k = cct_duv(_xy(light * np.exp(-taken * strength)))[0]
        return mired_shift(start_k, reached_k) - shift_mired

    return FILM_SHARE * np.exp(-taken * _solve(miss, 0.9 * abs(shift_mired), abs(shift_mired)))


@lru_cache(maxsize=64)
def green(size):
    """Return a gel that makes a light greener, or less green, and leaves the temperature of daylight.

    A dye that absorbs green, or two that absorb blue and red; `size` 1 has density 0.30 where it absorbs
    most (CC30, common practice). What that alone would shift under 5600 K daylight is taken out; tungsten
    shifts some tens of mired, for lines of equal temperature lean more there.

    Parameters
    ----------
    size : float
        1 is full plus green, -1/2 half minus green.

    Returns
    -------
    (321,) float

    Raises
    ------
    ValueError
        The size is beyond 2 either way.
    """
    if not -2 <= size <= 2:
        raise ValueError(f"a green correction goes from -2 to 2, not {size:g}")
    bell = np.exp(-(((GRID_NM - 545) / 55) ** 2) / 2)
    density = FULL_GREEN_DENSITY * abs(size) * (1 - bell if size > 0 else bell)
    light = daylight(DAYLIGHT_K)
    start_k = cct_duv(_xy(light))[0]
    slope = PLANCK_C2_NM_K * 1e-6 * (1 / GRID_NM - 1 / 560)

    def passed(tilt):
        return 10.0**-density * np.exp(-slope * tilt)

    def miss(tilt):
        return mired_shift(start_k, cct_duv(_xy(light * passed(tilt)))[0])

    share = passed(_solve(miss, -5.0, 5.0))
    return FILM_SHARE * share / share.max()


def neutral(stops):
    """Return a neutral density gel that costs so many stops at every wavelength, (321,)."""
    if not 0 <= stops <= 20:
        raise ValueError(f"a neutral density costs 0 to 20 stops, not {stops:g}")
    return np.full(GRID_NM.shape, 2.0**-stops)


@lru_cache(maxsize=64)
def saturated(wavelength_nm, purity, complementary=False):
    """Return a gel of a hue and purity under 5600 K daylight.

    Of all transmittances of that chromaticity, the one whose logarithm has the least sum of squared slopes,
    as bright as a film can be.

    Parameters
    ----------
    wavelength_nm : float
        Dominant wavelength; of magentas and purples, which have none, the complementary one.
    purity : float
        Excitation purity, 0 to 0.95: the way from the light's white to the spectrum, or to the purple line.
    complementary : bool

    Returns
    -------
    (321,) float

    Raises
    ------
    ValueError
        The purity is higher, or the wavelength is the wrong one of the two.
    """
    light = daylight(DAYLIGHT_K)
    share = smoothest_transmittance(light, aim_at_hue(_xy(light), wavelength_nm, purity, complementary))
    return FILM_SHARE * share / share.max()


def describe(spectrum, share):
    """Return what a gel, or a stack, does to a light.

    Parameters
    ----------
    spectrum : (321,) float
        The light without the gel.
    share : (321,) float
        What passes.

    Returns
    -------
    dict
        `loss_stops`, luminous; `cct_k` and `duv` behind it and `mired_shift`, each None where there is no
        temperature; `xy` behind it; `delta_e_to_white`, CIEDE2000 against the light without the gel as
        white, both carried to D65 and at the same lightness.

    Raises
    ------
    ValueError
        Nothing of the light passes.
    """
    bare, left = xyz_from_spectrum(spectrum), xyz_from_spectrum(spectrum * np.asarray(share))
    if not left[1] > 0:
        raise ValueError("nothing of this light passes the gel")
    # A single line has no temperature, though its place may lie beside Planck's locus.
    single = np.count_nonzero(spectrum) <= 2
    before, after = (None, None) if single else (_temperature(bare), _temperature(left))
    return {
        "loss_stops": float(np.log2(bare[1] / left[1])),
        "cct_k": after and after[0],
        "duv": after and after[1],
        "mired_shift": mired_shift(before[0], after[0]) if before and after else None,
        "xy": [float(value) for value in xy_from_xyz(left)],
        "delta_e_to_white": delta_e_to_white(left, bare),
    }


def _temperature(xyz):
    """Return CCT and Duv, or None where the colour has none."""
    try:
        return cct_duv(xy_from_xyz(xyz))
    except ValueError:
        return None


def _xy(spectrum):
    return xy_from_xyz(xyz_from_spectrum(spectrum))


def _solve(miss, low, high):
    """Return where a nearly straight function is zero, by secants from two places."""
    at = [low, high]
    off = [miss(low), miss(high)]
    for _ in range(30):
        if abs(off[1]) < 1e-7 or off[1] == off[0]:
            break
        step = at[1] - off[1] * (at[1] - at[0]) / (off[1] - off[0])
        at, off = [at[1], step], [off[1], miss(step)]
    return at[1]
