"""Solids turned from a section, with the section's own normals, and what an outline sweeps."""

import numpy as np

from .mesh import Mesh, swung
from .outline import CHORD_ERROR_MM, Outline

FEWEST_SECTIONS = 48
MOST_SECTIONS = 512


def turn(section, sections=None, chord_error_mm=CHORD_ERROR_MM):
    """Return the solid that an outline sweeps round the z axis.

    Vertices lie on the surface: the mesh has V (n / 2 pi) sin(2 pi / n) of the volume V that the
    same points sweep in a full turn with n sections.

    Parameters
    ----------
    section : Outline
        Radius and height, mm, the solid on the left: both ends on the axis, or a closed ring clear of it.
    sections : int, optional
        Facets per turn; default from the chord error at the largest radius, 48 to 512.
    chord_error_mm : float
        How far facets may lie inside the surface, mm.

    Returns
    -------
    Mesh
        Each smooth piece of the section is one patch; every point of the section is kept.

    Raises
    ------
    ValueError
        An end is off the axis, a radius is negative, or fewer than three sections are asked for.
    """
    radius, height = section.points_mm.T
    if radius.min() < 0:
        raise ValueError(f"radius {radius.min():g} mm; it must not be negative")
    if not section.closed and (radius[0] != 0 or radius[-1] != 0):
        raise ValueError(f"the section ends off the axis, at radii {radius[0]:g} and {radius[-1]:g} mm")
    if (section.closed and radius.min() == 0) or (radius[1:-1] == 0).any():
        raise ValueError("the section touches the axis between its ends")
    sections = sections_for(radius.max(), chord_error_mm) if sections is None else int(sections)
    if sections < 3:
        raise ValueError(f"{sections} sections; at least 3 are needed")
    starts, vertices, normals = _rings(section, sections)
    faces, patches = _bands(section, sections, starts)
    return Mesh(vertices, faces, normals, patches)


def sections_for(radius_mm, chord_error_mm=CHORD_ERROR_MM):
    """Return how many facets per turn keep the chord error, a multiple of four from 48 to 512."""
    half_turn = np.arccos(max(1 - chord_error_mm / radius_mm, -1.0))
    return int(np.clip(4 * np.ceil(np.pi / half_turn / 4), FEWEST_SECTIONS, MOST_SECTIONS))


def sweep(outline: Outline) -> tuple[float, float]:
    """Return volume, mm3, and its first moment about the table, mm4, between an outline and the axis.

    They are the integrals of pi r^2 dz and pi r^2 z dz along the outline: of a closed section, the
    solid's own. Six points are exact for the cubics between the outline's points.
    """
    points, weights = np.polynomial.legendre.leggauss(6)
    volume = moment = 0.0
    for u, weight in zip((points + 1) / 2, weights / 2, strict=True):
        position, slope = outline.between(u)
        radius, height = position.T
        part = weight * radius**2 * slope[:, 1]
        volume += part.sum()
        moment += (part * height).sum()
    return float(np.pi * volume), float(np.pi * moment)


def _rings(section, sections):
    """Return each point's first vertex, all vertices, all normals; a smooth pole is one vertex."""
    around = 2 * np.pi * np.arange(sections) / sections
    starts, vertices, normals = [], [], []
    count = 0
    for (radius, height), normal in zip(section.points_mm, section.normals, strict=True):
        starts.append(count)
        if radius == 0 and abs(normal[0]) < 1e-9:
            vertices.append([[0.0, 0.0, height]])
            normals.append([[0.0, 0.0, np.sign(normal[1])]])
        else:
            # The tip of a cone has a normal for each facet, taken half-way round it.
            angle = around + np.pi / sections if radius == 0 else around
            vertices.append(swung(radius, height, angle))
            normals.append(swung(*normal, angle))
        count += len(vertices[-1])
    return starts, np.concatenate(vertices), np.concatenate(normals)


def _bands(section, sections, starts):
    """Return faces and patches between neighbouring points."""
    this = np.arange(sections)
    following = (this + 1) % sections
    radius, last = section.points_mm[:, 0], len(starts) - 1
    smooth_pole = np.abs(section.normals[:, 0]) < 1e-9
    faces, patches = [], []
    for k in range(last + section.closed):
        after = 0 if k == last else k + 1
        if np.array_equal(section.points_mm[k], section.points_mm[after]):
            continue
        lower, upper = starts[k], starts[after]
        if radius[k] == 0:
            pole = np.full(sections, lower) if smooth_pole[k] else lower + this
            band = [np.stack([pole, upper + following, upper + this], axis=1)]
        elif radius[after] == 0:
            pole = np.full(sections, upper) if smooth_pole[after] else upper + this
            band = [np.stack([lower + this, lower + following, pole], axis=1)]
        else:
            band = [
                np.stack([lower + this, lower + following, upper + following], axis=1),
                np.stack([lower + this, upper + following, upper + this], axis=1),
            ]
        faces.extend(band)
        patches.append(np.full(sum(map(len, band)), section.pieces[k]))
    return np.concatenate(faces), np.concatenate(patches)
