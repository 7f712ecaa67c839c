"""White LEDs: a blue pump and two phosphors, mixed to a colour temperature.

No maker's lamp. The parts' shapes are set by hand so that the standard kind gives colours as the CIE
illuminants LED-B1 to LED-B5 do (CIE 015:2018), and so that the high-CRI kind has an Ra (CIE 13.3-1995) of 94
or more. The pump has the form of Y. Ohno, Opt. Eng. 44, 111302 (2005).
"""

from functools import cache

import numpy as np

from .bands import GRID_NM
from .colour import planck_xy, xyz_from_spectrum, xyz_from_xy
from .spectra import NORMAL_NM, daylight_xy

LED_FROM_K, LED_TO_K = 2200.0, 10000.0

# CIE 13.3: a white is compared with a glowing body below, with daylight from here on.
LIKE_DAYLIGHT_FROM_K = 5000.0


def white_led(temperature_k, high_cri=False):
    """Return the spectrum of a white LED.

    Parameters
    ----------
    temperature_k : float
        2200 to 10000 K; its white is that of a glowing body below 5000 K, of daylight from there on.
    high_cri : bool
        Colours come out nearly as under a smooth white; else as under common white LEDs (Ra about 78).

    Returns
    -------
    (321,) float
        Power per nm, 1 at 560 nm.

    Raises
    ------
    ValueError
        The temperature lies outside 2200-10000 K.
    """
    if not LED_FROM_K <= temperature_k <= LED_TO_K:
        raise ValueError(f"white LEDs go from {LED_FROM_K:g} to {LED_TO_K:g} K, not {temperature_k:g} K")
    below = temperature_k < LIKE_DAYLIGHT_FROM_K
    white = planck_xy(temperature_k) if below else daylight_xy(temperature_k)
    parts, seen = _parts(bool(high_cri))
    spectrum = np.linalg.solve(seen.T, xyz_from_xy(white)) @ parts
    return spectrum / np.interp(NORMAL_NM, GRID_NM, spectrum)


@cache
def _parts(high_cri):
    """Return pump, green phosphor and red phosphor, (3, 321), and their XYZ, (3, 3)."""
    if high_cri:
        # The green one reaches down to the pump, the red one beyond 650 nm: no gap in between.
        green = 0.5 * _hump(488, 24, 26) + _hump(535, 40, 60)
        parts = np.stack([_pump(445, 28), green, _hump(645, 58, 50)])
    else:
        parts = np.stack([_pump(451, 21), _hump(540, 38, 66), _hump(604, 50, 62)])
    return parts, xyz_from_spectrum(parts)


def _pump(peak_nm, width_nm):
    narrow = np.exp(-(((GRID_NM - peak_nm) / width_nm) ** 2))
    return (narrow + 2 * narrow**5) / 3


def _hump(peak_nm, below_nm, above_nm):
    """Return a bell with a standard deviation of its own on each side."""
    width_nm = np.where(GRID_NM < peak_nm, below_nm, above_nm)
    return np.exp(-(((GRID_NM - peak_nm) / width_nm) ** 2) / 2)
