"""Flags of any outline, cut as a picture shows: gobos and cutters."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from brimcast.vessels.mesh import Mesh

# Cells along the longer side of a flag: what a shadow's penumbra leaves of its outline is coarser.
MOST_CELLS = 200


def cut_outline(path: Path, size_mm: tuple[float, float]) -> Mesh:
    """Return a flag in the plane z = 0, facing up, its middle at the origin: rectangles of what is dark.

    Parameters
    ----------
    path : path
        Any file that Pillow reads, stretched over the flag. Where some of it is clear (alpha below a half),
        all that is not clear is black; else what is darker than half of white (grey value).
    size_mm : (float, float)
        Width and height.

    Raises
    ------
    OSError
        It is no picture.
    ValueError
        Nothing of it is dark.
    """
    dark = read_dark(path, size_mm)
    if not dark.any():
        raise ValueError("nothing of it is dark, so the flag would not be there")
    lines, columns = dark.shape
    across = np.linspace(-0.5, 0.5, columns + 1) * size_mm[0]
    upward = np.linspace(-0.5, 0.5, lines + 1) * size_mm[1]
    found = np.array(merge_runs(dark))
    low, high = found[:, :2], found[:, 2:]
    left, right = across[low[:, 0]], across[high[:, 0]]
    bottom, top = upward[low[:, 1]], upward[high[:, 1]]
    level = np.zeros(len(found))
    corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
    vertices = np.stack([np.stack([x, y, level], axis=1) for x, y in corners], axis=1).reshape(-1, 3)
    faces = (4 * np.arange(len(found))[:, None, None] + np.array([(0, 1, 2), (0, 2, 3)])).reshape(-1, 3)
    normals = np.tile([0.0, 0.0, 1.0], (len(vertices), 1))
    return Mesh(vertices, faces, normals, np.zeros(len(faces), np.int32))


def read_dark(path: Path, size_mm: tuple[float, float]) -> np.ndarray:
    """Return which cells (lines from the bottom, columns from the left) of a picture are black.

    Raises
    ------
    OSError
        It is no picture.
    """
    from PIL import Image

    with Image.open(path) as image:
        cell = max(size_mm) / MOST_CELLS
        wanted = [max(1, round(side / cell)) for side in size_mm]
        size = [min(side, most) for side, most in zip(image.size, wanted, strict=True)]
        clear = np.asarray(image.convert("RGBA").getchannel("A")) < 128
        # A cut-out picture is black wherever it is not clear, whatever its colours.
        shares = ~clear if clear.any() else np.asarray(image.convert("L")) < 128
        share = Image.fromarray(np.where(shares, 255, 0).astype(np.uint8))
        return np.asarray(share.resize(size, Image.Resampling.BOX))[::-1] >= 128


def merge_runs(dark: np.ndarray) -> list[tuple[int, int, int, int]]:
    """Return rectangles (left, bottom, right, top), in cells, that cover what is dark once.

    Runs of each line, joined over the lines on which they are the same.
    """
    found, open_runs = [], {}
    for line, cells in enumerate(np.concatenate([dark, np.zeros((1, dark.shape[1]), bool)])):
        edges = np.flatnonzero(np.diff(np.concatenate([[False], cells, [False]]).astype(np.int8)))
        runs = {(int(a), int(b)) for a, b in edges.reshape(-1, 2)}
        for run in [run for run in open_runs if run not in runs]:
            found.append((run[0], open_runs.pop(run), run[1], line))
        open_runs |= {run: line for run in runs if run not in open_runs}
    return sorted(found)
