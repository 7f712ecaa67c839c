"""The photographer's own heads and modifiers, by name, from a kit file; the files that lamps are made of."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from brimcast.shared.errors import PersonError

from .faults import model_faults
from .glassfiles import folder_of
from .models_base import listed, nearest
from .models_heads import Head, HeadLamp, KitFile, Source
from .models_lights import Temperature
from .setfile import SetFile, faults_at
from .yamlplaces import read_document


@dataclass(frozen=True, eq=False)
class Fixture:
    """What of a lamp glows, wherever it comes from.

    Attributes
    ----------
    front : AnyFront
    folder : Path
        From where files that the front names are found.
    colour : Temperature or Line
    reading : Reading or FarReading or None
    behind_mm : float
        How far the front lies behind where the throw is measured from.
    notes : tuple of str
        What to warn of.
    """

    front: Any
    folder: Path
    colour: Any
    reading: Any
    behind_mm: float = 0.0
    notes: tuple[str, ...] = ()


def read_kit(set_file: SetFile) -> KitFile | None:
    """Return the kit of a set, None where it names none.

    Raises
    ------
    PersonError
        With all faults of the kit file, or that it is not there.
    """
    if set_file.kit is None:
        return None
    path = folder_of(set_file) / set_file.kit
    if not path.is_file():
        text = f"there is no file {set_file.kit!r} in {path.parent.resolve()}"
        raise PersonError(faults_at(set_file, "kit", text))
    document = read_document(path)
    if not isinstance(document.data, dict):
        raise PersonError(document.fault((), "no kit file; it begins with 'brimcast-kit: 1'"))
    found = [(fault.line or 0, fault) for fault in document.faults]
    try:
        kit = KitFile.model_validate(document.data)
    except ValidationError as error:
        faults = [document.fault(*found) for found in model_faults(error, KitFile, document)]
        found += [(fault.line or 0, fault) for fault in faults]
    if found:
        raise PersonError([fault for _, fault in sorted(found, key=lambda pair: pair[0])])
    return kit


def choose_fixture(set_file: SetFile, name: str, kit: KitFile | None) -> Fixture:
    """Return what of a lamp glows: its own front, or that of its head in the kit.

    Raises
    ------
    PersonError
        The kit lacks what the lamp names, or the head cannot be set to its power.
    """
    model, folder = set_file.lamps[name], folder_of(set_file)
    if not isinstance(model, HeadLamp):
        return Fixture(model, folder, model.colour, model.reading)
    if kit is None:
        text = f"{model.head!r} is a head of a kit, and the set names none; write kit: and its file on top"
        raise PersonError(faults_at(set_file, f"lamps.{name}.head", text))
    head = _named(set_file, f"lamps.{name}.head", model.head, kit.heads, "head")
    source = getattr(head, model.use)
    if source is None:
        text = f"head {model.head!r} has no {model.use} source; the kit has its {_other(model.use)} alone"
        raise PersonError(faults_at(set_file, f"lamps.{name}.use", text))
    if model.power_stops < -head.range_stops - 1e-9:
        text = (
            f"{model.power_stops:g} stops is out of range of head {model.head!r}; "
            f"allowed: at least {-head.range_stops:g} stops, by {set_file.kit}"
        )
        raise PersonError(faults_at(set_file, f"lamps.{name}.power", text))
    front = source.front
    if model.modifier is not None:
        front = _named(set_file, f"lamps.{name}.modifier", model.modifier, kit.modifiers, "modifier")
    return Fixture(
        front=front,
        folder=(folder / set_file.kit).parent,
        colour=model.colour if "colour" in model.model_fields_set else source.colour,
        reading=model.reading or source.readings.get(model.modifier or "bare"),
        behind_mm=0.0 if model.modifier is not None else source.behind_mm,
        notes=tuple(_tell_apart(name, model, head)),
    )


def _named(set_file: SetFile, key: str, name: str, things: dict, what: str):
    if name in things:
        return things[name]
    allowed = f"allowed: {listed(things)}" if things else "it has none"
    text = f"{set_file.kit} has no {what} called {name!r}{nearest(name, things) or ';'} {allowed}"
    raise PersonError(faults_at(set_file, key, text))


def _other(use: str) -> str:
    return "modelling" if use == "flash" else "flash"


def _tell_apart(name: str, model: HeadLamp, head: Head):
    """Yield what differs between the flash and the modelling lamp, the one of which is rendered."""
    if head.flash is None or head.modelling is None:
        return
    flash, modelling = head.flash, head.modelling
    if model.modifier is None:
        wide, other = width_of(flash.front), width_of(modelling.front)
        apart = modelling.behind_mm - flash.behind_mm
        if abs(wide / other - 1) > 0.05 or abs(apart) > 1:
            place = f", {abs(apart):g} mm {'in front' if apart > 0 else 'behind'}" if apart else ""
            yield (
                f"{name}: rendered is the {model.use} source. The flash tube ({_told(flash)}{place}) and the "
                f"modelling lamp ({_told(modelling)}) are not the same light: under the flash, penumbras and "
                f"the caustic's blur are {wide / other:.2g} times what the modelling lamp shows"
            )
    if isinstance(flash.colour, Temperature) and isinstance(modelling.colour, Temperature):
        kelvin = flash.colour.temperature_k, modelling.colour.temperature_k
        shift = abs(1e6 / kelvin[0] - 1e6 / kelvin[1])
        if shift > 10:
            yield (
                f"{name}: the flash has {kelvin[0]:.0f} K, its modelling lamp {kelvin[1]:.0f} K, "
                f"{shift:.0f} mired apart"
            )


def width_of(front) -> float:
    """Return the largest width of a front, mm."""
    sizes = [getattr(front, f"{key}_mm", None) for key in ("size", "diameter", "length", "height", "lens")]
    if front.kind == "snoot":
        sizes = [front.diameter_mm]
    return max(max(size) if isinstance(size, tuple) else size for size in sizes if size is not None)


def _told(source: Source) -> str:
    return f"{source.front.kind} {width_of(source.front):g} mm"


def list_lamp_files(set_file: SetFile) -> list[Path]:
    """Return the files that a set's lamps are made of: the kit, measured beams, masks."""
    folder = folder_of(set_file)
    found = [] if set_file.kit is None else [folder / set_file.kit]
    fronts = [(folder, lamp) for lamp in set_file.lamps.values()]
    if found:
        try:
            kit = read_kit(set_file)
        except PersonError:
            return found
        sources = [source for head in kit.heads.values() for source in (head.flash, head.modelling)]
        parts = [source.front for source in sources if source]
        fronts += [(found[0].parent, front) for front in (*parts, *kit.modifiers.values())]
    for place, front in fronts:
        names = (getattr(front, key, None) for key in ("ies", "mask"))
        found += [place / name for name in names if name]
    return found
