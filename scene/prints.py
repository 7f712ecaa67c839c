"""Pictures on labels: what each spot of one throws back, and what it lets through, band by band."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from brimcast.shared.bands import BAND_CENTRES_NM, band_means
from brimcast.shared.colour import BAND_XYZ, D65_XYZ, XYZ_TO_SRGB, adaptation, decode_srgb
from brimcast.shared.spectra import daylight

# Finer than this no camera sees a label whose glass fills its frame.
SPOT_MM = 0.15
_D65_K = 6504.0
# Ink of the darkest colour still lets this share through, so that it stays ink.
_LEAST_SHARE = 1e-3


@dataclass(frozen=True, eq=False)
class Print:
    """A picture on a sheet.

    Attributes
    ----------
    reflectance, through : (lines, columns, 16) float32
        Shares thrown back, and let through straight on; lines from the bottom, columns from the left.
    transmittance : (lines, columns, 16) float32 or None
        Shares let through diffusely, where light does not go straight on; none at all where left out.
    back : (lines, columns, 16) float32 or None
        Shares that the back throws back; left out, those of the sheet.
    """

    reflectance: np.ndarray
    through: np.ndarray
    transmittance: np.ndarray | None = None
    back: np.ndarray | None = None


def picture_shape(path: Path) -> tuple[int, int]:
    """Return a picture's width and height in pixels.

    Raises
    ------
    OSError
        It is no picture.
    """
    from PIL import Image

    with Image.open(path) as image:
        return image.size


def tell_unreadable(path: Path, wrong: OSError) -> str:
    """Return what is wrong with a picture that cannot be read."""
    if isinstance(wrong, FileNotFoundError):
        return f"there is no file {path.name!r} in {path.parent}"
    return f"{path.name!r} cannot be read as a picture: {wrong.strerror or 'its kind is not known'}"


def read_print(path: Path, size_mm: tuple[float, float], ink: bool) -> Print:
    """Read a picture and stretch it over a sheet.

    Parameters
    ----------
    path : path
        Any file that Pillow reads; in sRGB, as pictures without a profile are. Where it is clear (alpha
        below a half), there is bare glass.
    size_mm : (float, float)
        Width and height of the sheet.
    ink : bool
        The colours are of light that goes straight through, white is clear; else of paper.

    Raises
    ------
    OSError
        It is no picture.
    """
    from PIL import Image

    with Image.open(path) as image:
        wanted = [max(1, int(np.ceil(side / SPOT_MM))) for side in size_mm]
        size = [min(side, most) for side, most in zip(image.size, wanted, strict=True)]
        pixels = np.asarray(image.convert("RGBA").resize(size, Image.Resampling.BOX), float)[::-1] / 255
    bands = reflect_colour(decode_srgb(pixels[..., :3])).astype(np.float32)
    bare = pixels[..., 3:] < 0.5
    if ink:
        return Print(np.zeros_like(bands), np.where(bare, np.float32(1), np.maximum(bands, _LEAST_SHARE)))
    return Print(np.where(bare, np.float32(0), bands), np.broadcast_to(np.float32(1) * bare, bands.shape))


def reflect_colour(linear_srgb):
    """Return reflectances that have given colours in white light (D65).

    Each is the mix of three smooth spectra which add up to one in every band: the idea of I. Mallett and
    C. Yuksel, Spectral primary decomposition for rendering with sRGB reflectance, EGSR 2019.

    Parameters
    ----------
    linear_srgb : (..., 3) float
        0 to 1.

    Returns
    -------
    (..., 16) float
        0 to 1.
    """
    return np.asarray(linear_srgb, float) @ _primaries()


@cache
def _primaries():
    """Return the (3, 16) reflectances of red, green and blue: those with the least sum of squared steps."""
    from scipy.optimize import minimize

    weights = band_means(daylight(_D65_K))[:, None] * BAND_XYZ
    weights /= weights[:, 1].sum()
    to_srgb = XYZ_TO_SRGB @ adaptation(weights.sum(axis=0), D65_XYZ) @ weights.T
    count = len(BAND_CENTRES_NM)
    # Red and green have their colours, all three add up to white, so blue has its own too.
    colours = np.kron(np.eye(2, 3), to_srgb)
    ones = np.tile(np.eye(count), 3)
    matrix = np.concatenate([colours, ones])
    wanted = np.concatenate([np.eye(2, 3).ravel(), np.ones(count)])
    steps = np.kron(np.eye(3), np.diff(np.eye(count), axis=0))
    pull = steps.T @ steps
    found = minimize(
        lambda x: (x @ pull @ x, 2 * pull @ x),
        np.full(3 * count, 1 / 3),
        jac=True,
        method="SLSQP",
        bounds=[(0, 1)] * (3 * count),
        constraints={"type": "eq", "fun": lambda x: matrix @ x - wanted, "jac": lambda x: matrix},
        options={"maxiter": 300, "ftol": 1e-12},
    )
    return np.clip(found.x.reshape(3, count), 0, 1)
