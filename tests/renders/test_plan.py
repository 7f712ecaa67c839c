"""The table plan is to scale: places are read off the drawn picture, in pixels."""

import json

import numpy as np
import pytest
from PIL import Image

from brimcast.renders.adjust import display
from brimcast.renders.images import write_png
from brimcast.renders.plan import Circle, Plan, arrange, draw_table_plan

CELL_MM = 0.5
PLAIN = 0.2


def table(nx=420, ny=360, x0_mm=-100.0, y0_mm=-110.0):
    """Return a plain grey table and its cell centres."""
    x_mm = x0_mm + CELL_MM * (np.arange(nx) + 0.5)
    y_mm = y0_mm + CELL_MM * (np.arange(ny) + 0.5)
    return np.full((ny, nx, 3), PLAIN, np.float32), x_mm, y_mm


def mark(light, x_mm, y_mm, at):
    """Light one cell in red and return its centre, mm."""
    column, row = (int(np.argmin(np.abs(axis - place))) for axis, place in zip((x_mm, y_mm), at, strict=True))
    light[row, column] = (1, 0, 0)
    return x_mm[column], y_mm[row]


def plan_of(light, x_mm, y_mm, **more):
    return Plan("Table", "draft", light, x_mm, y_mm, PLAIN, **more)


def red_spots(sheet):
    """Return the centres of red squares, (right, down), by columns then rows."""
    down, right = np.nonzero((sheet == (255, 0, 0)).all(axis=-1))
    return right, down


def test_scale_read_off_two_marked_cells_fits_circle_and_bar():
    """Everything on the sheet has the scale of its cells, to a pixel."""
    light, x_mm, y_mm = table()
    a = mark(light, x_mm, y_mm, (-60, -80))
    b = mark(light, x_mm, y_mm, (90, 50))
    foot = Circle(4.0, -3.0, 35.0)
    plan = plan_of(light, x_mm, y_mm, circles=(foot,))
    sheet = draw_table_plan(plan)

    # Read the scale and the places of the marked cells, which know nothing of the layout.
    right, down = red_spots(sheet)
    west, east = right[right < right.mean()], right[right > right.mean()]
    lower, upper = down[down > down.mean()], down[down < down.mean()]
    px_per_mm = (east.mean() - west.mean()) / (b[0] - a[0])
    assert (lower.mean() - upper.mean()) / (b[1] - a[1]) == pytest.approx(px_per_mm, rel=1e-12)
    assert len(west) == len(east) == (CELL_MM * px_per_mm) ** 2

    # The foot: dark crossings of its ring along the row and the column through its centre.
    centre_x = west.mean() + 0.5 + (foot.x_mm - a[0]) * px_per_mm
    centre_y = lower.mean() + 0.5 - (foot.y_mm - a[1]) * px_per_mm
    radius = foot.radius_mm * px_per_mm
    for strip, centre in ((sheet[int(centre_y)], centre_x), (sheet[:, int(centre_x)], centre_y)):
        dark = np.nonzero((strip < 60).all(axis=-1))[0] + 0.5
        for side in (-1, 1):
            ring = dark[np.abs(dark - centre - side * radius) < 6]
            assert ring.mean() == pytest.approx(centre + side * radius, abs=1)
            assert len(ring) <= 3

    # The scale bar: the longest dark run at its height.
    layout = arrange(plan)
    dark = np.nonzero((sheet[round(layout.scale_bar[1])] < 60).all(axis=-1))[0]
    runs = np.split(dark, np.nonzero(np.diff(dark) > 1)[0] + 1)
    assert max(map(len, runs)) == pytest.approx(layout.scale_mm * px_per_mm, abs=1)
    assert layout.scale_mm == 50


def test_plus_y_is_up_and_plus_x_is_right():
    light, x_mm, y_mm = table()
    light[-40:, -60:] = (0, 0, 1)
    sheet = draw_table_plan(plan_of(light, x_mm, y_mm))
    left, top, right, bottom = arrange(plan_of(light, x_mm, y_mm)).frame
    assert sheet[top + 30, right - 30].tolist() == [0, 0, 255]
    assert sheet[bottom - 30, left + 30].tolist() == display(np.full(3, PLAIN)).tolist()


def test_place_of_the_datum_follows_the_cell_centres():
    light, x_mm, y_mm = table()
    at = mark(light, x_mm, y_mm, (20.25, 30.25))
    plan = plan_of(light, x_mm, y_mm)
    right, down = red_spots(draw_table_plan(plan))
    assert arrange(plan).place(*at) == pytest.approx((right.mean() + 0.5, down.mean() + 0.5))


@pytest.mark.parametrize("ground", [0.0, 0.2, 1.0])
def test_foot_reads_on_any_ground(ground):
    """Along the ring's radius the lightness must swing by a third of its range or more."""
    light, x_mm, y_mm = table()
    light[:] = ground
    plan = plan_of(light, x_mm, y_mm, circles=(Circle(0, 0, 35), Circle(0, 0, 42, "mouth")))
    sheet, layout = draw_table_plan(plan).astype(int), arrange(plan)
    for radius_mm in (35, 42):
        swings = []
        for turn in np.linspace(0, 2 * np.pi, 200, endpoint=False):
            reach = np.linspace(-6, 6, 49) + radius_mm * layout.px_per_mm
            x = (layout.zero[0] + reach * np.cos(turn)).astype(int)
            y = (layout.zero[1] + reach * np.sin(turn)).astype(int)
            swings.append(np.ptp(sheet[y, x, 1]))
        drawn = np.mean(np.array(swings) > 85)
        # The foot all round; the mouth in dashes that fill more than half of it.
        assert drawn == 1 if radius_mm == 35 else 0.5 < drawn < 0.9


def test_strip_shows_the_greys_of_its_stops():
    light, x_mm, y_mm = table()
    plan = plan_of(light, x_mm, y_mm)
    sheet, layout = draw_table_plan(plan), arrange(plan)
    row = sheet[layout.footer + 56, layout.frame[0] + 2 :]
    greys = [row[0].tolist()]
    for pixel in row.tolist():
        if pixel != greys[-1]:
            greys.append(pixel)
    # 0.2 is white from +2.3, so the strip ends with +3.
    for stop, grey in zip(range(-5, 4), greys, strict=False):
        assert grey == display(np.full(3, PLAIN * 2.0**stop)).tolist()


@pytest.mark.parametrize(
    ("azimuth_deg", "side"), [(0, "bottom"), (90, "left"), (120, "left"), (180, "top"), (270, "right")]
)
def test_arrow_stands_on_the_lamps_side_and_points_at_the_datum(azimuth_deg, side):
    """Azimuth 0 is the camera's side, below; 90 is left; 180 above; 270 right."""
    light, x_mm, y_mm = table(400, 400, -100, -100)
    with_lamp = plan_of(light, x_mm, y_mm, lamps=(("", azimuth_deg),))
    sheet, layout = draw_table_plan(with_lamp), arrange(with_lamp)
    left, top, right, bottom = layout.frame
    # Dark, not grey: the arrow, and the camera's mark and frame, which are left out.
    window = {
        "bottom": (slice(bottom + 62, layout.footer - 70), slice(left, right)),
        "left": (slice(top, bottom), slice(0, left - 62)),
        "top": (slice(top - 100, top - 12), slice(left, right)),
        "right": (slice(top, bottom), slice(right + 12, layout.size[0])),
    }[side]
    down, across = np.nonzero((sheet[window] < 50).all(axis=-1))
    points = np.stack([across + window[1].start + 0.5, down + window[0].start + 0.5], axis=1) - layout.zero
    azimuth = np.radians(azimuth_deg)
    out = np.array([-np.sin(azimuth), np.cos(azimuth)])
    along, aside = points @ out, points @ [out[1], -out[0]]
    # On the ray from the datum, and widest in the half nearer to it: the head.
    assert abs(aside.mean()) < 1
    assert 40 < np.ptp(along) < 70
    middle = (along.min() + along.max()) / 2
    assert np.ptp(aside[along < middle]) > 3 * np.ptp(aside[along > middle])


def test_light_of_too_many_cells_is_averaged_in_linear_light():
    """A checkerboard of black and white averages to half the light, not half the code."""
    x_mm = 0.1 * (np.arange(4200) + 0.5) - 210
    y_mm = 0.1 * (np.arange(60) + 0.5) - 3
    light = np.zeros((60, 4200, 3), np.float32)
    light[::3, ::3] = 9 * 0.5
    plan = plan_of(light, x_mm, y_mm)
    sheet, layout = draw_table_plan(plan), arrange(plan)
    left, top, right, bottom = layout.frame
    assert (right - left, bottom - top) == (1400, 20)
    assert layout.px_per_mm == pytest.approx(1 / 0.3)
    assert sheet[top + 4 : top + 8, left + 5 : left + 60].tolist() == [[[188] * 3] * 55] * 4


def test_sheet_depends_on_what_it_is_told():
    light, x_mm, y_mm = table(100, 100, -25, -25)
    plain = draw_table_plan(plan_of(light, x_mm, y_mm))
    told = draw_table_plan(plan_of(light, x_mm, y_mm, relative=True))
    assert told.shape[0] > plain.shape[0]
    assert np.array_equal(plain, draw_table_plan(plan_of(light, x_mm, y_mm)))
    # At least 1000 px on the long side of the picture.
    left, top, right, bottom = arrange(plan_of(light, x_mm, y_mm)).frame
    assert (right - left, bottom - top) == (1000, 1000)


def test_plan_goes_into_a_png_with_its_settings(tmp_path):
    light, x_mm, y_mm = table(100, 80)
    sheet = draw_table_plan(plan_of(light, x_mm, y_mm, lamps=(("Küche/日", 200),), note="reflective only"))
    write_png(tmp_path / "plan.png", sheet, {"seed": 3})
    with Image.open(tmp_path / "plan.png") as seen:
        assert np.array_equal(np.asarray(seen), sheet)
        assert json.loads(seen.text["brimcast"]) == {"seed": 3}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"light": np.zeros((5, 4, 3))}, "light is"),
        ({"x_mm": np.array([0.0, 1.0, 3.0, 4.0])}, "one step"),
        ({"y_mm": np.array([3.0, 2.0, 1.0, 0.0])}, "one step"),
        ({"plain_level": 0.0}, "plain_level"),
    ],
)
def test_wrong_plan_is_named(change, words):
    cells = np.arange(4.0)
    right = {"light": np.zeros((4, 4, 3)), "x_mm": cells, "y_mm": cells, "plain_level": 0.2}
    with pytest.raises(ValueError, match=words):
        Plan("Table", "draft", **(right | change))


def test_wrong_circle_is_named():
    with pytest.raises(ValueError, match="radius_mm"):
        Circle(0, 0, 0)
    with pytest.raises(ValueError, match="part"):
        Circle(0, 0, 3, "rim")
