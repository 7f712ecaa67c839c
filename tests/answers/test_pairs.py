"""Two variants beside each other, on drawn maps whose differences are known."""

import math

import colour as cs
import numpy as np
import pytest

from brimcast.renders.answers import pairs
from brimcast.renders.answers.answer import entry
from brimcast.renders.answers.colours import compare_colour
from brimcast.renders.answers.contest import find_winner, hold_contest, tell_contest
from brimcast.renders.answers.study import Frame
from brimcast.renders.answers.throws import average, spread
from brimcast.renders.measures import TableLight, measure
from brimcast.renders.stored import Stored
from brimcast.shared.bands import BAND_CENTRES_NM, band_means
from brimcast.shared.colour import BAND_XYZ
from brimcast.shared.spectra import daylight

LIGHT = band_means(daylight(5600.0))
PLAIN = float(LIGHT @ BAND_XYZ[:, 1])
CELL_MM = 0.5


def draw(place, height, wide_mm=2.0, reach=(-30, 30), passed=1.0, error=0.0, extra=None):
    """Return a frame with one bell of light on the table, so many times the plain table's light high.

    `wide_mm` is its full width at half height, `reach` the window's ends, `passed` (16,) what its colour lets
    through, `extra` more bells: place, height.
    """
    axis = np.arange(*reach, CELL_MM) + CELL_MM / 2
    x, y = np.meshgrid(axis, axis)
    shape = sum(
        high * 2.0 ** (-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (wide_mm / 2) ** 2)
        for at, high in ((place, height), *(extra or ()))
    )
    bands = (LIGHT * passed)[:, None, None] * shape
    dark = np.zeros_like(bands)
    seen = np.tensordot(BAND_XYZ[:, 1], bands, 1)
    found = measure(TableLight(axis, axis, seen, bands[0], bands[-1], seen), PLAIN, 0.0)
    found["flux_share"] = float(seen.sum() * CELL_MM**2)
    measured = {
        key: {"value": value, "standard_error": [error, error] if isinstance(value, tuple) else error}
        for key, value in found.items()
    }
    report = {
        "cell_mm": CELL_MM,
        "caustics": {"key": {"refractive": measured}},
        "relative_error": {"key": 0.1},
        "lamps": {"key": {"plain_table": PLAIN}},
    }
    table = {"x_mm": axis, "y_mm": axis, "key.refractive": bands, "key.direct": dark, "key.reflective": dark}
    each = {"spectrum": {}, "gel": {"key": np.ones(16)}, "plain": {"key": LIGHT}, "meters": {}}
    return Frame(None, Stored(None, report, {}, None, **each, meter_reflectance=None, table=table))


def test_a_bell_that_moves_widens_and_fades():
    before = draw((3.25, -10.25), 8.0, wide_mm=2.0, error=0.03)
    after = draw((6.25, -14.25), 4.0, wide_mm=3.0, error=0.04)
    found = pairs.compare(before, after, "key", "refractive")
    assert found["peak_shift_mm"]["value"] == pytest.approx(5.0)
    # The cells of both maps are in it: 2 x 0.5^2 / 12.
    assert found["peak_shift_mm"]["standard_error"] == pytest.approx(math.hypot(0.05, 0.5 / math.sqrt(6)))
    assert found["tip_shift_mm"]["standard_error"] == pytest.approx(0.05)
    assert found["width_change_mm"]["value"] == pytest.approx(1.0, abs=0.1)
    # A disc of 1 mm flattens the narrower bell more.
    assert found["brightness_change_stops"]["value"] == pytest.approx(-1.0, abs=0.15)
    # Where a bell is at least half its peak is a disc as wide as its width at half height.
    areas = [math.pi / 4 * wide**2 / 100 for wide in (2.0, 3.0)]
    assert found["area_change_cm2"]["value"] == pytest.approx(areas[1] - areas[0], rel=0.15)
    assert found["area_change_cm2"]["unit"] == "cm2" and found["width_change_mm"]["unit"] == "mm"
    told = pairs.tell_changes(found)
    assert "brightest spot moves 5.0 ± 0.2 mm" in told and "mm wider" in told


def test_what_has_no_value_is_not_told():
    none = {name: entry(None) for name in ("peak_shift_mm", "tip_shift_mm", "width_change_mm")}
    assert pairs.tell_changes({**none, "brightness_change_stops": entry(None)}) == "no line to compare"


@pytest.mark.parametrize("reach", [(-30, 30), (-25, 40), (-35, 22)])
def test_contrast_and_light_left_are_the_share_that_was_drawn(reach):
    """Half the light in the same place, whatever window it is on."""
    before, after = draw((3.25, -10.25), 8.0, error=0.02), draw((3.25, -10.25), 4.0, reach=reach, error=0.02)
    contrast = pairs.contrast_left(before, after, "key", "refractive")
    assert contrast["value"] == pytest.approx(50)
    assert contrast["standard_error"] == pytest.approx(50 * math.log(2) * math.hypot(0.02, 0.02))
    assert pairs.light_left(before, after, "key", "refractive")["value"] == pytest.approx(50)


def test_light_that_went_elsewhere_is_not_left():
    before, after = draw((0.25, 0.25), 8.0), draw((15.25, 0.25), 8.0)
    assert pairs.light_left(before, after, "key", "refractive")["value"] < 0.1


def test_brightest_that_is_made_is_not_the_spot_that_was_there():
    base, drink = (-8.25, 0.25), (9.25, 4.25)
    empty = draw(base, 32.0)
    filled = draw(base, 33.0, extra=[(drink, 4.0)])
    made = pairs.find_made(empty, filled, "key", "refractive")
    assert made["place_mm"]["value"] == pytest.approx(drink)
    assert made["stops"]["value"] == pytest.approx(2.0, abs=0.25)
    assert made["stops"]["standard_error"] == pytest.approx(0.1 / math.log(2))
    assert pairs.find_made(empty, empty, "key", "refractive")["stops"]["value"] is None


def test_bands_are_the_ends_and_their_errors():
    frames = [draw((0.25, 0.25), height, error=error) for height, error in ((8, 0.1), (2, 0.2), (4, 0.3))]
    band = pairs.find_bands(frames, "key", "refractive")["peak_over_table_stops"]
    assert np.diff(band["value"]) == pytest.approx(2.0) and band["standard_error"] == [0.2, 0.1]
    assert pairs.tell_bands(pairs.find_bands(frames, "key", "refractive")).startswith("line ")


def test_colour_of_a_way_through_beer_agrees_with_beer_lambert_and_colour_science():
    """SRM 12.7 is a decadic absorbance of 1 at 430 nm over 10 mm (ASBC Beer-10).

    Here 5 mm of an absorber that falls off as beer does; the bands' middles, as the map has them.
    """
    passed = 10.0 ** (-0.5 * np.exp(-(BAND_CENTRES_NM - 430) / 82.0))
    found = compare_colour(
        draw((0.25, 0.25), 8.0), draw((0.25, 0.25), 8.0, passed=passed), "key", "refractive"
    )
    xyz, white = (LIGHT * passed) @ BAND_XYZ, LIGHT @ BAND_XYZ
    d65 = np.array([0.9505, 1.0, 1.0890])
    carried = cs.adaptation.matrix_chromatic_adaptation_VonKries(white / white[1], d65, "Bradford")
    lab = cs.XYZ_to_Lab(carried @ (xyz / xyz[1]), cs.XYZ_to_xy(d65))
    expected = cs.delta_E(lab, [100.0, 0.0, 0.0], method="CIE 2000")
    for part in ("pattern", "brightest"):
        assert found[f"{part}_de00"]["value"] == pytest.approx(expected, abs=0.02) and expected > 10
        assert found[f"{part}_de00"]["standard_error"] == pytest.approx(0, abs=0.01)
        assert found[f"{part}_loss_stops"]["value"] == pytest.approx(math.log2(white[1] / xyz[1]))


def test_black_drink_leaves_no_colour():
    found = compare_colour(draw((0.25, 0.25), 8.0), draw((40.25, 0.25), 0.0), "key", "refractive")
    assert found["pattern_de00"]["value"] is None and found["pattern_loss_stops"]["value"] is None


def contest(area, peak, width, error):
    units = {"area_cm2": area, "peak_over_table_stops": peak, "line_width_mm": width}
    return {
        side: {measure: entry(values[place], error) for measure, values in units.items()}
        for place, side in enumerate(("hero", "rival"))
    }


@pytest.mark.parametrize(
    ("area", "peak", "width", "error", "asked", "wins"),
    [
        ((3, 1), (5, 4), (1, 2), 0.1, None, ("hero", "all")),
        ((1, 3), (4, 5), (2, 1), 0.1, 1.5, ("rival", "all")),
        ((3, 1), (5, 4), (2, 1), 0.1, None, (None, None)),
        ((3, 1), (5, 4), (2, 1), 0.1, 1.5, ("rival", "brief.line_width")),
        ((3, 1), (5, 4), (2, 1), 0.1, 2.5, (None, None)),
        # First by all three, but by luck: a tenth apart with an error of 1.
        ((3.1, 3), (5.1, 5), (1, 1.1), 1.0, None, (None, None)),
        ((3, 1), (5, 4), (1, 2), None, None, (None, None)),
        ((3, 1), (5, 4), (None, 2), 0.1, 2.5, (None, None)),
    ],
)
def test_glass_wins_by_all_or_by_the_brief_or_not_at_all(area, peak, width, error, asked, wins):
    values = contest(area, peak, width, error)
    assert find_winner(values, hold_contest(values), asked) == wins


def test_contest_tells_the_better_number_first_and_how_sure():
    """Two normals 1 apart with errors of 0.5: Phi(1 / 0.7071) = 92.1 %, any table of the normal law."""
    values = contest((3, 2), (5, 4), (2, 1), 0.5)
    rankings = hold_contest(values)
    names = {"hero": "hero (rocks)", "rival": "the rival"}
    told = tell_contest("area_cm2", values, names, rankings["area_cm2"])
    assert told == "Larger pattern: hero (rocks), 3.00 ± 0.50 against 2.00 ± 0.50, sure to 92 %"
    assert rankings["line_width_mm"].first == "rival"


def test_throws_are_averaged_with_the_error_of_few():
    numbers = [entry(value, 1.0, "%") for value in (60.0, 70.0, 80.0)]
    assert spread(numbers)["value"] == pytest.approx(10)
    mean = average(numbers)
    assert mean["value"] == pytest.approx(70)
    assert mean["standard_error"] == pytest.approx(math.hypot(1.0, 10 / math.sqrt(3)))
    assert average(numbers[:1]) == entry(60.0, 1.0, "%") and spread(numbers[:1])["value"] is None
    assert average([entry(None, None, "%"), numbers[0]])["value"] is None
