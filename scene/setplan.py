"""The numbers of a set plan: where everything stands, from the one datum, ready for print and for JSON."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np

from brimcast.shared.exposure import crop_factor, marked_f_number

from .bodies import facing_of, is_far, list_stands, middle_of, room_of, sheets_of, word_of
from .built import BuiltSet
from .clashes import CLEAR, check_set
from .frame import azimuth_of, describe_camera
from .hangings import BACK_RIM_MM
from .lamps import Lamp

DATUM = "centre of the hero's foot on the table top"
# Usual cautions of the trade (common practice); they warn and certify nothing.
FOCUS = (
    "Glass and liquid can focus the sun or a hot lamp enough to start a fire; never leave them unattended."
)
HEAT = "Hot lamps: keep gels, foil, paper and spirits clear of tubes and vents; wear gloves."
STANDS = "Stands: sandbag, a weight over one leg, tape the cables; never catch a falling light."
MAINS = "Mains and liquid: keep them apart, cables off the table, residual-current protection."
FLASHES = "Flash units hold a lethal charge: power down and discharge before changing heads. Warn of flashes."
LIMITS = "This plan warns; it does not certify. Local codes and licensed practice come first."
CAUTIONS = (
    FOCUS,
    HEAT,
    STANDS,
    MAINS,
    FLASHES,
    "Broken glass: stop, gloves, clear, check the table again. Styled drinks are not for drinking.",
    LIMITS,
)
BULK = (
    "Taken by common practice, as the set does not say it: lamp bodies 350 mm long and 150 mm thick, "
    "stand legs 500 mm from the pole, camera body 150 x 120 x 100 mm on a tripod."
)


def describe_plan(built: BuiltSet) -> dict:
    """Return all numbers of a set plan, ready for JSON; lengths mm, angles deg.

    Lamps have their `throw`, `elevation` and `azimuth` from the aim, as the set says them, and their place
    from the datum: `right` (x), `behind` (y), height, and distance and azimuth along the floor.
    """
    room = room_of(built)
    stands = {stand.name: stand for stand in list_stands(built)}
    return {
        "set": {"title": built.title, "digest": built.digest},
        "datum": DATUM,
        "room": {
            "table_height_mm": -room.floor_mm,
            "stated": built.room is not None,
            "ceiling_over_table_mm": room.ceiling_mm,
            "walls_mm": dict(room.walls_mm),
        },
        "table_mm": list(built.panels[0].size_mm),
        "glasses": {
            foot.name: {
                "at_mm": list(foot.centre_mm),
                "stands_mm": foot.stands_mm,
                "height_mm": foot.height_mm,
                "foot_diameter_mm": 2 * foot.foot_radius_mm,
                "rim_diameter_mm": 2 * foot.rim_radius_mm,
            }
            for foot in built.feet
        },
        "lamps": {lamp.name: _lamp(lamp, stands.get(lamp.name), room.floor_mm) for lamp in built.lamps},
        "sheets": {panel.name: _sheet(built, panel, stands.get(panel.name)) for panel in sheets_of(built)},
        "camera": describe_camera(built),
        "checks": [asdict(check) for check in check_set(built)],
        "cautions": [*CAUTIONS, BULK],
    }


def _place(place, floor_mm: float) -> dict:
    return {
        "place_mm": [float(value) for value in place],
        "height_over_table_mm": float(place[2]),
        "height_over_floor_mm": float(place[2] - floor_mm),
        "from_datum_mm": float(np.hypot(place[0], place[1])),
        "azimuth_from_datum_deg": azimuth_of(place),
    }


def _lamp(lamp: Lamp, stand, floor_mm: float) -> dict:
    facts = {
        "front": name_front(lamp),
        "size_mm": [float(side) for side in lamp.size_mm],
        "power_stops": lamp.power_stops,
        "elevation_deg": lamp.elevation_deg,
        "azimuth_deg": lamp.azimuth_deg,
        "aim_mm": [float(value) for value in lamp.aim_mm],
    }
    if is_far(lamp):
        return {**facts, "far": True, "throw_mm": None}
    return {
        **facts,
        "far": False,
        "throw_mm": lamp.throw_mm,
        "along_floor_from_aim_mm": float(np.hypot(*(lamp.centre_mm - lamp.aim_mm)[:2])),
        **_place(lamp.centre_mm, floor_mm),
        "stand_mm": None if stand is None else [float(value) for value in stand.foot_mm],
    }


def name_front(lamp: Lamp) -> str:
    """Return a lamp's form and true size in words."""
    word = word_of(lamp)
    if is_far(lamp):
        return word
    if lamp.kind in ("disc", "bulb"):
        return f"{word} {lamp.size_mm[0]:g}"
    return f"{word} {lamp.size_mm[0]:g} x {lamp.size_mm[1]:g}"


def _sheet(built: BuiltSet, panel, stand) -> dict:
    normal, kind = facing_of(panel), built.sheets[panel.name]
    # A mirror's back is larger than its face.
    rim = 2 * BACK_RIM_MM if kind == "mirror" else 0.0
    return {
        "kind": kind,
        "size_mm": [float(side) - rim for side in panel.size_mm],
        **_place(middle_of(panel), room_of(built).floor_mm),
        "faces_azimuth_deg": azimuth_of(normal) if np.hypot(*normal[:2]) > 1e-6 else None,
        "faces_elevation_deg": float(np.degrees(np.arcsin(np.clip(normal[2], -1, 1)))),
        "on_table": stand is None,
        "stand_mm": None if stand is None else [float(value) for value in stand.foot_mm],
    }


def list_lines(plan: dict) -> list[str]:
    """Return a set plan's numbers and findings in lines for a terminal."""
    lines = [f"{plan['set']['title']}: from the datum, the {plan['datum']}"]
    for name, lamp in plan["lamps"].items():
        lines.append(f"{name}: {_lamp_words(lamp)}")
    for name, sheet in plan["sheets"].items():
        x, y, z = sheet["place_mm"]
        size = " x ".join(f"{side:.4g}" for side in sheet["size_mm"])
        lines.append(f"{name}: {sheet['kind']} {size} mm; centre {_across(x)}, {_deep(y)}, {z:.0f} mm up")
    lines += camera_lines(plan["camera"])
    lines += finding_lines(plan)
    return lines


def _lamp_words(lamp: dict) -> str:
    angles = f"elevation {lamp['elevation_deg']:.3g}°, azimuth {lamp['azimuth_deg']:.4g}°"
    if lamp["far"]:
        return f"{lamp['front']}; {angles}"
    x, y, _ = lamp["place_mm"]
    return (
        f"{lamp['front']} mm; throw {lamp['throw_mm'] / 1000:.3g} m, {angles}; "
        f"at {_across(x)}, {_deep(y)}; {lamp['height_over_table_mm']:.0f} mm over the table, "
        f"{lamp['height_over_floor_mm']:.0f} mm over the floor"
    )


def _across(x_mm: float) -> str:
    return f"{abs(x_mm):.0f} mm {'right' if x_mm >= 0 else 'left'}"


def _deep(y_mm: float) -> str:
    return f"{abs(y_mm):.0f} mm {'behind' if y_mm >= 0 else 'toward the camera'}"


def camera_lines(camera: dict | None) -> list[str]:
    """Return a camera's numbers in lines."""
    if camera is None:
        return ["no camera"]
    x, y, z = camera["place_mm"]
    moves = [
        f"{word} {camera[f'{word}_{unit}']:+g} {unit}"
        for word, unit in (("rise", "mm"), ("shift", "mm"), ("tilt", "deg"))
        if camera[f"{word}_{unit}"]
    ]
    wide, tall = camera["field_of_view_mm"]
    far = camera["sharp_to_mm"]
    sharp = f"{camera['sharp_from_mm']:.0f} to " + (f"{far:.0f} mm" if np.isfinite(far) else "infinity")
    lines = [
        f"camera: {camera['focal_mm']:g} mm on {camera['sensor_mm'][0]:g} x {camera['sensor_mm'][1]:g} mm, "
        f"f/{marked_f_number(camera['f_number']):g}, ISO {camera['iso']:g}"
        + "".join(f", {move}" for move in moves),
        f"    lens {_across(x)}, {_deep(y)}, {z:.0f} mm over the table; "
        f"looks {camera['looks_down_deg']:.3g}° down",
        f"    focus {camera['focus_mm']:.0f} mm from the lens, magnification {camera['magnification']:.3f}; "
        f"close-up loss {camera['close_up_loss_stops']:.2f} stops, "
        f"works as f/{camera['effective_f_number']:.3g}",
        f"    sharp from {sharp} from the lens (blur up to {camera['circle_of_confusion_mm']:.3f} mm on the "
        f"sensor); diffraction blurs by {camera['diffraction_blur_mm']:.4f} mm",
        f"    frames {wide:.0f} x {tall:.0f} mm at the plane of focus",
    ]
    if camera["crop_of_frame"]:
        share = camera["crop_of_frame"]
        lines.append(f"    crop guide keeps {wide * share[0]:.0f} x {tall * share[1]:.0f} mm of it")
    if abs(crop_factor(*camera["sensor_mm"]) - 1) > 0.02:
        lines.append(f"    blurs and frames as f/{camera['f_number_on_36x24']:.3g} does on 36 x 24 mm")
    return lines


def finding_lines(plan: dict) -> list[str]:
    """Return clashes, close calls and notes in lines, and what was checked and found clear."""
    told = [check for check in plan["checks"] if check["state"] != CLEAR]
    lines = [f"{check['state']}: {check['text']}" for check in told]
    clear = len(plan["checks"]) - len(told)
    lines.append(f"{clear} other clearances are kept" if told else f"no clash; {clear} clearances are kept")
    room = plan["room"]
    if not room["stated"]:
        lines.append(
            f"note: no room in the set; the floor is taken {room['table_height_mm']:.0f} mm under the "
            "table top, ceiling and walls are not checked"
        )
    elif room["ceiling_over_table_mm"] is None:
        lines.append("note: no ceiling in the set's room, so it is not checked")
    return lines
