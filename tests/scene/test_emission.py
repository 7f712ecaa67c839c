"""Light of lamps and gels from words and files: what is read, what is refused, what counts as content."""

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.colourwords import GEL_FORMS, Density, Measured, describe_gel, read_colour, read_gel
from brimcast.scene.emission import band_shares, emit, light_of, pass_gels
from brimcast.scene.glassfiles import list_files
from brimcast.scene.readings import at_glass, read_lamp
from brimcast.shared import spectra
from brimcast.shared.bands import BAND_EDGES_NM, GRID_NM, band_means
from brimcast.shared.colour import adaptation, delta_e_2000, lab_from_xyz, xyz_from_bands, xyz_from_spectrum
from brimcast.shared.errors import PersonError
from brimcast.shared.gels import describe
from brimcast.shared.quantity import QuantityError

SET = "brimcast: 1\nlamps:\n  key: {%s}\ncamera: {white: %s}\n"


def set_of(lamp, white="5600 K"):
    return setfile.parse(SET % (lamp, white))


def write(path, wavelength_nm, value, title="wavelength nm,transmission\n"):
    rows = "".join(f"{w:g},{v:.6g}\n" for w, v in zip(wavelength_nm, value, strict=True))
    path.write_text(title + rows, encoding="utf-8")
    return path


@pytest.mark.parametrize("text", [text for text in GEL_FORMS if not text.endswith("csv")])
def test_words_of_a_gel_read_as_the_same_gel(text):
    gel = read_gel(text)
    again = read_gel(describe_gel(gel))
    assert type(again) is type(gel)
    assert again == pytest.approx(gel, rel=1e-3)
    assert read_gel(text.upper().replace("NM", "nm").replace("MIRED", "mired")) == gel


@pytest.mark.parametrize(
    "text", ["cooling", "cooling 80", "cooling -80 mired", "cooling 300 mired", "ND 0 stops", "530 nm",
             "530 %", "530 nm 96 %", "300 nm 50 %", "plus", "double CTO", "", 80, None, ["half CTO"]],
)  # fmt: skip
def test_what_is_no_gel_is_refused(text):
    with pytest.raises(QuantityError):
        read_gel(text)


@pytest.mark.parametrize(
    "text", ["5600", "flash", "LED", "moon", "LED 1500 K", "flash 3200 K", "high-CRI", 5600, None, ""]
)
def test_what_is_no_colour_of_a_lamp_is_refused(text):
    if text in ("flash", "LED"):
        assert emit(read_colour(text)).shape == (321,)
        return
    with pytest.raises(QuantityError):
        read_colour(text)


def test_flash_is_daylight_of_its_temperature():
    assert np.array_equal(emit(read_colour("flash 5800 K")), spectra.daylight(5800))
    assert np.array_equal(emit(read_colour("flash")), spectra.daylight(5600))


def test_faults_stand_at_their_key():
    for lamp, key in (
        ("gels: [half CTO, blue]", "lamps.key.gels.2"),
        ("gels: [absent.csv]", "lamps.key.gels.1"),
        ("colour: absent.csv", "lamps.key.colour"),
        ("gels: [complementary 470 nm 40 %]", "lamps.key.gels.1"),
    ):
        with pytest.raises(PersonError) as caught:
            build(set_of(lamp))
        assert [fault.key for fault in caught.value.faults] == [key]


def test_measured_files_are_found_beside_the_set_and_count_as_its_content(tmp_path):
    wavelength = np.arange(380, 701, 10)
    write(tmp_path / "lamp.csv", wavelength, 2 + np.sin(wavelength / 50), "Wavelength (nm),Power\n")
    write(tmp_path / "gel.csv", wavelength, 100 / (1 + np.exp((wavelength - 560) / 12)))
    path = tmp_path / "set.yaml"
    path.write_text(SET % ("colour: lamp.csv, gels: [gel.csv, ND 1 stop]", "5600 K"), encoding="utf-8")
    made = setfile.read(path)
    (lamp,) = build(made).lamps
    power = np.interp(GRID_NM, wavelength, 2 + np.sin(wavelength / 50))
    assert lamp.spectrum == pytest.approx(power / power.max(), rel=1e-5)
    share = np.interp(GRID_NM, wavelength, 1 / (1 + np.exp((wavelength - 560) / 12))) / 2
    assert lamp.gel_share == pytest.approx(np.maximum(share, 1e-6), rel=1e-4)
    assert lamp.gels == ("gel.csv", "ND 1 stop")
    assert [file.name for file in list_files(made)] == ["lamp.csv", "gel.csv"]
    before = setfile.digest(made)
    write(tmp_path / "gel.csv", wavelength, np.full(len(wavelength), 0.5))
    assert setfile.digest(setfile.read(path)) != before


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("", None, "at least 5"),
        ("nm,transmission\n400,0.5\n500,half\n", 3, "is not a wavelength in nm and a transmission"),
        ("400,0.5\n450,-0.1\n", 2, "from 0 up"),
        ("400,0.5\n450,nan\n", 2, "from 0 up"),
        ("\n".join(f"{w},0.5" for w in range(420, 701, 20)), None, "400-680 nm is needed"),
        ("\n".join(f"{w},0.5" for w in range(700, 379, -20)), None, "covers 700-380 nm"),
        ("\n".join(f"{w},{w}" for w in range(380, 701, 20)), None, "write shares from 0 to 1"),
    ],
)
def test_wrong_file_is_told_with_its_line(tmp_path, text, line, words):
    (tmp_path / "gel.csv").write_text(text, encoding="utf-8")
    with pytest.raises(PersonError) as caught:
        pass_gels((Measured("gel.csv"),), tmp_path)
    (fault,) = caught.value.faults
    assert fault.line == line and words in fault.text
    assert fault.file == str(tmp_path / "gel.csv")


HARD_GELS = ("complementary 530 nm 60 %", "complementary 550 nm 90 %", "530 nm 90 %", "620 nm 95 %",
             "470 nm 90 %", "full CTB", "full CTO", "half plus green")  # fmt: skip


@pytest.mark.parametrize("lamp", ["tungsten", "5600 K", "LED 5600 K", "high-CRI LED 3200 K"])
@pytest.mark.parametrize("gel", HARD_GELS)
def test_sixteen_bands_keep_what_a_gel_does_to_a_lamp(lamp, gel):
    """Against the whole spectrum: loss and CIEDE2000, adapted to the lamp, within what the code promises."""
    light, share = emit(read_colour(lamp)), pass_gels((read_gel(gel),))
    found = band_shares(share, light)
    assert (found >= share.min()).all() and (found <= share.max()).all()
    whole, left = xyz_from_spectrum(light), xyz_from_spectrum(light * share)
    in_bands, left_in_bands = (xyz_from_bands(band_means(light) * part) for part in (np.ones(16), found))
    assert np.log2(left_in_bands[1] / in_bands[1]) == pytest.approx(np.log2(left[1] / whole[1]), abs=0.03)
    labs = [
        lab_from_xyz(adaptation(white) @ (seen / white[1]))
        for white, seen in ((whole, left), (in_bands, left_in_bands))
    ]
    assert delta_e_2000(*labs) < 1.2


def test_share_of_a_band_lies_between_those_in_it():
    share = pass_gels((read_gel("610 nm 80 %"),))
    found = band_shares(share, emit(read_colour("LED 4000 K")))
    for band, (low, high) in enumerate(zip(BAND_EDGES_NM, BAND_EDGES_NM[1:], strict=False)):
        here = share[(GRID_NM >= low) & (GRID_NM <= high)]
        assert here.min() <= found[band] <= here.max()


def test_line_takes_the_share_at_its_wavelength():
    share = pass_gels((read_gel("530 nm 80 %"),))
    by_lamp = band_shares(share, None, 587.6)
    assert by_lamp[10] == pytest.approx(np.interp(587.6, GRID_NM, share))
    # Stored, a line is a spectrum of two neighbours on the grid, which the observer sees nearly alike.
    stored = band_shares(share, light_of(None, 587.6))
    assert stored[10] == pytest.approx(by_lamp[10], rel=1e-3)
    (lamp,) = build(set_of("colour: 587.6 nm, gels: [530 nm 80 %]")).lamps
    assert lamp.passed == pytest.approx(by_lamp[10])


def test_gel_leaves_the_reading_and_the_balance_of_lamps_alone():
    """A reading, or one unit at the datum, is taken with gels off; the gel costs its stops after that."""
    reading = ", reading: {f_number: f/11, distance: 1 m, receptor: flat}"
    for more in ("", reading):
        (bare,) = build(set_of("power: -1 stop" + more)).lamps
        (gelled,) = build(set_of("power: -1 stop, gels: [ND 2 stops]" + more)).lamps
        assert gelled.luminance == bare.luminance
        assert gelled.passed == pytest.approx(0.25)
        assert bare.passed == pytest.approx(1)
    assert np.array_equal(bare.gel, np.ones(16))


def test_meter_before_a_gelled_lamp_shows_its_loss():
    """`brimcast expose` reads lamps as they stand, gels on."""
    bare, gelled = (build(set_of(lamp)) for lamp in ("", "gels: [full CTB, ND 1 stop]"))
    lights = [read_lamp(built, built.lamps[0], at_glass(built)) for built in (bare, gelled)]
    lost = describe(gelled.lamps[0].spectrum, gelled.lamps[0].gel_share)["loss_stops"]
    assert np.log2(lights[0] / lights[1]) == pytest.approx(lost, abs=0.01)


def test_digest_tells_gels_apart():
    gels = ("cooling 80 mired", "warming 80 mired", "ND 1 stop", "full plus green", "530 nm 60 %")
    digests = {setfile.digest(set_of(f"gels: [{gel}]")) for gel in gels} | {setfile.digest(set_of(""))}
    assert len(digests) == len(gels) + 1
    assert read_gel("ND 1 stop") == Density(1.0)


def test_white_names_a_card_or_meter_of_the_set():
    for white, text in (("grey", "no card or meter called 'grey'"), ("5600", "has no unit")):
        with pytest.raises(PersonError) as caught:
            set_of("", white)
        (fault,) = caught.value.faults
        assert fault.key == "camera.white" and text in fault.text
    made = setfile.parse((SET % ("", "grey")) + "cards: {grey: {at: [0 mm, 90 mm, 50 mm], facing: camera}}\n")
    built = build(made)
    assert built.camera.white == "grey" and [meter.name for meter in built.meters] == ["grey"]
    assert built.meters[0].normal == pytest.approx(-np.array([0, 1, 0]), abs=0.3)
    assert build(set_of("", "as shot")).camera.white == "as shot"


def test_bands_of_no_light_take_the_plain_mean():
    share = pass_gels((read_gel("610 nm 80 %"),))
    dark = np.where(GRID_NM < 500, 0.0, 1.0)
    assert band_shares(share, dark)[:5] == pytest.approx(band_means(share)[:5])
