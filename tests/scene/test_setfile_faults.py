"""Wrong sets: each fault is named at its exact place, with the key, what is wrong and what is allowed."""

import jsonschema
import pytest
import yaml

from brimcast.scene import setfile
from brimcast.scene.schema import schema
from brimcast.shared.errors import PersonError

# One wrong set each: the sign « stands just before the place of the fault. Then the key, then words that
# must be in the message, then whether the JSON Schema alone must refuse it too.
WRONG = {
    "no lamps": ("«brimcast: 1\n", "lamps", "missing", True),
    "lamps empty": ("brimcast: 1\nlamps: «{}\n", "lamps", "0|1", True),
    "no version": ("«lamps: {key: {}}\n", "brimcast", "missing|Version", True),
    "version a text": ("brimcast: «'1'\nlamps: {key: {}}\n", "brimcast", "'1'|whole number", True),
    "version 0": ("brimcast: «0\nlamps: {key: {}}\n", "brimcast", "0", True),
    "version new": ("brimcast: «2\nlampen: 3\n", "brimcast", "too new|version 1|update", True),
    "top key": ("@\n«lapms: {}\n", "lapms", "unknown key|did you mean 'lamps'|'camera'", True),
    "title": ("@\ntitle: «12\n", "title", "12|not a text|quotes", True),
    "section a text": ("@\nmeters: «none\n", "meters", "'none'|not a group of keys", True),
    "section a list": ("@\nglasses: «[{vessel: rocks}]\n", "glasses", "a list|not a group", True),
    "no unit": ("brimcast: 1\nlamps:\n  key:\n    throw: «1200\n",
     "lamps.key.throw", "1200|no unit|1200 mm", True),
    "no unit in list": ("@\ntable: {size: [1.2 m, «0.9]}\n", "table.size.2", "0.9|no unit", True),
    "unknown unit": ("@\nglasses: {a: {vessel: rocks, at: [«3 mn, 0 mm]}}\n",
     "glasses.a.at.1", "mn|mm", True),
    "comma": ("brimcast: 1\nlamps: {key: {throw: «'1,2 m'}}\n", "lamps.key.throw", "comma|1.2 m", True),
    "wrong kind": ("brimcast: 1\nlamps: {key: {elevation: «35 mm}}\n",
     "lamps.key.elevation", "35 mm|deg", True),
    "f-number bare": ("@\ncamera: {f_number: «11}\n", "camera.f_number", "11|f/11", True),
    "list too short": ("@\ntable: {size: «[1.2 m]}\n", "table.size", "1 item|[across, deep]", True),
    "list too long": ("@\nglasses: {a: {vessel: rocks, at: «[0 mm, 0 mm, 0 mm]}}\n",
     "glasses.a.at", "3 items|[x, y]", True),
    "no list": ("@\ntable: {size: «1.2 m}\n", "table.size", "'1.2 m'|list of 2", True),
    "throw zero": ("brimcast: 1\nlamps: {key: {throw: «0 mm}}\n",
     "lamps.key.throw", "0 mm|above 0 mm", False),
    "diameter negative": ("brimcast: 1\nlamps: {key: {diameter: «-3 cm}}\n",
     "lamps.key.diameter", "-3 cm|above 0 mm", False),
    "throw huge": ("brimcast: 1\nlamps: {key: {throw: «150 m}}\n",
     "lamps.key.throw", "150 m|at most 100 m", False),
    "power up": ("brimcast: 1\nlamps: {key: {power: «+1/3 stop}}\n",
     "lamps.key.power", "+1/3 stop|at most 0 stops", False),
    "elevation": ("brimcast: 1\nlamps: {key: {elevation: «91 deg}}\n",
     "lamps.key.elevation", "91 deg|at most 90 deg", False),
    "share above one": ("@\ntable: {reflectance: «130 %}\n", "table.reflectance", "130 %|100 %", False),
    "share bare": ("@\ntable: {reflectance: «0.6}\n", "table.reflectance", "0.6|%", True),
    "share missing": ("@\ntable: {«reflectance: {red: 5 %, green: 5 %}}\n",
     "table.reflectance.blue", "missing", True),
    "surface": ("@\ntable: {surface: «mate}\n", "table.surface", "'mate'|did you mean 'matte'", True),
    "lamp key": ("brimcast: 1\nlamps:\n  key:\n    «thow: 2 m\n",
     "lamps.key.thow", "unknown key|'throw'|'diameter'", True),
    "key of other kind": ("brimcast: 1\nlamps: {key: {kind: bulb, «size: [1 m, 1 m]}}\n",
     "lamps.key.size", "unknown key|'diameter'", True),
    "lamp kind": ("brimcast: 1\nlamps: {key: {kind: «bulp}}\n",
     "lamps.key.kind", "'bulp'|did you mean 'bulb'|'panel'", True),
    "lamp a text": ("brimcast: 1\nlamps: {key: «bulb}\n", "lamps.key", "'bulb'|group of keys", True),
    "panel size": ("brimcast: 1\nlamps:\n  «key: {kind: panel}\n", "lamps.key.size", "missing|Width", True),
    "colour bare": ("brimcast: 1\nlamps: {key: {colour: «5600}}\n",
     "lamps.key.colour", "5600|no unit|'daylight'", True),
    "colour word": ("brimcast: 1\nlamps: {key: {colour: «blue}}\n",
     "lamps.key.colour", "'blue'|'tungsten'", True),
    "colour infra-red": ("brimcast: 1\nlamps: {key: {colour: «850 nm}}\n",
     "lamps.key.colour", "850 nm|700 nm", False),
    "receptor missing": ("brimcast: 1\nlamps: {key: {«reading: {f_number: f/16, distance: 1 m}}}\n",
     "lamps.key.reading.receptor", "missing|dome", True),
    "receptor": ("brimcast: 1\nlamps: {key: {reading: {f_number: f/16, distance: 1 m, receptor: «ball}}}\n",
     "lamps.key.reading.receptor", "'ball'|'flat'|'dome'", True),
    "one reading of two": (
     "brimcast: 1\nlamps:\n  a: {reading: {f_number: f/16, distance: 1 m, receptor: flat}}\n  «b: {}\n",
     "lamps.b.reading", "missing|'a'|none", False),
    "vessel": ("@\nglasses: {a: {vessel: «hihgball}}\n",
     "glasses.a.vessel", "'hihgball'|did you mean 'highball'|'tasting'", True),
    "vessel missing": ("@\nglasses:\n  «a: {at: [0 mm, 0 mm]}\n", "glasses.a.vessel", "missing", True),
    "vessel shape": ("@\nglasses: {a: {vessel: {shape: «rock}}}\n",
     "glasses.a.vessel.shape", "'rock'|'rocks'", True),
    "vessel of two kinds": (
     "@\nglasses: {a: {vessel: «{shape: rocks, outline: [[0 mm, 5 mm], [9 mm, 5 mm]]}}}\n",
     "glasses.a.vessel", "'shape' and 'outline'", True),
    "vessel of no kind": ("@\nglasses: {a: {vessel: «{wall: 2 mm}}}\n",
     "glasses.a.vessel", "shape|outline", True),
    "measure not there": ("@\nglasses: {a: {vessel: {shape: rocks, rim: «90 mm}}}\n",
     "glasses.a.vessel.rim", "rocks|'diameter'", False),
    "outline of one": ("@\nglasses: {a: {vessel: {outline: «[[0 mm, 60 mm]]}}}\n",
     "glasses.a.vessel.outline", "1|2", True),
    "outline point": ("@\nglasses: {a: {vessel: {outline: [[0 mm, 60 mm], «[9 mm]]}}}\n",
     "glasses.a.vessel.outline.2", "[height, outer diameter]", True),
    "outline negative": ("@\nglasses: {a: {vessel: {outline: [[«-1 mm, 60 mm], [9 mm, 60 mm]]}}}\n",
     "glasses.a.vessel.outline.1.1", "-1 mm|at least 0 mm", False),
    "corner": ("@\nglasses: {a: {vessel: {outline: [[0 mm, 60 mm], [9 mm, 60 mm]], corners: [1, «3]}}}\n",
     "glasses.a.vessel.corners.2", "2 points|no point 3", False),
    "corner zero": ("@\nglasses: {a: {vessel: {outline: [[0 mm, 60 mm], [9 mm, 60 mm]], corners: [«0]}}}\n",
     "glasses.a.vessel.corners.1", "0|from 1", True),
    "tint": ("@\nglasses: {a: {vessel: rocks, glass: {kind: crystal, tint: «green}}}\n",
     "glasses.a.glass.tint", "'green'|soda-lime", False),
    "glass": ("@\nglasses: {a: {vessel: rocks, glass: «cristal}}\n",
     "glasses.a.glass", "did you mean 'crystal'", True),
    "index below 1": ("@\nglasses: {a: {vessel: rocks, glass: {index: «0.9}}}\n",
     "glasses.a.glass.index", "0.9|from 1 to 4", True),
    "index a text": ("@\nglasses: {a: {vessel: rocks, glass: {index: «'1.5'}}}\n",
     "glasses.a.glass.index", "'1.5'|a number", True),
    "index not a number": ("@\nglasses: {a: {vessel: rocks, glass: {index: «.nan}}}\n",
     "glasses.a.glass.index", "nan|from 1 to 4", False),
    "absorption": ("@\nglasses: {a: {vessel: rocks, glass: {index: 1.5, absorption: «0.2}}}\n",
     "glasses.a.glass.absorption", "0.2|/mm", True),
    "liquid": ("@\nglasses: {a: {vessel: rocks, drink: {liquid: «watr}}}\n",
     "glasses.a.drink.liquid", "did you mean 'water'|'spirit: ...'", True),
    "liquid key": ("@\nglasses: {a: {vessel: rocks, drink: {liquid: {«sprit: 40 % vol}}}}\n",
     "glasses.a.drink.liquid.sprit", "did you mean 'spirit'", True),
    "two liquids": ("@\nglasses: {a: {vessel: rocks, drink: {liquid: «{spirit: 40 % vol, beer: 3 SRM}}}}\n",
     "glasses.a.drink.liquid", "'spirit' and 'beer'", True),
    "strength in %": ("@\nglasses: {a: {vessel: rocks, drink: {liquid: {spirit: «40 %}}}}\n",
     "glasses.a.drink.liquid.spirit", "40 %|% vol", True),
    "fill bare": ("@\nglasses: {a: {vessel: rocks, drink: {liquid: water, fill: «95}}}\n",
     "glasses.a.drink.fill", "95|no unit|'95 mm'|'150 ml'|'33 %'", True),
    "fill over": ("@\nglasses: {a: {vessel: rocks, drink: {liquid: water, fill: «120 %}}}\n",
     "glasses.a.drink.fill", "120 %|100 %", False),
    "prop shape missing": ("@\nprops:\n  «a: {diameter: 3 mm}\n", "props.a.shape", "missing|'ball'", True),
    "prop material": ("@\nprops: {a: {shape: ball, diameter: 3 mm, material: «{wood: 3}}}\n",
     "props.a.material", "'metal'|liquid", True),
    "lying": ("@\nprops: {a: {shape: rod, diameter: 3 mm, length: 9 mm, lying: «yes}}\n",
     "props.a.lying", "'yes'|true or false", True),
    "opening": ("@\nprops: {a: {shape: plate, size: [9 mm, 9 mm], opening: «{round: 9 mm}}}\n",
     "props.a.opening", "not smaller", False),
    "card at": ("@\ncards: {a: {at: «[0 mm, 0 mm]}}\n", "cards.a.at", "2 items|[x, y, z]", True),
    "card size": ("@\ncards: {a: {at: [0 mm, 0 mm, 1 m], size: «hiden}}\n",
     "cards.a.size", "did you mean 'hidden'|[width, height]", True),
    "card shape": ("@\ncards: {a: {at: [0 mm, 0 mm, 1 m], shape: «square}}\n",
     "cards.a.shape", "hidden", False),
    "reflectance word": ("@\ncards: {a: {at: [0 mm, 0 mm, 1 m], reflectance: «glod}}\n",
     "cards.a.reflectance", "did you mean 'gold'|a share such as 60 %", True),
    "foil of one point": ("@\nfoils: {a: {points: «[[0 mm, 0 mm, 1 m]], width: 9 mm}}\n",
     "foils.a.points", "1|2", True),
    "diffuser over all": (
     "@\ndiffusers: {a: {at: [0 mm, 0 mm, 1 m], transmittance: «80 %}}\n",
     "diffusers.a.transmittance", "1.1 of the light|at most all", False),
    "backdrop low": ("@\nbackdrop: {behind: 1 m, height: «20 cm}\n",
     "backdrop.height", "less than the radius|300 mm", False),
    "ceiling not known": ("@\nroom: {reflectance: {ceiling: «80 %}}\n",
     "room.reflectance.ceiling", "no ceiling is known|room.ceiling", False),
    "wall not known": ("@\nroom: {reflectance: {walls: «80 %}}\n",
     "room.reflectance.walls", "no wall is known|room.walls", False),
    "facing a number": ("@\nflags: {a: {at: [0 mm, 0 mm, 1 m], facing: «3}}\n",
     "flags.a.facing", "3|a name|elevation", True),
    "facing elevation": ("@\nflags: {a: {at: [0 mm, 0 mm, 1 m], facing: {elevation: «3 m}}}\n",
     "flags.a.facing.elevation", "3 m|deg", True),
    "at and distance": ("@\ncamera: {at: [0 mm, -1 m, 1 m], distance: «1 m}\n",
     "camera.distance", "'at'|keep one", False),
    "aim a number": ("@\ncamera: {aim: «3}\n", "camera.aim", "3|a name|[x, y, z]", True),
    "focus distance": ("@\ncamera: {focus: «0 m}\n", "camera.focus", "0 m|above 0 mm", False),
    "shutter": ("@\ncamera: {shutter: «1/160}\n", "camera.shutter", "1/160|no unit", True),
    "width": ("@\nrender: {width: «900 px}\n", "render.width", "'900 px'|whole number|16384", True),
    "width a fraction": ("@\nrender: {width: «900.5}\n", "render.width", "900.5|whole", True),
    "width endless": ("@\nrender: {width: «.inf}\n", "render.width", "inf|16384", True),
    "quality": ("@\nrender: {quality: «profo}\n", "render.quality", "did you mean 'proof'", True),
    "seed a switch": ("@\nrender: {seed: «true}\n", "render.seed", "true|whole number", True),
    "aim nowhere": ("brimcast: 1\nglasses: {tall: {vessel: rocks}}\nlamps: {key: {aim: «tal}}\n",
     "lamps.key.aim", "'tal'|did you mean 'tall'|'hero'", False),
    "aim at a lamp": ("@\nglasses: {a: {vessel: rocks}}\ncamera: {aim: «key}\n",
     "camera.aim", "no glass or prop|'key'|'a'", False),
    "hero without things": ("@\ncamera: {focus: «hero}\n", "camera.focus", "'hero'|none", False),
    "meter facing": ("@\nmeters: {m: {at: [0 mm, 0 mm, 0 mm], facing: «kye}}\n",
     "meters.m.facing", "did you mean 'key'|'up'", False),
    "facing no camera": ("@\nmeters: {m: {at: [0 mm, 0 mm, 0 mm], facing: «camera}}\n",
     "meters.m.facing", "no camera", False),
    "name twice": ("@\nmeters:\n  «key: {at: [0 mm, 0 mm, 0 mm]}\n",
     "meters.key", "'key'|lamp|line 2", False),
    "name kept": ("@\ncards:\n  «camera: {at: [0 mm, 0 mm, 0 mm]}\n",
     "cards.camera", "'camera'|meaning", False),
    "lamp called hero": ("brimcast: 1\nlamps: {«hero: {}}\n", "lamps.hero", "'hero'|glass", False),
    "name a figure": ("brimcast: 1\nlamps: {«1: {}}\n", "lamps.1", "'1'|letter", True),
    "name with dot": ("brimcast: 1\nlamps: {«key.a: {}}\n", "lamps.key.a", "'key.a'|letters", True),
    "value empty": ("@\ncamera:\n  «lens:\n  iso: 100\n", "camera.lens", "no value", True),
    "section empty": ("@\n«camera:\n", "camera", "no value", True),
    "key twice": ("@\ncamera:\n  iso: 100\n  lens: 100 mm\n  «iso: 200\n",
     "camera.iso", "twice|line 4", False),
    "ratio to itself": ("@\nbrief: {ratios: {«key: '4:1'}}\n",
     "brief.ratios.key", "'key'|another lamp", False),
    "flash power twice": (
     "@\nbrief: {flash: [{power: 0 stops, time: 1/700 s}, {power: «0 stops, time: 1/900 s}]}\n",
     "brief.flash.2.power", "0 stops|twice", False),
    "tag": ("@\ncamera: {lens: «!!python/name:os.sep x}\n", "camera.lens", "tag", False),
}  # fmt: skip


@pytest.fixture(scope="module")
def validator():
    return jsonschema.Draft202012Validator(schema())


SHORT = "brimcast: 1\nlamps: {key: {}}"


def marked(text):
    """Return the text without its sign, and the line and column where the sign stood."""
    text = text.replace("@", SHORT, 1) if text.startswith("@") else text
    before = text[: text.index("«")]
    return text.replace("«", ""), before.count("\n") + 1, len(before) - before.rfind("\n")


def faults_of(text, **more):
    with pytest.raises(PersonError) as caught:
        setfile.parse(text, "wrong.yaml", **more)
    return caught.value.faults


@pytest.mark.parametrize("name", WRONG)
def test_wrong_set_is_told_at_its_place(name):
    source, key, words, _ = WRONG[name]
    text, line, column = marked(source)
    (fault,) = faults_of(text)
    assert (fault.file, fault.line, fault.column, fault.key) == ("wrong.yaml", line, column, key)
    assert str(fault).startswith(f"wrong.yaml:{line}:{column}: {key}: ")
    for word in words.split("|"):
        assert word in fault.text, fault.text


# A tag is no part of what a schema sees.
@pytest.mark.parametrize("name", [name for name in WRONG if name != "tag"])
def test_schema_refuses_what_is_wrong_in_one_part(name, validator):
    source, _, _, refused = WRONG[name]
    data = yaml.load(marked(source)[0], CoreLoader)
    assert validator.is_valid(data) != refused


class CoreLoader(yaml.SafeLoader):
    """YAML as editors read it: keys are text, and only `true` and `false` are switches (YAML 1.2 core)."""

    def construct_mapping(self, node, deep=False):
        return {key.value: self.construct_object(value, deep=True) for key, value in node.value}


CoreLoader.add_constructor(
    "tag:yaml.org,2002:bool",
    lambda loader, node: {"true": True, "false": False}.get(node.value, node.value),
)
CoreLoader.add_constructor("tag:yaml.org,2002:map", lambda loader, node: loader.construct_mapping(node))


def test_all_faults_come_at_once_in_the_order_of_the_file():
    text = (
        "brimcast: 1\ntitel: x\ntable: {size: [1, 2 m]}\nglasses:\n  a: {vessel: rcks, turn: 5}\n"
        "lamps:\n  key: {kind: blub, throw: 1200, aim: b}\n  key: {}\n"
        "camera: {lens: 1 K, focus: c}\nmeters: {a: {}}\n"
    )
    assert [(fault.line, fault.key) for fault in faults_of(text)] == [
        (2, "titel"),
        (3, "table.size.1"),
        (5, "glasses.a.vessel"),
        (5, "glasses.a.turn"),
        (7, "lamps.key.kind"),
        (7, "lamps.key.throw"),
        (7, "lamps.key.aim"),
        (8, "lamps.key"),
        (9, "camera.lens"),
        (9, "camera.focus"),
        (10, "meters.a"),
        (10, "meters.a.at"),
    ]


def test_newer_version_is_the_only_fault_told():
    assert len(faults_of("brimcast: 3\nlights: {sun: {}}\n")) == 1


@pytest.mark.parametrize("text", ["- a\n- b\n", "just words\n", "12\n"])
def test_file_without_keys_is_refused(text):
    (fault,) = faults_of(text)
    assert (fault.line, fault.column) == (1, 1)
    assert "brimcast: 1" in fault.text


def test_later_fault_points_at_a_dotted_key():
    text = f"{SHORT}\nglasses:\n  tall:\n    vessel: rocks\n    drink: {{liquid: water, fill: 500 ml}}\n"
    made = setfile.parse(text, "set.yaml")
    (fault,) = setfile.faults_at(made, "glasses.tall.drink.fill", "500 ml is over the brim")
    assert str(fault) == "set.yaml:6:34: glasses.tall.drink.fill: 500 ml is over the brim"
    (fault,) = setfile.faults_at(made, "glasses.tall.vessel.wall", "too thick")
    assert (fault.line, fault.column, fault.key) == (5, 5, "glasses.tall.vessel.wall")
    (fault,) = setfile.faults_at(made, "glasses.tall.at.2", "off the table")
    assert (fault.line, fault.column) == (4, 3)
    (fault,) = setfile.faults_at(made, "camera", "a picture needs a camera")
    assert (fault.line, fault.column) == (1, 1)
