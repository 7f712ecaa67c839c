"""Glasses of the library and from calliper readings."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimcast.vessels.library import SHAPES, vessel, vessel_from_outline
from brimcast.vessels.mesh import check, merged
from brimcast.vessels.outline import OutlineError


def _outer_diameter_mm(mesh, low_mm, high_mm):
    """Return least and largest distance of a glass's outside from the axis, doubled, between two heights."""
    z = mesh.vertices_mm[:, 2]
    outward = np.einsum("ij,ij->i", mesh.normals[:, :2], mesh.vertices_mm[:, :2]) > 0
    chosen = outward & (z >= low_mm) & (z <= high_mm)
    radii = np.hypot(*mesh.vertices_mm[chosen, :2].T)
    return 2 * radii.min(), 2 * radii.max()


def test_tasting_glass_has_the_measures_of_the_standard(published):
    """published_values.yaml#vessel_geometry/iso3591_wine_glass, read off the mesh."""
    entry = published["vessel_geometry"]["iso3591_wine_glass"]
    value, tolerance = entry["value"], entry["tolerance"]
    glass = vessel("tasting")
    mesh = glass.glass_mesh()
    total_mm = mesh.bounds_mm[1, 2]
    stem_mm, _ = _outer_diameter_mm(mesh, 15, 50)
    _, widest_mm = _outer_diameter_mm(mesh, value["stem_and_foot"], total_mm)
    _, foot_mm = _outer_diameter_mm(mesh, 0, 5)
    _, rim_mm = _outer_diameter_mm(mesh, total_mm - 1, total_mm)
    seen = {
        "total_height": total_mm,
        "bowl_height": total_mm - glass.base_mm,
        "rim_diameter": rim_mm,
        "widest_diameter": widest_mm,
        "stem_diameter": stem_mm,
        "foot_diameter": foot_mm,
        "wall_thickness": glass.thinnest_mm,
    }
    for name, measured in seen.items():
        assert measured == pytest.approx(value[name], abs=tolerance[name]), name


def test_tasting_glass_holds_what_the_standard_says(published):
    """published_values.yaml#vessel_geometry/iso3591_wine_glass: to the brim 205 to 225 ml."""
    entry = published["vessel_geometry"]["iso3591_wine_glass"]
    assert vessel("tasting").capacity_ml() == pytest.approx(
        entry["value"]["capacity_ml"], abs=entry["tolerance"]["capacity_ml"]
    )


def test_oil_glass_from_the_standards_measures_holds_what_it_says(published):
    """published_values.yaml#vessel_geometry/iso16657_oil_glass: two cones, as verified there."""
    entry = published["vessel_geometry"]["iso16657_oil_glass"]
    value = entry["value"]
    readings = [(0, value["base"]), (value["height"] / 3, value["widest"]), (value["height"], value["mouth"])]
    glass = vessel_from_outline(readings, value["side_thickness"], value["base_thickness"], [1])
    assert glass.capacity_ml() == pytest.approx(value["capacity_ml"], abs=entry["tolerance"]["capacity_ml"])


@pytest.mark.parametrize("name", SHAPES)
def test_glass_is_a_sound_solid(name):
    glass = vessel(name)
    mesh = check(glass.glass_mesh())
    solid = merged(mesh)
    assert solid.is_volume and solid.euler_number == 2
    # Independent route for the volume: Pappus on shapely's section.
    section = shapely.Polygon(glass.section.points_mm)
    assert section.is_valid
    assert mesh.volume_mm3 == pytest.approx(2 * np.pi * section.centroid.x * section.area, rel=2e-3)
    assert mesh.bounds_mm[:, 2] == pytest.approx([0, glass.height_mm], abs=1e-6)
    assert 40_000 < len(mesh.faces) < 300_000


@pytest.mark.parametrize("name", SHAPES)
def test_coarse_glass_is_sound_too(name):
    glass = vessel(name)
    coarse = check(glass.glass_mesh(detail=0.25))
    assert len(coarse.faces) < len(glass.glass_mesh().faces) / 4
    assert np.abs(np.linalg.norm(coarse.normals, axis=1) - 1).max() < 1e-12


@pytest.mark.parametrize(
    ("name", "asked"),
    [
        ("highball", dict(height_mm=160, diameter_mm=66, foot_diameter_mm=58, wall_mm=1.8, base_mm=9)),
        ("tasting", dict(height_mm=170, diameter_mm=70, rim_diameter_mm=50, foot_diameter_mm=68)),
    ],
)
def test_measures_asked_for_are_those_of_the_glass(name, asked):
    glass = vessel(name, **asked)
    mesh = check(glass.glass_mesh(detail=0.5))
    assert mesh.bounds_mm[1, 2] == pytest.approx(asked["height_mm"], abs=1e-6)
    # The round rim takes up to a wall's slope off the widest circle of a glass that opens upward.
    assert 2 * mesh.bounds_mm[1, 0] == pytest.approx(asked["diameter_mm"], abs=0.1)
    assert 2 * glass.foot_radius_mm == pytest.approx(asked["foot_diameter_mm"], abs=1e-9)
    if "rim_diameter_mm" in asked:
        assert 2 * glass.rim_radius_mm == pytest.approx(asked["rim_diameter_mm"], abs=1e-9)
    if "wall_mm" in asked:
        assert glass.thinnest_mm == pytest.approx(asked["wall_mm"], abs=1e-3)
    if "base_mm" in asked:
        assert glass.base_mm == pytest.approx(asked["base_mm"], abs=1e-9)


def test_diameters_not_asked_for_keep_their_proportion_and_the_stem_stays():
    glass = vessel("tasting", diameter_mm=130.0)
    assert 2 * glass.rim_radius_mm == pytest.approx(2 * 46)
    assert 2 * glass.foot_radius_mm == pytest.approx(2 * 65)
    stem_mm, _ = _outer_diameter_mm(glass.glass_mesh(detail=0.5), 15, 50)
    assert stem_mm == pytest.approx(9, abs=0.008)  # the chord error at this detail


@pytest.mark.parametrize(
    ("name", "asked", "text"),
    [
        ("teacup", {}, "no glass is called 'teacup'; there are highball"),
        ("tasting", {"base_mm": 5}, "tasting has no base_mm; it has height_mm, foot_diameter_mm"),
        ("highball", {"rim_diameter_mm": 70}, "highball has no rim_diameter_mm"),
        ("highball", {"wall_mm": -1}, "wall_mm: -1 mm; it must be more than 0"),
        ("highball", {"wall_mm": 40}, "thicker than the glass's radius"),
    ],
)
def test_what_a_glass_does_not_have_is_named(name, asked, text):
    with pytest.raises(ValueError, match=text):
        vessel(name, **asked)


def test_wrong_reading_is_named_by_its_index():
    with pytest.raises(OutlineError, match="point 3") as caught:
        vessel_from_outline([(0, 60), (50, 66), (40, 68)], 2.0, 8.0)
    assert caught.value.index == 2


def test_plain_readings_give_a_flat_base_and_a_stem_a_round_one():
    tumbler = vessel_from_outline([(0, 60), (50, 64), (100, 66)], 2.0, 8.0)
    goblet = [(0, 65), (2, 60), (8, 12), (20, 9), (60, 9), (70, 30), (90, 62), (120, 66)]
    stemmed = vessel_from_outline(goblet, 1.0, 72.0)
    assert tumbler.inner.at(tumbler.inner.place_at_height(8.001))[0][0] > 15
    assert stemmed.inner.at(stemmed.inner.place_at_height(72.001))[0][0] < 1


@settings(max_examples=12, deadline=None)
@given(
    diameters=st.lists(st.floats(50, 90), min_size=2, max_size=5),
    step_mm=st.floats(18, 40),
    wall_mm=st.floats(0.8, 3.5),
    base_mm=st.floats(4, 14),
    level=st.floats(0.05, 0.95),
)
def test_readings_of_a_tumbler_give_sound_meshes(diameters, step_mm, wall_mm, base_mm, level):
    readings = [(k * step_mm, diameter) for k, diameter in enumerate(diameters)]
    glass = vessel_from_outline(readings, wall_mm, base_mm, fillet_mm=2.0, heel_mm=1.0, hollow_mm=0.4)
    body = check(glass.glass_mesh(detail=0.3))
    drink = check(glass.drink_mesh(glass.base_mm + level * (glass.height_mm - glass.base_mm), detail=0.3))
    assert 0 < drink.volume_mm3 < glass.capacity_ml() * 1000 * 1.02
    outside = shapely.Polygon([*glass.outer.points_mm, (0, glass.height_mm)])
    swept = 2 * np.pi * outside.centroid.x * outside.area / 1000
    assert swept - glass.capacity_ml() == pytest.approx(body.volume_mm3 / 1000, rel=0.01)
