"""The shipped observer against published points and colour-science."""

import colour
import numpy as np
import pytest

from brimcast.shared.bands import GRID_NM
from brimcast.shared.observer import luminous, observer, observer_on_grid


def test_observer_agrees_with_published_points(published):
    """published_values.yaml#colour/cmf_1931_2deg."""
    entry = published["colour"]["cmf_1931_2deg"]
    for wavelength_nm, matching in entry["value"].items():
        row = observer_on_grid()[GRID_NM == wavelength_nm][0]
        assert row == pytest.approx(matching, abs=entry["tolerance"])


def test_observer_agrees_with_colour_science_everywhere():
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    wavelength_nm, matching = observer()
    assert np.array_equal(wavelength_nm, cmfs.wavelengths)
    assert np.allclose(matching, cmfs.values, rtol=1e-9, atol=1e-12)


def test_light_of_555_nm_has_683_lumens_a_watt():
    """SI definition of the candela: 683 lm/W at 540 THz."""
    line = (GRID_NM == 555).astype(float)
    assert luminous(line) == pytest.approx(683, rel=1e-6)


def test_luminous_value_agrees_with_colour_science():
    """Independent route: colour.luminous_flux of D65 cut to 380-700 nm."""
    shape = colour.SpectralShape(380, 700, 1)
    sd = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    assert luminous(sd.values) == pytest.approx(colour.luminous_flux(sd), rel=1e-3)


def test_light_beyond_the_grid_is_the_stated_share():
    wavelength_nm, matching = observer()
    whole = 683 * np.trapezoid(matching[:, 1], wavelength_nm)
    assert 1 - luminous(np.ones(321)) / whole == pytest.approx(0.0006, abs=0.00005)
