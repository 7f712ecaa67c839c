"""Convex solids with rounded edges: closed, of Steiner's volume, with the normals of the surface itself."""

import numpy as np
import pytest

from brimcast.vessels.convex import Convex, box, round_edges
from brimcast.vessels.mesh import check


def random_solid(seed, faces=12):
    """A solid behind planes about a ball of 10 mm."""
    generator = np.random.default_rng(seed)
    normals = generator.normal(size=(faces, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return Convex(normals, generator.uniform(8, 12, faces))


def steiner_mm3(core, radius_mm):
    """V + S r + r^2 / 2 times the sum of edge length times turn + 4/3 pi r^3 (J. Steiner, 1840)."""
    flat = round_edges(core, 0)
    bent, seen = 0.0, {}
    for number, face in enumerate(core.faces):
        for a, b in zip(face, np.roll(face, -1), strict=True):
            if (b, a) in seen:
                cosine = core.normals[number] @ core.normals[seen[b, a]]
                length = np.linalg.norm(core.corners_mm[a] - core.corners_mm[b])
                bent += length * np.arccos(np.clip(cosine, -1, 1))
            seen[a, b] = number
    volume = flat.volume_mm3 + flat.area_mm2 * radius_mm
    return volume + bent * radius_mm**2 / 2 + 4 / 3 * np.pi * radius_mm**3


@pytest.mark.parametrize("radius_mm", [0.5, 3, 11])
def test_rounded_cube_has_its_volume(radius_mm):
    """Vertices lie on the surface, so facets of 6 deg lose at most 1 - cos(3 deg) of each rounding."""
    flat = 24 - 2 * radius_mm
    exact = flat**3 + 6 * flat**2 * radius_mm + 3 * np.pi * radius_mm**2 * flat + 4 / 3 * np.pi * radius_mm**3
    mesh = check(round_edges(box(24, 24, 24), radius_mm), normals_within_deg=8)
    assert exact * (1 - 2 * (1 - np.cos(np.radians(3)))) < mesh.volume_mm3 < exact
    assert np.abs(mesh.bounds_mm) == pytest.approx(12)


@pytest.mark.parametrize("seed", range(6))
def test_any_rounded_solid_has_steiners_volume(seed):
    solid = random_solid(seed)
    mesh = check(round_edges(solid, 1.5, 3.0), normals_within_deg=90)
    assert mesh.volume_mm3 == pytest.approx(steiner_mm3(solid.shrunk(1.5), 1.5), rel=1e-3)


def test_normals_of_a_rounded_box_are_those_of_its_distance():
    """The gradient of the distance from the inner box is (p - nearest) / r."""
    mesh = round_edges(box(20, 30, 40), 4)
    half = np.array([10, 15, 20]) - 4
    away = mesh.vertices_mm - np.clip(mesh.vertices_mm, -half, half)
    assert np.linalg.norm(away, axis=1) == pytest.approx(4)
    assert mesh.normals == pytest.approx(away / 4)


def test_sharp_solid_has_a_patch_for_each_face():
    mesh = check(round_edges(box(2, 3, 4), 0))
    assert mesh.volume_mm3 == pytest.approx(24) and set(mesh.patches) == set(range(6))


def test_faults_of_solids():
    with pytest.raises(ValueError, match="under 5 mm"):
        round_edges(box(10, 12, 14), 5)
    with pytest.raises(ValueError, match="must be over 0"):
        Convex(np.eye(3), np.array([1.0, -1, 1]))
    with pytest.raises(ValueError, match="enclose no solid"):
        _ = Convex(np.eye(3), np.ones(3)).corners_mm
