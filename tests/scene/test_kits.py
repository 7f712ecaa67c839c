"""The kit file: heads and modifiers by name, faults with their places, and what is warned of."""

import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.lamps import even_grid, irradiance_factor, spread_points
from brimcast.shared.errors import PersonError
from brimcast.shared.spectra import from_temperature

KIT = """\
brimcast-kit: 1
heads:
  mono:
    range: 6 stops
    flash:
      front: {kind: ring, diameter: 60 mm, tube: 8 mm}
      colour: 5500 K
      readings:
        bare: {f_number: f/11, distance: 1 m, receptor: flat}
        zoom: {f_number: f/22, distance: 1 m, receptor: flat}
    modelling:
      front: {kind: bulb, diameter: 14 mm}
      colour: 3000 K
      behind: 20 mm
  steady:
    modelling: {front: {kind: led}}
modifiers:
  zoom: {kind: reflector, diameter: 180 mm, beam: 65 deg}
  comb: {kind: reflector, diameter: 180 mm, grid: 20 deg}
"""


@pytest.fixture
def read(tmp_path):
    """Return a function that builds a set of lamps with the kit."""

    def run(lamps, kit=KIT):
        (tmp_path / "kit.yaml").write_text(kit, encoding="utf-8")
        path = tmp_path / "set.yaml"
        path.write_text(f"brimcast: 1\nkit: kit.yaml\nlamps:\n{lamps}", encoding="utf-8")
        return build(setfile.read(path))

    return run


def faults_of(read, lamps, kit=KIT):
    with pytest.raises(PersonError) as caught:
        read(lamps, kit)
    return [str(fault).rpartition("/")[2] for fault in caught.value.faults]


def test_head_is_its_flash_tube_with_its_colour_and_reading(read):
    built = read("  key: {head: mono, power: -2 stops, throw: 2 m}\n")
    (key,) = built.lamps
    assert (key.kind, key.size_mm, key.throw_mm) == ("ring", (52, 8), 2000)
    assert (key.spectrum == from_temperature(5500)).all()
    assert key.scale == key.luminance / 4 and not built.relative


def test_modifier_takes_the_place_of_the_tube_and_has_its_own_reading(read):
    bare, zoom = read("  a: {head: mono}\n  b: {head: mono, modifier: zoom}\n").lamps
    assert (zoom.kind, zoom.size_mm) == ("disc", (180, 180))
    # f/22 is two stops more light on the axis at 1 m than f/11.
    assert light_at_1_m(zoom) / light_at_1_m(bare) == pytest.approx(4, rel=1e-3)


def light_at_1_m(lamp):
    place = lamp.centre_mm + 1000 * lamp.facing
    points = spread_points(lamp, even_grid(65536), place, 1.0)
    return lamp.luminance * irradiance_factor(points, place, -lamp.facing)


def test_modelling_lamp_is_another_source_in_another_place(read):
    reading = "reading: {f_number: f/8, distance: 1 m, receptor: dome}"
    flash, modelling = read(
        f"  a: {{head: mono, {reading}}}\n  b: {{head: mono, use: modelling, {reading}}}\n"
    ).lamps
    assert (modelling.kind, modelling.size_mm) == ("bulb", (14, 14))
    assert (flash.centre_mm - modelling.centre_mm) @ flash.facing == pytest.approx(20)
    assert (modelling.spectrum == from_temperature(3000)).all()


def test_set_overrides_colour_and_reading(read):
    (key,) = read("  key: {head: mono, modifier: comb, colour: 4000 K}\n").lamps
    assert (key.spectrum == from_temperature(4000)).all() and not key.calibrated


def test_difference_of_flash_and_modelling_lamp_is_warned_of(read):
    notes = read("  key: {head: mono}\n  zoom: {head: mono, modifier: zoom}\n").notes
    assert len(notes) == 3
    assert "ring 60 mm, 20 mm in front" in notes[0] and "bulb 14 mm" in notes[0] and "4.3 times" in notes[0]
    assert notes[1].startswith("key: the flash has 5500 K, its modelling lamp 3000 K, 152 mired")
    assert notes[2].startswith("zoom: the flash has 5500 K")
    assert read("  key: {head: steady, use: modelling}\n").notes == ()


@pytest.mark.parametrize(
    ("lamp", "fault"),
    [
        (
            "{head: mono, power: -7 stops}",
            "set.yaml:4:27: lamps.it.power: -7 stops is out of range of head 'mono'; "
            "allowed: at least -6 stops, by kit.yaml",
        ),
        (
            "{head: momo}",
            "set.yaml:4:14: lamps.it.head: kit.yaml has no head called 'momo'; did you mean 'mono'? "
            "allowed: 'mono' or 'steady'",
        ),
        (
            "{head: mono, modifier: snout}",
            "set.yaml:4:30: lamps.it.modifier: kit.yaml has no modifier called 'snout'; "
            "allowed: 'zoom' or 'comb'",
        ),
        (
            "{head: steady}",
            "set.yaml:4:8: lamps.it.use: head 'steady' has no flash source; the kit has its modelling alone",
        ),
        ("{head: mono, doors: {}}", "set.yaml:4:21: lamps.it.doors: a ring has no flat front; take them off"),
    ],
)
def test_lamp_that_the_kit_cannot_be_is_refused(read, lamp, fault):
    found = faults_of(read, f"  it: {lamp}\n")
    assert [text for text in found if "lamps.it" in text] == found
    assert found[0].startswith(fault.partition(": ")[0].rsplit(":", 1)[0])
    assert found[0].partition(": ")[2] == fault.partition(": ")[2]


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (("range: 6 stops", "range: 6"), "kit.yaml:4:12: heads.mono.range: 6 has no unit"),
        (("tube: 8 mm", "tube: 30 mm"), "kit.yaml:6:50: heads.mono.flash.front.tube: 30 mm leaves no ring"),
        (("zoom: {f_", "zom: {f_"), "kit.yaml:10:9: heads.mono.flash.readings.zom: there is no modifier"),
        (("beam: 65 deg", "beem: 65 deg"), "kit.yaml:18:45: modifiers.zoom.beem: unknown key"),
        (("brimcast-kit: 1", "brimcast-kit: 2"), "kit.yaml:1:15: brimcast-kit: 2 is not allowed"),
        (("kind: led", "kind: lead"), "kit.yaml:16:31: heads.steady.modelling.front.kind: 'lead' is not"),
    ],
)
def test_faults_of_the_kit_have_their_place_in_it(read, change, fault):
    found = faults_of(read, "  it: {head: mono}\n", KIT.replace(*change))
    assert len(found) == 1 and found[0].startswith(fault), found


def test_kit_that_is_not_there_is_told(read, tmp_path):
    (tmp_path / "alone.yaml").write_text("brimcast: 1\nkit: nokit.yaml\nlamps: {it: {head: mono}}")
    with pytest.raises(PersonError, match="there is no file 'nokit.yaml'"):
        build(setfile.read(tmp_path / "alone.yaml"))
    (tmp_path / "alone.yaml").write_text("brimcast: 1\nlamps: {it: {head: mono}}")
    with pytest.raises(PersonError, match="the set names none"):
        build(setfile.read(tmp_path / "alone.yaml"))


def test_lamp_without_a_reading_beside_one_with_is_told(read):
    (text,) = faults_of(read, "  a: {head: mono}\n  b: {head: mono, modifier: comb}\n")
    assert "lamps.b.reading: missing: lamp 'a' has a reading" in text


def test_changed_kit_is_another_set(read, tmp_path):
    read("  it: {head: mono}\n")
    before = setfile.digest(setfile.read(tmp_path / "set.yaml"))
    (tmp_path / "kit.yaml").write_text(KIT.replace("60 mm", "61 mm"))
    assert setfile.digest(setfile.read(tmp_path / "set.yaml")) != before
