"""What is in the way on a set: in frame, through the table, under the ceiling, through one another."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from .bodies import (
    LEGS_MM,
    Body,
    goes_through_table,
    is_far,
    list_bodies,
    list_stands,
    room_of,
)
from .built import BuiltSet
from .frame import crop_share, project
from .readings import tell_shaded
from .screens import cut_off, list_screens

CLASH, CLOSE, NOTE, CLEAR = "clash", "close", "note", "clear"
# Nearer than this is told of (common practice: what a knock or a slipped clamp moves).
NEAR_FRAME_MM, NEAR_THING_MM, NEAR_ROOM_MM = 50.0, 20.0, 150.0
# What a grip arm reaches, and a boom with its weight (common practice).
ARM_MM, BOOM_MM = 1000.0, 2000.0
WALLS = {
    "behind": "wall behind",
    "left": "wall on the left",
    "right": "wall on the right",
    "front": "wall on the camera's side",
}
HOOD_DEG = 45.0
# Parts of things that are not to be in the frame, and what they are called.
SEEN = {"front": "lamp", "head": "lamp", "pole": "stand", "arm": "stand"}
SEEN |= {kind: kind for kind in ("flag", "card", "foil", "diffuser", "mirror")}
_LOOK_MM = 2000.0  # things farther apart than this are not measured


@dataclass(frozen=True)
class Check:
    """One finding.

    Attributes
    ----------
    what : str
        Such as `lamp in frame`, `stand through table`, `ceiling`, `things through each other`.
    things : tuple of str
    state : {'clash', 'close', 'note', 'clear'}
    clearance_mm : float or None
        Room left; below 0, what lacks.
    text : str
        The finding in a sentence.
    """

    what: str
    things: tuple[str, ...]
    state: str
    clearance_mm: float | None
    text: str


def check_set(built: BuiltSet) -> tuple[Check, ...]:
    """Return the findings about a set, clashes first."""
    bodies = list_bodies(built)
    found = [
        *(_check_frame(built, bodies) if built.camera else ()),
        *_check_stands(built),
        *_check_room(built, bodies),
        *_check_pairs(built, bodies),
        *(_check_flare(built) if built.camera else ()),
        *_check_light(built),
    ]
    return tuple(sorted(found, key=lambda check: (CLASH, CLOSE, NOTE, CLEAR).index(check.state)))


def _state(clearance_mm: float, near_mm: float) -> str:
    return CLASH if clearance_mm < 0 else CLOSE if clearance_mm < near_mm else CLEAR


def _check_frame(built: BuiltSet, bodies: tuple[Body, ...]) -> Iterator[Check]:
    """Find what the camera sees of lamps, stands and panels; hidden parts do not count."""
    camera = built.camera
    crop = np.array(crop_share(camera) or (1.0, 1.0))
    screens = list_screens(built)
    seen_already: set[str] = set()
    parts: dict[tuple[str, str], list[Body]] = {}
    for body in bodies:
        if body.part in SEEN and body.name != "camera":
            parts.setdefault((body.name, body.part), []).append(body)
    for (body, *_), spots in ((same, _spread_all(same)) for same in parts.values()):
        seen = project(camera, spots)
        ahead = seen[:, 2] > camera.focal_mm
        for name, triangles in screens.items():
            if name != body.name:
                ahead &= ~cut_off(camera.place_mm, spots, triangles)
        if not ahead.any():
            continue
        beyond = np.maximum(np.abs(seen[ahead, :2]) - 1, 0) * np.asarray(camera.sensor_mm) / 2
        clearance = float((np.hypot(*beyond.T) * seen[ahead, 2] / camera.image_mm).min())
        share = float(np.mean(np.all(np.abs(seen[:, :2]) < 1, axis=1) & ahead))
        kept = bool(np.any(np.all(np.abs(seen[ahead, :2]) < crop, axis=1)))
        word = SEEN[body.part]
        check = _say_frame(body, word, clearance, share, kept, camera.crop is not None)
        # Of a lamp whose front is in the frame nothing more need be said of its body.
        if body.part != "head" or body.name not in seen_already:
            yield check
        if check.state == CLASH:
            seen_already.add(body.name)


def _say_frame(body: Body, word: str, clearance: float, share: float, kept: bool, cropped: bool) -> Check:
    what, things = f"{word} in frame", (body.name,)
    if clearance > 0:
        text = f"{body.words} clears the frame by {clearance:.0f} mm"
        return Check(what, things, _state(clearance, NEAR_FRAME_MM), clearance, text)
    text = f"{body.words} is in the frame ({max(share, 0.01):.0%} of it)"
    if cropped:
        text += ", inside the crop too" if kept else ", outside the crop"
    # A card may be meant to be seen: a background, or a glow behind the drink.
    if word in ("card", "diffuser"):
        text += "; well, if it is a background or hides behind a glass"
        return Check(what, things, NOTE, 0.0, text)
    return Check(what, things, CLASH, -1.0, text)


def _spread_all(bodies: list[Body]) -> np.ndarray:
    return np.concatenate([_spread(body.points_mm) for body in bodies])


def _spread(points_mm: np.ndarray) -> np.ndarray:
    """Return a convex body's corners and places between them: no gap wider than 15 mm along its edges."""
    pairs = np.array(list(combinations(range(len(points_mm)), 2)))
    if len(pairs) > 120:
        # Many corners make a round outline: its middle and the lines to it are enough.
        middle = points_mm.mean(axis=0)
        return np.concatenate([middle + t * (points_mm - middle) for t in np.linspace(0, 1, 12)])
    start, stop = points_mm[pairs[:, 0]], points_mm[pairs[:, 1]]
    count = int(np.clip(np.linalg.norm(stop - start, axis=1).max() / 15, 8, 200))
    steps = np.linspace(0, 1, count)[:, None, None]
    return (start + steps * (stop - start)).reshape(-1, 3)


def _check_stands(built: BuiltSet) -> Iterator[Check]:
    lamps = {lamp.name for lamp in built.lamps}
    half = np.asarray(built.panels[0].size_mm) / 2
    for stand in list_stands(built):
        place = f"[{stand.foot_mm[0]:.0f} mm, {stand.foot_mm[1]:.0f} mm]"
        arm = "a boom" if stand.name in lamps else "an arm"
        if goes_through_table(built, stand):
            inside = half - np.abs(np.asarray(stand.foot_mm))
            least = float(inside.min())
            state = CLASH if stand.name in lamps or least > ARM_MM else NOTE
            text = (
                f"stand of {stand.name} at {place} would go through the table; use {arm} that reaches "
                f"{least:.0f} mm in from its edge, and say where the stand stands: room.stands.{stand.name}"
            )
            yield Check("stand through table", (stand.name, "table"), state, -least, text)
            continue
        beside = float(np.linalg.norm(np.maximum(np.abs(np.asarray(stand.foot_mm)) - half, 0)))
        text = f"stand of {stand.name} clears the table by {beside:.0f} mm"
        yield Check("stand through table", (stand.name, "table"), _state(beside, NEAR_THING_MM), beside, text)
        most = BOOM_MM if stand.name in lamps else ARM_MM
        if stand.reach_mm > most:
            lacks = most - stand.reach_mm
            arm = arm.split()[1]
            text = f"{arm} of {stand.name} would be {stand.reach_mm:.0f} mm long; {most:.0f} mm is usual"
            yield Check(f"{arm} too long", (stand.name,), CLOSE, lacks, text)


def _check_room(built: BuiltSet, bodies: tuple[Body, ...]) -> Iterator[Check]:
    room = room_of(built)
    stands = {stand.name: np.asarray(stand.foot_mm) for stand in list_stands(built)}
    extents: dict[str, list[np.ndarray]] = {}
    for body in bodies:
        if body.part != "table":
            extents.setdefault(body.name, []).append(body.points_mm)
    for name, parts in extents.items():
        points = np.concatenate(parts)
        if room.ceiling_mm is not None:
            left = float(room.ceiling_mm - points[:, 2].max())
            text = f"{name} ends {left:.0f} mm under the ceiling"
            if left < 0:
                text = f"ceiling too low for {name}: it ends {-left:.0f} mm above it"
            yield Check("ceiling", (name,), _state(left, NEAR_ROOM_MM), left, text)
        low = float(points[:, 2].min() - room.floor_mm)
        if low < -1:
            yield Check("floor", (name,), CLASH, low, f"{name} reaches {-low:.0f} mm under the floor")
        if name in stands:
            # Legs need room too.
            points = np.concatenate([points[:, :2], stands[name] + LEGS_MM * np.array([(-1, -1), (1, 1)])])
        for wall, at in room.walls_mm.items():
            axis, sign = (0 if wall in ("left", "right") else 1), np.sign(at)
            left = float((sign * (at - points[:, axis])).min())
            side = WALLS[wall]
            text = f"{name} stays {left:.0f} mm off the {side}"
            if left < 0:
                text = f"{name} reaches {-left:.0f} mm into the {side}"
            yield Check("wall", (name, wall), _state(left, 0.0), left, text)


def _check_pairs(built: BuiltSet, bodies: tuple[Body, ...]) -> Iterator[Check]:
    for gap, one, other in list_gaps(built, bodies):
        key = (one.name, other.name)
        if gap < 0:
            text = f"{one.words} and {other.words} cut through each other"
            yield Check("things through each other", key, CLASH, gap, text)
        elif gap < NEAR_THING_MM and "table" not in key:
            text = f"{one.words} and {other.words} are {gap:.0f} mm apart"
            yield Check("things through each other", key, CLOSE, gap, text)


def list_gaps(built: BuiltSet, bodies: tuple[Body, ...] | None = None) -> list[tuple[float, Body, Body]]:
    """Return how far things are apart that are not to touch, mm, and their nearest bodies, pair by pair.

    Below 0 where they cut through each other; what is farther apart than 2 m counts as so far.
    """
    from manifold3d import Manifold

    bodies = list_bodies(built) if bodies is None else bodies
    hulls = [Manifold.hull_points(np.ascontiguousarray(body.points_mm, dtype=np.float64)) for body in bodies]
    lamps = tuple(lamp.name for lamp in built.lamps)
    rests = {(foot.name, foot.on) for foot in built.feet}
    found: dict[tuple[str, str], tuple[float, Body, Body]] = {}
    for (one, hull), (other, hull_2) in combinations(list(zip(bodies, hulls, strict=True)), 2):
        if one.name == other.name or _belong(one, other, lamps):
            continue
        if rests & {(one.name, other.name), (other.name, one.name)}:
            continue
        gap = float(hull.min_gap(hull_2, _LOOK_MM))
        if gap == 0:
            # Of two that only touch, what they share comes out a hair above or below nothing.
            gap = -float(max(0.0, (hull ^ hull_2).volume()) ** (1 / 3))
        key = (one.name, other.name)
        if key not in found or gap < found[key][0]:
            found[key] = (gap, one, other)
    return list(found.values())


def _belong(one: Body, other: Body, lamps: tuple[str, ...]) -> bool:
    """Return whether two bodies may touch: props in props, what a lamp carries, stands and the table."""
    parts = {one.part, other.part}
    if parts == {"prop"} or parts == {"plate", "prop"} or parts == {"plate"}:
        return True
    # A stand through the table has a finding of its own; paper comes off the table.
    if parts in ({"table", "pole"}, {"table", "backdrop"}):
        return True
    pairs = ((one.name, other.name), (other.name, one.name))
    return any(a == lamp and b.startswith(f"{lamp} ") for lamp in lamps for a, b in pairs)


def _check_light(built: BuiltSet) -> Iterator[Check]:
    """Tell of lamps whose light panels keep off the hero."""
    for name, text in tell_shaded(built):
        yield Check("light kept off the hero", (name,), NOTE, None, text)


def _check_flare(built: BuiltSet) -> Iterator[Check]:
    """Tell of lamps that shine into the lens."""
    camera = built.camera
    screens = list_screens(built).values()
    for lamp in built.lamps:
        way = camera.place_mm - lamp.centre_mm
        before = lamp.kind == "bulb" or float(way @ lamp.facing) > 0
        # A usual hood shades the lens from light farther to the side.
        if not before or float(-way @ camera.forward) < np.cos(np.radians(HOOD_DEG)) * np.linalg.norm(way):
            continue
        spot = camera.place_mm - way * (min(1.0, 10_000.0 / np.linalg.norm(way)) if is_far(lamp) else 1.0)
        if not any(cut_off(camera.place_mm, spot[None], mesh)[0] for mesh in screens):
            text = f"{lamp.name} can shine into the lens; flag it off or use a deep hood"
            yield Check("light in the lens", (lamp.name, "camera"), NOTE, None, text)
