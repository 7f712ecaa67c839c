"""Published tables that ship with the package, and their values on the wavelength grid."""

import csv
from functools import cache
from importlib import resources

import numpy as np

from .bands import GRID_NM


@cache
def read_table(name, package="brimcast.shared"):
    """Return the columns of a table that ships with a package.

    Sources and licences stand in ``data/README.md`` of the package.

    Parameters
    ----------
    name : str
        File name with ``.csv``; numbers under one line of column names.
    package : str
        Package whose ``data`` folder holds the file.

    Returns
    -------
    dict of str to (n,) float
        Columns by name; the arrays are read-only and kept for the next call.

    Raises
    ------
    FileNotFoundError
        The package has no such table.
    ValueError
        A line has too many or too few numbers.
    """
    text = resources.files(package).joinpath("data", name).read_text(encoding="utf-8")
    names, *rows = csv.reader(text.splitlines())
    numbers = np.array([[float(cell) for cell in row] for row in rows if row])
    if numbers.ndim != 2 or numbers.shape[1] != len(names):
        raise ValueError(f"{name} needs {len(names)} numbers in each line")
    numbers.flags.writeable = False
    return dict(zip(names, numbers.T, strict=True))


def on_grid(wavelength_nm, value, hold_ends=False):
    """Return a table's values on `GRID_NM`, straight lines between its points.

    Parameters
    ----------
    wavelength_nm : (n,) float
        Rising.
    value : (n,) float
    hold_ends : bool
        Beyond the table's ends its end values go on; otherwise the table must
        cover 380-700 nm.

    Returns
    -------
    (321,) float
        In the unit of `value`.

    Raises
    ------
    ValueError
        The wavelengths do not rise, or do not cover 380-700 nm.
    """
    wavelength_nm = np.asarray(wavelength_nm, float)
    if not (np.diff(wavelength_nm) > 0).all():
        raise ValueError("the wavelengths of a table must rise from line to line")
    first, last = wavelength_nm[0], wavelength_nm[-1]
    if not hold_ends and (first > GRID_NM[0] or last < GRID_NM[-1]):
        raise ValueError(f"the table covers {first:g}-{last:g} nm; 380-700 nm is needed")
    return np.interp(GRID_NM, wavelength_nm, value)
