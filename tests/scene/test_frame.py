"""What the camera frames, from set files: close focus, sharpness, rise, shift, tilt, crop."""

import math

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.frame import crop_share, describe_camera, look_along, project
from brimcast.shared.errors import PersonError

SET = """
brimcast: 1
lamps: {key: {}}
camera: {lens: 100 mm, at: [0 mm, -600 mm, 100 mm], aim: [0 mm, 0 mm, 100 mm], %s}
"""


def camera_of(more):
    return build(setfile.parse(SET % more)).camera


def test_close_focus_magnifies_and_costs_light(published):
    """published_values.yaml#exposure/close_up: 100 mm lens, subject 600 mm away, f/11."""
    entry = published["exposure"]["close_up"]
    value, tolerance = entry["value"], entry["tolerance"]
    found = describe_camera(build(setfile.parse(SET % "f_number: f/11.00001")))
    assert found["magnification"] == pytest.approx(value["f100_s600_m"], abs=tolerance)
    assert found["close_up_loss_stops"] == pytest.approx(value["m0p2_stops"], abs=tolerance)
    assert found["effective_f_number"] == pytest.approx(value["f11_at_m0p2"], abs=tolerance)


def test_depth_of_field_of_the_worked_example(published):
    """published_values.yaml#exposure/depth_of_field; 36 × 27 mm allows the same blur."""
    entry = published["exposure"]["depth_of_field"]
    value, tolerance = entry["value"], entry["tolerance"]
    assert math.hypot(36, 27) / 1500 == value["c"]
    # Written so that it is not taken for the mark f/11, which stands for 11.31.
    found = describe_camera(build(setfile.parse(SET % "f_number: f/11.00001, sensor: [36 mm, 27 mm]")))
    assert found["sharp_from_mm"] == pytest.approx(value["near"], abs=tolerance)
    assert found["sharp_to_mm"] == pytest.approx(value["far"], abs=tolerance)
    assert found["depth_of_field_mm"] == pytest.approx(value["total"], abs=tolerance)


def test_field_of_view_is_the_sensor_over_the_magnification():
    found = describe_camera(build(setfile.parse(SET % "sensor: [36 mm, 24 mm]")))
    # Similar triangles: 600 mm before the lens, 120 mm behind it.
    assert found["field_of_view_mm"] == pytest.approx([180, 120])
    assert found["field_of_view_deg"] == pytest.approx(
        [2 * math.degrees(math.atan(18 / 120)), 2 * math.degrees(math.atan(12 / 120))]
    )


@pytest.mark.parametrize("more", ["f_number: f/8", "rise: 6 mm, shift: -4 mm", "tilt: 4 deg, rise: 2 mm"])
def test_places_are_seen_where_the_camera_looks(more):
    camera = camera_of(more)
    for spot in ((0, 0), (-1, 1), (0.3, -0.8)):
        place = camera.place_mm + 750 * look_along(camera, spot)
        assert project(camera, place)[:2] == pytest.approx(spot, abs=1e-12)


def test_nothing_behind_the_lens_is_in_the_frame():
    assert np.isnan(project(camera_of("f_number: f/8"), [0.0, -900.0, 100.0])[:2]).all()


def test_rise_and_shift_move_the_frame_by_their_length_over_the_magnification():
    camera = camera_of("rise: 6 mm, shift: -4 mm")
    middle = camera.place_mm + 600 * look_along(camera, (0, 0)) / look_along(camera, (0, 0))[1]
    assert middle == pytest.approx([-4 / 0.2, 0, 100 + 6 / 0.2])


def test_tilted_lens_keeps_what_is_focused_sharp_and_obeys_the_hinge_rule():
    """H. M. Merklinger, Focusing the View Camera (1996): the plane of focus turns about a line f / sin(tilt)
    under the lens, in the plane through the lens that is parallel to the sensor."""
    camera = camera_of("tilt: 5 deg, focus: [0 mm, 100 mm, 30 mm]")
    focused = np.array([0.0, 100.0, 30.0]) - camera.place_mm
    assert camera.focus_plane @ focused == pytest.approx(1, rel=1e-12)
    hinge = -camera.up * camera.focal_mm / math.sin(math.radians(5))
    assert camera.focus_plane @ hinge == pytest.approx(1, rel=1e-12)


def test_planes_of_sensor_lens_and_focus_meet_in_one_line():
    """Scheimpflug's rule."""
    camera = camera_of("tilt: -7 deg")
    # The lens plane meets the sensor's plane, image_mm behind the lens, at this height along `up`.
    tilt = math.radians(-7)
    spot = -camera.image_mm * camera.forward - camera.image_mm / math.tan(tilt) * camera.up
    assert spot @ camera.lens_axis == pytest.approx(0, abs=1e-9)
    assert camera.focus_plane @ spot == pytest.approx(1, rel=1e-9)


def test_tilt_that_cannot_focus_is_refused():
    with pytest.raises(PersonError, match="plane of focus"):
        camera_of("tilt: 45 deg, focus: [0 mm, -560 mm, 400 mm]")


@pytest.mark.parametrize(
    ("crop", "share"),
    [("square", (2 / 3, 1)), ("3:2", (1, 1)), ("4:5", (0.8 * 24 / 36, 1)), ("2:1", (1, 0.75))],
)
def test_crop_guide_is_the_largest_of_its_shape(crop, share):
    assert crop_share(camera_of(f"crop: {crop}")) == pytest.approx(share)


@pytest.mark.parametrize("crop", ["4 by 5", "[4, 5]", "0:1", "1:50", "4", "-1:2"])
def test_what_is_no_crop_is_told(crop):
    with pytest.raises(PersonError, match=r"camera\.crop: .*write width : height, such as 4:5") as caught:
        camera_of(f"crop: {crop}")
    (fault,) = caught.value.faults
    assert fault.line == 4


def test_marked_apertures_stand_for_the_exact_series(published):
    """published_values.yaml#exposure/f_number_series (ISO 517), to its digits."""
    value = published["exposure"]["f_number_series"]["value"]
    for marks, exact in (("marked", "exact"), ("third_marked_8_to_16", "third_exact_8_to_16")):
        for mark, wanted in zip(value[marks], value[exact], strict=True):
            built = build(setfile.parse(SET % f"f_number: f/{mark}"))
            assert built.camera.f_number == pytest.approx(wanted, abs=5.1e-4)
            assert describe_camera(built)["f_number"] == mark
