"""The table as the camera sees it: the brightest line in sight, and the shadow of the glass."""

from __future__ import annotations

import numpy as np

from brimcast.scene.frame import project

from ..exposures import TABLE_KINDS, Light, caustic_headroom, expose_table
from ..sight import Lookout
from ..sightgrid import unit, whole_frame
from .answer import Lacking, entry
from .study import Frame

# A shadow is looked for from just above the table.
ABOVE_MM = 0.05
# Rays across the picture at least, for the shadow's area.
LEAST_WIDE = 400


def cell_centres(frame: Frame) -> np.ndarray:
    """Return the centres (ny × nx, 3), mm, of the cells of a computed set's table map."""
    x, y = np.meshgrid(frame.x_mm, frame.y_mm)
    return np.stack([x, y, np.zeros_like(x)], axis=-1).reshape(-1, 3)


def see_cells(lookout: Lookout, frame: Frame) -> np.ndarray:
    """Return which cells (ny, nx) the frame shows with nothing before them."""
    camera, cells = frame.built.camera, cell_centres(frame)
    seen = np.all(np.abs(project(camera, cells)[:, :2]) <= 1, axis=1)
    met = lookout.look(camera.place_mm, unit(cells[seen] - camera.place_mm)).first
    seen[seen] = met == len(frame.built.solids)
    return seen.reshape(len(frame.y_mm), len(frame.x_mm))


def measure_shadow(lookout: Lookout, lamp: str, blocked: np.ndarray) -> dict:
    """Return how much of the table in the picture lies in a glass's shadow, and how much of that blocks up.

    In shadow is what a glass, drink or solid prop hides the middle of a lamp from.

    Parameters
    ----------
    lookout : Lookout
    lamp : str
    blocked : (h, w) bool
        Pixels of the picture that block up.

    Returns
    -------
    dict
        Entries of an answer.
    """
    built = lookout.built
    solids, finer = len(built.solids), -(-LEAST_WIDE // blocked.shape[1])
    blocked = blocked.repeat(finer, axis=0).repeat(finer, axis=1)
    grid = whole_frame(built.camera, *blocked.shape)
    ways = grid.ways()
    seen = lookout.look(built.camera.place_mm, ways)
    table = seen.first == solids
    places = seen.place_mm[table] + [0.0, 0.0, ABOVE_MM]
    (centre,) = (each.centre_mm for each in built.lamps if each.name == lamp)
    met = lookout.look(places, unit(centre - places)).first
    shadow = table.copy()
    shadow[table] = (met >= 0) & (met < solids)
    values = {
        "shadow_cm2": entry(0.0, None, "cm2"),
        "shadow_blocked_share": entry(None, None, "%"),
    }
    if shadow.any():
        # A pixel covers so much of the level table.
        slant = (ways[shadow] @ built.camera.forward) / np.abs(ways[shadow, 2])
        area = grid.area_mm2(seen.place_mm[shadow]) * slant
        values["shadow_cm2"] = entry(float(area.sum()) / 100, None, "cm2")
        share = float(area @ blocked.ravel()[shadow] / area.sum())
        values["shadow_blocked_share"] = entry(100 * share, None, "%")
    return values


def measure_line(frame: Frame, lookout: Lookout, light: Light) -> dict:
    """Return the headroom of the brightest pattern on the table that the picture shows.

    Parameters
    ----------
    frame : Frame
        With a picture.
    lookout : Lookout
        On its set.
    light : exposures.Light
        Its light as the set is.

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
    return values


def _peak_error(frame: Frame) -> float | None:
    """Return the standard error of the brightest caustic's peak, stops; None where it is not known."""
    light = {lamp: frame.luminous(lamp, TABLE_KINDS[1:]).max() for lamp in frame.stored.lamps}
    brightest = max(light, key=light.get)
    try:
        return frame.caustic(brightest)["peak_over_table_stops"]["standard_error"]
    except Lacking:
        return None
