"""Bodies of glass, drink and props: their shapes, and the media that they are made of."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from brimcast.shared.errors import PersonError
from brimcast.vessels import library, solids
from brimcast.vessels.falling import Liquid
from brimcast.vessels.mesh import Mesh, placed, rotated

from . import materials
from . import models_materials as stuff
from . import models_things as things
from .built import MAX_MEDIA, Sheet, Solid
from .cold import chill_glass, cold_medium
from .drinks import foam_medium, medium_of
from .finishes import Bubble, Tinted, dress_glass, tint_medium
from .garnishes import garnish_glass
from .glassfiles import folder_of, is_own, shape_glass
from .labels import place_sheet
from .media import KINDS, Medium
from .models_drinks import FillVolume
from .panels import rectangle
from .pouring import Froth, Gas, check_liquids, find_level, pour
from .setfile import SetFile, faults_at
from .tableware import LIFT_MM

# A can's bright sheet; common practice.
ALUMINIUM = stuff.Metal.model_validate({"metal": "90 %"})


class Piece(NamedTuple):
    """A body and what it is made of; a liquid gives way to glass and ice where they overlap."""

    name: str
    mesh: Mesh
    made: object
    liquid: bool = False

    @property
    def key(self) -> tuple[bool, str]:
        """Pieces of one medium share a slot."""
        return self.liquid, repr(self.made)


class Filled(NamedTuple):
    """A glass of the set, placed, with what is in it and on it; its labels and garnish."""

    pieces: list[Piece]
    sheets: list[Sheet]


def fill_glass(
    set_file: SetFile, name: str, vessel: library.Vessel, stands_mm: float, detail: float
) -> Filled:
    """Return a glass of the set and its drink, placed so high over the table.

    Raises
    ------
    PersonError
        The drink does not fit.
    """
    glass = set_file.glasses[name]
    place = (*glass.at_mm, stands_mm)
    dressed = dress_glass(set_file, name, vessel, detail)
    made = ALUMINIUM if vessel.closed else dressed.made
    pieces = [Piece(name, placed(dressed.mesh, place, glass.turn_deg), made)]
    if dressed.bubbles:
        pieces.append(Piece(f"{name} bubbles", placed(dressed.bubbles, place, glass.turn_deg), Bubble()))
    chilled = chill_glass(set_file, name, vessel, dressed, _meet_ice(set_file, name, vessel), detail)
    for own, mesh, what in chilled.bodies:
        pieces.append(Piece(own, placed(mesh, place, glass.turn_deg), what))
    # Ice lifts the surface; without any, the drink finds its level itself.
    level_mm = chilled.level_mm if glass.ice else None
    for body in pour(set_file, name, dressed.vessel, level_mm, detail) if glass.drink else ():
        mesh = placed(dressed.fit(body.mesh), place, glass.turn_deg)
        pieces.append(Piece(f"{name} {body.name}", mesh, body.made, liquid=not isinstance(body.made, Gas)))
    garnish = garnish_glass(set_file, name, vessel, dressed, chilled.level_mm)
    for own, mesh, what in garnish.bodies:
        pieces.append(Piece(own, placed(mesh, place, glass.turn_deg), what))
    sheets = [*dressed.labels, *garnish.sheets]
    return Filled(pieces, [place_sheet(sheet, place, glass.turn_deg) for sheet in sheets])


def _meet_ice(set_file: SetFile, name: str, vessel: library.Vessel) -> Liquid | None:
    """Return the drink as ice meets it: by its volume where that is what is said, else by its height."""
    drink = set_file.glasses[name].drink
    if not drink:
        return None
    density = check_liquids(set_file, name)[-1].density_kg_m3
    level_mm = find_level(set_file, name, vessel)
    if isinstance(drink.fill, FillVolume):
        return Liquid(density, volume_ml=drink.fill.volume_ml)
    return Liquid(density, level_mm=level_mm)


def choose_vessel(set_file: SetFile, name: str) -> library.Vessel:
    """Return the vessel of a glass of the set.

    Raises
    ------
    PersonError
        Its measures make no glass.
    """
    model = set_file.glasses[name].vessel
    if is_own(model):
        return shape_glass(set_file, name)
    try:
        return _vessel(model)
    except ValueError as error:
        raise PersonError(faults_at(set_file, f"glasses.{name}.vessel", str(error))) from None


def _vessel(model) -> library.Vessel:
    given = {
        field: getattr(model, field)
        for field in type(model).model_fields
        if field != "shape" and getattr(model, field) is not None
    }
    return library.vessel(model.shape, **given)


def shape_prop(prop) -> Mesh:
    """Return a prop's mesh, placed; a plate's is one sheet."""
    match prop:
        case things.Ball():
            mesh = solids.ball(prop.diameter_mm)
        case things.Rod():
            mesh = solids.rod(prop.diameter_mm, prop.length_mm)
            if prop.lying:
                mesh = rotated(mesh, [[0, 0, 1], [0, 1, 0], [-1, 0, 0]])
        case things.Slab():
            mesh = _tilted(solids.slab(prop.width_mm, prop.depth_mm, prop.thickness_mm), prop.tilt_deg)
        case things.Prism():
            mesh = solids.prism(prop.angle_deg, prop.side_mm, prop.length_mm)
            if prop.lying:
                # Its axis along x, and its edge, which looked toward the camera, on top.
                mesh = rotated(mesh, [[0, 0, 1], [-1, 0, 0], [0, -1, 0]])
        case things.Ring():
            mesh = solids.ring(prop.inside_diameter_mm, prop.wall_mm, prop.tall_mm)
        case things.Plate():
            mesh = _tilted(_plate_sheet(prop), prop.tilt_deg)
    turned = placed(mesh, (0, 0, 0), getattr(prop, "turn_deg", 0.0))
    low = turned.vertices_mm[:, 2].min()
    return placed(turned, (*prop.at_mm, max(prop.height_mm, LIFT_MM) - low))


def _tilted(mesh: Mesh, tilt_deg: float) -> Mesh:
    """Lift the far edge."""
    cos, sin = np.cos(np.radians(tilt_deg)), np.sin(np.radians(tilt_deg))
    return rotated(mesh, [[1, 0, 0], [0, cos, -sin], [0, sin, cos]]) if tilt_deg else mesh


def _plate_sheet(prop: things.Plate) -> Mesh:
    match prop.opening:
        case things.RoundOpening(diameter_mm=across):
            return solids.plate_with_hole(*prop.size_mm, across)
        case things.SlitOpening(size_mm=slit):
            return solids.plate_with_slit(*prop.size_mm, *slit)
    return rectangle(*prop.size_mm)


def make_solid(piece: Piece, slots) -> Solid:
    """Return a piece as what it does to light."""
    match piece.made:
        case stuff.Metal():
            mirror = np.full(16, piece.made.reflectance)
            return Solid(piece.name, piece.mesh, "metal", reflectance=mirror)
        case stuff.Black():
            return Solid(piece.name, piece.mesh, "black")
    return Solid(piece.name, piece.mesh, "dielectric", slots[piece.key])


def rank_media(set_file: SetFile, pieces: list[Piece]) -> dict[tuple[bool, str], Medium]:
    """Return the set's media, each once, in order of rank."""
    found: dict[tuple[bool, str], Medium] = {}
    folder = folder_of(set_file)
    for piece in pieces:
        if piece.key not in found and not isinstance(piece.made, stuff.Metal | stuff.Black):
            try:
                medium = _medium(piece.made, folder)
            except ValueError as error:
                raise PersonError(faults_at(set_file, f"props.{piece.name}.material", str(error))) from None
            found[piece.key] = replace(medium, kind="drink") if piece.liquid else medium
    if len(found) > MAX_MEDIA:
        text = f"the set has {len(found)} different glasses and liquids; allowed: up to {MAX_MEDIA}"
        raise PersonError(faults_at(set_file, "glasses", text))
    return dict(sorted(found.items(), key=lambda item: KINDS.index(item[1].kind)))


def _medium(made, folder: Path) -> Medium:
    if isinstance(made, stuff.LIQUIDS):
        return medium_of(made, folder)
    if cold := cold_medium(made):
        return cold
    match made:
        case Bubble():
            return materials.air()
        case Gas():
            return replace(materials.air(), kind="drops", name="gas")
        case Froth():
            return foam_medium(made.head, medium_of(made.liquid, folder))
        case Tinted():
            return tint_medium(_medium(made.base, folder), made.tint)
        case stuff.GlassMaterial(kind="soda-lime"):
            return materials.soda_lime(made.tint)
        case stuff.GlassMaterial(kind="borosilicate"):
            return materials.borosilicate()
        case stuff.GlassMaterial(kind="crystal"):
            return materials.crystal()
        case stuff.GlassMaterial(kind="acrylic"):
            return materials.acrylic()
        case stuff.PlainMedium():
            cloud = {"scattering_per_mm": made.scattering_per_mm, "anisotropy": made.anisotropy}
            return materials.plain(made.index, made.abbe, made.absorption_per_mm, **cloud)
    raise TypeError(f"no medium is known for {made!r}")
