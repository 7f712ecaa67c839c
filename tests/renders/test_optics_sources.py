"""Light of lamps without glass between: distance, slant, size, and the shadow of what stands in the way."""

import numpy as np
import pytest


@pytest.fixture(scope="module")
def readings(compute):
    """Light on two meters 50 mm over the table, by meter and lamp, of lamps that are equally strong."""
    report = compute("""
brimcast: 1
table: {reflectance: 0 %}
lamps:
  near: {diameter: 10 mm, throw: 1 m, elevation: 90 deg, aim: [0 mm, 0 mm, 50 mm]}
  far: {diameter: 10 mm, throw: 2 m, elevation: 90 deg, aim: [0 mm, 0 mm, 50 mm]}
  slant: {diameter: 10 mm, throw: 2 m, elevation: 30 deg, aim: [0 mm, 0 mm, 50 mm]}
  wide: {diameter: 500 mm, throw: 1 m, elevation: 90 deg, aim: [0 mm, 0 mm, 50 mm]}
  sheet: {kind: panel, size: [600 mm, 900 mm], throw: 1 m, elevation: 90 deg, aim: [0 mm, 0 mm, 50 mm]}
meters:
  level: {at: [0 mm, 0 mm, 50 mm], diameter: 2 mm}
  tilted: {at: [0 mm, 0 mm, 50 mm], diameter: 2 mm, facing: {azimuth: 0 deg, elevation: 30 deg}}
""").report
    return {name: meter["lamps"] for name, meter in report["meters"].items()}


def compare(readings, one, other):
    """Quotient of two readings, each (meter, lamp), and its standard error."""
    lights = [readings[meter][lamp]["light"] for meter, lamp in (one, other)]
    (a, da), (b, db) = ((light["value"], light["standard_error"]) for light in lights)
    return a / b, da / b + a * db / b**2


def test_light_falls_with_the_square_of_the_distance(readings, published):
    """published_values.yaml#analytic_optics/inverse_square_cosine (from memory); also E. Hecht, Optics."""
    case = published["analytic_optics"]["inverse_square_cosine"]["value"][0]
    value = case["E_lx"] / case["I_cd"]  # lux of 1 cd at 2 m; at 1 m it is 1
    found, error = compare(readings, ("level", "far"), ("level", "near"))
    assert found == pytest.approx(value, rel=0.005, abs=3 * error)
    # The same to the disc's own size: r² / (r² + d²).
    exact = (5**2 + 1000**2) / (5**2 + 2000**2)
    assert found == pytest.approx(exact, rel=2e-5, abs=3 * error)


@pytest.mark.parametrize(
    ("meter", "lamp"), [("level", "slant"), ("tilted", "far")], ids=["lamp at a slant", "meter at a slant"]
)
def test_light_falls_with_the_cosine(readings, published, meter, lamp):
    """published_values.yaml#analytic_optics/inverse_square_cosine (from memory); also E. Hecht, Optics."""
    upright, slanted = published["analytic_optics"]["inverse_square_cosine"]["value"]
    assert slanted["t"] == 60
    found, error = compare(readings, (meter, lamp), ("level", "far"))
    assert found == pytest.approx(slanted["E_lx"] / upright["E_lx"], rel=1e-4, abs=3 * error)


def test_wide_disc_gives_the_published_light(readings, published):
    """published_values.yaml#analytic_optics/lambertian_disc, against a small disc as strong."""
    entry = published["analytic_optics"]["lambertian_disc"]
    (case,) = entry["value"]
    # E/L over the front's area is 1/d² for the small one, to 3e-5.
    value = case["E_over_L"] / (np.pi * case["r"] ** 2)
    found, error = compare(readings, ("level", "wide"), ("level", "near"))
    assert found == pytest.approx(value, rel=1e-4, abs=3 * error)


def test_wide_panel_gives_the_published_light(readings, published):
    """published_values.yaml#analytic_optics/lambertian_rectangle, against a small disc as strong."""
    case = published["analytic_optics"]["lambertian_rectangle"]["value"][0]
    found, error = compare(readings, ("level", "sheet"), ("level", "near"))
    assert found == pytest.approx(case["E_over_L"] / (case["w"] * case["h"]), rel=1e-4, abs=3 * error)


@pytest.fixture(scope="module")
def shadow(compute, published):
    """Direct light round the shadow of a disc under a round lamp: distance from its middle, mm, and light.

    A ring of glass round the shadow makes the map reach as far; it stands in no direct light's way there.
    """
    case = published["analytic_optics"]["umbra_penumbra"]["value"]
    size_mm = {name.removesuffix("_m"): 1000 * value for name, value in case.items()}
    maps = compute(f"""
brimcast: 1
table: {{size: [400 mm, 400 mm], reflectance: 0 %}}
props:
  disc: {{shape: rod, diameter: {size_mm["D"]} mm, length: 0.01 mm, height: {size_mm["b"]} mm,
          material: black}}
  round: {{shape: ring, inside: 110 mm, wall: 8 mm, tall: 4 mm, material: {{index: 1.5}}}}
lamps:
  soft: {{diameter: {size_mm["S"]} mm, throw: {size_mm["a"] + size_mm["b"]} mm, elevation: 90 deg,
          aim: [0 mm, 0 mm, 0 mm]}}
render: {{cell: 1 mm}}
""").maps
    radius_mm = np.hypot(*np.meshgrid(maps["x_mm"], maps["y_mm"]))
    light = np.tensordot(maps["band_xyz"][:, 1], maps["soft.direct"], 1)
    return size_mm, radius_mm, light


def uncovered(radius_mm, size_mm):
    """Share of the lamp's front seen past the disc: where the two circles overlap, it is hidden."""
    a, b = size_mm["a"], size_mm["b"]
    lamp, disc = size_mm["S"] / 2, size_mm["D"] / 2 * (a + b) / b  # the disc as it covers the lamp's plane
    apart = radius_mm * a / b
    with np.errstate(divide="ignore", invalid="ignore"):
        at_lamp = np.arccos(np.clip((apart**2 + lamp**2 - disc**2) / (2 * apart * lamp), -1, 1))
        at_disc = np.arccos(np.clip((apart**2 + disc**2 - lamp**2) / (2 * apart * disc), -1, 1))
    sector = lamp**2 * (at_lamp - np.sin(2 * at_lamp) / 2) + disc**2 * (at_disc - np.sin(2 * at_disc) / 2)
    return 1 - sector / (np.pi * lamp**2)


def test_shadow_is_black_in_the_umbra_and_ends_with_the_penumbra(shadow, published):
    """published_values.yaml#analytic_optics/umbra_penumbra; a cell reaches 0.71 mm from its centre."""
    size_mm, radius_mm, light = shadow
    umbra_mm, outer_mm = size_mm["umbra"] / 2, size_mm["outer"] / 2
    assert outer_mm - umbra_mm == pytest.approx(size_mm["penumbra"])
    assert light[radius_mm < umbra_mm - 0.71].max() == 0
    within = (radius_mm > umbra_mm + 0.71) & (radius_mm < umbra_mm + 2)
    assert light[within].max() > 0
    # Beyond, the light of the bare table: cos⁴, 1 at the datum.
    bare = (1 + (radius_mm / (size_mm["a"] + size_mm["b"])) ** 2) ** -2
    beyond = (radius_mm > outer_mm + 0.71) & (radius_mm < 50)
    np.testing.assert_allclose(light[beyond], bare[beyond], rtol=0.01)
    almost = (radius_mm > outer_mm - 2) & (radius_mm < outer_mm - 0.71)
    assert (light[almost] / bare[almost]).min() < 0.995


def test_penumbra_shows_as_much_of_the_lamp_as_the_disc_leaves(shadow):
    """Closed form: two circles that overlap, as seen from the table; ring by ring of 2 mm."""
    size_mm, radius_mm, light = shadow
    bare = (1 + (radius_mm / (size_mm["a"] + size_mm["b"])) ** 2) ** -2
    off = light - bare * uncovered(radius_mm, size_mm)
    rings = (radius_mm / 2).astype(int)
    for number in range(10, 21):
        here = off[rings == number]
        error = here.std(ddof=1) / np.sqrt(len(here))
        assert here.mean() == pytest.approx(0, abs=0.002 + 3 * error)


def test_direct_light_in_a_penumbra_is_smooth(shadow):
    """From cell to cell 5 % at most, half of a draft's error; 32 points at random would leave 9 %."""
    size_mm, radius_mm, light = shadow
    half = np.abs(radius_mm - (size_mm["umbra"] + size_mm["outer"]) / 4) < 3
    bare = (1 + (radius_mm / (size_mm["a"] + size_mm["b"])) ** 2) ** -2
    assert (light / bare - uncovered(radius_mm, size_mm))[half].std() < 0.05
