"""What Mitsuba does by itself, to measure this program's light against: its integrators, its bare rays.

The same set as a scene of Mitsuba's own parts, for what both can show: clear glass that does not overlap,
matte panels, lamps of one wavelength.
"""

from __future__ import annotations

import time
from contextlib import contextmanager

import numpy as np

from brimcast.scene.built import BuiltSet, Camera, Panel, Sheet, Solid
from brimcast.scene.lamps import Lamp
from brimcast.shared.bands import GRID_NM
from brimcast.vessels.mesh import Mesh

from .aim import draw_rows
from .deposits import lay_down
from .device import counts, opaque_float
from .engine import dr, mi
from .interfaces import Tint, Walk, approach, find_hit, proceed, set_out
from .launches import LampRows, open_tally, tell_blockers
from .lightpass import Effort
from .photons import trace
from .pilot import LightPlan
from .voxels import no_voxels
from .world import Geometry, World

# Samples a pixel by which `sort_pixels` tells where a pixel lies.
SORTING_SAMPLES = 16
# Radiance of a lamp's front: pictures are then, as ours, per unit luminance of the front.
FRONT_RADIANCE = 1.0


def stock_scene(built: BuiltSet, crop: tuple[int, int, int, int] | None = None):
    """Return a Mitsuba scene with the same meshes, lamps and camera as a built set.

    Parameters
    ----------
    built : BuiltSet
        Solids of glass, cloudy ones too, or black, none overlapping; a camera; lamps of one line.
    crop : (4,) int, optional
        First column, first line, columns and lines of the part of the picture that is taken.

    Returns
    -------
    mitsuba.Scene

    Raises
    ------
    ValueError
        The set holds something that Mitsuba's own parts cannot show alike.
    """
    lines = {lamp.line_nm for lamp in built.lamps}
    if len(lines) != 1 or None in lines:
        raise ValueError(f"the lamps shine at {lines}; allowed: one and the same wavelength")
    if any(lamp.glow or lamp.kind in ("tube", "ring") for lamp in built.lamps):
        raise ValueError("a lamp has a beam or is a tube; allowed: even discs, panels and bulbs")
    if built.camera is None:
        raise ValueError("the set has no camera")
    line_nm = lines.pop()
    band = int(np.flatnonzero(built.lamps[0].band_spectrum)[0])
    parts = {}
    for number, solid in enumerate(built.solids):
        surfaces = _list_surfaces(built, solid, line_nm)
        parts |= {f"solid{number}_{place}": surface for place, surface in enumerate(surfaces)}
    parts |= {f"panel{number}": _panel(panel, band) for number, panel in enumerate(built.panels)}
    parts |= {f"lamp{number}": _lamp(lamp) for number, lamp in enumerate(built.lamps)}
    return mi.load_dict({"type": "scene", "sensor": _camera(built.camera, crop), **parts})


@contextmanager
def full_spectrum():
    """Let Mitsuba's integrators carry spectra of four wavelengths a path while the context lasts.

    What a scene made in it sends and throws back is alike at every wavelength, and its pictures hold
    luminance: they are the pictures of one line.
    """
    with mi.scoped_set_variant(mi.variant().replace("mono", "spectral")):
        yield


def render_stock(scene, integrator: str, samples: int, seed: int, **options) -> np.ndarray:
    """Return the (height, width) radiance picture of one of Mitsuba's integrators.

    Parameters
    ----------
    integrator : str
        Such as ``path`` or ``ptracer``.
    samples : int
        Samples a pixel; of `ptracer`, light paths a pixel.
    seed : int
    **options
        The integrator's own.
    """
    made = mi.load_dict({"type": integrator, "hide_emitters": False, **options})
    image = mi.render(scene, integrator=made, spp=samples, seed=dr.opaque(mi.UInt32, seed))
    return image.numpy()[:, :, 0]


def sort_pixels(scene, built: BuiltSet):
    """Tell which pixels see the bare table, and which of them lie in the shadow of what stands on it.

    Returns
    -------
    table : (height, width) bool
        All of the pixel's samples come to the table's front straight, through nothing.
    shadow : (height, width) bool
        And for at least half of them something stands between the table and the lamp's front.
    """
    camera = built.camera
    whole, count = camera.width_px * camera.height_px, SORTING_SAMPLES
    sampler = mi.load_dict({"type": "independent", "sample_count": count})
    sampler.seed(0, whole * count)
    pixel = dr.arange(mi.UInt32, whole * count) // count
    line = pixel // camera.width_px
    film = mi.Point2f(pixel - line * camera.width_px, line) + sampler.next_2d()
    film = film / mi.Point2f(camera.width_px, camera.height_px)
    ray, _ = scene.sensors()[0].sample_ray(0.0, sampler.next_1d(), film, sampler.next_2d())
    met = scene.ray_intersect(ray)
    table = next(shape for shape in scene.shapes() if shape.id() == "panel0")
    bare = met.is_valid() & (met.shape == mi.ShapePtr(table)) & (met.wi.z > 0)
    front, _ = scene.sample_emitter_direction(met, sampler.next_2d(), False, bare)
    blocked = bare & scene.ray_test(met.spawn_ray_to(front.p), active=bare)

    shape = (camera.height_px, camera.width_px)
    bare, blocked = (
        dr.block_sum(mi.UInt32(samples), count).numpy().reshape(shape) / count for samples in (bare, blocked)
    )
    return bare == 1, (bare == 1) & (blocked >= 0.5)


def share_of_raw(built: BuiltSet, world: World, plan: LightPlan, rows: int, grid: int, repeats: int) -> dict:
    """Compare the light pass's kernels with Mitsuba's bare intersection on the same rays.

    The rays are those of the first lamp that are not thrown back, and all of their stretches from
    interface to interface.

    Parameters
    ----------
    rows, grid : int
        Lamp points, and rays along a grid's side.
    repeats : int
        Timed runs, of which the median counts.

    Returns
    -------
    dict of str to float
        ``share``: rays intersected per second in the light pass over bare intersections per second;
        ``rays_per_s`` of the light pass, ``stretches_per_ray``, ``raw_per_s``.
    """
    lamp = built.lamps[0]
    aim, order = plan.aims[lamp.name], plan.orders[lamp.name][0]
    drawn = draw_rows(built, world, lamp, aim, order, rows, grid, [(built.seed, 0)])
    maps = dr.zeros(mi.Float, 32 * plan.windows.cells)
    channels = dr.zeros(mi.Float, 6 * plan.windows.fine.cells)
    dr.make_opaque(maps, channels)

    def launch():
        tally = open_tally(world, 0, 1, rows)
        landed, _ = trace(world.geometry, drawn, aim.frame, tell_blockers(world), tally, no_voxels())
        dr.eval(
            lay_down(landed, drawn, plan.windows.table, opaque_float(Effort.beside_cells), maps, channels)
        )

    stretches = _list_stretches(world.geometry, drawn, aim.frame)
    intersections = sum(dr.width(ray.d.x) for ray in stretches)

    def intersect():
        for ray in stretches:
            dr.eval(world.geometry.scene.ray_intersect_preliminary(ray, coherent=False).t)

    ours_s, raw_s = _median_seconds(launch, repeats), _median_seconds(intersect, repeats)
    rays = rows * grid * grid
    return {
        "share": raw_s / ours_s,
        "rays_per_s": rays / ours_s,
        "stretches_per_ray": intersections / rays,
        "raw_per_s": intersections / raw_s,
    }


def trace_lone_photons(built: BuiltSet, world: World, plan: LightPlan, photons) -> tuple[np.ndarray, float]:
    """Trace photons of the first lamp that share nothing, each drawn at random.

    Parameters
    ----------
    photons : (3,) int
        How many for orders 0, 1 and 2.

    Returns
    -------
    (ny, nx) float
        Luminous light in the table's fine window, both kinds together.
    float
        Seconds that the kernels took.
    """
    lamp, fine = built.lamps[0], plan.windows.fine
    aim, at_random = plan.aims[lamp.name], np.random.default_rng(built.seed)
    maps = dr.zeros(mi.Float, 32 * plan.windows.cells)
    channels = dr.zeros(mi.Float, 6 * fine.cells)
    dr.make_opaque(maps, channels)
    taken = 0.0
    for order, count in zip(plan.orders[lamp.name], photons, strict=True):
        seed = (built.seed, order.forced)
        rows = draw_rows(built, world, lamp, aim, order, count, 1, [seed])
        # Rows of one ray are spread evenly; picked by chance they are not.
        rows.ray = counts(at_random.integers(0, count, count))
        tally = open_tally(world, 0, 1, count)
        dr.sync_thread()
        began = time.perf_counter()
        landed, _ = trace(world.geometry, rows, aim.frame, tell_blockers(world), tally, no_voxels())
        maps, channels = lay_down(landed, rows, plan.windows.table, opaque_float(0), maps, channels)
        dr.eval(maps, channels)
        dr.sync_thread()
        taken += time.perf_counter() - began
    return channels.numpy().reshape(2, 3, *fine.shape)[:, 0].sum(axis=0) / fine.cell_mm**2, taken


def _median_seconds(work, repeats: int) -> float:
    taken = []
    for _ in range(repeats + 1):
        dr.sync_thread()
        began = time.perf_counter()
        work()
        dr.sync_thread()
        taken.append(time.perf_counter() - began)
    # The first run compiles.
    return float(np.median(taken[1:]))


def _list_stretches(geometry: Geometry, rows: LampRows, frame) -> list:
    """Rays as they set out before the glassware, and after each interface, until all have left it."""
    row, through = rows.row_of(rows.ray), rows.locate(rows.ray)
    place = dr.gather(mi.Vector4f, rows.place, row)
    start = mi.Point3f(place.x, place.y, place.z)
    way = frame.corner + frame.across * through.x + frame.upward * through.y - start
    far = dr.norm(way)
    walk = set_out(mi.Ray3f(start + way / far * dr.maximum(far - frame.back_off, 0), way / far))
    stretches = []
    while dr.width(row):
        dr.eval(walk, row)
        stretches.append(mi.Ray3f(walk.ray))
        hit = find_hit(geometry, walk.ray, mi.Bool(True))
        tint = Tint(rows.optics, row, dr.gather(mi.UInt32, rows.band, row))
        crossing = approach(geometry, walk, hit, tint, mi.Bool(True), row, walk.events)
        walk = proceed(walk, hit, crossing, crossing.total)
        going = dr.compress(crossing.glassy)
        row = dr.gather(mi.UInt32, row, going)
        ray = mi.Ray3f(dr.gather(mi.Point3f, walk.ray.o, going), dr.gather(mi.Vector3f, walk.ray.d, going))
        rest = (walk.inside, walk.index, walk.absorption, walk.scattering, walk.anisotropy, walk.events)
        walk = Walk(ray, *(dr.gather(type(part), part, going) for part in rest))
    return stretches


def _list_surfaces(built: BuiltSet, solid: Solid, line_nm: float) -> list:
    """A mesh for each roughness of the solid's surface."""
    if solid.kind == "metal":
        raise ValueError(f"{solid.name} is of metal; allowed: glass or black")
    if solid.kind == "black":
        return [_mesh(solid.name, solid.mesh, {"type": "diffuse", "reflectance": 0.0})]
    medium = built.media[solid.slot]
    index, absorption, scattering = (
        float(np.interp(line_nm, GRID_NM, values))
        for values in (medium.index, medium.absorption_per_mm, medium.scattering_per_mm)
    )
    inside = {}
    if absorption + scattering > 0:
        extinction = absorption + scattering
        inside["interior"] = {
            "type": "homogeneous",
            "sigma_t": extinction,
            "albedo": scattering / extinction,
            "phase": {"type": "hg", "g": medium.anisotropy},
        }
    rough = solid.mesh.vertex_roughness[solid.mesh.faces[:, 0]]
    found = []
    for alpha in np.unique(rough):
        surface = {"type": "dielectric", "int_ior": index, "ext_ior": 1.0}
        if alpha:
            surface |= {"type": "roughdielectric", "distribution": "ggx", "alpha": float(alpha)}
        here = rough == alpha
        part = Mesh(
            solid.mesh.vertices_mm, solid.mesh.faces[here], solid.mesh.normals, solid.mesh.patches[here]
        )
        found.append(_mesh(f"{solid.name}, {alpha:g}", part, surface, inside))
    return found


def _panel(panel: Panel | Sheet, band: int):
    if getattr(panel, "picture", None):
        raise ValueError(f"{panel.name} has a picture; allowed: plain surfaces")
    sides = [
        {"type": "diffuse", "reflectance": _even(float(side[band]))} for side in (panel.front, panel.back)
    ]
    return _mesh(panel.name, panel.mesh, {"type": "twosided", "front": sides[0], "back": sides[1]})


def _even(value: float) -> dict:
    """A spectrum that is the same at every wavelength; a bare number might be taken for a colour."""
    return {"type": "uniform", "value": value}


def _mesh(name: str, mesh: Mesh, surface: dict, media: dict | None = None):
    """Return a Mitsuba mesh with the exact normals at its vertices."""
    properties = mi.Properties()
    properties["mesh_bsdf"] = mi.load_dict(surface)
    for side, medium in (media or {}).items():
        properties[side] = mi.load_dict(medium)
    made = mi.Mesh(name, len(mesh.vertices_mm), len(mesh.faces), props=properties, has_vertex_normals=True)
    parameters = mi.traverse(made)
    parameters["vertex_positions"] = mi.Float(mesh.vertices_mm.astype(np.float32).ravel())
    parameters["vertex_normals"] = mi.Float(mesh.normals.astype(np.float32).ravel())
    parameters["faces"] = mi.UInt32(mesh.faces.astype(np.uint32).ravel())
    parameters.update()
    return made


def _lamp(lamp: Lamp) -> dict:
    front = {"emitter": {"type": "area", "radiance": _even(FRONT_RADIANCE)}}
    if lamp.kind == "bulb":
        return {"type": "sphere", "center": list(lamp.centre_mm), "radius": lamp.radius_mm, **front}
    place = _look(lamp.centre_mm, lamp.facing, lamp.up)
    half = np.asarray(lamp.size_mm) / 2
    shape = "disk" if lamp.kind == "disc" else "rectangle"
    return {"type": shape, "to_world": place @ mi.ScalarTransform4f().scale([*half, 1.0]), **front}


def _camera(camera: Camera, crop) -> dict:
    # A lens focused closer than far away stands farther from the sensor than its focal length.
    image_mm = camera.focal_mm * (1 + camera.magnification)
    names = ("crop_offset_x", "crop_offset_y", "crop_width", "crop_height")
    part = dict(zip(names, map(int, crop), strict=True)) if crop else {}
    return {
        "type": "thinlens",
        "to_world": _look(camera.place_mm, camera.forward, camera.up),
        "fov": float(2 * np.degrees(np.arctan(camera.sensor_mm[0] / 2 / image_mm))),
        "fov_axis": "x",
        "aperture_radius": camera.focal_mm / camera.f_number / 2,
        "focus_distance": camera.focus_mm,
        "film": {
            "type": "hdrfilm",
            "width": camera.width_px,
            "height": camera.height_px,
            "pixel_format": "luminance",
            "component_format": "float32",
            "rfilter": {"type": "box"},
            **part,
        },
    }


def _look(place_mm: np.ndarray, way: np.ndarray, up: np.ndarray):
    target = np.asarray(place_mm) + way
    return mi.ScalarTransform4f().look_at(origin=list(place_mm), target=list(target), up=list(up))
