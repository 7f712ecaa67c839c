"""Light that mirrors and walls throw, and that a cut flag leaves, against arithmetic of its own."""

import numpy as np
import pytest

MIRROR = """
brimcast: 1
table: {size: [600 mm, 600 mm], reflectance: 0 %}
mirrors:
  kick:
    {at: [0 mm, 0 mm, 300 mm], size: [60 mm, 60 mm], facing: {azimuth: 90 deg, elevation: -45 deg},
     reflectance: 80 %}
lamps:
  key: {diameter: 4 mm, throw: 1 m, azimuth: 90 deg, elevation: 0 deg, aim: [0 mm, 0 mm, 300 mm]}
  back: {diameter: 4 mm, throw: 1 m, azimuth: 270 deg, elevation: 0 deg, aim: [0 mm, 0 mm, 300 mm]}
render: {cell: 2 mm}
"""


@pytest.fixture(scope="module")
def mirrored(compute):
    return compute(MIRROR).maps


def patch_of(maps, lamp):
    light = np.tensordot(maps["band_xyz"][:, 1], maps[f"{lamp}.reflective"] + maps[f"{lamp}.refractive"], 1)
    return light, float(maps["band_xyz"][:, 1] @ maps[f"{lamp}.plain"])


def test_mirror_throws_the_lamp_down_as_from_its_image(mirrored):
    """The image stands 1 m over the mirror: E = 0.8 L A / 1.3 m squared in the middle of the patch.

    The bare table at the datum has L A cos in cos out / d squared, with both cosines by the 300 mm and the
    1 m between lamp and datum.
    """
    light, plain = patch_of(mirrored, "key")
    middle = light[np.ix_(np.abs(mirrored["y_mm"]) < 12, np.abs(mirrored["x_mm"]) < 12)].mean()
    square = 1000.0**2 + 300.0**2
    assert middle / plain == pytest.approx(0.8 / 1300**2 * square**2 / (300 * 1000), rel=0.01)


def test_patch_is_as_large_as_the_mirror_seen_from_the_image(mirrored):
    """60 mm wide, and to either side of the middle what the mirror's tilt makes of it.

    Its left edge is the higher by 30 mm sin 45 deg, as it looks to the left and down: rays there have come
    less far from the lamp, and as from the image they spread by 1.3 m over that.
    """
    light, _ = patch_of(mirrored, "key")
    lit = light > light.max() / 2
    x_mm, y_mm = mirrored["x_mm"][lit.any(axis=0)], mirrored["y_mm"][lit.any(axis=1)]
    half = 30 * np.sqrt(0.5)
    # Half a cell on either side belongs to the patch; cells in half of the light may go either way.
    assert x_mm.min() == pytest.approx(-half * 1300 / (1000 - half), abs=3)
    assert x_mm.max() == pytest.approx(half * 1300 / (1000 + half), abs=3)
    assert np.ptp(y_mm) == pytest.approx(60 * 1.3, abs=5)


def test_back_of_a_mirror_is_black(mirrored):
    light, plain = patch_of(mirrored, "back")
    assert light.max() < 1e-3 * plain


def test_ceiling_throws_light_down(compute):
    """A small lamp 0.8 m under a ceiling shines up; the meter on the table sees the ceiling alone.

    Summed here over the ceiling: 0.7 / pi times what comes there from a Lambertian point, 1 at 1 m off;
    the other meter, 0.5 m over the lamp, is to see 1 / 0.5 squared. The ceiling's map has cells of 47 mm.
    """
    meters = compute("""
brimcast: 1
table: {reflectance: 0 %}
lamps: {bounce: {diameter: 20 mm, throw: 700 mm, elevation: -90 deg, aim: [0 mm, 0 mm, 1.7 m]}}
room: {table_height: 800 mm, ceiling: 2.6 m, reflectance: {ceiling: 70 %}}
meters:
  low: {at: [0 mm, 0 mm, 20 mm], diameter: 20 mm}
  near: {at: [0 mm, 0 mm, 1.5 m], diameter: 20 mm, facing: down}
""").report["meters"]
    low, near = (meters[name]["lamps"]["bounce"]["light"] for name in ("low", "near"))
    # The lamp lies 1 m over the table, the ceiling 1.8 m.
    x, y = np.meshgrid(*[np.linspace(-3.0, 3.0, 601)] * 2)
    lamp, meter = 1.8 - 1.0, 1.8 - 0.02
    arriving = lamp**2 / (x**2 + y**2 + lamp**2) ** 2
    seen = meter**2 / (x**2 + y**2 + meter**2) ** 2
    exact = 0.7 / np.pi * (arriving * seen).sum() * 0.01**2 * 0.5**2
    error = 3 * low["standard_error"] / near["value"]
    assert low["value"] / near["value"] == pytest.approx(exact, rel=0.01, abs=error)
