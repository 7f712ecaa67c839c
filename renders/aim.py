"""Where a lamp's rays are aimed, and the rows of lamp points that they leave from."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.scene.lamps import Lamp, spread_points
from brimcast.shared.bands import BAND_EDGES_NM, BAND_WIDTH_NM, BANDS, band_of, sample_wavelengths
from brimcast.shared.colour import BAND_XYZ
from brimcast.shared.errors import Fault, PersonError

from .device import counts, floats, opaque_float, opaque_int, opaque_point, opaque_vector
from .engine import dr, mi
from .fronts import describe_front, lay_on_square
from .glowtable import list_glows
from .launches import DEEPEST_GAP, AimFrame, LampRows, nowhere_steady
from .photons import TOSSED, WANDERING
from .sequences import spread
from .world import World, list_wavelengths


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
        steady=nowhere_steady(),
    )
    area = float(np.prod(high - low))
    return Aim(corner, across, upward, normal, area, frame)


@dataclass(frozen=True)
class Order:
    """How the light of a launch is thrown back, see `photons`.

    Attributes
    ----------
    forced : int
        Reflections; or `photons.WANDERING`.
    first, second : (DEEPEST_GAP,) float
        Chance of each number of interfaces before the first, and between it and the second.
    tossed : float
        Share of the lamp points whose rays toss instead.
    """

    forced: int
    first: np.ndarray
    second: np.ndarray
    tossed: float = 0.0


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
    place, normal, shift, scatter, choice, chances, wavelength = map(
        np.concatenate, zip(*batches, strict=True)
    )
    if regular:
        scatter[:] = 0
    optics = list_wavelengths(built, wavelength)
    # Not read back from the device, which would be waited for.
    band = band_of(wavelength)
    return LampRows(
        ray=dr.arange(mi.UInt32, len(place) * grid * grid),
        grid=opaque_int(grid),
        batch=counts(np.repeat(np.arange(len(seeds)), count)),
        place=floats(place),
        normal=floats(normal),
        shift=floats(shift),
        scatter=counts(scatter),
        order=counts(choice),
        chances=floats(chances),
        tossed=opaque_float(_tossed(order, count) / count),
        optics=optics.optics,
        band=optics.band,
        visible=floats(BAND_XYZ[band, 1] * lamp.gel[band]),
        end=counts(np.where((band >= 1) & (band < 5), 1, np.where(band >= 11, 2, 0))),
        width=floats(BAND_WIDTH_NM * lamp.gel[band]),
        lateral=lay_on_square(lamp, place[:, :3]),
        front=describe_front(lamp),
    )


def _draw_batch(world: World, lamp: Lamp, aim: Aim, order: Order, count: int, generator) -> tuple:
    """Return place and weight, normal and glow, shift, scatter, choices and their chances, wavelength."""
    # Place on the lamp and wavelength; grid's shift and gaps.
    numbers = np.hstack([spread(count, 3, generator), spread(count, 4, generator)])
    points = spread_points(lamp, numbers[:, 0:2], world.centre_mm, world.radius_mm)

    if lamp.line_nm is not None:
        wavelength = np.full(count, lamp.line_nm)
        radiance = np.full(count, lamp.band_spectrum.max())
    else:
        wavelength, share = spread_wavelengths(count, generator.random())
        stratum = _strata(numbers[:, 2], generator)
        wavelength, share = wavelength[stratum], share[stratum]
        # Maps hold the mean over each band.
        radiance = lamp.spectral_radiance(wavelength) * count * share

    weight = points.area_mm2 * aim.area_mm2 * radiance / count
    gaps, chances = _draw_gaps(order, numbers[:, 5:7], generator)
    seeds = generator.integers(0, 2**32, count, dtype=np.uint32)
    scatter = generator.integers(1, 2**32, dtype=np.uint32)
    choice = np.column_stack([np.full(count, order.forced), gaps, seeds]).astype(np.uint32)
    return (
        np.column_stack([points.place_mm, weight]),
        np.column_stack([points.normal, np.full(count, lamp.glow is not None)]),
        numbers[:, 3:5],
        np.full(count, scatter),
        choice,
        chances,
        wavelength,
    )


def _tossed(order: Order, count: int) -> int:
    """How many of so many lamp points toss."""
    return round(order.tossed * count)


def _draw_gaps(order: Order, numbers: np.ndarray, generator):
    """Draw the interfaces before each forced reflection of rows.

    Parameters
    ----------
    numbers : (rows, 2) float
        Evenly spread in [0, 1).

    Returns
    -------
    gaps : (rows, 2) int
        `photons.TOSSED` in the first column of rows that toss.
    chances : (2, DEEPEST_GAP) float
        How likely each number is; the first of any row, tossing or not.
    """
    count = len(numbers)
    tosses = (np.arange(count) + generator.integers(count)) % count < _tossed(order, count)
    drawing = count - tosses.sum()
    gaps = np.zeros((count, 2), np.uint32)
    gaps[tosses, 0] = TOSSED
    chances = np.stack([order.first * drawing / count, order.second])
    for place in range(order.forced if order.forced != WANDERING else 0):
        # One to a stratum, all shifted alike: the sums over them hardly scatter.
        even = (_strata(numbers[~tosses, place], generator) + generator.random()) / drawing
        edges = np.cumsum(chances[place])
        drawn = np.minimum(np.searchsorted(edges / edges[-1], even, "right"), DEEPEST_GAP - 1)
        gaps[~tosses, place] = drawn
        if order.forced == 1:
            # A gap that every set draws counts by how often this one drew it, not by how often it should.
            drawn_share = np.bincount(drawn, minlength=DEEPEST_GAP) / count
            chances[0] = np.where(chances[0] * count >= 1, drawn_share, chances[0])
    return gaps, chances


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
    band, place, number = _spread_over_bands(count)
    return BAND_EDGES_NM[band] + (place + shift) / number * BAND_WIDTH_NM, 1 / number


@functools.cache
def _spread_over_bands(count: int):
    """(count,) band of each wavelength, its place among those of the band, and how many these are."""
    middle, _ = sample_wavelengths((np.arange(4096) + 0.5) / 4096)
    wanted = np.bincount(band_of(middle), minlength=BANDS) / 4096 * (count - BANDS)
    numbers = np.floor(wanted).astype(int)
    left = count - BANDS - numbers.sum()
    numbers[np.argsort(numbers - wanted)[:left]] += 1
    numbers += 1
    band = np.repeat(np.arange(BANDS), numbers)
    first = np.cumsum(numbers) - numbers
    return band, np.arange(count) - first[band], numbers[band]


def _strata(values: np.ndarray, generator) -> np.ndarray:
    """Rank the values, all ranks shifted at random round the end, so that each is as likely for any place."""
    return (np.argsort(np.argsort(values)) + generator.integers(len(values))) % len(values)
