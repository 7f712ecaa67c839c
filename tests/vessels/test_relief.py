"""Cut, pressed, hammered, frosted and untrue glasses."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimcast.vessels.facets import Cut
from brimcast.vessels.finish import Finish, Frost, finish
from brimcast.vessels.label import Label, cut_label
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import check, united
from brimcast.vessels.outside import FinishError
from brimcast.vessels.relief import Flutes, Hammered, Rings, Wavy
from brimcast.vessels.surface import Surface

# Straight outside of 70 mm diameter, 90 mm high; base and wall thick enough to cut.
TUMBLER = vessel("tumbler", wall_mm=5, base_mm=15)
ROCKS = vessel("rocks", wall_mm=6)
DETAIL = 0.5

FINISHES = {
    "cut": (ROCKS, Finish(cut=Cut(8, 2.2, 12, 78))),
    "cut so deep that facets meet": (
        ROCKS,
        Finish(cut=Cut(8, 3.6, 22, 80, 30), frosts=(Frost(10, 50, 0.3),)),
    ),
    "flutes": (TUMBLER, Finish(reliefs=(Flutes(1.0, 12, 80, 18, 30),), frosts=(Frost(60, 85, 0.3),))),
    "ribs on a wavy wall": (
        TUMBLER,
        Finish(reliefs=(Flutes(0.8, 12, 60, 20, standing=True), Wavy(0.1, 20, 80))),
    ),
    "rings": (TUMBLER, Finish(reliefs=(Rings(0.8, 20, 60, 5),), tilt_deg=0.3, out_of_round_mm=0.4)),
    "hammered": (ROCKS, Finish(reliefs=(Hammered(0.3, 20, 80, 12.0),), frosts=(Frost(30, 40, 0.3),))),
    "rings under facets": (TUMBLER, Finish(cut=Cut(6, 1.0, 40, 80), reliefs=(Rings(0.8, 15, 35, 2),))),
    "frosted": (vessel("tasting"), Finish(frosts=(Frost(70, 90, 0.3), Frost(90, 95, 0.2)))),
}


def _segments(mesh, height_mm, axes=(0, 1), across=2):
    """Return the mesh's section with a plane across an axis, as segments; neighbours' ends are equal bits."""
    positions, faces = united(mesh)
    side = positions[:, across] - height_mm
    over = side[faces] > 0
    faces = np.sort(faces[over.any(axis=1) & ~over.all(axis=1)], axis=1)
    ends = []
    for a, b in ((0, 1), (1, 2), (0, 2)):
        low, high = faces[:, a], faces[:, b]
        share = side[low] / (side[low] - side[high] + (side[low] == side[high]))
        point = positions[low] + share[:, None] * (positions[high] - positions[low])
        ends.append(np.where(((side[low] > 0) != (side[high] > 0))[:, None], point[:, axes], np.nan))
    ends = np.stack(ends, axis=1)
    return ends[~np.isnan(ends[:, :, 0])].reshape(-1, 2, 2)


def _crossings(ends):
    """Return how many segments cut others away from their ends."""
    lines = shapely.linestrings(ends)
    i, j = shapely.STRtree(lines).query(lines, predicate="crosses")
    return len(i)


def _radii(mesh, height_mm):
    """Return azimuth angles and radii of the outside's section at a height."""
    ends = _segments(mesh, height_mm).reshape(-1, 2)
    radius = np.hypot(*ends.T)
    outer = radius > (radius.min() + radius.max()) / 2
    return np.arctan2(ends[outer, 1], ends[outer, 0]), radius[outer]


@pytest.mark.parametrize("name", FINISHES)
def test_finished_glass_is_a_sound_solid(solid_of, name):
    """Closed, outward, faces with area, one piece (manifold3d); sections level and upright cross nowhere."""
    glass, done = FINISHES[name]
    mesh = check(finish(glass, done, DETAIL).mesh)
    solid = solid_of(mesh)
    assert solid.genus() == 0 and len(solid.decompose()) == 1
    assert solid.volume() == pytest.approx(mesh.volume_mm3, rel=1e-9)
    for height in (13.123, 31.77, 47.31, 61.9, 78.71):
        assert _crossings(_segments(mesh, height)) == 0
    for middle in (0.0371, 25.313):
        assert _crossings(_segments(mesh, middle, axes=(1, 2), across=0)) == 0


@settings(max_examples=12, deadline=None)
@given(data=st.data())
def test_any_cut_makes_a_sound_solid_or_says_why_not(data):
    low = data.draw(st.floats(2, 50))
    cut = Cut(
        data.draw(st.integers(3, 30)), data.draw(st.floats(0.1, 6)), low, low + data.draw(st.floats(3, 50)),
        data.draw(st.floats(15, 70)),
    )  # fmt: skip
    frost = Frost(low + 1, low + 2, 0.2)
    try:
        made = finish(ROCKS, Finish(cut=cut, frosts=(frost,)), DETAIL)
    except FinishError as error:
        assert error.part == "cut"
        return
    check(made.mesh)
    assert made.vessel.thinnest_mm >= 0.3


def test_facets_are_flat_and_their_edges_sharp():
    """Each is one plane to rounding; where it meets the round wall the angle is acos(plane / radius)."""
    mesh = finish(TUMBLER, Finish(cut=Cut(8, 2.0, 20, 80)), DETAIL).mesh
    corners, normals = mesh.vertices_mm[mesh.faces], mesh.normals[mesh.faces]
    flat = [
        k
        for k in range(mesh.patches.max() + 1)
        if np.ptp(normals[mesh.patches == k].reshape(-1, 3), axis=0).max() == 0
    ]
    upright = []
    for patch in flat:
        points, normal = corners[mesh.patches == patch].reshape(-1, 3), normals[mesh.patches == patch][0, 0]
        assert np.ptp(points @ normal) < 1e-9
        if abs(normal[2]) < 1e-12:
            upright.append((points @ normal).mean())
    # 8 panels and 16 bevels; the underside of the hollow foot and the rim are round.
    assert len(flat) == 24
    assert upright == pytest.approx([33.0] * 8, abs=1e-9)
    edge_deg = np.degrees(np.arccos(33 / 35))
    _, radii = _radii(mesh, 50.0)
    assert radii.max() == pytest.approx(35, abs=0.008) and radii.min() == pytest.approx(33, abs=0.3)
    merged_edges = _sharp_angles(mesh, 50.0)
    assert merged_edges == pytest.approx([edge_deg] * 16, abs=1.0)


def _sharp_angles(mesh, height_mm):
    """Return the angles, degrees, between the normals at edges that a level crosses on the outside."""
    import trimesh

    positions, faces = united(mesh)
    body = trimesh.Trimesh(positions, faces, process=False)
    pairs, ends = body.face_adjacency, body.face_adjacency_edges
    z = positions[ends][:, :, 2]
    apart = mesh.patches[pairs[:, 0]] != mesh.patches[pairs[:, 1]]
    level = apart & (z.min(axis=1) < height_mm) & (z.max(axis=1) > height_mm)
    found = []
    for (a, b), end in zip(pairs[level], ends[level], strict=True):
        at = [mesh.normals[mesh.faces[f][list(faces[f]).index(end[0])]] for f in (a, b)]
        found.append(np.degrees(np.arccos(np.clip(at[0] @ at[1], -1, 1))))
    return found


def test_cut_section_has_the_area_of_a_disc_less_its_segments(solid_of):
    """Closed form: n segments of r^2 (w - sin w cos w), w the half angle; the inside stays a disc."""
    made = finish(TUMBLER, Finish(cut=Cut(8, 2.0, 20, 80)))
    w = np.arccos(33 / 35)
    area = np.pi * 35**2 - 8 * 35**2 * (w - np.sin(w) * np.cos(w)) - np.pi * 30**2
    assert solid_of(made.mesh).slice(50.0).area() == pytest.approx(area, abs=0.002 * 2 * np.pi * 65)
    assert made.vessel.thinnest_mm == pytest.approx(3.0, abs=1e-6)


def test_facets_that_meet_make_a_polygon(solid_of):
    """Eight planes 31.5 mm off the axis: an octagon of area 8 a^2 tan(pi / 8)."""
    made = finish(TUMBLER, Finish(cut=Cut(8, 3.5, 15, 80)))
    area = 8 * 31.5**2 * np.tan(np.pi / 8) - np.pi * 30**2
    assert solid_of(made.mesh).slice(50.0).area() == pytest.approx(area, abs=0.002 * 2 * np.pi * 30)


@pytest.mark.parametrize("name", ["flutes", "ribs on a wavy wall", "rings", "hammered"])
def test_normals_are_square_to_the_surface(name):
    """Against the cross product of central differences of the surface's own points."""
    glass, done = FINISHES[name]
    surface = Surface(glass, done.reliefs)
    low, high = surface.side.low_mm, surface.side.high_mm
    generator = np.random.default_rng(5)
    h = 1e-5
    for height in generator.uniform(low + 0.01, high - 0.01, 40):
        angles = generator.uniform(0, 2 * np.pi, 50)
        line = surface.line(height, angles)
        round_ = surface.line(height, angles + h).points_mm - surface.line(height, angles - h).points_mm
        upward = surface.line(height + h, angles).points_mm - surface.line(height - h, angles).points_mm
        cross = np.cross(round_, upward)
        cross /= np.linalg.norm(cross, axis=1, keepdims=True)
        assert np.abs(cross - line.normals).max() < 2e-6


@pytest.mark.parametrize("name", ["flutes", "hammered", "rings"])
def test_chords_lie_within_the_error_said(name):
    """Middles of the relief's edges against the surface; 0.002 mm at detail 1, four times that at 0.5."""
    glass, done = FINISHES[name]
    surface = Surface(glass, done.reliefs)
    mesh = finish(glass, Finish(reliefs=done.reliefs), DETAIL).mesh
    corners = mesh.vertices_mm[mesh.faces]
    z = corners[:, :, 2]
    outward = (mesh.normals[mesh.faces][:, :, :2] * corners[:, :, :2]).sum(axis=(1, 2)) > 0
    inside = outward & (z.min(axis=1) >= surface.side.low_mm) & (z.max(axis=1) <= surface.side.high_mm)
    middles = ((corners + np.roll(corners, 1, axis=1)) / 2)[inside].reshape(-1, 3)
    middles = np.random.default_rng(2).choice(middles, 20_000)
    angle, radius = np.arctan2(middles[:, 1], middles[:, 0]), np.hypot(middles[:, 0], middles[:, 1])
    depth, *_ = surface.depth(angle, surface.along(middles[:, 2]))
    assert np.abs(surface.side.at(middles[:, 2]).radius_mm - depth - radius).max() < 0.008


def test_inside_stays_as_it_is():
    """All vertices of the plain glass's inside are the finished one's too."""
    done = Finish(cut=Cut(6, 1.0, 40, 80), reliefs=(Rings(0.8, 15, 35, 2),))
    plain, made = TUMBLER.glass_mesh(DETAIL), finish(TUMBLER, done, DETAIL).mesh
    inner = plain.vertices_mm[(np.hypot(*plain.vertices_mm[:, :2].T) < 30.5) & (plain.vertices_mm[:, 2] > 10)]
    assert len(inner) > 1000
    assert {tuple(point) for point in inner} <= {tuple(point) for point in made.vertices_mm}


def test_flutes_are_as_many_as_deep_and_as_twisted_as_asked_for():
    """Ridges keep the calliper's diameter; a channel faces the camera; up it turns clockwise from above."""
    mesh = finish(TUMBLER, Finish(reliefs=(Flutes(1.0, 12, 80, 18, 30),)), 1.0).mesh
    deepest = []
    for height in (30.0, 60.0):
        angles, radii = _radii(mesh, height)
        order = np.argsort(angles)
        angles, radii = angles[order], radii[order]
        assert radii.max() == pytest.approx(35, abs=0.004) and radii.min() == pytest.approx(34, abs=0.004)
        low = radii < 34.5
        assert (low & ~np.roll(low, 1)).sum() == 18
        # Middle of the channel nearest the camera at the lower end: mean direction of the pattern's phase.
        deepest.append(np.angle(np.sum(np.exp(18j * angles) * (35 - radii))) / 18)
    turned_deg = np.degrees(deepest[1] - deepest[0])
    assert (turned_deg + 10) % 20 - 10 == pytest.approx(
        -30 * 30 / 68 + 20 * round(30 * 30 / 68 / 20), abs=0.05
    )
    straight = finish(TUMBLER, Finish(reliefs=(Flutes(1.0, 12, 80, 18),)), DETAIL).mesh
    angles, radii = _radii(straight, 50.0)
    facing = np.abs(angles + np.pi / 2) < np.radians(1)
    assert radii[facing].max() < 34.02


def test_rib_faces_the_camera_and_is_rounder_than_the_valley():
    mesh = finish(TUMBLER, Finish(reliefs=(Flutes(1.0, 12, 80, 18, standing=True),)), DETAIL).mesh
    angles, radii = _radii(mesh, 50.0)
    assert radii[np.abs(angles + np.pi / 2) < np.radians(1)].min() > 34.98
    assert np.mean(radii > 34.5) > 0.6


def test_rings_are_as_many_as_asked_for():
    mesh = finish(TUMBLER, Finish(reliefs=(Rings(0.8, 20, 60, 5),)), DETAIL).mesh
    section = _segments(mesh, 0.0371, axes=(1, 2), across=0).reshape(-1, 2)
    side = section[(section[:, 0] < -33) & (section[:, 1] > 15) & (section[:, 1] < 65)]
    side = side[np.argsort(side[:, 1])]
    low = -side[:, 0] < 35 - 0.7
    assert (np.diff(low.astype(int)) == 1).sum() == 5
    assert (-side[:, 0]).min() == pytest.approx(34.2, abs=0.01)


@pytest.mark.parametrize("kind", [Hammered, Wavy])
def test_random_relief_has_its_depth_and_scale_and_comes_again(kind):
    """Depth as asked for; along a level the surface goes through its middle about twice a scale."""
    relief = kind(0.3, 15, 80, 12.0, 4)
    surface = Surface(TUMBLER, (relief,))
    angles = np.linspace(0, 2 * np.pi, 1500)
    levels = np.array([surface.depth(angles, along)[0] for along in np.linspace(5, 60, 60)])
    assert levels.max() == pytest.approx(0.3, rel=0.03) and 0 <= levels.min() + 0.01 < 0.05
    crossings = np.mean([(np.diff(np.sign(row - row.mean())) != 0).sum() for row in levels])
    assert crossings == pytest.approx(2 * 2 * np.pi * 35 / 12, rel=0.4)
    same, other = Surface(TUMBLER, (relief,)), Surface(TUMBLER, (kind(0.3, 15, 80, 12.0, 5),))
    assert np.array_equal(same.depth(angles, 30.0)[0], surface.depth(angles, 30.0)[0])
    assert np.abs(other.depth(angles, 30.0)[0] - surface.depth(angles, 30.0)[0]).max() > 0.05


def test_glass_leans_with_its_foot_flat_and_is_oval():
    """The middle at a height moves by height x tan(tilt) to the camera's side; widths differ as asked for."""
    made = finish(TUMBLER, Finish(tilt_deg=0.3, out_of_round_mm=0.4), DETAIL)
    mesh = check(made.mesh)
    ends = _segments(mesh, 80.0).reshape(-1, 2)
    middle = (ends.max(axis=0) + ends.min(axis=0)) / 2
    assert middle == pytest.approx([0, -80 * np.tan(np.radians(0.3))], abs=1e-3)
    assert np.ptp(ends, axis=0) == pytest.approx([70.2, 69.8], abs=0.01)
    assert mesh.bounds_mm[0, 2] == 0 and mesh.bounds_mm[1, 2] == pytest.approx(90, abs=1e-6)
    plain = TUMBLER.glass_mesh(DETAIL).volume_mm3
    assert mesh.volume_mm3 == pytest.approx(plain, rel=1e-5)


def test_frosted_zone_is_rough_and_the_rest_polished():
    """The zone's area is the cylinder's, 2 pi r h, less what its facets lose; no vertex is of two zones."""
    mesh = finish(TUMBLER, Finish(frosts=(Frost(30, 50, 0.3),)), DETAIL).mesh
    rough = mesh.roughness[mesh.patches] > 0
    area = np.linalg.norm(mesh.crosses_mm2[rough], axis=1).sum() / 2
    assert area == pytest.approx(2 * np.pi * 35 * 20, rel=2e-3)
    assert set(mesh.roughness) == {0.0, 0.3}
    z = mesh.vertices_mm[mesh.faces[rough]][:, :, 2]
    assert z.min() == 30 and z.max() == 50
    assert not set(mesh.faces[rough].ravel()) & set(mesh.faces[~rough].ravel())


OVERLAPPING = Finish(frosts=(Frost(20, 40, 0.3), Frost(30, 50, 0.3)))
TOUCHING = Finish(cut=Cut(6, 1, 40, 80), reliefs=(Rings(0.5, 20, 40),))


@pytest.mark.parametrize(
    ("glass", "done", "part", "text"),
    [
        (TUMBLER, Finish(cut=Cut(8, 6, 20, 80)), "cut", r"cuts through the wall [\d.]+ mm above the table"),
        (TUMBLER, Finish(cut=Cut(8, 4.9, 20, 80)), "cut", r"leaves 0\.10 mm of wall .* allowed: 0\.3 mm or"),
        (TUMBLER, Finish(reliefs=(Rings(4.8, 20, 60, 2),)), "rings", r"leaves 0\.20 mm of wall"),
        (TUMBLER, Finish(cut=Cut(8, 2, 60, 95)), "cut", "below the rim, 90 mm"),
        (TUMBLER, Finish(cut=Cut(8, 2, 60, 50)), "cut", "'to' must lie above 'from'"),
        (
            TUMBLER,
            Finish(cut=Cut(8, 3, 20, 24)),
            "cut",
            r"no panel between the bevels; allowed: more than 6\.0",
        ),
        (TUMBLER, TOUCHING, "cut", "rings up to 40 mm; leave 0.5 mm or more"),
        (TUMBLER, OVERLAPPING, "frosted", "overlap from 30 mm to 40 mm"),
        (
            TUMBLER,
            Finish(reliefs=(Hammered(2.0, 15, 80, 1.0),)),
            "hammered",
            "vertices round the glass, more",
        ),
        (TUMBLER, Finish(out_of_round_mm=20), "out_of_round", "less than a fifth of the diameter, 70 mm"),
        (vessel("can"), Finish(cut=Cut(8, 0.1, 20, 80)), "cut", "a can is of sheet metal"),
    ],
)
def test_what_does_not_go_on_a_glass(glass, done, part, text):
    with pytest.raises(FinishError, match=text) as caught:
        finish(glass, done, DETAIL)
    assert caught.value.part == part


def test_label_lies_just_off_the_wall_and_reads_from_left_to_right():
    """A rectangle of 2 pi 35.05 / 3 by 30 mm on a straight wall; left of its middle is the camera's left."""
    sheet = cut_label(TUMBLER, Label(30, 60, (-60, 60)), detail=DETAIL)
    check(sheet.mesh, closed=False)
    assert sheet.size_mm == pytest.approx((2 * np.pi * 35.05 / 3, 30))
    assert np.hypot(*sheet.mesh.vertices_mm[:, :2].T) == pytest.approx(35.05, abs=1e-9)
    left, right = sheet.places_mm[:, 0] == 0, sheet.places_mm[:, 0] == sheet.size_mm[0]
    assert sheet.mesh.vertices_mm[left, 0].max() < -30 < 30 < sheet.mesh.vertices_mm[right, 0].min()
    assert sheet.mesh.vertices_mm[:, 1].max() < 0
    assert np.ptp(sheet.mesh.vertices_mm[sheet.places_mm[:, 1] == sheet.size_mm[1], 2]) == 0
    with pytest.raises(FinishError, match="lies on the rings"):
        cut_label(TUMBLER, Label(30, 60, (-60, 60)), Finish(reliefs=(Rings(0.5, 50, 70),)))
