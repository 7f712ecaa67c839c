"""The camera pass: a radiance picture for every lamp and band, sampled until it is clean enough.

All pixels get a first round; then those that are still noisy get more, until the asked error is reached.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.stats import qmc

from brimcast.scene.built import BuiltSet, Camera
from brimcast.scene.lamps import Lamp, spread_points
from brimcast.shared.bands import BAND_WIDTH_NM, sample_wavelengths
from brimcast.shared.colour import BAND_XYZ
from brimcast.vessels.solids import ball

from .camera import Eye, Lights, look, resolve
from .device import counts, floats, opaque_float, opaque_int, opaque_point, opaque_vector
from .engine import dr, mi
from .lightpass import LampLight
from .splats import Windows
from .world import World, list_wavelengths, load_mesh

POINTS = 4096
ROWS = 512
# Samples a pixel in one round; the wavelengths of a round are stratified.
SAMPLES = 16
# Samples traced in one launch: bounds memory.
LAUNCH = 1 << 21


@dataclass(frozen=True)
class Finish:
    """How clean a picture is asked for: median pixel error, and the most rounds a pixel gets."""

    error: float
    rounds: int


FINISHES = {"draft": Finish(0.10, 4), "proof": Finish(0.05, 16), "final": Finish(0.02, 64)}


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
    # A lens focused closer than far away stands farther from the sensor than its focal length.
    image_mm = camera.focal_mm * (1 + camera.magnification)
    return Eye(
        place=opaque_point(camera.place_mm),
        forward=opaque_vector(camera.forward),
        right=opaque_vector(camera.right),
        up=opaque_vector(camera.up),
        field=mi.Vector2f(*(opaque_float(side / 2 / image_mm) for side in camera.sensor_mm)),
        pixels=mi.Vector2u(opaque_int(camera.width_px), opaque_int(camera.height_px)),
        lens_radius=opaque_float(camera.focal_mm / camera.f_number / 2),
        focus=opaque_float(camera.focus_mm),
    )


def set_lights(built: BuiltSet, world: World, windows: Windows, lights: list[LampLight]) -> Lights:
    """Return the lamps and the light pass's maps as kernel inputs."""
    points = qmc.Sobol(2, rng=np.random.default_rng((built.seed, 104729))).random(POINTS)
    place, normal = [], []
    for lamp in built.lamps:
        spread = spread_points(lamp, points, world.centre_mm, _reach(built, world))
        place.append(np.column_stack([spread.place_mm, spread.area_mm2]))
        normal.append(np.column_stack([spread.normal, np.zeros(POINTS)]))
    wavelength, weights = _weigh_rows(built.lamps)
    listed = list_wavelengths(built, wavelength)
    fronts, owners, normals = _load_fronts(built.lamps)
    maps = np.stack([light.maps.sum(axis=1) for light in lights])
    return Lights(
        count=opaque_int(len(built.lamps)),
        point_count=opaque_int(POINTS),
        place=floats(np.concatenate(place)),
        normal=floats(np.concatenate(normal)),
        rows=opaque_int(ROWS),
        weights=floats(weights),
        bands=floats([lamp.band_spectrum for lamp in built.lamps]),
        optics=listed.optics,
        band=listed.band,
        fronts=fronts,
        front_lamp=counts(owners),
        front_normal=floats(normals),
        maps=floats(maps),
        windows=windows,
    )


def _reach(built: BuiltSet, world: World) -> float:
    """Radius round the glassware within which surfaces are lit."""
    corners = np.concatenate([panel.mesh.vertices_mm for panel in built.panels])
    return float(np.linalg.norm(corners - world.centre_mm, axis=1).max())


def _weigh_rows(lamps: tuple[Lamp, ...]):
    """Wavelengths of the camera's samples, and each lamp's weights there.

    Returns
    -------
    wavelength_nm : (ROWS,) float
    weights : (lamps, ROWS, 2) float
        Weight of a band's map value, and spectral radiance with that weight: their means over all rows
        give each band its mean.
    """
    lines = sorted({lamp.line_nm for lamp in lamps if lamp.line_nm is not None})
    smooth = any(lamp.line_nm is None for lamp in lamps)
    kinds = len(lines) + (1 if smooth else 0)
    # Rows take turns between the smooth spectra and each line.
    turn = np.arange(ROWS) % kinds
    wavelength, weights = np.empty(ROWS), np.zeros((len(lamps), ROWS, 2))
    for place, line in enumerate(lines):
        here = turn == place
        wavelength[here] = line
        for number, lamp in enumerate(lamps):
            if lamp.line_nm == line:
                share = ROWS / here.sum()
                weights[number, here] = share, share * lamp.band_spectrum.max()
    if smooth:
        here = turn == len(lines)
        drawn, density = sample_wavelengths((np.arange(here.sum()) + 0.5) / here.sum())
        wavelength[here] = drawn
        share = ROWS / here.sum() / (density * BAND_WIDTH_NM)
        for number, lamp in enumerate(lamps):
            if lamp.line_nm is None:
                weights[number, here, 0] = share
                weights[number, here, 1] = share * lamp.spectral_radiance(drawn)
    return wavelength, weights


def _load_fronts(lamps: tuple[Lamp, ...]):
    """Meshes of the lamps' shining fronts, and for each face its lamp and its normal."""
    vertices, faces, owners, first = [], [], [], 0
    for number, lamp in enumerate(lamps):
        if lamp.kind == "bulb":
            corner, face = _ball_front(lamp)
        else:
            corner, face = _flat_front(lamp)
        vertices.append(corner)
        faces.append(face + first)
        owners.append(np.full(len(face), number))
        first += len(corner)
    corners, faces = np.concatenate(vertices), np.concatenate(faces)
    a, b, c = (corners[faces[:, place]] for place in range(3))
    normals = np.cross(b - a, c - a)
    normals = np.pad(normals / np.linalg.norm(normals, axis=1, keepdims=True), ((0, 0), (0, 1)))
    return load_mesh(corners, faces), np.concatenate(owners), normals


def _flat_front(lamp: Lamp):
    if lamp.kind == "panel":
        flat = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]) * lamp.size_mm
    else:
        angle = 2 * np.pi * np.arange(128) / 128
        # A polygon of the disc's area.
        radius = lamp.radius_mm * np.sqrt(2 * np.pi / 128 / np.sin(2 * np.pi / 128))
        flat = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    corners = lamp.centre_mm + flat[:, :1] * lamp.right + flat[:, 1:] * lamp.up
    count = len(flat)
    fan = np.column_stack([np.zeros(count - 2), np.arange(1, count - 1), np.arange(2, count)]).astype(int)
    # Counter-clockwise seen from the lit side.
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    return corners, fan if normal @ lamp.facing > 0 else fan[:, ::-1]


def _ball_front(lamp: Lamp):
    mesh = ball(lamp.size_mm[0], sections=128)
    middle = (mesh.vertices_mm.min(axis=0) + mesh.vertices_mm.max(axis=0)) / 2
    return mesh.vertices_mm - middle + lamp.centre_mm, mesh.faces


def take_picture(built: BuiltSet, world: World, lights: Lights, finish: Finish, progress=None, store=None) -> Picture:
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
    strength = np.array([lamp.scale for lamp in built.lamps])
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
        if self.round < 2:
            return np.arange(self.whole)
        error = self.error()
        noisy = np.flatnonzero(error > finish.error)
        few = len(noisy) < 0.002 * self.whole
        return noisy[:0] if few and np.median(error) <= finish.error else noisy

    def count(self, pixels: np.ndarray, strength: np.ndarray) -> None:
        """Take note of a round."""
        weights = (strength[:, None] * BAND_XYZ[:, 1]).ravel()
        now = np.tensordot(weights, self.image.numpy().reshape(self.lamps * 16, self.whole), 1)
        luminance = (now - self.before)[pixels]
        self.before = now
        self.rounds[pixels] += 1
        off = luminance - self.mean[pixels]
        self.mean[pixels] += off / self.rounds[pixels]
        self.square[pixels] += off * (luminance - self.mean[pixels])
        self.round += 1

    def error(self) -> np.ndarray:
        """Relative error of each pixel; its variance is taken with its neighbours', few rounds tell little."""
        rounds = np.maximum(self.rounds, 1)
        spread = self.square / np.maximum(rounds - 1, 1) / rounds
        spread = gaussian_filter(spread.reshape(self.shape), 1.0).ravel()
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


def _expose(world: World, lights: Lights, eye: Eye, pixels, salt, image):
    groups = dr.width(pixels)
    lamps = dr.width(lights.bands) // 16
    sample = dr.arange(mi.UInt32, groups * SAMPLES)
    plane = dr.arange(mi.UInt32, groups * lamps * 16)
    direct = dr.zeros(mi.Float, groups * SAMPLES * lamps)
    dr.make_opaque(sample, plane, direct)
    each = opaque_int(SAMPLES)
    samples, image = look(world, lights, eye, pixels, sample, each, salt, direct, image)
    return resolve(world, lights, eye, samples, pixels, plane, opaque_int(groups), each, image)
