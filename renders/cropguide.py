"""The crop guide on a picture."""

import numpy as np

from brimcast.scene.frame import crop_share


def mark_crop(rgb8, camera):
    """Return a picture with the camera's crop guide drawn on it; as it is where there is none.

    A pale line with a dark one on each side, so that it reads on any ground. What the crop keeps is inside.

    Parameters
    ----------
    rgb8 : (h, w, 3) uint8
    camera : Camera

    Returns
    -------
    (h, w, 3) uint8
    """
    share = crop_share(camera)
    if share is None or share == (1.0, 1.0):
        return rgb8
    height, width = rgb8.shape[:2]
    thick = max(1, round(width / 900))
    column, line = np.arange(width) + 0.5, np.arange(height) + 0.5
    # Pixels outside the crop on each axis; below 0 inside.
    beyond_x = np.abs(column - width / 2) - share[0] * width / 2
    beyond_y = np.abs(line - height / 2) - share[1] * height / 2
    beyond = np.maximum(beyond_x[None, :], beyond_y[:, None])
    marked = rgb8.copy()
    marked[(beyond > 0) & (beyond < 3 * thick)] = 0
    marked[(beyond >= thick) & (beyond < 2 * thick)] = 255
    return marked
