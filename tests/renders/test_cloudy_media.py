"""Cloudy media against adding-doubling, a path tracer with volumes, and closed forms."""

import iadpython
import pytest

# A hole keeps the beam in the middle of a wide slab; what is thrown back escapes past the plate or meets it.
SLAB = """
brimcast: 1
table: {{reflectance: 0 %}}
props:
  slab: {{shape: slab, width: 200 mm, depth: 200 mm, thickness: 5 mm, height: 2 mm,
          material: {{index: {index}, scattering: {scattering} /mm, absorption: {absorption} /mm,
                      anisotropy: {cosine}}}}}
  stop: {{shape: plate, size: [400 mm, 400 mm], height: 1 m, opening: {{round: 80 mm}}}}
lamps:
  key: {{throw: 100 m, diameter: 10 mm, elevation: 90 deg, aim: [0 mm, 0 mm, 1 m], colour: 550 nm}}
render: {{cell: 4 mm, seed: 3}}
"""

# Albedo, optical thickness, anisotropy, index.
SLABS = [
    (0.5, 1.0, 0.0, 1.5),
    (0.9, 1.0, 0.0, 1.33),
    (0.9, 8.0, 0.0, 1.33),
    (0.99, 4.0, 0.0, 1.33),
    (0.95, 2.0, 0.7, 1.33),
    (0.99, 8.0, 0.8, 1.33),
]


@pytest.mark.parametrize(("albedo", "depth", "cosine", "index"), SLABS)
def test_slab_throws_back_and_passes_what_adding_and_doubling_say(compute, albedo, depth, cosine, index):
    """Within 3 % of iadpython: S. A. Prahl, M. J. C. van Gemert, A. J. Welch, Determining the optical
    properties of turbid media by using the adding-doubling method, Appl. Opt. 32, 559 (1993)."""
    back, passed, _, _ = iadpython.Sample(a=albedo, b=depth, g=cosine, n=index, quad_pts=32).rt()
    extinction = depth / 5
    book = compute(
        SLAB.format(
            index=index, cosine=cosine, scattering=albedo * extinction, absorption=(1 - albedo) * extinction
        )
    ).report["energy"]["key"]
    through, error = (book["surfaces"]["table"][key] for key in ("value", "standard_error"))
    assert through == pytest.approx(passed, rel=0.03, abs=3 * error)
    thrown = book["escaped"]["value"] + book["surfaces"]["stop (back)"]["value"]
    assert thrown == pytest.approx(back, rel=0.03, abs=3 * book["escaped"]["standard_error"])
    assert book["sum"]["value"] == pytest.approx(1, abs=3 * book["sum"]["standard_error"])
    assert book["lost"]["value"] < 1e-4


def test_cloudy_drink_throws_no_caustic_and_a_clear_one_does(compute):
    """Common practice. A ball, for a glass throws light by its own wall and base, whatever is in it."""
    ball = """
    brimcast: 1
    props: {ball: {shape: ball, diameter: 30 mm, material: water}}
    lamps: {key: {throw: 1.5 m, diameter: 30 mm, elevation: 35 deg, azimuth: 150 deg}}
    """
    clear, cloudy = (
        compute(ball, changes={"props.ball.material": material}).report["caustics"]["key"]["refractive"]
        for material in ("water", "{liquid: {cloudy: 40 mm, colour: '#c07830'}}")
    )
    assert clear["peak_over_table_stops"]["value"] > 3
    assert cloudy is None or cloudy["peak_over_table_stops"]["value"] < 1
