"""A small set, little effort, and the command as a process of its own."""

import os
import subprocess
import sys

import pytest

from brimcast.renders.caches import kernel_folder

SMALL_SET = """\
brimcast: 1
title: Small ball
table: {size: [300 mm, 300 mm]}
props:
  hero: {shape: ball, diameter: 30 mm, material: soda-lime}
lamps:
  key: {kind: disc, diameter: 20 mm, throw: 1 m, elevation: 60 deg, azimuth: 180 deg}
meters:
  line: {at: [0 mm, -20 mm, 0 mm]}
camera: {distance: 600 mm, elevation: 40 deg}
render: {width: 36}
"""

# Arguments of Effort. Few rays, but kernels and rounds as always; the proof ends with its fourth round.
LITTLE = {
    "draft": (2.0, 1.0, (16, 16, 16), (24, 12, 8), 1),
    "proof": (2.0, 0.0, (16, 16, 16), (24, 12, 8), 4),
}
CHILD = f"""
import sys
from brimcast.renders import lightpass
from brimcast.scripts import cli, progress
progress.LINE_EVERY_S = 0.0
for quality, effort in {LITTLE!r}.items():
    lightpass.EFFORTS[quality] = lightpass.Effort(*effort)
sys.exit(cli.main(sys.argv[1:]))
"""


@pytest.fixture
def small_set(tmp_path):
    """Path of a set file: a glass ball, a lamp, a meter and a camera."""
    path = tmp_path / "small.yaml"
    path.write_text(SMALL_SET, encoding="utf-8")
    return path


@pytest.fixture
def little_effort(monkeypatch):
    """Make drafts and proofs of this process cheap, as those of `start_child` are."""
    from brimcast.renders import lightpass

    for quality, effort in LITTLE.items():
        monkeypatch.setitem(lightpass.EFFORTS, quality, lightpass.Effort(*effort))


@pytest.fixture
def fill_disk_at_second_picture(monkeypatch):
    """Return a function that lets the second picture that a module writes find the disk full."""

    def fill(module):
        write, calls = module.write_png, []

        def refuse(*arguments, **options):
            calls.append(arguments)
            if len(calls) == 2:
                raise OSError(28, "No space left on device")
            write(*arguments, **options)

        monkeypatch.setattr(module, "write_png", refuse)

    return fill


@pytest.fixture
def start_child(tmp_path):
    """Return a function that starts the command as a process of its own, with little effort."""
    children = []

    def start(*arguments, cache=None):
        environment = os.environ | {"DRJIT_CACHE_DIR": str(kernel_folder())}
        if cache is not None:
            environment["XDG_CACHE_HOME"] = str(cache)
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, *map(str, arguments)],
            env=environment,
            cwd=tmp_path,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        children.append(child)
        return child

    yield start
    for child in children:
        if child.poll() is None:
            child.kill()
        child.communicate()


def read_folder(folder):
    """Return the bytes of every file in a folder by name, and the names beside it."""
    files = {path.name: path.read_bytes() for path in folder.iterdir()}
    return files, sorted(path.name for path in folder.parent.iterdir())


@pytest.fixture
def contents():
    """Function that tells all of a folder, to see whether anything changed in or beside it."""
    return read_folder
