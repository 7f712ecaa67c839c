"""Pieces of ice: closed, about their centres of mass, of the size asked for, cracks within."""

import numpy as np
import pytest

from brimcast.vessels import ice
from brimcast.vessels.mesh import check, merged
from brimcast.vessels.solids import torus

KINDS = {
    "cube": lambda: ice.block(25, 25, 25, 2),
    "sharp cube": lambda: ice.block(25, 25, 25),
    "spear": lambda: ice.block(25, 25, 110, 1.5),
    "sphere": lambda: ice.sphere(60),
    "cracked": lambda: ice.cracked(25, 3, 0.5),
    "sharp cracked": lambda: ice.cracked(25, 3),
    "mesh": lambda: ice.imported(torus(40, 12)),
}


@pytest.mark.parametrize("kind", KINDS)
def test_piece_is_closed_and_about_its_centre_of_mass(kind):
    piece = KINDS[kind]()
    # Needles at the corners of cracked pieces, at most a hundredth of the area, may be off by more.
    mesh = check(piece.mesh, normals_within_deg=90 if "cracked" in kind else 10)
    assert merged(mesh).center_mass == pytest.approx(np.zeros(3), abs=0.02)
    # What is weighed and floats is nearly what is seen.
    assert piece.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=0.01)
    assert np.linalg.norm(mesh.vertices_mm, axis=1).max() <= piece.reach_mm + 1e-6


def test_densities_are_the_published_ones(published):
    """published_values.yaml#ice_and_condensation/ice_density, at the melting point."""
    entry = published["ice_and_condensation"]["ice_density"]
    assert ice.DENSITY_KG_M3["ice"] == pytest.approx(entry["value"][0], abs=entry["tolerance"])


def test_girth_is_the_hole_that_a_piece_goes_through():
    assert ice.sphere(60).girth_mm == 60
    assert ice.block(25, 25, 110).girth_mm == pytest.approx(25 * np.sqrt(2))
    # Rounding takes (sqrt 2 - 1) r off each corner of the square.
    assert ice.block(25, 25, 110, 3).girth_mm == pytest.approx(25 * np.sqrt(2) - 6 * (np.sqrt(2) - 1))


@pytest.mark.parametrize("seed", range(5))
def test_cracked_piece_is_convex_and_as_long_as_said(seed):
    piece = ice.cracked(24, seed)
    corners = piece.corners_mm
    assert np.linalg.norm(corners[:, None] - corners, axis=2).max() == pytest.approx(24)
    assert piece.within(piece.mesh.vertices_mm).min() == pytest.approx(0, abs=1e-9)
    assert merged(piece.mesh).is_convex
    # The same piece with melted edges lies within it.
    melted = ice.cracked(24, seed, 1.0)
    assert melted.volume_mm3 < piece.volume_mm3 and melted.reach_mm < piece.reach_mm


def test_seeds_break_ice_differently():
    first, again, other = (ice.cracked(20, seed).mesh.vertices_mm for seed in (4, 4, 5))
    assert np.array_equal(first, again)
    assert first.shape != other.shape or not np.allclose(first, other)


def test_cracks_are_films_of_air_inside_the_piece():
    """Volume: of a disc whose thickness falls evenly with the squared radius to a quarter at its rim."""
    piece = ice.block(25, 25, 25, 2)
    one = ice.crack_mesh(piece, ice.Cracks(1, 10, 0.2, 3))
    check(one, normals_within_deg=25)
    assert piece.within(one.vertices_mm).min() >= 0.3
    middle = one.vertices_mm.mean(axis=0)
    _, sizes, axes = np.linalg.svd(one.vertices_mm - middle, full_matrices=False)
    across = np.ptp(one.vertices_mm @ axes.T, axis=0)
    # Mean thickness (1 + 1/4) / 2 of the gap; an oval's area is pi / 4 times its two diameters.
    assert one.volume_mm3 == pytest.approx(0.2 * 5 / 8 * np.pi / 4 * across[0] * across[1], rel=0.06)
    many = check(ice.crack_mesh(piece, ice.Cracks(12, 8, 0.05, 1)), normals_within_deg=25)
    assert len(np.unique(many.patches)) == 36


def test_rough_ice_is_rough_all_over():
    piece = ice.roughened(ice.block(20, 20, 20), 0.2)
    assert (piece.mesh.vertex_roughness == 0.2).all()
    assert ice.roughened(piece, 0) is piece


def test_core_is_the_same_shape_smaller():
    piece = ice.cracked(25, 2, 1)
    inner = check(ice.core(piece, 0.5), normals_within_deg=90)
    assert inner.volume_mm3 == pytest.approx(piece.mesh.volume_mm3 / 8)
    assert piece.within(inner.vertices_mm).min() > 0


@pytest.mark.parametrize(
    ("make", "part", "text"),
    [
        (lambda: ice.block(20, 20, 20, 10), "edge", "under 10 mm"),
        (lambda: ice.cracked(10, 1, 5), "edge", "do not fit a piece of 10 mm"),
        (lambda: ice.crack_mesh(ice.sphere(10), ice.Cracks(2, 30, 0.1)), "cracks", "crack 1 of 2, 30 mm"),
        (lambda: ice.core(ice.sphere(10), 1.5), "core", "between 0 and 1"),
    ],
)
def test_ice_that_cannot_be(make, part, text):
    with pytest.raises(ice.IceError, match=text) as caught:
        make()
    assert caught.value.part == part
