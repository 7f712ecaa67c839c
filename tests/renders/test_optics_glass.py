"""Where the light goes that meets filled glasses, with all that may be in and on them: none is lost."""

import numpy as np
import pytest

from brimcast.renders.engine import start
from brimcast.renders.lightpass import Effort, trace_lamp
from brimcast.renders.photons import LOST
from brimcast.renders.pilot import plan_light
from brimcast.renders.world import build_world
from brimcast.scene.builder import build
from brimcast.scene.setfile import parse
from brimcast.shared.errors import PersonError

SHAPES = ["rocks", "highball", "tasting", "coupe", "tumbler", "copa", "v-cocktail", "shot", "flute"]
LIQUIDS = ["water", "{spirit: 40 % vol}", "{spirit: 70 % vol}", "{syrup: 30 Brix}", "{beer: 12 EBC}"]


def test_no_light_is_lost_in_a_wine_glass(compute):
    """Energy conservation: wrong counts of bodies entered, and ways without end, show as lost."""
    report = compute("""
brimcast: 1
glasses:
  hero: {vessel: tasting, drink: {liquid: {spirit: 13 % vol}, fill: 33 %}}
lamps:
  key: {throw: 1.8 m, elevation: 38 deg, azimuth: 165 deg, diameter: 25 mm}
render: {cell: 2 mm}
""").report
    _assert_closed(report["energy"]["key"])


def test_no_light_is_lost_in_frosted_glass(compute):
    """What rough slopes throw at one another is booked as absorbed."""
    report = compute("""
brimcast: 1
glasses:
  hero: {vessel: tumbler, frosted: [{from: 20 mm, to: 70 mm, roughness: 0.3}], drink: {liquid: water}}
lamps:
  key: {throw: 1.8 m, elevation: 38 deg, azimuth: 165 deg, diameter: 25 mm}
render: {cell: 2 mm}
""").report
    _assert_closed(report["energy"]["key"])


def draw_set(seed):
    """A random glass with drink, ice and drops, and beads of water that lie over one another and over all."""
    numbers = np.random.default_rng([seed, 77])
    pick = numbers.choice
    ice = [
        f"{{{pick(['shape: cube, side', 'shape: sphere, diameter', 'shape: cracked, size'])}: "
        f"{numbers.integers(8, 30)} mm, count: {numbers.integers(1, 4)}, "
        f"material: {pick(['ice', 'acrylic'])}, seed: {seed}}}"
        for _ in range(numbers.integers(1, 3))
    ]
    glass = (
        f"vessel: {pick(SHAPES)}, tilt: {numbers.integers(0, 3)} deg, "
        f"drink: {{liquid: {pick(LIQUIDS)}, fill: {numbers.integers(20, 90)} %}}, ice: [{', '.join(ice)}], "
        f"condensation: {{look: {pick(['mist', 'drops', 'heavy'])}, count: {numbers.integers(1, 300)}, "
        f"seed: {seed}}}"
    )
    # Within 60 mm of the glass's middle: beads of 4 to 16 mm, three of them round one place.
    middle = numbers.uniform((-30, -30, 20), (30, 30, 90))
    places = [
        *(middle + numbers.normal(0, 3, (3, 3))),
        *numbers.uniform((-40, -40, 5), (40, 40, 120), (1, 3)),
    ]
    beads = ", ".join(
        f"bead-{number}: {{shape: ball, diameter: {numbers.uniform(4, 16):.2f} mm, material: water, "
        f"at: [{x:.2f} mm, {y:.2f} mm], height: {z:.2f} mm}}"
        for number, (x, y, z) in enumerate(places)
    )
    lamp = "{kind: disc, diameter: 25 mm, throw: 1.5 m, elevation: 35 deg, azimuth: 150 deg}"
    return f"brimcast: 1\nglasses: {{hero: {{{glass}}}}}\nprops: {{{beads}}}\nlamps: {{key: {lamp}}}\n"


def lose(seed):
    """Trace one; return the share of its light that is lost, or None where it is refused with its place.

    Few rays are traced, so that each is held to the limit within three of its standard errors.
    """
    try:
        built = build(parse(draw_set(seed)), detail=0.4)
    except PersonError as error:
        assert all(fault.line and fault.key.startswith("glasses.hero.") for fault in error.faults)
        return None
    start("auto")
    world = build_world(built)
    effort = Effort(4.0, 0.0, (16, 16, 16), (32, 16, 12), 1)
    light = trace_lamp(built, world, plan_light(built, world, effort.cell_mm), 0, effort)
    lost = light.ends[:, LOST].sum(axis=1) / light.incident.mean()
    assert lost.mean() < 1e-4 + 3 * lost.std(ddof=1) / 4, draw_set(seed)
    return lost.mean()


def lose_little(seeds):
    """All together lose less than 0.01 %; most are not refused."""
    lost = [share for share in map(lose, seeds) if share is not None]
    assert len(lost) > len(seeds) / 2
    assert np.mean(lost) < 1e-4 + 3 * np.std(lost, ddof=1) / np.sqrt(len(lost))
    # Not a few rare rays, but the common run of glasses.
    assert np.median(lost) < 2e-5


def test_random_glasses_lose_no_light():
    lose_little(range(20))


@pytest.mark.slow
def test_two_hundred_random_glasses_lose_no_light():
    lose_little(range(20, 200))


def _assert_closed(energy):
    assert energy["lost"]["value"] < 1e-5
    assert energy["sum"]["value"] == pytest.approx(1, abs=3 * energy["sum"]["standard_error"])
    assert energy["sum"]["standard_error"] < 0.01
