"""What cut and ribbed glass does to rays: flat windows, prisms, lenses, against published closed forms.

The rays are followed here, by Snell's law on the mesh's own faces and normals.
"""

import numpy as np
import pytest

from brimcast.vessels.facets import Cut
from brimcast.vessels.finish import Finish, finish
from brimcast.vessels.library import vessel
from brimcast.vessels.relief import Flutes, channel

# Solid up to 60 mm: what is cut below is cut into a rod of glass of 70 mm diameter.
SOLID = vessel("tumbler", height_mm=100, wall_mm=5, base_mm=60)
LEVEL_MM = 30.0


def _bend(way, normal, before, after):
    """Snell's law as vectors."""
    normal = normal if way @ normal < 0 else -normal
    ratio, cosine = before / after, -(way @ normal)
    return ratio * way + (ratio * cosine - np.sqrt(1 - ratio**2 * (1 - cosine**2))) * normal


@pytest.fixture
def go_through(first_hit):
    """Function of mesh, start, way and index: place and way of a ray behind the glass."""

    def meet(mesh, start, way):
        place, face, weights = first_hit(mesh, start, way)
        normal = weights @ mesh.normals[mesh.faces[face]]
        return place, normal / np.linalg.norm(normal)

    def run(mesh, start, way, index):
        first, normal = meet(mesh, start, way)
        inside = _bend(way, normal, 1.0, index)
        second, normal = meet(mesh, first + 1e-6 * inside, inside)
        return second, _bend(inside, normal, index, 1.0)

    return run


def test_two_facets_that_face_each_other_shift_a_ray_as_a_slab_does(published, go_through):
    """published_values.yaml#analytic_optics/slab_lateral_shift, 45 degrees, n = 1.5, scaled to 40 mm."""
    entry = published["analytic_optics"]["slab_lateral_shift"]
    case = next(one for one in entry["value"] if one["n"] == 1.5 and one["angle"] == 45)
    mesh = finish(SOLID, Finish(cut=Cut(4, 15.0, 4, 56, 60)), 0.5).mesh
    thick_mm = 2 * (35 - 15.0)
    # In through the facet that faces the camera, to its left at 45 degrees, out through the far one.
    start, way = np.array([12.0 + 100, -20.0 - 100, LEVEL_MM]), np.array([-1.0, 1.0, 0.0]) / np.sqrt(2)
    place, out = go_through(mesh, start, way, case["n"])
    assert place[1] == pytest.approx(20.0, abs=1e-9)
    assert out == pytest.approx(way, abs=1e-12)
    off = place - start - (place - start) @ way * way
    share = np.linalg.norm(off) / thick_mm
    assert share == pytest.approx(case["shift_mm"] / case["t_mm"], abs=entry["tolerance"] / case["t_mm"])


@pytest.mark.parametrize(("case", "index"), [("60deg_1.5", 1.5), ("60deg_1.5234", 1.5234)])
def test_three_facets_bend_a_ray_as_a_prism_does(published, go_through, case, index):
    """published_values.yaml#analytic_optics/prism_min_deviation: 60 degrees, met at the least deviation."""
    entry = published["analytic_optics"]["prism_min_deviation"]
    mesh = finish(SOLID, Finish(cut=Cut(3, 20.0, 4, 56, 60)), 0.5).mesh
    # Level inside the glass and square to the line that halves the angle: in at asin(n sin 30).
    normal = np.array([np.cos(np.radians(30)), np.sin(np.radians(30)), 0.0])
    slant = np.arcsin(index * np.sin(np.radians(30)))
    inside = np.array([-1.0, 0.0, 0.0])
    along = inside + (inside @ -normal) * normal
    along /= np.linalg.norm(along)
    way = -np.cos(slant) * normal + np.sin(slant) * along
    target = 15.0 * normal + np.array([0.0, 0.0, LEVEL_MM]) + 3.0 * along
    _, out = go_through(mesh, target - 100 * way, way, index)
    deviation_deg = np.degrees(np.arccos(way @ out))
    assert deviation_deg == pytest.approx(entry["value"][case], abs=entry["tolerance"])


@pytest.mark.parametrize("standing", [True, False])
def test_rib_and_flute_are_cylinder_lenses(go_through, standing):
    """Thick lens, P = P1 + P2 - (t / n) P1 P2 (E. Hecht, Optics), P = (n - 1) x curvature of each face.

    A rib's curvature, from its section r(a) = R - d c(k a): (r^2 - r r'') / r^3 where r' = 0.
    """
    index, count, depth_mm = 1.5, 24, 0.6
    glass = vessel("tumbler", wall_mm=5, base_mm=15)
    relief = Flutes(depth_mm, 20, 80, count, standing=standing)
    mesh = finish(glass, Finish(reliefs=(relief,)), 1.0).mesh
    h = 1e-4
    second = (channel(h)[0] - 2 * channel(0.0)[0] + channel(-h)[0]) / h**2
    share = 0.0 if standing else 1.0
    radius_mm = 35 - depth_mm * share
    bend = depth_mm * count**2 * second * (1 if standing else -1)
    curvature = (radius_mm - bend) / radius_mm**2
    front, back = (index - 1) * curvature, (1 - index) / 30
    thick_mm = radius_mm - 30
    power = front + back - thick_mm / index * front * back
    assert front > 0.02 if standing else front < -0.02
    # Rays from the camera, level, a little off the axis of the rib that faces it.
    off_mm = 0.1
    _, out = go_through(mesh, np.array([off_mm, -100.0, 50.0123]), np.array([0.0, 1.0, 0.0]), index)
    assert -out[0] / out[1] / off_mm == pytest.approx(power, rel=0.02)
