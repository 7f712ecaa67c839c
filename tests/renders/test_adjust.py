"""Development held to ISO 2720, ISO 12232, IEC 61966-2-1 and colour-science."""

import colour
import numpy as np
import pytest

from brimcast.renders.adjust import LUMINANCE, METERED_CARD_LEVEL, Exposure, develop, display
from brimcast.shared.bands import BAND_CENTRES_NM, BAND_EDGES_NM, band_means
from brimcast.shared.colour import BAND_XYZ, decode_srgb, xy_from_xyz
from brimcast.shared.spectra import from_temperature

EVEN_XY = tuple(xy_from_xyz(BAND_XYZ.sum(axis=0)))


def even_light(luminance_time):
    """Return bands (16, 1, 1) of light that is even over the spectrum, with a luminance times time."""
    return np.full((16, 1, 1), luminance_time / BAND_XYZ[:, 1].sum(), np.float32)


def level(luminance_time, camera):
    """Return the level that even light comes to with its own white."""
    (pixel,) = develop({"key": even_light(luminance_time)}, camera, white=EVEN_XY)[0]
    # White stays neutral to the four digits of the sRGB matrix.
    assert np.ptp(pixel) < 2e-4 * pixel.max()
    return pixel.mean()


def blackbody_bands(kelvin):
    """Return mean of Planck's law in each band by colour-science, (16,)."""
    wavelength_nm = np.arange(380.0, 701.0)
    power = colour.colorimetry.planck_law(wavelength_nm * 1e-9, kelvin)
    return np.array(
        [
            np.trapezoid(power[(wavelength_nm >= a) & (wavelength_nm <= b)], dx=1) / (b - a)
            for a, b in zip(BAND_EDGES_NM, BAND_EDGES_NM[1:], strict=False)
        ]
    )


@pytest.mark.parametrize(("f_number", "iso"), [(8.0, 100), (11.3137, 200), (16.0, 64)])
def test_card_under_a_flat_reading_lands_at_the_stated_level(published, f_number, iso):
    """published_values.yaml#exposure/meter_constants, focal_plane_exposure, saturation_speed."""
    c_flat = published["exposure"]["meter_constants"]["value"]["C_flat_common"]
    q = published["exposure"]["focal_plane_exposure"]["value"]["q"]
    saturation_lx_s = 100 * published["exposure"]["saturation_speed"]["value"]["H_sat_ISO100"]
    luminance_time = c_flat * f_number**2 / iso * 0.18 / np.pi
    seen = level(luminance_time, Exposure(f_number, iso))
    assert seen == pytest.approx(q * c_flat * 0.18 / (np.pi * saturation_lx_s), rel=2e-4)
    # The figure that the conventions promise to the user, to its four digits.
    assert seen == pytest.approx(0.1194, abs=5e-5)


def test_card_under_a_dome_reading_lands_at_the_stated_level(published):
    """published_values.yaml#exposure/meter_constants, whose range holds the 340 lx s of the conventions."""
    low, high = published["exposure"]["meter_constants"]["value"]["C_hemispherical_range"]
    assert low <= 340 <= high
    assert level(340 * 8**2 / 100 * 0.18 / np.pi, Exposure(8.0, 100)) == pytest.approx(0.162, abs=5e-4)


def test_card_of_the_meters_own_reflectance_lands_where_a_spot_reading_does(published):
    """published_values.yaml#exposure/meter_reflectance against #exposure/meter_to_sensor."""
    reflectance = published["exposure"]["meter_reflectance"]["value"]["K12.5_C250"]
    fraction = published["exposure"]["meter_to_sensor"]["value"]["fraction"]
    seen = level(250 * 5.6569**2 / 400 * reflectance / np.pi, Exposure(5.6569, 400))
    assert seen == pytest.approx(fraction, rel=3e-4)


def test_worked_example_of_sensor_exposure(published):
    """published_values.yaml#exposure/focal_plane_exposure, over the saturation of ISO 100."""
    example = published["exposure"]["focal_plane_exposure"]["value"]["example"]
    saturation_lx_s = published["exposure"]["saturation_speed"]["value"]["H_sat_ISO100"]
    seen = level(example["L"] * example["t"], Exposure(example["N"], 100))
    assert seen == pytest.approx(example["H"] / saturation_lx_s, rel=2e-4)


@pytest.mark.parametrize(("m", "entry"), [(0.2, "m0p2_stops"), (0.25, "m0p25_stops"), (1.0, "m1_stops")])
def test_close_focus_costs_the_published_stops(published, m, entry):
    """published_values.yaml#exposure/close_up."""
    far, near = (level(50.0, Exposure(11.0, 100, magnification)) for magnification in (0.0, m))
    assert np.log2(far / near) == pytest.approx(published["exposure"]["close_up"]["value"][entry], abs=1e-4)


def test_relative_card_is_metered_flat_whatever_the_camera_says(published):
    """published_values.yaml#exposure/meter_constants, focal_plane_exposure, saturation_speed."""
    c_flat = published["exposure"]["meter_constants"]["value"]["C_flat_common"]
    q = published["exposure"]["focal_plane_exposure"]["value"]["q"]
    saturation_lx_s = 100 * published["exposure"]["saturation_speed"]["value"]["H_sat_ISO100"]
    expected = q * c_flat * 0.18 / (np.pi * saturation_lx_s)
    card = 1.0 * 0.18 / np.pi
    for camera in (Exposure(8.0, 100, relative=1.0), Exposure(2.0, 1600, 0.5, relative=1.0)):
        assert level(card, camera) == pytest.approx(expected, rel=2e-4)
    assert level(card, Exposure(8.0, 100, relative=2.0)) == pytest.approx(2 * expected, rel=2e-4)
    assert METERED_CARD_LEVEL == pytest.approx(expected, rel=1e-12)


def test_neutral_under_3200_kelvin_is_neutral_with_that_white():
    """Planck's law as colour-science 0.4.7 computes it."""
    card = 0.5 * blackbody_bands(3200)
    bands = {"key": (card / (card @ BAND_XYZ[:, 1]))[:, None, None]}
    camera = Exposure(0.65**0.5, 78, 0.0)
    balanced = develop(bands, camera, white=3200)[0, 0]
    assert np.ptp(balanced) < 1e-3 * balanced.max()
    # The same light is far from neutral under another white.
    unbalanced = develop(bands, camera, white=5503)[0, 0]
    assert unbalanced[0] > 2 * unbalanced[2]


@pytest.mark.parametrize(("entry", "kelvin"), [("planck_xy", 3200), ("daylight_locus", 5503)])
def test_white_by_published_chromaticity_is_neutral_too(published, entry, kelvin):
    """published_values.yaml#colour/planck_xy and #colour/daylight_locus.

    They stand for the whole spectrum, our bands for 380-700 nm in 16 steps; what
    that costs must stay far below the 3 dE00 that is of use in the trade.
    """
    light = band_means(from_temperature(kelvin))
    bands = {"key": (light / (light @ BAND_XYZ[:, 1]))[:, None, None]}
    neutral = develop(bands, Exposure(0.65**0.5, 78), white=published["colour"][entry]["value"][kelvin])[0, 0]
    lab = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(neutral, apply_cctf_decoding=False))
    assert colour.delta_E(lab, [lab[0], 0, 0], method="CIE 2000") < 0.5


def test_colours_agree_with_colour_science():
    """Bradford and sRGB by colour-science 0.4.7 for random colours under 3200 K."""
    rng = np.random.default_rng(7)
    white = blackbody_bands(3200) / (blackbody_bands(3200) @ BAND_XYZ[:, 1])
    reflectances = np.cumsum(rng.normal(0, 0.08, (16, 40)), axis=0) + 0.5
    bands = (np.clip(reflectances, 0.02, 0.98) * white[:, None])[:, None, :]
    seen = develop({"key": bands}, Exposure(0.65**0.5, 78), white=3200)[0]
    adapted = colour.adaptation.chromatic_adaptation_VonKries(
        bands[:, 0].T @ BAND_XYZ,
        white @ BAND_XYZ,
        colour.xy_to_XYZ((0.3127, 0.3290)),
        transform="Bradford",
    )
    matrix = colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB
    # The sRGB matrix and white have four digits.
    assert seen == pytest.approx(adapted @ matrix.T, abs=3e-4)


def test_power_and_gels_act_on_their_lamp_alone():
    rng = np.random.default_rng(3)
    key, back = rng.random((2, 16, 4, 5), dtype=np.float32)
    camera, gel = Exposure(8.0, 100, 0.2), rng.random(16)
    mixed = develop({"key": key, "back": back}, camera, {"key": -1.5}, {"back": gel}, 4500)
    alone = develop({"key": key * 2**-1.5}, camera, white=4500) + develop(
        {"back": back * gel[:, None, None]}, camera, white=4500
    )
    assert mixed.dtype == np.float32 and mixed.shape == (4, 5, 3)
    assert mixed == pytest.approx(alone, rel=1e-5, abs=1e-6)
    off = develop({"key": key, "back": back}, camera, {"key": -np.inf}, white=4500)
    assert off == pytest.approx(develop({"back": back}, camera, white=4500), rel=1e-6, abs=1e-7)


def test_red_gel_takes_the_bands_it_blocks():
    gel = (BAND_CENTRES_NM > 600).astype(float)
    red = develop({"key": even_light(10.0)}, Exposure(8.0, 100), gels={"key": gel})[0, 0]
    white = develop({"key": even_light(10.0)}, Exposure(8.0, 100))[0, 0]
    share = (BAND_XYZ[:, 1] * gel).sum() / BAND_XYZ[:, 1].sum()
    assert red @ LUMINANCE == pytest.approx(share * (white @ LUMINANCE), rel=1e-4)
    assert red[0] > 0 > red[1]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"bands": {}}, "no lamp"),
        ({"bands": {"key": np.ones((15, 2, 2))}}, "16, h, w"),
        ({"bands": {"key": np.ones((16, 2, 2)), "back": np.ones((16, 2, 3))}}, "one shape"),
        ({"power_stops": {"kye": 1.0}}, "'kye'"),
        ({"gels": {"key": np.ones(3)}}, "gel of lamp 'key'"),
        ({"power_stops": {"key": np.nan}}, "nan stops"),
        ({"white": (0.7, 0.5)}, "no colour"),
        ({"white": 100.0}, "500 K"),
    ],
)
def test_wrong_input_is_named(change, words):
    call = {"bands": {"key": np.ones((16, 2, 2))}, "camera": Exposure(8.0, 100)} | change
    with pytest.raises(ValueError, match=words):
        develop(**call)


@pytest.mark.parametrize("change", [{"f_number": 0}, {"iso": -1}, {"magnification": -0.1}, {"relative": 0}])
def test_impossible_camera_is_refused(change):
    with pytest.raises(ValueError, match=next(iter(change))):
        Exposure(**({"f_number": 8.0, "iso": 100} | change))


def test_display_encodes_as_srgb(published):
    """published_values.yaml#colour/srgb."""
    for linear, encoded in published["colour"]["srgb"]["value"]["encode"].items():
        assert display(np.full((1, 3), linear)).tolist() == [[round(255 * encoded)] * 3]


def test_display_clips_at_saturation():
    assert display([[1.0, 1.0, 1.0], [40.0, 1.5, 0.0]]).tolist() == [[255, 255, 255], [255, 255, 0]]
    assert display([-0.2, -0.1, -0.3]).tolist() == [0, 0, 0]


def test_colour_outside_the_screen_keeps_luminance_and_hue():
    """Rec. 2020 green and others: negative channels end at 0, luminance and order of channels stay."""
    rng = np.random.default_rng(5)
    linear = rng.uniform(0, 0.6, (200, 3))
    linear[np.arange(200), rng.integers(0, 3, 200)] = rng.uniform(-0.1, -0.001, 200)
    luminance = linear @ LUMINANCE
    linear, luminance = linear[luminance > 0.02], luminance[luminance > 0.02]
    shown = display(linear)
    seen = decode_srgb(shown / 255)
    assert (shown.min(axis=-1) == 0).all()
    # Half a code value of each channel, at the steepest part of the curve (2.4 / 255 / 1.055).
    assert seen @ LUMINANCE == pytest.approx(luminance, abs=0.5 * 2.4 / 255)
    assert (np.diff(np.take_along_axis(seen, linear.argsort(axis=-1), axis=-1), axis=-1) >= 0).all()
