"""What the benchmarks run on, as far as it takes no time."""

import importlib
import inspect

import pytest

from brimcast.scene.setfile import parse
from brimcast.scripts.benchmark_pictures import FULL_SET
from brimcast.scripts.benchmark_start import DEMO
from brimcast.scripts.benchmarks import PARTS


def test_the_whole_set_is_what_the_figures_are_told_of():
    """Three filled glasses, ice, two thousand drops, three lamps, 1200 by 1500 pixels."""
    full = parse(FULL_SET)
    assert len(full.glasses) == len(full.lamps) == 3
    assert all(glass.drink for glass in full.glasses.values())
    assert full.glasses["hero"].ice and full.glasses["hero"].condensation.count == 2000
    assert full.render.width_px * full.camera.sensor_mm[1] / full.camera.sensor_mm[0] == 1500
    assert DEMO.is_file()


@pytest.mark.parametrize("part", PARTS)
def test_each_part_measures_and_describes(part):
    module = importlib.import_module(f"brimcast.scripts.benchmark_{part}")
    assert set(inspect.signature(module.measure).parameters) == {"device", "tell", *PARTS[part]}
    assert callable(module.describe)
