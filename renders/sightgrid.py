"""Where the camera's single rays go: spots of the frame, line by line, and what a step is worth in mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.built import Camera
from brimcast.scene.frame import project, slope_of


def unit(ways) -> np.ndarray:
    """Return vectors (..., 3) at length 1."""
    ways = np.asarray(ways, float)
    return ways / np.linalg.norm(ways, axis=-1, keepdims=True)


def ways_of(camera: Camera, spots) -> np.ndarray:
    """Return unit vectors (n, 3) along which the camera sees spots (n, 2) of the frame, -1 to 1."""
    slopes = slope_of(camera, spots)
    return unit(camera.forward + slopes[:, :1] * camera.right + slopes[:, 1:] * camera.up)


def depth_of(camera: Camera, places_mm) -> np.ndarray:
    """Return how far places (..., 3) are before the lens along `forward`, mm."""
    return (np.asarray(places_mm, float) - camera.place_mm) @ camera.forward


def frame_mm(camera: Camera, depth_mm):
    """Return half the frame's width and height, mm, so far before the lens: what one unit of a spot is."""
    width, height = camera.sensor_mm
    scale = np.asarray(depth_mm, float) / camera.image_mm / 2
    return width * scale, height * scale


@dataclass(frozen=True, eq=False)
class Grid:
    """Spots of the frame in lines and columns.

    Attributes
    ----------
    camera : Camera
    right : (columns,) float
        From left to right, -1 to 1 over the frame.
    up : (lines,) float
        From the top down, 1 to -1 over the frame.
    """

    camera: Camera
    right: np.ndarray
    up: np.ndarray

    @property
    def shape(self) -> tuple[int, int]:
        """Lines and columns."""
        return len(self.up), len(self.right)

    @property
    def spots(self) -> np.ndarray:
        """(lines × columns, 2) float, line by line."""
        return np.stack(np.meshgrid(self.right, self.up), axis=-1).reshape(-1, 2)

    @property
    def step(self) -> np.ndarray:
        """(2,) float: from one spot to the next, right and up, in the frame's units."""
        return np.array([self.right[1] - self.right[0], self.up[0] - self.up[1]])

    def ways(self) -> np.ndarray:
        """Return the unit vectors (lines × columns, 3) of the rays."""
        return ways_of(self.camera, self.spots)

    def area_mm2(self, places_mm) -> np.ndarray:
        """Return the area, level with the sensor, that one cell of the grid covers at places (n, 3)."""
        wide, tall = frame_mm(self.camera, depth_of(self.camera, places_mm))
        return np.prod(self.step) * wide * tall


def whole_frame(camera: Camera, lines: int, columns: int) -> Grid:
    """Return the middles of so many lines and columns of cells that fill the frame."""
    across, down = ((np.arange(count) + 0.5) / count for count in (columns, lines))
    return Grid(camera, 2 * across - 1, 1 - 2 * down)


def box_of(camera: Camera, places_mm) -> tuple[np.ndarray, np.ndarray] | None:
    """Return the lowest and highest spot of places inside the frame; None where it holds none of them."""
    spots = project(camera, places_mm)[:, :2]
    low, high = np.clip(np.nanmin(spots, axis=0), -1, 1), np.clip(np.nanmax(spots, axis=0), -1, 1)
    return (low, high) if np.all(high > low) else None


def cover(camera: Camera, places_mm, step_mm: float) -> Grid | None:
    """Return the grid over what the frame shows of places, in steps of so many mm; None for none."""
    box = box_of(camera, places_mm)
    if box is None:
        return None
    unit = np.array(frame_mm(camera, depth_of(camera, places_mm).mean()))
    counts = np.maximum(np.ceil((box[1] - box[0]) * unit / step_mm), 2).astype(int)
    (left, low), (right, high) = box
    across, down = ((np.arange(count) + 0.5) / count for count in counts)
    return Grid(camera, left + (right - left) * across, high - (high - low) * down)
