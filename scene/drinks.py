"""Liquids of a set, as written, made into media; and what they are called."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from brimcast.shared.colour import decode_hex

from . import materials
from . import models_liquids as liquids
from .cloudy import cloud, measured_drink
from .finishes import absorption_of_tint
from .liquids import beer_colour_per_mm, refraction
from .media import D_NM, Medium
from .mixtures import Recipe, brew, mix, prepare
from .models_drinks import Head
from .models_materials import PlainMedium
from .tints import absorb_points
from .transmissions import read_absorption

# OIV-MA-AS2-07B: the colour of wine.
WINE_NM = (420.0, 520.0, 620.0)


def medium_of(liquid, folder: Path = Path()) -> Medium:
    """Return the medium of a liquid.

    Parameters
    ----------
    liquid : Part
        As the set file has it.
    folder : Path
        From which its tables are found.

    Raises
    ------
    ValueError
        It cannot be: no drink has that colour, or alcohol and sugar leave no water.
    PersonError
        With the place in its table.
    """
    match liquid:
        case PlainMedium():
            cloud = {"scattering_per_mm": liquid.scattering_per_mm, "anisotropy": liquid.anisotropy}
            medium = materials.plain(liquid.index, liquid.abbe, liquid.absorption_per_mm, "drink", **cloud)
            return replace(medium, density_kg_m3=materials.water().density_kg_m3)
        case liquids.Water():
            return materials.water()
        case liquids.Beer():
            return materials.beer(liquid.colour_srm, liquid.strength_abv, liquid.extract_brix)
    return _brewed(liquid, _changes(liquid, folder), folder)


def recipe_of(liquid, folder: Path = Path()) -> Recipe:
    """Return what is in a liquid; of one given by its index nobody knows."""
    match liquid:
        case liquids.Water():
            return prepare()
        case liquids.Spirit():
            return prepare(liquid.strength_abv, liquid.sugar_brix, _colour(liquid.tint, folder))
        case liquids.Syrup():
            return prepare(0.0, liquid.sugar_brix)
        case liquids.Cordial():
            return prepare(0.0, liquid.sugar_brix, _colour(liquid.tint, folder))
        case liquids.Beer():
            return prepare(liquid.strength_abv, liquid.extract_brix, beer_colour_per_mm(liquid.colour_srm))
        case liquids.Wine():
            colour = absorb_points(WINE_NM, liquid.absorbance, liquid.path_mm)
            return prepare(liquid.strength_abv, liquid.extract_brix, colour)
        case liquids.Clear():
            return prepare(liquid.strength_abv, liquid.sugar_brix, _colour(liquid.tint, folder))
        case liquids.Cloudy():
            return _clouded(liquid)
        case liquids.Known():
            absorption, scattering, cosine, abv, brix = measured_drink(liquid.name)
            return prepare(abv, brix, absorption, scattering, cosine)
        case liquids.Mix():
            recipes = [recipe_of(part.liquid, folder) for part in liquid.mix]
            return mix([part.parts for part in liquid.mix], recipes)
    raise TypeError(f"no recipe is known for {liquid!r}")


def tension_mn_m(liquid, folder: Path = Path()) -> float:
    """Return the surface tension of a liquid, mN/m; of one given by its index, that of water."""
    return (prepare() if isinstance(liquid, PlainMedium) else recipe_of(liquid, folder)).tension_mn_m


def foam_medium(head: Head, drink: Medium) -> Medium:
    """Return a head of foam as a cloudy medium.

    Notes
    -----
    Light takes its way at random after bubble x (0.14 / share of liquid + 1.5): M. U. Vera, A. Saint-Jalmes,
    D. J. Durian, Scattering optics of foam, Appl. Opt. 40, 4210-4214 (2001), from memory. It meets the drink
    in proportion to its share: A. S. Gittings, R. Bandyopadhyay, D. J. Durian, Photon channelling in foams,
    Europhys. Lett. 65, 414-419 (2004). The index is that of as much drink, finely spread (Lorentz, Lorenz).
    """
    spread = head.wet * refraction(drink.index)
    step_mm = head.bubble_mm * (0.14 / head.wet + 1.5)
    return Medium(
        f"head of {drink.name}", "drink", np.sqrt((1 + 2 * spread) / (1 - spread)),
        head.wet * drink.absorption_per_mm, np.full(drink.index.shape, 1 / step_mm), 0.0,
        head.wet * drink.density_kg_m3,
    )  # fmt: skip


def name_liquid(liquid, folder: Path = Path()) -> str:
    """Return what a liquid is called in reports."""
    match liquid:
        case liquids.Water():
            return "water"
        case liquids.Spirit():
            sweet = f", {liquid.sugar_brix:.3g} Brix" if liquid.sugar_brix else ""
            return f"spirit, {liquid.strength_abv:.3g} % vol{sweet}"
        case liquids.Syrup():
            return f"syrup, {liquid.sugar_brix:.3g} Brix"
        case liquids.Cordial():
            return f"cordial, {liquid.sugar_brix:.3g} Brix"
        case liquids.Beer():
            return f"beer, {liquid.colour_srm:.3g} SRM"
        case liquids.Wine():
            return f"wine, {liquid.strength_abv:.3g} % vol"
        case liquids.Clear():
            return "a clear drink"
        case liquids.Cloudy():
            return f"a cloudy drink (a coin disappears at {liquid.vanishing_mm:.3g} mm)"
        case liquids.Known():
            return liquid.name.replace("-", " ")
        case liquids.Mix():
            found = recipe_of(liquid, folder)
            return f"a mix of {len(liquid.mix)}, {found.abv_percent:.3g} % vol, {found.brix:.3g} Brix"
    return f"a liquid of index {liquid.index:.4g}"


def _changes(liquid, folder: Path) -> tuple[int, ...]:
    paths = [folder / name for name in getattr(liquid, "tables", ())]
    return tuple(path.stat().st_mtime_ns if path.is_file() else 0 for path in paths)


@lru_cache(maxsize=64)
def _brewed(liquid, changes, folder: Path) -> Medium:
    return brew(recipe_of(liquid, folder), name_liquid(liquid, folder))


def _colour(tint, folder: Path):
    if tint is None:
        return 0.0
    if isinstance(tint, liquids.TableTint):
        return read_absorption(folder / tint.file, tint.at_mm)
    return absorption_of_tint(tint)


@lru_cache(maxsize=32)
def _clouded(liquid: liquids.Cloudy) -> Recipe:
    clear = prepare(liquid.strength_abv, liquid.sugar_brix)
    index = float(brew(clear, "").index_at(D_NM))
    absorption, scattering = cloud(decode_hex(liquid.colour), liquid.vanishing_mm, liquid.anisotropy, index)
    return prepare(liquid.strength_abv, liquid.sugar_brix, absorption, scattering, liquid.anisotropy)
