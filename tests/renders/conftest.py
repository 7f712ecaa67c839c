"""Computing a set through the command, as people do."""

import json
from dataclasses import dataclass
from pathlib import Path

import pytest

from brimcast.renders.images import read_npz
from brimcast.scripts.cli import main

WATER = """
brimcast: 1
title: Water in a tumbler
table: {size: [0.8 m, 0.8 m]}
glasses:
  hero: {vessel: tumbler, drink: {liquid: water, fill: 70 mm}}
lamps:
  key: {kind: disc, diameter: 40 mm, throw: 0.8 m, elevation: 40 deg, azimuth: 170 deg}
"""


@dataclass
class Computed:
    """Output of one run of the command."""

    folder: Path

    @property
    def report(self):
        """Contents of report.json."""
        return json.loads((self.folder / "report.json").read_text(encoding="utf-8"))

    @property
    def maps(self):
        """Arrays of maps.npz."""
        return read_npz(self.folder / "maps.npz")[0]


@pytest.fixture(scope="session")
def water_set():
    """Text of a plain set: a tumbler of water under a small lamp."""
    return WATER


@pytest.fixture(scope="session")
def compute(tmp_path_factory):
    """Return a function that runs `brimcast map` or `render` in this process, into a folder of its own."""
    tmp_path = tmp_path_factory.mktemp("sets")
    runs = []

    def run(text_or_path, *, command="map", changes=None, quality=None, seed=None, extra=()):
        """Compute a set, given as text or path.

        Parameters
        ----------
        text_or_path : str or pathlib.Path
            A text has more than one line.
        command : {'map', 'render'}
        changes : dict of str to object, optional
            Values instead of the set's, by dotted key.
        quality, seed : optional
        extra : sequence of str
            More arguments of the command.

        Returns
        -------
        Computed
        """
        number = len(runs)
        if isinstance(text_or_path, str) and "\n" in text_or_path:
            path = tmp_path / f"set-{number}.yaml"
            path.write_text(text_or_path, encoding="utf-8")
        else:
            path = Path(text_or_path)
        folder = tmp_path / f"out-{number}"
        arguments = [command, str(path), "--out", str(folder)]
        for key, value in (changes or {}).items():
            arguments += ["--change", f"{key}={value if isinstance(value, str) else json.dumps(value)}"]
        for option, value in (("--quality", quality), ("--seed", seed)):
            arguments += [option, str(value)] if value is not None else []
        status = main([*arguments, *extra])
        assert status == 0, f"brimcast {' '.join(arguments)} ended with {status}; its words are in the output"
        runs.append(folder)
        return Computed(folder)

    return run
