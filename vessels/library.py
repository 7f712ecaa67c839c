"""Glasses by name, by their measures, or from a table of calliper readings."""

from dataclasses import dataclass, replace

import numpy as np

from .curve import smooth_curve
from .fill import OVERLAP_MM, Fineness, capacity_ml, fill, fill_height_for_ml, head, overlap_of_layer
from .lathe import sections_for, turn
from .offset import offset
from .outline import Outline, accuracy_of, joined, line, thinned
from .shapes import SHAPES, Shape
from .wall import Measures, close_wall

__all__ = ["SHAPES", "Shape", "Vessel", "vessel", "vessel_from_outline"]

_OVERLAP_SHARE = 0.25  # of the thinnest wall that the drink may reach into
_STEM_SHARE = 0.4  # of the widest diameter: what is narrower is a stem
_FILLET_SHARE = 0.15  # of the diameter at the base; common practice


@dataclass(frozen=True, eq=False)
class Vessel:
    """A glass standing on the table, its axis on z.

    Parameters
    ----------
    name : str
    height_mm : float
        Height of the rim's crest above the table, mm.
    outer, inner : Outline
        Outside from the axis under the foot to the rim's crest; inside from the axis to the crest.
    section : Outline
        Closed section of the glass.
    foot_radius_mm, rim_radius_mm : float
        Largest radius of the foot, outer radius of the rim, mm.
    thinnest_mm : float
        Least thickness of wall and base, mm.
    closed : bool
        A can: sheet metal with a lid. Outer and inner both run from axis to axis, and the section is
        what its outside encloses, since nobody sees the room inside.
    """

    name: str
    height_mm: float
    outer: Outline
    inner: Outline
    section: Outline
    foot_radius_mm: float
    rim_radius_mm: float
    thinnest_mm: float
    closed: bool = False

    @property
    def base_mm(self):
        """Height of the inside's lowest point above the table, mm."""
        return float(self.inner.points_mm[0, 1])

    def glass_mesh(self, detail=1.0, sections=None):
        """Return the glass as a closed Mesh.

        Parameters
        ----------
        detail : float
            1: chord error 0.002 mm. 0.5: half as many points each way, four times the chord error.
        sections : int, optional
            Facets per turn; default from the chord error.
        """
        accuracy = accuracy_of(detail)
        return turn(thinned(self.section, *accuracy), sections, accuracy[0])

    def drink_mesh(self, fill_height_mm, detail=1.0, sections=None, wetting=None, from_mm=None, layer=0):
        """Return the body of a drink up to a height above the table; it reaches a little into the glass.

        ``layer`` is the number of a layer from below, from 0; see `fill.fill` for the others.
        """
        return fill(self.inner, fill_height_mm, self._fineness(detail, sections, layer), wetting, from_mm)

    def head_mesh(self, fill_height_mm, height_mm, dome_mm, detail=1.0, sections=None, layer=1):
        """Return the body of a head of foam on a drink, itself a layer; see `fill.head`."""
        return head(self.inner, fill_height_mm, height_mm, dome_mm, self._fineness(detail, sections, layer))

    def _fineness(self, detail, sections, layer):
        """Return the Fineness of a drink's body."""
        if self.closed:
            raise ValueError(f"a {self.name} is closed; no drink shows in it")
        overlap_mm = overlap_of_layer(min(OVERLAP_MM, _OVERLAP_SHARE * self.thinnest_mm), layer)
        chord_error_mm, normal_off_deg = accuracy_of(detail)
        # As many facets as the glass has and a chord error within the overlap: no air gets between.
        if sections is None:
            sections = sections_for(self.section.points_mm[:, 0].max(), chord_error_mm)
        return Fineness(overlap_mm, (min(chord_error_mm, overlap_mm / 2), normal_off_deg), sections)

    def capacity_ml(self, height_mm=None):
        """Return what the glass holds up to a height above the table (default to the brim), ml."""
        return capacity_ml(self.inner, height_mm)

    def fill_height_for_ml(self, volume_ml, wetting=None):
        """Return the surface's height above the table, mm, for a volume; see `fill.fill_height_for_ml`."""
        return fill_height_for_ml(self.inner, volume_ml, wetting)


def vessel(name, **overrides):
    """Return a glass of the library, with other measures where asked.

    Parameters
    ----------
    name : str
        A key of ``SHAPES``.
    **overrides : float
        ``height_mm``, ``diameter_mm`` (the widest), ``rim_diameter_mm``, ``foot_diameter_mm``,
        ``wall_mm``, ``base_mm``, as far as the shape has them. A diameter that is not asked for keeps
        its proportion to the widest, points between keep theirs to the height.

    Raises
    ------
    ValueError
        No such glass, no such measure, or the measures do not fit together.
    """
    if name not in SHAPES:
        raise ValueError(f"no glass is called {name!r}; there are {', '.join(sorted(SHAPES))}")
    shape = SHAPES[name]
    for key, value in overrides.items():
        if key not in shape.allowed:
            raise ValueError(f"{name} has no {key}; it has {', '.join(shape.allowed)}")
        if not (np.isfinite(value) and value > 0):
            raise ValueError(f"{key}: {value:g} mm; it must be more than 0")
    points = _stretched(shape, overrides)
    if shape.lid:
        return _canned(name, points, smooth_curve(points, shape.corners), shape)
    given = {key: float(overrides[key]) for key in ("wall_mm", "base_mm") if key in overrides}
    if not shape.base:
        given["base_mm"] = shape.measures.base_mm * points[-1, 0] / shape.points[-1][0]
    return _made(name, points, smooth_curve(points, shape.corners), replace(shape.measures, **given))


def vessel_from_outline(
    heights_diameters_mm, wall_mm, base_mm, corners=(), inside_mm=None, name="measured", **finish
):
    """Return a glass from calliper readings of its outside.

    Parameters
    ----------
    heights_diameters_mm : (n, 2) float
        Height and diameter, mm, from the foot's edge on the table up to the rim.
    wall_mm : float or pairs of (height, thickness)
        Thickness of the wall, mm.
    base_mm : float
        Height of the inside's lowest point above the table, mm; on a stem, of the bowl's.
    corners : iterable of int, or mapping of int to float
        Points, from 0, that stay sharp, or the radius that rounds them, mm.
    inside_mm : (n, 2) float, optional
        Readings of the inside, height and diameter, mm, from the base up to the rim; the wall's
        thickness is then not used.
    **finish
        Others of ``wall.Measures``: ``fillet_mm`` (default None over a stem, else 0.15 of the diameter
        at the base), ``heel_mm``, ``hollow_mm``, ``rim_mm``.

    Raises
    ------
    OutlineError
        A reading is wrong; ``index`` says which.
    ValueError
        The measures do not fit together.
    """
    points = np.asarray(heights_diameters_mm, dtype=float)
    outer = smooth_curve(points, corners)
    inner = None if inside_mm is None else smooth_curve(inside_mm)
    if "fillet_mm" not in finish:
        stemmed = points[:, 1].min() < _STEM_SHARE * points[:, 1].max()
        finish["fillet_mm"] = None if stemmed else _FILLET_SHARE * np.interp(base_mm, *points.T)
    measures = Measures(wall_mm=wall_mm, base_mm=base_mm, **finish)
    return _made(name, points, outer, measures, inner)


def _made(name, points, outer, measures, inner=None):
    wall = close_wall(outer, measures, inner)
    foot = points[points[:, 0] < min(measures.base_mm, 0.1 * points[-1, 0]), 1]
    return Vessel(
        name=name,
        height_mm=float(points[-1, 0]),
        outer=wall.outer,
        inner=wall.inner,
        section=wall.section,
        foot_radius_mm=float(foot.max() / 2),
        rim_radius_mm=float(points[-1, 1] / 2),
        thinnest_mm=wall.thinnest_mm,
    )


def _canned(name, points, side, shape):
    """Return a closed can: inside the seam the outside goes down to the lid, and over it to the axis."""
    lid, top_mm = shape.lid, points[-1, 0]
    rim = close_wall(side, replace(shape.measures, wall_mm=lid.seam_mm, rim_mm=None))
    lid_mm = top_mm - lid.depth_mm
    well = rim.inner.cut(rim.inner.place_at_height(lid_mm), rim.inner.end).turned_back()
    outer = joined([rim.outer, well, line(well.points_mm[-1], (0.0, lid_mm))])
    # The room ends under the lid; what the seam folds up is full of metal.
    under_mm = lid_mm - lid.sheet_mm
    room = offset(rim.outer, -lid.sheet_mm)
    room = room.cut(0, room.place_at_height(under_mm, last=False))
    room.points_mm[-1, 1] = under_mm
    return Vessel(
        name=name,
        height_mm=float(top_mm),
        outer=outer,
        inner=joined([room, line(room.points_mm[-1], (0.0, under_mm))]),
        section=outer,
        foot_radius_mm=float(points[0, 1] / 2),
        rim_radius_mm=float(points[-1, 1] / 2),
        thinnest_mm=lid.sheet_mm,
        closed=True,
    )


def _stretched(shape, overrides):
    """Return the shape's points (n, 2), height and diameter in mm, with the measures asked for."""
    points = np.array(shape.points)
    widest = overrides.get("diameter_mm", points[shape.anchors["diameter_mm"], 1])
    common = widest / points[shape.anchors["diameter_mm"], 1]
    factors = {}
    for key, index in shape.anchors.items():
        factors[index] = overrides[key] / points[index, 1] if key in overrides else common
    factors |= dict.fromkeys(shape.stem, 1.0)
    if 1 in shape.corners:
        # The foot's edge stands upright.
        factors[1] = factors[0]
    at = sorted(factors)
    points[:, 1] *= np.interp(points[:, 0], points[at, 0], [factors[index] for index in at])
    points[:, 0] *= overrides.get("height_mm", points[-1, 0]) / points[-1, 0]
    return points
