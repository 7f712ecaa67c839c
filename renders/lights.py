"""All lamps and the light pass's maps, as every kernel that shades a surface reads them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.scene.lamps import Lamp, spread_points
from brimcast.shared.bands import BAND_WIDTH_NM, sample_wavelengths

from .device import floats, opaque_int, opaque_vector
from .engine import dr, mi
from .glowtable import GlowTable, list_glows, shine
from .interfaces import STEP_OFF_MM
from .lightsums import LampLight
from .sequences import spread
from .tubes import meet_ring, meet_tube, tube_strip
from .voxels import Voxels, no_voxels, settle
from .windows import Window, Windows, WindowTable, list_windows
from .world import Geometry, World, list_wavelengths

# Points on each lamp's front, and wavelengths that the camera's samples use.
POINTS = 4096
ROWS = 512
# Breadth of the margin in which paths take over from the grid of what is sent, as a share of the grid's.
SENT_MARGIN = 0.15
# Forms of a lamp's front.
BALL, ROUND, SQUARE, TUBE, RING = 1, 2, 3, 4, 5


@dataclass
class Lights:
    """All lamps and what the light pass found, as kernel inputs.

    Attributes
    ----------
    count, point_count : mi.UInt32
        Lamps, and points a lamp.
    place, normal : mi.Float
        Four numbers a point: place and area, mm; normal and whether the front has a glow. A ball's places
        lie in the unit disc, a tube's or ring's in the square from -1 to 1, along it and across.
    rows : mi.UInt32
        Wavelength rows.
    weights : mi.Float
        Two numbers per lamp and row: weight of the band's map, and spectral radiance with that weight.
    bands : mi.Float
        (lamps × 16) mean spectral radiance of each band.
    optics, band : mi.Float, mi.UInt32
        See `world.Wavelengths`.
    fronts : mi.Float
        Twenty numbers a lamp: centre and form (`BALL` and so on); right and half the width, of a tube half
        its length, of a ring its radius; up and half the height; facing and whether it has a glow; radius
        squared (of a tube its thickness's) and three zeros.
    glow : GlowTable
    maps : mi.Float
        (lamps × 16 × cells) irradiance.
    blurred : mi.Float
        (lamps × 16 × cells of the coarse windows) all of it, so coarsely that no place stands out.
    windows : WindowTable
    sent : mi.Float
        (lamps × 16 × places) what matte surfaces send to the table, place by place.
    sent_frame, sent_shape : mi.Vector3f, mi.Vector2u
        Corner and 1/cell of these places, and how many they are across and upward: none, and the camera's
        paths go on from the table to look for that light themselves.
    haze : mi.Float
        (lamps × 16 × octants × voxels) light that cloudy media send to the camera.
    voxels : Voxels
    """

    count: object
    point_count: object
    place: object
    normal: object
    rows: object
    weights: object
    bands: object
    optics: object
    band: object
    fronts: object
    glow: GlowTable
    maps: object
    blurred: object
    windows: WindowTable
    sent: object
    sent_frame: object
    sent_shape: object
    haze: object
    voxels: Voxels


def set_lamps(built: BuiltSet, world: World) -> Lights:
    """Return the lamps as kernel inputs, their maps dark: for direct light alone."""
    windows = list_windows(Window(0, (0.0, 0.0), 1.0, (1, 1)) for _ in range(2))
    dark = np.zeros((len(built.lamps), 16, windows.cells), np.float32)
    return _set(built, world, windows, dark, [0.0], no_voxels())


def set_lights(
    built: BuiltSet, world: World, windows: Windows, lights: list[LampLight], voxels: Voxels
) -> Lights:
    """Return the lamps and the light pass's maps as kernel inputs."""
    maps = np.stack([light.maps.sum(axis=1) for light in lights])
    lit = lights[0].haze.shape[-1] > 0
    haze = np.stack([settle(voxels, light.haze) for light in lights]) if lit else [0.0]
    return _set(built, world, windows, maps, haze, voxels)


def _set(built: BuiltSet, world: World, windows: Windows, maps, haze, voxels: Voxels) -> Lights:
    points = _along_curve(spread(POINTS, 2, np.random.default_rng((built.seed, 104729))))
    place, normal = [], []
    for lamp in built.lamps:
        if lamp.kind in ("bulb", "tube", "ring"):
            flat = _unit_disc(points) if lamp.kind == "bulb" else 2 * points - 1
            place.append(np.pad(flat, ((0, 0), (0, 2))))
            normal.append(np.zeros((POINTS, 4)))
        else:
            shown = spread_points(lamp, points, world.centre_mm, world.radius_mm)
            place.append(np.column_stack([shown.place_mm, shown.area_mm2]))
            shaped = np.full(POINTS, lamp.glow is not None)
            normal.append(np.column_stack([shown.normal, shaped]))
    wavelength, weights = _weigh_rows(built.lamps)
    listed = list_wavelengths(built, wavelength)
    return Lights(
        count=opaque_int(len(built.lamps)),
        point_count=opaque_int(POINTS),
        place=floats(np.concatenate(place)),
        normal=floats(np.concatenate(normal)),
        rows=opaque_int(ROWS),
        weights=floats(weights),
        bands=floats([lamp.band_spectrum for lamp in built.lamps]),
        optics=listed.optics,
        band=listed.band,
        fronts=floats([_describe_front(lamp) for lamp in built.lamps]),
        glow=list_glows(built.lamps),
        maps=floats(maps),
        blurred=floats(windows.blur(maps)),
        windows=windows.table,
        sent=floats([0.0]),
        sent_frame=opaque_vector(np.zeros(3)),
        sent_shape=mi.Vector2u(opaque_int(0), opaque_int(0)),
        haze=floats(haze),
        voxels=voxels,
    )


def _along_curve(points: np.ndarray) -> np.ndarray:
    """Order points along a Z-shaped curve: strata of the order are then patches of the lamp."""
    places = (points * 64).astype(int)
    code = np.zeros(len(points), int)
    for bit in range(6):
        for axis in (0, 1):
            code |= ((places[:, axis] >> bit) & 1) << (2 * bit + axis)
    return points[np.argsort(code, kind="stable")]


def _unit_disc(uv: np.ndarray) -> np.ndarray:
    radius, angle = np.sqrt(uv[:, 0]), 2 * np.pi * uv[:, 1]
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def _weigh_rows(lamps: tuple[Lamp, ...]):
    """Wavelengths of the camera's samples, and each lamp's weights there.

    Returns
    -------
    wavelength_nm : (ROWS,) float
    weights : (lamps, ROWS, 2) float
        Weight of a band's map value, and spectral radiance with that weight: their means over all rows
        give each band its mean.
    """
    lines = sorted({lamp.line_nm for lamp in lamps if lamp.line_nm is not None})
    smooth = any(lamp.line_nm is None for lamp in lamps)
    kinds = len(lines) + (1 if smooth else 0)
    # Rows take turns between the smooth spectra and each line.
    turn = np.arange(ROWS) % kinds
    wavelength, weights = np.empty(ROWS), np.zeros((len(lamps), ROWS, 2))
    for place, line in enumerate(lines):
        here = turn == place
        wavelength[here] = line
        for number, lamp in enumerate(lamps):
            if lamp.line_nm == line:
                share = ROWS / here.sum()
                weights[number, here] = share, share * lamp.band_spectrum.max()
    if smooth:
        here = turn == len(lines)
        drawn, density = sample_wavelengths((np.arange(here.sum()) + 0.5) / here.sum())
        wavelength[here] = drawn
        share = ROWS / here.sum() / (density * BAND_WIDTH_NM)
        for number, lamp in enumerate(lamps):
            if lamp.line_nm is None:
                weights[number, here, 0] = share
                weights[number, here, 1] = share * lamp.spectral_radiance(drawn)
    return wavelength, weights


def _describe_front(lamp: Lamp) -> np.ndarray:
    kind = {"bulb": BALL, "disc": ROUND, "panel": SQUARE, "tube": TUBE, "ring": RING}[lamp.kind]
    width, height = lamp.size_mm
    thick = height if lamp.kind in ("tube", "ring") else width
    return np.array(
        [
            [*lamp.centre_mm, kind],
            [*lamp.right, width / 2],
            [*lamp.up, height / 2],
            [*lamp.facing, lamp.glow is not None],
            [(thick / 2) ** 2, 0, 0, 0],
        ]
    )


@dr.syntax
def meet_front(lights: Lights, ray, reach, active):
    """Nearest lamp's front that a ray meets before `reach`.

    Returns
    -------
    lamp : mi.UInt32
        `lights.count` where it meets none.
    distance : mi.Float
        mm; `reach` where it meets none.
    lit : mi.Bool
        It is met from the side that shines.
    share : mi.Float
        Radiance there, relative to that on the lamp's axis.
    """
    lamp = mi.UInt32(lights.count)
    distance = mi.Float(reach)
    lit = mi.Bool(False)
    share = mi.Float(1)
    number = mi.UInt32(0)
    while dr.hint(number < lights.count, exclude=[lights, ray]):
        first = 5 * number
        centre = dr.gather(mi.Vector4f, lights.fronts, first, active)
        right = dr.gather(mi.Vector4f, lights.fronts, first + 1, active)
        up = dr.gather(mi.Vector4f, lights.fronts, first + 2, active)
        facing = dr.gather(mi.Vector4f, lights.fronts, first + 3, active)
        square = dr.gather(mi.Float, lights.fronts, 4 * first + 16, active)
        way = mi.Vector3f(centre.x, centre.y, centre.z) - ray.o
        outward, level = mi.Vector3f(facing.x, facing.y, facing.z), mi.Vector3f(right.x, right.y, right.z)
        upright = mi.Vector3f(up.x, up.y, up.z)
        # A flat front: where the ray goes through its plane.
        slope = dr.dot(ray.d, outward)
        flat = dr.dot(way, outward) / slope
        off = flat * ray.d - way
        x, y = dr.dot(off, level), dr.dot(off, upright)
        within = (dr.abs(x) < right.w) & (dr.abs(y) < up.w)
        within &= (centre.w != ROUND) | (x * x + y * y < square)
        # A ball: by the ray's distance from its centre, which keeps its digits however far off it is.
        along = dr.dot(way, ray.d)
        room = square - dr.squared_norm(way - along * ray.d)
        ball = centre.w == BALL
        near = dr.select(ball, along - dr.safe_sqrt(room), flat)
        hit = dr.select(ball, room > 0, within)
        touched, skin = meet_tube(way, ray.d, level, right.w, square)
        tube = centre.w == TUBE
        near, hit = dr.select(tube, skin, near), dr.select(tube, touched, hit)
        ring = centre.w == RING
        touched, skin = meet_ring(way, ray.d, outward, right.w, up.w, active & ring)
        near, hit = dr.select(ring, skin, near), dr.select(ring, touched, hit)

        met = active & hit & (near > 0) & (near < distance)
        lamp = dr.select(met, number, lamp)
        lit = dr.select(met, ball | tube | ring | (slope < 0), lit)
        shaped = met & (facing.w != 0)
        fresh = shine(lights.glow, number, off, level, upright, outward, -ray.d, shaped)
        share = dr.select(met, fresh, share)
        distance = dr.select(met, near, distance)
        number += 1
    return lamp, distance, lit, share


def look_up(lights: Lights, plane, side, u, v, active):
    """Bilinear light at a place on a panel side: of the fine window where it reaches, else the coarse one.

    With it goes what matte surfaces send there, where that is known.

    Parameters
    ----------
    plane : mi.UInt32
        Number of the lamp and band, 16 bands a lamp.
    """
    windows = lights.windows
    fine = dr.gather(mi.Vector4f, windows.frames, 2 * side, active)
    size = dr.gather(mi.Vector4u, windows.shapes, 2 * side, active)
    x, y = (u - fine.x) * fine.z, (v - fine.y) * fine.z
    within = (x >= 0) & (y >= 0) & (x < mi.Float(size.x)) & (y < mi.Float(size.y))
    wide = dr.gather(mi.Vector4f, windows.frames, 2 * side + 1, active)
    wide_size = dr.gather(mi.Vector4u, windows.shapes, 2 * side + 1, active)
    x = dr.select(within, x, (u - wide.x) * wide.z)
    y = dr.select(within, y, (v - wide.y) * wide.z)
    columns = dr.select(within, size.x, wide_size.x)
    lines = dr.select(within, size.y, wide_size.y)
    first = plane * windows.count + dr.select(within, size.z, wide_size.z)
    stored = _blend(lights.maps, first, columns, lines, x, y, active)
    x, y = _place_sent(lights, u, v)
    columns, lines = lights.sent_shape
    share = share_sent(lights, side, u, v)
    first = plane * columns * lines
    return stored + share * _blend(lights.sent, first, columns, lines, x, y, active & (share > 0))


def _place_sent(lights: Lights, u, v):
    frame = lights.sent_frame
    return (u - frame.x) * frame.z, (v - frame.y) * frame.z


def share_sent(lights: Lights, side, u, v):
    """Share of what matte surfaces send to a place that is read from the grid of it; paths find the rest.

    It falls to nothing toward the edge of the grid, where grain would else begin as if by a ruler.
    """
    x, y = _place_sent(lights, u, v)
    columns, lines = mi.Float(lights.sent_shape.x), mi.Float(lights.sent_shape.y)
    margin = SENT_MARGIN * dr.maximum(dr.maximum(columns, lines), 1)
    inward = dr.minimum(dr.minimum(x, columns - x), dr.minimum(y, lines - y))
    return dr.select(side == 0, dr.clip(inward / margin, 0, 1), 0)


def look_up_blurred(lights: Lights, plane, side, u, v, active):
    """The same from the coarse windows alone, for light that goes on: what is seen after a matte surface.

    A narrow bright line would be met there by few paths, each of which would leave a bright speck.
    """
    windows = lights.windows
    frame = dr.gather(mi.Vector4f, windows.frames, 2 * side + 1, active)
    size = dr.gather(mi.Vector4u, windows.shapes, 2 * side + 1, active)
    first = plane * (windows.count - windows.fine) + size.z - windows.fine
    x, y = (u - frame.x) * frame.z, (v - frame.y) * frame.z
    return _blend(lights.blurred, first, size.x, size.y, x, y, active)


def _blend(values, first, columns, lines, x, y, active):
    """Bilinear value of a grid of cells at a place, in cells from its corner."""
    x = dr.clip(x - 0.5, 0, mi.Float(columns) - 1)
    y = dr.clip(y - 0.5, 0, mi.Float(lines) - 1)
    column, line = mi.UInt32(x), mi.UInt32(y)
    next_column = dr.minimum(column + 1, columns - 1)
    next_line = dr.minimum(line + 1, lines - 1)
    share_x, share_y = x - mi.Float(column), y - mi.Float(line)
    near = dr.gather(mi.Float, values, first + line * columns + column, active) * (1 - share_x)
    near += dr.gather(mi.Float, values, first + line * columns + next_column, active) * share_x
    far = dr.gather(mi.Float, values, first + next_line * columns + column, active) * (1 - share_x)
    far += dr.gather(mi.Float, values, first + next_line * columns + next_column, active) * share_x
    return near * (1 - share_y) + far * share_y


def lamp_factor(geometry: Geometry, lights: Lights, lamp, point, place, normal, both, active):
    """Irradiance per unit radiance of a lamp at a place, by one point of its front; 0 where blocked.

    Where `both` is true, light that falls on the back of the place counts too, as a negative number.
    """
    where = lamp * lights.point_count + point
    start = dr.gather(mi.Vector4f, lights.place, where, active)
    facing = dr.gather(mi.Vector4f, lights.normal, where, active)
    centre = dr.gather(mi.Vector4f, lights.fronts, 5 * lamp, active)
    square = dr.gather(mi.Float, lights.fronts, 20 * lamp + 16, active)
    right = dr.gather(mi.Vector4f, lights.fronts, 5 * lamp + 1, active)
    up = dr.gather(mi.Vector4f, lights.fronts, 5 * lamp + 2, active)
    level, upright = mi.Vector3f(right.x, right.y, right.z), mi.Vector3f(up.x, up.y, up.z)
    # A ball looks like the disc inside its outline as seen from the place: all of its points are in sight.
    middle = mi.Point3f(centre.x, centre.y, centre.z)
    axis = middle - place
    far2 = dr.squared_norm(axis)
    axis *= dr.rsqrt(far2)
    shrunk = 1 - square / far2
    frame = mi.Frame3f(axis)
    disc = dr.sqrt(dr.maximum(square * shrunk, 0)) * (start.x * frame.s + start.y * frame.t)
    ball = centre.w == BALL
    flat = mi.Vector3f(start.x, start.y, start.z) - place
    way = dr.select(ball, axis * dr.sqrt(far2) * shrunk + disc, flat)
    outward = dr.select(ball, -axis, mi.Vector3f(facing.x, facing.y, facing.z))
    area = dr.select(ball, dr.pi * square * shrunk, start.w)
    skin, out, strip = tube_strip(middle, (level, upright), centre.w == RING, right.w, square, start, place)
    tube = centre.w >= TUBE
    way, outward = dr.select(tube, skin, way), dr.select(tube, out, outward)
    area = dr.select(tube, strip, area)

    near2 = dr.squared_norm(way)
    near = dr.sqrt(near2)
    toward = way / near
    arriving = dr.dot(toward, normal)
    leaving = -dr.dot(toward, outward)
    behind = both & (arriving < 0)
    lit = active & ((arriving > 0) | behind) & (leaving > 0)
    off = mi.Vector3f(start.x, start.y, start.z) - middle
    share = shine(lights.glow, lamp, off, level, upright, outward, -toward, lit & (facing.w != 0))
    lit &= share > 0
    # The place lies one step off the surface; its back is as far beyond.
    side = dr.select(behind, place - 2 * STEP_OFF_MM * normal, place)
    ray = mi.Ray3f(side, toward, near * 0.9999, 0.0, [])
    lit &= ~geometry.scene.ray_test(ray, coherent=False, active=lit)
    return dr.select(lit, area * arriving * leaving / near2 * share, 0)
