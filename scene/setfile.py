"""Read and check a set file. All that is wrong is told at once, each fault with its place.

The keys are listed in `setfile.md`, next to this module.
"""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from brimcast.shared.errors import Fault, PersonError

from .crosschecks import cross_check
from .faults import model_faults
from .models import SECTIONS, VERSION, SetFile
from .models_base import Part, listed, nearest, show
from .yamlplaces import Document, Path_, dotted, parse_document, parse_value, read_document, split

__all__ = ["SetFile", "digest", "faults_at", "parse", "read", "written"]

#: Keys whose plain word stands for a group, and the key in the group that holds that word.
_SHORT_FORMS = {"vessel": "shape", "glass": "kind"}


def read(path: str | Path, changes: Mapping[str, object] | None = None) -> SetFile:
    """Return the set in a file.

    Parameters
    ----------
    path : str or Path
    changes : mapping of str to object, optional
        Values to use instead of the file's, by dotted key: ``{"lamps.key.throw": "2 m"}``. Texts are
        read as in the file. Items of lists are counted from 1: ``glasses.hero.at.2``. A key that the
        file leaves out may be given, a thing (lamp, glass ...) that it lacks may not.

    Raises
    ------
    PersonError
        With all faults of the file.
    """
    return _check(_change(read_document(path), changes or {}))


def parse(text: str, file: str = "set", changes: Mapping[str, object] | None = None) -> SetFile:
    """Return the set in a text; `file` names it in messages. See `read`."""
    return _check(_change(parse_document(text, file), changes or {}))


def digest(set_file: SetFile) -> str:
    """Return a hash of what a set says, to 9 digits, whatever its units, comments and order of keys.

    A default left out or written counts alike. The order of named things counts: it settles the hero.
    What stands in files that the set names counts too. The brief does not: no light depends on it.
    """
    from .glassfiles import hash_files

    content = [item for item in _content(set_file) if item[0] != "brief"]
    if files := hash_files(set_file):
        content = [content, files]
    text = json.dumps(content, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def written(set_file: SetFile, key: str) -> object:
    """Return what the file has at a dotted key, as YAML makes of it; None where it has nothing."""
    found = set_file._document.data if set_file._document else None
    for part in split(key):
        try:
            found = found[part]
        except (KeyError, IndexError, TypeError):
            return None
    return found


def faults_at(set_file: SetFile, key: str, text: str) -> tuple[Fault, ...]:
    """Return the fault `text` at a dotted key, ready for `PersonError`.

    Parameters
    ----------
    set_file : SetFile
    key : str
        Such as ``glasses.hero.drink.fill``. Where the file lacks it, the fault points at its nearest parent.
    text : str
        What is wrong, the value, and what is allowed.

    Returns
    -------
    tuple of one Fault
    """
    document = set_file._document
    if document is None:
        return (Fault(None, None, None, key, text),)
    return (document.fault(split(key), text),)


def _check(document: Document) -> SetFile:
    """Return the set of a document, or raise all its faults in the order of the file."""
    _check_version(document)
    found = [(split(fault.key or ""), fault) for fault in document.faults]
    set_file = None
    try:
        set_file = SetFile.model_validate(document.data)
    except ValidationError as error:
        for path, text, at in model_faults(error, SetFile, document):
            found.append((path, document.fault(path, text, at)))
    for path, text, at in cross_check(document):
        found.append((path, document.fault(path, text, at)))
    if found:
        # One fault a place: what the file says twice or leaves empty comes before what follows from it.
        first: dict[tuple, Fault] = {}
        for path, fault in found:
            first.setdefault(path, fault)
        raise PersonError(sorted(first.values(), key=_in_file_order))
    set_file._document = document
    return set_file


def _in_file_order(fault: Fault) -> tuple[int, int, str]:
    return fault.line or 0, fault.column or 0, fault.key or ""


def _check_version(document: Document) -> None:
    """Refuse at once what is no set file of a version known here."""
    if not isinstance(document.data, dict):
        text = f"this is {show(document.data)}; a set file is made of keys, the first of them 'brimcast: 1'"
        raise PersonError(document.fault((), text))
    version = document.data.get("brimcast", VERSION)
    if type(version) is int and version > VERSION:
        text = f"version {version} is too new: this program reads version {VERSION}; update the program"
        raise PersonError(document.fault(("brimcast",), text))


def _change(document: Document, changes: Mapping[str, object]) -> Document:
    """Return the document with values changed by dotted key."""
    if not changes:
        return document
    data, done, faults = copy.deepcopy(document.data), [], []
    for key, value in changes.items():
        path = split(key)
        text = _put(data, path, parse_value(value) if isinstance(value, str) else value)
        if text:
            faults.append(Fault(document.file, None, None, key, text))
        done.append(path)
    if faults:
        raise PersonError(faults)
    return replace(document, data=data, changed=frozenset(done))


def _put(data: Any, path: Path_, value: object) -> str | None:
    """Set a value in place; return what is wrong if that cannot be done."""
    for depth, part in enumerate(path):
        last = depth == len(path) - 1
        here = dotted(path[:depth])
        if isinstance(data, list):
            if not isinstance(part, int) or not 0 <= part < len(data):
                return f"cannot be changed: {here} is a list of {len(data)}, counted from 1"
        elif not isinstance(data, dict):
            return f"cannot be changed: {here or 'the file'} is {show(data)}, which has nothing under it"
        elif depth == 1 and path[0] in SECTIONS and part not in data:
            near = nearest(str(part), data) or ";"
            text = f"cannot be changed: there is no {SECTIONS[path[0]]} {part!r}{near}"
            return f"{text} allowed: {listed(data)}"
        if last:
            data[part] = value
            return None
        if isinstance(data, dict):
            data.setdefault(part, {})
            if isinstance(data[part], str) and part in _SHORT_FORMS:
                data[part] = {_SHORT_FORMS[part]: data[part]}
        data = data[part]
    return None


def _content(value: Any) -> Any:
    """Return a value as plain lists and texts that are equal where two sets say the same."""
    if isinstance(value, Part):
        fields = type(value).model_fields
        return [type(value).__name__, *([name, _content(getattr(value, name))] for name in fields)]
    if isinstance(value, dict):
        return [[name, _content(item)] for name, item in value.items()]
    if isinstance(value, tuple):
        return [type(value).__name__, *map(_content, value)]
    if isinstance(value, float):
        return f"{value + 0.0:.9g}"
    return value
