"""Pictures and numbers come back from their files with their settings."""

import json
import re
import struct
import zlib

import numpy as np
import OpenEXR
import pytest
from colour.io.fichet2021 import PATTERN_FICHET2021, match_groups_to_nm
from PIL import Image

from brimcast.renders.images import (
    BAND_CHANNELS,
    read_exr,
    read_npz,
    settings_text,
    write_exr,
    write_json,
    write_npz,
    write_png,
)
from brimcast.shared.bands import BAND_CENTRES_NM
from brimcast.shared.errors import PersonError

SETTINGS = {"seed": 7, "title": "Café, ½ pint", "shutter_s": 1 / 160, "lamps": {"key": {"power_stops": -1}}}


@pytest.fixture
def picture():
    rng = np.random.default_rng(2)
    bands = {
        "key": rng.random((16, 12, 9), dtype=np.float32),
        "back light": 1e-4 * rng.random((16, 12, 9), dtype=np.float32),
    }
    return bands, rng.uniform(-0.1, 3, (12, 9, 3)).astype(np.float32)


def png_chunks(data):
    """Return (type, body) of a PNG's chunks, each checked by its CRC (PNG specification, 5.3)."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    place, chunks = 8, []
    while place < len(data):
        size, kind = struct.unpack(">I4s", data[place : place + 8])
        body = data[place + 8 : place + 8 + size]
        assert zlib.crc32(kind + body) == struct.unpack(">I", data[place + 8 + size : place + 12 + size])[0]
        chunks.append((kind, body))
        place += 12 + size
    return chunks


def test_png_holds_picture_settings_and_colour_space(tmp_path):
    rgb8 = np.random.default_rng(1).integers(0, 256, (20, 30, 3), dtype=np.uint8)
    write_png(tmp_path / "a.png", rgb8, SETTINGS)
    with Image.open(tmp_path / "a.png") as seen:
        assert np.array_equal(np.asarray(seen), rgb8)
        assert json.loads(seen.text["brimcast"]) == SETTINGS
    kinds = dict(png_chunks((tmp_path / "a.png").read_bytes()))
    # Relative colorimetric; it must stand before the picture's data, and no date may.
    assert kinds[b"sRGB"] == b"\x01"
    assert list(kinds).index(b"sRGB") < list(kinds).index(b"IDAT")
    assert b"tIME" not in kinds


def test_same_picture_gives_the_same_bytes(tmp_path, picture):
    bands, rgb = picture
    for name in ("a", "b"):
        write_png(tmp_path / f"{name}.png", np.zeros((3, 4, 3), np.uint8), SETTINGS)
        write_exr(tmp_path / f"{name}.exr", bands, rgb, dict(reversed(SETTINGS.items())))
        write_npz(tmp_path / f"{name}.npz", bands, SETTINGS)
        write_json(tmp_path / f"{name}.json", SETTINGS)
    for ending in ("png", "exr", "npz", "json"):
        assert (tmp_path / f"a.{ending}").read_bytes() == (tmp_path / f"b.{ending}").read_bytes()


@pytest.mark.parametrize(
    "wrong", [np.zeros((3, 4, 3)), np.zeros((3, 4), np.uint8), np.zeros((3, 4, 4), np.uint8)]
)
def test_png_takes_8_bit_rgb_alone(tmp_path, wrong):
    with pytest.raises(ValueError, match="uint8"):
        write_png(tmp_path / "a.png", wrong, {})
    assert not list(tmp_path.iterdir())


def test_exr_comes_back(tmp_path, picture):
    bands, rgb = picture
    write_exr(tmp_path / "a.exr", bands, rgb, SETTINGS)
    seen_bands, seen_rgb, settings = read_exr(tmp_path / "a.exr")
    assert settings == SETTINGS
    assert list(seen_bands) == list(bands)
    assert all(np.array_equal(seen_bands[lamp], bands[lamp]) for lamp in bands)
    # A half float has 11 significant bits.
    assert seen_rgb == pytest.approx(rgb, rel=2**-11, abs=1e-7)


def test_exr_reads_as_rgb_first_and_one_spectral_part_a_lamp(tmp_path, picture, published):
    """published_values.yaml#colour/srgb; channel names by the layout of Fichet et al. 2021 as
    colour-science 0.4.7 reads it."""
    bands, rgb = picture
    write_exr(tmp_path / "a.exr", bands, rgb, SETTINGS)
    srgb = published["colour"]["srgb"]["value"]
    corners = [value for corner in (*srgb["primaries"], srgb["white"]) for value in corner]
    with OpenEXR.File(str(tmp_path / "a.exr"), separate_channels=True) as file:
        assert [part.name() for part in file.parts] == ["rgb", "lamp.key", "lamp.back light"]
        for part in file.parts:
            assert part.header["chromaticities"] == pytest.approx(corners, abs=1e-6)
            assert json.loads(part.header["brimcast"]) == SETTINGS
        assert {name: channel.pixels.dtype for name, channel in file.parts[0].channels.items()} == {
            name: np.float16 for name in "RGB"
        }
        for part in file.parts[1:]:
            assert part.header["spectralLayoutVersion"] == "1.0"
            named = [re.fullmatch(r"S0\." + PATTERN_FICHET2021, name) for name in part.channels]
            wavelengths_nm = [match_groups_to_nm(name[1], name[3], name[4]) for name in named]
            assert sorted(wavelengths_nm) == pytest.approx(list(BAND_CENTRES_NM))
            assert set(part.channels) == set(BAND_CHANNELS)
        at_550 = file.parts[1].channels["S0.550,0nm"].pixels
        assert np.array_equal(at_550, bands["key"][8]) and at_550.dtype == np.float32


def test_level_beyond_half_floats_is_written_as_their_largest(tmp_path, picture):
    bands, rgb = picture
    rgb[0, 0] = 1e6
    write_exr(tmp_path / "a.exr", bands, rgb, {})
    assert read_exr(tmp_path / "a.exr")[1][0, 0].tolist() == [65504.0] * 3


def test_damaged_exr_is_named_in_one_line(tmp_path, picture):
    write_exr(tmp_path / "a.exr", *picture, SETTINGS)
    whole = (tmp_path / "a.exr").read_bytes()
    path = tmp_path / "b.exr"
    # Cut in the head, in the first, in the last part, at the last byte; one bit turned in each tenth.
    spoilt = [whole[:size] for size in (0, 100, len(whole) // 3, len(whole) * 9 // 10, len(whole) - 1)]
    for place in range(len(whole) // 2, len(whole), len(whole) // 10):
        spoilt.append(whole[:place] + bytes([whole[place] ^ 0x04]) + whole[place + 1 :])
    for data in spoilt:
        path.write_bytes(data)
        with pytest.raises(PersonError, match=r"b\.exr: this is not a picture .* damaged") as raised:
            read_exr(path)
        assert len(str(raised.value).splitlines()) == 1
    with pytest.raises(PersonError, match="no such file"):
        read_exr(tmp_path / "absent.exr")


def test_foreign_exr_is_refused(tmp_path):
    path = tmp_path / "a.exr"
    OpenEXR.File({}, {"RGB": np.zeros((4, 4, 3), np.float32)}).write(str(path))
    with pytest.raises(PersonError, match="not a picture"):
        read_exr(path)


def test_bands_of_another_size_are_refused_and_the_old_file_stays(tmp_path, picture):
    bands, rgb = picture
    write_exr(tmp_path / "a.exr", bands, rgb, SETTINGS)
    before = (tmp_path / "a.exr").read_bytes()
    with pytest.raises(ValueError, match="lamp 'key'"):
        write_exr(tmp_path / "a.exr", {"key": bands["key"][:, 1:]}, rgb, {})
    assert (tmp_path / "a.exr").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["a.exr"]


def test_npz_comes_back(tmp_path):
    arrays = {"key/direct": np.arange(6, dtype=np.float32).reshape(2, 3), "file": np.array([1, 2])}
    write_npz(tmp_path / "a.npz", arrays, SETTINGS)
    seen, settings = read_npz(tmp_path / "a.npz")
    assert settings == SETTINGS
    assert {name: (array.tolist(), array.dtype) for name, array in seen.items()} == {
        name: (array.tolist(), array.dtype) for name, array in arrays.items()
    }
    with np.load(tmp_path / "a.npz") as plain:
        assert json.loads(str(plain["brimcast"])) == SETTINGS
    with pytest.raises(ValueError, match="brimcast"):
        write_npz(tmp_path / "b.npz", {"brimcast": np.zeros(2)}, {})


def test_damaged_npz_is_named(tmp_path):
    path = tmp_path / "a.npz"
    write_npz(path, {"x": np.arange(100.0)}, SETTINGS)
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(PersonError, match="stored maps"):
        read_npz(path)
    np.savez(path, x=np.zeros(3))
    with pytest.raises(PersonError, match="stored maps"):
        read_npz(path)


def test_json_is_sorted_short_and_plain(tmp_path):
    path = tmp_path / "a.json"
    write_json(
        path,
        {
            "width_mm": 1.23456789,
            "area_cm2": np.float32(0.1),
            "none": np.nan,
            "n": np.int64(3),
            "spots": (np.array([1e-9, -0.0]), True, None, "é"),
        },
    )
    assert path.read_text(encoding="utf-8").splitlines() == [
        "{",
        '  "area_cm2": 0.1,',
        '  "n": 3,',
        '  "none": null,',
        '  "spots": [',
        "    [",
        "      1e-09,",
        "      0.0",
        "    ],",
        "    true,",
        "    null,",
        '    "é"',
        "  ],",
        '  "width_mm": 1.23457',
        "}",
    ]


@pytest.mark.parametrize("wrong", [{1: "a"}, {"a": {2, 3}}, {"a": object()}])
def test_json_refuses_what_it_does_not_know(tmp_path, wrong):
    with pytest.raises(TypeError):
        write_json(tmp_path / "a.json", wrong)
    assert not list(tmp_path.iterdir())


def test_settings_keep_every_digit():
    value = 0.1 + 0.2
    assert json.loads(settings_text({"x": value})) == {"x": value}
    assert settings_text({"é": 1}).isascii()
