"""A thin upright cylinder of glass full of water: where it focuses in plan, by the lamp's elevation.

In plan a medium of index n acts, for light that comes down at an elevation e, as if its index were
sqrt(n^2 - sin^2 e) / cos e: the part of the ray along the cylinder's axis goes through unchanged (Bravais).
The focus is by system matrices, by skew rays, and twice by optiland 0.6, a ray tracer for lens design: it is
told that index for its paraxial focus, and nothing of it where it traces real rays at that elevation.
"""

from functools import cache

import numpy as np
import pytest

RADIUS_MM, WALL_MM, INDEX = 50.0, 0.5, 1.5
STOP_MM = 10.0
CELL_MM = 0.5
WATER = 1.333403  # published_values.yaml#refractive_index/water_20C_lines, d

# Upright, its beam stopped to the axis by a slit before it. Tall enough for light to reach three radii.
UPRIGHT = """
brimcast: 1
table: {{size: [400 mm, 400 mm], reflectance: 0 %}}
props:
  wall: {{shape: ring, inside: 99 mm, wall: 0.5 mm, tall: {tall} mm, material: {{index: 1.5}}}}
  water: {{shape: rod, diameter: 99.1 mm, length: {water} mm, height: 1 mm, material: water}}
  stop: {{shape: plate, size: [300 mm, {plate} mm], opening: {{slit: [10 mm, {tall} mm]}}, at: [0 mm, 60 mm],
         tilt: 90 deg}}
lamps:
  far: {{throw: 100 m, diameter: 10 mm, elevation: {elevation} deg, azimuth: 180 deg, aim: [0 mm, 0 mm, 0 mm],
        colour: 587.6 nm}}
render: {{cell: 0.5 mm}}
"""
# Lying, under a lamp straight above: nothing of the light runs along the axis. Without a wall.
LYING = """
brimcast: 1
table: {{size: [400 mm, 400 mm], reflectance: 0 %}}
props:
  water: {{shape: rod, diameter: 100 mm, length: 200 mm, lying: true, height: {gap} mm, material: water}}
  stop: {{shape: plate, size: [150 mm, 300 mm], opening: {{slit: [10 mm, 198 mm]}}, height: {over} mm,
         turn: 90 deg}}
lamps:
  far: {{throw: 100 m, diameter: 10 mm, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm], colour: 587.6 nm}}
render: {{cell: 0.5 mm}}
"""


def in_plan(index, elevation_deg):
    """Index that a medium has in plan."""
    sine, cosine = np.sin(np.radians(elevation_deg)), np.cos(np.radians(elevation_deg))
    return np.sqrt(index**2 - sine**2) / cosine


def focus_by_matrices(elevation_deg, wall=0.0):
    """Paraxial focus from the axis, in radii, of water in a wall of glass; both matrices of a ray (y, u)."""
    air, glass, water = (in_plan(index, elevation_deg) for index in (1.0, INDEX, WATER))
    inside = 1 - wall
    faces = [(air, glass, 1.0), (glass, water, inside), (water, glass, -inside), (glass, air, -1.0)]
    system = np.eye(2)
    for (before, after, radius), way in zip(faces, (wall, 2 * inside, wall, 0.0), strict=True):
        bend = np.array([[1, 0], [-(after - before) / (after * radius), before / after]])
        system = np.array([[1, way], [0, 1]]) @ bend @ system
    height, slope = system @ [1.0, 0.0]
    return 1 - height / slope


def focus_by_tracing(elevation_deg, wall=0.0, height=1e-4):
    """Where a skew ray crosses the axis's plane, in radii in plan: vector refraction at each of the walls."""
    elevation = np.radians(elevation_deg)
    way, place = np.array([0, np.cos(elevation), -np.sin(elevation)]), np.array([height, -5.0, 0])
    indices = [1.0, INDEX, WATER, INDEX, 1.0]
    for k, radius in enumerate((1.0, 1 - wall, 1 - wall, 1.0)):
        flat, at = way[:2] @ way[:2], place[:2] @ way[:2]
        root = np.sqrt(at**2 - flat * (place[:2] @ place[:2] - radius**2))
        place = place + (-at + (root if k > 1 else -root)) / flat * way
        normal = np.array([*place[:2], 0]) / radius * (1 if k < 2 else -1)
        ratio, cosine = indices[k] / indices[k + 1], -way @ normal
        way = ratio * way + (ratio * cosine - np.sqrt(1 - ratio**2 * (1 - cosine**2))) * normal
    return place[1] - place[0] * way[1] / way[0]


def lens_of_water(wall, elevation_deg, index, **radii):
    """Return optiland's lens: its radii as given for a circle of radius 1, its media's indices by a rule."""
    from optiland.materials import IdealMaterial
    from optiland.optic import Optic

    glass, water = (IdealMaterial(n=float(index(n))) for n in (INDEX, WATER))
    inside = 1 - wall
    faces = [(inside, 2 * inside, water), (-inside, wall, glass if wall else "air")]
    if wall:
        faces = [(1.0, wall, glass), *faces, (-1.0, 0.0, "air")]
    lens = Optic()
    lens.surfaces.add(index=0, thickness=np.inf)
    for number, (radius, way, medium) in enumerate(faces, 1):
        bent = {key: radius if of == "radius" else of for key, of in radii.items()}
        lens.surfaces.add(index=number, thickness=way, material=medium, is_stop=number == 1, **bent)
    lens.surfaces.add(index=len(faces) + 1)
    lens.set_aperture("EPD", 2e-4)
    lens.fields.set_type("angle")
    lens.fields.add(y=elevation_deg)
    lens.wavelengths.add(0.5876, is_primary=True)
    return lens


@cache
def focus_by_optiland(elevation_deg, wall=0.0):
    """Paraxial focus from the axis, in radii, of a round lens whose media have their index in plan.

    The faces share their middle, where both principal planes therefore lie: the focal length is asked for.
    """
    lens = lens_of_water(wall, 0.0, lambda index: in_plan(index, elevation_deg), radius="radius")
    return float(np.ravel(lens.paraxial.f2())[0])


def focus_by_optilands_rays(elevation_deg, wall=0.0):
    """Where optiland's real ray, 1e-4 radii off the plane of the axis, crosses it; no index in plan in it."""
    lens = lens_of_water(
        wall, elevation_deg, float, surface_type="biconic", radius_x="radius", radius_y=np.inf
    )
    ray = lens.trace_generic(0.0, 1.0, 1.0, 0.0, 0.5876)
    x, z, across, along = (float(np.ravel(part)[0]) for part in (ray.x, ray.z, ray.L, ray.N))
    return z - x * along / across - 1


@pytest.mark.parametrize("wall", [0.0, 0.01])
def test_matrices_and_exact_rays_focus_where_an_independent_program_does(published, wall):
    """By optiland; a ray 1e-4 radii off crosses about 1e-8 radii nearer. Rounded 2.00, 1.67, 1.34, about 1.

    At 60 deg the focus lies inside the water: it is where the light behind comes from.
    """
    assert WATER == published["refractive_index"]["water_20C_lines"]["value"]["d"]
    for elevation in (0, 30, 45, 60):
        found = focus_by_optiland(elevation, wall)
        assert focus_by_optilands_rays(elevation, wall) == pytest.approx(found, abs=1e-7)
        assert focus_by_matrices(elevation, wall) == pytest.approx(found, abs=1e-9)
        assert focus_by_tracing(elevation, wall) == pytest.approx(found, abs=1e-7)
    rounded = [round(focus_by_optiland(elevation), 2) for elevation in (0, 30, 45, 60)]
    assert rounded == [2.00, 1.67, 1.34, 0.99]


def luminous(done):
    maps = done.maps
    return np.tensordot(maps["band_xyz"][:, 1], maps["far.refractive"], 1), maps["x_mm"], maps["y_mm"]


# The focus at 30 deg has rows of the map before and behind it.
@pytest.mark.parametrize(
    ("elevation", "tall"),
    [
        (30, 130),
        pytest.param(45, 220, marks=pytest.mark.slow),
        pytest.param(60, 380, marks=pytest.mark.slow),
    ],
)
def test_cylinder_of_water_focuses_where_it_should(compute, elevation, tall):
    """Before and behind the focus, light on the axis goes as 1 / |1 - D / f| with the distance D in plan.

    So its inverse, negative before the focus, is straight and crosses zero there, whatever the stop lets in.
    Rows nearer than 0.2 radii to the wall are left out, where light meets the cylinder's foot,
    and those where the beam is no wider than what is averaged.
    """
    focus = focus_by_optiland(elevation, WALL_MM / RADIUS_MM)
    text = UPRIGHT.format(elevation=elevation, tall=tall, water=tall - 2, plate=tall + 2)
    points = []
    for seed in (1, 2):
        light, x, y = luminous(compute(text, changes={"render.seed": seed}, quality="proof"))
        distance = -y / RADIUS_MM
        rows = (distance > 1.2) & (distance < 2.9) & (np.abs(distance / focus - 1) > 0.25)
        points.append((distance[rows], light[rows][:, np.abs(x) < 0.6].mean(axis=1)))
    distance, found = np.concatenate(points, axis=1)
    inverse = np.sign(distance - focus) / found
    (slope, start), spread = np.polyfit(distance, inverse, 1, w=found, cov=True)
    # Error of -start / slope, the two hanging together as the fit says.
    parts = np.array([start / slope**2, -1 / slope])
    error = float(np.sqrt(parts @ spread @ parts))
    assert error < 0.01
    # Rays 0.06 radii from the axis, the farthest that are averaged, cross it 0.003 radii nearer.
    assert -start / slope == pytest.approx(focus, abs=0.003 + 3 * error)


def test_lying_cylinder_of_water_focuses_at_its_own_index(compute):
    """Elevation 0: cards 1.4 and 2.7 radii from the axis, before and behind the focus at two radii."""
    focus = focus_by_optiland(0)
    cards, inverse = (1.4, 2.7), []
    for distance in cards:
        gap = (distance - 1) * RADIUS_MM
        light, x, y = luminous(compute(LYING.format(gap=gap, over=gap + 2 * RADIUS_MM + 5)))
        inverse.append(1 / light[np.abs(y) < 0.6][:, np.abs(x) < 60].mean())
    crossing = cards[0] + (cards[1] - cards[0]) * inverse[0] / sum(inverse)
    assert crossing == pytest.approx(focus, abs=0.01)
