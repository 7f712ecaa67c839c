"""What the vessel commands do with one glass: find it, measure it, draw it, export it, list the library."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from brimcast.shared.errors import Fault, PersonError, telling_unwritable
from brimcast.shared.quantity import QuantityError, parse
from brimcast.vessels.library import SHAPES, Vessel, vessel
from brimcast.vessels.mesh import Mesh
from brimcast.vessels.numbers import DENSITY_G_CM3, Numbers, describe, measure

# What a set can add to a turned glass that its section does not show.
ADDED = ("cut", "flutes", "ribs", "rings", "hammered", "wavy", "bubbles")


@dataclass(frozen=True)
class Chosen:
    """A glass that a person named.

    Parameters
    ----------
    vessel : Vessel
    make_mesh : callable
        Detail -> the Mesh of the glass, with all that a set adds.
    made_of : str or None
        What a set file says that it is made of, where its density is known.
    added : tuple of str
        Those of `ADDED` that it has.
    """

    vessel: Vessel
    make_mesh: Callable[[float], Mesh]
    made_of: str | None = None
    added: tuple[str, ...] = ()


def choose(which: str, of: str | None = None) -> Chosen:
    """Return the glass that a name or a file gives.

    Parameters
    ----------
    which : str
        Name of the library, or path of a vessel file or set file.
    of : str, optional
        Name of a glass in a set file; default the hero.

    Raises
    ------
    PersonError
    """
    path = Path(which)
    if which in SHAPES or not (path.suffix or path.exists()):
        if of is not None:
            raise PersonError(f"--of {of!r}: {which!r} is no set file; take the option out")
        glass = named(which)
        return Chosen(glass, glass.glass_mesh)
    return _from_file(path, of)


def named(name: str) -> Vessel:
    """Return a glass of the library.

    Raises
    ------
    PersonError
        There is none of that name.
    """
    if name not in SHAPES:
        from brimcast.scene.models_base import nearest

        near = nearest(name, SHAPES) or ";"
        raise PersonError(f"no glass is called {name!r}{near} there are {', '.join(SHAPES)}")
    return vessel(name)


def _from_file(path: Path, of: str | None) -> Chosen:
    from brimcast.scene import setfile
    from brimcast.scene.finishes import dress_glass
    from brimcast.scene.models_base import nearest
    from brimcast.scene.pieces import choose_vessel
    from brimcast.scene.yamlplaces import read_document

    data = read_document(path).data
    if isinstance(data, dict) and "brimcast-vessel" in data:
        from brimcast.vessels.vesselfile import read_vessel

        if of is not None:
            raise PersonError(f"--of {of!r}: {path} is no set file; take the option out")
        glass = read_vessel(path)
        return Chosen(glass, glass.glass_mesh)
    set_file = setfile.read(path)
    name = of or set_file.hero
    if name not in set_file.glasses:
        if not set_file.glasses:
            raise PersonError(_fault(path, "this set has no glass"))
        near = nearest(name, set_file.glasses) or ";"
        known = ", ".join(set_file.glasses)
        raise PersonError(_fault(path, f"there is no glass {name!r}{near} there are {known}"))
    model, glass = set_file.glasses[name], choose_vessel(set_file, name)
    made_of = getattr(model.glass, "kind", None)
    return Chosen(
        vessel=glass,
        make_mesh=lambda detail: dress_glass(set_file, name, glass, detail).mesh,
        made_of=made_of if made_of in DENSITY_G_CM3 else None,
        added=tuple(word for word in ADDED if getattr(model, word)),
    )


def show(chosen: Chosen, fills: list[str], made_of: str | None, out: Path) -> tuple[list[str], list[Path]]:
    """Return a glass's numbers in lines, and the files that its drawing was written to.

    Parameters
    ----------
    chosen : Chosen
    fills : list of str
        Heights of the fill line above the table, or volumes, with their units.
    made_of : str or None
    out : Path
        A .png or .svg file, or the folder for both.

    Raises
    ------
    PersonError
        A fill does not go into the glass, or the drawing cannot be written.
    """
    from brimcast.renders.keep import replacing_file
    from brimcast.vessels.drawing import write_section

    glass = chosen.vessel
    if not isinstance(glass, Vessel):
        raise PersonError(f"{glass.name} is a mesh, which has no section to draw; it can be exported")
    made_of = None if glass.closed else made_of or chosen.made_of
    numbers = measure(glass, sorted(_fill_mm(glass, text) for text in fills), made_of)
    if out.suffix.lower() in (".png", ".svg"):
        paths = [out]
    else:
        paths = [out / f"{glass.name}.png", out / f"{glass.name}.svg"]
    for path in paths:
        with telling_unwritable(path), replacing_file(path) as fresh:
            write_section(glass, numbers, fresh)
    lines = _number_lines(glass, numbers)
    if chosen.added:
        lines.append(f"  note: these are the turned glass's; {', '.join(chosen.added)} left out")
    return lines, paths


def _fill_mm(glass: Vessel, text: str) -> float:
    """Return the height of a fill line, mm."""
    if glass.closed:
        raise PersonError(f"--fill {text!r}: a {glass.name} is closed; take the option out")
    try:
        if text.rstrip().lower().endswith("l"):
            return glass.fill_height_for_ml(parse(text, "volume"))
        height_mm = parse(text, "length")
        glass.capacity_ml(height_mm)
    except (QuantityError, ValueError) as error:
        raise PersonError(f"--fill {text!r}: {error}") from None
    return height_mm


def _number_lines(glass: Vessel, numbers: Numbers) -> list[str]:
    # The round rim lies a little inside the measured diameter.
    widest_mm = 2 * max(glass.outer.points_mm[:, 0].max(), glass.rim_radius_mm)
    pairs = [
        ("height", f"{glass.height_mm:.1f} mm"),
        ("widest diameter", f"{widest_mm:.1f} mm"),
        ("diameter at the rim", f"{2 * glass.rim_radius_mm:.1f} mm"),
        ("diameter of the foot", f"{2 * glass.foot_radius_mm:.1f} mm"),
        *describe(numbers),
    ]
    wide = max(len(label) for label, _ in pairs)
    return [glass.name, *(f"  {label:<{wide}}  {value}" for label, value in pairs)]


def export(chosen: Chosen, to: Path, detail: float) -> str:
    """Write a glass's mesh and return a line that says what was written.

    Raises
    ------
    PersonError
        The ending is not known, the detail is not more than 0, or the file cannot be written.
    """
    from brimcast.renders.keep import replacing_file
    from brimcast.vessels.export import FORMATS, export_mesh

    kind = to.suffix.lower()
    if kind not in FORMATS:
        raise PersonError(f"--to {str(to)!r}: the ending must be one of {', '.join(FORMATS)}")
    try:
        mesh = chosen.make_mesh(detail)
    except ValueError as error:
        raise PersonError(f"--{error}") from None
    with telling_unwritable(to), replacing_file(to) as fresh:
        export_mesh(mesh, fresh)
    what = f"{len(mesh.faces)} faces, {mesh.volume_mm3 / 1000:.1f} ml of solid, lengths in {FORMATS[kind]}"
    return f"wrote {to}: {what}"


def list_lines() -> list[str]:
    """Return the library as a table of text."""
    head = ("name", "height", "diameter", "wall", "base", "capacity")
    rows = [
        (
            one["name"],
            *(f"{one[key]:.{digits}f} mm" for key, digits in _COLUMNS),
            f"{one['capacity_ml']:.0f} ml",
        )
        for one in _listed()
    ]
    name, *wide = [max(len(row[k]) for row in [head, *rows]) for k in range(len(head))]
    lines = []
    for first, *cells in [head, *rows]:
        right = (f"{cell:>{width}}" for cell, width in zip(cells, wide, strict=True))
        lines.append("  ".join([f"{first:<{name}}", *right]))
    return lines


_COLUMNS = (("height_mm", 0), ("diameter_mm", 0), ("wall_mm", 1), ("base_mm", 1))


def list_json() -> str:
    """Return the library as JSON, a list of objects."""
    return json.dumps(_listed(), indent=2)


def _listed() -> list[dict]:
    """Return name and measures of every glass; ``can_ask`` holds the measures that a set may change."""
    found = []
    for name, shape in SHAPES.items():
        glass = vessel(name)
        measures = {
            "height_mm": glass.height_mm,
            "diameter_mm": shape.points[shape.anchors["diameter_mm"]][1],
            "rim_diameter_mm": 2 * glass.rim_radius_mm,
            "foot_diameter_mm": 2 * glass.foot_radius_mm,
            "wall_mm": glass.thinnest_mm,
            "base_mm": glass.base_mm,
            "capacity_ml": glass.capacity_ml(),
        }
        rounded = {key: round(value, 2) for key, value in measures.items()}
        found.append({"name": name, **rounded, "closed": glass.closed, "can_ask": list(shape.allowed)})
    return found


def _fault(path: Path, text: str) -> Fault:
    return Fault(str(path), None, None, None, text)
