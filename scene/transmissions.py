"""Measured transmissions: tables that a spectrophotometer wrote, as files in CSV."""

from functools import lru_cache

import numpy as np

from brimcast.shared.bands import GRID_NM
from brimcast.shared.errors import Fault, PersonError
from brimcast.shared.tables import on_grid

from .tints import LEAST_SHARE

# Wider steps than the bands of the maps leave something out; so does more than a band missing at an end.
WIDEST_STEP_NM = 20.0
_MOST_BYTES = 1_000_000
_KINDS = {"transmission": "%", "transmittance": "%", "absorbance": ""}


def read_absorption(path, path_mm):
    """Return the absorption in a table of transmission or absorbance.

    The table has two columns under a line of names: wavelength in nm, and transmission in % (or
    transmittance as a share from 0 to 1) or absorbance (decadic), read against water. Columns end in a
    comma, a semicolon or a tab; lines that start with # are remarks.

    Parameters
    ----------
    path : Path
    path_mm : float
        Length of the way through the drink, mm.

    Returns
    -------
    (321,) float
        Napierian, 1/mm, on `GRID_NM`; a transmission below 1e-4 is taken as that.

    Raises
    ------
    PersonError
        With file and line: no such table, no number, a gap, wavelengths that do not rise, a share out of
        range.
    """
    return _read(path, path.stat().st_mtime_ns if path.is_file() else 0) / path_mm


@lru_cache(maxsize=32)
def _read(path, changed_ns):
    names, rows = _lines(path)
    columns = _columns(path, *names)
    found = np.array([_numbers(path, line, cells, columns) for line, cells in rows])
    if len(found) < 2:
        raise _fault(path, None, f"has {len(found)} lines of numbers; at least 2 are needed")
    nm, value = found.T
    lines = [line for line, _ in rows]
    _check_steps(path, nm, lines)
    kind, scale = columns[2:]
    low, high = (0.0, np.inf) if kind == "absorbance" else (0.0, 1.0)
    wrong = np.flatnonzero(~((value * scale >= low) & (value * scale <= high)))
    if len(wrong):
        allowed = "0 or more" if kind == "absorbance" else f"0 to {1 / scale:g}"
        raise _fault(path, lines[wrong[0]], f"{kind} {value[wrong[0]]:g}; allowed: {allowed}")
    if kind == "absorbance":
        depth = np.log(10) * value
    else:
        depth = -np.log(np.maximum(value * scale, LEAST_SHARE))
    return on_grid(nm, depth, hold_ends=True)


def _lines(path):
    """Return the line of names and the lines of cells, each with its number in the file."""
    try:
        text = path.read_bytes()[:_MOST_BYTES].decode("utf-8-sig")
    except OSError as error:
        raise _fault(path, None, f"cannot be read: {(error.strerror or str(error)).lower()}") from None
    except UnicodeDecodeError:
        raise _fault(path, None, "not UTF-8 text; save it as UTF-8") from None
    written = [(k, line.strip()) for k, line in enumerate(text.splitlines(), 1)]
    written = [(k, line) for k, line in written if line and not line.startswith("#")]
    if not written:
        raise _fault(path, None, "is empty")
    mark = next((sign for sign in (";", "\t", ",") if sign in written[0][1]), ",")
    # A comma inside a cell can only be a decimal one.
    rows = [(k, [cell.strip().replace(",", ".") for cell in line.split(mark)]) for k, line in written]
    return rows[0], rows[1:]


def _columns(path, line, names):
    """Return the columns of wavelength and value, which kind it is, and its scale to a share."""
    words = [name.lower() for name in names]
    where = [k for k, word in enumerate(words) if word.startswith("wavelength")]
    kinds = [(k, kind) for k, word in enumerate(words) for kind in _KINDS if word.startswith(kind)]
    if len(where) != 1 or len(kinds) != 1:
        allowed = "'wavelength nm' and 'transmission %', 'transmittance' or 'absorbance'"
        raise _fault(path, line, f"the columns are {', '.join(map(repr, names))}; allowed: {allowed}")
    (column, kind), name = kinds[0], words[kinds[0][0]]
    percent = "%" in name or kind == "transmission"
    return where[0], column, kind, 0.01 if percent and kind != "absorbance" else 1.0


def _numbers(path, line, cells, columns):
    """Return the wavelength and the value of a line."""
    found = []
    for column, name in zip(columns[:2], ("wavelength", columns[2]), strict=True):
        cell = cells[column].rstrip("% ") if column < len(cells) else ""
        if not cell:
            raise _fault(path, line, f"a gap: {name} is missing; write it, or take the line out")
        try:
            found.append(float(cell))
        except ValueError:
            raise _fault(path, line, f"{name}: {cell!r} is not a number") from None
        if not np.isfinite(found[-1]):
            raise _fault(path, line, f"a gap: {name} is {cell}; write a number, or take the line out")
    return found


def _check_steps(path, nm, lines):
    back = np.flatnonzero(np.diff(nm) <= 0)
    if len(back):
        text = f"wavelength {nm[back[0] + 1]:g} nm does not follow {nm[back[0]]:g} nm; they must rise"
        raise _fault(path, lines[back[0] + 1], text)
    wide = np.flatnonzero(np.diff(nm) > WIDEST_STEP_NM)
    if len(wide):
        text = f"a gap from {nm[wide[0]]:g} to {nm[wide[0] + 1]:g} nm"
        raise _fault(path, lines[wide[0] + 1], f"{text}; allowed: steps of up to {WIDEST_STEP_NM:g} nm")
    for line, short, side in (
        (lines[0], nm[0] - GRID_NM[0], f"starts at {nm[0]:g} nm"),
        (lines[-1], GRID_NM[-1] - nm[-1], f"ends at {nm[-1]:g} nm"),
    ):
        if short > WIDEST_STEP_NM:
            needed = f"{GRID_NM[0] + WIDEST_STEP_NM:g} to {GRID_NM[-1] - WIDEST_STEP_NM:g} nm at least"
            raise _fault(path, line, f"a gap: the table {side}; allowed: {needed}")


def _fault(path, line, text):
    return PersonError(Fault(str(path), line, None, None, text))
