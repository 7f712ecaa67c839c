"""Options side by side: each computed, all seen in the light and by the exposure of the first."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from brimcast.scene.builder import even_strength
from brimcast.scene.built import BuiltSet
from brimcast.shared.colour import delta_e_2000, lab_from_xyz, xyz_from_bands

from ..adjust import adaptation_from, develop
from ..balance import Exposed, list_unbalanced
from ..exposures import set_light
from ..outlines import trace_outline
from ..peaks import find_peak
from ..report import KINDS
from ..stopsmap import measure_stops
from ..stored import TABLE_KINDS
from ..uncertainty import halve
from .answer import entry, with_unit
from .comparing import TRAITS
from .pattern import OUTLINE_STOPS
from .samelight import list_notes
from .study import Frame, Study

LETTERS = "ABCDEF"
GRAIN_NOTE = "a draft's grain hides small differences; decide by proof"
_PARTS = 16


@dataclass(frozen=True, eq=False)
class Option:
    """One of the options.

    Attributes
    ----------
    letter, name : str
    study : Study
    frame : Frame
    lamp : str
        Whose light is compared.
    factor : float
        What its light is multiplied by to be in the unit of the first option; 1 where light is physical.
    spread : dict
        One deviation by making and placing errors, by measure; empty where not asked for.
    """

    letter: str
    name: str
    study: Study
    frame: Frame
    lamp: str
    factor: float
    spread: dict = field(default_factory=dict)

    @property
    def built(self) -> BuiltSet:
        """The set's geometry."""
        return self.frame.built


@dataclass(frozen=True, eq=False)
class Lineup:
    """Options that are compared.

    Attributes
    ----------
    options : tuple of Option
        The first is the one that all others are compared with.
    kind : str
        Of caustic, see `report.KINDS`: the one that is brightest of all.
    exposed : Exposed
        Exposure and white of the first option.
    values : dict of str to dict
        By letter, the numbers of `comparing.TRAITS`, `lab`, and, with a picture, `clipped_share`.
    notes : tuple of str
        What a person must know of the comparison.
    """

    options: tuple[Option, ...]
    kind: str
    exposed: Exposed
    values: dict
    notes: tuple[str, ...]

    @property
    def first(self) -> Option:
        """The option that all others are compared with."""
        return self.options[0]

    @property
    def lamp(self) -> str:
        """Whose light is compared."""
        return self.first.lamp

    def picture(self, option: Option) -> np.ndarray | None:
        """Return an option's picture, (h, w, 3) linear sRGB; None without a camera."""
        return _develop_picture(option, self.exposed)


def line_up(
    studies: Sequence[Study],
    names: Sequence[str],
    picture: bool = True,
    find_spread: Callable[[Study, str, str], Mapping] | None = None,
    told: Sequence[str] = (),
) -> Lineup:
    """Return options computed and measured.

    Parameters
    ----------
    studies : sequence of Study
        At most six, of one quality.
    names : sequence of str
    picture : bool
        Take pictures too, where there is a camera.
    find_spread : callable, optional
        Gives the deviations by making and placing errors, see `slips.find_spread`.
    told : sequence of str
        Notes that come first.

    Raises
    ------
    PersonError, EngineError
    """
    first = studies[0]
    frames = [study.frame(picture=picture and study.set_file.camera is not None) for study in studies]
    lamps = [first.lamp if first.lamp in study.set_file.lamps else study.lamp for study in studies]
    kind = _brightest_kind(frames, lamps)
    options = tuple(
        Option(
            letter,
            name,
            study,
            frame,
            lamp,
            _find_factor(frame, frames[0]),
            dict(find_spread(study, lamp, kind)) if find_spread else {},
        )
        for letter, name, study, frame, lamp in zip(LETTERS, names, studies, frames, lamps, strict=False)
    )
    exposed = set_light(frames[0].built, frames[0].stored).exposed
    values = {option.letter: _measure(option, options[0], kind, exposed) for option in options}
    grain = [GRAIN_NOTE] if first.quality == "draft" else []
    notes = (*told, *list_notes(options), *list_unbalanced(exposed), *grain)
    return Lineup(options, kind, exposed, values, notes)


def _brightest_kind(frames: Sequence[Frame], lamps: Sequence[str]) -> str:
    found = {}
    for frame, lamp in zip(frames, lamps, strict=True):
        for kind in KINDS:
            stops = frame.report["caustics"][lamp][kind]["pattern_over_table_stops"]["value"]
            found[kind] = max(found.get(kind, -math.inf), -math.inf if stops is None else stops)
    return max(found, key=found.get)


def _find_factor(frame: Frame, first: Frame) -> float:
    """Return a frame's unit of light in that of the first.

    Without readings each set's light is 1 for all its lamps together, so a lamp at half power would look
    as bright as ever. Between such sets the lamps' strength is what is alike: equal at equal distance.
    Where only one of the two has readings, each is as bright as if metered on its own plain table.
    """
    if frame.built.relative and first.built.relative:
        return _unit(frame) / _unit(first)
    if frame.built.relative == first.built.relative:
        return 1.0
    plain = [sum(lamp["plain_table"] for lamp in each.report["lamps"].values()) for each in (first, frame)]
    return plain[0] / plain[1] if min(plain) > 0 else 1.0


def _unit(frame: Frame) -> float:
    lamp = frame.built.lamps[0]
    return even_strength(lamp) / lamp.luminance


def _measure(option: Option, first: Option, kind: str, exposed: Exposed) -> dict:
    """Return the numbers of an option by key of `TRAITS`, its colour, and how its picture clips."""
    found = option.frame.caustic(option.lamp, kind)
    table = _plain(option) and _plain(first) and math.log2(_plain(option) / _plain(first))
    values = {key: with_unit(found[key], trait.unit) for key, trait in TRAITS.items() if key in found}
    over = values["peak_over_table_stops"]
    peak = None if over["value"] is None or table is None else over["value"] + table
    values["table_stops"] = entry(table, None if table is None else 0.0, "stops")
    values["peak_stops"] = entry(peak, over["standard_error"], "stops")
    values["lab"] = find_colour(option.frame, option.lamp, kind, exposed.white)
    linear = _develop_picture(option, exposed)
    if linear is not None:
        values["clipped_share"] = entry(100 * measure_stops(linear).shares()["clipped_share"], None, "%")
    return values


def _plain(option: Option) -> float | None:
    """Return an option's light on the plain table in the first option's unit; None in the dark."""
    light = option.frame.report["lamps"][option.lamp]["plain_table"] * option.factor
    return light if light > 0 else None


def find_colour(frame: Frame, lamp: str, kind: str, white) -> dict:
    """Return the colour of a lamp's light inside the outline of its caustic, at one lightness.

    Parameters
    ----------
    frame : Frame
    lamp, kind : str
    white : float or (2,) float
        What is neutral: K, or x and y.

    Returns
    -------
    dict
        `value`, L*, a*, b* of all the lamp's light there, its luminance that of white; `standard_error` in
        dE00: cells of the outline fall at random into sixteen parts, and half the difference between the
        halves of balanced splits is the error. Colour that really changes inside the outline widens it.
    """
    light = frame.luminous(lamp, (kind,))
    outline = None
    if light.any():
        outline = trace_outline(light, find_peak(frame.x_mm, frame.y_mm, light).mean / 2**OUTLINE_STOPS)
    if outline is None:
        return entry(None, None, "L*a*b*")
    cells = frame.table(lamp)[:, outline.rows, outline.columns][:, outline.part]
    to_d65 = adaptation_from(white)

    def lab(bands):
        xyz = xyz_from_bands(bands) @ to_d65.T
        return lab_from_xyz(xyz / xyz[..., 1:2])

    value = lab(cells.sum(axis=1)).tolist()
    if cells.shape[1] < 2 * _PARTS:
        return entry(value, None, "L*a*b*")
    number = np.random.default_rng(1).permutation(cells.shape[1]) % _PARTS
    parts = np.stack([cells[:, number == part].sum(axis=1) for part in range(_PARTS)])
    halves = halve(_PARTS)
    moves = [delta_e_2000(lab(parts[half].sum(axis=0)), lab(parts[~half].sum(axis=0))) for half in halves]
    return entry(value, float(np.sqrt(np.mean(np.square(moves))) / 2), "L*a*b*")


def _develop_picture(option: Option, exposed: Exposed) -> np.ndarray | None:
    bands = option.frame.stored.bands
    if bands is None:
        return None
    lamps, more = option.built.lamps, math.log2(option.factor)
    powers = {lamp.name: lamp.power_stops + more for lamp in lamps}
    gels = {lamp.name: lamp.gel for lamp in lamps}
    return develop(bands, exposed.exposure, power_stops=powers, gels=gels, white=exposed.white)


def develop_table(option: Option, exposed: Exposed, kinds=TABLE_KINDS) -> np.ndarray:
    """Return an option's table from above on its own cells, (ny, nx, 3) linear sRGB."""
    matte = option.built.panels[0].front[:, None, None] / math.pi * option.factor
    bands = {
        lamp.name: sum(option.frame.stored.table[f"{lamp.name}.{kind}"] for kind in kinds) * matte
        for lamp in option.built.lamps
    }
    gels = {lamp.name: lamp.gel for lamp in option.built.lamps}
    return develop(bands, exposed.exposure, gels=gels, white=exposed.white)
