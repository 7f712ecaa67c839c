"""One set from start to end: light pass, direct light, camera pass; kept on the way, so that it can go on."""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from brimcast.scene.built import BuiltSet
from brimcast.shared.colour import BAND_XYZ

from . import camerapass, direct, gathered, lightpass
from .caches import edition
from .camerapass import FINISHES, Picture
from .engine import Engine, dr, start
from .keep import Unfinished, unfinished
from .lightpass import EFFORTS
from .lights import set_lights
from .lightsums import LampLight
from .pilot import plan_light
from .scouting import scout
from .windows import Window
from .world import build_world

Progress = Callable[[float, str], None]
# Share of the work that the light pass is, for the progress shown.
LIGHT_SHARE = 0.5


@dataclass
class Outcome:
    """All that was computed for a set, per unit luminance of each lamp's front.

    Attributes
    ----------
    built : BuiltSet
    quality : str
    engine : Engine
    lights : list of LampLight
    window : Window
        The table's fine window.
    direct : (lamps, ny, nx) float
        Direct light on the window, E/L in sr.
    sent : gathered.Sent or None
        Light that matte surfaces send to the window; None where there are none but the table, and no picture.
    meter_direct : (lamps, meters, 16) float
        E/L in sr, in sixteen independent parts.
    meter_bounced : (lamps, 16, meters, 16) float
        Spectral irradiance by matte surfaces, in sixteen parts.
    picture : Picture or None
    seconds : dict of str to float
    peak_memory_mib : float
    sides : tuple of str
        Names of the panel sides, as `LampLight.sides` counts them.
    """

    built: BuiltSet
    quality: str
    engine: Engine
    lights: list[LampLight]
    window: Window
    direct: np.ndarray
    sent: gathered.Sent | None
    meter_direct: np.ndarray
    meter_bounced: np.ndarray
    picture: Picture | None = None
    seconds: dict[str, float] = field(default_factory=dict)
    peak_memory_mib: float = 0.0
    sides: tuple[str, ...] = ()

    @property
    def x_mm(self) -> np.ndarray:
        """Cell centres of the window across the table."""
        return self.built.panels[0].corner_mm[0] + self.window.centres()[0]

    @property
    def y_mm(self) -> np.ndarray:
        """Cell centres of the window along the table's depth."""
        return self.built.panels[0].corner_mm[1] + self.window.centres()[1]

    def bare(self, number: int) -> np.ndarray:
        """Return the light of a lamp that comes to the window straight and from matte surfaces.

        (16, ny, nx), 1/nm, per unit luminance, without gels.
        """
        light = self.direct[number] * self.built.lamps[number].band_spectrum[:, None, None]
        return self._add_sent(light, number)

    def bare_seen(self, number: int) -> np.ndarray:
        """Return the same as (ny, nx) in luminous units, through the lamp's gels."""
        lamp = self.built.lamps[number]
        return self._add_sent(self.direct[number] * lamp.passed, number, BAND_XYZ[:, 1] * lamp.gel)

    def _add_sent(self, light: np.ndarray, number: int, weights=None) -> np.ndarray:
        """Add what matte surfaces send; with weights of the bands their sum."""
        return light if self.sent is None else light + self.sent.spread(number, self.window, weights)


def run(
    built: BuiltSet,
    quality: str | None = None,
    device: str = "auto",
    picture: bool = True,
    progress: Progress = lambda share, text: None,
    resume: bool = True,
    effort: lightpass.Effort | None = None,
) -> Outcome:
    """Compute a set's light and, where asked, its picture.

    Parameters
    ----------
    built : BuiltSet
    quality : {'draft', 'proof', 'final'}, optional
        Default the set's own.
    device : {'auto', 'cpu', 'gpu'}
    picture : bool
        Take the camera's picture too; the set must have a camera.
    progress : callable
        Called with the share done, 0 to 1, and a line of text.
    resume : bool
        Keep finished rounds of a proof or final, and go on from those of an earlier run.
    effort : Effort, optional
        Instead of the quality's.

    Raises
    ------
    EngineError
        No device can trace.
    """
    quality = quality or built.quality
    effort = effort or EFFORTS[quality]
    marks = [time.perf_counter()]
    engine = start(device)
    world = build_world(built)
    voxels = scout(built, world, effort.voxels) if picture and built.is_cloudy else None
    plan = plan_light(built, world, effort.cell_mm, voxels)
    store = None
    if resume and quality != "draft":
        store = _open_store(built, quality, effort, picture, engine, plan.windows.fine)
    marks.append(time.perf_counter())

    lit = LIGHT_SHARE if picture else 0.95
    lights = []
    for number in range(len(built.lamps)):
        part = part_of(progress, *(lit * (number + end) / len(built.lamps) for end in (0, 1)))
        lights.append(lightpass.trace_lamp(built, world, plan, number, effort, part, store))
    # What the sums of large maps took.
    dr.flush_malloc_cache()
    shining = set_lights(built, world, plan.windows, lights, plan.voxels)
    sent = None
    if plan.windows.fine.cells and (picture or gathered.are_others_matte(built)):
        sent = gathered.map_sent(built, world, shining, plan.windows.fine, effort.sent)
    outcome = Outcome(
        built=built,
        quality=quality,
        engine=engine,
        lights=lights,
        window=plan.windows.fine,
        direct=direct.map_direct(built, world, shining, plan.windows.fine),
        sent=sent,
        meter_direct=direct.meter_direct(built, world, shining),
        meter_bounced=gathered.meter_bounced(built, world, shining),
        sides=tuple(side.name for side in world.sides),
    )
    marks.append(time.perf_counter())

    if picture:
        part = part_of(progress, lit, 1.0)
        if sent:
            shining = sent.add_to(shining)
        outcome.picture = camerapass.take_picture(built, world, shining, FINISHES[quality], part, store)
    marks.append(time.perf_counter())
    outcome.seconds = _name_stretches(marks)
    outcome.peak_memory_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    progress(1.0, "done")
    if store:
        store.forget()
    return outcome


def _open_store(built, quality, effort, picture, engine, window: Window) -> Unfinished:
    """Where rounds of just this work are kept; another window's do not fit."""
    work = (built.digest, built.seed, quality, repr(effort), picture, repr(window))
    return unfinished((edition(), engine.variant, *work))


def part_of(progress: Progress, first: float, last: float) -> Progress:
    """Return what tells the progress of a part of the work, which goes from one share to another."""
    return lambda share, text: progress(first + (last - first) * share, text)


def _name_stretches(marks: list[float]) -> dict[str, float]:
    """Seconds between marks of the clock."""
    stretches = zip(("build", "light", "camera"), marks[:-1], marks[1:], strict=True)
    return {**{name: end - begin for name, begin, end in stretches}, "total": marks[-1] - marks[0]}
