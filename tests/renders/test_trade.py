"""What every photographer knows: common practice, no source. And what the trade's first estimate misses."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

SET = """
brimcast: 1
title: What the trade knows
table: {size: [1 m, 1 m]}
glasses:
  hero:
    vessel: tumbler
    drink: {liquid: water, fill: 80 mm}
lamps:
  key: {kind: disc, diameter: 50 mm, throw: 0.6 m, elevation: 40 deg, azimuth: 180 deg, colour: 587.6 nm}
render: {cell: 0.5 mm}
"""
WHITE = {"lamps.key.colour": "5600 K", "render.cell": "2 mm"}
NEAR_MM, FAR_MM = THROWS_MM = (600, 3200)


@pytest.fixture(scope="module")
def throws(compute):
    """The tumbler's caustic under one lamp, near and far."""
    return {throw: compute(SET, changes={"lamps.key.throw": f"{throw} mm"}) for throw in THROWS_MM}


@pytest.fixture(scope="module")
def white(compute):
    """The same under white light, in coarse cells."""
    return compute(SET, changes=WHITE)


def line(computed):
    """Measures of the refractive caustic."""
    return computed.report["caustics"]["key"]["refractive"]


def clearly_less(one, other):
    """Whether one measure is less than another by three standard errors."""
    return one["value"] + 3 * np.hypot(one["standard_error"], other["standard_error"]) < other["value"]


def test_moving_the_lamp_back_sharpens_the_line(throws):
    """Common practice."""
    near, far = (line(throws[throw])["line_width_mm"] for throw in THROWS_MM)
    assert clearly_less(far, near)


def test_a_smaller_lamp_sharpens_the_line(throws, compute):
    """Common practice."""
    small = compute(SET, changes={"lamps.key.diameter": "15 mm"})
    assert clearly_less(line(small)["line_width_mm"], line(throws[NEAR_MM])["line_width_mm"])


def test_first_estimate_holds_once_the_line_s_own_width_is_taken_off(throws):
    """Common practice: blur = lamp size × distance glass-to-line ÷ throw.

    The estimate is the full blur of a line that is sharp without it. Measured is the width at half height,
    which for a disc is cos 30° of the full blur, on top of a width that the line has under any lamp: the
    tumbler is no perfect lens and the table no focal plane. The two add about as squares, so that the
    estimate is right for near lamps and means nothing for far ones.
    """
    widths = {throw: line(computed)["line_width_mm"] for throw, computed in throws.items()}
    own_mm = widths[FAR_MM]["value"]
    maps = throws[FAR_MM].maps
    light = gaussian_filter(maps["key.refractive"].sum(axis=0), 1)
    outside = np.hypot(*np.meshgrid(maps["x_mm"], maps["y_mm"])) > 35
    row, column = np.unravel_index(np.argmax(light * outside), light.shape)
    gap_mm = np.hypot(maps["x_mm"][column], maps["y_mm"][row]) - 35 + 2.5  # from the inside of the far wall
    slant_mm = gap_mm / np.cos(np.radians(40))  # light falls at 40°
    blur_mm = 50 * slant_mm / NEAR_MM * np.cos(np.radians(30))
    measured_mm = np.sqrt(widths[NEAR_MM]["value"] ** 2 - own_mm**2)
    assert measured_mm == pytest.approx(blur_mm, rel=0.3)
    assert 50 * slant_mm / FAR_MM < 0.6 * own_mm


def test_what_is_thrown_back_lands_on_the_lamp_s_side(throws):
    """Common practice: reflected light toward the lamp (+y here), refracted light beyond the glass."""
    maps = throws[NEAR_MM].maps
    y_mm = maps["y_mm"][:, None]
    assert (maps["key.reflective"].sum(axis=0) * y_mm).sum() > 0
    assert (maps["key.refractive"].sum(axis=0) * y_mm).sum() < 0
    heading = line(throws[NEAR_MM])["heading_deg"]["value"]
    assert min(heading, 360 - heading) < 3


def test_a_tinted_glass_colours_the_line(white, compute):
    """Common practice: green glass keeps more of the green light than of the red."""
    green = compute(SET, changes={**WHITE, "glasses.hero.glass": "{kind: soda-lime, tint: green}"})
    assert green_over_red(green) > 1.1 * green_over_red(white)


def test_a_dark_fill_kills_the_line(white, compute):
    """Common practice: where a clear drink throws its line, a black stout leaves less than a fifth."""
    stout = compute(SET, changes={**WHITE, "glasses.hero.drink.liquid": "{beer: 60 SRM}"})
    assert on_the_line(stout) < 0.2 * on_the_line(white)


def on_the_line(computed):
    """Luminous light of the refractive map before the glass, toward the camera."""
    maps = computed.maps
    luminous = np.tensordot(maps["band_xyz"][:, 1], maps["key.refractive"], 1)
    there = (np.abs(maps["x_mm"]) < 12)[None, :] & ((maps["y_mm"] > -75) & (maps["y_mm"] < -45))[:, None]
    return luminous[there].sum()


def green_over_red(computed):
    """Light of 520-540 nm over that of 640-660 nm in the refractive map."""
    bands = computed.maps["key.refractive"].sum(axis=(1, 2))
    return bands[7] / bands[13]


FLAGGED = """
brimcast: 1
table: {size: [2 m, 2 m]}
glasses: {hero: {vessel: highball, drink: {liquid: water}}}
lamps:
  key: {diameter: 30 mm, throw: 1.5 m, elevation: 35 deg, azimuth: 180 deg}
meters:
  spill: {at: [0 mm, -260 mm, 0 mm]}
  glass: {at: [60 mm, 0 mm, 75 mm], facing: key}
flags: {cutter: {size: [400 mm, 160 mm], at: [0 mm, 200 mm, 330 mm], facing: key}}
"""


def test_a_flag_takes_spill_off_the_table_and_leaves_the_glass_lit(compute):
    """Common practice. From the spill the lamp stands 295 mm over the flag's foot, from the glass 215 mm."""
    bare, flagged = (compute(text).report["meters"] for text in (FLAGGED.split("flags:")[0], FLAGGED))
    assert flagged["spill"]["all"]["light"]["value"] < bare["spill"]["all"]["light"]["value"] / 50
    assert flagged["glass"]["all"]["light"]["value"] == pytest.approx(
        bare["glass"]["all"]["light"]["value"], rel=0.01
    )


BACK_LIT = """
brimcast: 1
table: {size: [2 m, 2 m]}
glasses: {hero: {vessel: tumbler, drink: {liquid: water, fill: 80 mm}}}
lamps:
  key: {diameter: 40 mm, throw: 1 m, elevation: 40 deg, azimuth: 90 deg}
  back: {diameter: 40 mm, throw: 1 m, elevation: 40 deg, azimuth: 180 deg}
meters:
  both: {at: [200 mm, -200 mm, 0 mm]}
render: {cell: 2 mm}
"""


def test_a_cooling_gel_on_a_back_light_shifts_only_what_that_lamp_lights(compute):
    """Common practice."""
    plain, gelled = (
        compute(BACK_LIT, changes=changes) for changes in ({}, {"lamps.back.gels": ["cooling 80 mired"]})
    )
    before, after = plain.report["meters"]["both"], gelled.report["meters"]["both"]
    # Toward blue: less x and less y, by the light of that lamp and no other.
    assert after["lamps"]["back"]["xy"][0] < before["lamps"]["back"]["xy"][0] - 0.02
    assert after["lamps"]["key"]["xy"] == pytest.approx(before["lamps"]["key"]["xy"], abs=1e-6)
    assert after["lamps"]["key"]["xy"][0] - 0.02 < after["all"]["xy"][0] < before["all"]["xy"][0]
    # The window of the table that is mapped follows the light through the gels.
    line = [computed.maps["key.refractive"].sum() for computed in (plain, gelled)]
    assert line[0] == pytest.approx(line[1], rel=1e-3)
