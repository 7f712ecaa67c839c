"""Walls, ceiling and floor that throw light."""

from __future__ import annotations

import numpy as np

from brimcast.shared.errors import Fault, PersonError

from .bodies import front_outline, is_far
from .built import Camera, Panel, Room
from .lamps import Lamp
from .panels import bands_of, flat_panel
from .screens import cut_off
from .setfile import SetFile, faults_at

# Sides that are not known are open; the others reach as far as if they stood here.
OPEN_MM = 3000.0
# A lamp's front is at least so far before a wall.
CLEAR_MM = 1.0
CURE = "which hides the set from it; bring it nearer, or leave out what that throws back"
WALL_WORDS = {
    "behind": "the wall behind",
    "left": "the wall on the left",
    "right": "the wall on the right",
    "front": "the wall on the camera's side",
}
_X, _Y, _Z = np.eye(3)
# Along and upward on each wall as seen from inside; the product is its normal, into the room.
_SIDES = {"behind": (_X, _Z), "front": (-_X, _Z), "left": (_Y, _Z), "right": (-_Y, _Z)}


def clad_room(set_file: SetFile, room: Room | None) -> list[Panel]:
    """Return what is known of a room's shell, and has a reflectance, as panels that face inward."""
    shell = set_file.room.reflectance if set_file.room else None
    if shell is None or room is None:
        return []
    walls = {"left": -OPEN_MM, "right": OPEN_MM, "front": -OPEN_MM, "behind": OPEN_MM} | room.walls_mm
    ceiling = OPEN_MM if room.ceiling_mm is None else room.ceiling_mm
    low = np.array([walls["left"], walls["front"], room.floor_mm])
    high = np.array([walls["right"], walls["behind"], ceiling])
    found = []
    if shell.walls:
        for name in room.walls_mm:
            u, v = _SIDES[name]
            found.append(_clad(f"room wall {name}", low, high, u, v, shell.walls))
    if shell.ceiling and room.ceiling_mm is not None:
        found.append(_clad("room ceiling", low, high, _X, -_Y, shell.ceiling))
    if shell.floor:
        found.append(_clad("room floor", low, high, _X, _Y, shell.floor))
    return found


def _clad(name: str, low, high, u, v, reflectance) -> Panel:
    """Return one face of a box, seen from inside."""
    into = np.cross(u, v)
    # The lower left corner lies at the low end of what u and v run up, on the face from which `into` points.
    toward = u + v + into
    corner = np.where(toward > 0, low, high)
    size = (float(abs(u) @ (high - low)), float(abs(v) @ (high - low)))
    return flat_panel(name, corner, u, v, size, bands_of(reflectance), np.zeros(16))


def check_room(set_file: SetFile, shell: list[Panel], lamps: tuple[Lamp, ...], camera: Camera | None) -> None:
    """Refuse lamps and a camera that stand beyond a wall that is there, and a sun that one shuts out.

    Raises
    ------
    PersonError
    """
    faults: list[Fault] = []
    for panel in shell:
        where = WALL_WORDS.get(panel.name.removeprefix("room wall "), panel.name.replace("room", "the"))
        for lamp in lamps:
            if is_far(lamp):
                if _shuts_out(panel, lamp):
                    text = f"{where} would keep the {lamp.word}'s light out of the set; leave out what it"
                    text += " throws back, or take a window lamp before it"
                    faults += faults_at(set_file, f"lamps.{lamp.name}", text)
            elif (left := _left(panel, front_outline(lamp))) < CLEAR_MM:
                text = f"its front stands {CLEAR_MM - left:.0f} mm beyond {where}, {CURE}"
                faults += faults_at(set_file, f"lamps.{lamp.name}.throw", text)
        if camera is not None and (left := _left(panel, camera.place_mm[None])) < CLEAR_MM:
            text = f"the lens stands {CLEAR_MM - left:.0f} mm beyond {where}, {CURE}"
            faults += faults_at(set_file, "camera", text)
    if faults:
        raise PersonError(faults)


def _left(panel: Panel, points_mm: np.ndarray) -> float:
    """Return how far places stay before a panel's plane, mm."""
    return float(((points_mm - panel.corner_mm) @ panel.normal).min())


def _shuts_out(panel: Panel, lamp: Lamp) -> bool:
    """Return whether a panel hides a far lamp from its aim; of the sky, whether it is the ceiling."""
    if lamp.word == "sky":
        return panel.name == "room ceiling"
    spot = lamp.aim_mm - 50_000.0 * lamp.facing
    return bool(cut_off(lamp.aim_mm, spot[None], panel.mesh.vertices_mm[panel.mesh.faces])[0])
