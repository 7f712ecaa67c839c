"""The drawing of a section: to scale in both kinds of file, its measures, readable in black and white."""

import re
import xml.etree.ElementTree as ET
from functools import cache

import numpy as np
import pytest
import shapely
from PIL import Image
from scipy import ndimage

from brimcast.vessels.drawing import _apart, draw_section, write_section
from brimcast.vessels.library import SHAPES, vessel
from brimcast.vessels.linework import INK, PAPER, TONE, Area, Paper, Stroke, Text, pixels, svg_text
from brimcast.vessels.numbers import measure

plain = cache(vessel)
SVG = "{http://www.w3.org/2000/svg}"
MM_PER_INCH = 25.4


def _svg(name, *fills_mm):
    paper = draw_section(plain(name), measure(plain(name), fills_mm))
    return paper, ET.fromstring(svg_text(paper, name, "about <it> & more"))


def _polygons(root, grey):
    """Return the filled polygons of a grey as shapely sees them; y runs down."""
    shade = f"#{grey:02x}" + 2 * f"{grey:02x}"
    found = [mark for mark in root.iter(f"{SVG}polygon") if mark.get("fill") == shade]
    pairs = [re.findall(r"(-?[\d.]+),(-?[\d.]+)", mark.get("points")) for mark in found]
    return [shapely.Polygon([(float(x), float(y)) for x, y in corners]) for corners in pairs]


def _words(root):
    return [text.text for text in root.iter(f"{SVG}text")]


@pytest.mark.parametrize(
    ("name", "scale"), [("rocks", 1.0), ("tasting", 1.0), ("bottle", 0.5), ("decanter", 0.5)]
)
def test_section_is_drawn_to_the_scale_that_it_states(name, scale):
    """Area, width and height of the two halves on the paper against the section itself, by shapely."""
    _, root = _svg(name)
    glass = plain(name)
    section = shapely.Polygon(glass.section.points_mm)
    left, right = sorted(_polygons(root, TONE), key=lambda half: half.centroid.x)
    for half in (left, right):
        assert half.area == pytest.approx(section.area * scale**2, rel=1e-3)
        assert half.bounds[3] - half.bounds[1] == pytest.approx(glass.height_mm * scale, abs=2e-3)
    widest_mm = 2 * glass.outer.points_mm[:, 0].max() * scale
    assert right.bounds[2] - left.bounds[0] == pytest.approx(widest_mm, abs=2e-3)
    assert f"section 1:{1 / scale:g}, measures in mm" in _words(root)
    # Millimetres of the file are millimetres of paper.
    assert root.get("viewBox") == f"0 0 {root.get('width')[:-2]} {root.get('height')[:-2]}"
    assert root.get("width").endswith("mm")


def test_page_fits_a4_where_the_drawing_says_so():
    for name in SHAPES:
        paper = draw_section(plain(name), measure(plain(name)))
        assert paper.size_mm[0] <= 210 and paper.size_mm[1] <= 297, name


def test_measures_stand_on_the_drawing():
    """The tasting glass's; its foot is as wide as its bowl, so that one of the two is drawn."""
    _, root = _svg("tasting", 100.0)
    words = _words(root)
    for expected in ("155", "46 dia", "65 dia", "9 dia", "wall 0.8", "base 56.5"):
        assert words.count(expected) == 1, expected
    held_ml = plain("tasting").capacity_ml(100.0)
    assert f"fill 100: {held_ml:.0f} ml" in words
    assert "tasting" in words and "50 mm" in words
    assert _words(_svg("decanter")[1]).count("168 dia") == 1


def test_fill_line_lies_at_its_height_from_wall_to_wall():
    paper, _ = _svg("rocks", 50.0)
    table_mm = min(
        mark.points_mm[:, 1].min() for mark in paper.marks if isinstance(mark, Area) and mark.grey == TONE
    )
    inside_mm = plain("rocks").inner.at(plain("rocks").inner.place_at_height(50.0))[0][0]
    lines = [mark.points_mm for mark in paper.marks if isinstance(mark, Stroke) and len(mark.points_mm) == 2]
    flat = [line for line in lines if np.allclose(line[:, 1], table_mm + 50.0, atol=1e-3)]
    widths = [np.ptp(line[:, 0]) for line in flat]
    assert any(abs(width - 2 * inside_mm) < 1e-3 for width in widths)


def test_scale_bar_is_as_long_as_it_says():
    _, root = _svg("bottle")
    (bar,) = [p for p in _polygons(root, INK) if p.bounds[3] - p.bounds[1] == pytest.approx(1.2, abs=1e-6)]
    assert bar.bounds[2] - bar.bounds[0] == pytest.approx(50 * 0.5, abs=2e-3)


@pytest.mark.parametrize("name", SHAPES)
def test_every_glass_is_drawn_in_greys_inside_its_page(name):
    glass = plain(name)
    fills = () if glass.closed else (glass.base_mm + 0.5 * (glass.height_mm - glass.base_mm),)
    paper, root = _svg(name, *fills)
    colours = set(re.findall(r"#(\w{6})", ET.tostring(root, encoding="unicode")))
    assert colours and all(colour[:2] == colour[2:4] == colour[4:] for colour in colours)
    for mark in paper.marks:
        places = np.atleast_2d(mark.at_mm if isinstance(mark, Text) else mark.points_mm)
        assert (places >= 0).all() and (places <= paper.size_mm).all(), mark


def test_png_prints_at_the_scale_it_states(tmp_path):
    """Counted in the picture's own pixels: the tone's height and width at the dpi in the file."""
    glass, path = plain("rocks"), tmp_path / "rocks.png"
    write_section(glass, measure(glass), path)
    with Image.open(path) as picture:
        dpi = picture.info["dpi"][0]
        assert "328 ml" in picture.text["Description"]
        values = np.asarray(picture)
    per_mm = dpi / MM_PER_INCH
    # Edges of lines and words have pixels of that grey too, but none as many together as 20 mm2.
    parts, count = ndimage.label(np.abs(values.astype(int) - TONE) < 3)
    sizes = np.bincount(parts.ravel(), minlength=count + 1)
    rows, columns = np.nonzero((parts > 0) & (sizes[parts] > 20 * per_mm**2))
    # The outline's own half width, 0.18 mm, lies on the tone, and smooth edges take a pixel.
    assert np.ptp(rows) + 1 == pytest.approx(92 * per_mm, abs=0.36 * per_mm + 2)
    widest_mm = 2 * glass.outer.points_mm[:, 0].max()
    assert np.ptp(columns) + 1 == pytest.approx(widest_mm * per_mm, abs=0.36 * per_mm + 2)


def test_both_files_show_the_same_lines():
    """A stroke, a dashed one and an area, where they belong in the pixels."""
    marks = (
        Area(np.array([(2, 2), (8, 2), (8, 6), (2, 6)]), TONE),
        Stroke(np.array([(0, 10), (20, 10)]), 1.0),
        Stroke(np.array([(15, 0), (15, 8)]), 1.0, INK, (2.0, 2.0)),
    )
    seen = pixels(Paper((20, 12), marks), dpi=MM_PER_INCH * 10)
    assert seen.shape == (120, 200)
    assert seen[120 - 40, 50] == TONE and seen[120 - 70, 50] == PAPER
    assert seen[120 - 100, 100] == INK
    assert [seen[120 - at, 150] for at in (10, 30, 50, 70)] == [INK, PAPER, INK, PAPER]


def test_upright_words_are_set_where_level_ones_would_be_turned_to():
    level = pixels(Paper((40, 40), (Text((20, 20), "12.5", "middle"),)))
    upward = pixels(Paper((40, 40), (Text((20, 20), "12.5", "middle", upward=True),)))
    for seen, turned in ((level, False), (upward, True)):
        rows, columns = np.nonzero(seen < 128)
        extents = (np.ptp(columns), np.ptp(rows))
        assert (extents[1] > extents[0]) == turned
        assert np.abs([np.mean(rows) - 157, np.mean(columns) - 157]).max() < 6


def test_labels_that_crowd_move_apart_about_their_middle():
    assert _apart([10.0, 11.0, 12.0], 4.0) == pytest.approx([7, 11, 15])
    assert _apart([0.0, 10.0, 10.5], 4.0) == pytest.approx([0, 8.25, 12.25])
    assert _apart([3.0, 9.0], 4.0) == [3.0, 9.0]
    assert _apart([], 4.0) == []


def test_other_endings_are_refused_before_anything_is_written(tmp_path):
    with pytest.raises(ValueError, match="a drawing is a .png or .svg"):
        write_section(plain("rocks"), measure(plain("rocks")), tmp_path / "a.png", tmp_path / "a.pdf")
    assert list(tmp_path.iterdir()) == []
