"""What glasses, ice and drinks are made of: one function for each, with its source.

Tables measured by others stand in ``brimcast.shared``; what is short stands beside
its source. Liquids are in ``liquids``; what a medium is, in ``media``.
"""

import numpy as np

from brimcast.shared.tables import read_table

from .liquids import beer, spirit, syrup, water
from .media import KINDS, SQUARE_UM2, Medium, absorption_of, plain, sellmeier

__all__ = [
    "KINDS",
    "TINTS",
    "Medium",
    "acrylic",
    "air",
    "beer",
    "borosilicate",
    "crystal",
    "fused_silica",
    "ice",
    "plain",
    "soda_lime",
    "spirit",
    "syrup",
    "water",
]

TINTS = {
    "clear": "k_clear",
    "low-iron": "k_lowiron",
    "green": "k_green",
    "bronze": "k_bronze",
    "grey": "k_grey",
}


def air():
    """Return air, as in a bubble: index 1 by definition."""
    return plain(1.0, kind="bubble", name="air")


def soda_lime(tint="low-iron"):
    """Return soda-lime glass, of which most tumblers, stemware and bottles are made.

    The tint comes from iron. Tableware is melted from sand nearly free of it, so
    ``low-iron`` is the stand-in for colourless glasses; ``clear`` is window glass,
    whose thick bases and edges turn green.

    Parameters
    ----------
    tint : str
        ``clear``, ``low-iron``, ``green``, ``bronze`` or ``grey``.

    Returns
    -------
    Medium

    Raises
    ------
    ValueError
        The tint has another name.

    Notes
    -----
    M. Rubin, Optical properties of soda lime silica glasses, Solar Energy Materials
    12, 275-288 (1985): the same index for all five, extinction k of flat glass.
    That tableware is low in iron is common practice of glassmaking, from memory.
    """
    if tint not in TINTS:
        raise ValueError(f"tint {tint!r} is unknown; use one of {', '.join(TINTS)}")
    index = 1.5130 - 0.003169 * SQUARE_UM2 + 0.003962 / SQUARE_UM2
    table = read_table("soda_lime_k_rubin1985.csv")
    absorption = absorption_of(table["wavelength_nm"], table[TINTS[tint]])
    return Medium(f"soda-lime, {tint}", "glass", index, absorption)


def crystal():
    """Return a stand-in for lead crystal: a generic extra light flint, taken as clear.

    Notes
    -----
    Generic code 548458 (n_d 1.548, Abbe number 45.8), from memory; near table crystal
    of 24-30 % lead oxide, which must reach n_D 1.545 (Directive 69/493/EEC). Measured
    dispersion and absorption of table crystal were not found.
    """
    return plain(1.548, 45.8, name="lead crystal")


def borosilicate():
    """Return the low-expansion borosilicate glass of heat-proof vessels, taken as clear.

    Notes
    -----
    n_d 1.473 and Abbe number 65 are from memory, as handbooks give them for
    borosilicate glass 3.3; it is not the optical crown 517642.
    """
    return plain(1.473, 65.0, name="borosilicate")


def acrylic():
    """Return acrylic (PMMA), as of prop ice and unbreakable glasses, taken as clear.

    Notes
    -----
    N. Sultanova, S. Kasarova, I. Nikolov, Dispersion properties of optical polymers,
    Acta Physica Polonica A 116, 585-587 (2009); measured from 437 nm, continued below.
    """
    index = np.sqrt(1 + 1.1819 * SQUARE_UM2 / (SQUARE_UM2 - 0.011313))
    return Medium("acrylic", "glass", index, np.zeros(SQUARE_UM2.shape))


def fused_silica():
    """Return fused silica, taken as clear.

    Notes
    -----
    I. H. Malitson, Interspecimen comparison of the refractive index of fused silica,
    J. Opt. Soc. Am. 55, 1205-1208 (1965); 20 C, relative to air.
    """
    index = sellmeier((0.6961663, 0.4079426, 0.8974794), np.square((0.0684043, 0.1162414, 9.896161)))
    return Medium("fused silica", "glass", index, np.zeros(SQUARE_UM2.shape))


def ice():
    """Return clear ice at -7 C; whiteness comes from bubbles, not from the ice.

    Its two indices differ by 0.0014 and are taken as one.

    Notes
    -----
    S. G. Warren, R. E. Brandt, Optical constants of ice from the ultraviolet to the
    microwave, J. Geophys. Res. 113, D14220 (2008). The index of the table has four
    decimals; a smooth curve through it, within 6e-5, keeps its steps out of the
    dispersion. It is not divided by that of air, which is below the spread of its sources.
    """
    table = read_table("ice_nk_warren2008.csv")
    wavelength_nm = table["wavelength_nm"]
    terms, *_ = np.linalg.lstsq(_ice_terms((wavelength_nm / 1000) ** 2), table["n"], rcond=None)
    index = _ice_terms(SQUARE_UM2) @ terms
    return Medium("ice", "ice", index, absorption_of(wavelength_nm, table["k"]))


def _ice_terms(square_um2):
    """Return the terms of the curve for ice: 1, wavelength^2, and its inverse once and twice."""
    return np.stack([square_um2**power for power in (0, 1, -1, -2)], axis=-1)
