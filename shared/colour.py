"""Colour from spectra and bands to the screen: XYZ, white, sRGB, Lab, difference, temperature.

Sources
-------
CIE 015:2018 (XYZ, Lab), ISO/CIE 11664-6:2014 and Sharma, Wu, Dalal, Color Res. Appl.
30, 21 (2005) (dE2000), K. M. Lam 1985 and ICC.1:2022 annex E (Bradford),
IEC 61966-2-1:1999 (sRGB), Y. Ohno, LEUKOS 10, 47 (2014) (temperature and Duv).
"""

from functools import cache

import numpy as np

from .bands import BAND_WIDTH_NM, GRID_NM, band_means
from .observer import observer, observer_on_grid
from .spectra import planck

# XYZ = band values @ BAND_XYZ: mean of the observer inside each band times its width, nm, (16, 3).
BAND_XYZ = band_means(observer_on_grid().T).T * BAND_WIDTH_NM
BAND_XYZ.flags.writeable = False

# IEC 61966-2-1. The white is the one that these four-digit numbers make neutral.
D65_XYZ = np.array([0.9505, 1.0, 1.0890])
XYZ_TO_SRGB = np.array(
    [
        [3.2406, -1.5372, -0.4986],
        [-0.9689, 1.8758, 0.0415],
        [0.0557, -0.2040, 1.0570],
    ]
)

_BRADFORD = np.array(
    [
        [0.8951, 0.2664, -0.1614],
        [-0.7502, 1.7135, 0.0367],
        [0.0389, -0.0685, 1.0296],
    ]
)

# Ohno's table, 1 % from point to point.
_COARSE_K = np.geomspace(1000.0, 100000.0, 465)


def xyz_from_spectrum(spectrum):
    """Return XYZ of a spectrum, its integral against the observer over 380-700 nm.

    Parameters
    ----------
    spectrum : (..., 321) float
        Per nm, on `GRID_NM`.

    Returns
    -------
    (..., 3) float
        Not scaled: Y of light of 1 everywhere is 106.8. Divide by the white's Y.
    """
    seen = np.asarray(spectrum)[..., None] * observer_on_grid()
    return np.trapezoid(seen, GRID_NM, axis=-2)


def xyz_from_bands(values):
    """Return XYZ of band values, ``values @ BAND_XYZ``.

    Parameters
    ----------
    values : (..., 16) float
        Mean inside each band, per nm; the same scale as `xyz_from_spectrum`.

    Returns
    -------
    (..., 3) float
    """
    return np.asarray(values) @ BAND_XYZ


def xy_from_xyz(xyz):
    """Return the chromaticity x, y, (..., 2), of XYZ, (..., 3)."""
    xyz = np.asarray(xyz, float)
    return xyz[..., :2] / xyz.sum(axis=-1, keepdims=True)


def xyz_from_xy(xy):
    """Return XYZ, (..., 3), with Y = 1, of the chromaticity x, y, (..., 2)."""
    x, y = np.moveaxis(np.asarray(xy, float), -1, 0)
    return np.stack([x / y, np.ones_like(y), (1 - x - y) / y], axis=-1)


def adaptation(from_white_xyz, to_white_xyz=D65_XYZ):
    """Return the linear Bradford matrix that carries one white to another.

    Parameters
    ----------
    from_white_xyz, to_white_xyz : (3,) float
        On any scale; only their chromaticities count.

    Returns
    -------
    (3, 3) float
        ``xyz @ matrix.T`` is the adapted XYZ.
    """
    whites = np.array([from_white_xyz, to_white_xyz], float)
    source, target = (whites / whites[:, 1:2]) @ _BRADFORD.T
    return np.linalg.solve(_BRADFORD, (target / source)[:, None] * _BRADFORD)


def srgb_from_xyz(xyz):
    """Return linear sRGB, (..., 3), of XYZ with white D65 at Y = 1; colours outside stay outside."""
    return np.asarray(xyz) @ XYZ_TO_SRGB.T


def encode_srgb(linear):
    """Return the encoded value of linear sRGB.

    Parameters
    ----------
    linear : (...) float
        1 is display white. Values are not clipped; below 0 the straight part goes on.

    Returns
    -------
    (...) float
    """
    linear = np.asarray(linear, float)
    curve = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, curve)


def decode_srgb(encoded):
    """Return the linear value of encoded sRGB, the inverse of `encode_srgb`."""
    encoded = np.asarray(encoded, float)
    curve = ((np.maximum(encoded, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.where(encoded <= 0.04045, encoded / 12.92, curve)


def decode_hex(colour: str):
    """Return the linear sRGB, (3,), of a colour such as ``#33aa77``."""
    return decode_srgb(np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255)


def lab_from_xyz(xyz, white_xyz=D65_XYZ):
    """Return CIE L*, a*, b*, (..., 3), of XYZ, (..., 3), seen under a white on the same scale."""
    ratio = np.asarray(xyz, float) / np.asarray(white_xyz, float)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def delta_e_2000(lab1, lab2):
    """Return the CIEDE2000 colour difference, kL = kC = kH = 1.

    Parameters
    ----------
    lab1, lab2 : (..., 3) float
        L*, a*, b*.

    Returns
    -------
    (...) float
    """
    lab1, lab2 = np.broadcast_arrays(np.asarray(lab1, float), np.asarray(lab2, float))
    lightness1, chroma1, hue1, lightness2, chroma2, hue2 = *_polar(lab1, lab2), *_polar(lab2, lab1)

    # Differences; the hue of a grey has no meaning and adds none.
    grey = chroma1 * chroma2 == 0
    turn = np.where(grey, 0, (hue2 - hue1 + 180) % 360 - 180)
    d_lightness = lightness2 - lightness1
    d_chroma = chroma2 - chroma1
    d_hue = 2 * np.sqrt(chroma1 * chroma2) * np.sin(np.radians(turn / 2))

    # Means; the mean hue lies on the shorter arc.
    lightness = (lightness1 + lightness2) / 2
    chroma = (chroma1 + chroma2) / 2
    hue_sum = hue1 + hue2
    far = np.abs(hue1 - hue2) > 180
    hue = np.where(grey, hue_sum, (hue_sum + np.where(far, np.where(hue_sum < 360, 360, -360), 0)) / 2)

    # Weights and the rotation of the blues.
    hue_weight = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    from_middle = (lightness - 50) ** 2
    l_term = d_lightness / (1 + 0.015 * from_middle / np.sqrt(20 + from_middle))
    c_term = d_chroma / (1 + 0.045 * chroma)
    h_term = d_hue / (1 + 0.015 * chroma * hue_weight)
    blue = np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2)))
    rotation = -2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * np.sin(blue)
    return np.sqrt(l_term**2 + c_term**2 + h_term**2 + rotation * c_term * h_term)


def delta_e_to_white(xyz, white_xyz):
    """Return the CIEDE2000 difference of a light from a white, both carried to D65, at the same lightness.

    Parameters
    ----------
    xyz, white_xyz : (3,) float
        On any scale, Y more than 0.
    """
    light = adaptation(white_xyz) @ (np.asarray(xyz, float) / xyz[1])
    return float(delta_e_2000(lab_from_xyz(light), np.array([100.0, 0.0, 0.0])))


def _polar(lab, other):
    """Return L', C', h' (degrees) of one colour of a CIEDE2000 pair."""
    lightness, a, b = np.moveaxis(lab, -1, 0)
    mean_chroma = (np.hypot(a, b) + np.hypot(other[..., 1], other[..., 2])) / 2
    a = a * (1.5 - 0.5 * np.sqrt(mean_chroma**7 / (mean_chroma**7 + 25.0**7)))
    return lightness, np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def cct_duv(xy):
    """Return the correlated colour temperature and the distance from Planck's locus.

    Ohno's triangular solution on his cascade of tables, each finer round the
    nearest point. His parabolic solution mends what a coarse table loses far from
    the locus; at the last step, 0.01 %, the two agree to 2 parts in 10^5, so it is left out.

    Parameters
    ----------
    xy : (2,) float
        CIE 1931 chromaticity.

    Returns
    -------
    temperature_k, duv : float
        Duv is positive on the green side.

    Raises
    ------
    ValueError
        The temperature lies outside 1000-100000 K, or |Duv| exceeds 0.05,
        where CIE 015 gives no temperature.
    """
    where = f"x {xy[0]:.4f}, y {xy[1]:.4f}"
    point = _uv_from_xyz(xyz_from_xy(xy))
    temperature, locus = _COARSE_K, _coarse_locus()
    nearest = _nearest(locus, point)
    if not 0 < nearest < len(temperature) - 1:
        raise ValueError(f"{where} has no temperature from 1000 to 100000 K")

    # Refine the table round the nearest point, to 0.1 %, then to 0.01 %.
    for _ in range(2):
        temperature = np.geomspace(temperature[nearest - 1], temperature[nearest + 1], 21)
        locus = _locus(temperature)
        nearest = int(np.clip(_nearest(locus, point), 1, len(temperature) - 2))

    three = slice(nearest - 1, nearest + 2)
    kelvin, duv = _ohno(temperature[three], locus[three], point)
    if abs(duv) > 0.05:
        raise ValueError(f"{where} lies {abs(duv):.3f} from Planck's locus; up to 0.05 has a temperature")
    return kelvin, duv


def planck_xy(temperature_k):
    """Return the chromaticity x, y, (2,), of a glowing body, over the whole observer."""
    wavelength_nm, matching = observer()
    return xy_from_xyz(planck(temperature_k, wavelength_nm) @ matching)


def _nearest(locus, point):
    return int(np.argmin(np.hypot(*(locus - point).T)))


def _ohno(temperature, locus, point):
    """Return temperature and Duv from three neighbours on the locus."""
    distance = np.hypot(*(locus - point).T)
    chord = locus[2] - locus[0]
    length = np.hypot(*chord)
    along = (distance[0] ** 2 - distance[2] ** 2 + length**2) / (2 * length)
    foot = locus[0] + chord * along / length
    side = 1.0 if point[1] >= foot[1] else -1.0

    duv = side * np.sqrt(max(0.0, distance[0] ** 2 - along**2))
    kelvin = temperature[0] + (temperature[2] - temperature[0]) * along / length
    return float(kelvin), float(duv)


def _locus(temperature_k):
    """Return u, v (CIE 1960) of Planck's locus over the whole observer, (n, 2)."""
    wavelength_nm, matching = observer()
    return _uv_from_xyz(planck(temperature_k, wavelength_nm) @ matching)


@cache
def _coarse_locus():
    return _locus(_COARSE_K)


def _uv_from_xyz(xyz):
    x, y, z = np.moveaxis(np.asarray(xyz, float), -1, 0)
    return np.stack([4 * x, 6 * y], axis=-1) / (x + 15 * y + 3 * z)[..., None]


def mired(temperature_k):
    """Return a colour temperature in mired, 10^6 / K; of mired, the temperature."""
    return 1e6 / temperature_k


def mired_shift(from_k, to_k):
    """Return the mired shift that carries one temperature to another; warming is positive."""
    return mired(to_k) - mired(from_k)
