"""Water, alcohol and sugar together: volumes that do not add up, density, index, and surface tension."""

from dataclasses import dataclass

import numpy as np

from brimcast.shared.bands import GRID_NM

from .liquids import (
    MOST_BRIX,
    alcohol_mass_percent,
    refraction,
    spirit,
    spirit_density_kg_m3,
    syrup,
    syrup_density_kg_m3,
    water,
)
from .media import Medium

# Sugar's own volume and refraction are taken from syrups of these contents, where the tables tell them well.
_LEAST_BRIX = 5.0
# Surface tension at 20 C, mN/m, of ethanol in water by mass percentage: G. Vazquez, E. Alvarez, J. M. Navaza,
# J. Chem. Eng. Data 40, 611-614 (1995); from memory.
_TENSION_PERCENT = (0, 5, 10, 15, 20, 30, 40, 50, 60, 70, 80, 90, 100)
_TENSION = (72.75, 56.41, 48.14, 42.72, 37.97, 32.98, 30.16, 27.96, 26.23, 25.01, 23.82, 22.72, 22.31)


@dataclass(frozen=True, eq=False)
class Recipe:
    """What is in a drink, by its volume.

    Parameters
    ----------
    ethanol_kg_m3, sugar_kg_m3, water_kg_m3 : float
        Mass in a cubic metre of the drink; sugar stands for all that is dissolved.
    colour_per_mm : (321,) float
        Absorption beyond that of water, Napierian.
    scattering_per_mm : (321,) float
    anisotropy : float
        Mean cosine of the angle of scattering.
    """

    ethanol_kg_m3: float
    sugar_kg_m3: float
    water_kg_m3: float
    colour_per_mm: np.ndarray
    scattering_per_mm: np.ndarray
    anisotropy: float = 0.0

    @property
    def density_kg_m3(self):
        """Density at 20 C."""
        return self.ethanol_kg_m3 + self.sugar_kg_m3 + self.water_kg_m3

    @property
    def abv_percent(self):
        """Alcohol by volume at 20 C."""
        return 100 * self.ethanol_kg_m3 / float(spirit_density_kg_m3(100))

    @property
    def brix(self):
        """Sugar by mass, %."""
        return 100 * self.sugar_kg_m3 / self.density_kg_m3

    @property
    def tension_mn_m(self):
        """Surface tension at 20 C, mN/m, as of its alcohol in its water; sugar raises it little."""
        wet = self.ethanol_kg_m3 + self.water_kg_m3
        return float(np.interp(100 * self.ethanol_kg_m3 / wet, _TENSION_PERCENT, _TENSION))


def prepare(abv_percent=0.0, brix=0.0, colour_per_mm=0.0, scattering_per_mm=0.0, anisotropy=0.0):
    """Return a drink by its strength and its sugar.

    Parameters
    ----------
    abv_percent : float
        Alcohol by volume of the drink at 20 C.
    brix : float
        Sugar by mass of the drink, %.
    colour_per_mm, scattering_per_mm : float or (321,) float
    anisotropy : float
        As for `Recipe`.

    Returns
    -------
    Recipe

    Raises
    ------
    ValueError
        The strength or the sugar is out of range, or no water is left to dissolve the sugar in.
    """
    from scipy.optimize import brentq

    alcohol_mass_percent(abv_percent)
    if not 0 <= brix <= MOST_BRIX:
        raise ValueError(f"sugar is 0 to {MOST_BRIX:g} Brix, not {brix:g}")
    ethanol = abv_percent / 100 * float(spirit_density_kg_m3(100))

    def missing_m3(density):
        sugar = brix / 100 * density
        return volume_m3(ethanol, sugar, density - ethanol - sugar) - 1

    least = ethanol / (1 - brix / 100)
    if brix and least > 0 and missing_m3(least * (1 + 1e-9)) > 0:
        text = f"{abv_percent:g} % vol and {brix:g} Brix leave no water; allowed: less of either"
        raise ValueError(text)
    density = brentq(missing_m3, max(least, 100.0), 1600.0, xtol=1e-9) if missing_m3(least) < 0 else least
    sugar = brix / 100 * density
    spectra = map(_spread, (colour_per_mm, scattering_per_mm))
    return Recipe(ethanol, sugar, max(density - ethanol - sugar, 0.0), *spectra, anisotropy)


def mix(parts, recipes):
    """Return drinks poured together.

    Masses add up, volumes do not: alcohol and water together take less room than apart.
    Colour and scattering thin out by volume.

    Parameters
    ----------
    parts : (n,) float
        Volume of each.
    recipes : (n,) Recipe

    Returns
    -------
    Recipe
    """
    parts = np.asarray(parts, float)
    names = ("ethanol_kg_m3", "sugar_kg_m3", "water_kg_m3")
    masses = [float(parts @ [getattr(one, name) for one in recipes]) for name in names]
    volume = volume_m3(*masses)
    share = parts / volume
    scattering = share @ np.array([one.scattering_per_mm for one in recipes])
    # The mean cosine is that of the light scattered by all, weighed by how much each scatters.
    weight = share * [one.scattering_per_mm.mean() for one in recipes]
    cosine = float(weight @ [one.anisotropy for one in recipes] / weight.sum()) if weight.any() else 0.0
    return Recipe(
        *(mass / volume for mass in masses),
        share @ np.array([one.colour_per_mm for one in recipes]), scattering, cosine,
    )  # fmt: skip


def volume_m3(ethanol_kg, sugar_kg, water_kg):
    """Return the volume at 20 C of ethanol, sugar and water together, m3.

    Exact for two of them by their tables (OIML R 22, CRC Handbook); with all three, the sugar
    takes the room that it takes in as much water without the alcohol.
    """
    wet = ethanol_kg + water_kg
    volume = wet / float(spirit_density_kg_m3(100 * ethanol_kg / wet)) if wet > 0 else 0.0
    return volume + sugar_kg * _sugar_volume_m3(_told_brix(sugar_kg, water_kg))


def brew(recipe, name):
    """Return the medium that a recipe makes.

    Its refraction (Lorentz and Lorenz) is that of its alcohol and water, as measured, and of its sugar,
    as measured in as much water without the alcohol.

    Parameters
    ----------
    recipe : Recipe
    name : str

    Returns
    -------
    Medium
    """
    ethanol, sugar, wet = recipe.ethanol_kg_m3, recipe.sugar_kg_m3, recipe.ethanol_kg_m3 + recipe.water_kg_m3
    percent = 100 * ethanol / wet
    density = float(spirit_density_kg_m3(percent))
    abv = min(percent * density / float(spirit_density_kg_m3(100)), 100.0)
    total = wet / density * refraction(spirit(abv).index)
    total = total + sugar * _sugar_refraction_m3(_told_brix(sugar, recipe.water_kg_m3))
    clear = water()
    absorption = recipe.water_kg_m3 / clear.density_kg_m3 * clear.absorption_per_mm + recipe.colour_per_mm
    return Medium(
        name, "drink", np.sqrt((1 + 2 * total) / (1 - total)), absorption,
        recipe.scattering_per_mm, recipe.anisotropy, recipe.density_kg_m3,
    )  # fmt: skip


def _sugar_volume_m3(brix):
    """Return the room that a kilogram of sugar takes in a syrup, m3."""
    share = brix / 100
    return (1 / syrup_density_kg_m3(brix) - (1 - share) / syrup_density_kg_m3(0.0)) / share


def _sugar_refraction_m3(brix):
    """Return what a kilogram of sugar adds to the refraction of a syrup (321,), m3."""
    share = brix / 100
    whole = refraction(syrup(brix).index) / syrup_density_kg_m3(brix)
    return (whole - (1 - share) * refraction(syrup(0).index) / syrup_density_kg_m3(0.0)) / share


def _told_brix(sugar_kg, water_kg):
    """Return the sugar in its water, % by mass, within what the tables tell well."""
    brix = 100 * sugar_kg / (sugar_kg + water_kg) if sugar_kg > 0 else 0.0
    return float(np.clip(brix, _LEAST_BRIX, MOST_BRIX))


def _spread(value):
    return np.broadcast_to(np.asarray(value, float), GRID_NM.shape).copy()
