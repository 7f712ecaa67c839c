"""Foils, diffusers, mirrors and backdrop as geometry; what they block; what is wrong with them."""

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.bodies import list_bodies, list_stands
from brimcast.scene.builder import build
from brimcast.scene.clashes import check_set
from brimcast.scene.readings import at_glass, read_lamp, tell_shaded
from brimcast.scene.setplan import describe_plan
from brimcast.shared.errors import PersonError

START = "brimcast: 1\nprops: {hero: {shape: rod, diameter: 60 mm, length: 100 mm}}\n"
SIDE_LAMP = "lamps: {key: {throw: 1 m, azimuth: 90 deg, elevation: 0 deg}}\n"
BEHIND = "backdrop: {behind: 400 mm, radius: 200 mm, height: 500 mm}\n"


def made(more, lamps=SIDE_LAMP):
    return build(setfile.parse(START + lamps + more), detail=0.3)


def panel_of(built, name):
    (panel,) = [panel for panel in built.panels if panel.name == name]
    return panel


def faults_of(more, lamps=SIDE_LAMP):
    with pytest.raises(PersonError) as caught:
        made(more, lamps)
    return caught.value.faults


def test_diffuser_reflects_and_passes_on_both_sides():
    shares = "transmittance: 45 %, reflectance: 35 %"
    built = made(
        f"diffusers: {{silk: {{at: [-500 mm, 0 mm, 50 mm], facing: {{azimuth: 270 deg}}, {shares}}}}}"
    )
    silk = panel_of(built, "silk")
    assert silk.transmittance == pytest.approx(np.full(16, 0.45))
    assert silk.front == pytest.approx(np.full(16, 0.35)) and silk.back == pytest.approx(silk.front)
    assert silk.normal == pytest.approx([1, 0, 0]) and built.sheets["silk"] == "diffuser"


def test_mirror_has_its_face_where_it_is_put_and_a_black_back():
    looks = "facing: {azimuth: 90 deg}, reflectance: gold"
    built = made(f"mirrors: {{kick: {{at: [200 mm, 0 mm, 50 mm], size: [60 mm, 80 mm], {looks}}}}}")
    (face,) = [solid for solid in built.solids if solid.name == "kick face"]
    assert face.kind == "metal" and face.reflectance[[0, -1]] == pytest.approx([0.3, 0.8])
    assert face.mesh.bounds_mm == pytest.approx(np.array([(200, -30, 10), (200, 30, 90)]))
    back = panel_of(built, "kick")
    assert back.mesh.bounds_mm == pytest.approx(np.array([(200.1, -30.5, 9.5), (200.1, 30.5, 90.5)]))
    assert not back.front.any() and not back.back.any()
    plan = describe_plan(built)
    assert plan["sheets"]["kick"]["kind"] == "mirror" and plan["sheets"]["kick"]["size_mm"] == [60, 80]
    # One body on the plan, not two.
    assert [body.part for body in list_bodies(built) if body.name.startswith("kick")] == ["mirror"]


def test_foil_throws_a_little_back_from_both_sides():
    foil = panel_of(
        made("foils: {f: {points: [[0 mm, 90 mm, 9 mm], [0 mm, 99 mm, 9 mm]], width: 9 mm}}"), "f"
    )
    assert foil.front == pytest.approx(np.full(16, 0.04)) and foil.back == pytest.approx(foil.front)
    assert not foil.transmittance.any() and not foil.dips


def test_backdrop_comes_off_the_table_and_is_as_the_table():
    built = made(BEHIND + "table: {reflectance: {red: 70 %, green: 60 %, blue: 50 %}}\n")
    paper = panel_of(built, "paper backdrop")
    assert paper.mesh.bounds_mm == pytest.approx(np.array([(-600, 200, 0.02), (600, 400, 500)]))
    assert paper.front == pytest.approx(built.panels[0].front)
    # It has no stand, and may touch the table.
    assert [stand.name for stand in list_stands(built)] == ["key"]
    clashes = [check for check in check_set(built) if check.state == "clash"]
    assert not any("paper backdrop" in check.things for check in clashes)


@pytest.mark.parametrize(
    "screen",
    [
        "flags: {cut: {at: [-500 mm, 0 mm, 50 mm], size: [100 mm, 100 mm]}}",
        "foils: {cut: {points: [[-500 mm, -50 mm, 50 mm], [-500 mm, 50 mm, 50 mm], [-480 mm, 60 mm, 50 mm]],"
        " width: 100 mm}}",
        "foils: {cut: {points: [[-480 mm, 0 mm, 0 mm], [-500 mm, 0 mm, 50 mm], [-480 mm, 0 mm, 99 mm]],"
        " width: 100 mm, bend: 20 mm}}",
        "diffusers: {cut: {at: [-500 mm, 0 mm, 50 mm]}}",
        "mirrors: {cut: {at: [-500 mm, 0 mm, 50 mm]}}",
    ],
)
def test_what_hangs_between_keeps_straight_light_off(screen):
    assert (lamp := (built := made(screen)).lamps[0]) and read_lamp(built, lamp, at_glass(built)) == 0
    aside = made(screen.replace("-500 mm", "500 mm").replace("-480 mm", "480 mm"))
    assert read_lamp(aside, aside.lamps[0], at_glass(aside)) > 0
    assert any("100% of key's light" in check.text for check in check_set(built))


def test_bent_foil_round_a_thing_does_not_cut_it():
    """Its hull would: three sides of a box 20 mm away from the rod."""
    corners = (
        "[[-50 mm, -50 mm, 50 mm], [-50 mm, 50 mm, 50 mm], [50 mm, 50 mm, 50 mm], [50 mm, -50 mm, 50 mm]]"
    )
    built = made(f"foils: {{box: {{points: {corners}, width: 60 mm}}}}")
    (check,) = [check for check in check_set(built) if check.things == ("hero", "box")]
    assert check.state == "close" and check.clearance_mm == pytest.approx(20, abs=0.2)


def test_hero_without_glasses_is_never_a_mirror():
    mirror = "mirrors: {kick: {at: [200 mm, 0 mm, 50 mm], facing: up}}\n"
    built = build(setfile.parse(f"brimcast: 1\n{SIDE_LAMP}{mirror}"))
    assert at_glass(built).place_mm == pytest.approx([0, 0, 0])


@pytest.mark.parametrize(
    ("word", "red", "blue"), [("gold", 0.8, 0.3), ("silver", 0.8, 0.8), ("white", 0.85, 0.85)]
)
def test_card_takes_words_for_what_it_throws_back(word, red, blue):
    card = panel_of(made(f"cards: {{c: {{at: [0 mm, 0 mm, 500 mm], reflectance: {word}}}}}"), "c")
    assert card.front[-1] == pytest.approx(red) and card.front[0] == pytest.approx(blue)


def test_white_is_taken_from_a_card_by_its_middle():
    card = (
        "cards: {grey: {at: [0 mm, -200 mm, 40 mm], size: [80 mm, 60 mm], facing: up, reflectance: 18 %}}\n"
    )
    (meter,) = made(card + "camera: {white: grey}").meters
    assert meter.centre_mm == pytest.approx([0, -200, 40.01]) and meter.normal == pytest.approx([0, 0, 1])
    assert meter.radius_mm == pytest.approx(15) and meter.reflectance == pytest.approx(np.full(16, 0.18))


@pytest.mark.parametrize(
    ("more", "key", "text"),
    [
        ("backdrop: {behind: 900 mm}", "backdrop.behind", "leave the table 600 mm behind the datum, but"),
        ("backdrop: {behind: 210 mm, radius: 200 mm}", "backdrop.behind", "cut through 'hero'"),
        (f"{BEHIND}camera: {{azimuth: 180 deg}}", "backdrop", "the camera stands behind the paper"),
        ("foils: {f: {points: [[0 mm, 0 mm, 9 mm], [0 mm, 0 mm, 9 mm]], width: 9 mm}}", "foils.f.points.2",
         "the same place"),
        ("mirrors: {key: {at: [0 mm, 0 mm, 9 mm]}}", "mirrors.key", "already the name of a lamp"),
        ("diffusers: {d: {at: [0 mm, 0 mm, 9 mm], facing: kay}}", "diffusers.d.facing", "did you mean 'key'"),
    ],
)  # fmt: skip
def test_fault_names_its_place(more, key, text):
    (fault,) = faults_of(more)
    assert fault.key == key and text in fault.text


def test_camera_beside_the_paper_is_no_fault():
    built = made(BEHIND + "camera: {azimuth: 130 deg}")
    # Behind the upright part, but beside the paper.
    assert built.camera.place_mm[1] > 400 and built.sheets["paper backdrop"] == "backdrop"


def test_stand_of_a_diffuser_may_be_said():
    built = made(
        "diffusers: {silk: {at: [-500 mm, 0 mm, 300 mm], size: [200 mm, 200 mm]}}\n"
        "room: {stands: {silk: [-900 mm, 0 mm]}}"
    )
    assert {stand.name: stand.foot_mm for stand in list_stands(built)}["silk"] == (-900, 0)


def test_lamp_behind_the_backdrop_is_told():
    """A line from a lamp 1 m up and 1.73 m behind: 577 mm up where the paper stands at 1 m."""
    text = "brimcast: 1\ntable: {size: [2 m, 2.4 m]}\nglasses: {hero: {vessel: highball}}\n"
    text += "lamps: {key: {throw: 2 m, elevation: 30 deg, azimuth: 180 deg}}\n"
    for height, dark in (("900 mm", ["key"]), ("400 mm", [])):
        built = build(setfile.parse(f"{text}backdrop: {{behind: 1 m, height: {height}}}\n"))
        assert [name for name, _ in tell_shaded(built, most=0.05)] == dark
