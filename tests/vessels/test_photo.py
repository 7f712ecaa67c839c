"""Glasses traced in pictures whose outline is known.

The pictures are drawn by an exact pinhole projection of the turned body, the union of its circles'
projections (shapely), and have glass-like tones; one is taken by our own camera.
"""

from functools import cache

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw
from scipy.ndimage import distance_transform_edt, gaussian_filter

from brimcast.shared.errors import PersonError
from brimcast.vessels.hull import FAR_MM, Silhouette, find_profile
from brimcast.vessels.library import vessel
from brimcast.vessels.photo import Ask, draw_overlay, trace
from brimcast.vessels.vesselfile import read_vessel, write_file

DISTANCE_MM, FOCAL_PX, SIZE = 900.0, 2500.0, (400, 600)
FINE = 3  # the drawing is made this many times as fine
MIDDLE_MM = {"highball": 75.0, "tasting": 77.5, "rocks": 46.0}


@cache
def _edge(name, distance_mm, eye_mm, focal_px, aside_mm):
    """Return the edge of a glass of the library; see `see`."""
    around = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    rings = []
    for radius, height in vessel(name).outer.densified(2.0).points_mm[::2]:
        away = distance_mm + radius * np.sin(around)
        across = aside_mm + radius * np.cos(around)
        rings.append(focal_px * np.stack([across / away, (eye_mm - height) / away], axis=1))
    pairs = zip(rings[:-1], rings[1:], strict=True)
    hulls = [shapely.MultiPoint(np.concatenate(pair)).convex_hull for pair in pairs]
    return np.array(shapely.unary_union(hulls).exterior.coords)[:-1]


def see(glass, distance_mm=DISTANCE_MM, eye_mm=75.0, focal_px=FOCAL_PX, aside_mm=0.0):
    """Return the edge (n, 2), x right and y down in pixels, of a glass before a level pinhole camera."""
    return _edge(glass.name, distance_mm, eye_mm, focal_px, aside_mm).copy()


def draw(edges, tone="bright", lean_deg=0.0, gradient=0.0, noise=0.0, size=SIZE, focal_px=FOCAL_PX):
    """Return a picture (h, w, 3) uint8 of things with these edges: bright field, dark field, or black."""
    width, height = size
    angle = np.radians(lean_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    canvas = Image.new("L", (width * FINE, height * FINE))
    for edge in edges:
        at = (edge @ turn + np.array(size) / 2) * FINE - 0.5
        ImageDraw.Draw(canvas).polygon([tuple(point) for point in at], fill=1)
    inside = np.asarray(canvas).astype(bool)
    depth_mm = inside + 0.0
    if tone != "black":
        depth_mm = distance_transform_edt(inside) / FINE * DISTANCE_MM / focal_px
    ground = {"bright": 0.75, "black": 0.75, "lit": 0.01}[tone]
    glass = {
        "bright": ground * (0.93 - 0.85 * np.exp(-depth_mm / 1.5)),
        "black": np.full(depth_mm.shape, 0.03),
        "lit": 0.02 + 0.6 * np.exp(-depth_mm / 1.5),
    }[tone]
    light = np.where(inside, glass, ground).reshape(height, FINE, width, FINE).mean(axis=(1, 3))
    x, y = np.meshgrid(np.linspace(-0.5, 0.5, width), np.linspace(-0.5, 0.5, height))
    light = gaussian_filter(light * (1 + gradient * (x + 0.5 * y + x * y - y * y)), 0.8)
    grain = np.random.default_rng(5).standard_normal((height, width, 3))
    linear = np.clip(light[..., None] * [1.0, 0.97, 0.92] + noise * grain, 0, 1)
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.uint8(255 * code + 0.5)


@pytest.fixture
def save(tmp_path):
    """Return a function that writes a picture and returns its path."""

    def write(picture, name="glass.png"):
        Image.fromarray(picture).save(tmp_path / name)
        return tmp_path / name

    return write


def true_diameters(glass, heights_mm):
    return np.array([2 * glass.outer.at(glass.outer.place_at_height(z))[0][0] for z in heights_mm])


def check_diameters(found, glass):
    """Hold diameters to 0.5 mm or 1 %, where the outline is steep and height counts for little."""
    heights = np.linspace(0.06, 0.94, 89) * glass.height_mm
    true = true_diameters(glass, heights)
    seen = 2 * np.interp(heights, found.heights_mm, found.radii_mm.mean(axis=0))
    steep = np.abs(np.gradient(true / 2, heights)) < 0.5
    assert steep.sum() > 70
    assert (np.abs(seen - true) <= np.maximum(0.5, 0.01 * true))[steep].all(), np.round(seen - true, 2)


CASES = {
    "bright field": ("highball", {}, {}),
    "dark field": ("tasting", {}, {"tone": "lit"}),
    "noisy": ("rocks", {}, {"noise": 0.03}),
    "unevenly lit": ("highball", {}, {"gradient": 0.5, "noise": 0.005}),
    "leaning": ("tasting", {}, {"lean_deg": 2.5}),
    "aside and from higher up": ("highball", {"aside_mm": 15.0, "eye_mm": 95.0}, {}),
    "from near": ("highball", {"distance_mm": 500.0, "focal_px": 1380.0}, {}),
}


@pytest.mark.parametrize("case", CASES)
def test_diameters_are_recovered(case, save):
    name, view, look = CASES[case]
    glass = vessel(name)
    path = save(draw([see(glass, **{"eye_mm": MIDDLE_MM[name], **view})], **look))
    found = trace(path, Ask(glass.height_mm, 2.0, view.get("distance_mm", DISTANCE_MM)))
    check_diameters(found, glass)
    assert found.tilt_deg == pytest.approx(look.get("lean_deg", 0.0), abs=0.1)
    assert found.asymmetry_mm < 0.3
    assert found.eye_mm == pytest.approx(view.get("eye_mm", MIDDLE_MM[name]), abs=1.0)
    assert found.notes == ()


@pytest.mark.parametrize("distance_mm", [500.0, 900.0])
def test_profile_of_an_exact_silhouette_is_exact(distance_mm):
    """Against the union of projected circles: better than 0.2 %, and the focal length with it."""
    glass = vessel("highball")
    edge = shapely.LinearRing(see(glass, distance_mm))
    edge = np.array([edge.interpolate(at).coords[0] for at in np.arange(0, edge.length, 1.0)]) * [1, -1]
    top = int(np.where(edge[:, 1] > 0, np.abs(edge[:, 0]), np.inf).argmin())
    edge = np.roll(edge, -top, axis=0)
    bottom = int(np.where(edge[:, 1] < 0, np.abs(edge[:, 0]), np.inf).argmin())
    one, other = edge[: bottom + 1], np.concatenate([edge[bottom:], edge[:1]])[::-1]
    left, right = sorted((one, other), key=lambda side: side[:, 0].mean())
    heights, radii, focal_px, eye_mm = find_profile(Silhouette(left, right), distance_mm, 150.0, 0.5)
    inner = (heights > 6) & (heights < 144)
    true = true_diameters(glass, heights[inner])
    assert 2 * radii.mean(axis=0)[inner] == pytest.approx(true, rel=2e-3)
    assert focal_px == pytest.approx(FOCAL_PX, rel=2e-3) and eye_mm == pytest.approx(75.0, abs=0.3)
    # Without perspective, the near edges of foot and rim make it too tall by about radius / distance.
    _, flat, _, _ = find_profile(Silhouette(left, right), FAR_MM, 150.0, 0.5)
    assert flat.max() / radii.max() == pytest.approx(1 - 33 / distance_mm, abs=0.01)


def test_trace_without_distance_says_that_perspective_stays_in(save):
    glass = vessel("highball")
    found = trace(save(draw([see(glass)])), Ask(150.0))
    assert 2 * found.radii_mm.max() < 0.985 * 70
    assert any("no distance" in note for note in found.notes)


def test_asymmetry_is_reported_in_mm(save):
    """A dent of 1 mm in the right side, 100 mm above the foot."""
    edge = see(vessel("highball"))
    height_mm = 75.0 - edge[:, 1] * DISTANCE_MM / FOCAL_PX
    dent_px = FOCAL_PX / DISTANCE_MM * np.exp(-(((height_mm - 100) / 8) ** 2))
    edge[:, 0] -= np.where(edge[:, 0] > 0, dent_px, 0.0)
    found = trace(save(draw([edge], "black")), Ask(150.0, 2.0, DISTANCE_MM))
    assert found.asymmetry_mm == pytest.approx(1.0, abs=0.15)
    assert found.asymmetry_at_mm == pytest.approx(100.0, abs=4.0)


def test_trace_makes_a_vessel_file_that_makes_the_glass(save, tmp_path):
    """The traced bowl holds what the glass holds, to 3 % (twice the error of its diameters and more)."""
    glass = vessel("tasting")
    found = trace(save(draw([see(glass, eye_mm=77.5)], "black")), Ask(155.0, 0.8, DISTANCE_MM))
    assert 54 < found.measured.base_mm < 58
    assert len(found.measured.outline_mm) < 30
    path = write_file(tmp_path / "traced.yaml", found.measured, ["Traced."])
    made = read_vessel(path)
    low_mm = max(made.base_mm, glass.base_mm) + 10
    bowls = [one.capacity_ml() - one.capacity_ml(low_mm) for one in (made, glass)]
    assert bowls[0] == pytest.approx(bowls[1], rel=0.03)


def test_overlay_shows_the_outline_on_the_edge(save, tmp_path):
    glass = vessel("highball")
    edge = see(glass)
    found = trace(save(draw([edge])), Ask(150.0, 2.0, DISTANCE_MM))
    picture = np.asarray(Image.open(draw_overlay(found, tmp_path / "overlay.png"))).astype(int)
    coloured = np.ptp(picture, axis=2) > 100
    at = np.round(edge + np.array(SIZE) / 2 - 0.5).astype(int)
    near = [coloured[y - 2 : y + 3, x - 2 : x + 3].any() for x, y in at]
    assert np.mean(near) > 0.98
    # Away from edge, ends and axis nothing is drawn over the picture.
    away = distance_transform_edt(~coloured) > 0
    assert away.mean() > 0.97


def draw_two():
    edge = see(vessel("highball"), focal_px=1600.0)
    return draw([edge - [90, 0], edge + [90, 0]])


def draw_handle():
    edge = see(vessel("highball"))
    handle = np.array([[60, -50], [130, -50], [130, 50], [60, 50]])
    return draw([edge, handle], "black")


def draw_texture():
    picture = draw([see(vessel("highball"))]).astype(float)
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    planks = 1 - 0.5 * ((x // 23 + y // 41) % 2)
    return np.uint8(picture * planks[..., None])


def draw_horizon():
    picture = draw([see(vessel("highball"))]).astype(float)
    picture[420:] *= 0.5
    return np.uint8(picture)


BAD = {
    "cropped at the side": (lambda: draw([see(vessel("highball")) + [150, 0]]), "cropped.*right"),
    "cropped above": (lambda: draw([see(vessel("highball")) - [0, 130]]), "cropped.*upper"),
    "tilted": (lambda: draw([see(vessel("highball"))], lean_deg=8.0), "tilted.*8.0 deg"),
    "too noisy": (lambda: draw([see(vessel("highball"))], noise=0.3), "too noisy"),
    "two glasses": (draw_two, "2 things apart"),
    "handle": (draw_handle, "two sides differ"),
    "busy background": (draw_texture, "busy background"),
    "table's edge": (draw_horizon, "cropped|busy"),
    "no glass": (lambda: draw([]), "no glass"),
    "too small": (lambda: draw([see(vessel("highball"), focal_px=1000.0)]), "only .* pixels tall"),
}


@pytest.mark.parametrize("case", BAD)
def test_picture_that_cannot_be_trusted_is_refused(case, save):
    make, words = BAD[case]
    path = save(make())
    with pytest.raises(PersonError, match=words) as caught:
        trace(path, Ask(150.0, 2.0, DISTANCE_MM))
    (fault,) = caught.value.faults
    assert fault.file == str(path) and "\n" not in str(fault)


def test_file_that_is_no_picture_is_refused(tmp_path):
    path = tmp_path / "note.jpg"
    path.write_text("not a picture", encoding="utf-8")
    with pytest.raises(PersonError, match="note.jpg: is no picture"):
        trace(path, Ask(150.0))
    with pytest.raises(PersonError, match="no such file"):
        trace(tmp_path / "none.png", Ask(150.0))


def test_missing_library_is_said_with_its_cure(save, monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "skimage.measure", None)
    with pytest.raises(PersonError, match=r"scikit-image is missing; install it with: pip install"):
        trace(save(draw([see(vessel("highball"))])), Ask(150.0))


OWN_SET = """
brimcast: 1
table: {{size: [40 mm, 40 mm]}}
glasses: {{hero: {{vessel: {shape}}}}}
lamps:
  ground: {{kind: panel, size: [310 mm, 465 mm], azimuth: 180 deg, elevation: 0 deg, throw: 1 m}}
camera: {{sensor: [24 mm, 36 mm], lens: 150 mm, distance: 900 mm, elevation: 0 deg, f_number: f/32}}
render: {{width: 480}}
"""


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["highball", "tasting"])
def test_diameters_are_recovered_from_our_own_camera(shape, save):
    """A bright field as photographers set it: an even sheet a metre behind that just fills the picture."""
    from brimcast.renders.job import run
    from brimcast.scene import setfile
    from brimcast.scene.builder import build

    built = build(setfile.parse(OWN_SET.format(shape=shape)))
    taken = run(built, quality="draft", device="cpu", resume=False).picture.bands
    level = taken.sum(axis=(0, 1))
    level = np.clip(0.7 * level / np.percentile(level, 90), 0, 1)
    code = np.where(level <= 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
    path = save(np.repeat(np.uint8(255 * code + 0.5)[..., None], 3, axis=2))
    glass = vessel(shape)
    found = trace(path, Ask(glass.height_mm, 2.0, 900.0))
    check_diameters(found, glass)
    assert abs(found.tilt_deg) < 0.1 and found.asymmetry_mm < 0.5
