"""Measured distributions of LM-63: files written by the standard's rules, with candela one can work out."""

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.glow import ANGLES_DEG, PLANES
from brimcast.scene.ies import read_ies
from brimcast.shared.errors import PersonError

HEAD = "IESNA:LM-63-2002\n[TEST] none\n[MANUFAC] invented\n[LUMCAT] cone\nTILT=NONE\n"


def write(tmp_path, vertical, horizontal, values, head=HEAD, factor=1, kind=1, ballast="1 1"):
    """Write a file; `values` has one row for each horizontal angle."""
    counts = f"1 1000 {factor} {len(vertical)} {len(horizontal)} {kind} 2 0 0 0\n{ballast} 100\n"
    rows = [vertical, horizontal, *values]
    path = tmp_path / "beam.ies"
    path.write_text(head + counts + "\n".join(" ".join(map(str, row)) for row in rows) + "\n")
    return path


def test_symmetric_distribution_is_read_with_all_factors(tmp_path):
    """Candela = value x multiplier x ballast factor x ballast-lamp photometric factor (LM-63-2002)."""
    path = write(tmp_path, [0, 45, 90], [0], [[400, 200, 0]], factor=2.5, ballast="0.8 0.5")
    read = read_ies(path)
    assert read.axis_cd == pytest.approx(400)
    assert read.intensity_cd.shape == (1, 361)
    for angle, value in ((0, 400), (45, 200), (22.5, 300), (90, 0)):
        assert read.intensity_cd[0, ANGLES_DEG == angle] == pytest.approx(value)


@pytest.mark.parametrize(
    ("horizontal", "rows", "expected"),
    [
        ([0, 90], [1, 3], {0: 1, 90: 3, 180: 1, 270: 3, 45: 2, 315: 2}),
        ([0, 90, 180], [1, 3, 5], {0: 1, 90: 3, 180: 5, 270: 3}),
        ([90, 180, 270], [1, 3, 5], {90: 1, 180: 3, 270: 5, 0: 3, 45: 2}),
        ([0, 90, 180, 270, 360], [1, 3, 5, 7, 1], {0: 1, 90: 3, 180: 5, 270: 7, 225: 6, 315: 4}),
    ],
    ids=["quadrants", "sides alike", "front and back alike", "none alike"],
)
def test_symmetry_is_told_by_the_horizontal_angles(tmp_path, horizontal, rows, expected):
    """LM-63-2002: first and last horizontal angle of type C."""
    path = write(tmp_path, [0, 30, 90], horizontal, [[10, row, 0] for row in rows])
    read = read_ies(path)
    assert read.intensity_cd.shape == (PLANES, 361)
    assert read.axis_cd == pytest.approx(10)
    for turn, value in expected.items():
        found = read.intensity_cd[round(turn * PLANES / 360), ANGLES_DEG == 30]
        assert found == pytest.approx(value), turn


def test_tilt_commas_and_numbers_over_lines_are_read(tmp_path):
    head = "IESNA91\nTILT=INCLUDE\n1\n3\n0 45 90\n1.0 .95 .9\n"
    path = write(tmp_path, [0, 45, 90], [0], [[400, 200, 0]], head=head)
    path.write_text(path.read_text().replace("400 200", "400,\n200"))
    assert read_ies(path).intensity_cd[0, 180] == pytest.approx(200)


def test_light_that_goes_backward_is_told(tmp_path):
    """As much up as down: half."""
    assert read_ies(write(tmp_path, [0, 90, 180], [0], [[9, 9, 9]])).behind == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize(
    ("change", "line", "text"),
    [
        (("TILT=NONE\n", ""), 1, "no LM-63 file"),
        (("TILT=NONE", "TILT=lamp.tlt"), 5, "TILT=LAMP.TLT is not read"),
        (("1 1 2 0", "1 2 2 0"), 6, "photometric type B is not read; allowed: type C (1)"),
        (("400 200 0", "400 20x 0"), 10, "'20x' among candela values is no number"),
        (("400 200 0", "400 200"), 10, "ends before candela values are complete"),
        (("0 45 90", "0 45 30"), 8, "vertical angles must rise"),
        (("0 45 90", "0 45 60"), 9, "vertical angles run from 0 to 60 deg"),
        (("400 200 0", "1 900 0"), 10, "not a lamp that can be aimed"),
        (("400 200 0", "400 -2 0"), 10, "nowhere below"),
    ],
)
def test_faults_are_told_with_their_line(tmp_path, change, line, text):
    path = write(tmp_path, [0, 45, 90], [0], [[400, 200, 0]])
    path.write_text(path.read_text().replace(*change))
    with pytest.raises(PersonError) as caught:
        read_ies(path)
    (fault,) = caught.value.faults
    assert fault.file == str(path) and fault.line == line and text in fault.text


def test_distribution_of_a_diffuse_front_is_an_even_front(tmp_path):
    """Intensity by the cosine: radiance alike in every direction."""
    angles = np.arange(0, 91, 1.0)
    path = write(tmp_path, angles, [0], [np.round(1000 * np.cos(np.radians(angles)), 6)])
    (tmp_path / "set.yaml").write_text(f"brimcast: 1\nlamps: {{it: {{ies: {path.name}}}}}")
    glow = build(setfile.read(tmp_path / "set.yaml")).lamps[0].glow
    # Between two angles the file is read straight.
    np.testing.assert_allclose(glow.angles[0, ANGLES_DEG < 88], 1, atol=2e-3)


def test_changed_file_is_another_set(tmp_path):
    path = write(tmp_path, [0, 45, 90], [0], [[400, 200, 0]])
    (tmp_path / "set.yaml").write_text("brimcast: 1\nlamps: {it: {ies: beam.ies}}")
    before = setfile.digest(setfile.read(tmp_path / "set.yaml"))
    path.write_text(path.read_text().replace("200", "201"))
    assert setfile.digest(setfile.read(tmp_path / "set.yaml")) != before
