"""Single rays: what they meet first, where they end, and what of the light comes back along them."""

import numpy as np
import pytest

from brimcast.renders.sight import Lookout, part_of
from brimcast.scene import setfile
from brimcast.scene.builder import build

# An upright pane before a card; a lamp beside, its front toward +x.
SET = """
brimcast: 1
props:
  pane: {shape: slab, width: 100 mm, depth: 100 mm, thickness: 10 mm, tilt: 90 deg, at: [0 mm, 5 mm],
         material: {index: 1.5, absorption: 0.02 /mm}}
  can: {shape: rod, diameter: 20 mm, length: 50 mm, at: [200 mm, 0 mm], material: {metal: 70 %}}
cards: {white: {size: [100 mm, 100 mm], at: [0 mm, 200 mm, 50 mm], facing: {azimuth: 0 deg}}}
lamps:
  key: {throw: 300 mm, elevation: 0 deg, azimuth: 90 deg, aim: [0 mm, -200 mm, 50 mm]}
"""
FROM = np.array([0.0, -200.0, 50.0])


@pytest.fixture(scope="module")
def lookout():
    return Lookout(build(setfile.parse(SET, "set.yaml", {})), "cpu")


def look(lookout, place, way, mirrored=False):
    seen = lookout.look(place, np.array([way], float), mirrored)
    names = [lookout.names[thing[0]] if thing[0] >= 0 else None for thing in (seen.first, seen.end)]
    return *names, float(seen.weight[0]), seen


def test_straight_through_a_pane(lookout):
    """Fresnel at right angles: ((n - 1) / (n + 1))² is thrown back at each face; Lambert's law between."""
    first, end, weight, seen = look(lookout, FROM, (0, 1, 0))
    assert (first, end) == ("pane", "white")
    assert weight == pytest.approx(0.96**2 * np.exp(-0.2), rel=1e-4)
    assert seen.place_mm[0] == pytest.approx([0, -5, 50], abs=0.01)
    assert seen.from_mm[0] + seen.last_mm[0] * seen.way[0] == pytest.approx([0, 200, 50], abs=0.01)
    assert part_of(seen, lookout.is_part("pane")).all() and not part_of(seen, lookout.is_part("pan")).any()


def test_aslant_a_pane_shifts_a_ray(lookout):
    """By Snell's law: through 10 mm at 45 deg it leaves at the height 10 tan(asin(sin 45 / 1.5)) higher."""
    way = np.array([0.0, 1.0, 1.0]) / np.sqrt(2)
    _, _, _, seen = look(lookout, FROM - [0, -170, 20], way)
    rise = 25 + 10 * np.tan(np.arcsin(np.sin(np.pi / 4) / 1.5))
    assert seen.from_mm[0] == pytest.approx([0, 5, 30 + rise], abs=0.01)
    assert seen.way[0] == pytest.approx(way, abs=1e-4)


def test_mirrored_by_the_first_face(lookout):
    way = np.array([-1.0, 1.0, 0.0]) / np.sqrt(2)
    first, end, weight, seen = look(lookout, FROM + [45, 155, 0], way, mirrored=True)
    assert first == "pane" and end is None and seen.way[0] == pytest.approx([-way[1], -way[1], 0], abs=1e-4)
    # Fresnel at 45 deg from index 1 to 1.5, unpolarised: 5.0 % (E. Hecht, Optics).
    assert weight == pytest.approx(0.0503, abs=2e-4)


def test_metal_mirrors_in_any_case(lookout):
    for mirrored in (False, True):
        first, end, weight, seen = look(lookout, [200, -100, 25], (0, 1, 0), mirrored)
        assert first == "can" and end is None and weight == pytest.approx(0.7, abs=1e-5)
        assert seen.way[0] == pytest.approx([0, -1, 0], abs=1e-3)


def test_a_lamp_shines_from_its_front_alone(lookout):
    assert look(lookout, FROM, (-1, 0, 0))[:3] == ("key", "key", 1.0)
    assert look(lookout, FROM - [600, 0, 0], (1, 0, 0))[:3] == ("key", "key", 0.0)


def test_ways_that_meet_nothing_and_no_ways(lookout):
    first, end, _, seen = look(lookout, FROM, (0, 0, 1))
    assert first is None and end is None and np.isinf(seen.last_mm[0]) and np.isnan(seen.place_mm).all()
    assert len(lookout.look(FROM, np.zeros((0, 3))).end) == 0
