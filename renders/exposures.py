"""A computed set's folder as the camera exposes it now: picture, table, the caustic's headroom."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.scene.frame import crop_share, project
from brimcast.shared.colour import BAND_XYZ
from brimcast.shared.errors import Fault, PersonError

from .adjust import develop
from .balance import Exposed, expose_set
from .peaks import find_peak
from .stored import TABLE_KINDS, Stored, read_stored


@dataclass(frozen=True, eq=False)
class Light:
    """A folder's light as the set is now.

    Attributes
    ----------
    shares : dict of str to (16,) float
        What each lamp's gels pass, times its power now over that of the run.
    plain : (16,) float
        All lamps together on the bare table at the datum.
    meters : (16, n) float
        On the meters of the run.
    exposed : Exposed
    """

    shares: dict
    plain: np.ndarray
    meters: np.ndarray
    exposed: Exposed


def read_folder(path: Path, built: BuiltSet) -> Stored:
    """Return what a folder holds of a set.

    Raises
    ------
    PersonError
        See `read_stored`; or it has other lamps than the set.
    """
    stored = read_stored(path, table=True)
    names = [lamp.name for lamp in built.lamps]
    if sorted(stored.lamps) != sorted(names):
        known = ", ".join(stored.lamps) or "none"
        text = f"was computed with other lamps ({known}) than the set's: {', '.join(names)}; compute it again"
        raise PersonError(Fault(str(path), None, None, None, text))
    return stored


def set_light(built: BuiltSet, stored: Stored) -> Light:
    """Return a folder's light at the set's powers now, through its gels, exposed by its camera."""
    lamps, kept = built.lamps, stored.settings["power_stops"]
    gels = np.stack([lamp.gel for lamp in lamps])
    change = np.array([2.0 ** (lamp.power_stops - kept[lamp.name]) for lamp in lamps])
    plain = np.stack([stored.plain[lamp.name] for lamp in lamps]) * change[:, None]
    meters = np.stack([stored.meters[lamp.name] for lamp in lamps]) * change[:, None, None]
    named = enumerate(stored.meter_names)
    cards = {name: meters[..., place] * stored.meter_reflectance[place] for place, name in named}
    return Light(
        shares={lamp.name: gel * more for lamp, gel, more in zip(lamps, gels, change, strict=True)},
        plain=(plain * gels).sum(axis=0),
        meters=(meters * gels[..., None]).sum(axis=0),
        exposed=expose_set(built, plain, gels, cards),
    )


def expose_picture(built: BuiltSet, stored: Stored, light: Light) -> np.ndarray | None:
    """Return the picture, (h, w, 3) linear sRGB, as the set is now; None where the folder has none."""
    if stored.bands is None or built.camera is None:
        return None
    powers = {lamp.name: lamp.power_stops for lamp in built.lamps}
    gels = {lamp.name: lamp.gel for lamp in built.lamps}
    exposed = light.exposed
    return develop(stored.bands, exposed.exposure, power_stops=powers, gels=gels, white=exposed.white)


def expose_table(built: BuiltSet, stored: Stored, light: Light, kinds=TABLE_KINDS) -> np.ndarray | None:
    """Return the table's light of some kinds from above, (ny, nx, 3) linear sRGB; None where no map is."""
    maps = stored.table
    if min(len(maps["x_mm"]), len(maps["y_mm"])) < 2:
        return None
    matte = built.panels[0].front[:, None, None] / math.pi
    bands = {name: sum(maps[f"{name}.{kind}"] for kind in kinds) * matte for name in light.shares}
    return develop(bands, light.exposed.exposure, gels=light.shares, white=light.exposed.white)


def traced_meters(stored: Stored, light: Light) -> dict:
    """Return what the set's meters caught when it was rendered, at the powers and through the gels set now.

    Returns
    -------
    dict of str to dict
        `light` and `stops_over_table` of all lamps together, as in the report.
    """
    plain, meters = light.plain @ BAND_XYZ[:, 1], light.meters.T @ BAND_XYZ[:, 1]
    found = {}
    for meter, caught in zip(stored.meter_names, map(float, meters), strict=True):
        lit = caught > 0 and plain > 0
        found[meter] = {"light": caught, "stops_over_table": math.log2(caught / plain) if lit else None}
    return found


def caustic_headroom(built: BuiltSet, stored: Stored, table, focused) -> dict | None:
    """Return how far the brightest focused light on the table is from clipping; None where there is none.

    Parameters
    ----------
    built : BuiltSet
    stored : Stored
    table, focused : (ny, nx, 3) float or None
        All light on the table, and that without the lamps' direct light, see `expose_table`.

    Returns
    -------
    dict
        `headroom_stops` (below 0: it clips) of the brightest disc as in measures.md, `place_mm` from the
        datum, `clipped_cm2` of table, and whether the place is `in_frame` and `in_crop`, null without camera
        or crop guide.
    """
    if focused is None or not focused.max() > 0:
        return None
    x, y = stored.table["x_mm"], stored.table["y_mm"]
    level = table.max(axis=-1)
    # Only where focused light is what makes it bright.
    bright = np.where(focused.max(axis=-1) > 0.25 * level, level, 0.0)
    if not bright.max() > 0:
        return None
    peak = find_peak(x, y, bright)
    place = [peak.x_mm, peak.y_mm]
    cell = float(x[1] - x[0])
    return {
        "headroom_stops": -math.log2(peak.mean),
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
