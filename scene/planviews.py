"""Views of a set to scale, as lines on paper: plan from above, elevation from the right, throws side by side.

Outlines are the things' own, projected; nothing stands for anything else. Lamps show their bright front at
its true size and the light that it sends to the hero; stands, camera and heads their bulk.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.vessels.linework import INK, PAPER, QUIET, TONE, Area, Stroke, circle

from .bodies import (
    LEGS_MM,
    corners_of,
    front_outline,
    hero_solid,
    is_far,
    list_bodies,
    list_stands,
    room_of,
)
from .built import BuiltSet
from .captions import Label, arrow
from .frame import CORNERS, crop_share, look_along
from .sheetviews import LINE, THICK, THIN, draw_sheets, hull

BEAM, GLASS = 236, 222
LONG_DASH, SHORT_DASH, CENTRE_DASH = (3.0, 1.2), (1.2, 0.9), (5.0, 1.0, 0.8, 1.0)
LEAST_ARC_MM, ARC_STEP_MM = 11.0, 5.5


@dataclass(frozen=True)
class View:
    """A view's window on the set and its place on the paper.

    Attributes
    ----------
    axes : (int, int)
        Which of x, y, z run right and up.
    low_mm, high_mm : (2,) float
        Corners of the window in the set.
    scale : float
        Millimetres of paper per millimetre of set.
    corner_mm : (2,) float
        Lower left corner on the paper.
    """

    axes: tuple[int, int]
    low_mm: np.ndarray
    high_mm: np.ndarray
    scale: float
    corner_mm: np.ndarray

    def place(self, points_mm) -> np.ndarray:
        """Return places on the paper of points (..., 3) of the set."""
        flat = np.asarray(points_mm, float)[..., list(self.axes)]
        return (flat - self.low_mm) * self.scale + self.corner_mm

    @property
    def frame_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """Lower left and upper right corner on the paper."""
        return self.corner_mm, self.corner_mm + (self.high_mm - self.low_mm) * self.scale

    def clip(self, start, stop):
        """Return the part (2, 2) of a line on paper inside the window; None where there is none."""
        low, high = self.frame_mm
        start, way = np.asarray(start, float), np.asarray(stop, float) - np.asarray(start, float)
        first, last = 0.0, 1.0
        for axis in (0, 1):
            if abs(way[axis]) < 1e-9:
                if not low[axis] <= start[axis] <= high[axis]:
                    return None
                continue
            ends = sorted((edge[axis] - start[axis]) / way[axis] for edge in (low, high))
            first, last = max(first, ends[0]), min(last, ends[1])
        return np.array([start + first * way, start + last * way]) if first < last else None


def window_of(built: BuiltSet, axes: tuple[int, int], margin_mm: float = 150.0):
    """Return the corners of a window that holds all of a set, and walls and ceiling that are near."""
    room = room_of(built)
    points = [body.points_mm for body in list_bodies(built)]
    points.append(np.array([[0.0, 0.0, room.floor_mm]]))
    for stand in list_stands(built):
        spread = LEGS_MM * np.array([(-1, -1), (1, 1)])
        points.append(np.column_stack([stand.foot_mm + spread, np.full(2, room.floor_mm)]))
    points = np.concatenate(points)
    low, high = points.min(axis=0) - margin_mm, points.max(axis=0) + margin_mm
    for wall, at in room.walls_mm.items():
        axis = 0 if wall in ("left", "right") else 1
        if at < 0 and low[axis] - 600 < at:
            low[axis] = min(low[axis], at - 40)
        if at > 0 and high[axis] + 600 > at:
            high[axis] = max(high[axis], at + 40)
    low[2] = room.floor_mm - 60
    if room.ceiling_mm is not None and room.ceiling_mm < high[2] + 1500:
        high[2] = max(high[2], room.ceiling_mm + 60)
    return low[list(axes)], high[list(axes)]


def draw_view(built: BuiltSet, view: View) -> tuple[list, list[Label]]:
    """Return the marks of a view, the first below the others, and the words that it needs."""
    marks, labels = [], []
    marks += _draw_room(built, view)
    marks += _draw_beams(built, view)
    marks += _draw_table(built, view)
    for draw in (_draw_stands, _draw_things, draw_sheets, _draw_camera, _draw_lamps):
        more, words = draw(built, view)
        marks += more
        labels += words
    marks += _draw_datum(view)
    return marks, labels


def _hatched(start, stop, side) -> list:
    """Return a line with short strokes on the side where the wall, floor or ceiling is solid."""
    start, stop = np.asarray(start, float), np.asarray(stop, float)
    length = float(np.linalg.norm(stop - start))
    along, out = (stop - start) / length, np.asarray(side, float)
    marks = [Stroke(np.array([start, stop]), THICK)]
    for at in np.arange(1.5, length, 3.0):
        foot = start + at * along
        marks.append(Stroke(np.array([foot, foot + 1.3 * (out - along)]), THIN, QUIET))
    return marks


def _draw_room(built: BuiltSet, view: View) -> list:
    room, marks = room_of(built), []
    low, high = view.frame_mm
    for wall, at in room.walls_mm.items():
        axis = 0 if wall in ("left", "right") else 1
        if axis not in view.axes:
            continue
        spot = view.place(np.eye(3)[axis] * at)[view.axes.index(axis)]
        across = view.axes.index(axis)
        if low[across] <= spot <= high[across]:
            ends = np.array([low, high])
            ends[:, across] = spot
            marks += _hatched(*ends, np.eye(2)[across] * np.sign(at))
    if view.axes[1] == 2:
        heights = [(room.floor_mm, -1)] + ([(room.ceiling_mm, 1)] if room.ceiling_mm is not None else [])
        for at, side in heights:
            level = view.place([0.0, 0.0, at])[1]
            if low[1] <= level <= high[1]:
                marks += _hatched((low[0], level), (high[0], level), (0, side))
    return marks


def _draw_beams(built: BuiltSet, view: View) -> list:
    """Draw the light of each lamp's whole front on its way to the hero."""
    marks = []
    hero = _hero_points(built)
    for lamp in built.lamps:
        if not is_far(lamp):
            both = np.concatenate([view.place(front_outline(lamp)), view.place(hero)])
            marks.append(Area(hull(both), BEAM))
    return marks


def _hero_points(built: BuiltSet) -> np.ndarray:
    hero = hero_solid(built)
    return hero.mesh.vertices_mm if hero else np.zeros((1, 3))


def _draw_table(built: BuiltSet, view: View) -> list:
    corners = view.place(corners_of(built.panels[0]))
    if view.axes[1] != 2:
        return [Stroke(np.concatenate([corners, corners[:1]]), LINE)]
    left, right = corners[:, 0].min(), corners[:, 0].max()
    top, under = corners[0, 1], corners[0, 1] - 30 * view.scale
    slab = np.array([(left, top), (right, top), (right, under), (left, under)])
    return [Area(slab, QUIET)]


def _draw_stands(built: BuiltSet, view: View) -> tuple[list, list[Label]]:
    marks, floor = [], room_of(built).floor_mm
    for stand in list_stands(built):
        foot = np.array([*stand.foot_mm, floor])
        top = np.array([*stand.foot_mm, stand.holds_mm[2]])
        for turn in np.radians((90, 210, 330)):
            leg = foot + LEGS_MM * np.array([np.cos(turn), np.sin(turn), 0])
            start = foot if view.axes[1] != 2 else foot + [0, 0, 250]
            marks.append(Stroke(np.array([view.place(start), view.place(leg)]), THIN, QUIET))
        marks.append(Stroke(np.array([view.place(foot), view.place(top)]), LINE, QUIET))
        marks.append(Stroke(np.array([view.place(top), view.place(stand.holds_mm)]), LINE, QUIET))
        if view.axes[1] != 2:
            marks.append(Stroke(circle(view.place(foot), 0.8), LINE, QUIET))
    return marks, []


def _draw_things(built: BuiltSet, view: View) -> tuple[list, list[Label]]:
    """Draw glasses and props by their outline."""
    marks, labels, things = [], [], {}
    for body in list_bodies(built):
        if body.part in ("glass", "prop", "plate"):
            things.setdefault(body.name, []).append(body.points_mm)
    # What stands on another thing is drawn over it.
    tall = {name: np.concatenate(points)[:, 2].max() for name, points in things.items()}
    for name in sorted(things, key=tall.get):
        outline = hull(view.place(np.concatenate(things[name])))
        marks += [Area(outline, GLASS), Stroke(outline, LINE)]
        labels.append(Label(name, outline.mean(axis=0), float(np.ptp(outline, axis=0).max()) / 2))
    return marks, labels


def _draw_camera(built: BuiltSet, view: View) -> tuple[list, list[Label]]:
    camera = built.camera
    if camera is None:
        return [], []
    marks = []
    for body in list_bodies(built):
        if body.name == "camera":
            outline = hull(view.place(body.points_mm))
            tone = TONE if body.part == "camera" else PAPER
            marks += [Area(outline, tone), Stroke(outline, THIN)]
    lens = view.place(camera.place_mm)
    edges = [(-1, 0), (1, 0)] if view.axes[1] != 2 else [(0, -1), (0, 1)]
    share = crop_share(camera)
    for spot in edges:
        marks += _sight(camera, view, lens, spot, LONG_DASH)
        if share and min(share) < 1:
            marks += _sight(camera, view, lens, np.multiply(spot, share), SHORT_DASH)
    marks += _sight(camera, view, lens, (0, 0), CENTRE_DASH)
    # The plane of focus across the frame.
    ends = np.array([_sharp(camera, spot) for spot in edges])
    marks.append(Stroke(view.place(ends), LINE, INK))
    if view.axes[1] != 2:
        marks += _draw_footprint(camera, view)
    return marks, [Label("camera", lens, 6.0), Label("focus", view.place(ends)[1], 1.5, quiet=True)]


def _sight(camera, view: View, lens, spot, dash) -> list:
    far = view.place(camera.place_mm + 5 * camera.focus_mm * look_along(camera, spot))
    part = view.clip(lens, far)
    return [] if part is None else [Stroke(part, THIN, QUIET, dash)]


def _sharp(camera, spot) -> np.ndarray:
    """Return where the line of sight through a spot of the frame meets the plane of focus."""
    way = look_along(camera, spot)
    return camera.place_mm + way / (camera.focus_plane @ way)


def _draw_footprint(camera, view: View) -> list:
    """Draw what the frame, and the crop guide, take in of the table's plane."""
    marks = []
    share = crop_share(camera) or (1.0, 1.0)
    for scale, dash in (((1.0, 1.0), LONG_DASH), (share, SHORT_DASH)):
        ways = np.array([look_along(camera, corner * scale) for corner in CORNERS])
        # A frame that reaches over the horizon has no far edge on the table.
        if np.all(ways[:, 2] < -0.02):
            spots = camera.place_mm - ways * (camera.place_mm[2] / ways[:, 2:])
            marks += [_part for a, b in zip(spots, np.roll(spots, -1, axis=0), strict=True)
                      if (_part := _clipped(view, a, b, dash)) is not None]  # fmt: skip
        if share == (1.0, 1.0):
            break
    return marks


def _clipped(view: View, start, stop, dash):
    part = view.clip(view.place(start), view.place(stop))
    return None if part is None else Stroke(part, THIN, INK, dash)


def _draw_lamps(built: BuiltSet, view: View) -> tuple[list, list[Label]]:
    marks, labels = [], []
    heads = {body.name: body.points_mm for body in list_bodies(built) if body.part == "head"}
    for number, lamp in enumerate(built.lamps):
        aim = view.place(lamp.aim_mm)
        words = f"{lamp.name}  throw {lamp.throw_mm / 1000:.2f} m"
        if view.axes[1] == 2:
            words = f"{lamp.name}  {lamp.centre_mm[2]:.0f} mm over the table"
        if is_far(lamp):
            more, at = _far_arrow(view, lamp, aim)
            marks += more
            words = f"{lamp.name}, far off"
        else:
            at = view.place(lamp.centre_mm)
            if lamp.name in heads:
                outline = hull(view.place(heads[lamp.name]))
                marks += [Area(outline, PAPER), Stroke(outline, THIN)]
            front = view.place(front_outline(lamp))
            marks.append(Stroke(hull(front), 0.6))
            marks += arrow(at, aim)
        labels.append(Label(words, at, 4.0))
        # Straight before the camera there is no angle to draw.
        if view.axes[1] != 2 and lamp.azimuth_deg > 0.5:
            more, words = _azimuth_arc(lamp, aim, LEAST_ARC_MM + ARC_STEP_MM * number)
            marks += more
            labels += words
    return marks, labels


def _far_arrow(view: View, lamp, aim):
    part = view.clip(view.place(lamp.aim_mm - 1e4 * lamp.facing), aim)
    if part is None:
        return [], aim
    return arrow(part[0], aim), part[0] + 0.06 * (aim - part[0])


def _azimuth_arc(lamp, aim, radius_mm: float):
    """Draw the angle from the camera's side clockwise to a lamp."""
    # Azimuth a points along (-sin a, -cos a): counted from paper's right, that is -90 - a.
    stop = -90 - lamp.azimuth_deg
    points = circle(aim, radius_mm, stop, -90)
    tip, before = points[0], points[2]
    way = (tip - before) / np.linalg.norm(tip - before)
    across = np.array([-way[1], way[0]])
    head = Area(np.array([tip, tip - 1.8 * way + 0.5 * across, tip - 1.8 * way - 0.5 * across]), QUIET)
    middle = circle(aim, radius_mm, (stop - 90) / 2, (stop - 90) / 2 + 1)[0]
    marks = [Stroke(points, THIN, QUIET), head]
    base = Stroke(np.array([aim, aim - [0, radius_mm + 2]]), THIN, QUIET)
    return [*marks, base], [Label(f"{lamp.azimuth_deg:.4g}°", middle, 0.5, quiet=True)]


def _draw_datum(view: View) -> list:
    """Draw the datum as a quartered disc."""
    at = view.place(np.zeros(3))
    quarters = [Area(np.concatenate([[at], circle(at, 1.3, turn, turn + 90)]), INK) for turn in (0, 180)]
    return [Area(circle(at, 1.3), PAPER), *quarters, Stroke(circle(at, 1.3), THIN)]
