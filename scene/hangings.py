"""All that hangs or stands round a set to shape light, made into panels, sheets and mirrors."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from brimcast.shared.errors import Fault, PersonError
from brimcast.vessels.mesh import placed, rotated

from . import models_panels as hung
from .built import Camera, Panel, Sheet, Solid
from .glassfiles import folder_of
from .glowcards import HiddenError, hide_card
from .gobos import cut_outline
from .panels import bands_of, hang_sheet, rectangle, sides_of
from .pieces import LIFT_MM, Piece
from .setfile import SetFile, faults_at
from .strips import BendError, fold, lay_strip, sweep
from .views import face

# A mirror's black back lies so far behind its face, and reaches so far beyond the edges.
BACK_GAP_MM, BACK_RIM_MM = 0.1, 0.5
# No thing of a set can be called so, for it has a space.
BACKDROP = "paper backdrop"


class Hangings(NamedTuple):
    """What was hung.

    Attributes
    ----------
    panels : list of Panel or Sheet
    solids : list of Solid
        The faces of mirrors.
    kinds : dict of str to str
        What each panel is, by name; see `BuiltSet.sheets`.
    notes : list of str
    """

    panels: list[Panel | Sheet]
    solids: list[Solid]
    kinds: dict[str, str]
    notes: list[str]


def hang_all(set_file: SetFile, pieces: list[Piece], camera: Camera | None, faced: dict) -> Hangings:
    """Return a set's flags, cards, foils, diffusers, mirrors and backdrop.

    Parameters
    ----------
    set_file : SetFile
    pieces : list of Piece
        Glasses, drinks and props, placed.
    camera : Camera or None
    faced : dict of str to (3,) array
        Where the things are that a facing may name.

    Raises
    ------
    PersonError
    """
    made = Hangings([], [], {}, [])
    faults: list[Fault] = []
    makers = {
        "flags": _hang_flag, "cards": _hang_card, "foils": _bend_foil,
        "diffusers": _hang_diffuser, "mirrors": _hang_mirror,
    }  # fmt: skip
    for section, make in makers.items():
        for name in getattr(set_file, section):
            try:
                panel = make(set_file, name, pieces, camera, faced, made)
            except PersonError as error:
                faults += error.faults
                continue
            made.panels.append(panel)
            made.kinds[name] = section[:-1]
    if set_file.backdrop:
        try:
            made.panels.append(_hang_backdrop(set_file, pieces, camera))
            made.kinds[BACKDROP] = "backdrop"
        except PersonError as error:
            faults += error.faults
    if faults:
        raise PersonError(faults)
    return made


def _hang_flag(set_file: SetFile, name: str, pieces, camera, faced, made) -> Panel:
    flag, key = set_file.flags[name], f"flags.{name}"
    normal = face(set_file, f"{key}.facing", flag.facing, flag.at_mm, faced)
    mesh = None
    if flag.picture:
        folder = folder_of(set_file)
        try:
            mesh = cut_outline(folder / flag.picture, flag.size_mm)
        except FileNotFoundError:
            text = f"there is no file {flag.picture!r} in {folder.resolve()}"
            raise PersonError(faults_at(set_file, f"{key}.picture", text)) from None
        except OSError as wrong:
            why = wrong.strerror or "its kind is not known"
            text = f"{flag.picture!r} cannot be read as a picture: {why}"
            raise PersonError(faults_at(set_file, f"{key}.picture", text)) from None
        except ValueError as wrong:
            raise PersonError(faults_at(set_file, f"{key}.picture", str(wrong))) from None
    return hang_sheet(name, flag.at_mm, flag.size_mm, normal, bands_of(flag.reflectance), mesh)


def _hang_card(set_file: SetFile, name: str, pieces, camera, faced, made: Hangings) -> Panel:
    card, key = set_file.cards[name], f"cards.{name}"
    normal = face(set_file, f"{key}.facing", card.facing, card.at_mm, faced)
    size = card.size_mm
    if size == hung.HIDDEN:
        size = _hide(set_file, name, pieces, camera, normal)
        made.notes.append(f"card {name}: hidden size {size[0]:.4g} x {size[1]:.4g} mm")
    return hang_sheet(name, card.at_mm, size, normal, bands_of(card.reflectance))


def _hide(set_file: SetFile, name: str, pieces, camera, normal) -> tuple[float, float]:
    """Return the size of a card that hides behind the hero."""
    card, key = set_file.cards[name], f"cards.{name}"
    if camera is None:
        text = "there is no camera from which the card could hide; say a size, or add a camera"
        raise PersonError(faults_at(set_file, f"{key}.size", text))
    hero = set_file.hero
    own = [piece for piece in pieces if piece.liquid and piece.name.startswith(f"{hero} ")]
    if card.behind == "glass":
        own += [piece for piece in pieces if piece.name == hero]
    if not own:
        what = "no glass or prop" if hero is None else f"no drink in {hero!r}"
        at = "behind" if card.behind == "drink" else "size"
        text = f"there is {what} to hide behind"
        raise PersonError(faults_at(set_file, f"{key}.{at}", text))
    try:
        return hide_card(camera, [piece.mesh for piece in own], card.at_mm, normal, card.shape)
    except HiddenError as wrong:
        raise PersonError(faults_at(set_file, f"{key}.{wrong.key}", str(wrong))) from None


def _bend_foil(set_file: SetFile, name: str, pieces, camera, faced, made) -> Sheet:
    foil, key = set_file.foils[name], f"foils.{name}"
    reflectance = bands_of(foil.reflectance)
    try:
        bent = fold(foil.points_mm, foil.bend_mm)
    except BendError as wrong:
        raise PersonError(faults_at(set_file, f"{key}.points.{wrong.index + 1}", str(wrong))) from None
    return lay_strip(name, bent, foil.width_mm, reflectance, reflectance)


def _hang_diffuser(set_file: SetFile, name: str, pieces, camera, faced, made) -> Panel:
    model = set_file.diffusers[name]
    normal = face(set_file, f"diffusers.{name}.facing", model.facing, model.at_mm, faced)
    panel = hang_sheet(name, model.at_mm, model.size_mm, normal, bands_of(model.reflectance))
    return replace(panel, transmittance=np.full(16, model.transmittance))


def _hang_mirror(set_file: SetFile, name: str, pieces, camera, faced, made: Hangings) -> Panel:
    """Return a mirror's black back, which stands for it on plans, and add its face to the solids."""
    model = set_file.mirrors[name]
    normal = face(set_file, f"mirrors.{name}.facing", model.facing, model.at_mm, faced)
    width, height = model.size_mm
    turn = np.stack([*sides_of(normal), normal], axis=1)
    # One sheet: the edges of a slab would mirror too.
    mesh = placed(rotated(rectangle(width, height), turn), model.at_mm)
    made.solids.append(Solid(face_of(name), mesh, "metal", reflectance=bands_of(model.reflectance)))
    behind = np.asarray(model.at_mm, float) - BACK_GAP_MM * normal
    size = (width + 2 * BACK_RIM_MM, height + 2 * BACK_RIM_MM)
    return hang_sheet(name, behind, size, normal, np.zeros(16))


def face_of(mirror: str) -> str:
    """Return the name of the solid that is a mirror's face."""
    return f"{mirror} face"


def _hang_backdrop(set_file: SetFile, pieces: list[Piece], camera: Camera | None) -> Sheet:
    model, table = set_file.backdrop, set_file.table
    start, edge = model.behind_mm - model.radius_mm, table.size_mm[1] / 2
    if start > edge:
        text = (
            f"the paper would leave the table {start:.0f} mm behind the datum, but the table ends at "
            f"{edge:.0f} mm; bring it nearer, or take a larger radius or table"
        )
        raise PersonError(faults_at(set_file, "backdrop.behind", text))
    faults: list[Fault] = []
    for piece in pieces:
        points = piece.mesh.vertices_mm
        if _behind_paper(model, points).any():
            reach = points[:, 1].max()
            text = f"the paper would cut through {piece.name!r}: that reaches {reach:.0f} mm behind the datum"
            text += f", and the paper begins to curve up at {start:.0f} mm"
            faults += faults_at(set_file, "backdrop.behind", text)
            break
    if camera is not None and _behind_paper(model, camera.place_mm[None]).any():
        faults += faults_at(set_file, "backdrop", "the camera stands behind the paper; move one of them")
    if faults:
        raise PersonError(faults)
    bent = sweep((0.0, start, LIFT_MM), model.radius_mm, model.height_mm - LIFT_MM)
    reflectance = bands_of(model.reflectance or table.reflectance)
    return lay_strip(BACKDROP, bent, model.width_mm, reflectance, reflectance)


def _behind_paper(model: hung.Backdrop, points_mm: np.ndarray) -> np.ndarray:
    """Return which places are behind or under a backdrop."""
    x, y, z = np.asarray(points_mm, float).T
    into = np.clip(y - (model.behind_mm - model.radius_mm), 0, model.radius_mm)
    paper = LIFT_MM + model.radius_mm - np.sqrt(model.radius_mm**2 - into**2)
    paper = np.where(y >= model.behind_mm, model.height_mm, paper)
    return (into > 0) & (np.abs(x) <= model.width_mm / 2) & (z < paper)
