"""The two passes against Mitsuba's own integrators, which know nothing of them: the same set, the same light.

A tumbler and a ball of clear glass under a lamp of one wavelength, large enough for a path tracer to find it.
Pictures are compared in absolute terms, as radiance over that of the lamp's front.
"""

from dataclasses import replace

import numpy as np
import pytest

from brimcast.renders import stock
from brimcast.renders.camerapass import Finish, take_picture
from brimcast.renders.engine import start
from brimcast.renders.gathered import map_sent
from brimcast.renders.lightpass import Effort, trace_lamp
from brimcast.renders.lights import set_lights
from brimcast.renders.pilot import plan_light
from brimcast.renders.scouting import scout
from brimcast.renders.world import build_world
from brimcast.scene.builder import build
from brimcast.scene.built import Sheet
from brimcast.scene.panels import rectangle
from brimcast.scene.setfile import parse
from brimcast.shared.colour import BAND_XYZ
from brimcast.vessels.mesh import placed, rotated

BALL_MM, RADIUS_MM = (104.0, -8.0), 30.0
SET = f"""
brimcast: 1
table: {{size: [1.2 m, 1.2 m], reflectance: 60 %}}
glasses:
  tumbler: {{vessel: tumbler, glass: {{index: 1.52}}}}
props:
  ball:
    shape: ball
    diameter: {2 * RADIUS_MM} mm
    at: [{BALL_MM[0]} mm, {BALL_MM[1]} mm]
    material: {{index: 1.52}}
lamps:
  key:
    kind: disc
    diameter: 240 mm
    throw: 500 mm
    elevation: 50 deg
    azimuth: 150 deg
    colour: 550 nm
camera:
  sensor: [24 mm, 24 mm]
  lens: 50 mm
  distance: 540 mm
  elevation: 30 deg
  aim: [48 mm, -30 mm, 25 mm]
  f_number: f/16
render: {{width: 96}}
"""
TABLE = ("lit table", "shadow", "caustic")
GLASS = ("glass", "glass foot")
FROSTED = SET.replace(
    "glass: {index: 1.52}", "glass: {index: 1.52}, frosted: [{from: 24 mm, to: 84 mm, roughness: 0.3}]"
)
# The camera looks at the back of the label, the lamp shines on it through the glass.
LABELLED = SET.replace("azimuth: 150 deg", "azimuth: 90 deg").replace(
    "glass: {index: 1.52}",
    "glass: {index: 1.52}, labels: [{from: 20 mm, to: 80 mm, facing: 225 deg, width: 45 mm}]",
)


class Twin:
    """The set in both forms, and the regions of its picture."""

    def __init__(self, width_px, text=SET, *sheets):
        start()
        built = build(parse(text, changes={"render.width": width_px}))
        self.built = replace(built, panels=(*built.panels, *sheets))
        self.scene = stock.stock_scene(self.built)
        self.regions = self._find_regions()

    def _find_regions(self):
        table, shadow = stock.sort_pixels(self.scene, self.built)
        lamp, ball = self.built.lamps[0].centre_mm, np.array([*BALL_MM, RADIUS_MM])
        # Where the light through the ball's middle comes down.
        focus = lamp + (ball - lamp) * lamp[2] / (lamp[2] - ball[2])
        down = self._meet(2)
        from_focus = np.hypot(down[..., 0] - focus[0], down[..., 1] - focus[1])
        # Places on the upright plane through the tumbler's axis; the front of its foot shows below the table.
        upright = self._meet(1)
        within = ~table & (np.abs(upright[..., 0]) < 25)
        return {
            "lit table": table & ~shadow & (down[..., 1] > 80),
            "shadow": shadow & (from_focus > 20),
            "caustic": shadow & (from_focus < 12),
            "glass": within & (upright[..., 2] > 25) & (upright[..., 2] < 80),
            "glass foot": within & (upright[..., 2] > -24) & (upright[..., 2] < 6),
            "ball": np.linalg.norm(np.cross(self._rays(), ball - self.built.camera.place_mm), axis=-1) < 20,
            "label": within & (upright[..., 0] > 12) & (upright[..., 2] > 35) & (upright[..., 2] < 70),
        }

    def _rays(self):
        """(height, width, 3) directions of the pixels' middle rays."""
        camera = self.built.camera
        image_mm = camera.focal_mm * (1 + camera.magnification)
        steps = ((np.arange(camera.width_px) + 0.5) / camera.width_px - 0.5) * camera.sensor_mm[0] / image_mm
        x, y = np.meshgrid(steps, -steps)
        rays = camera.forward + x[..., None] * camera.right + y[..., None] * camera.up
        return rays / np.linalg.norm(rays, axis=-1, keepdims=True)

    def _meet(self, axis):
        """(height, width, 3) places where those rays come to the plane x, y or z = 0, mm."""
        place, rays = self.built.camera.place_mm, self._rays()
        return place - rays * (place[axis] / rays[..., axis])[..., None]

    def by_stock(self, integrator, passes, samples, name=None, **options):
        """(passes, height, width) pictures; black outside the box round a region where one is named."""
        if name is None:
            return [stock.render_stock(self.scene, integrator, samples, seed) for seed in range(passes)]
        lines, columns = (np.flatnonzero(self.regions[name].any(axis=axis)) for axis in (1, 0))
        box = columns[0], lines[0], np.ptp(columns) + 1, np.ptp(lines) + 1
        scene = stock.stock_scene(self.built, box)
        pictures = np.zeros((passes, *self.regions[name].shape))
        for seed, picture in enumerate(pictures):
            part = np.s_[lines[0] : lines[-1] + 1, columns[0] : columns[-1] + 1]
            picture[part] = stock.render_stock(scene, integrator, samples, seed, **options)
        return pictures

    def by_us(self, passes, effort, rounds, from_grid=True):
        """(passes, height, width) pictures; what is sent to the table from its grid, or sought by paths."""
        world = build_world(self.built)
        pictures = []
        for seed in range(1, passes + 1):
            built = replace(self.built, seed=seed)
            voxels = scout(built, world, effort.voxels) if built.is_cloudy else None
            plan = plan_light(built, world, effort.cell_mm, voxels)
            light = trace_lamp(built, world, plan, 0, effort)
            lights = set_lights(built, world, plan.windows, [light], plan.voxels)
            if from_grid:
                lights = map_sent(built, world, lights, plan.windows.fine, effort.sent).add_to(lights)
            bands = take_picture(built, world, lights, Finish(0.0, 8 * rounds)).bands[0]
            pictures.append(np.tensordot(BAND_XYZ[:, 1], bands, 1))
        return pictures

    def mean(self, pictures, name):
        """Mean of a region over independent pictures, and its standard error."""
        values = [picture[self.regions[name]].mean(dtype=float) for picture in pictures]
        return np.mean(values), np.std(values, ddof=1) / np.sqrt(len(values))


def assert_equal_light(twin, ours, theirs, names, share):
    """Means of regions agree within a share and three standard errors, none of them larger than the share."""
    far_off = []
    for name in names:
        (here, our_error), (there, their_error) = twin.mean(ours, name), twin.mean(theirs, name)
        error = np.hypot(our_error, their_error)
        told = f"{name}: {here / there:.4f} ± {error / there:.4f} of {there:.4g}"
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
    assert light["shadow"] < 0.8 * light["lit table"]
    assert all(region.sum() >= 20 for region in twin.regions.values())


def test_light_sent_to_the_table_is_the_same_from_its_grid_as_by_paths(twin):
    """Pictures of one seed share their maps, so that they are compared in pairs."""
    effort = Effort(1.0, 0.0, (8, 8, 8), (64, 32, 24), 1)
    read, sought = (twin.by_us(4, effort, 8, from_grid) for from_grid in (True, False))
    for name in TABLE:
        pairs = zip(read, sought, strict=True)
        ratios = [one[twin.regions[name]].mean() / other[twin.regions[name]].mean() for one, other in pairs]
        error = np.std(ratios, ddof=1) / 2
        assert error < 0.005
        assert abs(np.mean(ratios) - 1) < 0.005 + 3 * error, name


def test_every_region_is_as_bright_as_in_a_path_tracer(twin):
    ours = twin.by_us(4, Effort(1.0, 0.0, (8, 8, 8), (64, 32, 24), 1), 8)
    assert_equal_light(twin, ours, twin.by_stock("path", 8, 320), TABLE + GLASS, 0.02)


def test_frosted_glass_is_as_bright_as_in_a_path_tracer():
    """Mitsuba's rough interface is its own; it draws slopes another way and loses the same second bounces."""
    twin = Twin(64, FROSTED)
    ours = twin.by_us(4, Effort(1.0, 0.0, (8, 8, 8), (64, 32, 24), 1), 8)
    assert_equal_light(twin, ours, twin.by_stock("path", 8, 320), ("glass", "shadow"), 0.02)


def test_label_is_as_bright_as_in_a_path_tracer():
    """Its back, seen through the glass, is lit through the glass."""
    twin = Twin(64, LABELLED)
    ours = twin.by_us(10, Effort(1.0, 0.0, (8, 8, 8), (64, 32, 24), 1), 8)
    assert_equal_light(twin, ours, twin.by_stock("path", 8, 4000, "label"), ("label",), 0.02)


def test_matte_sheet_inside_a_ball_is_as_bright_as_in_a_path_tracer():
    """As fruit in a drink: no lamp reaches it but through the ball, nor does the camera see it otherwise."""
    mesh = placed(rotated(rectangle(36, 24), [[1, 0, 0], [0, 0, -1], [0, 1, 0]]), (*BALL_MM, RADIUS_MM))
    places = mesh.vertices_mm[:, [0, 2]] - [BALL_MM[0] - 18, RADIUS_MM - 12]
    white = np.full(16, 0.7)
    widths = np.array([[0.0, 1.0], [24.0, 1.0]])
    sheet = Sheet("sheet", mesh, places, (36.0, 24.0), widths, white, white, dips=True)
    twin = Twin(64, SET.replace("azimuth: 150 deg", "azimuth: 30 deg"), sheet)
    ours = twin.by_us(12, Effort(1.0, 0.0, (8, 8, 8), (64, 32, 24), 1), 8)
    assert_equal_light(twin, ours, twin.by_stock("path", 8, 2000, "ball"), ("ball",), 0.02)


@pytest.mark.slow
def test_every_region_is_as_bright_as_in_a_long_path_trace():
    twin = Twin(128)
    ours = twin.by_us(4, Effort(0.5, 0.0, (16, 16, 16), (96, 48, 32), 1), 24)
    assert_equal_light(twin, ours, twin.by_stock("path", 48, 256), TABLE + GLASS, 0.01)


@pytest.mark.slow
def test_table_is_as_bright_as_in_a_particle_trace():
    """Light traced from the lamp sees no glass, but knows the table far better than a path tracer."""
    twin = Twin(96)
    ours = twin.by_us(10, Effort(0.5, 0.0, (16, 16, 16), (96, 48, 32), 1), 16)
    assert_equal_light(twin, ours, twin.by_stock("ptracer", 32, 1024), TABLE, 0.005)


@pytest.mark.slow
@pytest.mark.parametrize(
    "cloud",
    [
        "scattering: 0.01 /mm",
        "scattering: 0.1 /mm",
        "scattering: 0.15 /mm, absorption: 0.005 /mm, anisotropy: 0.7",
    ],
)
def test_cloudy_ball_is_as_bright_as_in_a_path_tracer(cloud):
    """Mitsuba's `volpath`, which finds the lamp by chance: nothing it knows joins light and camera."""
    twin = Twin(64, SET.replace("material: {index: 1.52}", f"material: {{index: 1.33, {cloud}}}"))
    ours = twin.by_us(4, Effort(1.0, 0.0, (8, 8, 8), (64, 32, 24), 1, (16, 60), 6000), 6)
    theirs = twin.by_stock("volpath", 8, 4000, "ball", max_depth=400, rr_depth=50)
    assert_equal_light(twin, ours, theirs, ("ball",), 0.03)
