"""Exposure against ISO relations and worked examples."""

import math

import numpy as np
import pytest

from brimcast.shared import exposure


def test_flat_reading_agrees_with_the_guide_number(published):
    """published_values.yaml#exposure/guide_number: at 1 m the lx s are the candela-seconds."""
    expected = published["exposure"]["guide_number"]["value"]["GN32_ISO100_candela_seconds"]
    assert exposure.light_exposure(32, 100, "flat") == expected


def test_meter_constants_lie_in_the_standard_ranges(published):
    """published_values.yaml#exposure/meter_constants."""
    value = published["exposure"]["meter_constants"]["value"]
    assert exposure.light_exposure(1, 100, "flat") == value["EV0_ISO100_illuminance_C250"]
    low, high = value["C_hemispherical_range"]
    assert low <= exposure.light_exposure(1, 1, "dome") <= high


def test_unknown_receptor_is_refused():
    with pytest.raises(ValueError, match="flat, dome"):
        exposure.light_exposure(8, 100, "spot")


def test_sensor_exposure_of_the_worked_example(published):
    """published_values.yaml#exposure/focal_plane_exposure."""
    entry = published["exposure"]["focal_plane_exposure"]
    example = entry["value"]["example"]
    found = exposure.sensor_exposure(example["L"] * example["t"], example["N"])
    assert found == pytest.approx(example["H"], abs=entry["tolerance"])
    assert entry["value"]["q_unrounded"] == pytest.approx(
        math.pi / 4 * 0.9 * 0.98 * math.cos(math.radians(10)) ** 4, abs=1e-6
    )
    assert round(entry["value"]["q_unrounded"], 2) == exposure.SENSOR_Q


def test_saturation_of_iso_100(published):
    """published_values.yaml#exposure/saturation_speed."""
    assert exposure.saturation(100) == published["exposure"]["saturation_speed"]["value"]["H_sat_ISO100"]


def test_metered_luminance_lands_three_stops_below_saturation(published):
    """published_values.yaml#exposure/meter_to_sensor: L t = K N^2 / ISO with K = 12.5, any exposure."""
    entry = published["exposure"]["meter_to_sensor"]
    for f_number, iso in ((8, 100), (2.8, 64), (22.6, 400)):
        found = exposure.level(12.5 * f_number**2 / iso, f_number, iso)
        assert found == pytest.approx(entry["value"]["fraction"], abs=entry["tolerance"])
        assert -exposure.stops(found) == pytest.approx(entry["value"]["stops_below_saturation"], abs=1e-4)


@pytest.mark.parametrize("receptor", ["flat", "dome"])
def test_grey_card_under_the_metered_light(published, receptor):
    """A matte card of the reflectance pi K / C returns the luminance that a spot meter expects.

    published_values.yaml#exposure/meter_reflectance and meter_to_sensor; the level of an
    18 % card follows in proportion, 0.1194 for the flat receptor and 0.162 for the dome.
    """
    expected = published["exposure"]["meter_to_sensor"]["value"]["fraction"]
    lux_seconds = exposure.light_exposure(11.3137, 100, receptor)
    reflectance = published["exposure"]["meter_reflectance"]["value"]["K12.5_C250"]
    level = exposure.level(lux_seconds * reflectance / math.pi, 11.3137, 100)
    dome_over_flat = {"flat": 1, "dome": 340 / 250}[receptor]
    assert level == pytest.approx(expected * dome_over_flat, rel=1e-4)
    assert level * 0.18 / reflectance == pytest.approx({"flat": 0.1194, "dome": 0.162}[receptor], abs=4e-4)


def test_stops(published):
    """published_values.yaml#exposure/stops."""
    value = published["exposure"]["stops"]["value"]
    assert exposure.stops(2) == value["double"]
    assert exposure.stops(0.5) == value["half"]
    assert exposure.stops(10) == pytest.approx(value["ratio10"], abs=5e-6)
    with pytest.raises(ValueError):
        exposure.stops(np.array([1.0, 0.0]))


def test_f_numbers_are_those_of_the_series(published):
    """published_values.yaml#exposure/f_number_series."""
    value = published["exposure"]["f_number_series"]["value"]
    for marked, exact in zip(value["marked"], value["exact"], strict=True):
        assert exposure.exact_f_number(marked) == pytest.approx(exact, abs=5e-5)
    for marked, exact in zip(value["third_marked_8_to_16"], value["third_exact_8_to_16"], strict=True):
        assert exposure.exact_f_number(marked) == pytest.approx(exact, abs=5e-4)


def test_every_marked_f_number_is_near_its_exact_value_and_they_rise_in_thirds():
    marked, exact = np.array(list(exposure.F_NUMBERS.items())).T
    assert np.allclose(np.diff(2 * np.log2(exact)), 1 / 3)
    # ISO 517 marks with two digits or less: never farther off than a sixth of a stop.
    assert (np.abs(2 * np.log2(marked / exact)) < 1 / 6).all()


def test_marked_and_exact_f_numbers_are_inverse():
    for marked, exact in exposure.F_NUMBERS.items():
        assert exposure.marked_f_number(exact) == marked
        assert exposure.exact_f_number(exact) == exact
    assert exposure.exact_f_number(9.5) == exposure.marked_f_number(9.5) == 9.5


def test_meters_show_full_stops_and_tenths():
    """Tenths of a stop count from the full stop below (ISO 517 marks); beyond the scale there is none."""
    full = [mark for k, mark in enumerate(exposure.F_NUMBERS) if k % 3 == 0]
    for mark in full:
        for tenths in range(10):
            exact = exposure.F_NUMBERS[mark] * 2 ** (tenths / 20)
            assert exposure.meter_marks(exact * 1.0001) == (mark, tenths)
            # Half way to the next tenth, and just short of it.
            assert exposure.meter_marks(exact * 2 ** (0.49 / 20)) == (mark, tenths)
    assert exposure.meter_marks(0.9) is None and exposure.meter_marks(100) is None


def test_close_up(published):
    """published_values.yaml#exposure/close_up."""
    entry = published["exposure"]["close_up"]
    value, tolerance = entry["value"], entry["tolerance"]
    for name, m in (("m0p2_stops", 0.2), ("m0p25_stops", 0.25), ("m1_stops", 1.0)):
        assert exposure.close_up_loss(m) == pytest.approx(value[name], abs=tolerance)
        loss = -exposure.stops(exposure.sensor_exposure(1, 8, m) / exposure.sensor_exposure(1, 8))
        assert loss == pytest.approx(value[name], abs=tolerance)
    assert exposure.magnification(100, 600) == pytest.approx(value["f100_s600_m"], abs=tolerance)
    assert exposure.effective_f_number(11, 0.2) == pytest.approx(value["f11_at_m0p2"], abs=tolerance)


def test_lens_cannot_focus_within_its_focal_length():
    with pytest.raises(ValueError, match="100 mm"):
        exposure.magnification(100, 100)


def test_depth_of_field_of_the_worked_example(published):
    """published_values.yaml#exposure/depth_of_field."""
    entry = published["exposure"]["depth_of_field"]
    value, tolerance = entry["value"], entry["tolerance"]
    near, far = exposure.depth_of_field(value["f"], value["N"], value["c"], value["s"])
    assert exposure.hyperfocal(value["f"], value["N"], value["c"]) == pytest.approx(value["H"], abs=tolerance)
    assert near == pytest.approx(value["near"], abs=tolerance)
    assert far == pytest.approx(value["far"], abs=tolerance)
    assert far - near == pytest.approx(value["total"], abs=tolerance)


def test_blur_at_the_limits_of_sharpness_is_the_blur_allowed():
    """Independent route: the thin lens equation for the point's image and similar triangles."""
    focal, f_number, blur, focus = 100.0, 11.0, 0.03, 600.0

    def image(distance):
        return 1 / (1 / focal - 1 / distance)

    for limit in exposure.depth_of_field(focal, f_number, blur, focus):
        spot = focal / f_number * abs(image(limit) - image(focus)) / image(limit)
        assert spot == pytest.approx(blur, rel=1e-9)


def test_hyperfocal_focus_reaches_infinity():
    reach = exposure.hyperfocal(100, 11, 0.03)
    near, far = exposure.depth_of_field(100, 11, 0.03, reach)
    assert far == math.inf
    assert near == pytest.approx(reach / 2, rel=1e-12)


def test_circle_of_confusion(published):
    """published_values.yaml#exposure/circle_of_confusion (from memory there; common practice)."""
    entry = published["exposure"]["circle_of_confusion"]
    assert exposure.circle_of_confusion(36, 24) == pytest.approx(
        entry["value"]["fullframe_36x24"], abs=entry["tolerance"]
    )


def test_exposure_values(published):
    """published_values.yaml#exposure/exposure_value."""
    entry = published["exposure"]["exposure_value"]
    value, tolerance = entry["value"], entry["tolerance"]
    assert exposure.exposure_value(8, 1 / 125) == pytest.approx(value["f8_1_125"], abs=tolerance)
    assert exposure.exposure_value(1, 1) == pytest.approx(value["f1_1s"], abs=tolerance)
    assert exposure.exposure_value(16, 1 / 100) == pytest.approx(value["f16_1_100"], abs=tolerance)


def test_meter_shows_the_published_light_at_exposure_value_zero(published):
    """published_values.yaml#exposure/meter_constants: EV 0 at ISO 100 is 2.5 lx for C 250; 1 s at f/1."""
    light = published["exposure"]["meter_constants"]["value"]["EV0_ISO100_illuminance_C250"]
    assert exposure.f_number_for(light * 1.0, 100) == pytest.approx(1.0, rel=1e-12)
    assert exposure.f_number_for(exposure.light_exposure(13.0, 64, "dome"), 64, "dome") == pytest.approx(13.0)


def test_guide_number_and_its_light(published):
    """published_values.yaml#exposure/guide_number: incident light I t = C GN^2 / S."""
    value = published["exposure"]["guide_number"]["value"]
    # A lamp of so many candela-seconds gives, 2 m away, a quarter of that in lux-seconds.
    f_number = exposure.f_number_for(value["GN32_ISO100_candela_seconds"] / 2.0**2, 100)
    assert exposure.guide_number(f_number, 2.0) == pytest.approx(32, rel=1e-12)
    assert exposure.f_number_from_guide(32, 2.0, 400) / f_number == pytest.approx(value["GN_scale_ISO400"])
    double = exposure.guide_number(exposure.f_number_for(2 * value["GN32_ISO100_candela_seconds"], 100), 1.0)
    assert double / 32 == pytest.approx(value["GN_scale_for_double_energy"], abs=1e-6)


def test_formats_blur_alike_at_equivalent_f_numbers(published):
    """published_values.yaml#exposure/equivalence."""
    entry = published["exposure"]["equivalence"]
    value, tolerance = entry["value"], entry["tolerance"]
    for key, sensor in (
        ("crop_23p6x15p7", (23.6, 15.7)),
        ("crop_17p3x13", (17.3, 13.0)),
        ("crop_43p8x32p9", (43.8, 32.9)),
        ("crop_53p4x40", (53.4, 40.0)),
    ):
        assert exposure.crop_factor(*sensor) == pytest.approx(value[key], abs=tolerance)
    found = exposure.equivalent_f_number(11, (36, 24), (17.3, 13.0))
    assert found == pytest.approx(value["N_for_f11_on_17p3x13"], abs=tolerance)


def test_small_medium_format_at_f13_blurs_as_f10_does_on_36x24():
    """Common practice: f/13 on 44 x 33 mm is like about f/10 on 36 x 24 mm."""
    found = exposure.equivalent_f_number(exposure.exact_f_number(13), (44, 33))
    assert exposure.stops(found**2 / exposure.exact_f_number(10) ** 2) == pytest.approx(0, abs=1 / 6)


def test_airy_disc_ends_where_the_bessel_function_is_zero():
    """Independent route: first zero of J1 (scipy), radius = zero / pi × λ N."""
    from scipy.special import jn_zeros

    radius = jn_zeros(1, 1)[0] / math.pi * 550e-6 * 16 * 1.2
    assert exposure.diffraction_blur(16, 0.2) == pytest.approx(2 * radius, rel=1e-10)


def test_two_to_one_incident_is_three_to_one_highlight_to_shadow():
    """Common practice of the trade."""
    assert exposure.lighting_ratio(2.0, 1.0) == (2.0, 3.0)
