"""Reading YAML: files that cannot be read, syntax, plain scalars, places."""

import pytest

from brimcast.scene import setfile, yamlplaces
from brimcast.shared.errors import PersonError


def fault_of(call, *args):
    with pytest.raises(PersonError) as caught:
        call(*args)
    (fault,) = caught.value.faults
    return fault


def test_missing_file_and_folder_are_one_clear_line(tmp_path):
    path = tmp_path / "none.yaml"
    assert str(fault_of(setfile.read, path)) == f"{path}: there is no such file"
    assert str(fault_of(setfile.read, tmp_path)) == f"{tmp_path}: this is a folder, not a set file"


@pytest.mark.parametrize("text", ["", "\n", "# only a remark\n", "\ufeff"])
def test_empty_file_says_how_to_begin(tmp_path, text):
    path = tmp_path / "set.yaml"
    path.write_text(text, encoding="utf-8")
    fault = fault_of(setfile.read, path)
    assert "empty" in fault.text and "brimcast: 1" in fault.text


def test_other_encoding_is_told_with_its_place(tmp_path):
    path = tmp_path / "set.yaml"
    path.write_bytes("brimcast: 1\ntitle: Zoë\n".encode("latin-1"))
    fault = fault_of(setfile.read, path)
    assert (fault.line, fault.column) == (2, 10)
    assert "UTF-8" in fault.text


def test_byte_order_mark_and_crlf_are_read(tmp_path):
    path = tmp_path / "set.yaml"
    path.write_bytes("\ufeffbrimcast: 1\r\ntitle: Zoë\r\nlamps: {key: {throw: 2}}\r\n".encode())
    fault = fault_of(setfile.read, path)
    assert (fault.line, fault.column, fault.key) == (3, 22, "lamps.key.throw")


@pytest.mark.parametrize(
    ("text", "place", "hint"),
    [
        ("brimcast: 1\ntitle: Plum: dark\n", (2, 12), "quotes"),
        ("brimcast: 1\nlamps:\n\tkey: {}\n", (3, 1), "spaces"),
        ("brimcast: 1\nlamps: {key: {}\ntable: {}\n", (3, 1), "closed"),
        ("brimcast: 1\ntitle: 'Plum\n", (3, 1), "quotation mark"),
        ("brimcast: 1\nlamps:\n  key: {}\n fill: {}\n", (4, 2), "indented"),
        ("brimcast: 1\n---\nbrimcast: 1\n", (2, 1), "one set"),
        ("brimcast: 1\ntitle: @home\n", (2, 8), "quotes"),
        ("brimcast: 1\ntable: *white\n", (2, 8), "undefined alias"),
        ("brimcast: 1\ntitle: a\x07b\n", (2, 9), "U+0007"),
    ],
)
def test_syntax_error_is_one_fault_at_its_place(text, place, hint):
    fault = fault_of(setfile.parse, text)
    assert (fault.line, fault.column) == place
    assert hint in fault.text


def test_deep_nesting_and_endless_anchors_are_refused():
    assert "deep" in fault_of(setfile.parse, "a: " + "[" * 2_000).text
    assert "holds itself" in fault_of(setfile.parse, "a: &a [*a]\n").text


def test_anchors_that_multiply_are_stopped():
    """A small file whose anchors stand for a billion values."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 9)]
    assert "values" in fault_of(setfile.parse, "\n".join(lines)).text


def test_plain_scalars_follow_the_core_schema():
    """The examples of YAML 1.2.2, 10.3.2 (core schema), less octal and hexadecimal numbers."""
    text = (
        "A null: null\nAlso a null: # Empty\nNot a null: ''\nBooleans: [true, True, false, FALSE]\n"
        "Integers: [0, 17, -19]\nFloats: [0., -0.0, .5, +12e03, -2E+05]\nAlso floats: [.inf, -.Inf, +.INF]\n"
        "Words: [on, no, y, 1:30, 2026-11-01, 1_000]\n"
    )
    infinite = float("inf")
    assert yamlplaces.parse_document(text, "x").data == {
        "A null": None,
        "Also a null": None,
        "Not a null": "",
        "Booleans": [True, True, False, False],
        "Integers": [0, 17, -19],
        "Floats": [0.0, 0.0, 0.5, 12000.0, -200000.0],
        "Also floats": [infinite, -infinite, infinite],
        "Words": ["on", "no", "y", "1:30", "2026-11-01", "1_000"],
    }


def test_every_key_and_value_has_its_place():
    document = yamlplaces.parse_document("a:\n  b: [1 mm,\n    2 mm]\n", "x")
    assert document.places == {
        (): yamlplaces.Place((1, 1), (1, 1)),
        ("a",): yamlplaces.Place((1, 1), (2, 3)),
        ("a", "b"): yamlplaces.Place((2, 3), (2, 6)),
        ("a", "b", 0): yamlplaces.Place((2, 7), (2, 7)),
        ("a", "b", 1): yamlplaces.Place((3, 5), (3, 5)),
    }


@pytest.mark.parametrize("path", [("camera",), ("glasses", "hero", "at", 1), ("lamps", "key", "throw")])
def test_dotted_key_leads_back_to_its_path(path):
    assert yamlplaces.split(yamlplaces.dotted(path)) == path
