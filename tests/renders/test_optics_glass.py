"""Where the light goes that meets a filled wine glass: its thin wall leads it round and round."""

import pytest


def test_no_light_is_lost_in_a_wine_glass(compute):
    """Energy conservation: wrong counts of bodies entered, and ways without end, show as lost."""
    report = compute("""
brimcast: 1
glasses:
  hero: {vessel: tasting, drink: {liquid: {spirit: 13 % vol}, fill: 33 %}}
lamps:
  key: {throw: 1.8 m, elevation: 38 deg, azimuth: 165 deg, diameter: 25 mm}
render: {cell: 2 mm}
""").report
    _assert_closed(report["energy"]["key"])


def test_no_light_is_lost_in_frosted_glass(compute):
    """What rough slopes throw at one another is booked as absorbed."""
    report = compute("""
brimcast: 1
glasses:
  hero: {vessel: tumbler, frosted: [{from: 20 mm, to: 70 mm, roughness: 0.3}], drink: {liquid: water}}
lamps:
  key: {throw: 1.8 m, elevation: 38 deg, azimuth: 165 deg, diameter: 25 mm}
render: {cell: 2 mm}
""").report
    _assert_closed(report["energy"]["key"])


def _assert_closed(energy):
    assert energy["lost"]["value"] < 1e-5
    assert energy["sum"]["value"] == pytest.approx(1, abs=3 * energy["sum"]["standard_error"])
    assert energy["sum"]["standard_error"] < 0.01
