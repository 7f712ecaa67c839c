"""What a lamp's words mean: form, size and glow of its bright front, a scrim before it, doors round it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from brimcast.shared.errors import Fault, PersonError
from brimcast.vessels.mesh import placed, rotated

from .built import Panel
from .glow import (
    Glow,
    Sheet,
    beam_profile,
    falloff_sheet,
    honeycomb_profile,
    intensity_profile,
)
from .ies import Photometry, read_ies
from .lamps import Lamp, even_grid, irradiance_factor, spread_points
from .models_fronts import Doors, Scrim
from .panels import rectangle

# Stops from the centre of a softbox to the middle of an edge: with an inner diffuser, and without
# (common practice).
INNER_STOPS, PLAIN_STOPS = 1 / 3, 1.0
SUN_DEG = 0.53  # mean angular diameter; tests hold it to 2 R/d
SUN_MM = 1e8  # far enough: across 300 mm its rays part by 0.0002 deg
SKY_MM = 20_000.0  # height of the plane that stands for the sky
_MASK_PIXELS = 512
_SCRIM_CELLS = 33
# A blade's hinge lies this far off the front's edge.
_HINGE_MM = 1.0


@dataclass(frozen=True, eq=False)
class Form:
    """Form of a bright front, without its place.

    Attributes
    ----------
    kind, size_mm, glow
        See `Lamp`.
    turn_deg : float
        Of right and up about the beam, clockwise seen from the aim.
    photometry : Photometry or None
    dense_mm : float
        See `Lamp`.
    """

    kind: str
    size_mm: tuple[float, float]
    glow: Glow | None = None
    turn_deg: float = 0.0
    photometry: Photometry | None = None
    dense_mm: float = 0.0


def shape_front(front, folder: Path, throw_mm: float) -> Form:
    """Return the form of a front.

    Parameters
    ----------
    front : AnyFront or a lamp with its keys
    folder : Path
        From where the files that it names are found.
    throw_mm : float
        A spot left unfocused is focused there.

    Raises
    ------
    PersonError
        A file that it names is missing or cannot be read.
    """
    match front.kind:
        case "sun":
            wide = 2 * SUN_MM * np.tan(np.radians(SUN_DEG / 2))
            return Form("disc", (wide, wide))
        case "sky":
            wide = 2 * SKY_MM / np.tan(np.radians(front.horizon_deg))
            return Form("disc", (wide, wide), dense_mm=SKY_MM)
        case "bulb":
            return Form("bulb", (front.diameter_mm, front.diameter_mm))
        case "tube":
            return Form("tube", (front.length_mm, front.diameter_mm), turn_deg=front.turn_deg)
        case "candle":
            return Form("tube", (front.height_mm, front.diameter_mm))
        case "ring":
            return Form("ring", (front.diameter_mm - front.tube_mm, front.tube_mm))
        case "spot":
            wide = front.lens_mm
            glow = _with_grid(Glow(mask=_project(front, folder, throw_mm)), front.grid_deg)
            return Form("disc", (wide, wide), glow, -front.turn_deg)
    size = getattr(front, "size_mm", None)
    kind = "panel" if size else "disc"
    size = size or (front.diameter_mm, front.diameter_mm)
    photometry = read_ies(_find(folder, front.ies)) if getattr(front, "ies", None) else None
    glow = _with_grid(_glow(front, size, photometry), front.grid_deg)
    return Form(kind, tuple(size), glow, photometry=photometry)


def _glow(front, size, photometry: Photometry | None) -> Glow:
    if photometry is not None:
        return Glow(intensity_profile(photometry.intensity_cd))
    if front.kind == "snoot":
        back = front.back_mm or front.diameter_mm
        return Glow(mask=Sheet((back / 2, back / 2), depth_mm=-front.length_mm, radius_mm=back / 2))
    if front.kind in ("softbox", "strip"):
        usual = INNER_STOPS if front.inner else PLAIN_STOPS
        stops = usual if front.falloff_stops is None else front.falloff_stops
        return Glow(front=falloff_sheet(size, stops)) if stops else Glow()
    beam = getattr(front, "beam_deg", None)
    return Glow(beam_profile(beam)) if beam and beam < 120 else Glow()


def _with_grid(glow: Glow, grid_deg: float | None) -> Glow | None:
    """Return the glow behind a honeycomb; None where it is even and diffuse."""
    if grid_deg is not None:
        comb = honeycomb_profile(grid_deg)
        return replace(glow, angles=comb if glow.angles is None else glow.angles * comb)
    return None if glow.angles is None and glow.front is None and glow.mask is None else glow


def _project(spot, folder: Path, throw_mm: float) -> Sheet:
    """Return the picture of a projection spot in its plane of focus."""
    focus = spot.focus_mm or throw_mm
    radius = focus * np.tan(np.radians(spot.beam_deg / 2))
    if spot.mask is None:
        return Sheet((radius, radius), depth_mm=focus, radius_mm=radius * spot.iris)
    shares = _read_mask(_find(folder, spot.mask))
    lines, columns = shares.shape
    half = (radius * columns / max(shares.shape), radius * lines / max(shares.shape))
    return Sheet(half, shares, focus, radius * spot.iris)


def _find(folder: Path, name: str) -> Path:
    path = folder / name
    if not path.is_file():
        raise PersonError(Fault(key=None, text=f"there is no file {name!r} in {folder.resolve()}"))
    return path


def _read_mask(path: Path) -> np.ndarray:
    """Return what each pixel of a picture lets through, bottom line first: its grey value of white's."""
    from PIL import Image

    try:
        with Image.open(path) as image:
            grey = image.convert("L")
            grey.thumbnail((_MASK_PIXELS, _MASK_PIXELS))
            return np.asarray(grey, float)[::-1] / 255
    except (OSError, ValueError, Image.DecompressionBombError):
        raise PersonError(Fault(str(path), None, None, None, "is no picture; write it as PNG")) from None


def hang_scrim(lamp: Lamp, scrim: Scrim) -> Lamp:
    """Return the scrim as a lamp of its own: a panel as bright, place by place, as the lamp behind lights it.

    Parameters
    ----------
    lamp : Lamp
        Its front already stands `scrim.behind_mm` behind the scrim.

    Raises
    ------
    ValueError
        The lamp sends no light to the scrim's middle.
    """
    centre = lamp.centre_mm + scrim.behind_mm * lamp.facing
    width, height = scrim.size_mm
    steps = (np.arange(_SCRIM_CELLS) + 0.5) / _SCRIM_CELLS - 0.5
    light = np.empty((_SCRIM_CELLS, _SCRIM_CELLS))
    grid = even_grid(400)
    for line, y in enumerate(steps):
        for column, x in enumerate(steps):
            place = centre - x * width * lamp.right + y * height * lamp.up
            points = spread_points(lamp, grid, place, 1.0)
            light[line, column] = irradiance_factor(points, place, -lamp.facing)
    middle = light[_SCRIM_CELLS // 2, _SCRIM_CELLS // 2]
    if middle <= 0:
        raise ValueError("the lamp sends no light to the middle of its scrim")
    glow = Glow(front=Sheet((width / 2, height / 2), light / middle))
    word = f"scrim before {lamp.word}"
    return replace(lamp, kind="panel", centre_mm=centre, size_mm=(width, height), glow=glow, word=word)


def hang_doors(lamp: Lamp, doors: Doors) -> list[Panel]:
    """Return the four blades round a flat front, each a thin black panel."""
    x, y, ahead = -lamp.right, lamp.up, lamp.facing
    half_x, half_y = np.asarray(lamp.size_mm) / 2
    sides = (
        ("top", doors.top_deg, y, x, half_y, half_x),
        ("bottom", doors.bottom_deg, -y, -x, half_y, half_x),
        ("left", doors.left_deg, -x, y, half_x, half_y),
        ("right", doors.right_deg, x, -y, half_x, half_y),
    )
    blades = []
    for name, open_deg, outward, level, off, half in sides:
        opening = np.radians(open_deg)
        blade = np.cos(opening) * ahead + np.sin(opening) * outward
        hinge = lamp.centre_mm + _HINGE_MM * ahead + (off + _HINGE_MM) * outward
        width, length = 2 * (half + _HINGE_MM), doors.length_mm
        turn = np.stack([level, blade, np.cross(level, blade)], axis=1)
        mesh = placed(rotated(rectangle(width, length), turn), hinge + blade * length / 2)
        corner = hinge - level * width / 2
        black = np.zeros(16)
        blades.append(
            Panel(f"{lamp.name} {name} door", mesh, corner, level, blade, (width, length), black, black)
        )
    return blades
