"""Where a lamp's rays are aimed, and the rows of lamp points that they leave from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.scene.lamps import Lamp, spread_points
from brimcast.shared.bands import BAND_EDGES_NM, BAND_WIDTH_NM, BANDS, band_of, sample_wavelengths
from brimcast.shared.colour import BAND_XYZ
from brimcast.shared.errors import Fault, PersonError

from .device import counts, floats, opaque_float, opaque_int, opaque_point, opaque_vector
from .engine import dr, mi
from .glowtable import list_glows
from .launches import AimFrame, LampRows
from .photons import WANDERING
from .sequences import spread
from .world import World, list_wavelengths

# Interfaces that a path may pass before a forced reflection is drawn no more.
DEEPEST_GAP = 48


@dataclass(frozen=True)
class Aim:
    """Rectangle through the glassware's middle, across the way from one lamp.

    Attributes
    ----------
    corner_mm, across_mm, upward_mm : (3,) float
        A corner, and its sides with their lengths.
    normal : (3,) float
        Unit vector toward the lamp.
    """

    corner_mm: np.ndarray
    across_mm: np.ndarray
    upward_mm: np.ndarray
    normal: np.ndarray
    area_mm2: float
    frame: AimFrame


def aim_lamp(lamp: Lamp, world: World) -> Aim:
    """Return the rectangle that covers all glassware as any point of the lamp's front sees it."""
    toward = lamp.centre_mm - world.centre_mm
    distance = float(np.linalg.norm(toward))
    normal = toward / distance
    side = np.cross([0.0, 0.0, 1.0], normal) if abs(normal[2]) < 0.999 else np.array([1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    up = np.cross(normal, side)
    off = world.specular_mm - world.centre_mm
    depth = off @ normal
    if depth.max() >= distance - 1.0:
        text = "the lamp stands inside what it should light; move it back"
        raise PersonError(Fault(key=f"lamps.{lamp.name}.throw", text=text))
    # Seen from the lamp's centre, points nearer to it spread; another point of the front sees them
    # shifted against the plane by its own distance from the centre.
    spread = distance / (distance - depth)
    pad = lamp.radius_mm * np.abs(depth) / (distance - depth) + 0.05
    x, y = (off @ side) * spread, (off @ up) * spread
    low = np.array([(x - pad).min(), (y - pad).min()])
    high = np.array([(x + pad).max(), (y + pad).max()])
    corner = world.centre_mm + low[0] * side + low[1] * up
    across, upward = (high[0] - low[0]) * side, (high[1] - low[1]) * up
    frame = AimFrame(
        corner=opaque_point(corner),
        across=opaque_vector(across),
        upward=opaque_vector(upward),
        normal=opaque_vector(normal),
        back_off=opaque_float(2.0 * world.radius_mm),
        centre=opaque_point(lamp.centre_mm),
        right=opaque_vector(lamp.right),
        up=opaque_vector(lamp.up),
        glow=list_glows((lamp,)),
    )
    area = float(np.prod(high - low))
    return Aim(corner, across, upward, normal, area, frame)


@dataclass(frozen=True)
class Order:
    """Forced reflections of a launch, and the chances of each number of interfaces between them."""

    forced: int
    first: np.ndarray
    second: np.ndarray


def even_chances() -> np.ndarray:
    """(DEEPEST_GAP,) chances that favour early interfaces but starve none."""
    chances = 0.85 ** np.arange(DEEPEST_GAP) + 0.01
    return chances / chances.sum()


def draw_rows(
    built: BuiltSet,
    world: World,
    lamp: Lamp,
    aim: Aim,
    order: Order,
    count: int,
    grid: int,
    seeds,
    regular=False,
) -> LampRows:
    """Draw lamp points, wavelengths and choices for batches of `count` grids of `grid` × `grid` rays.

    Place on the lamp and wavelength are spread evenly together, and so are the grid's shift and the choices;
    batches are independent of one another.

    Parameters
    ----------
    seeds : list of sequences of int
        One for each batch: set's seed, lamp, order, batch, round.
    regular : bool
        Whether grids stay regular, where rays are too few to gather by chance.
    """
    batches = [_draw_batch(world, lamp, aim, order, count, np.random.default_rng(seed)) for seed in seeds]
    place, normal, shift, scatter, choice, wavelength = map(np.concatenate, zip(*batches, strict=True))
    if regular:
        scatter[:] = 0
    optics = list_wavelengths(built, wavelength)
    band = optics.band.numpy()
    return LampRows(
        ray=dr.arange(mi.UInt32, len(place) * grid * grid),
        grid=opaque_int(grid),
        batch=counts(np.repeat(np.arange(len(seeds)), count)),
        place=floats(place),
        normal=floats(normal),
        shift=floats(shift),
        scatter=counts(scatter),
        order=counts(choice),
        optics=optics.optics,
        band=optics.band,
        visible=floats(BAND_XYZ[band, 1] * lamp.gel[band]),
        end=counts(np.where((band >= 1) & (band < 5), 1, np.where(band >= 11, 2, 0))),
        width=floats(BAND_WIDTH_NM * lamp.gel[band]),
    )


def _draw_batch(world: World, lamp: Lamp, aim: Aim, order: Order, count: int, generator) -> tuple:
    """Return place and weight, normal and glow, shift, scatter, choices, wavelength of a batch's rows."""
    # Place on the lamp and wavelength; grid's shift and gaps.
    numbers = np.hstack([spread(count, 3, generator), spread(count, 4, generator)])
    points = spread_points(lamp, numbers[:, 0:2], world.centre_mm, world.radius_mm)
    # Gaps one to a stratum, all shifted alike: the sums over them hardly scatter.
    for column in (5, 6):
        numbers[:, column] = (_ranks(numbers[:, column]) + generator.random()) / count

    if lamp.line_nm is not None:
        wavelength = np.full(count, lamp.line_nm)
        radiance = np.full(count, lamp.band_spectrum.max())
    else:
        wavelength, share = spread_wavelengths(count, generator.random())
        order_of_rows = _ranks(numbers[:, 2])
        wavelength, share = wavelength[order_of_rows], share[order_of_rows]
        # Maps hold the mean over each band.
        radiance = lamp.spectral_radiance(wavelength) * count * share

    weight = points.area_mm2 * aim.area_mm2 * radiance / count
    gaps = np.zeros((count, 2), np.uint32)
    drawn_gaps = 0 if order.forced == WANDERING else order.forced
    for place, chances in ((0, order.first), (1, order.second))[:drawn_gaps]:
        drawn, chance = _draw_from(chances, numbers[:, 5 + place])
        if order.forced == 1:
            # A gap that every set draws counts by how often this one drew it, not by how often it should.
            chance = np.where(chance * count >= 1, np.bincount(drawn)[drawn] / count, chance)
        gaps[:, place] = drawn
        weight = weight / chance

    seeds = generator.integers(0, 2**32, count, dtype=np.uint32)
    scatter = generator.integers(1, 2**32, dtype=np.uint32)
    choice = np.column_stack([np.full(count, order.forced), gaps, seeds]).astype(np.uint32)
    return (
        np.column_stack([points.place_mm, weight]),
        np.column_stack([points.normal, np.full(count, lamp.glow is not None)]),
        numbers[:, 3:5],
        np.full(count, scatter),
        choice,
        wavelength,
    )


def spread_wavelengths(count: int, shift: float):
    """Return wavelengths spread over the bands by what the observer sees, each band by a fixed number.

    A number left to chance would add its own scatter to every luminous sum.

    Parameters
    ----------
    count : int
        At least one for each band.
    shift : float
        In [0, 1): place of each wavelength inside its stratum.

    Returns
    -------
    wavelength_nm : (count,) float
        Rising.
    share : (count,) float
        Each one's share of its band.
    """
    if count < BANDS:
        raise ValueError(f"{count} wavelengths leave bands dark; at least {BANDS} are needed")
    middle, _ = sample_wavelengths((np.arange(4096) + 0.5) / 4096)
    wanted = np.bincount(band_of(middle), minlength=BANDS) / 4096 * (count - BANDS)
    numbers = np.floor(wanted).astype(int)
    left = count - BANDS - numbers.sum()
    numbers[np.argsort(numbers - wanted)[:left]] += 1
    numbers += 1
    within = np.concatenate([(np.arange(number) + shift) / number for number in numbers])
    places = np.repeat(BAND_EDGES_NM[:-1], numbers) + within * BAND_WIDTH_NM
    return places, np.repeat(1 / numbers, numbers)


def _ranks(values: np.ndarray) -> np.ndarray:
    return np.argsort(np.argsort(values))


def _draw_from(chances: np.ndarray, u: np.ndarray):
    edges = np.cumsum(chances)
    drawn = np.minimum(np.searchsorted(edges / edges[-1], u, "right"), len(chances) - 1)
    return drawn, chances[drawn] / edges[-1]
