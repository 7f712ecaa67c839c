"""A glass traced from a photograph: its outline, how far to trust it, and a picture to check it by eye."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from brimcast.shared.errors import Fault, PersonError

from .hull import FAR_MM, NoProfileError, Silhouette, find_profile
from .measured import Measured, make_vessel
from .silhouette import PhotoError, find_edge
from .stations import choose_stations

MOST_TILT_DEG = 4.0
MOST_ASYMMETRY = 0.04  # of the largest diameter: more is no turned glass, or a shadow was taken for glass
_MOST_ROUGH_PX = 1.0
_MOST_PX = 3000  # larger pictures are reduced: their pixels are no sharper
_ENDS = 0.03  # of the height at foot and rim that is left out where both sides are compared
_STEM_SHARE = 0.4
_BOWL = 2.2  # times the stem's radius: there the bowl begins
_BASE_MM, _HEEL_MM = 8.0, 0.3  # where nothing better is known; the traced outline has its rounding in it


@dataclass(frozen=True)
class Ask:
    """What is known of a glass that is traced.

    Parameters
    ----------
    height_mm : float
        Of the glass; it sets the scale.
    wall_mm : float
        Thickness of the wall, mm.
    distance_mm : float or None
        From the lens to the glass's axis, mm; None: not known, so perspective stays in.
    """

    height_mm: float
    wall_mm: float = 2.0
    distance_mm: float | None = None


@dataclass(frozen=True, eq=False)
class Trace:
    """A traced glass.

    Parameters
    ----------
    measured : Measured
        Outline, wall and a guess of the base.
    heights_mm, radii_mm : (n,) and (2, n) float
        Profile as the left and the right edge have it.
    asymmetry_mm, asymmetry_at_mm : float
        Largest difference of both sides' distance from the axis, and its height.
    tilt_deg : float
        Lean of the glass in the picture, clockwise; taken out.
    mm_per_px : float
        Scale at the axis.
    eye_mm : float
        Height of the lens over the table, if it looked level.
    notes : tuple of str
        What a person should know before trusting it.
    picture : (h, w, 3) uint8
        The picture that was measured, perhaps reduced.
    edge_px : (m, 2) float
        The edge found in it.
    frame : Frame
        From heights and radii back to the picture.
    """

    measured: Measured
    heights_mm: np.ndarray
    radii_mm: np.ndarray
    asymmetry_mm: float
    asymmetry_at_mm: float
    tilt_deg: float
    mm_per_px: float
    eye_mm: float
    notes: tuple[str, ...]
    picture: np.ndarray
    edge_px: np.ndarray
    frame: Frame


@dataclass(frozen=True)
class Frame:
    """How a level camera saw the glass; see `find_profile`."""

    size_px: tuple[int, int]
    tilt_deg: float
    axis_px: float
    focal_px: float
    distance_mm: float
    eye_mm: float

    def project(self, x_mm, y_mm, z_mm):
        """Return pixels (n, 2), x to the right and y down, of places: right, away, up from the foot."""
        depth = self.distance_mm + y_mm
        # The camera looks past the axis by as much as the axis stands off the picture's middle.
        turn = np.arctan2(-self.axis_px, self.focal_px)
        cos, sin = np.cos(turn), np.sin(turn)
        along, across = cos * depth + sin * x_mm, cos * x_mm - sin * depth
        upright = self.focal_px * np.stack([across, self.eye_mm - z_mm], axis=-1) / along[..., None]
        return _leaning(upright, -self.tilt_deg) + (np.array(self.size_px) - 1) / 2


def trace(path, ask):
    """Return the glass in a photograph.

    Parameters
    ----------
    path : Path
        JPEG, PNG or TIFF. The camera level, at about half the glass's height, the picture not cropped.
    ask : Ask

    Raises
    ------
    PersonError
        The picture cannot be read, or no outline in it can be trusted; the text says why.
    """
    picture = _read(path)
    linear = _linear(picture)
    try:
        edge = find_edge(linear)
        if edge.rough_px > _MOST_ROUGH_PX:
            raise PhotoError(f"has no clear edge: it wavers by {edge.rough_px:.1f} pixels")
        size_px = picture.shape[1], picture.shape[0]
        tilt_deg, axis_px, upright = _straighten(edge.points_px - (np.array(size_px) - 1) / 2)
        return _measure(path, ask, picture, edge, (size_px, tilt_deg, axis_px), upright)
    except PhotoError as wrong:
        raise PersonError(Fault(str(path), None, None, None, str(wrong))) from None


def _measure(path, ask, picture, edge, pose, upright):
    size_px, tilt_deg, axis_px = pose
    distance_mm = ask.distance_mm or FAR_MM
    if distance_mm < 2 * ask.height_mm:
        text = f"was taken from {distance_mm:g} mm; at least {2 * ask.height_mm:g} mm are needed: go farther"
        raise PhotoError(text)
    silhouette = _both_edges(upright, axis_px)
    mm_per_px = ask.height_mm / np.ptp(upright[:, 1])
    try:
        found = find_profile(silhouette, distance_mm, ask.height_mm, 0.5 * mm_per_px)
    except NoProfileError:
        raise PhotoError("does not go with the height and the distance given; measure both") from None
    heights, radii, focal_px, eye_mm = found
    middle = (heights > _ENDS * ask.height_mm) & (heights < (1 - _ENDS) * ask.height_mm)
    gaps = np.abs(radii[0] - radii[1]) * middle
    worst = int(gaps.argmax())
    widest_mm = 2 * float(radii.max())
    if gaps[worst] > MOST_ASYMMETRY * widest_mm:
        raise PhotoError(
            f"shows no even glass: {heights[worst]:.0f} mm above its foot the two sides differ by "
            f"{gaps[worst]:.1f} mm; a handle, a shadow, or an edge lost against the background"
        )
    mean = radii.mean(axis=0)
    points, corners = choose_stations(heights, mean, ask.height_mm, ask.wall_mm, distance_mm / focal_px)
    base_mm = _guess_base(heights, mean)
    measured = Measured(points, None, corners, wall_mm=ask.wall_mm, base_mm=base_mm, heel_mm=_HEEL_MM)
    notes = _notes(ask, measured, eye_mm, widest_mm)
    frame = Frame(size_px, tilt_deg, axis_px, focal_px, distance_mm, eye_mm)
    return Trace(
        measured, heights, radii, float(gaps[worst]), float(heights[worst]), tilt_deg, distance_mm / focal_px,
        eye_mm, notes, picture, edge.points_px, frame,
    )  # fmt: skip


def _notes(ask, measured, eye_mm, widest_mm):
    notes = []
    if ask.distance_mm is None:
        share = 100 * widest_mm / 2 / 1000
        notes.append(
            "no distance was given, so perspective stays in: from 1 m, diameters come out about "
            f"{share:.0f} % small; measure from the lens to the middle of the glass"
        )
    elif not 0 <= eye_mm <= ask.height_mm:
        notes.append(
            f"the picture's middle lies {eye_mm:.0f} mm above the foot, outside the glass: was the picture "
            "cropped, or the camera not level?"
        )
    try:
        make_vessel(measured)
    except ValueError as wrong:
        notes.append(f"wall and base do not make a glass yet ({wrong}); measure them and edit the file")
    return tuple(notes)


def _read(path):
    """Return a picture as (h, w, 3) uint8, upright, not larger than needed."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(path) as image:
            image = ImageOps.exif_transpose(image).convert("RGB")
            shrink = max(image.size) / _MOST_PX
            if shrink > 1:
                image = image.resize([round(side / shrink) for side in image.size], Image.Resampling.BOX)
            return np.asarray(image)
    except UnidentifiedImageError:
        text = "is no picture that can be read; save it as JPEG, PNG or TIFF"
    except Image.DecompressionBombError:
        text = "is too large a picture; save it smaller"
    except (OSError, SyntaxError, ValueError) as error:
        text = f"cannot be read: {(getattr(error, 'strerror', None) or str(error)).lower()}"
    raise PersonError(Fault(str(path), None, None, None, text))


def _linear(picture):
    """Return linear light of sRGB codes (IEC 61966-2-1)."""
    code = np.arange(256) / 255
    table = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return table[picture]


def _leaning(points, tilt_deg):
    """Return points (…, 2), x right and y down, turned counter-clockwise as seen."""
    angle = np.radians(tilt_deg)
    cos, sin = np.cos(angle), np.sin(angle)
    return points @ np.array([[cos, -sin], [sin, cos]])


def _straighten(points):
    """Return the lean in degrees, the axis's x, and the points turned upright about the picture's middle."""
    tilt_deg, upright = 0.0, points
    for _ in range(6):
        slope, axis_px = _middle_line(upright)
        # y is down: an axis that goes to the left downward leans clockwise.
        step_deg = -float(np.degrees(np.arctan(slope)))
        tilt_deg += step_deg
        if abs(tilt_deg) > 2 * MOST_TILT_DEG:
            break
        upright = _leaning(points, tilt_deg)
    if abs(tilt_deg) > MOST_TILT_DEG:
        most = f"up to {MOST_TILT_DEG:g} deg are allowed"
        raise PhotoError(f"is tilted: the glass leans by {tilt_deg:.1f} deg; {most}")
    return tilt_deg, _middle_line(upright)[1], upright


def _middle_line(points):
    """Return slope and foot of the line x = slope y + foot midway between both edges, by median."""
    y = points[:, 1]
    low, high = y.min(), y.max()
    levels = np.linspace(low + 0.06 * (high - low), high - 0.06 * (high - low), 200)
    x, z = points.T
    after_x, after_z = np.roll(x, -1), np.roll(z, -1)
    middles = []
    for level in levels:
        k = np.flatnonzero((z >= level) != (after_z >= level))
        crossings = x[k] + (level - z[k]) / (after_z[k] - z[k]) * (after_x[k] - x[k])
        middles.append((crossings.min() + crossings.max()) / 2)
    middles = np.array(middles)
    half = len(levels) // 2
    slopes = (middles[half:] - middles[:half]) / (levels[half:] - levels[:half])
    slope = float(np.median(slopes))
    return slope, float(np.median(middles - slope * levels))


def _both_edges(upright, axis_px):
    """Return the silhouette's two edges, from the top to the bottom."""
    x, y = upright[:, 0] - axis_px, upright[:, 1]
    middle = (y.min() + y.max()) / 2
    top = int(np.where(y < middle, np.abs(x), np.inf).argmin())
    points = np.roll(np.stack([x, -y], axis=1), -top, axis=0)
    bottom = int(np.where(points[:, 1] < -middle, np.abs(points[:, 0]), np.inf).argmin())
    one, other = points[: bottom + 1], np.concatenate([points[bottom:], points[:1]])[::-1]
    left, right = (one, other) if one[:, 0].mean() < other[:, 0].mean() else (other, one)
    return Silhouette(left, right, -axis_px)


def _guess_base(heights, radii):
    """Return a base's height: of the bowl over a stem, else a usual one."""
    inner = (heights > 0.1 * heights[-1]) & (heights < 0.8 * heights[-1])
    narrow = int(np.where(inner, radii, np.inf).argmin())
    if radii[narrow] >= _STEM_SHARE * radii.max():
        return min(_BASE_MM, 0.15 * float(heights[-1]))
    bowl = np.flatnonzero((heights > heights[narrow]) & (radii > _BOWL * radii[narrow]))
    return round(float(heights[bowl[0]]), 1)


def draw_overlay(trace, path):
    """Write the picture with the traced edge, the mirrored outline and the axis on it, as a PNG.

    Raises
    ------
    PersonError
        It cannot be written.
    """
    from PIL import Image, ImageDraw

    image = Image.fromarray(trace.picture)
    draw = ImageDraw.Draw(image)
    wide = max(1, round(max(image.size) / 900))
    edge = [tuple(point) for point in trace.edge_px]
    draw.line([*edge, edge[0]], fill=(255, 210, 0), width=wide)
    radius, frame = trace.radii_mm.mean(axis=0), trace.frame
    # A circle is touched where it is a little nearer than the axis.
    nearer = -(radius**2) / frame.distance_mm
    across = np.sqrt(np.maximum(radius**2 - nearer**2, 0.0))
    for side in (-1, 1):
        line = frame.project(side * across, nearer, trace.heights_mm)
        draw.line([tuple(point) for point in line], fill=(230, 0, 120), width=wide)
    turn = np.linspace(0, 2 * np.pi, 181)
    for at in (0, -1):
        r, z = radius[at], np.full(181, trace.heights_mm[at])
        line = frame.project(r * np.cos(turn), r * np.sin(turn), z)
        draw.line([tuple(point) for point in line], fill=(230, 0, 120), width=wide)
    top_mm = trace.heights_mm[-1]
    axis = frame.project(np.zeros(2), np.zeros(2), np.array([-0.04 * top_mm, 1.04 * top_mm]))
    draw.line([tuple(point) for point in axis], fill=(0, 150, 255), width=wide)
    try:
        image.save(Path(path), format="PNG")
    except OSError as error:
        text = f"cannot be written: {(error.strerror or str(error)).lower()}"
        raise PersonError(Fault(str(path), None, None, None, text)) from None
    return Path(path)
