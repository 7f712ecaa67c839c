"""What the camera sees in and round the glass: questions 10, 16, 17, 18 and 19."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from brimcast.scene.bodies import mirror_faces
from brimcast.scene.built import BuiltSet
from brimcast.scene.frame import azimuth_of
from brimcast.scene.glowcards import HiddenError
from brimcast.scene.hangings import face_of
from brimcast.scene.models_panels import HIDDEN
from brimcast.scene.readings import at_glass

from ..adjust import LUMINANCE, METERED_CARD_LEVEL
from ..balance import tell_exposure
from ..exposures import expose_picture, set_light
from ..sight import Lookout, part_of
from ..sightgrid import cover, whole_frame
from ..stopsmap import BLOCKED_STOPS, measure_stops
from .across import SIDES, look_across
from .answer import Answer, Lacking, entry, tell
from .glowing import Card, GlowView
from .reflected import list_images
from .rims import find_longest, find_rim
from .study import Frame, Study
from .tableseen import measure_line, measure_shadow
from .viewing import camera_of, pixels_of

BLOCKED_LEVEL = METERED_CARD_LEVEL * 2.0**BLOCKED_STOPS
GIVE_FIELD = "lamps.field={kind: panel, size: [800 mm, 800 mm], azimuth: 180 deg, elevation: 5 deg}"
# From one ray to the next over the glass, for reflections.
STEP_MM = 0.25
# From here on a background is no dark field, stops over an 18 % card (common practice).
DARK_FIELD_STOPS = -2.0
# Rays across a pixel of the picture, for the outline of a glass.
ACROSS = 8
# Reflections told; the rest is counted.
MOST_TOLD = 12
TABLE = "table"
LEAST_MM2 = 0.002


def hero_of(study: Study) -> str:
    """Return the name of the hero of a set with a camera: a glass, or a prop where there is none.

    Raises
    ------
    Lacking
    """
    camera_of(study)
    hero = study.set_file.hero
    if hero is None or not part_points(study.built, hero):
        raise Lacking("a glass", "glasses.hero={vessel: highball}")
    return hero


def part_points(built: BuiltSet, hero: str) -> list[np.ndarray]:
    """Return the vertices (n, 3), mm, of the solid that a glass or prop is; none for what is no solid."""
    return [solid.mesh.vertices_mm for solid in built.solids if solid.name == hero]


def _not_framed() -> Lacking:
    return Lacking("the hero in the frame", "camera.aim=hero")


# 10


def answer_clipping(study: Study) -> Answer:
    """Answer whether the brightest line clips and the shadow blocks up, as the camera is set."""
    camera_of(study)
    frame = study.frame(picture=True)
    built, stored = frame.built, frame.stored
    light = set_light(built, stored)
    whole = measure_stops(expose_picture(built, stored, light))
    shares = whole.shares()
    values = {
        "picture_headroom_stops": entry(shares["headroom_stops"], None, "stops"),
        "clipped_share": entry(100 * shares["clipped_share"], None, "%"),
        "blocked_up_share": entry(100 * shares["blocked_up_share"], None, "%"),
        "metered": built.relative,
    }
    lookout = Lookout(built, study.device)
    values |= measure_line(frame, lookout, light) | measure_shadow(lookout, study.lamp, whole.blocked)
    lines = [_clip_words(values), _shadow_words(values, study.lamp)]
    lines.append(f"The whole picture {_headroom_words(values['picture_headroom_stops'])}; "
                 f"{tell(values['clipped_share'])} of it clipped, {tell(values['blocked_up_share'])} "
                 "blocked up")  # fmt: skip
    metered = "No lamp has a reading: exposed as if metered on the plain table"
    lines.append(metered if built.relative else tell_exposure(light.exposed.exposure))
    return Answer(tuple(lines), values)


def _headroom_words(headroom: dict) -> str:
    clips = headroom["value"] < 0
    size = {**headroom, "value": abs(headroom["value"])}
    return f"clips by {tell(size)}" if clips else f"has {tell(size)} of headroom"


def _clip_words(values: dict) -> str:
    line = values["line_headroom_stops"]
    if line["value"] is None:
        return "No focused light on the table is in sight, so no line can clip"
    x, y = values["line_mm"]["value"]
    return f"The brightest line on the table in sight {_headroom_words(line)}, at x {x:.0f}, y {y:.0f} mm"


def _shadow_words(values: dict, lamp: str) -> str:
    share = values["shadow_blocked_share"]
    if share["value"] is None:
        return f"No shadow of a glass under {lamp} is in sight on the table"
    area = tell(values["shadow_cm2"], 0)
    area = area.replace("cm2", "cm²")
    return f"{tell(share, 0)} of the glass's shadow under {lamp} blocks up, of {area} in sight"


# 16


def answer_glow_card(study: Study) -> Answer:
    """Answer how large a card hides behind the hero, how to face it, and how much of the drink it lights."""
    hero = hero_of(study)
    built = study.built
    hidden = {name: card for name, card in study.set_file.cards.items() if card.size_mm == HIDDEN}
    name, model = next(iter(hidden.items()), (None, None))
    bare = replace(built, panels=tuple(panel for panel in built.panels if panel.name != name))
    view = GlowView(bare, study.device, hero, model.behind if model else "glass")
    if not view.drinks:
        raise Lacking("a drink in the hero", f"glasses.{hero}.drink={{liquid: water}}")
    if view.grid is None:
        raise _not_framed()
    if not len(view.through.way):
        raise Lacking("a drink that the camera sees")
    at = np.asarray(model.at_mm, float) if model else view.place_behind()
    if not at[2] > 0:
        what = "a camera that looks less steeply down: behind the drink it sees the table"
        raise Lacking(what, "camera.elevation=12 deg")
    shape, asked = model.shape if model else None, study.brief.lamp
    lamps = [lamp for lamp in built.lamps if asked in (None, lamp.name)]
    lamp, turn = view.find_best(at, lamps, shape)
    if turn is None:
        what = f"a lamp that lights the front of a card hidden at {_place_words(at)}"
        raise Lacking(f"{what}, and {asked} does not" if asked else what, "lamps.glow.azimuth=60 deg")
    try:
        card = view.hide(at, turn.normal, shape)
    except HiddenError as wrong:
        place = f"cards.glow={{size: hidden, at: [{at[0]:.0f} mm, {at[1]:.0f} mm, {at[2]:.0f} mm]}}"
        raise Lacking(f"a place behind the hero where a card hides; this one {wrong}", place) from None
    return _tell_card(study, view, card, lamp, turn.deg, name)


def _tell_card(study: Study, view: GlowView, card: Card, lamp: str, turn_deg: float, name) -> Answer:
    normal = card.normal
    values = {
        "size_mm": entry(list(card.size_mm), 0, "mm"),
        "at_mm": entry([float(each) for each in card.at_mm], 0, "mm"),
        "lamp": lamp,
        "turn_deg": entry(turn_deg, 0, "deg"),
        "facing_azimuth_deg": entry(azimuth_of(normal), 0, "deg"),
        "facing_elevation_deg": entry(float(np.degrees(np.arcsin(normal[2]))), 0, "deg"),
        "drink_lit_share": entry(100 * view.lit_share(card), 0, "%"),
        "card": name,
    }
    wide, tall = card.size_mm
    azimuth, elevation = (tell(values[f"facing_{each}_deg"], 0) for each in ("azimuth", "elevation"))
    where = f"the place of the set's card {name}" if name else "chosen, for the set has no hidden card"
    lines = [
        f"Up to {wide:.0f} x {tall:.0f} mm stays unseen, its middle at {_place_words(card.at_mm)} ({where})",
        f"Face it {turn_deg:.0f} deg from square to the camera toward {lamp}: "
        f"{{azimuth: {azimuth}, elevation: {elevation}}}; it then lights "
        f"{tell(values['drink_lit_share'], 0)} of the drink as seen",
    ]  # fmt: skip
    if study.built.is_cloudy:
        lines.append("A cloudy drink glows beyond that: what lights it is scattered")
    panel = next((panel for panel in study.built.panels if panel.name == name), None)
    if panel is not None:
        now = Card(card.at_mm, panel.normal, panel.size_mm)
        values["as_set_size_mm"] = entry(list(panel.size_mm), 0, "mm")
        values["as_set_lit_share"] = entry(100 * view.lit_share(now), 0, "%")
        size = " x ".join(f"{side:.0f}" for side in panel.size_mm)
        lines.append(f"As set it is {size} mm and lights {tell(values['as_set_lit_share'], 0)} of the drink")
    return Answer(tuple(lines), values)


def _place_words(at_mm) -> str:
    x, y, z = at_mm
    return f"x {x:.0f}, y {y:.0f}, {z:.0f} mm up"


# 17


def answer_dark_edge(study: Study) -> Answer:
    """Answer how wide the dark edge of the hero is before a bright field."""
    hero = hero_of(study)
    across = look_across(Lookout(study.built, study.device), hero)
    if across is None:
        raise _not_framed()
    if not across.field:
        raise Lacking("a bright field: nothing stands behind the hero", GIVE_FIELD)
    runs = {side: across.find_edge(side) for side in SIDES}
    bright, edge = across.compare(_luminance(study.frame(picture=True)), runs)
    if bright <= max(edge, BLOCKED_LEVEL):
        what = "dark" if bright <= BLOCKED_LEVEL else "darker than the glass's edge"
        raise Lacking(f"a bright field: {' and '.join(across.field)} behind the hero is {what}", GIVE_FIELD)
    file = pixels_of(study)
    values, lines = {"field": list(across.field), "file_width_pixels": file.width}, []
    for side, run in runs.items():
        said = "dark from the outline to the middle: the edge cannot be told from the drink"
        mm = pixels = None
        if run is not None:
            mm, pixels = run.length, run.length / across.unit_mm * file.width / 2
            said = f"{mm:.1f} mm, {pixels:.0f} pixels" if mm else "no dark edge"
        values[f"{side}_mm"] = entry(mm, 0, "mm")
        values[f"{side}_pixels"] = entry(pixels, 0, "pixels")
        lines.append(f"Dark edge on the {side}, at half height: {said}")
    lines.append(f"Before {' and '.join(across.field)}; pixels of {file.words}")
    return Answer(tuple(lines), values)


def _luminance(frame: Frame) -> np.ndarray:
    """Return the picture's luminance, (h, w), 1 at saturation, as the set is exposed."""
    picture = expose_picture(frame.built, frame.stored, set_light(frame.built, frame.stored))
    return np.maximum(picture @ LUMINANCE.astype(np.float32), 0)


# 18


def answer_rim_light(study: Study) -> Answer:
    """Answer over how much of its height the hero has an unbroken bright rim, left and right."""
    hero = hero_of(study)
    luminance = _luminance(study.frame(picture=True))
    lines, columns = luminance.shape
    lookout, camera = Lookout(study.built, study.device), study.built.camera
    # Rays through the middle of each row of pixels, several across each pixel.
    grid = whole_frame(camera, lines, columns * ACROSS)
    seen = lookout.look(camera.place_mm, grid.ways())
    own = part_of(seen, lookout.is_part(hero)).reshape(grid.shape)
    rows = np.flatnonzero(own.any(axis=1))
    if not len(rows):
        raise _not_framed()
    outline = {"left": np.argmax(own, axis=1), "right": own.shape[1] - 1 - np.argmax(own[:, ::-1], axis=1)}
    height = seen.place_mm[:, 2].reshape(grid.shape) - part_points(study.built, hero)[0][:, 2].min()
    width = (outline["right"] + 1 - outline["left"]) / ACROSS
    values, told, behind = {}, [], []
    for side, sign in SIDES.items():
        at = outline[side]
        edge = np.where(own.any(axis=1), (at + (sign > 0)) / ACROSS, np.nan)
        lit, background = find_rim(luminance, edge, width, sign, BLOCKED_LEVEL)
        behind.append(background[rows])
        begin, end = find_longest(lit[rows])
        values[f"{side}_unbroken"] = entry(100 * (end - begin) / len(rows), None, "%")
        values[f"{side}_lit"] = entry(100 * float(lit[rows].mean()), None, "%")
        ends = None
        if end > begin:
            ends = sorted(float(height[line, at[line]]) for line in (rows[begin], rows[end - 1]))
        values[f"{side}_from_to_mm"] = entry(ends, None, "mm")
        told.append(_rim_words(values, side))
    if np.isnan(behind).all():
        raise Lacking("the background beside the hero in the frame", "camera.aim=hero")
    values["background_stops"] = entry(_stops_over_card(np.nanmedian(behind)), None, "stops")
    if values["background_stops"]["value"] > DARK_FIELD_STOPS:
        told.append(f"The background lies {tell(values['background_stops'], 1, '+')} over an 18 % card: "
                    "that is no dark field")  # fmt: skip
    return Answer(tuple(told), values)


def _stops_over_card(level: float) -> float:
    """Return a level in stops over an 18 % card as metered, from the level on that counts as blocked up."""
    return float(np.log2(max(level, BLOCKED_LEVEL) / METERED_CARD_LEVEL))


def _rim_words(values: dict, side: str) -> str:
    unbroken, lit = values[f"{side}_unbroken"], values[f"{side}_lit"]
    if not unbroken["value"]:
        return f"{side.capitalize()}: no rim light"
    low, high = values[f"{side}_from_to_mm"]["value"]
    said = f"{side.capitalize()}: unbroken over {tell(unbroken, 0)} of the height"
    said += f", from {low:.0f} to {high:.0f} mm"
    return said if lit["value"] - unbroken["value"] < 1 else f"{said}; {tell(lit, 0)} with all pieces"


# 19


def answer_reflections(study: Study) -> Answer:
    """Answer what the front of the hero mirrors into the camera, and where on it."""
    hero = hero_of(study)
    built, camera = study.built, study.built.camera
    (points,) = part_points(built, hero)
    grid = cover(camera, points, STEP_MM)
    if grid is None:
        raise _not_framed()
    lookout = Lookout(built, study.device)
    axis, foot_mm = at_glass(built).place_mm, points[:, 2].min()
    found = []
    for image in list_images(lookout, grid, hero):
        name, kind = name_thing(study, lookout.names[image.thing])
        if name not in (hero, TABLE) and image.area_mm2 >= LEAST_MM2:
            found.append(
                {
                    "thing": name,
                    "kind": kind,
                    "height_mm": entry(float(image.place_mm[2] - foot_mm), 0, "mm"),
                    "right_mm": entry(float((image.place_mm - axis) @ camera.right), 0, "mm"),
                    "area_mm2": entry(image.area_mm2, 0, "mm2"),
                    "thrown_back": entry(100 * image.reflectance, 0, "%"),
                }
            )
    # Lamps first, then the largest.
    found.sort(key=lambda each: (each["kind"] != "lamp", -each["area_mm2"]["value"]))
    values = {"reflections": found[:MOST_TOLD], "count": len(found)}
    lines = [_image_words(each) for each in found[:MOST_TOLD]]
    if len(found) > MOST_TOLD:
        lines.append(f"and {len(found) - MOST_TOLD} more")
    if not lines:
        lines = ["No lamp and nothing that hangs is mirrored in the front of the hero"]
    return Answer(tuple(lines), values)


def name_thing(study: Study, body: str) -> tuple[str, str]:
    """Return the set's own name of what a body or lamp belongs to, and what that is."""
    built = study.built
    if body in mirror_faces(built):
        body = next(name for name in built.sheets if face_of(name) == body)
    if body in built.sheets:
        return body, built.sheets[body]
    # Drinks, ice and labels are called after their glass, barn doors after their lamp.
    name = built.parts.get(body, body).split(" ")[0]
    if name in study.set_file.lamps:
        return name, "lamp" if name == body else "doors"
    return name, "glass" if name in study.set_file.glasses else "prop"


def _image_words(each: dict) -> str:
    right = each["right_mm"]["value"]
    beside = f"{abs(right):.0f} mm {'right' if right > 0 else 'left'} of the axis"
    side = "on the axis" if abs(right) < 0.5 else beside
    up, area = each["height_mm"]["value"], each["area_mm2"]["value"]
    area = f"{area:.0f}" if area >= 10 else f"{area:.2g}"
    name = each["thing"] if each["kind"] in each["thing"] else f"{each['kind']} {each['thing']}"
    return f"{name[0].upper()}{name[1:]}: {up:.0f} mm up, {side}, {area} mm² as seen"
