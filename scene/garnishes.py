"""Garnish of a set's glasses: shaped, put on the rim or in the drink, and kept clear of the glass."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from brimcast.shared.errors import PersonError
from brimcast.vessels import fruit
from brimcast.vessels.covers import Cover, carved, lay_out
from brimcast.vessels.leaning import GAP_MM, LeanError, Stand, lean, tilted
from brimcast.vessels.library import Vessel
from brimcast.vessels.mesh import Mesh, placed, rotated
from brimcast.vessels.room import Pose, spread_points
from brimcast.vessels.solids import ring, rod
from brimcast.vessels.sprig import HERBS, sprig

from . import models_garnish as models
from .built import Sheet
from .citrus import FRUITS, INSIDE, Painter, mixed_hues
from .cold import hand_pose
from .finishes import Dressed
from .foliage import FRUIT_HUES, LEAVES, FruitPainter, LeafPainter, PaperPainter, paint_wood
from .models_materials import GlassMaterial, Metal, PlainMedium
from .painting import Artist, paint
from .setfile import SetFile, faults_at

# Between a slit and the glass in it, and what garnish by hand keeps off the glass, mm.
SLIT_MM, HAND_MM = 0.25, 0.02
# The wet skin of fruit on a pick: as water with sugar; common practice.
_SKIN, _SKIN_MM = PlainMedium.model_validate({"index": 1.4}), 0.15
_STEEL = Metal.model_validate({"metal": "60 %"})
_PICK_MM, _STRAW_WALL_MM, _PAPER_MM = 1.9, 0.6, 0.4
_OLIVE_LONG, _APART_MM, _HANDLE_MM = 1.25, 1.5, 30.0
# How far a sprig's leaves begin over the rim; how far a straw reaches over it, as a share of its way there.
_OVER_MM, _STRAW_OVER = 9.0, 1 / 3
_STEPS = 14
# Of places all over a thing, those closer together count as one where it is tried whether it fits.
_THINNED_MM = 2.5


class GarnishError(ValueError):
    """A garnish does not go where it is to; `part` is the key at fault, if it is one."""

    def __init__(self, text: str, part: str = ""):
        super().__init__(text)
        self.part = part


@dataclass(frozen=True, eq=False)
class Made:
    """A garnish, about an origin of its own.

    Attributes
    ----------
    covers : tuple of (str, Cover, Artist)
        What it is called after the garnish, its surface, and who paints it.
    solids : tuple of (str, Mesh, made)
    """

    covers: tuple[tuple[str, Cover, Artist], ...]
    solids: tuple[tuple[str, Mesh, object], ...] = ()

    @property
    def points_mm(self) -> np.ndarray:
        """(n, 3) places all over it."""
        still = Pose(np.eye(3), np.zeros(3))
        meshes = [cover for _, cover, _ in self.covers] + [_Body(mesh) for _, mesh, _ in self.solids]
        return np.concatenate([spread_points(one, still) for one in meshes])

    def moved(self, turn, place_mm=(0.0, 0.0, 0.0)) -> Made:
        """Return it turned by a (3, 3) matrix about its origin, then moved."""
        turn = np.asarray(turn, float)
        return Made(
            tuple((own, cover.moved(turn, place_mm), artist) for own, cover, artist in self.covers),
            tuple((own, placed(rotated(mesh, turn), place_mm), made) for own, mesh, made in self.solids),
        )


class _Body(NamedTuple):
    mesh: Mesh


class Garnished(NamedTuple):
    """What a glass is garnished with, not yet placed in the set.

    Attributes
    ----------
    bodies : list of (name, Mesh, made)
    sheets : list of Sheet
    """

    bodies: list
    sheets: list[Sheet]


def garnish_glass(
    set_file: SetFile, name: str, vessel: Vessel, dressed: Dressed, level_mm: float | None
) -> Garnished:
    """Return the garnish of a glass of the set.

    Parameters
    ----------
    set_file, name
        The set, and the glass's name.
    vessel : Vessel
        As it was before its finish, which takes glass away from the outside alone.
    dressed : Dressed
    level_mm : float or None
        Height of the drink's surface.

    Raises
    ------
    PersonError
        A garnish does not go where it is to.
    """
    listed = set_file.glasses[name].garnish
    found = Garnished([], [])
    if listed and not isinstance(vessel, Vessel):
        text = "a glass from a mesh does not tell its inside from its outside; take this out"
        raise PersonError(faults_at(set_file, f"glasses.{name}.garnish", text))
    stand = Stand(vessel) if listed else None
    for number, model in enumerate(listed, 1):
        try:
            made = _put(model, stand, level_mm)
            _check_clear(made, stand)
        except GarnishError as wrong:
            key = f"glasses.{name}.garnish.{number}" + (f".{wrong.part}" if wrong.part else "")
            raise PersonError(faults_at(set_file, key, str(wrong))) from None
        own = f"{name} {model.kind}" if number == 1 else f"{name} {model.kind} {number}"
        found.bodies.extend((f"{own}{after}", dressed.fit(mesh), of) for after, mesh, of in made.solids)
        found.sheets.extend(
            _sheet(f"{own}{after}", replace(cover, mesh=dressed.fit(cover.mesh)), artist)
            for after, cover, artist in made.covers
        )
    return found


def _sheet(name: str, cover: Cover, artist: Artist) -> Sheet:
    return Sheet(
        name=name,
        mesh=cover.mesh,
        places_mm=cover.places_mm,
        size_mm=cover.size_mm,
        widths=cover.widths,
        front=np.full(16, INSIDE),
        back=np.full(16, INSIDE),
        picture=paint(cover, artist),
        dips=True,
    )


def _put(model: models.Garnish, stand: Stand, level_mm: float | None) -> Made:
    """Return a garnish where it is to be, in the upright glass."""
    shape, on_rim, in_drink = _WAYS[type(model)]
    if pose := hand_pose(model):
        made = shape(model)
        middle = made.points_mm
        middle = (middle.min(axis=0) + middle.max(axis=0)) / 2
        return made.moved(pose.turn, pose.place_mm - pose.turn @ middle)
    made = in_drink(model, stand, level_mm) if getattr(model, "place", "rim") == "drink" else on_rim(
        model, stand
    )  # fmt: skip
    # Made toward +x; azimuths count from the camera's side, -y, clockwise from above.
    angle = np.radians(model.azimuth_deg)
    out = np.array([-np.sin(angle), -np.cos(angle), 0.0])
    return made.moved(np.stack([out, np.cross([0, 0, 1.0], out), [0, 0, 1.0]], axis=1))


def _check_clear(made: Made, stand: Stand) -> None:
    points = made.points_mm
    deep = float(stand.off_glass(points).min())
    if deep < HAND_MM:
        text = f"reaches {HAND_MM - deep:.1f} mm into the glass; allowed: a smaller one, or another place"
        raise GarnishError(text)
    if points[:, 2].min() < 0:
        raise GarnishError(f"reaches {-points[:, 2].min():.1f} mm into the table; allowed: a shorter one")


# Citrus.


def _painter(model: models.CitrusCut | models.Twist, diameter_mm: float, slice_mm: float) -> Painter:
    kind = mixed_hues(FRUITS[model.fruit], getattr(model, "flesh", None), model.peel)
    return Painter(kind, diameter_mm, slice_mm, model.seed)


def _across(model: models.CitrusCut) -> float:
    return model.diameter_mm or FRUITS[model.fruit].diameter_mm


def _wheel(model: models.Wheel) -> Made:
    across = _across(model)
    if model.thickness_mm > across / 2:
        raise GarnishError(f"{model.thickness_mm:g} mm is no slice; allowed: up to {across / 2:g} mm", "thickness")
    # What tells front from back: lying, the front looks up.
    cover = fruit.wheel(across, model.thickness_mm)
    return Made((("", cover, _painter(model, across, model.thickness_mm)),))


def _wedge(model: models.Wedge) -> Made:
    across = _across(model)
    cover = fruit.wedge(across, across * FRUITS[model.fruit].long, model.angle_deg)
    # Light goes through half of it on the whole.
    thick = across / 3 * np.sin(np.radians(model.angle_deg) / 2)
    return Made((("", cover, _painter(model, across, thick)),))


def _wheel_on_rim(model: models.Wheel, stand: Stand) -> Made:
    across = _across(model)
    # Upright in the plane through the axis: its front, which looked up, to the left of whoever looks out.
    upright = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    return _slit(_wheel(model), stand, upright, across / 2, model.slit * across / 2, model.thickness_mm)


def _wedge_on_rim(model: models.Wedge, stand: Stand) -> Made:
    radius = _across(model) / 2
    wide = 2 * radius * np.sin(np.radians(min(model.angle_deg, 180) / 2))
    return _slit(_wedge(model), stand, np.eye(3), 0.0, model.slit * radius, wide)


def _slit(made: Made, stand: Stand, turn, low_mm: float, deep_mm: float, wide_mm: float) -> Made:
    """Return citrus pushed down on the rim at +x, as far as its slit is deep.

    `turn` sets it upright; its lowest place is so far under its origin; `wide_mm` across the slit's plane.
    """
    way = stand.wall_way(deep_mm)
    # What is upright leans as the wall does.
    leaning = tilted(float(np.degrees(np.arctan2(way[0], way[1]))))
    along = leaning @ [0.0, 0.0, 1.0]
    lip = np.array([stand.lip_mm[0], 0.0, stand.lip_mm[1]])
    set_on = made.moved(leaning @ turn, lip + (low_mm - deep_mm) * along)
    wall = stand.wall_solid(deep_mm + 2.0, SLIT_MM, wide_mm / 2 + 2.0)
    middle = lip - deep_mm / 2 * along

    def place_of(points, normals):
        # Both sides of the slit side by side, seen from the glass.
        off = points - middle
        right = np.cross(along, [0.0, 1.0, 0.0])
        beyond = np.where(normals @ right > 0, 2 * deep_mm + 12.0, 0.0)
        return np.stack([off @ along + deep_mm + 4.0 + beyond, off[:, 1] + wide_mm], axis=1)

    return Made(tuple((own, carved(cover, wall, place_of), artist) for own, cover, artist in set_on.covers))


def _wheel_in_drink(model: models.Wheel, stand: Stand, level_mm: float) -> Made:
    # Its front looks toward +x.
    turn = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]])
    return _sink(_wheel(model).moved(turn), stand, level_mm - _across(model) / 2, level_mm, "diameter")


def _wedge_in_drink(model: models.Wedge, stand: Stand, level_mm: float) -> Made:
    # Afloat: the peel a little over the surface.
    made = _wedge(model).moved([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    return _sink(made, stand, level_mm - 0.85 * _across(model) / 2, level_mm, "diameter")


def _sink(made: Made, stand: Stand, from_mm: float, to_mm: float, part: str) -> Made:
    """Return a garnish in the drink: its origin as low as may be from a height up, then out as far as it goes."""
    points = made.points_mm
    clear = lambda x, z, size=1.0: stand.clearance(size * points + [x, 0, z]).min() >= GAP_MM  # noqa: E731
    levels = np.arange(from_mm, max(to_mm, from_mm + 1), 1.0)
    z = next((z for z in levels if clear(0.0, z)), None)
    if z is None:
        low, high = 0.0, 1.0
        for _ in range(_STEPS):
            size = (low + high) / 2
            low, high = (size, high) if any(clear(0.0, z, size) for z in levels[::4]) else (low, size)
        raise GarnishError(f"does not go into the drink; allowed: about {100 * low:.0f} % of its size", part)
    low, high = 0.0, float(stand.inner_radius_mm(z, z + 1))
    for _ in range(_STEPS):
        x = (low + high) / 2
        low, high = (x, high) if clear(x, z) else (low, x)
    return made.moved(np.eye(3), (low, 0.0, z))


def _twist(model: models.Twist, lead=None, origin=(0.0, 0.0, 0.0)) -> Made:
    path, facing = fruit.curl(model.curl_mm / 2, model.pitch_mm, model.turns, lead)
    if lead is not None:
        ahead = np.gradient(lead, axis=0)
        outward = np.cross([0.0, 1.0, 0.0], -ahead)
        path = np.concatenate([lead[:-1], path])
        facing = np.concatenate([(outward / np.linalg.norm(outward, axis=1, keepdims=True))[:-1], facing])
    cover = fruit.peel_strip(path, facing, model.width_mm, model.thickness_mm)
    painter = _painter(model, FRUITS[model.fruit].diameter_mm, model.thickness_mm)
    return Made((("", cover, painter),)).moved(np.eye(3), origin)


def _twist_on_rim(model: models.Twist, stand: Stand) -> Made:
    """Over the rim like a hook, then down outside in a curl that hangs free."""
    lip, way = stand.lip_mm, stand.wall_way(10.0)
    across = np.array([way[1], -way[0]])
    half = model.thickness_mm / 2
    outer = stand.vessel.outer.densified(0.5).points_mm
    down_mm = model.pitch_mm * model.turns + model.width_mm
    near = outer[outer[:, 1] > lip[1] - down_mm - 20]
    thick = 2 * np.abs((near - lip) @ across)[(near - lip) @ way > -8].max()
    for spare in (0.6, 1.2, 2.0, 3.0, 4.5):
        made = _twist(model, _hook(lip, (across, way), thick / 2 + half + spare, near[:, 0].max(), model))
        if stand.off_glass(made.points_mm).min() > HAND_MM:
            break
    return made


def _hook(lip, frame, wide_mm: float, outside_mm: float, model: models.Twist) -> np.ndarray:
    """Return the path (n, 3) of peel from inside a glass over its rim, and down clear of its outside."""
    from scipy.interpolate import CubicSpline

    across, way = frame
    axis = max(outside_mm + model.curl_mm / 2 + model.thickness_mm / 2 + 1.0, lip[0] + wide_mm + 1.0)
    drop = max(8.0, 0.8 * (axis - lip[0]))
    inside = [lip - wide_mm * across - down * way for down in (12.0, 6.0, 0.5)]
    over = [lip + 0.9 * wide_mm * way, lip + wide_mm * across - 0.5 * way]
    knots = np.array([*inside, *over, (axis, lip[1] - drop + 6.0), (axis, lip[1] - drop)])
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(knots, axis=0).T))])
    fine = CubicSpline(steps, knots)(np.linspace(0, steps[-1], 60))
    return np.stack([fine[:, 0], 0 * fine[:, 0], fine[:, 1]], axis=1)


def _twist_in_drink(model: models.Twist, stand: Stand, level_mm: float) -> Made:
    made = _twist(model)
    points = made.points_mm
    return _sink(made, stand, level_mm - points[:, 2].max(), level_mm, "turns")


# Herbs.


def _sprig(model: models.Sprig, bare_mm: float = 25.0) -> Made:
    cover = sprig(model.herb, model.length_mm, bare_mm, model.seed)
    colour = model.colour or LEAVES[model.herb]
    return Made((("", cover, LeafPainter(model.herb, colour, model.seed)),))


def _sprig_on_rim(model: models.Sprig, stand: Stand) -> Made:
    stem = HERBS[model.herb].stem_mm / 2
    way = stand.vessel.height_mm + stand.lip_mm[0]
    found = _lean(stand, _rod_points(stem, way), stem, 2 * way)
    bare = (stand.lip_mm[1] - found.foot_mm[1]) / np.cos(np.radians(found.tilt_deg)) + _OVER_MM
    made = _sprig(model, bare).moved(np.eye(3), (0, 0, bare))
    return _leaned(made, found)


def _sprig_in_drink(model: models.Sprig, stand: Stand, level_mm: float) -> Made:
    bare = max(0.6 * (level_mm - stand.vessel.base_mm), 2.0)
    return _sink(_sprig(model, bare), stand, level_mm + 1.0, level_mm + 10.0, "length")


# Picks and straws.


def _lean(stand: Stand, points, rod_mm: float, length_mm: float, part: str = ""):
    try:
        return lean(stand, points, rod_mm, length_mm)
    except LeanError as wrong:
        raise GarnishError(str(wrong), part) from None


def _leaned(made: Made, found) -> Made:
    return made.moved(tilted(found.tilt_deg), (found.foot_mm[0], 0.0, found.foot_mm[1]))


def _rod_points(radius_mm: float, length_mm: float) -> np.ndarray:
    turns = 2 * np.pi * np.arange(6) / 6
    along = np.linspace(0, length_mm, max(2, int(length_mm / 5)))
    circle = radius_mm * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    return np.column_stack([np.tile(circle, (len(along), 1)), np.repeat(along, 6)])


def _sizes(model: models.Picked) -> tuple[float, float]:
    """Return the length of one fruit along the pick, and of all."""
    one = model.diameter_mm * (_OLIVE_LONG if model.kind == "olive" else 1.0)
    return one, model.count * one + (model.count - 1) * _APART_MM


def _picked(model: models.Picked, length_mm: float = 0.0, from_mm: float | None = None) -> Made:
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
        covers.append((" pick", lay_out(fruit.tube(path, _PICK_MM / 2, 16, ends=True)), paint_wood))
    return Made(tuple(covers), tuple(solids))


def _cherry_stem(across_mm: float, pose: Pose):
    along = np.linspace(0, 1, 16)
    bend = np.stack([9 * along**2, 0 * along, across_mm / 2 - 2.0 + 24 * along - 3 * along**2], axis=1)
    path = bend @ pose.turn.T + pose.place_mm
    return fruit.tube(path, 0.55 + 0.35 * along**6, 10, ends=True)


def _pick_on_rim(model: models.Picked, stand: Stand) -> Made:
    lip = stand.lip_mm
    needed = 2 * (lip[0] + stand.vessel.rim_radius_mm - lip[0]) + 2.0
    length = model.length_mm or needed + 2 * _HANDLE_MM / 2
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
    return _picked(model, length).moved(turn, (-length / 2, 0.0, high))


def _pick_in_drink(model: models.Picked, stand: Stand, level_mm: float) -> Made:
    way = float(np.hypot(stand.lip_mm[1] - stand.vessel.base_mm, 2 * stand.lip_mm[0]))
    made = _picked(model, model.length_mm or way + _HANDLE_MM, 6.0)
    # Stems away from the rim that it leans on.
    made = made.moved(np.diag([-1.0, -1.0, 1.0]))
    points = made.points_mm
    _, first = np.unique(np.round(points / _THINNED_MM), axis=0, return_index=True)
    few = np.concatenate([points[first], _rod_points(_PICK_MM / 2, points[:, 2].max())])
    return _leaned(made, _lean(stand, few, _PICK_MM / 2, float(points[:, 2].max()), "length"))


def _straw(model: models.Straw, length_mm: float = 0.0) -> Made:
    length, radius = model.length_mm or length_mm or 200.0, model.diameter_mm / 2
    if model.material != "paper":
        made = _STEEL if model.material == "steel" else GlassMaterial(kind="acrylic")
        body = ring(2 * (radius - _STRAW_WALL_MM), _STRAW_WALL_MM, length, 64)
        return Made((), (("", body, made),))
    path = np.linspace([0, 0, 0], [0, 0, length], max(2, int(length / 5)))
    pieces = fruit.tube(path, radius, 48, "tube", ends=True, thickness_mm=_PAPER_MM)
    return Made((("", lay_out(pieces), PaperPainter(model.colour, model.stripes)),))


def _straw_on_rim(model: models.Straw, stand: Stand) -> Made:
    radius = model.diameter_mm / 2
    way = stand.vessel.height_mm + 2 * stand.lip_mm[0]
    length = model.length_mm or way
    found = _lean(stand, _rod_points(radius, length), radius, length, "length" if model.length_mm else "diameter")
    to_rim = (stand.lip_mm[1] - found.foot_mm[1]) / np.cos(np.radians(found.tilt_deg))
    return _leaned(_straw(model, (1 + _STRAW_OVER) * to_rim), found)


_WAYS: dict[type, tuple[Callable, Callable, Callable | None]] = {
    models.Wheel: (_wheel, _wheel_on_rim, _wheel_in_drink),
    models.Wedge: (_wedge, _wedge_on_rim, _wedge_in_drink),
    models.Twist: (_twist, _twist_on_rim, _twist_in_drink),
    models.Sprig: (_sprig, _sprig_on_rim, _sprig_in_drink),
    models.Olive: (_picked, _pick_on_rim, _pick_in_drink),
    models.Cherry: (_picked, _pick_on_rim, _pick_in_drink),
    models.Straw: (_straw, _straw_on_rim, None),
}
