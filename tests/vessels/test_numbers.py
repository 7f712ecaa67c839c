"""Capacity, mass, centre of mass and stability against closed forms and other libraries."""

from functools import cache

import numpy as np
import pytest

from brimcast.vessels.lathe import sweep
from brimcast.vessels.library import SHAPES, vessel, vessel_from_outline
from brimcast.vessels.mesh import merged
from brimcast.vessels.numbers import DENSITY_G_CM3, WATER_G_CM3, describe, measure, tip_deg
from brimcast.vessels.outline import arc, joined, line, tidied

plain = cache(vessel)
OPEN = [name for name, shape in SHAPES.items() if not shape.lid]


def _cone(lower_mm, upper_mm, height_mm):
    corners = [(0, 0), (lower_mm, 0), (upper_mm, height_mm), (0, height_mm)]
    return joined(line(a, b) for a, b in zip(corners[:-1], corners[1:], strict=True))


def _straight(diameter_mm=70.0, height_mm=120.0, wall_mm=1.5, base_mm=6.0, **finish):
    """Return a straight glass with square edges, as far as nothing else is asked for."""
    square = {"fillet_mm": 0.0, "heel_mm": 0.0, "rim_mm": 0.0} | finish
    return vessel_from_outline([(0, diameter_mm), (height_mm, diameter_mm)], wall_mm, base_mm, **square)


def test_frustum_has_the_published_volume_and_its_centroid(published):
    """published_values.yaml#vessel_geometry/frustum.

    Centroid h (R^2 + 2 R r + 3 r^2) / 4 (R^2 + R r + r^2).
    """
    entry = published["vessel_geometry"]["frustum"]
    lower, upper, high = (entry["value"][key] for key in ("R", "r", "h"))
    volume_mm3, moment_mm4 = sweep(_cone(lower, upper, high))
    assert volume_mm3 / 1000 == pytest.approx(entry["value"]["volume_ml"], abs=entry["tolerance"])
    square = lower**2 + lower * upper + upper**2
    centre_mm = high / 4 * (lower**2 + 2 * lower * upper + 3 * upper**2) / square
    assert moment_mm4 / volume_mm3 == pytest.approx(centre_mm, rel=1e-12)


def test_cap_has_the_published_volume_and_its_centroid(published):
    """published_values.yaml#vessel_geometry/spherical_cap.

    Centroid 3 (2 R - h)^2 / 4 (3 R - h) from the ball's centre.
    """
    entry = published["vessel_geometry"]["spherical_cap"]
    radius, high = entry["value"]["R"], entry["value"]["h"]
    bowl = arc((0, radius), radius, -90, np.degrees(np.arcsin((high - radius) / radius)))
    volume_mm3, moment_mm4 = sweep(bowl)
    assert volume_mm3 / 1000 == pytest.approx(entry["value"]["volume_ml"], abs=entry["tolerance"])
    centre_mm = radius - 3 * (2 * radius - high) ** 2 / (4 * (3 * radius - high))
    assert moment_mm4 / volume_mm3 == pytest.approx(centre_mm, rel=1e-7)


def test_torus_has_the_published_volume_and_lies_about_its_middle(published):
    """published_values.yaml#vessel_geometry/pappus_torus"""
    entry = published["vessel_geometry"]["pappus_torus"]
    circle = arc((entry["value"]["R"], 7.0), entry["value"]["a"], 0, 360)
    ring = tidied(circle.points_mm, circle.tangents)
    volume_mm3, moment_mm4 = sweep(ring)
    assert volume_mm3 / 1000 == pytest.approx(entry["value"]["volume_ml"], abs=entry["tolerance"])
    assert moment_mm4 / volume_mm3 == pytest.approx(7.0, rel=1e-9)


@pytest.mark.parametrize("name", ["rocks", "coupe", "bottle"])
def test_mass_and_centre_are_those_of_the_mesh(name):
    """Independent route: trimesh's volume and centre of mass of the mesh, whose facets lie 0.002 mm in."""
    glass = plain(name)
    solid = merged(glass.glass_mesh())
    numbers = measure(glass)
    assert numbers.mass_g == pytest.approx(solid.volume / 1000 * DENSITY_G_CM3["soda-lime"], rel=1e-3)
    assert numbers.centre_mm == pytest.approx(solid.center_mass[2], abs=0.02)
    assert np.abs(solid.center_mass[:2]).max() < 1e-6


@pytest.mark.parametrize("name", ["rocks", "tasting"])
def test_filled_glass_is_as_heavy_as_glass_and_drink_together(name):
    """Independent route: trimesh's centres of both meshes, the drink's without its overlap into the glass."""
    glass = plain(name)
    level_mm = glass.base_mm + 0.6 * (glass.height_mm - glass.base_mm)
    filled = measure(glass, [level_mm]).fills[0]
    body, drink = (merged(mesh) for mesh in (glass.glass_mesh(0.6), glass.drink_mesh(level_mm, 0.6)))
    masses = np.array([body.volume / 1000 * 2.5, glass.capacity_ml(level_mm) * WATER_G_CM3])
    assert filled.mass_g == pytest.approx(masses.sum(), rel=1e-3)
    centre_mm = masses @ [body.center_mass[2], drink.center_mass[2]] / masses.sum()
    # The overlap of 0.05 mm lowers and widens the drink.
    assert filled.centre_mm == pytest.approx(centre_mm, abs=0.05)
    assert filled.volume_ml == glass.capacity_ml(level_mm)


def test_crystal_and_water_are_as_dense_as_published(published):
    """published_values.yaml#refractive_index/crystal_glass_categories (lead crystal 24 %, least density) and
    #refractive_index/water_temperature at 20 C."""
    categories = published["refractive_index"]["crystal_glass_categories"]["value"]
    lead = next(entry for entry in categories if entry["cat"] == 2)
    assert DENSITY_G_CM3["crystal"] == lead["density_min"]
    water = published["refractive_index"]["water_temperature"]
    assert WATER_G_CM3 == pytest.approx(water["value"][20]["density_kg_m3"] / 1000, abs=1e-6)


def test_mass_follows_the_density_and_the_centre_does_not():
    glass = plain("rocks")
    lime, lead = measure(glass), measure(glass, made_of="crystal")
    assert lead.mass_g / lime.mass_g == pytest.approx(2.9 / 2.5, rel=1e-12)
    assert lead.centre_mm == lime.centre_mm and lead.stability_deg == lime.stability_deg


def test_glass_with_a_square_foot_tips_when_its_centre_passes_the_edge():
    """tan(tilt) = foot radius / height of the centre."""
    glass = _straight()
    numbers = measure(glass)
    expected_deg = np.degrees(np.arctan(35 / numbers.centre_mm))
    assert numbers.stability_deg == pytest.approx(expected_deg, abs=1e-6)


def test_round_heel_lets_it_roll_and_tip_earlier():
    """It rests under the heel's own centre: tan(tilt) = (R - heel) / (centre - heel)."""
    numbers = measure(_straight(heel_mm=4.0))
    expected_deg = np.degrees(np.arctan((35 - 4) / (numbers.centre_mm - 4)))
    # The heel's arc is a polygon with a point each quarter degree.
    assert numbers.stability_deg == pytest.approx(expected_deg, abs=0.02)
    assert numbers.stability_deg < np.degrees(np.arctan(35 / numbers.centre_mm))


def _tipping_by_columns(numbers, inner_mm, floor_mm, level_mm, foot_mm, glass_g, glass_centre_mm):
    """Return the tilt at which a straight glass tips, its drink cut into upright columns, degrees."""
    grid = (np.arange(401) - 200) / 200 * inner_mm
    x, y = np.meshgrid(grid, grid)
    x = x[x**2 + y**2 < inner_mm**2]
    drink_g = numbers.fills[0].mass_g - glass_g
    low, high = 1.0, 60.0
    for _ in range(40):
        tilt = np.radians((low + high) / 2)
        top = level_mm + x * np.tan(tilt)
        assert top.min() > floor_mm, "the drink must cover the floor"
        share = (top - floor_mm) / (top - floor_mm).sum()
        drink = np.array([(share * x).sum(), (share * (top + floor_mm) / 2).sum()])
        centre = (drink_g * drink + glass_g * np.array([0, glass_centre_mm])) / (drink_g + glass_g)
        over_edge = (foot_mm - centre[0]) * np.cos(tilt) - centre[1] * np.sin(tilt)
        low, high = (np.degrees(tilt), high) if over_edge > 0 else (low, np.degrees(tilt))
    return low


def test_moving_drink_tips_a_straight_glass_as_its_columns_do():
    """Independent route: the tilted drink summed column by column on a grid of 400."""
    glass = _straight(base_mm=10.0, height_mm=150.0)
    numbers = measure(glass, [75.0])
    by_columns = _tipping_by_columns(numbers, 33.5, 10.0, 75.0, 35.0, numbers.mass_g, numbers.centre_mm)
    assert numbers.fills[0].stability_deg == pytest.approx(by_columns, abs=0.1)
    frozen_deg = tip_deg(glass.outer, numbers.fills[0].centre_mm)
    assert numbers.fills[0].stability_deg < frozen_deg - 1


@pytest.mark.parametrize("name", ["tumbler", "pint", "flute", "coupe"])
def test_full_glass_is_less_stable_than_an_empty_one(name):
    glass = plain(name)
    numbers = measure(glass, [0.95 * glass.height_mm])
    assert numbers.fills[0].stability_deg < numbers.stability_deg


def test_belly_holds_a_decanter_that_has_left_its_foot():
    """Past the tilt that its foot alone allows, it rests on its belly."""
    numbers = measure(plain("decanter"))
    foot_alone_deg = np.degrees(np.arctan(plain("decanter").foot_radius_mm / numbers.centre_mm))
    assert numbers.stability_deg > foot_alone_deg + 10


def test_can_weighs_what_an_empty_one_does():
    """About 13 g for 330 ml (from memory); the room is 330 ml and a head space."""
    numbers = measure(plain("can"))
    assert numbers.made_of == "aluminium"
    assert numbers.mass_g == pytest.approx(13, abs=2)
    assert numbers.capacity_ml == pytest.approx(sweep(plain("can").inner)[0] / 1000, rel=1e-12)


@pytest.mark.parametrize("name", OPEN)
def test_numbers_of_every_glass_are_told(name):
    glass = plain(name)
    level_mm = glass.fill_height_for_ml(0.5 * glass.capacity_ml())
    numbers = measure(glass, [glass.base_mm, level_mm])
    assert [fill.volume_ml for fill in numbers.fills] == pytest.approx([0, glass.capacity_ml() / 2], abs=1e-5)
    assert numbers.fills[0].mass_g == numbers.mass_g
    told = dict(describe(numbers))
    assert told["capacity to the brim"] == f"{glass.capacity_ml():.0f} ml"
    assert f"filled to {round(level_mm, 1):g} mm" in told
    assert 0 < numbers.centre_mm < glass.height_mm and 5 < numbers.stability_deg < 70


def test_what_is_not_there_is_named():
    with pytest.raises(ValueError, match="the inside goes from 18 to 92 mm"):
        measure(plain("rocks"), [12.0])
    with pytest.raises(ValueError, match="'tin' is not known; there are soda-lime"):
        measure(plain("rocks"), made_of="tin")
