"""Stored bands of every lamp -> power, gel, exposure, white -> display.

Light adds, so none of this needs a ray: it is exact to the width of a band.
Blur stays as rendered.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from ..shared import exposure
from ..shared.bands import BANDS, band_means
from ..shared.colour import BAND_XYZ, XYZ_TO_SRGB, adaptation, encode_srgb, xyz_from_bands, xyz_from_xy
from ..shared.spectra import from_temperature

# The card that relative pictures are set by: as metered with a flat receptor at the camera's own
# f-number and ISO, focus at infinity, which is C q rho / (pi 78) of saturation, 0.1194.
CARD_REFLECTANCE = 0.18
METERED_CARD_LEVEL = float(
    exposure.level(exposure.light_exposure(1.0, 1.0, "flat") * CARD_REFLECTANCE / math.pi, 1.0, 1.0)
)

# How a picture is shown, in words for its file.
LOOKS = {
    "plain": "sRGB, clipped at saturation as the camera clips",
    "pitch": "sRGB with a soft shoulder from half of saturation up, for pitching; the camera would clip",
}
SHOULDER_FROM = 0.5
_ENCODED_STEPS = 1 << 18

# Y of linear sRGB: the middle row of the inverse of XYZ_TO_SRGB.
LUMINANCE = np.linalg.inv(XYZ_TO_SRGB)[1]


@dataclass(frozen=True)
class Exposure:
    """How the camera turns light into levels.

    Parameters
    ----------
    f_number : float
        Exact, see `exposure.exact_f_number`.
    iso : float
    magnification : float
        Image size over subject size; 0 for focus at infinity.
    relative : float or None
        None where a meter reading stands behind the bands: they are in cd s m^-2.
        Else a scale: at 1, an 18 % matte card lying at the datum under one unit
        of plain-table light (all lamps together, no gels, 0 stops) comes to
        0.1194 of saturation, as if metered with a flat receptor. One stop more
        is 2. f-number, ISO and magnification then change nothing.

    Raises
    ------
    ValueError
        A number is not finite, or not above 0 (magnification: below 0).
    """

    f_number: float
    iso: float
    magnification: float = 0.0
    relative: float | None = None

    def __post_init__(self):
        for name in ("f_number", "iso", "relative"):
            value = getattr(self, name)
            if value is not None and not 0 < value < math.inf:
                raise ValueError(f"{name} is {value}; use a number above 0")
        if not 0 <= self.magnification < math.inf:
            raise ValueError(f"magnification is {self.magnification}; use 0 or more")

    @property
    def level_per_luminance(self):
        """Linear level, 1 at saturation, of one cd s m^-2 or one relative unit of luminance."""
        if self.relative is None:
            return float(exposure.level(1.0, self.f_number, self.iso, self.magnification))
        return self.relative * METERED_CARD_LEVEL * math.pi / CARD_REFLECTANCE


def develop(bands, camera, power_stops=None, gels=None, white=None):
    """Return the picture under all lamps in linear sRGB.

    Every lamp's bands are multiplied by its power and gel and added. The level
    is the sensor's exposure over its saturation; the white is carried to D65 by
    the linear Bradford transform. Nothing is clipped.

    Parameters
    ----------
    bands : dict of str to (16, h, w) float
        Lamp -> spectral radiance times time at 0 stops without gel, mean inside
        each band, per nm, scaled so that the sum weighted by `BAND_XYZ` has Y in
        cd s m^-2 (or relative, see `Exposure`).
    camera : Exposure
    power_stops : dict of str to float, optional
        Stops relative to the power of the reading; a lamp left out has 0, one
        at -inf is off.
    gels : dict of str to (16,) float, optional
        Transmittance in each band; a lamp left out has none.
    white : float or (2,) float, optional
        Colour temperature in K (Planck below 4000 K, CIE daylight from there)
        or chromaticity x, y of what is to be neutral; left out, D65.

    Returns
    -------
    (h, w, 3) float32
        1 is saturation and display white.

    Raises
    ------
    ValueError
        There is no lamp, shapes differ, a gel is not (16,), power or gel is
        given for a lamp that is not there, or the white does not exist.
    """
    power_stops, gels = power_stops or {}, gels or {}
    _check(bands, power_stops, gels)
    to_rgb = XYZ_TO_SRGB @ adaptation_from(white) * camera.level_per_luminance

    rgb = 0.0
    for lamp, stored in bands.items():
        seen = BAND_XYZ * np.reshape(gels.get(lamp, np.ones(BANDS)), (-1, 1))
        weights = to_rgb @ seen.T * 2.0 ** power_stops.get(lamp, 0.0)
        # Line by line, in single precision, so that no copy of the bands is made.
        lines = np.moveaxis(np.asarray(stored, np.float32), 0, 1)
        rgb = rgb + np.matmul(weights.astype(np.float32), lines)
    return np.ascontiguousarray(np.moveaxis(rgb, 1, 2))


def _check(bands, power_stops, gels):
    if not bands:
        raise ValueError("there is no lamp to develop")
    shapes = {np.shape(stored) for stored in bands.values()}
    if len(shapes) > 1 or any(len(shape) != 3 or shape[0] != BANDS for shape in shapes):
        raise ValueError(f"bands are {sorted(shapes)}; use one shape ({BANDS}, h, w) for all lamps")
    for what, given in (("power", power_stops), ("a gel", gels)):
        for lamp in given:
            if lamp not in bands:
                raise ValueError(f"{what} is given for lamp {lamp!r}; there are {', '.join(bands)}")
    for lamp, gel in gels.items():
        if np.shape(gel) != (BANDS,):
            raise ValueError(f"the gel of lamp {lamp!r} is {np.shape(gel)}; use ({BANDS},)")
    for lamp, stops in power_stops.items():
        if not stops < math.inf:
            raise ValueError(f"the power of lamp {lamp!r} is {stops} stops; use a number or -inf")


def adaptation_from(white):
    """Return the Bradford matrix, (3, 3), from a white to D65.

    A temperature's white is taken through the 16 bands, as the pictures are, so
    a neutral under that light comes out neutral.

    Parameters
    ----------
    white : float, (2,) float or None
        K, or x and y, or nothing to adapt.

    Raises
    ------
    ValueError
        The temperature lies outside 500-25000 K, or x, y is no colour.
    """
    if white is None:
        return np.eye(3)
    if np.ndim(white) == 0:
        return adaptation(xyz_from_bands(band_means(from_temperature(float(white)))))
    x, y = white
    if not (x > 0 and y > 0 and x + y < 1):
        raise ValueError(f"white x {x:g}, y {y:g} is no colour; both must be above 0 and their sum below 1")
    return adaptation(xyz_from_xy((x, y)))


def display(linear, look="plain"):
    """Return a developed picture as 8-bit sRGB.

    Colours that the screen cannot show (a channel below 0) are mixed with the
    grey of their own luminance just until the lowest channel is 0: luminance
    stays, and hue roughly. Then, plain, each channel clips at 1, as a sensor
    does; for a pitch, each channel x above `SHOULDER_FROM` is bent towards white,
    k + (1 - k) u / (1 + u) with u = (x - k) / (1 - k), so that light over
    saturation still shows its shape, and clips nowhere.

    Parameters
    ----------
    linear : (..., 3) float
        Linear sRGB, 1 = display white.
    look : {'plain', 'pitch'}

    Returns
    -------
    (..., 3) uint8

    Raises
    ------
    ValueError
        The look is none of the two.
    """
    if look not in LOOKS:
        raise ValueError(f"look {look!r} is not known; use one of {', '.join(LOOKS)}")
    shown = _within_gamut(np.asarray(linear, np.float32))
    if look == "pitch":
        over = np.maximum(shown - SHOULDER_FROM, 0) / (1 - SHOULDER_FROM)
        shown = np.minimum(shown, SHOULDER_FROM) + (1 - SHOULDER_FROM) * over / (1 + over)
    steps = np.clip(shown, 0, 1) * np.float32(_ENCODED_STEPS)
    return _encoded()[np.rint(steps).astype(np.uint32)]


def _within_gamut(linear):
    """Return colours with no channel below 0."""
    outside = np.minimum(np.minimum(linear[..., 0], linear[..., 1]), linear[..., 2]) < 0
    if not outside.any():
        return linear
    found = linear.copy()
    colour = linear[outside]
    grey = np.maximum(colour @ LUMINANCE.astype(np.float32), 0)[:, None]
    # grey + kept * (lowest - grey) = 0
    kept = grey / (grey - colour.min(axis=-1, keepdims=True))
    found[outside] = grey + kept * (colour - grey)
    return found


@cache
def _encoded():
    """Return 8-bit sRGB of 0 to 1 in `_ENCODED_STEPS`, so fine that a level has 80 of them at least."""
    return np.round(255 * encode_srgb(np.arange(_ENCODED_STEPS + 1) / _ENCODED_STEPS)).astype(np.uint8)
