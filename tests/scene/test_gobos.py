"""Flags cut by a picture: outline, side, what their shadow covers, and pictures that do not serve."""

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.gobos import MOST_CELLS, cut_outline, merge_runs
from brimcast.scene.readings import Point, read_lamp
from brimcast.scene.screens import cut_off
from brimcast.vessels.mesh import check

FLAG = "picture: leaf.png, at: [0 mm, 0 mm, 500 mm], size: [300 mm, 300 mm]"


def _draw(folder, shape, mode="L", back=255, ink=0, size=400):
    picture = Image.new(mode, (size, size), back)
    shape(ImageDraw.Draw(picture), ink)
    picture.save(folder / "leaf.png")
    return folder / "leaf.png"


def _build(folder, flag=FLAG, facing="down"):
    path = folder / "set.yaml"
    path.write_text(
        f"brimcast: 1\nlamps: {{key: {{throw: 100 m, diameter: 1 mm, elevation: 90 deg}}}}\n"
        f"flags: {{leaf: {{{flag}, facing: {facing}}}}}\n"
    )
    return build(setfile.read(path))


def disc(draw, ink):
    draw.ellipse((100, 100, 299, 299), fill=ink)


def test_disc_is_cut_to_a_cell(tmp_path):
    """Radius a quarter of the side; the cells on its edge are at most its girth, half of them too many."""
    mesh = cut_outline(_draw(tmp_path, disc), (300.0, 300.0))
    check(mesh, closed=False)
    cell = 300 / MOST_CELLS
    assert mesh.area_mm2 == pytest.approx(np.pi * 75**2, abs=2 * np.pi * 75 * cell / 4)
    assert mesh.bounds_mm[:, :2] == pytest.approx(np.array([(-75, -75), (75, 75)]), abs=cell)
    # Rows of a disc that are alike are joined.
    assert len(mesh.faces) <= 2 * MOST_CELLS / 2


def test_rectangles_cover_what_is_dark_once():
    dark = np.random.default_rng(3).random((30, 41)) < 0.4
    covered = np.zeros(dark.shape, int)
    for left, bottom, right, top in merge_runs(dark):
        covered[bottom:top, left:right] += 1
    assert np.array_equal(covered, dark.astype(int))


def test_cells_stay_square_on_a_narrow_flag(tmp_path):
    mesh = cut_outline(
        _draw(tmp_path, lambda draw, ink: draw.rectangle((0, 0, 399, 399), fill=ink)), (300, 30)
    )
    assert len(mesh.faces) == 2 and mesh.area_mm2 == pytest.approx(300 * 30)


def test_cut_out_picture_is_black_wherever_it_is_not_clear(tmp_path):
    """A white disc on nothing."""
    path = _draw(tmp_path, disc, "RGBA", (0, 0, 0, 0), (255, 255, 255, 255))
    assert cut_outline(path, (300.0, 300.0)).area_mm2 == pytest.approx(np.pi * 75**2, rel=0.03)


def test_picture_stands_upright_seen_from_the_front(tmp_path):
    """Dark above left. Seen from the camera's side left is -x; seen from behind it is +x."""
    _draw(tmp_path, lambda draw, ink: draw.rectangle((0, 0, 199, 99), fill=ink))
    (flag,) = _build(tmp_path, facing="{azimuth: 0 deg}").panels[1:]
    assert flag.mesh.bounds_mm == pytest.approx(np.array([(-150, 0, 575), (0, 0, 650)]), abs=1e-6)
    (flag,) = _build(tmp_path, facing="{azimuth: 180 deg}").panels[1:]
    assert flag.mesh.bounds_mm == pytest.approx(np.array([(0, 0, 575), (150, 0, 650)]), abs=1e-6)
    assert flag.places_mm.max(axis=0) == pytest.approx((150, 300), abs=1e-6)


def test_meter_stands_in_the_shadow_of_what_is_dark_alone(tmp_path):
    """Light straight from above, through a flag that lies level: dark where x is below 0 is shade there."""
    _draw(tmp_path, lambda draw, ink: draw.rectangle((200, 0, 399, 399), fill=ink))
    built = _build(tmp_path)
    # A flag that looks down is seen from below: right of the picture is then on the side of -x.
    dark = np.sign(built.panels[1].mesh.vertices_mm[:, 0].mean())
    up = np.array([0.0, 0.0, 1.0])
    light = [
        read_lamp(built, built.lamps[0], Point("p", np.array([x, 0, 0]), up, ""))
        for x in (dark * 100, -dark * 100, dark * 200)
    ]
    assert light[0] == 0 and light[1] == pytest.approx(light[2], rel=1e-3) and light[1] > 0


def test_lines_through_many_triangles_of_a_plane_are_told_as_by_shapely(tmp_path):
    mesh = cut_outline(_draw(tmp_path, disc), (300.0, 300.0))
    triangles = mesh.vertices_mm[mesh.faces]
    rng = np.random.default_rng(5)
    place, spots = np.array([20.0, 30.0, 400.0]), rng.uniform((-200, -200, -500), (200, 200, 300), (2000, 3))
    area = shapely.union_all([shapely.Polygon(triangle[:, :2]) for triangle in triangles])
    share = 400 / (400 - spots[:, 2])
    meets = shapely.contains_xy(area, *(place + share[:, None] * (spots - place)).T[:2]) & (spots[:, 2] < 0)
    assert 100 < meets.sum() < 1900
    assert np.array_equal(cut_off(place, spots, triangles), meets)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("none.png", "there is no file 'none.png'"),
        ("set.yaml", "'set.yaml' cannot be read as a picture"),
        ("leaf.png", "nothing of it is dark"),
    ],
)
def test_picture_that_does_not_serve_is_told_at_its_place(only_fault, tmp_path, name, text):
    _draw(tmp_path, lambda draw, ink: None)
    fault = only_fault(lambda: _build(tmp_path, FLAG.replace("leaf.png", name)))
    assert fault.key == "flags.leaf.picture" and fault.line == 3 and text in fault.text


def test_another_picture_is_another_set(tmp_path):
    _draw(tmp_path, disc)
    before = _build(tmp_path).digest
    _draw(tmp_path, lambda draw, ink: draw.rectangle((0, 0, 199, 99), fill=ink))
    assert _build(tmp_path).digest != before
