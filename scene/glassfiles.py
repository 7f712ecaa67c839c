"""Glasses whose shape stands in the set as measures, or in files beside it; and which files those are."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from brimcast.shared.errors import PersonError
from brimcast.vessels import imports, vesselfile
from brimcast.vessels.measured import make_vessel
from brimcast.vessels.outline import OutlineError

from .models_vessels import DrawnVessel, FileVessel, GlassMeasures, MeshVessel
from .setfile import SetFile, faults_at

_FILES = (DrawnVessel, FileVessel, MeshVessel)


def shape_glass(set_file: SetFile, name: str):
    """Return the vessel of a glass that was measured, drawn or is in a file.

    Raises
    ------
    PersonError
        With the place in the set, or in the file that it names.
    """
    model, key = set_file.glasses[name].vessel, f"glasses.{name}.vessel"
    folder = folder_of(set_file)
    if isinstance(model, _FILES) and not (folder / model.file).is_file():
        mark = f"{key}.{model.MARKS[0]}"
        text = f"there is no file {model.file!r} in {folder.resolve()}"
        raise PersonError(faults_at(set_file, mark, text))
    if isinstance(model, FileVessel):
        return vesselfile.read_vessel(folder / model.file)
    if isinstance(model, MeshVessel):
        path = folder / model.file
        ask = imports.Import(model.unit, model.height_mm, model.up, model.sharp_deg, model.repair)
        return _imported(path, path.stat().st_mtime_ns, ask)
    measured = model.measured()
    try:
        return make_vessel(measured, folder, name)
    except OutlineError as wrong:
        raise PersonError(faults_at(set_file, f"{key}.outline.{wrong.index + 1}", wrong.text)) from None
    except ValueError as wrong:
        text, at = vesselfile.name_measure(str(wrong), measured)
        raise PersonError(faults_at(set_file, f"{key}.{at}", text)) from None


def is_own(model) -> bool:
    """Whether a vessel is not of the library."""
    return isinstance(model, GlassMeasures | FileVessel | MeshVessel)


def folder_of(set_file: SetFile) -> Path:
    """Return the folder from which the files that a set names are found."""
    document = set_file._document
    return Path(document.file).parent if document else Path()


def list_files(set_file: SetFile) -> list[Path]:
    """Return the files that the set's glasses, labels, ice, drinks, props, lamps and flags are in."""
    from .kits import list_lamp_files

    folder, found = folder_of(set_file), list_lamp_files(set_file)
    for glass in set_file.glasses.values():
        if isinstance(glass.vessel, _FILES):
            found += _with_drawing(folder / glass.vessel.file)
        found += [folder / label.picture for label in glass.labels if label.picture]
        found += [folder / piece.file for piece in glass.ice if piece.shape == "mesh"]
        found += [folder / table for table in glass.drink.tables] if glass.drink else []
    found += [folder / flag.picture for flag in set_file.flags.values() if flag.picture]
    for prop in set_file.props.values():
        found += [folder / prop.picture] if getattr(prop, "picture", None) else []
    materials = [getattr(prop, "material", None) for prop in set_file.props.values()]
    return found + [folder / table for material in materials for table in getattr(material, "tables", ())]


def hash_files(set_file: SetFile) -> list[str]:
    """Return a hash of each file of `list_files`; empty where there is none."""
    return [_hash(path) for path in list_files(set_file)]


def _with_drawing(path: Path) -> list[Path]:
    """Return a file, and the drawing that it names if it is a vessel file."""
    if path.suffix.lower() in (".yaml", ".yml"):
        try:
            drawing = vesselfile.read_file(path).measured.drawing
        except PersonError:
            return [path]
        if drawing:
            return [path, path.parent / drawing.file]
    return [path]


def _hash(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return "missing"


@lru_cache(maxsize=8)
def _imported(path: Path, changed_ns: int, ask: imports.Import) -> imports.MeshVessel:
    return imports.import_mesh(path, ask)
