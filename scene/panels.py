"""Flat matte surfaces: the table, plates, flags and cards."""

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


def hang_sheet(name: str, model, normal: np.ndarray, reflectance: np.ndarray) -> Panel:
    """Return a flag or card whose front looks along a unit normal."""
    centre = np.asarray(model.at_mm, float)
    u, v = _sides(normal)
    width, height = model.size_mm
    mesh = placed(rotated(rectangle(width, height), np.stack([u, v, normal], axis=1)), centre)
    corner = centre - u * width / 2 - v * height / 2
    return Panel(name, mesh, corner, u, v, (width, height), reflectance, reflectance)


def _sides(normal: np.ndarray):
    """Level side and upright side of a sheet, seen from its front."""
    up = np.array([0.0, 0.0, 1.0]) if abs(normal[2]) < 0.9999 else np.array([0.0, np.sign(normal[2]), 0.0])
    u = np.cross(up, normal)
    u /= np.linalg.norm(u)
    return u, np.cross(normal, u)
