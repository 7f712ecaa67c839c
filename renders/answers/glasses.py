"""What the glass and what is in it do to the caustic: questions 4, 5, 12, 14, 24 and 25."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from brimcast.scene.cold import read_dew
from brimcast.scene.colourless import list_coloured, take_colour
from brimcast.scene.emptied import empty_glasses
from brimcast.scene.frame import project
from brimcast.scene.models_things import LibraryVessel
from brimcast.scene.models_vessels import OutlineVessel
from brimcast.scene.pieces import choose_vessel
from brimcast.scene.setfile import SetFile, written
from brimcast.shared.errors import PersonError
from brimcast.vessels.dew import typical_mm
from brimcast.vessels.shapes import SHAPES

from .answer import Answer, Lacking, entry, tell, with_unit
from .colours import compare_colour
from .contest import CONTEST, find_winner, hold_contest, tell_contest
from .pairs import compare, find_bands, find_made, share_of, tell_bands, tell_changes
from .pattern import KIND_WORDS
from .study import Frame, Study
from .throws import average, list_left, spread, tell_range, throw_ice
from .viewing import pixels_of

EMPTY_CAUTION = (
    "the empty glass's pattern is not the filled one's: light for the drink as served, and use the pattern "
    "of an empty plate only where it is wanted as such"
)
BATCH_CAUTION = "glasses of one batch differ, in wall and base most: set up with the glass that is shot"
WALLS = ("1 mm", "3 mm")
BASE_FACTOR = 1.5
# What is narrower than this share of the widest diameter is a stem, as in `vessels.library`.
_STEM_SHARE = 0.4
EMPTIED = ("a set that can stand with its glasses empty", "")
_TOLD = {"line_width_mm": "mm", "peak_over_table_stops": "stops", "peak_mm": "mm", "tip_mm": "mm"}


def answer_filling(study: Study) -> Answer:
    """Answer what filling the glasses does to the caustic."""
    hero, lamp = study.hero, study.lamp
    if not any(glass.drink or glass.ice for glass in study.set_file.glasses.values()):
        raise Lacking("a filled glass", f"glasses.{hero}.drink={{liquid: water}}")
    filled = study.frame()
    empty = _try(study, *EMPTIED, set_file=empty_glasses(study.set_file))
    kind = filled.brighter(lamp)
    found = compare(empty, filled, lamp, kind)
    both = {"empty": _measures(empty, lamp, kind), "filled": _measures(filled, lamp, kind)}
    lines = [f"Filled instead of empty, {KIND_WORDS[kind]}: {tell_changes(found)}"]
    lines += [f"{word.capitalize()}: {_tell_measures(values)}" for word, values in both.items()]
    made, lost = (find_made(*pair, lamp, kind) for pair in ((empty, filled), (filled, empty)))
    for words, place in (("Brightest that filling makes", made), ("Brightest that it takes away", lost)):
        if place["stops"]["value"] is not None:
            lines.append(f"{words}: {tell(place['stops'], 1, '+')}, at {_tell_place(place['place_mm'])}")
    values = {"kind": kind, **found, **both, "made": made, "lost": lost}
    return Answer(tuple(lines), values, (EMPTY_CAUTION,))


def answer_rival(study: Study) -> Answer:
    """Answer which of two glasses in the hero's place wins, by each measure and by all."""
    hero, lamp, model = study.hero, study.lamp, study.brief.rival
    if model is None:
        raise Lacking("a rival glass", "brief.rival=coupe")
    frames = {"hero": study.frame()}
    change = {f"glasses.{hero}.vessel": written(study.set_file, "brief.rival")}
    frames["rival"] = _try(study, "a rival glass that takes what is in the hero", "brief.rival=coupe", change)
    names = {"hero": _name(hero, study.set_file.glasses[hero].vessel), "rival": _name("the rival", model)}
    values: dict[str, object] = {}
    for side, frame in frames.items():
        kind = frame.brighter(lamp)
        found = frame.caustic(lamp, kind)
        numbers = {measure: with_unit(found[measure], unit) for measure, (_, unit, _) in CONTEST.items()}
        values[side] = {"vessel": names[side], "kind": kind, **numbers}
    rankings = hold_contest({side: values[side] for side in frames})
    values["ranking"] = {
        measure: {"first": ranking.first, "chance": entry(_percent(ranking.chance), None, "%")}
        for measure, ranking in rankings.items()
    }
    values["wins"], values["wins_by"] = find_winner(values, rankings, _asked_width(study))
    first = "Neither wins by all three measures"
    if values["wins_by"] == "all":
        first = f"By all three measures wins {names[values['wins']]}"
    elif values["wins_by"] == "brief.line_width":
        width = f"{study.brief.line_width_mm:g} mm"
        first = f"By the brief wins {names[values['wins']]}, which alone keeps the line within {width}"
    lines = [tell_contest(measure, values, names, ranking) for measure, ranking in rankings.items()]
    kinds = {side: values[side]["kind"] for side in frames}
    if kinds["hero"] != kinds["rival"]:
        lines += [f"Of {names[side]} it is the light {KIND_WORDS[kind]}" for side, kind in kinds.items()]
    return Answer((first, *lines), values, (BATCH_CAUTION,))


def answer_wall(study: Study) -> Answer:
    """Answer what a wall of 1 to 3 mm, and a base half as thick again, change."""
    hero, lamp = study.hero, study.lamp
    has_wall, base_mm = _read_measures(study)
    if not has_wall:
        raise Lacking("a hero glass whose wall the set gives by measures", f"glasses.{hero}.vessel=highball")
    as_set, troubles = study.frame(), []
    kind = as_set.brighter(lamp)

    def remake(measure: str, value: str) -> list[tuple[str, Frame]]:
        try:
            return [(value, study.frame({f"glasses.{hero}.vessel.{measure}": value}))]
        except PersonError as error:
            troubles.append(f"A {measure} of {value} cannot be made: {error.faults[0].text}")
            return []

    walls = [*remake("wall", WALLS[0]), ("as set", as_set), *remake("wall", WALLS[1])]
    bases = remake("base", f"{BASE_FACTOR * base_mm:.4g} mm") if base_mm else []
    if len(walls) == 1 and not bases:
        raise Lacking("a glass that can be made with another wall: " + "; ".join(troubles), "")
    values: dict[str, object] = {"kind": kind}
    lines = []
    if len(walls) > 1:
        (thin, one), (thick, other) = walls[0], walls[-1]
        values["wall"] = {"from": thin, "to": thick, **compare(one, other, lamp, kind)}
        lines.append(f"Wall {thick} instead of {thin}: {tell_changes(values['wall'])}")
    for thick, frame in bases:
        values["base"] = {"from": f"{base_mm:.4g} mm", "to": thick, **compare(as_set, frame, lamp, kind)}
        lines.append(f"Base {thick} instead of {base_mm:.4g} mm: {tell_changes(values['base'])}")
    values["band"] = find_bands([frame for _, frame in [*walls, *bases]], lamp, kind)
    lines.append(f"Over all of these: {tell_bands(values['band'])}")
    return Answer((*lines, *troubles), values, (BATCH_CAUTION,))


def answer_tint(study: Study) -> Answer:
    """Answer how colour in glass and drink shows in the caustic, and what light it costs."""
    names, lamp = list(study.set_file.glasses) or list(study.set_file.props), study.lamp
    if not names:
        raise Lacking("a glass")
    coloured = list_coloured(study.built, names)
    if not coloured:
        give = f"glasses.{names[0]}.drink.liquid={{beer: 25 EBC}}" if study.set_file.glasses else ""
        raise Lacking("a coloured glass or drink", give)
    tinted = study.frame()
    clear = study.frame(built=take_colour(tinted.built, names))
    kind = clear.brighter(lamp)
    found = compare_colour(clear, tinted, lamp, kind)
    lines = []
    for part, words in (("pattern", "Over the whole pattern"), ("brightest", "Where it is brightest")):
        colour, loss = found[f"{part}_de00"], found[f"{part}_loss_stops"]
        if loss["value"] is None:
            lines.append(f"{words} no light is left")
        else:
            lines.append(f"{words} the light is {tell(colour)} off the lamp's own; it lost {tell(loss, 2)}")
    whole, spot = (found[f"{part}_loss_stops"]["value"] for part in ("pattern", "brightest"))
    if None not in (whole, spot) and spot < whole / 4:
        lines.append("Where it is brightest, light comes mostly by ways that miss what is coloured")
    return Answer(tuple(lines), {"kind": kind, "coloured": coloured, **found})


def answer_ice(study: Study) -> Answer:
    """Answer what ice leaves of the caustic, over several throws of it."""
    hero, lamp, glasses = study.hero, study.lamp, study.set_file.glasses
    iced = {name: glass.ice for name, glass in glasses.items() if glass.ice}
    if not iced:
        raise Lacking("ice in a glass", f"glasses.{hero}.ice=[{{shape: cube, count: 3}}]")
    throws, troubles = throw_ice(study, iced)
    without = {f"glasses.{name}.ice": [] for name in iced}
    clear = _try(study, "a set that can stand without its ice", "", without)
    kind = clear.brighter(lamp)
    each = [list_left(clear, frame, lamp, kind) for frame in throws]
    if any(glasses[name].drink for name in iced):
        bare = _try(study, *EMPTIED, set_file=empty_glasses(study.set_file))
        drinks = find_made(bare, clear, lamp, kind)["stops"]
        for one, frame in zip(each, throws, strict=True):
            one["drink_contrast_left"] = share_of(drinks, find_made(bare, frame, lamp, kind)["stops"])
    values = {name: average([one[name] for one in each]) for name in each[0]}
    between = {name: spread([one[name] for one in each]) for name in each[0]}
    lines = [f"Ice leaves {_tell_share(each, values, 'contrast_left')} of the contrast"]
    if "drink_contrast_left" in values:
        share = _tell_share(each, values, "drink_contrast_left")
        lines.append(f"Of the brightest that the drink makes it leaves {share}")
    lines += [
        f"Where the pattern was, {tell(values['light_left'], 0)} of its light is left",
        f"Spread of the pattern {tell(values['spread_change_mm'], 1, '+')}, "
        f"line width {tell(values['width_change_mm'], 2, '+')}",
    ]
    return Answer((*lines, *troubles), {"kind": kind, **values, "between_throws": between, "throws": each})


def answer_mist(study: Study) -> Answer:
    """Answer what condensation takes off the caustic, and how it shows in the camera's file."""
    hero, lamp = study.hero, study.lamp
    own, set_file = study.frame(), study.set_file
    misted = [name for name, glass in set_file.glasses.items() if glass.condensation]
    assumed = not misted
    if misted:
        words = "The condensation of the set"
        without = {f"glasses.{name}.condensation": None for name in misted}
        clear, mist = _try(study, "a set that can stand dry", "", without), own
    else:
        change = {f"glasses.{hero}.condensation": "mist"}
        words, clear, misted = "A light mist", own, [hero]
        give = f"glasses.{hero}.condensation={{look: mist, count: 2000}}"
        mist = _try(study, "condensation that fits the glass", give, change)
        set_file = study.vary(change)
    kind = clear.brighter(lamp)
    values = {"kind": kind, "assumed": assumed, **list_left(clear, mist, lamp, kind)}
    name = hero if hero in misted else misted[0]
    drop_mm = typical_mm(read_dew(set_file.glasses[name].condensation))
    values["drop_mm"] = entry(drop_mm, 0.0, "mm")
    lines = [
        f"{words} leaves {tell(values['contrast_left'], 0)} of the contrast, and "
        f"{tell(values['light_left'], 0)} of the light where the pattern was",
        f"Line width {tell(values['width_change_mm'], 2, '+')}, a typical drop is {drop_mm:.2f} mm across",
    ]
    if camera := study.built.camera:
        pixels = pixels_of(study)
        foot = next(foot for foot in study.built.feet if foot.name == name)
        peak = clear.caustic(lamp, kind)["peak_mm"]["value"]
        # Pixels for a millimetre square on to the line of sight.
        on_glass, on_table = (
            camera.image_mm / project(camera, place)[2] / pixels.pitch_mm
            for place in (_near_side(camera, foot), [*peak, 0.0])
        )
        values["drop_px"] = _scale(values["drop_mm"], on_glass, "pixels")
        values["width_change_px"] = _scale(values["width_change_mm"], on_table, "pixels")
        drop, change = tell(values["drop_px"]), tell(values["width_change_px"], 1, "+")
        lines.append(f"In {pixels.words}: drop {drop}, change of line width {change} at most")
    return Answer(tuple(lines), values)


def _try(
    study: Study,
    what: str,
    give: str,
    changes: Mapping[str, object] | None = None,
    set_file: SetFile | None = None,
) -> Frame:
    """Return a variant computed; what cannot be built is lacking, for the set itself is sound."""
    try:
        return study.frame(changes, set_file=set_file)
    except PersonError as error:
        raise Lacking(f"{what} ({error.faults[0].text})", give) from None


def _measures(frame: Frame, lamp: str, kind: str) -> dict[str, dict]:
    found = frame.caustic(lamp, kind)
    return {measure: with_unit(found[measure], unit) for measure, unit in _TOLD.items()}


def _tell_measures(values: dict[str, dict]) -> str:
    width, peak = values["line_width_mm"], values["peak_over_table_stops"]
    return f"line {tell(width, 2)} wide, peak {tell(peak, 1, '+')} over the plain table"


def _tell_share(each: list[dict], values: dict, name: str) -> str:
    ranges = f" ({tell_range([one[name] for one in each])})" if len(each) > 1 else ""
    return tell(values[name], 0) + ranges


def _tell_place(place: dict) -> str:
    x, y = place["value"]
    return f"x {x:.0f} mm, y {y:.0f} mm"


def _name(what: str, vessel) -> str:
    return f"{what} ({vessel.shape})" if isinstance(vessel, LibraryVessel) else what


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _asked_width(study: Study) -> float | None:
    """Return the line width that the brief asks for, None where that is the default."""
    brief = study.brief
    return brief.line_width_mm if "line_width_mm" in brief.model_fields_set else None


def _read_measures(study: Study) -> tuple[bool, float | None]:
    """Return whether the hero's wall can be changed, and its base, mm, if that can."""
    model = study.set_file.glasses[study.hero].vessel
    if isinstance(model, LibraryVessel):
        allowed = SHAPES[model.shape].allowed
        base_mm = choose_vessel(study.set_file, study.hero).base_mm if "base_mm" in allowed else None
        return "wall_mm" in allowed, base_mm
    if not isinstance(model, OutlineVessel) or model.inside_mm:
        return False, None
    widths = [diameter for _, diameter in model.outline_mm]
    return True, model.base_mm if min(widths) >= _STEM_SHARE * max(widths) else None


def _near_side(camera, foot) -> np.ndarray:
    """Return the place on the camera's side of a glass, at half its height."""
    way = camera.place_mm[:2] - foot.centre_mm
    # A camera right above sees no side nearer than another.
    way = max(foot.foot_radius_mm, foot.rim_radius_mm) * way / max(np.hypot(*way), 1e-6)
    return np.array([*(foot.centre_mm + way), foot.stands_mm + foot.height_mm / 2])


def _scale(number: dict, by: float, unit: str) -> dict:
    scaled = (None if number[key] is None else float(by * number[key]) for key in ("value", "standard_error"))
    return entry(*scaled, unit)
