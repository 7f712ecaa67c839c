"""Questions 9 and 11: shadow edges and flags, held to similar triangles and to a disc's chords."""

import numpy as np
import pytest

from brimcast.renders.answers.answer import Lacking
from brimcast.renders.answers.catalogue import QUESTIONS
from brimcast.renders.answers.openings import tell_inside
from brimcast.renders.answers.straight import find_extent, measure_width
from brimcast.scene.builder import build
from brimcast.scene.readings import Point, at_glass, read_lamp

RADIUS, HEIGHT, THROW, DISC = 30.0, 100.0, 2000.0, 50.0
# A straight tumbler with small roundings.
GLASS = "{vessel: {outline: [[0 mm, 60 mm], [100 mm, 60 mm]], heel: 0.3 mm, edge: 0.3 mm}}"
SET = """
brimcast: 1
table: {size: [1.6 m, 1.6 m]}
glasses: {hero: %s}
lamps: {key: {%s, elevation: 40 deg, azimuth: 180 deg}}
"""
ELEVATION = np.radians(40)


def read(answer, *keys):
    found = answer.values
    for key in keys:
        found = found[key]
    return found["value"]


@pytest.fixture(scope="module")
def disc(study_of):
    return study_of(SET % (GLASS, "kind: disc, diameter: 50 mm, throw: 2 m"))


@pytest.fixture(scope="module")
def edges(disc):
    return QUESTIONS[9].answer(disc)


def chord_profile(x):
    """Share of a disc of radius 1 to the left of x: a straight edge passes over it (areas under chords)."""
    x = np.clip(x, -1, 1)
    return 0.5 + (x * np.sqrt(1 - x**2) + np.arcsin(x)) / np.pi


def test_width_of_a_disc_behind_a_straight_edge():
    """Nine tenths of the disc are passed at 0.687 of its radius, so 90 to 10 % takes 0.687 of the width."""
    assert chord_profile(0.6870) == pytest.approx(0.9, abs=1e-4)
    x = np.linspace(-1.5, 1.5, 301)
    full, rise = measure_width(4 * x, 1 - chord_profile(x))
    assert full == pytest.approx(8.0, rel=0.02)
    assert rise == pytest.approx(0.687 * 8, rel=0.005)


def test_thin_things_cast_no_full_shade():
    x = np.linspace(-1.5, 1.5, 301)
    full, rise = measure_width(x, 1 - 0.7 * chord_profile(x))
    assert full is None and rise is None


def place_of_lamp():
    """Height of the disc's middle, and how far away it is level, by trigonometry."""
    return HEIGHT / 2 + THROW * np.sin(ELEVATION), THROW * np.cos(ELEVATION)


def triangle_width(height_mm, level_mm, slanted):
    """Lamp's size × distance edge to shadow ÷ distance lamp to edge, from level distance lamp to edge."""
    up, _ = place_of_lamp()
    steep = np.arctan2(up - height_mm, level_mm)
    width = DISC * (height_mm / np.sin(steep)) / np.hypot(up - height_mm, level_mm)
    return width / np.sin(steep) if slanted else width


@pytest.mark.parametrize(("name", "back", "slanted"), [("rim_side", 0.0, False), ("rim_end", RADIUS, True)])
def test_rims_shadow_is_as_soft_as_similar_triangles_say(edges, name, back, slanted):
    _, level = place_of_lamp()
    wanted = triangle_width(HEIGHT, level + back, slanted)
    assert read(edges, name, "full_mm") == pytest.approx(wanted, rel=0.04)
    assert read(edges, name, "estimate_mm") == pytest.approx(wanted, rel=0.02)
    assert read(edges, name, "from_90_to_10_mm") == pytest.approx(0.687 * wanted, rel=0.04)


def test_foots_edge_is_cast_from_where_light_leaves_the_foot(edges):
    """Behind a straight wall, a radius on, the edge comes from the radius × tan(elevation)."""
    up, level = place_of_lamp()
    height = RADIUS * up / (level + RADIUS)
    assert read(edges, "foot", "cast_from_mm") == pytest.approx(height, rel=0.04)
    assert read(edges, "foot", "full_mm") == pytest.approx(triangle_width(height, level, False), rel=0.06)
    x, y = read(edges, "foot", "place_mm")
    assert abs(x) == pytest.approx(RADIUS, abs=0.6) and y == pytest.approx(-RADIUS, abs=0.5)


def test_sharper_lamp_and_rectangle(study_of):
    """A rectangle's light fades evenly: 90 to 10 % takes 0.8 of the width, beside a straight wall."""
    study = study_of(SET % (GLASS, "kind: panel, size: [20 mm, 20 mm], throw: 2 m"))
    found = QUESTIONS[9].answer(study)
    full, rise = (read(found, "foot", key) for key in ("full_mm", "from_90_to_10_mm"))
    assert rise / full == pytest.approx(0.8, abs=0.03)


def test_sun_blurs_by_half_a_degree(study_of):
    """The sun's 0.53 degrees × distance edge to shadow; along its way ÷ sin(elevation)."""
    found = QUESTIONS[9].answer(study_of(SET % (GLASS, "kind: sun")))
    width = np.radians(0.533) * HEIGHT / np.sin(ELEVATION)
    assert read(found, "rim_side", "full_mm") == pytest.approx(width, rel=0.03)
    assert read(found, "rim_end", "full_mm") == pytest.approx(width / np.sin(ELEVATION), rel=0.03)


def test_extent_of_fronts(disc):
    from dataclasses import replace

    (lamp,) = disc.built.lamps
    slanted = (lamp.right + lamp.up) / np.sqrt(2)
    assert find_extent(lamp, slanted) == pytest.approx(DISC)
    panel = replace(lamp, kind="panel", size_mm=(30.0, 40.0))
    assert find_extent(panel, lamp.up) == pytest.approx(40)
    assert find_extent(panel, slanted) == pytest.approx(70 / np.sqrt(2))
    assert find_extent(replace(lamp, kind="tube", size_mm=(300.0, 20.0)), lamp.up) == pytest.approx(20)
    assert find_extent(replace(lamp, kind="ring", size_mm=(50.0, 10.0)), lamp.up) == pytest.approx(60)


def test_lamp_under_the_rim_is_asked_to_go_up(study_of):
    study = study_of(SET % (GLASS, "kind: disc, throw: 1 m"), {"lamps.key.elevation": "2 deg"})
    with pytest.raises(Lacking, match="higher than the rim"):
        QUESTIONS[9].answer(study)


@pytest.fixture(scope="module")
def flag(disc):
    return QUESTIONS[11].answer(disc)


def window_of_a_point(distance_mm):
    """Width and height of a cylinder's outline on a plane square to the beam, seen from a point."""
    angle = np.linspace(0, 2 * np.pi, 20001)
    along, across = RADIUS * np.cos(angle), RADIUS * np.sin(angle)
    spots = []
    for height in (-HEIGHT / 2, HEIGHT / 2):
        # Away from the plane through the middle, and upward in it.
        depth = THROW + along * np.cos(ELEVATION) - height * np.sin(ELEVATION)
        rise = along * np.sin(ELEVATION) + height * np.cos(ELEVATION)
        spots.append(np.stack([across, rise]) * (THROW - distance_mm) / depth)
    return np.ptp(np.concatenate(spots, axis=1), axis=1)


@pytest.mark.parametrize("distance_mm", [300.0, 1200.0])
def test_window_for_a_small_lamp_is_the_cylinders_outline(study_of, distance_mm):
    text = SET % (GLASS, "kind: disc, diameter: 1 mm, throw: 2 m")
    found = QUESTIONS[11].answer(study_of(text, {"brief.flag_distance": f"{distance_mm} mm"}))
    assert read(found, "window_mm") == pytest.approx(window_of_a_point(distance_mm), abs=3)
    assert read(found, "along_floor_mm") == pytest.approx(distance_mm * np.cos(ELEVATION), abs=2)
    middle = HEIGHT / 2 + distance_mm * np.sin(ELEVATION)
    assert read(found, "middle_mm") == pytest.approx([0, distance_mm * np.cos(ELEVATION), middle], abs=3)


def test_window_for_a_disc_is_wider_by_its_share(flag):
    """A lamp of 50 mm, seen past an edge at 0.4 of the throw, adds 0.4 × 50 mm."""
    added = np.array(read(flag, "window_mm")) - window_of_a_point(0.4 * THROW)
    assert added == pytest.approx([20, 20], abs=2)


def test_flags_keep_the_glass_lit_and_clear_the_table(flag):
    assert read(flag, "kept_share") > 0.95 and read(flag, "least_kept_share") > 0.95
    assert read(flag, "spill_share") < 0.02
    assert read(flag, "cleared_share") > 0.95


def test_flags_soft_edge_is_as_similar_triangles_say(flag):
    """At the foot: lamp's size × 0.4 throw ÷ 0.6 throw beside it; along the light ÷ sin(elevation)."""
    width = DISC * 0.4 / 0.6
    assert read(flag, "soft_edge_beside_mm") == pytest.approx(width, abs=5)
    assert read(flag, "soft_edge_before_mm") == pytest.approx(width / np.sin(ELEVATION), abs=5)


def test_flags_as_printed_do_it_by_another_arithmetic(disc, flag):
    """Hung in the set as told, metered by lines cut off by triangles instead of the renderer's rays."""
    changed = build(disc.vary({"flags": flag.values["flags"]}), detail=0.5)
    (lamp,) = changed.lamps
    bare = disc.built
    glass = at_glass(bare)
    assert read_lamp(changed, lamp, glass) > 0.95 * read_lamp(bare, lamp, glass)
    up = np.array([0.0, 0.0, 1.0])
    for x, y in ((150, 0), (-150, 0), (0, 200), (200, -300), (-400, 100)):
        place = Point("", np.array([x, y, 0.0]), up, "")
        assert read_lamp(changed, lamp, place) < 0.02 * read_lamp(bare, lamp, place)
    # Without one of them the table beside the glass is lit again.
    less = {name: one for name, one in flag.values["flags"].items() if not name.endswith("left")}
    changed = build(disc.vary({"flags": less}), detail=0.5)
    place = Point("", np.array([-300.0, 0.0, 0.0]), up, "")
    assert read_lamp(changed, lamp, place) > 0.5 * read_lamp(bare, lamp, place)


@pytest.mark.parametrize(
    ("distance", "why"), [("40 mm", "cut through the glass"), ("3 m", "lamp stands nearer")]
)
def test_flag_that_has_no_room_is_refused_at_its_key(study_of, only_fault, distance, why):
    text = SET % (GLASS, "kind: disc, throw: 2 m") + f"brief: {{flag_distance: {distance}}}\n"
    fault = only_fault(lambda: QUESTIONS[11].answer(study_of(text)))
    assert fault.key == "brief.flag_distance" and why in fault.text


def test_no_flag_shades_a_sky(study_of):
    text = SET.replace(", elevation: 40 deg, azimuth: 180 deg", "") % (GLASS, "kind: sky")
    with pytest.raises(Lacking, match="sky"):
        QUESTIONS[11].answer(study_of(text))


def test_places_in_a_square():
    square = np.array([(0, 0), (2, 0), (2, 2), (0, 2)])
    places = np.array([(1, 1), (2.5, 1), (3.5, 1)])
    assert tell_inside(square, places, 1.0).tolist() == [True, True, False]
