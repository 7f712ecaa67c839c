"""Sets that are right: values, defaults, the hero, changes by dotted key, the digest."""

import os
import subprocess
import sys

import pytest

from brimcast.scene import setfile
from brimcast.scene.colourwords import Line, Temperature
from brimcast.scene.models_drinks import FillHeight, FillShare, FillVolume
from brimcast.scene.models_heads import PanelLamp
from brimcast.scene.models_lights import Direction, Distance
from brimcast.scene.models_materials import (
    LIQUIDS,
    Beer,
    Black,
    GlassMaterial,
    Metal,
    PlainLiquid,
    PlainMedium,
    Spirit,
    Syrup,
    Water,
)
from brimcast.scene.models_numbers import Point, Spot
from brimcast.scene.models_things import LibraryVessel, Rod, SlitOpening
from brimcast.shared.errors import PersonError
from brimcast.vessels.library import SHAPES

WHOLE = """\
brimcast: 1
title: Whole
table: {size: [3 ft, 30 in], reflectance: {red: 70 %, green: 60 %, blue: 50 %}}
glasses:
  tall:
    vessel: {shape: highball, height: 15 cm, wall: 2.2 mm}
    at: [1 in, -2 cm]
    turn: -30 deg
    glass: {tint: green}
    drink: {liquid: {beer: 25 EBC}, fill: 1/3 l}
  small: {vessel: rocks, drink: {liquid: {spirit: 40 % vol}, fill: 33 %}}
  third: {vessel: tumbler, glass: crystal, drink: {liquid: {syrup: 12 Brix}, fill: 60 mm}}
props:
  straw:
    {shape: rod, diameter: 5 mm, length: 9 cm, lying: true,
     material: {index: 1.5, abbe: 60, absorption: 0.2 /m}}
  tank: {shape: slab, width: 1 m, depth: 50 cm, thickness: 30 cm, material: {liquid: water}}
  mirror: {shape: ring, inside: 60 mm, tall: 20 mm, material: {metal: 60 %}}
  stop: {shape: plate, size: [1 m, 1 m], opening: {slit: [2 mm, 40 mm]}, height: 1 m}
  dark: {shape: prism, side: 30 mm, length: 10 cm, material: black}
lamps:
  key:
    throw: 6 ft
    azimuth: 11 o'clock
    colour: tungsten
    power: -1 1/3 stops
    reading: {f_number: f/11, distance: 1 m, receptor: dome}
  strip:
    kind: panel
    size: [300 mm, 1.2 m]
    aim: [0 mm, -50 mm, 75 mm]
    colour: 587.6 nm
    reading: {f_number: f/8, iso: 200, distance: 2 m, receptor: flat}
cards: {glow: {at: [0 mm, 1 m, 5 cm], facing: {azimuth: 3 o'clock, elevation: -10 deg}}}
camera: {focus: 1.05 m, shutter: 1/160 s, white: 125 mired}
meters: {line: {at: [0 mm, 80 mm, 0 mm], facing: strip}}
render: {width: 640, quality: final, cell: 0.25 mm}
"""
SHORTEST = "brimcast: 1\nglasses: {hero: {vessel: highball}}\nlamps: {key: {}}\n"


@pytest.fixture(scope="module")
def whole():
    return setfile.parse(WHOLE)


def test_lengths_become_millimetres(whole):
    """The foot is 304.8 mm and the inch 25.4 mm exactly (International yard and pound agreement, 1959)."""
    assert whole.table.size_mm == (914.4, 762.0)
    assert whole.glasses["tall"].vessel.height_mm == 150
    assert whole.glasses["tall"].at_mm == Spot(25.4, -20)
    assert whole.lamps["key"].throw_mm == pytest.approx(1828.8, abs=1e-9)
    assert whole.camera.focus == Distance(1050)


def test_clock_and_degrees_give_the_azimuth(whole):
    """Camera at 6 o'clock, clockwise: 11 o'clock is 150 deg, 3 o'clock 270 deg."""
    assert whole.lamps["key"].azimuth_deg == 150
    assert whole.cards["glow"].facing == Direction(azimuth="270 deg", elevation="-10 deg")


def test_fill_is_told_apart_by_its_unit(whole):
    fills = [glass.drink.fill for glass in whole.glasses.values()]
    assert fills == [FillVolume(pytest.approx(1000 / 3)), FillShare(pytest.approx(0.33)), FillHeight(60)]
    assert [type(fill) for fill in fills] == [FillVolume, FillShare, FillHeight]


def test_materials_come_out_plain(whole):
    """25 EBC and 12.7 SRM are one colour, absorbance 1 at 430 nm (Analytica-EBC 9.6, ASBC Beer-10)."""
    assert [glass.drink.liquid for glass in whole.glasses.values()] == [
        Beer(beer="12.7 SRM"),
        Spirit(spirit="40 % vol"),
        Syrup(syrup="12 Brix"),
    ]
    assert [glass.glass for glass in whole.glasses.values()] == [
        GlassMaterial(tint="green"),
        GlassMaterial(kind="soda-lime"),
        GlassMaterial(kind="crystal"),
    ]
    straw = whole.props["straw"].material
    assert (straw.index, straw.abbe) == (1.5, 60)
    assert straw.absorption_per_mm == pytest.approx(0.0002)
    assert whole.props["tank"].material == Water()
    assert whole.props["mirror"].material == Metal(metal="60 %")
    assert whole.props["dark"].material == Black()


@pytest.mark.parametrize(
    ("written", "made"),
    [
        ("soda-lime", GlassMaterial()),
        ("acrylic", GlassMaterial(kind="acrylic")),
        ("{glass: {kind: soda-lime, tint: grey}}", GlassMaterial(kind="soda-lime", tint="grey")),
        ("water", Water()),
        ("{liquid: {spirit: 40 % vol}}", Spirit(spirit="40 % vol")),
        ("{index: 1.4}", PlainMedium(index=1.4)),
        ("{liquid: {index: 1.4}}", PlainLiquid(index=1.4)),
        ("{glass: {index: 1.4}}", PlainMedium(index=1.4)),
        ("metal", Metal(metal="90 %")),
    ],
)
def test_prop_is_of_any_material(written, made):
    text = f"{SHORTEST}props: {{a: {{shape: ball, diameter: 1 cm, material: {written}}}}}\n"
    material = setfile.parse(text).props["a"].material
    assert material == made
    assert isinstance(material, LIQUIDS) == (written == "water" or written.startswith("{liquid"))


def test_light_and_view_are_read(whole):
    key, strip = whole.lamps.values()
    assert key.colour == Temperature(3200) and strip.colour == Line(pytest.approx(587.6))
    assert key.power_stops == pytest.approx(-4 / 3)
    assert isinstance(strip, PanelLamp) and strip.size_mm == (300, 1200)
    assert strip.aim == Point(0, -50, 75) and key.aim == "hero"
    assert (key.reading.iso, strip.reading.iso) == (100, 200)
    assert whole.camera.white == pytest.approx(8000)
    assert whole.camera.shutter_s == pytest.approx(1 / 160)
    assert (whole.render.width_px, whole.render.cell_mm) == (640, 0.25)
    assert isinstance(whole.props["straw"], Rod) and whole.props["straw"].lying
    assert whole.props["stop"].opening == SlitOpening(slit=["2 mm", "40 mm"])


def test_three_lines_make_a_set():
    made = setfile.parse(SHORTEST)
    assert made.glasses["hero"].vessel == LibraryVessel(shape="highball")
    assert made.glasses["hero"].at_mm == (0, 0)
    assert made.lamps["key"].azimuth_deg == 150
    assert made.camera is None
    assert made.render.quality == "draft"


def test_set_cannot_be_altered():
    made = setfile.parse(SHORTEST)
    with pytest.raises(ValueError, match="frozen"):
        made.title = "Other"


@pytest.mark.parametrize(
    ("things", "hero"),
    [
        ("glasses: {a: {vessel: rocks}, hero: {vessel: rocks}}", "hero"),
        ("glasses: {b: {vessel: rocks}, a: {vessel: rocks}}\nprops: {c: {shape: ball, diameter: 1 mm}}", "b"),
        ("props: {c: {shape: ball, diameter: 1 mm}}", "c"),
        ("props: {c: {shape: ball, diameter: 1 mm}, hero: {shape: ball, diameter: 1 mm}}", "hero"),
        ("title: nothing there", None),
    ],
)
def test_hero_is_the_one_so_called_or_the_first(things, hero):
    assert setfile.parse(f"brimcast: 1\nlamps: {{key: {{}}}}\n{things}\n").hero == hero


def test_hero_is_found_under_any_name():
    text = "brimcast: 1\nglasses: {tall: {vessel: rocks}}\nlamps: {key: {aim: hero}}\ncamera: {aim: tall}\n"
    assert setfile.parse(text).lamps["key"].aim == "hero"


def test_words_of_the_set_file_are_those_of_the_library():
    assert set(LibraryVessel.WORDS) == set(SHAPES)
    known = {"height_mm", "diameter_mm", "wall_mm", "base_mm", "rim_diameter_mm", "foot_diameter_mm"}
    assert set(LibraryVessel.model_fields) - {"shape"} == known
    assert set().union(*(shape.allowed for shape in SHAPES.values())) == known


# Changes by dotted key.


@pytest.mark.parametrize(
    ("key", "value", "found"),
    [
        ("lamps.key.throw", "2 m", lambda made: made.lamps["key"].throw_mm == 2000),
        ("lamps.key.diameter", "1 cm", lambda made: made.lamps["key"].diameter_mm == 10),
        ("glasses.small.at", "[3 mm, 4 mm]", lambda made: made.glasses["small"].at_mm == (3, 4)),
        ("glasses.tall.at.2", "5 mm", lambda made: made.glasses["tall"].at_mm == (25.4, 5)),
        ("glasses.small.vessel.base", "9 mm", lambda made: made.glasses["small"].vessel.base_mm == 9),
        ("glasses.third.glass.kind", "acrylic", lambda made: made.glasses["third"].glass.kind == "acrylic"),
        ("camera.lens", "120 mm", lambda made: made.camera.lens_mm == 120),
        ("render.seed", 7, lambda made: made.render.seed == 7),
        ("render.width", "320", lambda made: made.render.width_px == 320),
        ("title", "Plum: dark", lambda made: made.title == "Plum: dark"),
    ],
)
def test_change_replaces_one_value(whole, key, value, found):
    made = setfile.parse(WHOLE, changes={key: value})
    assert found(made) and not found(whole)


def test_change_adds_what_the_file_leaves_out():
    assert setfile.parse(SHORTEST, changes={"camera.lens": "90 mm"}).camera.lens_mm == 90


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("lamps.kye.throw", "2 m", "no lamp 'kye'|did you mean 'key'"),
        ("glasses.tall.at.3", "2 mm", "list of 2"),
        ("lamps.key.throw.x", "2 m", "'6 ft'"),
        ("lamps.key.throw", "2", "2|no unit"),
        ("lamps.key.thow", "2 m", "did you mean 'throw'"),
        ("camera.aim", "tal", "did you mean 'tall'"),
    ],
)
def test_wrong_change_names_its_key_and_no_line(key, value, words):
    with pytest.raises(PersonError) as caught:
        setfile.parse(WHOLE, "set.yaml", changes={key: value})
    (fault,) = caught.value.faults
    assert (fault.file, fault.line, fault.column, fault.key) == ("set.yaml", None, None, key)
    for word in words.split("|"):
        assert word in fault.text


# The digest.


def test_what_is_written_is_found_as_yaml_has_it():
    text = "brimcast: 1\nlamps: {key: {}}\nbrief: {rival: {shape: rocks, wall: 3 mm}}\n"
    found = setfile.parse(text, changes={"lamps.key.aim": "[0 mm, 1 mm, 2 mm]"})
    assert setfile.written(found, "brief.rival") == {"shape": "rocks", "wall": "3 mm"}
    assert setfile.written(found, "lamps.key.aim.2") == "1 mm"
    for key in ("brief.mark", "brief.rival.base", "lamps.key.aim.4", "lamps.key.aim.1.wall"):
        assert setfile.written(found, key) is None


def test_digest_overlooks_spelling():
    text = "# x\nlamps: {key: {power: 0 stops, throw: 150 cm}}\n"
    text += "glasses: {hero: {vessel: {shape: highball}}}\n"
    assert setfile.digest(setfile.parse(text + "brimcast: 1\n")) == setfile.digest(setfile.parse(SHORTEST))


def test_digest_is_the_same_in_every_process():
    """Python's own hashes differ from process to process."""
    code = "import sys; from brimcast.scene import setfile as s; print(s.digest(s.parse(sys.argv[1])))"
    told = [
        subprocess.run(
            [sys.executable, "-c", code, SHORTEST],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()
        for seed in ("1", "2")
    ]
    assert told == [setfile.digest(setfile.parse(SHORTEST))] * 2


@pytest.mark.parametrize(
    "change",
    [
        {"lamps.key.throw": "1.5001 m"},
        {"lamps.key.kind": "bulb"},
        {"glasses.hero.glass": "acrylic"},
        {"glasses.hero.drink": {"liquid": "water", "fill": "70 ml"}},
        {"camera.iso": "100"},
        {"render.seed": "2"},
        {"title": "Other"},
    ],
)
def test_digest_sees_every_change(change):
    first = setfile.digest(setfile.parse(SHORTEST))
    assert setfile.digest(setfile.parse(SHORTEST, changes=change)) != first


def test_digest_sees_the_order_that_settles_the_hero():
    glasses = ["a: {vessel: rocks}", "b: {vessel: highball}"]
    texts = [f"{{{', '.join(order)}}}" for order in (glasses, glasses[::-1])]
    sets = [setfile.parse(f"brimcast: 1\nlamps: {{key: {{}}}}\nglasses: {text}") for text in texts]
    digests = {setfile.digest(made) for made in sets}
    assert len(digests) == 2
