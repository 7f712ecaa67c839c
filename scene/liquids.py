"""Drinks by strength, sugar or colour: index and absorption of water with something in it."""

import numpy as np

from brimcast.shared.bands import GRID_NM
from brimcast.shared.tables import on_grid, read_table

from .media import D_NM, SQUARE_UM2, Medium, sellmeier

# OIML R 22 (International alcoholometric tables, 1975): density at 20 C, kg/m3, powers of the mass fraction.
_ALCOHOL_DENSITY = (
    998.20123, -192.9769495, 389.1238958, -1668.103923, 13522.15441, -88292.78388,
    306287.4042, -613838.1234, 747017.2998, -547846.1354, 223446.0334, -39032.85426,
)  # fmt: skip

# CRC Handbook of Chemistry and Physics, concentrative properties of aqueous solutions: n_D at 20 C of
# ethanol in water, every 10 % by mass from 10 to 100; from memory.
_ALCOHOL_INDEX = (1.3395, 1.3469, 1.3535, 1.3583, 1.3616, 1.3638, 1.3652, 1.3658, 1.3650, 1.3614)

# International sugar scale (ICUMSA SPS-3, 2000; OIML R 142): n_D at 20 C, every 10 % by mass of sucrose
# from 10 to 70; from memory, within 6e-5 of the handbook's column.
_SUGAR_INDEX = (1.34783, 1.36384, 1.38115, 1.39986, 1.42009, 1.44193, 1.46546)
# CRC Handbook, aqueous sucrose: density at 20 C, kg/m3, every 10 % by mass from 0 to 70.
_SUGAR_DENSITY = (998.2, 1038.1, 1081.0, 1127.0, 1176.5, 1229.5, 1286.4, 1347.2)
MOST_BRIX = 85.0


def water():
    """Return water at 20 C.

    Notes
    -----
    Index: M. Daimon, A. Masumura, Measurement of the refractive index of distilled
    water, Appl. Opt. 46, 3811-3820 (2007), relative to vacuum, divided by `air_index`.
    Absorption: R. M. Pope, E. S. Fry, Absorption spectrum (380-700 nm) of pure water II,
    Appl. Opt. 36, 8710-8723 (1997).
    """
    density = float(spirit_density_kg_m3(0))
    return Medium("water", "drink", _water_index(), _water_absorption_per_mm(), density_kg_m3=density)


def air_index(wavelength_nm):
    """Return the index of air relative to vacuum: dry, 15 C, 101.325 kPa, 450 ppm CO2.

    Parameters
    ----------
    wavelength_nm : (...) float
        230 to 1690 nm.

    Returns
    -------
    (...) float

    Notes
    -----
    P. E. Ciddor, Refractive index of air, Appl. Opt. 35, 1566-1573 (1996).
    """
    wavenumber2 = (np.asarray(wavelength_nm, float) / 1000) ** -2
    return 1 + 0.05792105 / (238.0185 - wavenumber2) + 0.00167917 / (57.362 - wavenumber2)


def spirit(abv_percent):
    """Return a clear spirit: ethanol and water, without extract.

    The index at the D line is measured. Its course over the wavelengths is that
    of the Lorentz-Lorenz mixture of the two liquids at the measured density, set to
    the measured index. Volumes are never mixed linearly, which errs by up to 0.012.

    Parameters
    ----------
    abv_percent : float
        Alcohol by volume at 20 C, 0 to 100.

    Returns
    -------
    Medium

    Raises
    ------
    ValueError
        The strength lies outside 0-100.

    Notes
    -----
    Mass fraction and density: OIML R 22. n_D: CRC Handbook, from memory. Ethanol:
    J. Rheims, J. Koser, T. Wriedt, Meas. Sci. Technol. 8, 601-605 (1997), measured from
    477 nm and continued below. Absorption: that of the water in it.
    """
    alcohol = alcohol_mass_percent(abv_percent) / 100
    ethanol_index = 1.35265 + 0.00306 / SQUARE_UM2 + 0.00002 / SQUARE_UM2**2
    mixed = _ideal_refraction(alcohol, refraction(_water_index()), refraction(ethanol_index))
    # Set to the measured index at the D line.
    mixed *= _refraction_at_d(alcohol) / np.interp(D_NM, GRID_NM, mixed)
    index = np.sqrt((1 + 2 * mixed) / (1 - mixed))
    density = float(spirit_density_kg_m3(100 * alcohol))
    absorption = (1 - alcohol) * density / spirit_density_kg_m3(0) * _water_absorption_per_mm()
    return Medium(f"spirit, {abv_percent:g} % vol", "drink", index, absorption, density_kg_m3=density)


def alcohol_mass_percent(abv_percent):
    """Return the mass percentage of ethanol for an alcohol by volume at 20 C (OIML R 22).

    Parameters
    ----------
    abv_percent : (...) float
        0 to 100.

    Returns
    -------
    (...) float

    Raises
    ------
    ValueError
        A strength lies outside 0-100.
    """
    if not ((np.asarray(abv_percent) >= 0) & (np.asarray(abv_percent) <= 100)).all():
        raise ValueError(f"alcohol by volume is 0 to 100 %, not {abv_percent}")
    # By volume = by mass times density over that of pure ethanol; rising, so it can be read backwards.
    mass_percent = np.linspace(0, 100, 10001)
    by_volume = mass_percent * spirit_density_kg_m3(mass_percent) / spirit_density_kg_m3(100)
    return np.interp(abv_percent, by_volume, mass_percent)


def spirit_density_kg_m3(mass_percent):
    """Return the density at 20 C, kg/m3, of ethanol in water by mass percentage (OIML R 22)."""
    return np.polynomial.polynomial.polyval(np.asarray(mass_percent) / 100, _ALCOHOL_DENSITY)


def syrup(brix):
    """Return sugar in water.

    The dispersion is that of water times (n_D - 1) / (n_D - 1 of water), so the Abbe
    number stays; no measured dispersion of syrup is behind it.

    Parameters
    ----------
    brix : float
        Sucrose, mass %, 0 to 85; above 70 the sugar scale is continued.

    Returns
    -------
    Medium

    Raises
    ------
    ValueError
        The sugar content lies outside 0-85.

    Notes
    -----
    n_D: international sugar scale, ICUMSA SPS-3 (2000). Density: CRC Handbook.
    Absorption: that of the water in it.
    """
    if not 0 <= brix <= MOST_BRIX:
        raise ValueError(f"sugar is 0 to {MOST_BRIX:g} Brix, not {brix:g}")
    # Polynomials that meet the tables within 3e-6 and 0.04 kg/m3.
    scale = np.arange(0, 71, 10)
    index_at_d = np.polynomial.Polynomial.fit(scale, (_water_at_d(), *_SUGAR_INDEX), 4)(brix)
    density = syrup_density_kg_m3(brix)
    index = 1 + (_water_index() - 1) * (index_at_d - 1) / (_water_at_d() - 1)
    absorption = (1 - brix / 100) * density / _SUGAR_DENSITY[0] * _water_absorption_per_mm()
    return Medium(f"syrup, {brix:g} Brix", "drink", index, absorption, density_kg_m3=density)


def syrup_density_kg_m3(brix):
    """Return the density at 20 C, kg/m3, of sugar in water by mass percentage (CRC Handbook)."""
    scale = np.arange(0, 71, 10)
    return float(np.polynomial.Polynomial.fit(scale, _SUGAR_DENSITY, 3)(brix))


def beer(srm, abv_percent=5.0, extract_brix=4.0):
    """Return clear beer by its colour.

    The index adds what the alcohol and the extract each do to water; both are
    dilute, and malt extract is taken to refract as sugar does.

    Parameters
    ----------
    srm : float
        Colour by the Standard Reference Method.
    abv_percent, extract_brix : float
        Alcohol by volume and real extract by mass; the defaults are a pale lager
        of 12 % original extract, from memory.

    Returns
    -------
    Medium

    Raises
    ------
    ValueError
        The colour is negative, or as for `spirit` and `syrup`.
    """
    if not srm >= 0:
        raise ValueError(f"the colour of beer is 0 SRM or more, not {srm:g}")
    index = spirit(abv_percent).index + syrup(extract_brix).index - _water_index()
    absorption = beer_colour_per_mm(srm) + _water_absorption_per_mm()
    alcohol, extract = alcohol_mass_percent(abv_percent), syrup_density_kg_m3(extract_brix)
    density = float(spirit_density_kg_m3(alcohol)) + extract - syrup_density_kg_m3(0.0)
    return Medium(f"beer, {srm:g} SRM", "drink", index, absorption, density_kg_m3=density)


def beer_colour_per_mm(srm):
    """Return what the colour of beer absorbs beyond water, Napierian, 1/mm, on `GRID_NM`.

    A spectrophotometer reads against water, so the water of the beer is left out.

    Notes
    -----
    SRM = 12.7 times the decadic absorbance of 1 cm at 430 nm: ASBC Methods of Analysis,
    Beer-10. Mean spectrum of 99 beers: A. J. deLange, Color, in Bamforth (ed.), Brewing
    Materials and Processes (2016); beers differ from it by some 10 %.
    """
    beyond_nm = GRID_NM - 430
    shape = 0.02465 * np.exp(-beyond_nm / 17.591) + 0.97535 * np.exp(-beyond_nm / 82.122)
    return np.log(10) * srm / 12.7 * shape / 10


def _ideal_refraction(alcohol, of_water, of_ethanol):
    """Return the Lorentz-Lorenz quotient of a mixture from those of its parts, at the measured density."""
    water_part = (1 - alcohol) * of_water / spirit_density_kg_m3(0)
    ethanol_part = alcohol * of_ethanol / spirit_density_kg_m3(100)
    return spirit_density_kg_m3(100 * alcohol) * (water_part + ethanol_part)


def _refraction_at_d(alcohol):
    """Return the Lorentz-Lorenz quotient at the D line for a mass fraction of ethanol.

    The table, of four decimals, gives the excess over the ideal mixture; a Redlich-Kister
    polynomial of three terms through it smooths the last decimal (within 1.2e-4 in the index)
    and is exact for the two pure liquids.
    """
    tabled = np.linspace(0.1, 1.0, 10)
    ends = refraction(_water_at_d()), refraction(_ALCOHOL_INDEX[-1])
    excess = refraction(np.array(_ALCOHOL_INDEX)) / _ideal_refraction(tabled, *ends) - 1
    terms, *_ = np.linalg.lstsq(_excess_terms(tabled), excess, rcond=None)
    return _ideal_refraction(alcohol, *ends) * (1 + _excess_terms(alcohol) @ terms)


def _excess_terms(share):
    """Return the Redlich-Kister terms x (1 - x) (1 - 2 x)^k, k = 0, 1, 2."""
    share = np.asarray(share)
    return np.stack([share * (1 - share) * (1 - 2 * share) ** k for k in range(3)], axis=-1)


def refraction(index):
    """Return the Lorentz-Lorenz quotient of an index."""
    return (index**2 - 1) / (index**2 + 2)


def _water_index():
    """Return the index of water at 20 C relative to air on the grid (source: `water`)."""
    to_vacuum = sellmeier(
        (0.5684027565, 0.1726177391, 0.02086189578, 0.1130748688),
        (0.005101829712, 0.01821153936, 0.02620722293, 10.69792721),
    )
    return to_vacuum / air_index(GRID_NM)


def _water_at_d():
    return float(np.interp(D_NM, GRID_NM, _water_index()))


def _water_absorption_per_mm():
    """Return the absorption of pure water on the grid, 1/mm (source: `water`)."""
    table = read_table("water_absorption_popefry1997.csv")
    return on_grid(table["wavelength_nm"], table["absorption_per_m_napierian"]) / 1000
