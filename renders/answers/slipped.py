"""Sets with making and placing errors: what a glass or a lamp that is off changes in a set file."""

from __future__ import annotations

import math

import numpy as np

from brimcast.scene.setfile import SetFile
from brimcast.vessels.shapes import SHAPES

from .study import Study

LEAST_WALL_MM = 0.2
_FACING = ("flags", "cards", "diffusers", "mirrors", "meters")


def freeze_places(study: Study) -> dict[str, object]:
    """Return changes after which a glass, or a lamp, moves alone.

    What aims, looks or faces at a glass by its name would follow it; it gets the point or direction that it
    has now. So does what faces a lamp. A card of hidden size keeps the size that it has.
    """
    built, set_file = study.built, study.set_file
    glasses = {foot.name: _middle(foot) for foot in built.feet}
    if set_file.glasses:
        glasses["hero"] = glasses[set_file.hero]
    moving = glasses | {lamp.name: lamp.centre_mm for lamp in built.lamps}
    changes: dict[str, object] = {}
    for name, lamp in set_file.lamps.items():
        if lamp.aim in glasses:
            changes[f"lamps.{name}.aim"] = _point(glasses[lamp.aim])
    if camera := set_file.camera:
        for key, target in (("aim", camera.aim), ("focus", camera.focus)):
            if isinstance(target, str) and target in glasses:
                changes[f"camera.{key}"] = _point(glasses[target])
    for section in _FACING:
        for name, model in getattr(set_file, section).items():
            if isinstance(model.facing, str) and model.facing in moving:
                changes[f"{section}.{name}.facing"] = _direction(moving[model.facing], model.at_mm)
    panels = {panel.name: panel for panel in built.panels}
    for name, card in set_file.cards.items():
        if isinstance(card.size_mm, str):
            changes[f"cards.{name}.size"] = [f"{side:.9g} mm" for side in panels[name].size_mm]
    return changes


def _middle(foot) -> np.ndarray:
    return np.array([*foot.centre_mm, foot.stands_mm + foot.height_mm / 2])


def _point(place_mm: np.ndarray) -> list[str]:
    return [f"{value:.9g} mm" for value in place_mm]


def _direction(target_mm, at_mm) -> dict[str, str]:
    x, y, z = np.asarray(target_mm, float) - np.asarray(at_mm, float)
    return {
        "azimuth": f"{math.degrees(math.atan2(-x, -y)) % 360:.9g} deg",
        "elevation": f"{math.degrees(math.atan2(z, math.hypot(x, y))):.9g} deg",
    }


def draw_slips(study: Study, draws: int, seed: int) -> list[SetFile]:
    """Return variants of a set with making and placing errors, drawn independently.

    Each glass is off its mark in x and y, turned, and, where the set or its shape says how thick and wide it
    is, of another wall and diameter; each lamp that stands on the set is off in throw, elevation and azimuth.
    All errors are normal, their standard deviations those of `brief.slips`. What is aimed at a glass stays
    where it was aimed. Each variant has a `render.seed` of its own.

    Parameters
    ----------
    study : Study
    draws : int
    seed : int
        The same seed gives the same draws.

    Raises
    ------
    PersonError
    """
    rng, frozen = np.random.default_rng(seed), freeze_places(study)
    grain = study.set_file.render.seed
    # With one seed for all, noise would be common by a tenth to three quarters (of its variance, by the
    # measure, on a filled highball): neither gone nor whole, so that nobody could take it off.
    return [
        study.vary({**frozen, **_draw(study, rng), "render.seed": (grain + 1 + number) % 2**32})
        for number in range(draws)
    ]


def _draw(study: Study, rng: np.random.Generator) -> dict[str, object]:
    slips, changes = study.brief.slips, {}
    for name in study.set_file.glasses:
        x, y, turn, wall, diameter = rng.standard_normal(5)
        changes |= move_glass(study, name, (x * slips.place_mm, y * slips.place_mm))
        changes |= turn_glass(study, name, turn * slips.turn_deg)
        changes |= remake_glass(study, name, wall * slips.wall_mm, diameter * slips.diameter_mm)
    for name in _placed_lamps(study):
        throw, elevation, azimuth = rng.standard_normal(3)
        changes |= move_lamp(study, name, throw * slips.throw_mm)
        lamp = study.set_file.lamps[name]
        high = np.clip(lamp.elevation_deg + elevation * slips.angle_deg, -90, 90)
        changes[f"lamps.{name}.elevation"] = f"{high:.9g} deg"
        changes[f"lamps.{name}.azimuth"] = f"{(lamp.azimuth_deg + azimuth * slips.angle_deg) % 360:.9g} deg"
    return changes


def _placed_lamps(study: Study) -> list[str]:
    """Lamps on stands: nobody misplaces sun or sky."""
    return [name for name, lamp in study.set_file.lamps.items() if hasattr(lamp, "throw_mm")]


def move_glass(study: Study, name: str, by_mm: tuple[float, float]) -> dict[str, object]:
    """Return the change that moves a glass in x and y."""
    at = study.set_file.glasses[name].at_mm
    return {f"glasses.{name}.at": [f"{place + by:.9g} mm" for place, by in zip(at, by_mm, strict=True)]}


def turn_glass(study: Study, name: str, by_deg: float) -> dict[str, object]:
    """Return the change that turns a glass further."""
    turned = math.remainder(study.set_file.glasses[name].turn_deg + by_deg, 360)
    return {f"glasses.{name}.turn": f"{turned:.9g} deg"}


def move_lamp(study: Study, name: str, by_mm: float) -> dict[str, object]:
    """Return the change that moves a lamp along its throw, away from its aim."""
    return {f"lamps.{name}.throw": f"{max(study.set_file.lamps[name].throw_mm + by_mm, 1.0):.9g} mm"}


def remake_glass(study: Study, name: str, wall_mm: float, diameter_mm: float) -> dict[str, object]:
    """Return the changes that make a glass's wall thicker and its widest diameter wider.

    None of what the set cannot say: a glass from a vessel file, a mesh or a drawing keeps its diameter, one
    from a vessel file or a mesh, or a can, its wall.
    """
    model, key = study.set_file.glasses[name].vessel, f"glasses.{name}.vessel"
    if shape := getattr(model, "shape", None):
        known, changes = SHAPES[shape], {}
        if "wall_mm" in known.allowed:
            thick = model.wall_mm or known.measures.wall_mm[0][1]
            changes[f"{key}.wall"] = f"{max(thick + wall_mm, LEAST_WALL_MM):.9g} mm"
        if "diameter_mm" in known.allowed:
            wide = model.diameter_mm or known.points[known.anchors["diameter_mm"]][1]
            changes[f"{key}.diameter"] = f"{wide + diameter_mm:.9g} mm"
        return changes
    changes = {}
    if outline := getattr(model, "outline_mm", None):
        wider = 1 + diameter_mm / max(across for _, across in outline)
        changes[f"{key}.outline"] = _pairs((high, across * wider) for high, across in outline)
        if model.inside_mm:
            inside = ((high, max(across * wider - 2 * wall_mm, 0.0)) for high, across in model.inside_mm)
            return {**changes, f"{key}.inside": _pairs(inside)}
    thick = getattr(model, "wall_mm", None)
    if isinstance(thick, int | float):
        changes[f"{key}.wall"] = f"{max(thick + wall_mm, LEAST_WALL_MM):.9g} mm"
    elif thick:
        changes[f"{key}.wall"] = _pairs((high, max(wall + wall_mm, LEAST_WALL_MM)) for high, wall in thick)
    return changes


def _pairs(pairs) -> list[list[str]]:
    return [[f"{first:.9g} mm", f"{second:.9g} mm"] for first, second in pairs]
