"""Planck and daylight spectra against laws, published chromaticities and CIE tables."""

import colour
import numpy as np
import pytest

from brimcast.shared import spectra
from brimcast.shared.bands import GRID_NM
from brimcast.shared.observer import observer, observer_on_grid

WIEN_NM_K = 2.897771955e6  # CODATA 2018, Wien wavelength displacement constant


def chromaticity(spectrum, matching):
    xyz = spectrum @ matching
    return xyz[:2] / xyz.sum()


def test_planck_chromaticities_are_the_published_ones(published):
    """published_values.yaml#colour/planck_xy, over the whole observer as they were made."""
    entry = published["colour"]["planck_xy"]
    wavelength_nm, matching = observer()
    for temperature_k, xy in entry["value"].items():
        found = chromaticity(spectra.planck(temperature_k, wavelength_nm), matching)
        assert found == pytest.approx(xy, abs=entry["tolerance"])


@pytest.mark.parametrize("temperature_k", [4200, 5000, 6500, 7500])
def test_planck_peaks_where_wien_says(temperature_k):
    fine_nm = np.linspace(380, 700, 32001)
    peak_nm = fine_nm[np.argmax(spectra.planck(temperature_k, fine_nm))]
    assert peak_nm == pytest.approx(WIEN_NM_K / temperature_k, abs=0.01)


def test_planck_agrees_with_colour_science():
    """Its default c2 is the rounded 1.4388e-2 m K, so the SI value is passed."""
    law = colour.colorimetry.planck_law(GRID_NM * 1e-9, 3200, c2=1.438776877e-2)
    assert np.allclose(spectra.planck(3200), law / law[GRID_NM == 560], rtol=1e-12)


def test_planck_takes_many_temperatures():
    both = spectra.planck([2856, 5600])
    assert both.shape == (2, 321)
    assert np.array_equal(both[1], spectra.planck(5600))


def test_daylight_chromaticities_are_the_published_ones(published):
    """published_values.yaml#colour/daylight_locus."""
    entry = published["colour"]["daylight_locus"]
    for temperature_k, xy in entry["value"].items():
        assert spectra.daylight_xy(temperature_k) == pytest.approx(xy, abs=entry["tolerance"])


@pytest.mark.parametrize("name", ["D50", "D55", "D65", "D75"])
def test_daylight_is_the_tabled_cie_illuminant(name):
    """CIE 015 tables as in colour-science; printed there to 0.001 of 100, rounded once more at 560 nm."""
    nominal_k = 100 * int(name[1:])
    sd = colour.SDS_ILLUMINANTS[name]
    # CIE 015: the nominal temperature stands on the old radiation constant.
    found = spectra.daylight(nominal_k * 1.4388 / 1.4380, sd.wavelengths)
    assert np.allclose(100 * found, sd.values, atol=0.001)


def test_daylight_spectrum_has_the_chromaticity_it_is_made_for(published):
    """published_values.yaml#colour/illuminant_xy, D65, tolerance of integrated values."""
    entry = published["colour"]["illuminant_xy"]
    wavelength_nm, matching = observer()
    found = chromaticity(spectra.daylight(6500 * 1.4388 / 1.4380, wavelength_nm), matching)
    assert found == pytest.approx(entry["value"]["D65"], abs=entry["tolerance"]["integrated"])


@pytest.mark.parametrize("temperature_k", [3999, 25001, np.nan])
def test_daylight_outside_its_range_is_refused(temperature_k):
    with pytest.raises(ValueError, match="4000 to 25000 K"):
        spectra.daylight(temperature_k)


def test_temperature_chooses_a_glowing_body_below_4000_and_daylight_from_there():
    assert np.array_equal(spectra.from_temperature(3999), spectra.planck(3999))
    assert np.array_equal(spectra.from_temperature(4000), spectra.daylight(4000))
    with pytest.raises(ValueError):
        spectra.from_temperature(0)


def test_every_spectrum_is_one_at_560_nm():
    for spectrum in (*map(spectra.from_name, spectra.NAMED_K), spectra.equal_energy()):
        assert spectrum[GRID_NM == 560].item() == pytest.approx(1, abs=1e-12)


def test_named_lights_and_unknown_names():
    assert np.array_equal(spectra.from_name("tungsten"), spectra.planck(3200))
    with pytest.raises(ValueError, match="tungsten, daylight, flash"):
        spectra.from_name("candle")


@pytest.mark.parametrize("wavelength_nm", [381, 532.0, 589.29, 632.816, 699])
def test_line_has_unit_power_at_its_wavelength(wavelength_nm):
    line = spectra.line(wavelength_nm)
    assert np.trapezoid(line, GRID_NM) == pytest.approx(1, abs=1e-12)
    assert np.trapezoid(line * GRID_NM, GRID_NM) == pytest.approx(wavelength_nm, abs=1e-9)
    table_nm, matching = observer()
    seen = [np.interp(wavelength_nm, table_nm, column) for column in matching.T]
    assert line @ observer_on_grid() == pytest.approx(seen, abs=1e-12)


def test_line_off_the_grid_is_refused():
    with pytest.raises(ValueError):
        spectra.line(380.5)
