"""Light by light: f-number, power, gel, fall-off, and whether plates add: questions 7, 8, 15, 23, 27."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from brimcast.scene.bodies import is_far
from brimcast.scene.readings import list_points, read_lamp
from brimcast.scene.setplan import HEAT
from brimcast.shared import exposure

from ..report import describe_gels
from .adding import add_plates
from .answer import Answer, Lacking, entry, tell
from .falloff import measure_fall_off, tell_fall_off
from .powers import TENTH, Dial, below_range, read_dials, settle_powers, tell_head, tell_key
from .study import Study
from .viewing import camera_of

# Useful accuracy of a sum of plates, %.
USEFUL_PERCENT = 1.0


def answer_f_number(study: Study) -> Answer:
    """Answer which f-number each plate wants: every lamp alone, and all together."""
    camera, built = camera_of(study), study.built
    lamps = sorted(built.lamps, key=lambda lamp: lamp.name != study.lamp)
    if built.relative:
        distance = "" if is_far(lamps[0]) else "distance: 1 m, "
        reading = f"{{f_number: f/16, iso: 100, {distance}receptor: flat}}"
        raise Lacking("a meter reading for every lamp", f"lamps.{study.lamp}.reading={reading}")
    points = {point.name: point for point in list_points(built)}
    alone = {lamp.name: _read_plate(study, points, [lamp]) for lamp in lamps}
    lines = [f"{name} alone: {_tell_plate(found)}" for name, found in alone.items()]
    values = {"alone": alone}
    if len(lamps) > 1:
        # One meter faces one way.
        way = lamps[0].centre_mm - points["glass"].place_mm
        faced = replace(points["glass"], normal=way / np.linalg.norm(way))
        values["together"] = _read_plate(study, {**points, "glass": faced}, lamps)
        lines.append(f"All together, the meter facing {study.lamp}: {_tell_plate(values['together'])}")
    loss = float(exposure.close_up_loss(camera.magnification))
    values |= {
        "set_f_number": exposure.marked_f_number(camera.f_number),
        "iso": camera.iso,
        "close_up_loss_stops": entry(loss, 0.0, "stops"),
    }
    lines.append(f"ISO {camera.iso:g}; the {loss:.2f} stops that close focus costs are counted")
    held = "in the glass's place it faces the lamp, on the table it faces up"
    lines.append(f"Flat meter, glassware away, gels on, flags in place; {held}")
    lines.append("Metered is the plain light; whether the bright line clips is question 10")
    return Answer(tuple(lines), values)


def _read_plate(study: Study, points: dict, lamps: list) -> dict:
    """Return what a meter in the glass's place and on the table asks of the lens, lamps together."""
    camera, found = camera_of(study), {}
    for name in ("glass", "table"):
        light = sum(read_lamp(study.built, lamp, points[name]) for lamp in lamps)
        metered = lens = over = None
        if light > 0:
            metered = float(exposure.f_number_for(light, camera.iso))
            lens = metered / (1 + camera.magnification)
            over = 2 * math.log2(lens / camera.f_number)
        found[name] = {
            "f_number": entry(lens, 0.0 if light > 0 else None),
            "words": exposure.tell_f_number(lens) if light > 0 else "no light",
            "meter_f_number": entry(metered, 0.0 if light > 0 else None),
            "over_stops": entry(over, 0.0 if light > 0 else None, "stops"),
        }
    return found


def _tell_plate(found: dict) -> str:
    told = f"{found['glass']['words']} by the glass, {found['table']['words']} by the table"
    over = found["glass"]["over_stops"]["value"]
    if over is None:
        return told
    if abs(over) < TENTH:
        return f"{told}; the camera is set so"
    much = "more" if over > 0 else "less"
    return f"{told}; as the camera is set, the glass gets {abs(over):.1f} stops {much} than metered"


def answer_power(study: Study) -> Answer:
    """Answer which power of each head gives the ratios asked."""
    ratios, key = study.brief.ratios, study.lamp
    if not ratios:
        others = [lamp for lamp in study.set_file.lamps if lamp != key]
        if not others:
            raise Lacking("two lamps")
        raise Lacking("a lighting ratio", f'brief.ratios={{{others[0]}: "4:1"}}')
    dials = read_dials(study)
    if not dials[key].light > 0:
        raise Lacking(f"light of {key} that comes straight to the hero")
    lit = {other: (dials[other], ratio) for other, ratio in ratios.items() if dials[other].light > 0}
    power, powers = settle_powers(dials[key], lit)
    lines = []
    for other, ratio in ratios.items():
        told = "no power will do, for none of its light comes straight to the hero"
        if other in lit:
            told = tell_head(dials[other], powers[other])
        lines.append(f"{other}, for {ratio:g}:1 incident of {key}: {told}")
    lines.append(f"{key}: {tell_key(dials[key], power)}")
    for ratio in dict.fromkeys(ratios.values()):
        both = exposure.lighting_ratio(ratio, 1.0)[1]
        lines.append(
            f"{ratio:g}:1 incident is {both:g}:1 highlight to shadow, the weaker light on both sides"
        )
    lines.append("Metered at half the hero's height, facing each lamp alone, gels on, flags in place")
    full = "Full power is that of the lamp's reading"
    if study.built.relative:
        full = "No lamp has a reading: they count as equally strong at full power, as far away"
    lines.append(full)
    heads = {name: _describe_head(dials[name], at) for name, at in {key: power, **powers}.items()}
    return Answer(tuple(lines), {"heads": heads, "incident_ratios": dict(ratios)})


def _describe_head(dial: Dial, power: float) -> dict:
    return {
        "power_stops": entry(power, 0.0, "stops"),
        "change_stops": entry(power - dial.power_stops, 0.0, "stops"),
        "below_range_stops": entry(below_range(dial, power), 0.0, "stops"),
    }


def answer_gel(study: Study) -> Answer:
    """Answer what gels do to their lamps' light."""
    found = {lamp.name: describe_gels(lamp) for lamp in study.built.lamps if lamp.gel_share is not None}
    if not found:
        back = "back" if "back" in study.set_file.lamps else study.lamp
        raise Lacking("a lamp with gels", f"lamps.{back}.gels=[half CTO]")
    values, lines = {}, []
    for name, gels in found.items():
        shift, left_k = gels["mired_shift"], gels["cct_k"]
        values[name] = {
            "gels": gels["gels"],
            "delta_e": entry(gels["delta_e_to_white"], 0.0, "dE00"),
            "loss_stops": entry(gels["loss_stops"], 0.0, "stops"),
            "mired_shift": entry(shift, None if shift is None else 0.0, "mired"),
            "cct_k": entry(left_k, None if left_k is None else 0.0, "K"),
        }
        white = "no shade of white, so without mired"
        if shift is not None:
            white = f"{abs(shift):.0f} mired {'warmer' if shift > 0 else 'cooler'}, to {left_k:.0f} K"
        costs = f"costs {gels['loss_stops']:.1f} stops, {gels['delta_e_to_white']:.1f} dE00 off white"
        lines.append(f"{name}, {' and '.join(gels['gels'])}: {costs}; {white}")
    lines.append("White is the same lamp's light without gels, brightness left out")
    return Answer(tuple(lines), values, (HEAT,))


def answer_fall_off(study: Study) -> Answer:
    """Answer how each lamp's light falls off across the table."""
    lamps = sorted(study.built.lamps, key=lambda lamp: lamp.name != study.lamp)
    values = {lamp.name: measure_fall_off(study.built, lamp) for lamp in lamps}
    lines = [f"{name}: {tell_fall_off(found)}" for name, found in values.items()]
    line = "the line through the datum toward the lamp, the meter flat on the table"
    lines.append(f"From brightest to darkest on {line}; flags and glassware left out")
    return Answer(tuple(lines), values)


def answer_sum(study: Study) -> Answer:
    """Answer whether separate plates add up to all lights on."""
    if len(study.set_file.lamps) < 2:
        raise Lacking("two lamps")
    found = add_plates(study)
    values = {
        "table_percent": found.table,
        "grain_percent": found.grain,
        "expected_grain_percent": found.expected,
        "meters": found.meters,
    }
    places = {"over the table": found.table, **{f"on {name}": off for name, off in found.meters.items()}}
    places = {where: off for where, off in places.items() if off["value"] is not None}
    adds = all(abs(off["value"]) < max(USEFUL_PERCENT, 3 * off["standard_error"]) for off in places.values())
    told = ", ".join(f"{tell(off, 2, '+')} {where}" for where, off in places.items())
    lines = [f"{'Yes' if adds else 'Not as computed'}: plates summed, against all lights on, are {told}"]
    if found.grain["value"] is not None:
        off, grain = (f"{number['value']:.1f} %" for number in (found.grain, found.expected))
        lines.append(f"Spot by spot they differ by {off}; the grain of the two computings would make {grain}")
    lines.append("Each plate was computed by itself, from other random numbers, the other lamps switched off")
    lines.append("Add plates in linear light, from raw, before any curve")
    moves = "camera, glass, fill line, ice, drops, bubbles, a head that drifts"
    lines.append(
        f"What moves or changes between plates does not add: {moves}; empty to filled is a masked swap"
    )
    return Answer(tuple(lines), values)
