"""Bent sheets: lengths, areas and normals in closed form, and lines that no sheet follows."""

import numpy as np
import pytest

from brimcast.scene.strips import STEP_DEG, BendError, fold, lay_strip, sweep
from brimcast.vessels.mesh import check

BLACK = np.zeros(16)
CORNER = [[0, 0, 50], [100, 0, 50], [100, 80, 50]]


def lay(bent, width_mm):
    return lay_strip("sheet", bent, width_mm, BLACK, BLACK)


def test_folded_sheet_has_its_area_and_stands_square_to_its_plane():
    sheet = lay(fold(CORNER), 60)
    check(sheet.mesh, closed=False)
    assert sheet.mesh.area_mm2 == pytest.approx((100 + 80) * 60)
    assert sheet.size_mm == pytest.approx((60, 180))
    # The points lie level, so the width stands upright, half of it on either side.
    assert sheet.mesh.bounds_mm[:, 2] == pytest.approx([20, 80])
    assert sorted(set(sheet.mesh.patches)) == [0, 1]


def test_bend_shortens_the_way_by_what_its_arc_cuts_off():
    """A right angle of radius r is r pi / 2 long instead of 2 r; chords of 2 deg lack 0.005 % of it."""
    sheet = lay(fold(CORNER, bend_mm=30), 60)
    check(sheet.mesh, closed=False, normals_within_deg=STEP_DEG / 2 + 0.01)
    assert sheet.size_mm[1] == pytest.approx(180 - 2 * 30 + 30 * np.pi / 2, rel=1e-4)
    assert set(sheet.mesh.patches) == {0}
    # Every place of the arc is 30 mm from its middle, which lies inside the corner; normals are radial.
    middle = np.array([70, 30])
    arc = sheet.mesh.vertices_mm[:, :2]
    inside = (arc[:, 0] > 70 + 1e-6) & (arc[:, 1] < 30 - 1e-6)
    assert np.hypot(*(arc[inside] - middle).T) == pytest.approx(30)
    radial = (arc[inside] - middle) / 30
    assert np.abs(np.einsum("ij,ij->i", radial, sheet.mesh.normals[inside, :2])) == pytest.approx(1)


@pytest.mark.parametrize(
    ("points", "across"),
    [
        ([[0, 0, 10], [100, 0, 10]], (0, 1, 0)),  # level along x: level and square to it
        ([[0, 0, 0], [30, 40, 50]], (0.8, -0.6, 0)),
        ([[5, 5, 0], [5, 5, 90]], (1, 0, 0)),  # upright
        ([[0, 0, 10], [0, 50, 10], [0, 80, 40]], (1, 0, 0)),  # in an upright plane
    ],
)
def test_width_runs_square_to_the_points(points, across):
    assert fold(points).across == pytest.approx(np.array(across), abs=1e-9)


def test_points_beside_the_plane_are_moved_onto_it():
    """Four corners of a square, two of them 1 mm up and two down, by turns: the plane between fits best."""
    bent = fold([[0, 0, 1], [100, 0, -1], [100, 100, 1], [0, 100, -1]])
    assert bent.points_mm[:, 2] == pytest.approx(np.zeros(4), abs=1e-9)


@pytest.mark.parametrize(
    ("points", "bend", "index", "text"),
    [
        ([[0, 0, 0], [0, 0, 0], [0, 9, 0]], None, 1, "same place"),
        ([[0, 0, 0], [0, 9, 0], [0, 2, 0]], None, 1, "straight back"),
        (CORNER, 90, 1, "a bend of 90 mm does not fit here: it reaches 90 mm"),
    ],
)
def test_line_that_no_sheet_follows_is_refused(points, bend, index, text):
    with pytest.raises(BendError, match=text) as caught:
        fold(points, bend)
    assert caught.value.index == index


def test_sweep_is_a_quarter_circle_and_goes_on_upright():
    sheet = lay(sweep((0, 200, 0.02), 250, 700), 1200)
    check(sheet.mesh, closed=False, normals_within_deg=STEP_DEG / 2 + 0.01)
    assert sheet.size_mm[1] == pytest.approx(250 * np.pi / 2 + 450, rel=1e-4)
    x, y, z = sheet.mesh.vertices_mm.T
    assert (x.min(), x.max(), y.min(), y.max(), z.min(), z.max()) == pytest.approx(
        (-600, 600, 200, 450, 0.02, 700.02)
    )
    curve = z < 250.02 - 1e-6
    assert np.hypot(y[curve] - 200, z[curve] - 250.02) == pytest.approx(250)
    # The front looks to the middle of the circle: up where it leaves the table, then to the camera.
    toward = np.stack([0 * y, 200 - y, 250.02 - z], axis=1)[curve] / 250
    assert sheet.mesh.normals[curve] == pytest.approx(toward, abs=1e-9)
    assert sheet.mesh.normals[~curve] == pytest.approx(np.tile([0, -1, 0], ((~curve).sum(), 1)), abs=1e-9)
    # Its map is the paper laid flat.
    assert sheet.places_mm.max(axis=0) == pytest.approx(sheet.size_mm)
