"""The folder of a computed set: exposure against the standards, settings in every file, files that agree."""

import json
import math

import numpy as np
import pytest
from PIL import Image

from brimcast.renders.adjust import LUMINANCE
from brimcast.renders.images import read_exr, read_npz
from brimcast.shared.colour import BAND_XYZ

READING = "reading: {f_number: f/11, iso: 200, distance: 1 m, receptor: flat}"
# A lamp straight above, read 1 m below at the camera's own f-number and ISO; the camera looks at the table
# right under it. The ball stands aside, to give the plan something to show.
CARD = f"""\
brimcast: 1
title: Metered card
table: {{size: [600 mm, 600 mm], reflectance: 15.708 %}}
props:
  hero: {{shape: ball, diameter: 20 mm, material: soda-lime, at: [0 mm, 120 mm]}}
lamps:
  key:
    {{kind: disc, diameter: 10 mm, throw: 1 m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm], colour: 5600 K,
     {READING}}}
camera:
  {{sensor: [3.6 mm, 2.4 mm], lens: 100 mm, distance: 600 mm, elevation: 60 deg, aim: [0 mm, 0 mm, 0 mm],
   f_number: f/11, iso: 200, white: 5600 K}}
render: {{width: 48}}
"""


@pytest.fixture(scope="module")
def metered(compute):
    """The metered card as a picture."""
    return compute(CARD, command="render")


@pytest.fixture(scope="module")
def relative(compute):
    """The same set without a reading."""
    return compute(CARD.replace(READING, ""))


def decoded(rgb8):
    """Linear value of 8-bit sRGB, IEC 61966-2-1."""
    value = np.asarray(rgb8) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def card_level(published):
    """Level of the metered card in a picture taken with a 100 mm lens at 600 mm."""
    exposure = published["exposure"]
    close_stops = exposure["close_up"]["value"]["m0p2_stops"]
    return exposure["meter_to_sensor"]["value"]["fraction"] * 2**-close_stops


def test_metered_card_lands_where_the_standards_put_it(metered, published):
    """A card of the reflectance that meters imply lies at q K/78 of saturation, less what close focus costs.

    `published_values.yaml#exposure/meter_reflectance`, `#exposure/meter_to_sensor` and `#exposure/close_up`
    (100 mm lens at 600 mm). 1 %: the picture's grain over its 1536 pixels, and the ball's light.
    """
    reflectance = published["exposure"]["meter_reflectance"]["value"]["K12.5_C250"]
    assert f"{100 * reflectance:.3f} %" in CARD
    _, rgb, _ = read_exr(metered.folder / "picture.exr")
    level = card_level(published)
    assert rgb.astype(float).mean(axis=(0, 1)) == pytest.approx(np.full(3, level), rel=0.01)
    shown = decoded(Image.open(metered.folder / "picture.png"))
    # A step of 8 bits is 1.3 % here.
    assert shown.mean() == pytest.approx(level, rel=0.015)


def test_table_plan_has_the_exposure_of_the_picture(metered, published):
    """The plain table, most of what a plan shows, is at that same level, to the steps of 8 bits."""
    level = card_level(published)
    sheet = np.asarray(Image.open(metered.folder / "table.png"))
    codes, counts = np.unique(sheet @ [1 << 16, 1 << 8, 1], return_counts=True)
    common = codes[np.argsort(counts)[::-1][:4]]
    step = 1 / 255 * 2.4 * level ** (1.4 / 2.4)
    levels = decoded(np.stack([common >> 16, common >> 8 & 255, common & 255], axis=-1))
    assert (np.abs(levels - level).max(axis=-1) < 2 * step).any()


def test_incident_light_on_the_plain_table_is_the_reading(metered, published):
    """`published_values.yaml#exposure/meter_constants`: C N²/ISO with a flat receptor, N exact f/11."""
    constant = published["exposure"]["meter_constants"]["value"]["C_flat_common"]
    series = published["exposure"]["f_number_series"]["value"]
    light = constant * series["exact"][series["marked"].index(11)] ** 2 / 200
    assert metered.report["lamps"]["key"]["plain_table"] == pytest.approx(light, rel=1e-3)
    assert metered.report["units"] == "lux-seconds"
    maps = metered.maps
    at = np.abs(maps["y_mm"] - 120).argmin(), np.abs(maps["x_mm"] + 25).argmin()
    direct = np.tensordot(BAND_XYZ[:, 1], maps["key.direct"], 1)[at]
    # Light from straight above falls off with the fourth power of the cosine.
    cosine = 1000 / math.hypot(1000, maps["y_mm"][at[0]], maps["x_mm"][at[1]])
    assert direct == pytest.approx(light * cosine**4, rel=5e-3)


def test_without_a_reading_the_plain_table_is_one(relative):
    report = relative.report
    assert report["relative"] and report["units"].startswith("relative")
    assert report["lamps"]["key"]["plain_table"] == pytest.approx(1, rel=1e-6)


def test_every_file_tells_how_to_compute_it_again(metered):
    settings = metered.report["settings"]
    assert {"version", "title", "digest", "set", "changes", "seed", "quality", "cell_mm"} <= settings.keys()
    assert settings["set"] == CARD and settings["seed"] == 1 and settings["quality"] == "draft"
    assert settings["engine"].keys() == {"variant", "device", "device_name"}
    assert read_npz(metered.folder / "maps.npz")[1] == settings
    assert read_exr(metered.folder / "picture.exr")[2] == settings
    for name in ("table.png", "picture.png"):
        with Image.open(metered.folder / name) as picture:
            assert json.loads(picture.text["brimcast"]) == settings
    assert sorted(path.name for path in metered.folder.iterdir()) == [
        "maps.npz",
        "picture.exr",
        "picture.png",
        "report.json",
        "table.png",
    ]


def test_power_halves_the_picture_and_leaves_the_lamps_bands(metered, compute):
    """Bands are kept as at full power; so the file can be developed again at any."""
    half = compute(CARD, command="render", changes={"lamps.key.power": "-1 stop"})
    full_bands, full, _ = read_exr(metered.folder / "picture.exr")
    half_bands, rgb, settings = read_exr(half.folder / "picture.exr")
    assert settings["power_stops"] == {"key": -1}
    assert settings["changes"] == {"lamps.key.power": "-1 stop"}
    assert settings["digest"] != metered.report["settings"]["digest"]
    floor = 1e-5 * full_bands["key"].max()
    np.testing.assert_allclose(half_bands["key"], full_bands["key"], rtol=1e-4, atol=floor)
    # Half floats have eleven bits.
    np.testing.assert_allclose(rgb.astype(float) @ LUMINANCE, full.astype(float) @ LUMINANCE / 2, rtol=2e-3)


def test_measures_of_the_report_are_those_of_the_maps(metered):
    """The brightest cell of the stored maps over the plain table is near the peak, a mean over 1 mm²."""
    maps, report = metered.maps, metered.report
    total = sum(maps[f"key.{kind}"] for kind in ("direct", "refractive", "reflective"))
    peak = np.tensordot(BAND_XYZ[:, 1], total, 1).max()
    stops = math.log2(peak / report["lamps"]["key"]["plain_table"])
    told = report["caustics"]["key"]["refractive"]["peak_over_table_stops"]["value"]
    assert told == pytest.approx(stops, abs=0.5)


def test_energy_that_reached_the_glass_is_all_accounted_for(metered):
    energy = metered.report["energy"]["key"]
    assert energy["sum"]["value"] == pytest.approx(1, abs=4 * energy["sum"]["standard_error"] + 1e-3)
    parts = [energy[fate]["value"] for fate in ("reached", "black", "absorbed", "escaped", "lost")]
    assert sum(parts) == pytest.approx(energy["sum"]["value"], rel=1e-4)
    for fate in ("reached", "escaped"):
        by_count = sum(entry[fate]["value"] for entry in energy["by_reflections"].values())
        assert by_count == pytest.approx(energy[fate]["value"], rel=1e-4)


def test_table_without_glass_has_no_plan_and_is_told(compute, capsys):
    bare = "\n".join(line for line in CARD.splitlines() if "hero" not in line and "props" not in line)
    done = compute(bare, command="render")
    assert not (done.folder / "table.png").exists()
    assert "no focused light falls on the table" in capsys.readouterr().out
    caustics = done.report["caustics"]["key"]
    assert caustics["refractive"]["peak_over_table_stops"] == {"value": None, "standard_error": None}
    assert caustics["refractive"]["line_width_mm"]["value"] is None
