"""Turn a checked set file into geometry, media, lamps and a camera."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from brimcast.shared.errors import PersonError

from . import models_materials as stuff
from . import models_things as things
from .built import BuiltSet, Foot, Panel, Sheet
from .fixtures import SKY_MM
from .hangings import hang_all
from .lamps import Lamp, plain_table_factor
from .models_props import Coaster, Napkin, Tray
from .panels import lay_plate, lay_table
from .pieces import Piece, choose_vessel, fill_glass, make_solid, rank_media, shape_prop
from .roomwalls import check_room, clad_room
from .setfile import SetFile, digest
from .tableware import LIFT_MM, find_support, lay_tableware
from .views import (
    measure_room,
    meter_white_card,
    place_camera,
    place_doors,
    place_lamps,
    place_meter,
)

# Without readings, sun and sky count as a lamp so far away: the usual throw.
NEAR_MM = 1500.0


def build(set_file: SetFile, detail: float = 1.0) -> BuiltSet:
    """Return a set's geometry and numbers.

    Parameters
    ----------
    set_file : SetFile
    detail : float
        Accuracy of the glasses' meshes; 1 is a chord error of 0.002 mm.

    Raises
    ------
    PersonError
        What is wrong only once things have a shape: a fill above the brim, a wall too thick.
    """
    stood = _stand_glasses(set_file, detail)
    parts = _stand_props(set_file, stood)
    pieces, stands = stood.pieces, stood.places_mm
    panels = [lay_table(set_file.table), *stood.sheets]
    # With nothing on the table, what would aim at the hero aims at the datum.
    stands["hero"] = stands[set_file.hero] if set_file.hero else np.zeros(3)

    lamps, notes = place_lamps(set_file, stands)
    panels += place_doors(set_file, lamps)
    camera = place_camera(set_file, stands) if set_file.camera else None
    faced = {lamp.name: lamp.centre_mm for lamp in lamps} | stands
    if camera:
        faced["camera"] = camera.place_mm
    hung = hang_all(set_file, pieces, camera, faced)
    room = measure_room(set_file)
    shell = clad_room(set_file, room)
    check_room(set_file, shell, lamps, camera)
    panels += [*hung.panels, *shell]
    kinds = hung.kinds | dict.fromkeys((panel.name for panel in shell), "room")

    media = rank_media(set_file, pieces)
    slots = {key: slot for slot, key in enumerate(media)}
    built = BuiltSet(
        title=set_file.title,
        media=tuple(media.values()),
        solids=(*(make_solid(piece, slots) for piece in pieces), *hung.solids),
        panels=tuple(panels),
        lamps=tuple(lamps),
        camera=camera,
        meters=(
            *(place_meter(set_file, name, faced) for name in set_file.meters),
            *meter_white_card(set_file, hung.panels),
        ),
        feet=tuple(sorted(stood.feet, key=lambda foot: foot.name != set_file.hero)),
        relative=not any(lamp.calibrated for lamp in lamps),
        quality=set_file.render.quality,
        seed=set_file.render.seed,
        cell_mm=set_file.render.cell_mm,
        digest=digest(set_file),
        room=room,
        sheets=kinds,
        parts=parts,
        notes=(*notes, *hung.notes),
    )
    return _scaled(built) if built.relative else built


class _Stood(NamedTuple):
    """What stands on the table: bodies, matte sheets, middles by name, and the feet of glasses."""

    pieces: list[Piece]
    sheets: list[Panel | Sheet]
    places_mm: dict[str, np.ndarray]
    feet: list[Foot]


def _stand_glasses(set_file: SetFile, detail: float) -> _Stood:
    stood, faults = _Stood([], [], {}, []), []
    for name, glass in set_file.glasses.items():
        try:
            vessel = choose_vessel(set_file, name)
            stands_mm = find_support(set_file, name, vessel.foot_radius_mm)
            filled = fill_glass(set_file, name, vessel, stands_mm, detail)
        except PersonError as error:
            faults += error.faults
            continue
        stood.pieces.extend(filled.pieces)
        stood.sheets.extend(filled.sheets)
        # The film of air under what stands on the table does not count.
        lifted_mm = stands_mm - LIFT_MM
        stood.places_mm[name] = np.array([*glass.at_mm, lifted_mm + vessel.height_mm / 2])
        radii = vessel.foot_radius_mm, vessel.rim_radius_mm
        stood.feet.append(Foot(name, glass.at_mm, *radii, vessel.height_mm, lifted_mm, glass.stands_on))
    if faults:
        raise PersonError(faults)
    return stood


def _stand_props(set_file: SetFile, stood: _Stood) -> dict[str, str]:
    """Add the props; return which sheets are part of which."""
    parts: dict[str, str] = {}
    for name, prop in set_file.props.items():
        if isinstance(prop, Coaster | Tray | Napkin):
            laid = lay_tableware(set_file, name, stood.feet)
            stood.sheets.extend(laid.sheets)
            parts |= {sheet.name: name for sheet in laid.sheets}
            meshes = [sheet.mesh for sheet in laid.sheets]
            if laid.metal:
                meshes = [laid.metal]
                stood.pieces.append(Piece(name, laid.metal, stuff.Metal(metal=f"{100 * prop.metal:.9g} %")))
        else:
            meshes = [shape_prop(prop)]
            if isinstance(prop, things.Plate):
                stood.sheets.append(lay_plate(name, prop, meshes[0]))
            else:
                liquid = isinstance(prop.material, stuff.LIQUIDS)
                stood.pieces.append(Piece(name, meshes[0], prop.material, liquid))
        points = np.concatenate([mesh.vertices_mm for mesh in meshes])
        stood.places_mm[name] = (points.min(axis=0) + points.max(axis=0)) / 2
    return parts


def _scaled(built: BuiltSet) -> BuiltSet:
    """Lamps without readings: equal strength at equal distance, one unit together at the datum, gels off."""
    even = [replace(lamp, luminance=even_strength(lamp)) for lamp in built.lamps]
    together = sum(lamp.scale * plain_table_factor(lamp) for lamp in even)
    unit = 1 / together if together > 0 else 1.0
    return replace(built, lamps=tuple(replace(lamp, luminance=lamp.luminance * unit) for lamp in even))


def even_strength(lamp: Lamp) -> float:
    """Luminance that makes lamps equally strong on their axes; sun and sky count as if they stood nearer."""
    far = lamp.throw_mm / NEAR_MM if lamp.throw_mm >= SKY_MM else 1.0
    return far**2 / lamp.area_mm2
