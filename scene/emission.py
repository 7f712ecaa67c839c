"""Spectra of lamps and transmittances of gels, from what a set says and from files of measurements."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from brimcast.shared import gels, spectra
from brimcast.shared.bands import BAND_EDGES_NM, GRID_NM, band_means
from brimcast.shared.errors import Fault, PersonError
from brimcast.shared.observer import observer_on_grid
from brimcast.shared.tables import on_grid
from brimcast.shared.whites import white_led

from .colourwords import (
    Conversion,
    Density,
    Emission,
    Flash,
    Gel,
    Green,
    Hue,
    Led,
    Line,
    Measured,
    Temperature,
)

# A gel passes at least this, so that a light behind any stack still has a colour.
LEAST_SHARE = 1e-6
MOST_BYTES = 4_000_000
_POWER = ("power", "spd", "radiance", "irradiance", "relative")
_SHARE = ("transmission", "transmittance")


def emit(colour: Emission, folder: Path = Path()) -> np.ndarray | None:
    """Return the spectrum of a lamp, relative, (321,) on `GRID_NM`; None for a lamp of one line.

    Parameters
    ----------
    colour : Emission
    folder : Path
        From where a file of measurements is found.

    Raises
    ------
    PersonError
        The file is not there, or is wrong.
    """
    match colour:
        case Line():
            return None
        case Temperature(kelvin):
            return spectra.from_temperature(kelvin)
        case Flash(kelvin):
            return spectra.daylight(kelvin)
        case Led(kelvin, high_cri):
            return white_led(kelvin, high_cri)
        case Measured(file):
            return _read_spectrum(folder / file)


def pass_gels(stack: tuple[Gel, ...], folder: Path = Path()) -> np.ndarray:
    """Return the share of light that a stack of gels passes at each wavelength, (321,); no gel passes all.

    Raises
    ------
    PersonError
        A file is not there or is wrong, or a saturated gel has no smooth transmittance.
    """
    share = np.ones(GRID_NM.shape)
    for gel in stack:
        share = share * _pass_gel(gel, folder)
    return np.maximum(share, LEAST_SHARE)


def _pass_gel(gel: Gel, folder: Path) -> np.ndarray:
    try:
        match gel:
            case Conversion(shift):
                return gels.conversion(shift)
            case Green(size):
                return gels.green(size)
            case Density(stops):
                return gels.neutral(stops)
            case Hue(wavelength, purity, complementary):
                return gels.saturated(wavelength, purity, complementary)
            case Measured(file):
                return _read_transmission(folder / file)
    except ValueError as wrong:
        raise PersonError(str(wrong)) from None


def band_shares(share: np.ndarray, spectrum: np.ndarray | None, line_nm: float | None = None) -> np.ndarray:
    """Return what gels pass of a lamp's light in each band, (16,).

    Inside a band the lamp's spectrum weighs by what the observer sees of it: luminance, and a quarter of what
    makes hue. So a stack of the most saturated gels comes out to 0.03 stops and 1.2 dE00 of the whole
    spectrum, weighed by the spectrum alone to 0.1 stops. Of a lamp of one line only that line counts.

    Parameters
    ----------
    share : (321,) float
    spectrum : (321,) float or None
    line_nm : float, optional
    """
    if line_nm is not None:
        whole = band_means(share)
        whole[np.clip(np.searchsorted(BAND_EDGES_NM, line_nm, "right") - 1, 0, 15)] = np.interp(
            line_nm, GRID_NM, share
        )
        return whole
    x, y, z = observer_on_grid().T
    seen = spectrum * (y + (x + z) / 4)
    light = band_means(seen)
    plain = band_means(share)
    return np.divide(band_means(share * seen), light, out=plain, where=light > 0)


def light_of(spectrum: np.ndarray | None, line_nm: float | None) -> np.ndarray:
    """Return a lamp's spectrum, (321,), a single line's too."""
    if spectrum is not None:
        return spectrum
    return spectra.line(float(np.clip(line_nm, GRID_NM[1], GRID_NM[-2])))


def _read_spectrum(path: Path) -> np.ndarray:
    wavelength_nm, power = _read_columns(path, _POWER, "power")
    if not power.max() > 0:
        raise _wrong(path, "holds no power above 0")
    value = _on_grid(path, wavelength_nm, power)
    if not (value @ np.ones(len(value)) > 0):
        raise _wrong(path, "holds no power from 380 to 700 nm")
    return value / value.max()


def _read_transmission(path: Path) -> np.ndarray:
    wavelength_nm, share = _read_columns(path, _SHARE, "transmission")
    if share.max() > 1.05:
        share = share / 100
    if share.max() > 1.05:
        raise _wrong(path, f"passes {share.max():.0%}; write shares from 0 to 1, or per cent from 0 to 100")
    return np.minimum(_on_grid(path, wavelength_nm, share), 1.0)


def _on_grid(path: Path, wavelength_nm: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Measurements may leave out up to 20 nm at the ends, where next to nothing is seen."""
    low, high = GRID_NM[0] + 20, GRID_NM[-1] - 20
    if wavelength_nm[0] > low or wavelength_nm[-1] < high:
        found = f"{wavelength_nm[0]:g}-{wavelength_nm[-1]:g} nm"
        raise _wrong(path, f"covers {found}; {low:g}-{high:g} nm is needed, better 380-700 nm")
    try:
        return on_grid(wavelength_nm, value, hold_ends=True)
    except ValueError as wrong:
        raise _wrong(path, str(wrong)) from None


def _read_columns(path: Path, names: tuple[str, ...], what: str) -> tuple[np.ndarray, np.ndarray]:
    """Return wavelengths, rising, and values of a CSV file with two columns, named or not."""
    rows = []
    for number, row in enumerate(csv.reader(_lines(path)), 1):
        cells = [cell.strip() for cell in row]
        if not any(cells) or cells[0].startswith("#"):
            continue
        try:
            rows.append((float(cells[0]), float(cells[1])))
        except (ValueError, IndexError):
            if rows or len(cells) < 2 or not _is_title(cells, names):
                text = f"{','.join(cells)[:60]!r} is not a wavelength in nm and a {what}, such as '560,0.83'"
                raise PersonError(Fault(str(path), number, None, None, text)) from None
            continue
        if not np.isfinite(rows[-1]).all() or rows[-1][1] < 0:
            text = f"{what} is {cells[1]}; write a number from 0 up"
            raise PersonError(Fault(str(path), number, None, None, text))
    if len(rows) < 5:
        raise _wrong(path, f"holds {len(rows)} measurements; at least 5 are needed")
    wavelength_nm, value = np.array(rows).T
    return wavelength_nm, value


def _is_title(cells: list[str], names: tuple[str, ...]) -> bool:
    """Whether a first line names the columns."""
    first, second = cells[0].lower(), cells[1].lower()
    return ("wavelength" in first or first.startswith("nm")) and any(name in second for name in names)


def _lines(path: Path) -> list[str]:
    if not path.is_file():
        raise PersonError(Fault(text=f"there is no file {path.name!r} in {path.parent.resolve()}"))
    try:
        if path.stat().st_size > MOST_BYTES:
            raise _wrong(path, "is too large for a spectrum")
        return path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise _wrong(path, "is no text") from None
    except OSError as error:
        raise _wrong(path, f"cannot be read: {(error.strerror or str(error)).lower()}") from None


def _wrong(path: Path, text: str) -> PersonError:
    return PersonError(Fault(str(path), None, None, None, text))
