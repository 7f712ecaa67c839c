"""Labels and prints on glasses: colours, where they lie, what is wrong with them."""

import colour
import numpy as np
import pytest
from PIL import Image

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.prints import read_print, reflect_colour
from brimcast.shared.bands import band_means
from brimcast.shared.colour import BAND_XYZ
from brimcast.shared.errors import PersonError
from brimcast.shared.spectra import daylight
from brimcast.vessels.mesh import check


def _build(folder, label, glass="vessel: tumbler"):
    path = folder / "set.yaml"
    path.write_text(
        f"brimcast: 1\nglasses:\n  hero: {{{glass}, labels: [{{{label}}}]}}\nlamps:\n  key: {{}}\n"
    )
    return build(setfile.read(path), 0.5)


@pytest.fixture
def picture(tmp_path):
    """A picture of 40 x 20: red over its left half, blue below right, clear above right."""
    pixels = np.zeros((20, 40, 4), np.uint8)
    pixels[:, :20] = 255, 0, 0, 255
    pixels[10:, 20:] = 0, 0, 255, 255
    Image.fromarray(pixels).save(tmp_path / "label.png")
    return tmp_path


def test_colours_of_a_screen_come_back_from_paper():
    """XYZ in D65 by colour-science, which knows IEC 61966-2-1; 0.004 is what 16 bands leave of the white."""
    screen = np.random.default_rng(1).random((50, 3))
    light = band_means(daylight(6504.0))
    reflected = reflect_colour(screen)
    assert reflected.min() >= 0 and reflected.max() <= 1
    xyz = (reflected * light) @ BAND_XYZ / (light @ BAND_XYZ[:, 1])
    wanted = colour.RGB_to_XYZ(screen, "sRGB", apply_cctf_decoding=False)
    assert np.abs(xyz - wanted).max() < 0.004
    assert reflect_colour([0.4, 0.4, 0.4]) == pytest.approx(np.full(16, 0.4))


def test_picture_reads_upward_and_bare_glass_shows_where_it_is_clear(picture):
    paper = read_print(picture / "label.png", (40.0, 20.0), ink=False)
    assert paper.reflectance.shape == (20, 40, 16)
    low, high = paper.reflectance[2, 30], paper.reflectance[17, 30]
    assert low[:3].min() > 0.9 and low[-5:].max() < 0.05 and (high == 0).all()
    assert (paper.through[17, 30] == 1).all() and not paper.through[2].any()
    ink = read_print(picture / "label.png", (40.0, 20.0), ink=True)
    assert not ink.reflectance.any()
    assert ink.through[2, 5, -4:].min() > 0.95 and 0 < ink.through[2, 5, :3].max() < 0.05


def test_label_has_the_proportions_of_its_picture(picture):
    sheet = _build(picture, "from: 20 mm, to: 50 mm, picture: label.png, facing: 90 deg").panels[-1]
    check(sheet.mesh, closed=False)
    assert sheet.name == "hero label" and sheet.size_mm == pytest.approx((60, 30), rel=1e-4)
    middle = sheet.mesh.vertices_mm.mean(axis=0)
    assert middle[0] < -25 and abs(middle[1]) < 0.5 and middle[2] == pytest.approx(35.02)


def test_label_on_a_sloping_wall_is_as_wide_as_the_wall_goes(tmp_path):
    """The area of a cone's frustum, pi (r + R) s."""
    outline = "vessel: {outline: [[0 mm, 50 mm], [100 mm, 90 mm]], wall: 2 mm}"
    sheet = _build(tmp_path, "from: 20 mm, to: 70 mm", outline).panels[-1]
    low, high = 29 + 0.05, 39 + 0.05
    slant = np.hypot(50, 10)
    assert sheet.mesh.area_mm2 == pytest.approx(np.pi * (low + high) * slant, rel=1e-3)
    assert np.interp([0, slant], *sheet.widths.T) == pytest.approx([low / 34.05, high / 34.05], rel=1e-3)
    assert sheet.size_mm[0] == pytest.approx(2 * np.pi * 34.05, rel=1e-3)


def test_can_takes_a_label(tmp_path):
    sheet = _build(tmp_path, "from: 40 mm, to: 80 mm", "vessel: can").panels[-1]
    assert sheet.size_mm[1] == pytest.approx(40)


@pytest.mark.parametrize(
    ("label", "key", "text"),
    [
        ("from: 20 mm, to: 50 mm, picture: none.png", "labels.1.picture", "there is no file 'none.png'"),
        ("from: 20 mm, to: 50 mm, picture: set.yaml", "labels.1.picture", "cannot be read as a picture"),
        ("from: 20 mm, to: 50 mm, width: 300 mm", "labels.1.width", "once round the glass is 220.2 mm"),
        ("from: 20 mm, to: 500 mm", "labels.1", "below the rim"),
        ("from: 20 mm, to: 50 mm, kind: ink", "labels.1.kind", "ink needs a picture"),
    ],
)
def test_fault_names_its_place(tmp_path, label, key, text):
    with pytest.raises(PersonError) as caught:
        _build(tmp_path, label)
    (fault,) = caught.value.faults
    assert fault.key == f"glasses.hero.{key}" and fault.line == 3 and text in fault.text


def test_another_picture_is_another_set(picture):
    def digest():
        _build(picture, "from: 20 mm, to: 50 mm, picture: label.png")
        return setfile.digest(setfile.read(picture / "set.yaml"))

    before = digest()
    Image.new("RGB", (40, 20), "red").save(picture / "label.png")
    assert digest() != before
