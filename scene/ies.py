"""Measured distributions of light: files of the open standard ANSI/IES LM-63, photometric type C.

Read are the forms of 1986, 1991, 1995, 2002 and 2019, whose numbers stand in the same order. Of type C,
vertical angles run from the axis (nadir) and horizontal angles round it, counter-clockwise seen along it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from brimcast.shared.errors import Fault, PersonError

from .glow import ANGLES_DEG, PLANES

_MOST_BYTES = 4_000_000
_MOST_ANGLES = 2000
_TYPES = {1: "C", 2: "B", 3: "A"}
# A lamp is aimed by its axis, so there must be light along it: at least this share of its strongest.
_LEAST_ON_AXIS = 0.02


@dataclass(frozen=True, eq=False)
class Photometry:
    """A measured distribution.

    Attributes
    ----------
    intensity_cd : (planes, 361) float
        By angle from the axis (`glow.ANGLES_DEG`), in one plane where it is alike all round, else in
        `PLANES`; on the axis all planes have the same.
    behind : float
        Share of the flux that goes backward, beyond 90 deg; a flat front cannot show it.
    """

    intensity_cd: np.ndarray
    behind: float

    @property
    def axis_cd(self) -> float:
        """Intensity on the axis, cd."""
        return float(self.intensity_cd[0, 0])


def read_ies(path: str | Path) -> Photometry:
    """Return the distribution in an LM-63 file.

    Raises
    ------
    PersonError
        The file cannot be read, is no LM-63 file, is not of type C, or has no light along its axis.
    """
    path = Path(path)
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise _fault(path, None, f"cannot be read: {(error.strerror or str(error)).lower()}") from None
    if len(raw) > _MOST_BYTES:
        raise _fault(path, None, "too long for an LM-63 file")
    return _parse(raw.decode("latin-1"), path)


def _parse(text: str, path: Path) -> Photometry:
    lines = text.splitlines()
    tilt = next((n for n, line in enumerate(lines) if line.strip().upper().startswith("TILT")), None)
    if tilt is None:
        raise _fault(path, 1, "no LM-63 file: it has no line TILT=")
    word = lines[tilt].partition("=")[2].strip().upper()
    if word not in ("NONE", "INCLUDE"):
        text = f"TILT={word or '?'} is not read; allowed: TILT=NONE, TILT=INCLUDE"
        raise _fault(path, tilt + 1, text)
    numbers = _Numbers(path, lines, tilt + 1)
    if word == "INCLUDE":
        # What the lamp loses in another burning position does not change the form of its beam.
        numbers.take(1, "the lamp's geometry")
        numbers.take(2 * numbers.count("tilt angles"), "tilt factors")
    _, _, factor = numbers.take(3, "lamps, lumens, multiplier")
    up, round_ = numbers.count("vertical angles"), numbers.count("horizontal angles")
    kind = int(numbers.take(1, "the photometric type")[0])
    if kind != 1:
        text = f"photometric type {_TYPES.get(kind, kind)} is not read; allowed: type C (1)"
        raise numbers.fault(text)
    numbers.take(4, "units and the luminous opening")
    ballast, photometric, _ = numbers.take(3, "ballast factors and watts")
    vertical = numbers.rising(up, "vertical angles", 0, 180)
    horizontal = numbers.rising(round_, "horizontal angles", 0, 360)
    if vertical[0] != 0 or vertical[-1] < 90:
        text = f"vertical angles run from {vertical[0]:g} to {vertical[-1]:g} deg; needed: 0 to 90, or to 180"
        raise numbers.fault(text)
    values = np.reshape(numbers.take(up * round_, "candela values"), (round_, up))
    if values.min() < 0 or values.max() <= 0:
        raise numbers.fault("candela values must be above 0 somewhere and nowhere below")
    values = values * factor * ballast * photometric
    planes = _go_round(horizontal, values, numbers)
    return _resample(vertical, planes, numbers)


def _go_round(horizontal: np.ndarray, values: np.ndarray, numbers: _Numbers):
    """Planes all round, (angles, values), the first again at the end, by the symmetry the angles tell."""
    first, last = horizontal[0], horizontal[-1]
    if len(horizontal) == 1:
        return np.array([0.0, 360.0]), np.repeat(values, 2, axis=0)
    if first == 0 and last == 90:
        horizontal = np.concatenate([horizontal, 180 - horizontal[-2::-1]])
        values = np.concatenate([values, values[-2::-1]])
        last = 180
    if first == 0 and last == 180:
        angles = np.concatenate([horizontal, 360 - horizontal[-2::-1]])
        return angles, np.concatenate([values, values[-2::-1]])
    if first == 90 and last == 270:
        # The other half mirrors this one in the plane from 90 to 270 deg.
        angles = np.concatenate([horizontal, 540 - horizontal[-2::-1]])
        return angles, np.concatenate([values, values[-2::-1]])
    if first == 0 and last == 360:
        return horizontal, values
    text = f"horizontal angles run from {first:g} to {last:g} deg"
    raise numbers.fault(f"{text}; allowed: 0 alone, 0 to 90, 180 or 360, or 90 to 270")


def _resample(vertical: np.ndarray, planes, numbers: _Numbers) -> Photometry:
    turns, values = planes
    forward = np.stack([np.interp(ANGLES_DEG, vertical, row) for row in values])
    alike = np.ptp(values, axis=0).max() <= 1e-9 * values.max()
    wanted = np.arange(1 if alike else PLANES) * (360 / PLANES)
    wanted = turns[0] + (wanted - turns[0]) % 360
    spread = np.stack([np.interp(wanted, turns, column) for column in forward.T], axis=1)
    spread[:, 0] = forward[:-1, 0].mean()
    if spread[0, 0] < _LEAST_ON_AXIS * values.max():
        text = (
            f"has {spread[0, 0]:.4g} cd along its axis and {values.max():.4g} cd elsewhere: "
            "not a lamp that can be aimed"
        )
        raise numbers.fault(text)
    return Photometry(spread, _share_behind(vertical, turns, values))


def _share_behind(vertical: np.ndarray, turns: np.ndarray, values: np.ndarray) -> float:
    steps = np.linspace(0, 180, 1441)
    by_angle = np.trapezoid(values, turns, axis=0)
    flux = np.interp(steps, vertical, by_angle, right=0.0) * np.sin(np.radians(steps))
    return float(flux[steps > 90].sum() / flux.sum())


class _Numbers:
    """The numbers of a file one after another, each with its line."""

    def __init__(self, path: Path, lines: list[str], start: int):
        self.path = path
        self.words = [
            (number + 1, word)
            for number in range(start, len(lines))
            for word in re.split(r"[\s,]+", lines[number].strip())
            if word
        ]
        self.at = 0
        self.line = start

    def take(self, count: int, what: str) -> list[float]:
        if self.at + count > len(self.words):
            last = self.words[-1][0] if self.words else self.line
            raise _fault(self.path, last, f"ends before {what} are complete")
        found = []
        for line, word in self.words[self.at : self.at + count]:
            self.line = line
            try:
                found.append(float(word))
            except ValueError:
                raise self.fault(f"{word[:30]!r} among {what} is no number") from None
            if not np.isfinite(found[-1]):
                raise self.fault(f"{word!r} among {what} is no finite number")
        self.at += count
        return found

    def count(self, what: str) -> int:
        (value,) = self.take(1, f"the number of {what}")
        if value != int(value) or not 1 <= value <= _MOST_ANGLES:
            raise self.fault(f"{value:g} is no number of {what}; allowed: 1 to {_MOST_ANGLES}")
        return int(value)

    def rising(self, count: int, what: str, least: float, most: float) -> np.ndarray:
        values = np.array(self.take(count, what))
        if (np.diff(values) <= 0).any() or values[0] < least or values[-1] > most:
            raise self.fault(f"{what} must rise, from {least:g} to {most:g} deg")
        return values

    def fault(self, text: str) -> PersonError:
        return _fault(self.path, self.line, text)


def _fault(path: Path, line: int | None, text: str) -> PersonError:
    return PersonError(Fault(str(path), line, 1 if line else None, None, text))
