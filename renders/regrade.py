"""A rendered folder made again with other powers, gels, exposure and white: no ray is traced.

Every change starts from what was rendered, not from an earlier change, and leaves the stored light as it is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ..scene.colourwords import AS_SHOT, describe_gel
from ..scene.emission import band_shares, pass_gels
from ..shared.bands import BANDS
from ..shared.colour import BAND_XYZ, xy_from_xyz
from ..shared.errors import Fault, PersonError, telling_unwritable
from ..shared.exposure import exact_f_number, marked_f_number
from ..shared.gels import describe as describe_stack
from . import stopsmap
from .adjust import LOOKS, Exposure, develop, display
from .balance import Exposed, expose, list_unbalanced
from .cropguide import mark_crop
from .images import write_json, write_png
from .keep import replacing
from .stored import Stored, read_stored

BLUR_NOTE = "f-number: exposure only; blur and depth of field stay as rendered"
RELATIVE_NOTE = "relative: metered anew on the plain table, gels off; f-number and ISO change nothing"
# Lines developed at a time, so few that they stay near the processor.
_STRIPE = 64


@dataclass(frozen=True)
class Wish:
    """What is to be other than rendered; None and absent lamps stay as rendered.

    Attributes
    ----------
    powers : mapping of str to float
        Stops under the reading's power; -inf is off.
    gels : mapping of str to tuple of Gel
        Gels instead of all that the lamp has; an empty tuple takes them off.
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
    exposed : Exposed
    said_white : float or str
    """

    powers: dict
    shares: dict
    gels: dict
    plain: dict
    meters: dict
    exposed: Exposed
    said_white: object


def grade(stored: Stored, wish: Wish) -> Grade:
    """Return what each lamp, the exposure and the white are by a wish.

    Raises
    ------
    PersonError
        A lamp or meter is not in the set, or no light falls where white is to be found.
    """
    settings, lamps = stored.settings, stored.lamps
    for option, given in (("--power", wish.powers), ("--gel", wish.gels)):
        for name in given:
            if name not in lamps:
                known = ", ".join(lamps)
                raise PersonError(f"{option}: there is no lamp {name!r} in this set; it has {known}")
    powers = {name: wish.powers.get(name, settings["power_stops"][name]) for name in lamps}
    change = {name: 2.0 ** (powers[name] - settings["power_stops"][name]) for name in lamps}
    shares, words = _dress(stored, wish)
    said = settings["camera"]["white"] if wish.white is None else wish.white
    exposed = _expose(stored, wish, said, change, shares)
    # Metered anew, as a fresh render would be.
    unit = exposed.exposure.relative or 1.0
    plain = {name: stored.plain[name] * shares[name] * change[name] * unit for name in lamps}
    meters = {name: stored.meters[name] * shares[name][:, None] * (change[name] * unit) for name in lamps}
    return Grade(powers, shares, words, plain, meters, exposed, said)


def _expose(stored: Stored, wish: Wish, white, change: dict, shares: dict) -> Exposed:
    """Return exposure and white; what the person asked of white must be found."""
    names = stored.meter_names
    if wish.white is not None and isinstance(white, str) and white not in (AS_SHOT, *names):
        known = ", ".join([AS_SHOT, *names])
        raise PersonError(
            f"--white: {white!r} was not metered when the set was rendered; it has {known}, or a temperature"
        )
    camera = stored.settings["camera"]
    f_number = wish.f_number or exact_f_number(camera["f_number"])
    relative = 1.0 if stored.settings["relative"] else None
    as_asked = Exposure(f_number, wish.iso or camera["iso"], camera["magnification"], relative)
    plain = np.stack([stored.plain[name] * change[name] for name in stored.lamps])
    met = np.stack([stored.meters[name] * change[name] for name in stored.lamps])
    meters = {name: met[..., place] * stored.meter_reflectance[place] for place, name in enumerate(names)}
    exposed = expose(as_asked, white, plain, np.stack(list(shares.values())), meters)
    if exposed.unbalanced and wish.white is not None:
        raise PersonError(f"--white: {exposed.unbalanced}, so it cannot be made white")
    return exposed


def _dress(stored: Stored, wish: Wish) -> tuple[dict, dict]:
    """Return each lamp's share by band, and its gels in words with what they do (None without gels)."""
    shares, words = {}, {}
    for name in stored.lamps:
        shares[name], words[name] = stored.gel[name], stored.report["lamps"][name]["gels"]
        if name in wish.gels:
            shares[name], words[name] = np.ones(BANDS), None
        if stack := wish.gels.get(name):
            share, spectrum = pass_gels(stack), stored.spectrum[name]
            shares[name] = band_shares(share, spectrum)
            words[name] = {"gels": list(map(describe_gel, stack)), **describe_stack(spectrum, share)}
    return shares, words


def regrade(folder: Path, wish: Wish, out: Path | None = None) -> tuple[dict, list[str]]:
    """Write picture.png, stops-adjusted.png and adjusted.json by a wish.

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
        See `read_stored` and `grade`; or there is no picture, or `out` cannot be written.
    """
    if not (folder / "picture.exr").is_file():
        text = "holds no picture.exr; give the folder of a `brimcast render`"
        raise PersonError(Fault(str(folder), None, None, None, text))
    stored = read_stored(folder)
    made = grade(stored, wish)
    shown, stops = _develop(stored.bands, made, wish.look)
    shown = mark_crop(shown, stored.settings["camera"]["crop_share"])
    look = {"name": wish.look, "meaning": LOOKS[wish.look]}
    settings = {**stored.settings, "look": look, "adjusted": _list_changes(stored, made, wish)}
    report = _describe(stored, made, wish, stops)
    out = out or folder
    exposure = made.exposed.exposure
    # Packing lets go of the interpreter, so the two pictures take one core each.
    with telling_unwritable(out), replacing(out) as fresh, ThreadPoolExecutor(2) as pool:
        draw = (stopsmap.write_stops_map, fresh / "stops-adjusted.png", stops, "the camera's picture")
        tasks = [
            pool.submit(write_png, fresh / "picture.png", shown, settings, quick=True),
            pool.submit(*draw, exposure, settings),
        ]
        write_json(fresh / "adjusted.json", {**report, "settings": settings})
        for task in tasks:
            task.result()
        return report, sorted(path.name for path in fresh.iterdir())


def _develop(bands: dict, made: Grade, look: str) -> tuple[np.ndarray, stopsmap.Stops]:
    """Return the picture as 8-bit sRGB and in stops; its lines are shared between two cores."""
    height = next(iter(bands.values())).shape[1]
    parts = [slice(start, start + _STRIPE) for start in range(0, height, _STRIPE)]

    def develop_part(part):
        seen = {name: stored[:, part] for name, stored in bands.items()}
        linear = develop(seen, made.exposed.exposure, made.powers, made.shares, made.exposed.white)
        return display(linear, look), stopsmap.measure_stops(linear)

    with ThreadPoolExecutor(2) as pool:
        shown, stops = zip(*pool.map(develop_part, parts), strict=True)
    whole = stopsmap.Stops(
        np.concatenate([part.over_card for part in stops]),
        np.concatenate([part.clipped for part in stops]),
        min(part.headroom_stops for part in stops),
    )
    return np.concatenate(shown), whole


def _list_changes(stored: Stored, made: Grade, wish: Wish) -> dict:
    """Return what the picture was made with, for its file; -inf, a lamp off, is null."""
    asked = {name: list(map(describe_gel, stack)) for name, stack in wish.gels.items()}
    return {
        "power_stops": {name: stops if math.isfinite(stops) else None for name, stops in made.powers.items()},
        "gels": {**stored.settings["gels"], **asked},
        "f_number": marked_f_number(made.exposed.exposure.f_number),
        "iso": made.exposed.exposure.iso,
        "white": made.said_white,
    }


def _list_notes(settings: dict, made: Grade, wish: Wish) -> list[str]:
    """Return what a person must know of the picture made by a wish."""
    notes = list_unbalanced(made.exposed)
    if settings["relative"]:
        notes.append(RELATIVE_NOTE)
    elif wish.f_number:
        notes.append(BLUR_NOTE)
    if wish.look == "pitch":
        notes.append("look pitch: a soft shoulder holds light that the camera would clip")
    return notes


def _describe(stored: Stored, made: Grade, wish: Wish, stops: stopsmap.Stops) -> dict:
    """Return the numbers that changed; those of caustics are copied where their lamp keeps its gels."""
    lit = {name: float(light @ BAND_XYZ[:, 1]) for name, light in made.plain.items()}
    return {
        "lamps": {
            name: {
                "power_stops": made.powers[name],
                "plain_table": lit[name],
                "gels": made.gels[name],
            }
            for name in stored.lamps
        },
        "meters": {
            meter: {
                "lamps": {name: _reading(made.meters[name][:, place], lit[name]) for name in stored.lamps},
                "all": _reading(sum(made.meters.values())[:, place], sum(lit.values())),
            }
            for place, meter in enumerate(stored.meter_names)
        },
        "caustics": {
            name: None if name in wish.gels else caustic
            for name, caustic in stored.report["caustics"].items()
        },
        "picture": stops.shares(),
        "notes": _list_notes(stored.settings, made, wish),
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
