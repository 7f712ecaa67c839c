"""Light on what glasses stand on: a caustic on a coaster against its closed form, a glass on a tray."""

import numpy as np
import pytest
from PIL import Image

# A ball of 60 mm, index 1.5, its centre 1.1 radii over a coaster as wide as a fifth of the ball.
BALL = """
brimcast: 1
table: {reflectance: 0 %}
props:
  ball: {shape: ball, diameter: 60 mm, height: 7.02 mm, material: {index: 1.5}}
  mat: {shape: coaster, diameter: 12 mm, thickness: 4 mm}
lamps:
  far: {throw: 100 m, elevation: 90 deg, diameter: 10 mm, aim: [0 mm, 0 mm, 0 mm], colour: 587.6 nm}
"""
TRAY = """
brimcast: 1
glasses:
  hero: {vessel: rocks, stands_on: dish, drink: {liquid: water}}
props:
  dish: {shape: tray, diameter: 260 mm, METAL}
lamps:
  key: {azimuth: 150 deg, elevation: 45 deg}
camera: {elevation: 35 deg, distance: 1.2 m}
render: {width: 200}
"""


def test_coaster_catches_the_published_share_of_a_balls_light(compute, published):
    """published_values.yaml#analytic_optics/ball_encircled_flux, for a renderer without polarisation."""
    entry = published["analytic_optics"]["ball_encircled_flux"]
    told = compute(BALL).report["energy"]["far"]["surfaces"]["mat"]
    value = entry["value"]["X=1.1 unpolarised renderer"][0.2]
    # At 100 m the lamp is not quite distant: its light comes in at up to 0.3 mrad.
    assert told["value"] == pytest.approx(value, abs=entry["tolerance"] + 3 * told["standard_error"])


@pytest.mark.parametrize(
    ("metal", "name"),
    [
        ("reflectance: 60 %", "matte"),
        # Light goes to and fro between glass and metal: the longest of these runs.
        pytest.param("metal: 85 %", "metal", marks=pytest.mark.slow),
    ],
)
def test_glass_on_a_tray_throws_its_light_on_the_tray(compute, metal, name):
    """On a matte tray the light is seen on the tray, and the table under it stays dark."""
    done = compute(TRAY.replace("METAL", metal), command="render")
    book = done.report["energy"]["key"]
    assert book["lost"]["value"] < 1e-3 and book["sum"]["value"] == pytest.approx(1, abs=0.01)
    maps = done.maps
    caught = np.tensordot(maps["band_xyz"][:, 1], maps["key.refractive"], 1)
    under = np.hypot(*np.meshgrid(maps["x_mm"], maps["y_mm"])) < 125
    # Without focused light on the table its map has no cells.
    assert caught[under].sum() <= 1e-3 * caught.max(initial=0.0)
    if name == "matte":
        on_tray = sum(part["value"] for key, part in book["surfaces"].items() if key.startswith("dish"))
        assert on_tray > 0.5 > 0.2 > book["surfaces"].get("table", {"value": 0})["value"]
    picture = np.asarray(Image.open(done.folder / "picture.png").convert("L"), float)
    assert picture.max() > 200 and picture.std() > 20
