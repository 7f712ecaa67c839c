"""Lamps with a beam and bare tubes, through set file and command: beams, edges, and the light pass agree."""

import numpy as np
import pytest

from brimcast.renders.images import read_exr
from brimcast.renders.job import run
from brimcast.renders.lightpass import Effort
from brimcast.renders.report import meter_bands
from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.shared.colour import BAND_XYZ

# Meters on an arc round a lamp 1 m above the datum that looks down; they face it.
ARC_MM = 900.0


def arc(angles_deg, turn_deg=0.0, facing="lamp"):
    """Meters 900 mm from the lamp, by angle from its beam; turned from +x toward +y."""
    lines = []
    for number, angle in enumerate(np.radians(angles_deg)):
        across = ARC_MM * np.sin(angle)
        x, y = across * np.cos(np.radians(turn_deg)), across * np.sin(np.radians(turn_deg))
        z = 1000 - ARC_MM * np.cos(angle)
        at = f"[{x:.4f} mm, {y:.4f} mm, {z:.4f} mm]"
        lines.append(f"  m{number:02d}: {{at: {at}, diameter: 1 mm, facing: {facing}}}\n")
    return "".join(lines)


def over_table(lamps, meters, more=""):
    """A set of lamps above the datum, 1 m high, that look down, and meters."""
    place = "throw: 1 m, elevation: 90 deg, azimuth: 0 deg, aim: [0 mm, 0 mm, 0 mm]"
    listed = "".join(f"  {name}: {{{place}, {text}}}\n" for name, text in lamps.items())
    return f"brimcast: 1\ntable: {{reflectance: 0 %}}\nlamps:\n{listed}meters:\n{meters}{more}"


def read(report, lamp):
    """Light of one lamp on the meters in their order, and its standard errors."""
    lights = [meter["lamps"][lamp]["light"] for meter in report["meters"].values()]
    return np.array([one["value"] for one in lights]), np.array([one["standard_error"] for one in lights])


@pytest.fixture(scope="module")
def beams(compute, tmp_path_factory):
    """Light of small lamps on an arc, over that on the axis: angles, then by lamp."""
    angles = np.array([0, 4, 8, 12, 16, 20, 24, 28, 32, 40, 50, 60], float)
    lamps = {
        "lamp": "kind: reflector, diameter: 6 mm, beam: 40 deg",
        "wide": "diameter: 6 mm",
        "comb": "diameter: 1 mm, grid: 50 deg",
        "spot": "kind: spot, lens: 6 mm, beam: 44 deg, focus: 900 mm, iris: 50 %",
        "snoot": "kind: snoot, diameter: 1 mm, length: 2 mm",
    }
    report = compute(over_table(lamps, arc(angles))).report
    found = {}
    for name in lamps:
        light, error = read(report, name)
        found[name] = light / light[0], error / light[0] + 1e-9
    return angles, found


def test_beam_angle_comes_out_where_the_light_is_half(beams):
    """Half of the intensity on the axis at half the beam angle (CIE S 017, 17-27-075; IES LP-16)."""
    angles, found = beams
    light, error = found["lamp"]
    assert light[angles == 20] == pytest.approx(0.5, abs=0.002 + 3 * error[angles == 20][0])
    half = np.interp(-0.5, -light, angles)
    assert 2 * half == pytest.approx(40, abs=0.3)  # straight between meters 4 deg apart


def test_even_front_has_a_beam_of_120_deg(beams):
    angles, found = beams
    light, error = found["wide"]
    np.testing.assert_allclose(light, np.cos(np.radians(angles)), atol=1e-3 + 3 * error.max())


def test_honeycomb_cuts_off_at_its_angle(beams):
    """Closed form: what two circles share that are d tan(angle) apart, of width d tan(25 deg)."""
    angles, found = beams
    light, error = found["comb"]
    apart = np.minimum(np.tan(np.radians(angles)) / np.tan(np.radians(25)), 1)
    share = 2 / np.pi * (np.arccos(apart) - apart * np.sqrt(1 - apart**2))
    np.testing.assert_allclose(light, share * np.cos(np.radians(angles)), atol=2e-3 + 3 * error.max())
    assert (light[angles > 25] == 0).all() and (light[angles < 25] > 0).all()


def test_iris_stops_the_picture_of_a_spot_down(beams):
    """Half the diameter of a picture of 44 deg: tan(a) = tan(22 deg) / 2, 11.4 deg."""
    angles, found = beams
    light, error = found["spot"]
    within = angles < np.degrees(np.arctan(np.tan(np.radians(22)) / 2))
    flat = np.cos(np.radians(angles))
    np.testing.assert_allclose(light[within], flat[within], atol=1e-3 + 3 * error.max())
    assert (light[~within] == 0).all() and within.sum() == 3


def test_snoot_shows_less_of_its_back_the_farther_aside(beams):
    """Far off a snoot is one cell of a honeycomb: 1 mm across, 2 mm deep; cut off at 26.6 deg."""
    angles, found = beams
    light, error = found["snoot"]
    apart = np.minimum(np.tan(np.radians(angles)) * 2 / 1, 1)
    share = 2 / np.pi * (np.arccos(apart) - apart * np.sqrt(1 - apart**2))
    # The mouth is seen from 900 mm, the back from 902: light falls to 0.996 on the axis alone.
    np.testing.assert_allclose(light, share * np.cos(np.radians(angles)), atol=0.005 + 3 * error.max())
    assert (light[angles > 27] == 0).all()


def test_measured_beam_gives_its_candela(compute, tmp_path, published):
    """Lux = candela / distance² (published_values.yaml#analytic_optics/inverse_square_cosine), over the
    shutter's time; the file is made by hand as LM-63-2002 says, alike in no two quarters."""
    case = published["analytic_optics"]["inverse_square_cosine"]["value"][0]
    axis = case["I_cd"]
    rows = [[axis, 0.8 * axis, 0], [axis, 0.2 * axis, 0], [axis, 0.4 * axis, 0], [axis, 0.6 * axis, 0]]
    (tmp_path / "beam.ies").write_text(
        "IESNA:LM-63-2002\n[TEST] invented\nTILT=NONE\n1 -1 1 3 5 1 2 0 0 0\n1 1 50\n0 20 90\n"
        "0 90 180 270 360\n" + "\n".join(" ".join(map(str, row)) for row in [*rows, rows[0]])
    )
    meters = "  m0: {at: [0 mm, 0 mm, 0 mm], diameter: 1 mm}\n"
    for turn in (0, 90, 180, 270):
        meters += arc([20], turn).replace("m00", f"m{turn // 90 + 1}")
    text = over_table({"lamp": "diameter: 1 mm, ies: beam.ies, candela: true, throw: 2 m"}, meters)
    text = text.replace("throw: 1 m, ", "").replace("aim: [0 mm, 0 mm, 0 mm]", "aim: [0 mm, 0 mm, -1 m]")
    path = tmp_path / "set.yaml"
    path.write_text(text + "camera: {shutter: 1/125 s}\n")
    report = compute(path).report
    assert not report["relative"]
    light, error = read(report, "lamp")
    # At the datum, 1 m below it.
    at_1_m = case["E_lx"] * case["d_m"] ** 2
    assert light[0] == pytest.approx(at_1_m / 125, rel=2e-3, abs=3 * error[0])
    # Looking down from azimuth 0, its right is +x and its up is +y: horizontal angles run counter-clockwise.
    expected = axis * np.array([0.8, 0.2, 0.4, 0.6]) / (ARC_MM / 1000) ** 2 / 125
    np.testing.assert_allclose(light[1:], expected, rtol=5e-3)


def test_sun_through_a_pinhole_is_half_a_degree_wide(compute):
    """Where the hole hides all but its own size, light falls to (hole / height)² / tan²(0.53 deg / 2)."""
    report = compute("""
brimcast: 1
table: {reflectance: 0 %}
props:
  plate: {shape: plate, size: [300 mm, 300 mm], height: 400 mm, opening: {round: 2 mm}}
lamps:
  sun: {kind: sun, elevation: 90 deg, aim: [0 mm, 0 mm, 0 mm]}
meters:
  under: {at: [0 mm, 0 mm, 0 mm], diameter: 0.4 mm}
  beside: {at: [400 mm, 0 mm, 0 mm], diameter: 0.4 mm}
""").report
    (beside, under), (_, error) = read(report, "sun")
    expected = (1 / 400) ** 2 / np.tan(np.radians(0.53 / 2)) ** 2
    assert under / beside == pytest.approx(expected, rel=0.01, abs=3 * error / beside)


def test_barn_door_hides_what_lies_behind_its_edge(compute):
    """Far off, a blade of 100 mm along the beam covers 100 mm x tan(angle) of a front of 100 mm."""
    meters = arc([30, 30], 0)
    first, second = meters.splitlines()
    meters = f"{first}\n{second.replace('[450', '[-450')}\n"
    lamps = {"lamp": "kind: panel, size: [100 mm, 100 mm], throw: 1 m, doors: {length: 100 mm, right: 0 deg, "
             "left: 90 deg, top: 90 deg, bottom: 90 deg}"}  # fmt: skip
    text = over_table(lamps, meters).replace("throw: 1 m, elev", "elev")
    light, error = read(compute(text).report, "lamp")
    # Hinged 1 mm beside the front and 1 mm ahead; summed place by place over the front, as the meter sees it.
    x = (np.arange(4000) + 0.5) / 40 - 50
    across, down = ARC_MM * np.sin(np.radians(30)), ARC_MM * np.cos(np.radians(30))
    at_blade = (51 - x) * down / (across - x)
    seen = (at_blade < 1) | (at_blade > 101)
    # Two cosines over the square of the distance, the meter's cosine toward the lamp's middle.
    way2 = (across - x) ** 2 + down**2
    weight = (across * (across - x) + down**2) / way2**2
    expected = (weight * seen).sum() / weight.sum()
    assert light[0] / light[1] == pytest.approx(expected, abs=0.005 + 3 * error.max() / light[1])


# One round of few rays is enough to compare meters.
FEW = Effort(20.0, 1.0, (256, 16, 16), (20, 4, 4), 1)


def compute_few(text):
    """Luminous light of a set traced with few rays, and its standard error, each (lamps, meters)."""
    outcome = run(build(setfile.parse(text)), device="cpu", picture=False, effort=FEW)
    parts = np.einsum("lpkm,k->lpm", meter_bands(outcome), BAND_XYZ[:, 1])
    return parts.mean(axis=1), parts.std(axis=1, ddof=1) / 4


@pytest.fixture(scope="module")
def through():
    """Light of lamps on four places of the table: bare, and under a slab that bends next to nothing."""
    lamps = {
        "reflector": "kind: reflector, diameter: 200 mm, beam: 50 deg, grid: 60 deg",
        "snoot": "kind: snoot, diameter: 80 mm, length: 160 mm",
        "box": "kind: softbox, size: [400 mm, 200 mm], falloff: 2 stops",
        "spot": "kind: spot, lens: 60 mm, beam: 20 deg, focus: 2 m",
        "tube": "kind: tube, length: 400 mm, diameter: 40 mm, turn: 30 deg",
        "ring": "kind: ring, diameter: 300 mm, tube: 50 mm",
        "sky": "kind: sky",
    }
    lean = "elevation: 70 deg, azimuth: 200 deg, aim: [0 mm, 0 mm, 0 mm]"
    listed = "".join(
        f"  {name}: {{{'aim: [0 mm, 0 mm, 0 mm]' if name == 'sky' else lean + ', throw: 1 m'}, {text}}}\n"
        for name, text in lamps.items()
    )
    places = [(0, 0), (80, 0), (-60, 70), (0, -110)]
    meters = "".join(
        f"  m{n}: {{at: [{x} mm, {y} mm, 0 mm], diameter: 40 mm}}\n" for n, (x, y) in enumerate(places)
    )
    base = f"brimcast: 1\ntable: {{reflectance: 0 %}}\nlamps:\n{listed}meters:\n{meters}"
    slab = (
        "props:\n  slab: {shape: slab, width: 320 mm, depth: 320 mm, thickness: 5 mm, height: 2 mm, "
        "material: {index: 1.0001}}\n"
    )
    bare, under = compute_few(base), compute_few(base + slab)
    return {name: (*(part[n] for part in bare), *(part[n] for part in under)) for n, name in enumerate(lamps)}


@pytest.mark.slow
@pytest.mark.parametrize("name", ["reflector", "snoot", "box", "spot", "tube", "ring", "sky"])
def test_light_pass_sends_what_direct_light_is(through, name):
    """Independent routes: rays from the front through the slab, against places that look at the front."""
    bare, bare_error, under, under_error = through[name]
    error = np.hypot(bare_error, under_error)
    assert (np.abs(under - bare) < 0.01 * bare.max() + 4 * error).all(), (under / bare, error / bare)
    assert (error < 0.1 * bare.max()).all()


def test_camera_sees_how_a_front_glows(compute):
    """A softbox toward the camera: one stop less at the middle of an edge, black outside."""
    folder = compute(
        """
brimcast: 1
table: {size: [10 mm, 10 mm], reflectance: 0 %}
lamps:
  box: {kind: softbox, size: [300 mm, 300 mm], falloff: 1 stop, throw: 500 mm, elevation: 0 deg,
        azimuth: 180 deg, aim: [0 mm, 0 mm, 500 mm]}
camera: {at: [0 mm, -500 mm, 500 mm], aim: [0 mm, 500 mm, 500 mm], focus: 1 m, lens: 50 mm,
         sensor: [24 mm, 24 mm]}
render: {width: 60}
""",
        command="render",
    ).folder
    # Wavelengths are drawn by what the observer sees, so luminance is the cleanest.
    picture = np.tensordot(BAND_XYZ[:, 1], read_exr(folder / "picture.exr")[0]["box"], 1)
    # 50 mm lens focused at 1 m: 24 mm of sensor see 456 mm, 7.6 mm a pixel.
    pitch = 24 / 50 * (1000 - 50) / 60
    off = (np.arange(60) - 29.5) * pitch
    inside, outside = np.abs(off) < 140, np.abs(off) > 160
    for axis in (0, 1):
        # Falloff along one side, the same for every line across it; a draft's grain leaves 0.03 stops a line.
        line = picture.mean(axis=axis)
        square = (off[inside] / 150) ** 2
        (slope, _), variance = np.polyfit(square, np.log2(line[inside]), 1, cov=True)
        assert slope == pytest.approx(-1, abs=3 * variance[0, 0] ** 0.5) and variance[0, 0] < 0.02**2
        assert line[outside].max() == 0


@pytest.mark.slow
def test_lamps_of_all_kinds_share_their_kernels():
    """What a lamp is, is data: after one set, no other kind of lamp compiles anything."""
    from brimcast.renders.engine import dr, start

    start("cpu")
    fresh = []
    with dr.scoped_set_flag(dr.JitFlag.KernelHistory, True):
        for lamps in ("a: {}", "a: {kind: softbox}\n  b: {kind: spot}", "a: {kind: ring}\n  b: {kind: sun}"):
            text = f"brimcast: 1\nlamps:\n  {lamps}\nmeters: {{m: {{at: [0 mm, 0 mm, 0 mm]}}}}\n"
            text += "props: {ball: {shape: ball, diameter: 40 mm}}\n"
            dr.kernel_history_clear()
            run(build(setfile.parse(text), detail=0.3), device="cpu", picture=False, effort=FEW)
            kernels = dr.kernel_history([dr.KernelType.JIT])
            assert kernels
            # Neither held from the set before, nor read from the disk: compiled.
            fresh.append([one["hash"] for one in kernels if not one["cache_hit"] or one["cache_disk"]])
    assert fresh[1:] == [[], []]


def test_lamp_that_misses_the_datum_still_throws_a_pattern(compute):
    """Far light comes together n D / (4 (n - 1)) behind a ball's centre (optics handbooks): on the table."""
    text = """
    brimcast: 1
    props: {ball: {shape: ball, diameter: 20 mm, material: {index: 1.5}, at: [200 mm, 0 mm], height: 5 mm}}
    lamps: {key: {kind: spot, throw: 3 m, elevation: 90 deg, aim: ball, beam: 3 deg, colour: 550 nm}}
    """
    report = compute(text).report
    assert report["lamps"]["key"]["plain_table"] == 0
    found = report["caustics"]["key"]["refractive"]
    assert found["peak_mm"]["value"] == pytest.approx([200, 0], abs=1)
    assert found["peak_over_table_stops"]["value"] is None
