"""Glasses as they come out of the making: a seeded set that fills a tolerance band."""

from dataclasses import dataclass

import numpy as np

from .library import SHAPES, Vessel, vessel, vessel_from_outline

MOST = 1000


@dataclass(frozen=True, eq=False)
class Variant:
    """One glass of the band.

    Parameters
    ----------
    vessel : Vessel
    wall_off_mm, diameter_off_mm : float
        How much thicker its wall and how much wider its widest diameter is than asked for, mm.
    """

    vessel: Vessel
    wall_off_mm: float
    diameter_off_mm: float


def variants(glass, wall_pm_mm, diameter_pm_mm, count, seed=1, **measures):
    """Return glasses whose wall and diameter lie anywhere within plus or minus a tolerance.

    Wall and diameter vary independently and evenly, stratified, so that a few glasses already reach to
    both ends of the band. The diameter varies in proportion over the glass, but not in a stem of the
    library; height, base and foot's thickness stay.

    Parameters
    ----------
    glass : str or (n, 2) float
        A name of the library, or readings of height and outer diameter, mm, from the foot up.
    wall_pm_mm, diameter_pm_mm : float
        Half the band's width, mm; 0 keeps the measure.
    count : int
        How many glasses.
    seed : int
        Start of the random numbers; the same gives the same glasses.
    **measures
        Those of `library.vessel` for a name, of `library.vessel_from_outline` for readings.

    Returns
    -------
    tuple of Variant

    Raises
    ------
    ValueError
        A tolerance is negative or as large as what it belongs to, the count is out of range, or a glass
        of the band cannot be made.
    """
    named = isinstance(glass, str)
    wall_mm, widest_mm = _nominal(glass, measures)
    bands = {"wall_pm_mm": (wall_pm_mm, wall_mm), "diameter_pm_mm": (diameter_pm_mm, widest_mm)}
    for key, (value, most) in bands.items():
        if not (value == 0 or 0 < value < most):
            raise ValueError(f"{key}: {value:g} mm; it must be 0 or more and less than {most:g} mm")
    if not 1 <= count <= MOST:
        raise ValueError(f"count: {count}; it must be 1 to {MOST}")
    offs = _spread(count, seed) * (wall_pm_mm, diameter_pm_mm)
    made = []
    for wall_off_mm, diameter_off_mm in offs.tolist():
        if named:
            asked = dict(measures)
            if wall_pm_mm:
                asked["wall_mm"] = wall_mm + wall_off_mm
            if diameter_pm_mm:
                asked |= _widened(glass, measures, (widest_mm + diameter_off_mm) / widest_mm)
            one = vessel(glass, **asked)
        else:
            points = np.array(glass, dtype=float)
            points[:, 1] *= (widest_mm + diameter_off_mm) / widest_mm
            walls = _thicker(measures["wall_mm"], wall_off_mm)
            one = vessel_from_outline(points, **{**measures, "wall_mm": walls})
        made.append(Variant(one, wall_off_mm, diameter_off_mm))
    return tuple(made)


def _nominal(glass, measures):
    """Return the least wall and the widest diameter asked for, mm."""
    if not isinstance(glass, str):
        wall = measures["wall_mm"]
        least_mm = wall if isinstance(wall, int | float) else min(thickness for _, thickness in wall)
        return float(least_mm), float(np.array(glass, dtype=float)[:, 1].max())
    vessel(glass, **measures)  # Names what is wrong with the glass itself.
    shape = SHAPES[glass]
    # What has no wall to ask for refuses one by itself.
    wall_mm = np.inf if shape.lid else measures.get("wall_mm", shape.measures.wall_mm[0][1])
    widest_mm = measures.get("diameter_mm", shape.points[shape.anchors["diameter_mm"]][1])
    return float(wall_mm), float(widest_mm)


def _widened(name, measures, factor):
    """Return the diameters to ask for: the widest, and others that were asked for, times a factor."""
    shape = SHAPES[name]
    widest_mm = shape.points[shape.anchors["diameter_mm"]][1]
    asked = {key: measures[key] for key in shape.anchors if key in measures}
    return {key: value * factor for key, value in {"diameter_mm": widest_mm, **asked}.items()}


def _thicker(wall_mm, off_mm):
    if isinstance(wall_mm, int | float):
        return wall_mm + off_mm
    return tuple((height, thickness + off_mm) for height, thickness in wall_mm)


def _spread(count, seed):
    """Return (count, 2) numbers in -1 … 1: in each column one in each of count equal parts, shuffled."""
    random = np.random.default_rng(seed)
    strata = np.stack([random.permutation(count) for _ in range(2)], axis=1)
    return 2 * (strata + random.random((count, 2))) / count - 1
