"""What the commands say about a set and about its light, in the words of the trade."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from brimcast.renders.job import Outcome
    from brimcast.scene.built import BuiltSet
    from brimcast.scene.models import SetFile

# Focused light this many times the plain table's, in stops, is warned of.
SCORCH_STOPS = 3.0
SCORCH = (
    "caution: focused light can scorch; never leave a lamp or the sun on filled glass unattended. "
    "This warns, it does not certify."
)
NOT_THE_DRINK = "caution: the empty glass's pattern is not the served drink's; light for the filled glass"
# A reach less sure than this is not told.
UNCLEAR_MM = 15.0
KINDS = {"refractive": "through the glass", "reflective": "thrown back by the glass"}


def describe_set(set_file: SetFile) -> list[str]:
    """Return a set's glasses, lamps and camera in a few lines; builds it, so that its faults come out.

    Raises
    ------
    PersonError
        The set cannot be built.
    """
    from brimcast.scene.builder import build

    built = build(set_file, detail=0.5)
    lines = [f"{built.title}: in order"]
    lines += [_glass_line(set_file, name) for name in set_file.glasses]
    lines += [_lamp_line(lamp) for lamp in built.lamps]
    for what in ("props", "flags", "cards", "foils", "diffusers", "mirrors", "meters"):
        if names := getattr(set_file, what):
            lines.append(f"{what}: {', '.join(names)}")
    lines.append(_camera_line(built.camera) if built.camera else "no camera: maps can be made, no picture")
    lines.append("exposure: " + ("relative, no lamp has a reading" if built.relative else "by meter reading"))
    return [*lines, *_notes(built)]


def _notes(built: BuiltSet) -> list[str]:
    """Tell what to warn of, lamps that hardly reach the hero included."""
    from brimcast.scene.readings import tell_shaded

    dark = [text for _, text in tell_shaded(built, most=0.05)]
    return [f"note: {note}" for note in (*built.notes, *dark)]


def _glass_line(set_file: SetFile, name: str) -> str:
    from brimcast.scene.pieces import choose_vessel

    glass, vessel = set_file.glasses[name], choose_vessel(set_file, name)
    shape = getattr(glass.vessel, "shape", None) or getattr(glass.vessel, "file", "measured outline")
    line = f"{name}: {shape}, {vessel.height_mm:.0f} mm tall"
    if getattr(vessel, "notes", None) is not None:
        return "; ".join([f"{line}, a mesh", *vessel.notes, "empty"])
    if vessel.closed:
        return f"{line}; closed, of metal"
    line += f", holds {vessel.capacity_ml():.0f} ml to the brim"
    if not glass.drink:
        return f"{line}; empty"
    from brimcast.scene.drinks import name_liquid
    from brimcast.scene.glassfiles import folder_of
    from brimcast.scene.pouring import find_level, tell_unstable, wetting_of
    from brimcast.vessels.fill import held_ml

    drink, folder = glass.drink, folder_of(set_file)
    fill_mm = find_level(set_file, name, vessel)
    volume_ml = held_ml(vessel.inner, fill_mm, wetting_of(drink, folder))
    named = " under ".join(name_liquid(liquid, folder) for liquid in drink.liquids)
    foot = glass.stands_on or "the table"
    line += f"; {volume_ml:.0f} ml of {named}, fill line {fill_mm:.0f} mm above {foot}"
    return "; ".join(filter(None, [line, tell_unstable(drink, folder)]))


def _lamp_line(lamp) -> str:
    power = f", {lamp.power_stops:+g} stops" if lamp.power_stops else ""
    power += f", through {' + '.join(lamp.gels)} ({np.log2(lamp.passed):+.1f} stops)" if lamp.gels else ""
    if lamp.dense_mm:
        return f"{lamp.name}: {lamp.word}{power}"
    start = f"{lamp.name}: {lamp.word or lamp.kind} {_across(lamp)} mm{power}; "
    stands = f"elevation {lamp.elevation_deg:.3g} deg, azimuth {_azimuth(lamp.azimuth_deg)}"
    if lamp.distant:
        return f"{lamp.name}: {lamp.word}{power}; {stands}"
    floor_m = ((lamp.centre_mm - lamp.aim_mm)[:2] ** 2).sum() ** 0.5 / 1000
    return (
        f"{start}throw {lamp.throw_mm / 1000:.2f} m, {stands}; stands "
        f"{lamp.centre_mm[2] / 1000:.2f} m above the table, {floor_m:.2f} m along the floor"
    )


def _across(lamp) -> str:
    if lamp.kind == "ring":
        return f"{sum(lamp.size_mm):g}"
    if lamp.kind in ("panel", "tube"):
        return f"{lamp.size_mm[0]:g} x {lamp.size_mm[1]:g}"
    return f"{lamp.size_mm[0]:g}"


def _azimuth(azimuth_deg: float) -> str:
    """Azimuth with its place on the clock, to the half hour."""
    hour, half = divmod(round(azimuth_deg / 15) % 24 + 12, 2)
    clock = f"half past {hour % 12 or 12}" if half else f"{hour % 12 or 12} o'clock"
    return f"{azimuth_deg:.0f} deg ({'' if azimuth_deg % 15 == 0 else 'about '}{clock})"


def _camera_line(camera) -> str:
    from brimcast.shared.exposure import close_up_loss, marked_f_number

    return (
        f"camera: {camera.focal_mm:g} mm, f/{marked_f_number(camera.f_number):g}, ISO {camera.iso:g}; "
        f"focused {camera.focus_mm / 1000:.2f} m from the lens, magnification {camera.magnification:.3f} "
        f"(costs {close_up_loss(camera.magnification):.1f} stops)"
    )


def describe_outcome(
    outcome: Outcome, report: dict, folder: Path, written: list[str], notes: list[str]
) -> list[str]:
    """Return the main numbers of a computed set in a dozen lines.

    Parameters
    ----------
    outcome : Outcome
    report : dict
        See `brimcast.renders.report.describe`.
    folder : Path
    written : list of str
        Names of the files written into it.
    notes : list of str
        What else to say of them.
    """
    from brimcast.scene.emptied import list_empty

    built, seconds = outcome.built, outcome.seconds["total"]
    lines = [f"{built.title}: {outcome.quality}, {seconds:.0f} s on the {outcome.engine.device}"]
    lines += _notes(built)
    for light in outcome.lights:
        kinds = report["caustics"][light.lamp.name]
        lines += _caustic_lines(light.lamp.name, kinds, bool(built.feet))
        lines += _grain_line(outcome, light)
        if "empty_against_filled" in report:
            lines += _filling_line(light.lamp.name, report["empty_against_filled"][light.lamp.name])
    lines += _cell_line(outcome)
    for name, meter in report["meters"].items():
        light = None if built.relative else meter["all"]["light"]["value"]
        lines.append(meter_line(name, meter["all"]["stops_over_table"], light))
    if built.relative:
        lines.append("relative: no lamp has a meter reading; compare stops, take no f-number from this")
    if any(_is_hot(kinds) for kinds in report["caustics"].values()):
        lines.append(SCORCH)
    if "empty_against_filled" in report:
        lines.append(NOT_THE_DRINK)
    lines += tell_empty(list_empty(built))
    if "table.png" not in written:
        lines.append("no focused light falls on the table, so there is no table.png")
    return [*lines, f"wrote {folder}: {', '.join(written)}", *(f"note: {note}" for note in notes)]


def _filling_line(name: str, kinds: dict) -> list[str]:
    """Return in words what filling does to the light that goes through."""
    found = kinds["refractive"]
    if found["peak_shift_mm"]["value"] is None:
        return [f"    filled against empty, through the glass: {name} throws no pattern through one of them"]
    parts = [f"brightest line moves by {_value(found['peak_shift_mm'], 0)} mm"]
    if found["tip_shift_mm"]["value"] is not None:
        parts.append(f"tip by {_value(found['tip_shift_mm'], 0)} mm")
    if found["width_change_mm"]["value"] is not None:
        parts.append(f"its width by {_value(found['width_change_mm'], 1, sign='+')} mm")
    if found["brightness_change_stops"]["value"] is not None:
        parts.append(f"its brightness by {_value(found['brightness_change_stops'], 1, sign='+')} stops")
    return [f"    filled against empty, through the glass: {', '.join(parts)}"]


def tell_empty(names: list[str]) -> list[str]:
    """Return the caution about a set's empty glasses, no line where none is empty."""
    if not names:
        return []
    verb = "is" if len(names) == 1 else "are"
    return [
        f"caution: {', '.join(names)} {verb} empty; the pattern of the filled glass differs. It is common "
        "practice to shoot the empty plate first, but light for the served drink"
    ]


def _is_hot(kinds: dict) -> bool:
    stops = [found["peak_over_table_stops"]["value"] for found in kinds.values()]
    return any(value is not None and value >= SCORCH_STOPS for value in stops)


def _caustic_lines(name: str, kinds: dict, has_foot: bool) -> list[str]:
    lines = []
    for kind, words in KINDS.items():
        found = kinds[kind]
        if found["peak_mm"]["value"] is None:
            lines.append(f"{name}, {words}: no pattern on the table")
            continue
        width = found["line_width_mm"]
        wide = f"{_value(width, 1)} mm wide" if width["value"] is not None else "no line with two edges"
        if width.get("upper_limit"):
            wide = f"at most {wide} (finer cells tell how much less)"
        bright = "where the bare table at the datum gets none of its light"
        if found["peak_over_table_stops"]["value"] is not None:
            bright = f"{_value(found['peak_over_table_stops'], 1, sign='+')} stops over the plain table"
        lines.append(f"{name}, {words}: brightest line {bright}, {wide}")
        if found["length_mm"]["value"] is not None:
            lines.append(f"    {_reach(found, has_foot)}")
    return lines


def _reach(found: dict, has_foot: bool) -> str:
    error_mm = found["length_mm"]["standard_error"]
    if error_mm is not None and error_mm > UNCLEAR_MM:
        return "too faint at its ends to say how far it reaches"
    x, y = found["tip_mm"]["value"]
    across = f"{abs(x):.0f} mm {'right' if x >= 0 else 'left'}"
    deep = f"{abs(y):.0f} mm {'behind' if y >= 0 else 'toward the camera'}"
    heading = found["heading_deg"]["value"]
    heads = f"; heads {_azimuth(heading)}" if heading is not None else ""
    far = f"reaches {_value(found['length_mm'], 0)} mm from the {'foot' if has_foot else 'datum'}"
    if found["length_mm"]["value"] == 0:
        far = "stays under the foot"
    return f"{far}, tip {deep} and {across} of the datum{heads}"


def _value(entry: dict, digits: int, sign: str = "") -> str:
    """Value ± one standard error, which is left out where it does not reach the last digit."""
    error = entry["standard_error"]
    known = error is None or error < 10.0**-digits / 2
    return f"{entry['value']:{sign}.{digits}f}" + ("" if known else f" ± {error:.{digits}f}")


def _grain_line(outcome: Outcome, light) -> list[str]:
    from brimcast.renders.lightpass import EFFORTS

    asked = EFFORTS[outcome.quality].error
    # Not where both are told by the same number.
    if not asked < round(light.relative_error, 2) < float("inf"):
        return []
    return [
        f"    grainier than {outcome.quality} asks: {light.relative_error:.0%} where {asked:.0%} is meant; "
        "the light is spread thin"
    ]


def _cell_line(outcome: Outcome) -> list[str]:
    from brimcast.renders.lightpass import EFFORTS

    usual_mm, cell_mm = EFFORTS[outcome.quality].cell_mm, outcome.window.cell_mm
    if outcome.built.cell_mm or cell_mm <= usual_mm:
        return []
    depth_mm, width_mm = (count * cell_mm for count in outcome.window.shape)
    return [
        f"the light covers {width_mm:.0f} x {depth_mm:.0f} mm of the table: cells of {cell_mm:g} mm, not the "
        f"{outcome.quality}'s {usual_mm:g} mm; `render.cell` asks for finer ones and takes more memory"
    ]


def meter_line(name: str, stops: float | None, light_lx_s: float | None = None) -> str:
    """Return in words what a meter caught: stops over the plain table, and the light where it is physical."""
    if stops is None:
        return f"meter {name}: no light"
    amount = "" if light_lx_s is None else f"{light_lx_s:.4g} lx s, "
    return f"meter {name}: {amount}{stops:+.1f} stops against the plain table"
