"""Meshes: placing, joining, and faults found."""

from dataclasses import replace

import numpy as np
import pytest

from brimcast.vessels.mesh import check, combined, merged, placed, rotated
from brimcast.vessels.solids import ball, plate_with_slit, rod, slab


def test_turn_is_clockwise_seen_from_above():
    """A quarter turn takes what stands before the glass (-y) to camera left (-x), as azimuth grows."""
    toward_camera = placed(slab(1, 1, 1), at_mm=(0, -50, 0))
    turned = placed(toward_camera, turn_deg=90)
    assert np.allclose(turned.bounds_mm.mean(axis=0), [-50, 0, 0.5], atol=1e-12)


def test_placed_moves_positions_and_leaves_volume_and_normals():
    body = rod(20, 80, sections=48)
    moved = placed(body, at_mm=(100, -30, 5))
    assert np.allclose(moved.bounds_mm, body.bounds_mm + [100, -30, 5], atol=1e-12)
    assert moved.volume_mm3 == pytest.approx(body.volume_mm3, rel=1e-12)
    assert np.array_equal(moved.normals, body.normals)


def test_rotated_keeps_the_mesh_closed_and_its_volume():
    angle = np.radians(37.0)
    tilt = [[1, 0, 0], [0, np.cos(angle), -np.sin(angle)], [0, np.sin(angle), np.cos(angle)]]
    body = rod(20, 80, sections=64)
    lying = check(rotated(body, tilt))
    assert lying.volume_mm3 == pytest.approx(body.volume_mm3, rel=1e-12)
    assert merged(lying).is_watertight


@pytest.mark.parametrize(
    ("matrix", "text"),
    [(np.diag([1.0, 1.0, -1.0]), "mirrors"), (np.diag([1.0, 2.0, 1.0]), "not a rotation")],
)
def test_rotated_refuses_what_is_no_turn(matrix, text):
    with pytest.raises(ValueError, match=text):
        rotated(slab(1, 1, 1), matrix)


def test_volume_and_area_agree_with_trimesh():
    body = combined([rod(20, 80, sections=64), placed(ball(30, sections=64), (60, 0, 0))])
    other = merged(body)
    assert body.volume_mm3 == pytest.approx(other.volume, rel=1e-10)
    assert body.area_mm2 == pytest.approx(other.area, rel=1e-10)
    assert other.is_watertight and other.is_winding_consistent


def test_combined_keeps_the_patches_of_each_apart():
    both = combined([slab(1, 1, 1), placed(slab(1, 1, 1), (5, 0, 0))])
    assert sorted(set(both.patches.tolist())) == list(range(12))
    check(both)


def test_merged_unites_the_copies_at_sharp_edges():
    assert len(merged(slab(10, 20, 3)).vertices) == 8


def _without_a_face(mesh):
    return replace(mesh, faces=mesh.faces[1:], patches=mesh.patches[1:])


def _inside_out(mesh):
    return replace(mesh, faces=mesh.faces[:, ::-1], normals=-mesh.normals)


def _squashed(mesh):
    vertices = mesh.vertices_mm.copy()
    vertices[mesh.faces[0, 1]] = vertices[mesh.faces[0, 0]]
    return replace(mesh, vertices_mm=vertices)


def _smoothed(mesh):
    """A box with the normals of a ball: far off its faces."""
    away = mesh.vertices_mm - mesh.bounds_mm.mean(axis=0)
    return replace(mesh, normals=away / np.linalg.norm(away, axis=1, keepdims=True))


def _one_part_inward(mesh):
    return combined([mesh, placed(_inside_out(slab(1, 1, 1)), (50, 0, 0))])


@pytest.mark.parametrize(
    ("spoil", "text"),
    [
        (_without_a_face, r"not watertight: 3 open edge"),
        (_inside_out, "inward"),
        (_one_part_inward, "inward: part 1"),
        (_squashed, "no area"),
        (_smoothed, "deg off"),
        (lambda mesh: replace(mesh, normals=2 * mesh.normals), "length 2"),
        (lambda mesh: combined([mesh, mesh]), "more than two faces"),
    ],
)
def test_check_names_the_fault(spoil, text):
    with pytest.raises(ValueError, match=text):
        check(spoil(slab(10, 20, 3)))


def test_check_of_a_sheet_does_not_ask_for_a_closed_one():
    sheet = plate_with_slit(100, 80, 1, 20)
    check(sheet, closed=False)
    with pytest.raises(ValueError, match="not watertight"):
        check(sheet)
