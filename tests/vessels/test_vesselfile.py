"""Vessel files: measures in YAML, read with places, written for editing."""

import numpy as np
import pytest
import shapely

from brimcast.shared.errors import PersonError
from brimcast.vessels.measured import KEYS, Drawing, Measured
from brimcast.vessels.mesh import check
from brimcast.vessels.vesselfile import read_file, read_vessel, vessel_text, write_file

HEAD = "brimcast-vessel: 1\n"
TUMBLER = HEAD + "outline: [[0 mm, 60 mm], [80 mm, 66 mm], [150 mm, 70 mm]]\n"


@pytest.fixture
def write(tmp_path):
    """Return a function that writes a vessel file and returns its path."""

    def put(text, name="my-glass.yaml"):
        (tmp_path / name).write_text(text, encoding="utf-8")
        return tmp_path / name

    return put


def thickness_mm(glass, height_mm):
    """Return the shortest way from the inside at a height to the outside, mm (by shapely)."""
    point = glass.inner.at(glass.inner.place_at_height(height_mm))[0]
    return shapely.LineString(glass.outer.points_mm).distance(shapely.Point(point))


FULL = Measured(
    outline_mm=((0.0, 60.0), (20.25, 55.5), (150.0, 70.0)),
    corners={1: 1.5},
    inside_mm=((14.0, 48.0), (150.0, 66.0)),
    wall_mm=((20.0, 3.0), (140.0, 1.2)),
    base_mm=12.0,
    fillet_mm=6.0,
    heel_mm=2.0,
    hollow_mm=0.8,
    edge_mm=0.3,
)


@pytest.mark.parametrize(
    "measured",
    [
        FULL,
        Measured(outline_mm=FULL.outline_mm, bead_mm=4.0, corners={1: 0.0}),
        Measured(outline_mm=FULL.outline_mm, edge_mm=0.0),
        Measured(drawing=Drawing("a b: c.svg", 150.0, "outer", "inner", 52.5), wall_mm=1.1),
    ],
)
def test_what_is_written_reads_as_it_was(measured, tmp_path):
    path = write_file(tmp_path / "glass.yaml", measured, ["Traced from glass.jpg", ""], {"base": "a guess"})
    assert read_file(path).measured == measured
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# Traced from glass.jpg\n#\nbrimcast-vessel: 1\n")
    assert "mm  # a guess" in text
    assert [one.name for one in tmp_path.iterdir()] == ["glass.yaml"]


def test_every_measure_can_be_said(write):
    text = vessel_text(FULL)
    assert all(f"\n{key}:" in text for key in KEYS if key != "bead")
    glass = read_vessel(write(text))
    check(glass.glass_mesh(0.5))
    assert glass.base_mm == pytest.approx(14.0)


def test_glass_has_the_measures_of_its_file(write):
    glass = read_vessel(write(TUMBLER + "wall: 2.5 mm\nbase: 12 mm\nhollow: 1 mm\n"))
    assert glass.name == "my-glass" and glass.height_mm == 150
    assert glass.base_mm == pytest.approx(12.0)
    assert thickness_mm(glass, 75.0) == pytest.approx(2.5, abs=1e-4)
    assert glass.outer.points_mm[0] == pytest.approx([0.0, 1.0])


def test_wall_at_a_few_heights_is_met_and_even_between(write):
    glass = read_vessel(write(TUMBLER + "wall: [[30 mm, 4 mm], [80 mm, 2.5 mm], [130 mm, 1.5 mm]]\n"))
    for height, thick in ((80, 2.5), (130, 1.5), (140, 1.5)):
        assert thickness_mm(glass, height) == pytest.approx(thick, abs=0.03)
    between = [thickness_mm(glass, height) for height in np.linspace(82, 128, 12)]
    assert (np.diff(between) < 0).all() and 1.5 <= min(between) and max(between) <= 2.5


def test_rims_have_their_forms(write):
    """Round: half the wall's radius; cut: flat over all of the wall; with edges: flat less both radii."""
    made = {
        edge: read_vessel(write(TUMBLER + f"edge: {edge}\n")) for edge in ("round", "cut", "0.5 mm")
    }  # fmt: skip
    flat = {}
    for edge, glass in made.items():
        points = glass.section.points_mm
        flat[edge] = np.ptp(points[points[:, 1] > 150 - 1e-6, 0])
        assert points[:, 1].max() == pytest.approx(150.0, abs=1e-6)
    across = 2.0 * np.hypot(1, 2 / 70)
    assert flat["round"] == pytest.approx(0.0, abs=0.02)
    assert flat["cut"] == pytest.approx(across, abs=0.01)
    assert flat["0.5 mm"] == pytest.approx(across - 1.0, abs=0.03)


def test_bead_is_round_and_on_top_of_the_wall(write):
    glass = read_vessel(write(TUMBLER + "bead: 5 mm\n"))
    check(glass.glass_mesh(0.5))
    section = shapely.Polygon(glass.section.points_mm)
    level = shapely.LineString([(0, 147.5), (60, 147.5)])
    assert section.intersection(level).length == pytest.approx(5.0, abs=1e-3)
    # The bead holds a disc of its diameter, and nothing of it reaches farther.
    centre = section.intersection(level).centroid
    assert centre.buffer(2.499).within(section.buffer(1e-3))
    assert section.bounds[3] == pytest.approx(150.0, abs=1e-6)
    plain = read_vessel(write(TUMBLER))
    assert glass.capacity_ml(140) == pytest.approx(plain.capacity_ml(140), rel=1e-6)


def test_stem_glass_can_be_measured_by_hand(write):
    """Foot, stem and bowl are points; the base is the bowl's lowest point, and the bowl is round there."""
    text = HEAD + (
        "outline: [[0 mm, 60 mm], [2 mm, 60 mm], [4 mm, 30 mm], [12 mm, 9 mm], [70 mm, 8 mm],\n"
        "  [80 mm, 30 mm], [110 mm, 70 mm], [180 mm, 60 mm]]\n"
        "corners: {2: 0.8 mm}\nwall: 1 mm\nbase: 82 mm\n"
    )
    glass = read_vessel(write(text))
    check(glass.glass_mesh(0.5))
    assert glass.foot_radius_mm == 30.0 and glass.base_mm == 82.0


def test_drawing_is_found_beside_the_vessel_file(write, tmp_path):
    (tmp_path / "points.csv").write_text("height mm,diameter\n0,60\n150,70\n", encoding="utf-8")
    glass = read_vessel(write(HEAD + "drawing: points.csv\nwall: 2 mm\n"))
    assert glass.height_mm == pytest.approx(150.0)


# Text, and of each fault line, column, key and words.
WRONG = {
    "unknown key": (TUMBLER + "wal: 2 mm\n", [(3, 6, "wal", "did you mean 'wall'")]),
    "no unit": (
        HEAD + "outline: [[0 mm, 60 mm], [150, 70 mm]]\n",
        [(2, 27, "outline.2.1", "150 has no unit")],
    ),
    "no pair": (HEAD + "outline: [[0 mm, 60 mm], [9 mm]]\n", [(2, 26, "outline.2", "not a pair")]),
    "one point": (HEAD + "outline: [[0 mm, 60 mm]]\n", [(2, 10, "outline", "at least 2")]),
    "two at once": (
        TUMBLER + "base: 0 mm\nedge: rounded\n",
        [(3, 7, "base", "above 0 mm"), (4, 7, "edge", "round, cut, or the radius")],
    ),
    "corner": (TUMBLER + "corners: [2, 4]\n", [(3, 14, "corners.2", "3 points, no point 4")]),
    "corner's radius": (TUMBLER + "corners: {2: 3}\n", [(3, 14, "corners.2", "no unit")]),
    "no corner": (TUMBLER + "corners: [zero]\n", [(3, 11, "corners.1", "no point of the outline")]),
    "wall's heights": (
        TUMBLER + "wall: [[9 mm, 2 mm], [9 mm, 1 mm]]\n",
        [(3, 23, "wall.2.1", "not above the height before")],
    ),
    "edge and bead": (TUMBLER + "edge: cut\nbead: 4 mm\n", [(4, 7, "bead", "keep one")]),
    "nothing": (HEAD + "wall: 2 mm\n", [(1, 1, None, "no outline")]),
    "both": (TUMBLER + "drawing: a.svg\n", [(3, 10, "drawing", "both outline and drawing")]),
    "drawing's key": (TUMBLER + "axis: 3\n", [(3, 7, "axis", "belongs to a drawing")]),
    "twice": (TUMBLER + "wall: 2 mm\nwall: 3 mm\n", [(4, 1, "wall", "given twice")]),
    "version": (TUMBLER.replace("1", "2", 1), [(1, 18, "brimcast-vessel", "2 is not known")]),
    "no version": (TUMBLER.removeprefix(HEAD), [(1, 1, "brimcast-vessel", "missing")]),
    "no YAML": (HEAD + "outline: [", [(2, 11, None, "not valid YAML")]),
    "a list": ("- 1\n", [(1, 1, None, "no vessel file")]),
    "no text": (HEAD + "drawing: [1]\n", [(2, 10, "drawing", "not a text")]),
    # What only the making of the glass can tell.
    "falling": (
        HEAD + "outline:\n  - [0 mm, 60 mm]\n  - [90 mm, 70 mm]\n  - [80 mm, 70 mm]\n",
        [(5, 5, "outline.3", "height 80 mm is not above the point before")],
    ),
    "base over the rim": (TUMBLER + "base: 160 mm\n", [(3, 7, "base", "less than the height")]),
    "thin bead": (TUMBLER + "bead: 1 mm\n", [(3, 7, "bead", "more than the wall")]),
    "inside": (
        TUMBLER + "inside: [[20 mm, 50 mm], [10 mm, 60 mm]]\n",
        [(3, 9, "inside", "point 2: height 10 mm")],
    ),
    "heel": (TUMBLER + "heel: 200 mm\n", [(3, 7, "heel", "does not fit")]),
    "edge": (TUMBLER + "edge: 3 mm\n", [(3, 7, "edge", "under half the wall")]),
}


@pytest.mark.parametrize("case", WRONG)
def test_each_fault_is_one_line_with_its_place(case, write):
    text, wanted = WRONG[case]
    path = write(text)
    with pytest.raises(PersonError) as caught:
        read_vessel(path)
    found = caught.value.faults
    assert [(one.line, one.column, one.key) for one in found] == [tuple(place) for *place, _ in wanted]
    for fault, (*_, words) in zip(found, wanted, strict=True):
        assert words in fault.text and fault.file == str(path) and "\n" not in str(fault)


def test_file_that_cannot_be_read_is_a_persons_mistake(tmp_path, write):
    for path, words in (
        (tmp_path / "none.yaml", "no such file"),
        (tmp_path, "cannot be read"),
        (write("a: &a [*a]\n"), "holds itself"),
    ):
        with pytest.raises(PersonError, match=words):
            read_vessel(path)
    (tmp_path / "latin.yaml").write_bytes("a: é".encode("latin-1"))
    with pytest.raises(PersonError, match="UTF-8"):
        read_vessel(tmp_path / "latin.yaml")
    bomb = "a: &a [1,1,1,1,1,1,1,1,1,1]\n" + "".join(
        f"{b}: &{b} [{','.join([f'*{a}'] * 10)}]\n" for a, b in zip("abcde", "bcdef", strict=True)
    )
    with pytest.raises(PersonError, match="too many values"):
        read_vessel(write(bomb))
