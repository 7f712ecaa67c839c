"""Where lamps, camera and meters stand, and what they look at."""

from __future__ import annotations

import numpy as np

from brimcast.shared.errors import PersonError
from brimcast.shared.exposure import light_exposure
from brimcast.shared.spectra import from_temperature

from .built import Camera, Meter, Room
from .lamps import Lamp, calibrated, place_lamp
from .models_lights import Direction, Distance, Line
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
            spectrum=None if line else from_temperature(model.colour.temperature_k),
            line_nm=line,
            power_stops=model.power_stops,
        )
        if model.reading:
            reading = model.reading
            exposure = light_exposure(reading.f_number, reading.iso, reading.receptor)
            lamp = calibrated(lamp, exposure, reading.distance_mm)
        lamps.append(lamp)
    return lamps


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
        white_k=model.white_k,
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
