"""Seconds of what a person waits for: a draft map after a lamp was moved, a proof picture of a whole set."""

from __future__ import annotations

import statistics
import time
from dataclasses import replace

from .benchmark_set import SET, Tell

# Three filled glasses, ice, two thousand drops, three lamps.
FULL_SET = """\
brimcast: 1
title: Three filled glasses
table: {size: [1.6 m, 1.2 m], reflectance: 60 %}
glasses:
  hero:
    vessel: tumbler
    drink: {liquid: {spirit: 40 % vol, tint: {colour: "#d9882f", at: 60 mm}}, fill: 45 %}
    ice: [{shape: cube, count: 3}]
    condensation: {look: drops, count: 2000}
  left: {vessel: tasting, at: [-110 mm, 40 mm], drink: {liquid: water, fill: 35 %}}
  right: {vessel: highball, at: [110 mm, 50 mm], drink: {liquid: water, fill: 100 mm}}
lamps:
  key: {kind: disc, diameter: 25 mm, throw: 1.5 m, elevation: 35 deg, azimuth: 150 deg}
  rim: {kind: disc, diameter: 25 mm, throw: 1.8 m, elevation: 30 deg, azimuth: 215 deg, power: -1 stop}
  fill: {kind: panel, size: [300 mm, 300 mm], throw: 1.5 m, elevation: 50 deg, azimuth: 20 deg}
camera: {sensor: [24 mm, 30 mm], lens: 50 mm, distance: 1.6 m, elevation: 22 deg, f_number: f/11}
render: {width: 1200}
"""
# A draft, with less in a round: one wavelength needs no lamp point for each band.
CELL_MM, ROWS, GRID, ROUNDS = 1.0, (8, 6, 6), (24, 12, 8), 48
THROWS_MM = (900, 930, 960, 990, 1020)


def measure(device: str, tell: Tell) -> dict:
    """Return the seconds of a draft map and of a proof picture.

    Parameters
    ----------
    device : {'auto', 'cpu', 'gpu'}
    tell : callable

    Raises
    ------
    EngineError
        No device can trace.
    """
    from brimcast.renders.engine import start

    engine = start(device)
    figures = {"device": engine.device, "device_name": engine.device_name}
    tell("draft map after the lamp was moved")
    figures |= _measure_draft()
    tell("proof picture: three filled glasses, ice, drops, three lamps")
    return figures | _measure_proof(device, tell)


def _measure_draft() -> dict:
    """Map of the light set by one lamp, its throw another each time; the glass stands already."""
    from brimcast.renders.lightpass import EFFORTS, trace_lamp
    from brimcast.renders.pilot import plan_light
    from brimcast.renders.world import build_world
    from brimcast.scene.builder import build
    from brimcast.scene.setfile import parse

    effort = replace(EFFORTS["draft"], cell_mm=CELL_MM, rows=ROWS, grid=GRID, rounds=ROUNDS)
    seconds, errors, world = [], [], None
    for throw_mm in (800, *THROWS_MM):
        built = build(parse(SET, changes={"lamps.key.throw": f"{throw_mm} mm"}))
        world = world or build_world(built)
        built = replace(built, seed=throw_mm)
        began = time.perf_counter()
        plan = plan_light(built, world, effort.cell_mm)
        light = trace_lamp(built, world, plan, 0, effort)
        seconds.append(time.perf_counter() - began)
        errors.append(light.relative_error)
    # The first compiles.
    return {
        "draft_map_seconds": statistics.median(seconds[1:]),
        "draft_map_error": statistics.median(errors[1:]),
    }


def _measure_proof(device: str, tell: Tell) -> dict:
    """Whole proof of the full set, after a draft of it that compiles."""
    from brimcast.renders import job
    from brimcast.scene.builder import build
    from brimcast.scene.setfile import parse

    set_file = parse(FULL_SET)
    began = time.perf_counter()
    built = build(set_file)
    build_s = time.perf_counter() - began
    job.run(build(parse(FULL_SET, changes={"render.width": 60})), "draft", device)
    told = [0.0]

    def progress(share: float, text: str) -> None:
        if share >= told[0] + 0.25:
            told[0] = share
            tell(f"{share:4.0%}  {text}")

    done = job.run(built, "proof", device, progress=progress, resume=False)
    light = max(light.relative_error for light in done.lights)
    return {
        "proof_picture_seconds": done.seconds["total"],
        "proof_build_seconds": build_s,
        "proof_light_seconds": done.seconds["light"],
        "proof_camera_seconds": done.seconds["camera"],
        "proof_light_error": light,
        "proof_picture_error": done.picture.error,
        "proof_pixels": int(done.picture.samples.size),
        "proof_peak_memory_mib": done.peak_memory_mib,
    }


def describe(figures: dict) -> str:
    """Return the figures as lines of text."""
    told = {key.removeprefix("proof_"): value for key, value in figures.items()}
    return "\n".join(
        [
            f"device  {figures['device']}, {figures['device_name']}",
            f"draft map, lamp moved  {figures['draft_map_seconds']:.3f} s at {CELL_MM:g} mm, "
            f"error {figures['draft_map_error']:.1%}",
            f"proof picture          {told['picture_seconds']:.1f} s (light {told['light_seconds']:.1f} s, "
            f"camera {told['camera_seconds']:.1f} s) of {told['pixels'] / 1e6:.1f} million pixels; "
            f"geometry {told['build_seconds']:.1f} s",
            f"                       error of the light {told['light_error']:.1%}, of the picture "
            f"{told['picture_error']:.1%}; {told['peak_memory_mib'] / 1024:.1f} GiB",
        ]
    )
