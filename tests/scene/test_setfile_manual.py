"""The ready sets, the starter, and the manual against the models."""

import re
from importlib.resources import files
from inspect import isabstract

import pytest
import yaml

from brimcast.scene import setfile, yamlplaces
from brimcast.scene.builder import build
from brimcast.scene.faults import keys_of
from brimcast.scene.models_base import Part
from brimcast.scene.starter import starter
from brimcast.shared.errors import PersonError
from brimcast.vessels.shapes import SHAPES

SCENE = files("brimcast.scene")
EXAMPLES = sorted(path.name for path in (SCENE / "examples").iterdir() if path.name.endswith(".yaml"))


@pytest.mark.parametrize("name", EXAMPLES)
def test_ready_set_reads_and_can_be_pictured(name):
    made = setfile.read(SCENE / "examples" / name)
    assert made.camera is not None and made.hero == "hero"


def test_keys_of_ready_sets_are_hard_light_from_behind():
    """A hard key: a front of 20-65 mm, 1.2-2.5 m away, 30-46 deg up, from behind (common practice)."""
    lamps = [setfile.read(SCENE / "examples" / name).lamps for name in EXAMPLES]
    keys = [lamps_of["key"] for lamps_of in lamps if "key" in lamps_of]
    assert len(keys) >= 9
    for key in keys:
        assert 20 <= key.diameter_mm <= 65 and 1200 <= key.throw_mm <= 2500
        assert 30 <= key.elevation_deg <= 46 and 130 <= key.azimuth_deg <= 200


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("obbleway-tonic", "Obbleway tonic"),
        ("Quillimore Plum", "Quillimore Plum"),
        ('Zoë\'s "best": #1', 'Zoë\'s "best": #1'),
        ("null", "Null"),
        ("123", "123"),
        ("", "Untitled set"),
        ("line\nbreak", "Line break"),
        ("\udcff", "?"),
    ],
)
def test_starter_reads_and_has_its_title(name, title):
    assert setfile.parse(starter(name)).title == title


def parts_in_use():
    """Yield every model that a set can hold."""
    shared = ("Prop", "SolidProp", "Light", "Lamp")
    for child in dict.fromkeys(all_below(Part)):
        if child.__name__ not in shared and not isabstract(child):
            yield child


def all_below(part):
    for child in part.__subclasses__():
        yield child
        yield from all_below(child)


MANUAL = (SCENE / "setfile.md").read_text(encoding="utf-8")
ROWS = [
    re.split(r"(?<!\\)\|", line.strip().strip("|"))
    for line in MANUAL.splitlines()
    if line.startswith("|") and "`" in line
]


def written_default(field):
    if field.is_required():
        return "required"
    if field.default_factory or field.default in (None, ()):
        return None
    text = yaml.safe_dump(field.default, default_flow_style=True, width=1000)
    return f"`{text.removesuffix('...').removesuffix(chr(10)).replace('...', '').strip()}`"


@pytest.mark.parametrize("part", list(parts_in_use()), ids=lambda part: part.__name__)
def test_manual_has_every_key_with_its_default(part):
    for key, field in keys_of(part).items():
        cells = [[cell.strip() for cell in row] for row in ROWS]
        lines = [row for row in cells if f"`{key}`" in row[:2]]
        assert lines, f"the manual lacks {key}"
        default = written_default(field)
        one_of_several = key in ("shape", "kind") or default is None
        assert one_of_several or any(default in cell for row in lines for cell in row[1:3]), (key, default)


SHOWN = [row for row in ROWS if re.search(r"`\w+: ", row[-1])]


@pytest.mark.parametrize("row", SHOWN, ids=lambda row: row[-1].strip())
def test_example_in_the_manual_is_right(row):
    """Each example is right for at least one part that has its key, whatever else that part lacks."""
    for example in re.findall(r"`(\w+: .*?)`", row[-1]):
        data = yamlplaces.parse_document(example, "manual").data
        (key,) = data
        faults = []
        for part in parts_in_use():
            if key in keys_of(part):
                faults.append(problems(part, key, data))
        assert [] in faults, (data, faults)


def problems(part, key, data):
    """Return what is wrong with one key of a part."""
    try:
        part.model_validate(data)
    except ValueError as error:
        return [line for line in error.errors() if line["loc"][:1] == (key,) or not line["loc"]]
    return []


def test_set_in_the_manual_reads():
    block = re.findall(r"```yaml\n(.*?)```", MANUAL, re.DOTALL)[0]
    assert setfile.parse(block).lamps["key"].azimuth_deg == 150


def test_kit_in_the_manual_reads(tmp_path):
    block = re.findall(r"```yaml\n(.*?)```", MANUAL, re.DOTALL)[1]
    (tmp_path / "kit.yaml").write_text(block, encoding="utf-8")
    set_path = tmp_path / "set.yaml"
    set_path.write_text("brimcast: 1\nkit: kit.yaml\nlamps: {key: {head: mono, modifier: zoom}}")
    (lamp,) = build(setfile.read(set_path)).lamps
    assert lamp.size_mm == (180, 180) and lamp.calibrated


def test_manual_names_every_shape_and_every_shape_is_a_word():
    for name in SHAPES:
        assert f"`{name}`" in MANUAL
        made = setfile.parse(f"brimcast: 1\nglasses: {{hero: {{vessel: {name}}}}}\nlamps: {{key: {{}}}}")
        assert made.glasses["hero"].vessel.shape == name


@pytest.mark.parametrize(
    ("more", "key", "text"),
    [
        ("glass: crystal", "glasses.hero.glass", "a can is of metal"),
        ("drink: {liquid: water}", "glasses.hero.drink", "a can is closed, so no drink shows in it"),
    ],
)
def test_can_is_of_metal_and_takes_neither_glass_nor_drink(more, key, text):
    start = "brimcast: 1\nlamps: {key: {}}\nglasses: {hero: {vessel: can"
    (solid,) = build(setfile.parse(f"{start}}}}}"), detail=0.3).solids
    assert solid.kind == "metal"
    with pytest.raises(PersonError) as caught:
        setfile.parse(f"{start}, {more}}}}}")
    (fault,) = caught.value.faults
    assert fault.key == key and text in fault.text
