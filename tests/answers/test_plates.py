"""Questions 7, 8, 15, 23: f-number, power, gel, fall-off, by arithmetic against published relations."""

import math

import pytest

from brimcast.renders.answers.answer import Lacking
from brimcast.renders.answers.catalogue import QUESTIONS
from brimcast.renders.answers.powers import Dial, below_range, settle_powers
from brimcast.renders.answers.study import Study
from brimcast.shared.exposure import F_NUMBERS

READING = "reading: {f_number: f/16, iso: 100, distance: 1 m, receptor: flat}"
BULB = "kind: bulb, diameter: 10 mm"
# Overhead, 1 m and 2 m from the datum; the camera's magnification is 100 / (600 - 100).
OVERHEAD = f"""
brimcast: 1
lamps:
  key: {{{BULB}, throw: 1 m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm], {READING}}}
  fill: {{{BULB}, throw: 2 m, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm], {READING}}}
camera: {{lens: 100 mm, at: [0 mm, -600 mm, 0 mm], aim: [0 mm, 0 mm, 0 mm], f_number: f/8, iso: 100}}
"""


def ask(study, number):
    return QUESTIONS[number].answer(study)


def test_f_number_of_each_plate_counts_distance_and_close_focus(study_of, published):
    """N = sqrt(light × ISO / C) (ISO 2720), opened by 1 + m: published_values.yaml#exposure/close_up."""
    close = published["exposure"]["close_up"]["value"]
    assert close["f100_s600_m"] == 0.2
    found = ask(study_of(OVERHEAD), 7).values
    for place in ("glass", "table"):
        key, fill = (found["alone"][lamp][place] for lamp in ("key", "fill"))
        assert key["meter_f_number"]["value"] == pytest.approx(16, rel=1e-3)
        # Inverse square: twice as far is half the f-number.
        assert fill["meter_f_number"]["value"] == pytest.approx(8, rel=1e-3)
        lost = 2 * math.log2(key["meter_f_number"]["value"] / key["f_number"]["value"])
        assert lost == pytest.approx(close["m0p2_stops"], abs=1e-4)
        together = found["together"][place]["meter_f_number"]["value"]
        assert together == pytest.approx(math.hypot(16, 8), rel=1e-3)
        assert key["over_stops"]["value"] == pytest.approx(2 - lost, abs=2e-3)


def test_f_number_follows_the_iso(study_of):
    slow, fast = (ask(study_of(OVERHEAD, {"camera.iso": iso}), 7).values for iso in (100, 400))
    one, other = (found["alone"]["key"]["glass"]["f_number"]["value"] for found in (slow, fast))
    assert other == pytest.approx(2 * one)


def test_glass_is_metered_facing_the_lamp_and_the_table_facing_up(study_of):
    """Inverse square and cosine (CIE 18.2) for a small lamp, 30 degrees up, 1 m from the glass's middle."""
    text = f"""
brimcast: 1
glasses: {{hero: {{vessel: {{shape: tumbler, height: 100 mm}}}}}}
lamps: {{key: {{{BULB}, throw: 1 m, elevation: 30 deg, {READING}}}}}
camera: {{f_number: f/11}}
"""
    study = study_of(text)
    found = ask(study, 7).values["alone"]["key"]
    assert found["glass"]["meter_f_number"]["value"] == pytest.approx(16, rel=2e-3)
    high, level = 550, 1000 * math.cos(math.radians(30))
    away = math.hypot(high, level)
    light = (1000 / away) ** 2 * high / away
    assert found["table"]["meter_f_number"]["value"] == pytest.approx(16 * math.sqrt(light), rel=2e-3)


def test_f_number_is_written_as_a_meter_shows_it(study_of):
    first, *_ = ask(study_of(OVERHEAD), 7).lines
    # f/16 less 0.526 stops (1 + m = 1.2), in tenths: a stop down to f/11, and 5 tenths.
    assert first.startswith("key alone: f/11 and 5 tenths by the glass, f/11 and 5 tenths by the table")


def test_dark_plate_has_no_f_number(study_of):
    flagged = OVERHEAD + "flags: {cutter: {size: [1 m, 1 m], at: [0 mm, 0 mm, 1.5 m], facing: up}}\n"
    found = ask(study_of(flagged), 7)
    assert found.values["alone"]["fill"]["glass"]["f_number"]["value"] is None
    assert "fill alone: no light by the glass" in found.lines[1]


@pytest.mark.parametrize(
    ("text", "give"),
    [
        (OVERHEAD.partition("camera:")[0], "camera.lens="),
        (OVERHEAD.replace(READING, "gels: []"), "lamps.key.reading="),
    ],
)
def test_f_number_needs_a_camera_and_readings(study_of, text, give):
    with pytest.raises(Lacking) as lack:
        ask(study_of(text), 7)
    assert lack.value.give.startswith(give)


@pytest.mark.parametrize(
    ("ratio", "key", "fill"),
    # Twice as far the fill gives 2 stops less, 4:1, at equal power.
    [("4:1", 0, 0), ("8:1", 0, -1), ("2:1", -1, 0), ("1:1", -2, 0)],
)
def test_power_gives_the_ratio_and_never_goes_above_full(study_of, ratio, key, fill):
    study = study_of(OVERHEAD, {"brief.ratios": {"fill": ratio}})
    heads = ask(study, 8).values["heads"]
    assert heads["key"]["power_stops"]["value"] == pytest.approx(key, abs=0.01)
    assert heads["fill"]["power_stops"]["value"] == pytest.approx(fill, abs=0.01)
    # Set so, the plates meter apart by the ratio: N² is light.
    powers = {f"lamps.{lamp}.power": f"{heads[lamp]['power_stops']['value']:.4f} stops" for lamp in heads}
    alone = ask(study_of(OVERHEAD, powers), 7).values["alone"]
    metered = [alone[lamp]["glass"]["meter_f_number"]["value"] for lamp in ("key", "fill")]
    assert (metered[0] / metered[1]) ** 2 == pytest.approx(float(ratio[0]), rel=0.01)


def test_power_says_why_the_key_is_turned_and_what_the_ratio_means(study_of):
    lines = ask(study_of(OVERHEAD, {"brief.ratios": {"fill": "2:1"}}), 8).lines
    assert lines[0] == "fill, for 2:1 incident of key: full power (as it is)"
    assert lines[1].startswith("key: 1.0 stops below full (1.0 down), for another lamp has no more to give")
    # trade.md: 2:1 incident is 3:1 highlight to shadow.
    assert lines[2].startswith("2:1 incident is 3:1 highlight to shadow")


def test_power_counts_lamps_as_equally_strong_without_readings(study_of):
    relative = OVERHEAD.replace(READING, "gels: []")
    heads = ask(study_of(relative, {"brief.ratios": {"fill": "16:1"}}), 8)
    assert heads.values["heads"]["fill"]["power_stops"]["value"] == pytest.approx(-2, abs=0.01)
    assert "No lamp has a reading" in heads.lines[-1]


def test_power_needs_a_ratio(study_of):
    with pytest.raises(Lacking) as lack:
        ask(study_of(OVERHEAD), 8)
    assert lack.value.give == 'brief.ratios={fill: "4:1"}'


def test_range_of_the_kits_heads_is_kept(tmp_path):
    (tmp_path / "kit.yaml").write_text(
        "brimcast-kit: 1\nheads: {mono: {range: 3 stops, flash: {front: {kind: disc, diameter: 10 mm}}}}\n"
    )
    lamps = "".join(
        f"  {name}: {{head: mono, throw: {throw}, elevation: 60 deg, aim: [0 mm, 0 mm, 0 mm]}}\n"
        for name, throw in (("key", "1 m"), ("fill", "1 m"))
    )
    path = tmp_path / "set.yaml"
    path.write_text(f"brimcast: 1\nkit: kit.yaml\nlamps:\n{lamps}brief: {{ratios: {{fill: '32:1'}}}}\n")
    found = ask(Study(path.read_text(), str(path)), 8)
    fill = found.values["heads"]["fill"]
    assert fill["power_stops"]["value"] == pytest.approx(-5, abs=0.01)
    assert fill["below_range_stops"]["value"] == pytest.approx(2, abs=0.01)
    assert "goes down to 3.0 only: take 2.0 stops off" in found.lines[0]


def test_key_goes_up_where_the_other_cannot_go_lower():
    key, other = Dial(4.0, -2.0, -6.0, 0.0), Dial(4.0, -2.0, -4.0, 0.0)
    power, powers = settle_powers(key, {"other": (other, 16.0)})
    # 4 stops apart, the other no lower than -4.
    assert power == pytest.approx(0) and powers["other"] == pytest.approx(-4)
    assert below_range(other, powers["other"]) == 0


def test_sun_stays_as_it_is():
    key, sun = Dial(1.0, 0.0, -6.0, 0.0), Dial(4.0, 0.0, 0.0, 0.0)
    power, powers = settle_powers(key, {"sun": (sun, 0.125)})
    assert power == pytest.approx(-1) and powers["sun"] == 0
    # Too strong even against the key at full power: by the stops between 4:1 and 1:2.
    power, powers = settle_powers(key, {"sun": (sun, 2.0)})
    assert power == 0 and below_range(sun, powers["sun"]) == pytest.approx(3)


def test_gel_costs_stops_and_shifts_mired(study_of, published):
    """published_values.yaml#colour/mired: 5600 K to 3200 K is 133.93 mired; an ND changes no colour."""
    shift = next(row["shift"] for row in published["colour"]["mired"]["value"] if row.get("T_out") == 3200)
    changes = {"lamps.key.gels": "[CTO]", "lamps.fill.gels": "[ND 2 stops]"}
    found = ask(study_of(OVERHEAD, changes), 15).values
    assert found["key"]["mired_shift"]["value"] == pytest.approx(shift, abs=0.1)
    assert found["key"]["cct_k"]["value"] == pytest.approx(3200, abs=5)
    assert found["key"]["delta_e"]["value"] > 10
    # trade.md: full CTO costs 2/3 of a stop (common practice).
    assert found["key"]["loss_stops"]["value"] == pytest.approx(2 / 3, abs=0.2)
    assert found["fill"]["loss_stops"]["value"] == pytest.approx(2, abs=1e-6)
    assert found["fill"]["delta_e"]["value"] == pytest.approx(0, abs=1e-6)


def test_gel_of_a_hue_has_no_mired(study_of):
    found = ask(study_of(OVERHEAD, {"lamps.key.gels": "[530 nm 60 %]"}), 15)
    assert found.values["key"]["mired_shift"]["value"] is None
    assert "without mired" in found.lines[0]


def test_gel_needs_one(study_of):
    with pytest.raises(Lacking, match="a lamp with gels"):
        ask(study_of(OVERHEAD), 15)


# A low lamp behind a table 0.5 m deep.
LOW = f"""
brimcast: 1
table: {{size: [1 m, 500 mm]}}
lamps: {{key: {{{BULB}, azimuth: 180 deg, elevation: 1 deg, aim: [0 mm, 0 mm, 0 mm]}}}}
"""


@pytest.mark.parametrize(("near_m", "trade"), [(1, 1.2), (2, 0.6), (3, 0.4)])
def test_fall_off_over_half_a_metre_is_the_trades(study_of, near_m, trade):
    """trade.md (common practice): 0.5 m gives 1.2 stops at 1 m, 0.6 at 2 m, 0.4 at 3 m."""
    found = ask(study_of(LOW, {"lamps.key.throw": f"{near_m + 0.25} m"}), 23).values["key"]["table"]
    assert found["length_mm"]["value"] == pytest.approx(500)
    stops = found["facing_stops"]["value"]
    assert round(stops, 1) == trade
    assert stops == pytest.approx(2 * math.log2((near_m + 0.5) / near_m), abs=2e-3)


def test_fall_off_on_the_table_is_inverse_square_and_cosine(study_of, published):
    """published_values.yaml#analytic_optics/inverse_square_cosine: E = I cos(t) / d², so h / d³ facing up."""
    assert published["analytic_optics"]["inverse_square_cosine"]["value"][0]["E_lx"] == 250
    study = study_of(LOW, {"lamps.key.throw": "1 m", "lamps.key.elevation": "40 deg"})
    found = ask(study, 23).values["key"]["table"]
    high, level = 1000 * math.sin(math.radians(40)), 1000 * math.cos(math.radians(40))
    ratio = math.hypot(high, level + 250) / math.hypot(high, level - 250)
    assert found["stops"]["value"] == pytest.approx(3 * math.log2(ratio), abs=2e-3)
    assert found["facing_stops"]["value"] == pytest.approx(2 * math.log2(ratio), abs=2e-3)


def test_fall_off_is_told_of_the_framed_part_and_without_flags(study_of):
    camera = "camera: {lens: 200 mm, at: [0 mm, -1 m, 1 m], aim: [0 mm, 0 mm, 0 mm]}\n"
    flag = "flags: {cutter: {size: [2 m, 250 mm], at: [0 mm, 125 mm, 10 mm], facing: up}}\n"
    changes = {"lamps.key.elevation": "90 deg", "lamps.key.throw": "2 m"}
    found = ask(study_of(LOW + camera + flag, changes), 23).values["key"]
    # The frame's height, 24 mm / image distance, seen at 45 degrees: where its edges' rays meet the table.
    distance = 1000 * math.sqrt(2)
    image = 200 * distance / (distance - 200)
    edge = math.atan(12 / image)
    length = 1000 / math.tan(math.pi / 4 - edge) - 1000 / math.tan(math.pi / 4 + edge)
    assert found["frame"]["length_mm"]["value"] == pytest.approx(length, abs=2 * 500 / 120)
    assert 0 < found["frame"]["stops"]["value"] < found["table"]["stops"]["value"]
    # The flag lies over the far half of the table; the fall-off itself is of the bare lamp.
    assert found["shaded_share"]["value"] == pytest.approx(0.5, abs=0.05)
    assert found["table"]["stops"]["value"] == pytest.approx(3 * math.log2(math.hypot(2, 0.25) / 2), abs=2e-3)


def test_sun_does_not_fall_off(study_of):
    text = "brimcast: 1\nlamps: {sun: {kind: sun, elevation: 40 deg, aim: [0 mm, 0 mm, 0 mm]}}\n"
    found = ask(study_of(text), 23).values["sun"]["table"]
    assert found["stops"]["value"] == pytest.approx(0, abs=1e-3)


def test_full_stops_are_marked():
    """ISO 517: f/11 and no tenths is the exact value that the mark stands for."""
    from brimcast.shared.exposure import tell_f_number

    assert tell_f_number(F_NUMBERS[11.0]) == "f/11" and tell_f_number(F_NUMBERS[11.0] * 2**0.05) == (
        "f/11 and 1 tenth"
    )
