"""What `brimcast adjust` and `brimcast gel` do: read their options, and say what came out."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from brimcast.scene.colourwords import describe_gel, read_colour, read_gel, read_white
from brimcast.shared.errors import PersonError
from brimcast.shared.quantity import show

from .options import read_kind, read_option
from .words import meter_line


def _pair(option: str, text: str, example: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not (name.strip() and sign and value.strip()):
        raise PersonError(f"{option} {text!r}: not LAMP=VALUE; write it like {example}")
    return name.strip(), value.strip()


def read_powers(given: list[str] | None) -> dict[str, float]:
    """Return the powers of lamps, stops under the reading's; ``off`` is -inf.

    Raises
    ------
    PersonError
        One is no lamp with a power, or is above 0.
    """
    powers = {}
    for text in given or []:
        name, value = _pair("--power", text, "--power key='-1 stop'")
        powers[name] = -math.inf
        if value != "off":
            powers[name] = read_kind(f"--power {name}", "stops", value)
        if powers[name] > 0:
            text = f"{value} is above the reading's power; use 0 stops or less, or off"
            raise PersonError(f"--power {name}: {text}")
    return powers


def read_gels(given: list[str] | None) -> dict[str, tuple]:
    """Return the gels of lamps; several for one lamp are a stack, ``none`` takes them off.

    Raises
    ------
    PersonError
        One is no lamp with a gel, or stands beside ``none``.
    """
    stacks: dict[str, list] = {}
    bare = set()
    for text in given or []:
        name, value = _pair("--gel", text, "--gel back='cooling 80 mired'")
        stack = stacks.setdefault(name, [])
        if value == "none":
            bare.add(name)
        else:
            stack.append(read_option(f"--gel {name}", read_gel, value))
    for name in bare:
        if stacks[name]:
            raise PersonError(f"--gel {name}: has both none and a gel; keep one")
    return {name: tuple(stack) for name, stack in stacks.items()}


def adjust(folder: Path, out: Path | None, options: dict) -> list[str]:
    """Make a folder's picture again and return the lines to print.

    Parameters
    ----------
    options : dict
        `power`, `gel` (lists of texts), `f_number`, `iso`, `white` (texts or None), `look`.

    Raises
    ------
    PersonError
    """
    from brimcast.renders import regrade

    f_number, iso, white = (options[name] for name in ("f_number", "iso", "white"))
    wish = regrade.Wish(
        powers=read_powers(options["power"]),
        gels=read_gels(options["gel"]),
        f_number=None if f_number is None else read_kind("--f", "f_number", f_number),
        iso=None if iso is None else read_kind("--iso", "iso", iso),
        white=None if white is None else read_option("--white", read_white, white),
        look=options["look"],
    )
    report, names = regrade.regrade(folder, wish, out)
    return [*_lines(report), f"wrote {out or folder}: {', '.join(names)}"]


def _lines(report: dict) -> list[str]:
    lines = []
    for name, lamp in report["lamps"].items():
        stops = lamp["power_stops"]
        power = "off" if stops == -math.inf else show(stops, "stops") if stops else "full power"
        lines.append(f"{name}: {power}{_gel_words(lamp['gels'])}")
    lines += [meter_line(name, meter["all"]["stops_over_table"]) for name, meter in report["meters"].items()]
    return [*lines, _picture_line(report["picture"]), *report["notes"]]


def _picture_line(picture: dict) -> str:
    from brimcast.renders.stopsmap import tell_shares

    headroom = picture["headroom_stops"]
    if not math.isfinite(headroom):
        return "picture: all dark"
    side = "under" if headroom >= 0 else "over"
    return f"picture: {tell_shares(picture)}; brightest place {abs(headroom):.1f} stops {side} clipping"


def _gel_words(gels: dict | None) -> str:
    if not gels:
        return ""
    shift = gels["mired_shift"]
    moved = "" if shift is None else f", {shift:+.0f} mired"
    return f", {' + '.join(gels['gels'])} (costs {gels['loss_stops']:.1f} stops{moved})"


def describe_gels(texts: list[str], lamp: str) -> list[str]:
    """Return what a stack of gels does to a lamp, line by line.

    Raises
    ------
    PersonError
        A text is no gel or no colour of a lamp, or a file of measurements is wrong.
    """
    from brimcast.scene.emission import emit, light_of, pass_gels
    from brimcast.shared.gels import describe

    stack = tuple(read_option("gel", read_gel, text) for text in texts)
    colour = read_option("--lamp", read_colour, lamp)
    line_nm = getattr(colour, "wavelength_nm", None)
    light = light_of(emit(colour), line_nm)
    share = pass_gels(stack)
    told = describe(light, share)
    bare = describe(light, np.ones_like(share))
    words = " + ".join(map(describe_gel, stack))
    lines = [f"{words}, before {lamp}", f"costs {told['loss_stops']:.2f} stops"]
    if told["mired_shift"] is not None:
        before, after = (f"{each['cct_k']:.0f} K" for each in (bare, told))
        lines.append(f"shifts {told['mired_shift']:+.0f} mired: {before} to {after}")
        lines.append(f"green: Duv {bare['duv']:+.4f} to {told['duv']:+.4f}")
    else:
        lines.append("no colour temperature: too far from white")
    lines.append(f"colour: x {told['xy'][0]:.4f}, y {told['xy'][1]:.4f} (CIE 1931)")
    lines.append(f"difference to the bare lamp as white: {told['delta_e_to_white']:.1f} dE00")
    return lines
