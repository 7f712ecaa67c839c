"""A glass with all that was done to it: cut, relief, frosted zones, a lean, an oval shape."""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from .facets import Cut, Facets
from .lathe import sections_for
from .library import Vessel
from .mesh import Mesh, bent, swung
from .outline import accuracy_of, thinned
from .outside import FinishError, find_outside
from .relief import Relief
from .strips import Line, Strip, woven
from .surface import Surface

LEAST_WALL_MM = 0.3
_GAP_MM = 0.5  # of plain wall between two reliefs
_CLOSEST = 12.0  # chord errors from an end of a zone to the next level of the outline


@dataclass(frozen=True)
class Frost:
    """A zone of the outside that is etched or blasted matt.

    Parameters
    ----------
    from_mm, to_mm : float
        Heights above the table, mm.
    roughness : float
        0 polished to 1, as for ``Mesh``.
    """

    from_mm: float
    to_mm: float
    roughness: float

    part = "frosted"


@dataclass(frozen=True)
class Finish:
    """What was done to a glass.

    Parameters
    ----------
    cut : Cut, optional
    reliefs : tuple of Relief
    frosts : tuple of Frost
    tilt_deg : float
        Lean of the axis toward the camera's side; the foot stays flat on the table.
    out_of_round_mm : float
        Largest less smallest outer diameter where the glass is widest; the largest lies left to right.
    """

    cut: Cut | None = None
    reliefs: tuple[Relief, ...] = ()
    frosts: tuple[Frost, ...] = ()
    tilt_deg: float = 0.0
    out_of_round_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class Finished:
    """A finished glass.

    Parameters
    ----------
    mesh : Mesh
        Leaning and oval as the finish says.
    vessel : Vessel
        The same glass with its thinnest wall as it now is.
    core_mm : (n, 2) float or None
        Section, radius and height, from axis to axis, of what is glass all round, however deep the
        relief; None of a glass from a mesh.
    bend : (3, 3) float
        Makes what fits the upright round glass, such as its drink, fit the mesh: ``mesh.bent``.
    """

    mesh: Mesh
    vessel: Vessel
    core_mm: np.ndarray | None
    bend: np.ndarray


class _Level(NamedTuple):
    """A point of the section; whether it is on the outside, between foot and rim."""

    radius_mm: float
    height_mm: float
    normal: np.ndarray
    piece: int
    outside: bool


def finish(vessel, done, detail=1.0):
    """Return a glass with its finish; the inside stays as it is.

    Chords are within the same error of the surface as those of the plain glass, 0.002 mm / detail^2.

    Parameters
    ----------
    vessel : Vessel
    done : Finish
    detail : float
        As for ``Vessel.glass_mesh``.

    Returns
    -------
    Finished

    Raises
    ------
    FinishError
        A feature does not go on this glass; ``part`` says which.
    """
    surface = [*done.reliefs, *([done.cut] if done.cut else []), *done.frosts]
    if surface and not isinstance(vessel, Vessel):
        raise FinishError(
            surface[0].part, "a glass from a mesh keeps the surface it came with; take this out"
        )
    bend = bend_of(vessel, done)
    if not surface:
        core = vessel.section.points_mm if isinstance(vessel, Vessel) else None
        return Finished(bent(vessel.glass_mesh(detail), bend), vessel, core, bend)
    accuracy = accuracy_of(detail)
    sections = sections_for(vessel.section.points_mm[:, 0].max(), accuracy[0])
    _check_frosts(vessel, done.frosts)
    strips, ends, deepest = [], {}, {}
    for zone in find_zones(vessel, done):
        made, lines, line = zone.weave(
            sections, *accuracy, lambda low, high: _roughness(done.frosts, low, high)
        )
        span = zone.side.low_mm, zone.side.high_mm
        strips += made
        ends |= dict(zip(span, lines, strict=True))
        deepest[span] = line
        left_mm = _check_wall(vessel, zone.part, line)
        vessel = replace(vessel, thinnest_mm=min(vessel.thinnest_mm, left_mm))
    closest_mm = _CLOSEST * accuracy[0]
    section = thinned(vessel.section, *accuracy)
    levels = _list_levels(section, vessel, done.frosts, list(deepest), closest_mm)
    strips += _weave_plain(levels, done.frosts, ends, set(deepest), sections)
    return Finished(bent(woven(strips), bend), vessel, _core(levels, deepest), bend)


def bend_of(vessel, done):
    """Return the (3, 3) matrix that makes an upright round glass lean and oval as its finish says."""
    if isinstance(vessel, Vessel):
        widest_mm = 2 * vessel.outer.points_mm[:, 0].max()
    else:
        widest_mm = np.ptp(vessel.mesh.bounds_mm[:, 0])
    oval = done.out_of_round_mm / (2 * widest_mm)
    if not 0 <= oval < 0.1:
        text = (
            f"{done.out_of_round_mm:g} mm; it must be less than a fifth of the diameter, {widest_mm:.4g} mm"
        )
        raise FinishError("out_of_round", text)
    return np.array([[1 + oval, 0, 0], [0, 1 - oval, -np.tan(np.radians(done.tilt_deg))], [0, 0, 1.0]])


def _check_frosts(vessel, frosts):
    for frost in frosts:
        find_outside(vessel, "frosted", frost.from_mm, frost.to_mm)
    frosts = sorted(frosts, key=lambda frost: frost.from_mm)
    for below, above in zip(frosts[:-1], frosts[1:], strict=True):
        if above.from_mm < below.to_mm:
            raise FinishError("frosted", f"two zones overlap from {above.from_mm:g} mm to {below.to_mm:g} mm")


def find_zones(vessel, done):
    """Return the stretches of the outside that have relief, from the lowest up."""
    breaks = tuple(sorted({height for frost in done.frosts for height in (frost.from_mm, frost.to_mm)}))
    groups = []
    for one in sorted(done.reliefs, key=lambda one: one.from_mm):
        if groups and one.from_mm < max(other.to_mm for other in groups[-1]):
            groups[-1].append(one)
        else:
            groups.append([one])
    zones = [Surface(vessel, tuple(group), breaks) for group in groups]
    zones += [Facets(vessel, done.cut, breaks)] if done.cut else []
    zones.sort(key=lambda zone: zone.side.low_mm)
    for below, above in zip(zones[:-1], zones[1:], strict=True):
        if above.side.low_mm - below.side.high_mm < _GAP_MM:
            text = f"goes from {above.side.low_mm:g} mm up, {below.part} up to {below.side.high_mm:g} mm"
            raise FinishError(above.part, f"{text}; leave {_GAP_MM:g} mm or more between them")
    return zones


def _check_wall(vessel, part, deepest):
    """Return the least wall, mm, that a relief leaves; deepest is radius and height, from below."""
    import shapely

    inner = vessel.inner.points_mm
    inside = shapely.Polygon(np.concatenate([inner, [[0.0, inner[-1, 1]]]]))
    line = shapely.LineString(deepest)
    left_mm = float(line.distance(inside))
    if left_mm == 0:
        height_mm = shapely.intersection(line, inside).centroid.y
        raise FinishError(part, f"it cuts through the wall {height_mm:.1f} mm above the table; cut less deep")
    if left_mm < LEAST_WALL_MM:
        height_mm = shapely.shortest_line(line, inside).coords[0][1]
        text = f"it leaves {left_mm:.2f} mm of wall {height_mm:.1f} mm above the table"
        raise FinishError(part, f"{text}; allowed: {LEAST_WALL_MM:g} mm or more")
    return left_mm


def _roughness(frosts, low_mm, high_mm):
    """Return the roughness of the outside between two heights where the finish does not change."""
    middle = (low_mm + high_mm) / 2
    return next((frost.roughness for frost in frosts if frost.from_mm < middle < frost.to_mm), 0.0)


def _list_levels(section, vessel, frosts, zones, closest_mm):
    """Return the section's points without what zones take, with the ends of zones and frosts."""
    spans = [*zones, *((frost.from_mm, frost.to_mm) for frost in frosts)]
    new = {}
    for low, high in spans:
        level = find_outside(vessel, "finish", low, high).at([low, high])
        for k, height in enumerate((low, high)):
            if (low, high) in zones or not any(below <= height <= above for below, above in zones):
                new[height] = level.radius_mm[k], level.normals[k]
    z = section.points_mm[:, 1]
    crest = int(z.argmax())
    lowest = int(z[:crest].argmin())
    corners = np.flatnonzero(np.diff(section.pieces))
    kept_always = {lowest, *corners, *(corners + 1)}
    levels = []
    for k, (radius, height) in enumerate(section.points_mm):
        outside = lowest <= k < crest
        if outside and any(low < height < high for low, high in zones):
            continue
        if outside and k not in kept_always and any(abs(height - other) < closest_mm for other in new):
            continue
        levels.append(_Level(radius, height, section.normals[k], int(section.pieces[k]), outside))
    for height in sorted(new):
        at = 1 + max(k for k, level in enumerate(levels) if level.outside and level.height_mm < height)
        levels.insert(at, _Level(new[height][0], height, new[height][1], levels[at - 1].piece, True))
    return levels


def _weave_plain(levels, frosts, ends, zones, sections):
    """Return the strips of all that has no relief; ends are the lines that reliefs begin and end with."""
    around = 2 * np.pi * np.arange(sections) / sections
    strips, run, rough = [], [], 0.0
    for k, level in enumerate(levels):
        line = ends.get(level.height_mm) if level.outside else None
        line = line or _round_line(level, around)
        if k:
            before = levels[k - 1]
            apart = before.piece != level.piece or (
                before.outside and (before.height_mm, level.height_mm) in zones
            )
            here = _roughness(frosts, before.height_mm, level.height_mm) if before.outside else 0.0
            if apart or (here != rough and len(run) > 1):
                strips.append(Strip(tuple(run), roughness=rough))
                run = [] if apart else run[-1:]
            rough = rough if apart else here
        run.append(line)
    return [*strips, Strip(tuple(run), roughness=rough)]


def _round_line(level, around):
    """Return a line all round, or the pole on the axis."""
    out, up = level.normal
    if level.radius_mm == 0:
        if abs(out) > 1e-9:
            raise ValueError("the section meets the axis at a slant; a glass is flat there")
        return Line(np.zeros(1), np.array([[0, 0, level.height_mm]]), np.array([[0, 0, np.sign(up)]]))
    return Line(around, swung(level.radius_mm, level.height_mm, around), swung(out, up, around))


def _core(levels, deepest):
    """Return the section with the deepest line of each relief in place of the plain outside."""
    points = []
    for level in levels:
        span = next((span for span in deepest if level.outside and level.height_mm == span[1]), None)
        points += deepest[span].tolist() if span else []
        points.append((level.radius_mm, level.height_mm))
    return np.array(points)
