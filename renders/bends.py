"""How the normal turns over each face of a mesh."""

from __future__ import annotations

import numpy as np


def tabulate_bends(vertices: np.ndarray, faces: np.ndarray, normals: np.ndarray, outward) -> np.ndarray:
    """Return (faces, 4) change of the normal over each face: by s and t along s, by s and t along t.

    s and t are Mitsuba's coordinate system of the face's normal: T. Duff and others, Building an orthonormal
    basis, revisited, Journal of Computer Graphics Techniques 6 (2017). They flip where z changes its sign.
    """
    x, y, z = outward.T
    sign = np.where(z >= 0, 1.0, -1.0)
    a = -1 / (sign + z)
    s = np.stack([1 + sign * x * x * a, sign * x * y * a, -sign * x], axis=1)
    t = np.stack([x * y * a, sign + y * y * a, -y], axis=1)
    corners, ends = vertices[faces], normals[faces]
    axes = np.stack([s, t], axis=1)
    edges = np.einsum("nij,nkj->nik", axes, corners[:, 1:] - corners[:, :1])
    turns = np.einsum("nij,nkj->nik", axes, ends[:, 1:] - ends[:, :1])
    determinant = edges[:, 0, 0] * edges[:, 1, 1] - edges[:, 0, 1] * edges[:, 1, 0]
    adjugate = np.empty_like(edges)
    adjugate[:, 0, 0], adjugate[:, 1, 1] = edges[:, 1, 1], edges[:, 0, 0]
    adjugate[:, 0, 1], adjugate[:, 1, 0] = -edges[:, 0, 1], -edges[:, 1, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        bends = np.einsum("nij,njk->nik", turns, adjugate) / determinant[:, None, None]
    bends[~np.isfinite(bends).all(axis=(1, 2))] = 0
    return bends.reshape(-1, 4)
