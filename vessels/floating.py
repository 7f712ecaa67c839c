"""How much of a solid is under a level, and what holds it up there."""

import numpy as np


def wet(piece, pose, level_mm):
    """Return the volume, mm3, of a placed `ice.Piece` that is under a level."""
    if len(piece.corners_mm) == 1:
        return wet_ball(pose.place_mm, piece.round_mm, level_mm)[0]
    mesh = piece.coarse
    corners = (mesh.vertices_mm @ pose.turn.T + pose.place_mm)[mesh.faces]
    return float(wet_bodies(corners, np.zeros(len(corners), dtype=int), 1, level_mm)[0][0])


def wet_bodies(corners_mm, owners, count, level_mm):
    """Return what of closed surfaces is under a level.

    By the divergence theorem: the field (0, 0, z - level) has divergence 1 and is zero on the level, so
    its flux through the wetted faces alone is the volume; so are the moments.

    Parameters
    ----------
    corners_mm : (m, 3, 3) float
        Triangles, counter-clockwise seen from outside.
    owners : (m,) int
        Which body each is of.
    count : int
        Of bodies.
    level_mm : float

    Returns
    -------
    volumes_mm3 : (count,) float
    middles_mm : (count, 3) float
        Their centroids; (0, 0, level) where nothing is under the level.
    """
    deep = corners_mm - np.array([0.0, 0.0, level_mm])
    under = (deep[..., 2] < 0).sum(axis=1)
    deep, owners, under = deep[under > 0], owners[under > 0], under[under > 0]
    a, b, c = deep[:, 0], deep[:, 1], deep[:, 2]
    # The area seen from above is enough: only the vertical part of the normal counts.
    area = ((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])) / 2
    terms = _integrals(a, b, c, area * (under >= 2))
    # Cut triangles: the corner that is alone on its side is a tip, added if wet, taken off if dry.
    cut = np.flatnonzero(under < 3)
    if len(cut):
        corners = deep[cut]
        single = under[cut] == 1
        alone = np.where(single, corners[..., 2].argmin(axis=1), corners[..., 2].argmax(axis=1))
        rows = np.arange(len(cut))
        tip, legs, share = corners[rows, alone], [], np.where(single, 1.0, -1.0) * area[cut]
        for step in (1, 2):
            other = corners[rows, (alone + step) % 3]
            part = tip[:, 2] / (tip[:, 2] - other[:, 2])
            legs.append(tip + part[:, None] * (other - tip))
            share = share * part
        terms[:, cut] += _integrals(tip, *legs, share)
    volumes, *moments = (np.bincount(owners, term, count) for term in terms)
    wet = volumes > 0
    middles = np.stack(moments, axis=1) / np.where(wet, volumes, 1.0)[:, None]
    return np.where(wet, volumes, 0.0), np.where(wet[:, None], middles, 0.0) + [0.0, 0.0, level_mm]


def wet_ball(middle_mm, radius_mm, level_mm):
    """Return volume, mm3, and centroid (3,) of what of a ball is under a level.

    A cap of height h has pi h^2 (3 R - h) / 3.
    """
    deep = float(np.clip(level_mm - middle_mm[2] + radius_mm, 0, 2 * radius_mm))
    volume = np.pi * deep**2 * (3 * radius_mm - deep) / 3
    if deep == 0:
        return 0.0, np.array([middle_mm[0], middle_mm[1], level_mm])
    # Centroid of a cap, from the ball's middle.
    off = 3 * (2 * radius_mm - deep) ** 2 / (4 * (3 * radius_mm - deep))
    return volume, np.array([middle_mm[0], middle_mm[1], middle_mm[2] - off])


def _integrals(a, b, c, area):
    """Return (4, m) integrals of z, x z, y z, z^2 / 2 over triangles; exact by the middles of their sides."""
    found = np.zeros((4, len(a)))
    for one, other in ((a, b), (b, c), (c, a)):
        x, y, z = ((one + other) / 2).T
        found += (z, x * z, y * z, z * z / 2)
    return found * (area / 3)
