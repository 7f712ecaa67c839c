"""Measures on maps whose answers are known: closed forms, published optics, independent libraries."""

import dataclasses

import numpy as np
import pytest
from scipy.special import erf
from scipy.stats import norm
from shapely.geometry import Point, Polygon, box

from brimcast.renders.measures import MAP_MEASURES, TableLight, measure, sum_flux
from brimcast.renders.outlines import measure_area
from brimcast.renders.peaks import average, cover, find_peak

CELLS_MM = (0.25, 0.5, 1.0)
FWHM = 2 * np.sqrt(2 * np.log(2))
RISE = norm.ppf(0.9) - norm.ppf(0.1)


def paint(function, cell_mm, half_mm=40.0, shift_mm=(0.0, 0.0), parts=4):
    """Return cell centres and the mean of a function over each cell, from parts x parts points."""
    count = round(2 * half_mm / cell_mm)
    fine = (np.arange(count * parts) + 0.5) / parts * cell_mm - half_mm
    x, y = np.meshgrid(fine + shift_mm[0], fine + shift_mm[1])
    values = function(x, y).reshape(count, parts, count, parts).mean(axis=(1, 3))
    centres = (np.arange(count) + 0.5) * cell_mm - half_mm
    return centres + shift_mm[0], centres + shift_mm[1], values


def light_of(x, y, luminous, blue=None, red=None, total=None):
    """Return a table light whose other maps default to the luminous one."""
    others = [luminous if m is None else m for m in (blue, red, total)]
    return TableLight(x, y, luminous, *others)


def read(x, y, luminous, plain=1.0, foot_radius_mm=0.0, **others):
    return measure(light_of(x, y, luminous, **others), plain, foot_radius_mm)


def turn(angle_deg, centre_mm=(0.0, 0.0)):
    """Return a function from x, y to coordinates across and along a line at an angle."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return lambda x, y: (
        (x - centre_mm[0]) * c + (y - centre_mm[1]) * s,
        (y - centre_mm[1]) * c - (x - centre_mm[0]) * s,
    )


def lay(across, angle_deg, cell_mm, centre_mm=(2.0, 3.0), shift_mm=(0.0, 0.0), along_mm=15.0):
    """Return a map of a line with the given profile across and a Gaussian one along."""
    frame = turn(angle_deg, centre_mm)

    def function(x, y):
        s, t = frame(x, y)
        return across(s) * np.exp(-(t**2) / (2 * along_mm**2))

    return paint(function, cell_mm, shift_mm=shift_mm)


# The peak.


def test_disc_covers_cells_as_shapely_says():
    """Independent library: shapely's intersection of a 4096-gon with each cell."""
    width, height, radius = 0.31, 0.47, 0.5
    left, bottom = np.arange(-3, 3) * width + 0.07, np.arange(-3, 3) * height - 0.11
    disc = Point(0, 0).buffer(radius, quad_segs=1024)
    wanted = [[disc.intersection(box(u, v, u + width, v + height)).area for u in left] for v in bottom]
    found = cover(left, bottom, width, height, radius)
    # The polygon is short of the circle by 4e-7 of its area.
    assert found == pytest.approx(np.array(wanted) / (np.pi * radius**2), abs=1e-6)
    assert found.sum() == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("cell", CELLS_MM)
def test_peak_is_the_largest_disc_of_all_that_could_be_tried(cell):
    rng = np.random.default_rng(3)
    x, y, values = paint(lambda x, y: rng.gamma(0.5, size=x.shape), cell, half_mm=6.0, parts=1)
    lattice = np.arange(-6, 6, min(cell, 0.25)) + (0 if cell > 0.25 else 0.125)
    tried = [average(x, y, values, (u, v)) for u in lattice for v in lattice]
    assert find_peak(x, y, values).mean == pytest.approx(max(tried), rel=1e-12)


def test_peak_over_table_counts_all_the_light_on_the_disc():
    x, y, m = lay(lambda s: 3.0 * (np.abs(s) < 4), 0.0, 0.5)
    found = read(x, y, m, plain=2.0, total=m + 5.0)
    assert found["peak_over_table_stops"] == pytest.approx(2.0, abs=0.01)


# The bright line.


@pytest.mark.parametrize("angle", (0.0, 17.0, 45.0, 118.0))
@pytest.mark.parametrize("cell", CELLS_MM)
def test_width_of_a_gaussian_line_is_2_355_sigma(cell, angle):
    """Averaging over a cell h adds h²/12 to the variance; the reading does no worse than 2 %."""
    for shift in ((0.0, 0.0), (0.31 * cell, 0.47 * cell)):
        sigma = max(1.0, cell)
        found = read(*lay(lambda s, w=sigma: np.exp(-(s**2) / (2 * w**2)), angle, cell, shift_mm=shift))
        assert found["line_width_mm"] == pytest.approx(FWHM * np.sqrt(sigma**2 + cell**2 / 12), rel=0.02)
        assert found["line_width_mm"] == pytest.approx(FWHM * sigma, rel=0.06)


@pytest.mark.parametrize("angle", (0.0, 17.0, 45.0, 118.0))
@pytest.mark.parametrize("cell", CELLS_MM)
def test_edge_is_the_sharper_of_two_sides(cell, angle):
    """Error-function sides of sigma 1 mm and 2 mm; the 10-90 % rise is 2.563 sigma (scipy.stats.norm)."""

    def across(s):
        return np.clip(0.5 * (erf((s + 6) / np.sqrt(2)) - erf((s - 6) / np.sqrt(8))), 0, None)

    found = read(*lay(across, angle, cell))
    assert found["edge_10_90_mm"] == pytest.approx(RISE * np.sqrt(1 + cell**2 / 12), rel=0.02)
    assert found["line_width_mm"] == pytest.approx(12.0, abs=0.1)


@pytest.mark.parametrize("angle", (0.0, 17.0, 45.0, 118.0))
@pytest.mark.parametrize("cell", CELLS_MM)
def test_sharp_band_keeps_its_width_and_its_edge_is_under_a_cell_and_a_half(cell, angle):
    found = read(*lay(lambda s: 1.0 * (np.abs(s) < 3), angle, cell, shift_mm=(0.31 * cell, 0.47 * cell)))
    # Edges painted from 4 points a cell are placed no better than an eighth of a cell each.
    assert found["line_width_mm"] == pytest.approx(6.0, abs=0.25 * cell)
    assert 0.5 * cell < found["edge_10_90_mm"] < 1.5 * cell


def test_width_is_taken_over_the_base():
    x, y, m = lay(lambda s: np.exp(-(s**2) / 2), 30.0, 0.25)
    found = read(x, y, m + 0.5)
    assert found["line_width_mm"] == pytest.approx(read(x, y, m)["line_width_mm"], rel=1e-3)


def test_edge_of_a_penumbra_is_four_fifths_of_it(published):
    """published_values.yaml#analytic_optics/umbra_penumbra, all lengths divided by five.

    The source is a uniform strip, so the light over the edge rises in a straight line.
    """
    case = published["analytic_optics"]["umbra_penumbra"]["value"]
    source, edge, table = (case[k] * 1000 / 5 for k in ("S_m", "a_m", "b_m"))
    wanted = 0.8 * case["penumbra_m"] * 1000 / 5

    # Light from each point of the strip through a slit of 6 mm falls on the table as a shifted band.
    points = (np.arange(400) + 0.5) / 400 * source - source / 2
    opening = 6.0 / (1 + table / edge)

    def across(s):
        inside = np.abs((s[..., None] + points * table / edge) / (1 + table / edge)) < opening / 2
        return inside.mean(axis=-1)

    grid = np.linspace(-12, 12, 9601)
    profile = across(grid)
    found = read(*lay(lambda s: np.interp(s, grid, profile), 25.0, 0.25))
    assert found["edge_10_90_mm"] == pytest.approx(wanted, rel=0.02)
    assert found["line_width_mm"] == pytest.approx(6.0, abs=0.05)


@pytest.mark.parametrize("cell", CELLS_MM)
@pytest.mark.parametrize("angle", (0.0, 33.0, 200.0))
def test_colour_spread_is_how_far_blue_lies_beyond_red(cell, angle):
    """The line lies at (20 cos, 20 sin) from the datum; blue is shifted outward, then inward."""
    centre = 20 * np.cos(np.radians(angle)), 20 * np.sin(np.radians(angle))

    def colour(shift):
        x, y, m = lay(lambda s: np.exp(-((s - shift) ** 2) / 2), angle, cell, centre)
        return x, y, 0.1 + m

    x, y, green = colour(0.0)
    outer, inner = colour(0.5)[2], colour(-0.3)[2]
    found = read(x, y, green, blue=7 * outer, red=inner)
    # A base of a tenth under the line must not draw the centroids together; the lines' tails do by 0.01.
    assert found["colour_spread_mm"] == pytest.approx(0.8, abs=0.03)
    assert read(x, y, green, blue=inner, red=outer)["colour_spread_mm"] == pytest.approx(-0.8, abs=0.03)


# The outline.


def paint_wedge(azimuth_deg, cell_mm, shift_mm=(0.0, 0.0)):
    """Return a map whose contours are copies of one triangle, and the triangle's centroid and corners.

    M falls by three stops from the centroid to the triangle, in proportion to the way out.
    """
    a = np.radians(azimuth_deg)
    out, side = np.array([-np.sin(a), -np.cos(a)]), np.array([np.cos(a), -np.sin(a)])
    corners = np.array([38.0 * out, 14.0 * out + 7 * side, 14.0 * out - 7 * side])
    middle = corners.mean(axis=0)

    def gauge(x, y):
        sides = []
        for k in range(3):
            along = corners[(k + 1) % 3] - corners[k]
            normal = np.array([along[1], -along[0]])
            reach = (corners[k] - middle) @ normal
            sides.append(((x - middle[0]) * normal[0] + (y - middle[1]) * normal[1]) / reach)
        return np.max(sides, axis=0)

    x, y, m = paint(lambda x, y: np.exp2(-3 * gauge(x, y)), cell_mm, half_mm=45.0, shift_mm=shift_mm, parts=2)
    # The peak is a mean over a disc round the cone's point: the contour lies that much farther out.
    u, v = np.meshgrid(*[np.linspace(-0.5, 0.5, 201)] * 2)
    disc = np.hypot(u, v) <= 0.5
    peak = np.exp2(-3 * gauge(middle[0] + u[disc], middle[1] + v[disc])).mean()
    return x, y, m, middle, middle + (corners - middle) * (1 - np.log2(peak) / 3)


@pytest.mark.parametrize("azimuth", (0.0, 70.0, 135.0, 250.0))
@pytest.mark.parametrize("cell", CELLS_MM)
def test_wedge_has_its_tip_length_and_heading(cell, azimuth):
    x, y, m, _, corners = paint_wedge(azimuth, cell, (0.2 * cell, 0.4 * cell))
    found = read(x, y, m, foot_radius_mm=12.0)
    # A corner of 33 degrees is blunt by the mean over a cell, and cut at the last line between centres.
    assert np.hypot(*(np.array(found["tip_mm"]) - corners[0])) < 2 * cell
    assert found["length_mm"] == pytest.approx(np.hypot(*corners[0]) - 12.0, abs=2 * cell)
    # All contours share the centroid of the triangle, so the flux does too: it lies on the azimuth.
    off = (found["heading_deg"] - azimuth + 180) % 360 - 180
    assert abs(off) < 0.2 * cell


@pytest.mark.parametrize(
    ("point", "azimuth"), (((0, -20), 0.0), ((-20, 0), 90.0), ((0, 20), 180.0), ((20, 0), 270.0))
)
def test_heading_follows_the_clock(point, azimuth):
    x, y, m = paint(lambda x, y: np.exp(-((x - point[0]) ** 2 + (y - point[1]) ** 2) / 8), 0.5)
    assert (read(x, y, m)["heading_deg"] - azimuth + 1) % 360 == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("cell", CELLS_MM)
def test_area_of_a_bell_is_that_of_its_half_height_circle(cell):
    """exp(-k r²) on a disc of radius 0.5 mm averages (1 - exp(-k/4)) / (k/4)."""
    k = np.log(2) / 9.0**2
    peak = (1 - np.exp(-k / 4)) / (k / 4)
    wanted = np.pi * np.log(2 / peak) / k
    for shift in ((0.0, 0.0), (0.31 * cell, 0.47 * cell)):
        x, y, m = paint(lambda x, y: np.exp(-k * ((x - 5) ** 2 + (y + 3) ** 2)), cell, shift_mm=shift)
        assert read(x, y, m)["area_cm2"] * 100 == pytest.approx(wanted, rel=0.005)


def test_area_above_a_level_is_that_of_the_half_plane():
    """Independent library: shapely cuts the table along the level line of a plane."""
    x, y, m = paint(lambda x, y: 2 + x * 0.03 + y * 0.05, 0.5, half_mm=10.0, parts=2)
    level = 2.11
    ends = [((level - 2 - 0.05 * v) / 0.03, v) for v in (-10, 10)]
    wanted = box(-10, -10, 10, 10).intersection(Polygon([*ends, (500, 10), (500, -10)])).area
    assert 100 < wanted < 300
    # Only where the line leaves the map, over half a cell, is the map not linear to the border.
    assert measure_area(x, y, m, level) == pytest.approx(wanted, abs=2 * 0.5 * 0.25)


def test_bright_ring_of_a_ball_is_the_outline(published):
    """published_values.yaml#analytic_optics/ball_caustic_radius, table at 1.1 radii, n = 1.5."""
    wanted = published["analytic_optics"]["ball_caustic_radius"]["value"][1.1]
    radius, index, distance, cell = 20.0, 1.5, 1.1, 0.25
    side = (np.arange(1600) + 0.5) / 800 - 1
    u, v = np.meshgrid(side, side)
    h = np.hypot(u, v)
    keep = h < 0.98
    u, v, h = u[keep], v[keep], h[keep]
    bend = 2 * (np.arcsin(h) - np.arcsin(h / index))
    landing = (h - distance * np.sin(bend)) / np.cos(bend) / h * radius
    edges = np.arange(-40, 41) * cell
    m = np.histogram2d(v * landing, u * landing, bins=(edges, edges))[0]
    centres = (edges[1:] + edges[:-1]) / 2
    found = read(centres, centres, m)
    # The ring ends at a step, which a contour at an eighth puts within a cell outside.
    assert wanted * radius - 0.1 * cell < np.hypot(*found["tip_mm"]) < wanted * radius + cell


# What stays the same, and what is undefined.


def paint_bow(cell_mm=0.5):
    """Return a curved line with a tail and displaced colours: no symmetry to hide behind."""

    def bow(offset):
        def function(x, y):
            r, t = np.hypot(x - 4, y + 7), np.arctan2(y + 7, x - 4)
            line = np.exp(-((r - 22 - offset) ** 2) / (2 * np.where(r > 22 + offset, 0.9, 1.8) ** 2))
            return line * np.exp(-((t - 0.6) ** 2) / (2 * 0.35**2)) + 0.02

        return function

    x, y, green = paint(bow(0.0), cell_mm)
    return light_of(x, y, green, paint(bow(0.4), cell_mm)[2], paint(bow(-0.3), cell_mm)[2], green + 0.5)


def test_measures_turn_with_the_table():
    light = paint_bow()
    turned = TableLight(light.x_mm, light.y_mm, *(np.rot90(m) for m in dataclasses.astuple(light)[2:]))
    before, after = (measure(one, 1.0, 5.0) for one in (light, turned))
    # Row 0 is the lowest y, so rot90 turns the table clockwise seen from above.
    assert after.pop("heading_deg") == pytest.approx((before.pop("heading_deg") + 90) % 360, abs=1e-6)
    for key in ("tip_mm", "peak_mm"):
        x, y = before.pop(key)
        assert after.pop(key) == pytest.approx((y, -x), abs=1e-9)
    assert after == pytest.approx(before, rel=1e-6)


def test_measures_do_not_depend_on_the_unit_of_light():
    light = paint_bow()
    scaled = TableLight(light.x_mm, light.y_mm, *(1e-7 * m for m in dataclasses.astuple(light)[2:]))
    before, after = measure(light, 1.0, 5.0), measure(scaled, 1e-7, 5.0)
    for key in MAP_MEASURES:
        assert after[key] == pytest.approx(before[key], rel=1e-6), key


def test_spread_of_an_even_disc_is_its_radius_over_root_two():
    """Radius of gyration of a disc about its centre, any handbook of mechanics."""
    x, y, m = paint(lambda x, y: 1.0 * (np.hypot(x - 3, y + 5) < 12), 0.25)
    assert read(x, y, m)["spread_mm"] == pytest.approx(12 / np.sqrt(2), rel=0.01)


def test_peak_is_where_it_was_painted_and_counts_alone_without_other_light():
    x, y, m = paint(lambda x, y: 8 * np.exp(-((x - 7) ** 2 + (y + 4) ** 2) / 200), 0.5)
    found = measure(light_of(x, y, m, m, m, m + 8.0), 2.0, 5.0)
    assert found["peak_mm"] == pytest.approx((7, -4), abs=0.3)
    assert found["pattern_over_table_stops"] == pytest.approx(2.0, abs=0.01)
    assert found["peak_over_table_stops"] == pytest.approx(3.0, abs=0.01)


def test_keys_and_their_order():
    light = paint_bow()
    assert tuple(measure(light, 1.0, 5.0)) == MAP_MEASURES
    assert all(v is not None for v in measure(light, 1.0, 5.0).values())


def test_dark_map_has_no_measures():
    x, y, m = paint(lambda x, y: 0 * x, 1.0)
    found = read(x, y, m)
    assert set(found.values()) == {None}


def test_even_map_has_no_line_and_no_tip():
    x, y, m = paint(lambda x, y: 0 * x + 0.3, 0.5, half_mm=20.0)
    found = read(x, y, m, plain=0.3)
    assert found["peak_over_table_stops"] == pytest.approx(0.0, abs=1e-9)
    assert found["area_cm2"] == pytest.approx(16.0, rel=1e-9)
    for key in ("line_width_mm", "edge_10_90_mm", "colour_spread_mm", "tip_mm", "length_mm"):
        assert found[key] is None, key


def test_tip_beyond_the_map_is_undefined():
    x, y, m, *_ = paint_wedge(180.0, 0.5)
    assert read(x, y, m)["tip_mm"] is not None
    found = read(x, y[y < 30], m[y < 30])
    assert found["tip_mm"] is None and found["length_mm"] is None
    assert found["heading_deg"] == pytest.approx(180.0, abs=0.2)


def test_line_half_of_which_is_off_the_map_has_no_width():
    x, y, m = lay(lambda s: np.exp(-(s**2) / 8), 0.0, 0.5, centre_mm=(39.0, 0.0))
    found = read(x, y, m)
    assert found["line_width_mm"] is None
    # The side that is on the map, a Gaussian of 2 mm, goes from 90 % to 10 % between these offsets.
    wanted = 2 * (np.sqrt(2 * np.log(10)) - np.sqrt(2 * np.log(1 / 0.9)))
    assert found["edge_10_90_mm"] == pytest.approx(wanted, rel=0.02)


def test_tip_under_the_foot_gives_no_length():
    x, y, m = paint(lambda x, y: np.exp(-((x - 2) ** 2 + y**2) / 8), 0.5)
    assert read(x, y, m, foot_radius_mm=30.0)["length_mm"] == 0.0


@pytest.mark.parametrize("shape", ((2, 2), (3, 40), (40, 3), (12, 12)))
@pytest.mark.parametrize("place", ((0, 0), (-1, -1), (1, 1)))
def test_one_bright_cell_on_a_small_map_is_measured(shape, place):
    """The nearest thing to no light: a cell of 0.25 mm² alone, also in a corner of the map."""
    x, y = (np.arange(n) * 0.5 + 7.0 for n in shape[::-1])
    m = np.zeros(shape)
    m[place] = 4.0
    found = read(x, y, m)
    assert tuple(found) == MAP_MEASURES
    if place == (1, 1) and shape == (12, 12):
        # The disc of 1 mm holds the cell and pi/4 mm² in all.
        assert found["peak_over_table_stops"] == pytest.approx(np.log2(4 * 0.25 / (np.pi / 4)))
        assert found["heading_deg"] == pytest.approx(225.0)


def test_faulty_maps_are_refused():
    x, y, m = paint(lambda x, y: 1 + 0 * x, 1.0, half_mm=5.0)
    for bad in (-1.0, np.nan, np.inf):
        wrong = m.copy()
        wrong[3, 4] = bad
        with pytest.raises(ValueError, match="finite and nowhere negative"):
            read(x, y, wrong)
    with pytest.raises(ValueError, match="shape"):
        read(x, y[1:], m)
    with pytest.raises(ValueError, match="ascending"):
        read(x[::-1], y, m)


def test_flux_is_sum_times_area():
    x, y, m = paint(lambda x, y: 2 + 0 * x, 0.5, half_mm=10.0)
    assert sum_flux(x, y, m) == pytest.approx(800.0)
