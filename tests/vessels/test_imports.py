"""Meshes from other programs, made with trimesh."""

import re

import numpy as np
import pytest
import trimesh

from brimcast.shared.errors import PersonError
from brimcast.vessels.export import export_mesh
from brimcast.vessels.imports import Import, import_mesh, smooth_mesh
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import check, merged

MM = Import(unit="mm")


@pytest.fixture
def save(tmp_path):
    """Return a function that writes a mesh by its ending and returns the path."""

    def write(mesh, ending="stl"):
        path = tmp_path / f"glass.{ending}"
        mesh.export(path)
        return path

    return write


def cylinder(radius_mm=30.0, height_mm=80.0, sections=64):
    return trimesh.creation.cylinder(radius_mm, height_mm, sections=sections)


def without(mesh, *faces):
    return trimesh.Trimesh(mesh.vertices, np.delete(mesh.faces, faces, axis=0), process=False)


def refusal(path, ask=MM):
    with pytest.raises(PersonError) as caught:
        import_mesh(path, ask)
    (fault,) = caught.value.faults
    assert fault.file == str(path) and "\n" not in str(fault)
    return fault.text


@pytest.mark.parametrize("ending", ["stl", "ply", "obj", "glb"])
def test_exported_glass_comes_back(ending, tmp_path):
    """Through every format: volume to 1e-5, size, and normals within the turn of a facet."""
    glass = vessel("rocks")
    exact = glass.glass_mesh(0.5)
    export_mesh(exact, tmp_path / f"rocks.{ending}")
    ask = Import() if ending == "glb" else MM
    found = import_mesh(tmp_path / f"rocks.{ending}", ask)
    assert found.mesh.volume_mm3 == pytest.approx(exact.volume_mm3, rel=1e-5)
    assert found.mesh.bounds_mm == pytest.approx(exact.bounds_mm, abs=1e-3)
    assert found.height_mm == pytest.approx(92.0, abs=1e-3)
    assert found.rim_radius_mm == pytest.approx(42.5, abs=0.5)
    assert merged(check(found.mesh, normals_within_deg=15)).is_volume


@pytest.mark.parametrize(
    ("ask", "scale"),
    [
        (Import(unit="mm"), 1.0),
        (Import(unit="cm"), 0.1),
        (Import(unit="in"), 1 / 25.4),
        (Import(unit="m"), 1e-3),
        (Import(height_mm=80.0), 17.0),
        (Import(unit="cm", height_mm=80.0), 17.0),
    ],
)
def test_scale_is_by_unit_or_height(ask, scale, save):
    found = import_mesh(save(trimesh.Trimesh(cylinder().vertices * scale, cylinder().faces)), ask)
    assert found.height_mm == pytest.approx(80.0, rel=1e-6)
    assert found.foot_radius_mm == pytest.approx(30.0, rel=1e-6)
    # n / 2 sin(2 pi / n) of a circle's area.
    area = 64 / 2 * np.sin(2 * np.pi / 64) * 30**2
    assert found.mesh.volume_mm3 == pytest.approx(area * 80, rel=1e-6)


def test_glass_is_stood_on_the_table_upright_and_over_the_datum(save):
    """A cone lying along y, far off; its foot's middle comes to the datum, its tip up."""
    cone = trimesh.creation.cone(30, 60, sections=48)
    cone.apply_transform(trimesh.transformations.rotation_matrix(-np.pi / 2, [1, 0, 0]))
    cone.apply_translation([500, 70, -20])
    found = import_mesh(save(cone), Import(unit="mm", up="y"))
    low, high = found.mesh.bounds_mm
    assert low == pytest.approx([-30, -30, 0], abs=1e-4) and high == pytest.approx([30, 30, 60], abs=1e-4)
    assert found.mesh.vertices_mm[found.mesh.vertices_mm[:, 2] > 59, :2] == pytest.approx(0.0, abs=1e-4)
    assert found.mesh.volume_mm3 > 0


def test_edges_of_a_cylinder_stay_sharp_and_its_side_is_smooth(save):
    mesh = import_mesh(save(cylinder()), MM).mesh
    assert mesh.patches.max() == 2
    upright = np.abs(mesh.normals[:, 2]) < 1e-6
    radial = mesh.vertices_mm[upright, :2] / 30.0
    assert mesh.normals[upright, :2] == pytest.approx(radial, abs=1e-4)
    assert np.abs(mesh.normals[~upright, 2]) == pytest.approx(1.0, abs=1e-6)
    assert len(mesh.vertices_mm) == 2 * 64 + 2 * 65


def test_normals_of_a_ball_are_its_radii():
    ball = trimesh.creation.icosphere(4, 30.0)
    mesh, turn_deg = smooth_mesh(ball.vertices, ball.faces)
    assert mesh.patches.max() == 0 and turn_deg < 5
    off = np.degrees(np.arccos(np.clip((mesh.normals * mesh.vertices_mm / 30).sum(axis=1), -1, 1)))
    assert off.max() < 0.3


def test_sharpness_is_a_choice():
    """A prism of 12 sides turns by 30 deg at each edge."""
    prism = cylinder(sections=12)
    smooth, turn_deg = smooth_mesh(prism.vertices, prism.faces, 31.0)
    assert smooth.patches.max() == 2 and turn_deg == pytest.approx(30.0, abs=1e-6)
    faceted, _ = smooth_mesh(prism.vertices, prism.faces, 29.0)
    assert faceted.patches.max() + 1 == 12 + 2


def test_tip_of_a_cone_keeps_the_normals_of_its_faces(save):
    mesh = import_mesh(save(trimesh.creation.cone(30, 60, sections=48)), MM).mesh
    tip = mesh.vertices_mm[:, 2] > 59.9
    assert tip.sum() == 48
    # A cone's normals lean up by atan(r / h).
    assert mesh.normals[tip, 2] == pytest.approx(np.sin(np.arctan2(30, 60)), abs=2e-3)


def test_coarse_mesh_is_told(save):
    assert any("coarse" in note for note in import_mesh(save(cylinder(sections=16)), MM).notes)
    assert import_mesh(save(cylinder(sections=64)), MM).notes == ()


def test_hole_is_refused_with_its_place_and_size(save):
    """A face of the upper cap: 30 mm from its middle out to the edge."""
    solid = cylinder()
    capped = np.flatnonzero((solid.vertices[solid.faces][:, :, 2] > 39).all(axis=1))
    face = capped[0]
    corners = solid.vertices[solid.faces[face]] + [0, 0, 40]
    middle, size = (corners.min(axis=0) + corners.max(axis=0)) / 2, np.ptp(corners, axis=0).max()
    text = refusal(save(without(solid, face)))
    assert f"a hole {size:.1f} mm across at [{middle[0]:.1f}, {middle[1]:.1f}, {middle[2]:.1f}] mm" in text
    assert "repair" not in text


def test_several_holes_are_told_the_largest_first(save):
    ball = trimesh.creation.icosphere(3, 40.0)
    top, low = ball.triangles_center[:, 2].argmax(), ball.triangles_center[:, 2].argmin()
    near = np.flatnonzero(np.linalg.norm(ball.triangles_center - ball.triangles_center[top], axis=1) < 9)
    text = refusal(save(without(ball, *near, low)))
    sizes = [float(size) for size in re.findall(r"([\d.]+) mm across at", text)]
    heights = [float(z) for z in re.findall(r", ([\d.]+)\] mm", text)]
    assert "2 holes, the largest" in text and sizes[0] > 2 * sizes[1]
    assert heights == pytest.approx([80, 0], abs=3)


def test_small_holes_are_mended_when_asked(save):
    ball = trimesh.creation.icosphere(3, 40.0)
    path = save(without(ball, 5, 77, 78))
    assert "--repair" in refusal(path) and "small holes were closed" in refusal(path)
    found = import_mesh(path, Import(unit="mm", repair=True))
    assert merged(found.mesh).is_volume
    assert found.mesh.volume_mm3 == pytest.approx(ball.volume, rel=2e-3)
    assert any("small holes were closed" in note for note in found.notes)


def test_open_mouth_is_never_closed(save):
    """A single sheet without thickness: its mouth is no small hole."""
    solid = cylinder()
    lid = np.flatnonzero((solid.vertices[solid.faces][:, :, 2] > 39).all(axis=1))
    path = save(without(solid, *lid))
    for ask in (MM, Import(unit="mm", repair=True)):
        assert "a hole 60.0 mm across at [0.0, 0.0, 80.0] mm" in refusal(path, ask)


def test_turned_faces_are_told_and_mended(save):
    solid = cylinder()
    faces = solid.faces.copy()
    faces[[3, 40, 41, 90]] = faces[[3, 40, 41, 90]][:, ::-1]
    path = save(trimesh.Trimesh(solid.vertices, faces, process=False))
    assert "turned different ways" in refusal(path)
    found = import_mesh(path, Import(unit="mm", repair=True))
    assert found.mesh.volume_mm3 == pytest.approx(solid.volume, rel=1e-6)
    assert "4 faces were turned round" in found.notes


def test_inside_out_mesh_is_told_and_mended(save):
    solid = cylinder()
    path = save(trimesh.Trimesh(solid.vertices, solid.faces[:, ::-1], process=False))
    assert "its faces look inward" in refusal(path)
    found = import_mesh(path, Import(unit="mm", repair=True))
    assert found.mesh.volume_mm3 == pytest.approx(solid.volume, rel=1e-6)


def test_hollow_inside_the_glass_is_kept(save):
    """A bubble looks inward and takes its volume away."""
    bubble = trimesh.creation.icosphere(3, 5.0)
    inner = trimesh.Trimesh(bubble.vertices, bubble.faces[:, ::-1], process=False)
    found = import_mesh(save(trimesh.util.concatenate([cylinder(), inner])), MM)
    assert found.mesh.volume_mm3 == pytest.approx(cylinder().volume - bubble.volume, rel=1e-6)


def test_edge_with_three_faces_is_refused(save):
    solid = cylinder()
    a, b, _ = solid.faces[0]
    extra = np.vstack([solid.vertices, [0, 0, 0]])
    faces = np.vstack([solid.faces, [a, b, len(solid.vertices)]])
    assert "more than two faces" in refusal(save(trimesh.Trimesh(extra, faces, process=False), "ply"))


def test_faces_without_area_are_told_and_taken_out(save):
    box = trimesh.creation.box((40, 40, 80))
    a, b, c = box.faces[0]
    middle = len(box.vertices)
    vertices = np.vstack([box.vertices, (box.vertices[a] + box.vertices[b]) / 2])
    faces = np.vstack([box.faces[1:], [a, middle, c], [middle, b, c], [a, b, middle]])
    path = save(trimesh.Trimesh(vertices, faces, process=False))
    assert "1 faces have no area" in refusal(path)
    found = import_mesh(path, Import(unit="mm", repair=True))
    assert found.mesh.volume_mm3 == pytest.approx(40 * 40 * 80)
    check(found.mesh)


def test_mesh_cannot_be_filled(save):
    glass = import_mesh(save(cylinder()), MM)
    for pour in (glass.capacity_ml, lambda: glass.drink_mesh(50.0), lambda: glass.fill_height_for_ml(100)):
        with pytest.raises(ValueError, match="cannot be filled.*outline or a drawing"):
            pour()
    assert glass.glass_mesh(0.5) is glass.mesh


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (Import(), "no unit: it is 80 tall; give the unit"),
        (Import(unit="m"), "no glass is; check its unit"),
        (Import(height_mm=3.0), "no glass is"),
    ],
)
def test_scale_that_cannot_be_is_refused(ask, words, save):
    assert words in refusal(save(cylinder()), ask)


def test_files_that_are_no_mesh_are_refused(tmp_path):
    for name, content, words in (
        ("a.stl", b"garbage", "holds no triangles|no valid STL"),
        ("b.ply", b"garbage", "no valid PLY"),
        ("c.glb", b"garbage", "no valid GLB"),
        ("d.obj", b"v 0 0 0\n", "holds no triangles|no valid OBJ"),
        ("e.fbx", b"", "allowed: .ply, .obj, .stl, .glb"),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(PersonError, match=words):
            import_mesh(tmp_path / name, MM)
    with pytest.raises(PersonError, match="no such file"):
        import_mesh(tmp_path / "none.stl", MM)
