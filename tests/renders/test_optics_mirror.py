"""A ring of polished metal on the table: the caustic inside it is the nephroid of the circle."""

import numpy as np
import pytest

RADIUS_MM = 30.0
CELL_MM = 0.4


@pytest.fixture(scope="module")
def folds_mm(compute):
    """Along y, the brightest place of each column of the map: x and y, mm.

    The light comes over the near rim. A wall that stands upright turns only its level part, so seen from
    above every ray goes as in a flat circle; its height at the wall settles how far it goes, which at 30
    degrees is up to 35 mm: the elevation decides how much of the caustic is lit, and nothing of its form.
    """
    maps = compute(f"""
brimcast: 1
table: {{reflectance: 0 %}}
props:
  ring: {{shape: ring, inside: {2 * RADIUS_MM} mm, wall: 1 mm, tall: 20 mm, material: metal}}
lamps:
  low: {{throw: 100 m, diameter: 10 mm, elevation: 30 deg, azimuth: 0 deg, aim: [0 mm, 0 mm, 0 mm]}}
render: {{cell: {CELL_MM} mm, quality: proof}}
""").maps
    light = np.tensordot(maps["band_xyz"][:, 1], maps["low.reflective"] + maps["low.refractive"], 1)
    x_mm, y_mm = maps["x_mm"], maps["y_mm"]
    # Away from the wall, where its foot is bright.
    light = np.where(np.hypot(*np.meshgrid(x_mm, y_mm)) < 0.93 * RADIUS_MM, light, 0)
    wanted = np.abs(x_mm) < 0.7 * RADIUS_MM
    return x_mm[wanted], y_mm[light.argmax(axis=0)][wanted]


def nephroid(angle):
    """Points of the caustic of a circle in parallel light along y, cusp on the y axis (E. W. Weisstein)."""
    across = (3 * np.sin(angle) - np.sin(3 * angle)) / 4
    along = (3 * np.cos(angle) - np.cos(3 * angle)) / 4
    return RADIUS_MM * across, RADIUS_MM * along


def test_bright_lines_in_a_metal_ring_are_the_nephroid(folds_mm):
    """published_values.yaml#analytic_optics/catacaustic_parallel

    Near the cusp, where both lines run into one cell, see the next test.
    """
    x_mm, found_mm = folds_mm
    x_on_it, y_on_it = nephroid(np.linspace(0, np.pi / 2, 100_001))
    exact_mm = np.interp(np.abs(x_mm), x_on_it, y_on_it)
    arms = np.abs(x_mm) > 1
    off_mm = (found_mm - exact_mm)[arms]
    # The fold lies anywhere in its cell; where it runs steeply a cell across counts for more along.
    slope = np.abs(np.gradient(exact_mm, x_mm))[arms]
    assert (np.abs(off_mm) < CELL_MM * (1 + slope)).mean() > 0.95
    assert np.abs(np.median(off_mm)) < CELL_MM / 2


def test_cusp_lies_half_a_radius_from_the_middle(folds_mm, published):
    """published_values.yaml#analytic_optics/catacaustic_parallel

    Near a cusp the lines run as y = cusp + k |x|^(2/3). The curve through the brightest places up to 6 mm off
    the axis meets it at the cusp, within a cell; in the cells beside the axis both lines run together.
    """
    entry = published["analytic_optics"]["catacaustic_parallel"]
    x_mm, y_mm = folds_mm
    near = (np.abs(x_mm) > 1.5 * CELL_MM) & (np.abs(x_mm) < 6)
    # The next term of the nephroid's series, |x|^(4/3), is fitted with it.
    root = np.abs(x_mm[near]) ** (2 / 3)
    terms, *_ = np.linalg.lstsq(np.stack([np.ones_like(root), root, root**2], axis=1), y_mm[near])
    exact_mm = entry["value"]["cusp_from_centre_over_R"] * RADIUS_MM
    assert terms[0] == pytest.approx(exact_mm, abs=entry["tolerance"] * RADIUS_MM + CELL_MM)
