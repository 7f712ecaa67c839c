"""Garnish that is long: sprigs, fruit on picks, straws, across a rim or leaning in a glass."""

from __future__ import annotations

import numpy as np

from brimcast.vessels import fruit
from brimcast.vessels.covers import lay_out
from brimcast.vessels.leaning import GAP_MM, Stand
from brimcast.vessels.room import Pose
from brimcast.vessels.solids import ring, rod
from brimcast.vessels.sprig import HERBS, sprig
from brimcast.vessels.tubes import tube

from . import models_garnish as models
from .foliage import FRUIT_HUES, LEAVES, FruitPainter, LeafPainter, PaperPainter, paint_wood
from .models_materials import GlassMaterial, Metal, PlainMedium
from .resting import GarnishError, Made, lean_on, leaned, rod_points, sink, thin

# The wet skin of fruit on a pick: as water with sugar; common practice.
_SKIN, _SKIN_MM = PlainMedium.model_validate({"index": 1.4}), 0.15
_STEEL = Metal.model_validate({"metal": "60 %"})
_PICK_MM, _STRAW_WALL_MM, _PAPER_MM = 1.9, 0.6, 0.4
_OLIVE_LONG, _APART_MM, _HANDLE_MM = 1.25, 1.5, 30.0
# How far a sprig's leaves begin over the rim; how far a straw reaches over it, as a share of its way there.
_OVER_MM, _STRAW_OVER = 9.0, 1 / 3


def make_sprig(model: models.Sprig, bare_mm: float = 25.0) -> Made:
    """Return a sprig along z, its leaves from 0 up."""
    cover = sprig(model.herb, model.length_mm, bare_mm, model.seed)
    colour = model.colour or LEAVES[model.herb]
    return Made((("", cover, LeafPainter(model.herb, colour, model.seed)),))


def put_sprig_on_rim(model: models.Sprig, stand: Stand) -> Made:
    """Return a sprig whose foot is in the glass, leaning on the rim at +x."""
    stem = HERBS[model.herb].stem_mm / 2
    way = stand.vessel.height_mm + stand.lip_mm[0]
    found = lean_on(stand, rod_points(stem, way), stem, 2 * way)
    bare = (stand.lip_mm[1] - found.foot_mm[1]) / np.cos(np.radians(found.tilt_deg)) + _OVER_MM
    made = make_sprig(model, bare).moved(np.eye(3), (0, 0, bare))
    return leaned(made, found)


def put_sprig_in_drink(model: models.Sprig, stand: Stand, level_mm: float) -> Made:
    """Return a sprig upright, its leaves on the surface."""
    bare = max(0.6 * (level_mm - stand.vessel.base_mm), 2.0)
    return sink(make_sprig(model, bare), stand, level_mm + 1.0, level_mm + 10.0, "length")


def _sizes(model: models.Picked) -> tuple[float, float]:
    """Return the length of one fruit along the pick, and of all."""
    one = model.diameter_mm * (_OLIVE_LONG if model.kind == "olive" else 1.0)
    return one, model.count * one + (model.count - 1) * _APART_MM


def make_picked(model: models.Picked, length_mm: float = 0.0, from_mm: float | None = None) -> Made:
    """Return fruit on a pick along z from 0, the fruit from a height up; left out, in its middle."""
    one, whole = _sizes(model)
    length_mm = length_mm or model.length_mm or whole + 2 * _HANDLE_MM
    if length_mm < whole + 10:
        text = f"{length_mm:g} mm is too short for the fruit; allowed: from {whole + 10:.0f} mm"
        raise GarnishError(text, "length" if model.length_mm else "count")
    low = (length_mm - whole) / 2 if from_mm is None else from_mm
    middles = low + one / 2 + np.arange(model.count) * (one + _APART_MM)
    turns, poses = np.random.default_rng([model.seed, 3]).uniform(-0.5, 0.5, model.count), []
    for number, (middle, turn) in enumerate(zip(middles, turns, strict=True)):
        cos, sin = np.cos(turn + number), np.sin(turn + number)
        matrix = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])
        if model.kind == "cherry":
            # Across the pick, its dimple toward +x.
            cos, sin = np.cos(turn), np.sin(turn)
            matrix = np.array([[0, -sin, cos], [0, cos, sin], [-1, 0, 0]])
        poses.append(Pose(matrix, np.array([0.0, 0.0, middle])))
    dimple = 2.2 if model.kind == "cherry" else 0.6
    outline = fruit.olive_outline(model.diameter_mm, one, dimple)
    painter = FruitPainter(model.kind, model.colour or FRUIT_HUES[model.kind], model.seed)
    covers = [("", fruit.fruits(*outline, poses), painter)]
    solids = [(" skin", fruit.skins(*outline, poses, _SKIN_MM), _SKIN)]
    if getattr(model, "stem", False):
        stems = [piece for pose in poses for piece in _cherry_stem(model.diameter_mm, pose)]
        covers.append((" stem", lay_out(stems), painter))
    if model.pick == "steel":
        solids.append((" pick", rod(_PICK_MM, length_mm, 32), _STEEL))
    else:
        path = np.linspace([0, 0, 0], [0, 0, length_mm], 9)
        covers.append((" pick", lay_out(tube(path, _PICK_MM / 2, 16, ends=True)), paint_wood))
    return Made(tuple(covers), tuple(solids))


def _cherry_stem(across_mm: float, pose: Pose):
    along = np.linspace(0, 1, 16)
    bend = np.stack([9 * along**2, 0 * along, across_mm / 2 - 2.0 + 24 * along - 3 * along**2], axis=1)
    path = bend @ pose.turn.T + pose.place_mm
    return tube(path, 0.55 + 0.35 * along**6, 10, ends=True)


def put_pick_on_rim(model: models.Picked, stand: Stand) -> Made:
    """Return a pick across the rim, along x."""
    lip = stand.lip_mm
    needed = 2 * stand.vessel.rim_radius_mm + 2.0
    length = model.length_mm or needed + _HANDLE_MM
    if length < needed:
        text = f"{length:g} mm does not lie across the rim; allowed: from {needed:.0f} mm"
        raise GarnishError(text, "length" if model.length_mm else "")
    _, whole = _sizes(model)
    mouth = 2 * float(stand.inner_radius_mm(lip[1] - model.diameter_mm / 2, lip[1]))
    if whole + 2 * GAP_MM > mouth or model.diameter_mm + 2 * GAP_MM > mouth:
        text = f"the fruit is {whole:.0f} mm long, the mouth {mouth:.0f} mm wide; allowed: fewer or smaller"
        raise GarnishError(text, "count")
    # Along +x, what was +x up.
    turn = np.array([[0.0, 0, 1], [0, -1, 0], [1, 0, 0]])
    high = lip[1] + _PICK_MM / 2 + GAP_MM
    return make_picked(model, length).moved(turn, (-length / 2, 0.0, high))


def put_pick_in_drink(model: models.Picked, stand: Stand, level_mm: float) -> Made:
    """Return a pick leaning on the rim at +x, the fruit low."""
    way = float(np.hypot(stand.lip_mm[1] - stand.vessel.base_mm, 2 * stand.lip_mm[0]))
    made = make_picked(model, model.length_mm or way + _HANDLE_MM, 6.0)
    # Stems away from the rim that it leans on.
    made = made.moved(np.diag([-1.0, -1.0, 1.0]))
    points = made.points_mm
    few = np.concatenate([thin(points), rod_points(_PICK_MM / 2, points[:, 2].max())])
    return leaned(made, lean_on(stand, few, _PICK_MM / 2, float(points[:, 2].max()), "length"))


def make_straw(model: models.Straw, length_mm: float = 0.0) -> Made:
    """Return a straw along z from 0."""
    length, radius = model.length_mm or length_mm or 200.0, model.diameter_mm / 2
    if model.material != "paper":
        made = _STEEL if model.material == "steel" else GlassMaterial(kind="acrylic")
        body = ring(2 * (radius - _STRAW_WALL_MM), _STRAW_WALL_MM, length, 64)
        return Made((), (("", body, made),))
    path = np.linspace([0, 0, 0], [0, 0, length], max(2, int(length / 5)))
    pieces = tube(path, radius, 48, "tube", ends=True, thickness_mm=_PAPER_MM)
    return Made((("", lay_out(pieces), PaperPainter(model.colour, model.stripes)),))


def put_straw_on_rim(model: models.Straw, stand: Stand) -> Made:
    """Return a straw leaning on the rim at +x."""
    radius = model.diameter_mm / 2
    way = stand.vessel.height_mm + 2 * stand.lip_mm[0]
    length = model.length_mm or way
    part = "length" if model.length_mm else "diameter"
    found = lean_on(stand, rod_points(radius, length), radius, length, part)
    to_rim = (stand.lip_mm[1] - found.foot_mm[1]) / np.cos(np.radians(found.tilt_deg))
    return leaned(make_straw(model, (1 + _STRAW_OVER) * to_rim), found)
