"""The outside of a glass with relief: vertices as close as the bends ask for, with exact normals.

Depths are measured level and toward the axis, and add up: the surface is radius - depth.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .mesh import swung
from .outside import FinishError, find_outside
from .relief import TO_CAMERA, Relief
from .strips import Line, Strip

_STEEPEST_FADE = 4.0  # lengths of fade per depth
# Where bends are looked at: up the wall, round it, and as one with what lies this near.
_PLACES_PER_MM, _ANGLES, _BESIDE_MM = 8, 48, 0.5
MOST_NODES = 4096


@dataclass(frozen=True, eq=False)
class Surface:
    """The outside of a glass with its relief, between two heights.

    Parameters
    ----------
    vessel : Vessel
    reliefs : tuple of Relief
        Each overlaps another of them.
    breaks_mm : tuple of float
        Heights where the surface's finish changes; a line of vertices goes there.
    """

    vessel: object
    reliefs: tuple[Relief, ...]
    breaks_mm: tuple[float, ...] = ()

    @cached_property
    def side(self):
        """The stretch of the outside that the relief covers."""
        sides = [find_outside(self.vessel, one.part, one.from_mm, one.to_mm) for one in self.reliefs]
        low, high = min(side.low_mm for side in sides), max(side.high_mm for side in sides)
        return find_outside(self.vessel, self.reliefs[0].part, low, high)

    @cached_property
    def _ruler(self):
        """Heights, and lengths along the outline from the lower end, mm."""
        heights = np.linspace(self.side.low_mm, self.side.high_mm, 400)
        steps = np.diff(heights)
        pace = 1 / self.side.at(heights).tangents[:, 1]
        middle = 1 / self.side.at(heights[:-1] + steps / 2).tangents[:, 1]
        lengths = steps * (pace[:-1] + 4 * middle + pace[1:]) / 6
        return heights, np.concatenate([[0.0], np.cumsum(lengths)])

    @cached_property
    def _curve(self):
        from scipy.interpolate import CubicHermiteSpline

        heights, lengths = self._ruler
        return CubicHermiteSpline(heights, lengths, 1 / self.side.at(heights).tangents[:, 1])

    def along(self, heights_mm):
        """Return lengths along the outline, mm, at heights."""
        return self._curve(heights_mm)

    def _height(self, along_mm):
        return np.interp(along_mm, *self._ruler[::-1])

    @cached_property
    def _placed(self):
        """Each relief with start, length, middle radius, and least and largest of its raw shape."""
        found = []
        for one in self.reliefs:
            start, end = self.along([one.from_mm, one.to_mm])
            heights = np.linspace(one.from_mm, one.to_mm, 64)
            radius = float(self.side.at(heights).radius_mm.mean())
            found.append((one, start, end - start, radius, one.limits(end - start, radius)))
        return found

    def depth(self, angle, along_mm):
        """Return the depth, mm, and its change per radian and per mm along the outline."""
        depth, round_, upward = 0.0, 0.0, 0.0
        for one, start, length, radius, (least, most) in self._placed:
            place = along_mm - start
            share, per_angle, per_mm = one.shape(angle, place, length, radius)
            size = one.depth_mm / (most - least)
            fade, slope = _fade(place, length, one.depth_mm) if one.fades else _within(place, length)
            depth = depth + size * (share - least) * fade
            round_ = round_ + size * per_angle * fade
            upward = upward + size * (per_mm * fade + (share - least) * slope)
        return depth, round_, upward

    def lay(self, angles, heights_mm):
        """Return places (n, 3) and exact outward normals (n, 3) at angles and heights, or at one height."""
        level = self.side.at(heights_mm)
        depth, round_, upward = self.depth(angles, self.along(heights_mm))
        away, (flat, steep) = level.radius_mm - depth, level.tangents.T
        # Cross product of the surface's two tangents, in the directions outward, round and up.
        normals = swung(away * steep, -away * (flat - upward), angles)
        normals[:, :2] += (round_ * steep)[:, None] * np.stack([-np.sin(angles), np.cos(angles)], axis=1)
        normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        return swung(away, heights_mm, angles), normals

    def line(self, height_mm, angles):
        """Return the Line of vertices at a height."""
        return Line(angles, *self.lay(angles, height_mm))

    @cached_property
    def _twist(self):
        """Turn per mm along the outline that the grid of vertices follows."""
        for one, _, length, *_ in self._placed:
            if one.twist():
                return one.twist() / length
        return 0.0

    @property
    def part(self):
        """Name in errors."""
        return self.reliefs[0].part

    def weave(self, sections, chord_error_mm, normal_off_deg, roughness):
        """Return the patches of the surface: one, or one for each finish.

        Parameters
        ----------
        sections : int
            Least vertices round the glass.
        chord_error_mm, normal_off_deg : float
            Of chords off the surface, of normals off chords.
        roughness : function of two heights -> float
            Of the surface between them.

        Returns
        -------
        strips : list of Strip
        ends : tuple of two Lines
            Round the glass at the lower and the upper end.
        deepest_mm : (n, 2) float
            Radius and height of the deepest places, from below.

        Raises
        ------
        FinishError
            The relief is so fine that the vertices do not suffice.
        """
        lines = self._lines(sections, chord_error_mm, normal_off_deg)
        heights = np.array([line.points_mm[0, 2] for line in lines])
        stops = [height for height in self.breaks_mm if heights[0] < height < heights[-1]]
        at = [0, *np.searchsorted(heights, stops), len(heights) - 1]
        strips = [
            Strip(
                tuple(lines[low : high + 1]), in_step=True, roughness=roughness(heights[low], heights[high])
            )
            for low, high in zip(at[:-1], at[1:], strict=True)
        ]
        deepest = [np.hypot(*line.points_mm[:, :2].T).min() for line in lines]
        return strips, (lines[0], lines[-1]), np.stack([deepest, heights], axis=1)

    def _lines(self, sections, chord_error_mm, normal_off_deg):
        round_, upward, places = self._bends()
        node_mm = _step(round_.max(), chord_error_mm, normal_off_deg)
        radius = self.side.at(np.linspace(self.side.low_mm, self.side.high_mm, 64)).radius_mm.max()
        equal = int(np.lcm.reduce([one.count_round() for one in self.reliefs]))
        count = equal * int(np.ceil(max(2 * np.pi * radius / node_mm, sections) / equal))
        if count > MOST_NODES:
            text = f"it needs {count} vertices round the glass, more than {MOST_NODES}; make it coarser"
            raise FinishError(self.part, text)
        heights = self._heights(places, _step(upward, chord_error_mm, normal_off_deg))
        around = 2 * np.pi * np.arange(count) / count + TO_CAMERA
        turns = self._twist * self.along(heights)
        return [self.line(height, around + turn) for height, turn in zip(heights, turns, strict=True)]

    def _bends(self):
        """Return the largest bends round the glass and along the grid, 1/mm, at places; and those places."""
        total = self._ruler[1][-1]
        places = np.linspace(0, total, int(_PLACES_PER_MM * total) + 50)[1:-1, None]
        angles = 2 * np.pi * np.random.default_rng(0).random((len(places), _ANGLES)) + self._twist * places
        level = self.side.at(self._height(places[:, 0]))
        radius = level.radius_mm[:, None]
        h = 1e-3
        turn = h / radius

        def grid_slope(shift):
            _, per_angle, per_mm = self.depth(angles + self._twist * shift, places + shift)
            return per_mm + self._twist * per_angle

        sideways = (self.depth(angles + turn, places)[1] - self.depth(angles - turn, places)[1]) / 2 / turn
        upward = (grid_slope(h) - grid_slope(-h)) / 2 / h
        # What few angles show here, those of the places beside it complete.
        near = int(_PLACES_PER_MM * _BESIDE_MM)
        upward = np.abs(upward).max(axis=1)
        beside = np.pad(upward, near, mode="edge")
        upward = np.lib.stride_tricks.sliding_window_view(beside, 2 * near + 1).max(axis=1)
        # The outline bends too, and a twisted line of the grid winds round the glass.
        own = np.abs(np.gradient(np.arctan2(level.tangents[:, 1], level.tangents[:, 0]), places[:, 0]))
        winding = radius[:, 0] * self._twist**2
        round_ = np.abs(sideways / radius**2).max(axis=1) + 1 / radius[:, 0]
        return round_, upward + own + winding, places[:, 0]

    def _heights(self, places, step_mm):
        """Return the heights of lines as close as the steps ask for, with all ends and breaks among them."""
        ends = {self.side.low_mm, self.side.high_mm}
        ends |= {height for one in self.reliefs for height in (one.from_mm, one.to_mm)}
        ends |= {height for height in self.breaks_mm if self.side.low_mm < height < self.side.high_mm}
        fine = np.linspace(0, self._ruler[1][-1], 4000)
        # The density of a place also counts half a step beside it.
        after, before = np.append(step_mm[1:], np.inf), np.insert(step_mm[:-1], 0, np.inf)
        nearby = np.minimum(step_mm, np.minimum(before, after))
        lines = np.concatenate([[0.0], np.cumsum(np.diff(fine) / np.interp(fine[1:], places, nearby))])
        heights = []
        stops = np.sort(self.along(sorted(ends)))
        for start, stop in zip(stops[:-1], stops[1:], strict=True):
            first, last = np.interp([start, stop], fine, lines)
            count = max(int(np.ceil(last - first)), 1)
            between = np.interp(np.linspace(first, last, count + 1)[1:-1], lines, fine)
            heights.append(self._height(between))
        return np.sort(np.concatenate([*heights, sorted(ends)]))


def _step(bend, chord_error_mm, normal_off_deg):
    """Return the step, mm, whose chord keeps three eighths of the error and the normals.

    A diagonal runs over both ways' bends, and over what each does to the other.
    """
    bend = np.maximum(bend, 1e-9)
    return np.minimum(np.sqrt(3 * chord_error_mm / bend), 2 * np.radians(normal_off_deg) / bend)


def _fade(place, length, depth):
    """Return 0 at both ends, 1 between, with two smooth derivatives; and its slope per mm."""
    run = min(max(_STEEPEST_FADE * depth, 1.0), length / 2)
    near = np.clip(np.minimum(place, length - place) / run, 0.0, 1.0)
    fade = near**3 * (10 - 15 * near + 6 * near**2)
    slope = 30 * near**2 * (1 - near) ** 2 / run
    return fade, np.where(place < length / 2, slope, -slope)


def _within(place, length):
    """Return 1 between the ends, 0 beyond, for what is level at its ends by itself."""
    return np.where((place >= 0) & (place <= length), 1.0, 0.0), 0.0
