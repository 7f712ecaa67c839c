"""Measured tables: what they say, and what is wrong with them, told by file and line."""

import numpy as np
import pytest

from brimcast.scene.transmissions import read_absorption
from brimcast.shared.bands import GRID_NM
from brimcast.shared.errors import PersonError

NM = np.arange(380, 701, 10)
PASSED = 0.2 + 0.7 * (NM - 380) / 320


def _write(path, head, values, mark=","):
    lines = [head, *(f"{nm:g}{mark}{value}" for nm, value in zip(NM, values, strict=True))]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_transmission_follows_beer_and_lambert(tmp_path):
    """published_values.yaml#absorption/beer_lambert: T = exp(-a x)."""
    path = _write(tmp_path / "tea.csv", "wavelength nm,transmission %", np.round(100 * PASSED, 6))
    absorption = read_absorption(path, 20.0)
    assert np.exp(-20 * np.interp(NM, GRID_NM, absorption)) == pytest.approx(PASSED, rel=1e-6)
    assert read_absorption(path, 10.0) == pytest.approx(2 * absorption)


@pytest.mark.parametrize(
    ("head", "values", "mark"),
    [
        (
            "Wavelength (nm);Transmission (%)",
            [f"{100 * value:.4f}".replace(".", ",") for value in PASSED],
            ";",
        ),
        ("wavelength\ttransmittance", np.round(PASSED, 6), "\t"),
        ("wavelength nm,absorbance", np.round(-np.log10(PASSED), 7), ","),
        ("# scan of a Tuesday\nwavelength,transmittance %", np.round(100 * PASSED, 4), ","),
    ],
)
def test_every_way_of_writing_says_the_same(tmp_path, head, values, mark):
    got = read_absorption(_write(tmp_path / "scan.csv", head, values, mark), 10.0)
    assert np.exp(-10 * np.interp(NM, GRID_NM, got)) == pytest.approx(PASSED, rel=1e-5)


def test_no_light_at_all_stays_a_number(tmp_path):
    path = _write(tmp_path / "ink.csv", "wavelength nm,transmission %", 0 * NM)
    assert read_absorption(path, 10.0) == pytest.approx(np.full(321, np.log(1e4) / 10))


HEAD = "wavelength nm,transmission %\n"
WHOLE = "".join(f"{nm},50\n" for nm in range(380, 701, 20))


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (HEAD + WHOLE.replace("500,50", "500,"), 8, "a gap: transmission is missing"),
        (HEAD + WHOLE.replace("500,50", "500"), 8, "a gap: transmission is missing"),
        (HEAD + WHOLE.replace("500,50", "500,nan"), 8, "a gap: transmission is nan"),
        (HEAD + WHOLE.replace("500,50\n", ""), 8, "a gap from 480 to 520 nm; allowed: steps of up to 20 nm"),
        (HEAD + WHOLE.replace("500,50", "460,50"), 8, "460 nm does not follow 480 nm"),
        (HEAD + WHOLE.replace("500,50", "500,104"), 8, "transmission 104; allowed: 0 to 100"),
        (HEAD + WHOLE.replace("500,50", "500,-3"), 8, "transmission -3; allowed: 0 to 100"),
        (HEAD + WHOLE.replace("500,50", "500,half"), 8, "transmission: 'half' is not a number"),
        (
            "wavelength nm,absorbance\n" + WHOLE.replace("500,50", "500,-0.1"),
            8,
            "absorbance -0.1; allowed: 0 or",
        ),
        (HEAD + WHOLE[14:], 2, "a gap: the table starts at 420 nm; allowed: 400 to 680 nm at least"),
        (HEAD + WHOLE[:-14], 16, "a gap: the table ends at 660 nm"),
        ("nm,T\n" + WHOLE, 1, "the columns are 'nm', 'T'; allowed: 'wavelength nm' and 'transmission %'"),
        (HEAD, None, "has 0 lines of numbers"),
        ("", None, "is empty"),
    ],
)
def test_fault_names_file_and_line(tmp_path, text, line, words):
    path = tmp_path / "scan.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PersonError) as caught:
        read_absorption(path, 10.0)
    (fault,) = caught.value.faults
    assert fault.file == str(path) and fault.line == line and words in fault.text
