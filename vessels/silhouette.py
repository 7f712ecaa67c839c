"""The edge of a glass in a photograph on a plain background, to a fraction of a pixel.

The picture is flattened by a smooth model of its background, so that uneven light does not count. Then the
edge is where the difference from the background rises most steeply, measured across it at each place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FEWEST_PX = 250  # of the glass's height
_BLOCKS = 80  # of the background's model, along the picture's longer side
_FRAME = 0.1  # of the picture's shorter side: where the background is looked for first
_DARKEST = 0.03  # of white: keeps differences finite on black
_BUSY = 0.06  # a background that wavers by more, block by block, is not plain
_FAINT = 0.04  # a difference from the background under this is nothing
_WEAKER = 0.6  # of what is clear: enough where it hangs together with what is
_NOISIEST = 0.3  # what must be exceeded to stand out from noise, at most
_CLEAR = 10.0  # times the noise that an edge must have
_GAP = 0.006  # of the picture's longer side: half the widest gap in a faint edge that is bridged
_INSIDE, _OUTSIDE = 8, 5  # pixels looked at on each side of an edge
_SHARP_PX = 0.4  # softening where the edge is located
_RISE_PX = 0.8  # about the width of a sharp edge
_SOFTEN = 2.0  # pixels along the edge over which noise is averaged out


class PhotoError(ValueError):
    """A photograph from which no outline can be trusted."""


@dataclass(frozen=True, eq=False)
class Edge:
    """The closed edge of a thing in a picture.

    Parameters
    ----------
    points_px : (n, 2) float
        x to the right and y down, the middle of the first pixel at 0; not closed.
    contrast : float
        Usual difference from the background, as a share of it.
    noise : float
        Noise of the background, as a share of it.
    rough_px : float
        How far single places lie off the softened edge, rms.
    """

    points_px: np.ndarray
    contrast: float
    noise: float
    rough_px: float


def find_edge(picture):
    """Return the edge of the one thing in a picture.

    Parameters
    ----------
    picture : (height, width, 3) float
        Linear light, 1 white.

    Raises
    ------
    PhotoError
        The background is busy or noisy, nothing or more than one thing stands before it, or the thing
        is cut off by the picture's border or too small.
    """
    difference, sharp, noise = _flattened(picture)
    clear = max(6 * noise, _FAINT)
    if clear > _NOISIEST:
        raise PhotoError(f"is too noisy: its background wavers by {100 * noise:.0f} %; give it more light")
    body = _one_body(_standing_out(difference, clear))
    contrast = _usual_contrast(difference, body)
    if contrast < _CLEAR * noise:
        raise PhotoError(
            f"is too noisy: the glass's edge stands out only {contrast / noise:.1f} times from the noise "
            f"({_CLEAR:g} is needed); give it more light, or a background that it stands out from"
        )
    rows = np.flatnonzero(body.any(axis=1))
    if np.ptp(rows) < FEWEST_PX:
        text = f"shows the glass only {np.ptp(rows)} pixels tall; at least {FEWEST_PX} are needed: go nearer"
        raise PhotoError(text)
    coarse = _outer_contour(difference, body, _WEAKER * clear)
    fine = _at_steepest(sharp, coarse)
    return _softened(fine, contrast, noise)


def _flattened(picture):
    """Return the softened difference from the background, as a share of it, the sharp one, and the noise."""
    from scipy.ndimage import gaussian_filter

    height, width = picture.shape[:2]
    if min(height, width) < FEWEST_PX / 2:
        raise PhotoError(f"is too small: {width} x {height} pixels")
    background = _background(picture)
    share = (picture - background) / (background + _DARKEST)
    soft, sharp = (gaussian_filter(share, sigma=(wide, wide, 0)) for wide in (1.0, _SHARP_PX))
    difference, sharper = (np.sqrt((one**2).mean(axis=2)) for one in (soft, sharp))
    # What noise leaves of the softened difference; the median leaves out things.
    rest = soft - gaussian_filter(soft, sigma=(4, 4, 0))
    frame = _frame_mask((height, width), int(_FRAME * min(height, width)))
    noise = 1.4826 * np.median(np.abs(rest[frame]))
    return difference, sharper, float(max(noise, 1e-4))


def _background(picture):
    """Return a smooth model of the background, fitted to the frame and to what fits with it."""
    height, width = picture.shape[:2]
    block = max(4, max(height, width) // _BLOCKS)
    rows, columns = height // block, width // block
    blocks = picture[: rows * block, : columns * block].reshape(rows, block, columns, block, 3)
    pixels = blocks.swapaxes(1, 2).reshape(rows, columns, block**2, 3)
    blocks = np.median(pixels, axis=2)
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, columns), indexing="ij")
    frame = _frame_mask((rows, columns), max(2, int(_FRAME * min(rows, columns))))
    chosen = frame.copy()
    for degree in (2, 2, 4, 4):
        terms = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
        basis = np.stack([x**i * y**j for i, j in terms], axis=-1)
        factors = _robust_fit(basis[chosen], blocks[chosen])
        model = basis @ factors
        off = np.abs(blocks - model).max(axis=2) / (model.max(axis=2) + _DARKEST)
        near = max(3 * 1.4826 * np.median(off[frame]), 0.03)
        chosen = off < near
    # What the grain of the pixels would make of a plain background's blocks.
    grain = np.median(np.abs(pixels - blocks[:, :, None])[frame]) / (block * (model[frame].mean() + _DARKEST))
    busy = off[frame] > max(near, _BUSY)
    if busy.mean() > 0.3 or np.median(off[frame]) > max(_BUSY, 10 * grain):
        raise PhotoError("has a busy background; take it against one plain sheet that fills the picture")
    table = np.zeros((degree + 1, degree + 1, 3))
    for (i, j), factor in zip(terms, factors, strict=True):
        table[j, i] = factor
    lines, places = (np.vander(np.linspace(-1, 1, n), degree + 1, increasing=True) for n in (height, width))
    return np.maximum(np.stack([lines @ table[..., k] @ places.T for k in range(3)], axis=2), 0.0)


def _robust_fit(basis, values):
    """Return factors (k, 3) of the terms; values far off count little."""
    weights = np.ones(len(values))
    for _ in range(8):
        weighted = basis * weights[:, None]
        factors = np.linalg.solve(basis.T @ weighted + 1e-9 * np.eye(basis.shape[1]), weighted.T @ values)
        off = np.abs(values - basis @ factors).max(axis=1)
        scale = max(1.4826 * np.median(off), 1e-4)
        weights = 1 / (1 + (off / (2 * scale)) ** 2) ** 2
    return factors


def _frame_mask(shape, wide):
    mask = np.ones(shape, dtype=bool)
    mask[wide:-wide, wide:-wide] = False
    return mask


def _standing_out(difference, clear):
    """Return where a difference is clear, and what is weaker but hangs together with that."""
    from scipy.ndimage import label

    labels, count = label(difference > _WEAKER * clear)
    kept = np.zeros(count + 1, dtype=bool)
    kept[labels[difference > clear]] = True
    kept[0] = False
    return kept[labels]


def _filled(mask):
    """Return a mask with what it surrounds; gaps in its edge are bridged, and do not move it elsewhere."""
    from scipy.ndimage import binary_closing, binary_erosion, binary_fill_holes, binary_opening

    wide = max(4, round(_GAP * max(mask.shape)))
    ball = np.hypot(*np.mgrid[-wide : wide + 1, -wide : wide + 1]) <= wide
    inner = np.s_[wide + 1 : -wide - 1, wide + 1 : -wide - 1]
    closed = binary_closing(np.pad(mask, wide + 1), ball)[inner]
    inside = binary_erosion(binary_fill_holes(closed | mask), ball)
    return binary_opening(binary_fill_holes(mask | inside), np.ones((3, 3)))


def _one_body(mask):
    """Return the filled shape of the one thing in a mask."""
    from scipy.ndimage import label, sum_labels

    filled = _filled(mask)
    labels, count = label(filled)
    if count == 0:
        raise PhotoError("shows no glass: nothing stands out from the background")
    sizes = sum_labels(filled, labels, np.arange(1, count + 1))
    largest = int(sizes.argmax())
    if sizes[largest] < 0.004 * mask.size:
        raise PhotoError("shows no glass: nothing of some size stands out from the background")
    body = labels == largest + 1
    _check_inside(body)
    others = np.flatnonzero(sizes > 0.02 * sizes[largest])
    if len(others) > 1:
        middles = [f"{np.mean(np.flatnonzero((labels == k + 1).any(axis=0))):.0f}" for k in others]
        raise PhotoError(
            f"shows {len(others)} things apart, round x = {', '.join(middles)} pixels; leave one glass "
            "alone, before a background that all of its edge stands out from"
        )
    if body.mean() > 0.6:
        raise PhotoError("is filled by the glass; step back, so that the background shows all round it")
    return body


def _check_inside(body):
    sides = {"left": body[:, :2], "right": body[:, -2:], "upper": body[:2], "lower": body[-2:]}
    cut = [name for name, strip in sides.items() if strip.any()]
    if cut:
        raise PhotoError(
            f"is cropped: what stands out reaches the picture's {' and '.join(cut)} border; the whole glass "
            "must be seen, and one plain background all round it"
        )


def _usual_contrast(difference, body):
    from scipy.ndimage import binary_erosion, maximum_filter

    rim = body & ~binary_erosion(body, iterations=2)
    return float(np.median(maximum_filter(difference, size=2 * _INSIDE + 1)[rim]))


def _outer_contour(difference, body, level):
    """Return the outline of a body at a level, (n, 2) of x and y, about one point a pixel."""
    try:
        from skimage.measure import find_contours
    except ImportError:
        raise PhotoError(
            "cannot be traced here: scikit-image is missing; install it with: pip install 'brimcast[photo]'"
        ) from None
    from scipy.ndimage import binary_dilation, binary_erosion

    core = binary_erosion(body, iterations=2)
    field = np.where(core, level + 1.0, np.where(binary_dilation(body, iterations=3), difference, 0.0))
    contours = find_contours(np.minimum(field, level + 1.0), level)
    longest = max(contours, key=lambda one: abs(_area(one)))[:, ::-1]
    return _evenly(longest if _area(longest) > 0 else longest[::-1], 1.0)


def _area(points):
    x, y = points.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)


def _evenly(points, step):
    """Return points at even steps along a closed line whose last point is its first."""
    if not np.array_equal(points[0], points[-1]):
        points = np.concatenate([points, points[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.linspace(0, along[-1], int(along[-1] / step) + 1)[:-1]
    return np.stack([np.interp(at, along, one) for one in points.T], axis=1)


def _at_steepest(difference, points):
    """Return each point moved across the edge to where the difference rises most steeply."""
    from scipy.ndimage import gaussian_filter1d, map_coordinates, median_filter

    way = gaussian_filter1d(np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0), 3, axis=0, mode="wrap")
    way /= np.hypot(*way.T)[:, None]
    outward = np.stack([way[:, 1], -way[:, 0]], axis=1)
    steps = np.arange(_OUTSIDE, -_INSIDE - 0.1, -0.25)
    at = points[:, None] + steps[:, None] * outward[:, None]
    seen = map_coordinates(difference, [at[..., 1], at[..., 0]], order=1, mode="nearest")
    ground = seen[:, steps > _OUTSIDE - 2].mean(axis=1)
    half = (ground + seen.max(axis=1)) / 2
    first = (seen >= half[:, None]).argmax(axis=1)
    rows, before = np.arange(len(points)), np.maximum(first - 1, 0)
    low, high = seen[rows, before], seen[rows, first]
    share = np.where(high > low, (half - low) / np.where(high > low, high - low, 1.0), 0.0)
    moved = steps[before] + share * (steps[first] - steps[before])
    # A thin dark line is half its height too far out; where it rises most steeply it is less so.
    rise = np.maximum(np.gradient(seen, axis=1), 0.0)
    for _ in range(4):
        near = rise * np.exp(-0.5 * ((steps - moved[:, None]) / _RISE_PX) ** 2)
        moved = (near * steps).sum(axis=1) / np.maximum(near.sum(axis=1), 1e-12)
    # A speck of dust moves single points only.
    moved = median_filter(moved, size=5, mode="wrap")
    return points + moved[:, None] * outward


def _softened(points, contrast, noise):
    from scipy.ndimage import gaussian_filter1d

    points = _evenly(points, 1.0)
    soft = gaussian_filter1d(points, _SOFTEN, axis=0, mode="wrap")
    rough_px = float(np.sqrt(((points - soft) ** 2).sum(axis=1).mean()))
    return Edge(soft, contrast, noise, rough_px)
