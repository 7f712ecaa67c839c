"""What a folder of a computed set holds, read to be developed again."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..shared.errors import Fault, PersonError
from .bandfile import see_bands
from .images import SETTINGS_KEY
from .keep import DAMAGE

TABLE_KINDS = ("direct", "refractive", "reflective")
# Settings that only files of one run share.
_RUN = ("digest", "quality", "seed", "version")
_NEEDED = {"camera", "gels", "meters", "power_stops", "relative", "title"}


@dataclass(frozen=True, eq=False)
class Stored:
    """What was computed of a set.

    Attributes
    ----------
    folder : Path
    report : dict
        Contents of report.json.
    settings : dict
    bands : dict of str to (16, h, w) float32, or None
        The picture's, lamp by lamp, at 0 stops, without gels; None where there is no picture.
    spectrum, gel, plain, meters : dict of str to array
        Per lamp: (321,) spectrum, (16,) share of its gels, (16,) light on the plain table and (16, n) on the
        meters, both at its power and without gels.
    meter_reflectance : (n, 16) float
    table : dict of str to array
        Where asked for: `x_mm`, `y_mm`, and ``LAMP.KIND`` of `TABLE_KINDS`, see report.md.
    """

    folder: Path
    report: dict
    settings: dict
    bands: dict | None
    spectrum: dict
    gel: dict
    plain: dict
    meters: dict
    meter_reflectance: np.ndarray
    table: dict

    @property
    def meter_names(self) -> list[str]:
        """Names of the meters, in order."""
        return self.settings["meters"]

    @property
    def lamps(self) -> list[str]:
        """Names of the lamps, in the set's order."""
        return list(self.plain)


def read_stored(folder: Path, table: bool = False) -> Stored:
    """Return what a folder holds of a computed set.

    Parameters
    ----------
    folder : Path
    table : bool
        Read the table's maps too.

    Raises
    ------
    PersonError
        It is no folder of a computed set, is damaged, or its files come from different runs.
    """
    bands, of_picture = None, None
    if (folder / "picture.exr").is_file():
        bands, of_picture = see_bands(folder / "picture.exr")
    try:
        report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise _fault(folder, "holds no report.json of a computed set; give the folder of a render") from None
    try:
        with np.load(folder / "maps.npz", allow_pickle=False) as kept:
            settings = json.loads(str(kept[SETTINGS_KEY]))
            lamps = list(settings["power_stops"])
            found = {
                kind: {lamp: kept[f"{lamp}.{kind}"] for lamp in lamps}
                for kind in ("spectrum", "gel", "plain", "meters")
            }
            reflectance = kept["meter_reflectance"]
            wanted = ["x_mm", "y_mm", *(f"{lamp}.{kind}" for lamp in lamps for kind in TABLE_KINDS)]
            maps = {name: kept[name] for name in (wanted if table else ())}
    except DAMAGE:
        settings = {}
    if not settings.keys() >= _NEEDED or not {"lamps", "caustics"} <= report.keys():
        raise _fault(folder, "holds no sound maps.npz and report.json of this version; compute the set again")
    if of_picture and [of_picture.get(key) for key in _RUN] != [settings.get(key) for key in _RUN]:
        raise _fault(folder, "holds a picture and maps of different runs; render the set again")
    return Stored(folder, report, settings, bands, **found, meter_reflectance=reflectance, table=maps)


def _fault(folder: Path, text: str) -> PersonError:
    return PersonError(Fault(str(folder), None, None, None, text))
