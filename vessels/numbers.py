"""What a vessel holds and weighs, where its weight lies, and how far it tilts before it tips."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .fill import ML
from .lathe import sweep
from .library import Vessel
from .outline import Outline

# g/cm3. Crystal: what Directive 69/493/EEC asks of lead crystal at least (category 2,
# published_values.yaml#refractive_index/crystal_glass_categories); the others from memory: soda-lime glass,
# borosilicate glass 3.3 (ISO 3585), acrylic sheet (ISO 7823-1), aluminium.
DENSITY_G_CM3 = {"soda-lime": 2.5, "borosilicate": 2.23, "crystal": 2.9, "acrylic": 1.19, "aluminium": 2.7}
# Water at 20 C, published_values.yaml#refractive_index/water_temperature.
WATER_G_CM3 = 0.998207
_TILTS_DEG = np.arange(0.0, 90.0, 0.25)


@dataclass(frozen=True)
class Filled:
    """A vessel with a drink in it.

    Parameters
    ----------
    height_mm : float
        Fill line above the table, mm.
    volume_ml : float
        Of the drink, ml.
    mass_g : float
        Of vessel and drink, g.
    centre_mm : float
        Height of the centre of mass above the table, mm.
    stability_deg : float
        Tilt at which it tips, degrees; see `tip_deg`.
    """

    height_mm: float
    volume_ml: float
    mass_g: float
    centre_mm: float
    stability_deg: float


@dataclass(frozen=True)
class Numbers:
    """Measures of a vessel that stands on a level table.

    Parameters
    ----------
    capacity_ml : float
        To the brim; of a can, all the room inside, ml.
    made_of : str
        A key of ``DENSITY_G_CM3``.
    mass_g : float
        Empty, g.
    wall_mm, base_mm : float
        Least thickness, and height of the inside's lowest point on the axis, mm.
    centre_mm, stability_deg : float
        As in ``Filled``, empty.
    fills : tuple of Filled
    """

    capacity_ml: float
    made_of: str
    mass_g: float
    wall_mm: float
    base_mm: float
    centre_mm: float
    stability_deg: float
    fills: tuple[Filled, ...] = ()


def measure(
    vessel: Vessel,
    fills_mm: Iterable[float] = (),
    made_of: str | None = None,
    drink_g_cm3: float = WATER_G_CM3,
) -> Numbers:
    """Return the numbers of a vessel, empty and at fill heights.

    Parameters
    ----------
    vessel : Vessel
    fills_mm : iterable of float
        Heights of the fill line above the table, mm.
    made_of : str, optional
        A key of ``DENSITY_G_CM3``; default soda-lime, and aluminium of what is closed.
    drink_g_cm3 : float
        Density of the drink; default water's.

    Raises
    ------
    ValueError
        A fill height lies outside the vessel, or the material is not known.
    """
    made_of = made_of or ("aluminium" if vessel.closed else "soda-lime")
    if made_of not in DENSITY_G_CM3:
        raise ValueError(f"made_of: {made_of!r} is not known; there are {', '.join(DENSITY_G_CM3)}")
    volume_mm3, moment_mm4 = sweep(vessel.section)
    if vessel.closed:
        room_mm3, room_mm4 = sweep(vessel.inner)
        volume_mm3, moment_mm4 = volume_mm3 - room_mm3, moment_mm4 - room_mm4
    mass_g = volume_mm3 / ML * DENSITY_G_CM3[made_of]
    centre_mm = moment_mm4 / volume_mm3
    fills = []
    for height_mm in fills_mm:
        volume_ml = vessel.capacity_ml(height_mm)
        fills.append(_filled(vessel, float(height_mm), volume_ml, mass_g, centre_mm, drink_g_cm3))
    return Numbers(
        capacity_ml=vessel.capacity_ml(),
        made_of=made_of,
        mass_g=mass_g,
        wall_mm=vessel.thinnest_mm,
        base_mm=vessel.base_mm,
        centre_mm=centre_mm,
        stability_deg=tip_deg(vessel.outer, centre_mm),
        fills=tuple(fills),
    )


def describe(numbers: Numbers) -> list[tuple[str, str]]:
    """Return the numbers as pairs of what it is and its value with the unit."""
    closed = numbers.made_of == "aluminium"
    lines = [
        ("capacity" if closed else "capacity to the brim", f"{numbers.capacity_ml:.0f} ml"),
        ("thinnest wall", f"{numbers.wall_mm:.2f} mm"),
        ("inside begins", f"{numbers.base_mm:.1f} mm above the table"),
        (f"mass ({numbers.made_of})", f"{numbers.mass_g:.0f} g"),
        ("centre of mass, empty", f"{numbers.centre_mm:.1f} mm above the table"),
        ("tips at, empty", f"{numbers.stability_deg:.0f} deg of tilt"),
    ]
    for fill in numbers.fills:
        value = (
            f"{fill.volume_ml:.0f} ml, {fill.mass_g:.0f} g in all, centre of mass {fill.centre_mm:.1f} mm, "
            f"tips at {fill.stability_deg:.0f} deg"
        )
        lines.append((f"filled to {round(fill.height_mm, 1):g} mm", value))
    return lines


def tip_deg(outer: Outline, centre_mm: float, surface_mm: float = 0.0, share: float = 0.0) -> float:
    """Return the tilt at which a vessel tips over the edge of its foot, degrees.

    It rolls on its rounded heel until its centre of mass stands over the point that it rests on. A
    drink's surface stays level, and its weight moves to the low side, as in a glass whose wall is upright
    there (the naval architect's wall-sided formula); what would run out over the brim is left out.

    Parameters
    ----------
    outer : Outline
        Outside from the axis under the foot.
    centre_mm : float
        Height of the centre of mass, mm, upright.
    surface_mm : float
        Second moment of the drink's surface about its diameter over the drink's volume, mm.
    share : float
        The drink's share of the mass.
    """
    points = _hull(outer)

    def lever(tilt):
        """Return how far right of the centre of mass the vessel rests, tilted to the right, mm."""
        sin, cos = np.sin(tilt), np.cos(tilt)
        # Height and place to the right of every point, in the room.
        rest = points[np.argmin(points[:, 1] * cos - points[:, 0] * sin)]
        shift = share * surface_mm * np.tan(tilt)
        over = centre_mm + shift * np.tan(tilt) / 2
        return (rest[0] - shift) * cos + (rest[1] - over) * sin

    tilts = np.radians(_TILTS_DEG[1:])
    low = 0.0
    for tilt in tilts:
        if lever(tilt) < 0:
            break
        low = tilt
    else:
        return 90.0
    high = tilt
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (low, middle) if lever(middle) < 0 else (middle, high)
    return float(np.degrees(high))


def _hull(outer):
    """Return the outside's points (n, 2) that it could rest on."""
    import shapely

    points = outer.points_mm
    mirrored = np.concatenate([points, points * [-1, 1]])
    corners = np.array(shapely.MultiPoint(mirrored).convex_hull.exterior.coords)
    return corners[corners[:, 0] >= 0]


def _filled(vessel, height_mm, volume_ml, mass_g, centre_mm, drink_g_cm3):
    """Return the numbers with a drink up to a height."""
    if volume_ml == 0:
        return Filled(height_mm, 0.0, mass_g, centre_mm, tip_deg(vessel.outer, centre_mm))
    body = vessel.inner.cut(0, vessel.inner.place_at_height(height_mm, last=False))
    volume_mm3, moment_mm4 = sweep(body)
    drink_g = volume_ml * drink_g_cm3
    share = drink_g / (mass_g + drink_g)
    together_mm = (1 - share) * centre_mm + share * moment_mm4 / volume_mm3
    surface_mm = np.pi / 4 * body.points_mm[-1, 0] ** 4 / volume_mm3
    return Filled(
        height_mm=height_mm,
        volume_ml=volume_ml,
        mass_g=mass_g + drink_g,
        centre_mm=together_mm,
        stability_deg=tip_deg(vessel.outer, together_mm, surface_mm, share),
    )
