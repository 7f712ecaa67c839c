"""Evenly spread numbers: additive recurrences of the generalised golden ratio.

After M. Roberts, The unreasonable effectiveness of quasirandom sequences (2018). On the caustics of the demo
sets 64 lamp points drawn so had half the error of 64 of a scrambled Sobol set.
"""

from __future__ import annotations

import numpy as np


def steps(dimensions: int) -> tuple[float, ...]:
    """Return the step of each coordinate: powers of the root above 1 of x^(d + 1) = x + 1, inverted."""
    ratio = 2.0
    for _ in range(64):
        ratio = (1 + ratio) ** (1 / (dimensions + 1))
    return tuple(ratio ** -(power + 1.0) for power in range(dimensions))


def spread(count: int, dimensions: int, generator: np.random.Generator) -> np.ndarray:
    """Return (count, dimensions) numbers in [0, 1), shifted at random as a whole."""
    start = generator.random(dimensions)
    return (start + np.arange(count)[:, None] * np.array(steps(dimensions))) % 1
