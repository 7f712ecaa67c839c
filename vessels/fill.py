"""The drink's body up to a level, and what a glass holds."""

import numpy as np

from .lathe import turn
from .offset import offset
from .outline import CHORD_ERROR_MM, NORMAL_OFF_DEG, joined, line, thinned

OVERLAP_MM = 0.05
ML = 1000.0  # mm3
ACCURACY = (CHORD_ERROR_MM, NORMAL_OFF_DEG)


def fill(inner, fill_height_mm, overlap_mm=OVERLAP_MM, accuracy=ACCURACY, sections=None):
    """Return the body of a drink in a glass.

    The body reaches a little into the glass, so that no air is left between them; where both are,
    the glass counts.

    Parameters
    ----------
    inner : Outline
        Inside of the glass from the axis out and up to the rim's crest.
    fill_height_mm : float
        Height of the flat surface above the table, mm.
    overlap_mm : float
        How far the body reaches into the glass; must stay well under the thinnest wall.
    accuracy : (float, float)
        Chord error, mm, and largest angle of a normal off its chord, degrees (see ``outline.thinned``).
    sections : int, optional
        Facets per turn; default from the chord error.

    Returns
    -------
    Mesh

    Raises
    ------
    ValueError
        The surface would lie under the inner base or over the rim.
    """
    section = thinned(fill_section(inner, fill_height_mm, overlap_mm), *accuracy)
    return turn(section, sections, accuracy[0])


def fill_section(inner, fill_height_mm, overlap_mm=OVERLAP_MM):
    """Return the section of the drink's body: along the wall, then along the surface to the axis."""
    floor_mm, crest_mm = inner.points_mm[0, 1], inner.points_mm[-1, 1]
    if not floor_mm < fill_height_mm <= crest_mm - 2 * overlap_mm:
        raise ValueError(
            f"fill height {fill_height_mm:g} mm; it must lie between the inner base, {floor_mm:g} mm, "
            f"and the rim, {crest_mm:g} mm"
        )
    wall = offset(inner, overlap_mm) if overlap_mm > 0 else inner
    place = wall.place_at_height(fill_height_mm, last=False)
    wetted = wall.cut(0, place)
    wetted.points_mm[-1, 1] = fill_height_mm
    return joined([wetted, _surface(wetted.points_mm[-1], fill_height_mm)])


def capacity_ml(inner, height_mm=None):
    """Return what the inside of a glass holds up to a height above the table (default its crest), ml."""
    if height_mm is not None:
        floor_mm, crest_mm = inner.points_mm[0, 1], inner.points_mm[-1, 1]
        if not floor_mm <= height_mm <= crest_mm:
            raise ValueError(f"height {height_mm:g} mm; the inside goes from {floor_mm:g} to {crest_mm:g} mm")
        if height_mm == floor_mm:
            return 0.0
        inner = inner.cut(0, inner.place_at_height(height_mm, last=False))
    return _swept_mm3(inner) / ML


def fill_height_for_ml(inner, volume_ml):
    """Return the height of the surface above the table, mm, when a volume is poured in.

    Raises
    ------
    ValueError
        The glass does not hold that much.
    """
    from scipy.optimize import brentq

    most_ml = capacity_ml(inner)
    if not 0 < volume_ml <= most_ml:
        raise ValueError(f"volume {volume_ml:g} ml; the glass holds {most_ml:.1f} ml to the brim")
    floor_mm, crest_mm = inner.points_mm[0, 1], inner.points_mm[-1, 1]
    if volume_ml > most_ml * (1 - 1e-12):
        return float(crest_mm)
    return float(brentq(lambda z: capacity_ml(inner, z) - volume_ml, floor_mm, crest_mm, xtol=1e-9))


def _surface(edge_mm, fill_height_mm):
    # One outline from the glass to the axis: a meniscus would take the place of the straight line.
    return line(edge_mm, (0.0, fill_height_mm))


def _swept_mm3(outline):
    """Return the volume between an outline and the axis: the integral of pi r^2 dz.

    Five points are exact for the cubics between the outline's points.
    """
    points, weights = np.polynomial.legendre.leggauss(5)
    total = 0.0
    for u, weight in zip((points + 1) / 2, weights / 2, strict=True):
        position, slope = outline.between(u)
        total += weight * (position[:, 0] ** 2 * slope[:, 1]).sum()
    return float(np.pi * total)
