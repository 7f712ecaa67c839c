"""What is in the way, on sets small enough to work out by hand."""

import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.clashes import check_set
from brimcast.shared.errors import PersonError

START = """
brimcast: 1
table: {size: [800 mm, 600 mm]}
props: {hero: {shape: rod, diameter: 60 mm, length: 100 mm}}
"""
# Upright before the lens, 1 m from the datum; 36 × 24 mm and 100 mm frame 360 × 240 mm there.
CAMERA = "camera: {at: [0 mm, -1 m, 50 mm], aim: [0 mm, 0 mm, 50 mm], lens: 100 mm, focus: 1.1 m}\n"


def checks_of(more, what=None):
    found = check_set(build(setfile.parse(START + more), detail=0.3))
    return [check for check in found if what in (None, check.what)]


def test_simple_set_has_no_clash():
    lamps = "lamps: {key: {throw: 1.5 m, azimuth: 90 deg, elevation: 20 deg}}\n"
    states = {check.state for check in checks_of(lamps + CAMERA + "room: {ceiling: 2.5 m}")}
    assert states == {"clear"}


def test_ceiling_is_measured_from_the_highest_part_of_the_lamp():
    """A panel 1.2 m high at 30 deg, 2 m away: its middle 1 m over the aim, its edge cos 30 × 0.6 m higher.

    Its front counts as 1 mm thick.
    """
    lamp = "lamps: {key: {kind: panel, size: [300 mm, 1.2 m], throw: 2 m, elevation: 30 deg}}\n"
    top = 50 + 1000 + 600 * 0.8660254
    (check,) = [c for c in checks_of(lamp + "room: {table_height: 700 mm, ceiling: 2.4 m}", "ceiling") if
                c.things == ("key",)]  # fmt: skip
    assert check.clearance_mm == pytest.approx(2400 - 700 - top, abs=0.6) and check.state == "close"
    (check,) = [c for c in checks_of(lamp + "room: {table_height: 900 mm, ceiling: 2.4 m}", "ceiling") if
                c.things == ("key",)]  # fmt: skip
    assert check.clearance_mm == pytest.approx(2400 - 900 - top, abs=0.6) and check.state == "clash"
    assert check.text.startswith("ceiling too low for key")


def test_gap_to_a_ball_of_very_many_corners_is_found():
    """Ball of 60 mm, a card 45 mm from its middle and 3 mm thick: 13.5 mm. The hull is 0.3 % of 30 mm off."""
    text = START.replace("rod, diameter: 60 mm, length: 100 mm", "ball, diameter: 60 mm")
    text += "lamps: {key: {}}\n"
    text += "cards: {white: {size: [60 mm, 60 mm], at: [45 mm, 0 mm, 30.02 mm], facing: hero}}\n"
    checks = check_set(build(setfile.parse(text), detail=0.3))
    (check,) = [check for check in checks if set(check.things) == {"hero", "white"}]
    assert check.state == "close" and check.clearance_mm == pytest.approx(13.5, abs=0.1)


def test_flags_edge_to_edge_only_touch():
    """Square to a beam; what the two share is of rounding, here a hair below nothing."""
    flags = """
flags:
  right:
    size: [662 mm, 722 mm]
    at: [360 mm, 690.61 mm, 471.54 mm]
    facing: {azimuth: 180 deg, elevation: 40 deg}
  below:
    size: [58 mm, 437 mm]
    at: [0 mm, 782.21 mm, 362.38 mm]
    facing: {azimuth: 180 deg, elevation: 40 deg}
"""
    checks = checks_of("lamps: {key: {azimuth: 180 deg, throw: 2 m}}" + flags, "things through each other")
    (check,) = [check for check in checks if check.things == ("right", "below")]
    assert check.clearance_mm == pytest.approx(0, abs=0.1)


def test_ceiling_that_is_not_told_is_not_checked():
    assert checks_of("lamps: {key: {throw: 9 m, elevation: 80 deg}}\n", "ceiling") == []


@pytest.mark.parametrize(("throw", "state"), [("300 mm", "clash"), ("1.5 m", "clear")])
def test_stand_right_under_a_lamp_goes_through_the_table_where_the_lamp_is_over_it(throw, state):
    (check,) = checks_of(f"lamps: {{key: {{throw: {throw}, azimuth: 90 deg}}}}\n", "stand through table")
    assert check.state == state
    if state == "clash":
        # cos 35 deg × 300 mm from the middle of a table 400 mm to the side, 300 mm to the front.
        assert check.clearance_mm == pytest.approx(-(400 - 300 * 0.8191520), abs=0.01)


def test_boom_from_beside_the_table_clears_it():
    lamp = "lamps: {key: {throw: 300 mm, azimuth: 90 deg}}\nroom: {stands: {key: [-650 mm, 0 mm]}}"
    (check,) = checks_of(lamp, "stand through table")
    assert check.state == "clear" and check.clearance_mm == pytest.approx(250)


def test_stand_of_something_unknown_is_a_fault():
    with pytest.raises(PersonError, match=r"room\.stands\.kay: there is no lamp or panel called 'kay'"):
        setfile.parse(START + "lamps: {key: {}}\nroom: {stands: {kay: [1 m, 1 m]}}")


def test_ceiling_under_the_table_is_a_fault():
    with pytest.raises(PersonError, match=r"room\.ceiling: 700 mm is not above the table top \(750 mm\)"):
        setfile.parse(START + "lamps: {key: {}}\nroom: {ceiling: 70 cm}")


LAMP_BEHIND = "lamps: {back: {diameter: 20 mm, throw: 1 m, elevation: 0 deg, azimuth: 180 deg%s}}\n"


def test_lamp_behind_the_hero_is_in_the_frame():
    (check,) = [c for c in checks_of(LAMP_BEHIND % "" + CAMERA, "lamp in frame") if c.state == "clash"]
    assert check.things == ("back",)


def test_lamp_beside_the_frame_clears_it_by_what_is_left():
    """2 m from the lens, 110 mm before the sensor, its 36 mm frame 654.5 mm."""
    half = 18 / 110 * 2000
    aside = ", aim: [500 mm, 0 mm, 50 mm]"
    found = checks_of(LAMP_BEHIND % aside + CAMERA, "lamp in frame")
    (front,) = [check for check in found if check.text.startswith("back clears")]
    assert front.clearance_mm == pytest.approx(500 - 10 - half, abs=1) and front.state == "clear"
    # Its body, 150 mm thick, comes 350 mm farther back to a frame that is wider there.
    (head,) = [check for check in found if check.text.startswith("head of back")]
    assert head.clearance_mm == pytest.approx(500 - 75 - 18 / 110 * 2351, abs=1) and head.state == "close"


def test_flag_in_frame_is_a_clash_and_a_card_is_told():
    sheet = "%s: {sheet: {size: [100 mm, 100 mm], at: [0 mm, 100 mm, 51 mm], facing: {azimuth: 0 deg}}}\n"
    lamp = "lamps: {key: {azimuth: 90 deg}}\n"
    (flag,) = checks_of(lamp + sheet % "flags" + CAMERA, "flag in frame")
    (card,) = checks_of(lamp + sheet % "cards" + CAMERA, "card in frame")
    assert (flag.state, card.state) == ("clash", "note")


def test_what_a_flag_hides_is_not_in_the_frame():
    """A flag larger than the lamp's head, right before it; its foot reaches under the table's level."""
    flag = "flags: {hide: {size: [700 mm, 900 mm], at: [0 mm, 980 mm, 351 mm], facing: {azimuth: 0 deg}}}\n"
    assert [c.state for c in checks_of(LAMP_BEHIND % "" + flag + CAMERA, "lamp in frame")] == []


def test_crop_guide_tells_what_a_crop_keeps():
    lamp = LAMP_BEHIND % ", aim: [250 mm, 0 mm, 50 mm]"
    square = CAMERA.replace("focus:", "crop: square, focus:")
    (check,) = [c for c in checks_of(lamp + square, "lamp in frame") if c.state == "clash"]
    assert check.text.endswith("outside the crop")


def test_things_that_cut_through_each_other_are_found():
    lamp = "lamps: {key: {azimuth: 90 deg}}\n"
    flag = "flags: {cut: {size: [200 mm, 200 mm], at: [%s, 0 mm, 150 mm], facing: {azimuth: 90 deg}}}\n"
    what = "things through each other"
    clash = [c for c in checks_of(lamp + flag % "0 mm", what) if c.state == "clash"]
    assert [check.things for check in clash] == [("hero", "cut")]
    # The rod's side is at 30 mm, the flag's back half its thickness of 3 mm nearer.
    (near,) = checks_of(lamp + flag % "40 mm", what)
    assert near.state == "close" and near.clearance_mm == pytest.approx(40 - 1.5 - 30, abs=0.1)
    assert checks_of(lamp + flag % "80 mm", what) == []


def test_wall_keeps_the_legs_of_a_stand_out():
    """The lamp stands cos 35 deg × 1.5 m to the left, its legs reach half a metre farther."""
    lamp = "lamps: {key: {throw: 1.5 m, azimuth: 90 deg}}\nroom: {walls: {left: 1.6 m}}"
    (check,) = [c for c in checks_of(lamp, "wall") if c.things[0] == "key"]
    assert check.clearance_mm == pytest.approx(1600 - 1500 * 0.8191520 - 500, abs=0.1)
    assert check.state == "clash"


def test_flag_that_keeps_a_lamp_off_the_hero_is_told():
    lamp = "lamps: {key: {throw: 1 m, azimuth: 90 deg, elevation: 0 deg}}\n"
    flag = "flags: {cut: {size: [200 mm, 200 mm], at: [-500 mm, 0 mm, 120 mm], facing: key}}\n"
    (check,) = checks_of(lamp + flag, "light kept off the hero")
    assert "100% of key's light" in check.text and check.state == "note"
    assert checks_of(lamp + flag.replace("120 mm", "400 mm"), "light kept off the hero") == []


def test_lamp_toward_the_lens_is_told_and_a_flag_shades_it():
    what = "light in the lens"
    back = "lamps: {back: {throw: 1 m, elevation: 40 deg, azimuth: 180 deg}}\n"
    flag = "flags: {hood: {size: [300 mm, 300 mm], at: [0 mm, -500 mm, 300 mm], facing: camera}}\n"
    assert [c.state for c in checks_of(back + CAMERA, what)] == ["note"]
    assert checks_of(back + flag + CAMERA, what) == []
    assert checks_of(back.replace("180", "0") + CAMERA, what) == []
