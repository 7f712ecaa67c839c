"""Exposure: meter, sensor, f-numbers, close-up loss and depth of field.

Functions take numbers or arrays. An f-number here is used as it is given; turn the
number marked on a lens into its exact value with `exact_f_number` first
(`brimcast.shared.quantity.parse` has done so already).

Sources
-------
ISO 2720:1974 (meters), ISO 12232:2019 (sensor exposure, saturation speed),
ISO 517:2008 (apertures), S. F. Ray, Applied Photographic Optics, 3rd ed. 2002
(depth of field), J. E. Greivenkamp, Field Guide to Geometrical Optics, 2004, p. 29
(close-up).
"""

import numpy as np

# Incident meter constants, lx s, by the shape of the receptor (ISO 2720; the values that
# meters are usually set to).
METER_CONSTANTS = {"flat": 250.0, "dome": 340.0}

# ISO 12232: H = q L t / N^2 with q = (pi/4) T v cos^4(10 deg), T = 0.9, v = 0.98, rounded there.
SENSOR_Q = 0.65

# ISO 12232: saturation based speed S = 78 / H.
SATURATION_LX_S = 78.0

# ISO 517: numbers marked in thirds of a stop; the k-th stands for 2^(k/6).
_MARKED = (
    *(1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10),
    *(11, 13, 14, 16, 18, 20, 22, 25, 29, 32, 36, 40, 45, 51, 57, 64),
)
F_NUMBERS = {float(marked): 2 ** (k / 6) for k, marked in enumerate(_MARKED)}


def exact_f_number(marked):
    """Return the f-number that a marked one stands for: 11.3137 for 11.

    Parameters
    ----------
    marked : float
        A number of the third-stop series of ISO 517, f/1 to f/64; any other
        (9.5, or an exact value) comes back as it is.

    Returns
    -------
    float
    """
    return F_NUMBERS.get(float(marked), float(marked))


def marked_f_number(exact):
    """Return the number marked on a lens for an exact f-number: 11 for 11.3137.

    Parameters
    ----------
    exact : float
        A value that is not in the series (to 1 in 10^5) comes back as it is.

    Returns
    -------
    float
    """
    for marked, value in F_NUMBERS.items():
        if abs(value - exact) <= 1e-5 * value:
            return marked
    return float(exact)


def meter_marks(f_number):
    """Return an f-number as meters show it: the full stop at or below it, and tenths of a stop over that.

    Parameters
    ----------
    f_number : float
        Exact.

    Returns
    -------
    (float, int) or None
        Marked f-number and tenths, 0 to 9; None beyond f/1 to f/64.
    """
    stop, tenths = divmod(round(20 * float(np.log2(f_number))), 10)
    if not 0 <= stop <= 12:
        return None
    return marked_f_number(2 ** (stop / 2)), tenths


def light_exposure(f_number, iso, receptor):
    """Return the light exposure that an incident reading stands for, C N^2 / ISO.

    Parameters
    ----------
    f_number, iso : float
        What the meter showed.
    receptor : {"flat", "dome"}
        Shape of the meter's receptor.

    Returns
    -------
    float
        lx s at the receptor.

    Raises
    ------
    ValueError
        The receptor is none of the two.
    """
    if receptor not in METER_CONSTANTS:
        raise ValueError(f"receptor {receptor!r} is not known; use one of {', '.join(METER_CONSTANTS)}")
    return METER_CONSTANTS[receptor] * np.square(f_number) / iso


def sensor_exposure(luminance_time, f_number, magnification=0.0):
    """Return the light exposure of the sensor, 0.65 L t / N^2 / (1 + m)^2.

    Parameters
    ----------
    luminance_time : (...) float
        Luminance of the subject times the time it lasts, cd s m^-2.
    f_number : float
    magnification : float
        Image size over subject size; 0 for focus at infinity.

    Returns
    -------
    (...) float
        lx s.
    """
    return SENSOR_Q * np.asarray(luminance_time) / np.square(f_number * (1 + magnification))


def saturation(iso):
    """Return the light exposure, lx s, at which the sensor clips, 78 / ISO."""
    return SATURATION_LX_S / iso


def level(luminance_time, f_number, iso, magnification=0.0):
    """Return the linear level in the picture; 1 is saturation and display white.

    Parameters
    ----------
    luminance_time : (...) float
        cd s m^-2, see `sensor_exposure`.
    f_number, iso, magnification : float

    Returns
    -------
    (...) float
    """
    return sensor_exposure(luminance_time, f_number, magnification) / saturation(iso)


def stops(ratio):
    """Return the stops, log2, of a ratio of light.

    Parameters
    ----------
    ratio : (...) float
        Above 0.

    Returns
    -------
    (...) float

    Raises
    ------
    ValueError
        A ratio is zero or negative.
    """
    if np.any(np.asarray(ratio) <= 0):
        raise ValueError("a ratio of light must be above 0 to be written in stops")
    return np.log2(ratio)


def magnification(focal_mm, distance_mm):
    """Return image size over subject size, f / (s - f).

    Parameters
    ----------
    focal_mm : float
    distance_mm : float
        From the lens to the subject; above the focal length.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        The subject is no farther than the focal length: no image is formed.
    """
    if np.any(np.asarray(distance_mm) <= focal_mm):
        raise ValueError(
            f"a {focal_mm:g} mm lens cannot focus at {distance_mm:g} mm; go farther than the focal length"
        )
    return focal_mm / (distance_mm - focal_mm)


def effective_f_number(f_number, magnification, pupil_magnification=1.0):
    """Return the f-number that the sensor sees close up, N (1 + m / P)."""
    return f_number * (1 + magnification / pupil_magnification)


def close_up_loss(magnification, pupil_magnification=1.0):
    """Return the light lost to close focus, in stops (positive), 2 log2(1 + m / P)."""
    return 2 * np.log2(1 + magnification / pupil_magnification)


def circle_of_confusion(width_mm, height_mm):
    """Return the blur still taken as sharp, mm: the sensor's diagonal / 1500 (common practice)."""
    return np.hypot(width_mm, height_mm) / 1500


def hyperfocal(focal_mm, f_number, blur_mm):
    """Return the nearest focus that keeps infinity sharp, mm from the lens.

    Parameters
    ----------
    focal_mm, f_number : float
    blur_mm : float
        Diameter on the sensor still taken as sharp, see `circle_of_confusion`.

    Returns
    -------
    float
    """
    return focal_mm**2 / (f_number * blur_mm) + focal_mm


def depth_of_field(focal_mm, f_number, blur_mm, distance_mm):
    """Return the near and far limits of sharpness, mm from the lens.

    Parameters
    ----------
    focal_mm, f_number : float
        Thin symmetric lens.
    blur_mm : float
        Diameter on the sensor still taken as sharp, see `circle_of_confusion`.
    distance_mm : float
        Focus, from the lens; above the focal length.

    Returns
    -------
    near_mm, far_mm : float
        `far_mm` is infinite from the hyperfocal distance on.

    Raises
    ------
    ValueError
        The subject is no farther than the focal length.
    """
    magnification(focal_mm, distance_mm)
    reach = hyperfocal(focal_mm, f_number, blur_mm)
    near = distance_mm * (reach - focal_mm) / (reach + distance_mm - 2 * focal_mm)
    if distance_mm >= reach:
        return near, np.inf
    return near, distance_mm * (reach - focal_mm) / (reach - distance_mm)


def exposure_value(f_number, shutter_s):
    """Return the exposure value of camera settings, log2(N^2 / t); at f/1 and 1 s it is 0 (ISO 2720)."""
    return np.log2(np.square(f_number) / shutter_s)


def f_number_for(light_lx_s, iso, receptor="flat"):
    """Return the f-number that a meter shows for a light exposure, sqrt(H ISO / C).

    Parameters
    ----------
    light_lx_s : (...) float
        On the meter's receptor.
    iso : float
        Set on the meter.
    receptor : {"flat", "dome"}

    Returns
    -------
    (...) float
        Exact; see `marked_f_number`.
    """
    return np.sqrt(np.asarray(light_lx_s) * iso / light_exposure(1.0, 1.0, receptor))


def guide_number(f_number, distance_m, iso=100.0):
    """Return a flash's guide number at ISO 100, metres: N d, over the square root of ISO / 100 (ISO 1230).

    Parameters
    ----------
    f_number : float
        What a flat meter shows `distance_m` from the lamp, facing it.
    distance_m : float
    iso : float
        Set on the meter.
    """
    return f_number * distance_m / np.sqrt(iso / 100)


def f_number_from_guide(guide_m, distance_m, iso=100.0):
    """Return the f-number that a guide number (ISO 100, metres) asks for at a distance."""
    return guide_m * np.sqrt(iso / 100) / distance_m


def crop_factor(width_mm, height_mm):
    """Return how many times longer the diagonal of 36 × 24 mm is than a sensor's."""
    return np.hypot(36.0, 24.0) / np.hypot(width_mm, height_mm)


def equivalent_f_number(f_number, sensor_mm, other_mm=(36.0, 24.0)):
    """Return the f-number that blurs on another format as this one does here, framed alike.

    Equal framing from one place takes focal lengths in the ratio of the diagonals, and equal blur in the
    picture takes equal entrance pupils, so f-numbers go in that ratio too. Light is not counted.

    Parameters
    ----------
    f_number : float
    sensor_mm, other_mm : (float, float)
        Width and height here and there.
    """
    return f_number * np.hypot(*other_mm) / np.hypot(*sensor_mm)


def diffraction_blur(f_number, magnification=0.0, wavelength_nm=550.0):
    """Return the diameter of the Airy disc on the sensor, mm, 2.44 λ N (1 + m).

    Parameters
    ----------
    f_number : float
        As marked (exact value), round aperture.
    magnification : float
        Close up the sensor sees a smaller aperture, see `effective_f_number`.
    wavelength_nm : float

    Returns
    -------
    float
        To the first dark ring, 2 × 1.2197 λ N (J. W. Goodman, Introduction to Fourier Optics, 3rd ed. 2005,
        section 4.4.2).
    """
    return 2 * 1.2196698912665 * wavelength_nm * 1e-6 * effective_f_number(f_number, magnification)


def lighting_ratio(key, fill):
    """Return two ways to state one ratio: incident, key : fill, and highlight to shadow, key + fill : fill.

    Parameters
    ----------
    key, fill : float
        Light of each alone on a meter that faces it; the fill reaches both sides. Above 0.

    Returns
    -------
    incident, highlight_to_shadow : float
        2 : 1 incident is 3 : 1 highlight to shadow.
    """
    return key / fill, (key + fill) / fill


def tell_f_number(f_number: float) -> str:
    """Return an f-number as a meter shows it.

    >>> tell_f_number(12.6)
    'f/11 and 3 tenths'
    >>> tell_f_number(11.3137)
    'f/11'
    """
    marks = meter_marks(f_number)
    if marks is None:
        return f"f/{f_number:.3g}"
    full, tenths = marks
    return f"f/{full:g}" + (f" and {tenths} tenth{'s' * (tenths > 1)}" if tenths else "")
