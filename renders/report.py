"""The numbers of a set: what `report.json` and `maps.npz` hold. Their keys are listed in report.md."""

from __future__ import annotations

import math
from importlib.metadata import version

import numpy as np

from brimcast.scene.emission import light_of
from brimcast.scene.frame import describe_camera
from brimcast.scene.lamps import Lamp
from brimcast.shared.bands import BAND_CENTRES_NM, BAND_EDGES_NM
from brimcast.shared.colour import BAND_XYZ, xy_from_xyz
from brimcast.shared.gels import describe as describe_stack

from .job import Outcome
from .lightsums import LampLight
from .measures import MAP_MEASURES, TableLight
from .photons import BLACK, ESCAPED, LANDED, LOST
from .uncertainty import measure_with_errors

KINDS = ("refractive", "reflective")
# A measure that has no meaning here.
UNDEFINED = {"value": None, "standard_error": None}
REFLECTIONS = ("0", "1", "2", "more")


def describe(outcome: Outcome) -> dict:
    """Return the report of a set, ready for JSON."""
    built = outcome.built
    return {
        "set": {"title": built.title, "digest": built.digest},
        "version": version("brimcast"),
        "seed": built.seed,
        "quality": outcome.quality,
        "relative": built.relative,
        "units": units(outcome),
        "engine": {
            "variant": outcome.engine.variant,
            "device": outcome.engine.device,
            "device_name": outcome.engine.device_name,
            "llvm": outcome.engine.llvm_version,
        },
        "seconds": outcome.seconds,
        "peak_memory_mib": outcome.peak_memory_mib,
        "cell_mm": outcome.window.cell_mm,
        "camera": describe_camera(built),
        "lamps": {light.lamp.name: _describe_lamp(light) for light in outcome.lights},
        "energy": {light.lamp.name: _energy(light, outcome.sides) for light in outcome.lights},
        "caustics": {
            light.lamp.name: _caustics(outcome, number) for number, light in enumerate(outcome.lights)
        },
        "meters": _meters(outcome),
        "relative_error": {
            **{light.lamp.name: light.relative_error for light in outcome.lights},
            **({"picture": outcome.picture.error} if outcome.picture else {}),
        },
    }


def units(outcome: Outcome) -> str:
    """Return in words what the light's numbers mean."""
    if outcome.built.relative:
        return "relative: 1 is the light of all lamps together on the bare table at the datum"
    return "lux-seconds"


def _describe_lamp(light: LampLight) -> dict:
    lamp = light.lamp
    return {
        "plain_table": light.plain_seen * lamp.scale,
        "power_stops": lamp.power_stops,
        "colour": describe_light(lamp),
        "gels": describe_gels(lamp),
        "throw_mm": lamp.throw_mm,
        "elevation_deg": lamp.elevation_deg,
        "azimuth_deg": lamp.azimuth_deg,
        "height_mm": float(lamp.centre_mm[2]),
        "along_floor_mm": float(np.hypot(*(lamp.centre_mm - lamp.aim_mm)[:2])),
        "place_mm": lamp.centre_mm.tolist(),
        "rounds": light.rounds,
        "rays": light.rays,
    }


def describe_light(lamp: Lamp) -> dict:
    """Return the colour of a lamp's light without gels: chromaticity; temperature and Duv if it has them."""
    light = light_of(lamp.spectrum, lamp.line_nm)
    told = describe_stack(light, np.ones_like(light))
    return {key: told[key] for key in ("xy", "cct_k", "duv")}


def describe_gels(lamp: Lamp) -> dict | None:
    """Return a lamp's gels in words and what they do to its light; None where it has none."""
    if lamp.gel_share is None:
        return None
    return {"gels": list(lamp.gels), **describe_stack(light_of(lamp.spectrum, lamp.line_nm), lamp.gel_share)}


def _value(parts: np.ndarray) -> dict:
    """Mean and standard error of independent parts."""
    parts = np.asarray(parts, float)
    return {"value": float(parts.mean()), "standard_error": float(parts.std(ddof=1) / math.sqrt(len(parts)))}


def _energy(light: LampLight, sides: tuple[str, ...]) -> dict:
    """Shares of the light that reached the glassware: where it went, by number of reflections too."""
    incident = light.incident.mean()
    if incident == 0:
        return {}
    ends, absorbed = light.ends / incident, light.absorbed / incident
    surfaces = light.sides.sum(axis=2) / incident
    fates = {
        "reached": ends[:, LANDED],
        "black": ends[:, BLACK],
        "absorbed": absorbed,
        "escaped": ends[:, ESCAPED],
        "lost": ends[:, LOST],
    }
    return {
        "surfaces": {name: _value(surfaces[:, n]) for n, name in enumerate(sides) if surfaces[:, n].any()},
        **{name: _value(parts.sum(axis=1)) for name, parts in fates.items()},
        "sum": _value(sum(parts.sum(axis=1) for parts in fates.values())),
        "by_reflections": {
            count: {name: _value(parts[:, n]) for name, parts in fates.items()}
            for n, count in enumerate(REFLECTIONS)
        },
    }


def _caustics(outcome: Outcome, number: int) -> dict:
    return {kind: _caustic(outcome, number, place) for place, kind in enumerate(KINDS)}


def _caustic(outcome: Outcome, number: int, kind: int) -> dict:
    light = outcome.lights[number]
    scale = light.lamp.scale
    if outcome.window.cells == 0:
        found = dict.fromkeys(MAP_MEASURES, UNDEFINED)
    else:
        whole, batches = list_table_lights(outcome, number, kind)
        foot = outcome.built.feet[0].foot_radius_mm if outcome.built.feet else 0.0
        found = measure_with_errors(whole, batches, light.plain_seen * scale, foot)
    # Of the whole table, whose first side is seen from above; the window is where the light is bright.
    incident = light.incident.mean()
    share = _value(light.sides[:, 0, kind] / incident) if incident else UNDEFINED
    return {**found, "flux_share": share}


def list_table_lights(outcome: Outcome, number: int, kind: int) -> tuple[TableLight, list[TableLight]]:
    """Return a lamp's light of a kind (place in `KINDS`) on the table, and its sixteen batches."""
    light = outcome.lights[number]
    # Maps stay in single precision: those of a large set fill gigabytes.
    scale = np.float32(light.lamp.scale)
    both = light.channels[:, :, 0].sum(axis=1)
    straight = outcome.bare_seen(number).astype(np.float32)
    batches = [
        TableLight(
            outcome.x_mm,
            outcome.y_mm,
            part[kind, 0] * scale,
            part[kind, 1] * scale,
            part[kind, 2] * scale,
            (all_kinds + straight) * scale,
        )
        for part, all_kinds in zip(light.channels, both, strict=True)
    ]
    mean = light.channels.mean(axis=0)
    whole = TableLight(
        outcome.x_mm, outcome.y_mm, *(mean[kind] * scale), (mean[:, 0].sum(axis=0) + straight) * scale
    )
    return whole, batches


def meter_bands(outcome: Outcome) -> np.ndarray:
    """Return the light on every meter, (lamps, 16 parts, 16 bands, meters), physical or relative, per nm.

    At the lamps' powers, without their gels.
    """
    found = []
    for number, light in enumerate(outcome.lights):
        straight = np.einsum("mp,k->pkm", outcome.meter_direct[number], light.lamp.band_spectrum)
        bounced = np.moveaxis(outcome.meter_bounced[number], 2, 0)
        found.append((light.meters + straight + bounced) * light.lamp.scale)
    return np.stack(found)


def _meters(outcome: Outcome) -> dict:
    gels = np.stack([light.lamp.gel for light in outcome.lights])
    bands = meter_bands(outcome) * gels[:, None, :, None]
    names = [light.lamp.name for light in outcome.lights]
    plain = [light.plain_seen * light.lamp.scale for light in outcome.lights]
    report = {}
    for place, meter in enumerate(outcome.built.meters):
        by_lamp = {
            name: _reading(bands[number, :, :, place], plain[number]) for number, name in enumerate(names)
        }
        report[meter.name] = {"lamps": by_lamp, "all": _reading(bands[..., place].sum(axis=0), sum(plain))}
    return report


def _reading(parts: np.ndarray, plain: float) -> dict:
    """Light of (16 parts, 16 bands): amount, stops over the plain table, chromaticity."""
    xyz = parts.mean(axis=0) @ BAND_XYZ
    light = _value(parts @ BAND_XYZ[:, 1])
    lit = light["value"] > 0 and plain > 0
    return {
        "light": light,
        "stops_over_table": math.log2(light["value"] / plain) if lit else None,
        "xy": list(map(float, xy_from_xyz(xyz))) if light["value"] > 0 else None,
    }


def list_maps(outcome: Outcome, met: np.ndarray) -> dict[str, np.ndarray]:
    """Return the arrays of `maps.npz`; `met` is the mean of `meter_bands`, (lamps, 16, meters)."""
    window, meters = outcome.window, outcome.built.meters
    arrays = {
        "x_mm": outcome.x_mm,
        "y_mm": outcome.y_mm,
        "band_edges_nm": np.asarray(BAND_EDGES_NM),
        "band_centres_nm": np.asarray(BAND_CENTRES_NM),
        "band_xyz": BAND_XYZ,
        "meter_reflectance": np.array([meter.reflectance for meter in meters]).reshape(-1, 16),
    }
    for number, light in enumerate(outcome.lights):
        name, scale = light.lamp.name, light.lamp.scale
        here = light.maps[:, :, : window.cells].reshape(16, 2, *window.shape)
        arrays[f"{name}.spectrum"] = light_of(light.lamp.spectrum, light.lamp.line_nm)
        arrays[f"{name}.gel"] = light.lamp.gel
        arrays[f"{name}.plain"] = light.plain * scale * light.lamp.band_spectrum
        arrays[f"{name}.meters"] = met[number]
        arrays[f"{name}.direct"] = (outcome.bare(number) * scale).astype(np.float32)
        for place, kind in enumerate(KINDS):
            arrays[f"{name}.{kind}"] = (here[:, place] * scale).astype(np.float32)
    return arrays
