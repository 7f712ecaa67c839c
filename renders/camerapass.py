"""The camera pass: a radiance picture for every lamp and band, sampled until it is clean enough.

All pixels get a first round; then those that are still noisy get more, until the asked error is reached.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from brimcast.scene.built import BuiltSet, Camera
from brimcast.shared.colour import BAND_XYZ

from .camera import look, resolve
from .device import backend, counts, floats, opaque_float, opaque_int, opaque_point, opaque_vector
from .engine import dr, mi
from .eye import Eye
from .lights import Lights
from .world import World

# Samples a pixel in one round, whose wavelengths are stratified, and samples of one launch. A card waits for
# the longest path of each launch, so that it wants few; a launch takes memory by its samples.
SAMPLES = {"llvm": 8, "metal": 32, "cuda": 32}
LAUNCH = {"llvm": 1 << 21, "metal": 1 << 23, "cuda": 1 << 25}
# What is known of each pixel's luminance: rounds, their mean and summed squared differences from it, and the
# sum of all as it was last.
GRAIN = ("rounds", "mean", "square", "before")


@dataclass(frozen=True)
class Finish:
    """How clean a picture is asked for.

    Attributes
    ----------
    error : float
        Of a pixel's luminance.
    samples : int
        The most that a pixel gets.
    scan : int
        Rounds that every pixel gets. After one only neighbours tell which pixels are noisy.
    """

    error: float
    samples: int
    scan: int = 2


FINISHES = {"draft": Finish(0.10, 32, scan=1), "proof": Finish(0.05, 256), "final": Finish(0.02, 1024)}


@dataclass
class Picture:
    """Radiance of each lamp and band, per unit luminance of the lamp's front.

    Attributes
    ----------
    bands : (lamps, 16, height, width) float32
        Mean spectral radiance, 1/nm.
    error : float
        Median relative error of the pixels' luminance.
    samples : (height, width) int
        Samples a pixel.
    """

    bands: np.ndarray
    error: float
    samples: np.ndarray


def set_eye(camera: Camera) -> Eye:
    """Return the camera as kernel inputs."""
    return Eye(
        place=opaque_point(camera.place_mm),
        forward=opaque_vector(camera.forward),
        right=opaque_vector(camera.right),
        up=opaque_vector(camera.up),
        field=mi.Vector2f(*(opaque_float(side / 2 / camera.image_mm) for side in camera.sensor_mm)),
        pixels=mi.Vector2u(opaque_int(camera.width_px), opaque_int(camera.height_px)),
        moved=mi.Vector2f(
            *(opaque_float(side / camera.image_mm) for side in (camera.shift_mm, camera.rise_mm))
        ),
        lens_radius=opaque_float(camera.focal_mm / camera.f_number / 2),
        lens_up=opaque_vector(np.cross(camera.right, camera.lens_axis)),
        focus=opaque_vector(camera.focus_plane),
    )


def take_picture(
    built: BuiltSet, world: World, lights: Lights, finish: Finish, progress=None, store=None
) -> Picture:
    """Return the camera's picture, lamp by lamp and band by band.

    Parameters
    ----------
    progress : callable, optional
        Called with the share done and a line of text.
    store : keep.Unfinished, optional
        Where finished rounds are kept, so that interrupted work goes on.
    """
    eye = set_eye(built.camera)
    roll = _Roll(built, store and store.load("camera"))
    while roll.round < roll.most(finish):
        pixels = roll.wanted(finish)
        if not len(pixels):
            break
        at_once = LAUNCH[backend()] // roll.each
        parts = [counts(pixels[start : start + at_once]) for start in range(0, len(pixels), at_once)]
        for number in range(roll.round, roll.next_look(finish)):
            salt = opaque_int((built.seed * 1000003 + number * 7919) & 0xFFFFFFFF)
            for place, part in enumerate(parts):
                roll.image = _expose(world, lights, eye, part, roll.each, salt, roll.image)
                roll.count(part)
                if progress:
                    share = (number + place / len(parts)) / roll.most(finish)
                    progress(share, f"picture, round {number + 1}")
            roll.round += 1
        if store:
            store.save("camera", roll.arrays())
    return roll.develop()


class _Roll:
    """Sums of the rounds so far, and how much each pixel's luminance scatters between them.

    Both stay on the device; numbers of pixels are looked at in NumPy, now and then.
    """

    def __init__(self, built: BuiltSet, kept: dict | None):
        camera = built.camera
        self.shape = (camera.height_px, camera.width_px)
        self.whole = camera.width_px * camera.height_px
        self.lamps = len(built.lamps)
        self.each = SAMPLES[backend()]
        strength = np.stack([lamp.scale * lamp.gel for lamp in built.lamps])
        self.weights = floats(strength * BAND_XYZ[:, 1])
        self.round = int(kept["round"]) if kept else 0
        self.image = floats(kept["image"]) if kept else dr.zeros(mi.Float, self.lamps * 16 * self.whole)
        grain = [floats(kept[name]) if kept else dr.zeros(mi.Float, self.whole) for name in GRAIN]
        self.grain = dict(zip(GRAIN, grain, strict=True))
        dr.make_opaque(self.image, self.grain)

    def arrays(self) -> dict:
        grain = {name: values.numpy() for name, values in self.grain.items()}
        return {"round": np.array(self.round), "image": self.image.numpy(), **grain}

    def wanted(self, finish: Finish) -> np.ndarray:
        """Pixels of the next rounds: all at first, then the noisy ones; none when the picture is clean."""
        if self.round < finish.scan:
            return np.arange(self.whole)
        error, rounds = self.error()
        # Neighbours tell less well than a second round.
        noisy = np.flatnonzero(error > np.where(rounds < 2, finish.error / 2, finish.error))
        few = len(noisy) < 0.002 * self.whole
        return noisy[:0] if few and np.median(error) <= finish.error else noisy

    def most(self, finish: Finish) -> int:
        """Rounds at most."""
        return max(1, finish.samples // self.each)

    def next_look(self, finish: Finish) -> int:
        """The round after which noise is looked at again: the later, the less each round changes."""
        more = max(1, self.round // 4)
        return min(finish.scan if self.round < finish.scan else self.round + more, self.most(finish))

    def count(self, pixels) -> None:
        """Take note of a round of some pixels."""
        planes, whole = opaque_int(self.lamps * 16), opaque_int(self.whole)
        self.grain = _note(self.image, self.weights, planes, whole, pixels, self.grain)

    def error(self) -> tuple[np.ndarray, np.ndarray]:
        """Relative error of each pixel, its variance smoothed over its neighbours: few rounds tell little.

        Where there was one round alone, the variance between neighbours stands in: it counts edges too.
        Returned with the rounds that each pixel got.
        """
        rounds, mean, square = (self.grain[name].numpy() for name in ("rounds", "mean", "square"))
        known = np.maximum(rounds, 2)
        spread = _smooth(square / (known - 1) / known, self.shape)
        if (rounds < 2).any():
            between = _smooth(mean**2, self.shape) - _smooth(mean, self.shape) ** 2
            spread = np.where(rounds < 2, np.maximum(between, 0.0), spread)
        floor = 0.02 * np.percentile(mean, 95) + 1e-30
        return np.sqrt(spread) / (mean + floor), rounds

    def develop(self) -> Picture:
        error, rounds = self.error()
        samples = rounds.astype(int) * self.each
        bands = self.image.numpy().reshape(self.lamps, 16, *self.shape)
        bands /= np.maximum(samples, 1).reshape(self.shape).astype(np.float32)
        return Picture(bands, float(np.median(error)), samples.reshape(self.shape))


@dr.freeze(warn_after=1000)
@dr.syntax
def _note(image, weights, planes, whole, pixels, grain):
    """Add a round of some pixels to what is known of their luminance.

    After B. P. Welford, Note on a method for calculating corrected sums of squares and products,
    Technometrics 4 (1962).
    """
    now = mi.Float(0)
    plane = mi.UInt32(0)
    while dr.hint(plane < planes, exclude=[image, weights, pixels, whole]):
        now += dr.gather(mi.Float, weights, plane) * dr.gather(mi.Float, image, plane * whole + pixels)
        plane += 1
    rounds, mean, square, before = (dr.gather(mi.Float, grain[name], pixels) for name in GRAIN)
    luminance = now - before
    rounds += 1
    off = luminance - mean
    mean += off / rounds
    square += off * (luminance - mean)
    for name, values in zip(GRAIN, (rounds, mean, square, now), strict=True):
        dr.scatter(grain[name], values, pixels)
    return grain


def _smooth(values: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    return gaussian_filter(values.reshape(shape), 1.0).ravel()


def _expose(world: World, lights: Lights, eye: Eye, pixels, samples: int, salt, image):
    groups = dr.width(pixels)
    lamps = dr.width(lights.bands) // 16
    sample = dr.arange(mi.UInt32, groups * samples)
    plane = dr.arange(mi.UInt32, groups * lamps * 16)
    direct = dr.zeros(mi.Float, groups * samples * lamps)
    dr.make_opaque(sample, plane, direct)
    each = opaque_int(samples)
    met, image = look(world.geometry, lights, eye, pixels, sample, each, salt, direct, image)
    whole = opaque_int(dr.width(image) // (lamps * 16))
    groups = opaque_int(groups)
    return resolve(world.geometry, lights, met, pixels, plane, groups, each, whole, image)
