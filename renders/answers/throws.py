"""What ice or drops leave of a caustic, over several throws of the same ice."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence

from brimcast.scene.models_cold import Ice
from brimcast.shared.errors import PersonError

from .answer import entry, quadrature
from .pairs import compare, contrast_left, light_left
from .study import Frame, Study

THROWS = 3


def throw_ice(study: Study, iced: Mapping[str, Sequence[Ice]]) -> tuple[list[Frame], list[str]]:
    """Return the set as it is, and with its ice thrown anew; and in words which throws cannot be.

    Where no seed changes anything, for all ice is placed by hand, there is one.
    """
    throws, troubles = [study.frame()], []
    random = any(is_random(piece) for pieces in iced.values() for piece in pieces)
    for later in range(1, THROWS if random else 1):
        seeds = {
            f"glasses.{name}.ice.{number}.seed": (piece.seed + later) % 2**32
            for name, pieces in iced.items()
            for number, piece in enumerate(pieces, 1)
        }
        try:
            throws.append(study.frame(seeds))
        except PersonError as error:
            troubles.append(f"One throw of the ice cannot be: {error.faults[0].text}")
    return throws, troubles


def list_left(clear: Frame, frame: Frame, lamp: str, kind: str) -> dict[str, dict]:
    """Return `contrast_left` and `light_left` of a clear caustic, %, and what `compare` finds."""
    return {
        "contrast_left": contrast_left(clear, frame, lamp, kind),
        "light_left": light_left(clear, frame, lamp, kind),
        **compare(clear, frame, lamp, kind),
    }


def average(numbers: Sequence[dict]) -> dict:
    """Return the mean of a number over throws.

    Its error: of a few throws for all that there are, and of the computing, whose part in each throw they
    may share.
    """
    values, unit = [number["value"] for number in numbers], numbers[0]["unit"]
    if None in values:
        return entry(None, None, unit)
    own = [number["standard_error"] for number in numbers]
    computing = None if None in own else math.sqrt(statistics.fmean(error**2 for error in own))
    throws = spread(numbers)["value"] / math.sqrt(len(values)) if len(values) > 1 else 0.0
    return entry(statistics.fmean(values), quadrature(computing, throws), unit)


def spread(numbers: Sequence[dict]) -> dict:
    """Return the standard deviation of a number between throws, noise and all; None of one throw."""
    values, unit = [number["value"] for number in numbers], numbers[0]["unit"]
    known = len(values) > 1 and None not in values
    return entry(statistics.stdev(values) if known else None, None, unit)


def tell_range(numbers: Sequence[dict]) -> str:
    """Return in words between what a number lies over throws."""
    values = [number["value"] for number in numbers if number["value"] is not None]
    if not values:
        return f"{len(numbers)} throws"
    return f"{len(numbers)} throws: {min(values):.0f} to {max(values):.0f} {numbers[0]['unit']}"


def is_random(piece: Ice) -> bool:
    """Whether another seed gives other ice: it settles, or it breaks or cracks at random."""
    return piece.at_mm is None or piece.shape == "cracked" or bool(getattr(piece, "cracks", None))
