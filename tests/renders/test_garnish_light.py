"""What stands in a drink is lit through it: fruit, straw and leaf, through set file and command."""

import numpy as np
import pytest

from brimcast.renders.images import read_exr

SET = """
brimcast: 1
table: {size: [1 m, 1 m], reflectance: 60 %}
glasses:
  hero:
    vessel: tumbler
    drink: {liquid: water, fill: 76 mm}
    garnish: [GARNISH]
lamps: {key: {kind: disc, diameter: 120 mm, throw: 800 mm, elevation: 35 deg, azimuth: 40 deg}}
camera: {distance: 700 mm, elevation: 8 deg, aim: [0 mm, 0 mm, 40 mm], lens: 180 mm, sensor: [24 mm, 24 mm]}
render: {width: 64}
"""
WHEEL = "{kind: wheel, fruit: lime, place: drink, diameter: 40 mm, azimuth: 0 deg}"
FRUIT = "{kind: olive, place: drink, count: 1}, {kind: sprig, place: drink, azimuth: 90 deg}"


@pytest.fixture(scope="module")
def lime(compute):
    return compute(SET.replace("GARNISH", WHEEL), command="render")


@pytest.fixture(scope="module")
def fruit(compute):
    return compute(SET.replace("GARNISH", FRUIT))


@pytest.mark.parametrize(
    ("made", "names"),
    [("lime", ["wheel"]), pytest.param("fruit", ["olive", "sprig"], marks=pytest.mark.slow)],
)
def test_garnish_in_a_drink_catches_light_and_loses_none(made, names, request):
    energy = request.getfixturevalue(made).report["energy"]["key"]
    for name in names:
        caught = sum(part["value"] for side, part in energy["surfaces"].items() if f"hero {name}" in side)
        assert caught > 0.01
    assert energy["lost"]["value"] < 1e-4
    assert energy["sum"]["value"] == pytest.approx(1, abs=0.001 + 3 * energy["sum"]["standard_error"])


def test_fruit_in_a_drink_is_not_black(lime):
    """Common practice: fruit lit as the table is meters within two or three stops of it."""
    picture = read_exr(lime.folder / "picture.exr")[1].astype(float)
    # The slice hangs in the middle of the drink, toward the camera.
    red, green, blue = np.median(picture[24:38, 24:40].reshape(-1, 3), axis=0)
    plain = np.median(picture[-4:, :4].reshape(-1, 3), axis=0)[1]
    assert plain / 8 < green < 4 * plain
    assert green > 1.1 * blue and green > red
