"""Cloudy drinks: scattering and absorption from what people see, and as measured by others."""

import numpy as np

from brimcast.shared.bands import GRID_NM

from .tints import absorb_colour

# A disc seen straight down in daylight vanishes where (c + K) z has this value, c being what its image
# loses per length and K what daylight loses: J. E. Tyler, The Secchi disc, Limnol. Oceanogr. 13, 1-6
# (1968; from memory), after S. Q. Duntley, Light in the sea, J. Opt. Soc. Am. 53, 214-233 (1963):
# contrast falls as exp(-(c + K) z).
VANISHING = 8.69
# Light scattered by so little that it still seems to come from the coin is not lost to its image; that the
# size of the disc counts: W. Hou, Z. Lee, A. D. Weidemann, Why does the Secchi disk disappear?, Opt. Express
# 15, 2791-2802 (2007). A coin is about so large, mm.
COIN_MM = 22.0
# The eye judges by the middle of the spectrum.
SEEN_NM = 550.0
# Pulp, fat and yeast are larger than a wavelength and scatter forward; from memory, 0.7 to 0.95.
ANISOTROPY = 0.9
# So little scattering does not show in a glass: a hundredth of the light over 100 mm.
_LEAST_SCATTERING = 1e-3

# Reduced scattering and absorption, 1/mm, for a camera's red, green and blue: S. G. Narasimhan, M. Gupta,
# C. Donner, R. Ramamoorthi, S. K. Nayar, H. W. Jensen, Acquiring scattering properties of participating media
# by dilution, ACM Trans. Graph. 25 (SIGGRAPH 2006). To 30 % or worse; with alcohol (% vol) and sugar (Brix)
# from memory.
MEASURED = {
    "milk": ((0.89187, 1.5136, 2.532), (0.002875, 0.00575, 0.0115), 0.0, 11.0),
    "coffee": ((0.72378, 0.84557, 1.0247), (4.7984, 6.5751, 8.8493), 0.0, 6.0),
    "white-wine": ((1.7982e-05, 1.3758e-05, 1.2023e-05), (0.010782, 0.011855, 0.023997), 12.5, 2.2),
    "red-wine": ((2.1129e-05, 0.0, 0.0), (0.11632, 0.25191, 0.29434), 13.0, 2.7),
    "apple-juice": ((0.00013612, 0.00015836, 0.000227), (0.012957, 0.023741, 0.052184), 0.0, 11.5),
    "cranberry-juice": ((0.00010402, 0.00011646, 7.8139e-05), (0.039437, 0.094223, 0.12426), 0.0, 12.0),
    "grapefruit-juice": ((0.22826, 0.23998, 0.32748), (0.0138, 0.018831, 0.056781), 0.0, 10.0),
}


def measured_drink(name):
    """Return what was measured of a drink.

    Parameters
    ----------
    name : str
        A key of `MEASURED`.

    Returns
    -------
    absorption_per_mm, scattering_per_mm : (321,) float
    anisotropy : float
    abv_percent, brix : float

    Notes
    -----
    Reduced scattering is made whole by the anisotropy (similarity). Scattering that does not show in a
    glass is left out, so that a clear drink is clear.
    """
    reduced, absorption, abv_percent, brix = MEASURED[name]
    scattering = _over_colours(reduced) / (1 - ANISOTROPY)
    if max(reduced) < _LEAST_SCATTERING:
        scattering = np.zeros(GRID_NM.shape)
    return _over_colours(absorption), scattering, ANISOTROPY, abv_percent, brix


def cloud(linear_srgb, vanishing_mm, anisotropy, index):
    """Return the absorption and scattering of a cloudy drink by its looks.

    Its colour in a deep glass in white light tells how much it absorbs for each scattering; the depth at
    which a coin on the bottom just disappears, seen from above, tells how much of both. A guide, as eyes and
    coins are, within a factor of two.

    Parameters
    ----------
    linear_srgb : (3,) float
        0 to 1; 1 is as white as white paper.
    vanishing_mm : float
    anisotropy : float
        Mean cosine of the angle of scattering.
    index : float
        Of the drink: light is thrown back into it under the surface.

    Returns
    -------
    absorption_per_mm, scattering_per_mm : (321,) float

    Raises
    ------
    ValueError
        No drink has that colour.
    """
    white = np.min(linear_srgb) >= 1 - 1e-9
    # The smoothest reflectance with the colour: that of a tint of the same colour.
    looks = np.ones(GRID_NM.shape) if white else np.exp(-absorb_colour(linear_srgb, 1.0))
    inside = _thrown_back(index)
    below = looks / (1 - inside + inside * looks)
    ratio = _absorbed_each(below)
    ratio *= 1 - anisotropy
    at = int(SEEN_NM - GRID_NM[0])
    scattering = VANISHING / vanishing_mm / _lost(ratio[at], 1.0, anisotropy, vanishing_mm)
    return ratio * scattering, np.full(GRID_NM.shape, scattering)


def vanishing_depth_mm(absorption_per_mm, scattering_per_mm, anisotropy):
    """Return the depth at which a coin just disappears in a drink, mm; coefficients at 550 nm."""
    from scipy.optimize import brentq

    def beyond(depth_mm):
        return depth_mm * _lost(absorption_per_mm, scattering_per_mm, anisotropy, depth_mm) - VANISHING

    return brentq(beyond, 1e-3, 1e6)


def _lost(absorption, scattering, anisotropy, depth_mm):
    """Return what contrast loses per length; of `scattering` in the same unit."""
    reduced = scattering * (1 - anisotropy)
    # Daylight fades by diffusion: K^2 = 3 a (a + b (1 - g)).
    fading = np.sqrt(3 * absorption * (absorption + reduced))
    cosine = depth_mm / np.hypot(depth_mm, COIN_MM / 2)
    return absorption + scattering * (1 - _within(cosine, anisotropy)) + fading


def _within(cosine, anisotropy):
    """Return the share of the light that is scattered by less than an angle (Henyey, Greenstein)."""
    if abs(anisotropy) < 1e-6:
        return (1 - cosine) / 2
    g = anisotropy
    return (1 - g**2) / (2 * g) * (1 / (1 - g) - 1 / np.sqrt(1 + g**2 - 2 * g * cosine))


def deep_reflectance(ratio):
    """Return what a deep cloud throws back of diffuse light, its surface not counted.

    H. C. van de Hulst, Multiple light scattering (1980), from memory; within 0.003 where light scatters
    evenly.

    Parameters
    ----------
    ratio : (...) float
        Absorption over reduced scattering.
    """
    fall = np.sqrt(ratio / (1 + ratio))
    return (1 - fall) * (1 - 0.139 * fall) / (1 + 1.17 * fall)


def _absorbed_each(reflectance):
    """Return absorption over reduced scattering of a deep cloud by `deep_reflectance`."""
    # 0.139 s^2 - (1.139 + 1.17 R) s + (1 - R) = 0
    middle = 1.139 + 1.17 * reflectance
    fall = (middle - np.sqrt(middle**2 - 4 * 0.139 * (1 - reflectance))) / (2 * 0.139)
    return fall**2 / np.maximum(1 - fall**2, 1e-6)


def _thrown_back(index):
    """Return the share of diffuse light from within that a surface throws back.

    W. G. Egan, T. W. Hilgeman, Optical properties of inhomogeneous materials (1979), from memory.
    """
    return -1.440 / index**2 + 0.710 / index + 0.668 + 0.0636 * index


def _over_colours(of_rgb):
    """Return a spectrum (321,) from values for red, green and blue, smooth in its logarithm."""
    from scipy.interpolate import PchipInterpolator

    red, green, blue = np.log(np.maximum(of_rgb, 1e-9))
    return np.exp(PchipInterpolator([380, 460, 540, 620, 700], [blue, blue, green, red, red])(GRID_NM))
