"""What computed variants of a sweep tell: measures at the powers set, and the table's light to look at."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.shared.colour import BAND_XYZ

from ..adjust import LUMINANCE, develop
from ..exposures import Light, expose_picture, expose_table, set_light
from ..plan import Circle
from ..report import KINDS
from ..stored import TABLE_KINDS, Stored
from .answer import entry, quadrature, with_unit
from .variations import Variant, Variation

_AXES = ("x", "y")
# The measure that may be no more than an upper limit, see `uncertainty.measure_with_errors`.
_LIMITED = ".line_width_mm"
# A sheet shows where focused light is this share of the plain table and more, but for a tail at each edge.
_SEEN, _TAIL, _RIM_MM = 0.125, 0.01, 12.0
# The brightest plain table of a sheet is not shown brighter than this share of saturation.
BRIGHTEST_PLAIN = 0.6


@dataclass(frozen=True, eq=False)
class View:
    """The table's light of one variant as its camera exposes it.

    Attributes
    ----------
    x_mm, y_mm : (nx,), (ny,) float
        Cell centres from the datum.
    light : (ny, nx, 3) float or None
        Linear sRGB, 1 = saturation; in a set with readings but without a camera, in one unit for all
        variants. None where no focused light falls on the table.
    plain_level : float
        Luminance of the plain table in the same.
    box_mm : (left, right, near, far) or None
        Holds nearly all focused light, and the hero's foot.
    circles : tuple of Circle
        Feet and mouths of the glasses.
    """

    x_mm: np.ndarray
    y_mm: np.ndarray
    light: np.ndarray | None
    plain_level: float
    box_mm: tuple[float, float, float, float] | None
    circles: tuple[Circle, ...]


def trim_built(built: BuiltSet) -> BuiltSet:
    """Return a built set without what takes memory: enough for `list_measures`, `view_table` and pictures."""
    return replace(built, solids=(), media=(), panels=built.panels[:1])


def list_measures(built: BuiltSet, stored: Stored) -> dict[str, dict]:
    """Return all measures of a variant, at its powers.

    Parameters
    ----------
    built : BuiltSet
        The variant; coarse and trimmed will do.
    stored : Stored
        Computed of it, but for powers, see `variations.steady_changes`.

    Returns
    -------
    dict of str to dict
        `answer.entry` by name: ``LAMP.KIND.MEASURE`` (of pairs ``peak_x_mm`` and ``peak_y_mm``),
        ``LAMP.plain_table``, ``meters.METER.light`` and ``.stops_over_table``; report.md says what each is.
    """
    light = set_light(built, stored)
    # A relative set is metered anew.
    again = light.exposed.exposure.relative if built.relative else 1.0
    kept = stored.settings["power_stops"]
    gains = {lamp.name: again * 2.0 ** (lamp.power_stops - kept[lamp.name]) for lamp in built.lamps}
    of_light = "" if built.relative else "lx s"
    found = {}
    for name, gain in gains.items():
        lit = stored.report["lamps"][name]["plain_table"] * gain
        found[f"{name}.plain_table"] = entry(lit, None, of_light)
        for kind in KINDS:
            found |= _list_caustic(f"{name}.{kind}", stored.report["caustics"][name][kind])
    plain = sum(found[f"{name}.plain_table"]["value"] for name in gains)
    for meter, read in stored.report["meters"].items():
        parts = [(read["lamps"][name]["light"], gain) for name, gain in gains.items()]
        caught = sum(part["value"] * gain for part, gain in parts)
        error = quadrature(*(part["standard_error"] * gain for part, gain in parts))
        over = math.log2(caught / plain) if caught > 0 and plain > 0 else None
        found[f"meters.{meter}.light"] = entry(caught, error, of_light)
        found[f"meters.{meter}.stops_over_table"] = entry(over, None, "stops")
    return found


def _list_caustic(name: str, caustic: dict) -> dict[str, dict]:
    """Return the measures of a caustic, pairs taken apart."""
    found = {}
    for key, measured in caustic.items():
        value, error = measured["value"], measured["standard_error"]
        if key not in ("peak_mm", "tip_mm"):
            found[f"{name}.{key}"] = with_unit(measured, unit_of(key))
            continue
        for place, axis in enumerate(_AXES):
            one, its = (None if pair is None else pair[place] for pair in (value, error))
            found[f"{name}.{key.replace('_mm', f'_{axis}_mm')}"] = entry(one, its, "mm")
    return found


def unit_of(key: str) -> str:
    """Return the unit that the name of a measure ends with; nothing for shares."""
    ending = key.rpartition("_")[2]
    return {"mm": "mm", "deg": "deg", "stops": "stops", "cm2": "cm²"}.get(ending, "")


def view_table(built: BuiltSet, stored: Stored, metered: bool = False) -> View:
    """Return the table's light of a variant, see `list_measures`; metered: its plain table at one level."""
    light = set_light(built, stored)
    exposure, white = light.exposed.exposure, light.exposed.white
    linear = expose_table(built, stored, light)
    matte = built.panels[0].front / math.pi
    even = develop({"all": (light.plain * matte)[:, None, None]}, exposure, white=white)
    plain = float(even[0, 0] @ LUMINANCE)
    if built.camera is None and not built.relative:
        # Metered one by one, variants could not be compared.
        plain, linear = plain / exposure.relative, None if linear is None else linear / exposure.relative
    if metered and plain > 0:
        plain, linear = BRIGHTEST_PLAIN, None if linear is None else linear * (BRIGHTEST_PLAIN / plain)
    circles = tuple(
        Circle(*foot.centre_mm, radius, part, foot.name)
        for foot in built.feet
        for part, radius in (("foot", foot.foot_radius_mm), ("mouth", foot.rim_radius_mm))
    )
    box = None if linear is None else _find_box(stored, light, circles)
    return View(stored.table["x_mm"], stored.table["y_mm"], linear, plain, box, circles)


def view_picture(built: BuiltSet, stored: Stored) -> np.ndarray | None:
    """Return the camera's picture of a variant, (h, w, 3) linear sRGB; None where none was taken."""
    return expose_picture(built, stored, set_light(built, stored))


def choose_gain(built: BuiltSet, views: Iterable[View]) -> float:
    """Return the one factor that all views are shown with.

    A camera's exposure is kept, but for a table so bright that nothing could stand out on it.
    """
    brightest = max(view.plain_level for view in views)
    if not brightest > 0 or built.relative:
        return 1.0
    gain = BRIGHTEST_PLAIN / brightest
    return gain if built.camera is None else min(1.0, gain)


def _find_box(stored: Stored, light: Light, circles: Sequence[Circle]) -> tuple | None:
    """Return left, right, near and far of nearly all focused light and the hero's foot; None in the dark."""
    maps = [
        np.tensordot(BAND_XYZ[:, 1] * light.shares[name], stored.table[f"{name}.{kind}"], 1)
        for name in stored.lamps
        for kind in TABLE_KINDS[1:]
    ]
    focused = np.sum(maps, axis=0)
    if not focused.max() > 0:
        return None
    seen = np.where(focused >= _SEEN * (light.plain @ BAND_XYZ[:, 1]), focused, 0.0)
    focused = seen if seen.any() else focused
    ends = []
    for centres, axis in ((stored.table["x_mm"], 0), (stored.table["y_mm"], 1)):
        along = np.cumsum(focused.sum(axis=axis))
        first, last = np.searchsorted(along, np.array([_TAIL, 1 - _TAIL]) * along[-1])
        ends += [centres[first] - _RIM_MM, centres[min(last, len(centres) - 1)] + _RIM_MM]
    left, right, near, far = ends
    for circle in circles[:2]:
        reach = circle.radius_mm + _RIM_MM / 2
        left, right = min(left, circle.x_mm - reach), max(right, circle.x_mm + reach)
        near, far = min(near, circle.y_mm - reach), max(far, circle.y_mm + reach)
    return float(left), float(right), float(near), float(far)


def write_csv(
    path: Path, variations: Sequence[Variation], variants: Sequence[Variant], measures: Sequence[dict]
) -> None:
    """Write a line for each variant: values as texts and numbers, then each measure and its standard error.

    What has no meaning is left empty. Numbers have six digits.
    """
    names = list(dict.fromkeys(name for found in measures for name in found))
    head = []
    for variation in variations:
        head.append(variation.key)
        if variation.numbers:
            head.append(f"{variation.key} [{variation.unit or 'number'}]")
    for name in names:
        head += [name, f"{name}.standard_error"]
        if name.endswith(_LIMITED):
            head.append(f"{name}.upper_limit")
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(head)
        for variant, found in zip(variants, measures, strict=True):
            line = []
            for variation, place in zip(variations, variant.places, strict=True):
                line.append(variation.texts[place])
                if variation.numbers:
                    line.append(_digits(variation.numbers[place]))
            for name in names:
                measured = found.get(name, {"value": None, "standard_error": None})
                line += [_digits(measured["value"]), _digits(measured["standard_error"])]
                if name.endswith(_LIMITED):
                    line.append("yes" if measured.get("upper_limit") else "")
            writer.writerow(line)


def _digits(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"
