"""Files of pictures and numbers, each with the settings that it came from."""

import dataclasses
import hashlib
import json
import math
from pathlib import Path

import numpy as np

from ..shared.bands import BAND_CENTRES_NM
from ..shared.errors import Fault, PersonError
from .keep import DAMAGE, pack, replacing_file

# Under this key settings stand, as JSON, in every file that can carry them.
SETTINGS_KEY = "brimcast"

# IEC 61966-2-1: x and y of red, green, blue and white.
SRGB_CHROMATICITIES = (0.64, 0.33, 0.30, 0.60, 0.15, 0.06, 0.3127, 0.3290)

# One channel a band, "S0.390,0nm": unpolarised light at its centre wavelength, after A. Fichet,
# R. Pacanowski, A. Wilkie, An OpenEXR Layout for Spectral Images, Journal of Computer Graphics
# Techniques 10(3), 2021. A comma stands for the point, which OpenEXR keeps for layers.
BAND_CHANNELS = tuple("S0." + f"{centre:.1f}nm".replace(".", ",") for centre in BAND_CENTRES_NM)

RGB_PART = "rgb"
LAMP_PART = "lamp."

# OpenEXR 3.5 reads a file that was cut short or altered without an error, leaving parts out or
# values wrong, so the pixels carry their SHA-256.
DIGEST_KEY = "brimcastPixels"
HALF_MAX = 65504.0


def write_png(path, rgb8, settings):
    """Write an 8-bit sRGB picture with its settings.

    The same picture and settings give the same bytes: no date goes in.

    Parameters
    ----------
    path : path
    rgb8 : (h, w, 3) uint8
    settings : dict
        Written as JSON in a text chunk named "brimcast".

    Raises
    ------
    ValueError
        The array is not 8-bit RGB.
    OSError
        The file cannot be written; an earlier one stays as it was.
    """
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    rgb8 = np.asarray(rgb8)
    if rgb8.dtype != np.uint8 or rgb8.ndim != 3 or rgb8.shape[2] != 3:
        raise ValueError(f"a PNG takes (h, w, 3) uint8, not {rgb8.shape} {rgb8.dtype}")
    chunks = PngInfo()
    # PNG specification 11.3.2.5; 1 is the relative colorimetric intent.
    chunks.add(b"sRGB", b"\x01")
    chunks.add_text(SETTINGS_KEY, settings_text(settings))
    with replacing_file(path) as fresh:
        Image.fromarray(rgb8).save(fresh, format="PNG", pnginfo=chunks)


def write_exr(path, bands_by_lamp, rgb, settings):
    """Write a multi-part OpenEXR: the developed picture, then every lamp's bands.

    Part "rgb" holds R, G, B as half floats, linear sRGB, 1 = display white.
    Part "lamp.<name>" holds 16 float channels named after their centre
    wavelength (`BAND_CHANNELS`): the picture under that lamp alone at 0 stops
    without gel, per nm, such that their sum weighted by `BAND_XYZ` is X, Y, Z
    with Y in cd s m^-2, or relative where the settings say so. Every part
    carries the settings and the sRGB chromaticities.

    Parameters
    ----------
    path : path
    bands_by_lamp : dict of str to (16, h, w) float
    rgb : (h, w, 3) float
        Values above the largest half float (65504) are written as that.
    settings : dict

    Raises
    ------
    ValueError
        A lamp's bands are not 16 pictures of the size of `rgb`.
    OSError
        The file cannot be written; an earlier one stays as it was.
    """
    import OpenEXR

    rgb = np.clip(np.asarray(rgb, np.float32), -HALF_MAX, HALF_MAX).astype(np.float16)
    bands_by_lamp = {lamp: np.ascontiguousarray(bands, np.float32) for lamp, bands in bands_by_lamp.items()}
    header = {
        "type": OpenEXR.scanlineimage,
        "compression": OpenEXR.ZIP_COMPRESSION,
        "chromaticities": SRGB_CHROMATICITIES,
        SETTINGS_KEY: settings_text(settings),
        DIGEST_KEY: _digest(bands_by_lamp, rgb),
    }
    channels = {name: np.ascontiguousarray(rgb[..., index]) for index, name in enumerate("RGB")}
    parts = [OpenEXR.Part(dict(header), channels, RGB_PART)]
    for lamp, bands in bands_by_lamp.items():
        if bands.shape != (len(BAND_CHANNELS), *rgb.shape[:2]):
            raise ValueError(
                f"bands of lamp {lamp!r} are {bands.shape}; with this picture they must be"
                f" ({len(BAND_CHANNELS)}, {rgb.shape[0]}, {rgb.shape[1]})"
            )
        parts.append(
            OpenEXR.Part(
                {**header, "spectralLayoutVersion": "1.0"},
                dict(zip(BAND_CHANNELS, bands, strict=True)),
                LAMP_PART + lamp,
            )
        )
    with replacing_file(path) as fresh:
        OpenEXR.File(parts).write(str(fresh))


def read_exr(path):
    """Return what `write_exr` wrote.

    Parameters
    ----------
    path : path

    Returns
    -------
    bands_by_lamp : dict of str to (16, h, w) float32
    rgb : (h, w, 3) float16
    settings : dict

    Raises
    ------
    PersonError
        The file is absent, damaged or of another kind.
    """
    import OpenEXR

    kind = "a picture with its bands (EXR)"
    if not Path(path).is_file():
        raise PersonError(_unreadable(path, kind))
    try:
        with OpenEXR.File(str(path), separate_channels=True) as file:
            parts = {part.name(): part for part in file.parts}
            picture = parts.pop(RGB_PART)
            settings = json.loads(picture.header[SETTINGS_KEY])
            rgb = np.stack([picture.channels[name].pixels for name in "RGB"], axis=-1)
            bands = {
                name.removeprefix(LAMP_PART): np.stack([part.channels[c].pixels for c in BAND_CHANNELS])
                for name, part in parts.items()
                if name.startswith(LAMP_PART)
            }
            whole = picture.header[DIGEST_KEY] == _digest(bands, rgb)
    except DAMAGE as fault:
        raise PersonError(_unreadable(path, kind)) from fault
    if not whole:
        raise PersonError(_unreadable(path, kind))
    return bands, rgb, settings


def _digest(bands_by_lamp, rgb):
    """Return the SHA-256 of a picture's half floats and its lamps' float bands, lamps by name."""
    digest = hashlib.sha256(rgb.astype("<f2").tobytes())
    for lamp in sorted(bands_by_lamp):
        digest.update(lamp.encode())
        digest.update(np.ascontiguousarray(bands_by_lamp[lamp], "<f4"))
    return digest.hexdigest()


def write_npz(path, arrays, settings):
    """Write arrays with their settings as a compressed npz.

    Parameters
    ----------
    path : path
    arrays : dict of str to array
    settings : dict
        Written as JSON under the name "brimcast".

    Raises
    ------
    ValueError
        An array is named "brimcast" or holds objects.
    OSError
        The file cannot be written; an earlier one stays as it was.
    """
    if SETTINGS_KEY in arrays:
        raise ValueError(f"{SETTINGS_KEY!r} names the settings; call the array something else")
    with replacing_file(path) as fresh:
        pack({**arrays, SETTINGS_KEY: np.array(settings_text(settings))}, fresh, compressed=True)


def read_npz(path):
    """Return the arrays and the settings that `write_npz` wrote.

    Parameters
    ----------
    path : path

    Returns
    -------
    arrays : dict of str to array
    settings : dict

    Raises
    ------
    PersonError
        The file is absent, damaged or of another kind.
    """
    try:
        with np.load(path, allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files}
            settings = json.loads(str(arrays.pop(SETTINGS_KEY)))
    except DAMAGE as fault:
        raise PersonError(_unreadable(path, "stored maps (npz)")) from fault
    return arrays, settings


def write_json(path, obj):
    """Write an object as JSON that reads and compares well.

    Keys are sorted, floats have 6 significant digits, and what is no finite
    number is null. Arrays become lists, frozen dataclasses become objects.

    Parameters
    ----------
    path : path
    obj : dict, list, dataclass, array, number, text or None

    Raises
    ------
    TypeError
        A key is not text, or a value is none of the above.
    OSError
        The file cannot be written; an earlier one stays as it was.
    """
    text = json.dumps(_plain(obj, digits=6), sort_keys=True, indent=2, ensure_ascii=False, allow_nan=False)
    with replacing_file(path) as fresh:
        fresh.write_text(text + "\n", encoding="utf-8")


def plain_numbers(obj):
    """Return an object as `write_json` writes it: floats of 6 digits, null for what is not finite."""
    return _plain(obj, digits=6)


def settings_text(settings):
    """Return settings as one line of ASCII JSON, keys sorted, floats in full."""
    return json.dumps(_plain(settings, digits=17), sort_keys=True, allow_nan=False)


def _plain(value, digits):
    """Return a value as what JSON knows."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        value = {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    if isinstance(value, np.ndarray | np.generic):
        value = value.tolist()
    if isinstance(value, dict):
        for key in value:
            if not isinstance(key, str):
                raise TypeError(f"key {key!r} is not text")
        return {key: _plain(entry, digits) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(entry, digits) for entry in value]
    if isinstance(value, float):
        # Adding 0 turns -0 into 0.
        return float(f"{value:.{digits}g}") + 0.0 if math.isfinite(value) else None
    if isinstance(value, Path):
        return str(value)
    if value is None or isinstance(value, str | int):
        return value
    raise TypeError(f"{type(value).__name__} cannot be written as JSON")


def _unreadable(path, kind):
    fault = f"this is not {kind}, or it is damaged" if Path(path).exists() else "there is no such file"
    return Fault(str(path), None, None, None, fault)
