"""A set made into geometry and numbers: all that the renderer needs, without the renderer."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from brimcast.vessels.leaf import Leaf
from brimcast.vessels.mesh import Mesh

from .lamps import Lamp
from .media import Medium
from .prints import Print

MAX_MEDIA = 16


@dataclass(frozen=True)
class Solid:
    """A body that refracts or mirrors light.

    Attributes
    ----------
    name : str
    mesh : Mesh
        Placed in the set, mm.
    kind : {'dielectric', 'metal', 'black'}
    slot : int
        Row of `BuiltSet.media` (dielectrics); the lower slot wins where solids overlap.
    reflectance : (16,) float
        Mirror reflectance per band (metals).
    """

    name: str
    mesh: Mesh
    kind: Literal["dielectric", "metal", "black"]
    slot: int = 0
    reflectance: np.ndarray = field(default_factory=lambda: np.ones(16))


@dataclass(frozen=True)
class Panel:
    """A flat matte surface, which catches light in a map of its own on each side that counts.

    Attributes
    ----------
    name : str
    mesh : Mesh
        One sheet, its faces counter-clockwise seen from the front.
    corner_mm, u, v : (3,) float
        Lower left corner and the unit vectors of the two sides, seen from the front (u × v is the normal).
    size_mm : (2,) float
        Length along u and v.
    front, back : (16,) float
        Reflectance per band of each side.
    transmittance : (16,) float
        Diffuse transmittance per band, from either side: light comes out of the other side evenly.
    """

    name: str
    mesh: Mesh
    corner_mm: np.ndarray
    u: np.ndarray
    v: np.ndarray
    size_mm: tuple[float, float]
    front: np.ndarray
    back: np.ndarray
    transmittance: np.ndarray = field(default_factory=lambda: np.zeros(16))

    @property
    def normal(self) -> np.ndarray:
        """(3,) unit normal of the front."""
        return np.cross(self.u, self.v)

    @property
    def places_mm(self) -> np.ndarray:
        """(n, 2) place of each vertex along u and v."""
        return (self.mesh.vertices_mm - self.corner_mm) @ np.stack([self.u, self.v], axis=1)


@dataclass(frozen=True, eq=False)
class Sheet:
    """A bent matte surface, such as a label, a backdrop or a leaf, with a map on each side.

    Attributes
    ----------
    name : str
    mesh : Mesh
        One sheet, its faces counter-clockwise seen from the front.
    places_mm : (n, 2) float
        Place of each vertex on the map, from its lower left corner as seen from the front.
    size_mm : (2,) float
        Of the map.
    widths : (k, 2) float
        Height on the map, mm, and how wide the sheet is there, over the map's width.
    front, back : (16,) float
        Reflectance per band of each side; of the front where there is no picture.
    picture : Print or None
        On its front; what it lets through, straight on or diffusely, holds for both sides.
    transmittance : (16,) float
        Diffuse transmittance per band, where there is no picture.
    dips : bool
        It may stand in a drink. Of others, light that comes down inside a body is lost: a wrong count.
    """

    name: str
    mesh: Mesh
    places_mm: np.ndarray
    size_mm: tuple[float, float]
    widths: np.ndarray
    front: np.ndarray
    back: np.ndarray
    picture: Print | None = None
    transmittance: np.ndarray = field(default_factory=lambda: np.zeros(16))
    dips: bool = False

    @classmethod
    def of(cls, name: str, leaf: Leaf, front: np.ndarray, back: np.ndarray, **more) -> Sheet:
        """Return the sheet of a leaf's shape; `more` are the last three attributes."""
        return cls(name, leaf.mesh, leaf.places_mm, leaf.size_mm, leaf.widths, front, back, **more)


@dataclass(frozen=True)
class Meter:
    """A disc that reads the light arriving on its front.

    `reflectance`, (16,), is that of what it lies on where that is to look white, else 1.
    """

    name: str
    centre_mm: np.ndarray
    normal: np.ndarray
    radius_mm: float
    reflectance: np.ndarray = field(default_factory=lambda: np.ones(16))


@dataclass(frozen=True)
class Camera:
    """A thin-lens camera.

    Attributes
    ----------
    place_mm : (3,) float
        Centre of the lens.
    forward, right, up : (3,) float
        Unit vectors; the sensor's x runs along `right`.
    sensor_mm : (2,) float
        Width and height.
    focal_mm, focus_mm : float
        Focal length, and distance from the lens to the plane of focus along `forward`.
    f_number, iso, shutter_s, white_k : float
    width_px, height_px : int
    rise_mm, shift_mm : float
        How far the lens is moved up and right over the sensor.
    tilt_deg : float
        Lens turned downward about `right`; the sensor stays.
    crop : float or None
        Width over height of the crop guide.
    white : str or None
        What is neutral instead of a light of `white_k`: ``as shot``, or the name of a meter.
    """

    place_mm: np.ndarray
    forward: np.ndarray
    right: np.ndarray
    up: np.ndarray
    sensor_mm: tuple[float, float]
    focal_mm: float
    focus_mm: float
    f_number: float
    iso: float
    shutter_s: float
    white_k: float
    width_px: int
    height_px: int
    rise_mm: float = 0.0
    shift_mm: float = 0.0
    tilt_deg: float = 0.0
    crop: float | None = None
    white: str | None = None

    @property
    def magnification(self) -> float:
        """Image size over object size where the plane of focus crosses `forward` through the lens."""
        return self.image_mm / self.focus_mm

    @property
    def image_mm(self) -> float:
        """From the lens to the sensor."""
        # The thin lens equation along the lens's own axis, from which `forward` departs by the tilt.
        along = self.focus_mm * float(np.cos(np.radians(self.tilt_deg)))
        return self.focal_mm * self.focus_mm / (along - self.focal_mm)

    @property
    def lens_axis(self) -> np.ndarray:
        """(3,) unit vector along the axis of the lens, out of its front."""
        tilt = np.radians(self.tilt_deg)
        return np.cos(tilt) * self.forward - np.sin(tilt) * self.up

    @property
    def focus_plane(self) -> np.ndarray:
        """(3,) vector, 1/mm, whose product with a place seen from the lens is 1 on the plane of focus.

        From the thin lens equation for places off the axis of a tilted lens (Scheimpflug's rule follows).
        """
        return self.lens_axis / self.focal_mm - self.forward / self.image_mm


@dataclass(frozen=True)
class Room:
    """The room round a set, mm from the datum.

    Attributes
    ----------
    floor_mm : float
        Height of the floor, below 0.
    ceiling_mm : float or None
        Height of the ceiling.
    walls_mm : dict of str to float
        x or y of the walls `left`, `right`, `behind`, `front` that are known.
    stands_mm : dict of str to (float, float)
        Where the stands of lamps and panels stand that do not stand right under them.
    """

    floor_mm: float
    ceiling_mm: float | None = None
    walls_mm: dict[str, float] = field(default_factory=dict)
    stands_mm: dict[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class Foot:
    """Outline of a glass seen from above, for drawings and for lengths from the rim of the foot.

    `stands_mm` is how high over the table it stands on the prop `on`.
    """

    name: str
    centre_mm: tuple[float, float]
    foot_radius_mm: float
    rim_radius_mm: float
    height_mm: float
    stands_mm: float = 0.0
    on: str | None = None


@dataclass(frozen=True)
class BuiltSet:
    """A checked set, ready to be rendered.

    Attributes
    ----------
    title : str
    media : tuple of Medium
        In order of rank: where two overlap, the earlier one is there. At most `MAX_MEDIA`.
    solids : tuple of Solid
    panels : tuple of Panel or Sheet
        The table first.
    lamps : tuple of Lamp
    camera : Camera or None
    meters : tuple of Meter
    feet : tuple of Foot
        The hero's first.
    relative : bool
        No lamp has a reading: numbers are relative to the light of all lamps on the bare table at the datum.
    quality : str
    seed : int
    cell_mm : float or None
        Cell of the table map where the set asks for one.
    digest : str
        Hash of the set's content.
    room : Room or None
    sheets : dict of str to str
        Which of the panels are a `flag`, `card`, `foil`, `diffuser`, `mirror` (its back), the `backdrop`, or
        part of the `room`, by name.
    parts : dict of str to str
        Which of the sheets are part of a prop: its name, by the sheet's.
    notes : tuple of str
        What to warn of.
    """

    title: str
    media: tuple[Medium, ...]
    solids: tuple[Solid, ...]
    panels: tuple[Panel | Sheet, ...]
    lamps: tuple[Lamp, ...]
    camera: Camera | None
    meters: tuple[Meter, ...]
    feet: tuple[Foot, ...]
    relative: bool
    quality: str = "draft"
    seed: int = 1
    cell_mm: float | None = None
    digest: str = ""
    room: Room | None = None
    sheets: dict[str, str] = field(default_factory=dict)
    parts: dict[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def is_cloudy(self) -> bool:
        """Whether a medium of the set scatters light."""
        return any(medium.scattering_per_mm.any() for medium in self.media)
