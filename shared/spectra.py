"""Spectra of lamps and daylight, relative, 1 at 560 nm."""

import numpy as np

from .bands import GRID_NM
from .tables import read_table

# Second radiation constant, nm K (SI 2019: h c / k).
PLANCK_C2_NM_K = 1.438776877e7
NORMAL_NM = 560.0

# At and above this temperature daylight, below it a glowing body.
DAYLIGHT_FROM_K = 4000.0
DAYLIGHT_TO_K = 25000.0

# Common practice, but for `daylight`, which is the CIE illuminant D55.
NAMED_K = {"tungsten": 3200.0, "daylight": 5503.0, "flash": 5600.0}


def planck(temperature_k, wavelength_nm=GRID_NM):
    """Return the spectrum of a glowing body by Planck's law.

    Parameters
    ----------
    temperature_k : (...) float
        500 K or more.
    wavelength_nm : (n,) float

    Returns
    -------
    (..., n) float
        Power per nm, 1 at 560 nm.

    Raises
    ------
    ValueError
        A temperature is below 500 K.
    """
    temperature_k = np.asarray(temperature_k, float)[..., None]
    if not (temperature_k >= 500).all():
        raise ValueError(f"a glowing body has 500 K or more, not {temperature_k.min():g} K")
    wavelength_nm = np.asarray(wavelength_nm, float)
    here = np.expm1(PLANCK_C2_NM_K / (wavelength_nm * temperature_k))
    normal = np.expm1(PLANCK_C2_NM_K / (NORMAL_NM * temperature_k))
    return (NORMAL_NM / wavelength_nm) ** 5 * normal / here


def daylight_xy(temperature_k):
    """Return x, y of CIE daylight (CIE 015:2018).

    Parameters
    ----------
    temperature_k : float
        4000 to 25000 K, by the constants of today: D65 has 6504 K.

    Returns
    -------
    (2,) float

    Raises
    ------
    ValueError
        The temperature lies outside 4000-25000 K.
    """
    if not DAYLIGHT_FROM_K <= temperature_k <= DAYLIGHT_TO_K:
        raise ValueError(
            f"daylight is defined from {DAYLIGHT_FROM_K:g} to {DAYLIGHT_TO_K:g} K, not {temperature_k:g} K"
        )
    r = 1000 / temperature_k
    if temperature_k <= 7000:
        x = ((-4.6070 * r + 2.9678) * r + 0.09911) * r + 0.244063
    else:
        x = ((-2.0064 * r + 1.9018) * r + 0.24748) * r + 0.237040
    return np.array([x, -3.000 * x**2 + 2.870 * x - 0.275])


def daylight(temperature_k, wavelength_nm=GRID_NM):
    """Return the spectrum of CIE daylight, S0 + M1 S1 + M2 S2 (CIE 015:2018).

    M1 and M2 are rounded to three decimals, as CIE 015 asks, and the table of
    S0, S1, S2 is joined by straight lines.

    Parameters
    ----------
    temperature_k : float
        4000 to 25000 K, by the constants of today: D65 has 6504 K.
    wavelength_nm : (n,) float
        300 to 830 nm.

    Returns
    -------
    (n,) float
        Power per nm, 1 at 560 nm.

    Raises
    ------
    ValueError
        The temperature lies outside 4000-25000 K, or a wavelength outside the table.
    """
    x, y = daylight_xy(temperature_k)
    m = 0.0241 + 0.2562 * x - 0.7341 * y
    m1 = round((-1.3515 - 1.7703 * x + 5.9114 * y) / m, 3)
    m2 = round((0.0300 - 31.4424 * x + 30.0717 * y) / m, 3)
    table = read_table("cie_daylight_components.csv")
    known = table["wavelength_nm"]
    if np.min(wavelength_nm) < known[0] or np.max(wavelength_nm) > known[-1]:
        raise ValueError(f"the daylight table covers {known[0]:g}-{known[-1]:g} nm")
    spectrum = table["S0"] + m1 * table["S1"] + m2 * table["S2"]
    return np.interp(wavelength_nm, known, spectrum) / np.interp(NORMAL_NM, known, spectrum)


def equal_energy():
    """Return the spectrum of CIE illuminant E, 1 everywhere on `GRID_NM`, (321,)."""
    return np.ones_like(GRID_NM)


def line(wavelength_nm):
    """Return one spectral line as a spectrum on `GRID_NM`.

    The line's unit of power is shared between its two grid neighbours, so that
    integral and centre of the piecewise linear spectrum are exact.

    Parameters
    ----------
    wavelength_nm : float
        381 to 699 nm.

    Returns
    -------
    (321,) float
        1/nm; its integral over 380-700 nm is 1.

    Raises
    ------
    ValueError
        The wavelength lies outside 381-699 nm.
    """
    if not GRID_NM[1] <= wavelength_nm <= GRID_NM[-2]:
        raise ValueError(
            f"a line lies from {GRID_NM[1]:g} to {GRID_NM[-2]:g} nm, not at {wavelength_nm:g} nm"
        )
    return np.maximum(0, 1 - np.abs(GRID_NM - wavelength_nm))


def from_temperature(temperature_k):
    """Return the spectrum of a light by its colour temperature alone.

    Planck's law below 4000 K, CIE daylight from 4000 K on. At 4000 K the two
    differ: daylight is slightly greener than a glowing body.

    Parameters
    ----------
    temperature_k : float
        500 to 25000 K.

    Returns
    -------
    (321,) float
        Power per nm, 1 at 560 nm.

    Raises
    ------
    ValueError
        The temperature lies outside 500-25000 K.
    """
    if temperature_k < DAYLIGHT_FROM_K:
        return planck(temperature_k)
    return daylight(temperature_k)


def from_name(name):
    """Return the spectrum of ``tungsten`` (3200 K), ``daylight`` (D55) or ``flash`` (5600 K), (321,).

    Raises
    ------
    ValueError
        The name is none of these.
    """
    if name not in NAMED_K:
        raise ValueError(f"light {name!r} is not known; use one of {', '.join(NAMED_K)} or a temperature")
    return from_temperature(NAMED_K[name])
