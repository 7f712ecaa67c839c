"""Outlines from SVG drawings and CSV points."""

import re

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimcast.shared.errors import PersonError
from brimcast.vessels.measured import Drawing, Measured, make_vessel
from brimcast.vessels.mesh import check
from brimcast.vessels.outlinefile import read_outline
from brimcast.vessels.svgpath import read_paths

SIZED = 'width="100mm" height="200mm" viewBox="0 0 100 200"'


@pytest.fixture
def draw(tmp_path):
    """Return a function that writes an SVG of paths by id, and returns its path."""

    def write(head=SIZED, group="", **paths):
        body = "".join(f'<path id="{name}" d="{d}"/>' for name, d in paths.items())
        path = tmp_path / "glass.svg"
        path.write_text(
            f'<svg xmlns="http://www.w3.org/2000/svg" {head}><g transform="{group}">{body}</g></svg>',
            encoding="utf-8",
        )
        return path

    return write


@pytest.fixture
def list_points(tmp_path):
    """Return a function that writes a CSV, and returns its path."""

    def write(text):
        path = tmp_path / "glass.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def outline(file, **asked):
    return read_outline(file, Drawing(file.name, **asked))


def glass(path, asked=None, **measures):
    return make_vessel(Measured(drawing=Drawing(path.name, **(asked or {})), **measures), path.parent)


def only_fault(file, **asked):
    """Return the one fault of a file that is refused."""
    with pytest.raises(PersonError) as caught:
        outline(file, **asked)
    (fault,) = caught.value.faults
    assert fault.file == str(file) and "\n" not in str(fault)
    return fault


def frustum_ml(low_radius_mm, high_radius_mm, height_mm):
    """Volume of a frustum of a cone: pi h / 3 (R2 + R r + r2)."""
    squares = low_radius_mm**2 + low_radius_mm * high_radius_mm + high_radius_mm**2
    return np.pi * height_mm / 3 * squares / 1000


SAME = {
    "absolute": "M 10 150 L 30 150 C 30 100 40 50 45 0",
    "relative": "m 10 150 l 20 0 c 0 -50 10 -100 15 -150",
    "horizontal": "M10,150H30C30,100,40,50,45,0",
    "relative horizontal": "m10 150h20c0-50 10-100 15-150",
    "shorthand": "M 10 150 h 10 h 10 C 30 150 30 150 30 150 C 30 100 40 50 45 0",
    "backward": "M 45 0 C 40 50 30 100 30 150 H 10",
}


@pytest.mark.parametrize("way", SAME)
def test_all_ways_of_writing_a_path_give_one_outline(way, draw):
    drawn = outline(draw(o=SAME[way]))
    z = drawn.outer.points_mm[:, 1]
    # B(t) = (1-t)^3 P0 + 3 (1-t)^2 t P1 + 3 (1-t) t^2 P2 + t^3 P3, SVG 1.1 section 8.3.6.
    t = np.linspace(0, 1, 2001)
    x = 30 * (1 - t) ** 3 + 3 * 30 * (1 - t) ** 2 * t + 3 * 40 * (1 - t) * t**2 + 45 * t**3 - 10
    y = 3 * 50 * (1 - t) ** 2 * t + 3 * 100 * (1 - t) * t**2 + 150 * t**3
    assert drawn.outer.points_mm[:, 0] == pytest.approx(np.interp(z, y, x), abs=1e-4)
    assert drawn.asymmetry_mm is None and drawn.underside


def test_quadratic_and_smooth_curves_are_the_cubics_that_they_stand_for(draw):
    """A quadratic is the cubic with controls two thirds toward its own; T and S reflect the last control."""
    quadratic = outline(draw(o="M 0 150 H 30 Q 45 100 40 60 T 45 0")).outer
    cubic = outline(
        draw(o="M 0 150 H 30 C 40 116.6666667 43.3333333 86.6666667 40 60 S 38.3333333 13.3333333 45 0")
    ).outer
    gap = shapely.hausdorff_distance(*(shapely.LineString(one.points_mm) for one in (quadratic, cubic)))
    assert gap < 2e-3


@pytest.mark.parametrize(("large", "sweep", "centre"), [(0, 0, (100, 50)), (0, 1, (50, 100))])
def test_arc_keeps_its_radius(large, sweep, centre, draw):
    """An arc between ends 50 mm apart each way with a radius of 50 has its centre over one of them."""
    path = draw(o=f"M 50 50 A 50 50 0 {large} {sweep} 100 100")
    (found,), scale = read_paths(path, [None])
    curve = found.sampled(scale)
    away = curve.points_mm - np.array([centre[0], -centre[1]])
    assert np.hypot(*away.T) == pytest.approx(50.0, abs=1e-9)
    assert (away * curve.tangents).sum(axis=1) == pytest.approx(0.0, abs=1e-3)


def test_oval_arc_turned_askew_lies_on_its_ellipse(draw):
    path = draw(o="M 20 100 A 60 30 25 1 1 70 120")
    (found,), _ = read_paths(path, [None])
    points = found.sampled(1.0).points_mm * [1, -1]
    angle = np.radians(25)
    turned = points @ np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    # Through three of its points and with these radii there is one ellipse; the others must lie on it.
    scaled = turned / [60, 30]
    a, b, c = scaled[[0, len(scaled) // 3, -1]]
    middle = np.linalg.solve(2 * np.array([b - a, c - a]), [b @ b - a @ a, c @ c - a @ a])
    assert np.hypot(*(scaled - middle).T) == pytest.approx(1.0, abs=1e-6)


TRANSFORMS = [
    "translate(7, 3)",
    "translate(-4)",
    "scale(-1, 1)",
    "rotate(90) rotate(-90)",
    "rotate(180 50 75) scale(1 -1) translate(0 -150)",
    "matrix(1 0 0 1 12 5)",
]


@pytest.mark.parametrize("transform", TRANSFORMS)
def test_transforms_move_the_drawing_and_leave_the_glass(transform, draw):
    plain = outline(draw(o=SAME["absolute"])).outer
    moved = outline(draw(group=transform, o=SAME["absolute"])).outer
    gap = shapely.hausdorff_distance(*(shapely.LineString(one.points_mm) for one in (plain, moved)))
    assert gap < 1e-3


@pytest.mark.parametrize(
    ("head", "asked", "height_mm"),
    [
        (SIZED, {}, 150.0),
        ('width="10cm" viewBox="0 0 50 100"', {}, 300.0),
        ('width="1in" viewBox="0 0 25.4 50"', {}, 150.0),
        ("", {"height_mm": 120.0}, 120.0),
        (SIZED, {"height_mm": 120.0}, 120.0),
    ],
)
def test_scale_comes_from_the_page_or_the_height(head, asked, height_mm, draw):
    points = outline(draw(head, o="M 0 150 H 30 L 35 0"), **asked).outer.points_mm
    assert points[-1] == pytest.approx([35 / 150 * height_mm, height_mm], rel=1e-9)


def test_one_side_both_sides_and_whole_sections_make_one_glass(draw):
    """A tumbler drawn in five ways; what it holds is a frustum with the walls' inside."""
    one = glass(draw(o="M 50 150 H 80 L 85 0"), base_mm=10.0, fillet_mm=0.0, edge_mm=0.0, heel_mm=0.0)
    both = glass(draw(o="M 15 0 L 20 150 H 80 L 85 0"), base_mm=10.0, fillet_mm=0.0, edge_mm=0.0, heel_mm=0.0)
    closed = glass(
        draw(o="M 15 0 L 20 150 H 80 L 85 0 Z"), base_mm=10.0, fillet_mm=0.0, edge_mm=0.0, heel_mm=0.0
    )
    # 2 mm the shortest way across a wall that leans by 5 mm in 150 mm.
    across_mm = 2 * np.hypot(150, 5) / 150
    section = f"M 50 150 H 80 L 85 0 H {85 - across_mm} L {80 + 5 * 10 / 150 - across_mm} 140 H 50 Z"
    whole = glass(draw(o=section))
    two = glass(
        draw(o="M 50 150 H 80 L 85 0", i=f"M {80 + 5 * 10 / 150 - across_mm} 140 L {85 - across_mm} 0"),
        {"inside": "i"},
        base_mm=10.0,
        fillet_mm=0.0,
        edge_mm=0.0,
        heel_mm=0.0,
    )
    held_ml = frustum_ml(30 + 5 * 10 / 150 - across_mm, 35 - across_mm, 140)
    for made in (one, both, closed, whole, two):
        assert made.capacity_ml() == pytest.approx(held_ml, rel=1e-4)
        assert made.height_mm == pytest.approx(150.0)
        check(made.glass_mesh(0.5))


def test_inside_drawn_from_the_axis_keeps_its_floor(draw):
    made = glass(draw(o="M 0 150 H 30 L 35 0", i="M 0 138 C 20 138 28 130 28 120 L 33 0"), {"inside": "i"})
    assert made.base_mm == pytest.approx(12.0)
    check(made.glass_mesh(0.5))


def test_drawn_hollow_and_heel_are_kept(draw):
    path = draw(o="M 0 148 Q 15 148 25 150 H 27 A 3 3 0 0 0 30 147 L 35 0")
    drawn = outline(path)
    assert drawn.hollow_mm == pytest.approx(2.0)
    made = glass(path, base_mm=10.0)
    check(made.glass_mesh(0.5))
    assert made.outer.points_mm[0] == pytest.approx([0.0, 2.0])
    assert drawn.outer.points_mm[0] == pytest.approx([27.0, 0.0], abs=1e-6)


def test_sides_that_differ_are_averaged_and_the_difference_told(draw):
    """One side straight, one bulging by 2.6 mm at half height; a shifted axis takes a part of it."""
    drawn = outline(draw(o="M 15 0 L 20 150 H 80 C 86 100 86 50 85 0"))
    assert 1.3 < drawn.asymmetry_mm < 2.6
    left, right = (
        outline(draw(o=side), axis=50.0) for side in ("M 20 150 L 15 0", "M 80 150 C 86 100 86 50 85 0")
    )
    for level in (20.0, 75.0, 130.0):
        radii = [one.outer.at(one.outer.place_at_height(level))[0][0] for one in (left, right, drawn)]
        assert radii[2] == pytest.approx((radii[0] + radii[1]) / 2, abs=0.3)


def test_lean_of_the_drawing_is_taken_out(draw):
    drawn = outline(draw(group="rotate(2.5 50 75)", o="M 15 0 L 20 150 H 80 L 85 0"))
    assert drawn.tilt_deg == pytest.approx(2.5, abs=0.01)
    assert drawn.outer.points_mm[-1] == pytest.approx([35.0, 150.0], abs=0.05)


def test_corners_of_the_drawing_stay_sharp_and_small_kinks_do_not(draw):
    sharp = outline(draw(o="M 0 150 H 30 L 40 80 L 35 0")).outer
    assert sharp.pieces.max() == 1
    kinked = outline(draw(o="M 0 150 H 30 L 35 80 L 41 0")).outer
    assert kinked.pieces.max() == 0


def test_cylinder_of_csv_points_holds_what_a_cylinder_holds(list_points):
    points = list_points("height mm,radius\n0,32\n50,32\n100,32\n")
    made = glass(points, base_mm=10.0, fillet_mm=0.0, edge_mm=0.0)
    assert made.capacity_ml() == pytest.approx(np.pi * 30**2 * 90 / 1000, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("height mm,diameter mm\n0,60\n75,66\n150,70\n", {}),
        ("Height [cm];Outer diameter [cm]\n0;6,0\n7,5;6,6\n15;7,0\n", {}),
        ("height\tradius\n0\t30\n75\t33\n150\t35\n", {"height_mm": 150.0}),
        ("# digitised\n0 6.0\n7.5 6.6\n15 7.0\n", {"height_mm": 150.0}),
        ("x,y\n60,0\n63,75\n65,150\n0,0\n-3,75\n-5,150\n", {"height_mm": 150.0}),
        ("x,y\n30,10\n33,85\n35,160\n", {"height_mm": 150.0, "axis": 0.0}),
    ],
)
def test_points_are_read_in_any_common_form(text, asked, list_points):
    drawn = outline(list_points(text), **asked)
    for height, radius in ((0, 30), (75, 33), (150, 35)):
        place = drawn.outer.place_at_height(height) if height else 0
        assert drawn.outer.at(place)[0] == pytest.approx([radius, height], abs=1e-6)


def test_inner_diameters_in_csv_are_the_inside(list_points):
    text = "height mm,diameter,inner diameter\n0,60,\n12,61,54\n75,66,60\n150,70,66\n"
    made = glass(list_points(text), base_mm=12.0, edge_mm=0.0)
    inner = made.inner.at(made.inner.place_at_height(75.0))[0]
    assert inner == pytest.approx([30.0, 75.0], abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(
    radii=st.lists(st.floats(12, 45), min_size=3, max_size=6),
    wall_mm=st.floats(0.6, 4.0),
)
def test_wall_of_any_smooth_outline_never_crosses_itself(radii, wall_mm, tmp_path_factory):
    """Random curves through points (SVG S commands); a wall is made that is as thick as asked, or a fault."""
    folder = tmp_path_factory.mktemp("drawn")
    heights = np.linspace(0, 150, len(radii))
    d = f"M 0 150 H {radii[0]}"
    for radius, height in zip(radii[1:], heights[1:], strict=True):
        d += f" S {radius} {150 - height + 150 / len(radii) / 2} {radius} {150 - height}"
    path = folder / "any.svg"
    path.write_text(f'<svg {SIZED}><path d="{d}"/></svg>', encoding="utf-8")
    try:
        made = glass(path, wall_mm=wall_mm, base_mm=15.0)
    except ValueError as wrong:
        assert str(wrong)
        return
    section = shapely.Polygon(made.section.points_mm)
    assert section.is_valid
    low, high = made.base_mm + 15, made.height_mm - 3 * wall_mm
    sides = [one.points_mm[(one.points_mm[:, 1] > low) & (one.points_mm[:, 1] < high)] for one in
             (made.outer, made.inner)]  # fmt: skip
    if min(map(len, sides)) > 1:
        thick_mm = shapely.LineString(sides[0]).distance(shapely.LineString(sides[1]))
        assert thick_mm > 0.99 * wall_mm


WRONG_DRAWINGS = {
    "no scale": ({"head": "", "o": "M 0 150 H 30 L 35 0"}, {}, "no scale.*height"),
    "no such path": ({"o": "M 0 150 H 30 L 35 0"}, {"path": "outside"}, "no path 'outside'; its paths: 'o'"),
    "no path": ({"o": "M 0 foo"}, {}, "o cannot be read"),
    "empty": ({"o": ""}, {}, "o is empty"),
    "pieces": ({"o": "M 0 150 H 30 L 35 0 M 3 3 L 5 9"}, {}, "2 separate lines"),
    "flat": ({"o": "M 0 10 H 30"}, {}, "no height"),
    "side without axis": ({"o": "M 30 150 L 35 0"}, {}, "no axis.*axis: its x"),
    "leaning": ({"group": "rotate(9)", "o": "M 15 0 L 20 150 H 80 L 85 0"}, {}, "leans by 9.0 deg"),
    "no two sides": ({"o": "M 15 0 L 20 150 H 80 L 85 0"}, {"axis": 30.0}, "two sides differ"),
    "flattened": ({"group": "scale(1 0)", "o": "M 0 150 H 30 L 35 0"}, {}, "flattens"),
}


@pytest.mark.parametrize("case", WRONG_DRAWINGS)
def test_wrong_drawing_is_one_clear_fault(case, draw):
    drawn, asked, words = WRONG_DRAWINGS[case]
    assert re.search(words, only_fault(draw(**drawn), **asked).text)


WRONG_POINTS = {
    "no unit": ("height,diameter\n0,60\n150,70\n", {}, None, "no unit"),
    "no number": ("height mm,diameter\n0,60\n75,6o\n150,70\n", {}, 3, "diameter: '6o' is not a number"),
    "missing column": ("height mm,diameter\n0,60\n75\n150,70\n", {}, 3, "has 1 columns, not 2"),
    "unknown column": ("height mm,width\n0,60\n150,70\n", {}, 1, "column 'width' is not known"),
    "two units": ("height mm,diameter in\n0,60\n150,70\n", {}, 1, "keep one"),
    "falling": ("height mm,diameter\n\n0,60\n80,66\n70,70\n", {}, 5, "point 3: height 70 mm is not above"),
    "no diameter": ("height mm,inner diameter\n0,60\n150,70\n", {}, None, "no diameter or radius"),
    "one point": ("height mm,diameter\n0,60\n", {}, None, "at least 2"),
    "nothing": ("", {}, None, "is empty"),
    "path of points": ("height mm,diameter\n0,60\n150,70\n", {"path": "o"}, None, "no paths"),
}


@pytest.mark.parametrize("case", WRONG_POINTS)
def test_wrong_points_are_one_clear_fault_with_its_line(case, list_points):
    text, asked, line, words = WRONG_POINTS[case]
    fault = only_fault(list_points(text), **asked)
    assert fault.line == line and re.search(words, fault.text)


def test_other_files_are_refused(tmp_path):
    for name, text, words in (
        ("a.dxf", "", "no outline that can be read"),
        ("b.svg", "<html/>", "no SVG"),
        ("c.svg", "<svg><path", "no valid SVG"),
        ("d.svg", "<svg/>", "has no path"),
        ("e.svg", '<!DOCTYPE x [<!ENTITY a "b">]><svg/>', "entities"),
    ):
        (tmp_path / name).write_text(text, encoding="utf-8")
        with pytest.raises(PersonError, match=words):
            read_outline(tmp_path / name, Drawing(name))
    with pytest.raises(PersonError, match="no such file"):
        read_outline(tmp_path / "none.svg", Drawing("none.svg"))
