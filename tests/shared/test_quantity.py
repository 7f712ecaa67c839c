"""Quantities as people write them: read, refused, and written back."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from brimcast.shared.exposure import F_NUMBERS
from brimcast.shared.quantity import KINDS, QuantityError, exact_f_number, parse, show

# Inch and foot: 25.4 mm and 304.8 mm (ISO 80000-3).
WRITTEN = [
    ("length", "65 mm", 65),
    ("length", "65mm", 65),
    ("length", "1.8 m", 1800),
    ("length", "1.8 M", 1800),
    ("length", ".5 m", 500),
    ("length", "12 cm", 120),
    ("length", "-120 mm", -120),
    ("length", "−120 mm", -120),
    ("length", "6 in", 152.4),
    ("length", '6"', 152.4),
    ("length", "1/2 in", 12.7),
    ("length", "2 1/2 in", 63.5),
    ("length", "2½ in", 63.5),
    ("length", "5 ft 6 in", 1676.4),
    ("length", "5′ 6″", 1676.4),
    ("length", "5'6\"", 1676.4),
    ("length", "-5 ft 6 in", -1676.4),
    ("length", "5 ft 6 1/2 in", 1689.1),
    ("angle", "35 deg", 35),
    ("angle", "35°", 35),
    ("angle", "-12.5 degrees", -12.5),
    ("azimuth", "10 o'clock", 120),
    ("azimuth", "10:30 o’clock", 135),
    ("azimuth", "6 o'clock", 0),
    ("azimuth", "9 o'clock", 90),
    ("azimuth", "12 o'clock", 180),
    ("azimuth", "3 o'clock", 270),
    ("azimuth", "12:30 o'clock", 195),
    ("azimuth", "-30 deg", 330),
    ("azimuth", "360 deg", 0),
    ("stops", "-1.3 stops", -1.3),
    ("stops", "1/3 stop", 1 / 3),
    ("stops", "+1 1/3 stops", 4 / 3),
    ("stops", "-2/3 stop", -2 / 3),
    ("stops", "⅔ stop", 2 / 3),
    ("stops", "-1⅓ stops", -4 / 3),
    ("stops", "0 stops", 0),
    ("temperature", "5600 K", 5600),
    ("temperature", "200 mired", 5000),
    ("mired", "80 mired", 80),
    ("mired", "-137 mired", -137),
    ("f_number", "f/11", 2**3.5),
    ("f_number", "F/5.6", 2**2.5),
    ("f_number", "ƒ/8", 8),
    ("f_number", "f/9.5", 9.5),
    ("time", "1/160 s", 0.00625),
    ("time", "1/8000s", 0.000125),
    ("time", "2 s", 2),
    ("time", "0.5 s", 0.5),
    ("abv", "40 % vol", 40),
    ("abv", "4.8%vol", 4.8),
    ("abv", "40 % ABV", 40),
    ("brix", "12 Brix", 12),
    ("beer_colour", "12.7 SRM", 12.7),
    ("beer_colour", "25 EBC", 12.7),
    ("fraction", "18 %", 0.18),
    ("fraction", "57%", 0.57),
    ("volume", "330 ml", 330),
    ("volume", "33 cl", 330),
    ("volume", "0.33 l", 330),
    ("wavelength", "587.6 nm", 587.6),
    ("illuminance", "500 lx", 500),
    ("light_exposure", "160 lx s", 160),
    ("light_exposure", "160 lx·s", 160),
    ("energy", "400 Ws", 400),
    ("energy", "400 J", 400),
    ("iso", "ISO 100", 100),
    ("iso", "iso64", 64),
    ("iso", "100", 100),
    ("iso", 100, 100),
    ("count", 12, 12),
    ("count", "12", 12),
    ("plain", 1.5, 1.5),
    ("plain", "-1e-3", -0.001),
    ("absorption", "0.2 /m", 0.0002),
    ("absorption", "0.01 /mm", 0.01),
    ("absorption", "0.01/mm", 0.01),
    ("absorption", "0.2 1/cm", 0.02),
    ("absorption", "2 1/cm", 0.2),
]


@pytest.mark.parametrize(("kind", "text", "value"), WRITTEN)
def test_written_quantity_is_read(kind, text, value):
    # Conversions are exact before the last rounding, so equality but for the literal's own.
    assert parse(text, kind) == pytest.approx(value, rel=1e-15, abs=0)


REFUSED = [
    ("length", 300, "300 has no unit; write it with one of mm, cm, m, in, ft, such as 300 mm"),
    ("length", "300", "300 has no unit; write it with one of mm, cm, m, in, ft, such as 300 mm"),
    ("length", 1.5, "1.5 has no unit"),
    ("time", "1/160", "1/160 has no unit; write it with s, such as 1/160 s"),
    ("fraction", 0.18, "0.18 has no unit; write it with %"),
    ("abv", "40 %", "use % vol"),
    ("length", "1,5 m", "1,5 m has a comma in the number; write a decimal point, as in 1.5 m"),
    ("length", "1,500 mm", "no mark between thousands"),
    ("length", "30 cn", "did you mean in or cm?"),
    ("angle", "35 dge", "did you mean deg?"),
    ("temperature", "5600 kelvins", "did you mean K?"),
    ("energy", "400 W", "did you mean Ws?"),
    ("angle", "10 o'clock", "unknown unit o'clock for angle; use deg"),
    ("azimuth", "13 o'clock", "from 1 to 12"),
    ("azimuth", "0:30 o'clock", "from 1 to 12"),
    ("azimuth", "10:75 o'clock", "is no azimuth"),
    ("azimuth", "10:30 deg", "is no azimuth"),
    ("length", "5 in 6 ft", "larger unit to the smaller"),
    ("length", "5 mm 6 mm", "larger unit to the smaller"),
    ("angle", "5 deg 6 deg", "is no angle"),
    ("f_number", "11", "11 has no f/ before it; write it like f/11"),
    ("f_number", 11, "no f/ before it"),
    ("f_number", "f11", "write it like f/11"),
    ("f_number", "f/0", "must be above 0"),
    ("f_number", "f/11 mm", "takes no unit"),
    ("iso", "ISO 100 K", "takes no unit"),
    ("iso", 0, "must be above 0"),
    ("iso", True, "True is no ISO speed"),
    ("count", False, "False is no count"),
    ("count", 1.5, "whole number"),
    ("length", None, "nothing is no length; write it like 150 mm"),
    ("length", " ", "nothing is no length"),
    ("length", ["65 mm"], "is no length"),
    ("length", float("nan"), "finite"),
    ("plain", float("inf"), "finite"),
    ("plain", ".nan", "is no number"),
    ("length", "nan mm", "is no length"),
    ("length", "inf mm", "is no length"),
    ("length", "mm", "is no length"),
    ("length", "65 mm.", "is no length"),
    ("length", "--65 mm", "is no length"),
    ("length", "9" * 500 + " mm", "is no length"),
    ("time", "1/0 s", "divides by zero"),
    ("time", "0 s", "must be above 0 s"),
    ("fraction", "180 %", "must be at least 0 % and at most 100 %"),
    ("fraction", "-1 %", "must be at least 0 %"),
    ("temperature", "-5 K", "must be above 0 K"),
    ("temperature", "0 mired", "above 0"),
]


@pytest.mark.parametrize(("kind", "text", "message"), REFUSED)
def test_what_cannot_be_read_is_refused_with_the_reason(kind, text, message):
    with pytest.raises(QuantityError) as refusal:
        parse(text, kind)
    assert message in str(refusal.value)


@pytest.mark.parametrize("kind", KINDS)
def test_the_example_of_every_kind_is_read_and_written_back_as_it_stands(kind):
    example = KINDS[kind].example
    assert show(parse(example, kind), kind) == example


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [
        ("length", 1800, "1800 mm"),
        ("length", 1234567.89, "1234568 mm"),
        ("length", 152.4, "152.4 mm"),
        ("time", 1 / 8000, "1/8000 s"),
        ("time", 0.3, "0.3 s"),
        ("stops", -4 / 3, "-1 1/3 stops"),
        ("stops", 1 / 3, "+1/3 stop"),
        ("stops", 1, "+1 stop"),
        ("stops", -1.3, "-1.3 stops"),
        ("stops", 0, "0 stops"),
        ("fraction", 0.18, "18 %"),
        ("f_number", 2**3.5, "f/11"),
        ("f_number", 13.2, "f/13.2"),
        ("azimuth", 359.9999999, "0 deg"),
        ("absorption", 1e-7, "0.0000001 /mm"),
        ("mired", -80, "-80 mired"),
        ("iso", 64, "ISO 64"),
    ],
)
def test_value_is_written_for_people(kind, value, text):
    assert show(value, kind) == text


@pytest.mark.parametrize(("kind", "value"), [("fraction", 1.2), ("time", 0), ("length", float("inf"))])
def test_value_out_of_range_is_not_written(kind, value):
    with pytest.raises(QuantityError):
        show(value, kind)


@st.composite
def kind_and_value(draw):
    kind = draw(st.sampled_from(sorted(KINDS)))
    if kind == "count":
        return kind, draw(st.integers(0, 10**9))
    rules = KINDS[kind]
    low = max(rules.low, -1e6)
    value = draw(st.floats(low, min(rules.high, 1e6), exclude_min=rules.above))
    # Only what `parse` can give: an exact f-number.
    return kind, exact_f_number(value) if kind == "f_number" else value


@given(kind_and_value())
def test_what_is_written_is_read_back(pair):
    """Six digits are kept, so the value comes back to half of the sixth."""
    kind, value = pair
    # Anything smaller needs more places than a text may have.
    assume(value == 0 or abs(value) > 1e-60)
    back = parse(show(value, kind), kind)
    if kind == "azimuth":
        value = value % 360
        assert min(abs(back - value), 360 - abs(back - value)) <= 5e-6 * 360
    elif kind == "f_number":
        # A number of the series to 1 in 10^5 is taken as the series' own.
        assert back == pytest.approx(value, rel=1.1e-5)
    else:
        assert back == pytest.approx(value, rel=5.1e-6)


@given(st.sampled_from(sorted(KINDS)), st.text("0123456789./+-:e,%' °msft/in", max_size=12))
def test_any_text_is_read_or_refused_but_never_breaks(kind, text):
    try:
        value = parse(text, kind)
    except QuantityError:
        return
    assert KINDS[kind].low <= value <= KINDS[kind].high


@given(st.sampled_from(sorted(F_NUMBERS)))
def test_marked_f_number_comes_back_as_marked(marked):
    assert show(parse(f"f/{marked:g}", "f_number"), "f_number") == f"f/{marked:g}"
