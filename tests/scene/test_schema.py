"""The JSON Schema: sound by itself, at one with the reader, and of use to an editor."""

import re
from importlib.resources import files

import jsonschema
import pytest

from brimcast.scene.models import SECTIONS
from brimcast.scene.schema import schema
from brimcast.scene.starter import starter
from brimcast.scene.yamlplaces import parse_document
from brimcast.shared.quantity import KINDS, QuantityError, parse, show

EXAMPLES = files("brimcast.scene") / "examples"
SCHEMA = schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
TEXTS = {kind: SCHEMA["$defs"][kind] for kind in KINDS if kind in SCHEMA["$defs"]}


def test_schema_obeys_its_own_dialect():
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def ready_sets():
    texts = {path.name: path.read_text(encoding="utf-8") for path in EXAMPLES.glob("*.yaml")}
    return {**texts, "starter": starter("plum")}


@pytest.mark.parametrize("name", list(ready_sets()))
def test_ready_set_is_valid(name):
    assert not list(VALIDATOR.iter_errors(parse_document(ready_sets()[name], name).data))


@pytest.mark.parametrize("name", list(ready_sets()))
def test_every_broken_quantity_of_a_ready_set_is_refused(name):
    """Each quantity in turn loses its unit; each time the schema says so at that place."""
    document = parse_document(ready_sets()[name], name)
    broken = 0
    for path in document.places:
        value = document.value(path)
        if not isinstance(value, str) or not re.search(r"\d +[%a-zA-Z]", value) or path == ("title",):
            continue
        parent = document.value(path[:-1])
        parent[path[-1]] = value.split()[0]
        places = {tuple(error.absolute_path) for error in deepest(VALIDATOR.iter_errors(document.data))}
        assert path in places, (path, value)
        parent[path[-1]] = value
        broken += 1
    assert broken >= 8
    VALIDATOR.validate(document.data)


def deepest(errors):
    """Yield all errors, those inside the forms that were tried as well."""
    for error in errors:
        yield error
        yield from deepest(error.context)


@pytest.mark.parametrize("kind", list(TEXTS))
def test_pattern_takes_what_the_reader_takes(kind):
    pattern = TEXTS[kind]["pattern"]
    rules = KINDS[kind]
    written = [*TEXTS[kind]["examples"], rules.example]
    written += [show(value, kind) for value in (0.25, 1.0, 12.5, 60.0) if fits(value, rules)]
    written += [f"12 {unit}" for unit in rules.units if unit != "o'clock"]
    written += ["10:30 o'clock"] if "o'clock" in rules.units else []
    written += ["5 ft 6 in", "1/2 in", "1 1/2 ft", "½ in", "6\N{DOUBLE PRIME}"] if kind == "length" else []
    for text in written:
        parse(text, kind)
        assert re.search(pattern, text), text


def fits(value, rules):
    return rules.low <= value <= rules.high


@pytest.mark.parametrize("kind", list(TEXTS))
def test_pattern_refuses_what_the_reader_refuses(kind):
    pattern = TEXTS[kind]["pattern"]
    unit = next(iter(KINDS[kind].units), "")
    numbers, units = ("", "x ", "1,5 ", "1 2 3 ", "-"), ("", f"{unit} too", f"{unit}x")
    for text in ("", *(number + unit for number in numbers), *(f"12 {wrong}" for wrong in units)):
        with pytest.raises(QuantityError):
            parse(text, kind)
        assert not re.search(pattern, text), text


def test_names_are_checked():
    lamps = {"brimcast": 1, "lamps": {"key": {}}}
    VALIDATOR.validate(lamps)
    for name in ("2nd", "key.a", "key light", "", "-"):
        assert not VALIDATOR.is_valid({"brimcast": 1, "lamps": {name: {}}}), name
    for name in ("key2", "Schlüssel", "灯", "rim_left-2"):
        assert VALIDATOR.is_valid({"brimcast": 1, "lamps": {name: {}}}), name
    assert set(SECTIONS) == {key for key, one in SCHEMA["properties"].items() if "propertyNames" in one}


def test_every_key_tells_an_editor_what_it_is():
    def walk(node, path):
        for key, below in node.get("properties", {}).items():
            told = below
            if "description" not in told and "$ref" in told:
                told = SCHEMA["$defs"][told["$ref"].rsplit("/", 1)[1]]
            assert told.get("description"), (*path, key)
            walk(below, (*path, key))

    walk(SCHEMA, ())
    for name, part in SCHEMA["$defs"].items():
        walk(part, (name,))


def test_defaults_in_the_schema_are_valid_and_written_with_units():
    throw = SCHEMA["$defs"]["DiscLamp"]["properties"]["throw"]
    assert throw["default"] == "1.5 m"
    checked = 0
    for part in SCHEMA["$defs"].values():
        for below in part.get("properties", {}).values():
            if "default" in below:
                validator = VALIDATOR.evolve(schema={"$defs": SCHEMA["$defs"], **below})
                validator.validate(below["default"])
                checked += 1
    assert checked > 40
