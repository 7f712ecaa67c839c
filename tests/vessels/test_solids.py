"""Test pieces and props."""

import numpy as np
import pytest

from brimcast.vessels import solids
from brimcast.vessels.mesh import check, merged

# Mesh, volume of the true solid, size, and the share lost to facets over the square of their angle:
# 1/6 for turning in facets; a polygon for the turned curve costs 1/4 more on a ball, 1/6 on a torus.
SECTIONS = 128
CLOSED = {
    "ball": (solids.ball(60, SECTIONS), 4 / 3 * np.pi * 30**3, (60, 60, 60), 5 / 12),
    "rod": (solids.rod(20, 80, SECTIONS), np.pi * 10**2 * 80, (20, 20, 80), 1 / 6),
    "ring": (solids.ring(60, 2, 10, SECTIONS), np.pi * (32**2 - 30**2) * 10, (64, 64, 10), 1 / 6),
    "torus": (solids.torus(40, 4, SECTIONS), 2 * np.pi**2 * 20 * 2**2, (44, 44, 4), 1 / 3),
    "slab": (solids.slab(10, 20, 3), 600, (10, 20, 3), 0),
    "prism": (solids.prism(60, 30, 40), np.sqrt(3) / 4 * 30**2 * 40, (30, 30 * np.sqrt(3) / 2, 40), 0),
}


@pytest.mark.parametrize("name", CLOSED)
def test_solid_is_closed_and_of_the_right_size(name):
    mesh, volume_mm3, size_mm, lost = CLOSED[name]
    check(mesh)
    assert merged(mesh).is_volume
    angle = 2 * np.pi / SECTIONS
    # The next term of the loss is of the order of the fourth power.
    assert mesh.volume_mm3 / volume_mm3 == pytest.approx(1 - lost * angle**2, abs=angle**4 + 1e-12)
    assert np.diff(mesh.bounds_mm, axis=0)[0] == pytest.approx(size_mm, abs=1e-9)


@pytest.mark.parametrize("diameter_mm", [2, 60, 300])
def test_chord_error_of_a_ball_is_a_thirty_thousandth_of_its_radius(diameter_mm):
    mesh = solids.ball(diameter_mm)
    middles = np.linalg.norm(mesh.vertices_mm[mesh.faces].mean(axis=1), axis=1)
    edges = mesh.vertices_mm[mesh.faces] + np.roll(mesh.vertices_mm[mesh.faces], 1, axis=1)
    lowest = np.linalg.norm(edges / 2, axis=2).min()
    radius_mm = diameter_mm / 2
    assert radius_mm - lowest < 2.01 * radius_mm / 30000  # a quad's diagonal spans both directions
    assert middles.max() < radius_mm


@pytest.mark.parametrize("name", ["slab", "prism"])
def test_flat_solids_have_a_patch_and_exact_normals_for_each_face(name):
    mesh = CLOSED[name][0]
    facets = mesh.crosses_mm2 / np.linalg.norm(mesh.crosses_mm2, axis=1, keepdims=True)
    assert np.abs(mesh.normals[mesh.faces] - facets[:, None]).max() < 1e-15
    assert len(set(mesh.patches.tolist())) == {"slab": 6, "prism": 5}[name]


def test_prism_shows_its_apex_edge_to_the_camera():
    mesh = solids.prism(40, 30, 50)
    nearest = mesh.vertices_mm[mesh.vertices_mm[:, 1] == mesh.bounds_mm[0, 1]]
    assert np.array_equal(np.unique(nearest[:, 0]), [0.0])
    sides = [normal for normal in np.unique(mesh.normals, axis=0) if normal[1] < 0]
    between_deg = np.degrees(np.arccos(sides[0] @ sides[1]))
    assert between_deg == pytest.approx(180 - 40, abs=1e-9)
    assert merged(mesh).center_mass == pytest.approx([0, 0, 25], abs=1e-9)


def test_plate_with_hole_lets_through_the_circle():
    plate = check(solids.plate_with_hole(100, 80, 20), closed=False)
    hole_mm2 = 100 * 80 - plate.area_mm2
    assert np.pi * 10**2 * (1 - 1.4e-4) < hole_mm2 < np.pi * 10**2
    assert plate.bounds_mm.tolist() == [[-50, -40, 0], [50, 40, 0]]
    assert (plate.normals == [0, 0, 1]).all() and (plate.crosses_mm2[:, 2] > 0).all()
    middles = plate.vertices_mm[plate.faces].mean(axis=1)
    assert np.hypot(middles[:, 0], middles[:, 1]).min() > 10


def test_plate_with_slit_lets_through_the_slit():
    plate = check(solids.plate_with_slit(100, 80, 1, 20), closed=False)
    assert plate.area_mm2 == pytest.approx(100 * 80 - 1 * 20, rel=1e-12)
    middles = plate.vertices_mm[plate.faces].mean(axis=1)
    assert not ((np.abs(middles[:, 0]) < 0.5) & (np.abs(middles[:, 1]) < 10)).any()


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: solids.ball(0), "diameter_mm: 0 mm"),
        (lambda: solids.rod(20, -1), "length_mm: -1 mm"),
        (lambda: solids.prism(180, 30, 40), "angle_deg: 180"),
        (lambda: solids.torus(4, 5), "bar_diameter_mm: 5 mm"),
        (lambda: solids.plate_with_hole(100, 80, 80), "does not fit"),
    ],
)
def test_measures_out_of_range_are_named(make, text):
    with pytest.raises(ValueError, match=text):
        make()
