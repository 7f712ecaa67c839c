"""How heavy drinks are: what decides whether ice floats in them, and how deep."""

from __future__ import annotations

from . import models_materials as stuff
from .liquids import alcohol_mass_percent, spirit_density_kg_m3, syrup_density_kg_m3

# A pale lager's alcohol and real extract, as for its index (`liquids.beer`).
_BEER_ABV, _BEER_BRIX = 5.0, 4.0


def density_kg_m3(liquid) -> float:
    """Return the density at 20 C of a liquid of the set, kg/m3; of one given by numbers, that of water.

    Notes
    -----
    Spirits: OIML R 22. Syrups: CRC Handbook. Beer: what alcohol and extract each do to water, added.
    Drinks with ice are colder, and up to 0.2 % heavier.
    """
    match liquid:
        case stuff.Spirit():
            return float(spirit_density_kg_m3(alcohol_mass_percent(liquid.strength_abv)))
        case stuff.Syrup():
            return syrup_density_kg_m3(liquid.sugar_brix)
        case stuff.Beer():
            alcohol = float(spirit_density_kg_m3(alcohol_mass_percent(_BEER_ABV)))
            return alcohol + syrup_density_kg_m3(_BEER_BRIX) - syrup_density_kg_m3(0.0)
    return syrup_density_kg_m3(0.0)
