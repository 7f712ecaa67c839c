"""Drinks of a set in their glasses: how far they reach, their layers, their bubbles and their head."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np

from brimcast.shared.errors import PersonError
from brimcast.vessels.fill import LAP_MM
from brimcast.vessels.fizz import Fizz, fizz_mesh
from brimcast.vessels.library import Vessel
from brimcast.vessels.meniscus import Wetting, capillary_length_mm
from brimcast.vessels.mesh import Mesh

from . import models_drinks as drinks
from . import models_liquids as liquids
from .drinks import medium_of, tension_mn_m
from .glassfiles import folder_of
from .media import Medium
from .models_materials import PlainMedium
from .setfile import SetFile, faults_at

# Of the media that a set may have, a drink with layers takes up to so many.
MOST_SLICES = 9
_FINEST = 6  # steps in one transition
# Thinner slices are not made, mm.
_SLIVER_MM = 0.2
# The thickness of a transition lies between a tenth and nine tenths of the change, as diffusion spreads it.
_TENTHS = 2 * 1.2815515655446004


class Gas(NamedTuple):
    """What is in a bubble of a sparkling drink."""


class Froth(NamedTuple):
    """A head of foam."""

    head: drinks.Head
    liquid: object


class Body(NamedTuple):
    """A body of a drink, not yet placed.

    Attributes
    ----------
    name : str
        What it is, after the glass's name.
    mesh : Mesh
    made : object
    """

    name: str
    mesh: Mesh
    made: object


class Slice(NamedTuple):
    """A part of a drink between two levels."""

    from_mm: float | None
    to_mm: float
    liquid: object


def pour(
    set_file: SetFile, name: str, vessel: Vessel, level_mm: float | None = None, detail=1.0
) -> list[Body]:
    """Return the drink of a glass as bodies, the one that rules where they overlap first.

    Parameters
    ----------
    set_file, name
        The set, and the glass's name.
    vessel : Vessel
    level_mm : float, optional
        Height of the surface's middle; left out, as the set says.
    detail : float
        As for the vessel's mesh.

    Raises
    ------
    PersonError
        It does not fit, or cannot be.
    """
    drink, key = set_file.glasses[name].drink, f"glasses.{name}.drink"
    folder = folder_of(set_file)
    check_liquids(set_file, name)
    if level_mm is None:
        level_mm = find_level(set_file, name, vessel)
    slices = _cut(set_file, key, drink, vessel, level_mm)
    wetting, bodies = wetting_of(drink, folder), []
    for number, (from_mm, to_mm, liquid) in enumerate(slices, 1):
        own = "drink" if len(slices) == 1 else f"drink {number}"
        edge = wetting if number == len(slices) else None
        try:
            mesh = vessel.drink_mesh(to_mm, detail, None, edge, from_mm, number - 1)
        except ValueError as error:
            raise PersonError(faults_at(set_file, f"{key}.fill", str(error))) from None
        bodies.append(Body(own, mesh, liquid))
    if model := drink.sparkling:
        fizz = Fizz(model.count, model.rising, model.smallest_mm, model.largest_mm, model.seed)
        try:
            bodies.insert(0, Body("fizz", fizz_mesh(vessel.inner, level_mm, fizz), Gas()))
        except ValueError as error:
            raise PersonError(faults_at(set_file, f"{key}.sparkling", str(error))) from None
    if model := drink.head:
        try:
            mesh = vessel.head_mesh(level_mm, model.height_mm, model.dome_mm, detail, None, len(slices))
        except ValueError as error:
            raise PersonError(faults_at(set_file, f"{key}.head.height", str(error))) from None
        bodies.append(Body("head", mesh, Froth(model, slices[-1].liquid)))
    return bodies


def find_level(set_file: SetFile, name: str, vessel: Vessel) -> float:
    """Return the height of the middle of a drink's surface above the table, mm.

    Of a volume, what climbs the wall is a part.

    Raises
    ------
    PersonError
        It is over the brim or under the floor.
    """
    drink, folder = set_file.glasses[name].drink, folder_of(set_file)
    try:
        return _level(vessel, drink.fill, wetting_of(drink, folder))
    except ValueError as error:
        raise PersonError(faults_at(set_file, f"glasses.{name}.drink.fill", str(error))) from None


def wetting_of(drink: drinks.Drink, folder: Path) -> Wetting | None:
    """Return how a drink meets the wall; None where its surface is flat, as under a head."""
    if drink.contact_deg >= 90 or drink.head:
        return None
    top = drink.liquids[-1]
    density = medium_of(top, folder).density_kg_m3
    return Wetting(capillary_length_mm(tension_mn_m(top, folder), density), drink.contact_deg)


def tell_unstable(drink: drinks.Drink, folder: Path) -> str | None:
    """Return a warning where a layer is heavier than the one below it and will not stay there."""
    density = [
        None if isinstance(liquid, PlainMedium) else medium_of(liquid, folder).density_kg_m3
        for liquid in drink.liquids
    ]
    for number, (below, above) in enumerate(zip(density[:-1], density[1:], strict=True), 2):
        if below is not None and above is not None and above > below:
            heavy = f"{above:.0f} kg/m3 on {below:.0f} kg/m3"
            return f"layer {number} is heavier than the one below it ({heavy}): it will not stay there"
    return None


def _level(vessel: Vessel, fill, wetting: Wetting | None) -> float:
    match fill:
        case drinks.FillHeight(height_mm):
            if not vessel.base_mm < height_mm <= vessel.height_mm:
                low, high = f"above {vessel.base_mm:.1f} mm (floor)", f"{vessel.height_mm:g} mm (brim)"
                raise ValueError(f"{height_mm:g} mm is not inside the glass; allowed: {low} up to {high}")
            return height_mm
        case drinks.FillVolume(volume_ml):
            capacity = vessel.capacity_ml()
            if volume_ml > capacity:
                raise ValueError(f"{volume_ml:g} ml do not fit; allowed: up to {capacity:.0f} ml (the brim)")
        case drinks.FillShare(share):
            volume_ml = share * vessel.capacity_ml()
    return vessel.fill_height_for_ml(volume_ml, wetting)


def check_liquids(set_file: SetFile, name: str) -> list[Medium]:
    """Return the media of a drink's liquids; raise what is wrong with one where it stands."""
    drink, key, folder, media = set_file.glasses[name].drink, f"glasses.{name}.drink", folder_of(set_file), []
    for number, liquid in enumerate(drink.liquids, 1):
        place = f"{key}.layers.{number}.liquid" if drink.layers else f"{key}.liquid"
        for file in getattr(liquid, "tables", ()):
            if not (folder / file).is_file():
                text = f"there is no file {file!r} in {folder.resolve()}"
                raise PersonError(faults_at(set_file, place, text))
        try:
            media.append(medium_of(liquid, folder))
        except ValueError as error:
            raise PersonError(
                faults_at(set_file, place, str(error).replace("no glass", "no drink"))
            ) from None
    return media


def _cut(set_file: SetFile, key: str, drink: drinks.Drink, vessel: Vessel, level_mm: float) -> list[Slice]:
    """Return a drink's slices from the bottom up; each reaches a little into the one below it."""
    if not drink.layers:
        return [Slice(None, level_mm, drink.liquid)]
    borders = _borders(set_file, key, drink, vessel, level_mm)
    blends = [layer.blend_mm for layer in drink.layers[:-1]]
    transitions = sum(blend > 0 for blend in blends)
    steps = min(_FINEST, (MOST_SLICES - len(drink.layers)) // max(transitions, 1))
    ends, counts, contents = [], [], [drink.layers[0].liquid]
    for below, above, border_mm, blend_mm in zip(
        drink.layers[:-1], drink.layers[1:], borders, blends, strict=True
    ):
        shares, heights = _blend(border_mm, blend_mm, steps)
        ends += heights
        counts.append(len(heights))
        contents += [_between(below.liquid, above.liquid, share) for share in shares] + [above.liquid]
    _check_ends(set_file, key, ends, counts, [vessel.base_mm, *borders, level_mm])
    starts = [None, *(end - LAP_MM for end in ends)]
    return [Slice(*one) for one in zip(starts, [*ends, level_mm], contents, strict=True)]


def _borders(set_file, key, drink, vessel, level_mm) -> list[float]:
    """Return the heights of the borders between layers, the blend's middle."""
    total_ml = vessel.capacity_ml(level_mm)
    borders, below_mm = [], vessel.base_mm
    for number, layer in enumerate(drink.layers[:-1], 1):
        held = vessel.capacity_ml(below_mm)
        match layer.amount:
            case drinks.FillHeight(height_mm):
                below_mm += height_mm
            case drinks.FillVolume(volume_ml):
                below_mm = _height(vessel, held + volume_ml, level_mm, total_ml)
            case drinks.FillShare(share):
                below_mm = _height(vessel, held + share * total_ml, level_mm, total_ml)
        if below_mm > level_mm - 2 * _SLIVER_MM:
            text = f"the layers up to this one fill the drink, {total_ml:.0f} ml up to {level_mm:.1f} mm"
            text += "; allowed: less, so that the layers above have room"
            raise PersonError(faults_at(set_file, f"{key}.layers.{number}.amount", text))
        borders.append(below_mm)
    return borders


def _height(vessel, volume_ml, level_mm, total_ml):
    return vessel.fill_height_for_ml(volume_ml) if volume_ml < total_ml else level_mm


def _blend(border_mm: float, blend_mm: float, steps: int):
    """Return the shares of the upper liquid in the steps of a transition, and the heights between them.

    Of steps too thin to stand apart there are fewer, or none.
    """
    from scipy.special import ndtri

    for count in range(steps if blend_mm > 0 else 0, 0, -1):
        edges = (np.arange(1, count + 2) - 0.5) / (count + 1)
        heights = border_mm + blend_mm * ndtri(edges) / _TENTHS
        if np.diff(heights).min() > _SLIVER_MM:
            return list(np.arange(1, count + 1) / (count + 1)), list(heights)
    return [], [border_mm]


def _between(below, above, share: float):
    """Return the liquid in a transition; of one given by its index, the nearer of the two."""
    parts = []
    for liquid, volume in ((below, 1 - share), (above, share)):
        if isinstance(liquid, PlainMedium):
            return below if share < 0.5 else above
        inside = liquid.mix if isinstance(liquid, liquids.Mix) else ()
        total = sum(part.parts for part in inside)
        parts += [(part.liquid, float(volume * part.parts / total)) for part in inside]
        parts += [] if inside else [(liquid, float(volume))]
    made = [liquids.MixPart.model_construct(parts=volume, liquid=liquid) for liquid, volume in parts]
    return liquids.Mix.model_construct(mix=tuple(made))


def _check_ends(set_file, key, ends, counts, borders) -> None:
    """Raise where transitions run into each other, into the floor or into the surface.

    `borders` are those between the layers, with the floor before them and the surface after.
    """
    thin = np.flatnonzero(np.diff([borders[0], *ends, borders[-1]]) < _SLIVER_MM)
    if not len(thin):
        return
    # Between two transitions, the wider has to give way.
    owners = np.repeat(np.arange(len(counts)), counts)
    near = owners[[max(thin[0] - 1, 0), min(thin[0], len(owners) - 1)]]
    number = max(near, key=lambda k: counts[k])
    room_mm = min(np.diff(borders)[number : number + 2])
    reach = (_blend(0.0, 100.0, counts[number] - 1)[1][-1] / 100) or 1.0
    text = f"the blend has no room; allowed: up to about {room_mm / reach:.1f} mm, or thicker layers"
    raise PersonError(faults_at(set_file, f"{key}.layers.{number + 1}.blend", text))
