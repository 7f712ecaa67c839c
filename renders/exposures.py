"""A computed set's folder as the camera exposes it now: picture, table, the caustic's headroom."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.scene.frame import crop_share, project
from brimcast.shared.errors import Fault, PersonError

from .adjust import Exposure, develop
from .images import read_exr, read_npz

# White of a table without a camera: that of a camera left at its default.
PLAIN_WHITE_K = 5600.0
# The caustic's brightest place is the mean over so many mm, as in measures.md.
PEAK_MM = 1.0
KINDS = ("direct", "refractive", "reflective")


@dataclass(frozen=True, eq=False)
class Folder:
    """What a folder of an earlier run holds.

    Attributes
    ----------
    path : Path
    report : dict
    maps : dict of str to array
    settings : dict
        Of the maps.
    bands : dict of str to (16, h, w) float32, or None
        The picture's, lamp by lamp at 0 stops; None where there is no picture.
    """

    path: Path
    report: dict
    maps: dict
    settings: dict
    bands: dict | None


def read_folder(path: Path, built: BuiltSet) -> Folder:
    """Return what a folder holds.

    Raises
    ------
    PersonError
        It is no folder of a computed set, is damaged, or has other lamps than the set.
    """
    try:
        report = json.loads((path / "report.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        text = "holds no report.json of a computed set; give the folder of an earlier render or map"
        raise PersonError(Fault(str(path), None, None, None, text)) from None
    maps, settings = read_npz(path / "maps.npz")
    bands = read_exr(path / "picture.exr")[0] if (path / "picture.exr").is_file() else None
    names = [lamp.name for lamp in built.lamps]
    if sorted(report.get("lamps", {})) != sorted(names):
        known = ", ".join(report.get("lamps", {})) or "none"
        text = f"was computed with other lamps ({known}) than the set's: {', '.join(names)}; compute it again"
        raise PersonError(Fault(str(path), None, None, None, text))
    return Folder(path, report, maps, settings, bands)


def expose_as(built: BuiltSet, folder: Folder | None) -> tuple[Exposure, float]:
    """Return exposure and white of the set's camera; without one, the plain table is exposed as metered."""
    camera = built.camera
    if camera:
        relative = 1.0 if built.relative else None
        return Exposure(camera.f_number, camera.iso, camera.magnification, relative), camera.white_k
    plain = sum(lamp["plain_table"] for lamp in folder.report["lamps"].values()) if folder else 1.0
    return Exposure(1.0, 100.0, relative=1 / plain if plain > 0 else 1.0), PLAIN_WHITE_K


def expose_picture(built: BuiltSet, folder: Folder) -> np.ndarray | None:
    """Return the picture, (h, w, 3) linear sRGB, at the set's powers; None where the folder has none."""
    if folder.bands is None or built.camera is None:
        return None
    exposure, white_k = expose_as(built, folder)
    powers = {lamp.name: lamp.power_stops for lamp in built.lamps}
    return develop(folder.bands, exposure, power_stops=powers, white=white_k)


def expose_table(built: BuiltSet, folder: Folder, focused_only: bool = False) -> np.ndarray | None:
    """Return the table's light from above, (ny, nx, 3) linear sRGB; None where no map is.

    Parameters
    ----------
    focused_only : bool
        Without the lamps' direct light.
    """
    maps = folder.maps
    if min(len(maps["x_mm"]), len(maps["y_mm"])) < 2:
        return None
    exposure, white_k = expose_as(built, folder)
    matte = built.panels[0].front[:, None, None] / math.pi
    kinds = KINDS[1:] if focused_only else KINDS
    bands = {lamp.name: sum(maps[f"{lamp.name}.{kind}"] for kind in kinds) * matte for lamp in built.lamps}
    # Maps are kept at the powers of their run.
    kept = folder.settings.get("power_stops", {})
    powers = {lamp.name: lamp.power_stops - kept.get(lamp.name, lamp.power_stops) for lamp in built.lamps}
    return develop(bands, exposure, power_stops=powers, white=white_k)


def traced_meters(built: BuiltSet, folder: Folder) -> dict:
    """Return what the set's meters caught when it was traced, at the powers set now.

    Returns
    -------
    dict of str to dict
        `light` and `stops_over_table` of all lamps together, as in the report.
    """
    kept = folder.settings.get("power_stops", {})
    now = {lamp.name: lamp.power_stops for lamp in built.lamps}
    change = {name: 2.0 ** (power - kept.get(name, power)) for name, power in now.items()}
    plain = sum(folder.report["lamps"][name]["plain_table"] * factor for name, factor in change.items())
    found = {}
    for meter, told in folder.report["meters"].items():
        light = sum(told["lamps"][name]["light"]["value"] * factor for name, factor in change.items())
        lit = light > 0 and plain > 0
        found[meter] = {"light": light, "stops_over_table": math.log2(light / plain) if lit else None}
    return found


def caustic_headroom(built: BuiltSet, folder: Folder) -> dict | None:
    """Return how far the brightest focused light on the table is from clipping; None where there is none.

    Returns
    -------
    dict
        `headroom_stops` (below 0: it clips), `place_mm` from the datum, `clipped_cm2` of table, and whether
        the place is `in_frame` and `in_crop`, null without camera or crop guide.
    """
    focused = expose_table(built, folder, focused_only=True)
    if focused is None or not focused.max() > 0:
        return None
    x, y = folder.maps["x_mm"], folder.maps["y_mm"]
    cell = float(x[1] - x[0])
    table = expose_table(built, folder)
    # Only where focused light is what makes it bright.
    bright = np.where(focused.max(axis=-1) > 0.25 * table.max(axis=-1), table.max(axis=-1), 0.0)
    mean = _blurred(bright, max(1, round(PEAK_MM / cell)))
    row, column = np.unravel_index(int(mean.argmax()), mean.shape)
    if not mean[row, column] > 0:
        return None
    place = [float(x[column]), float(y[row])]
    return {
        "headroom_stops": -math.log2(float(mean[row, column])),
        "place_mm": place,
        "clipped_cm2": float((bright >= 1).sum() * cell**2 / 100),
        **_framed(built, place),
    }


def _framed(built: BuiltSet, place_mm: list[float]) -> dict:
    """Return whether a place on the table is in the frame and in the crop."""
    if built.camera is None:
        return {"in_frame": None, "in_crop": None}
    spot = np.abs(project(built.camera, [*place_mm, 0.0])[:2])
    share = crop_share(built.camera)
    in_crop = None if share is None else bool(np.all(spot < share))
    return {"in_frame": bool(np.all(spot < 1)), "in_crop": in_crop}


def _blurred(image: np.ndarray, cells: int) -> np.ndarray:
    """Return the means over squares of so many cells."""
    if cells < 2:
        return image
    from scipy.ndimage import uniform_filter

    return uniform_filter(image, cells, mode="constant")
