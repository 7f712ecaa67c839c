"""Meshes as solids of a library that is not the project's own, and met by rays."""

import manifold3d
import numpy as np
import pytest

from brimcast.vessels.mesh import united


def make_solid(mesh):
    """Return a mesh as manifold3d's solid."""
    positions, faces = united(mesh)
    solid = manifold3d.Manifold(manifold3d.Mesh64(positions, faces.astype(np.uint64)))
    assert solid.status() == manifold3d.Error.NoError
    return solid


def slice_area_mm2(positions, faces, level_mm):
    """Return the area that a mesh encloses at z = level, mm2; where it lies in itself, that counts twice."""
    height = positions[faces][:, :, 2] - level_mm
    cut = np.flatnonzero((height > 0).any(axis=1) & (height <= 0).any(axis=1))
    corners, height = positions[faces[cut]][:, :, :2], height[cut]
    ends = {}
    for side in range(3):
        low, high = height[:, side], height[:, (side + 1) % 3]
        share = np.divide(low, low - high, out=np.zeros(len(cut)), where=low != high)[:, None]
        point = corners[:, side] + share * (corners[:, (side + 1) % 3] - corners[:, side])
        # Seen from above, the slice runs from where the face comes up through the plane ... to where it
        # goes down, the solid on its left.
        for name, crosses in (("down", (low > 0) & (high <= 0)), ("up", (low <= 0) & (high > 0))):
            ends.setdefault(name, np.zeros((len(cut), 2)))[crosses] = point[crosses]
    a, b = ends["down"], ends["up"]
    return float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum() / 2)


def check_solid(mesh, most_mm2=1e-3):
    """Fail unless a mesh is manifold, of genus 0, and does not cross itself.

    The library's slices count each place once. The sum over the faces that a plane cuts counts a place
    as often as the surface winds round it, so the two areas differ where the surface crosses itself. A
    plane near the axis shows the whole section of what is turned.
    """
    positions, faces = united(mesh)
    solid = make_solid(mesh)
    assert solid.genus() == 0
    assert solid.volume() == pytest.approx(mesh.volume_mm3, rel=1e-9)
    low_mm, high_mm = mesh.bounds_mm[:, 2]
    for share in (0.0123, 0.31, 0.77, 0.9931):
        level_mm = low_mm + share * (high_mm - low_mm)
        own = slice_area_mm2(positions, faces, level_mm)
        assert solid.slice(level_mm).area() == pytest.approx(own, abs=most_mm2)
    # Turned on its side: x, y, z -> x, z, -y.
    lying = positions[:, [0, 2, 1]] * [1, 1, -1]
    tilted = solid.rotate((-90, 0, 0))
    assert np.abs(np.array(tilted.bounding_box()) - [*lying.min(axis=0), *lying.max(axis=0)]).max() < 1e-6
    for level_mm in (0.0371, 0.4 * float(mesh.bounds_mm[1, 0])):
        own = slice_area_mm2(lying, faces, level_mm)
        assert tilted.slice(level_mm).area() == pytest.approx(own, abs=most_mm2)


def meet(mesh, start, way):
    """Return where a ray first meets a mesh, the face there, and the weights of its corners."""
    # Seen along the ray the face that is met covers it.
    across = np.linalg.svd(np.atleast_2d(way))[2][1:]
    off = mesh.vertices_mm - start
    flat = off @ across.T
    corners = flat[mesh.faces]
    near = np.flatnonzero(((corners.min(axis=1) <= 0) & (corners.max(axis=1) >= 0)).all(axis=1))
    a, b, c = np.moveaxis(corners[near], 1, 0)
    areas = np.stack([p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0] for p, q in ((b, c), (c, a), (a, b))], axis=1)
    whole = areas.sum(axis=1, keepdims=True)
    weights = np.divide(areas, whole, out=np.full(areas.shape, -1.0), where=whole != 0)
    far = np.einsum("ij,ij->i", weights, (off @ way)[mesh.faces[near]])
    hit = np.flatnonzero((weights >= -1e-12).all(axis=1) & (far > 1e-6))
    first = hit[far[hit].argmin()]
    return start + far[first] * way, near[first], weights[first]


@pytest.fixture(scope="session")
def solid_of():
    """Function from a mesh to manifold3d's solid; see `make_solid`."""
    return make_solid


@pytest.fixture(scope="session")
def first_hit():
    """Function of mesh, start and way, a unit vector; see `meet`."""
    return meet


@pytest.fixture(scope="session")
def sound_solid():
    """Function that fails unless a mesh is the surface of a solid; see `check_solid`."""
    return check_solid
