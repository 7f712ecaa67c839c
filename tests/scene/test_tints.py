"""Tints: there and back by two colour programs, by Beer and Lambert, and band by band."""

import numpy as np
import pytest

from brimcast.scene.tints import absorb_bands, absorb_colour, absorb_points
from brimcast.shared.bands import GRID_NM, band_means
from brimcast.shared.colour import adaptation, decode_srgb, srgb_from_xyz, xyz_from_spectrum
from brimcast.shared.spectra import daylight

COLOURS = ["#33aa77", "#9fd8c8", "#2f6b45", "#8b5a2b", "#ff0000", "#0000ff", "#ffffff", "#808080"]


def _linear(colour):
    return decode_srgb(np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255)


@pytest.mark.parametrize("colour", COLOURS)
def test_tint_gives_white_light_its_colour(colour):
    """D65 through the thickness, as our own colours read it; and never more light than came."""
    absorption = absorb_colour(_linear(colour), 6.0)
    assert absorption.min() >= 0
    light = daylight(6504.0)
    white = xyz_from_spectrum(light)
    seen = xyz_from_spectrum(light * np.exp(-6 * absorption)) / white[1] @ adaptation(white).T
    assert srgb_from_xyz(seen) == pytest.approx(_linear(colour), abs=1e-4)


@pytest.mark.parametrize("colour", COLOURS[:4])
def test_tint_has_its_colour_by_another_program(colour):
    """colour-science with its own observer and D65; 3 dE00 is the accuracy that photographers ask for."""
    import colour as science

    wavelengths = np.arange(380, 701)
    passed = np.exp(-6 * np.interp(wavelengths, GRID_NM, absorb_colour(_linear(colour), 6.0)))
    shape = science.SpectralShape(380, 700, 1)
    observer = science.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    lamp = science.SDS_ILLUMINANTS["D65"].copy().align(shape)
    filtered = science.SpectralDistribution(passed, wavelengths)
    xyz = science.sd_to_XYZ(filtered, observer, lamp, method="Integration") / 100
    lab = science.XYZ_to_Lab(xyz)
    wanted = science.XYZ_to_Lab(science.sRGB_to_XYZ([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]))
    assert science.delta_E(lab, wanted, method="CIE 2000") < 0.5


def test_tint_is_smooth():
    """Of a green, no step of 1 nm changes what passes by more than a hundredth, no bend by more than that."""
    passed = np.exp(-3 * absorb_colour(_linear("#33aa77"), 3.0))
    assert np.abs(np.diff(passed)).max() < 0.01 and np.abs(np.diff(passed, 2)).max() < 0.01


def test_tint_falls_off_evenly_with_thickness():
    """Beer and Lambert: given at 6 mm or, as what passes squared, at 12 mm, it is the same glass."""
    shares = np.linspace(0.2, 0.9, 16)
    thin, thick = absorb_bands(shares, 6.0), absorb_bands(shares**2, 12.0)
    assert thin == pytest.approx(thick, rel=2e-3)


def test_bands_pass_the_shares_asked_for():
    shares = 0.5 + 0.4 * np.sin(np.arange(16) / 2.5)
    assert band_means(np.exp(-4 * absorb_bands(shares, 4.0))) == pytest.approx(shares, abs=1e-3)
    even = absorb_bands(np.full(16, 0.25), 5.0)
    assert even == pytest.approx(np.full(321, np.log(4) / 5), rel=1e-9)


def test_black_glass_is_refused():
    with pytest.raises(ValueError, match="no glass has this colour"):
        absorb_colour(np.zeros(3), 3.0)


def test_few_absorbances_of_beer_give_all_of_it(published):
    """99 beers from three points of their mean: published_values.yaml#absorption/beer_mean_spectrum."""
    table = published["absorption"]["beer_mean_spectrum"]["value"]
    at = [420.0, 520.0, 620.0]
    known = np.exp(np.interp(at, list(table), np.log(list(table.values()))))
    got = absorb_points(at, known, 10.0) * 10 / np.log(10)
    # Beers differ from their mean by 10 %.
    assert np.interp(list(table), GRID_NM, got) == pytest.approx(list(table.values()), rel=0.07)


@pytest.mark.parametrize("absorbances", [(2.8, 4.1, 0.9), (0.12, 0.03, 0), (0, 0, 0), (45, 0, 45)])
def test_curve_goes_through_its_points_and_never_gains_light(absorbances):
    at = (420.0, 520.0, 620.0)
    got = absorb_points(at, absorbances, 10.0) * 10 / np.log(10)
    assert np.interp(at, GRID_NM, got) == pytest.approx(np.maximum(absorbances, 1e-4), rel=1e-9)
    assert got.min() >= 0 and np.isfinite(got).all()


def test_curve_of_red_wine_is_smooth():
    passed = np.exp(-3 * absorb_points((420.0, 520.0, 620.0), (2.8, 4.1, 0.9), 10.0))
    assert np.abs(np.diff(passed)).max() < 0.01 and np.abs(np.diff(passed, 2)).max() < 0.001
