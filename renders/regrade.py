"""A computed folder made again with other powers, gels, exposure and white: no ray is traced.

Every change starts from what was traced, not from an earlier change, and leaves the stored light as it is.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ..scene.emission import band_shares, pass_gels
from ..shared.bands import BANDS
from ..shared.colour import BAND_XYZ, xy_from_xyz
from ..shared.errors import Fault, PersonError
from ..shared.exposure import exact_f_number, marked_f_number
from ..shared.gels import describe as describe_stack
from . import stopsmap
from .adjust import LOOKS, Exposure, develop, display
from .balance import AS_SHOT, find_white
from .bandfile import see_bands
from .cropguide import draw_crop
from .images import SETTINGS_KEY, write_json, write_png
from .keep import DAMAGE, replacing

BLUR_NOTE = "f-number: exposure only; blur and depth of field stay as traced"
RELATIVE_NOTE = "relative: metered anew on the plain table, gels off; f-number and ISO change nothing"
# Lines developed at a time, so few that they stay near the processor.
_STRIPE = 64
_STOPS = ("over_card", "clipped", "blocked")


@dataclass(frozen=True)
class Wish:
    """What is to be other than traced; None and absent lamps stay as traced.

    Attributes
    ----------
    powers : mapping of str to float
        Stops under the reading's power; -inf is off.
    gels : mapping of str to (tuple of Gel, tuple of str)
        Gels instead of all that the lamp has, and their words; an empty tuple takes them off.
    f_number, iso : float or None
    white : float or str or None
        K; ``as shot``; or the name of a meter of the set, or of the card that its white was taken from.
    look : str
        A key of `adjust.LOOKS`.
    """

    powers: Mapping[str, float] = field(default_factory=dict)
    gels: Mapping[str, tuple] = field(default_factory=dict)
    f_number: float | None = None
    iso: float | None = None
    white: float | str | None = None
    look: str = "plain"


@dataclass(frozen=True, eq=False)
class Stored:
    """What was traced of a set.

    Attributes
    ----------
    bands : dict of str to (16, h, w) float32
        At 0 stops, without gels.
    settings : dict
    spectrum, gel, plain, meters : dict of str to array
        Per lamp: (321,) spectrum, (16,) share of its gels, (16,) light on the plain table and (16, n) on the
        meters, both at its power and without gels.
    meter_names : list of str
    meter_reflectance : (n, 16) float
    """

    bands: dict
    settings: dict
    spectrum: dict
    gel: dict
    plain: dict
    meters: dict
    meter_names: list
    meter_reflectance: np.ndarray


@dataclass(frozen=True, eq=False)
class Grade:
    """A wish worked out for a stored set: what each lamp has now.

    Attributes
    ----------
    powers : dict of str to float
    shares : dict of str to (16,) float
        What the gels pass.
    gels : dict of str to dict or None
        Words of the gels and what they do.
    plain : dict of str to (16,) float
        Light on the plain table, through gels, at the powers now, in the unit of the report.
    meters : dict of str to (16, n) float
    exposure : Exposure
    white : float or (float, float)
    said_white : float or str
    """

    powers: dict
    shares: dict
    gels: dict
    plain: dict
    meters: dict
    exposure: Exposure
    white: object
    said_white: object


def read_stored(folder: Path) -> Stored:
    """Return what a folder holds of a traced picture.

    Raises
    ------
    PersonError
        It is no folder of a rendered set, is damaged, or its files come from different sets.
    """
    if not (folder / "picture.exr").is_file():
        text = "holds no picture.exr; give the folder of a `brimcast render`"
        raise PersonError(Fault(str(folder), None, None, None, text))
    bands, settings = see_bands(folder / "picture.exr")
    try:
        with np.load(folder / "maps.npz", allow_pickle=False) as kept:
            other = json.loads(str(kept[SETTINGS_KEY]))
            found = {
                kind: {lamp: kept[f"{lamp}.{kind}"] for lamp in bands}
                for kind in ("spectrum", "gel", "plain", "meters")
            }
            reflectance = kept["meter_reflectance"]
    except DAMAGE:
        text = "has no sound maps.npz of this version beside picture.exr; render the set again"
        raise PersonError(Fault(str(folder), None, None, None, text)) from None
    same = ("digest", "quality", "seed", "version")
    if [settings.get(key) for key in same] != [other.get(key) for key in same] or not settings.get("camera"):
        text = "holds a picture and maps of different runs; render the set again"
        raise PersonError(Fault(str(folder), None, None, None, text))
    return Stored(bands, settings, *found.values(), settings["meters"], reflectance)


def grade(stored: Stored, wish: Wish) -> Grade:
    """Return what each lamp, the exposure and the white are by a wish.

    Raises
    ------
    PersonError
        A lamp or meter is not in the set, or no light falls where white is to be found.
    """
    settings, lamps = stored.settings, list(stored.bands)
    for option, given in (("--power", wish.powers), ("--gel", wish.gels)):
        for name in given:
            if name not in lamps:
                known = ", ".join(lamps)
                raise PersonError(f"{option}: there is no lamp {name!r} in this set; it has {known}")
    powers = {name: wish.powers.get(name, settings["power_stops"][name]) for name in lamps}
    change = {name: 2.0 ** (powers[name] - settings["power_stops"][name]) for name in lamps}
    shares, words = _dress(stored, wish)
    relative = None
    if settings["relative"]:
        # Metered anew, gels off, as a fresh render would be.
        lit = sum(change[name] * stored.plain[name] @ BAND_XYZ[:, 1] for name in lamps)
        relative = 1 / lit if lit > 0 else 1.0
    unit = relative or 1.0
    plain = {name: stored.plain[name] * shares[name] * change[name] * unit for name in lamps}
    meters = {name: stored.meters[name] * shares[name][:, None] * (change[name] * unit) for name in lamps}
    camera = settings["camera"]
    f_number = wish.f_number or exact_f_number(camera["f_number"])
    exposure = Exposure(f_number, wish.iso or camera["iso"], camera["magnification"], relative)
    said = camera["white"] if wish.white is None else wish.white
    white = _find_white(stored, said, plain, meters)
    return Grade(powers, shares, words, plain, meters, exposure, white, said)


def _dress(stored: Stored, wish: Wish) -> tuple[dict, dict]:
    """Return each lamp's share by band, and its gels in words with what they do; None for none."""
    shares, words = {}, {}
    for name in stored.bands:
        shares[name], words[name] = stored.gel[name], None
        if name in wish.gels:
            stack, said = wish.gels[name]
            share = pass_gels(stack)
            shares[name] = band_shares(share, stored.spectrum[name]) if stack else np.ones(BANDS)
            if stack:
                words[name] = {"gels": list(said), **describe_stack(stored.spectrum[name], share)}
    return shares, words


def _find_white(stored: Stored, said, plain: dict, meters: dict):
    names = stored.meter_names
    if isinstance(said, str) and said != AS_SHOT and said not in names:
        known = ", ".join([AS_SHOT, *names])
        raise PersonError(
            f"--white: {said!r} was not metered when the set was traced; it has {known}, or a temperature"
        )
    light = sum(meters.values())
    read = {name: light[:, place] * stored.meter_reflectance[place] for place, name in enumerate(names)}
    try:
        return find_white(said, sum(plain.values()), read)
    except ValueError as dark:
        raise PersonError(f"--white: {dark}") from None


def regrade(folder: Path, wish: Wish, out: Path | None = None) -> tuple[dict, list[str]]:
    """Write picture.png, stops-picture.png and adjusted.json by a wish.

    Parameters
    ----------
    folder : Path
        Of a rendered set.
    wish : Wish
    out : Path, optional
        Folder for the files; `folder` itself where left out.

    Returns
    -------
    report : dict
        Contents of adjusted.json.
    names : list of str
        Files written.

    Raises
    ------
    PersonError
        See `read_stored` and `grade`; or `out` cannot be written.
    """
    stored = read_stored(folder)
    made = grade(stored, wish)
    shown, stops = _develop(stored.bands, made, wish.look)
    shown = draw_crop(shown, stored.settings["camera"]["crop_share"])
    look = {"name": wish.look, "meaning": LOOKS[wish.look]}
    settings = {**stored.settings, "look": look, "adjusted": _list_changes(stored, made, wish)}
    report = _describe(folder, stored, made, wish, stops)
    out = out or folder
    try:
        # Packing lets go of the interpreter, so the two pictures take one core each.
        with replacing(out) as fresh, ThreadPoolExecutor(2) as pool:
            tasks = [
                pool.submit(write_png, fresh / "picture.png", shown, settings, quick=True),
                pool.submit(_write_stops, fresh / "stops-picture.png", stops, settings, made),
            ]
            write_json(fresh / "adjusted.json", {**report, "settings": settings})
            for task in tasks:
                task.result()
            return report, sorted(path.name for path in fresh.iterdir())
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise PersonError(Fault(str(out), None, None, None, f"cannot be written: {reason}")) from error


def _develop(bands: dict, made: Grade, look: str) -> tuple[np.ndarray, stopsmap.Stops]:
    """Return the picture as 8-bit sRGB and in stops; its lines are shared between two cores."""
    height = next(iter(bands.values())).shape[1]
    parts = [slice(start, start + _STRIPE) for start in range(0, height, _STRIPE)]

    def develop_part(part):
        seen = {name: stored[:, part] for name, stored in bands.items()}
        linear = develop(seen, made.exposure, made.powers, made.shares, made.white)
        return display(linear, look), stopsmap.measure_stops(linear)

    with ThreadPoolExecutor(2) as pool:
        shown, stops = zip(*pool.map(develop_part, parts), strict=True)
    joined = (np.concatenate([getattr(part, name) for part in stops]) for name in _STOPS)
    return np.concatenate(shown), stopsmap.Stops(*joined, min(part.headroom_stops for part in stops))


def _write_stops(path: Path, stops: stopsmap.Stops, settings: dict, made: Grade) -> None:
    shares = f"{stops.clipped.mean():.1%} clipped, {stops.blocked.mean():.1%} blocked up"
    lines = (f"Stops, the camera's picture: {shares}.", _exposed(made))
    write_png(path, stopsmap.draw_stops_map(stops, settings["title"], lines), settings, quick=True)


def _exposed(made: Grade) -> str:
    if made.exposure.relative:
        return "Exposed as metered on the plain table."
    return f"Exposed at f/{marked_f_number(made.exposure.f_number):g}, ISO {made.exposure.iso:g}."


def _list_changes(stored: Stored, made: Grade, wish: Wish) -> dict:
    """Return what the picture was made with, for its file; -inf, a lamp off, is null."""
    gels = {name: list(wish.gels[name][1]) if name in wish.gels else stored.settings["gels"][name]
            for name in stored.bands}  # fmt: skip
    return {
        "power_stops": {name: stops if math.isfinite(stops) else None for name, stops in made.powers.items()},
        "gels": gels,
        "f_number": marked_f_number(made.exposure.f_number),
        "iso": made.exposure.iso,
        "white": made.said_white,
    }


def list_notes(settings: dict, wish: Wish) -> list[str]:
    """Return what a person must know of the picture made by a wish."""
    notes = []
    if settings["relative"]:
        notes.append(RELATIVE_NOTE)
    elif wish.f_number:
        notes.append(BLUR_NOTE)
    if wish.look == "pitch":
        notes.append("look pitch: a soft shoulder holds light that the camera would clip")
    return notes


def _describe(folder: Path, stored: Stored, made: Grade, wish: Wish, stops: stopsmap.Stops) -> dict:
    """Return the numbers that changed; those of caustics are copied where their lamp keeps its gels."""
    try:
        traced = json.loads((folder / "report.json").read_text(encoding="utf-8"))
        caustics, lamps = traced["caustics"], traced["lamps"]
    except (OSError, ValueError, KeyError):
        text = "has no sound report.json beside picture.exr; render the set again"
        raise PersonError(Fault(str(folder), None, None, None, text)) from None
    lit = {name: float(light @ BAND_XYZ[:, 1]) for name, light in made.plain.items()}
    return {
        "lamps": {
            name: {
                "power_stops": made.powers[name],
                "plain_table": lit[name],
                "gels": made.gels[name] if name in wish.gels else lamps[name]["gels"],
            }
            for name in stored.bands
        },
        "meters": {
            meter: {
                "lamps": {name: _reading(made.meters[name][:, place], lit[name]) for name in stored.bands},
                "all": _reading(sum(made.meters.values())[:, place], sum(lit.values())),
            }
            for place, meter in enumerate(stored.meter_names)
        },
        "caustics": {name: None if name in wish.gels else caustics[name] for name in stored.bands},
        "picture": {
            "clipped_share": float(stops.clipped.mean()),
            "blocked_up_share": float(stops.blocked.mean()),
            "headroom_stops": stops.headroom_stops,
        },
        "notes": list_notes(stored.settings, wish),
    }


def _reading(bands: np.ndarray, plain: float) -> dict:
    """Light of (16,) bands: amount, stops over the plain table, chromaticity; None in the dark."""
    light = float(bands @ BAND_XYZ[:, 1])
    lit = light > 0
    return {
        "light": light,
        "stops_over_table": math.log2(light / plain) if lit and plain > 0 else None,
        "xy": xy_from_xyz(bands @ BAND_XYZ).tolist() if lit else None,
    }
