"""What `brimcast expose` says, in the words of the trade."""

from __future__ import annotations

import math

from brimcast.shared.exposure import tell_f_number

from .words import meter_line, tell_empty

# Powers are set in tenths; below this a difference is none.
TENTH = 0.05


def list_lines(numbers: dict) -> list[str]:
    """Return the numbers of `exposing.tell` in lines."""
    title = numbers["set"]["title"]
    lines = [f"{title}: incident readings, each lamp alone, glassware taken away, flat receptor"]
    lines += _table(numbers)
    for name, point in numbers["points"].items():
        lines.append(f"    {name}: {point['where']}")
    lines += _glass_lines(numbers)
    lines += [_ratio_line(ratio) for ratio in numbers["ratios"]]
    if numbers["relative"]:
        lines.append("relative: no lamp has a reading; stops compare, no f-number can be told")
    return lines + _run_lines(numbers)


def _table(numbers: dict) -> list[str]:
    """Return the readings, a row a lamp and a column a point."""
    points = numbers["points"]
    names = list(points["glass"]["lamps"])
    brightest = max((entry["light"] for p in points.values() for entry in p["lamps"].values()), default=0.0)
    rows = [("lamp", *points)]
    for name in names:
        cells = (_cell(point["lamps"][name], numbers["relative"], brightest) for point in points.values())
        rows.append((name, *cells))
    wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    padded = (zip(row, wide, strict=True) for row in rows)
    return ["  ".join(f"{cell:<{width}}" for cell, width in row).rstrip() for row in padded]


def _cell(entry: dict, relative: bool, brightest: float) -> str:
    if not entry["light"] > 0:
        return "no light"
    if relative:
        return f"{math.log2(entry['light'] / brightest):+.1f} stops"
    return f"{tell_f_number(entry['f_number'])}, {entry['light']:.3g} lx s"


def _glass_lines(numbers: dict) -> list[str]:
    if numbers["relative"]:
        return []
    lines = []
    loss = numbers["close_up_loss_stops"]
    for name, entry in numbers["points"]["glass"]["lamps"].items():
        if not entry["f_number"]:
            continue
        said = f"{name} alone: lens at {tell_f_number(entry['lens_f_number'])}, ISO {numbers['iso']:g}"
        said += f" (close focus costs {loss:.2f} stops)"
        if entry["guide_number_m"] is not None:
            said += f"; guide number {entry['guide_number_m']:.3g} m"
        lines.append(said)
        if "power_for_target_stops" in entry:
            lines.append(f"    {_target_words(entry, numbers['target_f_number'])}")
    return lines


def _target_words(entry: dict, target: float) -> str:
    power = entry["power_for_target_stops"]
    wanted = f"for {tell_f_number(target)} on the lens"
    if power > TENTH:
        lacks, faster = f"{wanted} it lacks {power:.1f} stops", f"{2**power:.2g} times the ISO"
        if entry["guide_number_m"] is None:
            return f"{lacks}: {faster}"
        throw, pops = 2 ** (-power / 2), math.ceil(2**power - 0.07)
        return f"{lacks} at full power: throw {throw:.0%} of now, {faster}, or {pops} pops"
    change = power - entry["power_stops"]
    turn = "as it is" if abs(change) < TENTH else f"{abs(change):.1f} stops {'up' if change > 0 else 'down'}"
    return f"{wanted}: power {min(power, 0.0):+.1f} stops ({turn})"


def _ratio_line(ratio: dict) -> str:
    one, other = ratio["of"]
    name = f"ratio {one} : {other}" + ("" if ratio["by"] == "lamps" else " (meters)")
    if ratio["incident"] is None:
        return f"{name}: none, {other} has no light of its own or more than {one}"
    stops = math.log2(ratio["incident"]) if ratio["incident"] > 0 else -math.inf
    return (
        f"{name}: {ratio['incident']:.3g}:1 incident ({stops:+.1f} stops), "
        f"{ratio['highlight_to_shadow']:.3g}:1 highlight to shadow"
    )


def _run_lines(numbers: dict) -> list[str]:
    from brimcast.renders.stopsmap import tell_shares

    lines = []
    for name, caught in numbers["traced"].items():
        light = None if numbers["relative"] else caught["light"]
        lines.append(
            meter_line(f"{name}, with glass, caustics and bounce", caught["stops_over_table"], light)
        )
    headroom = numbers["headroom"]
    if headroom is None:
        lines.append("no focused light on the table")
    else:
        stops = headroom["headroom_stops"]
        x, y = headroom["place_mm"]
        said = f"clips by {-stops:.1f} stops" if stops < 0 else f"has {stops:.1f} stops of headroom"
        area = f"; {headroom['clipped_cm2']:.1f} cm² of table clip" if headroom["clipped_cm2"] > 0.005 else ""
        framed = {False: "; outside the frame", True: "", None: ""}[headroom["in_frame"]]
        if headroom["in_frame"] and headroom["in_crop"] is not None:
            framed = "; inside the crop" if headroom["in_crop"] else "; outside the crop"
        lines.append(f"caustic at its brightest ({x:.0f}, {y:.0f} mm from the datum) {said}{area}{framed}")
        lines += tell_empty(numbers["empty_glasses"])
    for name, view in numbers["maps"].items():
        lines.append(f"{name}: {tell_shares(view)}")
    lines += [f"note: {note}" for note in numbers["notes"]]
    if not numbers["same_set"]:
        lines.append(
            f"note: {numbers['folder']} was computed from another state of this set; power, gels, f-number, "
            "ISO and white are the set's, all else, blur too, is as rendered"
        )
    return [*lines, *(f"wrote {path}" for path in numbers["wrote"])]
