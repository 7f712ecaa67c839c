"""Where lamps, camera and meters stand, and what they look at."""

from __future__ import annotations

import numpy as np

from brimcast.shared.errors import PersonError
from brimcast.shared.exposure import light_exposure

from .built import Camera, Meter
from .colourwords import DAYLIGHT_K, Line, describe_gel
from .emission import emit, pass_gels
from .glassfiles import folder_of
from .lamps import Lamp, calibrated, place_lamp
from .models_lights import Direction, Distance
from .models_numbers import Point
from .panels import bands_of
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


def place_lamps(set_file: SetFile, stands: dict[str, np.ndarray]) -> list[Lamp]:
    """Return the lamps; those with a reading give what it implies."""
    lamps = []
    for name, model in set_file.lamps.items():
        aim = _where(model.aim, stands)
        centre, facing, right, up = place_lamp(aim, model.throw_mm, model.elevation_deg, model.azimuth_deg)
        line = model.colour.wavelength_nm if isinstance(model.colour, Line) else None
        lamp = Lamp(
            name=name,
            kind=model.kind,
            centre_mm=centre,
            facing=facing,
            right=right,
            up=up,
            size_mm=model.size_mm if model.kind == "panel" else (model.diameter_mm, model.diameter_mm),
            aim_mm=aim,
            throw_mm=model.throw_mm,
            elevation_deg=model.elevation_deg,
            azimuth_deg=model.azimuth_deg,
            line_nm=line,
            **_light(set_file, name, model.colour, model.gels),
            power_stops=model.power_stops,
        )
        if model.reading:
            reading = model.reading
            exposure = light_exposure(reading.f_number, reading.iso, reading.receptor)
            lamp = calibrated(lamp, exposure, reading.distance_mm)
        lamps.append(lamp)
    return lamps


def _light(set_file: SetFile, name: str, colour, gels) -> dict:
    """Return spectrum and gels of a lamp as fields of `Lamp`.

    Raises
    ------
    PersonError
        A file of measurements is not there, or is wrong.
    """
    folder, found = folder_of(set_file), {}
    try:
        found["spectrum"] = emit(colour, folder)
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
    if isinstance(focus, Distance):
        focus_mm = focus.distance_mm
    else:
        focus_mm = float((_where(focus, stands) - place) @ forward)
    if focus_mm <= 1.01 * model.lens_mm:
        text = f"the plane of focus is {focus_mm:.0f} mm from the lens; {model.lens_mm:g} mm lenses need more"
        raise PersonError(faults_at(set_file, "camera.focus", text))
    width = set_file.render.width_px
    height = max(1, round(width * model.sensor_mm[1] / model.sensor_mm[0]))
    return Camera(
        place_mm=place,
        forward=forward,
        right=right,
        up=np.cross(right, forward),
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
    )


def place_meter(set_file: SetFile, name: str, stands: dict[str, np.ndarray]) -> Meter:
    """Return a meter of the set."""
    model = set_file.meters[name]
    normal = face(set_file, f"meters.{name}.facing", model.facing, model.at_mm, stands)
    return Meter(name, np.asarray(model.at_mm, float) + FILM_MM * normal, normal, model.diameter_mm / 2)


def meter_white_card(set_file: SetFile, stands: dict[str, np.ndarray]) -> list[Meter]:
    """Return the meter on the card that the camera's white balance is taken from, where it names one."""
    name = set_file.camera.white if set_file.camera else None
    card = set_file.cards.get(name) if isinstance(name, str) else None
    if card is None:
        return []
    normal = face(set_file, f"cards.{name}.facing", card.facing, card.at_mm, stands)
    place = np.asarray(card.at_mm, float) + FILM_MM * normal
    return [Meter(name, place, normal, min(card.size_mm) / 4, bands_of(card.reflectance))]
