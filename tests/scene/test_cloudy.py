"""Cloudy drinks: what eyes and coins say of them, there and back, and against measured drinks."""

import numpy as np
import pytest

from brimcast.scene.cloudy import (
    ANISOTROPY,
    VANISHING,
    cloud,
    deep_reflectance,
    measured_drink,
    vanishing_depth_mm,
)
from brimcast.shared.bands import GRID_NM
from brimcast.shared.colour import adaptation, decode_srgb, srgb_from_xyz, xyz_from_spectrum
from brimcast.shared.spectra import daylight

JUICE = np.array([0xF2, 0xA9, 0x3B]) / 255


def at_550(spectrum):
    return float(np.interp(550, GRID_NM, spectrum))


@pytest.mark.parametrize("depth_mm", [5.0, 80.0, 400.0])
@pytest.mark.parametrize("anisotropy", [0.0, 0.5, 0.9])
def test_coin_disappears_at_the_depth_that_was_told(depth_mm, anisotropy):
    absorption, scattering = cloud(decode_srgb(JUICE), depth_mm, anisotropy, 1.345)
    found = vanishing_depth_mm(at_550(absorption), at_550(scattering), anisotropy)
    assert found == pytest.approx(depth_mm, rel=1e-6)


def test_deep_lake_has_its_secchi_depth():
    """Where a coin is small against its depth, (c + K) z = 8.69 (Tyler 1968) with c = a + b."""
    absorption, scattering = 2e-5, 3e-4  # clear lake, 1/mm
    depth_mm = vanishing_depth_mm(absorption, scattering, 0.0)
    fading = np.sqrt(3 * absorption * (absorption + scattering))
    assert depth_mm * (absorption + scattering + fading) == pytest.approx(VANISHING, rel=1e-3)


def test_what_absorbs_and_does_not_scatter_dims_twice():
    """Down and up again, each by exp(-a z); and daylight from all sides, sqrt 3 of that on its way down."""
    assert vanishing_depth_mm(0.01, 0.0, 0.9) == pytest.approx(
        VANISHING / (0.01 * (1 + np.sqrt(3))), rel=1e-6
    )


def test_cloud_looks_as_it_was_told():
    """Forward: absorbed share, deep reflectance, and the surface from within, into sRGB."""
    index = 1.345
    absorption, scattering = cloud(decode_srgb(JUICE), 80.0, 0.9, index)
    below = deep_reflectance(absorption / (scattering * 0.1))
    # Of diffuse light from within, Fresnel's reflectance over the half space: an integral of its own.
    cosine = (np.arange(20000) + 0.5) / 20000
    out = np.sqrt(np.maximum(1 - index**2 * (1 - cosine**2), 0))
    across = (index * cosine - out) / (index * cosine + out)
    along = (cosine - index * out) / (cosine + index * out)
    kept = float((np.where(out > 0, (across**2 + along**2) / 2, 1) * 2 * cosine).mean())
    looks = (1 - kept) * below / (1 - kept * below)
    light = daylight(6504.0)
    white = xyz_from_spectrum(light)
    seen = xyz_from_spectrum(light * looks) / white[1] @ adaptation(white).T
    # The fit to the surface's reflectance is good to about 0.01.
    assert srgb_from_xyz(seen) == pytest.approx(decode_srgb(JUICE), abs=0.02)


@pytest.mark.parametrize("ratio", [0.01, 0.1, 1.0])
def test_deep_reflectance_is_that_of_a_random_walk(ratio):
    """An independent route: photons that scatter evenly in a half space, entering diffusely."""
    generator = np.random.default_rng(7)
    count = 60_000
    depth, weight = np.zeros(count), np.ones(count)
    cosine, back = np.sqrt(generator.random(count)), []
    while len(depth):
        depth = depth + cosine * generator.exponential(size=len(depth))
        back.append(weight[depth < 0].sum())
        stays = (depth >= 0) & (weight > 1e-3)
        depth, weight = depth[stays], weight[stays] / (1 + ratio)
        cosine = generator.uniform(-1, 1, len(depth))
    # Three standard errors, 0.003 of the formula, and what is left where a photon is given up.
    assert deep_reflectance(ratio) == pytest.approx(sum(back) / count, abs=3 * 0.5 / np.sqrt(count) + 0.003)


def test_measured_drinks_are_as_published(published):
    """published_values.yaml#absorption/drink_scattering_rgb, at the middle of red, green and blue."""
    names = {
        "milk": "lowfat_milk", "coffee": "espresso", "apple-juice": "apple_juice", "red-wine": "merlot",
        "cranberry-juice": "cranberry_juice", "grapefruit-juice": "white_grapefruit_juice",
        "white-wine": "chardonnay",
    }  # fmt: skip
    table = published["absorption"]["drink_scattering_rgb"]["value"]
    for name, entry in names.items():
        absorption, scattering, anisotropy, *_ = measured_drink(name)
        assert np.interp([620, 540, 460], GRID_NM, absorption) == pytest.approx(table[entry]["a"], rel=1e-6)
        reduced = np.interp([620, 540, 460], GRID_NM, scattering) * (1 - anisotropy)
        # What would not show in a glass is left out.
        assert reduced == pytest.approx(table[entry]["s"], rel=1e-6, abs=3e-4)


def test_measured_drinks_hide_a_coin_where_one_expects_it():
    """Common experience: milk within a centimetre, grapefruit juice within some, apple juice nowhere."""
    depths = {}
    for name in ("milk", "grapefruit-juice", "apple-juice"):
        absorption, scattering, anisotropy, *_ = measured_drink(name)
        depths[name] = vanishing_depth_mm(at_550(absorption), at_550(scattering), anisotropy)
    assert 3 < depths["milk"] < 12 < depths["grapefruit-juice"] < 40 and depths["apple-juice"] > 100


def test_white_cloud_absorbs_nothing_and_black_is_refused():
    absorption, scattering = cloud(np.ones(3), 50.0, ANISOTROPY, 1.34)
    assert absorption.max() == 0 and scattering.min() > 0
    with pytest.raises(ValueError, match="has this colour"):
        cloud(np.zeros(3), 50.0, ANISOTROPY, 1.34)
