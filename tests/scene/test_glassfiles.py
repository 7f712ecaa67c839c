"""Glasses that a set file names by measures, drawings, vessel files and meshes."""

import pytest
import trimesh

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.pieces import choose_vessel
from brimcast.scene.setfile import digest
from brimcast.shared.errors import PersonError
from brimcast.vessels.mesh import check

OUTLINE = "outline: [[0 mm, 60 mm], [80 mm, 66 mm], [150 mm, 70 mm]]"


def own(more):
    """Return a measured vessel with further keys."""
    return "{" + OUTLINE + ", " + more + "}"


@pytest.fixture
def read(tmp_path):
    """Return a function that reads a set with a hero of some vessel, from a file in a folder of its own."""

    def read_set(vessel):
        path = tmp_path / "set.yaml"
        text = "brimcast: 1\nglasses:\n  hero: {vessel: " + vessel + "}\nlamps: {key: {}}\n"
        path.write_text(text, encoding="utf-8")
        return setfile.read(path)

    return read_set


@pytest.fixture
def beside(tmp_path):
    """Return a function that writes a text file next to the set."""
    return lambda name, text: (tmp_path / name).write_text(text, encoding="utf-8")


def only_fault(set_file):
    with pytest.raises(PersonError) as caught:
        choose_vessel(set_file, "hero")
    (fault,) = caught.value.faults
    return fault


def test_all_measures_of_a_glass_can_stand_in_the_set(read):
    sides = "corners: {2: 3 mm}, wall: [[30 mm, 3 mm], [140 mm, 1.5 mm]], base: 12 mm, "
    ends = "fillet: 6 mm, heel: 2 mm, hollow: 1 mm, bead: 4 mm"
    glass = choose_vessel(read(own(sides + ends)), "hero")
    assert glass.base_mm == pytest.approx(12) and glass.outer.points_mm[0, 1] == pytest.approx(1)
    check(glass.glass_mesh(0.5))


def test_set_and_vessel_file_make_the_same_glass(read, beside):
    beside("my-glass.yaml", f"brimcast-vessel: 1\n{OUTLINE}\ncorners: [2]\nwall: 2 mm\nbase: 10 mm\n")
    inline = choose_vessel(read(own("corners: [2], wall: 2 mm, base: 10 mm")), "hero")
    named = choose_vessel(read("{file: my-glass.yaml}"), "hero")
    assert (named.section.points_mm == inline.section.points_mm).all()


def test_drawing_is_found_beside_the_set(read, beside):
    beside("glass.svg", '<svg><path id="o" d="M 0 150 H 30 L 35 0"/></svg>')
    glass = choose_vessel(read("{drawing: glass.svg, height: 120 mm, wall: 1.5 mm}"), "hero")
    assert glass.height_mm == pytest.approx(120) and glass.thinnest_mm == pytest.approx(1.5, abs=1e-3)


def test_mesh_stands_on_the_set_and_cannot_be_filled(read, tmp_path):
    trimesh.creation.cylinder(30, 80, sections=64).export(tmp_path / "glass.stl")
    built = build(read("{mesh: glass.stl, unit: mm}"))
    (solid,) = built.solids
    assert solid.mesh.bounds_mm[1, 2] == pytest.approx(80.02)
    assert built.feet[0].foot_radius_mm == pytest.approx(30)
    for fill in ("50 mm", "100 ml", "50 %"):
        drink = f"drink: {{liquid: water, fill: {fill}}}"
        with pytest.raises(PersonError, match="hero.drink.fill: a glass from a mesh cannot be filled"):
            build(read("{mesh: glass.stl, unit: mm}, " + drink))


def test_mesh_with_a_hole_is_refused_with_its_place(read, tmp_path):
    solid = trimesh.creation.icosphere(3, 40.0)
    trimesh.Trimesh(solid.vertices, solid.faces[1:], process=False).export(tmp_path / "glass.ply")
    fault = only_fault(read("{mesh: glass.ply, unit: mm}"))
    assert fault.file.endswith("glass.ply") and "is not closed: it has a hole" in fault.text
    mended = choose_vessel(read("{mesh: glass.ply, unit: mm, repair: true}"), "hero")
    assert mended.mesh.volume_mm3 == pytest.approx(solid.volume, rel=1e-3)


@pytest.mark.parametrize("key", ["file", "drawing", "mesh"])
def test_missing_file_is_a_fault_of_the_set_at_its_key(key, read):
    fault = only_fault(read(f"{{{key}: none.yaml}}"))
    assert (fault.line, fault.key) == (3, f"glasses.hero.vessel.{key}")
    assert "no file 'none.yaml'" in fault.text


@pytest.mark.parametrize(
    ("vessel", "key", "words"),
    [
        ("{outline: [[0 mm, 60 mm], [90 mm, 70 mm], [80 mm, 70 mm]]}", "outline.3", "80 mm is not above"),
        (own("base: 160 mm"), "base", "must be less than the height"),
        (own("wall: 40 mm"), "wall", "thicker than the glass's radius"),
        (own("bead: 1 mm"), "bead", "must be more than the wall"),
        (own("edge: 2 mm"), "edge", "must be under half the wall"),
    ],
)
def test_measures_that_make_no_glass_point_at_their_key(vessel, key, words, read):
    fault = only_fault(read(vessel))
    assert fault.key == f"glasses.hero.vessel.{key}" and words in fault.text and fault.line == 3


@pytest.mark.parametrize(
    ("vessel", "key", "words"),
    [
        (own("corners: [2, 7]"), "corners.2", "3 points, no point 7"),
        (own("corners: {7: 1 mm}"), "corners.7", "3 points, no point 7"),
        (own("wall: [[9 mm, 2 mm], [5 mm, 1 mm]]"), "wall.2.1", "not above the height before"),
        (own("edge: cut, bead: 3 mm"), "bead", "keep one"),
        (own("drawing: a.svg"), None, "both 'outline' and 'drawing'"),
        ("{mesh: a.stl, unit: km}", "unit", "allowed: 'mm', 'cm', 'm' or 'in'"),
        ("{file: a.yaml, wall: 2 mm}", "wall", "unknown key"),
    ],
)
def test_wrong_words_are_told_when_the_set_is_read(vessel, key, words, read):
    with pytest.raises(PersonError) as caught:
        read(vessel)
    (fault,) = caught.value.faults
    assert fault.key == ".".join(["glasses.hero.vessel", *([key] if key else [])]) and words in fault.text


def test_digest_knows_what_stands_in_the_files(read, beside):
    """Kept work of an earlier outline must not go on as that of a new one."""
    beside("points.csv", "height mm,diameter\n0,60\n150,70\n")
    beside("my-glass.yaml", "brimcast-vessel: 1\ndrawing: points.csv\n")
    first = digest(read("{file: my-glass.yaml}"))
    assert digest(read("{file: my-glass.yaml}")) == first
    beside("points.csv", "height mm,diameter\n0,61\n150,70\n")
    second = digest(read("{file: my-glass.yaml}"))
    beside("my-glass.yaml", "brimcast-vessel: 1\ndrawing: points.csv\nwall: 3 mm\n")
    assert len({first, second, digest(read("{file: my-glass.yaml}"))}) == 3
