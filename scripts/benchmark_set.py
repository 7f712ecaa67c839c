"""The set of the light benchmark, what counts in its picture, and the long runs behind its errors.

An empty tumbler under a small, hard lamp of one wavelength. The error is the mean squared relative error of
the pixels that see the table bare and in the glass's shadow, where the caustic is. It is taken against two
long, independent runs of plain points: the product of the differences from both is free of their own noise.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, replace

import numpy as np

SET = """\
brimcast: 1
title: Empty tumbler, small hard lamp
table: {size: [1.2 m, 0.9 m], reflectance: 60 %}
glasses:
  tumbler: {vessel: tumbler, glass: {index: 1.52}}
lamps:
  key: {kind: disc, diameter: 20 mm, throw: 1 m, elevation: 40 deg, azimuth: 150 deg, colour: 550 nm}
camera:
  sensor: [24 mm, 24 mm]
  lens: 50 mm
  distance: 600 mm
  elevation: 35 deg
  aim: [25 mm, -40 mm, 20 mm]
  f_number: f/16
render: {width: 512}
"""
# What is added to the light of a dark pixel before an error is divided by it, as a share of the lit table's.
FLOOR = 0.01
# Each of the two reference runs.
REFERENCE_CELL_MM, REFERENCE_ROWS, REFERENCE_GRID = 0.25, (32, 32, 16), (160, 80, 32)
REFERENCE_ROUNDS, REFERENCE_CAMERA_SAMPLES = 1, 64
# The path tracer's long run over the shadow, by which the reference's mean is checked.
CHECK_PASSES, CHECK_SAMPLES = 32, 64
# Raise it when what a kept reference holds means something else.
REFERENCE_FORM = 1

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Reference:
    """Long runs of the set.

    Attributes
    ----------
    halves : (2, height, width) float
        Independent pictures, radiance over that of the lamp's front.
    path_mean, path_mean_error : float
        Mean of the shadow by the path tracer, and its standard error.
    """

    halves: np.ndarray
    path_mean: float
    path_mean_error: float

    @property
    def picture(self) -> np.ndarray:
        """(height, width) mean of both halves."""
        return self.halves.mean(axis=0)


class Subject:
    """The set in both forms: ours and Mitsuba's; and the pixels that count."""

    def __init__(self):
        from brimcast.renders.stock import sort_pixels, stock_scene
        from brimcast.renders.world import build_world
        from brimcast.scene.builder import build
        from brimcast.scene.lamps import plain_table_factor
        from brimcast.scene.setfile import parse

        self.built = build(parse(SET))
        self.world = build_world(self.built)
        self.stock = stock_scene(self.built)
        self.table, self.shadow = sort_pixels(self.stock, self.built)
        lamp = self.built.lamps[0]
        albedo = self.built.panels[0].front[np.argmax(lamp.band_spectrum)]
        # The bare table at the datum.
        self.lit = float(plain_table_factor(lamp) * albedo / np.pi)

    def whiten(self) -> Subject:
        """Return the set under a white lamp: glass and table are the same at every wavelength.

        Luminance over that of the lamp's front is then what the one wavelength gave.
        """
        from brimcast.renders.world import build_world
        from brimcast.scene.builder import build
        from brimcast.scene.setfile import parse

        white = copy(self)
        white.built = build(parse(SET.replace("colour: 550 nm", "colour: 5600 K")))
        white.world = build_world(white.built)
        return white

    def trace(self, seed: int, effort):
        """Return the plan, the light pass's result and the seconds it took."""
        from brimcast.renders.lightpass import trace_lamp
        from brimcast.renders.pilot import plan_light

        began = time.perf_counter()
        built = replace(self.built, seed=seed)
        plan = plan_light(built, self.world, effort.cell_mm)
        light = trace_lamp(built, self.world, plan, 0, effort)
        return plan, light, time.perf_counter() - began

    def look(self, seed: int, plan, light, samples: int, sent: tuple[int, int] | None):
        """Return the picture, its samples and the seconds it took.

        Paths that meet the table go on from there where `sent` is None; else see `lightpass.Effort`.
        """
        from brimcast.renders.camerapass import Finish, take_picture
        from brimcast.renders.gathered import map_sent
        from brimcast.renders.lights import set_lights
        from brimcast.shared.colour import BAND_XYZ

        began = time.perf_counter()
        built = replace(self.built, seed=seed)
        lights = set_lights(built, self.world, plan.windows, [light], plan.voxels)
        if sent:
            lights = map_sent(built, self.world, lights, plan.windows.fine, sent).add_to(lights)
        taken = take_picture(built, self.world, lights, Finish(0.0, samples, scan=samples))
        picture = np.tensordot(BAND_XYZ[:, 1], taken.bands[0], 1)
        return picture, int(taken.samples.sum()), time.perf_counter() - began

    def error(self, picture: np.ndarray, reference: Reference) -> float:
        """Mean squared relative error over the shadow."""
        first, second = (picture - half for half in reference.halves)
        return float(np.mean((first * second / (reference.picture + FLOOR * self.lit) ** 2)[self.shadow]))


def standard_error(values) -> float:
    """Standard error of the mean of independent values; nan of one alone."""
    return float(np.std(values, ddof=1) / np.sqrt(len(values))) if len(values) > 1 else float("nan")


def noise(subject: Subject, reference: Reference) -> float:
    """Mean squared relative noise of the mean of both halves."""
    off = (reference.halves[0] - reference.halves[1]) / 2
    return float(np.mean(((off / (reference.picture + FLOOR * subject.lit)) ** 2)[subject.shadow]))


def find_reference(subject: Subject, tell: Tell) -> Reference:
    """Return the kept reference of this set, or make and keep it."""
    name = f"light-{_key(subject)}.npz"
    if kept := load_arrays(name):
        return Reference(kept["halves"], float(kept["path_mean"]), float(kept["path_mean_error"]))
    reference = _make_reference(subject, tell)
    keep_arrays(name, vars(reference), tell)
    return reference


def load_arrays(name: str) -> dict[str, np.ndarray] | None:
    """Return the arrays of a kept reference, None where there is none or it is damaged."""
    from brimcast.renders.caches import cache_root
    from brimcast.renders.keep import DAMAGE

    try:
        with np.load(cache_root() / "bench" / name, allow_pickle=False) as kept:
            return dict(kept)
    except DAMAGE:
        return None


def keep_arrays(name: str, arrays: dict, tell: Tell) -> None:
    """Keep a reference for next time."""
    from brimcast.renders.caches import cache_root
    from brimcast.renders.keep import pack, replacing_file

    try:
        with replacing_file(cache_root() / "bench" / name) as fresh:
            pack(arrays, fresh)
    except OSError as error:
        tell(f"the reference cannot be kept for next time: {error}")


def _key(subject: Subject) -> str:
    """Digest of all that the reference depends on."""
    sizes = [value for name, value in sorted(globals().items()) if name.startswith(("REFERENCE_", "CHECK_"))]
    return digest_solids(subject.built, hashlib.sha256(json.dumps([SET, sizes]).encode()))


def digest_solids(built, digest) -> str:
    """Return a digest's text after the meshes of a built set."""
    for solid in built.solids:
        for part in (solid.mesh.vertices_mm, solid.mesh.faces, solid.mesh.normals):
            digest.update(part.tobytes())
    return digest.hexdigest()[:24]


def _make_reference(subject: Subject, tell: Tell) -> Reference:
    from brimcast.renders.lightpass import Effort

    effort = Effort(
        REFERENCE_CELL_MM, 0.0, REFERENCE_ROWS, REFERENCE_GRID, REFERENCE_ROUNDS, beside_cells=0.0
    )
    halves = []
    for half in (1, 2):
        tell(f"reference, run {half} of 2; it is kept for next time")
        plan, light, _ = subject.trace(1000 + half, effort)
        picture, *_ = subject.look(1000 + half, plan, light, REFERENCE_CAMERA_SAMPLES, None)
        halves.append(picture.astype(np.float32))
    tell("path tracer's mean over the shadow")
    means = _path_means(subject)
    return Reference(np.stack(halves), float(np.mean(means)), standard_error(means))


def _path_means(subject: Subject) -> list[float]:
    """Mean of the shadow in independent runs of the path tracer."""
    from brimcast.renders.stock import render_stock, stock_scene

    lines, columns = np.nonzero(subject.shadow)
    line, column = lines.min(), columns.min()
    size = columns.max() + 1 - column, lines.max() + 1 - line
    scene = stock_scene(subject.built, (column, line, *size))
    here = subject.shadow[line : line + size[1], column : column + size[0]]
    return [
        float(render_stock(scene, "path", CHECK_SAMPLES, seed)[here].mean()) for seed in range(CHECK_PASSES)
    ]
