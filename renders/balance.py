"""White balance: what is to look neutral, found from the light that was computed."""

from __future__ import annotations

import numpy as np

from brimcast.shared.colour import xy_from_xyz, xyz_from_bands

AS_SHOT = "as shot"


def find_white(white, plain: np.ndarray, meters: dict[str, np.ndarray]):
    """Return the white that `adjust.develop` takes: K, or chromaticity x, y.

    Parameters
    ----------
    white : float or str
        K; ``as shot``, the light of all lamps together on the bare table at the datum; or the name of a
        meter.
    plain : (16,) float
        That light, through the lamps' gels.
    meters : dict of str to (16,) float
        Light of all lamps on each meter, times the reflectance of what is to be neutral there.

    Raises
    ------
    KeyError
        There is no such meter.
    ValueError
        No light falls there.
    """
    if not isinstance(white, str):
        return float(white)
    light = plain if white == AS_SHOT else meters[white]
    if not np.sum(light) > 0:
        raise ValueError(f"no light falls on {white!r}, so it cannot be made white")
    return tuple(float(value) for value in xy_from_xyz(xyz_from_bands(light)))
