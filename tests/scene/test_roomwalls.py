"""Walls that throw light: where they are, which side counts, and what they would shut out."""

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.bodies import list_bodies
from brimcast.scene.builder import build
from brimcast.scene.clashes import check_set
from brimcast.scene.readings import at_glass, read_lamp

ROOM = "room: {table_height: 750 mm, ceiling: 2.6 m, walls: {behind: 2 m, left: 1.8 m}, reflectance: %s}\n"


def made(room, lamp="throw: 1.2 m", more="", brim="brimcast: 1\n"):
    return build(setfile.parse(f"{brim}lamps: {{key: {{{lamp}}}}}\n{room}{more}"))


def walls_of(built):
    return {panel.name: panel for panel in built.panels if built.sheets.get(panel.name) == "room"}


def test_known_sides_make_a_box_open_elsewhere():
    """Unknown sides count as 3 m away: right and front; what is known ends where the others stand."""
    walls = walls_of(made(ROOM % "{walls: 60 %, ceiling: 80 %, floor: 20 %}"))
    low, high = [-1800, -3000, -750], [3000, 2000, 1850]
    bounds = {
        "room wall behind": [[low[0], high[1], low[2]], high],
        "room wall left": [low, [low[0], high[1], high[2]]],
        "room ceiling": [[low[0], low[1], high[2]], high],
        "room floor": [low, [high[0], high[1], low[2]]],
    }
    assert set(walls) == set(bounds)
    for name, box in bounds.items():
        assert walls[name].mesh.bounds_mm == pytest.approx(np.array(box))
    middle = np.array([0, 0, 500])
    for name, share in (("wall behind", 0.6), ("wall left", 0.6), ("ceiling", 0.8), ("floor", 0.2)):
        wall = walls[f"room {name}"]
        assert wall.front == pytest.approx(np.full(16, share)) and not wall.back.any()
        # The front looks inward, and the map starts at its corner.
        assert (middle - wall.corner_mm) @ wall.normal > 0
        assert wall.mesh.normals == pytest.approx(np.tile(wall.normal, (4, 1)))
        assert wall.places_mm.min(axis=0) == pytest.approx([0, 0], abs=1e-9)
        assert wall.places_mm.max(axis=0) == pytest.approx(wall.size_mm)


def test_one_share_is_for_all_that_is_known():
    assert set(walls_of(made("room: {walls: {right: 2 m}, reflectance: 50 %}\n"))) == {
        "room wall right",
        "room floor",
    }


def test_room_without_reflectance_casts_no_light():
    assert walls_of(made("room: {ceiling: 2.6 m, walls: {behind: 2 m}}\n")) == {}


def test_walls_are_no_things_in_the_way_and_keep_no_lamp_off():
    room = ROOM % "60 %"
    clad, plain = made(room), made(room.replace(", reflectance: 60 %", ""))
    assert len(list_bodies(clad)) == len(list_bodies(plain))
    assert [check.text for check in check_set(clad)] == [check.text for check in check_set(plain)]
    light = [read_lamp(built, built.lamps[0], at_glass(built)) for built in (clad, plain)]
    assert light[0] == pytest.approx(light[1])


@pytest.mark.parametrize(
    ("lamp", "more", "key", "text"),
    [
        ("throw: 3 m, azimuth: 90 deg", "", "lamps.key.throw", "beyond the wall on the left"),
        ("throw: 2.5 m, elevation: 80 deg", "", "lamps.key.throw", "beyond the ceiling"),
        # From the datum 35 deg up it meets the wall behind 1.4 m over the table, the ceiling being at 1.85 m.
        ("kind: sun, azimuth: 180 deg", "", "lamps.key", "the wall behind would keep the sun's light out"),
        ("kind: sun, elevation: 60 deg, azimuth: 0 deg", "", "lamps.key", "the ceiling would keep"),
        ("kind: sky", "", "lamps.key", "the ceiling would keep the sky's light out"),
        ("{}", "camera: {azimuth: 90 deg, distance: 2 m}", "camera", "the lens stands"),
    ],
)
def test_what_stands_beyond_a_wall_is_a_fault(only_fault, lamp, more, key, text):
    fault = only_fault(lambda: made(ROOM % "60 %", lamp if lamp != "{}" else "throw: 1.2 m", more))
    assert fault.key == key and text in fault.text


def test_sun_comes_in_where_no_wall_is():
    built = made(ROOM % "60 %", "kind: sun, azimuth: 300 deg, elevation: 20 deg")
    assert built.lamps[0].word == "sun" and walls_of(built)


def test_wall_that_is_only_measured_shuts_nothing_out():
    built = made("room: {walls: {left: 1 m}}\n", "throw: 3 m, azimuth: 90 deg")
    assert not walls_of(built) and built.lamps[0].centre_mm[0] < built.room.walls_mm["left"]
