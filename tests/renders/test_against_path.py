"""The two passes against Mitsuba's own integrators, which know nothing of them: the same set, the same light.

A tumbler and a ball of plain glass under a lamp of one wavelength, large enough for a path tracer to find it.
Pictures are compared in absolute terms, as radiance over that of the lamp's front.
"""

from dataclasses import replace

import numpy as np
import pytest

from brimcast.renders import stock
from brimcast.renders.camerapass import Finish, take_picture
from brimcast.renders.engine import start
from brimcast.renders.lightpass import Effort, plan_light, trace_lamp
from brimcast.renders.lights import set_lights
from brimcast.renders.world import build_world
from brimcast.scene.builder import build
from brimcast.scene.setfile import parse
from brimcast.shared.colour import BAND_XYZ

BALL_MM, RADIUS_MM, ELEVATION_DEG, AZIMUTH_DEG = (92.0, -14.0), 22.0, 50.0, 150.0
SET = f"""
brimcast: 1
table: {{size: [1.2 m, 1.2 m], reflectance: 60 %}}
glasses:
  tumbler: {{vessel: tumbler, glass: {{index: 1.52}}}}
props:
  ball:
    {{shape: ball, diameter: {2 * RADIUS_MM} mm, at: [{BALL_MM[0]} mm, {BALL_MM[1]} mm], material: {{index: 1.52}}}}
lamps:
  key:
    kind: disc
    diameter: 160 mm
    throw: 500 mm
    elevation: {ELEVATION_DEG} deg
    azimuth: {AZIMUTH_DEG} deg
    colour: 550 nm
camera:
  sensor: [24 mm, 24 mm]
  lens: 50 mm
  distance: 520 mm
  elevation: 30 deg
  aim: [42 mm, -28 mm, 25 mm]
  f_number: f/16
render: {{width: 96}}
"""
# Where the lamp's light through the ball's middle comes down.
OFF_MM = RADIUS_MM / np.tan(np.radians(ELEVATION_DEG))
FOCUS_MM = np.array(BALL_MM) + OFF_MM * np.array(
    [np.sin(np.radians(AZIMUTH_DEG)), np.cos(np.radians(AZIMUTH_DEG))]
)
TABLE = ("lit table", "shadow", "caustic")


class Twin:
    """The set in both forms, and the regions of its picture."""

    def __init__(self, width_px):
        start()
        self.built = build(parse(SET, changes={"render.width": width_px}))
        self.scene = stock.stock_scene(self.built)
        self.regions = self._find_regions()

    def _find_regions(self):
        table, shadow = stock.sort_pixels(self.scene, self.built)
        foot, body = self._on_plane(0.0), self._on_plane(45.0)
        from_focus = np.hypot(*(foot - FOCUS_MM[:, None, None]))
        # Seen at the glass's axis: its walls from 25 to 80 mm, and its base.
        heights = self._on_axis()
        within = np.abs(body[0]) < 25
        return {
            "lit table": table & ~shadow & (foot[1] > 80),
            "shadow": shadow & (from_focus > 10) & (from_focus < 20),
            "caustic": shadow & (from_focus < 6),
            "glass": ~table & within & (heights > 25) & (heights < 80),
            "glass foot": ~table & within & (heights > -12) & (heights < 12),
        }

    def _rays(self):
        camera = self.built.camera
        image_mm = camera.focal_mm * (1 + camera.magnification)
        steps = (np.arange(camera.width_px) + 0.5) / camera.width_px - 0.5
        x, y = np.meshgrid(steps * camera.sensor_mm[0] / image_mm, -steps * camera.sensor_mm[1] / image_mm)
        return camera.forward[:, None, None] + np.multiply.outer(camera.right, x) + np.multiply.outer(camera.up, y)

    def _on_plane(self, z_mm):
        """(2, height, width) x and y where each pixel's ray comes to a level, mm."""
        rays, place = self._rays(), self.built.camera.place_mm
        return place[:2, None, None] + rays[:2] * ((z_mm - place[2]) / rays[2])

    def _on_axis(self):
        """(height, width) z where each pixel's ray passes the plane y = 0, mm."""
        rays, place = self._rays(), self.built.camera.place_mm
        return place[2] - rays[2] * place[1] / rays[1]

    def by_stock(self, integrator, passes, samples):
        """(passes, height, width) pictures."""
        return [stock.render_stock(self.scene, integrator, samples, seed) for seed in range(passes)]

    def by_us(self, passes, effort, rounds):
        """(passes, height, width) pictures."""
        world = build_world(self.built)
        pictures = []
        for seed in range(1, passes + 1):
            built = replace(self.built, seed=seed)
            plan = plan_light(built, world, effort)
            light = trace_lamp(built, world, plan, 0, effort)
            lights = set_lights(built, world, plan.windows, [light])
            bands = take_picture(built, world, lights, Finish(0.0, rounds)).bands[0]
            pictures.append(np.tensordot(BAND_XYZ[:, 1], bands, 1))
        return pictures

    def mean(self, pictures, name):
        """Mean of a region over independent pictures, and its standard error."""
        values = [picture[self.regions[name]].mean(dtype=float) for picture in pictures]
        return np.mean(values), np.std(values, ddof=1) / np.sqrt(len(values))


def assert_equal_light(twin, ours, theirs, names, share):
    """Means of regions agree within a share and three standard errors, none of them larger than the share."""
    lit, _ = twin.mean(theirs, "lit table")
    far_off = []
    for name in names:
        (here, our_error), (there, their_error) = twin.mean(ours, name), twin.mean(theirs, name)
        error = np.hypot(our_error, their_error)
        told = f"{name}: {here / there:.4f} ± {error / there:.4f} of {there / lit:.3f} of the lit table"
        print(told)
        if abs(here - there) > share * there + 3 * error or error > share * there:
            far_off.append(told)
    assert not far_off


@pytest.fixture(scope="module")
def twin():
    return Twin(96)


def test_regions_are_what_they_are_called(twin):
    pictures = twin.by_stock("path", 2, 64)
    light = {name: twin.mean(pictures, name)[0] for name in twin.regions}
    assert light["caustic"] > 3 * light["lit table"]
    assert light["shadow"] < 0.5 * light["lit table"]
    assert all(region.sum() >= 20 for region in twin.regions.values())


def test_every_region_is_as_bright_as_in_a_path_tracer(twin):
    ours = twin.by_us(4, Effort(1.0, 0.0, (8, 8, 8), (64, 32, 24), 1), 8)
    assert_equal_light(twin, ours, twin.by_stock("path", 8, 192), twin.regions, 0.02)


@pytest.mark.slow
def test_every_region_is_as_bright_as_in_a_long_path_trace():
    twin = Twin(128)
    ours = twin.by_us(4, Effort(0.5, 0.0, (16, 16, 16), (96, 48, 32), 1), 24)
    assert_equal_light(twin, ours, twin.by_stock("path", 48, 256), twin.regions, 0.01)


@pytest.mark.slow
def test_table_is_as_bright_as_in_a_particle_trace():
    """Light traced from the lamp sees no glass, but knows the table far better than a path tracer."""
    twin = Twin(96)
    ours = twin.by_us(4, Effort(0.5, 0.0, (16, 16, 16), (96, 48, 32), 1), 16)
    assert_equal_light(twin, ours, twin.by_stock("ptracer", 64, 1024), TABLE, 0.005)
