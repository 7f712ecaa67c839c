"""Turn a checked set file into geometry, media, lamps and a camera."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from brimcast.shared.bands import BAND_CENTRES_NM
from brimcast.shared.errors import Fault, PersonError
from brimcast.shared.exposure import light_exposure
from brimcast.shared.spectra import from_temperature
from brimcast.vessels import library, solids
from brimcast.vessels.mesh import Mesh, placed, rotated

from . import materials
from . import models_materials as stuff
from . import models_things as things
from .built import MAX_MEDIA, BuiltSet, Camera, Foot, Meter, Panel, Solid
from .lamps import Lamp, calibrated, place_lamp, plain_table_factor
from .media import KINDS, Medium
from .models_lights import Direction, Distance, Line
from .models_numbers import Point
from .setfile import SetFile, digest, faults_at

# Glass never touches the table all over: a film of air stays under it.
LIFT_MM = 0.02
# Panels of a set-up are thin; a meter's face lies this far in front of what it is put on.
FILM_MM = 0.01


class _Stand(NamedTuple):
    """Where a named thing stands: what aims at it aims at half its height."""

    middle_mm: np.ndarray


class _Piece(NamedTuple):
    """A body and what it is made of; a liquid gives way to glass and ice where they overlap."""

    name: str
    mesh: Mesh
    made: object
    liquid: bool = False

    @property
    def key(self) -> tuple[bool, str]:
        """Pieces of one medium share a slot."""
        return self.liquid, repr(self.made)


def build(set_file: SetFile, detail: float = 1.0) -> BuiltSet:
    """Return a set's geometry and numbers.

    Parameters
    ----------
    set_file : SetFile
    detail : float
        Accuracy of the glasses' meshes; 1 is a chord error of 0.002 mm.

    Raises
    ------
    PersonError
        What is wrong only once things have a shape: a fill above the brim, a wall too thick.
    """
    media: dict[str, Medium] = {}
    pieces: list[_Piece] = []
    stands: dict[str, _Stand] = {}
    feet: list[Foot] = []
    panels = [_table(set_file.table)]
    faults: list[Fault] = []
    for name, glass in set_file.glasses.items():
        try:
            pieces += _glass_pieces(set_file, name, glass, detail, stands, feet)
        except PersonError as error:
            faults += error.faults
    for name, prop in set_file.props.items():
        mesh = _prop_mesh(prop)
        low, high = mesh.vertices_mm.min(axis=0), mesh.vertices_mm.max(axis=0)
        stands[name] = _Stand((low + high) / 2)
        if isinstance(prop, things.Plate):
            panels.append(_plate(name, prop, mesh))
        else:
            pieces.append(_Piece(name, mesh, prop.material, isinstance(prop.material, stuff.LIQUIDS)))
    if faults:
        raise PersonError(faults)
    if set_file.hero:
        stands["hero"] = stands[set_file.hero]
        feet.sort(key=lambda foot: foot.name != set_file.hero)
    # With nothing on the table, what would aim at the hero aims at the datum.
    stands.setdefault("hero", _Stand(np.zeros(3)))

    lamps = _lamps(set_file, stands)
    camera = _camera(set_file, stands) if set_file.camera else None
    faced = {lamp.name: _Stand(lamp.centre_mm) for lamp in lamps} | stands
    if camera:
        faced["camera"] = _Stand(camera.place_mm)
    for name, flag in set_file.flags.items():
        panels.append(_sheet(name, flag, faced, np.zeros(16)))
    for name, card in set_file.cards.items():
        panels.append(_sheet(name, card, faced, bands_of(card.reflectance)))

    media = _rank_media(set_file, pieces)
    slots = {key: slot for slot, key in enumerate(media)}
    built = BuiltSet(
        title=set_file.title,
        media=tuple(media.values()),
        solids=tuple(_solid(piece, slots) for piece in pieces),
        panels=tuple(panels),
        lamps=tuple(lamps),
        camera=camera,
        meters=tuple(_meter(name, meter, faced) for name, meter in set_file.meters.items()),
        feet=tuple(feet),
        relative=all(lamp.reading is None for lamp in set_file.lamps.values()),
        quality=set_file.render.quality,
        seed=set_file.render.seed,
        cell_mm=set_file.render.cell_mm,
        digest=digest(set_file),
    )
    return _scaled(built) if built.relative else built


def bands_of(reflectance: things.Reflectance) -> np.ndarray:
    """Return a smooth (16,) reflectance that is blue, green and red in its three parts of the spectrum."""
    values = [reflectance.blue, reflectance.blue, reflectance.green, reflectance.red, reflectance.red]
    return np.interp(BAND_CENTRES_NM, [380, 460, 540, 620, 700], values)


def _scaled(built: BuiltSet) -> BuiltSet:
    """Lamps without readings: equal strength at equal distance, one unit together at the datum."""
    even = [replace(lamp, luminance=1 / _front_area(lamp)) for lamp in built.lamps]
    together = sum(lamp.scale * plain_table_factor(lamp) for lamp in even)
    unit = 1 / together if together > 0 else 1.0
    return replace(built, lamps=tuple(replace(lamp, luminance=lamp.luminance * unit) for lamp in even))


def _front_area(lamp: Lamp) -> float:
    if lamp.kind == "panel":
        return lamp.size_mm[0] * lamp.size_mm[1]
    return np.pi * lamp.radius_mm**2


def _glass_pieces(set_file, name, glass, detail, stands, feet):
    """Return the pieces of a glass and its drink; note where it stands."""
    key = f"glasses.{name}"
    try:
        vessel = _vessel(glass.vessel)
    except ValueError as error:
        raise PersonError(faults_at(set_file, f"{key}.vessel", str(error))) from None
    x, y = glass.at_mm
    place = (x, y, LIFT_MM)
    stands[name] = _Stand(np.array([x, y, vessel.height_mm / 2]))
    feet.append(Foot(name, (x, y), vessel.foot_radius_mm, vessel.rim_radius_mm, vessel.height_mm))
    pieces = [_Piece(name, placed(vessel.glass_mesh(detail), place, glass.turn_deg), glass.glass)]
    if glass.drink:
        try:
            fill_mm = _fill_height(vessel, glass.drink.fill)
            body = vessel.drink_mesh(fill_mm, detail)
        except ValueError as error:
            raise PersonError(faults_at(set_file, f"{key}.drink.fill", str(error))) from None
        pieces.append(_Piece(f"{name} drink", placed(body, place, glass.turn_deg), glass.drink.liquid, True))
    return pieces


def _vessel(model) -> library.Vessel:
    if isinstance(model, things.OutlineVessel):
        corners = [corner - 1 for corner in model.corners]
        return library.vessel_from_outline(model.outline_mm, model.wall_mm, model.base_mm, corners=corners)
    given = {
        field: getattr(model, field)
        for field in type(model).model_fields
        if field != "shape" and getattr(model, field) is not None
    }
    return library.vessel(model.shape, **given)


def _fill_height(vessel: library.Vessel, fill) -> float:
    match fill:
        case things.FillHeight(height_mm):
            if not vessel.base_mm < height_mm <= vessel.height_mm:
                raise ValueError(
                    f"the fill line at {height_mm:g} mm is not inside the glass; allowed: "
                    f"above {vessel.base_mm:.1f} mm (the inside's floor) up to {vessel.height_mm:g} mm (the brim)"
                )
            return height_mm
        case things.FillVolume(volume_ml):
            capacity = vessel.capacity_ml()
            if volume_ml > capacity:
                raise ValueError(f"{volume_ml:g} ml do not fit; the glass holds {capacity:.0f} ml to the brim")
            return vessel.fill_height_for_ml(volume_ml)
        case things.FillShare(share):
            return vessel.fill_height_for_ml(share * vessel.capacity_ml())


def _prop_mesh(prop) -> Mesh:
    match prop:
        case things.Ball():
            mesh = solids.ball(prop.diameter_mm)
        case things.Rod():
            mesh = solids.rod(prop.diameter_mm, prop.length_mm)
            if prop.lying:
                mesh = rotated(mesh, [[0, 0, 1], [0, 1, 0], [-1, 0, 0]])
        case things.Slab():
            mesh = _tilted(solids.slab(prop.width_mm, prop.depth_mm, prop.thickness_mm), prop.tilt_deg)
        case things.Prism():
            mesh = solids.prism(prop.angle_deg, prop.side_mm, prop.length_mm)
            if prop.lying:
                # Its axis along x, and its edge, which looked toward the camera, on top.
                mesh = rotated(mesh, [[0, 0, 1], [-1, 0, 0], [0, -1, 0]])
        case things.Ring():
            mesh = solids.ring(prop.inside_diameter_mm, prop.wall_mm, prop.tall_mm)
        case things.Plate():
            mesh = _tilted(_plate_sheet(prop), prop.tilt_deg)
    turned = placed(mesh, (0, 0, 0), getattr(prop, "turn_deg", 0.0))
    low = turned.vertices_mm[:, 2].min()
    return placed(turned, (*prop.at_mm, max(prop.height_mm, LIFT_MM) - low))


def _tilted(mesh: Mesh, tilt_deg: float) -> Mesh:
    """Lift the far edge."""
    cos, sin = np.cos(np.radians(tilt_deg)), np.sin(np.radians(tilt_deg))
    return rotated(mesh, [[1, 0, 0], [0, cos, -sin], [0, sin, cos]]) if tilt_deg else mesh


def _plate_sheet(prop: things.Plate) -> Mesh:
    match prop.opening:
        case things.RoundOpening(diameter_mm=across):
            return solids.plate_with_hole(*prop.size_mm, across)
        case things.SlitOpening(size_mm=slit):
            return solids.plate_with_slit(*prop.size_mm, *slit)
    return _rectangle(*prop.size_mm)


def _rectangle(width_mm: float, height_mm: float) -> Mesh:
    half = np.array([width_mm, height_mm, 0]) / 2
    corners = half * np.array([(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0)])
    faces = np.array([(0, 1, 2), (0, 2, 3)], np.int32)
    return Mesh(corners, faces, np.tile([0.0, 0.0, 1.0], (4, 1)), np.zeros(2, np.int32))


def _table(table: things.Table) -> Panel:
    width, depth = table.size_mm
    mesh = _rectangle(width, depth)
    corner = np.array([-width / 2, -depth / 2, 0.0])
    axes = np.eye(3)
    return Panel("table", mesh, corner, axes[0], axes[1], (width, depth), bands_of(table.reflectance), np.zeros(16))


def _plate(name: str, prop: things.Plate, mesh: Mesh) -> Panel:
    normal = mesh.normals[0]
    turn = np.radians(prop.turn_deg)
    u = np.array([np.cos(turn), -np.sin(turn), 0.0])
    v = np.cross(normal, u)
    middle = (mesh.vertices_mm.min(axis=0) + mesh.vertices_mm.max(axis=0)) / 2
    width, height = prop.size_mm
    corner = middle - u * width / 2 - v * height / 2
    return Panel(name, mesh, corner, u, v, (width, height), np.zeros(16), np.zeros(16))


def _sheet(name: str, model, stands, reflectance: np.ndarray) -> Panel:
    """A flag or card, its front looking at what it faces."""
    centre = np.asarray(model.at_mm, float)
    normal = _facing(model.facing, centre, stands)
    u, v = _sides(normal)
    matrix = np.stack([u, v, normal], axis=1)
    width, height = model.size_mm
    mesh = placed(rotated(_rectangle(width, height), matrix), centre)
    corner = centre - u * width / 2 - v * height / 2
    return Panel(name, mesh, corner, u, v, (width, height), reflectance, reflectance)


def _sides(normal: np.ndarray):
    """Level side and upright side of a sheet, seen from its front."""
    up = np.array([0.0, 0.0, 1.0]) if abs(normal[2]) < 0.9999 else np.array([0.0, np.sign(normal[2]), 0.0])
    u = np.cross(up, normal)
    u /= np.linalg.norm(u)
    return u, np.cross(normal, u)


def _facing(facing, place: np.ndarray, stands) -> np.ndarray:
    if isinstance(facing, Direction):
        elevation, azimuth = np.radians(facing.elevation_deg), np.radians(facing.azimuth_deg)
        flat = np.array([-np.sin(azimuth), -np.cos(azimuth), 0.0]) * np.cos(elevation)
        return flat + np.array([0.0, 0.0, np.sin(elevation)])
    if facing in ("up", "down"):
        return np.array([0.0, 0.0, 1.0 if facing == "up" else -1.0])
    way = stands[facing].middle_mm - place
    return way / np.linalg.norm(way)


def _where(aim, stands) -> np.ndarray:
    return np.asarray(aim, float) if isinstance(aim, Point) else stands[aim].middle_mm


def _lamps(set_file: SetFile, stands) -> list[Lamp]:
    lamps = []
    for name, model in set_file.lamps.items():
        aim = _where(model.aim, stands)
        centre, facing, right, up = place_lamp(aim, model.throw_mm, model.elevation_deg, model.azimuth_deg)
        line = model.colour.wavelength_nm if isinstance(model.colour, Line) else None
        lamp = Lamp(
            name=name,
            kind=model.kind,
            centre_mm=centre,
            facing=facing,
            right=right,
            up=up,
            size_mm=model.size_mm if model.kind == "panel" else (model.diameter_mm, model.diameter_mm),
            aim_mm=aim,
            throw_mm=model.throw_mm,
            elevation_deg=model.elevation_deg,
            azimuth_deg=model.azimuth_deg,
            spectrum=None if line else from_temperature(model.colour.temperature_k),
            line_nm=line,
            power_stops=model.power_stops,
        )
        if model.reading:
            reading = model.reading
            exposure = light_exposure(reading.f_number, reading.iso, reading.receptor)
            lamp = calibrated(lamp, exposure, reading.distance_mm)
        lamps.append(lamp)
    return lamps


def _camera(set_file: SetFile, stands) -> Camera:
    model = set_file.camera
    aim = _where(model.aim, stands)
    if model.at_mm is not None:
        place = np.asarray(model.at_mm, float)
        forward = aim - place
        forward = forward / np.linalg.norm(forward)
    else:
        place, forward, *_ = place_lamp(aim, model.distance_mm, model.elevation_deg, model.azimuth_deg)
    right = np.cross(forward, [0.0, 0.0, 1.0]) if abs(forward[2]) < 0.9999 else np.array([1.0, 0.0, 0.0])
    right /= np.linalg.norm(right)
    focus = model.focus if model.focus is not None else model.aim
    if isinstance(focus, Distance):
        focus_mm = focus.distance_mm
    else:
        focus_mm = float((_where(focus, stands) - place) @ forward)
    if focus_mm <= 1.01 * model.lens_mm:
        text = f"the plane of focus is {focus_mm:.0f} mm from the lens; a {model.lens_mm:g} mm lens needs more than that"
        raise PersonError(faults_at(set_file, "camera.focus", text))
    width = set_file.render.width_px
    height = max(1, round(width * model.sensor_mm[1] / model.sensor_mm[0]))
    return Camera(
        place_mm=place,
        forward=forward,
        right=right,
        up=np.cross(right, forward),
        sensor_mm=tuple(model.sensor_mm),
        focal_mm=model.lens_mm,
        focus_mm=focus_mm,
        f_number=model.f_number,
        iso=model.iso,
        shutter_s=model.shutter_s,
        white_k=model.white_k,
        width_px=width,
        height_px=height,
    )


def _meter(name: str, model, stands) -> Meter:
    centre = np.asarray(model.at_mm, float)
    normal = _facing(model.facing, centre, stands)
    return Meter(name, centre + FILM_MM * normal, normal, model.diameter_mm / 2)


def _solid(piece: _Piece, slots) -> Solid:
    match piece.made:
        case stuff.Metal():
            mirror = np.full(16, piece.made.reflectance)
            return Solid(piece.name, piece.mesh, "metal", reflectance=mirror)
        case stuff.Black():
            return Solid(piece.name, piece.mesh, "black")
    return Solid(piece.name, piece.mesh, "dielectric", slots[piece.key])


def _rank_media(set_file: SetFile, pieces: list[_Piece]) -> dict[tuple[bool, str], Medium]:
    """Return the set's media, each once, in order of rank."""
    found: dict[tuple[bool, str], Medium] = {}
    for piece in pieces:
        if not isinstance(piece.made, stuff.Metal | stuff.Black):
            medium = _medium(piece.made)
            found[piece.key] = replace(medium, kind="drink") if piece.liquid else medium
    if len(found) > MAX_MEDIA:
        text = f"the set has {len(found)} different glasses and liquids; allowed: up to {MAX_MEDIA}"
        raise PersonError(faults_at(set_file, "glasses", text))
    return dict(sorted(found.items(), key=lambda item: KINDS.index(item[1].kind)))


def _medium(made) -> Medium:
    match made:
        case stuff.GlassMaterial(kind="soda-lime"):
            return materials.soda_lime(made.tint)
        case stuff.GlassMaterial(kind="borosilicate"):
            return materials.borosilicate()
        case stuff.GlassMaterial(kind="crystal"):
            return materials.crystal()
        case stuff.GlassMaterial(kind="acrylic"):
            return materials.acrylic()
        case stuff.PlainMedium():
            return materials.plain(made.index, made.abbe, made.absorption_per_mm)
        case stuff.Water():
            return materials.water()
        case stuff.Spirit():
            return materials.spirit(made.strength_abv)
        case stuff.Syrup():
            return materials.syrup(made.sugar_brix)
        case stuff.Beer():
            return materials.beer(made.colour_srm)
    raise TypeError(f"no medium is known for {made!r}")
