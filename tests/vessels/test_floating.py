"""What of a solid is under a level: against the cap's closed form, and against cutting it with manifold3d."""

import manifold3d
import numpy as np
import pytest

from brimcast.vessels.convex import box, round_edges
from brimcast.vessels.floating import wet_ball, wet_bodies
from brimcast.vessels.ice import cracked, turn_matrix
from brimcast.vessels.mesh import merged
from brimcast.vessels.solids import ball


def wet_solid(corners_mm, level_mm):
    """Return volume and centroid under a level of one closed surface."""
    volumes, middles = wet_bodies(corners_mm, np.zeros(len(corners_mm), dtype=int), 1, level_mm)
    return volumes[0], middles[0]


@pytest.mark.parametrize("level_mm", [-9.0, -4.0, 0.0, 6.5, 11.0])
def test_ball_has_a_caps_volume_and_centroid(level_mm):
    """V = pi h^2 (3 R - h) / 3; centroid 3 (2 R - h)^2 / (4 (3 R - h)) from the middle (handbook)."""
    mesh = ball(20, 256)
    found_mm3, middle_mm = wet_solid(mesh.vertices_mm[mesh.faces], level_mm)
    deep = min(level_mm + 10, 20)
    # Facets both ways round lie up to R (1 - cos(pi / 256)) each within the ball, over its wetted area.
    lost = 2 * np.pi * 10 * deep * 2 * 10 * (1 - np.cos(np.pi / 256))
    volume = np.pi * deep**2 * (30 - deep) / 3
    assert volume - lost < found_mm3 < volume
    assert middle_mm == pytest.approx([0, 0, -3 * (20 - deep) ** 2 / (4 * (30 - deep))], abs=5e-3)
    exact_mm3, exact_mm = wet_ball(np.zeros(3), 10.0, level_mm)
    assert exact_mm3 == pytest.approx(volume)
    assert exact_mm == pytest.approx(middle_mm, abs=5e-3)


@pytest.mark.parametrize("seed", range(8))
def test_turned_solids_agree_with_a_boolean_library(seed):
    generator = np.random.default_rng(seed)
    mesh = cracked(30, seed).mesh if seed % 2 else round_edges(box(20, 25, 30), 2)
    solid = merged(mesh)
    points = solid.vertices @ turn_matrix(generator).T
    level = generator.uniform(-12, 12)
    body = manifold3d.Manifold(manifold3d.Mesh64(points, solid.faces.astype(np.uint64)))
    lower = body.trim_by_plane((0, 0, -1), -level)
    found_mm3, middle_mm = wet_solid(points[solid.faces], level)
    assert found_mm3 == pytest.approx(lower.volume(), rel=1e-9)
    cut = lower.to_mesh64()
    import trimesh

    piece = trimesh.Trimesh(cut.vert_properties[:, :3], cut.tri_verts)
    assert middle_mm == pytest.approx(piece.center_mass, abs=1e-6)


def test_bodies_are_kept_apart_and_dry_ones_have_nothing():
    mesh = round_edges(box(2, 2, 2), 0)
    corners = mesh.vertices_mm[mesh.faces]
    three = np.concatenate([corners, corners + [5, 0, 0.5], corners + [0, 0, 9]])
    volumes, middles = wet_bodies(three, np.repeat(np.arange(3), len(corners)), 3, 0.0)
    assert volumes == pytest.approx([4, 2, 0])
    assert middles == pytest.approx(np.array([[0, 0, -0.5], [5, 0, -0.25], [0, 0, 0]]))
