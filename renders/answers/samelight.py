"""Whether options are lit and seen alike: what of the light, the camera and the set differs, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from brimcast.scene.models_base import Part

if TYPE_CHECKING:
    from .lineup import Option

# Lamps and camera that stand closer to their place in the first set than this stand alike.
SAME_PLACE_MM = 1.0
# Sections that do not show, or are told of by themselves.
_SILENT = ("brimcast", "title", "brief", "render", "room", "meters", "lamps", "camera", "kit")


def list_notes(options: Sequence[Option]) -> list[str]:
    """Return what is not alike between the first option and each of the others, plainly."""
    first, notes = options[0], []
    for other in options[1:]:
        notes += _compare_lamps(first, other)
        notes += _compare_cameras(first, other)
        notes += _compare_sets(first, other)
    return notes


def list_differing(one: Part, other: Part) -> list[str]:
    """Return the keys in which two parts of sets differ, as set files write them."""
    if type(one) is not type(other):
        return ["kind"]
    fields = type(one).model_fields.items()
    return [field.alias or name for name, field in fields if getattr(one, name) != getattr(other, name)]


def _compare_lamps(first: Option, other: Option) -> list[str]:
    ours, theirs = first.study.set_file.lamps, other.study.set_file.lamps
    found = []
    if missing := [name for name in ours if name not in theirs]:
        found.append(f"it lacks {', '.join(missing)}")
    if more := [name for name in theirs if name not in ours]:
        found.append(f"it adds {', '.join(more)}")
    built = {lamp.name: lamp for lamp in first.built.lamps}
    for lamp in other.built.lamps:
        if lamp.name not in ours:
            continue
        keys = list_differing(ours[lamp.name], theirs[lamp.name])
        away_mm = float(np.linalg.norm(lamp.centre_mm - built[lamp.name].centre_mm))
        moved = f"stands {away_mm:.0f} mm from its place in {first.letter}"
        # An aim written in another way is no other light.
        if (keys := [key for key in keys if key != "aim"]) and away_mm > SAME_PLACE_MM:
            found.append(f"its {lamp.name} differs in {', '.join(keys)} and {moved}")
        elif keys:
            found.append(f"its {lamp.name} differs in {', '.join(keys)}")
        elif away_mm > SAME_PLACE_MM:
            found.append(f"its {lamp.name} {moved}, for it aims elsewhere")
    notes = []
    if found:
        light = f"the light of {other.letter} is not that of {first.letter}: {'; '.join(found)}"
        notes.append(f"{light}. This compares the light, too")
    if first.built.relative != other.built.relative:
        text = f"of {first.letter} and {other.letter} only one has meter readings, so each is exposed as if"
        notes.append(f"{text} metered on its own plain table; their levels of light cannot be compared")
    if first.lamp != other.lamp:
        notes.append(f"{other.letter} has no lamp {first.lamp}; of it {other.lamp} is compared")
    return notes


def _compare_cameras(first: Option, other: Option) -> list[str]:
    one, two = first.built.camera, other.built.camera
    if one is None or two is None:
        missing = [option.letter for option in (first, other) if option.built.camera is None]
        return [f"{' and '.join(missing)} without a camera: no picture"] if one or two else []
    keys = list_differing(first.study.set_file.camera, other.study.set_file.camera)
    keys = [key for key in keys if key not in ("aim", "focus")]
    away_mm = float(np.linalg.norm(one.place_mm - two.place_mm))
    turned = float(np.dot(one.forward, two.forward)) < 1 - 1e-7
    if not keys and away_mm <= SAME_PLACE_MM and not turned:
        return []
    what = f"differs in {', '.join(keys)}" if keys else "stands or looks elsewhere"
    return [f"the camera of {other.letter} {what}; its picture is still exposed as that of {first.letter}"]


def _compare_sets(first: Option, other: Option) -> list[str]:
    # An option of the same file is named by its changes.
    if first.study.text == other.study.text:
        return []
    ours, theirs = first.study.set_file, other.study.set_file
    keys = [key for key in list_differing(ours, theirs) if key not in _SILENT]
    return [f"{other.letter} differs from {first.letter} in: {', '.join(keys)}"] if keys else []
