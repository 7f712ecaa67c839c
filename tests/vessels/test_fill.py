"""The drink's body: volume, level, and how it lies in the glass."""

import manifold3d
import numpy as np
import pytest

from brimcast.vessels.fill import Fineness, capacity_ml, fill, fill_height_for_ml
from brimcast.vessels.lathe import sections_for, turn
from brimcast.vessels.library import SHAPES, vessel
from brimcast.vessels.meniscus import Wetting
from brimcast.vessels.mesh import check
from brimcast.vessels.outline import arc, joined, line, thinned


def _closed_to_axis(outline):
    return joined([outline, line(outline.points_mm[-1], (0.0, outline.points_mm[-1, 1]))])


def test_capacity_of_a_frustum_is_the_published_volume(published):
    """published_values.yaml#vessel_geometry/frustum"""
    entry = published["vessel_geometry"]["frustum"]
    value = entry["value"]
    inside = joined([line((0, 5), (value["r"], 5)), line((value["r"], 5), (value["R"], 5 + value["h"]))])
    assert capacity_ml(inside) == pytest.approx(value["volume_ml"], abs=entry["tolerance"])


def test_capacity_of_a_round_bowl_is_the_published_cap(published):
    """published_values.yaml#vessel_geometry/spherical_cap"""
    entry = published["vessel_geometry"]["spherical_cap"]
    bowl = arc((0, entry["value"]["R"]), entry["value"]["R"], -90, 0)
    held = capacity_ml(bowl, entry["value"]["h"])
    assert held == pytest.approx(entry["value"]["volume_ml"], abs=entry["tolerance"])


@pytest.mark.parametrize("share", [0.001, 0.2, 0.5, 0.97, 1.0])
def test_height_for_a_volume_undoes_the_volume_for_a_height(share):
    glass = vessel("tasting")
    volume_ml = share * glass.capacity_ml()
    assert glass.capacity_ml(glass.fill_height_for_ml(volume_ml)) == pytest.approx(volume_ml, rel=1e-8)


def test_volume_in_a_straight_glass_rises_by_its_cross_section():
    """Above the fillet a tumbler of 65 mm inside takes pi 32.5^2 mm3 per mm."""
    glass = vessel("tumbler")
    risen_ml = glass.capacity_ml(60) - glass.capacity_ml(40)
    assert risen_ml == pytest.approx(np.pi * 32.5**2 * 20 / 1000, rel=1e-9)


OPEN = [name for name, shape in SHAPES.items() if not shape.lid]
FINE = [pytest.param(name, 1.0, 0.6, marks=pytest.mark.slow) for name in OPEN]


@pytest.mark.parametrize(
    ("name", "detail", "share"),
    [(name, 0.3, "brim") for name in OPEN] + [(name, 0.3, 0.03) for name in ("rocks", "tasting")] + FINE,
)
def test_drink_lies_in_the_glass_without_leak_or_gap(solid_of, name, detail, share):
    """Booleans by manifold3d: no drink outside the outer surface, no part of the inside without drink."""
    glass = vessel(name)
    depth_mm = glass.height_mm - glass.base_mm
    level_mm = glass.height_mm - 0.2 if share == "brim" else glass.base_mm + share * depth_mm
    drink = check(glass.drink_mesh(level_mm, detail))
    error_mm = 0.002 / detail**2
    sections = sections_for(glass.section.points_mm[:, 0].max(), error_mm)
    outer = thinned(glass.outer, error_mm, min(3 / detail, 8))
    hull = solid_of(turn(_closed_to_axis(outer), sections))
    inside = glass.inner.cut(0, glass.inner.place_at_height(level_mm, last=False))
    room = solid_of(turn(_closed_to_axis(thinned(inside, 1e-4)), sections))
    body = solid_of(drink)
    assert (body - hull).volume() < 1e-6 * body.volume()
    assert (room - body).volume() < 1e-6 * body.volume()
    assert drink.bounds_mm[1, 2] == pytest.approx(level_mm, abs=1e-9)


def test_drink_reaches_into_the_glass_by_the_overlap():
    glass = vessel("tumbler")
    drink = glass.drink_mesh(60)
    assert drink.bounds_mm[1, 0] == pytest.approx(32.5 + 0.05, abs=1e-9)
    assert drink.bounds_mm[0, 2] == pytest.approx(10 - 0.05, abs=1e-9)


def test_overlap_stays_a_quarter_of_a_thin_wall():
    thin = vessel("tumbler", wall_mm=0.12)
    assert thin.drink_mesh(60).bounds_mm[1, 0] == pytest.approx(35 - 0.12 + 0.03, abs=1e-6)


def test_surface_is_flat_and_a_patch_of_its_own():
    drink = vessel("highball").drink_mesh(100)
    top = drink.faces[drink.patches == drink.patches.max()]
    assert (drink.vertices_mm[top, 2] == 100).all() and (drink.normals[top] == [0, 0, 1]).all()
    below = drink.faces[drink.patches < drink.patches.max()]
    assert drink.normals[below, 2].max() < 0.1


def test_body_without_overlap_holds_the_capacity():
    """The mesh's volume against the integral, facets taken out: 512 lose 2.5e-5."""
    inside = vessel("rocks").inner
    mesh = fill(inside, 70, Fineness(0.0, (1e-4, 1.0), 512))
    share = 512 / (2 * np.pi) * np.sin(2 * np.pi / 512)
    assert mesh.volume_mm3 / share / 1000 == pytest.approx(capacity_ml(inside, 70), rel=5e-6)


def test_levels_and_volumes_out_of_reach_are_named():
    glass = vessel("tumbler")
    for level_mm in (10, 9, 90, 95):
        with pytest.raises(ValueError, match=f"fill height {level_mm} mm"):
            glass.drink_mesh(level_mm)
    with pytest.raises(ValueError, match="the inside goes from 10 to 90 mm"):
        glass.capacity_ml(91)
    with pytest.raises(ValueError, match="the glass holds 26"):
        fill_height_for_ml(glass.inner, 500)


@pytest.mark.parametrize("name", ["tumbler", "tasting", "v-cocktail"])
@pytest.mark.parametrize("share", [0.03, 0.4, 0.985])
def test_body_that_climbs_the_wall_is_closed_and_stays_in_the_glass(solid_of, name, share):
    glass = vessel(name)
    level_mm = glass.base_mm + share * (glass.height_mm - glass.base_mm)
    drink = check(glass.drink_mesh(level_mm, 0.4, wetting=Wetting(2.72, 20)))
    outer = thinned(glass.outer, 0.002 / 0.4**2, 8)
    sections = sections_for(glass.section.points_mm[:, 0].max(), 0.002 / 0.4**2)
    hull, body = solid_of(turn(_closed_to_axis(outer), sections)), solid_of(drink)
    assert (body - hull).volume() < 1e-6 * body.volume()
    assert drink.bounds_mm[1, 2] < glass.height_mm
    # All that a flat surface would hold is there.
    flat = solid_of(glass.drink_mesh(level_mm, 0.4))
    assert (flat - body).volume() < 1e-3 * flat.volume()


def test_layers_reach_into_one_another_and_make_up_the_drink(solid_of):
    glass = vessel("tasting")
    levels = [None, 75.0, 80.0, 100.0]
    layers = [
        check(glass.drink_mesh(high, 0.4, from_mm=low and low - 0.1, layer=number))
        for number, (low, high) in enumerate(zip(levels[:-1], levels[1:], strict=True))
    ]
    whole = solid_of(glass.drink_mesh(100.0, 0.4))
    union = manifold3d.Manifold.batch_boolean([solid_of(layer) for layer in layers], manifold3d.OpType.Add)
    assert union.volume() == pytest.approx(whole.volume(), rel=1e-3)
    for low, high in zip(layers[:-1], layers[1:], strict=True):
        lap = solid_of(low) ^ solid_of(high)
        depth_mm = lap.volume() / (np.pi * low.bounds_mm[1, 0] ** 2)
        assert 0 < depth_mm < 0.12
        # No face is shared: the lower ends a tenth of a millimetre above where the upper begins.
        assert low.bounds_mm[1, 2] - high.bounds_mm[0, 2] == pytest.approx(0.1)


def test_layers_reach_into_the_glass_by_turns_more_and_less():
    """Where two lap, their walls would else be one face, which a ray can cross once or twice."""
    glass = vessel("tumbler")
    reach = [glass.drink_mesh(60.0, from_mm=40.0, layer=number).bounds_mm[1, 0] - 32.5 for number in range(3)]
    assert reach == pytest.approx([0.05, 0.03, 0.05], abs=1e-9)


def test_surface_that_climbs_ends_square_to_the_glass():
    """A wedge as thin as a ray's new start (`renders.interfaces.STEP_OFF_MM`, 1e-3 mm) would lose light."""
    glass = vessel("tumbler")
    drink = glass.drink_mesh(60.0, wetting=Wetting(2.72, 20))
    radius = np.hypot(*drink.vertices_mm[:, :2].T)
    top_mm = drink.bounds_mm[1, 2]
    ends = np.unique(np.round(radius[drink.vertices_mm[:, 2] > top_mm - 1e-9], 6))
    # Level from 0.02 mm before the wall to 0.05 mm in it.
    assert ends == pytest.approx([32.48, 32.55], abs=1e-5)


@pytest.mark.parametrize(("height_mm", "dome_mm"), [(12.0, 0.0), (12.0, 3.0), (40.0, 12.0)])
def test_head_is_a_cylinder_and_a_cap(height_mm, dome_mm):
    """In an upright glass: pi R^2 h and the cap of published_values.yaml#vessel_geometry/spherical_cap."""
    glass = vessel("tumbler")
    head = check(glass.head_mesh(60.0, height_mm, dome_mm))
    radius_mm = 32.53
    upright = np.pi * radius_mm**2 * (height_mm - dome_mm + 0.1)
    cap = np.pi * dome_mm / 6 * (3 * radius_mm**2 + dome_mm**2)
    assert head.volume_mm3 == pytest.approx(upright + cap, rel=2e-3)
    assert head.bounds_mm[:, 2] == pytest.approx([59.9, 60 + height_mm])


def test_head_that_would_run_over_is_refused():
    glass = vessel("tumbler")
    with pytest.raises(ValueError, match="its edge would stand 3.1 mm over the rim"):
        glass.head_mesh(60.0, 35.0, 2.0)
    with pytest.raises(ValueError, match="more than a half ball; allowed: up to 32.5 mm"):
        glass.head_mesh(60.0, 36.0, 34.0)
