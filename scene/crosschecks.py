"""Checks between the parts of a set: names, what they lead to, and readings.

They look at the values as read, so that they also speak where some part is wrong in itself.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from .colourwords import AS_SHOT, WHITE_WORDS
from .models import SECTIONS, hero_of
from .models_base import listed, nearest, show
from .models_brief import asked_lamp
from .models_lights import DIRECTIONS
from .models_numbers import NAME_PATTERN
from .models_props import SUPPORTS
from .yamlplaces import Document, Path_

#: Words that mean something by themselves, so no thing may be called so.
KEPT = (*DIRECTIONS, "camera", "table")
#: Sections whose things stand on stands.
ON_STANDS = ("lamps", "flags", "cards", "foils", "diffusers", "mirrors")

Found = tuple[Path_, str, str]


def cross_check(document: Document) -> Iterator[Found]:
    """Yield path, text and `'key'` or `'value'` (where to point) for every fault between parts."""
    things = {section: _group(document.value((section,))) for section in SECTIONS}
    yield from _check_names(document, things)
    yield from _check_targets(document, things)
    yield from _check_supports(things)
    yield from _check_readings(things["lamps"])
    yield from _check_white(document, things)
    yield from _check_stands(document, things)
    yield from _check_brief(document, things)


def _group(value: object) -> dict:
    return value if isinstance(value, dict) else {}


def _check_names(document: Document, things: dict[str, dict]) -> Iterator[Found]:
    taken: dict[str, tuple[str, Path_]] = {}
    for section, what in SECTIONS.items():
        for name in things[section]:
            path = (section, name)
            if not re.match(NAME_PATTERN, name):
                rule = "a name starts with a letter, then letters, digits, - or _, up to 60 in all"
                yield path, f"{show(name)} is no name; {rule}", "key"
            elif name in KEPT:
                yield path, f"a {what} cannot be called {name!r}: the word has a meaning of its own", "key"
            elif name == "hero" and section not in ("glasses", *(() if things["glasses"] else ("props",))):
                yield path, f"a {what} cannot be called 'hero': the word is kept for the hero glass", "key"
            elif name in taken:
                other, first = taken[name]
                place = document.places.get(first)
                line = f" (line {place.key[0]})" if place else ""
                text = f"{name!r} is already the name of a {other}{line}; give each thing its own name"
                yield path, text, "key"
            else:
                taken[name] = (what, path)


def _check_targets(document: Document, things: dict[str, dict]) -> Iterator[Found]:
    solids = [*things["glasses"], *things["props"]]
    solids += ["hero"] if hero_of(things["glasses"], things["props"]) and "hero" not in solids else []
    directions = [*DIRECTIONS, *(["camera"] if document.value(("camera",)) is not None else [])]
    for path, kind in _targets(things):
        name = document.value(path)
        if not isinstance(name, str) or not re.match(NAME_PATTERN, name):
            continue
        facing = kind == "facing"
        known = [*solids, *(directions if facing else []), *(things["lamps"] if facing else [])]
        if name in known:
            continue
        if facing and name == "camera":
            yield path, "there is no camera in this set", "value"
            continue
        what = "glass, prop, lamp or direction" if facing else "glass or prop"
        allowed = f"allowed: {listed(known)}" if known else "the set has none"
        yield path, f"there is no {what} called {name!r}{nearest(name, known) or ';'} {allowed}", "value"


def _targets(things: dict[str, dict]) -> Iterator[tuple[Path_, str]]:
    for lamp in things["lamps"]:
        yield ("lamps", lamp, "aim"), "aim"
    yield from ((("camera", key), key) for key in ("aim", "focus"))
    for section in ("flags", "cards", "diffusers", "mirrors", "meters"):
        for name in things[section]:
            yield (section, name, "facing"), "facing"


def _check_supports(things: dict[str, dict]) -> Iterator[Found]:
    """What a glass stands on is a prop of the set, and has a flat top."""
    shapes = {name: _group(prop).get("shape") for name, prop in things["props"].items()}
    fit = [name for name, shape in shapes.items() if shape in SUPPORTS]
    allowed = f"allowed: {listed(fit)}" if fit else f"allowed: a {listed(SUPPORTS)} among the props"
    for glass, model in things["glasses"].items():
        name = _group(model).get("stands_on")
        if not isinstance(name, str) or not re.match(NAME_PATTERN, name) or name in fit:
            continue
        text = f"there is no prop called {name!r}{nearest(name, fit) or ';'}"
        if name in shapes:
            text = f"a glass cannot stand on {name!r}, a {shapes[name]};"
        yield ("glasses", glass, "stands_on"), f"{text} {allowed}", "value"


def _check_readings(lamps: dict) -> Iterator[Found]:
    read = [name for name, lamp in lamps.items() if isinstance(lamp, dict) and _is_read(lamp)]
    for name, lamp in lamps.items():
        # Whether a head has a reading is told by its kit, which is read later.
        if read and isinstance(lamp, dict) and name not in read and "head" not in lamp:
            text = f"missing: lamp {read[0]!r} has a reading; give one to every lamp, or to none"
            yield ("lamps", name, "reading"), text, "value"


def _check_white(document: Document, things: dict[str, dict]) -> Iterator[Found]:
    """The camera's white may name a card or a meter; other words are temperatures or faults of their own."""
    white, known = document.value(("camera", "white")), [*things["cards"], *things["meters"]]
    words = (*WHITE_WORDS, AS_SHOT)
    if not isinstance(white, str) or white in words or not re.match(NAME_PATTERN, white) or white in known:
        return
    allowed = listed([*words, *known, "5600 K"])
    near = nearest(white, [*words, *known]) or ";"
    yield ("camera", "white"), f"there is no card or meter called {white!r}{near} allowed: {allowed}", "value"


def _check_stands(document: Document, things: dict[str, dict]) -> Iterator[Found]:
    known = [name for section in ON_STANDS for name in things[section]]
    for name in _group(document.value(("room", "stands"))):
        if name not in known:
            text = f"there is no lamp or panel called {name!r}{nearest(name, known) or ';'}"
            yield ("room", "stands", name), f"{text} allowed: {listed(known)}", "key"


def _check_brief(document: Document, things: dict[str, dict]) -> Iterator[Found]:
    """The brief's lamps are lamps of the set."""
    known = list(things["lamps"])

    def tell(name: str) -> str:
        return f"there is no lamp called {name!r}{nearest(name, known) or ';'} allowed: {listed(known)}"

    asked = document.value(("brief", "lamp"))
    if known and isinstance(asked, str) and asked not in known:
        yield ("brief", "lamp"), tell(asked), "value"
    for group in ("ratios", "watts"):
        for name in _group(document.value(("brief", group))):
            if known and name not in known:
                yield ("brief", group, name), tell(name), "key"
    own = asked_lamp(asked if isinstance(asked, str) else None, known) if known else None
    if own in _group(document.value(("brief", "ratios"))):
        text = f"a ratio is of {own!r} to another lamp; name that one, or another as brief.lamp"
        yield ("brief", "ratios", own), text, "key"


def _is_read(lamp: dict) -> bool:
    return "reading" in lamp or lamp.get("candela") is True
