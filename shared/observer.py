"""The CIE 1931 2 degree standard observer.

Source: ISO/CIE 11664-1:2019; see ``data/README.md`` for the table's origin.
"""

from functools import cache

import numpy as np

from .bands import GRID_NM
from .tables import read_table

# Luminous efficacy, lm/W, of light of 540 THz (SI definition of the candela; V is 1 there).
EFFICACY_LM_PER_W = 683.0


@cache
def observer():
    """Return the whole table of the observer.

    Returns
    -------
    wavelength_nm : (471,) float
        360 to 830 nm, step 1.
    matching : (471, 3) float
        x, y, z; read-only.
    """
    table = read_table("cie_1931_2deg.csv")
    matching = np.column_stack([table[name] for name in ("xbar", "ybar", "zbar")])
    matching.flags.writeable = False
    return table["wavelength_nm"], matching


@cache
def observer_on_grid():
    """Return x, y, z of the observer on `GRID_NM`, (321, 3), read-only."""
    wavelength_nm, matching = observer()
    first = int(np.searchsorted(wavelength_nm, GRID_NM[0]))
    return matching[first : first + len(GRID_NM)]


def luminous(spectrum):
    """Return the luminous value of a spectrum, 683 lm/W times its integral against y.

    Parameters
    ----------
    spectrum : (..., 321) float
        Spectral radiometric value on `GRID_NM`, such as W m^-2 nm^-1. Light
        beyond 380-700 nm is left out (0.06 % of the luminous value of equal-energy light).

    Returns
    -------
    (...) float
        Photometric value, such as lx.
    """
    return EFFICACY_LM_PER_W * np.trapezoid(np.asarray(spectrum) * observer_on_grid()[:, 1], GRID_NM)
