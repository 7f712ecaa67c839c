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
from .device import counts, floats, opaque_float, opaque_int, opaque_point, opaque_vector
from .engine import dr, mi
from .eye import Eye
from .lights import Lights
from .world import World

# Samples a pixel in one round; the wavelengths of a round are stratified.
SAMPLES = 8
# Samples traced in one launch: bounds memory.
LAUNCH = 1 << 21


@dataclass(frozen=True)
class Finish:
    """How clean a picture is asked for.

    Attributes
    ----------
    error : float
        Of a pixel's luminance.
    rounds : int
        The most that a pixel gets.
    scan : int
        Rounds that every pixel gets. After one only neighbours tell which pixels are noisy.
    """

    error: float
    rounds: int
    scan: int = 2


FINISHES = {"draft": Finish(0.10, 4, scan=1), "proof": Finish(0.05, 32), "final": Finish(0.02, 128)}


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
    camera = built.camera
    eye = set_eye(camera)
    strength = np.stack([lamp.scale * lamp.gel for lamp in built.lamps])
    roll = _Roll(camera, len(built.lamps), store and store.load("picture"))
    while roll.round < finish.rounds:
        pixels = roll.wanted(finish)
        if not len(pixels):
            break
        salt = opaque_int((built.seed * 1000003 + roll.round * 7919) & 0xFFFFFFFF)
        for start in range(0, len(pixels), LAUNCH // SAMPLES):
            part = counts(pixels[start : start + LAUNCH // SAMPLES])
            roll.image = _expose(world, lights, eye, part, salt, roll.image)
            if progress:
                share = (roll.round + start / len(pixels)) / finish.rounds
                progress(share, f"picture, round {roll.round + 1}")
        roll.count(pixels, strength)
        if store:
            store.save("picture", roll.arrays())
    return roll.develop()


class _Roll:
    """Sums of the rounds so far, and how much each pixel's luminance scatters between them."""

    def __init__(self, camera: Camera, lamps: int, kept: dict | None):
        self.shape = (camera.height_px, camera.width_px)
        self.whole = camera.width_px * camera.height_px
        self.lamps = lamps
        kept = kept or {}
        self.rounds = kept.get("rounds", np.zeros(self.whole, np.int32))
        self.mean = kept.get("mean", np.zeros(self.whole))
        self.square = kept.get("square", np.zeros(self.whole))
        self.before = kept.get("before", np.zeros(self.whole))
        self.image = floats(kept["image"]) if kept else dr.zeros(mi.Float, lamps * 16 * self.whole)
        dr.make_opaque(self.image)
        self.round = int(self.rounds.max())

    def arrays(self) -> dict:
        names = ("rounds", "mean", "square", "before")
        return {"image": self.image.numpy(), **{name: getattr(self, name) for name in names}}

    def wanted(self, finish: Finish) -> np.ndarray:
        """Pixels of the next round: all at first, then the noisy ones; none when the picture is clean."""
        if self.round < finish.scan:
            return np.arange(self.whole)
        error = self.error()
        # Neighbours tell less well than a second round.
        noisy = np.flatnonzero(error > np.where(self.rounds < 2, finish.error / 2, finish.error))
        few = len(noisy) < 0.002 * self.whole
        return noisy[:0] if few and np.median(error) <= finish.error else noisy

    def count(self, pixels: np.ndarray, strength: np.ndarray) -> None:
        """Take note of a round."""
        weights = (strength * BAND_XYZ[:, 1]).ravel()
        now = np.tensordot(weights, self.image.numpy().reshape(self.lamps * 16, self.whole), 1)
        luminance = (now - self.before)[pixels]
        self.before = now
        self.rounds[pixels] += 1
        off = luminance - self.mean[pixels]
        self.mean[pixels] += off / self.rounds[pixels]
        self.square[pixels] += off * (luminance - self.mean[pixels])
        self.round += 1

    def error(self) -> np.ndarray:
        """Relative error of each pixel, its variance smoothed over its neighbours: few rounds tell little.

        Where there was one round alone, the variance between neighbours stands in: it counts edges too.
        """
        rounds = np.maximum(self.rounds, 1)
        spread = _smooth(self.square / np.maximum(rounds - 1, 1) / rounds, self.shape)
        between = _smooth(self.mean**2, self.shape) - _smooth(self.mean, self.shape) ** 2
        spread = np.where(rounds < 2, np.maximum(between, 0.0), spread)
        floor = 0.02 * np.percentile(self.mean, 95) + 1e-30
        return np.sqrt(spread) / (self.mean + floor)

    def develop(self) -> Picture:
        samples = self.rounds * SAMPLES
        bands = self.image.numpy().reshape(self.lamps, 16, self.whole) / np.maximum(samples, 1)
        return Picture(
            bands.reshape(self.lamps, 16, *self.shape).astype(np.float32),
            float(np.median(self.error())),
            samples.reshape(self.shape),
        )


def _smooth(values: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    return gaussian_filter(values.reshape(shape), 1.0).ravel()


def _expose(world: World, lights: Lights, eye: Eye, pixels, salt, image):
    groups = dr.width(pixels)
    lamps = dr.width(lights.bands) // 16
    sample = dr.arange(mi.UInt32, groups * SAMPLES)
    plane = dr.arange(mi.UInt32, groups * lamps * 16)
    direct = dr.zeros(mi.Float, groups * SAMPLES * lamps)
    dr.make_opaque(sample, plane, direct)
    each = opaque_int(SAMPLES)
    samples, image = look(world.geometry, lights, eye, pixels, sample, each, salt, direct, image)
    return resolve(world.geometry, lights, eye, samples, pixels, plane, opaque_int(groups), each, image)
