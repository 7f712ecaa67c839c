"""Ice, condensation and salted rims as a set says them: built, in their media, and their faults."""

import numpy as np
import pytest
from scipy.optimize import brentq

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.drinks import medium_of
from brimcast.scene.models_liquids import Beer, Spirit, Syrup, Water
from brimcast.shared.errors import PersonError
from brimcast.vessels.ice import DENSITY_KG_M3
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import check
from brimcast.vessels.solids import ball


def _set(glass):
    return f"brimcast: 1\nglasses:\n  hero: {{{glass}}}\nlamps:\n  key: {{}}\n"


def _build(glass, detail=0.5):
    return build(setfile.parse(_set(glass)), detail)


def _body(built, name):
    (solid,) = [solid for solid in built.solids if solid.name == name]
    return solid


def test_densities_meet_the_published_tables(published):
    """published_values.yaml#refractive_index/ethanol_abv_to_mass and sucrose_handbook, water_temperature."""
    for topic in published["refractive_index"].values():
        value = topic.get("value")
        if topic["quantity"].startswith("percent alcohol by volume at 20 C"):
            for strength, row in value.items():
                found = medium_of(Spirit.model_validate({"spirit": f"{strength} % vol"})).density_kg_m3
                assert found == pytest.approx(row["density_kg_m3"], abs=topic["tolerance"]["density"])
        if topic["quantity"].startswith("n_D and density against Brix"):
            for brix, row in value.items():
                found = medium_of(Syrup.model_validate({"syrup": f"{brix} Brix"})).density_kg_m3
                assert found == pytest.approx(row["density_kg_m3"], abs=topic["tolerance"]["density"])
    assert medium_of(Water()).density_kg_m3 == pytest.approx(998.2, abs=0.1)
    # Lager, 1.004 to 1.014 (common practice).
    assert 1004 < medium_of(Beer.model_validate({"beer": "5 SRM"})).density_kg_m3 < 1014


def test_ice_sinks_above_the_strength_that_published_densities_give(published):
    """Between the rows for 50 and 60 % vol of published_values.yaml; the ice as published at 0 C."""
    (table,) = [
        topic["value"]
        for topic in published["refractive_index"].values()
        if topic["quantity"].startswith("percent alcohol by volume at 20 C")
    ]
    strengths = sorted(table)
    densities = [table[strength]["density_kg_m3"] for strength in strengths]
    ice = published["ice_and_condensation"]["ice_density"]["value"][0]
    # A straight line between rows 10 % apart errs by under 1 kg/m3: half a per cent by volume.
    limit = brentq(lambda strength: np.interp(strength, strengths, densities) - ice, 50, 60)
    assert limit == pytest.approx(57, abs=1)
    heights = []
    for strength in (limit - 1.5, limit + 1.5):
        drink = f"drink: {{liquid: {{spirit: {strength:.2f} % vol}}, fill: 70 mm}}"
        built = _build(f"vessel: rocks, {drink}, ice: [{{shape: sphere, diameter: 30 mm}}]")
        heights.append(_body(built, "hero ice").mesh.bounds_mm[0, 2])
    floor = vessel("rocks").base_mm
    assert heights[0] > floor + 15 and floor < heights[1] < floor + 1


def test_media_rank_and_are_what_they_should_be():
    built = _build(
        "vessel: rocks, drink: {liquid: water}, condensation: {count: 50}, rimmed: {with: salt, count: 40}, "
        "ice: [{shape: cube, cracks: {count: 2}, roughness: 0.1}, {shape: sphere, diameter: 20 mm, "
        "material: acrylic}]"
    )
    names = [medium.name for medium in built.media]
    assert names == ["air", "soda-lime, low-iron", "acrylic", "ice", "condensation", "salt", "water"]
    kinds = {solid.name: built.media[solid.slot].kind for solid in built.solids}
    assert kinds["hero ice cracks"] == "bubble" and kinds["hero ice"] == "ice"
    assert kinds["hero acrylic ice"] == "glass" and kinds["hero condensation"] == "drops"
    assert DENSITY_KG_M3["acrylic"] > 998
    assert (_body(built, "hero ice").mesh.vertex_roughness == 0.1).all()
    assert _body(built, "hero acrylic ice").mesh.roughness is None
    for solid in built.solids:
        check(solid.mesh, normals_within_deg=45)


def test_fill_by_height_is_the_surface_and_by_volume_is_what_was_poured():
    ice = "ice: [{shape: cube, count: 3}]"
    by_height = _build(f"vessel: rocks, drink: {{liquid: water, contact: 90 deg, fill: 60 mm}}, {ice}")
    assert _body(by_height, "hero drink").mesh.bounds_mm[1, 2] == pytest.approx(60.02)
    by_volume = _build(f"vessel: rocks, drink: {{liquid: water, contact: 90 deg, fill: 150 ml}}, {ice}")
    level = _body(by_volume, "hero drink").mesh.bounds_mm[1, 2] - 0.02
    displaced = _body(by_volume, "hero ice").mesh.volume_mm3 * DENSITY_KG_M3["ice"] / 998.2 / 1000
    assert vessel("rocks").capacity_ml(level) == pytest.approx(150 + displaced, rel=2e-3)


def test_ice_by_hand_stays_and_turns_with_the_glass():
    hand = "ice: [{shape: cube, side: 20 mm, edge: 0 mm, at: [5 mm, 0 mm, 40 mm], turn: 45 deg}]"
    mesh = _body(_build(f"vessel: rocks, at: [100 mm, 0 mm], turn: 90 deg, {hand}"), "hero ice").mesh
    # Turned clockwise from above, what was to the right of the axis is now toward the camera.
    assert mesh.bounds_mm.mean(axis=0) == pytest.approx([100, -5, 40.02])
    assert np.ptp(mesh.bounds_mm, axis=0) == pytest.approx([20 * np.sqrt(2), 20 * np.sqrt(2), 20])


def test_ice_from_a_mesh_and_its_file_counts_in_the_digest(tmp_path):
    import trimesh

    path, body = tmp_path / "set.yaml", ball(26, 48)
    path.write_text(_set("vessel: rocks, ice: [{shape: mesh, file: berg.stl, unit: mm}]"))
    digests = []
    for scale in (1.0, 0.8):
        trimesh.Trimesh(scale * body.vertices_mm, body.faces).export(tmp_path / "berg.stl")
        read = setfile.read(path)
        digests.append(setfile.digest(read))
        mesh = _body(build(read, 0.5), "hero ice").mesh
        assert np.ptp(mesh.bounds_mm[:, 2]) == pytest.approx(26 * scale, rel=0.01)
        assert mesh.bounds_mm[0, 2] == pytest.approx(vessel("rocks").base_mm, abs=0.6)
    assert digests[0] != digests[1]


def test_condensation_goes_on_cans_and_leans_with_the_glass():
    can = _build("vessel: can, condensation: {look: heavy, count: 300, runs: 2}")
    assert [solid.kind for solid in can.solids] == ["metal", "dielectric"]
    lean = _build("vessel: highball, tilt: 5 deg, condensation: {count: 300}, drink: {liquid: water}")
    drops = _body(lean, "hero condensation").mesh.vertices_mm
    upright = np.hypot(drops[:, 0], drops[:, 1] + np.tan(np.radians(5)) * drops[:, 2])
    assert 29 < upright.min() and upright.max() < 38


def test_words_stand_for_looks():
    for word in ("mist", "drops", "heavy"):
        made = setfile.parse(_set(f"vessel: rocks, condensation: {word}")).glasses["hero"].condensation
        assert made.look == word
    assert setfile.parse(_set("vessel: rocks, rimmed: sugar")).glasses["hero"].rimmed.with_ == "sugar"


@pytest.mark.parametrize(
    ("glass", "key", "text"),
    [
        ("vessel: rocks, ice: [{shape: sphere, diameter: 100 mm}]", "ice.1", "does not go through the mouth"),
        ("vessel: rocks, ice: [{shape: cube}, {shape: cube, count: 60}]", "ice", "too much ice"),
        ("vessel: rocks, ice: [{shape: cube, at: [0 mm, 0 mm, 9 mm]}]", "ice.1", "into the glass; move it"),
        ("vessel: rocks, ice: [{shape: mesh, file: no.stl}]", "ice.1.file", "there is no file 'no.stl'"),
        ("vessel: rocks, ice: [{shape: cube, cracks: {count: 2, size: 40 mm}}]", "ice.1.cracks", "of 2, 40"),
        ("vessel: rocks, condensation: {largest: 0.3 mm}", "condensation.largest", "the largest comes last"),
        ("vessel: rocks, condensation: {count: 20000, smallest: 3 mm}", "condensation.count", "at most"),
        ("vessel: rocks, condensation: {up_to: 300 mm}", "condensation.up_to", "allowed: up to 92 mm"),
        ("vessel: rocks, rimmed: {with: salt, count: 10000, size: 3 mm}", "rimmed.count", "find no room"),
    ],
)
def test_fault_of_shape_names_its_place(only_fault, glass, key, text):
    fault = only_fault(lambda: _build(glass))
    assert fault.key == f"glasses.hero.{key}" and fault.line == 3 and text in fault.text


@pytest.mark.parametrize(
    ("words", "key", "text"),
    [
        ("vessel: can, ice: [{shape: cube}]", "ice", "a can is closed, so no ice shows in it"),
        ("vessel: can, rimmed: salt", "rimmed", "a can has no rim to drink from"),
        ("vessel: rocks, ice: [{shape: cube, count: 2, at: [0 mm, 0 mm, 50 mm]}]", "ice.1.count", "own at"),
        ("vessel: rocks, ice: [{shape: cube, tilt: 5 deg}]", "ice.1.tilt", "only a piece with at"),
        ("vessel: rocks, ice: [{shape: cube, edge: 13 mm}]", "ice.1.edge", "under 12.5 mm"),
        ("vessel: rocks, ice: [{shape: brick}]", "ice.1.shape", "'brick' is not known"),
        ("vessel: rocks, condensation: wet", "condensation.look", "'wet' is not known"),
        ("vessel: rocks, condensation: {angle: 120 deg}", "condensation.angle", "at most 90 deg"),
    ],
)
def test_fault_of_writing_names_its_place(only_fault, words, key, text):
    fault = only_fault(lambda: setfile.parse(_set(words)))
    assert fault.key.startswith("glasses.hero.") and text in fault.text
    assert fault.key in (f"glasses.hero.{key}", f"glasses.hero.{key.rpartition('.')[0]}")


def draw_glass(seed):
    """A random glass with ice and drops, within what is allowed but not always what fits."""
    generator = np.random.default_rng([seed, 77])
    shape = generator.choice(["rocks", "highball", "collins", "coupe", "tumbler", "copa", "v-cocktail"])
    liquid = generator.choice(["water", "{spirit: 40 % vol}", "{spirit: 70 % vol}", "{syrup: 30 Brix}"])
    kinds = ["{shape: cube, side: %d mm", "{shape: sphere, diameter: %d mm", "{shape: cracked, size: %d mm"]
    pieces = []
    for k in range(generator.integers(1, 4)):
        kind, material = generator.choice(kinds), generator.choice(["ice", "acrylic"])
        size, count = generator.integers(10, 30), generator.integers(1, 4)
        pieces.append(f"{kind % size}, count: {count}, material: {material}, seed: {k}}}")
    look = generator.choice(["mist", "drops", "heavy"])
    return (
        f"vessel: {shape}, tilt: {generator.integers(0, 3)} deg, drink: {{liquid: {liquid}, "
        f"fill: {generator.integers(20, 80)} %}}, ice: [{', '.join(pieces)}], "
        f"condensation: {{look: {look}, count: {generator.integers(1, 400)}, seed: {seed}}}"
    )


def build_random(seed):
    """Build one; it is sound, or refused with a place."""
    try:
        built = _build(draw_glass(seed), 0.4)
    except PersonError as error:
        assert all(fault.line and fault.key.startswith("glasses.hero.") for fault in error.faults)
        return False
    (glass,) = [solid for solid in built.solids if solid.name == "hero"]
    for solid in built.solids:
        check(solid.mesh, normals_within_deg=90)
        if "ice" in solid.name:
            # What lies in the glass does not reach the table or go round the outside.
            low, high = solid.mesh.bounds_mm
            assert low[2] > 1 and (low[:2] > glass.mesh.bounds_mm[0, :2]).all()
            assert (high[:2] < glass.mesh.bounds_mm[1, :2]).all()
    return True


def test_random_ice_and_drops_are_sound():
    assert sum(build_random(seed) for seed in range(20)) > 10


@pytest.mark.slow
def test_two_hundred_random_glasses_of_ice_and_drops_are_sound():
    assert sum(build_random(seed) for seed in range(20, 200)) > 100
