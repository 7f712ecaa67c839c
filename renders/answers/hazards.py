"""What can go wrong on the set: heat at the focus, and a room too small: questions 29 and 30."""

from __future__ import annotations

from brimcast.scene.built import BuiltSet
from brimcast.scene.clashes import CLASH, CLEAR, CLOSE, WALLS, list_gaps
from brimcast.scene.setplan import (
    BULK,
    FOCUS,
    HEAT,
    LIMITS,
    STANDS,
    describe_plan,
)

from .answer import Answer, Lacking, entry, tell
from .focus import scan_heights
from .heat import plain_heat
from .study import Study

# Pain on bare skin after about a minute (API 521: 1.74 kW/m2), and piloted ignition of wood and paper after
# minutes (fire engineering handbooks give critical heat fluxes of 10 to 13 kW/m2). Both from memory.
PAIN_KW_M2, SCORCH_KW_M2 = 1.7, 10.0
WARNINGS = {
    "scorch": "can scorch or light paper, straw, cloth or wood: keep all of that out of the focus, and cover "
    "the glass between plates",
    "hot": "hurts bare skin within about a minute, and may mark what is thin or dark",
    "low": "below what hurts bare skin within a minute",
}


def answer_scorch(study: Study) -> Answer:
    """Answer whether the focus of a lamp could scorch."""
    found = scan_heights(study)
    told, heats = {}, []
    for lamp in study.built.lamps:
        focus = max((foci[lamp.name] for foci in found.values()), key=lambda focus: focus.upper)
        plain = plain_heat(lamp, focus.reference_mm, study.brief.watts.get(lamp.name))
        heat = None if plain is None else plain * focus.upper
        heats += [] if heat is None else [heat]
        told[lamp.name] = {
            "concentration": entry(focus.concentration, None, "times"),
            "upper_concentration": entry(focus.upper, None, "times"),
            "on_table": entry(found[0.0][lamp.name].concentration, None, "times"),
            "height_mm": entry(focus.height_mm, None, "mm"),
            "place_mm": entry(list(focus.place_mm), None, "mm"),
            "plain_kw_m2": entry(plain, None, "kW/m2"),
            "upper_kw_m2": entry(heat, None, "kW/m2"),
        }
    total = sum(heats) if heats else None
    lacking = [name for name, one in told.items() if one["upper_kw_m2"]["value"] is None]
    values = {
        "upper_kw_m2": entry(total, None, "kW/m2"),
        "warning": None if total is None else warn(total),
        "lamps": told,
        "without_watts": lacking,
    }
    return Answer(tuple(_say_scorch(values)), values, (FOCUS, HEAT, LIMITS))


def warn(heat_kw_m2: float) -> str:
    """Return the word for a heat: `low`, `hot` or `scorch`."""
    if heat_kw_m2 >= SCORCH_KW_M2:
        return "scorch"
    return "hot" if heat_kw_m2 >= PAIN_KW_M2 else "low"


def _say_scorch(values: dict) -> list[str]:
    total, lines = values["upper_kw_m2"]["value"], []
    if total is not None:
        lines.append(f"On the safe side up to {total:.3g} kW/m2 at the focus: {WARNINGS[values['warning']]}")
    else:
        lines.append("How hot it gets cannot be told: no lamp's electrical power is known")
    for name, told in values["lamps"].items():
        x, y = told["place_mm"]["value"]
        where = f"x {x:.0f}, y {y:.0f} mm, {tell(told['height_mm'], 0)} over the table"
        line = f"{name}: {told['concentration']['value']:.3g} times its plain light at {where}"
        line += f"; on the safe side {told['upper_concentration']['value']:.3g} times"
        if told["upper_kw_m2"]["value"] is not None:
            line += f" of {told['plain_kw_m2']['value']:.2g} kW/m2"
        lines.append(f"{line}; on the table itself {told['on_table']['value']:.3g} times")
    for name in values["without_watts"]:
        key = f"brief.watts.{name}"
        lines.append(f"{name}: give {key}, its electrical power; of a flash, its modelling lamp's")
    return lines


def answer_room(study: Study) -> Answer:
    """Answer whether the set fits its room."""
    if study.set_file.room is None:
        raise Lacking("a room", "room.ceiling=2.6 m")
    built = study.built
    plan = describe_plan(built)
    whats = {"ceiling", "floor", "wall", "things through each other", "stand through table"}
    checks = [check for check in plan["checks"] if check["what"] in whats or check["what"].endswith("long")]
    fits = not any(check["state"] == CLASH for check in checks)
    near = [check["text"] for check in checks if check["state"] in (CLASH, CLOSE)]
    gap = _least_gap(built)
    values = {
        "fits": fits,
        "ceiling_mm": _least(checks, "ceiling"),
        "walls_mm": {
            wall: _least([check for check in checks if check["things"][-1] == wall], "wall")
            for wall in plan["room"]["walls_mm"]
        },
        "between_mm": entry(None if gap is None else gap[0], None, "mm"),
        "too_near": near,
    }
    lines = [_say_fit(values), *near]
    if gap is not None:
        lines.append(f"Least room between two things on stands: {gap[0]:.0f} mm, {gap[1]} and {gap[2]}")
    if plan["room"]["ceiling_over_table_mm"] is None:
        lines.append("No ceiling in the set's room, so it is not checked; give room.ceiling")
    if not plan["room"]["walls_mm"]:
        lines.append("No walls in the set's room, so they are not checked; give room.walls")
    clear = sum(check["state"] == CLEAR for check in checks)
    lines.append(f"{clear} clearances are kept")
    return Answer(tuple(lines), values, (STANDS, BULK, LIMITS))


def _least(checks: list[dict], what: str) -> dict:
    """Return the least clearance of a kind, mm; below 0 it lacks so much."""
    left = [check["clearance_mm"] for check in checks if check["what"] == what]
    return entry(min(left, default=None), None, "mm")


def _least_gap(built: BuiltSet) -> tuple[float, str, str] | None:
    """Return the least gap between two things on stands, mm, and which; below 0 they cut."""
    still = {"glass", "prop", "plate", "table", "backdrop"}
    gaps = [
        (gap, one.words, other.words)
        for gap, one, other in list_gaps(built)
        if not still & {one.part, other.part}
    ]
    return min(gaps, default=None)


def _say_fit(values: dict) -> str:
    rooms = [("ceiling", values["ceiling_mm"]), *values["walls_mm"].items()]
    told = [f"{WALLS.get(name, name)} {tell(one, 0)}" for name, one in rooms if one["value"] is not None]
    start = "It fits" if values["fits"] else "It does not fit"
    return f"{start}; least clearance: {', '.join(told)}" if told else start
