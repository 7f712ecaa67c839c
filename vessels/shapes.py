"""The kinds of glass that are known by name, and their usual measures.

The tasting glass follows ISO 3591. The others are common practice: sizes that the trade pours into, no one
maker's glass stands behind them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from .wall import Measures


@dataclass(frozen=True)
class Lid:
    """What closes a can.

    Parameters
    ----------
    depth_mm : float
        How far the lid lies under the top of the seam, mm.
    seam_mm : float
        Thickness of the seam round it, mm.
    sheet_mm : float
        Thickness of the sheet that the can is made of, mm.
    """

    depth_mm: float
    seam_mm: float
    sheet_mm: float


@dataclass(frozen=True)
class Shape:
    """A kind of glass: an outside in millimetres that its measures stretch.

    Parameters
    ----------
    points : tuple of (float, float)
        Height and diameter, mm, from the foot up.
    measures : Measures
    corners : mapping of int to float
        Radius in mm at the points that are corners.
    anchors : mapping of str to int
        Name of a diameter that can be asked for -> the point that has it. ``diameter_mm`` is the
        widest; diameters between two anchors are stretched in between.
    stem : tuple of int
        Points whose diameter stays as it is.
    base : bool
        Whether ``base_mm`` can be asked for; otherwise it goes with the height.
    lid : Lid, optional
        Makes it a closed can of sheet metal; ``measures`` then shape its outside alone.
    """

    points: tuple[tuple[float, float], ...]
    measures: Measures
    corners: Mapping[int, float] = field(default_factory=dict)
    anchors: Mapping[str, int] = field(default_factory=dict)
    stem: tuple[int, ...] = ()
    base: bool = True
    lid: Lid | None = None

    @property
    def allowed(self):
        """Names of the measures that can be asked for."""
        made = () if self.lid else ("wall_mm", *(("base_mm",) if self.base else ()))
        return ("height_mm", *self.anchors, *made)


def _upright(points, diameter=-1, **measures):
    """Return a shape without stem, its widest point and its foot free to be asked for."""
    count = len(points)
    anchors = {"foot_diameter_mm": 0, "diameter_mm": diameter % count}
    if diameter % count < count - 1:
        anchors["rim_diameter_mm"] = count - 1
    return Shape(points=points, measures=Measures(**measures), anchors=anchors)


# Without a rim of their own: straight or nearly straight, widest at the top.
_TUMBLERS = {
    "tumbler": _upright(
        ((0.0, 70.0), (90.0, 70.0)), wall_mm=2.5, base_mm=10.0, fillet_mm=5.0, heel_mm=3.0, hollow_mm=0.5
    ),
    "highball": _upright(
        ((0.0, 62.0), (150.0, 70.0)), wall_mm=2.2, base_mm=12.0, fillet_mm=7.0, heel_mm=3.5, hollow_mm=0.8
    ),
    "collins": _upright(
        ((0.0, 58.0), (168.0, 62.0)), wall_mm=1.8, base_mm=9.0, fillet_mm=5.0, heel_mm=3.0, hollow_mm=0.8
    ),
    "rocks": _upright(
        ((0.0, 76.0), (92.0, 85.0)), wall_mm=3.0, base_mm=18.0, fillet_mm=8.0, heel_mm=5.0, hollow_mm=1.2
    ),
    "pint": _upright(
        ((0.0, 62.0), (152.0, 90.0)), wall_mm=2.3, base_mm=9.0, fillet_mm=8.0, heel_mm=3.0, hollow_mm=1.5
    ),
    "shot": _upright(
        ((0.0, 40.0), (60.0, 49.0)), wall_mm=2.6, base_mm=15.0, fillet_mm=6.0, heel_mm=2.5, hollow_mm=0.6
    ),
}

_STEMWARE = {
    # ISO 3591:1977, wine-tasting glass: total 155, bowl 100, rim 46, widest 65, stem 9, foot 65, wall
    # 0.8 mm, 215 ml (published_values.yaml#vessel_geometry/iso3591_wine_glass). The curve between is ours.
    "tasting": Shape(
        points=(
            (0.0, 65.0), (1.8, 65.0), (3.2, 46.0), (5.5, 22.0), (11.0, 10.6), (20.0, 9.0), (44.0, 9.0),
            (51.0, 11.0), (55.0, 18.0), (60.0, 34.0), (67.0, 49.6), (77.0, 61.4), (89.0, 65.0),
            (102.0, 62.0), (117.0, 56.6), (135.0, 50.8), (155.0, 46.0),
        ),
        measures=Measures(wall_mm=0.8, base_mm=56.5, heel_mm=0.8, hollow_mm=1.6),
        corners={1: 0.8},
        anchors={"foot_diameter_mm": 0, "diameter_mm": 12, "rim_diameter_mm": 16},
        stem=(5, 6),
        base=False,
    ),
    "coupe": Shape(
        points=(
            (0.0, 68.0), (1.8, 68.0), (3.4, 48.0), (6.0, 22.0), (13.0, 9.6), (24.0, 7.5), (80.0, 7.5),
            (87.0, 9.6), (90.0, 15.0), (93.0, 32.0), (97.5, 54.0), (104.0, 72.0), (112.5, 84.5),
            (123.0, 92.5), (135.0, 97.0),
        ),
        measures=Measures(wall_mm=1.2, base_mm=91.5, heel_mm=0.8, hollow_mm=1.6),
        corners={1: 0.8},
        anchors={"foot_diameter_mm": 0, "diameter_mm": 14},
        stem=(5, 6),
        base=False,
    ),
    "v-cocktail": Shape(
        points=(
            (0.0, 78.0), (1.8, 78.0), (3.4, 54.0), (6.0, 24.0), (13.0, 10.0), (24.0, 7.5), (92.0, 7.5),
            (99.0, 9.0), (103.0, 13.0), (172.0, 112.0),
        ),
        measures=Measures(wall_mm=1.3, base_mm=104.0, heel_mm=0.8, hollow_mm=1.8),
        corners={1: 0.8, 8: 4.0},
        anchors={"foot_diameter_mm": 0, "diameter_mm": 9},
        stem=(5, 6),
        base=False,
    ),
    "flute": Shape(
        points=(
            (0.0, 64.0), (1.8, 64.0), (3.2, 46.0), (5.5, 22.0), (12.0, 9.6), (22.0, 7.5), (72.0, 7.5),
            (82.0, 9.4), (90.0, 17.0), (100.0, 29.0), (118.0, 42.0), (145.0, 50.0), (172.0, 52.0),
            (200.0, 50.4), (222.0, 48.0),
        ),
        measures=Measures(wall_mm=1.0, base_mm=88.0, heel_mm=0.8, hollow_mm=1.6),
        corners={1: 0.8},
        anchors={"foot_diameter_mm": 0, "diameter_mm": 12, "rim_diameter_mm": 14},
        stem=(5, 6),
        base=False,
    ),
    "tulip": Shape(
        points=(
            (0.0, 70.0), (1.8, 70.0), (3.2, 50.0), (5.5, 24.0), (12.0, 9.8), (22.0, 7.6), (78.0, 7.6),
            (86.0, 9.6), (92.0, 17.0), (100.0, 32.0), (114.0, 51.0), (132.0, 65.0), (150.0, 70.0),
            (172.0, 67.0), (198.0, 59.0), (222.0, 52.0),
        ),
        measures=Measures(wall_mm=1.0, base_mm=90.0, heel_mm=0.8, hollow_mm=1.6),
        corners={1: 0.8},
        anchors={"foot_diameter_mm": 0, "diameter_mm": 12, "rim_diameter_mm": 15},
        stem=(5, 6),
        base=False,
    ),
    "copa": Shape(
        points=(
            (0.0, 80.0), (1.9, 80.0), (3.6, 56.0), (6.2, 26.0), (13.0, 11.0), (24.0, 8.6), (82.0, 8.6),
            (89.0, 10.8), (93.0, 20.0), (99.0, 46.0), (109.0, 74.0), (124.0, 97.0), (145.0, 109.0),
            (160.0, 111.0), (178.0, 107.0), (198.0, 97.0), (212.0, 88.0),
        ),
        measures=Measures(wall_mm=1.2, base_mm=94.0, heel_mm=0.8, hollow_mm=1.8),
        corners={1: 0.8},
        anchors={"foot_diameter_mm": 0, "diameter_mm": 13, "rim_diameter_mm": 16},
        stem=(5, 6),
        base=False,
    ),
    "snifter": Shape(
        points=(
            (0.0, 66.0), (1.8, 66.0), (3.4, 46.0), (6.0, 24.0), (11.0, 13.0), (16.0, 11.0), (22.0, 12.0),
            (26.0, 21.0), (31.0, 47.0), (40.0, 72.0), (54.0, 89.0), (70.0, 94.0), (88.0, 89.0),
            (108.0, 75.0), (130.0, 58.0),
        ),
        measures=Measures(wall_mm=1.3, base_mm=27.5, heel_mm=0.8, hollow_mm=1.6),
        corners={1: 0.8},
        anchors={"foot_diameter_mm": 0, "diameter_mm": 11, "rim_diameter_mm": 14},
        stem=(5,),
        base=False,
    ),
    "hurricane": Shape(
        points=(
            (0.0, 76.0), (2.4, 76.0), (4.4, 60.0), (8.0, 34.0), (14.0, 21.0), (20.0, 19.0), (26.0, 24.0),
            (34.0, 45.0), (46.0, 62.0), (66.0, 72.0), (88.0, 72.5), (112.0, 66.0), (136.0, 62.0),
            (160.0, 65.0), (184.0, 72.0), (205.0, 80.0),
        ),
        measures=Measures(wall_mm=2.0, base_mm=30.0, heel_mm=1.0, hollow_mm=2.0),
        corners={1: 1.0},
        anchors={"foot_diameter_mm": 0, "diameter_mm": 15},
        stem=(5,),
        base=False,
    ),
}  # fmt: skip

_POURERS = {
    "carafe": _upright(
        (
            (0.0, 88.0), (14.0, 97.0), (40.0, 104.0), (70.0, 103.0), (105.0, 90.0), (140.0, 68.0),
            (170.0, 54.0), (195.0, 50.0), (220.0, 55.0), (245.0, 68.0),
        ),
        diameter=2, wall_mm=2.4, base_mm=7.0, fillet_mm=18.0, heel_mm=5.0, hollow_mm=2.0,
    ),
    "decanter": _upright(
        (
            (0.0, 104.0), (9.0, 138.0), (23.0, 160.0), (42.0, 168.0), (62.0, 161.0), (86.0, 136.0),
            (111.0, 96.0), (136.0, 60.0), (160.0, 42.0), (185.0, 36.0), (212.0, 39.0), (238.0, 60.0),
        ),
        diameter=3, wall_mm=2.2, base_mm=7.0, fillet_mm=30.0, heel_mm=5.0, hollow_mm=3.0,
    ),
    "bottle": _upright(
        (
            (0.0, 75.0), (60.0, 75.0), (120.0, 75.0), (180.0, 75.0), (198.0, 72.0), (212.0, 60.0),
            (224.0, 43.0), (236.0, 33.0), (252.0, 29.4), (275.0, 28.4), (281.0, 28.4), (283.0, 30.0),
            (290.0, 30.0), (292.0, 28.4), (300.0, 28.0),
        ),
        diameter=2, wall_mm=3.2, base_mm=9.0, fillet_mm=12.0, heel_mm=6.0, hollow_mm=4.0,
    ),
    # Closed, of aluminium sheet: it shows and throws what its outside mirrors.
    "can": Shape(
        points=(
            (0.0, 51.0), (3.0, 55.0), (7.0, 61.5), (13.0, 66.0), (60.0, 66.0), (97.0, 66.0), (103.0, 63.5),
            (110.5, 54.5), (112.2, 54.0), (113.0, 55.6), (115.2, 55.6),
        ),
        measures=Measures(wall_mm=1.2, base_mm=12.0, heel_mm=1.2, hollow_mm=9.5),
        anchors={"diameter_mm": 4},
        lid=Lid(depth_mm=6.0, seam_mm=1.2, sheet_mm=0.13),
    ),
}  # fmt: skip

SHAPES = {**_TUMBLERS, **_STEMWARE, **_POURERS}
