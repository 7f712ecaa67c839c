"""How far a set's glassware concentrates light, on the table and in the air, and how far it may at most."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter

from brimcast.scene.bodies import mirror_faces
from brimcast.scene.builder import build
from brimcast.scene.built import BuiltSet
from brimcast.scene.lamps import Lamp
from brimcast.shared.colour import BAND_XYZ

from ..lightpass import EFFORTS
from ..peaks import PEAK_DIAMETER_MM, average, find_peak
from ..report import KINDS
from .answer import Lacking
from .heat import least_image, plain_factor
from .slices import raise_table
from .study import Frame, Study

# Heights over the table where the focus is looked for, as shares of the highest glass or prop; then half way
# from the best one to its neighbours, so often, where it is so many times brighter than they.
HEIGHTS = (0.0, 0.05, 0.12, 0.22, 0.36, 0.55)
REFINED, STEEP = 3, 1.25
CELL_MM = 0.5
# Grain that is left counts with the errors, so that few rounds do.
ROUNDS = 3
# The safe side: so many standard errors are added.
ERRORS = 2.0
# Plain light under this share of that at the lamp's aim is none to compare with: its beam ends before.
DIM = 0.02
# Drinks pass heat that they hardly let through as light: of the thirds of the spectrum the one that is
# focused most counts, told from maps so smooth that their grain does not.
LIGHT, THIRDS = BAND_XYZ[:, 1], np.repeat(np.eye(3), (5, 6, 5), axis=1)
SMOOTH_MM = 2.0
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Focus:
    """The brightest spot that a lamp makes at a height.

    Attributes
    ----------
    height_mm : float
    place_mm : (2,) float
    concentration : float
        Its light over what the lamp gives there with nothing in the way, on the same level surface.
    upper : float
        The same on the safe side.
    reference_mm : (3,) float
        Where the plain light is taken: that place, or where the lamp's own beam leaves it dark, its aim.
    """

    height_mm: float
    place_mm: tuple[float, float]
    concentration: float
    upper: float
    reference_mm: np.ndarray


def scan_heights(study: Study) -> dict[float, dict[str, Focus]]:
    """Return the brightest spots of all lamps, by height over the table, mm, and by lamp; the table is at 0.

    Raises
    ------
    Lacking
        Nothing in the set focuses light.
    """
    built = build(study.set_file)
    bodies = _list_lenses(study, built)
    if not bodies:
        raise Lacking("a glass or a prop that focuses light")
    usual = EFFORTS[study.quality]
    cell = min(CELL_MM, built.cell_mm or usual.cell_mm)
    effort = replace(usual, cell_mm=cell, rounds=min(ROUNDS, usual.rounds))
    found: dict[float, dict[str, Focus]] = {}

    def look(height_mm: float) -> None:
        frame = study.frame(built=raise_table(built, height_mm, effort), effort=effort)
        found[height_mm] = {lamp.name: _find_focus(frame, lamp, height_mm, bodies) for lamp in built.lamps}

    top = float(max(points[:, 2].max() for points in bodies))
    for share in HEIGHTS:
        look(share * top)
    for _ in range(REFINED):
        for height in _list_between(found):
            look(height)
    return found


def _list_lenses(study: Study, built: BuiltSet) -> list[np.ndarray]:
    """Return the points (n, 3) of each glass and prop that light goes through or is mirrored by."""
    names = study.set_file.glasses.keys() | study.set_file.props.keys()
    kept = names - mirror_faces(built)
    lenses = (solid for solid in built.solids if solid.name in kept and solid.kind != "black")
    return [solid.mesh.vertices_mm for solid in lenses]


def _list_between(found: dict[float, dict[str, Focus]]) -> list[float]:
    """Return heights half way from the brightest focus to its neighbours, where they are much darker."""
    heights = sorted(found)
    light = [max(focus.concentration for focus in found[height].values()) for height in heights]
    best = int(np.argmax(light))
    return [
        (heights[best] + heights[other]) / 2
        for other in (best - 1, best + 1)
        if 0 <= other < len(heights) and light[best] > STEEP * light[other]
    ]


def _find_focus(frame: Frame, lamp: Lamp, height_mm: float, bodies: list[np.ndarray]) -> Focus:
    """Return a lamp's brightest spot on a raised table, and how bright it may be at most."""
    lowered = next(one for one in frame.built.lamps if one.name == lamp.name)
    up = np.array([0.0, 0.0, height_mm])
    if not len(frame.x_mm):
        return Focus(height_mm, (0.0, 0.0), 1.0, 1.0, lowered.aim_mm + up)
    bare = lowered.band_spectrum * lowered.gel * lowered.scale
    peak = find_peak(frame.x_mm, frame.y_mm, frame.luminous(lamp.name))
    place = np.array([peak.x_mm, peak.y_mm, 0.0])
    here, aim = (plain_factor(lowered, at, UP) for at in (place, lowered.aim_mm))
    reference, factor = (place, here) if here > DIM * aim else (lowered.aim_mm, aim)
    if factor <= 0:
        return Focus(height_mm, (0.0, 0.0), 1.0, 1.0, lowered.aim_mm + up)
    plain = float(LIGHT @ bare) * factor
    straight = average(frame.x_mm, frame.y_mm, frame.luminous(lamp.name, ("direct",)), place[:2]) / plain
    whole = straight + (peak.mean / plain - straight) * _lift(frame, lamp.name, bare)
    doubt = 2.0 ** (ERRORS * _error_stops(frame, lamp.name))
    doubt *= _squeeze(lowered, place, bodies, frame.report["cell_mm"])
    # No optics make a lamp look brighter than it is: its light from all sides is the most.
    most = np.pi / factor
    upper = max(whole, straight + (whole - straight) * doubt)
    where = (float(place[0]), float(place[1]))
    return Focus(height_mm, where, whole, float(min(upper, most)), reference + up)


def _lift(frame: Frame, lamp: str, bare: np.ndarray) -> float:
    """Return how much more than light the third of the spectrum is concentrated that is most; 1 and more."""
    bands = frame.table(lamp, KINDS)
    cells = SMOOTH_MM / frame.report["cell_mm"]
    peaks = [
        float(gaussian_filter(np.tensordot(weights, bands, 1), cells).max() / (weights @ bare))
        for weights in (LIGHT, *THIRDS)
        if weights @ bare > 0
    ]
    return max(1.0, max(peaks) / peaks[0]) if peaks[0] > 0 else 1.0


def _error_stops(frame: Frame, lamp: str) -> float:
    kinds = frame.report["caustics"][lamp].values()
    errors = [kind["peak_over_table_stops"]["standard_error"] for kind in kinds]
    known = [error for error in errors if error is not None]
    return max(known, default=float(np.log2(1 + (frame.report["relative_error"][lamp] or 0.0))))


def _squeeze(lamp: Lamp, place_mm: np.ndarray, bodies: list[np.ndarray], cell_mm: float) -> float:
    """Return how much brighter than the peak's disc a spot in it may be.

    At most all of its light lies in one image of the lamp. A body images no nearer to its axis than half its
    width, or than the spot is.
    """
    far = []
    for points in bodies:
        low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
        axis = (low + high) / 2
        far.append(max(float((high - low).min() / 2), float(np.linalg.norm(place_mm[:2] - axis))))
    seen = np.hypot(PEAK_DIAMETER_MM, cell_mm)
    return float(max(1.0, seen / least_image(lamp, min(far))) ** 2)
