"""How fronts glow, against closed forms: beams, honeycombs, snoots, tubes, scrims, sun and sky."""

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.glow import ANGLES_DEG, beam_profile, falloff_sheet, honeycomb_profile
from brimcast.scene.lamps import even_grid, irradiance_factor, spread_points


def lamp(text):
    """A lamp, straight above a point 1 m below it."""
    where = "throw: 1 m, elevation: 90 deg, azimuth: 0 deg, aim: [0 mm, 0 mm, 0 mm]"
    return build(setfile.parse(f"brimcast: 1\nlamps: {{it: {{{where}, {text}}}}}")).lamps[0]


def light(it, place=(0, 0, 0), normal=(0, 0, 1), points=40000):
    """E/L in sr at a place."""
    return irradiance_factor(spread_points(it, even_grid(points), np.array(place), 1.0), place, normal)


@pytest.mark.parametrize("half_deg", [15, 30, 60])
def test_beam_is_the_power_of_the_cosine_and_carries_its_flux(published, half_deg):
    """published_values.yaml#analytic_optics/cosine_power_spot: m, and the flux 2 pi I0 / (m + 1)."""
    power = published["analytic_optics"]["cosine_power_spot"]["value"][half_deg]
    angle = np.radians(ANGLES_DEG)
    intensity = beam_profile(2 * half_deg)[0] * np.cos(angle)
    assert intensity[ANGLES_DEG == half_deg] == pytest.approx(0.5, rel=1e-9)
    flux = 2 * np.pi * np.trapezoid(intensity * np.sin(angle), angle)
    assert flux == pytest.approx(2 * np.pi / (power + 1), rel=1e-4)  # a quarter of a degree a step


def test_disc_with_a_beam_sends_its_flux_into_the_room():
    """Closed form: E at distance d and angle t, small disc: L A cos^m(t) / d², received face on."""
    it = lamp("kind: reflector, diameter: 10 mm, beam: 40 deg")
    power = np.log(0.5) / np.log(np.cos(np.radians(20)))
    for angle in np.radians([0, 10, 20, 40, 70]):
        toward = np.array([np.sin(angle), 0, np.cos(angle)])
        place = np.array([0, 0, 1000]) - 900 * toward * [1, 0, 1]
        found = light(it, place, toward)
        # 5 mm at 900 mm: (r/d)² times a few; a quarter of a degree a step.
        assert found == pytest.approx(np.pi * 25 / 900**2 * np.cos(angle) ** power, rel=1e-3)


def test_honeycomb_passes_what_two_circles_share():
    """Against areas counted: points of a cell's mouth, shifted by depth x tan(angle), still in its back."""
    cell, depth = 6.0, 24.0
    acceptance = 2 * np.degrees(np.arctan(cell / depth))
    flat = (even_grid(10**6) - 0.5) * cell
    mouth = flat[np.hypot(*flat.T) < cell / 2]
    profile = honeycomb_profile(acceptance)[0]
    for angle in (0.0, 3.0, 7.0, 12.0, 14.0):
        shift = depth * np.tan(np.radians(angle))
        counted = np.mean(np.hypot(mouth[:, 0] + shift, mouth[:, 1]) < cell / 2)
        assert profile[ANGLES_DEG == angle] == pytest.approx(counted, abs=1e-3)
    assert profile[ANGLES_DEG > acceptance / 2].max() == 0
    assert profile[ANGLES_DEG < acceptance / 2 - 0.25].min() > 0


def test_snoot_shows_its_whole_back_on_the_axis_and_ends_at_its_angle(published):
    """published_values.yaml#analytic_optics/lambertian_disc, of the back as far off as it lies."""
    it = lamp("kind: snoot, diameter: 60 mm, length: 150 mm")
    assert light(it) == pytest.approx(np.pi * 30**2 / (30**2 + 1150**2), rel=2e-3)
    # Both rims in line: 60 mm across in 150 mm; seen at 1 m the mouth begins 30 mm off the axis.
    edge = 30 + 1000 * 60 / 150
    assert light(it, (edge + 1, 0, 0)) == 0
    assert light(it, (edge - 5, 0, 0)) > 0


def test_straight_tube_gives_the_light_of_a_line(published):
    """Line source of diffuse skin: E = L D / d (a + sin a cos a), tan a = l / 2d (P. Moon, The scientific
    basis of illuminating engineering, 1936, chapter IX; from memory, derived anew). The ends of the skin lie
    nearer than its axis by up to 2 mm in 1 m."""
    it = lamp("kind: tube, diameter: 4 mm, length: 600 mm")
    half = np.arctan(0.3)
    assert light(it) == pytest.approx(4 / 1000 * (half + np.sin(half) * np.cos(half)), rel=2e-3)
    # Turned upright, across the meter's other axis, it gives the same.
    assert light(lamp("kind: tube, diameter: 4 mm, length: 600 mm, turn: 90 deg")) == pytest.approx(light(it))


def test_ring_tube_gives_the_light_of_a_thin_ring():
    """Closed form on the axis: L t 2 pi R d / (R² + d²)^1.5, as each bit of skin is seen across."""
    it = lamp("kind: ring, diameter: 204 mm, tube: 4 mm")
    assert light(it) == pytest.approx(4 * 2 * np.pi * 100 * 1000 / (100**2 + 1000**2) ** 1.5, rel=2e-3)


def test_scrim_is_lit_as_a_lamp_lights_a_card():
    """Inverse square and two cosines: cos⁴ off the axis, of a small lamp 300 mm behind."""
    it = lamp("diameter: 4 mm, scrim: {size: [600 mm, 600 mm], behind: 300 mm}")
    assert it.kind == "panel" and it.centre_mm[2] == pytest.approx(1000)
    places = np.array([0.0, 100.0, 250.0])
    along = np.tile([0.0, 0.0, 1.0], (3, 1))
    expected = np.cos(np.arctan(places / 300)) ** 4
    # A cell of 18 mm between which light is drawn straight.
    np.testing.assert_allclose(it.glow.radiance(places, np.zeros(3), along), expected, atol=2e-3)
    # It takes out all direction.
    aside = np.tile([0.8, 0.0, 0.6], (3, 1))
    np.testing.assert_array_equal(
        it.glow.radiance(places, np.zeros(3), aside), it.glow.radiance(places, np.zeros(3), along)
    )


def test_softbox_loses_its_stops_toward_the_edges():
    sheet = falloff_sheet((600.0, 900.0), 1.0)
    x, y = np.array([0.0, 299.9, 0.0, 299.9]), np.array([0.0, 0.0, 449.9, 449.9])
    stops = np.log2(sheet.pass_on(x, y))
    # The last cell's centre lies 1/65 inside the edge.
    np.testing.assert_allclose(stops, [0, -1, -1, -2], atol=0.07)
    assert sheet.pass_on(np.array([301.0]), np.array([0.0])) == 0


def test_sun_is_as_wide_as_astronomers_say():
    """Nominal solar radius (IAU 2015 resolution B3), astronomical unit (IAU 2012 resolution B2)."""
    it = build(setfile.parse("brimcast: 1\nlamps: {sun: {kind: sun}}")).lamps[0]
    seen = 2 * np.degrees(np.arctan(it.radius_mm / it.throw_mm))
    assert seen == pytest.approx(2 * np.degrees(np.arcsin(695_700 / 149_597_870.7)), abs=0.005)
    # Parallel: the light is the same anywhere on the table.
    table = [light(it, place) for place in ((0, 0, 0), (600, 450, 0), (-600, -450, 0))]
    np.testing.assert_allclose(table, table[0], rtol=1e-5)


def test_sky_gives_the_light_of_an_even_dome():
    """Closed forms of an even sky above the angle h: level pi cos² h, upright pi/2 - h - sin h cos h."""
    it = build(setfile.parse("brimcast: 1\nlamps: {sky: {kind: sky, horizon: 20 deg}}")).lamps[0]
    h = np.radians(20)
    assert light(it) == pytest.approx(np.pi * np.cos(h) ** 2, rel=1e-3)
    assert light(it, normal=(0, 1, 0)) == pytest.approx(np.pi / 2 - h - np.sin(h) * np.cos(h), rel=1e-3)
    # 20 m below that sky, 300 mm aside is no other place.
    assert light(it, (300, 0, 0)) == pytest.approx(light(it), rel=1e-3)


def test_projection_spot_blurs_its_edge_off_focus():
    """Edge of the picture: lens x |z - f| / f wide; half of the lens is seen where it would be sharp."""
    it = lamp("kind: spot, lens: 60 mm, beam: 30 deg, focus: 2 m")
    radius = np.tan(np.radians(15)) * 1000  # of the cone at 1 m, half-way to the focus
    blur = 60 * (2000 - 1000) / 2000
    whole = light(lamp("diameter: 60 mm"), (radius, 0, 0))
    assert light(it, (radius - blur / 2 - 1, 0, 0)) == pytest.approx(whole, rel=0.05)
    assert light(it, (radius + blur / 2 + 1, 0, 0)) == 0
    assert light(it, (radius, 0, 0)) == pytest.approx(whole / 2, rel=0.02)


def test_spot_shows_its_mask_upright_and_not_mirrored(tmp_path):
    """Seen along the beam from the camera's side: what is at the picture's top left comes out there."""
    from PIL import Image

    picture = np.zeros((64, 64), np.uint8)
    picture[8:24, 8:24] = 255
    Image.fromarray(picture).save(tmp_path / "mask.png")
    (tmp_path / "set.yaml").write_text(
        "brimcast: 1\nlamps: {it: {kind: spot, lens: 5 mm, beam: 40 deg, throw: 1 m, elevation: 0 deg, "
        "azimuth: 0 deg, aim: [0 mm, 0 mm, 500 mm], mask: mask.png}}"
    )
    it = build(setfile.read(tmp_path / "set.yaml")).lamps[0]
    # The lamp stands on the camera's side: its left is -x, on a wall at y = 0 that faces it.
    side = np.tan(np.radians(20)) * 1000 / 2
    shown = [light(it, (x, 0, 500 + z), (0, -1, 0)) > 0 for z in (side, -side) for x in (-side, side)]
    assert shown == [True, False, False, False]


def test_reading_on_the_axis_takes_size_and_beam_into_account():
    """An incident reading gives back itself: C N² / S lux-seconds where the meter was (ISO 2720)."""
    reading = "reading: {f_number: f/16, iso: 100, distance: 700 mm, receptor: flat}"
    for text in (
        "kind: softbox, size: [600 mm, 600 mm], falloff: 2 stops, grid: 40 deg",
        "kind: reflector, beam: 30 deg",
        "kind: snoot",
        "kind: ring",
        "kind: spot, iris: 50 %",
    ):
        it = lamp(f"{text}, {reading}")
        assert it.luminance * light(it, (0, 0, 300)) == pytest.approx(2.5 * 16**2, rel=5e-3)
