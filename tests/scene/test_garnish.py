"""Garnish as a set says it: where it lies, what it does to light, what is wrong with it."""

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.citrus import INSIDE
from brimcast.scene.painting import MOST_KEPT
from brimcast.shared.bands import BAND_CENTRES_NM
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import check

WATER = "drink: {liquid: water, fill: 70 %}, "
GREEN = (BAND_CENTRES_NM > 520) & (BAND_CENTRES_NM < 570)
RED = BAND_CENTRES_NM > 620


def _set(glass):
    return f"brimcast: 1\nglasses:\n  hero: {{{glass}}}\nlamps:\n  key: {{}}\n"


def _build(glass):
    return build(setfile.parse(_set(glass)), 0.3)


def _sheet(built, name):
    (sheet,) = [panel for panel in built.panels if panel.name == name]
    return sheet


def _look(sheet, picture, points):
    """Return what a picture (lines, columns, 16) has at the vertices nearest to places (n, 3), mm."""
    away = np.linalg.norm(sheet.mesh.vertices_mm[:, None] - points, axis=2)
    spots = sheet.places_mm[away.argmin(axis=0)] * picture.shape[1::-1] / sheet.size_mm
    column, line = np.clip(spots.astype(int), 0, np.array(picture.shape[1::-1]) - 1).T
    return picture[line, column]


KINDS = {
    "wheel": "{kind: wheel, fruit: lime}",
    "wedge": "{kind: wedge, fruit: lime}",
    "twist": "{kind: twist}",
    "mint": "{kind: sprig}",
    "rosemary": "{kind: sprig, herb: rosemary}",
    "olive": "{kind: olive, count: 1}",
    "steel": "{kind: olive, count: 1, pick: steel}",
    "cherry": "{kind: cherry}",
    "straw": "{kind: straw}",
    "acrylic": "{kind: straw, material: acrylic}",
    "wheel, dipped": "{kind: wheel, fruit: lime, place: drink}",
    "wedge, dipped": "{kind: wedge, fruit: lime, diameter: 40 mm, place: drink}",
    "twist, dipped": "{kind: twist, turns: 1.5, place: drink}",
    "mint, dipped": "{kind: sprig, length: 30 mm, place: drink}",
    "olive, dipped": "{kind: olive, count: 2, place: drink}",
    "cherry, dipped": "{kind: cherry, place: drink}",
}


def _off_wall(name, points):
    """Return how far places are beside a glass's outlines at their height, level, where there is a wall."""
    shape = vessel(name)
    inner, outer = (side.densified(0.2).points_mm for side in (shape.inner, shape.outer))
    radius, height = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    inside, outside = (np.interp(height, side[:, 1], side[:, 0]) for side in (inner, outer))
    beside = (height > shape.base_mm + 0.6) & (height < shape.height_mm - 3)
    return np.where(beside, np.maximum(inside - radius, radius - outside), np.inf)


# A collins is a narrower highball.
@pytest.mark.parametrize(
    "name", ["rocks", "highball", pytest.param("collins", marks=pytest.mark.slow), "v-cocktail"]
)
@pytest.mark.parametrize("kind", KINDS)
def test_nothing_goes_into_the_glass(name, kind):
    """Outlines by interpolation, of glasses whose wall rises steadily; the level way is a little longer."""
    built = _build(f"vessel: {name}, {WATER} turn: 20 deg, garnish: [{KINDS[kind]}]")
    meshes = [panel.mesh for panel in built.panels[1:]]
    meshes += [one.mesh for one in built.solids if one.name not in ("hero", "hero drink")]
    assert meshes
    for mesh in meshes:
        check(mesh, closed=False, normals_within_deg=60)
        points = mesh.vertices_mm - [0, 0, 0.02]
        middles = points[mesh.faces].mean(axis=1)
        assert min(_off_wall(name, each).min() for each in (points, middles)) > 0.02
        assert points[:, 2].min() > vessel(name).base_mm + 0.1 or kind in ("twist", "wheel", "wedge")


@pytest.mark.parametrize("kind", KINDS)
def test_light_is_thrown_back_or_let_through_and_some_is_lost(kind):
    built = _build(f"vessel: rocks, {WATER} garnish: [{KINDS[kind]}]")
    for sheet in built.panels[1:]:
        picture = sheet.picture
        passed = np.zeros(16) if picture.transmittance is None else picture.transmittance
        back = sheet.back if picture.back is None else picture.back
        assert min(picture.reflectance.min(), np.min(passed), np.min(back)) >= 0
        assert (picture.reflectance + passed).max() <= MOST_KEPT and (back + passed).max() <= MOST_KEPT
        assert sheet.dips and not picture.through.any()
        # Every place on it is painted.
        columns, lines = picture.reflectance.shape[1::-1]
        corners = sheet.places_mm[sheet.mesh.faces].mean(axis=1) / sheet.size_mm * [columns, lines]
        column, line = corners.astype(int).T
        assert picture.reflectance[line, column].any(axis=1).all()


def test_flesh_lets_its_colour_through_and_peel_hardly_any():
    """A slice of two faces alike passes T^2 / (1 - R^2) (Stokes 1862); 25 to 35 % of red, from memory."""
    sheet = _sheet(_build("vessel: rocks, garnish: [{kind: wheel, fruit: orange}]"), "hero wheel")
    face, peel = (next(c for c in _charts(sheet, name)) for name in ("front", "peel"))
    lines, columns = sheet.picture.transmittance.shape[:2]

    def part(chart, picture):
        (x, y), (wide, tall) = chart
        i, j = (int(x / sheet.size_mm[0] * columns), int(y / sheet.size_mm[1] * lines))
        k, m = (int(wide / sheet.size_mm[0] * columns), int(tall / sheet.size_mm[1] * lines))
        return picture[j : j + m, i : i + k]

    whole = part(face, sheet.picture.transmittance).astype(float) ** 2 / (1 - INSIDE**2)
    ring = np.hypot(*np.meshgrid(*(np.linspace(-1, 1, count) for count in whole.shape[1::-1])))
    flesh = whole[(ring > 0.3) & (ring < 0.8)]
    assert 0.25 < np.median(flesh[:, RED]) < 0.35
    assert np.median(flesh[:, BAND_CENTRES_NM < 460]) < 0.05
    assert (whole[ring < 0.04] < 0.08).all()
    assert np.median(part(peel, sheet.picture.transmittance) ** 2) < 0.02


def _charts(sheet, name):
    """Yield corner and size of a wheel's charts by what they look like: faces are square, peel is flat."""
    corners = sheet.places_mm[sheet.mesh.faces]
    for patch in np.unique(sheet.mesh.patches):
        own = corners[sheet.mesh.patches == patch].reshape(-1, 2)
        low, size = own.min(axis=0), np.ptp(own, axis=0)
        if (name == "front") == (abs(size[0] - size[1]) < 1) and size.min() > 4:
            yield low, size


def test_leaves_are_green_from_both_sides_and_glow():
    """In green a leaf throws back 10 to 15 % and lets 8 to 12 % through, more than in red (from memory)."""
    sheet = _sheet(_build("vessel: rocks, garnish: [{kind: sprig}]"), "hero sprig")
    picture = sheet.picture
    leaf = picture.transmittance.any(axis=2)
    for shown, low, high in ((picture.reflectance, 0.1, 0.17), (picture.transmittance, 0.08, 0.12)):
        assert low < np.median(shown[leaf][:, GREEN]) < high
        assert np.median(shown[leaf][:, GREEN]) > 1.5 * np.median(shown[leaf][:, RED])
    assert picture.back[leaf].mean() > picture.reflectance[leaf].mean()


def test_wheel_has_pith_in_its_middle_flesh_round_it_and_peel_at_its_edge():
    made = _build("vessel: rocks, garnish: [{kind: wheel, fruit: lime, at: [0 mm, 0 mm, 200 mm]}]")
    sheet = _sheet(made, "hero wheel")
    middle, edge = _look(sheet, sheet.picture.reflectance, np.array([[0, 0, 202.5], [23.0, 0, 200.0]]))
    assert middle.min() > 0.35 and np.ptp(middle) < 0.2
    assert edge[GREEN].mean() > 2 * edge[RED].mean()


@pytest.mark.parametrize(("azimuth", "side"), [(270, (1, 0)), (90, (-1, 0)), (0, (0, -1)), (180, (0, 1))])
def test_azimuth_counts_from_the_camera_clockwise_seen_from_above(azimuth, side):
    made = _build(f"vessel: rocks, garnish: [{{kind: wheel, fruit: lime, azimuth: {azimuth} deg}}]")
    sheet = _sheet(made, "hero wheel")
    low, high = sheet.mesh.bounds_mm[:, :2]
    assert (low + high) / 2 == pytest.approx(vessel("rocks").inner.points_mm[-1, 0] * np.array(side), abs=2)
    # Across the wall: as thin as it is along the rim.
    assert np.ptp(sheet.mesh.bounds_mm[:, :2], axis=0) @ np.abs(side[::-1]) == pytest.approx(5, abs=0.1)


def test_wheel_by_hand_has_its_middle_there_and_turns_with_the_glass():
    hand = "garnish: [{kind: wheel, fruit: lime, at: [10 mm, 0 mm, 200 mm], tilt: 90 deg}]"
    mesh = _sheet(_build(f"vessel: rocks, at: [100 mm, 0 mm], turn: 90 deg, {hand}"), "hero wheel").mesh
    assert mesh.bounds_mm.mean(axis=0) == pytest.approx([100, -10, 200.02], abs=0.05)
    # Its axis lay along y and lies along x after the turn.
    assert np.ptp(mesh.bounds_mm, axis=0) == pytest.approx([5, 46, 46], abs=0.1)


def test_wheel_in_the_drink_stands_under_the_surface_and_looks_to_its_side():
    built = _build("vessel: rocks, drink: {liquid: water, fill: 80 mm}, garnish: [{kind: wheel, fruit: lime, "
                   "place: drink, azimuth: 0 deg}]")  # fmt: skip
    mesh = _sheet(built, "hero wheel").mesh
    assert mesh.bounds_mm[1, 2] == pytest.approx(80.02, abs=0.1)
    assert mesh.bounds_mm[0, 1] < -20 and np.ptp(mesh.bounds_mm[:, 1]) == pytest.approx(5, abs=0.05)


def test_straw_stands_on_the_floor_and_fruit_has_a_skin_over_it():
    built = _build(f"vessel: highball, {WATER} garnish: [{{kind: straw}}, {{kind: olive, pick: steel}}]")
    low, high = _sheet(built, "hero straw").mesh.bounds_mm[:, 2]
    assert low == pytest.approx(vessel("highball").base_mm + 0.3, abs=0.3) and high > 180
    olives = _sheet(built, "hero olive 2").mesh
    (skin,) = [solid for solid in built.solids if solid.name == "hero olive 2 skin"]
    check(skin.mesh, normals_within_deg=15)
    assert built.media[skin.slot].index_at(589) == pytest.approx(1.4)
    gap = skin.mesh.bounds_mm - olives.bounds_mm
    assert gap[1] == pytest.approx(0.15, abs=0.02) and gap[0] == pytest.approx(-0.15, abs=0.02)
    (pick,) = [solid for solid in built.solids if solid.name == "hero olive 2 pick"]
    assert pick.kind == "metal" and pick.mesh.bounds_mm[0, 2] > 150


def test_seed_and_colour_make_another_picture():
    def picture(more):
        made = _build(f"vessel: rocks, garnish: [{{kind: wheel{more}}}]")
        return _sheet(made, "hero wheel").picture.reflectance

    first = picture("")
    assert np.array_equal(first, picture(""))
    assert not np.array_equal(first, picture(", seed: 2"))
    blue = picture(', flesh: "#2030c0"')
    assert blue[..., BAND_CENTRES_NM < 460].mean() > 1.2 * first[..., BAND_CENTRES_NM < 460].mean()


@pytest.mark.parametrize(
    ("glass", "key", "text"),
    [
        ("vessel: flute, @[{kind: wheel, fruit: grapefruit}]", "garnish.1", "into the glass; allowed"),
        ("vessel: shot, @[{kind: olive, count: 5}]", "garnish.1.count", "allowed: fewer or smaller"),
        ("vessel: pint, @[{kind: olive, length: 60 mm}]", "garnish.1.length", "does not lie across the rim"),
        ("vessel: highball, @[{kind: straw, length: 80 mm}]", "garnish.1.length", "allowed: at least 1"),
        ("vessel: {shape: bottle, rim: 22 mm}, @[{kind: straw}, {kind: straw, diameter: 20 mm}]",
         "garnish.2.diameter", "allowed: a thinner"),
        ("vessel: rocks, @[{kind: wheel, at: [40 mm, 0 mm, 60 mm]}]", "garnish.1", "into the glass; allowed"),
        ("vessel: rocks, @[{kind: wheel, at: [90 mm, 0 mm, 1 mm]}]", "garnish.1", "into the table"),
        ("vessel: rocks, @[{kind: wheel, fruit: lime, thickness: 30 mm}]", "garnish.1.thickness", "no slice"),
        ("vessel: highball, drink: {liquid: water}, @[{kind: wheel, place: drink, fruit: grapefruit}]",
         "garnish.1.diameter", "does not go into the drink; allowed: about"),
    ],
)  # fmt: skip
def test_fault_of_shape_names_its_place(only_fault, glass, key, text):
    fault = only_fault(lambda: _build(glass.replace("@", "garnish: ")))
    assert fault.key == f"glasses.hero.{key}" and fault.line == 3 and text in fault.text


@pytest.mark.parametrize(
    ("words", "key", "text"),
    [
        ("vessel: can, @[{kind: straw}]", "garnish", "a can has no rim"),
        ("vessel: rocks, @[{kind: wheel, place: drink}]", "garnish.1.place", "the glass is empty"),
        ("vessel: rocks, @[{kind: umbrella}]", "garnish.1.kind", "'umbrella' is not known"),
        ("vessel: rocks, @[{kind: wheel, tilt: 5 deg}]", "garnish.1.tilt", "only what has an at"),
        ("vessel: rocks, @[{kind: wheel, at: [0 mm, 0 mm, 9 mm], azimuth: 5 deg}]",
         "garnish.1.azimuth", "by hand"),
        ("vessel: rocks, @[{kind: twist, curl: 4 mm}]", "garnish.1.curl", "too tight; allowed: from 4.5 mm"),
        ("vessel: rocks, @[{kind: straw, material: steel, stripes: '#ff0000'}]",
         "garnish.1.stripes", "no steel"),
        ("vessel: rocks, @[{kind: wheel, diameter: 20 mm, thickness: 15 mm}]",
         "garnish.1.thickness", "no slice"),
        ("vessel: rocks, @[{kind: wheel, flesh: orange}]", "garnish.1.flesh", "is no colour"),
    ],
)  # fmt: skip
def test_fault_of_writing_names_its_place(only_fault, words, key, text):
    fault = only_fault(lambda: setfile.parse(_set(words.replace("@", "garnish: "))))
    assert fault.key == f"glasses.hero.{key}" and text in fault.text


def test_glass_from_a_mesh_takes_no_garnish(only_fault, tmp_path):
    import trimesh

    body = vessel("rocks").glass_mesh(0.2)
    trimesh.Trimesh(body.vertices_mm, body.faces).export(tmp_path / "glass.stl")
    path = tmp_path / "set.yaml"
    path.write_text(_set("vessel: {mesh: glass.stl, unit: mm, repair: true}, garnish: [{kind: straw}]"))
    fault = only_fault(lambda: build(setfile.read(path), 0.3))
    assert fault.key == "glasses.hero.garnish" and "from a mesh" in fault.text
