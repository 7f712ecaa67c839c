"""Facets cut into the outside of a glass: flat panels round it, each ended by a flat bevel.

A panel takes away all that lies beyond its plane. At its ends a bevel, a steeper plane, runs out to the
glass's surface. Seen from the axis the cut's depth in the middle of a facet is a line of three straight
parts (bevel, panel, bevel), and where the facet stops beside is where its plane meets the round glass, or
half-way to the next facet where that comes first.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .mesh import swung
from .outside import FinishError, Level, find_outside
from .relief import TO_CAMERA
from .strips import Line, Strip

_PLACES = 600  # where the depth is looked at
_CLOSEST_LEVELS_MM = 0.01
_SAME_MM = 1e-4
# Of a step of the grid: between the last of its places and a facet's corner, the widest gap that needs no
# place more, and the least between two.
_ROOM, _GAP, _SAME = 0.15, 1.2, 0.1
_SHALLOW = 0.04  # of a cut's depth, the largest chord error


@dataclass(frozen=True)
class Cut:
    """Flat panels round the glass; the middle of the first faces the camera.

    Parameters
    ----------
    facets : int
        How many.
    depth_mm : float
        From the round outside to the panel, in its middle at both ends, mm.
    from_mm, to_mm : float
        Heights above the table where the bevels run out, mm.
    bevel_deg : float
        Angle between panel and bevel.
    """

    facets: int
    depth_mm: float
    from_mm: float
    to_mm: float
    bevel_deg: float = 45.0

    part = "cut"


@dataclass(frozen=True, eq=False)
class Facets:
    """The outside of a glass where it is cut.

    Parameters
    ----------
    vessel : Vessel
    cut : Cut
    breaks_mm : tuple of float
        Heights where the surface's finish changes.

    Raises
    ------
    FinishError
        The panels do not fit between the heights, or come out of the glass.
    """

    vessel: object
    cut: Cut
    breaks_mm: tuple[float, ...] = ()

    def __post_init__(self):
        heights = np.linspace(self.cut.from_mm, self.cut.to_mm, _PLACES)[1:-1]
        out = self.side.at(heights).radius_mm <= self.middle(heights)
        if out.any():
            text = f"the panels come out of the glass {heights[out][0]:.1f} mm above the table; cut deeper,"
            raise FinishError("cut", f"{text} or over less height")

    @cached_property
    def side(self):
        """The stretch of the outside that is cut."""
        return find_outside(self.vessel, "cut", self.cut.from_mm, self.cut.to_mm)

    @cached_property
    def _planes(self):
        """Radius at the lower end and change per mm of height of lower bevel, panel and upper bevel."""
        cut = self.cut
        low, high = self.side.at([cut.from_mm, cut.to_mm]).radius_mm
        slope = (high - low) / (cut.to_mm - cut.from_mm)
        lean, bevel = np.arctan(slope), np.radians(cut.bevel_deg)
        below, above = lean - bevel, lean + bevel
        steep = np.degrees([-below, above])
        if steep.min() < 5 or steep.max() > 85:
            worst = steep[np.abs(steep - 45).argmax()]
            text = f"bevels of {cut.bevel_deg:g} deg do not fit this wall: one is {worst:.0f} deg off upright"
            raise FinishError("cut", f"{text}; allowed: 5 to 85 deg")
        return np.array(
            [
                (low, np.tan(below)),
                (low - cut.depth_mm, slope),
                (high - np.tan(above) * (cut.to_mm - cut.from_mm), np.tan(above)),
            ]
        )

    def middle(self, heights_mm):
        """Return the distance of the cut from the axis, mm, in the middle of a facet."""
        rise = np.asarray(heights_mm, dtype=float)[..., None] - self.cut.from_mm
        return (self._planes[:, 0] + self._planes[:, 1] * rise).max(axis=-1)

    @cached_property
    def _creases(self):
        """Heights of the edges between panel and bevels."""
        (a, b, c) = self._planes
        low, high = ((q[0] - p[0]) / (p[1] - q[1]) for p, q in ((a, b), (b, c)))
        if not low < high:
            least = low + (self.cut.to_mm - self.cut.from_mm - high)
            text = f"{self.cut.to_mm - self.cut.from_mm:g} mm of height leave no panel between the bevels"
            raise FinishError("cut", f"{text}; allowed: more than {least:.1f} mm")
        return self.cut.from_mm + low, self.cut.from_mm + high

    def half_width(self, heights_mm):
        """Return half the angle that a facet spans, radians, as far as its neighbours let it."""
        return np.minimum(self._free_width(heights_mm), np.pi / self.cut.facets)

    def _free_width(self, heights_mm):
        ratio = self.middle(heights_mm) / self.side.at(heights_mm).radius_mm
        return np.arccos(np.minimum(ratio, 1.0))

    @property
    def part(self):
        """Name in errors."""
        return "cut"

    def lay(self, angles, heights_mm):
        """Return places (n, 3) and outward normals (n, 3): on a facet, or on what is left between two."""
        level = self.side.at(heights_mm)
        pitch = 2 * np.pi / self.cut.facets
        off = (angles - TO_CAMERA + pitch / 2) % pitch - pitch / 2
        middle = self.middle(heights_mm)
        slope = (self.middle(heights_mm + 1e-3) - middle) / 1e-3
        flat = middle / np.cos(off) < level.radius_mm
        radius = np.where(flat, middle / np.cos(off), level.radius_mm)
        steep = np.hypot(1.0, slope)
        out, up = np.where(flat, (1 / steep, -slope / steep), level.normals.T)
        return swung(radius, heights_mm, angles), swung(out, up, np.where(flat, angles - off, angles))

    def weave(self, sections, chord_error_mm, normal_off_deg, roughness):
        """Return the patches of the surface; each plane of a facet is one, and each land between two.

        Takes and returns what `surface.Surface.weave` does. How far normals are off does not matter: planes
        are flat, and the wall is as the plain glass's.
        """
        # However coarse, a shallow cut keeps its form.
        error_mm = min(chord_error_mm, _SHALLOW * self.cut.depth_mm)
        widest_mm = self.side.at([self.cut.from_mm, self.cut.to_mm]).radius_mm.max()
        round_ = max(sections, np.pi / np.arccos(1 - error_mm / widest_mm))
        # A bevel's plane cuts the round wall in an ellipse, which bends most at the tip: 1 / (r sin slope).
        steep = np.arctan(np.abs(self._planes[[0, 2], 1])).min()
        places = int(np.ceil(1.05 / np.sqrt(np.sin(steep)) * round_ / (2 * self.cut.facets)))
        grid = np.linspace(0.0, np.pi / self.cut.facets, places + 1)
        heights, whole = self._levels(grid, error_mm)
        level = self.side.at(heights)
        width = self.half_width(heights)
        width[[0, -1]] = 0.0
        width[whole] = np.pi / self.cut.facets
        starts = _land_places(width, grid)
        rows = [self._row(level, k, place) for k, place in enumerate(starts)]
        stops = [height for height in self.breaks_mm if heights[0] < height < heights[-1]]

        def within(start, stop):
            return range(int(np.searchsorted(heights, start)), int(np.searchsorted(heights, stop)) + 1)

        strips = []
        for plane, (low, high) in enumerate(_pairs([heights[0], *self._creases, heights[-1]])):
            for start, stop in _pairs([low, *(height for height in stops if low < height < high), high]):
                strips += self._facets(rows, within(start, stop), plane, roughness(start, stop))
        for start, stop in _pairs([heights[0], *stops, heights[-1]]):
            strips += self._lands(rows, within(start, stop), roughness(start, stop))
        ends = _whole_line(rows[0]), _whole_line(rows[-1])
        return strips, ends, np.stack([self.middle(heights), heights], axis=1)

    def _levels(self, grid, chord_error_mm):
        """Return the heights of the lines of vertices, and at which of them neighbours begin to meet."""
        full = grid[-1]
        low, high = self.cut.from_mm, self.cut.to_mm
        even = np.linspace(low, high, _PLACES)
        over = self.half_width(even) >= full
        turns = [self._crossing(even[k], even[k + 1], full) for k in np.flatnonzero(over[1:] != over[:-1])]
        breaks = [height for height in self.breaks_mm if low < height < high]
        heights = np.unique([low, *self._creases, high, *turns, *breaks])
        # On the bevels a level for each place of the grid, so that vertices stand over one another where
        # the facets' tips are nearly level.
        tips = [self._tip(end, crease, grid) for end, crease in zip((low, high), self._creases, strict=True)]
        far = np.concatenate(tips)
        far = far[np.abs(far[:, None] - heights).min(axis=1) > _SAME_MM]
        heights = np.sort(np.concatenate([heights, far]))
        # Halve the steps until the facets' edges and the round wall are within the chord error.
        while True:
            middles = (heights[:-1] + heights[1:]) / 2
            far = self._off(heights, middles) > chord_error_mm
            far &= np.diff(heights) > 2 * _CLOSEST_LEVELS_MM
            if not far.any():
                return heights, np.isin(heights, turns)
            heights = np.sort(np.concatenate([heights, middles[far]]))

    def _crossing(self, low, high, half_width):
        from scipy.optimize import brentq

        return brentq(lambda height: float(self._free_width(height)[0]) - half_width, low, high, xtol=1e-12)

    def _tip(self, end, crease, grid):
        """Return the heights on a bevel where the facet is as wide as each place of the grid."""
        reach = self.half_width(crease)[0]
        wanted = grid[(grid > 0) & (grid < reach - _ROOM * grid[1])]
        narrow, wide = np.full(len(wanted), end), np.full(len(wanted), crease)
        for _ in range(44):
            middle = (narrow + wide) / 2
            wider = self._free_width(middle) > wanted
            narrow, wide = np.where(wider, narrow, middle), np.where(wider, middle, wide)
        return (narrow + wide) / 2

    def _off(self, heights, middles):
        """Return how far the facets' edges and the wall lie off their chords half-way up, mm."""
        edge, halfway = self._edge(heights), self._edge(middles)
        chord = edge[1:] - edge[:-1]
        chord /= np.linalg.norm(chord, axis=1, keepdims=True)
        off = np.linalg.norm(np.cross(halfway - edge[:-1], chord), axis=1)
        radius = self.side.at(heights).radius_mm
        wall = np.abs(self.side.at(middles).radius_mm - (radius[1:] + radius[:-1]) / 2)
        return np.maximum(off, wall)

    def _edge(self, heights):
        width, middle = self.half_width(heights), self.middle(heights)
        return np.stack([middle, middle * np.tan(width), heights], axis=1)

    def _row(self, level: Level, k, places):
        """Return the lands' lines at a level, of places to their middles; one of no width has one vertex."""
        count, half = self.cut.facets, float(places[0])
        step = 2 * np.pi / count
        narrow = len(places) == 1
        off = np.concatenate([places, step - places[-2::-1]]) if not narrow else places
        radius, height = level.radius_mm[k], level.height_mm[k]
        away = min(float(self.middle(height)) / np.cos(half), radius) if narrow else radius
        out, up = level.normals[k]
        lines = []
        for number in range(count):
            angles = TO_CAMERA + step * number + off
            lines.append(Line(angles, swung(away, height, angles), swung(out, up, angles)))
        if half == 0:
            # Lands meet at the facets' tips: the end of each is the start of the next, bit by bit.
            for number in range(count):
                lines[number].points_mm[-1] = lines[(number + 1) % count].points_mm[0]
        return lines

    def _facets(self, rows, within, plane, roughness):
        """Return the strips of one plane of each facet."""
        count, slope = self.cut.facets, self._planes[plane, 1]
        size = np.hypot(1.0, slope)
        strips = []
        for number in range(count):
            at = TO_CAMERA + 2 * np.pi * number / count
            normal = np.array([np.cos(at), np.sin(at), -slope]) / size
            lines = []
            for k in within:
                left, right = rows[k][number - 1], rows[k][number]
                points = np.stack([left.points_mm[-1], right.points_mm[0]])
                # Where it ends in a tip, both are one.
                points = points[:1] if np.array_equal(*points) else points
                lines.append(
                    Line(np.arange(len(points), dtype=float), points, np.tile(normal, (len(points), 1)))
                )
            strips.append(Strip(tuple(lines), closed=False, roughness=roughness))
        return strips

    def _lands(self, rows, within, roughness):
        """Return the strips of round wall between facets."""
        strips = []
        for number in range(self.cut.facets):
            run = []
            for k in within:
                line = rows[k][number]
                if len(line.angles) == 1 and run and len(run[-1].angles) == 1:
                    run = []
                run.append(line)
                ends = k == within[-1] or len(line.angles) == 1
                if ends and len(run) > 1:
                    strips.append(Strip(tuple(run), closed=False, roughness=roughness))
                    run = [line]
        return strips


def _land_places(width, grid):
    """Return where a land has vertices at each level, angles from the facet's middle to the land's.

    Levels may be so close that faces between them stand upright only where vertices are over one another. So
    from where the facet is widest on, each level takes over the places of the one before and adds its start.
    """
    step, same, full = grid[1], _SAME * grid[1], grid[-1]
    found = {}

    def add(k, before):
        if width[k] >= full:
            found[k] = np.array([full])
            return
        kept = before[(before > width[k] + same) | (before == full)]
        between = grid[(grid > width[k] + same) & (grid < kept[0] - same)]
        wide = kept[0] - width[k] > _GAP * step
        found[k] = np.concatenate([[width[k]], between if wide else [], kept])

    widest = int(np.argmax(width))
    add(widest, np.array([full]))
    for k in range(widest + 1, len(width)):
        add(k, found[k - 1])
    for k in range(widest - 1, -1, -1):
        add(k, found[k + 1])
    return [found[k] for k in range(len(width))]


def _pairs(values):
    return list(zip(values[:-1], values[1:], strict=True))


def _whole_line(lands):
    """Return the closed line of all lands at a level where they meet."""
    return Line(*(np.concatenate([land[part][:-1] for land in lands]) for part in range(3)))
