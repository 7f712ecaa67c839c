"""Rays that leave the lens: where the frame looks under rise and shift, what a tilted lens keeps sharp."""

import numpy as np
import pytest

from brimcast.renders import engine
from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.frame import look_along

SET = """
brimcast: 1
lamps: {key: {}}
camera: {lens: 100 mm, at: [30 mm, -600 mm, 200 mm], aim: [0 mm, 0 mm, 40 mm], f_number: f/4, %s}
render: {width: 16}
"""
MOVES = ["iso: 100", "rise: 6 mm, shift: -4 mm", "tilt: 5 deg", "tilt: -12 deg, rise: -3 mm, shift: 2 mm"]


@pytest.fixture(scope="module")
def cast():
    """Return a function that gives origins and directions (n, 3) of rays through pixels' middles."""
    engine.start("cpu")
    from brimcast.renders.camerapass import set_eye
    from brimcast.renders.engine import mi
    from brimcast.renders.eye import first_ray

    def run(camera, pixels, lens):
        number = mi.UInt32(np.asarray(pixels, np.uint32))
        film = mi.Point2f(0.5, 0.5)
        ray = first_ray(set_eye(camera), number, film, mi.Point2f(*np.asarray(lens, np.float32).T))
        return np.array(ray.o).T, np.array(ray.d).T

    return run


@pytest.mark.parametrize("move", MOVES)
def test_middle_of_the_lens_looks_along_the_frame(cast, move):
    camera = build(setfile.parse(SET % move)).camera
    pixels = np.arange(camera.width_px * camera.height_px)
    _, ways = cast(camera, pixels, np.full((len(pixels), 2), 0.5))
    line, column = np.divmod(pixels, camera.width_px)
    right = 2 * (column + 0.5) / camera.width_px - 1
    up = 1 - 2 * (line + 0.5) / camera.height_px
    wanted = [look_along(camera, spot) for spot in zip(right, up, strict=True)]
    assert ways == pytest.approx(np.array(wanted), abs=1e-6)


@pytest.mark.parametrize("move", MOVES)
def test_rays_of_a_pixel_meet_where_the_thin_lens_images_it(cast, move):
    """Independent route: the lens equation along the lens's own axis, from the place on the sensor."""
    camera = build(setfile.parse(SET % move)).camera
    lens = np.random.default_rng(1).random((40, 2))
    for line, column in ((0, 0), (5, 8), (9, 15)):
        spot = np.array([2 * (column + 0.5) / camera.width_px - 1, 1 - 2 * (line + 0.5) / camera.height_px])
        # On the sensor the picture is upside down; rise and shift move it against the lens.
        slide = -(spot * np.asarray(camera.sensor_mm) / 2 + [camera.shift_mm, camera.rise_mm])
        film = -camera.forward * camera.image_mm + slide[0] * camera.right + slide[1] * camera.up
        behind = -film @ camera.lens_axis
        before = camera.focal_mm * behind / (behind - camera.focal_mm)
        sharp = camera.place_mm - film * before / behind
        starts, ways = cast(camera, np.full(40, line * camera.width_px + column), lens)
        reach = sharp - starts
        miss = reach - np.sum(reach * ways, axis=1)[:, None] * ways
        assert np.abs(miss).max() < 2e-3 * camera.focal_mm / 100
        # The lens is a disc across its own axis.
        assert (starts - camera.place_mm) @ camera.lens_axis == pytest.approx(0, abs=1e-3)
        off = np.linalg.norm(starts - camera.place_mm, axis=1)
        assert 0.7 < off.max() / (camera.focal_mm / camera.f_number / 2) <= 1.001
