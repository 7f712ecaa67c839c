"""The wavelength grid, the 16 bands, and the sampling of wavelengths."""

from functools import cache

import numpy as np

BAND_EDGES_NM = np.linspace(380.0, 700.0, 17)
BAND_CENTRES_NM = (BAND_EDGES_NM[:-1] + BAND_EDGES_NM[1:]) / 2
GRID_NM = np.linspace(380.0, 700.0, 321)
BAND_WIDTH_NM = 20.0
BANDS = len(BAND_CENTRES_NM)

# The share of samples that is spread evenly over 380-700 nm, whatever the observer sees there.
# Without it the ends (x + y + z below 0.01 of its peak) would get next to no samples,
# and a violet fringe would be noise.
FLOOR_SHARE = 0.2

for _fixed in (BAND_EDGES_NM, BAND_CENTRES_NM, GRID_NM):
    _fixed.flags.writeable = False


def band_of(wavelength_nm):
    """Return the index of the band that holds each wavelength.

    Parameters
    ----------
    wavelength_nm : (...) float
        nm, 380 to 700; an inner edge belongs to the band above it, 700 to the last.

    Returns
    -------
    (...) int

    Raises
    ------
    ValueError
        A wavelength lies outside 380-700 nm.
    """
    wavelength_nm = np.asarray(wavelength_nm, float)
    low, high = BAND_EDGES_NM[0], BAND_EDGES_NM[-1]
    outside = ~((wavelength_nm >= low) & (wavelength_nm <= high))
    if outside.any():
        raise ValueError(
            f"{wavelength_nm[outside].flat[0]:g} nm lies outside the bands; use {low:g} to {high:g} nm"
        )
    return np.minimum((wavelength_nm - low) // BAND_WIDTH_NM, BANDS - 1).astype(int)


def band_means(spectrum):
    """Return the mean of a spectrum inside each band.

    The spectrum is taken as piecewise linear between its grid points, so the
    trapezoid rule is exact.

    Parameters
    ----------
    spectrum : (..., 321) float
        Values on `GRID_NM`.

    Returns
    -------
    (..., 16) float
        In the unit of the spectrum.

    Raises
    ------
    ValueError
        The last axis is not 321 long.
    """
    spectrum = np.asarray(spectrum, float)
    if spectrum.shape[-1:] != GRID_NM.shape:
        raise ValueError(f"a spectrum has {len(GRID_NM)} values on GRID_NM, not {spectrum.shape}")
    steps = (spectrum[..., :-1] + spectrum[..., 1:]) / 2
    return steps.reshape(*spectrum.shape[:-1], BANDS, -1).mean(axis=-1)


def sample_wavelengths(u):
    """Return wavelengths drawn where the observer sees most, and their density.

    The density is proportional to x + y + z of the CIE 1931 2 degree observer,
    mixed with an even share (`FLOOR_SHARE`), so no wavelength is drawn less
    often than that share of an even choice. It is linear between the grid
    points and its distribution is inverted exactly.

    Parameters
    ----------
    u : (...) float
        Even random numbers, 0 to 1, 1 itself left out.

    Returns
    -------
    wavelength_nm : (...) float
        380 to 700 nm, rising with `u`.
    pdf : (...) float
        1/nm; its integral over 380-700 nm is 1.

    Raises
    ------
    ValueError
        A number lies outside [0, 1).
    """
    u = np.asarray(u, float)
    if not ((u >= 0) & (u < 1)).all():
        raise ValueError("u must lie in [0, 1)")
    density, cumulative = _importance()

    # Find the grid step, then solve  d0 t + (d1 - d0) t^2 / 2 = rest  for t in it.
    step = np.clip(np.searchsorted(cumulative, u, side="right") - 1, 0, len(GRID_NM) - 2)
    rest = u - cumulative[step]
    low, rise = density[step], density[step + 1] - density[step]
    # This form of the root has no cancellation and holds for rise = 0.
    t = 2 * rest / (low + np.sqrt(np.maximum(low**2 + 2 * rise * rest, 0)))
    t = np.clip(t, 0, 1)
    return GRID_NM[step] + t, low + rise * t


@cache
def _importance():
    """Return density (1/nm) and cumulative distribution on the grid."""
    # The observer builds on the grid of this module.
    from .observer import observer_on_grid

    seen = observer_on_grid().sum(axis=1)
    seen = seen / np.trapezoid(seen, GRID_NM)
    even = 1 / (GRID_NM[-1] - GRID_NM[0])
    density = (1 - FLOOR_SHARE) * seen + FLOOR_SHARE * even
    cumulative = np.concatenate([[0.0], np.cumsum((density[:-1] + density[1:]) / 2)])
    return density / cumulative[-1], cumulative / cumulative[-1]
