"""A line of rays across the hero at half its height, and its dark edges before what stands behind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.frame import project
from brimcast.scene.readings import at_glass

from ..sight import Lookout, part_of
from ..sightgrid import frame_mm, ways_of
from .rims import BESIDE_PX, Run, find_dark_edge

# From one ray to the next; how far beside the outline the field is looked for, mm.
STEP_MM = 0.01
FIELD_MM = 3.0
# Rows of a picture so far round the line tell how bright it is there.
ROWS_MM = 2.0
SIDES = {"left": -1, "right": 1}


@dataclass(frozen=True, eq=False)
class Across:
    """What a line of rays tells of a glass before a field.

    Attributes
    ----------
    up : float
        The line in the frame, -1 to 1.
    unit_mm : float
        Half the frame's width in the hero's plane: level with the sensor, through the middle of its axis.
    right : (n,) float
        The rays in the frame, evenly from left to right.
    own : (n,) bool
        Rays that meet the hero first.
    level : (n,) float
        Luminance over that of the field, taken as even, by the straight way and the first face's reflection;
        nan where the hero is not met first.
    field : tuple of str
        What is seen beside the glass on either side; empty where that is nothing.
    """

    up: float
    unit_mm: float
    right: np.ndarray
    own: np.ndarray
    level: np.ndarray
    field: tuple[str, ...]

    @property
    def outline(self) -> dict[str, int]:
        """Number of the outermost ray on the hero, by side."""
        return _outline(self.own)

    @property
    def width_mm(self) -> float:
        """Of the hero on the line."""
        return float(self.right[self.outline["right"]] - self.right[self.outline["left"]]) * self.unit_mm

    def find_edge(self, side: str) -> Run | None:
        """Return the dark edge on one side, mm inward from the outline; see `edges.find_dark_edge`."""
        begin = self.outline[side]
        half = (self.outline["right"] - self.outline["left"]) // 2
        inward = begin - SIDES[side] * np.arange(half + 1)
        step_mm = float(self.right[1] - self.right[0]) * self.unit_mm
        return find_dark_edge(np.arange(half + 1) * step_mm, self.level[inward], self.width_mm)

    def compare(self, luminance: np.ndarray, runs: dict[str, Run | None]) -> tuple[float, float]:
        """Return the luminance of a picture (h, w) beside the hero, and that of the brighter dark edge.

        Medians over the rows within `ROWS_MM` of the line; of a place that the frame does not hold, 0.
        """
        lines, columns = luminance.shape
        middle, pixel_mm = (1 - self.up) / 2 * lines, 2 * self.unit_mm / columns
        reach = max(1.0, ROWS_MM / pixel_mm)
        rows = luminance[max(0, int(middle - reach)) : int(middle + reach) + 1]
        field, edges = [], [0.0]
        for side, sign in SIDES.items():
            outline = (self.right[self.outline[side]] + 1) / 2 * columns
            beside = np.floor(outline + sign * np.arange(1.5, 1.5 + BESIDE_PX)).astype(int)
            field += list(rows[:, beside[(beside >= 0) & (beside < columns)]].ravel())
            run = runs[side]
            if run is not None and run.length:
                within = int(outline - sign * (run.begin + run.end) / 2 / pixel_mm)
                edges.append(float(np.median(rows[:, min(max(within, 0), columns - 1)])))
        return float(np.median(field)) if field else 0.0, max(edges)


def look_across(lookout: Lookout, hero: str) -> Across | None:
    """Return what a line of rays sees across the hero at half its height; None where the frame lacks it."""
    camera = lookout.built.camera
    middle = project(camera, at_glass(lookout.built).place_mm)
    if not np.all(np.abs(middle[:2]) <= 1):
        return None
    unit_mm = float(frame_mm(camera, middle[2])[0])
    points = [solid.mesh.vertices_mm for solid in lookout.built.solids if solid.name == hero]
    spread = project(camera, np.concatenate(points))[:, 0]
    rim = 2 * FIELD_MM / unit_mm
    first, last = np.nanmin(spread) - rim, np.nanmax(spread) + rim
    right = np.linspace(first, last, int((last - first) * unit_mm / STEP_MM) + 2)
    ways = ways_of(camera, np.column_stack([right, np.full(len(right), middle[1])]))
    through, mirrored = (lookout.look(camera.place_mm, ways, back) for back in (False, True))
    own = part_of(through, lookout.is_part(hero))
    if not own.any():
        return None
    field = _find_field(through.end, own, right * unit_mm)
    level = sum(np.where(np.isin(seen.end, field), seen.weight, 0.0) for seen in (through, mirrored))
    names = tuple(lookout.names[thing] for thing in field)
    return Across(float(middle[1]), unit_mm, right, own, np.where(own, level, np.nan), names)


def _outline(own: np.ndarray) -> dict[str, int]:
    return {"left": int(np.argmax(own)), "right": len(own) - 1 - int(np.argmax(own[::-1]))}


def _find_field(end: np.ndarray, own: np.ndarray, x_mm: np.ndarray) -> list[int]:
    """Return what most rays meet beside either outline; nothing where that is nothing."""
    found = set()
    for side, at in _outline(own).items():
        away = SIDES[side] * (x_mm - x_mm[at])
        beside = end[(away > 0) & (away <= FIELD_MM) & ~own]
        if len(beside):
            found.add(int(np.bincount(beside + 1).argmax()) - 1)
    return sorted(found - {-1})
