"""Cloth folded to and fro, with rounded folds and smooth waviness."""

from __future__ import annotations

import numpy as np

from .leaf import Leaf, grid_faces
from .mesh import Mesh

# From vertex to vertex, steps round a fold, how far folds lie off one another, and how far from
# a foot the cloth is flat again.
_CLOTH_STEP_MM, _FOLD_STEPS, _SLACK_MM, _PRESS_MM = 3.0, 16, 2.0, 20.0
# Share of the waviness at the lowest layer, which the table holds down (common practice).
_LOWEST_SHARE = 0.6


def fold_cloth(
    size_mm: tuple[float, float],
    layers: int,
    layer_mm: float,
    wave_mm: float,
    seed: int,
    pressed_mm: tuple[tuple[float, float, float], ...] = (),
) -> Leaf:
    """Return a cloth folded to and fro, lying on z = 0, its folds rounded and along x.

    Waviness lifts each layer by what rises with its height, so layers never come through one another.

    Parameters
    ----------
    size_mm : (float, float)
        Width (x) and depth (y) as folded.
    layers : int
    layer_mm : float
        From layer to layer.
    wave_mm : float
        How far the topmost layer is lifted, at most.
    seed : int
        Of waviness and of where folds lie.
    pressed_mm : tuple of (x, y, radius)
        Discs where a foot presses the cloth flat.

    Returns
    -------
    Leaf
        Its map is the cloth spread out; layers are counted from below by its patches. Stretching by
        waviness, under a hundredth, is not counted.
    """
    width, depth = size_mm
    numbers = np.random.default_rng(seed)
    slack = min(_SLACK_MM, depth / 20) * numbers.random((layers, 2))
    path, tangents, patches = _fold_path(depth, layers, layer_mm, slack)
    lengths = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    x = np.linspace(-width / 2, width / 2, max(int(np.ceil(width / _CLOTH_STEP_MM)), 2) + 1)
    flat_x, y = np.broadcast_arrays(x, path[:, :1])
    wave, wave_x, wave_y = _waviness(size_mm, numbers, pressed_mm)(flat_x, y)
    top = (layers - 0.5) * layer_mm
    share = (_LOWEST_SHARE + (1 - _LOWEST_SHARE) * path[:, 1:] / top) * wave_mm
    per_mm = (1 - _LOWEST_SHARE) / top * wave_mm
    z = path[:, 1:] + share * wave
    # The two ways along the sheet: x, and the path.
    across = np.stack(np.broadcast_arrays(1.0, 0.0, share * wave_x), axis=2)
    forth = tangents[:, :1] + 0 * z
    rise = tangents[:, 1:] * (1 + per_mm * wave) + share * wave_y * forth
    normals = np.cross(across, np.stack([0 * z, forth, rise], axis=2))
    normals /= np.linalg.norm(normals, axis=2, keepdims=True)
    mesh = Mesh(
        np.stack([flat_x, y, z], axis=2).reshape(-1, 3),
        grid_faces(*z.shape),
        normals.reshape(-1, 3),
        np.tile(np.repeat(patches, len(x) - 1), 2),
    )
    places = np.stack(np.broadcast_arrays(x + width / 2, lengths[:, None]), axis=2).reshape(-1, 2)
    return Leaf(mesh, places, (width, float(lengths[-1])))


def _fold_path(depth_mm, layers, layer_mm, slack_mm):
    """Return points and tangents (n, 2) in y and z of a cloth folded to and fro, and each stretch's patch."""
    points, tangents, patches = [], [], []
    for k in range(layers):
        way = 1.0 if k % 2 == 0 else -1.0
        height = (k + 0.5) * layer_mm
        # A fold's two layers end alike, where its round begins.
        starts = slack_mm[k - 1, 1] if k else slack_mm[k, 0]
        ends = slack_mm[k, 1]
        reach = depth_mm / 2 - layer_mm / 2
        start, stop = -way * (reach - starts), way * (reach - ends)
        steps = max(int(np.ceil(abs(stop - start) / _CLOTH_STEP_MM)), 2)
        straight = np.linspace(start, stop, steps + 1)
        points.append(np.column_stack([straight, np.full(steps + 1, height)]))
        tangents.append(np.tile([way, 0.0], (steps + 1, 1)))
        patches += steps * [k]
        if k < layers - 1:
            turns = np.pi * np.arange(1, _FOLD_STEPS) / _FOLD_STEPS
            round_ = np.column_stack([way * np.sin(turns), 1 - np.cos(turns)]) * layer_mm / 2
            points.append([stop, height] + round_)
            tangents.append(np.column_stack([way * np.cos(turns), np.sin(turns)]))
            patches += _FOLD_STEPS * [layers + k]
    return np.concatenate(points), np.concatenate(tangents), np.array(patches)


def _waviness(size_mm, numbers, pressed_mm):
    """Return a function of x, y that gives a smooth height, 0 to 1 and 0 where pressed, and its slopes."""
    turns = 2 * np.pi * numbers.random(6)
    pace = 2 * np.pi / (min(size_mm) * (0.4 + 0.6 * numbers.random(6)))
    ways = np.stack([pace * np.cos(turns), pace * np.sin(turns)])
    starts = 2 * np.pi * numbers.random(6)

    def raw(x, y):
        phase = x[..., None] * ways[0] + y[..., None] * ways[1] + starts
        return np.cos(phase).sum(axis=-1), -np.sin(phase) @ ways[0], -np.sin(phase) @ ways[1]

    grid = np.meshgrid(*(np.linspace(-side / 2, side / 2, 64) for side in size_mm))
    heights, *_ = raw(*grid)
    low, high = heights.min(), heights.max()

    def wave(x, y):
        height, slope_x, slope_y = (part / (high - low) for part in raw(x, y))
        height = height - low / (high - low)
        for at_x, at_y, radius in pressed_mm:
            away_x, away_y = x - at_x, y - at_y
            away = np.hypot(away_x, away_y)
            t = np.clip((away - radius) / _PRESS_MM, 0, 1)
            free, pace = t * t * (3 - 2 * t), 6 * t * (1 - t) / _PRESS_MM / np.maximum(away, 1e-9)
            slope_x = slope_x * free + height * pace * away_x
            slope_y = slope_y * free + height * pace * away_y
            height = height * free
        return height, slope_x, slope_y

    return wave
