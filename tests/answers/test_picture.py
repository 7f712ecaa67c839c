"""Questions 10 and 16 to 19 end to end, held to closed forms."""

import math

import numpy as np
import pytest

from brimcast.renders.answers.answer import Lacking
from brimcast.renders.answers.catalogue import QUESTIONS

# A clear rod before a matt card that the key lights; the camera looks level at its middle.
INDEX, RADIUS, AWAY, BEHIND, HALF = 1.5, 20.0, 1000.0, 300.0, 130.0
FIELD = f"""
brimcast: 1
table: {{size: [200 mm, 200 mm], reflectance: 2 %}}
props: {{rod: {{shape: rod, diameter: {2 * RADIUS} mm, length: 120 mm, material: {{index: {INDEX}}}}}}}
cards:
  field: {{size: [{2 * HALF} mm, 300 mm], at: [0 mm, {BEHIND} mm, 60 mm], facing: {{azimuth: 0 deg}}}}
lamps: {{key: {{kind: disc, diameter: 60 mm, throw: 1.5 m, azimuth: 30 deg, aim: [0 mm, 290 mm, 60 mm],
  colour: 587 nm, reading: {{f_number: f/11, iso: 100, distance: 1.5 m, receptor: flat}}}}}}
camera: {{at: [0 mm, -{AWAY} mm, 60 mm], aim: [0 mm, 0 mm, 60 mm], lens: 100 mm, f_number: f/11}}
render: {{width: 96}}
brief: {{file_width: 6000}}
"""


def cross_rod(impact):
    """A ray that would pass the axis of the rod at a distance: where it goes through the card's plane, and
    where what the rod mirrors of it does; shares by Fresnel's formulas (any optics handbook)."""
    across = math.asin(impact / AWAY)
    before, after = math.asin(impact / RADIUS), math.asin(impact / RADIUS / INDEX)
    s = (math.cos(before) - INDEX * math.cos(after)) / (math.cos(before) + INDEX * math.cos(after))
    p = (INDEX * math.cos(before) - math.cos(after)) / (INDEX * math.cos(before) + math.cos(after))
    thrown = (s * s + p * p) / 2

    def meet(turn):
        # Turned toward the axis by that angle, it still passes the axis as far off.
        way = turn - across
        along = (BEHIND - impact * math.sin(way)) / math.cos(way) if math.cos(way) > 0 else math.nan
        return impact * math.cos(way) - along * math.sin(way)

    return meet(2 * (before - after)), meet(-(math.pi - 2 * before)), thrown


def level_of(impact):
    through, mirrored, thrown = cross_rod(impact)
    return (1 - thrown) ** 2 * (abs(through) < HALF) + thrown * (abs(mirrored) < HALF)


def seen_mm(impact):
    """Where such a ray goes through the plane of the axis."""
    return AWAY * math.tan(math.asin(impact / AWAY))


@pytest.fixture(scope="module")
def field(study_of):
    return study_of(FIELD)


def test_dark_edge_is_that_of_a_cylinder_by_snell(field):
    impacts = np.linspace(0, RADIUS * (1 - 1e-9), 40001)
    bright = np.array([level_of(impact) >= 0.5 for impact in impacts])
    inner = impacts[np.flatnonzero(bright[:30000]).max()]
    outer = impacts[np.flatnonzero(~bright).max()]
    expected = seen_mm(outer) - seen_mm(inner)
    assert 4 < expected < 16
    found = QUESTIONS[17].answer(field).values
    assert found["field"] == ["field"]
    for side in ("left", "right"):
        # The mesh is round to 0.004 mm, rays are 0.01 mm apart.
        assert found[f"{side}_mm"]["value"] == pytest.approx(expected, abs=0.05)
    # 36 mm of sensor see 360 mm at the rod, less what focusing at 1 m takes: image distance 111.1 mm.
    pixel_mm = 36 / (1 / (1 / 100 - 1 / AWAY)) * AWAY / 6000
    assert found["left_pixels"]["value"] == pytest.approx(found["left_mm"]["value"] / pixel_mm, rel=1e-3)


def test_without_a_bright_field_there_is_no_dark_edge(study_of):
    with pytest.raises(Lacking, match="bright field"):
        QUESTIONS[17].answer(study_of(FIELD, {"cards": {}}))


# A white table lit from straight above and metered at the datum; nothing stands on it.
WHITE, F_NUMBER, ISO = 0.9, 16.0, 100.0
PLAIN = f"""
brimcast: 1
table: {{reflectance: {100 * WHITE} %}}
lamps: {{key: {{kind: disc, diameter: 100 mm, throw: 2 m, elevation: 90 deg,
  reading: {{f_number: f/{F_NUMBER:g}, iso: {ISO:g}, distance: 2 m, receptor: flat}}}}}}
camera: {{distance: 1 m, elevation: 40 deg, f_number: f/16, iso: 100, lens: 100 mm}}
render: {{width: 32}}
"""


def test_white_table_has_the_headroom_that_iso_arithmetic_says(study_of):
    """ISO 2720: C = 250 for a flat receptor; ISO 12232: H = 0.65 L t / N² far off, saturation at 78 / ISO."""
    found = QUESTIONS[10].answer(study_of(PLAIN)).values
    luminance = WHITE / math.pi * 250 * F_NUMBER**2 / ISO
    magnification = 100 / (1000 - 100)
    level = 0.65 * luminance / F_NUMBER**2 / (1 + magnification) ** 2 / (78 / ISO)
    assert found["picture_headroom_stops"]["value"] == pytest.approx(-math.log2(level), abs=0.05)
    assert found["clipped_share"]["value"] == found["blocked_up_share"]["value"] == 0
    assert found["line_headroom_stops"]["value"] is None and not found["metered"]


def test_three_stops_faster_the_white_table_clips(study_of):
    found = QUESTIONS[10].answer(study_of(PLAIN, {"camera.iso": "800"}))
    assert found.values["picture_headroom_stops"]["value"] == pytest.approx(-1.96, abs=0.06)
    assert found.values["clipped_share"]["value"] == 100 and "clips by 2.0 stops" in found.lines[2]


BALL_MM = 40.0
SHADOW = f"""
brimcast: 1
props: {{ball: {{shape: ball, diameter: {BALL_MM} mm, material: black, height: 60 mm}}}}
lamps: {{key: {{kind: disc, diameter: 10 mm, throw: 5 m, elevation: 40 deg, azimuth: 90 deg, aim: ball}}}}
camera: {{distance: 1 m, elevation: 60 deg, lens: 100 mm, f_number: f/11}}
render: {{width: 192}}
"""


def test_shadow_of_a_black_ball_blocks_up(study_of):
    """The camera sees all of it."""
    found = QUESTIONS[10].answer(study_of(SHADOW))
    # The lamp's middle and the ball make a cone that the table cuts in an ellipse of eccentricity
    # cos(elevation) / cos(half angle).
    rise, half = math.radians(40), math.asin(BALL_MM / 2 / 5000)
    high = 80 + 5000 * math.sin(rise)
    long = high / 2 * (1 / math.tan(rise - half) - 1 / math.tan(rise + half))
    area = math.pi * long**2 * math.sqrt(1 - (math.cos(rise) / math.cos(half)) ** 2) / 100
    assert found.values["shadow_cm2"]["value"] == pytest.approx(area, rel=0.01)
    assert found.values["shadow_blocked_share"]["value"] > 90
    assert found.values["metered"] and "metered" in found.lines[-1]


# A strip behind left that the rod's edge mirrors; the strip is tall enough for a part of the rod.
STRIP_MM, NEAR = 90.0, 500.0
RIM = f"""
brimcast: 1
table: {{size: [200 mm, 200 mm], reflectance: 0 %}}
props: {{rod: {{shape: rod, diameter: 40 mm, length: 120 mm, material: {{index: 1.5}}}}}}
lamps:
  key: {{kind: panel, size: [120 mm, {STRIP_MM} mm], throw: {NEAR} mm, elevation: 0 deg, azimuth: 150 deg,
    colour: 587 nm, reading: {{f_number: f/22, iso: 100, distance: 1 m, receptor: flat}}}}
camera:
  {{at: [0 mm, -1 m, 60 mm], aim: [0 mm, 0 mm, 60 mm], sensor: [24 mm, 36 mm], lens: 200 mm, f_number: f/16}}
render: {{width: 72}}
"""


def test_rim_light_is_as_long_as_its_lamp_is_mirrored(study_of):
    """An upright face keeps a ray's slope: at a height h over the middle it meets the lamp's plane at about
    h (1 + NEAR / 1 m). The other edge bends light by far more than the 30 deg from there to the lamp."""
    found = QUESTIONS[18].answer(study_of(RIM)).values
    seen = STRIP_MM / (1 + NEAR / 1000)
    assert found["left_unbroken"]["value"] == pytest.approx(100 * seen / 120, abs=5)
    low, high = found["left_from_to_mm"]["value"]
    assert (low, high) == pytest.approx((60 - seen / 2, 60 + seen / 2), abs=4)
    assert found["right_unbroken"]["value"] < 5
    assert found["background_stops"]["value"] < -4


MIRROR = """
brimcast: 1
props: {ball: {shape: ball, diameter: 60 mm, material: {index: 1.5}}}
lamps:
  key: {kind: disc, diameter: 60 mm, throw: 1.5 m, elevation: 35 deg, azimuth: 60 deg}
  back: {kind: disc, diameter: 60 mm, throw: 1.5 m, elevation: 8 deg, azimuth: 250 deg}
cards: {white: {size: [60 mm, 60 mm], at: [300 mm, -300 mm, 200 mm]}}
camera: {distance: 1.1 m, elevation: 10 deg}
"""


def bisect(ball, radius, lamp, eye):
    """The place on a ball whose normal halves the angle between the ways to lamp and lens."""
    normal = np.array([0.0, 0.0, 1.0])
    for _ in range(200):
        place = ball + radius * normal
        ways = [(far - place) / np.linalg.norm(far - place) for far in (lamp, eye)]
        normal = sum(ways) / np.linalg.norm(sum(ways))
    return ball + radius * normal


def test_ball_mirrors_lamps_and_cards_where_its_normal_halves_the_angle(study_of):
    study = study_of(MIRROR)
    built, ball, radius = study.built, np.array([0.0, 0.0, 30.0]), 30.0
    found = {each["thing"]: each for each in QUESTIONS[19].answer(study).values["reflections"]}
    kinds = {name: each["kind"] for name, each in found.items()}
    assert kinds == {"key": "lamp", "back": "lamp", "white": "card"}
    middles = {lamp.name: lamp.centre_mm for lamp in built.lamps} | {
        "white": np.array([300.0, -300.0, 200.0])
    }
    for name, middle in middles.items():
        place = bisect(ball, radius, middle, built.camera.place_mm)
        each = found[name]
        assert each["height_mm"]["value"] == pytest.approx(place[2], abs=0.1)
        assert each["right_mm"]["value"] == pytest.approx((place - ball) @ built.camera.right, abs=0.1)
    # A mirroring ball turns ways twice as fast as its normal: of a far lamp's solid angle it shows
    # radius² / 4. At this distance that is true to a few per cent.
    far = np.linalg.norm(built.lamps[0].centre_mm - ball) - radius
    solid = math.pi * 30**2 / far**2
    assert found["key"]["area_mm2"]["value"] == pytest.approx(radius**2 / 4 * solid, rel=0.08)


# A straight tumbler of water with a thin wall, seen level; the lamp stands level 25 deg off the camera, as a
# card 60 mm behind the axis sees it.
TUMBLER, FROM, CARD, TURN = 30.0, 900.0, 60.0, 25.0
GLOW = f"""
brimcast: 1
glasses:
  hero:
    vessel:
      {{outline: [[0 mm, 60 mm], [110 mm, 60 mm]], wall: 0.6 mm, base: 2 mm, heel: 0.2 mm, fillet: 0.5 mm}}
    drink: {{liquid: {{index: 1.333}}, fill: 100 mm, contact: 90 deg}}
lamps:
  key: {{throw: 1.5 m, elevation: 0 deg, azimuth: {TURN} deg, aim: [0 mm, {CARD} mm, 52 mm]}}
camera: {{at: [0 mm, -{FROM} mm, 52 mm], aim: [0 mm, 0 mm, 52 mm], lens: 90 mm, f_number: f/64}}
"""


def share_lit(wide, turn_deg):
    """Share of the tumbler's width through which a turned card's width is seen, by Snell's law."""
    turn = math.radians(turn_deg)
    # Azimuth is camera left: the card's right side comes nearer.
    level, front = np.array([math.cos(turn), -math.sin(turn)]), np.array([-math.sin(turn), -math.cos(turn)])
    lit = []
    for impact in np.linspace(-1, 1, 2001)[1:-1] * TUMBLER:
        bend = 2 * (math.asin(impact / TUMBLER) - math.asin(impact / TUMBLER / 1.333))
        way = bend - math.asin(impact / FROM)
        place = impact * np.array([math.cos(way), math.sin(way)])
        along = np.array([-math.sin(way), math.cos(way)])
        off = place + along * ((np.array([0.0, CARD]) - place) @ front) / (along @ front) - [0.0, CARD]
        lit.append(abs(off @ level) <= wide / 2)
    return np.mean(lit)


def test_glow_card_is_as_large_as_the_glass_hides_and_faces_the_lamp(study_of):
    found = QUESTIONS[16].answer(study_of(GLOW)).values
    wide, tall = found["size_mm"]["value"]
    assert found["lamp"] == "key" and found["at_mm"]["value"] == pytest.approx([0, CARD, 51], abs=0.1)
    # Where every turn shows the drink as much of the card, facing the lamp brings most light (cosine law).
    assert found["turn_deg"]["value"] == pytest.approx(TURN, abs=3)
    assert found["facing_azimuth_deg"]["value"] == pytest.approx(TURN, abs=3)
    # Both sides on the tangents from the lens, the nearer one first, a millimetre inside.
    turn, half = math.radians(found["turn_deg"]["value"]), math.asin(TUMBLER / FROM)
    tangent = (FROM + CARD) * math.sin(half) / math.cos(half - turn)
    assert wide == pytest.approx(2 * (tangent - 1), abs=1)
    assert tall == pytest.approx(2 * found["at_mm"]["value"][2], abs=0.2)
    share = 100 * share_lit(wide, found["turn_deg"]["value"])
    assert found["drink_lit_share"]["value"] == pytest.approx(share, rel=0.03)


def test_glow_card_needs_a_drink_and_light(study_of):
    with pytest.raises(Lacking, match="a drink"):
        QUESTIONS[16].answer(study_of(GLOW, {"glasses.hero.drink": None}))
    with pytest.raises(Lacking, match="a lamp that lights the front"):
        QUESTIONS[16].answer(study_of(GLOW, {"lamps.key.azimuth": "180 deg"}))
    with pytest.raises(Lacking, match="less steeply"):
        QUESTIONS[16].answer(study_of(GLOW, {"camera.at": ["0 mm", "0 mm", "900 mm"]}))


@pytest.mark.slow
def test_hidden_card_of_the_set_keeps_its_place(study_of):
    card = {"glow": {"size": "hidden", "at": ["5 mm", "70 mm", "52 mm"], "facing": {"azimuth": "0 deg"}}}
    found = QUESTIONS[16].answer(study_of(GLOW, {"cards": card}))
    assert found.values["card"] == "glow" and found.values["at_mm"]["value"] == [5, 70, 52]
    assert found.values["as_set_lit_share"]["value"] > 50 and "As set" in found.lines[-1]


@pytest.mark.parametrize("number", [10, 16, 17, 18, 19])
def test_each_needs_a_camera(study_of, number):
    with pytest.raises(Lacking, match="a camera"):
        QUESTIONS[number].answer(study_of(MIRROR, {"camera": None}))


@pytest.mark.parametrize("number", [16, 17, 18, 19])
def test_all_but_clipping_need_a_hero(study_of, number):
    with pytest.raises(Lacking, match="a glass"):
        QUESTIONS[number].answer(study_of(PLAIN))


def test_hero_out_of_the_frame_is_told(study_of):
    with pytest.raises(Lacking, match="in the frame"):
        QUESTIONS[19].answer(study_of(MIRROR, {"camera.aim": ["600 mm", "0 mm", "30 mm"]}))
