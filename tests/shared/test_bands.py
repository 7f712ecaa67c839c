"""Bands, band means and the sampling of wavelengths."""

import colour
import numpy as np
import pytest
from scipy.integrate import quad

from brimcast.shared.bands import (
    BAND_CENTRES_NM,
    BAND_EDGES_NM,
    FLOOR_SHARE,
    GRID_NM,
    band_means,
    band_of,
    sample_wavelengths,
)


def test_bands_are_sixteen_of_twenty_nanometres():
    assert BAND_EDGES_NM.tolist() == list(range(380, 701, 20))
    assert BAND_CENTRES_NM.tolist() == list(range(390, 691, 20))
    assert GRID_NM.tolist() == list(range(380, 701))


def test_every_wavelength_lies_inside_the_band_it_is_given():
    wavelength_nm = np.append(np.linspace(380, 700, 9999), BAND_EDGES_NM)
    band = band_of(wavelength_nm)
    assert (BAND_EDGES_NM[band] <= wavelength_nm).all()
    inside = wavelength_nm < 700
    assert (wavelength_nm[inside] < BAND_EDGES_NM[band + 1][inside]).all()
    assert band_of(700.0) == 15 and band_of(400.0) == 1


@pytest.mark.parametrize("wavelength_nm", [379.9, 700.1, np.nan])
def test_wavelength_outside_the_bands_is_refused(wavelength_nm):
    with pytest.raises(ValueError, match="outside the bands"):
        band_of([500.0, wavelength_nm])


def test_band_means_agree_with_adaptive_quadrature():
    rng = np.random.default_rng(3)
    spectrum = rng.random(321)
    for band, (low, high) in enumerate(zip(BAND_EDGES_NM, BAND_EDGES_NM[1:], strict=False)):
        knots = GRID_NM[(GRID_NM > low) & (GRID_NM < high)]
        integral, _ = quad(np.interp, low, high, args=(GRID_NM, spectrum), points=knots, limit=200)
        assert band_means(spectrum)[band] == pytest.approx(integral / 20, abs=1e-12)


def test_band_means_keep_leading_axes():
    spectra = np.random.default_rng(4).random((2, 3, 321))
    assert np.array_equal(band_means(spectra)[1, 2], band_means(spectra[1, 2]))
    with pytest.raises(ValueError, match="321"):
        band_means(np.ones(320))


def test_density_is_the_observer_with_a_floor():
    """Against the observer of colour-science, mixed with the stated even share."""
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    shape = colour.SpectralShape(380, 700, 1)
    seen = cmfs.copy().align(shape).values.sum(axis=1)
    expected = (1 - FLOOR_SHARE) * seen / np.trapezoid(seen, GRID_NM) + FLOOR_SHARE / 320
    wavelength_nm, pdf = sample_wavelengths(np.linspace(0, 1, 5000, endpoint=False))
    assert np.allclose(pdf, np.interp(wavelength_nm, GRID_NM, expected), rtol=1e-9)
    assert pdf.min() >= FLOOR_SHARE / 320


def test_density_is_the_slope_of_the_inverted_distribution():
    u = np.linspace(0, 1, 400_001)[:-1]
    wavelength_nm, pdf = sample_wavelengths(u)
    assert (np.diff(wavelength_nm) > 0).all()
    # Trapezoid rule inside one linear piece is exact; steps over a knot are left out.
    same_piece = np.floor(wavelength_nm[1:]) == np.floor(wavelength_nm[:-1])
    mass = (pdf[1:] + pdf[:-1]) / 2 * np.diff(wavelength_nm)
    assert np.allclose(mass[same_piece], np.diff(u)[same_piece], rtol=1e-6)


def test_weighted_samples_integrate_any_spectrum():
    """Stratified samples divided by their density give the integral found by quadrature."""
    u = (np.arange(20_000) + 0.5) / 20_000
    wavelength_nm, pdf = sample_wavelengths(u)
    for function in (np.ones_like, np.sqrt, lambda nm: np.exp(-(((nm - 400) / 10) ** 2))):
        expected, _ = quad(function, 380, 700, points=[400], limit=200)
        assert (function(wavelength_nm) / pdf).mean() == pytest.approx(expected, rel=1e-6)


def test_ends_of_the_random_range():
    wavelength_nm, pdf = sample_wavelengths(np.array([0.0, np.nextafter(1.0, 0)]))
    assert wavelength_nm == pytest.approx([380, 700], abs=1e-6)
    assert (pdf > 0).all()
    with pytest.raises(ValueError):
        sample_wavelengths(1.0)
