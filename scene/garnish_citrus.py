"""Citrus as garnish: wheels and wedges slit for the rim, twists hung over it, or all of them in the drink."""

from __future__ import annotations

import numpy as np

from brimcast.vessels import fruit
from brimcast.vessels.covers import carved
from brimcast.vessels.leaning import Stand, tilted

from . import models_garnish as models
from .citrus import FRUITS, Painter, mixed_hues
from .resting import CLEAR_MM, GarnishError, Made, sink

# Between a slit and the glass in it, mm.
SLIT_MM = 0.25


def _painter(model: models.CitrusCut | models.Twist, diameter_mm: float, slice_mm: float) -> Painter:
    kind = mixed_hues(FRUITS[model.fruit], getattr(model, "flesh", None), model.peel)
    return Painter(kind, diameter_mm, slice_mm, model.seed)


def _across(model: models.CitrusCut) -> float:
    return model.diameter_mm or FRUITS[model.fruit].diameter_mm


def make_wheel(model: models.Wheel) -> Made:
    """Return a wheel lying flat, its front up."""
    across = _across(model)
    if model.thickness_mm > across / 2:
        text = f"{model.thickness_mm:g} mm is no slice; allowed: up to {across / 2:g} mm"
        raise GarnishError(text, "thickness")
    # What tells front from back: lying, the front looks up.
    cover = fruit.wheel(across, model.thickness_mm)
    return Made((("", cover, _painter(model, across, model.thickness_mm)),))


def make_wedge(model: models.Wedge) -> Made:
    """Return a wedge along x, its peel up."""
    across = _across(model)
    cover = fruit.wedge(across, across * FRUITS[model.fruit].long, model.angle_deg)
    # Light goes through half of it on the whole.
    thick = across / 3 * np.sin(np.radians(model.angle_deg) / 2)
    return Made((("", cover, _painter(model, across, thick)),))


def put_wheel_on_rim(model: models.Wheel, stand: Stand) -> Made:
    """Return a wheel on the rim at +x, square to the wall."""
    across = _across(model)
    # Upright in the plane through the axis: its front, which looked up, to the left of whoever looks out.
    upright = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    return _slit(make_wheel(model), stand, upright, across / 2, model.slit * across / 2, model.thickness_mm)


def put_wedge_on_rim(model: models.Wedge, stand: Stand) -> Made:
    """Return a wedge on the rim at +x, its length square to the wall."""
    radius = _across(model) / 2
    wide = 2 * radius * np.sin(np.radians(min(model.angle_deg, 180) / 2))
    return _slit(make_wedge(model), stand, np.eye(3), 0.0, model.slit * radius, wide)


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


def put_wheel_in_drink(model: models.Wheel, stand: Stand, level_mm: float) -> Made:
    """Return a wheel upright under the surface, looking toward +x."""
    # Its front looks toward +x.
    turn = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]])
    return sink(make_wheel(model).moved(turn), stand, level_mm - _across(model) / 2, level_mm, "diameter")


def put_wedge_in_drink(model: models.Wedge, stand: Stand, level_mm: float) -> Made:
    """Return a wedge afloat."""
    # Afloat: the peel a little over the surface.
    made = make_wedge(model).moved([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    return sink(made, stand, level_mm - 0.85 * _across(model) / 2, level_mm, "diameter")


def make_twist(model: models.Twist, lead=None, origin=(0.0, 0.0, 0.0)) -> Made:
    """Return a strip of peel curled about z; with a lead, what comes before the curl as in ``fruit.curl``."""
    path, facing = fruit.curl(model.curl_mm / 2, model.pitch_mm, model.turns, lead)
    if lead is not None:
        ahead = np.gradient(lead, axis=0)
        outward = np.cross([0.0, 1.0, 0.0], -ahead)
        path = np.concatenate([lead[:-1], path])
        facing = np.concatenate([(outward / np.linalg.norm(outward, axis=1, keepdims=True))[:-1], facing])
    cover = fruit.peel_strip(path, facing, model.width_mm, model.thickness_mm)
    painter = _painter(model, FRUITS[model.fruit].diameter_mm, model.thickness_mm)
    return Made((("", cover, painter),)).moved(np.eye(3), origin)


def put_twist_on_rim(model: models.Twist, stand: Stand) -> Made:
    """Over the rim like a hook, then down outside in a curl that hangs free."""
    lip, way = stand.lip_mm, stand.wall_way(10.0)
    across = np.array([way[1], -way[0]])
    half = model.thickness_mm / 2
    outer = stand.vessel.outer.densified(0.5).points_mm
    # As drawn out as it may be.
    down_mm = max(model.pitch_mm, 3.0 * model.curl_mm) * model.turns + model.width_mm
    near = outer[outer[:, 1] > lip[1] - down_mm - 20]
    thick = 2 * np.abs((near - lip) @ across)[(near - lip) @ way > -8].max()
    for spare in (0.6, 1.2, 2.0, 3.0, 4.5):
        made = make_twist(model, _hook(lip, (across, way), thick / 2 + half + spare, near[:, 0].max(), model))
        if stand.off_glass(made.points_mm).min() > CLEAR_MM:
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


def put_twist_in_drink(model: models.Twist, stand: Stand, level_mm: float) -> Made:
    """Return a curl upright under the surface."""
    made = make_twist(model)
    points = made.points_mm
    return sink(made, stand, level_mm - points[:, 2].max(), level_mm, "turns")
