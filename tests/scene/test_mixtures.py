"""Water, alcohol and sugar poured together, against published tables and by independent routes."""

import numpy as np
import pytest
from scipy.optimize import brentq

from brimcast.scene import liquids, materials
from brimcast.scene.media import D_NM
from brimcast.scene.mixtures import brew, mix, prepare
from brimcast.shared.bands import GRID_NM

WATER, ALCOHOL = prepare(), prepare(100)


@pytest.mark.parametrize("abv", [0, 5, 12.5, 40, 60, 96, 100])
def test_spirit_without_sugar_is_the_spirit(abv):
    got, expected = brew(prepare(abv), "spirit"), materials.spirit(abv)
    np.testing.assert_allclose(got.index, expected.index, rtol=0, atol=1e-9)
    np.testing.assert_allclose(got.absorption_per_mm, expected.absorption_per_mm, rtol=1e-6, atol=1e-12)
    assert got.density_kg_m3 == pytest.approx(expected.density_kg_m3, rel=1e-9)


@pytest.mark.parametrize("brix", [0.5, 3, 10, 30, 65, 85])
def test_syrup_without_alcohol_is_the_syrup(brix):
    """Within a third of the sugar scale's own tolerance, 3e-5 (published_values.yaml#.../sucrose_nD_scale).

    Under 5 Brix the sugar's own room and refraction are those at 5: it is too little to tell them from.
    """
    got, expected = brew(prepare(0, brix), "syrup"), materials.syrup(brix)
    np.testing.assert_allclose(got.index, expected.index, rtol=0, atol=1e-5)
    assert got.density_kg_m3 == pytest.approx(expected.density_kg_m3, abs=0.02)


def test_density_of_spirits_and_syrups_is_published(published):
    """published_values.yaml#refractive_index/abv_to_mass, sucrose_nD_handbook, water_temperature."""
    values = published["refractive_index"]
    entry = values["abv_to_mass"]
    for abv, row in entry["value"].items():
        density = brew(prepare(abv), "spirit").density_kg_m3
        assert density == pytest.approx(row["density_kg_m3"], abs=entry["tolerance"]["density"])
    entry = values["sucrose_nD_handbook"]
    for brix, row in entry["value"].items():
        medium = brew(prepare(0, brix), "syrup")
        assert medium.density_kg_m3 == pytest.approx(row["density_kg_m3"], abs=entry["tolerance"]["density"])
        assert medium.index_at(D_NM) == pytest.approx(row["n_D"], abs=entry["tolerance"]["n"])
    water = values["water_temperature"]
    expected = water["value"][20]["density_kg_m3"]
    assert materials.water().density_kg_m3 == pytest.approx(expected, abs=water["tolerance"]["density"])


def test_alcohol_and_water_take_less_room_than_apart():
    """50 ml and 50 ml become about 96.4 ml at 20 C, textbook; from memory."""
    mixed = mix([50, 50], [ALCOHOL, WATER])
    assert 50 / (mixed.abv_percent / 100) == pytest.approx(96.4, abs=0.15)


def test_thinning_takes_the_water_that_the_table_says():
    """1000 ml of 95 % vol with 1444 ml of water are 40 % vol: thinning table of Fertman, from memory."""
    needed = brentq(lambda ml: mix([1000, ml], [prepare(95), WATER]).abv_percent - 40, 1000, 2000)
    assert needed == pytest.approx(1444, abs=3)


def test_mixing_keeps_every_mass():
    parts, recipes = [3.0, 2.0, 1.0], [prepare(40), prepare(0, 65), prepare(17, 15)]
    mixed = mix(parts, recipes)
    volume = sum(parts_i * one.density_kg_m3 for parts_i, one in zip(parts, recipes, strict=True))
    volume /= mixed.density_kg_m3
    for name in ("ethanol_kg_m3", "sugar_kg_m3", "water_kg_m3"):
        poured = sum(p * getattr(one, name) for p, one in zip(parts, recipes, strict=True))
        assert volume * getattr(mixed, name) == pytest.approx(poured, rel=1e-12)
    assert volume < sum(parts)
    # And the strength and sugar that it then has make the same drink.
    again = prepare(mixed.abv_percent, mixed.brix)
    assert again.density_kg_m3 == pytest.approx(mixed.density_kg_m3, rel=1e-9)


def test_mixing_with_itself_changes_nothing_and_order_does_not_count():
    one, other = prepare(30, 12, 0.02), prepare(5, 40, 0.001)
    same = mix([1, 2], [one, one])
    assert same.density_kg_m3 == pytest.approx(one.density_kg_m3, rel=1e-9)
    np.testing.assert_allclose(same.colour_per_mm, one.colour_per_mm, rtol=1e-9)
    here, there = mix([1, 3], [one, other]), mix([3, 1], [other, one])
    assert here.density_kg_m3 == pytest.approx(there.density_kg_m3, rel=1e-12)


@pytest.mark.parametrize(
    ("abv", "brix", "off"), [(12.5, 2.5, 0.05), (11, 10, 0.15), (25, 30, 0.7), (40, 5, 0.7)]
)
def test_sweet_drinks_have_the_density_of_tabarie(abv, brix, off):
    """The extract weighs as without the alcohol: d_r = d_v - d_a + 1, OIV-MA-AS2-03B (total dry matter).

    Made for wine; for liqueurs it is a rule, hence the wider limits (kg/m3).
    """
    recipe = prepare(abv, brix)
    alone = brentq(lambda b: b / 100 * liquids.syrup_density_kg_m3(b) - recipe.sugar_kg_m3, 0, 80)
    expected = materials.spirit(abv).density_kg_m3 + liquids.syrup_density_kg_m3(alone) - 998.2
    assert recipe.density_kg_m3 == pytest.approx(expected, abs=off)


def test_beer_by_its_parts_is_the_beer():
    """Two routes: what alcohol and extract each do added, and the mixture's refraction."""
    got, expected = brew(prepare(5, 4), "beer"), materials.beer(8)
    np.testing.assert_allclose(got.index, expected.index, rtol=0, atol=5e-5)
    assert got.density_kg_m3 == pytest.approx(expected.density_kg_m3, abs=0.2)


def test_mixed_spirits_are_not_mixed_linearly_by_volume(published):
    """published_values.yaml#refractive_index/ethanol_water_nD: linear mixing errs by up to 1.2e-2."""
    mixed = brew(mix([1, 1], [ALCOHOL, WATER]), "mixed")
    table = published["refractive_index"]["ethanol_water_nD"]
    mass_percent = 100 * mix([1, 1], [ALCOHOL, WATER]).ethanol_kg_m3 / mixed.density_kg_m3
    expected = np.interp(mass_percent, list(table["value"]), list(table["value"].values()))
    # Straight lines between the table's points lie up to 2e-4 under the curve.
    assert mixed.index_at(D_NM) == pytest.approx(expected, abs=table["tolerance"] + 2e-4)
    linear = (materials.spirit(100).index_at(D_NM) + materials.water().index_at(D_NM)) / 2
    assert abs(mixed.index_at(D_NM) - linear) > 8e-3


def test_colour_and_cloud_thin_out_with_the_volume():
    milk = prepare(0, 10, 0.01, 2.0, 0.9)
    thin = mix([1, 3], [milk, WATER])
    volume = mix([1, 3], [prepare(0, 10), WATER]).density_kg_m3
    share = 1 / (1 * milk.density_kg_m3 + 3 * WATER.density_kg_m3) * volume
    np.testing.assert_allclose(thin.colour_per_mm, 0.01 * share, rtol=1e-9)
    np.testing.assert_allclose(thin.scattering_per_mm, 2.0 * share, rtol=1e-9)
    assert thin.anisotropy == pytest.approx(0.9)
    assert brew(thin, "thin").scattering_per_mm.shape == GRID_NM.shape


def test_surface_tension_falls_with_strength(published):
    """Water as published_values.yaml#ice_and_condensation/capillary_length says; spirits lie far lower."""
    assert "72.75" in published["ice_and_condensation"]["capillary_length"]["conditions"]
    assert WATER.tension_mn_m == 72.75
    tensions = [prepare(abv).tension_mn_m for abv in (0, 5, 12, 40, 70, 100)]
    assert all(np.diff(tensions) < 0) and tensions[3] < 35


@pytest.mark.parametrize(
    ("abv", "brix", "words"),
    [(101, 0, "0 to 100 %"), (-1, 0, "0 to 100 %"), (0, 86, "0 to 85 Brix"), (95, 30, "leave no water")],
)
def test_drinks_that_cannot_be_are_refused(abv, brix, words):
    with pytest.raises(ValueError, match=words):
        prepare(abv, brix)
