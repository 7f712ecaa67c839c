"""The light pass agrees with itself: grids of rays with lone ones, few with many, quality with quality."""

import numpy as np
import pytest

from brimcast.renders import job
from brimcast.renders.lightpass import Effort
from brimcast.scene import builder, setfile
from brimcast.shared.colour import BAND_XYZ


@pytest.fixture(scope="module")
def built(water_set):
    """The set, without its camera."""
    return builder.build(setfile.parse(water_set))


def light(built, rows, grid, cell_mm=2.0):
    """Luminous maps of sixteen batches, both kinds together, in units of the bare table."""
    effort = Effort(cell_mm, 0.0, rows, grid, 1)
    outcome = job.run(built, picture=False, effort=effort, resume=False)
    lamp = outcome.lights[0]
    return lamp.channels[:, :, 0].sum(axis=1) / lamp.plain


def chi_square(one, other):
    """Two maps: mean squared difference over its variance where there is light; total's over its error.

    The total is that of all cells: which cells are lit enough to be looked at depends on the noise.
    """
    first, second = one.mean(axis=0), other.mean(axis=0)
    variance = (one.var(axis=0, ddof=1) + other.var(axis=0, ddof=1)) / len(one)
    lit = (first + second > 0.1) & (variance > 0)
    assert lit.sum() > 500
    ratio = ((first - second)[lit] ** 2).sum() / variance[lit].sum()
    totals = one.sum(axis=(1, 2)), other.sum(axis=(1, 2))
    error = np.sqrt(sum(total.var(ddof=1) / len(total) for total in totals))
    return float(ratio), float(abs(totals[0].mean() - totals[1].mean()) / error)


def test_grids_agree_with_rays_that_share_nothing(built):
    """Of grids of a single ray each has a lamp point, a wavelength and choices of its own.

    Difference within the errors that both claim: its mean square is one variance, give or take.
    """
    ratio, off = chi_square(
        light(built, (16, 16, 16), (36, 20, 16)), light(built, (20_000, 6_000, 4_000), (1, 1, 1))
    )
    assert ratio < 1.4
    assert off < 3


def test_twice_the_grid_and_twice_the_lamp_points_agree(built):
    """As above."""
    ratio, off = chi_square(
        light(built, (16, 16, 16), (36, 20, 16)), light(built, (32, 32, 32), (72, 40, 32))
    )
    assert ratio < 1.4
    assert off < 3


@pytest.mark.slow
def test_draft_proof_and_final_converge_to_one_map(compute, water_set):
    """In the cells of each quality, the final differs within the errors that both claim, as above.

    So do length and share, and the width that cells can tell, but for half a cell; a narrower one is told as
    the most that it can be.
    """
    text = water_set.replace("azimuth: 170 deg", "azimuth: 170 deg, colour: 587.6 nm")
    found = {quality: compute(text, quality=quality) for quality in ("draft", "proof", "final")}
    maps = {quality: luminous(one) for quality, one in found.items()}
    final = found["final"].report["caustics"]["key"]["refractive"]
    for quality, cell_mm in (("draft", 1.0), ("proof", 0.5)):
        mean = coarsen(maps["final"], round(cell_mm / 0.25))
        inside = mean > mean.max() / 8
        errors = [found[one].report["relative_error"]["key"] for one in (quality, "final")]
        off = np.sqrt(np.mean((maps[quality] - mean)[inside] ** 2)) / mean[inside].mean()
        assert off**2 < 2.0 * np.square(errors).sum(), (quality, off, errors)

        caustic = found[quality].report["caustics"]["key"]["refractive"]
        for key, slack in (("line_width_mm", cell_mm / 2), ("length_mm", 2 * cell_mm), ("flux_share", 0.004)):
            error = 3 * np.hypot(caustic[key]["standard_error"], final[key]["standard_error"])
            if caustic[key].get("upper_limit"):
                assert final[key]["value"] < caustic[key]["value"] + error
            else:
                assert caustic[key]["value"] == pytest.approx(final[key]["value"], abs=slack + error)
    assert found["draft"].report["caustics"]["key"]["refractive"]["line_width_mm"]["upper_limit"]


def luminous(computed):
    """A table map of the key's refracted light."""
    maps = computed.maps
    return np.tensordot(maps["band_xyz"][:, 1], maps["key.refractive"], 1)


def coarsen(values, times):
    """Means over squares of so many cells a side."""
    rows, columns = (count // times for count in values.shape)
    return values.reshape(rows, times, columns, times).mean(axis=(1, 3))


def test_bands_sum_to_the_luminous_light(built):
    """Two independent books of the same light: sixteen bands, and the channels of the batches."""
    effort = Effort(2.0, 0.0, (16, 16, 16), (32, 16, 16), 1)
    outcome = job.run(built, picture=False, effort=effort, resume=False)
    lamp, window = outcome.lights[0], outcome.window
    bands = lamp.maps[:, :, : window.cells].reshape(16, 2, *window.shape)
    luminous = np.tensordot(BAND_XYZ[:, 1], bands, 1)
    expected = lamp.channels[:, :, 0].mean(axis=0)
    np.testing.assert_allclose(luminous, expected, rtol=1e-3, atol=1e-6 * luminous.max())
