"""Media against published lines, Abbe numbers, strengths and transmittances.

The values and their sources stand in ``tests/reference/published_values.yaml``.
"""

import numpy as np
import pytest

from brimcast.scene import liquids, materials
from brimcast.scene.media import D_NM, Medium
from brimcast.shared.bands import GRID_NM

MEDIA = [
    materials.soda_lime(),
    materials.crystal(),
    materials.borosilicate(),
    materials.acrylic(),
    materials.fused_silica(),
    materials.ice(),
    materials.water(),
    materials.spirit(40),
    materials.syrup(50),
    materials.beer(10),
]


def tell_index(medium, line_nm, lines):
    """Return the index of a medium at named lines, and the published one, as two arrays."""
    return (
        medium.index_at([line_nm[name] for name in lines]),
        np.array(list(lines.values())),
    )


@pytest.fixture(scope="module")
def indices(published):
    return published["refractive_index"]


@pytest.fixture(scope="module")
def absorptions(published):
    return published["absorption"]


@pytest.fixture(scope="module")
def line_nm(indices):
    return indices["fraunhofer_lines_nm"]["value"]


@pytest.mark.parametrize("name, make", [
    ("fused_silica_lines", materials.fused_silica),
    ("soda_lime_lines", materials.soda_lime),
    ("ice_Ih", materials.ice),
])  # fmt: skip
def test_index_of_solid_meets_the_published_lines(indices, line_nm, name, make):
    """published_values.yaml#refractive_index/fused_silica_lines, soda_lime_lines, ice_Ih."""
    got, expected = tell_index(make(), line_nm, indices[name]["value"])
    np.testing.assert_allclose(got, expected, rtol=0, atol=indices[name]["tolerance"])


def test_soda_lime_follows_its_formula(indices, line_nm):
    """published_values.yaml#refractive_index/soda_lime_lines: 1e-6 for a test of the formula itself."""
    got, expected = tell_index(materials.soda_lime(), line_nm, indices["soda_lime_lines"]["value"])
    np.testing.assert_allclose(got, expected, rtol=0, atol=1e-6)


@pytest.mark.parametrize("name, make", [
    ("fused_silica_abbe", materials.fused_silica),
    ("soda_lime_abbe", materials.soda_lime),
    ("water_20C_abbe", materials.water),
])  # fmt: skip
def test_abbe_number_meets_the_published_one(indices, name, make):
    """published_values.yaml#refractive_index/fused_silica_abbe, soda_lime_abbe, water_20C_abbe."""
    assert make().abbe == pytest.approx(indices[name]["value"], abs=indices[name]["tolerance"])


@pytest.mark.parametrize("name", [
    "borosilicate_crown_517642", "extra_light_flint_548458", "flint_620364",
])  # fmt: skip
def test_two_numbers_give_the_published_curve(indices, line_nm, name):
    """published_values.yaml#refractive_index/borosilicate_crown_517642 and the two flints."""
    entry = indices[name]
    numbers = entry["value"]
    medium = materials.plain(numbers["n_d"], numbers["V_d"])
    got, expected = tell_index(medium, line_nm, numbers["cauchy"]["lines"])
    np.testing.assert_allclose(got, expected, rtol=0, atol=entry["tolerance"])
    # The lines above are rounded to 1e-5; that the curve runs through both numbers is exact.
    assert medium.index_at(line_nm["d"]) == pytest.approx(numbers["n_d"], abs=1e-6)
    assert medium.abbe == pytest.approx(numbers["V_d"], rel=1e-4)


def test_crystal_is_the_published_flint_and_passes_for_lead_crystal(indices, line_nm):
    """published_values.yaml#refractive_index/extra_light_flint_548458, crystal_glass_categories (n_D)."""
    entry = indices["extra_light_flint_548458"]
    got, expected = tell_index(materials.crystal(), line_nm, entry["value"]["cauchy"]["lines"])
    np.testing.assert_allclose(got, expected, rtol=0, atol=entry["tolerance"])
    least = indices["crystal_glass_categories"]["value"][1]["n_D_min"]
    assert materials.crystal().index_at(line_nm["D"]) >= least


def test_acrylic_meets_the_published_lines(indices, line_nm):
    """published_values.yaml#refractive_index/pmma; its Abbe number within 5, as the entry warns."""
    entry = indices["pmma"]
    got, expected = tell_index(materials.acrylic(), line_nm, entry["value"]["lines"])
    np.testing.assert_allclose(got, expected, rtol=0, atol=entry["tolerance"])
    assert materials.acrylic().abbe == pytest.approx(entry["value"]["V_d"], abs=5)


def test_water_times_air_meets_the_published_lines_in_vacuum(indices, line_nm):
    """published_values.yaml#refractive_index/water_20C_lines (relative to vacuum)."""
    entry = indices["water_20C_lines"]
    got, expected = tell_index(materials.water(), line_nm, entry["value"])
    in_vacuum = got * liquids.air_index([line_nm[name] for name in entry["value"]])
    np.testing.assert_allclose(in_vacuum, expected, rtol=0, atol=entry["tolerance"])


def test_water_is_given_relative_to_air(indices, line_nm):
    """published_values.yaml#refractive_index/vacuum_to_air."""
    entry = indices["vacuum_to_air"]
    value, tolerance = entry["value"], entry["tolerance"]
    assert liquids.air_index(line_nm["d"]) == pytest.approx(value["n_air_d"], abs=tolerance)
    # The entry's water is rounded to 1e-5.
    assert materials.water().index_at(line_nm["D"]) == pytest.approx(value["water_20C_D_air"], abs=5e-6)


def test_strength_by_volume_becomes_mass_and_density(indices):
    """published_values.yaml#refractive_index/abv_to_mass."""
    entry = indices["abv_to_mass"]
    for abv_percent, row in entry["value"].items():
        mass = liquids.alcohol_mass_percent(abv_percent)
        assert mass == pytest.approx(row["mass_percent"], abs=entry["tolerance"]["mass_percent"])
        density = liquids.spirit_density_kg_m3(mass)
        assert density == pytest.approx(row["density_kg_m3"], abs=entry["tolerance"]["density"])


def test_strength_by_mass_and_by_volume_agree_at_the_ends():
    np.testing.assert_allclose(liquids.alcohol_mass_percent([0, 100]), [0, 100], atol=1e-9)


def test_spirits_meet_the_published_index(indices):
    """published_values.yaml#refractive_index/spirits_nD_by_abv (from memory)."""
    entry = indices["spirits_nD_by_abv"]
    for abv_percent, expected in entry["value"].items():
        got = materials.spirit(abv_percent).index_at(D_NM)
        assert got == pytest.approx(expected, abs=entry["tolerance"])


def test_spirit_follows_the_table_by_mass(indices):
    """published_values.yaml#refractive_index/ethanol_water_nD (from memory)."""
    entry = indices["ethanol_water_nD"]
    strengths = np.linspace(0, 100, 201)
    mass_percent = liquids.alcohol_mass_percent(strengths)
    for percent, expected in entry["value"].items():
        strength = np.interp(percent, mass_percent, strengths)
        got = materials.spirit(strength).index_at(D_NM)
        assert got == pytest.approx(expected, abs=entry["tolerance"])


def test_spirit_bends_most_at_the_published_composition(indices):
    """published_values.yaml#refractive_index/ethanol_water_maximum."""
    entry = indices["ethanol_water_maximum"]
    strengths = np.linspace(60, 100, 161)
    index = [materials.spirit(strength).index_at(D_NM) for strength in strengths]
    strongest = liquids.alcohol_mass_percent(strengths[np.argmax(index)])
    assert strongest == pytest.approx(entry["value"], abs=entry["tolerance"])


def test_pure_alcohol_meets_the_published_lines(indices, line_nm):
    """published_values.yaml#refractive_index/ethanol_lines: dispersion comes from an independent fit."""
    entry = indices["ethanol_lines"]
    got, expected = tell_index(materials.spirit(100), line_nm, entry["value"])
    np.testing.assert_allclose(got, expected, rtol=0, atol=entry["tolerance"])


def test_spirit_without_alcohol_and_syrup_without_sugar_are_water():
    for medium in (materials.spirit(0), materials.syrup(0)):
        np.testing.assert_allclose(medium.index, materials.water().index, atol=1e-5)
        np.testing.assert_allclose(medium.absorption_per_mm, materials.water().absorption_per_mm, rtol=1e-3)


def test_spirit_is_not_mixed_linearly_by_volume(indices):
    """published_values.yaml#refractive_index/ethanol_water_nD: that errs by up to 1.2e-2."""
    linear = 0.4 * materials.spirit(100).index + 0.6 * materials.water().index
    assert (materials.spirit(40).index - linear).max() > 5e-3


@pytest.mark.parametrize("name", ["sucrose_nD_handbook", "sucrose_nD_scale"])
def test_syrup_meets_both_published_sugar_scales(indices, name):
    """published_values.yaml#refractive_index/sucrose_nD_handbook (read), sucrose_nD_scale (from memory)."""
    entry = indices[name]
    tolerance = entry["tolerance"]["n"] if isinstance(entry["tolerance"], dict) else entry["tolerance"]
    for brix, row in entry["value"].items():
        expected = row["n_D"] if isinstance(row, dict) else row
        assert materials.syrup(brix).index_at(D_NM) == pytest.approx(expected, abs=tolerance)


def test_water_absorbs_as_published(absorptions):
    """published_values.yaml#absorption/water_absorption, water_absorption_minimum, water_glass_is_clear."""
    water = materials.water().absorption_per_mm * 1000
    for nm, expected in absorptions["water_absorption"]["value"].items():
        assert np.interp(nm, GRID_NM, water) == pytest.approx(expected, rel=0.05, abs=6e-4)

    entry = absorptions["water_absorption_minimum"]
    assert water.min() == pytest.approx(entry["value"]["value"], abs=entry["tolerance"]["value"])
    assert GRID_NM[water.argmin()] == pytest.approx(entry["value"]["at_nm"], abs=entry["tolerance"]["at_nm"])

    entry = absorptions["water_glass_is_clear"]
    for nm, expected in entry["value"].items():
        got = np.exp(-80 * np.interp(nm, GRID_NM, water) / 1000)
        assert got == pytest.approx(expected, abs=entry["tolerance"])


@pytest.mark.parametrize("tint", materials.TINTS)
def test_soda_lime_absorbs_as_published(absorptions, tint):
    """published_values.yaml#absorption/soda_lime_absorption_clear and the other four, 10 %."""
    expected = absorptions[f"soda_lime_absorption_{tint.replace('-', '')}"]["value"]
    got = np.interp(list(expected), GRID_NM, materials.soda_lime(tint).absorption_per_mm * 1000)
    np.testing.assert_allclose(got, list(expected.values()), rtol=0.10)


def test_ice_absorbs_as_published(absorptions):
    """published_values.yaml#absorption/ice_absorption, 30 %."""
    expected = absorptions["ice_absorption"]["value"]
    got = np.interp(list(expected), GRID_NM, materials.ice().absorption_per_mm * 1000)
    np.testing.assert_allclose(got, list(expected.values()), rtol=0.30)


def test_beer_read_against_water_transmits_as_published(absorptions):
    """published_values.yaml#absorption/beer_transmittance_examples, 2 % (formula)."""
    for row in absorptions["beer_transmittance_examples"]["value"]:
        beyond_water = materials.beer(row["SRM"]).absorption_per_mm - materials.water().absorption_per_mm
        got = np.exp(-np.interp(row["nm"], GRID_NM, beyond_water) * row["path_cm"] * 10)
        assert got == pytest.approx(row["T"], rel=0.02)


def test_colour_of_beer_follows_its_definition_and_its_mean_spectrum(absorptions):
    """published_values.yaml#absorption/beer_srm_definition, beer_mean_spectrum, linner_hue_index."""
    factor = absorptions["beer_srm_definition"]["value"]["SRM_factor"]
    decadic_per_cm = liquids.beer_colour_per_mm(factor) * 10 / np.log(10)
    for nm, expected in absorptions["beer_mean_spectrum"]["value"].items():
        # The formula itself: rounded to 1e-5.
        assert np.interp(nm, GRID_NM, decadic_per_cm) == pytest.approx(expected, abs=1e-5)
    at_510, at_610 = np.interp([510, 610], GRID_NM, decadic_per_cm)
    hue = absorptions["linner_hue_index"]["value"]["mean_beer_model"]
    assert 10 * np.log10(at_510 / at_610) == pytest.approx(hue, abs=5e-4)


def test_beer_bends_as_its_alcohol_and_its_extract_do():
    np.testing.assert_allclose(materials.beer(5, 0, 0).index, materials.water().index, atol=1e-12)
    np.testing.assert_allclose(materials.beer(5, 6, 0).index, materials.spirit(6).index, atol=1e-12)
    assert (materials.beer(5, 6, 4).index > materials.spirit(6).index).all()


@pytest.mark.parametrize("medium", MEDIA, ids=lambda medium: medium.name)
def test_dispersion_is_normal_and_smooth(medium):
    """Blue bends more than red, ever more steeply: no step of a table reaches a colour fringe."""
    slope = np.diff(medium.index)
    assert (slope < 0).all()
    assert (np.diff(slope) > 0).all()


def test_plain_without_abbe_number_bends_all_colours_alike():
    medium = materials.plain(1.5, absorption_per_mm=0.01)
    assert np.ptp(medium.index) == 0
    assert medium.abbe == np.inf
    assert (medium.absorption_per_mm == 0.01).all()


def test_media_stand_in_the_order_of_the_handbooks():
    """Common practice: ice, water, spirit, syrup, borosilicate, acrylic, soda-lime, crystal, rising."""
    media = (
        materials.ice(),
        materials.water(),
        materials.spirit(40),
        materials.syrup(30),
        materials.borosilicate(),
        materials.acrylic(),
        materials.soda_lime(),
        materials.crystal(),
    )
    assert np.all(np.diff([medium.index_at(D_NM) for medium in media]) > 0)


@pytest.mark.parametrize("call, words", [
    (lambda: materials.soda_lime("pink"), "low-iron"),
    (lambda: materials.spirit(101), "0 to 100"),
    (lambda: materials.syrup(-1), "0 to 85"),
    (lambda: materials.beer(-1), "0 SRM"),
    (lambda: materials.plain(0.9), "1 or more"),
    (lambda: materials.plain(1.5, -60), "positive"),
    (lambda: materials.plain(1.5, kind="stone"), "glass"),
    (lambda: Medium("short", "glass", np.ones(16), np.zeros(321)), "321"),
    (lambda: Medium("gain", "glass", np.ones(321), np.full(321, -1.0)), "0 or more"),
])  # fmt: skip
def test_wrong_numbers_are_refused_with_what_is_allowed(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_a_medium_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        materials.water().index[0] = 2
