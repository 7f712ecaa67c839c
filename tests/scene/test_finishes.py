"""What a set says was done to its glasses, as built, and what is wrong with it."""

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.shared.bands import band_means
from brimcast.vessels.mesh import check


def _set(glass):
    return f"brimcast: 1\nglasses:\n  hero: {{{glass}}}\nlamps:\n  key: {{}}\n"


def _build(glass, detail=0.5):
    return build(setfile.parse(_set(glass)), detail)


def test_bubbles_are_air_that_rules_over_glass():
    built = _build("vessel: tumbler, bubbles: {count: 5, diameter: 0.4 mm, largest: 0.8 mm}")
    glass, bubbles = built.solids
    assert bubbles.name == "hero bubbles" and bubbles.slot < glass.slot
    assert (built.media[bubbles.slot].index == 1).all() and built.media[bubbles.slot].kind == "bubble"
    assert np.ptp(bubbles.mesh.bounds_mm, axis=0).max() < np.ptp(glass.mesh.bounds_mm, axis=0).max()


STEPS = ", ".join(6 * ["60 %"] + 4 * ["80 %"] + 6 * ["30 %"])


@pytest.mark.parametrize(
    ("tint", "at_550"),
    # Green is whole at 540 nm, red from 620 nm on: at 550 nm an eighth of the way is gone.
    [("red: 30 %, green: 80 %, blue: 60 %", 0.8 - 0.5 / 8), (f"bands: [{STEPS}]", 0.8)],
)
def test_tint_adds_to_the_glass(tint, at_550):
    plain = _build("vessel: tumbler, glass: crystal")
    tinted = _build(f"vessel: tumbler, glass: crystal, tint: {{{tint}, at: 5 mm}}")
    added = tinted.media[0].absorption_per_mm - plain.media[0].absorption_per_mm
    passed = band_means(np.exp(-5 * added))
    assert passed[[0, 8, 15]] == pytest.approx([0.6, at_550, 0.3], abs=0.01)
    assert np.array_equal(tinted.media[0].index, plain.media[0].index)


def test_drink_follows_a_glass_that_leans_and_its_surface_stays_level():
    cut = "cut: {facets: 6, from: 20 mm, to: 80 mm, depth: 2 mm}"
    glass, drink = _build(
        "vessel: {shape: tumbler, wall: 5 mm}, tilt: 2 deg, out_of_round: 1 mm, "
        f"{cut}, drink: {{liquid: water, fill: 60 mm, contact: 90 deg}}"
    ).solids
    check(drink.mesh)
    top = drink.mesh.vertices_mm[drink.mesh.vertices_mm[:, 2] > drink.mesh.bounds_mm[1, 2] - 1e-9]
    middle = (top.max(axis=0) + top.min(axis=0)) / 2
    # Placed with a film of air under the foot, 0.02 mm.
    assert middle == pytest.approx([0, -60 * np.tan(np.radians(2)), 60.02], abs=1e-3)
    assert np.ptp(top[:, 0]) - np.ptp(top[:, 1]) == pytest.approx(1 * 60 / 70, abs=0.01)
    assert glass.mesh.bounds_mm[0, 2] == pytest.approx(0.02)


def test_every_feature_can_be_written():
    built = _build(
        "vessel: {shape: highball, wall: 3 mm}, flutes: {count: 12, from: 20 mm, to: 60 mm, depth: 0.5 mm, "
        "twist: -20 deg}, ribs: {count: 16, from: 65 mm, to: 90 mm, depth: 0.4 mm}, rings: {count: 2, "
        "from: 95 mm, to: 110 mm, depth: 0.3 mm}, wavy: {depth: 0.05 mm, from: 20 mm, to: 120 mm}, "
        'tint: {colour: "#9fd8c8", at: 6 mm}'
    )
    check(built.solids[0].mesh)
    hammered = check(_build("vessel: rocks, hammered: {depth: 0.3 mm, scale: 14 mm}").solids[0].mesh)
    assert len(hammered.faces) > 20_000


CUT = "cut: {facets: %d, from: %d mm, to: %d mm, depth: %d mm}"


@pytest.mark.parametrize(
    ("glass", "key", "text"),
    [
        ("vessel: rocks, " + CUT % (8, 20, 70, 4), "cut", "cuts through the wall"),
        ("vessel: rocks, frosted: [{from: 1 cm, to: 99 cm}]", "frosted", "below the rim"),
        ("vessel: rocks, rings: {count: 9, from: 2 cm, to: 99 mm, depth: 1 mm}", "rings", "below the rim"),
        ("vessel: can, bubbles: {count: 9}", "bubbles", "a can is of metal; take this out"),
        ("vessel: can, tint: {colour: '#33aa77', at: 3 mm}", "tint", "a can is of metal; take this out"),
        ("vessel: tumbler, bubbles: {count: 9, diameter: 40 mm}", "bubbles", "bubble 1 of 9, 40 mm across"),
        ("vessel: tumbler, tint: {colour: '#000000', at: 3 mm}", "tint", "no glass has this colour"),
    ],
)
def test_fault_of_shape_names_its_place(only_fault, glass, key, text):
    fault = only_fault(lambda: _build(glass))
    assert fault.key == f"glasses.hero.{key}" and fault.line == 3 and text in fault.text


@pytest.mark.parametrize(
    ("words", "key", "text"),
    [
        (CUT % (2, 20, 70, 2), "cut.facets", "from 3 to 60"),
        (CUT % (8, 70, 20, 2), "cut.to", "not above 'from', 70 mm"),
        ("wavy: {depth: 1 mm, scale: 0.2 mm}", "wavy.scale", "what is finer is frosting"),
        ("bubbles: {count: 4, diameter: 1 mm, largest: 0.5 mm}", "bubbles.largest", "less than the smallest"),
        ("tint: {colour: red, at: 3 mm}", "tint.colour", 'write it like "#33aa77", with the quotes'),
        ("tint: {bands: [50 %, 50 %], at: 3 mm}", "tint.bands", "has 2 of the 16"),
        ("frosted: [{from: 1 cm, to: 2 cm, roughness: 2}]", "frosted.1.roughness", "from 0.01 to 1"),
    ],
)
def test_fault_of_writing_names_its_place(only_fault, words, key, text):
    fault = only_fault(lambda: setfile.parse(_set(f"vessel: rocks, {words}")))
    assert fault.key == f"glasses.hero.{key}" and text in fault.text
