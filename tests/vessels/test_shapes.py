"""The library's shapes: what they are, what may be asked of them, and that each is a sound solid."""

from functools import cache

import numpy as np
import pytest
import shapely

from brimcast.vessels.library import SHAPES, vessel
from brimcast.vessels.mesh import check, merged

# What the trade calls them; scene/setfile.md lists them too.
TRADE_NAMES = {
    "bottle", "can", "carafe", "collins", "copa", "coupe", "decanter", "flute", "highball", "hurricane",
    "pint", "rocks", "shot", "snifter", "tasting", "tulip", "tumbler", "v-cocktail",
}  # fmt: skip
plain = cache(vessel)
OPEN = [name for name, shape in SHAPES.items() if not shape.lid]
STEMMED = [name for name, shape in SHAPES.items() if shape.stem]
# ml; the imperial pint is 568.26125 ml by definition (Units of Measurement Regulations 1995, from memory);
# the others are common practice: what such a glass is sold to hold to the brim.
HOLDS_ML = {
    "pint": (568.26125, 620), "bottle": (750, 800), "can": (330, 360), "shot": (30, 70), "coupe": (150, 250),
    "v-cocktail": (150, 300), "flute": (150, 250), "copa": (550, 900), "highball": (300, 450),
    "collins": (300, 450), "rocks": (250, 400), "snifter": (300, 600), "hurricane": (400, 600),
    "carafe": (1000, 1150), "decanter": (1200, 2000), "tulip": (200, 400), "tumbler": (200, 350),
}  # fmt: skip


def _radius_mm(glass, point):
    """Return the outside's radius at a point of its shape, stretched to its height."""
    height_mm = SHAPES[glass.name].points[point][0] * glass.height_mm / SHAPES[glass.name].points[-1][0]
    return glass.outer.at(glass.outer.place_at_height(height_mm))[0][0]


def test_library_has_the_trades_shapes():
    assert set(SHAPES) == TRADE_NAMES


@pytest.mark.parametrize("name", SHAPES)
def test_mesh_is_the_surface_of_a_solid(name, sound_solid):
    """Watertight, outward, no face without area (check), no crossing (manifold3d), and the section's volume.

    Independent route for the volume: Pappus on shapely's section.
    """
    glass = plain(name)
    mesh = check(glass.glass_mesh(detail=0.4))
    sound_solid(mesh)
    section = shapely.Polygon(glass.section.points_mm)
    assert section.is_valid
    swept_mm3 = 2 * np.pi * section.centroid.x * section.area
    # Chord error 0.0125 mm on both sides of a wall.
    assert mesh.volume_mm3 == pytest.approx(swept_mm3, rel=0.0125 * 2 / max(glass.thinnest_mm, 0.8))
    assert mesh.bounds_mm[:, 2] == pytest.approx([0, glass.height_mm], abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("name", SHAPES)
def test_fine_mesh_is_sound_too(name, sound_solid):
    glass = plain(name)
    mesh = check(glass.glass_mesh())
    sound_solid(mesh)
    assert merged(mesh).is_volume
    section = shapely.Polygon(glass.section.points_mm)
    assert mesh.volume_mm3 == pytest.approx(2 * np.pi * section.centroid.x * section.area, rel=2e-3)
    assert 40_000 < len(mesh.faces) < 600_000


@pytest.mark.parametrize("name", HOLDS_ML)
def test_glass_holds_what_its_name_promises(name):
    low_ml, high_ml = HOLDS_ML[name]
    assert low_ml <= plain(name).capacity_ml() <= high_ml


def test_sizes_are_those_that_the_trade_uses():
    """Common practice: highball 70 x 150; rocks 80-90 x 85-100; flute 50-70 x 220; coupe rim 95-110; walls
    of fine stemware 0.8-1.2, of tumblers 2-4; bases 8-20; the thick base is the rocks glass's."""
    sizes = {name: (2 * plain(name).rim_radius_mm, plain(name).height_mm) for name in SHAPES}
    assert sizes["highball"] == (70, 150)
    assert 80 <= sizes["rocks"][0] <= 90 and 85 <= sizes["rocks"][1] <= 100
    assert 95 <= sizes["coupe"][0] <= 110 and abs(sizes["flute"][1] - 220) <= 5
    assert 50 <= SHAPES["flute"].points[SHAPES["flute"].anchors["diameter_mm"]][1] <= 70
    for name in ("tasting", "coupe", "flute", "tulip", "copa"):
        assert plain(name).thinnest_mm == pytest.approx(1.0, abs=0.2 + 1e-3)
    for name in ("tumbler", "highball", "rocks", "pint"):
        assert 2 - 1e-3 <= plain(name).thinnest_mm <= 4 and 8 <= plain(name).base_mm <= 20
    assert max(OPEN, key=lambda n: plain(n).base_mm if n not in STEMMED else 0) == "rocks"


@pytest.mark.parametrize(("name", "key"), [(n, key) for n in SHAPES for key in SHAPES[n].allowed])
def test_measure_asked_for_is_the_glasses(name, key):
    """Each measure alone: a diameter a twentieth less, the others a twentieth more."""
    shape, usual = SHAPES[name], plain(name)
    usual_mm = {"height_mm": usual.height_mm, "wall_mm": usual.thinnest_mm, "base_mm": usual.base_mm}
    usual_mm |= {anchor: shape.points[index][1] for anchor, index in shape.anchors.items()}
    asked = usual_mm[key] * (0.95 if key in shape.anchors else 1.05)
    glass = vessel(name, **{key: asked})
    seen = {
        "height_mm": glass.section.points_mm[:, 1].max(),
        "wall_mm": glass.thinnest_mm,
        "base_mm": glass.base_mm,
        "foot_diameter_mm": 2 * glass.foot_radius_mm,
        "rim_diameter_mm": 2 * glass.rim_radius_mm,
    }
    if key == "diameter_mm":
        # The round rim of a glass that is widest there takes up to the wall's slope off it.
        at_rim = shape.anchors[key] == len(shape.points) - 1
        seen[key] = 2 * (glass.rim_radius_mm if at_rim else _radius_mm(glass, shape.anchors[key]))
    assert seen[key] == pytest.approx(asked, abs=1e-3)


@pytest.mark.parametrize("name", STEMMED)
def test_stem_keeps_its_thickness_when_the_glass_grows(name):
    point = SHAPES[name].stem[0]
    wide = vessel(name, diameter_mm=1.3 * SHAPES[name].points[SHAPES[name].anchors["diameter_mm"]][1])
    assert 2 * _radius_mm(wide, point) == pytest.approx(SHAPES[name].points[point][1], abs=1e-6)


@pytest.mark.parametrize("name", ["bottle", "carafe", "decanter"])
def test_neck_is_narrower_than_body_and_drink_stands_in_both(name):
    glass = plain(name)
    radius, height = glass.outer.points_mm.T
    neck_mm = radius[height > 0.6 * glass.height_mm].min()
    assert neck_mm < 0.55 * radius.max()
    check(glass.drink_mesh(0.3 * glass.height_mm, detail=0.3))
    check(glass.drink_mesh(0.9 * glass.height_mm, detail=0.3))


def test_rocks_stands_on_a_base_thicker_than_its_wall_by_far():
    glass = plain("rocks")
    assert glass.base_mm > 5 * glass.thinnest_mm


def test_can_is_closed_of_sheet_and_takes_no_drink():
    """A closed solid for the renderer; the room inside is what the sheet leaves."""
    can = plain("can")
    assert can.closed and [v.closed for v in map(plain, OPEN)] == [False] * len(OPEN)
    assert can.outer.points_mm[-1, 0] == 0 and can.inner.points_mm[-1, 0] == 0
    top_mm = can.outer.points_mm[-1, 1]
    assert top_mm == pytest.approx(can.height_mm - SHAPES["can"].lid.depth_mm)
    gap = shapely.LineString(can.outer.points_mm).distance(shapely.LineString(can.inner.points_mm))
    assert gap == pytest.approx(SHAPES["can"].lid.sheet_mm, abs=2e-3)
    with pytest.raises(ValueError, match="a can is closed"):
        can.drink_mesh(60)


def test_straight_wall_is_straight_from_heel_to_rim():
    """A long face that began within a rounding would carry its slanting normal all along the wall."""
    mesh = plain("tumbler").glass_mesh()
    tall = np.ptp(mesh.vertices_mm[mesh.faces][:, :, 2], axis=1) > 20
    assert tall.sum() >= 4 * 48
    assert np.abs(mesh.normals[mesh.faces[tall]][:, :, 2]).max() < 1e-9
