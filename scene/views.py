"""Where lamps, camera and meters stand, and what they look at."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from brimcast.shared.errors import PersonError
from brimcast.shared.exposure import light_exposure

from .built import Camera, Meter, Panel, Room
from .colourwords import DAYLIGHT_K, Line, describe_gel
from .emission import emit, pass_gels
from .fixtures import SKY_MM, SUN_MM, Form, hang_doors, hang_scrim, shape_front
from .kits import Fixture, choose_fixture, folder_of, read_kit
from .lamps import Lamp, calibrated, place_lamp
from .models_heads import HeadLamp
from .models_lights import Direction, Distance
from .models_numbers import Point
from .setfile import SetFile, faults_at

# A meter's face lies this far in front of what it is put on.
FILM_MM = 0.01


def face(set_file: SetFile, key: str, facing, place, stands: dict[str, np.ndarray]) -> np.ndarray:
    """Return the unit vector of a facing at a place.

    Raises
    ------
    PersonError
        What it should face stands where it stands.
    """
    if isinstance(facing, Direction):
        elevation, azimuth = np.radians(facing.elevation_deg), np.radians(facing.azimuth_deg)
        flat = np.array([-np.sin(azimuth), -np.cos(azimuth), 0.0]) * np.cos(elevation)
        return flat + np.array([0.0, 0.0, np.sin(elevation)])
    if facing in ("up", "down"):
        return np.array([0.0, 0.0, 1.0 if facing == "up" else -1.0])
    way = stands[facing] - np.asarray(place, float)
    if not way.any():
        text = f"{facing!r} stands in the very same place; face another way"
        raise PersonError(faults_at(set_file, key, text))
    return way / np.linalg.norm(way)


def _where(aim, stands) -> np.ndarray:
    return np.asarray(aim, float) if isinstance(aim, Point) else stands[aim]


def place_lamps(set_file: SetFile, stands: dict[str, np.ndarray]) -> tuple[list[Lamp], list[str]]:
    """Return the lamps, those with a reading giving what it implies, and what to warn of.

    Raises
    ------
    PersonError
        What is wrong only once a lamp has its kit, its files, or its place.
    """
    kit = read_kit(set_file)
    lamps, notes, faults = [], [], []
    for name in set_file.lamps:
        try:
            fixture = choose_fixture(set_file, name, kit)
            lamps.append(_place_lamp(set_file, name, fixture, stands))
            notes += fixture.notes
        except PersonError as error:
            faults += error.faults
    told = [lamp.name for lamp in lamps if lamp.calibrated]
    for lamp in lamps if told else ():
        if not lamp.calibrated:
            text = f"missing: lamp {told[0]!r} has a reading; give one to every lamp, or to none"
            faults += faults_at(set_file, f"lamps.{lamp.name}.reading", text)
    if faults:
        raise PersonError(faults)
    return lamps, notes


def _place_lamp(set_file: SetFile, name: str, fixture: Fixture, stands) -> Lamp:
    model, key = set_file.lamps[name], f"lamps.{name}"
    aim = _where(model.aim, stands)
    throw, elevation, azimuth = _stand(model, fixture.front)
    try:
        form = shape_front(fixture.front, fixture.folder, throw)
    except PersonError as error:
        # A file that is not there is told of where the set, or its head, names it.
        raise PersonError(
            [
                fault if fault.file else faults_at(set_file, _naming(model, key), fault.text)[0]
                for fault in error.faults
            ]
        ) from None
    scrim = getattr(model, "scrim", None)
    behind = fixture.behind_mm + (scrim.behind_mm if scrim else 0.0)
    centre, facing, right, up = place_lamp(aim, throw, elevation, azimuth)
    if fixture.front.kind == "candle":
        right = np.array([0.0, 0.0, 1.0])
    turn = np.radians(form.turn_deg)
    line = fixture.colour.wavelength_nm if isinstance(fixture.colour, Line) else None
    lamp = Lamp(
        name=name,
        kind=form.kind,
        centre_mm=centre - behind * facing,
        facing=facing,
        right=np.cos(turn) * right - np.sin(turn) * up,
        up=np.cos(turn) * up + np.sin(turn) * right,
        size_mm=form.size_mm,
        aim_mm=aim,
        throw_mm=throw,
        elevation_deg=elevation,
        azimuth_deg=azimuth,
        line_nm=line,
        **_light(set_file, name, fixture),
        power_stops=model.power_stops,
        glow=form.glow,
        word=fixture.front.kind,
        dense_mm=form.dense_mm,
    )
    try:
        if scrim:
            lamp = hang_scrim(lamp, scrim)
        return _calibrate(set_file, model, fixture, form, lamp)
    except ValueError as wrong:
        at = "reading" if fixture.reading is model.reading and model.reading else "scrim" if scrim else "head"
        raise PersonError(faults_at(set_file, f"{key}.{at}", str(wrong))) from None


def _stand(model, front) -> tuple[float, float, float]:
    """Throw, elevation and azimuth of a lamp."""
    if front.kind == "sky":
        return SKY_MM, 90.0, 0.0
    throw = SUN_MM if front.kind == "sun" else model.throw_mm
    return throw, model.elevation_deg, model.azimuth_deg


def _naming(model, key: str) -> str:
    """Key that names the file of a lamp's front."""
    if isinstance(model, HeadLamp):
        return f"{key}.{'modifier' if model.modifier else 'head'}"
    return f"{key}.{'ies' if getattr(model, 'ies', None) else 'mask'}"


def _calibrate(set_file: SetFile, model, fixture: Fixture, form: Form, lamp: Lamp) -> Lamp:
    """Return the lamp with its luminance where a reading or measured candela tells it."""
    if getattr(model, "candela", False):
        if set_file.camera is None:
            text = "candela give light by the time, so the set needs a camera with its shutter"
            raise PersonError(faults_at(set_file, f"lamps.{lamp.name}.candela", text))
        # cd over the m² that glow as on the axis, through the shutter's time.
        luminance = form.photometry.axis_cd / (lamp.area_mm2 * 1e-6) * set_file.camera.shutter_s
        return replace(lamp, luminance=luminance, calibrated=True)
    reading = fixture.reading
    if reading is None:
        return lamp
    exposure = light_exposure(reading.f_number, reading.iso, reading.receptor)
    return calibrated(lamp, exposure, getattr(reading, "distance_mm", lamp.throw_mm))


def place_doors(set_file: SetFile, lamps: tuple[Lamp, ...]) -> list[Panel]:
    """Return the barn doors of the lamps.

    Raises
    ------
    PersonError
        They hang on a lamp without a flat front, or one behind a scrim.
    """
    found = []
    for lamp in lamps:
        model = set_file.lamps[lamp.name]
        doors = getattr(model, "doors", None)
        if doors is None:
            continue
        if lamp.kind not in ("disc", "panel") or model.scrim:
            what = "behind a scrim they shade nothing" if model.scrim else f"a {lamp.word} has no flat front"
            raise PersonError(faults_at(set_file, f"lamps.{lamp.name}.doors", f"{what}; take them off"))
        found += hang_doors(lamp, doors)
    return found


def _light(set_file: SetFile, name: str, fixture: Fixture) -> dict:
    """Return spectrum and gels of a lamp as fields of `Lamp`.

    Raises
    ------
    PersonError
        A file of measurements is not there, or is wrong.
    """
    folder, gels, found = folder_of(set_file), set_file.lamps[name].gels, {}
    try:
        found["spectrum"] = emit(fixture.colour, fixture.colour_folder or folder)
    except PersonError as error:
        raise _at(set_file, f"lamps.{name}.colour", error) from None
    if gels:
        shares = []
        for number, gel in enumerate(gels, 1):
            try:
                shares.append(pass_gels((gel,), folder))
            except PersonError as error:
                raise _at(set_file, f"lamps.{name}.gels.{number}", error) from None
        found |= {"gels": tuple(map(describe_gel, gels)), "gel_share": np.prod(shares, axis=0)}
    return found


def _at(set_file: SetFile, key: str, error: PersonError) -> PersonError:
    """Return an error with its place in the set, where it has no place of its own."""
    placed = [fault if fault.file else faults_at(set_file, key, fault.text)[0] for fault in error.faults]
    return PersonError(placed)


def place_camera(set_file: SetFile, stands: dict[str, np.ndarray]) -> Camera:
    """Return the camera.

    Raises
    ------
    PersonError
        It looks at its own place, or focuses too near.
    """
    model = set_file.camera
    aim = _where(model.aim, stands)
    if model.at_mm is not None:
        place = np.asarray(model.at_mm, float)
        forward = aim - place
        if not forward.any():
            text = "the camera stands where it looks; move it or aim it elsewhere"
            raise PersonError(faults_at(set_file, "camera.at", text))
        forward = forward / np.linalg.norm(forward)
    else:
        place, forward, *_ = place_lamp(aim, model.distance_mm, model.elevation_deg, model.azimuth_deg)
    right = np.cross(forward, [0.0, 0.0, 1.0]) if abs(forward[2]) < 0.9999 else np.array([1.0, 0.0, 0.0])
    right /= np.linalg.norm(right)
    focus = model.focus if model.focus is not None else model.aim
    up = np.cross(right, forward)
    if isinstance(focus, Distance):
        focus_mm = focus.distance_mm
    else:
        focus_mm = _focus_distance(model, _where(focus, stands) - place, forward, up)
    if focus_mm <= 1.01 * model.lens_mm:
        text = f"the plane of focus is {focus_mm:.0f} mm from the lens; {model.lens_mm:g} mm lenses need more"
        raise PersonError(faults_at(set_file, "camera.focus", text))
    width = set_file.render.width_px
    height = max(1, round(width * model.sensor_mm[1] / model.sensor_mm[0]))
    return Camera(
        place_mm=place,
        forward=forward,
        right=right,
        up=up,
        sensor_mm=tuple(model.sensor_mm),
        focal_mm=model.lens_mm,
        focus_mm=focus_mm,
        f_number=model.f_number,
        iso=model.iso,
        shutter_s=model.shutter_s,
        white_k=model.white if isinstance(model.white, float) else DAYLIGHT_K,
        white=model.white if isinstance(model.white, str) else None,
        width_px=width,
        height_px=height,
        rise_mm=model.rise_mm,
        shift_mm=model.shift_mm,
        tilt_deg=model.tilt_deg,
        crop=model.crop,
    )


def _focus_distance(model, way_mm: np.ndarray, forward: np.ndarray, up: np.ndarray) -> float:
    """Return how far along `forward` the plane of focus lies that goes through a place seen from the lens."""
    tilt = np.radians(model.tilt_deg)
    if not tilt:
        return float(way_mm @ forward)
    along_lens = way_mm @ (np.cos(tilt) * forward - np.sin(tilt) * up)
    if along_lens <= model.lens_mm:
        return float(along_lens)
    # The sensor's distance that makes the place sharp, then where that plane crosses `forward`.
    image = model.lens_mm * (way_mm @ forward) / (along_lens - model.lens_mm)
    beyond = image * np.cos(tilt) - model.lens_mm
    return float(model.lens_mm * image / beyond) if beyond > 0 else 0.0


def place_meter(set_file: SetFile, name: str, stands: dict[str, np.ndarray]) -> Meter:
    """Return a meter of the set."""
    model = set_file.meters[name]
    normal = face(set_file, f"meters.{name}.facing", model.facing, model.at_mm, stands)
    return Meter(name, np.asarray(model.at_mm, float) + FILM_MM * normal, normal, model.diameter_mm / 2)


def meter_white_card(set_file: SetFile, panels: list[Panel]) -> list[Meter]:
    """Return the meter on the card that the camera's white balance is taken from, where it names one."""
    name = set_file.camera.white if set_file.camera else None
    for panel in panels:
        if panel.name == name and name in set_file.cards:
            middle = panel.corner_mm + panel.u * panel.size_mm[0] / 2 + panel.v * panel.size_mm[1] / 2
            place = middle + FILM_MM * panel.normal
            return [Meter(name, place, panel.normal, min(panel.size_mm) / 4, panel.front)]
    return []


def measure_room(set_file: SetFile) -> Room | None:
    """Return the room of a set."""
    model = set_file.room
    if model is None:
        return None
    walls = model.walls
    signed = {"left": (walls.left_mm, -1), "right": (walls.right_mm, 1)}
    signed |= {"behind": (walls.behind_mm, 1), "front": (walls.front_mm, -1)}
    return Room(
        floor_mm=-model.table_height_mm,
        ceiling_mm=None if model.ceiling_mm is None else model.ceiling_mm - model.table_height_mm,
        walls_mm={name: sign * away for name, (away, sign) in signed.items() if away is not None},
        stands_mm={name: tuple(at) for name, at in model.stands.items()},
    )
