"""Colour against published values, with colour-science as the independent route."""

import colour as cs
import numpy as np
import pytest

from brimcast.shared import colour, spectra
from brimcast.shared.bands import GRID_NM, band_means


def test_spectrum_to_xyz_agrees_with_colour_science():
    """colour-science's own integration, cut to the same 380-700 nm."""
    shape = cs.SpectralShape(380, 700, 1)
    sd = cs.SDS_ILLUMINANTS["A"].copy().align(shape)
    cmfs = cs.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    expected = cs.sd_to_XYZ(sd, cmfs, method="Integration", k=1)
    found = colour.xyz_from_spectrum(sd.values)
    # It sums where this takes trapezoids: the two differ by half of each end's value.
    ends = (sd.values[0] * cmfs.values[0] + sd.values[-1] * cmfs.values[-1]) / 2
    assert found == pytest.approx(expected - ends, rel=1e-9)


def test_bands_and_grid_agree_on_light_that_is_even():
    assert colour.xyz_from_bands(np.ones(16)) == pytest.approx(
        colour.xyz_from_spectrum(spectra.equal_energy()), rel=1e-12
    )


def test_bands_keep_the_white_of_smooth_lights():
    """Sixteen bands against the full grid: chromaticity within 0.001 (useful accuracy is 3 dE00)."""
    for temperature_k in (2856, 3200, 5600, 6504):
        spectrum = spectra.from_temperature(temperature_k)
        full = colour.xy_from_xyz(colour.xyz_from_spectrum(spectrum))
        banded = colour.xy_from_xyz(colour.xyz_from_bands(band_means(spectrum)))
        assert banded == pytest.approx(full, abs=0.001)


def test_equal_energy_is_in_the_middle(published):
    """published_values.yaml#colour/illuminant_xy, E; 380-700 nm leaves out up to 0.2 % of X, Y or Z."""
    xy = colour.xy_from_xyz(colour.xyz_from_spectrum(spectra.equal_energy()))
    assert xy == pytest.approx(published["colour"]["illuminant_xy"]["value"]["E"], abs=0.0007)


def test_xy_and_xyz_are_inverse(published):
    """published_values.yaml#colour/illuminant_XYZ and illuminant_xy."""
    for name, xyz in published["colour"]["illuminant_XYZ"]["value"].items():
        xy = colour.xy_from_xyz(xyz)
        assert xy == pytest.approx(published["colour"]["illuminant_xy"]["value"][name], abs=5e-5)
        assert 100 * colour.xyz_from_xy(xy) == pytest.approx(xyz, rel=1e-12)


def test_bradford_matrices_are_the_published_ones(published):
    """published_values.yaml#colour/bradford."""
    entry = published["colour"]["bradford"]
    white = {
        name: colour.xyz_from_xy(xy) for name, xy in published["colour"]["illuminant_xy"]["value"].items()
    }
    for pair in ("D65_to_D50", "A_to_D65"):
        source, target = pair.split("_to_")
        matrix = colour.adaptation(white[source], white[target])
        assert np.allclose(matrix, entry["value"][pair], atol=entry["tolerance"], rtol=0)


def test_adaptation_makes_any_lamp_neutral():
    """A white card under any lamp, set to that white, is grey on the screen (to half an 8-bit step)."""
    for temperature_k in (2856, 3200, 5600, 9000):
        white = colour.xyz_from_spectrum(spectra.from_temperature(temperature_k))
        rgb = colour.srgb_from_xyz(colour.adaptation(white) @ (white / white[1]))
        assert np.ptp(255 * colour.encode_srgb(rgb)) < 0.5


def test_srgb_is_the_standard_one(published):
    """published_values.yaml#colour/srgb."""
    entry = published["colour"]["srgb"]
    for linear, encoded in entry["value"]["encode"].items():
        assert colour.encode_srgb(linear) == pytest.approx(encoded, abs=entry["tolerance"])
    assert colour.decode_srgb(0.5) == pytest.approx(entry["value"]["decode_0p5"], abs=entry["tolerance"])
    assert np.array_equal(colour.srgb_from_xyz(np.eye(3)).T, entry["value"]["XYZ_to_RGB"])


def test_srgb_primaries_light_one_channel_each(published):
    """published_values.yaml#colour/srgb primaries; four-digit matrix, so to 0.001 of the channel."""
    for channel, xy in enumerate(published["colour"]["srgb"]["value"]["primaries"]):
        rgb = colour.srgb_from_xyz(colour.xyz_from_xy(xy))
        assert np.allclose(rgb / rgb[channel], np.eye(3)[channel], atol=0.001)


def test_srgb_decoding_undoes_encoding():
    linear = np.concatenate([np.linspace(-0.1, 1.5, 3001), [0.0031308]])
    assert np.allclose(colour.decode_srgb(colour.encode_srgb(linear)), linear, atol=1e-7)


def test_lab_agrees_with_colour_science():
    xyz = np.random.default_rng(5).random((200, 3)) ** 3
    xyz[0] = 0.001
    white = colour.xyz_from_xy([0.3127, 0.329])
    expected = cs.XYZ_to_Lab(xyz, np.array([0.3127, 0.329]))
    assert np.allclose(colour.lab_from_xyz(xyz, white), expected, atol=1e-6)


def test_white_has_lightness_100_and_no_colour():
    assert colour.lab_from_xyz(colour.D65_XYZ) == pytest.approx([100, 0, 0], abs=1e-12)


def test_colour_difference_of_the_published_pairs(published):
    """published_values.yaml#colour/dE2000_pairs (Sharma, Wu, Dalal), both ways round."""
    entry = published["colour"]["dE2000_pairs"]
    lab1 = [pair["lab1"] for pair in entry["value"]]
    lab2 = [pair["lab2"] for pair in entry["value"]]
    expected = [pair["dE00"] for pair in entry["value"]]
    assert np.allclose(colour.delta_e_2000(lab1, lab2), expected, atol=entry["tolerance"], rtol=0)
    assert np.allclose(colour.delta_e_2000(lab2, lab1), expected, atol=entry["tolerance"], rtol=0)


def test_colour_difference_agrees_with_colour_science():
    rng = np.random.default_rng(6)
    lab1 = rng.uniform([0, -100, -100], [100, 100, 100], (500, 3))
    lab2 = np.where(np.arange(500)[:, None] % 2, lab1 + rng.normal(0, 3, (500, 3)), lab1[::-1])
    expected = cs.delta_E(lab1, lab2, method="CIE 2000")
    assert np.allclose(colour.delta_e_2000(lab1, lab2), expected, atol=1e-9)


def test_temperature_of_planck_points(published):
    """published_values.yaml#colour/cct_algorithms, Ohno 2013; the points by colour-science's Planck law.

    planck_xy is printed to five digits, too few for the tolerance of 0.05 K.
    """
    entry = published["colour"]["cct_algorithms"]
    cmfs = cs.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    for temperature_k in entry["value"]["Ohno2013"]:
        body = cs.colorimetry.planck_law(cmfs.wavelengths * 1e-9, temperature_k, c2=1.438776877e-2)
        kelvin, duv = colour.cct_duv(colour.xy_from_xyz(body @ cmfs.values))
        assert kelvin == pytest.approx(temperature_k, abs=entry["tolerance"]["Ohno2013"])
        assert duv == pytest.approx(0, abs=1e-7)


def test_temperature_of_d65(published):
    """published_values.yaml#colour/D65_cct."""
    entry = published["colour"]["D65_cct"]
    kelvin, duv = colour.cct_duv(published["colour"]["illuminant_xy"]["value"]["D65"])
    assert kelvin == pytest.approx(entry["value"]["CCT"], abs=entry["tolerance"]["CCT"])
    assert duv == pytest.approx(entry["value"]["Duv"], abs=entry["tolerance"]["Duv"])


@pytest.mark.parametrize("temperature_k", [1800, 2700, 3200, 4500, 6500, 12000])
@pytest.mark.parametrize("duv", [-0.03, -0.01, -0.0021, -0.001, 0.0015, 0.006, 0.02])
def test_temperature_and_duv_come_back(temperature_k, duv):
    """A point built at a known distance on the normal to Planck's locus, without Ohno's method."""
    near = np.array([cs.temperature.CCT_to_uv_Planck1900(temperature_k * f) for f in (0.9999, 1, 1.0001)])
    tangent = near[2] - near[0]
    # Rising temperature runs towards falling u; the green side has larger v.
    normal = np.array([tangent[1], -tangent[0]]) / np.hypot(*tangent)
    xy = cs.UCS_uv_to_xy(near[1] + duv * normal)
    kelvin, found = colour.cct_duv(xy)
    assert kelvin == pytest.approx(temperature_k, rel=1e-4)
    assert found == pytest.approx(duv, abs=2e-6)


def test_light_against_a_white_agrees_with_colour_science():
    """A warm light under a cool white, and the other way, by colour-science's Bradford, Lab and CIEDE2000."""
    lights = [cs.xy_to_XYZ(xy) for xy in ((0.4476, 0.4074), (0.2990, 0.3149), (0.38, 0.42))]
    for light in lights:
        for white in lights:
            carried = cs.adaptation.matrix_chromatic_adaptation_VonKries(white, colour.D65_XYZ, "Bradford")
            lab = cs.XYZ_to_Lab(carried @ light, cs.XYZ_to_xy(colour.D65_XYZ))
            expected = cs.delta_E(lab, [100.0, 0.0, 0.0], method="CIE 2000")
            found = colour.delta_e_to_white(7 * light, 0.3 * white)
            assert found == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("xy", [(0.3, 0.6), (0.15, 0.06), (0.7, 0.29), (0.23, 0.22)])
def test_colours_without_a_temperature_are_refused(xy):
    with pytest.raises(ValueError):
        colour.cct_duv(xy)


def test_mired(published):
    """published_values.yaml#colour/mired; shifts are printed there to two decimals."""
    for row in published["colour"]["mired"]["value"]:
        if "M" in row:
            assert colour.mired(row["T"]) == row["M"]
            assert colour.mired(row["M"]) == row["T"]
        else:
            assert colour.mired_shift(row["T_in"], row["T_out"]) == pytest.approx(row["shift"], abs=0.0051)


def test_band_weights_are_the_observer_inside_the_band():
    """Light that fills one band alone: colour-science's observer summed over it by trapezoids."""
    cmfs = cs.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    inside = (cmfs.wavelengths >= 540) & (cmfs.wavelengths <= 560)
    expected = np.trapezoid(cmfs.values[inside], cmfs.wavelengths[inside], axis=0)
    assert colour.xyz_from_bands(np.eye(16)[8]) == pytest.approx(expected, rel=1e-9)
    assert GRID_NM[160] == 540
