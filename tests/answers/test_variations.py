"""Ranges as people write them: the values they make, and what is refused in one line."""

import pytest

from brimcast.renders.answers.variations import (
    check_variants,
    list_variants,
    read_variation,
    steady_changes,
)
from brimcast.scene import setfile
from brimcast.shared.errors import Fault, PersonError
from brimcast.shared.quantity import as_written

TWO_LAMPS = """
brimcast: 1
props: {ball: {shape: ball, diameter: 20 mm, material: soda-lime}}
lamps:
  key: {kind: disc, diameter: 10 mm, power: -1 stop}
  fill: {kind: disc, diameter: 10 mm, throw: 1 m, power: -3 stops}
camera: {iso: 200, white: 4000 K, f_number: f/8}
"""


@pytest.mark.parametrize(
    ("given", "texts"),
    [
        ("lamps.key.throw=0.6m:3m:5", ("0.6 m", "1.2 m", "1.8 m", "2.4 m", "3 m")),
        ("k=3 m:60 cm:3", ("3 m", "1.8 m", "0.6 m")),
        ("k=5 ft 6 in:8 ft:3", ("66 in", "81 in", "96 in")),
        ("k=20 deg:60deg:3", ("20 deg", "40 deg", "60 deg")),
        ("k=0 deg:360 deg:5", ("0 deg", "90 deg", "180 deg", "270 deg", "360 deg")),
        # On the plan clockwise, past noon.
        ("k=10 o'clock:2 o'clock:5", ("10 o'clock", "11 o'clock", "12 o'clock", "1 o'clock", "2 o'clock")),
        ("k=10:30 o'clock:1:30 o'clock:4", ("10.5 o'clock", "11.5 o'clock", "12.5 o'clock", "1.5 o'clock")),
        ("k=-1 stop:0 stops:4", ("-1 stop", "-2/3 stop", "-1/3 stop", "0 stops")),
        # By the definition of a stop: a factor of the root of two in f-number, of two in time and speed.
        ("k=f/5.6:f/16:4", ("f/5.6", "f/8", "f/11", "f/16")),
        ("k=1/1000 s:1/125 s:4", ("1/1000 s", "1/500 s", "1/250 s", "1/125 s")),
        ("k=ISO 100:ISO 400:3", ("ISO 100", "ISO 200", "ISO 400")),
        ("k=5600 K:3200 K:3", ("5600 K", "4400 K", "3200 K")),
        ("k=100 mired:300 mired:3", ("100 mired", "200 mired", "300 mired")),
        ("k=0 % vol:40 % vol:3", ("0 % vol", "20 % vol", "40 % vol")),
        ("k=10 Brix:20 Brix:3", ("10 Brix", "15 Brix", "20 Brix")),
        ("k=100:300:3", ("100", "200", "300")),
        ("k=highball, pint", ("highball", "pint")),
        ("k=[0 mm, 5 mm],[1 mm, 5 mm]", ("[0 mm, 5 mm]", "[1 mm, 5 mm]")),
    ],
)
def test_values_stand_as_in_a_set_file(given, texts):
    assert read_variation(given).texts == texts


def test_numbers_go_with_the_unit_that_was_written():
    assert read_variation("k=60 cm:3 m:3").numbers == (60, 180, 300)
    listed = read_variation("k=1 m,2 m,4 m")
    assert (listed.numbers, listed.unit) == ((1, 2, 4), "m")
    assert read_variation("k=1 m,40 cm").numbers is None
    assert read_variation("k=highball,pint").numbers is None


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ("lamps.key.throw", "not KEY=LOW:HIGH:COUNT"),
        ("=1m:2m:3", "not KEY=LOW:HIGH:COUNT"),
        ("k=1m", "no range LOW:HIGH:COUNT and no values with commas"),
        ("k=1m:2m", "no range"),
        ("k=1m:2m:some", "no range"),
        ("k=1m:1000mm:4", "LOW and HIGH are the same, 1m"),
        ("k=1m:2m:1", "1 steps are not allowed; allowed: 2 to 1000"),
        ("k=1m:2m:1001", "1001 steps are not allowed"),
        ("k=1m:20 deg:4", "1m and 20 deg are not two quantities of one kind"),
        ("k=0.6:3m:4", "0.6 and 3m are not two quantities of one kind"),
        ("k=highball:pint:3", "highball and pint are not two quantities"),
        ("k=2000 K:500 mired:3", "two units"),
        ("k=1m,,2m", "a value is empty"),
        ("k=1m,2m,1m", "1m is given twice"),
    ],
)
def test_what_is_no_range_is_told_in_one_line_with_the_option(given, told, only_fault):
    text = str(only_fault(lambda: read_variation(given)))
    assert text.startswith("--vary ") and told in text and "\n" not in text


def test_grid_runs_along_the_first_variation():
    found = list_variants([read_variation("a=1m:3m:3"), read_variation("b=x,y")])
    assert [variant.places for variant in found] == [(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1)]
    assert found[4].changes == {"a": "2 m", "b": "y"}


def test_grids_too_large_or_doubled_are_refused(only_fault):
    wide = read_variation("a=1m:2m:100")
    assert "1100 variants" in str(only_fault(lambda: list_variants([wide, read_variation("b=1m:2m:11")])))
    assert "given twice" in str(only_fault(lambda: list_variants([wide, wide])))
    assert "one key or two" in str(only_fault(lambda: list_variants([wide] * 3)))


def check_text(variations):
    """Return the faults of a set's variants."""
    with pytest.raises(PersonError) as caught:
        list(
            check_variants(
                list_variants([read_variation(text) for text in variations]),
                lambda variant: setfile.parse(TWO_LAMPS, "set.yaml", variant.changes),
            )
        )
    return [str(fault) for fault in caught.value.faults]


def test_faults_of_all_variants_are_told_once():
    (wrong,) = check_text(["lamps.key.throw=20 deg:60 deg:5"])
    assert wrong.startswith("--vary lamps.key.throw=20 deg: ") and "unknown unit deg for length" in wrong
    assert wrong.endswith("(and 4 more values)")
    # Only the last is beyond the highest elevation.
    (wrong,) = check_text(["lamps.key.elevation=80 deg:100 deg:3", "lamps.fill.throw=1m:2m:2"])
    assert wrong.startswith("--vary lamps.key.elevation=100 deg: ") and "more" not in wrong


def test_unknown_keys_are_told_with_their_neighbour():
    (wrong,) = check_text(["lamps.kye.throw=1m:2m:3"])
    assert wrong.startswith("--vary lamps.kye.throw=1 m: ") and "did you mean 'key'?" in wrong
    first, second = check_text(["lamps.key.thro=1m:2m:3", "props.ball.diameter=1 deg,2 deg"])
    assert "did you mean 'throw'?" in first + second and "unknown unit deg" in first + second


def test_fault_at_another_key_names_the_variant():
    def check(variant):
        raise PersonError(Fault("set.yaml", 3, 1, "cards.white", "stands in the lamp"))

    variants = list_variants([read_variation("lamps.key.throw=1m:2m:3")])
    with pytest.raises(PersonError) as caught:
        list(check_variants(variants, check))
    text = str(caught.value)
    assert text == "--vary lamps.key.throw=1 m: cards.white: stands in the lamp (and 2 more values)"


def test_steady_sets_differ_in_nothing_that_rays_know():
    base = setfile.parse(TWO_LAMPS, "set.yaml")
    other = {"lamps.key.power": "-2 stops", "camera.iso": "ISO 400", "camera.white": "5000 K"}

    def trace(changes, picture):
        varied = setfile.parse(TWO_LAMPS, "set.yaml", changes)
        return setfile.parse(TWO_LAMPS, "set.yaml", changes | steady_changes(varied, base, picture))

    for picture in (False, True):
        digests = {setfile.digest(trace(changes, picture)) for changes in ({}, other)}
        assert len(digests) == 1
    assert trace(other, True).lamps["fill"].power_stops == -3
    # The opening of the lens makes blur, so only a map does without it.
    stopped = [setfile.digest(trace({"camera.f_number": "f/16"}, picture)) for picture in (False, True)]
    open_ = [setfile.digest(trace({}, picture)) for picture in (False, True)]
    assert stopped[0] == open_[0] and stopped[1] != open_[1]
    gelled = trace({"lamps.key.gels": "[full CTO]"}, False)
    assert setfile.digest(gelled) != open_[0]


@pytest.mark.parametrize(
    ("text", "kind", "number", "unit"),
    [
        ("1.8 m", "length", 1.8, "m"),
        ("-5 ft 6 in", "length", -66, "in"),
        ("370°", "azimuth", 370, "deg"),
        ("10:30 o'clock", "azimuth", 10.5, "o'clock"),
        ("18 %", "fraction", 18, "%"),
        ("200 mired", "temperature", 200, "mired"),
        ("f/11", "f_number", 2**3.5, ""),
        ("12", "count", 12, ""),
    ],
)
def test_numbers_as_written(text, kind, number, unit):
    found = as_written(text, kind)
    assert found[0] == pytest.approx(number) and found[1] == unit
