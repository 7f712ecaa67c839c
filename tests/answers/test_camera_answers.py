"""Questions 20, 21, 22, 26, 28: framing, slices, diffraction, movement, splashes, against closed forms."""

import math

import numpy as np
import pytest

from brimcast.renders.answers import camera as answers
from brimcast.renders.answers.answer import Lacking
from brimcast.renders.answers.bursts import power_range
from brimcast.renders.answers.catalogue import QUESTIONS
from brimcast.renders.answers.moving import farthest_move, list_moves, turn_about
from brimcast.renders.answers.viewing import Pixels, ellipse_axes, measure_margins
from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.frame import measure_lens
from brimcast.scene.models_brief import Flash

DISTANCE, FOCAL, ELEVATION = 6000.0, 600.0, math.radians(25)
MAGNIFICATION = FOCAL / (DISTANCE - FOCAL)
# A far camera, so that what it sees is nearly flat; a small glass of water, 50 mm high.
GLASS = """
brimcast: 1
glasses:
  hero: {vessel: {shape: shot, height: 50 mm, diameter: 40 mm}, drink: {liquid: water}}
lamps: {key: {diameter: 30 mm, throw: 1 m, elevation: 40 deg, azimuth: 150 deg}}
camera: {lens: 600 mm, distance: 6 m, elevation: 25 deg, f_number: f/8, crop: square}
brief: {file_width: 6000, pixel_limit: 0.5, splash_speed: 4 m/s}
"""
BARE = "brimcast: 1\nlamps: {key: {}}\ncamera: {%s}\n"


@pytest.fixture(scope="module")
def study(study_of):
    return study_of(GLASS)


def ask(study, number):
    return QUESTIONS[number].answer(study).values


def camera_of(more):
    return build(setfile.parse(BARE % more)).camera


def test_ellipse_axes_of_a_turned_ellipse():
    angle = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    flat = np.stack([30 * np.cos(angle), 7 * np.sin(angle)], axis=1)
    turned = flat @ np.array([[0.8, 0.6], [-0.6, 0.8]]) + [100, -50]
    assert ellipse_axes(turned) == pytest.approx((60, 14), rel=2e-5)
    assert ellipse_axes(flat * [1, 0]) == pytest.approx((60, 0), abs=1e-4)


def test_rim_is_an_ellipse_by_the_sine_of_the_view(study):
    """A circle seen from afar at an angle e over its plane is sin(e) as high as wide."""
    found = ask(study, 20)
    rim_mm = study.built.feet[0].height_mm
    seen_from = study.built.camera.place_mm - [0, 0, rim_mm]
    sine = seen_from[2] / np.linalg.norm(seen_from)
    assert found["rim_ratio"]["value"] == pytest.approx(sine, rel=0.01)
    wide = 2 * study.built.feet[0].rim_radius_mm
    assert found["rim_mm"]["value"][0] == pytest.approx(wide, rel=0.01)
    assert found["rim_pixels"]["value"][0] == pytest.approx(wide * MAGNIFICATION / 36 * 6000, rel=0.01)


def test_pattern_is_in_the_frame_by_its_outline(study):
    """Against the outline's box of question 2, seen by a far camera: x as it is."""
    left, right, near, far = QUESTIONS[2].answer(study).values["box_mm"]["value"]
    found = ask(study, 20)
    margins = found["frame"]["margins"]
    half = 18 / MAGNIFICATION
    assert margins["left"]["mm"]["value"] == pytest.approx(half + left, rel=0.01)
    assert margins["right"]["mm"]["value"] == pytest.approx(half - right, rel=0.01)
    assert margins["left"]["pixels"]["value"] == pytest.approx(
        (half + left) * MAGNIFICATION / 0.006, rel=0.01
    )
    # The crop is square: as high as the frame, as wide as high.
    crop = found["crop"]["margins"]
    assert crop["left"]["mm"]["value"] == pytest.approx(12 / MAGNIFICATION + left, rel=0.02)
    assert crop["top"] == margins["top"]
    for part in ("frame", "crop"):
        counts = [side["pixels"]["value"] for side in found[part]["margins"].values()]
        assert found[part]["inside"] == (min(counts) >= 0)


def test_margins_of_known_places():
    """A camera that looks down from 1 m frames 36 × 24 mm over the magnification, 100 / 900, of the table."""
    camera = camera_of("lens: 100 mm, distance: 1 m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm]")
    pixels = Pixels(3600, 2400, 0.01, "a file")
    places = np.array([(-150.0, 100, 0), (100, -118, 0)])
    found = measure_margins(camera, places, (1.0, 0.5), pixels)
    expected = {"left": 162 - 150, "right": 162 - 100, "bottom": 54 - 118, "top": 54 - 100}
    for side, mm in expected.items():
        assert found[side][1] == pytest.approx(mm, abs=1e-6)
        assert found[side][0] == pytest.approx(mm * 100 / 9, abs=1e-6)


def test_side_that_looks_over_the_table_has_no_place_on_it():
    camera = camera_of("lens: 50 mm, distance: 1 m, elevation: 5 deg, aim: [0 mm, 0 mm, 0 mm]")
    found = measure_margins(camera, np.zeros((1, 3)), (1.0, 1.0), Pixels(3600, 2400, 0.01, "a file"))
    assert found["top"][1] is None and found["bottom"][1] > 0 and found["top"][0] == pytest.approx(1200)


def test_rim_is_told_where_no_pattern_is(study_of, monkeypatch):
    def none_thrown(*_):
        raise Lacking("a pattern on the table")

    bare = study_of(GLASS)
    monkeypatch.setattr(bare, "frame", none_thrown)
    found = QUESTIONS[20].answer(bare)
    assert found.values["rim_ratio"]["value"] > 0 and "frame" not in found.values
    assert "no pattern" in found.lines[1]


@pytest.mark.parametrize(
    ("reach", "deep", "count"),
    [(5, 10, 1), (10, 10, 1), (10.1, 10, 2), (18, 10, 2), (18.1, 10, 3), (42, 10, 5)],
)
def test_slices_share_a_fifth(reach, deep, count):
    """n slices of depth d cover d + (n - 1) 0.8 d (common practice)."""
    found, step = answers.count_slices(reach, deep)
    assert found == count
    assert deep + (found - 1) * step >= reach - 1e-9
    assert found == 1 or (step == 8 and deep + (found - 2) * step < reach)


@pytest.mark.parametrize(("lens", "f_number"), [("100 mm", "f/8"), ("120 mm", "f/16")])
def test_slice_is_the_handbooks_depth_of_field(lens, f_number):
    """Close up, 2 N c (1 + m) / m² (e.g. R. Jacobson and others, The Manual of Photography; from memory)."""
    camera = camera_of(f"lens: {lens}, distance: 700 mm, f_number: {f_number}")
    measured = measure_lens(camera)
    m = camera.magnification
    handbook = 2 * camera.f_number * math.hypot(36, 24) / 1500 * (1 + m) / m**2
    assert measured.depth_mm == pytest.approx(handbook, rel=0.02)


def test_slices_go_from_rim_to_tip_along_the_camera(study):
    found = ask(study, 21)
    tip = QUESTIONS[2].answer(study).values["tip_mm"]["value"]
    foot = study.built.feet[0]
    # Depth before the camera, which looks along +y and down: y cos(e) - z sin(e).
    depths = [
        y * math.cos(ELEVATION) - foot.height_mm * math.sin(ELEVATION)
        for y in (-foot.rim_radius_mm, foot.rim_radius_mm)
    ]
    depths.append(tip[1] * math.cos(ELEVATION))
    reach = max(depths) - min(depths)
    assert found["depth_mm"]["value"] == pytest.approx(reach, rel=1e-4)
    handbook = 2 * 8 * math.hypot(36, 24) / 1500 * (1 + MAGNIFICATION) / MAGNIFICATION**2
    assert found["slice_mm"]["value"] == pytest.approx(handbook, rel=0.01)
    count = 1 if reach <= handbook else 1 + math.ceil((reach - handbook) / (0.8 * handbook))
    assert found["count"]["value"] == count


def test_slices_with_a_tilted_lens_are_refused(study_of):
    with pytest.raises(Lacking) as lack:
        ask(study_of(GLASS, {"camera.tilt": "2 deg"}), 21)
    assert lack.value.give == "camera.tilt=0 deg"


def test_diffraction_is_airys(study):
    """The disc 2.44 λ N (1 + m) and its half width, by Bessel functions of SciPy; widths add as squares."""
    from scipy.optimize import brentq
    from scipy.special import j1, jn_zeros

    half = brentq(lambda x: (2 * j1(x) / x) ** 2 - 0.5, 1, 2)
    found = ask(study, 22)
    line = found["line_width_mm"]["value"]
    assert line == study.frame().caustic("key")["line_width_mm"]["value"] > 0
    for name, f_number in (("camera", 8.0), ("f_22", 2**4.5)):
        effective = f_number * (1 + MAGNIFICATION)
        disc_mm = 2 * jn_zeros(1, 1)[0] / math.pi * 550e-6 * effective
        assert found[name]["airy_um"]["value"] == pytest.approx(1000 * disc_mm, rel=1e-3)
        assert found[name]["airy_table_mm"]["value"] == pytest.approx(disc_mm / MAGNIFICATION, rel=1e-3)
        width = 2 * half / math.pi * 550e-6 * effective / MAGNIFICATION
        widened = math.sqrt(line**2 + width**2)
        assert found[name]["widened_mm"]["value"] == pytest.approx(widened, rel=1e-5)
        assert found[name]["widening_percent"]["value"] == pytest.approx(100 * (widened / line - 1), rel=1e-3)
        slant = math.hypot(line * math.sin(ELEVATION), width) / (line * math.sin(ELEVATION))
        assert found[name]["widening_slant_percent"]["value"] == pytest.approx(100 * (slant - 1), rel=1e-3)


def test_diffraction_without_a_line_tells_the_disc(study_of):
    found = QUESTIONS[22].answer(study_of(BARE % "f_number: f/8"))
    assert found.values["camera"]["airy_um"]["value"] > 0
    assert found.values["camera"]["widened_mm"]["value"] is None and "no line" in found.lines[-1]


def test_moves_follow_pixel_pitch_over_magnification(study):
    """mm = pixels × pitch / m for what moves across the view, as seen from afar."""
    found = ask(study, 26)
    foot = study.built.feet[0]
    across = 0.5 * 36 / 6000 / MAGNIFICATION
    assert found["sideways_at_focus_mm"]["value"] == pytest.approx(across)
    for thing in ("camera", "glass"):
        assert found[thing]["x_mm"]["value"] == pytest.approx(across, rel=0.01)
        # Along y the view sees the sine of its slope.
        assert found[thing]["y_mm"]["value"] == pytest.approx(across / math.sin(ELEVATION), rel=0.03)
    assert found["camera"]["z_mm"]["value"] == pytest.approx(across / math.cos(ELEVATION), rel=0.03)
    # Turning shifts the whole picture by the image distance × the angle's level part.
    pan = across / (DISTANCE * math.cos(ELEVATION))
    assert found["camera"]["turn_deg"]["value"] == pytest.approx(math.degrees(pan), rel=0.03)
    widest = max(foot.rim_radius_mm, foot.foot_radius_mm)
    assert found["glass"]["turn_deg"]["value"] == pytest.approx(math.degrees(across / widest), rel=0.02)


def test_each_move_shifts_by_the_limit_and_no_more():
    """By the shift itself, a level camera close by: sideways its nearest place, by similar triangles."""
    camera = camera_of("lens: 50 mm, at: [0 mm, -500 mm, 0 mm], aim: [0 mm, 0 mm, 0 mm]")
    pixels = Pixels(3600, 2400, 0.01, "a file")
    hero = np.array([(0.0, -40, 0), (0, 40, 0), (40, 0, 0), (-40, 0, 0)])
    moves = list_moves(camera, pixels, hero, (0, 0), np.zeros((0, 3)))
    image = camera.image_mm
    for thing in ("camera", "glass"):
        far = farthest_move(moves[thing]["x_mm"], 2)
        assert far == pytest.approx(2 * 0.01 * 460 / image, rel=1e-6)
        assert moves[thing]["x_mm"](far) == pytest.approx(2)
    # Toward the camera, places 40 mm off its axis spread: 40 / (500 - d) - 40 / 500.
    toward = farthest_move(moves["camera"]["y_mm"], 2)
    assert image * (40 / (500 - toward) - 40 / 500) / 0.01 == pytest.approx(2)
    # A pan carries the places on either side farthest: tan(a + t) - tan(a).
    side = math.atan(40 / 500)
    pan = math.radians(farthest_move(moves["camera"]["turn_deg"], 2))
    assert image * (math.tan(side + pan) - math.tan(side)) / 0.01 == pytest.approx(2)
    # A turn of the glass carries its nearest place sideways: 40 sin(t) before 500 - 40 cos(t).
    turn = math.radians(farthest_move(moves["glass"]["turn_deg"], 2))
    assert image * 40 * math.sin(turn) / (500 - 40 * math.cos(turn)) / 0.01 == pytest.approx(2)


def test_move_that_shifts_nothing_has_no_limit():
    assert farthest_move(lambda move: 0.0, 0.5) is None


def test_turns_are_clockwise_from_above():
    # From the camera's side (-y) clockwise to camera left (-x).
    assert turn_about(np.array([10.0, 4, 7]), (10, 5), 90) == pytest.approx([9, 5, 7])


def test_movement_needs_a_limit(study_of):
    with pytest.raises(Lacking) as lack:
        ask(study_of(BARE % "f_number: f/8"), 26)
    assert lack.value.give == "brief.pixel_limit=0.5"


def test_splash_smears_by_speed_and_magnification(study_of):
    """A blur on the sensor is v t m (motion blur, any photographic optics handbook)."""
    found = ask(study_of(GLASS), 28)
    limit, sharp = found["limit"], found["sharp"]
    assert 4000 * limit["t01_s"]["value"] * MAGNIFICATION == pytest.approx(0.5 * 36 / 6000)
    assert 4000 * sharp["t01_s"]["value"] * MAGNIFICATION == pytest.approx(math.hypot(36, 24) / 1500)
    assert found["t01_s"] == limit["t01_s"] and found["power_ceiling_stops"]["value"] is None


def test_usual_splash_time_is_that_of_a_usual_splash(study_of):
    """trade.md: 1/8000 s or shorter (common practice); 2 m/s at a quarter of life size asks for 1/17000 s,
    half a metre a second for 1/4300 s: the usual time lies between."""
    times = {}
    for speed in ("0.5 m/s", "2 m/s"):
        changes = {"brief": {"splash_speed": speed}, "camera.lens": "100 mm", "camera.distance": "500 mm"}
        answer = QUESTIONS[28].answer(study_of(GLASS, changes))
        times[speed] = answer.values["t01_s"]["value"]
        assert ("no shorter" in " ".join(answer.lines)) == (times[speed] > 1 / 8000)
    assert times["2 m/s"] < 1 / 8000 < times["0.5 m/s"]


def test_power_ceiling_lies_on_the_straight_line_of_logarithms(study_of):
    """t0.1 that halves by every stop, given at 0 and -4 stops: a quarter of the time is 2 stops down."""
    at_full = 4 * math.hypot(36, 24) / 1500 / MAGNIFICATION / 4000
    flash = [
        {"power": "0 stops", "time": f"{at_full:.12f} s"},
        {"power": "-4 stops", "time": f"{at_full / 16:.12f} s"},
    ]
    changes = {"brief": {"splash_speed": "4 m/s", "flash": flash}}
    found = QUESTIONS[28].answer(study_of(GLASS, changes))
    assert found.values["power_ceiling_stops"]["value"] == pytest.approx(-2, abs=1e-4)
    assert found.values["power_floor_stops"]["value"] == -4
    assert "up to 2.0 stops below full" in found.lines[1]


def flash_of(**times):
    """Return a head's times by power, 'm3' for -3 stops."""
    return [
        Flash.model_validate({"power": f"-{power[1:]} stops", "time": f"{time} s"})
        for power, time in times.items()
    ]


@pytest.mark.parametrize(
    ("times", "floor", "ceiling", "words"),
    [
        ({"m0": 0.001, "m3": 0.000125}, None, None, "too slow at every power given; shortest is 1/8000 s"),
        ({"m0": 0.00005, "m3": 0.00001}, -3, 0, "fast enough at every power given, from 0.0 to 3.0"),
        ({"m0": 0.00005}, 0, 0, "fast enough at every power given, at full power"),
        # Longer when turned down.
        ({"m0": 0.00005, "m2": 0.0002}, -1, 0, "from 0.0 to 1.0 stops below full; lower, it burns longer"),
        # Short in the middle alone.
        ({"m0": 0.0002, "m2": 0.00005, "m4": 0.0002}, -3, -1, "from 1.0 to 3.0 stops below full"),
    ],
)
def test_powers_at_which_a_head_is_fast_enough(times, floor, ceiling, words):
    found = power_range(flash_of(**times), 0.0001)
    assert (found.floor, found.ceiling) == (
        (None, None) if floor is None else (pytest.approx(floor), pytest.approx(ceiling))
    )
    assert words in found.words


@pytest.mark.parametrize("number", [20, 21, 22, 26, 28])
def test_camera_is_needed(study_of, number):
    text = BARE.partition("camera:")[0] + "brief: {pixel_limit: 1, splash_speed: 1 m/s}\n"
    with pytest.raises(Lacking) as lack:
        ask(study_of(text + "glasses: {hero: {vessel: rocks}}\n"), number)
    assert lack.value.give == "camera.lens=100 mm"


@pytest.mark.parametrize(("number", "give"), [(20, ""), (21, ""), (28, "brief.splash_speed=3 m/s")])
def test_what_else_is_needed_is_named(study_of, number, give):
    with pytest.raises(Lacking) as lack:
        ask(study_of(BARE % "f_number: f/8"), number)
    assert lack.value.give == give
