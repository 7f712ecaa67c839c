"""Cloudy media against adding-doubling, a path tracer with volumes, and closed forms."""

import iadpython
import numpy as np
import pytest
import shapely

from brimcast.renders.images import read_exr
from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.frame import project
from brimcast.shared.colour import BAND_XYZ

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


@pytest.mark.slow
def test_cloudy_drink_brightens_all_over_when_lit_from_behind_and_a_clear_one_does_not(compute):
    """Common practice. Before a black background clear water stays dark but for gleams and what it shows.

    Of the drink's outline two pixels at the edge are left out, where the wall's gleams are.
    """
    text = """
    brimcast: 1
    table: {reflectance: 4 %}
    glasses: {hero: {vessel: shot, drink: {liquid: water}}}
    lamps: {key: {azimuth: 165 deg, elevation: 35 deg, throw: 1.2 m, diameter: 60 mm}}
    camera: {elevation: 8 deg, distance: 600 mm, lens: 150 mm}
    render: {width: 48}
    """
    means, unevenness = [], []
    for liquid in ("water", "{cloudy: 40 mm, colour: '#f2a93b'}"):
        changes = {"glasses.hero.drink.liquid": liquid}
        done = compute(text, command="render", changes=changes)
        bands, *_ = read_exr(done.folder / "picture.exr")
        luminance = np.tensordot(BAND_XYZ[:, 1], bands["key"], 1)
        built = build(setfile.parse(text, changes=changes), detail=0.3)
        (drink,) = (solid for solid in built.solids if solid.name == "hero drink")
        seen = project(built.camera, drink.mesh.vertices_mm)[:, :2]
        high, wide = luminance.shape
        outline = shapely.MultiPoint((seen * (1, -1) + 1) / 2 * (wide, high)).convex_hull.buffer(-2)
        rows, columns = np.mgrid[:high, :wide] + 0.5
        inside = luminance[shapely.contains_xy(outline, columns, rows)]
        assert len(inside) > 80
        means.append(inside.mean())
        unevenness.append(inside.std() / inside.mean())
    assert means[1] > 4 * means[0]
    assert unevenness[1] < 0.6 * unevenness[0] and unevenness[1] < 0.6
