"""The drink's body up to a level, its layers and its head, and what a glass holds."""

from dataclasses import dataclass

import numpy as np

from .lathe import sweep, turn
from .meniscus import climb
from .offset import offset
from .outline import CHORD_ERROR_MM, NORMAL_OFF_DEG, arc, joined, line, right_of, thinned

OVERLAP_MM = 0.05
ML = 1000.0  # mm3
# A layer reaches so far into the one below it, and a head into its drink.
LAP_MM = 0.1
# A surface that climbs stays so far under the crest.
_CLEAR_MM = 3 * OVERLAP_MM
# Layers that lie on one another reach into the glass by turns less, so that they share no face there.
_LESS = 0.6
# A surface that climbs ends where it is so near to the glass.
_BLUNT_MM = 0.02
_ROUNDS = 6


@dataclass(frozen=True)
class Fineness:
    """How closely the body of a drink is made.

    Parameters
    ----------
    overlap_mm : float
        How far the body reaches into the glass; must stay well under the thinnest wall.
    accuracy : (float, float)
        Chord error, mm, and largest angle of a normal off its chord, degrees (see ``outline.thinned``).
    sections : int, optional
        Facets per turn; default from the chord error.
    """

    overlap_mm: float = OVERLAP_MM
    accuracy: tuple[float, float] = (CHORD_ERROR_MM, NORMAL_OFF_DEG)
    sections: int | None = None


def fill(inner, fill_height_mm, fineness=Fineness(), wetting=None, from_mm=None):
    """Return the body of a drink in a glass.

    The body reaches a little into the glass, so that no air is left between them; where both are,
    the glass counts.

    Parameters
    ----------
    inner : Outline
        Inside of the glass from the axis out and up to the rim's crest.
    fill_height_mm : float
        Height of the flat surface above the table, mm.
    fineness : Fineness
    wetting : Wetting, optional
        With it the surface climbs up the wall; its middle is at the height.
    from_mm : float, optional
        Height above which a layer of the drink lies; left out, all of it.

    Returns
    -------
    Mesh

    Raises
    ------
    ValueError
        The surface would lie under the inner base or over the rim.
    """
    section = fill_section(inner, fill_height_mm, fineness.overlap_mm, wetting, from_mm)
    return _turned(section, fineness)


def _turned(section, fineness):
    return turn(thinned(section, *fineness.accuracy), fineness.sections, fineness.accuracy[0])


def overlap_of_layer(overlap_mm, number):
    """Return how far a layer reaches into the glass, mm, by its number from below, from 0."""
    return overlap_mm * (_LESS if number % 2 else 1.0)


def fill_section(inner, fill_height_mm, overlap_mm=OVERLAP_MM, wetting=None, from_mm=None):
    """Return the section of the drink's body: along the wall, then along the surface to the axis.

    Of a layer, first from the axis along the level below it.
    """
    _check_level(inner, fill_height_mm, overlap_mm)
    wall = offset(inner, overlap_mm) if overlap_mm > 0 else inner
    edge = climb(inner, fill_height_mm, wetting, _CLEAR_MM) if wetting else None
    if edge is not None and from_mm is not None and edge.points_mm[:, 1].min() < from_mm + 2 * LAP_MM:
        edge = None  # bent down further than the layer is thick
    if edge is None:
        place = wall.place_at_height(fill_height_mm, last=False)
        surface = None
    else:
        place, surface = _led_into_wall(inner, wall, edge)
    side = _side(wall, place, from_mm)
    if surface is None:
        side[-1].points_mm[-1, 1] = fill_height_mm
        surface = line(side[-1].points_mm[-1], (0.0, fill_height_mm))
    return joined([*side, surface])


def _side(wall, place, from_mm):
    """Return a body's outlines up to a place on its wall, of a layer with the level that it begins on."""
    if from_mm is None:
        return [wall.cut(0, place)]
    wetted = wall.cut(wall.place_at_height(from_mm, last=False), place)
    wetted.points_mm[0, 1] = from_mm
    return [line((0.0, from_mm), wetted.points_mm[0]), wetted]


def _check_level(inner, fill_height_mm, overlap_mm):
    floor_mm, crest_mm = inner.points_mm[0, 1], inner.points_mm[-1, 1]
    if not floor_mm < fill_height_mm <= crest_mm - 2 * overlap_mm:
        raise ValueError(
            f"fill height {fill_height_mm:g} mm; it must lie between the inner base, {floor_mm:g} mm, "
            f"and the rim, {crest_mm:g} mm"
        )


def head(inner, fill_height_mm, height_mm, dome_mm, fineness=Fineness()):
    """Return the body of a head of foam on a drink.

    Parameters
    ----------
    inner, fineness
        As for `fill`.
    fill_height_mm : float
        Height of the drink's surface above the table, mm.
    height_mm : float
        From there to the top of the head, mm.
    dome_mm : float
        How much higher its middle stands than its edge, mm.

    Returns
    -------
    Mesh
        It reaches a little into the drink and into the glass.

    Raises
    ------
    ValueError
        Its edge would stand over the rim, or its dome is more than a half ball.
    """
    overlap_mm = fineness.overlap_mm
    edge_mm, crest_mm = fill_height_mm + height_mm - dome_mm, inner.points_mm[-1, 1]
    if edge_mm > crest_mm - 2 * overlap_mm:
        text = f"its edge would stand {edge_mm - crest_mm + 2 * overlap_mm:.1f} mm over the rim"
        raise ValueError(f"{height_mm:g} mm with a dome of {dome_mm:g} mm: {text}")
    wall = offset(inner, overlap_mm) if overlap_mm > 0 else inner
    side = _side(wall, wall.place_at_height(edge_mm, last=False), fill_height_mm - LAP_MM)
    rim_mm = side[-1].points_mm[-1]
    rim_mm[1] = edge_mm
    if dome_mm > rim_mm[0]:
        text = f"a dome of {dome_mm:g} mm is more than a half ball; allowed: up to {rim_mm[0]:.1f} mm"
        raise ValueError(text)
    top = line(rim_mm, (0.0, edge_mm))
    if dome_mm > 0:
        ball_mm = (rim_mm[0] ** 2 + dome_mm**2) / (2 * dome_mm)
        start_deg = np.degrees(np.arcsin((ball_mm - dome_mm) / ball_mm))
        top = arc((0.0, edge_mm + dome_mm - ball_mm), ball_mm, start_deg, 90)
    return _turned(joined([*side, top]), fineness)


def held_ml(inner, fill_height_mm, wetting=None):
    """Return the volume of a drink, ml, by the height of its surface's middle, with what climbs the wall."""
    edge = climb(inner, fill_height_mm, wetting, _CLEAR_MM) if wetting else None
    if edge is None:
        return capacity_ml(inner, fill_height_mm)
    wetted = inner.cut(0, inner.place_at_height(edge.points_mm[0, 1], last=False))
    return (sweep(wetted)[0] + sweep(edge)[0]) / ML


def capacity_ml(inner, height_mm=None):
    """Return what the inside of a glass holds up to a height above the table (default its crest), ml."""
    if height_mm is not None:
        floor_mm, crest_mm = inner.points_mm[0, 1], inner.points_mm[-1, 1]
        if not floor_mm <= height_mm <= crest_mm:
            raise ValueError(f"height {height_mm:g} mm; the inside goes from {floor_mm:g} to {crest_mm:g} mm")
        if height_mm == floor_mm:
            return 0.0
        inner = inner.cut(0, inner.place_at_height(height_mm, last=False))
    return sweep(inner)[0] / ML


def fill_height_for_ml(inner, volume_ml, wetting=None):
    """Return the height of the surface (of its middle) above the table, mm, when a volume is poured in.

    With a `wetting`, the volume includes what climbs up the wall.

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
    level_mm = float(brentq(lambda z: capacity_ml(inner, z) - volume_ml, floor_mm, crest_mm, xtol=1e-9))
    if wetting is None:
        return level_mm
    # What climbs hardly changes with the level: what is too much is taken off, a few times over.
    target = volume_ml
    for _ in range(_ROUNDS):
        over = held_ml(inner, level_mm, wetting) - volume_ml
        if abs(over) < 1e-4 * volume_ml:
            break
        target = max(target - over, 0.02 * volume_ml)
        level_mm = float(brentq(lambda z, t=target: capacity_ml(inner, z) - t, floor_mm, crest_mm, xtol=1e-9))
    return level_mm


def _led_into_wall(inner, wall, edge):
    """Return where a surface that climbs goes through the body's wall, and the surface from there on.

    The wedge of drink at its very edge is cut off square to the glass: a ray starts anew a thousandth of a
    millimetre from a face, which would take it through both sides of a wedge at once.
    """
    from scipy.optimize import brentq

    contact = edge.points_mm[0]
    along = inner.at(inner.place_at_height(contact[1], last=False))[1]
    into_glass = right_of(along)

    def gap_mm(place):
        return float((contact - edge.at(place)[0]) @ into_glass)

    if gap_mm(edge.end) > _BLUNT_MM:
        wide = int(np.argmax((contact - edge.points_mm) @ into_glass > _BLUNT_MM))
        edge = edge.cut(brentq(lambda place: gap_mm(place) - _BLUNT_MM, 0, wide, xtol=1e-9), edge.end)
    start = edge.points_mm[0]
    beyond = (wall.points_mm - start) @ along >= 0
    crossed = np.flatnonzero(beyond[:-1] != beyond[1:])
    away_mm = np.hypot(*(wall.points_mm - start).T)
    if len(crossed):
        near = crossed[away_mm[crossed].argmin()]
        place = brentq(lambda at: float((wall.at(at)[0] - start) @ along), near, near + 1, xtol=1e-9)
    else:
        place = float(away_mm.argmin())
    return place, joined([line(wall.at(place)[0], start), edge])
