"""All that hangs or stands round a set to shape light, made into panels, sheets and mirrors."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from brimcast.shared.errors import Fault, PersonError

from . import models_panels as hung
from .built import Camera, Panel, Sheet, Solid
from .glassfiles import folder_of
from .glowcards import HiddenError, hide_card
from .gobos import cut_outline
from .panels import bands_of, hang_sheet
from .pieces import LIFT_MM, Piece
from .prints import tell_unreadable
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
    rig = _Rig(set_file, pieces, camera, faced)
    faults: list[Fault] = []
    makers = {
        "flags": rig.hang_flag, "cards": rig.hang_card, "foils": rig.bend_foil,
        "diffusers": rig.hang_diffuser, "mirrors": rig.hang_mirror,
    }  # fmt: skip
    for section, make in makers.items():
        for name, model in getattr(set_file, section).items():
            try:
                rig.made.panels.append(make(name, model))
                rig.made.kinds[name] = section[:-1]
            except PersonError as error:
                faults += error.faults
    if set_file.backdrop:
        try:
            rig.made.panels.append(rig.hang_backdrop(set_file.backdrop))
            rig.made.kinds[BACKDROP] = "backdrop"
        except PersonError as error:
            faults += error.faults
    if faults:
        raise PersonError(faults)
    return rig.made


class _Rig:
    """What hangs is made here, from what a set says of each."""

    def __init__(self, set_file: SetFile, pieces: list[Piece], camera: Camera | None, faced: dict):
        self.set_file, self.pieces, self.camera, self.faced = set_file, pieces, camera, faced
        self.made = Hangings([], [], {}, [])

    def fault(self, key: str, text: str) -> PersonError:
        return PersonError(faults_at(self.set_file, key, text))

    def face(self, key: str, model) -> np.ndarray:
        return face(self.set_file, f"{key}.facing", model.facing, model.at_mm, self.faced)

    def hang_flag(self, name: str, model: hung.Flag) -> Panel:
        normal, mesh = self.face(f"flags.{name}", model), None
        if model.picture:
            path = folder_of(self.set_file) / model.picture
            try:
                mesh = cut_outline(path, model.size_mm)
            except OSError as wrong:
                raise self.fault(f"flags.{name}.picture", tell_unreadable(path, wrong)) from None
            except ValueError as wrong:
                raise self.fault(f"flags.{name}.picture", str(wrong)) from None
        return hang_sheet(name, model.at_mm, model.size_mm, normal, bands_of(model.reflectance), mesh)

    def hang_card(self, name: str, model: hung.Card) -> Panel:
        normal, size = self.face(f"cards.{name}", model), model.size_mm
        if size == hung.HIDDEN:
            size = self.hide(f"cards.{name}", model, normal)
            self.made.notes.append(f"card {name}: hidden size {size[0]:.4g} x {size[1]:.4g} mm")
        return hang_sheet(name, model.at_mm, size, normal, bands_of(model.reflectance))

    def hide(self, key: str, model: hung.Card, normal) -> tuple[float, float]:
        """Return the size of a card that hides behind the hero."""
        if self.camera is None:
            text = "there is no camera from which the card could hide; say a size, or add a camera"
            raise self.fault(f"{key}.size", text)
        hero = self.set_file.hero
        own = [piece for piece in self.pieces if piece.liquid and piece.name.startswith(f"{hero} ")]
        if model.behind == "glass":
            own += [piece for piece in self.pieces if piece.name == hero]
        if not own:
            what = "no glass or prop" if hero is None else f"no drink in {hero!r}"
            at = "behind" if model.behind == "drink" else "size"
            raise self.fault(f"{key}.{at}", f"there is {what} to hide behind")
        try:
            return hide_card(self.camera, [piece.mesh for piece in own], model.at_mm, normal, model.shape)
        except HiddenError as wrong:
            raise self.fault(f"{key}.{wrong.key}", str(wrong)) from None

    def bend_foil(self, name: str, model: hung.Foil) -> Sheet:
        reflectance = bands_of(model.reflectance)
        try:
            bent = fold(model.points_mm, model.bend_mm)
        except BendError as wrong:
            raise self.fault(f"foils.{name}.points.{wrong.index + 1}", str(wrong)) from None
        return lay_strip(name, bent, model.width_mm, reflectance, reflectance)

    def hang_diffuser(self, name: str, model: hung.Diffuser) -> Panel:
        normal = self.face(f"diffusers.{name}", model)
        panel = hang_sheet(name, model.at_mm, model.size_mm, normal, bands_of(model.reflectance))
        return replace(panel, transmittance=np.full(16, model.transmittance))

    def hang_mirror(self, name: str, model: hung.Mirror) -> Panel:
        """Return a mirror's black back, which stands for it on plans, and add its face to the solids."""
        normal, (width, height) = self.face(f"mirrors.{name}", model), model.size_mm
        # One sheet: the edges of a slab would mirror too.
        front = hang_sheet(name, model.at_mm, model.size_mm, normal, np.zeros(16)).mesh
        mirror = Solid(face_of(name), front, "metal", reflectance=bands_of(model.reflectance))
        self.made.solids.append(mirror)
        behind = np.asarray(model.at_mm, float) - BACK_GAP_MM * normal
        size = (width + 2 * BACK_RIM_MM, height + 2 * BACK_RIM_MM)
        return hang_sheet(name, behind, size, normal, np.zeros(16))

    def hang_backdrop(self, model: hung.Backdrop) -> Sheet:
        table = self.set_file.table
        start, edge = model.behind_mm - model.radius_mm, table.size_mm[1] / 2
        if start > edge:
            text = (
                f"the paper would leave the table {start:.0f} mm behind the datum, but the table ends at "
                f"{edge:.0f} mm; bring it nearer, or take a larger radius or table"
            )
            raise self.fault("backdrop.behind", text)
        for piece in self.pieces:
            points = piece.mesh.vertices_mm
            if _behind_paper(model, points).any():
                reach = points[:, 1].max()
                text = f"the paper would cut through {piece.name!r}: that reaches {reach:.0f} mm behind the"
                text += f" datum, and the paper begins to curve up at {start:.0f} mm"
                raise self.fault("backdrop.behind", text)
        if self.camera is not None and _behind_paper(model, self.camera.place_mm[None]).any():
            raise self.fault("backdrop", "the camera stands behind the paper; move one of them")
        bent = sweep((0.0, start, LIFT_MM), model.radius_mm, model.height_mm - LIFT_MM)
        reflectance = bands_of(model.reflectance or table.reflectance)
        return lay_strip(BACKDROP, bent, model.width_mm, reflectance, reflectance)


def face_of(mirror: str) -> str:
    """Return the name of the solid that is a mirror's face."""
    return f"{mirror} face"


def _behind_paper(model: hung.Backdrop, points_mm: np.ndarray) -> np.ndarray:
    """Return which places are behind or under a backdrop."""
    x, y, z = np.asarray(points_mm, float).T
    into = np.clip(y - (model.behind_mm - model.radius_mm), 0, model.radius_mm)
    paper = LIFT_MM + model.radius_mm - np.sqrt(model.radius_mm**2 - into**2)
    paper = np.where(y >= model.behind_mm, model.height_mm, paper)
    return (into > 0) & (np.abs(x) <= model.width_mm / 2) & (z < paper)
