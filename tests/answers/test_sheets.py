"""Contact sheets, plots and films drawn from light that is known."""

import json

import numpy as np
import pytest
from PIL import Image

from brimcast.renders.adjust import display
from brimcast.renders.answers import plots, sheets, sweeps
from brimcast.renders.answers.answer import entry
from brimcast.renders.answers.variations import Variation, list_variants
from brimcast.renders.plan import Circle

CELL_MM = 0.5
SET = """
brimcast: 1
props: {{ball: {{shape: ball, diameter: 9 mm, material: soda-lime}}}}
lamps: {{key: {{kind: disc, diameter: 10 mm, {reading}}}}}
"""


def make_view(level, left=-40.0, box=(-30.0, 30.0, -20.0, 20.0)):
    """Return a view of 80 x 60 mm, even but for one bright square of 10 mm at x 10 to 20, y 0 to 10."""
    x = left + (np.arange(160) + 0.5) * CELL_MM
    y = -30 + (np.arange(120) + 0.5) * CELL_MM
    light = np.full((120, 160, 3), level)
    bright = np.outer((y > 0) & (y < 10), (x > 10) & (x < 20))
    light[bright] = 4 * level
    return sweeps.View(x, y, light, level, box, (Circle(0.0, 0.0, 8.0),))


def test_extent_holds_all_boxes_at_one_scale():
    views = [make_view(0.1), make_view(0.1, box=(-10.0, 38.0, -28.0, 0.0))]
    extent = sheets.find_extent(views, (340, 420))
    assert (extent.left, extent.right, extent.near, extent.far) == (-30, 38, -28, 20)
    assert extent.px_per_mm == pytest.approx(5.0) and extent.size_px == (340, 240)
    # What no map shows is not shown.
    wide = make_view(0.1, box=(-90.0, 30.0, -20.0, 20.0))
    assert sheets.find_extent([wide], (340, 420)).left == -40
    with pytest.raises(ValueError, match="no view"):
        sheets.find_extent([sweeps.View(wide.x_mm, wide.y_mm, None, 0.1, None, ())], (340, 420))


def test_light_lies_to_scale_and_equal_light_looks_equal():
    views = [make_view(0.05), make_view(0.1, left=-36.0)]
    extent = sheets.find_extent(views, (300, 300))
    tiles = [sheets.show_table(view, extent, 0.5) for view in views]

    def at(tile, x_mm, y_mm):
        right, down = extent.place(x_mm, y_mm)
        return tile[int(down), int(right)]

    for tile, level in zip(tiles, (0.05, 0.1), strict=True):
        assert at(tile, -20, 5) == pytest.approx(display(np.full(3, 0.5 * level)), abs=1)
        assert at(tile, 15, 5) == pytest.approx(display(np.full(3, 2 * level)), abs=1)
        bright = np.all(np.abs(tile - display(np.full(3, 2 * level))) <= 1, axis=-1)
        assert bright.sum() / extent.px_per_mm**2 == pytest.approx(100, rel=0.03)


def test_beyond_a_map_nothing_is_made_up():
    narrow = make_view(0.1, left=-10.0, box=(-5.0, 30.0, -20.0, 20.0))
    extent = sheets.find_extent([make_view(0.1), narrow], (300, 300))
    tile = sheets.show_table(narrow, extent, 1.0)
    assert tuple(tile[20, 5]) == sheets.BLANK


def test_bar_of_scale_is_as_long_as_it_says():
    extent = sheets.find_extent([make_view(0.0)], (300, 300))
    tile = sheets.show_table(make_view(0.0), extent, 1.0)
    row = tile[extent.size_px[1] - 12]
    paper = np.flatnonzero(np.all(row == sheets.strokes.PAPER, axis=-1))
    length_px = paper.max() - paper.min() - 3
    assert length_px == pytest.approx(extent.bar_mm * extent.px_per_mm, abs=1.5)


def test_gain_keeps_the_camera_but_for_tables_that_would_clip(study_of):
    bare = study_of(SET.format(reading="")).built
    assert sweeps.choose_gain(bare, [make_view(3.0)]) == 1
    reading = "reading: {f_number: f/8, distance: 1 m, receptor: flat}"
    blind = study_of(SET.format(reading=reading)).built
    assert sweeps.choose_gain(blind, [make_view(0.03), make_view(0.06)]) == pytest.approx(10)
    seen = study_of(SET.format(reading=reading) + "camera: {}").built
    assert sweeps.choose_gain(seen, [make_view(0.05), make_view(0.2)]) == 1
    assert sweeps.choose_gain(seen, [make_view(0.05), make_view(3.0)]) == pytest.approx(0.2)


def test_sheet_has_every_tile_in_its_place():
    tiles = [np.full((50, 160, 3), level, float) for level in (10, 20, 30, 40, 50)]
    sheet = sheets.lay_sheet(tiles, list("abcde"), 3, "Title", ["line"])
    places = [np.argwhere(np.all(sheet == level, axis=-1)).min(axis=0) for level in (10, 20, 30, 40, 50)]
    rows, columns = np.array(places).T
    assert rows[0] == rows[1] == rows[2] < rows[3] == rows[4]
    assert columns[0] == columns[3] < columns[1] == columns[4] < columns[2]


def test_many_tiles_make_no_endless_sheet():
    across, down = sheets.fit_tiles(1000)
    assert 1000 * across * down <= sheets.MOST_PX * 1.001
    assert sheets.fit_tiles(5) == sheets.TILE_PX
    across, down = sheets.fit_film(1000, 4)
    assert 1000 * 4 * across * down <= sheets.MOST_FILM_PX * 1.001


def test_film_has_a_frame_a_step_and_its_settings(tmp_path):
    tile = np.full((80, 100, 3), 90.0)
    frames = [sheets.lay_frame([tile], [""], f"throw {n} m", "Title", "the bar is 10 mm") for n in range(4)]
    sheets.write_film(tmp_path / "film.webp", frames, {"seed": 7})
    with Image.open(tmp_path / "film.webp") as film:
        assert film.format == "WEBP" and film.n_frames == 4 and film.info["loop"] == 0
        assert json.loads(film.getexif()[0x010E]) == {"seed": 7}
        shown = []
        for number in range(4):
            film.seek(number)
            shown.append(np.asarray(film.convert("RGB"), float))
    assert shown[0].shape == frames[0].shape
    # The value is written in each; the table is the same in all.
    assert all(np.abs(shown[0] - other)[:130].max() > 60 for other in shown[1:])
    assert all(np.abs(shown[0] - other)[150:210].max() < 12 for other in shown[1:])


def make_measures(variants, error):
    """Return measures that tell a line of two variations: width = 3 - first + 10 second."""
    return [
        {
            "key.plain_table": entry(100.0, None, "lx s"),
            "key.refractive.line_width_mm": entry(3.0 - at[0] + 10 * at[-1] * (len(at) > 1), error, "mm"),
            "key.refractive.length_mm": entry(None if at[0] == 1 else 7.0, None, "mm"),
        }
        for at in (variant.places for variant in variants)
    ]


def test_plots_draw_values_bands_and_gaps():
    first = Variation("lamps.key.throw", ("1 m", "2 m", "4 m"), (1.0, 2.0, 4.0), "m")
    second = Variation("glasses.hero.vessel", ("highball", "pint"))
    variants = list_variants([first, second])
    measures = make_measures(variants, 0.5)
    pages = plots.list_pages(measures)
    assert list(pages) == ["key-refractive", "light"]
    page = plots.draw_page(*pages["key-refractive"], (first, second), variants, measures, "note")
    assert page.dtype == np.uint8 and page.ndim == 3
    # Readable in black and white: nothing has a colour.
    assert np.ptp(page.astype(int), axis=-1).max() <= 2

    drawn = draw_one_panel(first, second, variants, measures)
    lines, bands = drawn.get_lines(), drawn.collections
    assert [line.get_ydata().tolist() for line in lines] == [[3, 2, 1], [13, 12, 11]]
    assert lines[0].get_xdata().tolist() == [1, 2, 4]
    assert lines[0].get_linestyle() != lines[1].get_linestyle()
    box = bands[0].get_datalim(drawn.transData)
    assert (box.ymin, box.ymax) == (0.5, 3.5)


def test_upper_limits_are_told_as_such(tmp_path):
    """A width that the cells tell no more of: hollow on the plot, a word in the table."""
    first = Variation("lamps.key.throw", ("1 m", "2 m", "4 m"), (1.0, 2.0, 4.0), "m")
    variants = list_variants([first])
    measures = [
        {"key.refractive.line_width_mm": entry(wide, 0.1, "mm") | ({"upper_limit": True} if wide < 3 else {})}
        for wide in (3.5, 2.9, 2.6)
    ]
    line, hollow = draw_one_panel(first, None, variants, measures).get_lines()
    assert line.get_ydata().tolist() == [3.5, 2.9, 2.6]
    assert hollow.get_xydata().tolist() == [[2, 2.9], [4, 2.6]] and hollow.get_markerfacecolor() == "white"
    sweeps.write_csv(tmp_path / "measures.csv", [first], variants, measures)
    head, *rows = (line.split(",") for line in (tmp_path / "measures.csv").read_text().splitlines())
    place = head.index("key.refractive.line_width_mm.upper_limit")
    assert [row[place] for row in rows] == ["", "yes", "yes"]


def draw_one_panel(first, second, variants, measures):
    from matplotlib.figure import Figure

    panel = Figure().subplots()
    variations = (first,) if second is None else (first, second)
    plots._draw_panel(panel, "key.refractive.line_width_mm", variations, variants, measures)
    return panel


def test_words_are_points_with_bars_side_by_side():
    words = Variation("glasses.hero.vessel", ("highball", "pint"))
    throws = Variation("lamps.key.throw", ("1 m", "2 m"), (1.0, 2.0), "m")
    variants = list_variants([words, throws])
    panel = draw_one_panel(words, throws, variants, make_measures(variants, 0.5))
    points = [bars.lines[0].get_xydata() for bars in panel.containers]
    assert [list(each[:, 1]) for each in points] == [[3, 2], [13, 12]]
    assert np.abs(points[0][:, 0] - [0, 1]).max() < 0.25 and np.all(points[0][:, 0] < points[1][:, 0])
    assert [text.get_text() for text in panel.get_xticklabels()] == ["highball", "pint"]


def test_headings_near_the_camera_side_do_not_jump():
    first = Variation("a", ("1", "2"), (1.0, 2.0), "")
    variants = list_variants([first])
    measures = [{"key.refractive.heading_deg": entry(deg, 0.1, "deg")} for deg in (359.0, 2.0)]
    values, _, _ = plots._read_line("key.refractive.heading_deg", None, 2, variants, measures)
    assert values.tolist() == [359, 362]


def test_unknown_values_and_errors_leave_gaps():
    first = Variation("a", ("1", "2", "3"), (1.0, 2.0, 3.0), "")
    variants = list_variants([first])
    values, errors, _ = plots._read_line(
        "key.refractive.length_mm", None, 3, variants, make_measures(variants, 0.5)
    )
    assert np.isnan(values).tolist() == [False, True, False] and np.isnan(errors).all()
