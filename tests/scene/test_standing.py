"""Glasses on coasters, trays, napkins and slabs: how high they stand, and what is refused."""

import numpy as np
import pytest
from PIL import Image

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.clashes import check_set
from brimcast.scene.readings import at_glass
from brimcast.scene.setplan import describe_plan
from brimcast.scene.tableware import LIFT_MM
from brimcast.shared.errors import PersonError

SET = """brimcast: 1
glasses:
  hero:
    vessel: tumbler
    drink: {{liquid: water}}
    ice: [{{shape: cube}}]
    condensation: {{count: 20}}
    labels: [{{from: 30 mm, to: 60 mm}}]
    {hero}
props:
  mat: {{{mat}}}
  ball: {{shape: ball, diameter: 20 mm, at: [300 mm, 0 mm]}}
lamps: {{key: {{}}}}
camera: {{}}
"""
ON_TABLE = {"hero": "at: [0 mm, 0 mm]", "mat": "shape: coaster, at: [-300 mm, 0 mm]"}


def build_set(hero, mat):
    return build(setfile.parse(SET.format(hero=hero, mat=mat)), detail=0.3)


@pytest.fixture(scope="module")
def on_table():
    return build_set(**ON_TABLE)


# What it lies on, and how high its top is: of a napkin, four layers of 1 mm less half a layer.
SUPPORTS = {
    "shape: coaster": 4.0,
    "shape: coaster, side: 90 mm, thickness: 1.5 mm, turn: 40 deg": 1.5,
    "shape: coaster, height: 12 mm": 12 + 4.0,
    "shape: tray": 3.0,
    "shape: tray, diameter: 150 mm, thickness: 5 mm, metal: 80 %": 5.0,
    "shape: napkin": 3.5,
    "shape: slab, width: 100 mm, depth: 100 mm, thickness: 20 mm, material: acrylic": 20.0,
}


@pytest.mark.parametrize("mat", SUPPORTS)
def test_glass_stands_on_a_prop_with_all_that_is_in_and_on_it(on_table, mat):
    lifted = build_set("stands_on: mat", mat)
    rise = SUPPORTS[mat] + (0.0 if "height" in mat else LIFT_MM)
    bodies = {solid.name: solid.mesh for solid in on_table.solids if solid.name.startswith("hero")}
    assert set(bodies) >= {"hero", "hero ice", "hero condensation"} and len(bodies) == 4
    bodies["hero label"] = next(panel.mesh for panel in on_table.panels if panel.name == "hero label")
    for thing in (*lifted.solids, *lifted.panels):
        if thing.name in bodies:
            moved = thing.mesh.vertices_mm - bodies.pop(thing.name).vertices_mm
            assert np.abs(moved - [0, 0, rise]).max() < 1e-9
    assert bodies == {}
    assert lifted.feet[0].stands_mm == pytest.approx(rise) and lifted.feet[0].on == "mat"
    # Lamp and camera aim at half its height, and the meter is held there.
    for one, other in zip((*lifted.lamps, lifted.camera), (*on_table.lamps, on_table.camera), strict=True):
        place = "centre_mm" if hasattr(one, "centre_mm") else "place_mm"
        assert getattr(one, place) - getattr(other, place) == pytest.approx([0, 0, rise])
    assert (at_glass(lifted).place_mm - at_glass(on_table).place_mm) == pytest.approx([0, 0, rise])


@pytest.mark.parametrize("mat", SUPPORTS)
def test_nothing_of_the_prop_is_over_its_top_under_the_foot(mat):
    """The foot's lowest point has a film of air under it, and no more."""
    built = build_set("stands_on: mat", mat)
    foot = built.feet[0]
    bottom = next(solid for solid in built.solids if solid.name == "hero").mesh.bounds_mm[0, 2]
    parts = [
        *(s for s in built.solids if s.name == "mat"),
        *(p for p in built.panels if p.name in built.parts),
    ]
    points = np.concatenate([part.mesh.vertices_mm for part in parts])
    under = points[np.hypot(*points[:, :2].T) < foot.foot_radius_mm]
    if not len(under):
        # A slab has vertices at its corners alone.
        under = points
    assert bottom - under[:, 2].max() == pytest.approx(LIFT_MM, abs=1e-6)


def test_glass_stands_beside_the_middle_of_a_turned_tray():
    """Turned by 90 deg, a tray of 300 x 120 mm has room 110 mm behind its middle, and none to its side."""
    tray = "shape: tray, size: [300 mm, 120 mm], turn: 90 deg, at: [0 mm, -110 mm]"
    assert build_set("stands_on: mat", tray).feet[0].stands_mm == pytest.approx(3 + LIFT_MM)
    with pytest.raises(PersonError, match="foot reaches .* beyond the edge of mat"):
        build_set("stands_on: mat", tray.replace("turn: 90 deg, ", ""))


@pytest.mark.parametrize(
    ("hero", "mat", "text"),
    [
        ("mta", "shape: coaster", "there is no prop called 'mta'; did you mean 'mat'? allowed: 'mat'"),
        ("ball", "shape: coaster", "a glass cannot stand on 'ball', a ball; allowed: 'mat'"),
        ("ball", "shape: ring, inside: 9 mm, tall: 9 mm", "a 'coaster', 'tray', 'napkin' or 'slab'"),
        ("mat", "shape: coaster, diameter: 60 mm", "its foot reaches 5.0 mm beyond the edge of mat"),
        ("mat", "shape: tray, diameter: 72 mm", "its foot reaches 2.0 mm beyond the edge of mat"),
        ("mat", "shape: coaster, at: [50 mm, 0 mm]", "beyond the edge of mat; move one of them"),
        ("mat", "shape: slab, width: 9 cm, depth: 9 cm, thickness: 9 mm, tilt: 5 deg", "tilted by 5 deg"),
        ("mat", "shape: slab, width: 99 mm, depth: 99 mm, thickness: 9 mm, material: water", "is liquid"),
    ],
)  # fmt: skip
def test_fault_names_its_place(only_fault, hero, mat, text):
    fault = only_fault(lambda: build_set(f"stands_on: {hero}", mat))
    assert fault.key == "glasses.hero.stands_on" and text in fault.text
    assert (fault.line, fault.column) == (9, 16)


@pytest.mark.parametrize(
    ("mat", "key", "text"),
    [
        ("shape: coaster, diameter: 90 mm, side: 90 mm", "diameter", "keep one"),
        ("shape: tray, size: [9 cm, 9 cm], diameter: 9 cm", "size", "keep one"),
        ("shape: tray, metal: 80 %, reflectance: 20 %", "reflectance", "keep this or 'metal'"),
        ("shape: tray, lip: 2 mm", "lip", "not over the floor, 3 mm thick"),
        ("shape: tray, diameter: 40 mm, thickness: 20 mm, lip: 30 mm", "thickness", "under 20 mm"),
        ("shape: napkin, transmittance: 40 %", "transmittance", "110% of the red light"),
        ("shape: napkin, size: [99 mm, 30 mm], layer: 8 mm", "layer", "do not fold into 30 mm"),
        ("shape: coaster, picture: none.png", "picture", "there is no file 'none.png'"),
    ],
)
def test_fault_of_a_prop_names_its_key(only_fault, mat, key, text):
    fault = only_fault(lambda: build_set("at: [0 mm, 0 mm]", mat))
    assert fault.key == f"props.mat.{key}" and fault.line == 11 and text in fault.text


def test_picture_lies_on_the_coaster_the_right_way_round(tmp_path):
    """Red on the left, blue at the lower right; above right it is clear, so the coaster itself shows."""
    pixels = np.zeros((20, 20, 4), np.uint8)
    pixels[:, :10] = 255, 0, 0, 255
    pixels[10:, 10:] = 0, 0, 255, 255
    Image.fromarray(pixels).save(tmp_path / "mat.png")
    path = tmp_path / "set.yaml"
    path.write_text(
        SET.format(hero="stands_on: mat", mat="shape: coaster, side: 100 mm, picture: mat.png, turn: 0 deg")
    )
    built = build(setfile.read(path), detail=0.3)
    (top,) = (panel for panel in built.panels if panel.name == "mat")

    def seen(x, y):
        """Bands of the spot that lies over a place of the table."""
        lines, columns, _ = top.picture.reflectance.shape
        near = np.argsort(np.hypot(*(top.mesh.vertices_mm[:, :2] - [x, y]).T))[:1]
        across, up = top.places_mm[near[0]] + [x, y] - top.mesh.vertices_mm[near[0], :2]
        return top.picture.reflectance[int(up / 100 * lines), int(across / 100 * columns)]

    left, near_right, far_right = seen(-30, 20), seen(30, -20), seen(30, 20)
    assert left[-4:].min() > 0.9 and left[:4].max() < 0.1
    assert near_right[:4].min() > 0.9 and near_right[-4:].max() < 0.1
    assert far_right == pytest.approx(top.front) and not top.picture.through.any()
    before = setfile.digest(setfile.read(path))
    Image.new("RGB", (20, 20), "red").save(tmp_path / "mat.png")
    assert setfile.digest(setfile.read(path)) != before


def test_napkin_lets_a_little_light_through_and_a_coaster_none():
    cloth = build_set("stands_on: mat", "shape: napkin, transmittance: 20 %")
    assert {n for n in cloth.parts} == {"mat"}
    (sheet,) = (panel for panel in cloth.panels if panel.name == "mat")
    assert sheet.transmittance == pytest.approx(0.2) and sheet.front == pytest.approx(0.7)
    coaster = build_set("stands_on: mat", "shape: coaster")
    assert coaster.parts == {"mat": "mat", "mat rim": "mat"}
    assert not any(panel.transmittance.any() for panel in coaster.panels if panel.name in coaster.parts)


@pytest.mark.parametrize("mat", ["shape: tray, diameter: 120 mm, lip: 30 mm", "shape: napkin"])
def test_glass_may_touch_what_it_stands_on_and_a_card_may_not(mat):
    built = build_set("stands_on: mat", mat)
    assert not [check for check in check_set(built) if check.state in ("clash", "close")]
    card = "cards: {white: {size: [50 mm, 50 mm], at: [58 mm, 0 mm, 0 mm], facing: down}}\n"
    text = SET.format(hero="stands_on: mat", mat=mat) + card.replace("0 mm], facing", "3 mm], facing")
    checks = check_set(build(setfile.parse(text), detail=0.3))
    assert ("white", "mat") in [check.things[::-1] for check in checks if check.state == "clash"]


def test_coaster_in_a_tray_is_well():
    """A glass on a coaster on a tray: neither lies in the lip."""
    text = SET.format(hero="stands_on: mat", mat="shape: coaster, height: 3.02 mm")
    text = text.replace("  ball:", "  under: {shape: tray, diameter: 160 mm}\n  ball:")
    built = build(setfile.parse(text), detail=0.3)
    clashes = [check.text for check in check_set(built) if check.state == "clash"]
    assert clashes == []
    assert describe_plan(built)["glasses"]["hero"]["stands_mm"] == pytest.approx(3.02 + 4.0)
