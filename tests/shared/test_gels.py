"""Gels held to mired arithmetic, colorimetry by colour-science 0.4.7, and what the trade knows of them."""

import warnings

import colour
import numpy as np
import pytest

from brimcast.shared import gels, hues, spectra
from brimcast.shared.bands import GRID_NM
from brimcast.shared.whites import white_led

CMFS = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(colour.SpectralShape(380, 700, 1))
FLASH = spectra.daylight(5600)


def xyz_of(spectrum):
    """XYZ by colour-science's observer, summed nanometre by nanometre."""
    return np.trapezoid(np.asarray(spectrum)[:, None] * CMFS.values, GRID_NM, axis=0)


def temperature_of(spectrum):
    """CCT and Duv by colour-science (Ohno 2013)."""
    uv = colour.UCS_to_uv(colour.XYZ_to_UCS(xyz_of(spectrum)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return colour.temperature.uv_to_CCT_Ohno2013(uv)


def shift_of(light, share):
    return 1e6 / temperature_of(light * share)[0] - 1e6 / temperature_of(light)[0]


def test_cooling_gel_carries_every_tungsten_by_its_mired(published):
    """published_values.yaml#colour/mired: a correction gel is a fixed mired shift, not a fixed kelvin shift.

    Light ends at 700 nm here; what tungsten has beyond makes 1 mired of its temperature.
    """
    cut = 1e6 / 3200 - 1e6 / temperature_of(spectra.planck(3200))[0]
    assert 0 < cut < 1.2
    rows = [row for row in published["colour"]["mired"]["value"] if "shift" in row and row["shift"] < 0]
    assert rows
    for row in rows:
        share = gels.conversion(row["shift"])
        reached = temperature_of(spectra.planck(row["T_in"]) * share)[0]
        assert 1e6 / reached + cut == pytest.approx(1e6 / row["T_out"], abs=0.1)
        for kelvin in (2800, 3000, 3400):
            assert shift_of(spectra.planck(kelvin), share) == pytest.approx(row["shift"], abs=2)


def test_warming_gel_turns_flash_to_tungsten(published):
    """published_values.yaml#colour/mired, 5600 to 3200 K; other lights shift alike to a few mired."""
    (row,) = (row for row in published["colour"]["mired"]["value"] if row.get("T_in") == 5600)
    share = gels.conversion(row["shift"])
    assert temperature_of(FLASH * share)[0] == pytest.approx(row["T_out"], rel=0.005)
    for light in (spectra.planck(3200), spectra.planck(4500), spectra.daylight(6500), white_led(5600, True)):
        assert shift_of(light, share) == pytest.approx(row["shift"], abs=5)


@pytest.mark.parametrize(
    ("shift", "light", "stops"),
    [(134, FLASH, 2 / 3), (-134, spectra.planck(3200), 2), (-67, spectra.planck(3200), 1)],
)
def test_conversion_costs_what_the_trade_expects(shift, light, stops):
    """Common practice: full CTB costs 2 stops, half 1, full CTO 2/3; to a sixth of a stop."""
    assert gels.describe(light, gels.conversion(shift))["loss_stops"] == pytest.approx(stops, abs=1 / 6)


def test_no_dyed_gel_passes_more_than_its_faces_let_through(published):
    """published_values.yaml#analytic_optics/slab_normal, a clear slab of index 1.5."""
    clear = published["analytic_optics"]["slab_normal"]["value"]["1.5"]
    assert gels.FILM_SHARE == pytest.approx(clear, abs=1e-6)
    made = [gels.conversion(s) for s in (-200, -50, 20, 400)]
    made += [gels.green(s) for s in (-1, 0.25, 1)]
    made += [gels.saturated(620, 0.95), gels.saturated(530, 0.6, True)]
    for share in made:
        assert 0 < share.min() and share.max() <= gels.FILM_SHARE * (1 + 1e-12)


@pytest.mark.parametrize("size", [1, 0.5, 0.125, -0.25, -1])
def test_green_correction_moves_across_the_temperatures(size):
    """CCT and Duv by colour-science: the temperature of flash stays, green (Duv) goes up or down."""
    kelvin, duv = temperature_of(FLASH * gels.green(size))
    bare_k, bare_duv = temperature_of(FLASH)
    assert 1e6 / kelvin == pytest.approx(1e6 / bare_k, abs=0.1)
    assert np.sign(duv - bare_duv) == np.sign(size)
    # Full is density 0.30 where it absorbs most, of green or of blue and red; the film's faces aside.
    deepest = -np.log10(gels.green(size).min() / gels.FILM_SHARE)
    assert deepest == pytest.approx(0.30 * abs(size), abs=0.05)


@pytest.mark.parametrize("stops", [0.5, 1, 2 + 1 / 3])
def test_neutral_density_costs_its_stops_and_leaves_the_colour(stops):
    told = gels.describe(white_led(4000), gels.neutral(stops))
    assert told["loss_stops"] == pytest.approx(stops, abs=1e-12)
    assert told["mired_shift"] == pytest.approx(0, abs=1e-6)
    assert told["delta_e_to_white"] == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize(
    ("wavelength_nm", "purity", "complementary"),
    [(620, 0.95, False), (585, 0.7, False), (530, 0.6, False), (490, 0.5, False), (460, 0.9, False),
     (530, 0.6, True), (505, 0.4, True), (555, 0.9, True)],
)  # fmt: skip
def test_saturated_gel_has_its_hue_and_purity(wavelength_nm, purity, complementary):
    """Dominant wavelength and excitation purity by colour-science, under the flash it is made for."""
    share = gels.saturated(wavelength_nm, purity, complementary)
    xy, white = colour.XYZ_to_xy(xyz_of(FLASH * share)), colour.XYZ_to_xy(xyz_of(FLASH))
    wavelength, *_ = colour.dominant_wavelength(xy, white, CMFS)
    # colour-science gives a complementary wavelength a minus sign.
    assert float(wavelength) == pytest.approx(-wavelength_nm if complementary else wavelength_nm, abs=1)
    found = colour.excitation_purity(xy, white, CMFS)
    assert float(found) == pytest.approx(purity, abs=0.005)


def test_saturated_gel_is_the_smoothest_of_its_colour():
    """A stationary point: any small change of the logarithm that keeps the chromaticity is less smooth."""
    share = gels.saturated(530, 0.6)
    spread, steps = hues._nodes()
    nodes = np.arange(380, 701, 8)
    logs = np.interp(nodes, GRID_NM, np.log(share))
    weights = FLASH[:, None] * CMFS.values
    keep = spread.T @ (share[:, None] * weights)
    rng = np.random.default_rng(5)
    rough = ((steps @ logs) ** 2).sum()
    for _ in range(20):
        change = rng.normal(size=len(nodes))
        change -= keep @ np.linalg.lstsq(keep, change, rcond=None)[0]
        gain = 2 * (steps @ logs) @ (steps @ change) / np.linalg.norm(steps @ change)
        assert abs(gain) < 1e-3 * rough**0.5


def test_stacks_multiply_and_describe_agrees_with_colour_science():
    """Luminous loss, xy and CIEDE2000 after linear Bradford by colour-science, for a stack on an LED."""
    light = white_led(5600)
    share = gels.conversion(80) * gels.green(-0.5) * gels.neutral(1)
    told = gels.describe(light, share)
    bare, left = xyz_of(light), xyz_of(light * share)
    assert told["loss_stops"] == pytest.approx(np.log2(bare[1] / left[1]), abs=1e-9)
    assert told["xy"] == pytest.approx(colour.XYZ_to_xy(left), abs=1e-9)
    kelvin, duv = temperature_of(light * share)
    assert told["cct_k"] == pytest.approx(kelvin, rel=2e-4)
    assert told["duv"] == pytest.approx(duv, abs=2e-5)
    white = np.array([0.9505, 1, 1.0890])
    seen = colour.adaptation.chromatic_adaptation_VonKries(
        left / left[1], bare / bare[1], white, transform="Bradford"
    )
    labs = [colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(white)) for xyz in (seen, white)]
    assert told["delta_e_to_white"] == pytest.approx(colour.delta_E(*labs, method="CIE 2000"), abs=0.02)


def test_a_single_line_loses_light_but_has_no_temperature():
    told = gels.describe(spectra.line(587.6), gels.neutral(1))
    assert told["loss_stops"] == pytest.approx(1)
    assert told["cct_k"] is None and told["mired_shift"] is None


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: gels.conversion(-201), "cools by up to 200"),
        (lambda: gels.conversion(401), "warms by up to 400"),
        (lambda: gels.green(3), "from -2 to 2"),
        (lambda: gels.neutral(-1), "0 to 20 stops"),
        (lambda: gels.saturated(530, 0.99), "purity goes from 0 to 95%"),
        (lambda: gels.saturated(710, 0.5), "380 to 700 nm"),
        (lambda: gels.saturated(470, 0.5, True), "write the dominant wavelength"),
    ],
)
def test_what_no_gel_does_is_refused(make, text):
    with pytest.raises(ValueError, match=text):
        make()
