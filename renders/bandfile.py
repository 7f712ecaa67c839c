"""Bands of a stored picture without reading the file: its pixels seen in place.

`images.write_exr` leaves the pixels uncompressed, line after line, so that an array over the file is enough.
Layout: OpenEXR File Layout (openexr.com, from memory; held by the tests to what the library reads).
"""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np

from .images import BAND_CHANNELS, LAMP_PART, SETTINGS_KEY, read_exr

_MAGIC, _MULTIPART = 20000630, 0x1000
_FLOAT, _UNCOMPRESSED = 2, b"\x00"
# Before a line's pixels: part, line, bytes.
_LINE_HEAD = 12
_OTHER = "not laid out as expected"


def see_bands(path: Path) -> tuple[dict[str, np.ndarray], dict]:
    """Return the bands of every lamp, and the settings, of what `images.write_exr` wrote.

    A file cut short is told; pixels are not checked against their digest, as `images.read_exr` does.

    Parameters
    ----------
    path : Path

    Returns
    -------
    bands_by_lamp : dict of str to (16, h, w) float32
        Read-only, in the file.
    settings : dict

    Raises
    ------
    PersonError
        The file is absent, damaged or of another kind.
    """
    try:
        return _see(path)
    except (OSError, ValueError, KeyError, IndexError, struct.error):
        # Compressed by another program, or damaged: the library says which.
        bands, _, settings = read_exr(path)
        return bands, settings


def _see(path: Path) -> tuple[dict[str, np.ndarray], dict]:
    raw = np.memmap(path, np.uint8, mode="r")
    head = raw[: 1 << 20].tobytes()
    magic, version = struct.unpack_from("<ii", head, 0)
    if magic != _MAGIC or not version & _MULTIPART:
        raise ValueError(_OTHER)
    place, parts = 8, []
    while head[place] != 0:
        attributes, place = _read_attributes(head, place)
        parts.append(attributes)
    place += 1
    bands, settings = {}, {}
    for number, part in enumerate(parts):
        count = struct.unpack("<i", part["chunkCount"])[0]
        offsets = np.frombuffer(head, "<u8", count, place).astype(np.int64)
        place += 8 * count
        settings = settings or json.loads(part[SETTINGS_KEY])
        name = part["name"].decode()
        if name.startswith(LAMP_PART):
            bands[name.removeprefix(LAMP_PART)] = _see_part(raw, number, part, offsets)
    return bands, settings


def _read_attributes(head: bytes, place: int) -> tuple[dict[str, bytes], int]:
    """Return a part's attributes, and where the next part begins."""
    found = {}
    while head[place] != 0:
        end = head.index(0, place)
        name = head[place:end].decode()
        place = head.index(0, end + 1) + 1
        (size,) = struct.unpack_from("<i", head, place)
        found[name] = head[place + 4 : place + 4 + size]
        place += 4 + size
    return found, place + 1


def _see_part(raw: np.ndarray, number: int, part: dict[str, bytes], offsets: np.ndarray) -> np.ndarray:
    left, top, right, bottom = struct.unpack("<4i", part["dataWindow"])
    width, height = right - left + 1, bottom - top + 1
    channels = b"".join(
        name.encode() + b"\x00" + struct.pack("<iB3xii", _FLOAT, 0, 1, 1) for name in BAND_CHANNELS
    )
    known = part["channels"][: len(channels)] == channels and part["compression"] == _UNCOMPRESSED
    stride = _LINE_HEAD + 4 * width * len(BAND_CHANNELS)
    even = len(offsets) == height and (np.diff(offsets) == stride).all()
    if not (known and even and offsets[-1] + stride <= len(raw)):
        raise ValueError(_OTHER)
    heads = np.ndarray((height, 3), "<i4", raw, offsets[0], (stride, 4))
    lines = np.arange(top, top + height)
    if not (heads[:, 0] == number).all() or not (heads[:, 1] == lines).all():
        raise ValueError(_OTHER)
    if not (heads[:, 2] == stride - _LINE_HEAD).all():
        raise ValueError(_OTHER)
    shape, steps = (len(BAND_CHANNELS), height, width), (4 * width, stride, 4)
    return np.ndarray(shape, "<f4", raw, offsets[0] + _LINE_HEAD, steps)
