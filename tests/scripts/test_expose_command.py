"""`brimcast expose`: readings, ratios and power by published relations, and stops maps of known pictures.

Most sets stand beside a folder made here, as a render would leave it, so nothing is traced.
"""

import json
import math

import numpy as np
import pytest
from PIL import Image

from brimcast.renders.images import write_exr, write_json, write_npz
from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scripts.cli import main
from brimcast.shared import exposure
from brimcast.shared.quantity import parse

READING = "reading: {f_number: %s, iso: 100, distance: 1 m, receptor: flat}"
# Lamps right above a meter: a small disc 1 m and 2 m away.
SET = f"""
brimcast: 1
title: Bench
table: {{reflectance: 18 %}}
lamps:
  near: {{diameter: 10 mm, throw: 1 m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm], {READING % "f/16"}}}
  far: {{diameter: 10 mm, throw: 2 m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm], {READING % "f/16"}}}
meters:
  slant: {{at: [0 mm, 0 mm, 0 mm], facing: {{azimuth: 0 deg, elevation: 30 deg}}}}
camera: {{lens: 10 mm, distance: 90 m, elevation: 60 deg, f_number: f/16, iso: 100, white: 5600 K}}
"""


def write_folder(folder, text, tables=None, picture=None, powers=None):
    """Write what a render of a set leaves: a map of the table, and a picture.

    Parameters
    ----------
    tables : dict of str to (kind, (ny, nx) float)
        Light on the table by lamp, lx s, white as the lamps; else dark.
    picture : dict of str to (h, w) float
        Luminance × time by lamp, cd s/m².
    """
    built = build(setfile.parse(text), detail=0.3)
    names = [lamp.name for lamp in built.lamps]
    shape = next(iter(tables.values()))[1].shape if tables else (4, 4)
    maps = {"x_mm": np.arange(shape[1]) + 0.5, "y_mm": np.arange(shape[0]) + 0.5}
    for lamp in built.lamps:
        for kind in ("direct", "refractive", "reflective"):
            maps[f"{lamp.name}.{kind}"] = np.zeros((16, *shape), np.float32)
        if tables and lamp.name in tables:
            kind, light = tables[lamp.name]
            maps[f"{lamp.name}.{kind}"] += (lamp.band_spectrum[:, None, None] * light).astype(np.float32)
        maps[f"{lamp.name}.spectrum"], maps[f"{lamp.name}.gel"] = lamp.spectrum, lamp.gel
        maps[f"{lamp.name}.plain"] = 100.0 * lamp.band_spectrum
        maps[f"{lamp.name}.meters"] = np.tile(50.0 * lamp.band_spectrum[:, None], len(built.meters))
    maps["meter_reflectance"] = np.ones((len(built.meters), 16))
    powers = powers or {lamp.name: lamp.power_stops for lamp in built.lamps}
    settings = {"set": text, "changes": {}, "digest": built.digest, "power_stops": powers}
    settings |= {"title": built.title, "relative": built.relative, "camera": None}
    settings["gels"] = {lamp.name: list(lamp.gels) for lamp in built.lamps}
    settings["meters"] = [meter.name for meter in built.meters]
    folder.mkdir()
    lamps = {name: {"plain_table": 100.0} for name in names}
    meter = {"lamps": {name: {"light": {"value": 50.0}} for name in names}}
    meters = {one.name: meter for one in built.meters}
    report = {"lamps": lamps, "meters": meters, "caustics": {}, "quality": "draft"}
    write_json(folder / "report.json", report)
    write_npz(folder / "maps.npz", maps, settings)
    if picture:
        bands = {lamp.name: lamp.band_spectrum[:, None, None] * picture[lamp.name] for lamp in built.lamps}
        shape = next(iter(picture.values())).shape
        write_exr(folder / "picture.exr", bands, np.zeros((*shape, 3)), settings)
    return folder


@pytest.fixture
def expose(tmp_path, capsys):
    """Return a function that runs the command on a set and a folder made for it, and gives its numbers."""

    def run(text, *arguments, words=False, **made):
        path = tmp_path / "bench.yaml"
        path.write_text(text, encoding="utf-8")
        folder = tmp_path / "made"
        if not folder.exists():
            write_folder(folder, text, **made)
        status = main(
            ["expose", str(path), "--from", str(folder), *arguments, *([] if words else ["--json"])]
        )
        said = capsys.readouterr()
        if status:
            return status, said.err
        return said.out if words else json.loads(said.out)

    return run


def test_light_falls_with_the_square_of_the_distance(expose, published):
    """published_values.yaml#analytic_optics/inverse_square_cosine (from memory); also E. Hecht, Optics."""
    lamps = expose(SET)["points"]["table"]["lamps"]
    case = published["analytic_optics"]["inverse_square_cosine"]["value"][0]
    found = lamps["far"]["light"] / lamps["near"]["light"]
    # To the small disc's own size, 5² / 1000².
    assert found == pytest.approx(case["E_lx"] / case["I_cd"], rel=3e-5)
    assert exposure.stops(lamps["near"]["f_number"] ** 2 / lamps["far"]["f_number"] ** 2) == pytest.approx(
        2, abs=1e-4
    )


def test_meter_at_a_slant_loses_the_cosine(expose, published):
    """published_values.yaml#analytic_optics/inverse_square_cosine (from memory); also E. Hecht, Optics."""
    points = expose(SET)["points"]
    upright, slanted = published["analytic_optics"]["inverse_square_cosine"]["value"]
    found = points["slant"]["lamps"]["far"]["light"] / points["table"]["lamps"]["far"]["light"]
    assert found == pytest.approx(slanted["E_lx"] / upright["E_lx"], rel=1e-4)


@pytest.mark.parametrize("form", ["lambertian_disc", "lambertian_rectangle"])
def test_large_front_gives_the_published_light(expose, published, form):
    """published_values.yaml#analytic_optics/lambertian_disc and lambertian_rectangle, without readings.

    Lamps are then equally strong at the same distance, far away: light over the front's area is alike.
    """
    case = published["analytic_optics"][form]["value"][0]
    front = (
        f"diameter: {2 * case['r']} m" if form == "lambertian_disc" else
        f"kind: panel, size: [{case['w']} m, {case['h']} m]"
    )  # fmt: skip
    text = f"""
brimcast: 1
lamps:
  wide: {{{front}, throw: {case["d"]} m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm]}}
  small: {{diameter: 2 mm, throw: {case["d"]} m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm]}}
"""
    numbers = expose(text)
    lamps = numbers["points"]["table"]["lamps"]
    area = math.pi * case["r"] ** 2 if form == "lambertian_disc" else case["w"] * case["h"]
    # 1024 points of the front; the values have four to six digits.
    assert lamps["wide"]["light"] / lamps["small"]["light"] == pytest.approx(
        case["E_over_L"] / area, rel=3e-4
    )
    assert numbers["relative"] and lamps["wide"]["f_number"] is None


def test_reading_comes_back_where_it_was_taken(expose):
    """The near lamp is metered 1 m away, and stands 1 m over the table: f/16 at ISO 100."""
    lamp = expose(SET)["points"]["table"]["lamps"]["near"]
    assert lamp["f_number"] == pytest.approx(16, rel=1e-4)
    assert lamp["light"] == pytest.approx(250 * 16**2 / 100, rel=1e-4)


def test_guide_number_is_f_number_times_distance(expose, published):
    """published_values.yaml#exposure/guide_number: 32 at 2560 cd s; f/32 at 1 m."""
    value = published["exposure"]["guide_number"]["value"]
    text = SET.replace("f/16, iso: 100, distance", "f/32, iso: 100, distance")
    numbers = expose(text)
    for lamp in numbers["points"]["glass"]["lamps"].values():
        assert lamp["guide_number_m"] == pytest.approx(32, rel=2e-4)
    light = numbers["points"]["table"]["lamps"]["near"]["light"]
    assert light * 1.0**2 == pytest.approx(value["GN32_ISO100_candela_seconds"], rel=2e-4)
    faster = expose(text, "--change", "camera.iso=400")["points"]["glass"]["lamps"]["near"]
    # The meter shows more, the guide number at ISO 100 stays.
    assert faster["f_number"] / 32 == pytest.approx(value["GN_scale_ISO400"], rel=2e-4)
    assert faster["guide_number_m"] == pytest.approx(32, rel=2e-4)


def test_half_the_energy_is_a_stop(expose, published):
    """published_values.yaml#exposure/flash_energy_stops."""
    value = published["exposure"]["flash_energy_stops"]["value"]
    full = expose(SET)["points"]["glass"]["lamps"]["near"]
    change = f"lamps.near.power={value['full_to_1_64']} stops"
    less = expose(SET, "--change", change)["points"]["glass"]["lamps"]["near"]
    assert less["light"] / full["light"] == pytest.approx(1 / 64, rel=1e-5)


def test_power_for_a_target_gives_that_reading(expose):
    """Set to the power told, the lens asks for the target: a round trip through the set file."""
    target = parse("f/8", "f_number")
    lamp = expose(SET, "--target", "f/8")["points"]["glass"]["lamps"]["near"]
    assert lamp["power_for_target_stops"] == pytest.approx(-2, abs=2e-3)
    power = f"lamps.near.power={lamp['power_for_target_stops']:.4f} stops"
    again = expose(SET, "--change", power)["points"]["glass"]["lamps"]["near"]
    assert again["lens_f_number"] == pytest.approx(target, rel=1e-4)


def test_target_out_of_reach_tells_what_lacks(expose):
    said = expose(SET, "--target", "f/32", words=True)
    assert "lacks 2.0 stops at full power: throw 50% of now, 4 times the ISO, or 4 pops" in said
    assert "lacks 4.0 stops at full power: throw 25% of now, 16 times the ISO, or 16 pops" in said


def test_close_focus_opens_the_lens_by_the_published_loss(expose, published):
    """published_values.yaml#exposure/close_up: 100 mm focused at 600 mm."""
    entry = published["exposure"]["close_up"]
    text = SET.replace("lens: 10 mm, distance: 90 m", "lens: 100 mm, distance: 600 mm")
    numbers = expose(text)
    lamp = numbers["points"]["glass"]["lamps"]["near"]
    loss = entry["value"]["m0p2_stops"]
    assert numbers["close_up_loss_stops"] == pytest.approx(loss, abs=entry["tolerance"])
    assert 2 * math.log2(lamp["f_number"] / lamp["lens_f_number"]) == pytest.approx(loss, abs=1e-4)


def test_ratio_of_lamps_is_stated_both_ways(expose):
    """Two stops: 4 : 1 incident is 5 : 1 highlight to shadow (common practice: both are in use)."""
    (ratio,) = expose(SET)["ratios"]
    assert ratio["of"] == ["near", "far"]
    assert ratio["incident"] == pytest.approx(4, rel=1e-4)
    assert ratio["highlight_to_shadow"] == pytest.approx(5, rel=1e-4)
    assert "4:1 incident (+2.0 stops), 5:1 highlight to shadow" in expose(SET, words=True)


def test_ratio_of_meters_is_that_of_all_light(expose):
    """The slanted meter gets half, by the cosine of 60 deg: highlight to shadow 2 : 1, 1 : 1 incident."""
    (ratio,) = expose(SET, "--ratio", "table:slant")["ratios"]
    assert ratio["highlight_to_shadow"] == pytest.approx(2, rel=1e-4)
    assert ratio["incident"] == pytest.approx(1, rel=2e-4)


@pytest.mark.parametrize("ratio", ["near", "near:fur", "near:slant", ":"])
def test_ratio_of_nothing_known_is_told(expose, ratio):
    status, said = expose(SET, "--ratio", ratio)
    assert status == 2 and "there are near, far, glass, table, background, slant" in said


def test_target_without_readings_is_told(expose):
    text = "brimcast: 1\nlamps: {key: {}}\n"
    status, said = expose(text, "--target", "f/11")
    assert status == 2 and "no lamp has a reading" in said
    status, said = expose(SET, "--target", "wide")
    assert status == 2 and "--target" in said and "f/" in said


def test_target_reads_as_f_numbers_are_said(expose):
    assert expose(SET, "--target", "11")["target_f_number"] == pytest.approx(parse("f/11", "f_number"))


def test_sun_is_told_no_throw_nor_pops(expose):
    """It cannot be moved or fired again: only the ISO is left."""
    sun = "  sun: {kind: sun, elevation: 40 deg, reading: {f_number: f/16, iso: 100, receptor: flat}}"
    text = SET.replace("meters:", f"{sun}\nmeters:")
    assert expose(text)["points"]["glass"]["lamps"]["sun"]["guide_number_m"] is None
    said = expose(text, "--target", "f/32", words=True)
    _, words = said.split("sun alone: ")
    lacks = words.splitlines()[1]
    assert "guide number" not in words.splitlines()[0]
    assert "times the ISO" in lacks and "throw" not in lacks and "pop" not in lacks


def test_flag_between_takes_the_lamp_off_the_meter(expose):
    """Common practice: a flag keeps a lamp's light off."""
    flag = "flags: {cutter: {at: [0 mm, 0 mm, 1.5 m], facing: down}}\n"
    lamps = expose(SET + flag)["points"]["table"]["lamps"]
    assert lamps["far"]["light"] == 0 and lamps["near"]["f_number"] == pytest.approx(16, rel=1e-4)


def even(value, shape=(8, 12)):
    return np.full(shape, float(value))


def test_metered_card_lies_where_the_standards_put_it(expose, published):
    """published_values.yaml#exposure/meter_to_sensor by #meter_reflectance: ISO 2720 with ISO 12232.

    A flat meter and one for reflected light (K 12.5) agree on a matte card of pi K / C = 15.7 %.
    """
    card = published["exposure"]["meter_reflectance"]["value"]["K12.5_C250"]
    value = published["exposure"]["meter_to_sensor"]["value"]
    light = exposure.light_exposure(16, 100, "flat")
    text = SET.replace("reflectance: 18 %", f"reflectance: {100 * card} %")
    made = {"tables": {"near": ("direct", even(light))}}
    table = expose(text, **made)["maps"]["table"]
    # Focused at 90 m, a lens of 10 mm loses 3e-4 stops; white is neutral to the colour matrices' digits.
    assert table["headroom_stops"] == pytest.approx(value["stops_below_saturation"], abs=2e-3)


def test_eighteen_percent_card_is_the_zero_of_the_stops_map(expose, tmp_path):
    """The card as metered with a flat receptor is 0 stops; each doubling is a step, at 3.07 it clips."""
    light = exposure.light_exposure(16, 100, "flat")
    rows = light * 2.0 ** np.repeat([[-6.5, -4.5, -0.5, 0.5, 1.5, 2.5, 3.2]], 4, axis=0)
    table = expose(SET, tables={"near": ("direct", rows)})["maps"]["table"]
    assert table["clipped_share"] == pytest.approx(1 / 7, abs=1e-5)
    assert table["blocked_up_share"] == pytest.approx(1 / 7, abs=1e-5)
    sheet = np.asarray(Image.open(tmp_path / "made" / "stops-table.png").convert("L"), float)
    # Seven columns of equal width from the left margin of 60 px; inside its frame.
    top, wide = 60 + 62 + 60, 903 // 7
    columns = [sheet[top + 10 : top + 500, 60 + k * wide + 10 : 60 + (k + 1) * wide - 10] for k in range(7)]
    greys = [np.unique(column) for column in columns]
    # Steps are even greys that rise; both ends are hatched in two tones.
    plain = [grey[0] for grey in greys[1:6] if len(grey) == 1]
    assert len(plain) == 5 and plain == sorted(plain) and min(np.diff(plain)) > 15
    assert len(greys[0]) == 2 and len(greys[6]) == 2
    assert columns[6].mean() > 180 > 60 > columns[0].mean()


def test_hatchings_run_two_ways(expose, tmp_path):
    """Clipped strokes rise to the right, blocked-up ones fall: each repeats along its own diagonal."""
    light = exposure.light_exposure(16, 100, "flat")
    expose(SET, tables={"near": ("direct", np.array([[0.0, 20 * light]] * 2))})
    sheet = np.asarray(Image.open(tmp_path / "made" / "stops-table.png").convert("L"), int)
    blocked, clipped = sheet[300:400, 200:300], sheet[300:400, 700:800]
    rising = [(part[1:, :-1] == part[:-1, 1:]).all() for part in (blocked, clipped)]
    falling = [(part[1:, 1:] == part[:-1, :-1]).all() for part in (blocked, clipped)]
    assert (rising, falling) == ([False, True], [True, False])


def test_picture_is_exposed_anew_by_power_iso_and_aperture(expose):
    """A picture at saturation: one stop down in any way leaves one stop of headroom."""
    # 0.65 L / N² = 78 / ISO.
    white = 78 / 100 * 16**2 / 0.65
    made = {"picture": {"near": even(white), "far": even(0)}}
    assert expose(SET, **made)["maps"]["picture"]["headroom_stops"] == pytest.approx(0, abs=3e-3)
    for change in ("lamps.near.power=-1 stop", "camera.iso=50", "camera.f_number=f/22"):
        headroom = expose(SET, "--change", change)["maps"]["picture"]["headroom_stops"]
        assert headroom == pytest.approx(1, abs=3e-3), change


def test_headroom_of_the_caustic_is_that_of_its_brightest_millimetre(expose):
    """A line three stops over the plain table of 18 %: 0.07 stops are left where the table is as metered."""
    light = exposure.light_exposure(16, 100, "flat")
    spot = np.zeros((20, 30))
    spot[4, 7] = 8 * light - light
    tables = {"far": ("direct", even(light, spot.shape)), "near": ("refractive", spot)}
    numbers = expose(SET, tables=tables)
    left = -math.log2(0.65 * 0.18 * 250 / (math.pi * 78)) - 3
    assert numbers["headroom"]["headroom_stops"] == pytest.approx(left, abs=3e-3)
    assert numbers["headroom"]["place_mm"] == [7.5, 4.5]
    assert numbers["headroom"]["clipped_cm2"] == 0
    brighter = expose(SET, "--change", "camera.iso=200")["headroom"]
    assert brighter["headroom_stops"] == pytest.approx(left - 1, abs=3e-3)
    assert brighter["clipped_cm2"] == pytest.approx(0.01)


@pytest.mark.parametrize(
    ("aim", "frame", "crop"), [("0 mm", True, True), ("1.4 m", True, False), ("2.5 m", False, False)]
)
def test_caustic_is_told_inside_or_outside_the_crop(expose, aim, frame, crop):
    """100 mm at 10.1 m frame 3.6 m of a sensor's 36 mm, and a square of 2.4 m."""
    view = f"lens: 100 mm, distance: 10.1 m, crop: square, aim: [{aim}, 0 mm, 0 mm]"
    text = SET.replace("lens: 10 mm, distance: 90 m", view)
    spot = np.full((4, 4), 1e6)
    found = expose(text, tables={"near": ("refractive", spot)})["headroom"]
    assert (found["in_frame"], found["in_crop"]) == (frame, crop)


def test_traced_meters_follow_the_power(expose):
    """Both lamps gave 50 each of 100: one stop down in one leaves 75 of 150."""
    numbers = expose(SET, "--change", "lamps.far.power=-1 stop")
    assert numbers["traced"]["slant"]["light"] == pytest.approx(75)
    assert numbers["traced"]["slant"]["stops_over_table"] == pytest.approx(-1)


@pytest.mark.parametrize(
    ("change", "same"),
    [
        ("lamps.near.power=-1 stop", True),
        ('lamps.near.gels=["half CTO"]', True),
        ("render.quality=final", True),
        ("room.ceiling=3 m", True),
        ("lamps.near.throw=1.1 m", False),
        ("camera.f_number=f/8", False),
    ],
)
def test_folder_of_another_state_is_told(expose, change, same):
    assert expose(SET, "--change", change)["same_set"] is same


def test_folder_with_other_lamps_or_none_is_refused(expose, tmp_path):
    expose(SET)
    status, said = expose(SET.replace("  far:", "  afar:"))
    assert status == 2 and "was computed with other lamps (far, near)" in said
    status, said = expose(SET, "--from", str(tmp_path))
    assert status == 2 and "no report.json" in said


def test_picture_of_another_run_is_refused(expose, tmp_path):
    """A picture rendered, then a lamp renamed and the map made into the same folder."""
    expose(SET, picture={"near": even(1), "far": even(1)})
    afar = SET.replace("  far:", "  afar:")
    write_folder(tmp_path / "map", afar)
    for name in ("maps.npz", "report.json"):
        (tmp_path / "map" / name).rename(tmp_path / "made" / name)
    status, said = expose(afar)
    assert status == 2 and "different runs" in said and "made" in said


@pytest.mark.parametrize("camera", [True, False])
def test_relative_set_is_metered_anew_when_powers_change(expose, camera):
    """All lamps a stop down: metered again, the table is as it was; one of two alike: 1 in 1.5 of it."""
    text = SET.replace(f", {READING % 'f/16'}", "")
    text = text if camera else "\n".join(line for line in text.splitlines() if "camera" not in line)
    table = {"tables": {"near": ("direct", even(100)), "far": ("direct", even(100))}}
    headroom = expose(text, **table)["maps"]["table"]["headroom_stops"]
    # As metered: the card at 0.1194 of saturation.
    assert headroom == pytest.approx(3.07, abs=0.01)
    less = ["--change", "lamps.near.power=-1 stop", "--change", "lamps.far.power=-1 stop"]
    assert expose(text, *less)["maps"]["table"]["headroom_stops"] == pytest.approx(headroom, abs=1e-5)
    assert expose(text, *less[:2])["maps"]["table"]["headroom_stops"] == pytest.approx(headroom, abs=1e-5)


def test_white_that_cannot_be_found_is_told(expose):
    """Daylight instead, and a word; the folder was made for another white."""
    white = SET.replace("white: 5600 K", "white: slant")
    assert expose(white)["notes"] == []
    gone = white.replace("slant:", "straight:").replace("white: slant", "white: straight")
    (note,) = expose(gone)["notes"]
    assert "'straight' was not metered" in note and "5600 K" in note


def test_earlier_run_of_the_set_is_used_and_left_alone(tmp_path, monkeypatch, capsys):
    """In out/ and the set's name; power and gels may differ. Another state gets a draft beside it."""
    from brimcast.scripts import computing

    monkeypatch.chdir(tmp_path)
    text = SET.replace("\nlamps", "\nrender: {quality: final}\nlamps")
    (tmp_path / "bench.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "out").mkdir()
    pictures = {"picture": {"near": even(1), "far": even(1)}}
    write_folder(tmp_path / "out" / "bench", text, **pictures)
    before = {path.name: path.read_bytes() for path in (tmp_path / "out" / "bench").iterdir()}
    made = []

    def compute(path, folder, changes, device, picture):
        made.append((folder, changes["render.quality"]))
        write_folder(tmp_path / folder, text.replace("throw: 1 m", "throw: 1.1 m"), **pictures)

    monkeypatch.setattr(computing, "compute", compute)
    for change in ("lamps.near.power=-1 stop", 'lamps.far.gels=["half CTO"]'):
        assert main(["expose", "bench.yaml", "--json", "--change", change]) == 0
        assert json.loads(capsys.readouterr().out)["folder"] == "out/bench"
    for _ in range(2):
        assert main(["expose", "bench.yaml", "--json", "--change", "lamps.near.throw=1.1 m"]) == 0
        assert json.loads(capsys.readouterr().out)["folder"] == "out/bench/draft"
    assert [(str(folder), quality) for folder, quality in made] == [("out/bench/draft", "draft")]
    after = {path.name: path for path in (tmp_path / "out" / "bench").iterdir()}
    assert {name: after[name].read_bytes() for name in before} == before
    assert set(after) - set(before) == {"stops-picture.png", "stops-table.png", "draft"}


def test_maps_that_cannot_be_written_leave_nothing_half(expose, tmp_path, fill_disk_at_second_picture):
    from brimcast.renders import stopsmap

    made = {"picture": {"near": even(1), "far": even(1)}}
    expose(SET, **made)
    maps = [tmp_path / "made" / f"stops-{name}.png" for name in ("picture", "table")]
    before = [path.read_bytes() for path in maps]
    fill_disk_at_second_picture(stopsmap)
    status, said = expose(SET, "--change", "camera.iso=50")
    assert status == 2 and "cannot be written: no space left on device" in said
    assert [path.read_bytes() for path in maps] == before
    assert not list((tmp_path / "made").glob(".*"))


def test_draft_is_rendered_where_no_folder_is_given(little_effort, small_set, tmp_path, capsys):
    """The real thing once, through engine and files."""
    out = tmp_path / "out"
    assert main(["expose", str(small_set), "--out", str(out), "--json"]) == 0
    numbers = json.loads(capsys.readouterr().out)
    assert {path.name for path in out.iterdir()} == {"draft", "stops-picture.png", "stops-table.png"}
    assert numbers["same_set"] and numbers["relative"] and numbers["headroom"]["headroom_stops"] < 3.1
    report = json.loads((out / "draft" / "report.json").read_text(encoding="utf-8"))
    assert report["camera"] == numbers["camera"]
    # The plain table's light by the tracer and by arithmetic.
    plain = report["lamps"]["key"]["plain_table"]
    assert numbers["points"]["table"]["lamps"]["key"]["light"] == pytest.approx(plain, rel=1e-4)
