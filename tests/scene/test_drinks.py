"""Drinks of a set: each way of saying what is in a glass, its bodies, and what is wrong with it."""

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.built import MAX_MEDIA
from brimcast.scene.drinks import foam_medium, medium_of, name_liquid
from brimcast.scene.models_drinks import Head
from brimcast.scene.pouring import Froth, pour, tell_unstable
from brimcast.shared.bands import GRID_NM
from brimcast.shared.errors import PersonError
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import check


def _set(drink, glass="vessel: tumbler"):
    return f"brimcast: 1\nglasses:\n  hero: {{{glass}, drink: {{{drink}}}}}\nlamps:\n  key: {{}}\n"


def _read(drink, glass="vessel: tumbler"):
    return setfile.parse(_set(drink, glass))


def _medium(liquid):
    return medium_of(_read(f"liquid: {liquid}").glasses["hero"].drink.liquid)


def _fault(drink, glass="vessel: tumbler", file="set"):
    with pytest.raises(PersonError) as caught:
        build(setfile.parse(_set(drink, glass), file), detail=0.3)
    (fault,) = caught.value.faults
    return fault


def test_beer_is_the_same_by_either_scale(published):
    """published_values.yaml#absorption/beer_srm_definition: 25 EBC are 12.7 SRM."""
    value = published["absorption"]["beer_srm_definition"]["value"]
    by_ebc = _medium(f"{{beer: {value['EBC_factor']} EBC}}")
    by_srm = _medium(f"{{beer: {value['SRM_factor']} SRM}}")
    assert np.array_equal(by_ebc.absorption_per_mm, by_srm.absorption_per_mm)
    # T(430 nm, 1 cm) = 0.1 at A = 1; water adds nothing that shows.
    assert np.exp(-10 * np.interp(430, GRID_NM, by_ebc.absorption_per_mm)) == pytest.approx(0.1, rel=1e-3)


def test_wine_has_the_colour_indices_that_were_measured(published):
    """published_values.yaml#absorption/wine_oiv_indices, red_wine_typical: intensity and shade come back."""
    published = published["absorption"]
    assert published["wine_oiv_indices"]["value"]["path_cm"] == 1
    wine = _medium("{wine: 13 % vol, absorbance: [2.8, 4.1, 0.9]}")
    water = _medium("water").absorption_per_mm * 0.84
    a420, a520, a620 = np.interp([420, 520, 620], GRID_NM, wine.absorption_per_mm - water) * 10 / np.log(10)
    typical = published["red_wine_typical"]["value"]
    assert a420 + a520 + a620 == pytest.approx(7.8, rel=1e-3)
    assert typical["intensity"][0] < a420 + a520 + a620 < typical["intensity"][1]
    assert a420 / a520 == pytest.approx(2.8 / 4.1, rel=1e-3)
    short = _medium("{wine: 13 % vol, absorbance: [0.28, 0.41, 0.09], path: 1 mm}")
    assert short.absorption_per_mm == pytest.approx(wine.absorption_per_mm, rel=1e-6)


def test_clear_drink_has_its_colour_at_its_path():
    """D65 through the way told, water included, as our own colours read it."""
    from brimcast.shared.colour import adaptation, decode_srgb, srgb_from_xyz, xyz_from_spectrum
    from brimcast.shared.spectra import daylight

    medium = _medium('{spirit: 40 % vol, tint: {colour: "#c8741f", at: 60 mm}}')
    light = daylight(6504.0)
    white = xyz_from_spectrum(light)
    seen = xyz_from_spectrum(light * np.exp(-60 * medium.absorption_per_mm)) / white[1] @ adaptation(white).T
    wanted = decode_srgb(np.array([0xC8, 0x74, 0x1F]) / 255)
    # Water takes up to 2 % of the red.
    assert srgb_from_xyz(seen) == pytest.approx(wanted, abs=0.01)
    assert medium.index == pytest.approx(_medium("{spirit: 40 % vol}").index)
    assert medium.absorption_per_mm.min() >= 0


def test_measured_table_is_found_beside_the_set(tmp_path):
    (tmp_path / "tea.csv").write_text(
        "wavelength nm,transmission %\n" + "".join(f"{nm},{nm / 8}\n" for nm in range(380, 701, 20))
    )
    path = tmp_path / "set.yaml"
    path.write_text(_set("liquid: {clear: {table: tea.csv, at: 10 mm}}"), encoding="utf-8")
    medium = build(setfile.read(path), detail=0.3).media[1]
    beyond = medium.absorption_per_mm - _medium("water").absorption_per_mm
    assert np.exp(-10 * np.interp([400, 560], GRID_NM, beyond)) == pytest.approx([0.5, 0.7], rel=1e-6)
    before = setfile.digest(setfile.read(path))
    (tmp_path / "tea.csv").write_text((tmp_path / "tea.csv").read_text().replace("400,50.0", "400,40.0"))
    assert setfile.digest(setfile.read(path)) != before
    medium = build(setfile.read(path), detail=0.3).media[1]
    beyond = medium.absorption_per_mm - _medium("water").absorption_per_mm
    assert np.exp(-10 * np.interp(400, GRID_NM, beyond)) == pytest.approx(0.4, rel=1e-6)


def test_mix_stands_between_its_parts_and_tells_its_strength():
    mix = "{mix: [{parts: 2, liquid: {spirit: 40 % vol}}, {liquid: {syrup: 65 Brix}}, {liquid: water}]}"
    model = _read(f"liquid: {mix}").glasses["hero"].drink.liquid
    assert name_liquid(model) == "a mix of 3, 20.1 % vol, 20.3 Brix"
    assert medium_of(model).density_kg_m3 == pytest.approx(1055.9, abs=0.5)


@pytest.mark.parametrize(
    "liquid",
    ["water", "{syrup: 65 Brix}", '{cordial: 11 Brix, tint: {colour: "#d02040", at: 60 mm}}', "red-wine",
     "{known: apple-juice}", "{beer: 30 EBC, strength: 8 % vol, extract: 6 Brix}", "{index: 1.4, abbe: 50}",
     '{clear: {red: 80 %, green: 50 %, blue: 10 %, at: 60 mm}, strength: 17 % vol, sugar: 12 Brix}',
     "{spirit: 25 % vol, sugar: 22 Brix}"],
)  # fmt: skip
def test_every_clear_drink_is_built(liquid):
    glass, drink = build(_read(f"liquid: {liquid}"), detail=0.3).media
    assert drink.kind == "drink" and not drink.scattering_per_mm.any()
    assert 980 - 30 < drink.density_kg_m3 < 1330 and glass.density_kg_m3 == 2500
    assert 1.33 < drink.index.min() and drink.absorption_per_mm.min() >= 0


LAYERS = (
    'layers: [{liquid: {cordial: 55 Brix, tint: {colour: "#8a1020", at: 20 mm}}, amount: 40 ml, '
    "blend: 8 mm}, "
    '{liquid: {cordial: 11 Brix, tint: {colour: "#f0b040", at: 40 mm}}, amount: 60 %}, '
    "{liquid: {spirit: 40 % vol}}], fill: 200 ml"
)


def test_layers_lie_on_one_another_and_go_over_evenly():
    set_file = _read(LAYERS)
    built = build(set_file, detail=0.3)
    drinks = [solid for solid in built.solids if solid.name.startswith("hero drink")]
    assert len(drinks) == 9
    media = [built.media[solid.slot] for solid in drinks]
    density = [medium.density_kg_m3 for medium in media]
    assert (np.diff(density) < 0).all()
    slots = [solid.slot for solid in drinks]
    assert slots == sorted(set(slots))
    for low, high in zip(drinks[:-1], drinks[1:], strict=True):
        check(low.mesh)
        assert low.mesh.bounds_mm[1, 2] - high.mesh.bounds_mm[0, 2] == pytest.approx(0.1, abs=1e-6)
    # The border of the second and third layer, which do not blend, lies where the volumes say.
    glass = vessel("tumbler")
    border_mm = drinks[-1].mesh.bounds_mm[0, 2] + 0.1 - 0.02
    level_mm = drinks[-1].mesh.vertices_mm[:, 2][np.hypot(*drinks[-1].mesh.vertices_mm[:, :2].T) < 1e-9].max()
    total_ml = glass.capacity_ml(level_mm - 0.02)
    assert glass.capacity_ml(border_mm) == pytest.approx(40 + 0.6 * total_ml, rel=1e-6)
    # From a tenth to nine tenths of the change in 8 mm, spread by diffusion, in six steps.
    ends = [solid.mesh.bounds_mm[1, 2] - 0.02 for solid in drinks[:7]]
    assert ends[3] == pytest.approx(glass.fill_height_for_ml(40), abs=1e-6)
    from scipy.stats import norm

    shares = norm.cdf((np.array(ends) - ends[3]) / (8 / (2 * norm.ppf(0.9))))
    assert shares == pytest.approx((np.arange(7) + 0.5) / 7, abs=1e-6)


def test_heavy_layer_on_a_light_one_is_told():
    heavy = "layers: [{liquid: {spirit: 40 % vol}, amount: 50 %}, {liquid: {syrup: 30 Brix}}]"
    assert "layer 2 is heavier than the one below it (1127 kg/m3 on 948" in tell_unstable(
        _read(heavy).glasses["hero"].drink, None
    )
    assert tell_unstable(_read(LAYERS).glasses["hero"].drink, None) is None


def test_gas_rules_over_the_drink_and_gives_way_to_the_glass():
    built = build(_read("liquid: water, sparkling: {count: 25}"), detail=0.3)
    glass, gas, drink = built.solids
    assert gas.name == "hero fizz" and glass.slot < gas.slot < drink.slot
    assert (built.media[gas.slot].index == 1).all()


def test_edge_climbs_by_the_tension_of_the_drink():
    """Water at 20 deg climbs 3.2 mm in a tumbler, a spirit of less tension by its capillary length."""
    tops = {}
    for liquid in ("water", "{spirit: 40 % vol}"):
        (body,) = pour(_read(f"liquid: {liquid}, fill: 60 mm"), "hero", vessel("tumbler"), detail=0.3)
        tops[liquid] = body.mesh.bounds_mm[1, 2] - 60
        assert np.hypot(*body.mesh.vertices_mm[:, :2].T).min() < 1e-9
    assert tops["water"] == pytest.approx(3.25, abs=0.2)
    # 72.75 and 31.9 mN/m, 998 and 948 kg/m3.
    assert tops["{spirit: 40 % vol}"] / tops["water"] == pytest.approx(
        np.sqrt(31.9 / 72.75 * 998 / 948), rel=0.03
    )


def test_head_is_white_and_light_in_weight():
    """Foam throws light about within a millimetre or so, and weighs what its liquid weighs."""
    head = Head.model_validate({"height": "20 mm"})
    beer = _medium("{beer: 10 EBC}")
    foam = foam_medium(head, beer)
    # 0.3 mm x (0.14 / 0.08 + 1.5).
    assert 1 / foam.scattering_per_mm == pytest.approx(np.full(321, 0.975))
    assert foam.density_kg_m3 == pytest.approx(0.08 * beer.density_kg_m3)
    assert foam.index.max() < 1.05 and foam.absorption_per_mm == pytest.approx(0.08 * beer.absorption_per_mm)
    assert "liquid" in Froth._fields


@pytest.mark.parametrize(
    ("drink", "key", "words"),
    [
        ("liquid: water, fill: 500 ml", "fill", "500 ml do not fit; allowed: up to 264 ml (the brim)"),
        ("liquid: water, fill: 95 mm", "fill", "95 mm is not inside the glass; allowed: above 10.0 mm"),
        ("liquid: {beer: 9 EBC}, head: {height: 40 mm}", "head.height", "its edge would stand"),
        ("liquid: {clear: {colour: '#000000', at: 9 mm}}", "liquid", "no drink has this colour"),
        ("liquid: {spirit: 90 % vol, sugar: 40 Brix}", "liquid", "leave no water; allowed: less of either"),
        ("liquid: {clear: {table: gone.csv, at: 9 mm}}", "liquid", "there is no file 'gone.csv' in"),
        ("liquid: water, fill: 14 mm, sparkling: {largest: 5 mm}", "sparkling", "5 mm does not fit into"),
        ("layers: [{liquid: water, amount: 150 ml}, {liquid: water}], fill: 120 ml", "layers.1.amount",
         "the layers up to this one fill the drink, 119 ml"),
        ("layers: [{liquid: water, amount: 60 %}, {liquid: {syrup: 9 Brix}, amount: 50 %}, {liquid: water}]",
         "layers.2.amount", "allowed: less, so that the layers above have room"),
        ("layers: [{liquid: {syrup: 9 Brix}, amount: 5 mm, blend: 60 mm}, {liquid: water}]", "layers.1.blend",
         "the blend has no room; allowed: up to about 8.7 mm"),
    ],
)  # fmt: skip
def test_fault_of_the_drink_names_its_place(drink, key, words):
    fault = _fault(drink)
    assert fault.key == f"glasses.hero.drink.{key}" and words in fault.text and fault.line == 3


@pytest.mark.parametrize(
    ("drink", "key", "words"),
    [
        ("liquid: {spirit: 120 % vol}", "liquid.spirit", "100 % vol"),
        ("liquid: {wine: 13 % vol, absorbance: [1, -2, 3]}", "liquid.absorbance.2", "-2 is not allowed"),
        ("liquid: {wine: 13 % vol, absorbance: [1, 2]}", "liquid.absorbance.3", "missing"),
        ("liquid: {wine: 13 % vol}", "liquid.absorbance", "missing"),
        ("liquid: {cordial: 11 Brix}", "liquid.tint", "missing"),
        ("liquid: {index: 1.4, absorption: -1 /mm}", "liquid.absorption", "at least 0"),
        ("liquid: {cloudy: 0 mm}", "liquid.cloudy", "at least 0.1 mm"),
        ("liquid: {mix: [{liquid: water}]}", "liquid.mix", "has 1 of the 2"),
        ("liquid: {mix: [{liquid: water}, {liquid: {index: 1.4}}]}", "liquid.mix.2.liquid.index", "allowed"),
        ("liquid: {clear: {bands: [50 %], at: 9 mm}}", "liquid.clear.bands", "has 1 of the 16"),
        ("layers: [{liquid: water, amount: 120 %}, {liquid: water}]", "layers.1.amount", "at most 100 %"),
        ("layers: [{liquid: water}, {liquid: water}]", "layers.1.amount", "missing; write how much"),
        ("layers: [{liquid: water, amount: 9 ml}, {liquid: water, amount: 9 ml}]", "layers.2.amount",
         "the top layer takes what is left up to the fill line"),
        ("layers: [{liquid: water}]", "layers", "has 1 of the 2 that it needs"),
        ("liquid: water, layers: [{liquid: water, amount: 9 ml}, {liquid: water}]", "liquid", "keep one"),
        ("fill: 20 mm", "liquid", "missing; write it"),
        ("liquid: water, contact: 120 deg", "contact", "at most 90 deg"),
        ("liquid: water, sparkling: {smallest: 2 mm}", "sparkling.largest", "less than the smallest, 2 mm"),
        ("liquid: water, head: {height: 3 mm, dome: 4 mm}", "head.dome", "less than its height, 3 mm"),
    ],
)  # fmt: skip
def test_fault_of_writing_names_its_place(drink, key, words):
    with pytest.raises(PersonError) as caught:
        _read(drink)
    (fault,) = caught.value.faults
    assert fault.key == f"glasses.hero.drink.{key}", fault
    assert words in fault.text


def test_gap_in_a_table_is_told_with_its_line(tmp_path):
    (tmp_path / "tea.csv").write_text("wavelength nm,transmission %\n400,50\n420,\n440,60\n680,70\n")
    path = tmp_path / "set.yaml"
    path.write_text(_set("liquid: {clear: {table: tea.csv, at: 10 mm}}"), encoding="utf-8")
    with pytest.raises(PersonError, match=r"tea\.csv:3: a gap: transmission is missing"):
        build(setfile.read(path), detail=0.3)


def test_more_liquids_than_there_is_room_for_are_told():
    many = "".join(
        f"  g{k}: {{vessel: shot, at: [{60 * k} mm, 0 mm], drink: {{liquid: {{syrup: {k + 1} Brix}}}}}}\n"
        for k in range(MAX_MEDIA)
    )
    with pytest.raises(PersonError, match=f"allowed: up to {MAX_MEDIA}"):
        build(setfile.parse(f"brimcast: 1\nglasses:\n{many}lamps:\n  key: {{}}\n"), detail=0.2)
