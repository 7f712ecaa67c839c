"""YAML read into plain values, with the place of every key and value in the file.

Plain scalars follow the core schema of YAML 1.2 (https://yaml.org/spec/1.2.2/#103-core-schema, read 2026-11),
so that `on`, `no` or `1:30` stay text. Tags and merge keys are not part of a set file.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import yaml

from brimcast.shared.errors import Fault, PersonError

MOST_BYTES = 2_000_000
MOST_VALUES = 50_000

_WORDS = {"": None, "~": None, "null": None, "Null": None, "NULL": None}
_WORDS |= dict.fromkeys(("true", "True", "TRUE"), True) | dict.fromkeys(("false", "False", "FALSE"), False)
_WORDS |= dict.fromkeys((".nan", ".NaN", ".NAN"), float("nan"))
_WORDS |= dict.fromkeys((".inf", ".Inf", ".INF", "+.inf", "+.Inf", "+.INF"), float("inf"))
_WORDS |= dict.fromkeys(("-.inf", "-.Inf", "-.INF"), float("-inf"))
_TAGS = {
    f"tag:yaml.org,2002:{kind}"
    for kind in ("null", "bool", "int", "float", "str", "seq", "map", "timestamp", "merge", "value")
}
_INTEGER = re.compile(r"[-+]?[0-9]{1,18}")
_DECIMAL = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")

# What the parser says, against what usually helps.
_HINTS = (
    ("'\\t'", "a tab indents this line; use spaces"),
    ("mapping values are not allowed", "put quotes round a text that holds ': ', and check the indents"),
    ("could not find expected ':'", "a key needs ': ' after it"),
    ("expected <block end>", "check that keys on one level are indented alike"),
    ("cannot start any token", "put quotes round a text that starts with a sign"),
    ("expected ',' or", "a bracket or brace may not be closed"),
    ("while scanning a quoted scalar", "a quotation mark is not closed"),
    ("but found another document", "keep one set in one file"),
)

Path_ = tuple[str | int, ...]


@dataclass(frozen=True)
class Place:
    """Line and column, from 1, of a key and of its value; an item of a list has one place for both."""

    key: tuple[int, int]
    value: tuple[int, int]


@dataclass(frozen=True)
class Document:
    """Values of a YAML file and where they stand.

    Attributes
    ----------
    file : str
        Name for messages.
    data : object
        Mappings, lists, strings, numbers, True, False, None.
    places : mapping of path to Place
        A path is the tuple of keys and list indices (from 0) that leads to a value.
    changed : frozenset of path
        Values that were set from outside the file.
    faults : tuple of Fault
        Repeated keys and keys without a value.
    """

    file: str
    data: object
    places: Mapping[Path_, Place] = field(repr=False)
    changed: frozenset[Path_] = frozenset()
    faults: tuple[Fault, ...] = ()

    def fault(self, path: Path_, text: str, at: str = "value") -> Fault:
        """Return the fault `text` at a path, or at its nearest parent that is in the file.

        Parameters
        ----------
        path : tuple of str and int
        text : str
        at : {'value', 'key'}
            Whether to point at the value or at its key. A parent is always pointed at by its key.
        """
        known = path
        while known and known not in self.places:
            known, at = known[:-1], "key"
        if any(path[: len(changed)] == changed for changed in self.changed):
            return Fault(self.file, None, None, dotted(path), text)
        line, column = getattr(self.places[known], at) if known in self.places else (1, 1)
        return Fault(self.file, line, column, dotted(path) or None, text)

    def value(self, path: Path_) -> object:
        """Return the value at a path, or None where there is none."""
        return _step(self.data, path)


def dotted(path: Path_) -> str:
    """Return a path as people write it: `camera.sensor.2` is the second item of the list."""
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in path)


def split(key: str) -> Path_:
    """Return the path of a dotted key; numbers count list items from 1."""
    return tuple(int(part) - 1 if part.isdecimal() and part != "0" else part for part in key.split("."))


def read_document(path: str | Path) -> Document:
    """Return the YAML document in a file.

    Raises
    ------
    PersonError
        The file cannot be read, is not UTF-8 or is not YAML.
    """
    name = str(path)
    try:
        with open(path, "rb") as stream:
            raw = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise PersonError(Fault(name, None, None, None, "there is no such file")) from None
    except IsADirectoryError:
        raise PersonError(Fault(name, None, None, None, "this is a folder, not a set file")) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise PersonError(Fault(name, None, None, None, f"cannot be read: {reason}")) from None
    if len(raw) > MOST_BYTES:
        raise PersonError(Fault(name, None, None, None, f"longer than {MOST_BYTES} bytes: not a set file"))
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start].decode("utf-8", "replace")
        line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
        raise PersonError(
            Fault(name, line, column, None, "not UTF-8 text; save the file with the encoding UTF-8")
        ) from None
    return parse_document(text, name)


def parse_document(text: str, file: str) -> Document:
    """Return the YAML document in a text; `file` names it in messages.

    Raises
    ------
    PersonError
        The text is not YAML, or is empty.
    """
    try:
        node = yaml.compose(text, yaml.SafeLoader)
    except yaml.MarkedYAMLError as error:
        raise PersonError(_syntax_fault(error, file)) from None
    except yaml.reader.ReaderError as error:
        before = text[: error.position]
        line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
        said = f"the sign U+{error.character:04X} may not stand in YAML; take it out"
        raise PersonError(Fault(file, line, column, None, said)) from None
    except RecursionError:
        raise PersonError(Fault(file, None, None, None, "nested too deeply for a set file")) from None
    if node is None:
        raise PersonError(Fault(file, None, None, None, "the file is empty; begin it with 'brimcast: 1'"))
    walk = _Walk(file)
    data = walk.read(node, (), node.start_mark, frozenset())
    return Document(file, data, walk.places, frozenset(), tuple(walk.faults))


def parse_value(text: str) -> object:
    """Return the value that a text has in YAML, such as a number, or a list from `[0 mm, 80 mm]`.

    A text that is no YAML, or would need indents, stands for itself.
    """
    try:
        node = yaml.compose(text, yaml.SafeLoader)
        if isinstance(node, yaml.CollectionNode) and not node.flow_style:
            return text
        return None if node is None else _Walk("").read(node, (), node.start_mark, frozenset())
    except (yaml.YAMLError, PersonError, RecursionError):
        return text


class _Walk:
    """Turn YAML nodes into values, noting places and mistakes."""

    def __init__(self, file: str):
        self.file = file
        self.places: dict[Path_, Place] = {}
        self.faults: list[Fault] = []

    def read(self, node: yaml.Node, path: Path_, key_mark: yaml.Mark, above: frozenset[int]) -> object:
        self.places[path] = Place(_place(key_mark), _place(node.start_mark))
        if len(self.places) > MOST_VALUES:
            self.stop(node, path, f"more than {MOST_VALUES} values: not a set file")
        if id(node) in above:
            self.stop(node, path, "an anchor that holds itself")
        if node.tag not in _TAGS:
            self.note(node.start_mark, path, f"the tag {node.tag!r} has no meaning here; take it out")
        if isinstance(node, yaml.ScalarNode):
            value = _scalar(node)
            if value is None:
                self.note(key_mark, path, "has no value; give it one, or take the key out")
            return value
        above = above | {id(node)}
        if isinstance(node, yaml.SequenceNode):
            return [self.read(item, (*path, i), item.start_mark, above) for i, item in enumerate(node.value)]
        return dict(self.pairs(node, path, above))

    def pairs(
        self, node: yaml.MappingNode, path: Path_, above: frozenset[int]
    ) -> Iterator[tuple[str, object]]:
        first: dict[str, int] = {}
        for key_node, value_node in node.value:
            mark = key_node.start_mark
            if not isinstance(key_node, yaml.ScalarNode):
                self.note(mark, path, "a key must be one word, not a list or a mapping")
                continue
            key = key_node.value
            if key in first:
                self.note(mark, (*path, key), f"given twice, first on line {first[key]}; keep one")
                continue
            first[key] = mark.line + 1
            yield key, self.read(value_node, (*path, key), mark, above)

    def note(self, mark: yaml.Mark, path: Path_, text: str) -> None:
        self.faults.append(Fault(self.file, *_place(mark), dotted(path) or None, text))

    def stop(self, node: yaml.Node, path: Path_, text: str) -> None:
        raise PersonError(Fault(self.file, *_place(node.start_mark), dotted(path) or None, text))


def _scalar(node: yaml.ScalarNode) -> object:
    text = node.value
    if node.style is not None:
        return text
    if text in _WORDS:
        return _WORDS[text]
    if _INTEGER.fullmatch(text):
        return int(text)
    if _DECIMAL.fullmatch(text):
        return float(text)
    return text


def _place(mark: yaml.Mark) -> tuple[int, int]:
    return mark.line + 1, mark.column + 1


def _syntax_fault(error: yaml.MarkedYAMLError, file: str) -> Fault:
    mark = error.problem_mark or error.context_mark
    line, column = _place(mark) if mark else (None, None)
    said = " ".join(part for part in (error.context, error.problem) if part)
    hint = next((hint for sign, hint in _HINTS if sign in said), "see the lines round this place")
    return Fault(file, line, column, None, f"not valid YAML: {error.problem or said} ({hint})")


def _step(data: object, path: Path_) -> object:
    for part in path:
        if isinstance(data, dict) and part in data:
            data = data[part]
        elif isinstance(data, list) and isinstance(part, int) and 0 <= part < len(data):
            data = data[part]
        else:
            return None
    return data
