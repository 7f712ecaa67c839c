"""The camera as kernels take it: its rays, and the numbers that spread a pixel's samples."""

from __future__ import annotations

from dataclasses import dataclass

from .device import draw
from .engine import dr, mi
from .sequences import steps

# Film 2, lens 2, first choice, wavelength, lamp point, first bounce 2.
STEPS = steps(9)


@dataclass
class Eye:
    """The camera as kernel inputs."""

    place: mi.Point3f
    forward: mi.Vector3f
    right: mi.Vector3f
    up: mi.Vector3f
    # Half the field's width and height at unit distance, the pixels across, the pixels down.
    field: mi.Vector2f
    pixels: mi.Vector2u
    # Shift and rise over the distance from lens to sensor.
    moved: mi.Vector2f
    lens_radius: mi.Float
    lens_up: mi.Vector3f
    # Plane of focus: the product with a place seen from the lens is 1 on it.
    focus: mi.Vector3f


def fraction(value):
    """Return what is over the next lower whole number."""
    return value - dr.floor(value)


def first_ray(eye: Eye, pixel, film, lens):
    """Ray of the thin lens through a place on the film."""
    line = pixel // eye.pixels.x
    column = pixel - line * eye.pixels.x
    x = (2 * (mi.Float(column) + film.x) / mi.Float(eye.pixels.x) - 1) * eye.field.x + eye.moved.x
    y = (1 - 2 * (mi.Float(line) + film.y) / mi.Float(eye.pixels.y)) * eye.field.y + eye.moved.y
    way = eye.forward + x * eye.right + y * eye.up
    disc = mi.warp.square_to_uniform_disk_concentric(lens) * eye.lens_radius
    off = disc.x * eye.right + disc.y * eye.lens_up
    # Toward the place where `way` meets the plane of focus, which under tilt may lie behind the lens.
    return mi.Ray3f(eye.place + off, dr.normalize(way - dr.dot(eye.focus, way) * off))


def spread_samples(pixel, salt, turn):
    """Starts of the pixel's recurrences, and their values for one sample."""
    starts = [draw(pixel, salt + place) for place in range(len(STEPS))]
    return starts, [fraction(start + turn * step) for start, step in zip(starts, STEPS, strict=True)]
