"""Light and camera pass against Mitsuba's own integrators: which error is left after the same time."""

from __future__ import annotations

import time
from copy import copy
from dataclasses import dataclass

import numpy as np

from .benchmark_photons import describe_photons, measure_photons
from .benchmark_set import Reference, Subject, Tell, find_reference, noise, standard_error

# Means that should agree may differ by this share and three standard errors.
AGREEMENT = 0.02


@dataclass(frozen=True)
class Size:
    """How much a timed run traces.

    Attributes
    ----------
    cell_mm, rows, grid
        As in `lightpass.Effort`.
    camera_samples : int
    sent : (2,) int
        As in `lightpass.Effort`.
    raw_rows, raw_grid : int
        Lamp points and grid of the comparison with bare intersection.
    """

    cell_mm: float
    rows: tuple[int, int, int]
    grid: tuple[int, int, int]
    camera_samples: int
    sent: tuple[int, int]
    raw_rows: int
    raw_grid: int


# A second or two each.
SIZES = {
    "cpu": Size(1.0, (32, 24, 24), (36, 16, 12), 8, (64, 64), 16, 128),
    "gpu": Size(0.5, (128, 64, 32), (96, 48, 32), 64, (64, 64), 64, 512),
}


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
    reference = find_reference(subject, tell)
    size = SIZES[engine.device]
    effort = Effort(size.cell_mm, 0.0, size.rows, size.grid, 1, sent=size.sent)

    tell("warming up")
    ours = _Ours(subject, effort, size.camera_samples)
    ours.run(0)
    target_s = ours.run(1)[1]
    ours_white = _Ours(subject.whiten(), effort, size.camera_samples)
    ours_white.run(0)
    white_s = ours_white.run(1)[1]
    stock = {name: _Stock(subject, name, target_s) for name in ("path", "ptracer")}
    spectral = _SpectralStock(subject, "path", white_s)
    contestants = {"ours": ours, **stock, "ours_white": ours_white, "path_spectral": spectral}
    runs = {name: [] for name in contestants}
    pictures = {name: [] for name in contestants}
    for repeat in range(repeats):
        tell(f"run {repeat + 1} of {repeats}")
        for name, contestant in contestants.items():
            picture, seconds = contestant.run(100 + repeat)
            runs[name].append((subject.error(picture, reference), seconds))
            pictures[name].append(picture[subject.shadow].mean())
    plan, *_ = subject.trace(1, effort)
    raw = share_of_raw(subject.built, subject.world, plan, size.raw_rows, size.raw_grid, repeats)
    figures = {"device": engine.device, "device_name": engine.device_name, "repeats": repeats}
    figures |= _compare(runs, ours, {**stock, "path_spectral": spectral})
    figures |= _check_means(subject, reference, pictures)
    figures["light_rays_share_of_raw"] = raw.pop("share")
    figures |= {f"light_{name}": value for name, value in raw.items()}
    return figures | measure_photons(subject, engine.device, repeats, tell)


class _Ours:
    """Our light and camera pass, from the set in memory to the picture."""

    def __init__(self, subject: Subject, effort, camera_samples: int):
        self.subject, self.effort, self.camera_samples = subject, effort, camera_samples
        self.light_s, self.camera_s = [], []
        self.rays = self.samples = 0

    def run(self, seed: int):
        plan, light, light_s = self.subject.trace(seed, self.effort)
        picture, self.samples, camera_s = self.subject.look(
            seed, plan, light, self.camera_samples, self.effort.sent
        )
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


class _SpectralStock(_Stock):
    """The same with spectra."""

    def __init__(self, subject: Subject, name: str, target_s: float):
        from brimcast.renders.stock import full_spectrum, stock_scene

        self.context = full_spectrum
        spectral = copy(subject)
        with full_spectrum():
            spectral.stock = stock_scene(subject.built)
        super().__init__(spectral, name, target_s)

    def run(self, seed: int):
        with self.context():
            return super().run(seed)


def _compare(runs: dict, ours: _Ours, stock: dict) -> dict:
    """Medians of error and time; each error ratio is taken at equal time, as the error falls with time."""
    median = {name: np.median(np.array(listed), axis=0) for name, listed in runs.items()}
    figures = {}
    for name, (error, seconds) in median.items():
        figures |= {f"error_{name}": float(error), f"seconds_{name}": float(seconds)}
        figures[f"errors_{name}"] = [run[0] for run in runs[name]]
    pixels = ours.subject.table.size
    for name, contestant in stock.items():
        error, seconds = median["ours_white" if name == "path_spectral" else "ours"]
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
    ways = {name: (np.mean(listed), standard_error(listed)) for name, listed in pictures.items()}
    ways["long_path"] = reference.path_mean, reference.path_mean_error
    figures = {"shadow_mean": mean, "shadow_pixels": int(subject.shadow.sum())}
    figures |= {"reference_noise": noise(subject, reference), "disagreements": []}
    for name, (value, error) in ways.items():
        figures[f"mean_{name}_over_reference"] = float(value / mean)
        # One run alone has no error and tells nothing.
        known = bool(np.isfinite(error))
        figures[f"mean_{name}_relative_error"] = float(error / mean) if known else None
        if known and abs(value - mean) > AGREEMENT * mean + 3 * error:
            told = f"{value / mean:.4f} ± {error / mean:.4f} of the reference's"
            figures["disagreements"].append(f"mean light in the shadow by {name} is {told}")
    return figures


def describe(figures: dict) -> str:
    """Return the figures as lines of text."""
    lines = [f"device  {figures['device']}, {figures['device_name']}", ""]
    lines.append(f"{'':14}{'error':>12}{'seconds':>10}{'samples/pixel':>15}{'mean/reference':>16}")
    for name in ("ours", "path", "ptracer", "ours_white", "path_spectral"):
        samples = figures.get(f"samples_a_pixel_{name}", round(figures["camera_samples"] / figures["pixels"]))
        lines.append(
            f"{name:14}{figures[f'error_{name}']:12.4g}{figures[f'seconds_{name}']:10.2f}{samples:15d}"
            f"{figures[f'mean_{name}_over_reference']:16.4f}"
        )
    long_path, error = figures["mean_long_path_over_reference"], figures["mean_long_path_relative_error"]
    raw, share = figures["light_raw_per_s"] / 1e6, figures["light_rays_share_of_raw"]
    speed, ratio = figures["camera_samples_per_s"] / 1e6, figures["camera_samples_ratio_path"]
    lines += [
        f"{'long path':51}{long_path:16.4f} ± {error:.4f}",
        "",
        f"less error than path at equal time     {figures['error_ratio_path']:10.0f} ×",
        f"less error than ptracer at equal time  {figures['error_ratio_ptracer']:10.1f} ×",
        f"with spectra, than path at equal time  {figures['error_ratio_path_spectral']:10.0f} ×",
        f"light pass   {figures['seconds_light']:.2f} s, {figures['light_rays'] / 1e6:.2f} million rays; its "
        f"kernels intersect at {share:.2f} of Mitsuba's bare speed ({raw:.1f} million a second)",
        *describe_photons(figures),
        f"camera pass  {figures['seconds_camera']:.2f} s, {speed:.2f} million samples a second, "
        f"{ratio:.2f} of path's",
    ]
    return "\n".join(lines)
