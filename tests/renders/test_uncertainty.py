"""How sure the measures are: errors against textbook formulas, an independent library and repeats."""

import dataclasses

import numpy as np
import pytest
from scipy.linalg import hadamard

from brimcast.renders.measures import MAP_MEASURES, TableLight, measure
from brimcast.renders.uncertainty import halve, measure_with_errors, relative_error


def sample(function, cell_mm=1.0, half_mm=40.0):
    """Return a light that is a function of the place, at the middle of each cell; all maps alike."""
    centres = np.arange(cell_mm / 2 - half_mm, half_mm, cell_mm)
    return TableLight(centres, centres, *[function(*np.meshgrid(centres, centres))] * 4)


def line(angle_deg, centre_mm, along_mm):
    """Return a line of sigma 1 mm across, at an angle, as a function of the place."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))

    def light(x, y):
        x, y = x - centre_mm[0], y - centre_mm[1]
        return np.exp(-((x * c + y * s) ** 2) / 2 - (y * c - x * s) ** 2 / (2 * along_mm**2))

    return light


# Curved, with a tail: no symmetry to hide behind.
BOW = sample(lambda x, y: np.exp(-((np.hypot(x - 4, y + 7) - 22) ** 2) / 4 - (y - 5) ** 2 / 200) + 0.02)


def scatter(light, rng, count=16, grain=1.0):
    """Return independent noisy batches of a light, each cell gamma distributed about its true value.

    All light holds the same noisy light of this kind, and the rest of it without noise.
    """

    def spoil(values):
        return values * rng.gamma(1 / grain**2, grain**2, values.shape)

    def batch():
        luminous = spoil(light.luminous)
        total = light.total - light.luminous + luminous
        return TableLight(light.x_mm, light.y_mm, luminous, spoil(light.blue), spoil(light.red), total)

    return [batch() for _ in range(count)]


def gather(batches):
    """Return the mean light of batches."""
    maps = [
        np.mean(stack, axis=0) for stack in zip(*(dataclasses.astuple(b)[2:] for b in batches), strict=True)
    ]
    return TableLight(batches[0].x_mm, batches[0].y_mm, *maps)


def test_standard_error_of_a_flux_is_the_textbook_one():
    """Flux is linear, so 15 orthogonal splits of 16 batches give s / sqrt(n) to rounding."""
    fluxes = np.array([batch.luminous.sum() for batch in scatter(BOW, np.random.default_rng(4))])
    moves = [fluxes[half].mean() - fluxes[~half].mean() for half in halve(16)]
    found = np.sqrt(np.mean(np.square(moves) / 4))
    assert found == pytest.approx(np.std(fluxes, ddof=1) / 4, rel=1e-9)


def test_standard_errors_are_those_of_halves_of_whole_maps():
    """The windows cut for speed change nothing: two bright lines far apart compete for the peak.

    Independent library: the splits are the rows of scipy's Hadamard matrix.
    """
    near, far = line(20.0, (-25.0, -22.0), 5.0), line(140.0, (24.0, 26.0), 5.0)
    light = sample(lambda x, y: near(x, y) + far(x, y), 0.5)
    batches = scatter(light, np.random.default_rng(11), grain=0.8)
    found = measure_with_errors(gather(batches), batches, 1.0, 5.0)
    pairs = []
    for row in hadamard(16)[1:]:
        halves = [gather([b for b, sign in zip(batches, row, strict=True) if sign == way]) for way in (1, -1)]
        pairs.append([measure(half, 1.0, 5.0) for half in halves])
    for key in MAP_MEASURES:
        moves = np.array([np.subtract(a[key], b[key]) / 2 for a, b in pairs])
        wanted = np.sqrt((moves**2).mean(axis=0))
        assert found[key]["standard_error"] == pytest.approx(wanted, rel=1e-6, abs=1e-9), key
        assert found[key]["value"] == pytest.approx(measure(gather(batches), 1.0, 5.0)[key]), key
    tips = [half["tip_mm"][0] for pair in pairs for half in pair]
    assert min(tips) < 0 < max(tips), "both lines should win now and then"


def test_standard_errors_are_the_spread_of_repeats():
    """The rms standard error of a noisy map lies within 20 % of the spread of independent repeats.

    200 repeats know the spread to 5 %; 30 sets of batches know the rms error to 3 %, heavy tails aside.
    The whole map's noise is 5 % in each cell.
    """
    light = sample(line(20.0, (2.0, 3.0), 6.0)).crop(slice(20, 64), slice(20, 64))
    rng = np.random.default_rng(5)
    repeats = [measure(scatter(light, rng, count=1, grain=0.05)[0], 1.0, 5.0) for _ in range(200)]
    sets = [scatter(light, rng, grain=0.2) for _ in range(30)]
    errors = [measure_with_errors(gather(batches), batches, 1.0, 5.0) for batches in sets]
    for key in sorted(set(MAP_MEASURES) - {"tip_mm", "peak_mm"}):
        spread = np.std([one[key] for one in repeats])
        claimed = np.sqrt(np.mean([one[key]["standard_error"] ** 2 for one in errors]))
        assert claimed == pytest.approx(spread, rel=0.2), key


def test_batches_need_not_be_sixteen():
    fluxes = np.array([batch.luminous.sum() for batch in scatter(BOW, np.random.default_rng(4), count=39)])
    moves = [fluxes[half].mean() - fluxes[~half].mean() for half in halve(39)]
    # 15 splits know the error to 18 %; twice that is allowed.
    found = np.sqrt(np.mean(np.square(moves) / 4))
    assert found == pytest.approx(np.std(fluxes, ddof=1) / np.sqrt(39), rel=0.36)


def test_heading_error_does_not_jump_at_the_camera():
    light = sample(lambda x, y: np.exp(-(x**2 + (y + 20) ** 2) / 18))
    batches = scatter(light, np.random.default_rng(2))
    found = measure_with_errors(gather(batches), batches, 1.0, 5.0)["heading_deg"]
    assert 0 < found["standard_error"] < 2


@pytest.mark.parametrize(("cell_mm", "told"), [(0.5, False), (1.0, True)])
def test_a_width_of_few_cells_is_an_upper_limit(cell_mm, told):
    """A line of sigma 1 mm is 2.4 mm wide: five cells of 0.5 mm, not three of 1 mm."""
    light = sample(line(0, (10, 0), 20), cell_mm)
    found = measure_with_errors(light, [light] * 16, 1.0, 5.0)
    assert found["line_width_mm"].get("upper_limit", False) is told
    assert not any("upper_limit" in entry for key, entry in found.items() if key != "line_width_mm")


def test_errors_of_a_dark_map_are_undefined():
    dark = sample(lambda x, y: 0 * x)
    found = measure_with_errors(dark, [dark] * 16, 1.0, 5.0)
    assert all(pair == {"value": None, "standard_error": None} for pair in found.values())


def test_too_few_or_foreign_batches_are_refused():
    with pytest.raises(ValueError, match="15 batches"):
        measure_with_errors(BOW, [BOW] * 15, 1.0, 5.0)
    double = TableLight(BOW.x_mm, BOW.y_mm, *(2 * m for m in dataclasses.astuple(BOW)[2:]))
    with pytest.raises(ValueError, match="mean flux"):
        measure_with_errors(BOW, [double] * 16, 1.0, 5.0)


@pytest.mark.parametrize("count", (4, 16, 64))
def test_relative_error_of_a_map_with_known_noise(count):
    """An even disc with noise of 30 % in each cell of each batch has an error of 30 % over root n."""
    light = sample(lambda x, y: 1.0 * (np.hypot(x - 3, y) < 15), 0.5)
    x, y, m = light.x_mm, light.y_mm, light.luminous
    rng = np.random.default_rng(8)
    batches = [m * rng.gamma(1 / 0.3**2, 0.3**2, m.shape) for _ in range(count)]
    assert (m > 0).sum() > 2500
    assert relative_error(x, y, batches) == pytest.approx(0.3 / np.sqrt(count), rel=0.03)
    assert relative_error(x, y, batches, least=2.0) == pytest.approx(0.15 / np.sqrt(count), rel=0.03)
    assert relative_error(x, y, [m] * 2) == 0.0
    assert relative_error(x, y, [0 * m] * 2) is None
    with pytest.raises(ValueError, match="at least two"):
        relative_error(x, y, [m])
