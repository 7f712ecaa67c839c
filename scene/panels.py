"""Flat matte surfaces: the table, plates, and panels that hang on the set."""

from __future__ import annotations

import numpy as np

from brimcast.shared.bands import BAND_CENTRES_NM
from brimcast.vessels.mesh import Mesh, placed, rotated

from . import models_things as things
from .built import Panel
from .models_surfaces import Reflectance


def bands_of(reflectance: Reflectance) -> np.ndarray:
    """Return a smooth (16,) reflectance that is blue, green and red in its three parts of the spectrum."""
    values = [reflectance.blue, reflectance.blue, reflectance.green, reflectance.red, reflectance.red]
    return np.interp(BAND_CENTRES_NM, [380, 460, 540, 620, 700], values)


def rectangle(width_mm: float, height_mm: float) -> Mesh:
    """Return one sheet in the plane z = 0, its middle at the origin, facing up."""
    half = np.array([width_mm, height_mm, 0]) / 2
    corners = half * np.array([(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0)])
    faces = np.array([(0, 1, 2), (0, 2, 3)], np.int32)
    return Mesh(corners, faces, np.tile([0.0, 0.0, 1.0], (4, 1)), np.zeros(2, np.int32))


def lay_table(table: things.Table) -> Panel:
    """Return the table top, black from below."""
    width, depth = table.size_mm
    mesh = rectangle(width, depth)
    corner = np.array([-width / 2, -depth / 2, 0.0])
    axes = np.eye(3)
    reflectance = bands_of(table.reflectance)
    return Panel("table", mesh, corner, axes[0], axes[1], (width, depth), reflectance, np.zeros(16))


def lay_plate(name: str, prop: things.Plate, mesh: Mesh) -> Panel:
    """Return a black plate of a placed mesh."""
    normal = mesh.normals[0]
    turn = np.radians(prop.turn_deg)
    u = np.array([np.cos(turn), -np.sin(turn), 0.0])
    v = np.cross(normal, u)
    middle = (mesh.vertices_mm.min(axis=0) + mesh.vertices_mm.max(axis=0)) / 2
    width, height = prop.size_mm
    corner = middle - u * width / 2 - v * height / 2
    return Panel(name, mesh, corner, u, v, (width, height), np.zeros(16), np.zeros(16))


def hang_sheet(name: str, at_mm, size_mm, normal: np.ndarray, reflectance: np.ndarray, mesh=None) -> Panel:
    """Return a panel whose front looks along a unit normal, both sides alike.

    Parameters
    ----------
    name : str
    at_mm : (3,) float
        Its centre.
    size_mm : (float, float)
        Width and height.
    normal : (3,) float
    reflectance : (16,) float
    mesh : Mesh, optional
        What there is of it, in the plane z = 0, facing up; left out, all of the rectangle.
    """
    centre = np.asarray(at_mm, float)
    u, v = sides_of(normal)
    width, height = size_mm
    flat = rectangle(width, height) if mesh is None else mesh
    turned = placed(rotated(flat, np.stack([u, v, normal], axis=1)), centre)
    corner = centre - u * width / 2 - v * height / 2
    return Panel(name, turned, corner, u, v, (width, height), reflectance, reflectance)


def flat_panel(name: str, corner_mm, u, v, size_mm, front: np.ndarray, back: np.ndarray) -> Panel:
    """Return a rectangle by its lower left corner and the unit vectors of its sides, seen from its front."""
    turn = np.stack([u, v, np.cross(u, v)], axis=1)
    middle = corner_mm + u * size_mm[0] / 2 + v * size_mm[1] / 2
    mesh = placed(rotated(rectangle(*size_mm), turn), middle)
    return Panel(name, mesh, np.asarray(corner_mm, float), u, v, tuple(size_mm), front, back)


def sides_of(normal: np.ndarray):
    """Return the level side and the upright side (unit vectors) of a panel, seen from its front."""
    up = np.array([0.0, 0.0, 1.0]) if abs(normal[2]) < 0.9999 else np.array([0.0, np.sign(normal[2]), 0.0])
    u = np.cross(up, normal)
    u /= np.linalg.norm(u)
    return u, np.cross(normal, u)
