"""The hero's shadow, and flags that keep light off the table: questions 9 and 11."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from brimcast.scene.bodies import is_far, over_table, word_of
from brimcast.scene.builder import NEAR_MM, build
from brimcast.scene.built import BuiltSet
from brimcast.scene.clashes import CLASH, NOTE, check_set
from brimcast.scene.lamps import Lamp
from brimcast.scene.models_panels import Flag
from brimcast.scene.readings import Point, at_glass, read_lamp
from brimcast.scene.setfile import faults_at
from brimcast.scene.setplan import LIMITS, STANDS
from brimcast.shared.errors import PersonError

from ..engine import start
from .answer import Answer, Lacking, entry, tell
from .edges import Caster, Edge, away_from, cast_points
from .openings import Opening, Screen, cut_opening, light_patch, tell_inside
from .straight import estimate_width, measure_width, see_light, strip_set
from .study import Study

# Places across an edge, over so many of its estimated widths to either side.
PLACES = 201
REACH = 2.0
EDGES = ("foot", "rim_side", "rim_end")
# A flag stands at this share of the throw where the brief does not say.
USUAL_SHARE = 0.4
# Darker than this share of the light that it had, a place of the table is cleared.
CLEARED = 0.02
# Places of the table that are looked at, points of the lamp from each, and how far beyond the soft edge.
TABLE_PLACES, TABLE_POINTS, BEYOND_MM = 3000, 1024, 2.0
SOFT_PLACES = 401


def answer_edges(study: Study) -> Answer:
    """Answer how wide the edges of the hero's shadow are on the table."""
    hero, built, lamp = study.hero, study.built, _lamp_of(study)
    foot, hero = built.feet[0], next(solid for solid in built.solids if solid.name == hero)
    top = hero.mesh.vertices_mm[:, 2].max()
    if lamp.centre_mm[2] <= top + 1:
        raise Lacking(
            f"a lamp higher than the rim, and {lamp.name} throws the rim's shadow off without end",
            f"lamps.{lamp.name}.elevation=35 deg",
        )
    start(study.device)
    caster = Caster(hero, lamp)
    middle = np.array([*foot.centre_mm, foot.stands_mm])
    along = away_from(lamp, middle)
    across = np.array([-along[1], along[0], 0.0])
    leaves = middle + foot.foot_radius_mm * along
    rim = cast_points(lamp, np.array([[*foot.centre_mm, top]]), 0.0)[0]
    lines = {
        "foot": [(leaves, side * across) for side in (1, -1)],
        "rim_side": [(rim, side * across) for side in (1, -1)],
        "rim_end": [(rim, along)],
    }
    without = strip_set(study, built)
    with_hero = strip_set(study, built, (hero,))
    values = {}
    for name in EDGES:
        edges = [edge for line in lines[name] if (edge := caster.find_edge(*line))]
        told = [_measure(study, lamp, with_hero, without, edge) for edge in edges]
        # Of two sides the softer one counts.
        told = [one for one in told if one["full_mm"]["value"] is not None] or told
        values[name] = max(told, key=lambda one: one["full_mm"]["value"] or 0.0) if told else None
    return Answer(tuple(_say_edges(values, lamp, built.panels[0].size_mm)), values)


def _measure(study: Study, lamp: Lamp, with_hero, without, edge: Edge) -> dict:
    estimate = estimate_width(lamp, edge.place_mm, edge.along, edge.gap_mm)
    across = np.linspace(-1, 1, PLACES) * (REACH * estimate + 0.01)
    places = edge.place_mm - across[:, None] * edge.outward
    bare = see_light(study, without, places)
    share = see_light(study, with_hero, places) / np.where(bare > 0, bare, 1.0)
    full, rise = measure_width(across, share) if (bare > 0).all() else (None, None)
    toward = lamp.centre_mm - edge.place_mm
    height = edge.place_mm[2] + edge.gap_mm * toward[2] / np.linalg.norm(toward)
    return {
        "full_mm": entry(full, None, "mm"),
        "from_90_to_10_mm": entry(rise, None, "mm"),
        "estimate_mm": entry(estimate, 0.0, "mm"),
        "place_mm": entry([float(value) for value in edge.place_mm[:2]], 0.0, "mm"),
        "cast_from_mm": entry(float(height), 0.0, "mm"),
    }


def _say_edges(values: dict, lamp: Lamp, table_mm) -> list[str]:
    words = {
        "foot": "where it comes out behind the foot",
        "rim_side": "beside the rim's shadow",
        "rim_end": "at the far end of the rim's shadow",
    }
    seen = {name: told for name, told in values.items() if told and told["full_mm"]["value"] is not None}
    if not seen:
        return [f"{lamp.name} is so large that the glass throws no full shade on the table"]
    lines = ["Shadow's edge: " + ", ".join(f"{tell(seen[n]['full_mm'])} {words[n]}" for n in seen)]
    rises, rule = (", ".join(tell(seen[n][key]) for n in seen) for key in ("from_90_to_10_mm", "estimate_mm"))
    lines.append(f"In this order, from 90 to 10 % of the light: {rises}")
    lines.append(f"By the rule, lamp size x distance edge to shadow / distance lamp to edge: {rule}")
    for name in EDGES:
        if name not in seen:
            why = "what casts it is thinner than the lamp's blur, or other shade lies over it"
            lines.append(f"No clean edge {words[name]}: {why}")
        elif np.any(np.abs(seen[name]["place_mm"]["value"]) > np.asarray(table_mm) / 2):
            lines.append(f"The shadow runs off the table {words[name]}")
    return [*lines, "Straight light alone: what glass and drink let through lies on top of it"]


def answer_flag(study: Study) -> Answer:
    """Answer which flags clear the table of a lamp's light and keep the hero lit."""
    hero, built = study.hero, study.built
    lamp = _lamp_of(study)
    if word_of(lamp) == "sky":
        raise Lacking("a lamp that a flag can shade; a sky shines from all sides", "brief.lamp=NAME")
    glass = at_glass(built)
    usual = USUAL_SHARE * (NEAR_MM if is_far(lamp) else lamp.throw_mm)
    distance = study.brief.flag_distance_mm or usual
    screen = Screen.across(lamp, glass.place_mm, distance)
    try:
        opening = cut_opening(built, lamp, hero, screen)
    except ValueError as wrong:
        text = f"{distance:.0f} mm is no place for a flag: {wrong}"
        raise PersonError(faults_at(study.set_file, "brief.flag_distance", text)) from None
    if read_lamp(built, lamp, glass) <= 0:
        raise Lacking(f"light of {lamp.name} on the hero, and what hangs keeps all of it off")
    flags = {f"{lamp.name}-{name}": model for name, model in opening.list_flags().items()}
    hung = {name: Flag.model_validate(model) for name, model in flags.items()}
    variant = study.set_file.model_copy(update={"flags": {**study.set_file.flags, **hung}})
    flagged = build(variant, detail=0.5)
    values = {
        "distance_mm": entry(distance, 0.0, "mm"),
        **_describe_opening(opening, glass.place_mm, built),
        "flags": flags,
        **_measure_soft_edges(study, lamp, flagged, opening),
        **_measure_kept(built, flagged, lamp),
        **_measure_table(study, flagged, opening, lamp),
    }
    lines = [*_say_flags(values, lamp), *_say_clashes(flagged, set(flags), lamp.name)]
    return Answer(tuple(lines), values, (STANDS, LIMITS))


def _lamp_of(study: Study) -> Lamp:
    return next(lamp for lamp in study.built.lamps if lamp.name == study.lamp)


def _describe_opening(opening: Opening, hero_mm: np.ndarray, built: BuiltSet) -> dict:
    corners = opening.corners_mm
    middle = corners.mean(axis=0)
    floor = float(np.hypot(*(middle - hero_mm)[:2]))
    return {
        "window_mm": entry(list(opening.size_mm), 0.0, "mm"),
        "middle_mm": entry([float(value) for value in middle], 0.0, "mm"),
        "along_floor_mm": entry(floor, 0.0, "mm"),
        "lower_edge_mm": entry(float(corners[:, 2].min()), 0.0, "mm"),
        "upper_edge_mm": entry(float(corners[:, 2].max()), 0.0, "mm"),
        "facing": opening.screen.facing,
        "outline_mm": entry([[float(x), float(y)] for x, y in opening.outline_mm], 0.0, "mm"),
        "over_table": over_table(built, middle),
    }


def _measure_soft_edges(study: Study, lamp: Lamp, flagged: BuiltSet, opening: Opening) -> dict:
    """Measure how softly the table goes dark, from the foot to the sides and toward the lamp."""
    foot = flagged.feet[0]
    middle = np.array([*foot.centre_mm, 0.0])
    along = away_from(lamp, middle)
    across = np.array([-along[1], along[0], 0.0])
    stripped = strip_set(study, study.built), strip_set(study, flagged)
    patch, screen = light_patch(opening, lamp), opening.screen
    found = {}
    for name, ways, edge in (
        ("beside", (across, -across), screen.up), ("before", (-along,), screen.right),
    ):  # fmt: skip
        told = []
        for way in ways:
            steps = np.linspace(0, ((patch - middle[:2]) @ way[:2]).max() + BEYOND_MM, SOFT_PLACES)
            places = middle + steps[:, None] * way
            bare, left = (see_light(study, each, places) for each in stripped)
            share = left / np.where(bare > 0, bare, 1.0)
            full, _ = measure_width(steps, share) if (bare > 0).all() else (None, None)
            if full is not None:
                half = middle + np.interp(-0.5, -share, steps) * way
                told.append((full, _estimate_soft(lamp, screen, half, edge)))
        full, rule = max(told) if told else (None, None)
        found[f"soft_edge_{name}_mm"] = entry(full, None, "mm")
        found[f"soft_edge_{name}_estimate_mm"] = entry(rule, 0.0, "mm")
    return found


def _estimate_soft(lamp: Lamp, screen: Screen, place_mm: np.ndarray, edge: np.ndarray) -> float:
    """Return the rule's width of the shadow of a flag's edge, which runs along `edge`, at a place."""
    way = lamp.centre_mm - place_mm
    way = way / np.linalg.norm(way)
    gap = float((screen.middle_mm - place_mm) @ screen.normal / (way @ screen.normal))
    x, y, _ = np.cross(edge, way)
    return estimate_width(lamp, place_mm, np.array([y, -x, 0.0]) / np.hypot(x, y), gap)


def _measure_kept(built: BuiltSet, flagged: BuiltSet, lamp: Lamp) -> dict:
    """Tell what the meter keeps at the hero, and the least of what it keeps from foot to rim."""
    glass, foot = at_glass(built), built.feet[0]
    heights = foot.stands_mm + np.linspace(0.01, 0.99, 5) * foot.height_mm
    points = [glass, *(Point("", np.array([*foot.centre_mm, z]), None, "") for z in heights)]
    bare, left = ([read_lamp(each, lamp, point) for point in points] for each in (built, flagged))
    kept = [b / a for a, b in zip(bare, left, strict=True) if a > 0]
    return {"kept_share": entry(float(kept[0])), "least_kept_share": entry(float(min(kept)))}


def _measure_table(study: Study, flagged: BuiltSet, opening: Opening, lamp: Lamp) -> dict:
    """Tell how much of the table beyond the flags is cleared, and what is not."""
    width, depth = flagged.panels[0].size_mm
    step = float(np.sqrt(width * depth / TABLE_PLACES))
    x, y = (np.arange(-side / 2 + step / 2, side / 2, step) for side in (width, depth))
    places = np.stack([*np.meshgrid(x, y), np.zeros((len(y), len(x)))], axis=-1).reshape(-1, 3)
    bare, left = (
        see_light(study, strip_set(study, each), places, TABLE_POINTS) for each in (study.built, flagged)
    )
    share = left / np.where(bare > 0, bare, np.inf)
    # What lies on the lamp's side of the flags stays as it was.
    beyond = opening.screen.measure_depth(places) > 0
    outside = beyond & ~tell_inside(light_patch(opening, lamp), places[:, :2], BEYOND_MM)
    lit = places[beyond & (share >= CLEARED)]
    box = np.stack([lit.min(axis=0), lit.max(axis=0)], axis=1)[:2].ravel() if len(lit) else None
    return {
        "cleared_share": entry(float(np.mean(share[beyond] < CLEARED)), None),
        "not_shaded_share": entry(float(np.mean(~beyond)), None),
        "spill_share": entry(float(share[outside].max(initial=0.0)), None),
        "lit_box_mm": entry(None if box is None else [float(value) for value in box], None, "mm"),
    }


def _say_flags(values: dict, lamp: Lamp) -> Iterator[str]:
    wide, high = values["window_mm"]["value"]
    x, y, z = values["middle_mm"]["value"]
    yield (
        f"A window of {wide:.0f} x {high:.0f} mm in black, square to {lamp.name}'s beam "
        f"{tell(values['distance_mm'], 0)} from the glass, lights the glass and leaves the table dark"
    )
    yield (
        f"Its middle {abs(x):.0f} mm {'right' if x >= 0 else 'left'}, {abs(y):.0f} mm "
        f"{'behind' if y >= 0 else 'toward the camera'} of the datum, {z:.0f} mm over the table; "
        f"{tell(values['along_floor_mm'], 0)} along the floor from the glass"
    )
    low, top = (tell(values[key], 0) for key in ("lower_edge_mm", "upper_edge_mm"))
    yield f"Its lower edge {low} over the table, its upper edge {top}, leaning square to the beam"
    for name, flag in values["flags"].items():
        size = " x ".join(side.removesuffix(" mm") for side in flag["size"])
        place = ", ".join(f"{float(side.removesuffix(' mm')):.0f}" for side in flag["at"])
        yield f"Flag {name}: {size} mm, middle at x, y, z {place} mm"
    if values["over_table"]:
        yield "It hangs over the table: hold it by an arm or a boom"
    soft = [values[f"soft_edge_{side}_mm"] for side in ("beside", "before")]
    beside, before = (tell(one, 0) if one["value"] is not None else "no clear width" for one in soft)
    yield f"The table goes dark over {beside} beside the foot, over {before} toward the lamp"
    kept, cleared, spill = (values[key]["value"] for key in ("kept_share", "cleared_share", "spill_share"))
    yield f"The meter at the glass keeps {kept:.0%} of {lamp.name}; from foot to rim at least " + (
        f"{values['least_kept_share']['value']:.0%}"
    )
    if (box := values["lit_box_mm"]["value"]) is not None:
        yield (
            f"{cleared:.0%} of the table beyond the flags is cleared; lit stays x {box[0]:.0f} to "
            f"{box[1]:.0f}, y {box[2]:.0f} to {box[3]:.0f} mm: glass, its shadow and the soft edge"
        )
    yield f"Outside the soft edge at most {spill:.1%} of the light is left"
    if values["not_shaded_share"]["value"] >= 0.005:
        yield f"{values['not_shaded_share']['value']:.0%} of the table lies before the flags and stays lit"


def _say_clashes(flagged: BuiltSet, flags: set[str], lamp: str) -> Iterator[str]:
    """Tell where the flags are in the way."""
    for check in check_set(flagged):
        things = set(check.things)
        shaded = check.what == "light kept off the hero" and things != {lamp}
        # They touch one another, and whether one needs an arm is told already.
        told = len(things) > 1 and things <= flags or check.what == "stand through table"
        if check.state in (CLASH, NOTE) and not told and (flags & things or shaded):
            yield f"Mind: {check.text}"
