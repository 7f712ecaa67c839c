"""The built set as arrays that the kernels read: one merged mesh and tables looked up by face.

All geometry goes into a single Mitsuba mesh. What a face belongs to is data, not a shape of its own, so
one compiled kernel serves every set, whatever number of glasses, drops or cards stands in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.built import MAX_MEDIA, BuiltSet, Panel, Sheet
from brimcast.shared.bands import GRID_NM, band_of

from .bends import tabulate_bends
from .device import counts, floats
from .engine import mi

# What a solid's face does to light.
DIELECTRIC, METAL, MATTE = 0, 1, 2
# What a matte body is instead of a slot: whether light may come down on it inside a drink.
DRY, DIPS = 0, 1
# What a panel side lets through somewhere, as bits: light straight on, and light diffusely.
SHEER, TRANSLUCENT = 1, 2
# Panel number of a face that swallows light.
NO_PANEL = 0xFFFF
# Row of the media tables for the room's air: after the slots.
AIR = MAX_MEDIA


@dataclass(frozen=True, eq=False)
class Side:
    """One side of a panel.

    Attributes
    ----------
    name : str
    size_mm : (2,) float
        Of its map along u and v.
    reflectance, through, transmittance : (lines, columns, 16) float
        Shares thrown back, let through straight on, and diffusely, spot by spot; a plain side has one spot.
    widths : (k, 2) float or None
        See `built.Sheet`.
    """

    name: str
    size_mm: tuple[float, float]
    reflectance: np.ndarray
    through: np.ndarray
    transmittance: np.ndarray
    widths: np.ndarray | None = None


@dataclass
class Geometry:
    """Geometry and look-up tables on the device: what kernels are given.

    Attributes
    ----------
    scene : mitsuba.Scene
        The merged mesh alone.
    face_normal : mi.Float
        Four numbers a face: outward unit normal, and zero.
    face_bend : mi.Float
        Four numbers a face, see `bends`.
    face_corners : mi.UInt32
        Four numbers a face: its three vertices, and the body it belongs to.
    vertex_normal : mi.Float
        Four numbers a vertex: exact surface normal, and roughness (one for all of a face).
    bodies : mi.UInt32
        Four numbers a body: kind, medium slot (of a matte one `DRY` or `DIPS`), front panel, back panel.
    places : mi.Float
        Two numbers a vertex: place on the map of the panel that it belongs to, mm.
    spots : mi.UInt32
        Four numbers a panel side: first spot of its picture, columns, lines, and what goes through (`SHEER`
        and `TRANSLUCENT`).
    spot_scales : mi.Float
        Two numbers a panel side: spots per mm across and upward.
    reflectance, through, transmittance : mi.Float
        (spots × 16) shares thrown back, let through straight on, and diffusely.
    metal_reflectance : mi.Float
        (bodies × 16).
    """

    scene: object
    face_normal: object
    face_bend: object
    face_corners: object
    vertex_normal: object
    bodies: object
    places: object
    spots: object
    spot_scales: object
    reflectance: object
    through: object
    transmittance: object
    metal_reflectance: object


@dataclass(frozen=True, eq=False)
class World:
    """A built set on the device, and what its light pass wants to know of it.

    Attributes
    ----------
    geometry : Geometry
    sides : tuple of Side
        Panel sides, front and back in turn.
    specular_mm : (n, 3) float
        Vertices of all that refracts or mirrors.
    centre_mm : (3,) float
    radius_mm : float
        A ball round them.
    has_blockers : bool
        Whether anything but the table could stand between a lamp and the glassware.
    """

    geometry: Geometry
    sides: tuple[Side, ...]
    specular_mm: np.ndarray
    centre_mm: np.ndarray
    radius_mm: float
    has_blockers: bool


def build_world(built: BuiltSet) -> World:
    """Put a built set on the device."""
    parts, bodies, metals = [], [], []
    for solid in built.solids:
        kind = {"dielectric": DIELECTRIC, "metal": METAL, "black": MATTE}[solid.kind]
        bodies.append((kind, solid.slot, NO_PANEL, NO_PANEL))
        metals.append(solid.reflectance)
        parts.append(solid.mesh)
    # Each panel has a front (2 i) and a back (2 i + 1), each with a map of its own.
    places = [np.zeros((sum(len(mesh.vertices_mm) for mesh in parts), 2))]
    sides = []
    for number, panel in enumerate(built.panels):
        dips = isinstance(panel, Sheet) and panel.dips
        bodies.append((MATTE, DIPS if dips else DRY, 2 * number, 2 * number + 1))
        metals.append(np.zeros(16))
        parts.append(panel.mesh)
        places.append(panel.places_mm)
        sides += _list_sides(panel)

    vertices, faces, normals, owners = _merge(parts)
    rough = np.concatenate([mesh.vertex_roughness for mesh in parts])
    corners = vertices[faces]
    outward = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-30)
    # As the kernels have it: what vanishes in single precision, or is -0, has no sign.
    outward = outward.astype(np.float32).astype(float) + 0.0

    face_table = np.column_stack([outward, np.zeros(len(faces))])
    corner_table = np.column_stack([faces, owners])
    normal_table = np.column_stack([normals, rough])

    specular = [solid.mesh.vertices_mm for solid in built.solids if solid.kind != "black"]
    specular = np.concatenate(specular) if specular else np.zeros((1, 3))
    low, high = specular.min(axis=0), specular.max(axis=0)
    centre = (low + high) / 2
    geometry = Geometry(
        scene=load_mesh(vertices, faces),
        face_normal=floats(face_table),
        face_bend=floats(tabulate_bends(vertices, faces, normals, outward)),
        face_corners=counts(corner_table),
        vertex_normal=floats(normal_table),
        bodies=counts(bodies),
        places=floats(np.concatenate(places)),
        spots=counts(_number_spots(sides)),
        spot_scales=floats([_scale_spots(side) for side in sides]),
        reflectance=_list_spots(side.reflectance for side in sides),
        through=_list_spots(side.through for side in sides),
        transmittance=_list_spots(side.transmittance for side in sides),
        metal_reflectance=floats(metals),
    )
    return World(
        geometry=geometry,
        sides=tuple(sides),
        specular_mm=specular,
        centre_mm=centre,
        radius_mm=float(np.linalg.norm(specular - centre, axis=1).max()) + 1.0,
        has_blockers=len(built.panels) > 1 or any(solid.kind == "black" for solid in built.solids),
    )


def _list_sides(panel: Panel | Sheet) -> list[Side]:
    front, back, passed = (
        share.reshape(1, 1, 16) for share in (panel.front, panel.back, panel.transmittance)
    )
    through, widths = np.zeros((1, 1, 16)), None
    if isinstance(panel, Sheet):
        widths, picture = panel.widths, panel.picture
        if picture is not None:
            front, through = picture.reflectance, picture.through
            # Light comes through the back where it does through the front.
            back = np.where(through > 0, 0, back if picture.back is None else picture.back)
            passed = np.zeros_like(front) if picture.transmittance is None else picture.transmittance
    names = panel.name, f"{panel.name} (back)"
    return [
        Side(name, panel.size_mm, shown, through, passed, widths)
        for name, shown in zip(names, (front, back), strict=True)
    ]


def _list_spots(shares):
    return floats(np.concatenate([share.reshape(-1, 16) for share in shares]))


def _number_spots(sides: list[Side]) -> list:
    """First spot, columns, lines, and what goes through, side by side."""
    first, found = 0, []
    for side in sides:
        lines, columns, _ = side.reflectance.shape
        passing = SHEER * bool(side.through.any()) + TRANSLUCENT * bool(side.transmittance.any())
        found.append((first, columns, lines, passing))
        first += lines * columns
    return found


def _scale_spots(side: Side) -> tuple[float, float]:
    lines, columns, _ = side.reflectance.shape
    return columns / side.size_mm[0], lines / side.size_mm[1]


def _merge(parts):
    vertices, faces, normals, owners = [], [], [], []
    first = 0
    for owner, mesh in enumerate(parts):
        vertices.append(mesh.vertices_mm)
        faces.append(mesh.faces + first)
        normals.append(mesh.normals)
        owners.append(np.full(len(mesh.faces), owner))
        first += len(mesh.vertices_mm)
    return (
        np.concatenate(vertices),
        np.concatenate(faces),
        np.concatenate(normals),
        np.concatenate(owners),
    )


def load_mesh(vertices: np.ndarray, faces: np.ndarray):
    """Return a Mitsuba scene of one mesh."""
    mesh = mi.Mesh("set", len(vertices), len(faces), has_vertex_normals=False, has_vertex_texcoords=False)
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = mi.Float(vertices.astype(np.float32).ravel())
    parameters["faces"] = mi.UInt32(faces.astype(np.uint32).ravel())
    parameters.update()
    return mi.load_dict({"type": "scene", "mesh": mesh, "embree_use_robust_intersections": True})


def measure_reach(scene, places_mm: np.ndarray, ways: np.ndarray) -> np.ndarray:
    """Return how far a scene is from places (n, 3) along unit vectors (n, 3), (n,) mm; inf past it."""
    rays = mi.Ray3f(mi.Point3f(*places_mm.T), mi.Vector3f(*ways.T))
    return np.array(scene.ray_intersect_preliminary(rays).t)


@dataclass(frozen=True)
class Wavelengths:
    """Optical constants at a list of wavelengths, one row each.

    Attributes
    ----------
    optics : mi.Float
        Four numbers per row and medium (air last): index, absorption and scattering per mm, anisotropy.
    band : mi.UInt32
        Band of each row.
    """

    optics: object
    band: object


def list_wavelengths(built: BuiltSet, wavelength_nm: np.ndarray) -> Wavelengths:
    """Tabulate the optical constants of a set's media at each wavelength."""
    table = np.zeros((len(wavelength_nm), MAX_MEDIA + 1, 4), np.float32)
    table[:, :, 0] = 1.0
    for slot, medium in enumerate(built.media):
        table[:, slot, 0] = np.interp(wavelength_nm, GRID_NM, medium.index)
        table[:, slot, 1] = np.interp(wavelength_nm, GRID_NM, medium.absorption_per_mm)
        table[:, slot, 2] = np.interp(wavelength_nm, GRID_NM, medium.scattering_per_mm)
        table[:, slot, 3] = medium.anisotropy
    return Wavelengths(floats(table), counts(band_of(wavelength_nm)))
