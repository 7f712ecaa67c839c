"""Questions 4, 5, 12, 14, 24 and 25 end to end: rays in plan, Beer and Lambert, and the trends of physics."""

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from brimcast.renders.answers.answer import Lacking
from brimcast.renders.answers.catalogue import QUESTIONS
from brimcast.scene.builder import build
from brimcast.scene.colourless import list_coloured, take_colour
from brimcast.shared.bands import GRID_NM
from brimcast.shared.errors import PersonError
from brimcast.shared.gels import describe
from brimcast.shared.spectra import daylight
from brimcast.vessels import dew

# A thin straight glass with hardly any base, so that what it throws on the table is a cylinder's light.
SET = """
brimcast: 1
glasses:
  hero:
    vessel:
      {outline: [[0 mm, 40 mm], [50 mm, 40 mm]], wall: 1 mm, base: 1 mm,
       fillet: 0.2 mm, heel: 0.2 mm, hollow: 0.1 mm, edge: cut}
    drink: {liquid: water, fill: 90 %}
lamps: {key: {kind: disc, diameter: 20 mm, throw: 2 m, elevation: 45 deg, azimuth: 180 deg}}
"""
RADIUS_MM, WATER, SODA_LIME = 20.0, 1.333, 1.52
ELEVATION_DEG = 45.0
# A beer of 12.7 SRM has a decadic absorbance of 1 at 430 nm over 10 mm (ASBC Methods of Analysis, Beer-10).
TANK = """
brimcast: 1
props:
  tank: {shape: slab, width: 60 mm, depth: 40 mm, thickness: 20 mm, material: {liquid: {beer: 12.7 SRM}}}
lamps: {key: {kind: disc, diameter: 20 mm, throw: 3 m, elevation: 90 deg, aim: tank}}
render: {cell: 2 mm}
"""
EMPTY = {"glasses.hero.drink": None}


@pytest.fixture(scope="module")
def study(study_of):
    return study_of(SET)


def ask(study, number):
    return QUESTIONS[number].answer(study).values


def trace_in_plan(radius_mm, wall_mm, cell_mm=0.25):
    """Return light over the plain table, (along, across), behind an upright cylinder of water in glass.

    Seen in plan, light of elevation e meets glass of index n as level light meets one of index
    sqrt(n^2 - sin^2 e) / cos e (A. Bravais; W. J. Humphreys, Physics of the Air; from memory), and keeps its
    elevation; so the table is as bright as the fan of rays is dense in plan, times what Fresnel lets through.

    Returns
    -------
    values : (n, m) float
    distance_mm, x_mm : (n,), (m,) float
        From the axis, away from the lamp and across.
    """
    dip = math.sin(math.radians(ELEVATION_DEG))
    radii, indices = [radius_mm, radius_mm - wall_mm], [1.0, SODA_LIME, WATER]
    steps = [(radii[k], indices[k], indices[k + 1], -1) for k in (0, 1)]
    steps += [(radii[k], indices[k + 1], indices[k], 1) for k in (1, 0)]
    rays = (np.arange(20_000) + 0.5) / 10_000 * radius_mm - radius_mm
    place = np.stack([rays, np.full_like(rays, -2 * radius_mm)])
    way = np.stack([np.zeros_like(rays), np.ones_like(rays)])
    passed = np.full_like(rays, 2 * radius_mm / rays.size)
    for radius, before, after, side in steps:
        half, gap = (place * way).sum(0), (place**2).sum(0) - radius**2
        meets = half**2 > gap
        place = place + way * np.where(meets, -half + side * np.sqrt(np.maximum(half**2 - gap, 0)), 0)
        normal = side * place / radius
        from_plan, to_plan = (math.sqrt(n**2 - dip**2) for n in (before, after))
        cos = (way * normal).sum(0)
        ratio = from_plan / to_plan
        square = 1 - ratio**2 * (1 - cos**2)
        bent = np.sqrt(np.maximum(square, 0))
        turned = ratio * way + (bent - ratio * cos) * normal
        # Cosines in space, for Fresnel's equations without polarisation.
        near, far = cos * from_plan / before, bent * to_plan / after
        s = (before * near - after * far) / (before * near + after * far)
        p = (after * near - before * far) / (after * near + before * far)
        passed = np.where(meets, np.where(square > 0, passed * (1 - (s**2 + p**2) / 2), 0), passed)
        way = np.where(meets, turned, way)
    x_edges = np.arange(-10, 10 + cell_mm, cell_mm)
    edges = np.arange(radius_mm, 2 * radius_mm + cell_mm, cell_mm)
    step, lit = 0.1, 0.0
    for far in np.arange(0, 1.5 * radius_mm, step):
        x, y = place + (far + step / 2) * way
        lit = lit + np.histogram2d(y, x, [edges, x_edges], weights=passed * step)[0] / cell_mm**2
    # The disc of a lamp 20 mm wide, 2 m off, over some 10 mm of way: as a bell of equal variance.
    blur_mm = 20 / 2000 * 10 / 4
    centres = [(ends[1:] + ends[:-1]) / 2 for ends in (edges, x_edges)]
    return gaussian_filter(lit, blur_mm / cell_mm), *centres


def find_brightest(lit, distance_mm, x_mm, size_mm=1.0):
    """Return distance from the axis and stops over the plain table of the brightest cell of a draft."""
    count = round(size_mm / (x_mm[1] - x_mm[0]))
    rows, columns = (len(each) // count for each in (distance_mm, x_mm))
    coarse = lit[: rows * count, : columns * count].reshape(rows, count, columns, count).mean((1, 3))
    row, _ = np.unravel_index(np.argmax(coarse), coarse.shape)
    return distance_mm[row * count : (row + 1) * count].mean(), math.log2(coarse.max())


def test_water_makes_the_light_of_a_cylinder_in_plan(study):
    """The useful accuracy: 3 mm, 1/3 stop."""
    found = ask(study, 4)
    distance_mm, stops = find_brightest(*trace_in_plan(RADIUS_MM, 1.0))
    x, y = found["made"]["place_mm"]["value"]
    assert abs(x) < 2 and -y == pytest.approx(distance_mm, abs=3)
    assert found["made"]["stops"]["value"] == pytest.approx(stops, abs=1 / 3)


def test_filled_glass_focuses_and_an_empty_one_hardly(study):
    answer = QUESTIONS[4].answer(study)
    found = answer.values
    assert found["brightness_change_stops"]["value"] > 1
    assert found["brightness_change_stops"]["standard_error"] < 1 / 3
    gain = (
        found["filled"]["peak_over_table_stops"]["value"] - found["empty"]["peak_over_table_stops"]["value"]
    )
    assert gain == pytest.approx(found["brightness_change_stops"]["value"])
    assert found["made"]["stops"]["value"] > found["lost"]["stops"]["value"] + 1
    assert answer.cautions and "empty" in answer.cautions[0]


def test_rough_ice_lowers_contrast(study_of):
    """A ball of matt acrylic that fills most of the glass; a polished one would be a lens itself."""
    ball = {"shape": "sphere", "diameter": "30 mm", "at": ["0 mm", "0 mm", "25 mm"]}
    ball |= {"material": "acrylic", "roughness": 0.3}
    found = ask(study_of(SET, {"glasses.hero.ice": [ball]}), 24)
    assert len(found["throws"]) == 1 and found["between_throws"]["contrast_left"]["value"] is None
    assert 0 < found["drink_contrast_left"]["value"] < 80
    assert found["contrast_left"]["value"] < 100 - 3 * found["contrast_left"]["standard_error"]
    assert found["light_left"]["value"] < 100 - 3 * found["light_left"]["standard_error"]


def test_mist_takes_no_more_than_meets_drops(study_of):
    """At most all light that meets a drop on its way in or out is gone: (1 - share covered)^2 is left."""
    mist = dew.Dew(6000, 0.25, 0.9, 40.0)
    camera = {"lens": "100 mm", "distance": "1 m", "elevation": "20 deg"}
    study = study_of(SET, {"camera": camera, "brief": {"file_width": 8000}})
    found = ask(study, 25)
    radii = dew.draw_power(np.random.default_rng(1), mist.count, 0.45, 0.125, dew.SIZE_POWER - 3)
    covered = np.pi * (radii**2).sum() / (2 * np.pi * RADIUS_MM * (45 - 1))
    left, error = found["light_left"]["value"] / 100, found["light_left"]["standard_error"] / 100
    assert (1 - covered) ** 2 - 3 * error < left < 1 - 3 * error
    assert found["assumed"] and found["drop_mm"]["value"] == pytest.approx(dew.typical_mm(mist))
    # A lens of 100 mm, 1 m off: m = 1 / 9, on 36 mm; the near wall is a fiftieth nearer.
    assert found["drop_px"]["value"] == pytest.approx(dew.typical_mm(mist) / 9 * 8000 / 36, rel=0.03)
    change, pixels = found["width_change_mm"]["value"], found["width_change_px"]["value"]
    assert pixels == pytest.approx(change / 9 * 8000 / 36, rel=0.03)


def test_beer_colours_as_beer_and_lambert_say(study_of):
    """Straight through 20 mm; the spectrum between is A. J. deLange's (see `liquids`); 5600 K light."""
    found = ask(study_of(TANK), 14)
    beyond = GRID_NM - 430
    shape = 0.02465 * np.exp(-beyond / 17.591) + 0.97535 * np.exp(-beyond / 82.122)
    expected = describe(daylight(5600.0), 10.0 ** (-2.0 * shape))
    for part in ("pattern", "brightest"):
        assert found[f"{part}_de00"]["value"] == pytest.approx(expected["delta_e_to_white"], abs=0.5)
        loss = found[f"{part}_loss_stops"]
        assert loss["value"] == pytest.approx(expected["loss_stops"], abs=0.01 + 3 * loss["standard_error"])
    assert found["coloured"] == ["beer, 12.7 SRM"]


@pytest.mark.parametrize(
    ("changes", "coloured"),
    [
        ({}, []),
        (EMPTY, []),
        ({"glasses.hero.glass": "crystal"}, []),
        ({"glasses.hero.glass": {"tint": "green"}}, ["soda-lime, green"]),
        ({"glasses.hero.drink.liquid": {"beer": "3 SRM"}}, ["beer, 3 SRM"]),
        ({"glasses.hero.drink.liquid": {"index": 1.33, "absorption": "2 /m"}}, ["plain"]),
    ],
)
def test_coloured_is_what_shows(study_of, changes, coloured):
    built = study_of(SET, changes).built
    assert list_coloured(built, ["hero"]) == coloured
    clear = take_colour(built, ["hero"])
    assert not any(medium.absorption_per_mm.any() for medium in clear.media)
    for before, after in zip(built.media, clear.media, strict=True):
        assert np.array_equal(before.index, after.index) and before.kind == after.kind
    assert clear.digest != built.digest and list_coloured(clear, ["hero"]) == []
    assert take_colour(built, ["other"]).media == built.media


LACKING = [
    (4, EMPTY, "a filled glass", "glasses.hero.drink={liquid: water}"),
    (5, {}, "a rival glass", "brief.rival=coupe"),
    (12, {"glasses.hero": {"vessel": "can"}}, "measures", "glasses.hero.vessel=highball"),
    (12, {"glasses.hero.vessel.inside": [["1 mm", "38 mm"], ["50 mm", "38 mm"]]}, "measures", ""),
    (14, {}, "a coloured glass or drink", "beer"),
    (24, {}, "ice in a glass", "glasses.hero.ice="),
]


@pytest.mark.parametrize(("number", "changes", "what", "give"), LACKING)
def test_what_a_question_lacks_is_named(study_of, number, changes, what, give):
    with pytest.raises(Lacking) as lack:
        QUESTIONS[number].answer(study_of(SET, changes))
    assert what in lack.value.what and give in lack.value.give


@pytest.mark.parametrize("number", [4, 5, 12, 24, 25])
def test_questions_about_glasses_need_one(study_of, number):
    with pytest.raises(Lacking) as lack:
        QUESTIONS[number].answer(study_of(TANK))
    assert lack.value.what == "a glass"


def test_rival_that_cannot_hold_the_drink_is_lacking(study):
    changed = type(study)(SET, "set.yaml", {"brief.rival": "can"}, "draft", "cpu", study.store)
    with pytest.raises(Lacking) as lack:
        QUESTIONS[5].answer(changed)
    assert "takes what is in the hero" in lack.value.what and "closed" in lack.value.what


def test_wall_too_thin_for_its_cut_is_one_clear_line(study):
    """The outside is cut 1.2 mm deep: a wall of 1 mm cannot be, one of 3 mm can."""
    rings = {"count": 3, "depth": "1.2 mm", "from": "20 mm", "to": "40 mm"}
    thick = SET.replace("wall: 1 mm", "wall: 2 mm")

    class Builder(type(study)):
        """Builds variants, so that what cannot be is refused, but traces none."""

        def frame(self, changes=None, **more):
            build(self.vary(changes or {}), detail=0.2)
            return study.frame()

    answer = QUESTIONS[12].answer(Builder(thick, "set.yaml", {"glasses.hero.rings": rings}, "draft", "cpu"))
    assert sum("wall of 1 mm cannot be made" in line for line in answer.lines) == 1
    assert answer.values["wall"]["from"] == "as set" and answer.values["wall"]["to"] == "3 mm"
    assert answer.values["base"]["to"] == "1.5 mm"


def test_mistakes_of_the_set_itself_stay_mistakes(study_of):
    with pytest.raises(PersonError):
        QUESTIONS[12].answer(study_of(SET, {"glasses.hero.drink.fill": "70 mm"}))


@pytest.mark.slow
def test_wall_moves_the_focus_as_in_plan(study_of):
    found = ask(study_of(SET, quality="proof"), 12)
    (thin_mm, thin), (thick_mm, thick) = (
        find_brightest(*trace_in_plan(RADIUS_MM, wall)) for wall in (1.0, 3.0)
    )
    assert found["wall"]["peak_shift_mm"]["value"] == pytest.approx(abs(thick_mm - thin_mm), abs=3)
    change = found["wall"]["brightness_change_stops"]["value"]
    assert change == pytest.approx(thick - thin, abs=1 / 3)
    low, high = found["band"]["line_width_mm"]["value"]
    assert 0 < low <= high
    assert found["base"]["from"] == "1 mm" and found["base"]["to"] == "1.5 mm"


@pytest.mark.slow
def test_wider_rival_is_brighter_as_in_plan(study_of):
    rival = {"outline": [["0 mm", "60 mm"], ["75 mm", "60 mm"]], "wall": "1.5 mm", "base": "1 mm"}
    rival |= {"fillet": "0.2 mm", "heel": "0.2 mm", "hollow": "0.1 mm", "edge": "cut"}
    found = ask(study_of(SET, {"brief.rival": rival}), 5)
    stops = [find_brightest(*trace_in_plan(*size))[1] for size in ((20.0, 1.0), (30.0, 1.5))]
    measured = [found[side]["peak_over_table_stops"]["value"] for side in ("hero", "rival")]
    assert measured[1] - measured[0] == pytest.approx(stops[1] - stops[0], abs=1 / 3)
    assert found["ranking"]["peak_over_table_stops"]["first"] == "rival"
    assert found["ranking"]["peak_over_table_stops"]["chance"]["value"] > 99


@pytest.mark.slow
def test_real_ice_nearly_matches_water_and_acrylic_does_not(study_of):
    """Indices: ice 1.31, water 1.333, acrylic 1.49; three throws where it settles by itself."""
    left = {}
    for material in ("ice", "acrylic"):
        cubes = [{"shape": "cube", "side": "15 mm", "count": 3, "material": material}]
        found = ask(study_of(SET, {"glasses.hero.ice": cubes}), 24)
        assert len(found["throws"]) == 3
        left[material] = found["light_left"]["value"]
        assert found["between_throws"]["light_left"]["value"] > 0
    assert left["acrylic"] < left["ice"] - 10 < 90


@pytest.mark.slow
def test_colour_of_the_drink_shows_where_light_went_through_it(study_of):
    """Ways through the water of 38 mm are longest on the axis: 38 mm / cos of the dip inside."""
    found = ask(study_of(SET, {"glasses.hero.drink.liquid": {"beer": "12.7 SRM"}}), 14)
    way_mm = 38 / math.sqrt(1 - (math.sin(math.radians(ELEVATION_DEG)) / WATER) ** 2)
    beyond = GRID_NM - 430
    shape = 0.02465 * np.exp(-beyond / 17.591) + 0.97535 * np.exp(-beyond / 82.122)
    most = describe(daylight(5600.0), 10.0 ** (-shape * way_mm / 10))["loss_stops"]
    assert 0.75 * most < found["brightest_loss_stops"]["value"] < most
    assert found["brightest_de00"]["value"] > 20
