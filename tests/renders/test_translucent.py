"""Diffuse transmission through set file and command: a diffusion panel, against the light of a rectangle."""

import numpy as np
import pytest

from brimcast.renders.images import read_exr

# A small lamp straight over the middle of a panel, which hangs 500 mm over a black table.
PANEL_MM, HIGH_MM, LAMP_MM = (400.0, 300.0), 500.0, 4000.0
PASSED, THROWN = 0.5, 0.3
SET = f"""
brimcast: 1
table: {{reflectance: 0 %}}
props: {{ball: {{shape: ball, diameter: 20 mm, at: [-270 mm, 0 mm]}}}}
diffusers:
  sheet:
    at: [0 mm, 0 mm, {HIGH_MM} mm]
    size: [{PANEL_MM[0]} mm, {PANEL_MM[1]} mm]
    facing: up
    transmittance: {100 * PASSED} %
    reflectance: {100 * THROWN} %
lamps:
  key:
    diameter: 20 mm
    throw: {LAMP_MM} mm
    elevation: 90 deg
    azimuth: 0 deg
    aim: [0 mm, 0 mm, {HIGH_MM} mm]
    reading: {{f_number: f/16, distance: {LAMP_MM} mm, receptor: flat}}
meters:
  near: {{at: [0 mm, 0 mm, 480 mm], diameter: 4 mm}}
  under: {{at: [0 mm, 0 mm, 200 mm], diameter: 4 mm}}
  low: {{at: [150 mm, 0 mm, 0 mm], diameter: 4 mm}}
  over: {{at: [60 mm, 0 mm, 700 mm], diameter: 4 mm, facing: down}}
camera: {{at: [10 mm, -600 mm, 100 mm], aim: [0 mm, 0 mm, {HIGH_MM} mm], lens: 200 mm}}
render: {{width: 48}}
"""
# C N² / S for a flat receptor, ISO 2720: what the reading says falls on the panel, in lx s.
ON_PANEL = 250 * 16**2 / 100


def light_of_rectangle(x_mm, far_mm):
    """E/L of the panel at a place beside its middle, in the plane parallel to it.

    published_values.yaml#lambertian_rectangle, split at the foot of the perpendicular into four corners.
    """

    def corner(a, b):
        side = np.hypot(1, a)
        other = np.hypot(1, b)
        return (a / side * np.arctan(b / side) + b / other * np.arctan(a / other)) / 2

    width, height = np.array(PANEL_MM) / 2 / far_mm
    away = x_mm / far_mm
    return 2 * (corner(width + away, height) + corner(width - away, height))


@pytest.fixture(scope="module")
def lit(compute):
    return compute(SET, command="render")


@pytest.mark.parametrize(
    "meter, x_mm, far_mm, share",
    [
        ("near", 0, 20, PASSED),
        ("under", 0, 300, PASSED),
        ("low", 150, 500, PASSED),
        ("over", 60, 200, THROWN),
    ],
)
def test_panel_lights_as_a_rectangle_of_even_radiance(lit, meter, x_mm, far_mm, share):
    """Both sides are lit from above; the lamp is so far off that the panel is lit evenly to 0.4 %."""
    told = lit.report["meters"][meter]["all"]["light"]
    expected = share * ON_PANEL / np.pi * light_of_rectangle(x_mm, far_mm)
    assert told["value"] == pytest.approx(expected, rel=0.005, abs=3 * told["standard_error"])
    assert told["standard_error"] < 0.03 * expected


def test_table_map_holds_the_panel(lit):
    """The window lies round a ball beside the panel's shadow; what is not the lamp's light is the panel's."""
    maps = lit.maps
    seen = np.tensordot(maps["band_xyz"][:, 1], maps["key.direct"], 1)
    x, y = np.meshgrid(maps["x_mm"], maps["y_mm"])
    down = LAMP_MM + HIGH_MM
    straight = ON_PANEL * (LAMP_MM / down) ** 2 * (down**2 / (down**2 + x**2 + y**2)) ** 2
    # Away from the ball, whose foot hides much of the panel, along the middle of its light.
    here = (np.hypot(x + 270, y) > 25) & (np.abs(y) < 25)
    assert here.sum() > 50
    found = (seen - straight)[here].mean()
    expected = np.mean([PASSED * ON_PANEL / np.pi * light_of_rectangle(-place, HIGH_MM) for place in x[here]])
    assert found == pytest.approx(expected, rel=0.05)


def test_camera_sees_the_panel_glow(lit):
    """Radiance of an even diffuse surface: what passes, over pi."""
    bands = read_exr(lit.folder / "picture.exr")[0]["key"]
    light = np.tensordot(lit.maps["band_xyz"][:, 1], bands, 1)
    assert light[12:20, 20:28].mean() == pytest.approx(PASSED * ON_PANEL / np.pi, rel=0.005)
