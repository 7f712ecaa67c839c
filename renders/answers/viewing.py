"""Where things come to lie in the camera's file: pixels, places of the hero, the rim's ellipse, margins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.bodies import hero_solid
from brimcast.scene.built import BuiltSet, Camera
from brimcast.scene.frame import look_along, project

from .answer import Lacking
from .study import Study

# Places on a circle; its ellipse is then exact to a part in a million.
ROUND = 2048


@dataclass(frozen=True)
class Pixels:
    """The grid of the camera's file.

    Attributes
    ----------
    width, height : float
        Pixels across and up.
    pitch_mm : float
        From pixel to pixel on the sensor.
    words : str
        Which file that is.
    """

    width: float
    height: float
    pitch_mm: float
    words: str

    def of(self, spots: np.ndarray) -> np.ndarray:
        """Return spots of the frame (..., 2), -1 to 1, in pixels right and up of its middle."""
        return np.asarray(spots) * [self.width / 2, self.height / 2]


def camera_of(study: Study) -> Camera:
    """Return a set's camera.

    Raises
    ------
    Lacking
        The set has none.
    """
    if study.built.camera is None:
        raise Lacking("a camera", "camera.lens=100 mm")
    return study.built.camera


def pixels_of(study: Study) -> Pixels:
    """Return the grid of the camera's own file where the brief tells its width, else of the set's picture.

    Raises
    ------
    Lacking
        The set has no camera.
    """
    camera, own = camera_of(study), study.brief.file_width_px
    width = own or camera.width_px
    pitch_mm = camera.sensor_mm[0] / width
    words = f"a file {width} pixels wide"
    if not own:
        words = f"the preview, {width} pixels wide (brief.file_width gives the camera's own)"
    return Pixels(width, camera.sensor_mm[1] / pitch_mm, pitch_mm, words)


def circle(centre_mm, radius_mm: float, height_mm: float) -> np.ndarray:
    """Return places (n, 3) round a level circle."""
    angle = np.linspace(0, 2 * np.pi, ROUND, endpoint=False)
    x, y = centre_mm[0] + radius_mm * np.cos(angle), centre_mm[1] + radius_mm * np.sin(angle)
    return np.stack([x, y, np.full(ROUND, height_mm)], axis=1)


def rim_of(built: BuiltSet) -> np.ndarray:
    """Return places (n, 3) round the rim of the hero glass."""
    foot = built.feet[0]
    return circle(foot.centre_mm, foot.rim_radius_mm, foot.stands_mm + foot.height_mm)


def hero_places(built: BuiltSet) -> tuple[np.ndarray, np.ndarray]:
    """Return places (n, 3) of the hero, and its axis, x and y: a glass's rim and foot, or a prop's corners.

    Without either, the datum.
    """
    if built.feet:
        foot = built.feet[0]
        stands = circle(foot.centre_mm, foot.foot_radius_mm, foot.stands_mm)
        return np.concatenate([rim_of(built), stands]), np.asarray(foot.centre_mm, float)
    solid = hero_solid(built)
    places = np.zeros((1, 3)) if solid is None else solid.mesh.vertices_mm
    return places, (places.min(axis=0) + places.max(axis=0))[:2] / 2


def ellipse_axes(points: np.ndarray) -> tuple[float, float]:
    """Return the longer and the shorter axis of an ellipse by many points (n, 2) round it.

    The half width of an ellipse across a direction n is sqrt(n S n); three directions give S, and the
    eigenvalues of S are the squares of its half axes.
    """
    half = [np.ptp(points @ way) / 2 for way in ((1, 0), (0, 1), (0.5**0.5, 0.5**0.5))]
    across, up, slant = np.square(half)
    mixed = slant - (across + up) / 2
    least, most = np.linalg.eigvalsh([[across, mixed], [mixed, up]])
    return 2 * float(most) ** 0.5, 2 * max(float(least), 0.0) ** 0.5


def measure_margins(camera: Camera, places_mm: np.ndarray, share, pixels: Pixels) -> dict:
    """Return how far places on the table lie inside the frame, or a crop of it, side by side.

    Parameters
    ----------
    camera : Camera
    places_mm : (n, 3) float
        Before the lens.
    share : (float, float)
        Width and height that count, as shares of the frame's.
    pixels : Pixels

    Returns
    -------
    dict
        For `left`, `right`, `bottom`, `top`: pixels, and mm along the table to where that side falls on it,
        of the place nearest to that side; below 0 outside. mm is None where the side looks over the table.
    """
    spots = project(camera, places_mm)[:, :2]
    found = {}
    for side, axis, sign in (("left", 0, -1), ("right", 0, 1), ("bottom", 1, -1), ("top", 1, 1)):
        nearest = int(np.argmax(sign * spots[:, axis]))
        edge = spots[nearest].copy()
        edge[axis] = sign * share[axis]
        left_over = share[axis] - sign * spots[nearest, axis]
        way = look_along(camera, edge)
        mm = None
        if way[2] < 0:
            falls = camera.place_mm - camera.place_mm[2] / way[2] * way
            mm = float(np.sign(left_over) * np.linalg.norm(falls - places_mm[nearest]))
        found[side] = (float(left_over * (pixels.width, pixels.height)[axis] / 2), mm)
    return found
