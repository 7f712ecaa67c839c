"""Powers of heads that give lighting ratios: none above full, each within its head's range."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from brimcast.scene.bodies import is_far
from brimcast.scene.kits import read_kit
from brimcast.scene.readings import at_glass, read_lamp

from .study import Study

# Powers nearer than this to a limit are at it.
SMALL_STOPS = 1e-6
# Powers are set in tenths; below this a difference is none.
TENTH = 0.05


@dataclass(frozen=True)
class Dial:
    """What a lamp can be turned to.

    Attributes
    ----------
    light : float
        At the hero, facing the lamp, at the power in use.
    power_stops : float
        In use; stops below full.
    least_stops, most_stops : float
        Its range; both the power in use for sun and sky.
    """

    light: float
    power_stops: float
    least_stops: float
    most_stops: float


def read_dials(study: Study) -> dict[str, Dial]:
    """Return the dial of every lamp of a set.

    Raises
    ------
    PersonError
        The kit file is wrong.
    """
    built, kit = study.built, read_kit(study.set_file)
    point, found = at_glass(built), {}
    for lamp in built.lamps:
        head = getattr(study.set_file.lamps[lamp.name], "head", None)
        least = -kit.heads[head].range_stops if head else -math.inf
        limits = (lamp.power_stops, lamp.power_stops) if is_far(lamp) else (least, 0.0)
        found[lamp.name] = Dial(read_lamp(built, lamp, point), lamp.power_stops, *limits)
    return found


def settle_powers(key: Dial, others: Mapping[str, tuple[Dial, float]]) -> tuple[float, dict[str, float]]:
    """Return the key's power, and each other lamp's, that give ratios of the key's light to theirs.

    The key stays where it is if it can: it goes down where another lamp would need more than full power, and
    up where another would fall below its range. No power is above full; one that no power of the key brings
    into its range comes back below it.

    Parameters
    ----------
    key : Dial
    others : mapping of str to (Dial, float)
        With the ratios; all give light.
    """
    over = {
        name: other.power_stops - key.power_stops + math.log2(key.light / (ratio * other.light))
        for name, (other, ratio) in others.items()
    }
    most = min([key.most_stops, *(other.most_stops - over[name] for name, (other, _) in others.items())])
    least = max([key.least_stops, *(other.least_stops - over[name] for name, (other, _) in others.items())])
    power = min(max(key.power_stops, least), most)
    return power, {name: power + stops for name, stops in over.items()}


def below_range(dial: Dial, power_stops: float) -> float:
    """Return by how many stops a power lies below a dial's range; 0 where it does not."""
    under = dial.least_stops - power_stops
    return under if under > SMALL_STOPS else 0.0


def tell_head(dial: Dial, power_stops: float) -> str:
    """Return in words what a head is to be turned to, and what to do where its range ends before."""
    change = power_stops - dial.power_stops
    told = "full power" if abs(power_stops) < TENTH else f"{-power_stops:.1f} stops below full"
    told += " (as it is)" if abs(change) < TENTH else f" ({abs(change):.1f} {'up' if change > 0 else 'down'})"
    if under := below_range(dial, power_stops):
        least = f"goes down to {-dial.least_stops:.1f} only"
        if dial.least_stops == dial.most_stops:
            least = "cannot be turned down"
        told += f", but it {least}: take {under:.1f} stops off by ND or distance"
    return told


def tell_key(dial: Dial, power_stops: float) -> str:
    """Return the same of the lamp that the ratios are of, and why it is turned."""
    told, change = tell_head(dial, power_stops), power_stops - dial.power_stops
    if change < -TENTH:
        return f"{told}, for another lamp has no more to give"
    return f"{told}, for another lamp cannot go lower" if change > TENTH else told
