"""White LEDs against CIE illuminants and colour rendering as colour-science 0.4.7 has them."""

import warnings

import colour
import numpy as np
import pytest

from brimcast.shared.bands import GRID_NM
from brimcast.shared.colour import xy_from_xyz, xyz_from_spectrum
from brimcast.shared.spectra import daylight, planck
from brimcast.shared.whites import white_led

SHAPE = colour.SpectralShape(380, 700, 1)
CMFS = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
# What is of use in the trade: 3 dE00.
USEFUL_DE = 3.0


def temperature_of(sd):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        uv = colour.UCS_to_uv(colour.XYZ_to_UCS(colour.sd_to_XYZ(sd)))
        return colour.temperature.uv_to_CCT_Ohno2013(uv)


def chart_differences(one, other):
    """Return dE00 of 24 painted squares under two lights, each adapted to D65."""
    squares = colour.SDS_COLOURCHECKERS["BabelColor Average"].values()
    linear = colour.LinearInterpolator
    reflectance = np.array([sd.copy().align(SHAPE, interpolator=linear).values for sd in squares])
    labs = []
    for light in (one, other):
        white = light @ CMFS
        seen = colour.adaptation.chromatic_adaptation_VonKries(
            (reflectance * light) @ CMFS / white[1],
            white / white[1],
            colour.xy_to_XYZ((0.3127, 0.3290)),
            transform="Bradford",
        )
        labs.append(colour.XYZ_to_Lab(seen, (0.3127, 0.3290)))
    return colour.delta_E(*labs, method="CIE 2000")


@pytest.mark.parametrize("name", ["LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5"])
def test_standard_led_shows_colours_as_the_cie_led_of_its_temperature(name):
    """CIE 015:2018, illuminants LED-B1 to LED-B5, as colour-science 0.4.7 has them."""
    sd = colour.SDS_ILLUMINANTS[name]
    kelvin = temperature_of(sd)[0]
    measured = sd.copy().align(SHAPE).values
    differences = chart_differences(white_led(kelvin), measured)
    assert differences.max() < USEFUL_DE
    # A smooth white of that temperature would not do.
    smooth = planck(kelvin) if kelvin < 5000 else daylight(kelvin)
    assert differences.mean() < chart_differences(smooth, measured).mean() / 2


@pytest.mark.parametrize("kelvin", [2700, 3200, 4000, 5000, 5600, 6500])
def test_colour_rendering_is_that_of_the_kind(kelvin):
    """Ra and R9 by colour-science (CIE 13.3-1995); LED-B1 to B5 have 77 to 85, R9 from -2 to 24."""
    for high_cri, ra, r9 in ((False, (75, 85), (-5, 25)), (True, (94, 100), (70, 100))):
        light = colour.SpectralDistribution(white_led(kelvin, high_cri), GRID_NM)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = colour.colour_rendering_index(light, additional_data=True)
        assert ra[0] <= found.Q_a <= ra[1]
        assert r9[0] <= found.Q_as[9].Q_a <= r9[1]


@pytest.mark.parametrize("high_cri", [False, True])
def test_white_has_its_temperature_and_nothing_is_negative(published, high_cri):
    """published_values.yaml#colour/planck_xy and colour-science's daylight locus (CIE 015:2018)."""
    for kelvin in (2200, 2700, 3200, 4000, 4999, 5000, 5600, 6504, 10000):
        light = white_led(kelvin, high_cri)
        assert light.min() > 0
        assert np.interp(560, GRID_NM, light) == pytest.approx(1)
        xy = xy_from_xyz(xyz_from_spectrum(light))
        if kelvin >= 5000:
            assert xy == pytest.approx(colour.temperature.CCT_to_xy_CIE_D(kelvin), abs=2e-5)
        else:
            kelvins = published["colour"]["planck_xy"]["value"]
            expected = kelvins.get(kelvin)
            assert expected is None or xy == pytest.approx(expected, abs=5e-5)


def test_temperatures_beyond_are_refused():
    for kelvin in (2199, 10001):
        with pytest.raises(ValueError, match="2200 to 10000 K"):
            white_led(kelvin)
