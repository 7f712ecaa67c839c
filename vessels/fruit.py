"""Citrus cut for a glass, and fruit on a pick: closed surfaces, the peel's chart with the area it has."""

from dataclasses import replace

import numpy as np

from .covers import drawn, flat, lay_out, stacked
from .lathe import sections_for, turn
from .mesh import combined, placed, rotated, swung
from .outline import Outline

CHORD_MM = 0.02
_PEEL_ROWS, _BELT_PIECES = 9, 4
# How many lines a strip of peel has along a turn of its curl.
_LINES_A_TURN = 48
# A curl widens over so many turns, and first goes down by so many of its radii a turn.
_WIDENING, _STRETCH = 1.25, 6.0


def wheel(diameter_mm, thickness_mm):
    """Return the middle slice of a round fruit, lying flat about its middle.

    Charts: ``front`` (upward) and ``back``, each with its middle in the chart's; ``peel``,
    four times.

    Parameters
    ----------
    diameter_mm : float
        Of the fruit, mm.
    thickness_mm : float
        Of the slice, mm; less than the diameter.
    """
    radius, half = diameter_mm / 2, thickness_mm / 2
    edge = np.sqrt(radius**2 - half**2)
    count = sections_for(radius, CHORD_MM)
    turns = 2 * np.pi * np.arange(count + 1) / count
    ring = edge * np.stack([np.cos(turns[:-1]), np.sin(turns[:-1])], axis=1)
    up = np.array([0.0, 0.0, half])
    front = flat("front", ring, (0.0, 0.0), (up, (1, 0, 0), (0, 1, 0)))
    back = flat("back", ring, (0.0, 0.0), (-up, (-1, 0, 0), (0, 1, 0)))

    def belt(turn, z):
        wide = np.sqrt(radius**2 - z**2)
        return np.stack([wide * np.cos(turn), wide * np.sin(turn), z], axis=-1)

    # On a ball as much area lies between two levels as on the cylinder round it (Archimedes).
    peels = []
    for lines in np.split(np.arange(count), _BELT_PIECES):
        part = turns[[*lines, lines[-1] + 1]]
        places = lambda turn, z, part=part: np.stack([radius * (turn - part[0]), z + half], axis=-1)  # noqa: E731
        size = float(radius * np.ptp(part)), float(thickness_mm)
        peels.append(drawn("peel", belt, part, np.linspace(-half, half, _PEEL_ROWS), places, size, belt))
    return lay_out([front, back, *peels])


def wedge(diameter_mm, length_mm, angle_deg):
    """Return a wedge of a fruit: its straight edge along x through the origin, the peel upward.

    Charts: ``left`` and ``right``, the cut faces, the straight edge along the bottom; ``peel``.

    Parameters
    ----------
    diameter_mm, length_mm : float
        Of the fruit, across and along, mm.
    angle_deg : float
        Between its cut faces, under 180.
    """
    radius, long, half = diameter_mm / 2, length_mm / 2, np.radians(angle_deg) / 2
    rows = sections_for(max(radius, long), CHORD_MM) // 2
    ways = np.pi * np.arange(rows + 1) / rows
    wide, along = radius * np.sin(ways), -long * np.cos(ways)
    wide[[0, -1]] = 0.0
    # The chart is as long as makes its area that of the peel between any two places.
    fine = np.linspace(0, np.pi, 4001)
    part = radius * np.sin(fine) * np.hypot(radius * np.cos(fine), long * np.sin(fine))
    grown = np.concatenate([[0.0], np.cumsum((part[1:] + part[:-1]) / 2 * np.diff(fine))]) / radius

    def skin(way, turn):
        out = np.where(np.abs(np.sin(way)) < 1e-12, 0.0, radius * np.sin(way))
        return np.stack([-long * np.cos(way), out * np.sin(turn), out * np.cos(turn)], axis=-1)

    places = lambda way, turn: np.stack(  # noqa: E731
        [np.interp(way, fine, grown), radius * (turn + half)], axis=-1
    )
    outward = lambda way, turn: skin(way, turn) / [long**2, radius**2, radius**2]  # noqa: E731
    turns = np.linspace(-half, half, max(9, int(np.ceil(angle_deg / 4))))
    size = float(grown[-1]), 2 * radius * half
    peel = drawn("peel", skin, ways, turns, places, size, outward)
    faces = []
    for name, angle, side in (("left", half, -1.0), ("right", -half, 1.0)):
        outline = np.stack([side * along, wide], axis=1)
        # Along the straight edge, then back over the peel.
        outline = outline[::-1] if side > 0 else outline
        frame = (0, 0, 0), (side, 0, 0), (0, np.sin(angle), np.cos(angle))
        faces.append(flat(name, outline, (0.0, 0.4 * radius), frame))
    return lay_out([*faces, peel])


def peel_strip(path_mm, facing, width_mm, thickness_mm):
    """Return a strip of peel along a smooth path.

    Charts: ``peel``, its outside; ``pith``, its inside; ``edge``, all round it in four pieces.

    Parameters
    ----------
    path_mm : (n, 3) float
        Its middle, mm, in even steps, close enough for a cubic.
    facing : (n, 3) float
        Whither its outside looks at each place, roughly: not along the path.
    width_mm, thickness_mm : float
        The width runs to the left of the way when seen from outside.
    """
    from scipy.interpolate import CubicSpline

    path = np.asarray(path_mm, float)
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    lengths = np.concatenate([[0.0], np.cumsum(steps)])
    middle = CubicSpline(lengths, path)
    ahead = middle(lengths, 1)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    left = np.cross(facing, ahead)
    left = CubicSpline(lengths, left / np.linalg.norm(left, axis=1, keepdims=True))
    total, half_wide, half_thick = float(lengths[-1]), width_mm / 2, thickness_mm / 2

    def place(s, x, y):
        side = left(s)
        onward = middle(s, 1)
        out = np.cross(onward, side)
        side = side / np.linalg.norm(side, axis=-1, keepdims=True)
        out = out / np.linalg.norm(out, axis=-1, keepdims=True)
        return middle(s) + x[:, None] * side + y[:, None] * out

    along = np.linspace(0, total, max(len(path), 2))
    across, thick = np.linspace(-half_wide, half_wide, 7), np.linspace(-half_thick, half_thick, 3)
    long = lambda s, x: np.stack([s, x + half_wide], axis=-1)  # noqa: E731
    backward = lambda s, x: np.stack([total - s, x + half_wide], axis=-1)  # noqa: E731
    narrow = lambda s, y: np.stack([s, y + half_thick], axis=-1)  # noqa: E731
    full = lambda value, like: np.full(like.shape, value)  # noqa: E731
    pieces = [
        drawn("peel", lambda s, x: place(s, x, full(half_thick, s)), along, across, long, (total, width_mm)),
        drawn(
            "pith", lambda s, x: place(s, x, full(-half_thick, s)), along[::-1], across, backward,
            (total, width_mm),
        ),
    ]  # fmt: skip
    for side, lines in ((-half_wide, along), (half_wide, along[::-1])):
        turned = narrow if side < 0 else lambda s, y: np.stack([total - s, y + half_thick], axis=-1)
        surface = lambda s, y, side=side: place(s, full(side, s), y)  # noqa: E731
        pieces.append(drawn("edge", surface, lines, thick, turned, (total, thickness_mm)))
    for end, lines in ((0.0, across[::-1]), (total, across)):
        sign = 1.0 if end else -1.0
        surface = lambda x, y, end=end: place(full(end, x), x, y)  # noqa: E731
        places = lambda x, y, sign=sign: np.stack([sign * x + half_wide, y + half_thick], axis=-1)  # noqa: E731
        pieces.append(drawn("edge", surface, lines, thick, places, (width_mm, thickness_mm)))
    return lay_out(pieces)


def curl(radius_mm, pitch_mm, turns, lead=None):
    """Return the path of a curl about the z axis, downward from its top, and whither its outside looks.

    Parameters
    ----------
    radius_mm, pitch_mm, turns : float
        Of the helix: its radius, how far it goes down in a turn, mm, and how many turns it has.
    lead : (k, 3) float, optional
        Path, mm, in steps as even as the curl's, that comes before it; it ends on the z axis, going down,
        and its last point is where the curl starts. Its first turn then widens, and is drawn out.

    Returns
    -------
    path_mm, facing : (n, 3) float
    """
    count = int(np.ceil(_LINES_A_TURN * turns)) + 1
    turn = np.linspace(0, 2 * np.pi * turns, count)
    wide, down, start = np.full(count, float(radius_mm)), np.full(count, float(pitch_mm)), np.zeros(3)
    if lead is not None:
        # So slowly that the strip need not bend across its width.
        share = np.clip(turn / (2 * np.pi * min(turns, _WIDENING)), 0, 1)
        wide, start = radius_mm * share**2 * (3 - 2 * share), np.asarray(lead[-1], float)
        down = pitch_mm + (_STRETCH * radius_mm - pitch_mm) * np.clip(1 - share, 0, 1) ** 2
    down = np.concatenate([[0.0], np.cumsum((down[1:] + down[:-1]) / 2 * np.diff(turn) / (2 * np.pi))])
    out = np.stack([np.cos(turn), np.sin(turn), np.zeros(count)], axis=1)
    path = start + wide[:, None] * out - np.outer(down, [0, 0, 1.0])
    return path, out


def olive_outline(diameter_mm, length_mm, dimple_mm=0.0):
    """Return the section (k, 2) of an egg-shaped fruit about the z axis, and its normals (k, 2).

    Radius and height, mm, from the lower pole to the upper; there its skin is drawn in by a dimple.
    """
    way = np.linspace(0, np.pi, 61)

    def at(way):
        radius = diameter_mm / 2 * np.sin(way) * (1 - 0.06 * np.cos(way))
        dent = dimple_mm * np.exp(-((radius / (0.16 * diameter_mm)) ** 2)) * (way > np.pi / 2)
        return np.stack([radius, -length_mm / 2 * np.cos(way) - dent], axis=-1)

    points = at(way)
    points[[0, -1], 0] = 0.0
    step = 1e-5
    slope = at(way + step) - at(way - step)
    normals = np.stack([slope[:, 1], -slope[:, 0]], axis=1)
    normals /= np.hypot(*normals.T)[:, None]
    normals[0], normals[-1] = (0, -1), (0, 1)
    return points, normals


def fruits(outline, normals, poses, sections=64):
    """Return a round fruit several times as one Cover.

    Charts: ``fruit``, as often as there are poses, from the lower pole up.

    Parameters
    ----------
    outline, normals : (k, 2) float
        As from ``olive_outline``.
    poses : list of Pose
    sections : int
    """
    points = np.asarray(outline, float)
    lengths = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    widest = points[:, 0].max()
    turns = 2 * np.pi * np.arange(sections + 1) / sections

    def spun(turn, s, columns):
        out, up = (np.interp(s, lengths, column) for column in columns.T)
        return swung(out, up, np.mod(turn, 2 * np.pi))

    skin = drawn(
        "fruit",
        lambda turn, s: spun(turn, s, points),
        turns,
        lengths,
        lambda turn, s: np.stack([turn * widest, s], axis=-1),
        (float(2 * np.pi * widest), float(lengths[-1])),
        lambda turn, s: spun(turn, s, normals),
    )
    wide = np.stack([lengths, points[:, 0] / widest], axis=1)
    moved = [replace(skin, mesh=placed(rotated(skin.mesh, pose.turn), pose.place_mm)) for pose in poses]
    return stacked([(one, wide) for one in moved])


def skins(outline, normals, poses, skin_mm, sections=64):
    """Return the closed surfaces of ``fruits`` grown by a skin, as one Mesh."""
    points = np.asarray(outline) + skin_mm * np.asarray(normals)
    points[[0, -1], 0] = 0.0
    tangents = np.stack([-normals[:, 1], normals[:, 0]], axis=1)
    mesh = turn(Outline(points, tangents, np.zeros(len(points), int)), sections)
    return combined([placed(rotated(mesh, pose.turn), pose.place_mm) for pose in poses])
