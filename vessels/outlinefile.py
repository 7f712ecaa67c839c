"""Outlines that were drawn or digitised: SVG paths, and points in CSV."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from brimcast.shared.errors import Fault, PersonError

from .curve import smooth_curve
from .halves import HalvesError, lay_side, mean_radii, split_drawing
from .outline import Outline, OutlineError
from .svgpath import read_paths

MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
_MOST_BYTES = 5_000_000


@dataclass(frozen=True, eq=False)
class Drawn:
    """An outline from a file, in millimetres, standing on the table.

    Parameters
    ----------
    outer : Outline
        From the foot's edge up to the rim; when ``whole``, from the axis under the foot up to the crest.
    inner : Outline or None
        Inside, upward; None: not drawn.
    whole : bool
        Outside, rim and inside are one line: nothing is left to be made.
    underside : bool
        The foot is drawn to where it stands, with its rounding.
    hollow_mm : float
        Height of the underside on the axis, mm.
    asymmetry_mm : float or None
        Largest difference of the radii of both sides, mm; None: only one side is drawn.
    tilt_deg : float
        How far the drawing's axis was off the vertical, degrees, taken out.
    """

    outer: Outline
    inner: Outline | None = None
    whole: bool = False
    underside: bool = False
    hollow_mm: float = 0.0
    asymmetry_mm: float | None = None
    tilt_deg: float = 0.0


def read_outline(path, drawing, corners=()):
    """Return the outline in a file.

    Parameters
    ----------
    path : Path
        SVG, or CSV (also with semicolons or tabs).
    drawing : measured.Drawing
        Height, path, inside and axis; its ``file`` is not looked at.
    corners : iterable of int or mapping of int to float
        For points in CSV: those that stay sharp, from 0, or the radius that rounds them, mm.

    Raises
    ------
    PersonError
        What is wrong, with the file and, in CSV, the line.
    """
    path = Path(path)
    kind = path.suffix.lower()
    try:
        if kind == ".svg":
            if corners:
                raise HalvesError("has its corners drawn; take corners out, or draw a rounding")
            return _read_svg(path, drawing)
        if kind in (".csv", ".tsv", ".txt"):
            return _read_csv(path, drawing, corners)
    except HalvesError as wrong:
        raise _fault(path, str(wrong)) from None
    raise _fault(path, "is no outline that can be read; allowed: .svg or .csv")


def _read_svg(path, drawing):
    names = [drawing.path, *([drawing.inside] if drawing.inside else [])]
    paths, mm_per_unit = read_paths(path, names)
    low, high = paths[0].bounds()
    if high[1] <= low[1]:
        raise _fault(path, "the path has no height")
    scale = mm_per_unit if drawing.height_mm is None else drawing.height_mm / (high[1] - low[1])
    if scale is None:
        text = "has no scale: its width is not in mm, cm or in; give the glass's height"
        raise _fault(path, text)
    axis_mm = None if drawing.axis is None else drawing.axis * scale
    split = split_drawing(paths[0].sampled(scale), axis_mm)
    laid = lay_side(split.side, drawing.height_mm)
    inner, outer = laid.inner, laid.outer
    if drawing.inside:
        if inner is not None:
            raise _fault(path, "the outer path already holds the inside; leave out inside_path")
        inside = split_drawing(paths[1].sampled(scale), split.axis_mm, split.tilt_deg).side
        inner = laid.placed(inside)
    return Drawn(
        outer, inner, laid.whole, laid.underside, laid.hollow_mm, split.asymmetry_mm, split.tilt_deg
    )  # fmt: skip


def _read_csv(path, drawing, corners):
    names, rows, lines, unit = _table(path)
    if drawing.path or drawing.inside:
        raise _fault(path, "points in CSV have no paths; leave out path and inside_path")
    asymmetry_mm, inner = None, None
    if "height" in names:
        heights = rows[:, names.index("height")]
        across = _diameters(path, names, rows, "")
        inside = _diameters(path, names, rows, "inner ")
    else:
        heights, radii, asymmetry = mean_radii(rows[:, :2], drawing.axis)
        heights, across, inside, lines = heights - heights.min(), 2 * radii, None, None
    factor = MM[unit] if unit else None
    if drawing.height_mm is not None:
        factor = drawing.height_mm / (heights.max() - min(heights.min(), 0.0))
    if factor is None:
        raise _fault(path, "has no unit; write it in the header ('height mm'), or give the glass's height")
    if "height" not in names:
        asymmetry_mm = asymmetry and asymmetry * factor
    try:
        outer = smooth_curve(factor * np.stack([heights, across], axis=1), corners)
        if inside is not None:
            known = np.isfinite(inside)
            inner = smooth_curve(factor * np.stack([heights, inside], axis=1)[known])
    except OutlineError as wrong:
        place = lines[wrong.index] if lines and wrong.index < len(lines) else None
        raise PersonError(Fault(str(path), place, None, None, str(wrong))) from None
    return Drawn(outer, inner, asymmetry_mm=asymmetry_mm)


def _diameters(path, names, rows, side):
    for name, factor in ((f"{side}diameter", 1.0), (f"{side}radius", 2.0)):
        if name in names:
            return factor * rows[:, names.index(name)]
    if not side:
        raise _fault(path, "has a height but no diameter or radius in its header")
    return None


def _table(path):
    """Return the columns' names, the numbers (n, columns), their lines and the unit in the header."""
    try:
        raw = path.read_bytes()
        text = raw[:_MOST_BYTES].decode("utf-8-sig")
    except OSError as error:
        raise _fault(path, f"cannot be read: {(error.strerror or str(error)).lower()}") from None
    except UnicodeDecodeError:
        raise _fault(path, "not UTF-8 text; save it as UTF-8") from None
    written = [(k, line.strip()) for k, line in enumerate(text.splitlines(), 1)]
    written = [(k, line) for k, line in written if line and not line.startswith("#")]
    if not written:
        raise _fault(path, "is empty")
    mark = next((sign for sign in (";", "\t", ",") if sign in written[0][1]), None)
    cells = [(k, [cell.strip() for cell in (line.split(mark))]) for k, line in written]
    names, unit = ["height", "diameter"], None
    if not _is_number(cells[0][1][0], mark):
        names, unit = _header(path, *cells[0])
        cells = cells[1:]
    rows, lines = [], []
    for line, row in cells:
        if len(row) != len(names):
            raise PersonError(Fault(str(path), line, None, None, f"has {len(row)} columns, not {len(names)}"))
        rows.append([_number(path, line, name, cell, mark) for name, cell in zip(names, row, strict=True)])
        lines.append(line)
    if len(rows) < 2:
        raise _fault(path, f"has {len(rows)} points; at least 2 are needed")
    return names, np.array(rows), lines, unit


def _header(path, line, cells):
    """Return the names of the columns and their unit."""
    names, units = [], set()
    for cell in cells:
        words = re.findall(r"[a-z]+", cell.lower())
        units |= {word for word in words if word in MM}
        bare = [word for word in words if word not in MM and word not in ("outer", "outside")]
        inner = "inner " if {"inner", "inside"} & set(bare) else ""
        kind = next((word for word in bare if word in ("height", "diameter", "radius", "x", "y")), None)
        if kind is None or kind == "height" and inner:
            allowed = "height, diameter, radius, inner diameter, inner radius, or x and y"
            text = f"column {cell!r} is not known; allowed: {allowed}"
            raise PersonError(Fault(str(path), line, None, None, text))
        names.append(inner + kind)
    if len(set(names)) < len(names) or not ("height" in names or names[:2] == ["x", "y"]):
        text = f"the columns are {', '.join(names)}; allowed: height and a diameter or radius, or x and y"
        raise PersonError(Fault(str(path), line, None, None, text))
    if len(units) > 1:
        text = f"has the units {' and '.join(sorted(units))}; keep one"
        raise PersonError(Fault(str(path), line, None, None, text))
    return names, units.pop() if units else None


def _is_number(cell, mark):
    try:
        float(cell.replace(",", ".") if mark != "," else cell)
    except ValueError:
        return False
    return True


def _number(path, line, name, cell, mark):
    if not cell and name.startswith("inner"):
        return np.nan
    # A comma inside a cell can only be a decimal one.
    cell = cell.replace(",", ".") if mark != "," else cell
    try:
        number = float(cell)
    except ValueError:
        number = np.nan
    if not np.isfinite(number):
        raise PersonError(Fault(str(path), line, None, None, f"{name}: {cell!r} is not a number"))
    return number


def _fault(path, text):
    return PersonError(Fault(str(path), None, None, None, text))
