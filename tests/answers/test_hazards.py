"""Questions 29 and 30: heat at a focus, held to exact rays through a ball; a room worked out by hand."""

import numpy as np
import pytest

from brimcast.renders.answers import focus
from brimcast.renders.answers.answer import Lacking
from brimcast.renders.answers.catalogue import QUESTIONS
from brimcast.renders.answers.hazards import warn
from brimcast.renders.answers.heat import emitted_flux, plain_heat
from brimcast.renders.answers.slices import raise_table
from brimcast.renders.lightpass import EFFORTS
from brimcast.renders.peaks import find_peak
from brimcast.scene import setfile
from brimcast.scene.builder import build

INDEX, RADIUS, GAP = 1.5, 10.0, 5.0
LAMP = "{kind: disc, diameter: 100 mm, throw: 1 m, elevation: 90 deg, colour: 587.6 nm}"
BALL = """
brimcast: 1
table: {size: [200 mm, 200 mm]}
props: {ball: {shape: ball, diameter: %s, material: {index: 1.5}, height: %s}}
lamps: {key: %s}
"""


def lamp_of(text):
    (lamp,) = build(setfile.parse(f"brimcast: 1\nlamps: {{key: {{{text}}}}}\n")).lamps
    return lamp


@pytest.mark.parametrize(
    ("text", "flux"),
    [
        # Lambert's law: π times the area that glows.
        ("kind: disc, diameter: 100 mm", np.pi * np.pi * 50**2),
        ("kind: panel, size: [200 mm, 300 mm]", np.pi * 200 * 300),
        ("kind: bulb, diameter: 60 mm", np.pi * 4 * np.pi * 30**2),
        ("kind: tube, length: 500 mm, diameter: 20 mm", np.pi * np.pi * 20 * 500),
        # Intensity falls as the cosine to the power p, half at 30 deg: 2π ÷ (p + 1) times that on the axis.
        (
            "kind: reflector, diameter: 180 mm, beam: 60 deg",
            2 * np.pi / (1 + np.log(0.5) / np.log(np.cos(np.pi / 6))) * np.pi * 90**2,
        ),
    ],
)
def test_flux_of_a_front(text, flux):
    assert emitted_flux(lamp_of(text)) == pytest.approx(flux, rel=0.01)


def test_watts_spread_by_the_inverse_square():
    """W of a small flat front give W / (π d²) on its axis, of a small ball W / (4 π d²); full sun is 1."""
    flat, ball = (lamp_of(f"kind: {kind}, diameter: 10 mm, throw: 2 m") for kind in ("disc", "bulb"))
    square_metres = np.pi * 2.0**2
    assert plain_heat(flat, flat.aim_mm, 500) == pytest.approx(0.5 / square_metres, rel=0.01)
    assert plain_heat(ball, ball.aim_mm, 500) == pytest.approx(0.5 / (4 * square_metres), rel=0.01)
    assert plain_heat(lamp_of("kind: sun"), np.zeros(3), None) == 1.0
    assert plain_heat(flat, flat.aim_mm, None) is None


def test_iris_takes_heat_away_and_gathers_none():
    """Power spread evenly over the beam's circle where it is focused, 1 m off: W / area, iris or not."""
    for iris in ("100 %", "30 %"):
        lamp = lamp_of(f"kind: spot, lens: 10 mm, beam: 20 deg, iris: {iris}, throw: 1 m")
        circle = np.pi * np.tan(np.radians(10)) ** 2
        assert plain_heat(lamp, lamp.aim_mm, 500) == pytest.approx(0.5 / circle, rel=0.05)


def test_words_for_heat():
    assert [warn(heat) for heat in (1.0, 2.0, 9.9, 10.0)] == ["low", "hot", "hot", "scorch"]


def axis_concentration(radius_mm, below_mm, lamp_mm, half_mm):
    """Light on the axis under a ball over what is there without it, by exact rays (Snell, Fresnel).

    Radiance is kept along a ray but for what each face throws back, so the light is the lamp's radiance over
    the directions that lead back to the lamp.

    Parameters
    ----------
    below_mm, lamp_mm : float
        From the ball's middle down to the place, and up to the lamp's disc.
    half_mm : float
        Radius of the disc.
    """
    angle = np.linspace(1e-6, np.arcsin(min(1, radius_mm / below_mm)) - 1e-6, 400001)
    meets = np.arcsin(below_mm * np.sin(angle) / radius_mm)
    bent = np.arcsin(np.sin(meets) / INDEX)
    # Angle of the way on, from the axis, and of the place where it leaves the ball, seen from its middle.
    onward = angle - 2 * (meets - bent)
    leaves = angle - meets + 2 * bent
    x, z = radius_mm * np.sin(leaves), radius_mm * np.cos(leaves)
    across = x + (lamp_mm - z) * np.tan(onward)
    parallel = (np.tan(meets - bent) / np.tan(meets + bent)) ** 2
    square = (np.sin(meets - bent) / np.sin(meets + bent)) ** 2
    passed = (1 - (parallel + square) / 2) ** 2
    seen = np.abs(across) < half_mm
    through = np.trapezoid(np.where(seen, passed * 2 * np.sin(angle) * np.cos(angle), 0), angle)
    bare = half_mm**2 / (half_mm**2 + (lamp_mm + below_mm) ** 2)
    return through / bare


def test_concentration_agrees_with_exact_rays_and_its_bound_is_above(study_of, monkeypatch):
    """A lamp whose image, 15 mm × 0.1, is wider than the peak's disc."""
    monkeypatch.setattr(focus, "HEIGHTS", (0.0,))
    study = study_of(BALL % ("20 mm", "5 mm", LAMP), {"brief.watts": {"key": "100 W"}})
    answer = QUESTIONS[29].answer(study)
    found = answer.values["lamps"]["key"]
    # The aim is the ball's middle, from which the throw counts.
    exact = axis_concentration(RADIUS, RADIUS + GAP, 1000.0, 50.0)
    assert found["concentration"]["value"] == pytest.approx(exact, rel=0.12)
    assert found["upper_concentration"]["value"] >= exact
    plain = 0.1 / (np.pi * 1.015**2)
    assert found["plain_kw_m2"]["value"] == pytest.approx(plain, rel=0.01)
    total = found["upper_concentration"]["value"] * found["plain_kw_m2"]["value"]
    assert answer.values["upper_kw_m2"]["value"] == pytest.approx(total)
    assert answer.values["warning"] == warn(total)
    assert any("unattended" in caution for caution in answer.cautions)


def test_sun_through_a_small_part_of_a_ball_is_never_understated(study_of, monkeypatch):
    """(What is let in ÷ image of the sun) × what two faces pass: geometry of a thin bundle.

    A window of 10 × 10 mm over a ball of 60 mm, whose focus, f = 45 mm, is on the table; the sun's image is
    f × 0.0093 wide. The peak's disc of 1 mm alone would see a sixth of it.
    """
    monkeypatch.setattr(focus, "HEIGHTS", (0.0,))
    text = BALL % ("60 mm", "15 mm", "{kind: sun, elevation: 90 deg, colour: 587.6 nm}")
    text += "flags:\n"
    for name, at in {"a": (105, 0), "b": (-105, 0), "c": (0, 105), "d": (0, -105)}.items():
        text += f"  {name}: {{size: [200 mm, 200 mm], at: [{at[0]} mm, {at[1]} mm, 90 mm], facing: up}}\n"
    found = QUESTIONS[29].answer(study_of(text)).values
    image = np.pi / 4 * (45 * 0.0093) ** 2
    exact = 100 / image * 0.96**2
    assert exact < found["lamps"]["key"]["upper_concentration"]["value"] < 4 * exact
    assert found["lamps"]["key"]["concentration"]["value"] < exact / 3
    assert found["upper_kw_m2"]["value"] > exact and found["warning"] == "scorch"


def test_light_at_a_height_is_that_on_a_table_there(study_of):
    """A ball 5 mm over a table is a ball 12 mm over it seen from 7 mm higher."""
    effort = EFFORTS["draft"]
    high = study_of(BALL % ("20 mm", "12 mm", LAMP))
    raised = high.frame(built=raise_table(build(high.set_file), 7.0, effort), effort=effort)
    plain = study_of(BALL % ("20 mm", "5 mm", LAMP)).frame()
    light = [frame.luminous("key") for frame in (raised, plain)]
    peaks = [
        find_peak(frame.x_mm, frame.y_mm, one) for frame, one in zip((raised, plain), light, strict=True)
    ]
    assert peaks[0].mean / 1.0 == pytest.approx(peaks[1].mean, rel=0.1)
    assert np.hypot(peaks[0].x_mm - peaks[1].x_mm, peaks[0].y_mm - peaks[1].y_mm) < 0.8


def test_raised_table_lets_glass_through(study_of):
    """Cut through a ball, 6 of 20 mm up: the hole is the ball's circle there, and no more is missing."""
    study = study_of(BALL % ("20 mm", "0 mm", LAMP))
    built = build(study.set_file)
    raised = raise_table(built, 6.0, EFFORTS["draft"])
    table = raised.panels[0].mesh
    hole = np.pi * (RADIUS**2 - (RADIUS - 6) ** 2)
    assert 200 * 200 - table.area_mm2 == pytest.approx(hole, rel=0.01)
    assert table.normals.min(axis=0).tolist() == [0, 0, 1]
    assert np.all(table.crosses_mm2[:, 2] > 0)
    assert raised.solids[0].mesh.bounds_mm[0, 2] == pytest.approx(-6, abs=0.03)
    assert raised.digest != built.digest


@pytest.mark.slow
def test_focus_in_the_air_is_found_and_never_understated(study_of):
    """The sun at 35 deg focuses a ball on the table over it: 0.14 radii up by paraxial optics.

    Exact rays tell the brightest place of the axis; aberration keeps it far under the paraxial square.
    """
    text = BALL % ("60 mm", "0 mm", "{kind: sun, elevation: 35 deg, azimuth: 180 deg, colour: 587.6 nm}")
    found = QUESTIONS[29].answer(study_of(text)).values["lamps"]["key"]
    sun = 1e8, 1e8 * np.tan(np.radians(0.533 / 2))
    exact = max(axis_concentration(30.0, below, *sun) for below in np.linspace(36, 47, 100))
    assert found["upper_concentration"]["value"] > exact
    assert found["height_mm"]["value"] == pytest.approx(5.0, abs=3.0)
    assert found["concentration"]["value"] > 5 * found["on_table"]["value"]


def test_flash_asks_for_its_modelling_lamp(study_of, monkeypatch):
    monkeypatch.setattr(focus, "HEIGHTS", (0.0,))
    answer = QUESTIONS[29].answer(study_of(BALL % ("20 mm", "5 mm", LAMP)))
    assert answer.values["upper_kw_m2"]["value"] is None and answer.values["without_watts"] == ["key"]
    assert any("brief.watts.key" in line for line in answer.lines)


def test_nothing_that_focuses(study_of):
    with pytest.raises(Lacking, match="focuses"):
        QUESTIONS[29].answer(study_of("brimcast: 1\nlamps: {key: {}}\n"))


ROOM = """
brimcast: 1
table: {size: [800 mm, 600 mm]}
props: {hero: {shape: rod, diameter: 60 mm, length: 100 mm}}
lamps:
  key: {kind: panel, size: [300 mm, 1.2 m], throw: 2 m, elevation: 30 deg, azimuth: 180 deg}
  side: {kind: panel, size: [300 mm, 1.2 m], throw: 2 m, elevation: 30 deg, azimuth: 90 deg}
room: {table_height: 700 mm, ceiling: 2.4 m, walls: {left: 2.5 m}}
"""
TOP = 50 + 1000 + 600 * np.cos(np.radians(30))


def test_room_is_measured_as_by_hand(study_of):
    """A panel 1.2 m high at 30 deg, 2 m away: its edge is cos 30 × 0.6 m over its middle, 1 m over the aim.

    Its stand is 1732 mm to the left, with legs 500 mm long.
    """
    answer = QUESTIONS[30].answer(study_of(ROOM))
    assert answer.values["ceiling_mm"]["value"] == pytest.approx(2400 - 700 - TOP, abs=0.6)
    left = 2500 - 2000 * np.cos(np.radians(30)) - 500
    assert answer.values["walls_mm"]["left"]["value"] == pytest.approx(left, abs=1)
    assert answer.values["fits"] is True and answer.lines[0].startswith("It fits")
    assert any("key ends" in text for text in answer.values["too_near"])
    assert any("sandbag" in caution for caution in answer.cautions)
    # Nearest corners of the two fronts, each swung half its width to the other: lower edges.
    out = 2000 * np.cos(np.radians(30)) - 600 * np.sin(np.radians(30))
    assert answer.values["between_mm"]["value"] == pytest.approx(np.sqrt(2) * (out - 150), rel=0.01)


def test_room_that_is_too_low(study_of):
    answer = QUESTIONS[30].answer(study_of(ROOM, {"room.ceiling": "2.2 m"}))
    assert answer.values["fits"] is False
    assert answer.values["ceiling_mm"]["value"] == pytest.approx(2200 - 700 - TOP, abs=0.6)
    assert answer.values["too_near"][0].startswith("ceiling too low")


def test_set_without_a_room(study_of):
    with pytest.raises(Lacking, match="room"):
        QUESTIONS[30].answer(study_of(BALL % ("20 mm", "5 mm", LAMP)))
