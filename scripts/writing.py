"""Files for a person to begin with, and whether a folder can be written."""

from __future__ import annotations

import json
import os
import re
import unicodedata
from pathlib import Path

from brimcast.shared.errors import Fault, PersonError, telling_unwritable


def write_starter(name: str) -> Path:
    """Write a commented set file named after a drink into the working folder and return its path.

    Raises
    ------
    PersonError
        The name has no letter or digit, or the file is there already.
    """
    from brimcast.scene.starter import starter

    stem = slug(name)
    if not stem:
        raise PersonError(f"the name {name!r} has no letter or digit; try one such as 'Obbleway Tonic'")
    path = Path(f"{stem}.yaml")
    with telling_unwritable(path):
        try:
            with open(path, "x", encoding="utf-8") as file:
                file.write(starter(name))
        except FileExistsError:
            raise _fault(path, "is there already; choose another name, or move it away") from None
    return path


def slug(name: str) -> str:
    """Return a name as small ASCII letters and digits with hyphens between.

    >>> slug("Crème d'Ombre 2")
    'creme-d-ombre-2'
    """
    bare = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii").lower()
    return "-".join(re.findall("[a-z0-9]+", bare))[:80]


def schema_text() -> str:
    """Return the JSON Schema of set files as text."""
    from brimcast.scene.schema import schema

    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


def write_schema(path: Path) -> Path:
    """Write the schema into a file, replacing it, and return its path.

    Raises
    ------
    PersonError
        It cannot be written.
    """
    from brimcast.renders.keep import replacing_file

    with telling_unwritable(path), replacing_file(path) as fresh:
        fresh.write_text(schema_text(), encoding="utf-8")
    return path


def check_folder(folder: Path) -> None:
    """Refuse a folder that cannot be written, before long work begins.

    Raises
    ------
    PersonError
        It, or what it would be made in, is no folder or may not be written.
    """
    at = folder.resolve()
    while not os.path.lexists(at):
        at = at.parent
    if not at.is_dir():
        raise _fault(folder, f"cannot be a folder: {at} is a file")
    if not os.access(at, os.W_OK | os.X_OK):
        raise _fault(folder, f"cannot be written: permission denied for {at}")


def _fault(path: Path, text: str) -> PersonError:
    return PersonError(Fault(str(path), None, None, None, text))
