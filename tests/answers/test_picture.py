"""Questions 10 and 16 to 19 end to end, held to closed forms."""

import math

import numpy as np
import pytest

from brimcast.renders.answers.answer import Lacking
from brimcast.renders.answers.catalogue import QUESTIONS

# A clear rod before a matt card that the key lights; the camera looks level at its middle.
INDEX, RADIUS, AWAY, BEHIND, HALF = 1.5, 20.0, 1000.0, 300.0, 130.0
FIELD = f"""
brimcast: 1
table: {{reflectance: 2 %}}
props: {{rod: {{shape: rod, diameter: {2 * RADIUS} mm, length: 120 mm, material: {{index: {INDEX}}}}}}}
cards: {{field: {{size: [{2 * HALF} mm, 300 mm], at: [0 mm, {BEHIND} mm, 60 mm], facing: {{azimuth: 0 deg}}}}}}
lamps: {{key: {{kind: disc, diameter: 60 mm, throw: 1.5 m, azimuth: 30 deg, aim: [0 mm, 290 mm, 60 mm],
  colour: 587 nm, reading: {{f_number: f/11, iso: 100, distance: 1.5 m, receptor: flat}}}}}}
camera: {{at: [0 mm, -{AWAY} mm, 60 mm], aim: [0 mm, 0 mm, 60 mm], lens: 100 mm, f_number: f/11}}
render: {{width: 96}}
brief: {{file_width: 6000}}
"""


def cross_rod(impact):
    """A ray that would pass the axis of the rod at a distance: where it goes through the card's plane, and
    where what the rod mirrors of it does; shares by Fresnel's formulas (any optics handbook)."""
    across = math.asin(impact / AWAY)
    before, after = math.asin(impact / RADIUS), math.asin(impact / RADIUS / INDEX)
    s = (math.cos(before) - INDEX * math.cos(after)) / (math.cos(before) + INDEX * math.cos(after))
    p = (INDEX * math.cos(before) - math.cos(after)) / (INDEX * math.cos(before) + math.cos(after))
    thrown = (s * s + p * p) / 2

    def meet(turn):
        # Turned toward the axis by that angle, it still passes the axis as far off.
        way = turn - across
        along = (BEHIND - impact * math.sin(way)) / math.cos(way) if math.cos(way) > 0 else math.nan
        return impact * math.cos(way) - along * math.sin(way)

    return meet(2 * (before - after)), meet(-(math.pi - 2 * before)), thrown


def level_of(impact):
    through, mirrored, thrown = cross_rod(impact)
    return (1 - thrown) ** 2 * (abs(through) < HALF) + thrown * (abs(mirrored) < HALF)


def seen_mm(impact):
    """Where such a ray goes through the plane of the axis."""
    return AWAY * math.tan(math.asin(impact / AWAY))


@pytest.fixture(scope="module")
def field(study_of):
    return study_of(FIELD)


def test_dark_edge_is_that_of_a_cylinder_by_snell(field):
    impacts = np.linspace(0, RADIUS * (1 - 1e-9), 40001)
    bright = np.array([level_of(impact) >= 0.5 for impact in impacts])
    inner = impacts[np.flatnonzero(bright[:30000]).max()]
    outer = impacts[np.flatnonzero(~bright).max()]
    expected = seen_mm(outer) - seen_mm(inner)
    assert 4 < expected < 16
    found = QUESTIONS[17].answer(field).values
    assert found["field"] == ["field"]
    for side in ("left", "right"):
        # The mesh is round to 0.004 mm, rays are 0.01 mm apart.
        assert found[f"{side}_mm"]["value"] == pytest.approx(expected, abs=0.05)
    # 36 mm of sensor see 360 mm at the rod, less what focusing at 1 m takes: image distance 111.1 mm.
    pixel_mm = 36 / (1 / (1 / 100 - 1 / AWAY)) * AWAY / 6000
    assert found["left_px"]["value"] == pytest.approx(found["left_mm"]["value"] / pixel_mm, rel=1e-3)


def test_without_a_bright_field_there_is_no_dark_edge(study_of):
    with pytest.raises(Lacking, match="bright field"):
        QUESTIONS[17].answer(study_of(FIELD, {"cards": {}}))
