"""Light and camera pass against Mitsuba's own integrators: which error is left after the same time.

An empty tumbler under a small, hard lamp of one wavelength. The error is the mean squared relative error of
the pixels that see the table bare and in the glass's shadow, where the caustic is. It is taken against two
long, independent runs of plain points: the product of the differences from both is free of their own noise.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable
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
REFERENCE_ROUNDS, REFERENCE_CAMERA_ROUNDS = 1, 8
# The path tracer's long run over the shadow, by which the reference's mean is checked.
CHECK_PASSES, CHECK_SAMPLES = 32, 64
# Means that should agree may differ by this share and three standard errors.
AGREEMENT = 0.02
# Raise it when what a kept reference holds means something else.
REFERENCE_FORM = 1

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Size:
    """How much a timed run traces.

    Attributes
    ----------
    cell_mm, rows, grid
        As in `lightpass.Effort`.
    camera_rounds : int
    raw_rows, raw_grid : int
        Lamp points and grid of the comparison with bare intersection.
    """

    cell_mm: float
    rows: tuple[int, int, int]
    grid: tuple[int, int, int]
    camera_rounds: int
    raw_rows: int
    raw_grid: int


# A second or two each; on two processor cores these had the least error for their time.
SIZES = {
    "cpu": Size(1.0, (2, 4, 4), (64, 32, 24), 1, 16, 128),
    "gpu": Size(0.5, (4, 8, 8), (512, 128, 64), 8, 64, 512),
}


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

    def trace(self, seed: int, effort, spread: bool):
        """Return the plan, the light pass's result and the seconds it took."""
        from brimcast.renders.lightpass import plan_light, trace_lamp

        began = time.perf_counter()
        built = replace(self.built, seed=seed)
        plan = plan_light(built, self.world, effort)
        light = trace_lamp(built, self.world, plan, 0, effort, spread=spread)
        return plan, light, time.perf_counter() - began

    def look(self, seed: int, plan, light, rounds: int):
        """Return the picture, its samples and the seconds it took."""
        from brimcast.renders.camerapass import Finish, take_picture
        from brimcast.renders.lights import set_lights
        from brimcast.shared.colour import BAND_XYZ

        began = time.perf_counter()
        built = replace(self.built, seed=seed)
        lights = set_lights(built, self.world, plan.windows, [light])
        taken = take_picture(built, self.world, lights, Finish(0.0, rounds))
        picture = np.tensordot(BAND_XYZ[:, 1], taken.bands[0], 1)
        return picture, int(taken.samples.sum()), time.perf_counter() - began

    def error(self, picture: np.ndarray, reference: Reference) -> float:
        """Mean squared relative error over the shadow."""
        first, second = (picture - half for half in reference.halves)
        return float(np.mean((first * second / (reference.picture + FLOOR * self.lit) ** 2)[self.shadow]))


def measure(device: str, repeats: int, tell: Tell) -> dict:
    """Return the figures of the light benchmark.

    Parameters
    ----------
    device : {'auto', 'cpu', 'gpu'}
    repeats : int
        Runs of each; medians count, since a path tracer's error has a long tail.
    tell : callable
        Called with a line of text now and then.

    Raises
    ------
    EngineError
        No device can trace.
    """
    from brimcast.renders.engine import start
    from brimcast.renders.lightpass import Effort
    from brimcast.renders.stock import share_of_raw

    engine = start(device)
    subject = Subject()
    reference = _find_reference(subject, tell)
    size = SIZES[engine.device]
    effort = Effort(size.cell_mm, 0.0, size.rows, size.grid, 1)

    tell("warming up")
    ours = _Ours(subject, effort, size.camera_rounds)
    ours.run(0)
    target_s = ours.run(1)[1]
    stock = {name: _Stock(subject, name, target_s) for name in ("path", "ptracer")}
    contestants = {"ours": ours, **stock}
    runs = {name: [] for name in contestants}
    pictures = {name: [] for name in contestants}
    for repeat in range(repeats):
        tell(f"run {repeat + 1} of {repeats}")
        for name, contestant in contestants.items():
            picture, seconds = contestant.run(100 + repeat)
            runs[name].append((subject.error(picture, reference), seconds))
            pictures[name].append(picture[subject.shadow].mean())
    plan, *_ = subject.trace(1, effort, True)
    raw = share_of_raw(subject.built, subject.world, plan, size.raw_rows, size.raw_grid, repeats)
    figures = {"device": engine.device, "device_name": engine.device_name, "repeats": repeats}
    figures |= _compare(runs, ours, stock)
    figures |= _check_means(subject, reference, pictures)
    figures["light_rays_share_of_raw"] = raw.pop("share")
    figures |= {f"light_{name}": value for name, value in raw.items()}
    return figures


class _Ours:
    """Our light and camera pass, from the set in memory to the picture."""

    def __init__(self, subject: Subject, effort, camera_rounds: int):
        self.subject, self.effort, self.camera_rounds = subject, effort, camera_rounds
        self.light_s, self.camera_s = [], []
        self.rays = self.samples = 0

    def run(self, seed: int):
        plan, light, light_s = self.subject.trace(seed, self.effort, True)
        picture, self.samples, camera_s = self.subject.look(seed, plan, light, self.camera_rounds)
        self.rays = light.rays
        self.light_s.append(light_s)
        self.camera_s.append(camera_s)
        return picture, light_s + camera_s


class _Stock:
    """One of Mitsuba's integrators, with as many samples as fit the time."""

    def __init__(self, subject: Subject, name: str, target_s: float):
        self.subject, self.name, self.samples = subject, name, 4
        self.run(0)
        each_s = self.run(1)[1] / self.samples
        self.samples = max(1, round(target_s / each_s))
        self.run(2)

    def run(self, seed: int):
        from brimcast.renders.stock import render_stock

        began = time.perf_counter()
        picture = render_stock(self.subject.stock, self.name, self.samples, seed)
        return picture, time.perf_counter() - began


def _compare(runs: dict, ours: _Ours, stock: dict) -> dict:
    """Medians of error and time; each error ratio is taken at equal time, as the error falls with time."""
    median = {name: np.median(np.array(listed), axis=0) for name, listed in runs.items()}
    figures = {}
    for name, (error, seconds) in median.items():
        figures |= {f"error_{name}": float(error), f"seconds_{name}": float(seconds)}
        figures[f"errors_{name}"] = [run[0] for run in runs[name]]
    error, seconds = median["ours"]
    pixels = ours.subject.table.size
    for name, contestant in stock.items():
        their_error, their_s = median[name]
        figures[f"error_ratio_{name}"] = float(their_error / error * their_s / seconds)
        figures[f"samples_a_pixel_{name}"] = contestant.samples
        figures[f"samples_per_s_{name}"] = float(contestant.samples * pixels / their_s)
    camera_s = float(np.median(ours.camera_s[2:]))
    figures |= {
        "seconds_light": float(np.median(ours.light_s[2:])),
        "seconds_camera": camera_s,
        "light_rays": ours.rays,
        "camera_samples": ours.samples,
        "pixels": pixels,
        "camera_samples_per_s": ours.samples / camera_s,
        "camera_samples_ratio_path": ours.samples / camera_s / figures["samples_per_s_path"],
    }
    return figures


def _check_means(subject: Subject, reference: Reference, pictures: dict) -> dict:
    """Mean of the shadow by every way over the reference's, and the ways that stand too far off."""
    mean = float(reference.picture[subject.shadow].mean())
    ways = {name: (np.mean(listed), _standard_error(listed)) for name, listed in pictures.items()}
    ways["long_path"] = reference.path_mean, reference.path_mean_error
    figures = {"shadow_mean": mean, "shadow_pixels": int(subject.shadow.sum())}
    figures |= {"reference_noise": _noise(subject, reference), "disagreements": []}
    for name, (value, error) in ways.items():
        figures[f"mean_{name}_over_reference"] = float(value / mean)
        figures[f"mean_{name}_relative_error"] = float(error / mean)
        # One run alone has no error and tells nothing.
        if np.isfinite(error) and abs(value - mean) > AGREEMENT * mean + 3 * error:
            told = f"mean light in the shadow by {name} is {value / mean:.4f} ± {error / mean:.4f} of the reference's"
            figures["disagreements"].append(told)
    return figures


def _standard_error(values) -> float:
    return float(np.std(values, ddof=1) / np.sqrt(len(values))) if len(values) > 1 else float("nan")


def _noise(subject: Subject, reference: Reference) -> float:
    """Mean squared relative noise of the mean of both halves."""
    off = (reference.halves[0] - reference.halves[1]) / 2
    return float(np.mean(((off / (reference.picture + FLOOR * subject.lit)) ** 2)[subject.shadow]))


def _find_reference(subject: Subject, tell: Tell) -> Reference:
    """Return the kept reference of this set, or make and keep it."""
    from brimcast.renders.caches import cache_root
    from brimcast.renders.keep import DAMAGE, pack, replacing_file

    path = cache_root() / "bench" / f"light-{_key(subject)}.npz"
    try:
        with np.load(path, allow_pickle=False) as kept:
            return Reference(kept["halves"], float(kept["path_mean"]), float(kept["path_mean_error"]))
    except DAMAGE:
        pass
    reference = _make_reference(subject, tell)
    try:
        with replacing_file(path) as fresh:
            pack(vars(reference), fresh)
    except OSError as error:
        tell(f"the reference cannot be kept for next time: {error}")
    return reference


def _key(subject: Subject) -> str:
    """Digest of all that the reference depends on."""
    sizes = [value for name, value in sorted(globals().items()) if name.startswith(("REFERENCE_", "CHECK_"))]
    digest = hashlib.sha256(json.dumps([SET, sizes]).encode())
    for solid in subject.built.solids:
        for part in (solid.mesh.vertices_mm, solid.mesh.faces, solid.mesh.normals):
            digest.update(part.tobytes())
    return digest.hexdigest()[:24]


def _make_reference(subject: Subject, tell: Tell) -> Reference:
    from brimcast.renders.lightpass import Effort

    effort = Effort(REFERENCE_CELL_MM, 0.0, REFERENCE_ROWS, REFERENCE_GRID, REFERENCE_ROUNDS)
    halves = []
    for half in (1, 2):
        tell(f"reference, run {half} of 2; it is kept for next time")
        plan, light, _ = subject.trace(1000 + half, effort, False)
        halves.append(subject.look(1000 + half, plan, light, REFERENCE_CAMERA_ROUNDS)[0].astype(np.float32))
    tell("path tracer's mean over the shadow")
    means = _path_means(subject)
    return Reference(np.stack(halves), float(np.mean(means)), _standard_error(means))


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


def describe(figures: dict) -> str:
    """Return the figures as lines of text."""
    lines = [f"device  {figures['device']}, {figures['device_name']}", ""]
    lines.append(f"{'':10}{'error':>12}{'seconds':>10}{'samples/pixel':>15}{'mean/reference':>16}")
    for name in ("ours", "path", "ptracer"):
        samples = figures.get(f"samples_a_pixel_{name}", round(figures["camera_samples"] / figures["pixels"]))
        lines.append(
            f"{name:10}{figures[f'error_{name}']:12.4g}{figures[f'seconds_{name}']:10.2f}{samples:15d}"
            f"{figures[f'mean_{name}_over_reference']:16.4f}"
        )
    long_path, error = figures["mean_long_path_over_reference"], figures["mean_long_path_relative_error"]
    raw, share = figures["light_raw_per_s"] / 1e6, figures["light_rays_share_of_raw"]
    speed, ratio = figures["camera_samples_per_s"] / 1e6, figures["camera_samples_ratio_path"]
    lines += [
        f"{'long path':47}{long_path:16.4f} ± {error:.4f}",
        "",
        f"less error than path at equal time     {figures['error_ratio_path']:10.0f} ×",
        f"less error than ptracer at equal time  {figures['error_ratio_ptracer']:10.1f} ×",
        f"light pass   {figures['seconds_light']:.2f} s, {figures['light_rays'] / 1e6:.2f} million rays; its "
        f"kernels intersect at {share:.2f} of Mitsuba's bare speed ({raw:.1f} million a second)",
        f"camera pass  {figures['seconds_camera']:.2f} s, {speed:.2f} million samples a second, {ratio:.2f} of "
        "path's",
    ]
    return "\n".join(lines)
