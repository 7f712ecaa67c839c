"""Coasters, trays and napkins of a set, and how high glasses stand on what is under them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from brimcast.shared.errors import PersonError
from brimcast.vessels import tableware
from brimcast.vessels.cloth import fold_cloth
from brimcast.vessels.mesh import Mesh, placed

from . import models_materials as stuff
from .built import Foot, Sheet
from .glassfiles import folder_of
from .labels import place_sheet
from .models_props import Coaster, Napkin, Tray
from .models_things import Slab
from .panels import bands_of
from .prints import Print, read_print, tell_unreadable
from .setfile import SetFile, faults_at

# Nothing touches all over what it lies on: a film of air stays under it.
LIFT_MM = 0.02


class Laid(NamedTuple):
    """A prop that lies on the table: its matte sheets, and its mesh where it is of metal."""

    sheets: list[Sheet]
    metal: Mesh | None = None


def find_support(set_file: SetFile, name: str, foot_mm: float) -> float:
    """Return how high over the table a glass of the set stands, mm.

    Parameters
    ----------
    set_file, name
        The set, and the glass's name.
    foot_mm : float
        Radius of its foot.

    Raises
    ------
    PersonError
        It cannot stand where it is said to.
    """
    glass = set_file.glasses[name]
    if glass.stands_on is None:
        return LIFT_MM
    prop = set_file.props[glass.stands_on]
    if wrong := _unfit(prop):
        raise PersonError(faults_at(set_file, f"glasses.{name}.stands_on", f"{glass.stands_on} {wrong}"))
    edge, inset_mm, top_mm = _measure(prop)
    place = _seen_from(prop, glass.at_mm)
    beyond_mm = foot_mm + glass.out_of_round_mm / 2 + inset_mm - edge.room(place)
    if beyond_mm > 1e-6:
        text = f"its foot reaches {beyond_mm:.1f} mm beyond the edge of {glass.stands_on}"
        text += "; move one of them by its 'at', or take a wider one"
        raise PersonError(faults_at(set_file, f"glasses.{name}.stands_on", text))
    return max(prop.height_mm, LIFT_MM) + top_mm + LIFT_MM


def _unfit(prop) -> str | None:
    """Return why nothing stands on a prop."""
    if isinstance(prop, Slab) and prop.tilt_deg:
        return f"is tilted by {prop.tilt_deg:g} deg, so nothing stands on it; allowed: one that lies flat"
    if isinstance(prop, Slab) and isinstance(prop.material, stuff.LIQUIDS):
        return "is liquid, so nothing stands on it; allowed: a solid"
    return None


def _measure(prop) -> tuple[tableware.Edge, float, float]:
    """Return a prop's edge, how far inside it its flat top ends, and how thick it is there, mm."""
    match prop:
        case Slab():
            return tableware.SquareEdge(prop.width_mm, prop.depth_mm), 0.0, prop.thickness_mm
        case Coaster():
            return _edge_of(prop), 0.0, prop.thickness_mm
        case Tray():
            return _edge_of(prop), prop.thickness_mm, prop.thickness_mm
        case Napkin():
            # Folds lie within the slack of the edge; the foot may reach as far as the cloth.
            return tableware.SquareEdge(*prop.size_mm), 0.0, (prop.layers - 0.5) * prop.layer_mm
    raise TypeError(f"nothing stands on {prop!r}")


def _edge_of(prop: Coaster | Tray) -> tableware.Edge:
    if isinstance(prop, Coaster):
        if prop.side_mm is not None:
            return tableware.SquareEdge(prop.side_mm, prop.side_mm)
        return tableware.RoundEdge(prop.diameter_mm)
    if prop.diameter_mm is not None:
        return tableware.RoundEdge(prop.diameter_mm)
    return tableware.SquareEdge(*prop.size_mm)


def _seen_from(prop, place_mm) -> np.ndarray:
    """Return a place on the table as seen from a prop's middle, before the prop was turned."""
    turn = np.radians(prop.turn_deg)
    cos, sin = np.cos(turn), np.sin(turn)
    return np.array([[cos, -sin], [sin, cos]]) @ (np.asarray(place_mm) - prop.at_mm)


def lay_tableware(set_file: SetFile, name: str, feet: list[Foot]) -> Laid:
    """Return a coaster, tray or napkin of the set, placed.

    Parameters
    ----------
    set_file, name
        The set, and the prop's name.
    feet : list of Foot
        Of the set's glasses; those that stand on it press a napkin flat.

    Raises
    ------
    PersonError
        Its picture cannot be read.
    """
    prop = set_file.props[name]
    low = max(prop.height_mm, LIFT_MM)
    if isinstance(prop, Tray) and prop.metal is not None:
        mesh = tableware.tray_solid(_edge_of(prop), prop.lip_mm, prop.thickness_mm)
        return Laid([], placed(mesh, (*prop.at_mm, low), prop.turn_deg))
    reflectance, more = bands_of(prop.reflectance), {}
    match prop:
        case Coaster():
            # No underside: it lies on something, and its top lets nothing through.
            edge, thick = _edge_of(prop), prop.thickness_mm
            top = tableware.flat_top(edge, 0.0, thick)
            leaves = {name: top, f"{name} rim": tableware.band(edge, [(0.0, thick), (0.0, 0.0)])}
            if prop.picture:
                more[name] = {"picture": _read_picture(set_file, name, top.size_mm, reflectance)}
        case Tray():
            edge, thick = _edge_of(prop), prop.thickness_mm
            lip = tableware.band(edge, tableware.lip_profile(prop.lip_mm, thick))
            leaves = {name: tableware.flat_top(edge, thick, thick), f"{name} lip": lip}
        case Napkin():
            pressed = tuple(
                (*_seen_from(prop, foot.centre_mm), foot.foot_radius_mm) for foot in feet if foot.on == name
            )
            cloth = fold_cloth(prop.size_mm, prop.layers, prop.layer_mm, prop.wave_mm, prop.seed, pressed)
            leaves = {name: cloth}
            more[name] = {"transmittance": bands_of(prop.transmittance)}
    sheets = [
        Sheet.of(own, leaf, reflectance, reflectance, **more.get(own, {})) for own, leaf in leaves.items()
    ]
    return Laid([place_sheet(sheet, (*prop.at_mm, low), prop.turn_deg) for sheet in sheets])


def _read_picture(set_file: SetFile, name: str, size_mm, reflectance: np.ndarray) -> Print:
    """Return a coaster's picture; where it is clear, the coaster itself shows."""
    path = folder_of(set_file) / set_file.props[name].picture
    try:
        found = read_print(path, size_mm, ink=False)
    except OSError as wrong:
        raise PersonError(
            faults_at(set_file, f"props.{name}.picture", tell_unreadable(path, wrong))
        ) from None
    bare = found.through > 0
    shown = np.where(bare, reflectance.astype(np.float32), found.reflectance)
    return Print(shown, np.zeros_like(shown))
