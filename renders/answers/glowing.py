"""A glow card behind a glass: where it hides, how it is turned best, and how much of the drink it lights."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.scene.frame import project
from brimcast.scene.glowcards import hide_card
from brimcast.scene.lamps import Lamp
from brimcast.scene.panels import sides_of
from brimcast.scene.readings import Point, read_lamp

from ..sight import Lookout, Seen, is_drink, part_of
from ..sightgrid import Grid, cover, unit

# From one ray to the next at the drink; turns of the card that are tried; places tried on its plane, and how
# far from its middle.
STEP_MM = 0.5
TURN_DEG = 1.0
SPOT_MM = 1.0
MOST_MM = 150.0
# A card's face is turned so little away from the camera at least, as a cosine; more is edge-on.
FLATTEST = 0.15
# Where no place is given: so far behind the drink's axis, or so far behind the glass.
BEHIND_MM, CLEAR_MM = 60.0, 15.0


@dataclass(frozen=True)
class Card:
    """A card: its centre, mm, the unit vector that its front faces, and width and height, mm."""

    at_mm: np.ndarray
    normal: np.ndarray
    size_mm: tuple[float, float]


@dataclass(frozen=True)
class Turn:
    """How a card may be turned: degrees from square to the camera, its normal, and what it is worth."""

    deg: float
    normal: np.ndarray
    worth: float


class GlowView:
    """How the camera sees a drink and, through it, what is behind.

    Parameters
    ----------
    built : BuiltSet
        Without the card.
    device : str
    glass : str
    behind : {'glass', 'drink'}
        What hides the card.
    """

    def __init__(self, built: BuiltSet, device: str, glass: str, behind: str = "glass"):
        self.built, self.camera = built, built.camera
        self.drinks = [solid.mesh for solid in built.solids if is_drink(built, solid, glass)]
        # As `hangings` chooses them.
        own = [solid.mesh for solid in built.solids if solid.name == glass]
        self.meshes = [*self.drinks, *(own if behind == "glass" else ())]
        self.grid = None
        if not self.drinks:
            return
        self.glass_mm = np.concatenate([mesh.vertices_mm for mesh in (*self.drinks, *own)])
        self.grid = cover(self.camera, self.glass_mm, STEP_MM)
        if self.grid is None:
            return
        lookout = Lookout(built, device, glass)
        seen = lookout.look(self.camera.place_mm, self.grid.ways())
        hit = part_of(seen, lookout.is_part(glass))
        self.hides = (hit & seen.drink if behind == "drink" else hit).reshape(self.grid.shape)
        self.through = _pick(seen, hit & seen.drink)

    def place_behind(self) -> np.ndarray:
        """Return a place (3,) behind the drink's axis, where the camera sees the drink's middle."""
        drink = np.concatenate([mesh.vertices_mm for mesh in self.drinks])
        middle = (drink.min(axis=0) + drink.max(axis=0)) / 2
        way = middle - self.camera.place_mm
        # Never straight down, where nothing is behind.
        way = way / max(np.hypot(way[0], way[1]), 1e-6)
        away_mm = max(BEHIND_MM, float(((self.glass_mm - middle)[:, :2] @ way[:2]).max()) + CLEAR_MM)
        return middle + away_mm * way

    def lit_share(self, card: Card) -> float:
        """Return the share of the drink, as seen, whose straight way through ends on a card's front."""
        return share_on(card, self.through)

    def fits(self, at_mm, normal) -> bool:
        """Return whether all of the glass stands before a card's plane."""
        return bool(np.all((self.glass_mm - at_mm) @ normal > 0))

    def list_turns(self, at_mm, lamp: Lamp, shape: float | None = None) -> list[Turn]:
        """Return the turns toward a lamp, from square to the camera on, and the light that each brings.

        What a turn is worth is the lamp's light on the card times the share of the drink that is lit.
        """
        square = unit(self.camera.place_mm - at_mm)
        turns = []
        for deg, normal in turn_toward(square, unit(lamp.centre_mm - at_mm)):
            if not self.fits(at_mm, normal):
                break
            size = hidden_size(self.grid, self.hides, at_mm, normal, shape)
            light = read_lamp(self.built, lamp, Point("card", at_mm, normal, ""))
            turns.append(Turn(deg, normal, light * self.lit_share(Card(at_mm, normal, size))))
        return turns

    def find_best(self, at_mm, lamps, shape: float | None = None) -> tuple[str, Turn | None]:
        """Return which of some lamps, and which turn toward it, light the drink most; None if none does."""
        found = [("", None)]
        for lamp in lamps:
            turns = [turn for turn in self.list_turns(at_mm, lamp, shape) if turn.worth > 0]
            found += [(lamp.name, turn) for turn in turns]
        return max(found, key=lambda each: each[1].worth if each[1] else 0.0)

    def hide(self, at_mm, normal, shape: float | None = None) -> Card:
        """Return the largest card that hides there.

        Raises
        ------
        HiddenError
        """
        return Card(at_mm, normal, hide_card(self.camera, self.meshes, at_mm, normal, shape))


def turn_toward(square: np.ndarray, lamp: np.ndarray):
    """Yield angles in degrees and normals from square to the camera toward a lamp, until edge-on."""
    most = float(np.degrees(np.arccos(np.clip(square @ lamp, -1, 1))))
    side = lamp - (lamp @ square) * square
    side = side / max(np.linalg.norm(side), 1e-12)
    for deg in np.arange(0.0, most + 1e-9, TURN_DEG):
        angle = np.radians(deg)
        if np.cos(angle) < FLATTEST:
            return
        yield float(deg), np.cos(angle) * square + np.sin(angle) * side


def _pick(seen: Seen, chosen: np.ndarray) -> Seen:
    return replace(seen, **{name: values[chosen] for name, values in vars(seen).items()})


def share_on(card: Card, seen: Seen) -> float:
    """Return the share of rays whose last stretch meets a card's front before it ends."""
    if not len(seen.way):
        return 0.0
    u, v = sides_of(card.normal)
    slope = seen.way @ card.normal
    with np.errstate(divide="ignore", invalid="ignore"):
        along = ((card.at_mm - seen.from_mm) @ card.normal) / slope
        off = seen.from_mm + along[:, None] * seen.way - card.at_mm
    half = np.asarray(card.size_mm) / 2
    on = (slope < 0) & (along > 0) & (along < seen.last_mm)
    return float(np.mean(on & (np.abs(off @ u) <= half[0]) & (np.abs(off @ v) <= half[1])))


def hidden_size(grid: Grid, hides: np.ndarray, at_mm, normal, shape: float | None) -> tuple[float, float]:
    """Return about the largest size of a card that is hidden from the middle of the lens, above the table."""
    u, v = sides_of(normal)
    reach = np.arange(0.5, MOST_MM / SPOT_MM) * SPOT_MM
    across, upward = np.meshgrid(reach, reach)
    free = np.ones(across.shape, bool)
    for right in (-1, 1):
        for up in (-1, 1):
            places = at_mm + right * across[..., None] * u + up * upward[..., None] * v
            free &= _is_hidden(grid, hides, places) & (places[..., 2] > 0)
    # A size is free where all of it is, from the middle on.
    free = np.logical_and.accumulate(np.logical_and.accumulate(free, axis=0), axis=1)
    area = np.where(free, across * upward, 0.0)
    if shape is not None:
        area = np.where(np.abs(across - shape * upward) <= max(shape, 1) * SPOT_MM, area, 0.0)
    line, column = np.unravel_index(np.argmax(area), area.shape)
    if not area[line, column] > 0:
        return 0.0, 0.0
    return 2 * float(reach[column]), 2 * float(reach[line])


def _is_hidden(grid: Grid, hides: np.ndarray, places) -> np.ndarray:
    """Return which places (..., 3) lie behind the cells of a grid that are true."""
    spots = project(grid.camera, places)[..., :2]
    column = np.round((spots[..., 0] - grid.right[0]) / grid.step[0])
    line = np.round((grid.up[0] - spots[..., 1]) / grid.step[1])
    lines, columns = grid.shape
    inside = (column >= 0) & (column < columns) & (line >= 0) & (line < lines)
    column, line = (np.where(inside, place, 0).astype(int) for place in (column, line))
    return inside & hides[line, column]
