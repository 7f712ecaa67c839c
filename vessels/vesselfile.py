"""Vessel files: a glass's measures in YAML, written by a trace, edited by hand, named by a set file."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field
from pathlib import Path

import yaml

from brimcast.shared.errors import Fault, PersonError
from brimcast.shared.quantity import show

from .measured import DRAWING_KEYS, KEYS, Drawing, Measured, Wrong, make_vessel
from .outline import OutlineError

VERSION = 1
_MOST_BYTES = 1_000_000
_MOST_VALUES = 20_000
_HEAD = "brimcast-vessel"


@dataclass(frozen=True)
class VesselFile:
    """A vessel file that was read.

    Parameters
    ----------
    path : Path
    measured : Measured
    places : dict
        Line and column, from 1, of each value by its path; see `_places`.
    """

    path: Path
    measured: Measured
    places: dict = field(repr=False, compare=False)

    def fault(self, text, *keys):
        """Return a `PersonError` at a key, or at the nearest one above it that the file has."""
        return PersonError(_fault(self.path, self.places, text, keys))


def read_vessel(path):
    """Return the Vessel of a vessel file.

    Raises
    ------
    PersonError
        With all faults of the file, or the one that keeps its measures from making a glass.
    """
    file = read_file(path)
    try:
        return make_vessel(file.measured, file.path.parent, file.path.stem)
    except OutlineError as wrong:
        raise file.fault(wrong.text, "outline", wrong.index) from None
    except ValueError as wrong:
        raise file.fault(*name_measure(str(wrong), file.measured)) from None


def read_file(path):
    """Return a vessel file, a `VesselFile`, without making the glass.

    Raises
    ------
    PersonError
        With all faults of the file.
    """
    path = Path(path)
    data, places, faults = _load(path)
    version = data.pop(_HEAD, None)
    if version != VERSION:
        what = "missing" if version is None else f"{version!r} is not known"
        text = f"{what}; a vessel file begins with '{_HEAD}: {VERSION}'"
        faults.append(_fault(path, places, text, (_HEAD,)))
    values = {}
    allowed = {**KEYS, **DRAWING_KEYS}
    for key, value in data.items():
        if key not in allowed:
            near = difflib.get_close_matches(str(key), allowed, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else f"; allowed: {', '.join(allowed)}"
            faults.append(_fault(path, places, f"unknown key{hint}", (key,)))
            continue
        name, read = allowed[key]
        try:
            values[key] = read(value)
        except Wrong as wrong:
            faults.append(_fault(path, places, wrong.text, (key, *wrong.below)))
    faults += [_fault(path, places, text, keys) for text, keys in _together(data)]
    if faults:
        raise PersonError(sorted(faults, key=lambda fault: (fault.line or 0, fault.column or 0)))
    drawn = {DRAWING_KEYS[key][0]: values.pop(key) for key in list(values) if key in DRAWING_KEYS}
    measures = {KEYS[key][0]: value for key, value in values.items()}
    drawing = Drawing(**drawn) if drawn else None
    return VesselFile(path, Measured(drawing=drawing, **measures), places)


def write_file(path, measured, head=(), remarks=None):
    """Write a vessel file for editing by hand, replacing it whole.

    Parameters
    ----------
    path : Path
    measured : Measured
    head : iterable of str
        Lines of comment at its start.
    remarks : mapping of str to str, optional
        Comment behind a key, such as that its value is a guess.
    """
    path = Path(path)
    try:
        fresh = path.with_name(f".{path.name}.new")
        fresh.write_text(vessel_text(measured, head, remarks), encoding="utf-8")
        fresh.replace(path)
    except OSError as error:
        text = f"cannot be written: {(error.strerror or str(error)).lower()}"
        raise PersonError(Fault(str(path), None, None, None, text)) from None
    return path


def vessel_text(measured, head=(), remarks=None):
    """Return the text of a vessel file; see `write_file`."""
    remarks = remarks or {}
    lines = [*(f"# {line}".rstrip() for line in head), f"{_HEAD}: {VERSION}"]

    def add(key, text):
        lines.append(f"{key}: {text}{'  # ' + remarks[key] if key in remarks else ''}")

    for key, (name, _) in DRAWING_KEYS.items():
        value = getattr(measured.drawing, name, None)
        if value is not None:
            add(key, _mm(value) if name == "height_mm" else _plain(value))
    plain = Measured()
    for key, (name, _) in KEYS.items():
        value = getattr(measured, name)
        if value == getattr(plain, name) and key not in ("wall", "base"):
            continue
        if key in ("outline", "inside"):
            side = "outer" if key == "outline" else "inner"
            lines.append(f"{key}:  # {remarks.get(key, f'height, {side} diameter')}")
            lines += [f"  - [{_mm(a)}, {_mm(b)}]" for a, b in value]
        else:
            add(key, _value_text(key, value))
    return "\n".join(lines) + "\n"


def _value_text(key, value):
    if key == "corners":
        if any(value.values()):
            return "{" + ", ".join(f"{k + 1}: {_mm(r)}" for k, r in sorted(value.items())) + "}"
        return "[" + ", ".join(str(k + 1) for k in sorted(value)) + "]"
    if isinstance(value, tuple):
        return "[" + ", ".join(f"[{_mm(a)}, {_mm(b)}]" for a, b in value) + "]"
    return "cut" if key == "edge" and value == 0 else _mm(value)


def _plain(value):
    return yaml.safe_dump(value, allow_unicode=True).removesuffix("...\n").strip()


def _mm(value):
    return show(round(value, 4), "length")


def _together(data):
    """Yield text and path of what does not go together."""
    if "outline" not in data and "drawing" not in data:
        yield "has no outline; give outline: (points) or drawing: (a file)", ()
    if "outline" in data and "drawing" in data:
        yield "has both outline and drawing; keep one", ("drawing",)
    for key in DRAWING_KEYS:
        if key in data and "drawing" not in data:
            yield "belongs to a drawing; this file has none", (key,)
    if "inside" in data and "drawing" in data:
        yield "a drawing has its inside in itself; name it with inside_path", ("inside",)
    if "edge" in data and "bead" in data:
        yield "a rim has either an edge or a bead; keep one", ("bead",)
    if isinstance(data.get("outline"), list) and isinstance(data.get("corners"), list | dict):
        count = len(data["outline"])
        for index, corner in enumerate(data["corners"]):
            at = index if isinstance(data["corners"], list) else corner
            if str(corner).isdecimal() and int(corner) > count:
                yield f"the outline has {count} points, no point {corner}", ("corners", at)


def name_measure(text, measured):
    """Return a fault's text without the measure that it begins with, and the key of that measure."""
    fields = {name: key for key, (name, _) in KEYS.items()} | {"rim_mm": "edge"}
    name, colon, rest = text.partition(": ")
    if colon and name in fields:
        return rest, fields[name]
    return text, "outline" if measured.drawing is None else "drawing"


def _fault(path, places, text, keys):
    known = tuple(keys)
    while known and known not in places:
        known = known[:-1]
    line, column = places.get(known, (1, 1))
    dotted = ".".join(str(key + 1) if isinstance(key, int) else str(key) for key in keys)
    return Fault(str(path), line, column, dotted or None, text)


def _load(path):
    """Return the values of a YAML mapping, their places, and faults found on the way."""
    try:
        raw = path.read_bytes()
        if len(raw) > _MOST_BYTES:
            raise PersonError(Fault(str(path), None, None, None, "too long for a vessel file"))
        root = yaml.compose(raw.decode("utf-8-sig"), yaml.SafeLoader)
    except OSError as error:
        said = (error.strerror or str(error)).lower()
        raise PersonError(Fault(str(path), None, None, None, f"cannot be read: {said}")) from None
    except UnicodeDecodeError:
        raise PersonError(Fault(str(path), None, None, None, "not UTF-8 text; save it as UTF-8")) from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = (mark.line + 1, mark.column + 1) if mark else (None, None)
        raise PersonError(Fault(str(path), *place, None, f"not valid YAML: {error.problem}")) from None
    except (yaml.YAMLError, RecursionError) as error:
        raise PersonError(Fault(str(path), None, None, None, f"not valid YAML: {error}")) from None
    places, faults = {}, []
    if not isinstance(root, yaml.MappingNode):
        text = f"no vessel file; it begins with '{_HEAD}: {VERSION}'"
        raise PersonError(Fault(str(path), 1, 1, None, text))
    try:
        return _value(root, (), places, faults, path), places, faults
    except RecursionError:
        raise PersonError(Fault(str(path), None, None, None, "an anchor that holds itself")) from None


def _value(node, keys, places, faults, path):
    """Return a node's plain value; note where everything stands."""
    places[keys] = (node.start_mark.line + 1, node.start_mark.column + 1)
    if len(places) > _MOST_VALUES:
        raise PersonError(Fault(str(path), *places[keys], None, "too many values for a vessel file"))
    if isinstance(node, yaml.SequenceNode):
        return [_value(item, (*keys, i), places, faults, path) for i, item in enumerate(node.value)]
    if isinstance(node, yaml.MappingNode):
        found = {}
        for key_node, value_node in node.value:
            key = str(key_node.value)
            if key in found:
                place = key_node.start_mark.line + 1, key_node.start_mark.column + 1
                faults.append(Fault(str(path), *place, key, "given twice; keep one"))
                continue
            found[key] = _value(value_node, (*keys, key), places, faults, path)
        return found
    kind = node.tag.rpartition(":")[2]
    if kind == "int" and node.value.lstrip("+-").isdecimal():
        return int(node.value)
    if kind == "float":
        try:
            return float(node.value)
        except ValueError:
            return node.value
    return node.value
