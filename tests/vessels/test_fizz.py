"""Bubbles in a drink: where they are, how large, and that they never reach out of it."""

import numpy as np
import pytest

from brimcast.vessels.fizz import Fizz, fizz_mesh, strew_fizz
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import check


@pytest.mark.parametrize("name", ["flute", "highball", "coupe"])
def test_bubbles_lie_in_the_drink_and_on_its_wall(name):
    glass = vessel(name)
    level_mm = glass.base_mm + 0.7 * (glass.height_mm - glass.base_mm)
    asked = Fizz(200, 0.4, 0.2, 1.0, seed=5)
    centres, sizes = strew_fizz(glass.inner, level_mm, asked)
    assert 190 <= len(centres) <= 200
    assert sizes.min() >= 0.2 and sizes.max() <= 1.0
    assert (centres[:, 2] + sizes / 2 < level_mm).all()
    away = np.hypot(centres[:, 0], centres[:, 1])
    inside = np.interp(centres[:, 2], glass.inner.points_mm[:, 1], glass.inner.points_mm[:, 0])
    # They are in the drink; those on the wall all but touch it.
    assert (away < inside).all()
    dense = glass.inner.densified(0.1).points_mm
    gap = np.hypot(away[:, None] - dense[:, 0], centres[:, 2, None] - dense[:, 1]).min(axis=1) - sizes / 2
    assert gap.min() > 0.01
    # Three in five sit on the wall.
    assert (gap < 0.04).sum() == pytest.approx(0.6 * len(sizes), abs=5)


def test_rising_bubbles_stand_above_one_another_and_grow(published):
    """Sizes and growth: published_values.yaml#ice_and_condensation/champagne_bubbles."""
    entry = published["ice_and_condensation"]["champagne_bubbles"]["value"]
    glass = vessel("flute")
    centres, sizes = strew_fizz(glass.inner, 200.0, Fizz(120, 1.0, 0.1, 1.2, seed=2))
    trains = np.unique(np.round(centres[:, :2], 6), axis=0)
    assert len(trains) < len(centres) / 3
    for train in trains:
        one = np.flatnonzero(np.abs(centres[:, :2] - train).max(axis=1) < 1e-5)
        one = one[np.argsort(centres[one, 2])]
        gaps = np.diff(centres[one, 2])
        assert (np.diff(sizes[one]) > 0).all()
        # Faster as they grow, so farther apart.
        assert (np.diff(gaps) > 0).all()
    # After 100 mm a bubble has less than the largest that is seen at the surface.
    assert sizes.max() / 2 < entry["surface_diameter_mm"][1]


def test_same_seed_same_bubbles_other_seed_others():
    glass = vessel("highball")
    first, again, other = (
        strew_fizz(glass.inner, 100.0, Fizz(50, 0.3, 0.2, 1.0, seed)) for seed in (1, 1, 2)
    )
    assert np.array_equal(first[0], again[0])
    assert first[0].shape != other[0].shape or not np.allclose(first[0], other[0])


def test_mesh_of_bubbles_is_closed_and_as_large_as_they_are():
    glass = vessel("highball")
    asked = Fizz(30, 0.3, 0.3, 0.9)
    mesh = check(fizz_mesh(glass.inner, 100.0, asked), normals_within_deg=15)
    _, sizes = strew_fizz(glass.inner, 100.0, asked)
    # Twenty facets a turn leave 3.3 % of a ball's volume out.
    assert mesh.volume_mm3 == pytest.approx((np.pi / 6 * sizes**3).sum(), rel=0.05)


def test_bubbles_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="does not fit into 2.0 mm of drink"):
        strew_fizz(vessel("tumbler").inner, 12.0, Fizz(5, 0.0, 0.2, 4.0))
    for wrong in ((0, 0.5, 0.1, 1), (5, 2, 0.1, 1), (5, 0.5, 2, 1)):
        with pytest.raises(ValueError):
            Fizz(*wrong)
