"""The climbing edge of a drink against closed forms, and its body in the glass."""

import numpy as np
import pytest

from brimcast.vessels.fill import capacity_ml, fill_height_for_ml, held_ml
from brimcast.vessels.library import vessel
from brimcast.vessels.meniscus import Wetting, capillary_length_mm, climb
from brimcast.vessels.outline import joined, line

A_MM = 2.72


def _tube(radius_mm, height_mm=400.0):
    return joined([line((0, 0), (radius_mm, 0)), line((radius_mm, 0), (radius_mm, height_mm))])


def test_capillary_length_of_water_is_published(published):
    """published_values.yaml#ice_and_condensation/capillary_length."""
    entry = published["ice_and_condensation"]["capillary_length"]
    assert capillary_length_mm(72.75, 998.2) == pytest.approx(entry["value"], abs=entry["tolerance"])


@pytest.mark.parametrize("contact_deg", [5, 20, 50, 80])
def test_edge_at_a_plane_wall_has_the_closed_form(contact_deg):
    """Rise a sqrt(2 (1 - sin q)) and shape: L. D. Landau, E. M. Lifshitz, Fluid Mechanics, section 61.

    A tube of 3 m radius; what its roundness adds is of the order of a / 3 R, 3e-4 of it.
    """
    surface = climb(_tube(3000.0), 50.0, Wetting(A_MM, contact_deg))
    radius, height = surface.points_mm.T
    rise = A_MM * np.sqrt(2 * (1 - np.sin(np.radians(contact_deg))))
    assert height[0] - 50 == pytest.approx(rise, rel=1e-3)
    assert radius[0] == pytest.approx(3000, abs=1e-6)

    def away(z):
        c = np.sqrt(4 * A_MM**2 - z**2)
        return A_MM * np.arccosh(2 * A_MM / z) - c

    seen = (height - 50 > 0.02) & (np.arange(len(height)) > 0)
    expected = away(height[seen] - 50) - away(height[0] - 50)
    assert 3000 - radius[seen] == pytest.approx(expected, rel=3e-3, abs=2e-3)


@pytest.mark.parametrize("contact_deg", [10, 20, 60])
def test_edge_in_a_narrow_tube_is_a_cap_of_a_ball(contact_deg):
    """Where weight counts little: depth R (1 - sin q) / cos q; a tube of 0.2 mm."""
    radius_mm = 0.2
    surface = climb(_tube(radius_mm), 50.0, Wetting(A_MM, contact_deg))
    angle = np.radians(contact_deg)
    depth = radius_mm * (1 - np.sin(angle)) / np.cos(angle)
    assert surface.points_mm[0, 1] - 50 == pytest.approx(depth, rel=2e-3)


@pytest.mark.parametrize("radius_mm", [6.0, 12.0, 32.5, 60.0])
def test_what_climbs_weighs_what_the_surface_pulls(radius_mm):
    """Balance of forces on the tube: weight = 2 pi R gamma cos q, so volume = 2 pi R a^2 cos q.

    Counted from the level of an endless surface, under the middle by z0 = 2 a^2 x its curvature.
    """
    wetting, inside = Wetting(A_MM, 20), _tube(radius_mm)
    climbed = 1000 * (held_ml(inside, 50.0, wetting) - capacity_ml(inside, 50.0))
    surface = climb(inside, 50.0, wetting)
    (radius, _), (cosine, sine) = surface.points_mm[-3], surface.tangents[-3]
    middle = 2 * A_MM**2 * np.arctan2(-sine, -cosine) / radius if radius_mm < 20 else 0.0
    pulled = 2 * np.pi * radius_mm * A_MM**2 * np.cos(np.radians(20))
    assert climbed + np.pi * radius_mm**2 * middle == pytest.approx(pulled, rel=3e-3)


def test_surface_meets_the_wall_at_its_angle_and_the_middle_is_level():
    for name, share in (("tumbler", 0.5), ("tasting", 0.3), ("v-cocktail", 0.6), ("bottle", 0.9)):
        glass = vessel(name)
        level_mm = glass.base_mm + share * (glass.height_mm - glass.base_mm)
        surface = climb(glass.inner, level_mm, Wetting(A_MM, 30))
        place = glass.inner.place_at_height(surface.points_mm[0, 1], last=False)
        wall = glass.inner.at(place)[1]
        assert np.degrees(np.arccos(-surface.tangents[0] @ wall)) == pytest.approx(30, abs=0.1)
        assert np.hypot(*(glass.inner.at(place)[0] - surface.points_mm[0])) < 1e-3
        assert surface.points_mm[-1] == pytest.approx([0, level_mm])
        assert surface.tangents[-1] == pytest.approx([-1, 0])


def test_surface_on_a_flat_bowl_bends_down():
    """Where the wall lies flatter than the angle of contact, the edge is the lowest place."""
    glass = vessel("coupe")
    surface = climb(glass.inner, glass.base_mm + 1.3, Wetting(A_MM, 45))
    assert surface.points_mm[0, 1] < glass.base_mm + 1.3


def test_square_contact_leaves_an_upright_glass_flat():
    assert climb(_tube(30.0), 50.0, Wetting(A_MM, 90)) is None


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9])
@pytest.mark.parametrize("name", ["tumbler", "tulip"])
def test_volume_with_an_edge_is_the_volume_poured(name, share):
    glass, wetting = vessel(name), Wetting(A_MM, 20)
    volume_ml = share * glass.capacity_ml()
    level_mm = fill_height_for_ml(glass.inner, volume_ml, wetting)
    assert held_ml(glass.inner, level_mm, wetting) == pytest.approx(volume_ml, rel=2e-4)
    assert level_mm < fill_height_for_ml(glass.inner, volume_ml)


def test_numbers_that_cannot_be_are_refused():
    for wrong in ((0, 20), (2.7, 4), (2.7, 91)):
        with pytest.raises(ValueError):
            Wetting(*wrong)
