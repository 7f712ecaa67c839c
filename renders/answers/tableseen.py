"""The table as the camera sees it: which cells of its map are in sight, and which lie in a glass's shadow."""

from __future__ import annotations

import numpy as np

from brimcast.scene.frame import project

from ..exposures import TABLE_KINDS, Light, caustic_headroom, expose_table
from ..sight import Lookout
from ..stopsmap import measure_stops
from .answer import Lacking, entry
from .study import Frame

# A shadow is looked for from just above the table.
ABOVE_MM = 0.05


def cell_centres(frame: Frame) -> np.ndarray:
    """Return the centres (ny × nx, 3), mm, of the cells of a computed set's table map."""
    x, y = np.meshgrid(frame.x_mm, frame.y_mm)
    return np.stack([x, y, np.zeros_like(x)], axis=-1).reshape(-1, 3)


def see_cells(lookout: Lookout, frame: Frame) -> np.ndarray:
    """Return which cells (ny, nx) the frame shows with nothing before them."""
    camera, cells = frame.built.camera, cell_centres(frame)
    seen = np.all(np.abs(project(camera, cells)[:, :2]) <= 1, axis=1)
    if seen.any():
        ways = cells[seen] - camera.place_mm
        met = lookout.look(camera.place_mm, ways / np.linalg.norm(ways, axis=1)[:, None]).first
        seen[seen] = met == len(frame.built.solids)
    return seen.reshape(len(frame.y_mm), len(frame.x_mm))


def shade_cells(lookout: Lookout, frame: Frame, lamp: str) -> np.ndarray:
    """Return from which cells (ny, nx) a glass, drink or solid prop hides the middle of a lamp."""
    cells = cell_centres(frame) + [0.0, 0.0, ABOVE_MM]
    (centre,) = (each.centre_mm for each in frame.built.lamps if each.name == lamp)
    ways = centre - cells
    met = lookout.look(cells, ways / np.linalg.norm(ways, axis=1)[:, None]).first
    hidden = (met >= 0) & (met < len(frame.built.solids))
    return hidden.reshape(len(frame.y_mm), len(frame.x_mm))


def measure_table(frame: Frame, lookout: Lookout, light: Light, lamp: str) -> dict:
    """Return headroom of the brightest pattern in sight, and how much of a lamp's shadow blocks up.

    Parameters
    ----------
    frame : Frame
        With a picture.
    lookout : Lookout
        On its set.
    light : exposures.Light
        Its light as the set is.
    lamp : str

    Returns
    -------
    dict
        Entries of an answer.
    """
    built, stored = frame.built, frame.stored
    values = {
        "line_headroom_stops": entry(None, None, "stops"),
        "line_mm": entry(None, None, "mm"),
        "line_clipped_cm2": entry(0.0, None, "cm2"),
        "shadow_cm2": entry(0.0, None, "cm2"),
        "shadow_blocked_share": entry(None, None, "%"),
    }
    table = expose_table(built, stored, light)
    if table is None:
        return values
    in_sight = see_cells(lookout, frame)
    focused = expose_table(built, stored, light, TABLE_KINDS[1:])
    line = caustic_headroom(built, stored, *(each * in_sight[..., None] for each in (table, focused)))
    if line:
        values["line_headroom_stops"] = entry(line["headroom_stops"], _peak_error(frame), "stops")
        values["line_mm"] = entry(line["place_mm"], None, "mm")
        values["line_clipped_cm2"] = entry(line["clipped_cm2"], None, "cm2")
    shadow = in_sight & shade_cells(lookout, frame, lamp)
    if shadow.any():
        cell_cm2 = float(frame.x_mm[1] - frame.x_mm[0]) ** 2 / 100
        values["shadow_cm2"] = entry(float(shadow.sum()) * cell_cm2, None, "cm2")
        blocked = measure_stops(table).blocked[shadow].mean()
        values["shadow_blocked_share"] = entry(100 * float(blocked), None, "%")
    return values


def _peak_error(frame: Frame) -> float | None:
    """Return the standard error of the brightest caustic's peak, stops; None where it is not known."""
    light = {lamp: frame.luminous(lamp, TABLE_KINDS[1:]).max() for lamp in frame.stored.lamps}
    brightest = max(light, key=light.get)
    try:
        return frame.caustic(brightest)["peak_over_table_stops"]["standard_error"]
    except Lacking:
        return None
