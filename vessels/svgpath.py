"""Paths of an SVG drawing as curves with exact tangents. See https://www.w3.org/TR/SVG11/paths.html."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from brimcast.shared.errors import Fault, PersonError

from .curve import fine_places
from .outline import tidied

CORNER_DEG = 5.0  # a smaller bend between two pieces of a path is the drawing's inexactness
_MOST_BYTES = 20_000_000
_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6}
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"


@dataclass(frozen=True, eq=False)
class DrawnPath:
    """A path: pieces as functions of a parameter from 0 to 1, and the map to the drawing's own units.

    Parameters
    ----------
    pieces : list of (points, slopes)
        Functions of (n,) parameters that return (n, 2).
    matrix : (2, 3) float
        From the path's coordinates to x to the right and z up, in the drawing's units.
    """

    pieces: list
    matrix: np.ndarray

    def bounds(self):
        """Return lowest and highest corner (2, 2), in the drawing's units."""
        at = np.linspace(0, 1, 257)
        points = np.concatenate([points(at) for points, _ in self.pieces]) @ self.matrix[:, :2].T
        return np.array([points.min(axis=0), points.max(axis=0)]) + self.matrix[:, 2]

    def sampled(self, mm_per_unit):
        """Return the path as a fine Outline of x and z, mm."""
        turn, shift = self.matrix[:, :2] * mm_per_unit, self.matrix[:, 2] * mm_per_unit
        points, tangents = [], []
        for piece, slope in self.pieces:

            def curve(t, order=0, piece=piece, slope=slope):
                # A slope may vanish at the very end.
                return slope(np.clip(t, 1e-6, 1 - 1e-6)) @ turn.T if order else piece(t) @ turn.T + shift

            places = fine_places(curve, np.array([0.0, 1.0]))
            points.append(curve(places))
            ways = curve(places, 1)
            tangents.append(ways / np.hypot(*ways.T)[:, None])
        if np.hypot(*(points[0][0] - points[-1][-1])) < 1e-6:
            points[-1][-1] = points[0][0]
            _heal(tangents[-1], tangents[0])
        for k in range(1, len(points)):
            points[k][0] = points[k - 1][-1]
            _heal(tangents[k - 1], tangents[k])
        return tidied(np.concatenate(points), np.concatenate(tangents))


def _heal(before, after):
    """Make two tangents one where they differ by less than a corner."""
    if before[-1] @ after[0] > np.cos(np.radians(CORNER_DEG)):
        mean = before[-1] + after[0]
        before[-1] = after[0] = mean / np.hypot(*mean)


def read_paths(path, names):
    """Return paths of an SVG file and its scale.

    Parameters
    ----------
    path : Path
    names : list of (str or None)
        The id of each path that is wanted; None: the first.

    Returns
    -------
    list of DrawnPath
    mm_per_unit : float or None
        None where the file does not tell its size in millimetres, centimetres or inches.

    Raises
    ------
    PersonError
        No SVG, no such path, or a path that cannot be read.
    """
    root = _read_root(path)
    parents = {child: parent for parent in root.iter() for child in parent}
    drawn = [one for one in root.iter() if _kind(one) == "path" and not _is_hidden(one, parents)]
    if not drawn:
        raise _fault(path, "has no path; convert the shapes to paths and save again")
    found = []
    for name in names:
        chosen = drawn[:1] if name is None else [one for one in drawn if one.get("id") == name]
        if not chosen:
            known = ", ".join(repr(one.get("id")) for one in drawn if one.get("id")) or "none has an id"
            raise _fault(path, f"has no path {name!r}; its paths: {known}")
        matrix = np.diag([1.0, -1.0]) @ _matrix(path, chosen[0], parents)
        found.append(DrawnPath(_read_pieces(path, chosen[0]), matrix))
    return found, _scale(root)


def _read_root(path):
    path = Path(path)
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise _fault(path, f"cannot be read: {(error.strerror or str(error)).lower()}") from None
    if len(raw) > _MOST_BYTES:
        raise _fault(path, f"longer than {_MOST_BYTES} bytes")
    if b"<!ENTITY" in raw:
        raise _fault(path, "defines entities of its own; save it as a plain SVG")
    try:
        root = ElementTree.fromstring(raw)
    except ElementTree.ParseError as error:
        line, column = error.position
        raise PersonError(Fault(str(path), line, column + 1, None, f"no valid SVG: {error}")) from None
    if _kind(root) != "svg":
        raise _fault(path, f"no SVG: its first element is {_kind(root)!r}")
    return root


def _kind(element):
    return str(element.tag).rpartition("}")[2]


def _is_hidden(element, parents):
    """Whether it stands where nothing is drawn, such as a clipping path."""
    while element is not None:
        if _kind(element) in ("defs", "clipPath", "mask", "marker", "pattern", "symbol"):
            return True
        element = parents.get(element)
    return False


def _scale(root):
    """Return millimetres per user unit, from width and viewBox, None where they do not tell."""
    match = re.fullmatch(rf"\s*({_NUMBER})\s*(mm|cm|in|pt|pc)\s*", root.get("width", ""))
    box = [float(number) for number in re.findall(_NUMBER, root.get("viewBox", ""))]
    if not match or len(box) != 4 or box[2] <= 0:
        return None
    return float(match[1]) * _MM[match[2]] / box[2]


def _matrix(path, element, parents):
    """Return the (2, 3) map of an element and all above it."""
    whole = np.eye(3)
    while element is not None:
        whole = _transform(path, element.get("transform", "")) @ whole
        element = parents.get(element)
    if abs(np.linalg.det(whole[:2, :2])) < 1e-12:
        raise _fault(path, "a transform flattens the path")
    return whole[:2]


def _transform(path, text):
    whole = np.eye(3)
    for name, inside in re.findall(r"(\w+)\s*\(([^)]*)\)", text):
        numbers = [float(number) for number in re.findall(_NUMBER, inside)]
        step = np.eye(3)
        match name, numbers:
            case "matrix", [a, b, c, d, e, f]:
                step[:2] = [[a, c, e], [b, d, f]]
            case "translate", [x, *rest]:
                step[:2, 2] = x, rest[0] if rest else 0.0
            case "scale", [x, *rest]:
                step[0, 0], step[1, 1] = x, rest[0] if rest else x
            case "rotate", [angle, *centre]:
                cos, sin = np.cos(np.radians(angle)), np.sin(np.radians(angle))
                step[:2, :2] = [[cos, -sin], [sin, cos]]
                about = np.array(centre or [0.0, 0.0])
                step[:2, 2] = about - step[:2, :2] @ about
            case "skewX", [angle]:
                step[0, 1] = np.tan(np.radians(angle))
            case "skewY", [angle]:
                step[1, 0] = np.tan(np.radians(angle))
            case _:
                raise _fault(path, f"has a transform that cannot be read: {name}({inside})")
        whole = whole @ step
    return whole


def _read_pieces(path, element):
    """Return the pieces of a path's `d` as functions."""
    from svg.path import Move, parse_path
    from svg.path.parser import InvalidPathError

    name = element.get("id") or "the first path"
    try:
        segments = parse_path(element.get("d", ""))
    except (InvalidPathError, ValueError, TypeError, IndexError, ZeroDivisionError, AssertionError):
        raise _fault(path, f"{name} cannot be read: its d is no path") from None
    moves = [segment for segment in segments if isinstance(segment, Move)]
    pieces = [_functions(one) for one in segments if not isinstance(one, Move) and not _is_nothing(one)]
    if not pieces:
        raise _fault(path, f"{name} is empty")
    if len(moves) > 1:
        raise _fault(path, f"{name} is made of {len(moves)} separate lines; join them, or name one path")
    return pieces


def _is_nothing(segment):
    controls = [getattr(segment, key) for key in ("control", "control1", "control2") if hasattr(segment, key)]
    return segment.start == segment.end and all(control == segment.start for control in controls)


def _functions(segment):
    """Return points and slopes of a segment as functions of (n,) parameters."""
    kind = type(segment).__name__
    if kind == "Arc" and segment.radius.real and segment.radius.imag:
        return _arc_functions(segment)
    names = {"CubicBezier": ("control1", "control2"), "QuadraticBezier": ("control",)}.get(kind, ())
    control = [segment.start, *(getattr(segment, name) for name in names), segment.end]
    points = np.array([[one.real, one.imag] for one in control])
    steps = np.diff(points, axis=0) * (len(points) - 1)
    return lambda t: _bezier(points, t), lambda t: _bezier(steps, t)


def _bezier(points, t):
    """Return (n, 2) points of a Bézier curve by de Casteljau's construction."""
    t = np.asarray(t, dtype=float)[:, None]
    level = [np.broadcast_to(point, (len(t), 2)) for point in points]
    while len(level) > 1:
        level = [(1 - t) * a + t * b for a, b in zip(level[:-1], level[1:], strict=True)]
    return level[0]


def _arc_functions(segment):
    tilt = np.radians(segment.rotation)
    turn = np.array([[np.cos(tilt), -np.sin(tilt)], [np.sin(tilt), np.cos(tilt)]])
    radii = np.array([segment.radius.real, segment.radius.imag]) * segment.radius_scale
    centre = np.array([segment.center.real, segment.center.imag])
    start, sweep = np.radians(segment.theta), np.radians(segment.delta)

    def points(t):
        angle = start + sweep * np.asarray(t)
        return (radii * np.stack([np.cos(angle), np.sin(angle)], axis=1)) @ turn.T + centre

    def slopes(t):
        angle = start + sweep * np.asarray(t)
        return sweep * (radii * np.stack([-np.sin(angle), np.cos(angle)], axis=1)) @ turn.T

    return points, slopes


def _fault(path, text):
    return PersonError(Fault(str(path), None, None, None, text))
