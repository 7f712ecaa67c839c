"""Garnish of a set's glasses: put on the rim or in the drink, kept clear of the glass, and painted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from brimcast.shared.errors import PersonError
from brimcast.vessels.covers import Cover
from brimcast.vessels.leaning import Stand
from brimcast.vessels.library import Vessel

from . import garnish_citrus as citrus
from . import garnish_sticks as sticks
from . import models_garnish as models
from .built import Sheet
from .citrus import INSIDE
from .cold import hand_pose
from .finishes import Dressed
from .painting import Artist, paint
from .resting import CLEAR_MM, GarnishError, Made
from .setfile import SetFile, faults_at

# How each kind is made about its origin, put on the rim, and put in the drink.
_WAYS: dict[type, tuple[Callable, Callable, Callable | None]] = {
    models.Wheel: (citrus.make_wheel, citrus.put_wheel_on_rim, citrus.put_wheel_in_drink),
    models.Wedge: (citrus.make_wedge, citrus.put_wedge_on_rim, citrus.put_wedge_in_drink),
    models.Twist: (citrus.make_twist, citrus.put_twist_on_rim, citrus.put_twist_in_drink),
    models.Sprig: (sticks.make_sprig, sticks.put_sprig_on_rim, sticks.put_sprig_in_drink),
    models.Olive: (sticks.make_picked, sticks.put_pick_on_rim, sticks.put_pick_in_drink),
    models.Cherry: (sticks.make_picked, sticks.put_pick_on_rim, sticks.put_pick_in_drink),
    models.Straw: (sticks.make_straw, sticks.put_straw_on_rim, None),
}


class Garnished(NamedTuple):
    """What a glass is garnished with, not yet placed in the set.

    Attributes
    ----------
    bodies : list of (name, Mesh, made)
    sheets : list of Sheet
    """

    bodies: list
    sheets: list[Sheet]


def garnish_glass(
    set_file: SetFile, name: str, vessel: Vessel, dressed: Dressed, level_mm: float | None
) -> Garnished:
    """Return the garnish of a glass of the set.

    Parameters
    ----------
    set_file, name
        The set, and the glass's name.
    vessel : Vessel
        As it was before its finish, which takes glass away from the outside alone.
    dressed : Dressed
    level_mm : float or None
        Height of the drink's surface.

    Raises
    ------
    PersonError
        A garnish does not go where it is to.
    """
    listed = set_file.glasses[name].garnish
    found = Garnished([], [])
    if listed and not isinstance(vessel, Vessel):
        text = "a glass from a mesh does not tell its inside from its outside; take this out"
        raise PersonError(faults_at(set_file, f"glasses.{name}.garnish", text))
    stand = Stand(vessel) if listed else None
    for number, model in enumerate(listed, 1):
        try:
            made = _put(model, stand, level_mm)
            _check_clear(made, stand)
        except GarnishError as wrong:
            key = f"glasses.{name}.garnish.{number}" + (f".{wrong.part}" if wrong.part else "")
            raise PersonError(faults_at(set_file, key, str(wrong))) from None
        own = f"{name} {model.kind}" if number == 1 else f"{name} {model.kind} {number}"
        found.bodies.extend((f"{own}{after}", dressed.fit(mesh), of) for after, mesh, of in made.solids)
        found.sheets.extend(
            _sheet(f"{own}{after}", replace(cover, mesh=dressed.fit(cover.mesh)), artist)
            for after, cover, artist in made.covers
        )
    return found


def _sheet(name: str, cover: Cover, artist: Artist) -> Sheet:
    picture = paint(cover, artist)
    back = np.full(16, INSIDE)
    if picture.back is not None:
        back = picture.back[picture.reflectance.any(axis=2)].mean(axis=0, dtype=float)
    return Sheet.of(name, cover, np.full(16, INSIDE), back, picture=picture, dips=True)


def _put(model: models.Garnish, stand: Stand, level_mm: float | None) -> Made:
    """Return a garnish where it is to be, in the upright glass."""
    shape, on_rim, in_drink = _WAYS[type(model)]
    if pose := hand_pose(model):
        made = shape(model)
        middle = made.points_mm
        middle = (middle.min(axis=0) + middle.max(axis=0)) / 2
        return made.moved(pose.turn, pose.place_mm - pose.turn @ middle)
    made = in_drink(model, stand, level_mm) if getattr(model, "place", "rim") == "drink" else on_rim(
        model, stand
    )  # fmt: skip
    # Made toward +x; azimuths count from the camera's side, -y, clockwise from above.
    angle = np.radians(model.azimuth_deg)
    out = np.array([-np.sin(angle), -np.cos(angle), 0.0])
    return made.moved(np.stack([out, np.cross([0, 0, 1.0], out), [0, 0, 1.0]], axis=1))


def _check_clear(made: Made, stand: Stand) -> None:
    points = made.points_mm
    deep = float(stand.off_glass(points).min())
    if deep < CLEAR_MM:
        text = f"reaches {CLEAR_MM - deep:.1f} mm into the glass; allowed: a smaller one, or another place"
        raise GarnishError(text)
    if points[:, 2].min() < 0:
        raise GarnishError(f"reaches {-points[:, 2].min():.1f} mm into the table; allowed: a shorter one")
