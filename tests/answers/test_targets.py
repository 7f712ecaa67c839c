"""Targets and ranges as people write them, and what is said of mistakes."""

import pytest

from brimcast.renders.answers.targets import MEASURE_WORDS, read_range, read_target
from brimcast.renders.measures import MEASURES
from brimcast.shared.quantity import QuantityError


def test_every_word_is_a_measure_of_the_report():
    assert {measure.key for measure in MEASURE_WORDS.values()} <= set(MEASURES)


@pytest.mark.parametrize(
    ("text", "key", "sign", "value"),
    [
        ("line_width < 2 mm", "line_width_mm", "<", 2.0),
        ("line_width<=0.2cm", "line_width_mm", "<", 2.0),
        ("tip_x = 40 mm", "tip_mm", "=", 40.0),
        ("tip = [40 mm, -12 cm]", "tip_mm", "=", (40.0, -120.0)),
        ("heading = 330 deg", "heading_deg", "=", 330.0),
        ("heading = 10 o'clock", "heading_deg", "=", 120.0),
        ("peak > 3 stops", "peak_over_table_stops", ">", 3.0),
        ("area >= 4 cm2", "area_cm2", ">", 4.0),
        ("area > 400 mm²", "area_cm2", ">", 4.0),
        ("share > 20 %", "flux_share", ">", 0.2),
        ("meters.cheek = -1 1/3 stops", "cheek", "=", -4 / 3),
        ("maximise area", "area_cm2", ">", None),
        ("minimize line_width", "line_width_mm", "<", None),
    ],
)
def test_target_reads(text, key, sign, value):
    found = read_target(text)
    assert (found.measure.key, found.sign) == (key, sign)
    assert found.value == (value if value is None or isinstance(value, tuple) else pytest.approx(value))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("line_widht < 2 mm", "did you mean 'line_width'"),
        ("line_width", "write it like 'line_width < 2 mm'"),
        ("", "write it like 'line_width < 2 mm'"),
        ("line_width < 2", "has no unit"),
        ("line_width < 2 deg", "unknown unit"),
        ("area > 4 mm", "write it like 4 cm2"),
        ("tip < 3 mm", "write it like tip = [40 mm, -120 mm]"),
        ("tip = 3 mm", "write x and y"),
        ("maximise tip", "'tip_x', 'tip_y' or 'length'"),
        ("heading < 20 deg", "goes round"),
        ("maximise heading", "goes round"),
        ("< 3 mm", "no measure is named"),
        ("meters. < 3 stops", "allowed:"),
    ],
)
def test_target_refuses(text, said):
    with pytest.raises(QuantityError) as wrong:
        read_target(text)
    assert said in str(wrong.value)


@pytest.mark.parametrize(
    ("text", "first", "last", "written"),
    [
        ("lamps.key.throw=0.6m:4m", 600.0, 4000.0, "600 mm"),
        ("lamps.key.throw = 4 m : 2 ft", 4000.0, 609.6, "4000 mm"),
        ("lamps.key.azimuth=330 deg:390 deg", 330.0, 390.0, "330 deg"),
        ("lamps.key.azimuth=10:30 o'clock:12 o'clock", 135.0, 180.0, "135 deg"),
        ("lamps.key.power=-3 stops:0 stops", -3.0, 0.0, "-3 stops"),
        ("cards.glow.reflectance=10 %:90 %", 0.1, 0.9, "10 %"),
        ("props.cloth.layers=1:4", 1.0, 4.0, 1.0),
    ],
)
def test_range_reads(text, first, last, written):
    found = read_range(text)
    assert (found.first, found.last) == (pytest.approx(first), pytest.approx(last))
    assert found.write(found.first) == written


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("lamps.key.throw", "no range of a key"),
        ("throw=1m:2m", "no range of a key"),
        ("lamps.key.throw=3m", "no range"),
        ("lamps.key.throw=2m:3 deg", "not of one kind"),
        ("lamps.key.throw=2m:2000 mm", "both ends are the same"),
        ("lamps.key.throw=near:3m", "'near' is no quantity"),
    ],
)
def test_range_refuses(text, said):
    with pytest.raises(QuantityError) as wrong:
        read_range(text)
    assert said in str(wrong.value)
