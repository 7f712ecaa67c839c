"""What takes room in a set, as convex bodies: glasses, lamps, stands, panels, camera, table."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .built import BuiltSet, Camera, Panel, Room, Solid
from .hangings import face_of
from .lamps import Lamp
from .screens import list_screens

# Where a set has no room: a usual table (common practice).
USUAL_TABLE_MM = 750.0
# What a set file does not say, by common practice: a head's length behind its front, and its thickness.
HEAD_LONG_MM, HEAD_WIDE_MM = 350.0, 150.0
FRONT_MM = 1.0
POLE_MM = 35.0
LEGS_MM = 500.0  # from a stand's pole to the ends of its legs
TABLE_THICK_MM, SHEET_MM, FOIL_MM = 30.0, 3.0, 0.2
CAMERA_WIDE_MM, CAMERA_TALL_MM, CAMERA_DEEP_MM, LENS_TUBE_MM = 150.0, 120.0, 100.0, 45.0
# Farther than any studio: a sun or a sky, which has neither stand nor housing.
FAR_MM = 15_000.0
# A sheet no higher than this over the table stands on it.
ON_TABLE_MM = 20.0
# What turns by less is taken as one flat part of a bent sheet.
FLAT_DEG = 12.0
# How thick sheets of props count, and into how many bodies one is cut that goes round.
LEAF_MM, ROUND_STRIPS = 0.4, 16
# Of bodies with more corners the outermost count.
MOST_POINTS = 20_000
# A line that ends so near a sheet ends on it.
TOUCH_MM = 0.05


@dataclass(frozen=True, eq=False)
class Body:
    """A convex body.

    Attributes
    ----------
    name : str
        Of the thing in the set that it is part of.
    part : {'glass', 'prop', 'table', 'front', 'head', 'pole', 'arm', 'plate', 'camera'} or a kind of sheet
    points_mm : (n, 3) float
        Its convex hull is the body.
    """

    name: str
    part: str
    points_mm: np.ndarray

    @property
    def words(self) -> str:
        """What it is called in a report."""
        parts = {"pole": "stand of ", "arm": "arm of ", "head": "head of ", "front": ""}
        return f"{parts[self.part]}{self.name}" if self.part in parts else self.name


@dataclass(frozen=True)
class Stand:
    """A stand: where its pole stands, how high it goes, and the place that it holds."""

    name: str
    foot_mm: tuple[float, float]
    holds_mm: np.ndarray

    @property
    def reach_mm(self) -> float:
        """Level length of its arm or boom; 0 where the pole is right under what it holds."""
        return float(np.hypot(*(self.holds_mm[:2] - self.foot_mm)))


def room_of(built: BuiltSet) -> Room:
    """Return a set's room; without one, a floor under a usual table."""
    return built.room or Room(-USUAL_TABLE_MM)


def is_far(lamp: Lamp) -> bool:
    """Return whether a lamp is no lamp of the studio but sun or sky."""
    return lamp.throw_mm > FAR_MM


def word_of(lamp: Lamp) -> str:
    """Return the word of the set file for a lamp's kind."""
    return getattr(lamp, "word", "") or lamp.kind


def has_head(lamp: Lamp) -> bool:
    """Return whether a lamp has a body and a stand; sun and sky, windows and candles have none."""
    return not is_far(lamp) and word_of(lamp) not in ("window", "candle")


def front_outline(lamp: Lamp) -> np.ndarray:
    """Return points (n, 3) round a lamp's bright front at its true size, mm."""
    turn = np.radians(np.arange(0, 360, 10))
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    wide, tall = np.asarray(lamp.size_mm, float) / 2
    match lamp.kind:
        case "panel" | "tube":
            flat = np.array([(-wide, -tall), (wide, -tall), (wide, tall), (-wide, tall)])
        case "ring":
            flat = ring * (wide + tall)
        case _:
            flat = ring * wide
    return lamp.centre_mm + flat[:, :1] * lamp.right + flat[:, 1:] * lamp.up


def list_stands(built: BuiltSet) -> tuple[Stand, ...]:
    """Return the stands of lamps, and of panels that do not stand on the table; paper has none."""
    given = room_of(built).stands_mm
    held = {lamp.name: lamp.centre_mm for lamp in built.lamps if has_head(lamp)}
    for panel in sheets_of(built):
        if built.sheets[panel.name] != "backdrop" and not stands_on_table(built, panel):
            held[panel.name] = middle_of(panel)
    return tuple(Stand(name, given.get(name, tuple(place[:2])), place) for name, place in held.items())


def sheets_of(built: BuiltSet) -> tuple[Panel, ...]:
    """Return the panels that are hung: flags, cards, foils, diffusers, mirrors, the backdrop; no walls."""
    return tuple(panel for panel in built.panels if built.sheets.get(panel.name, "room") != "room")


def hero_solid(built: BuiltSet) -> Solid | None:
    """Return the body of the hero: the first glass, else the prop called so or the first; None without."""
    faces = mirror_faces(built)
    things = [solid for solid in built.solids if solid.name not in faces]
    name = built.feet[0].name if built.feet else "hero"
    return next((solid for solid in things if solid.name == name), things[0] if things else None)


def mirror_faces(built: BuiltSet) -> set[str]:
    """Return the names of the solids that are the faces of mirrors; see `hangings`."""
    return {face_of(name) for name, kind in built.sheets.items() if kind == "mirror"}


def split_sheet(panel) -> list[np.ndarray]:
    """Return the parts (n, 3), mm, of a panel that are flat or nearly so, in order; a flat one is one part.

    A flat panel of any outline counts with all of its rectangle.
    """
    if hasattr(panel, "corner_mm"):
        return [corners_of(panel)]
    corners = panel.mesh.vertices_mm[panel.mesh.faces]
    ways = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    parts, first = [], 0
    for number in range(1, len(ways) + 1):
        if number == len(ways) or ways[number] @ ways[first] < np.cos(np.radians(FLAT_DEG)):
            parts.append(np.unique(corners[first:number].reshape(-1, 3), axis=0))
            first = number
    return parts


def middle_of(panel) -> np.ndarray:
    """Return the middle of a panel's extent, mm."""
    points = panel.mesh.vertices_mm
    return (points.min(axis=0) + points.max(axis=0)) / 2


def facing_of(panel) -> np.ndarray:
    """Return the unit vector along which a panel's front looks; of a bent one on the whole."""
    mean = panel.mesh.normals.mean(axis=0)
    return mean / max(float(np.linalg.norm(mean)), 1e-9)


def corners_of(panel: Panel) -> np.ndarray:
    """Return a flat panel's corners (4, 3), mm, counter-clockwise seen from its front."""
    across, upward = panel.u * panel.size_mm[0], panel.v * panel.size_mm[1]
    return panel.corner_mm + np.array([0 * across, across, across + upward, upward])


def stands_on_table(built: BuiltSet, panel) -> bool:
    """Return whether a panel stands on the table itself."""
    points = panel.mesh.vertices_mm
    low = points[points[:, 2] < points[:, 2].min() + 1]
    return bool(points[:, 2].min() <= ON_TABLE_MM and all(over_table(built, spot) for spot in low))


def over_table(built: BuiltSet, place) -> bool:
    """Return whether a place, x and y first, is over or under the table top."""
    half = np.asarray(built.panels[0].size_mm) / 2
    return bool(np.all(np.abs(np.asarray(place)[:2]) <= half))


def goes_through_table(built: BuiltSet, stand: Stand) -> bool:
    """Return whether a stand's pole would go through the table top."""
    return over_table(built, stand.foot_mm) and stand.holds_mm[2] > 0


def list_bodies(built: BuiltSet) -> tuple[Body, ...]:
    """Return all bodies of a set. Bulk that the set file does not state is taken by common practice."""
    bodies = [_table(built)]
    glasses = {foot.name for foot in built.feet}
    faces = mirror_faces(built)
    for solid in built.solids:
        # What a glass holds or wears is named after it.
        if solid.name in faces or any(solid.name.startswith(f"{glass} ") for glass in glasses):
            continue
        points = _thinned(solid.mesh.vertices_mm)
        bodies.append(Body(solid.name, "glass" if solid.name in glasses else "prop", points))
    known = list_screens(built)
    for panel in built.panels[1:]:
        kind = built.sheets.get(panel.name, "plate")
        if panel.name in built.parts:
            bodies += _cut_up(built.parts[panel.name], panel)
        elif panel.name in known and kind != "room":
            thick = FOIL_MM if kind in ("foil", "backdrop") else SHEET_MM
            for part in split_sheet(panel):
                half = thick / 2 * _square_to(part)
                bodies.append(Body(panel.name, kind, np.concatenate([part - half, part + half])))
    for lamp in built.lamps:
        if not is_far(lamp):
            bodies += _lamp(lamp)
    floor = room_of(built).floor_mm
    for stand in list_stands(built):
        # A stand that would go through the table is a fault of its own, and none to draw or to measure.
        if not goes_through_table(built, stand):
            bodies += _stand(stand, floor)
    if built.camera:
        bodies += _camera(built.camera, floor)
    return tuple(bodies)


def _square_to(part_mm: np.ndarray) -> np.ndarray:
    """Return the unit vector square to a part that is nearly flat."""
    return np.linalg.svd(part_mm - part_mm.mean(axis=0))[2][2]


def _table(built: BuiltSet) -> Body:
    top = corners_of(built.panels[0])
    # A hair under the top, so that what stands on it does not cut it.
    return Body("table", "table", np.concatenate([top - [0, 0, 0.5], top - [0, 0, TABLE_THICK_MM]]))


def _thinned(points_mm: np.ndarray) -> np.ndarray:
    """Return the outermost of very many points in each of a thousand directions.

    Gaps between two hulls of a hundred thousand corners take minutes. Directions are 4 deg apart at most
    from one that is asked for, so a ball's hull shrinks by under 0.3 % of its radius.
    """
    if len(points_mm) <= MOST_POINTS:
        return points_mm
    # Evenly spread directions: a spiral by the golden angle.
    height = 1 - (2 * np.arange(1000) + 1) / 1000
    turn = np.pi * (3 - np.sqrt(5)) * np.arange(1000)
    ring = np.sqrt(1 - height**2)
    ways = np.column_stack([ring * np.cos(turn), ring * np.sin(turn), height])
    ways = np.concatenate([ways, np.eye(3), -np.eye(3)])
    return points_mm[np.unique([(points_mm @ way).argmax() for way in ways])]


def _cut_up(name: str, sheet) -> list[Body]:
    """Return a sheet of a prop as bodies: one that goes round, as a lip does, in strips across its map."""
    mesh = sheet.mesh
    # A little thick behind its front, for what is flat has no hull.
    both = np.stack([mesh.vertices_mm, mesh.vertices_mm - LEAF_MM * mesh.normals])
    along = sheet.places_mm[:, 0] / sheet.size_mm[0]
    starts, ends = (mesh.vertices_mm[np.abs(along - end) < 1e-9] for end in (0, 1))
    if len(starts) != len(ends) or np.abs(starts - ends).max() > 1e-6:
        return [Body(name, "prop", both.reshape(-1, 3))]
    columns = np.unique(along)
    bodies = []
    for first, last in pairwise(np.unique(np.linspace(0, len(columns) - 1, ROUND_STRIPS + 1).astype(int))):
        # Its two ends and its middle are enough.
        kept = np.isin(along, columns[[first, (first + last) // 2, last]])
        bodies.append(Body(name, "prop", both[:, kept].reshape(-1, 3)))
    return bodies


def _lamp(lamp: Lamp) -> list[Body]:
    outline = front_outline(lamp)
    if lamp.kind in ("bulb",):
        back = lamp.facing * lamp.size_mm[0] / 2
        ends = [lamp.centre_mm + side * back for side in (-1, 1)]
        turned = lamp.centre_mm + (outline - lamp.centre_mm) @ _turn(lamp).T
        front = np.concatenate([outline, turned, ends])
    else:
        front = np.concatenate([outline, outline - FRONT_MM * lamp.facing])
    if not has_head(lamp):
        return [Body(lamp.name, "front", front)]
    square = HEAD_WIDE_MM / 2 * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    ring = square[:, :1] * lamp.right + square[:, 1:] * lamp.up
    start = lamp.centre_mm - lamp.facing * FRONT_MM
    head = np.concatenate([start + ring, start + ring - lamp.facing * HEAD_LONG_MM])
    return [Body(lamp.name, "front", front), Body(lamp.name, "head", head)]


def _turn(lamp: Lamp) -> np.ndarray:
    """Quarter turn about the lamp's up: a ball's outline from the side."""
    return np.outer(lamp.facing, lamp.right) - np.outer(lamp.right, lamp.facing) + np.outer(lamp.up, lamp.up)


def _rod(start, stop, thick_mm: float = POLE_MM) -> np.ndarray:
    """Return the corners of a square rod from one place to another."""
    start, stop = np.asarray(start, float), np.asarray(stop, float)
    way = (stop - start) / np.linalg.norm(stop - start)
    side = np.cross(way, [1.0, 0, 0] if abs(way[0]) < 0.9 else [0, 1.0, 0])
    side *= thick_mm / 2 / np.linalg.norm(side)
    other = np.cross(way, side)
    ring = np.array([side + other, side - other, -side - other, other - side])
    return np.concatenate([start + ring, stop + ring])


def _stand(stand: Stand, floor_mm: float) -> list[Body]:
    top = np.array([*stand.foot_mm, stand.holds_mm[2]])
    bodies = []
    if top[2] > floor_mm + 1:
        bodies.append(Body(stand.name, "pole", _rod([*stand.foot_mm, floor_mm], top)))
    if stand.reach_mm > POLE_MM:
        bodies.append(Body(stand.name, "arm", _rod(top, stand.holds_mm)))
    return bodies


def _camera(camera: Camera, floor_mm: float) -> list[Body]:
    # The camera's back moves against the lens by rise and shift; its tripod stands right under it.
    sensor = camera.place_mm - camera.forward * camera.image_mm
    sensor = sensor - camera.shift_mm * camera.right - camera.rise_mm * camera.up
    square = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) / 2
    ring = square[:, :1] * CAMERA_WIDE_MM * camera.right + square[:, 1:] * CAMERA_TALL_MM * camera.up
    box = np.concatenate([sensor + ring, sensor + ring - CAMERA_DEEP_MM * camera.forward])
    turn = np.radians(np.arange(0, 360, 30))
    tube = np.cos(turn)[:, None] * camera.right + np.sin(turn)[:, None] * camera.up
    tube = np.concatenate([camera.place_mm + LENS_TUBE_MM * tube, sensor + LENS_TUBE_MM * tube])
    bodies = [Body("camera", "camera", box), Body("camera", "camera", tube)]
    low = sensor - camera.forward * CAMERA_DEEP_MM / 2
    low = low - [0, 0, CAMERA_TALL_MM / 2]
    if low[2] > floor_mm + 1:
        bodies.append(Body("camera", "pole", _rod([*low[:2], floor_mm], low)))
    return bodies
