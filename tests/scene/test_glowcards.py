"""Hidden cards: sizes in closed form by similar triangles, and places where none can be."""

import numpy as np
import pytest

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.glowcards import GRAIN_MM, MARGIN_MM

RADIUS, TALL, AWAY, BEHIND, FOCAL = 30.0, 160.0, 900.0, 60.0, 90.0
# A straight tumbler seen level at half its height.
SET = f"""
brimcast: 1
glasses:
  hero:
    vessel: {{outline: [[0 mm, {2 * RADIUS} mm], [{TALL} mm, {2 * RADIUS} mm]], heel: 0.2 mm}}
    drink: {{liquid: water, fill: 120 mm, contact: 90 deg}}
lamps: {{key: {{}}}}
camera: {{at: [0 mm, -{AWAY} mm, 80 mm], aim: [0 mm, 0 mm, 80 mm], lens: {FOCAL} mm, f_number: %s}}
cards: {{glow: {{size: hidden, at: [%s mm, {BEHIND} mm, %s mm], facing: {{azimuth: 0 deg}}, %s}}}}
"""


def hidden(more, f_number="f/11", x=0, z=80, text=SET):
    return build(setfile.parse(text % (f_number, x, z, more)), detail=0.3)


def size_of(built):
    return built.panels[-1].size_mm


def half_width(f_number):
    """From the lens's right edge, rho to the right, the tangent on the right is the one that limits.

    The axis lies atan(rho / AWAY) to the left of straight on, the tangent asin(RADIUS / distance) beside it.
    """
    rho = FOCAL / f_number / 2
    angle = np.arcsin(RADIUS / np.hypot(AWAY, rho)) - np.arctan(rho / AWAY)
    return rho + (AWAY + BEHIND) * np.tan(angle)


@pytest.mark.parametrize(("word", "f_number"), [("f/2", 2.0), ("f/64", 64.0)])
def test_square_card_is_as_wide_as_similar_triangles_say(word, f_number):
    """Rounded down to GRAIN_MM; the tumbler's facets stand for the round to 0.02 mm at this detail."""
    wide, tall = size_of(hidden("shape: square", word))
    # Marked f-numbers are powers of the root of two: f/2 and f/64 are exact.
    exact = 2 * (half_width(f_number) - MARGIN_MM)
    assert exact - GRAIN_MM - 0.05 <= wide <= exact + 0.01 and tall == pytest.approx(wide)


def test_card_to_the_side_is_as_wide_as_the_nearer_side_lets_it():
    wide, _ = size_of(hidden("shape: square", "f/64", x=10))
    exact = 2 * (half_width(64) - 10 - MARGIN_MM)
    assert exact - GRAIN_MM - 0.05 <= wide <= exact + 0.01


def test_ratio_is_kept_and_the_largest_area_is_larger():
    wide, tall = size_of(hidden("shape: 1:2"))
    assert wide / tall == pytest.approx(0.5, abs=GRAIN_MM / wide)
    free = size_of(hidden("behind: glass"))
    assert free[0] * free[1] >= wide * tall


def test_largest_card_fills_the_outline():
    """At half its height the tumbler hides its whole width, down to the table and as far up.

    Its rim, 80 mm over the lens, is seen 80 (AWAY + BEHIND) / (AWAY + RADIUS) = 82.6 mm over the card's
    middle or more: even less the margin that is above the 80 mm of a card that just clears the table.
    """
    wide, tall = size_of(hidden("behind: glass", "f/64"))
    exact = 2 * (half_width(64) - MARGIN_MM)
    assert exact - GRAIN_MM - 0.1 <= wide <= exact + 0.01
    assert tall == pytest.approx(160, abs=GRAIN_MM)


def test_drink_hides_less_than_the_glass():
    """The drink ends at 120 mm: its far edge is seen 40 mm over the lens's height, less the margin."""
    glass, drink = (size_of(hidden(f"shape: 1:4, behind: {what}")) for what in ("glass", "drink"))
    assert drink[1] < glass[1]
    tall = size_of(hidden("shape: 1:3, behind: drink", "f/64"))[1]
    near = 40 * (AWAY + BEHIND) / (AWAY - RADIUS)
    far = 40 * (AWAY + BEHIND) / (AWAY + RADIUS)
    assert 2 * (far - MARGIN_MM) - 0.3 <= tall <= 2 * (near - MARGIN_MM)


def test_card_does_not_go_through_the_table():
    assert size_of(hidden("shape: 1:10", z=15))[1] <= 30 + 0.01


def test_size_found_is_told():
    built = hidden("shape: square")
    wide, tall = size_of(built)
    assert built.notes == (f"card glow: hidden size {wide:.4g} x {tall:.4g} mm",)


def test_corners_are_hidden_by_the_glass_from_all_of_the_lens():
    """Lines from the lens's edge to the card's corners go through the cylinder; farther out not all do."""
    built = hidden("behind: glass", "f/4")
    card, camera = built.panels[-1], built.camera
    wide = card.size_mm[0] / 2
    turn = np.linspace(0, 2 * np.pi, 90)
    lens = camera.place_mm + FOCAL / 4 / 2 * np.stack([np.cos(turn), 0 * turn, np.sin(turn)], axis=1)

    def passes(x):
        """How near the lines to places at x come to the axis, seen from above."""
        way = np.array([x, BEHIND]) - lens[:, :2]
        return np.abs(way[:, 0] * lens[:, 1] - way[:, 1] * lens[:, 0]) / np.hypot(*way.T)

    assert passes(wide).max() < RADIUS and passes(half_width(4) + 0.1).max() > RADIUS


@pytest.mark.parametrize(
    ("change", "key", "text"),
    [
        (("camera:", "# camera:"), "cards.glow.size", "no camera"),
        ((f"{BEHIND} mm, 80", f"-{BEHIND} mm, 80"), "cards.glow.at", "not behind the glass"),
        (("at: [0 mm, 60", "at: [45 mm, 60"), "cards.glow.at", "beside the glass"),
        (("at: [0 mm, 60", "at: [30 mm, 60"), "cards.glow.at", "would be hidden"),
        (("azimuth: 0 deg", "azimuth: 90 deg"), "cards.glow.facing", "edge-on"),
        (("drink: {liquid", "# {liquid"), "cards.glow.behind", "no drink in 'hero'"),
    ],
)
def test_card_that_cannot_hide_is_told(only_fault, change, key, text):
    what = "drink" if "drink" in change[0] else "glass"
    written = (SET % ("f/11", 0, 80, f"behind: {what}")).replace(*change)
    fault = only_fault(lambda: build(setfile.parse(written), detail=0.3))
    assert fault.key == key and text in fault.text
