"""What the camera frames: places in the picture, the field of view, sharpness and light lost close up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.shared import exposure

from .built import BuiltSet, Camera

# Corners of the frame in the order that goes round it: right and up from the middle, -1 to 1.
CORNERS = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], float)


@dataclass(frozen=True)
class Lens:
    """What a camera's settings come to at the plane of focus.

    Attributes
    ----------
    magnification : float
    focus_mm : float
        From the lens.
    effective_f_number, close_up_loss_stops : float
    blur_mm : float
        Diameter on the sensor still taken as sharp: the sensor's diagonal / 1500 (common practice).
    near_mm, far_mm, depth_mm : float
        Limits of sharpness from the lens and between them; infinite where they are.
    diffraction_mm : float
        Diameter of the Airy disc on the sensor at 550 nm.
    field_mm : (float, float)
        Width and height framed in the plane of focus, level with the sensor.
    field_deg : (float, float)
        Angle of view across and up.
    equivalent_f_number : float
        f-number that blurs alike on 36 × 24 mm, framed alike (light not counted).
    """

    magnification: float
    focus_mm: float
    effective_f_number: float
    close_up_loss_stops: float
    blur_mm: float
    near_mm: float
    far_mm: float
    depth_mm: float
    diffraction_mm: float
    field_mm: tuple[float, float]
    field_deg: tuple[float, float]
    equivalent_f_number: float


def measure_lens(camera: Camera) -> Lens:
    """Return what a camera's settings come to.

    Depth of field is that of a lens without tilt.
    """
    blur_mm = float(exposure.circle_of_confusion(*camera.sensor_mm))
    near, far = exposure.depth_of_field(camera.focal_mm, camera.f_number, blur_mm, camera.focus_mm)
    edges = np.array([slope_of(camera, corner) for corner in CORNERS])
    angles = np.degrees(np.arctan(edges))
    return Lens(
        magnification=camera.magnification,
        focus_mm=camera.focus_mm,
        effective_f_number=float(exposure.effective_f_number(camera.f_number, camera.magnification)),
        close_up_loss_stops=float(exposure.close_up_loss(camera.magnification)),
        blur_mm=blur_mm,
        near_mm=float(near),
        far_mm=float(far),
        depth_mm=float(far - near),
        diffraction_mm=float(exposure.diffraction_blur(camera.f_number, camera.magnification)),
        field_mm=tuple(side / camera.magnification for side in camera.sensor_mm),
        field_deg=tuple(float(side) for side in np.ptp(angles, axis=0)),
        equivalent_f_number=float(exposure.equivalent_f_number(camera.f_number, camera.sensor_mm)),
    )


def describe_camera(built: BuiltSet) -> dict | None:
    """Return a camera's numbers for reports; None in a set without one."""
    camera = built.camera
    if camera is None:
        return None
    lens = measure_lens(camera)
    way = camera.place_mm
    crop = crop_share(camera)
    return {
        "place_mm": way.tolist(),
        "height_mm": float(way[2]),
        "along_floor_mm": float(np.hypot(*way[:2])),
        "azimuth_deg": azimuth_of(way),
        "looks_down_deg": float(-np.degrees(np.arcsin(camera.forward[2]))),
        "sensor_mm": list(camera.sensor_mm),
        "focal_mm": camera.focal_mm,
        "f_number": float(exposure.marked_f_number(camera.f_number)),
        "iso": camera.iso,
        "shutter_s": camera.shutter_s,
        "rise_mm": camera.rise_mm,
        "shift_mm": camera.shift_mm,
        "tilt_deg": camera.tilt_deg,
        "focus_mm": lens.focus_mm,
        "magnification": lens.magnification,
        "effective_f_number": lens.effective_f_number,
        "close_up_loss_stops": lens.close_up_loss_stops,
        "sharp_from_mm": lens.near_mm,
        "sharp_to_mm": lens.far_mm,
        "depth_of_field_mm": lens.depth_mm,
        "circle_of_confusion_mm": lens.blur_mm,
        "diffraction_blur_mm": lens.diffraction_mm,
        "field_of_view_mm": list(lens.field_mm),
        "field_of_view_deg": list(lens.field_deg),
        "f_number_on_36x24": lens.equivalent_f_number,
        "crop_of_frame": None if crop is None else list(crop),
    }


def crop_share(camera: Camera) -> tuple[float, float] | None:
    """Return the crop guide's width and height as shares of the frame's; None where there is none."""
    if camera.crop is None:
        return None
    wide = camera.crop * camera.sensor_mm[1] / camera.sensor_mm[0]
    return (1.0, 1 / wide) if wide > 1 else (wide, 1.0)


def slope_of(camera: Camera, spot) -> np.ndarray:
    """Return how far right and up the camera looks per unit along `forward` at a spot (-1 to 1 across)."""
    half = np.asarray(camera.sensor_mm) / 2
    return (np.asarray(spot, float) * half + [camera.shift_mm, camera.rise_mm]) / camera.image_mm


def look_along(camera: Camera, spot) -> np.ndarray:
    """Return the unit vector along which the camera sees a spot of the frame (right, up; -1 to 1)."""
    right, up = slope_of(camera, spot)
    way = camera.forward + right * camera.right + up * camera.up
    return way / np.linalg.norm(way)


def project(camera: Camera, places_mm) -> np.ndarray:
    """Return where places are in the frame.

    Parameters
    ----------
    camera : Camera
    places_mm : (..., 3) float

    Returns
    -------
    (..., 3) float
        Right and up of the frame's middle, its edges at -1 and 1; and distance along `forward`, mm. What is
        not before the lens has nan for the first two.
    """
    way = np.asarray(places_mm, float) - camera.place_mm
    ahead = way @ camera.forward
    with np.errstate(divide="ignore", invalid="ignore"):
        slopes = np.stack([way @ camera.right, way @ camera.up], axis=-1) / ahead[..., None]
    moved = np.array([camera.shift_mm, camera.rise_mm])
    spots = (slopes * camera.image_mm - moved) / (np.asarray(camera.sensor_mm) / 2)
    spots = np.where((ahead > 1e-6)[..., None], spots, np.nan)
    return np.concatenate([spots, ahead[..., None]], axis=-1)


def azimuth_of(way) -> float:
    """Return the azimuth, deg, of a direction from the datum: 0 toward the camera's side, clockwise."""
    return float(np.degrees(np.arctan2(-way[0], -way[1])) % 360)
