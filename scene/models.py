"""The set file as a whole, checked part by part."""

from typing import Annotated, Any

from pydantic import Field, PrivateAttr

from .models_base import Part
from .models_brief import Brief
from .models_heads import AnyLamp
from .models_numbers import NAME_PATTERN, Number
from .models_panels import Backdrop, Card, Diffuser, Flag, Foil, Mirror
from .models_props import AnyProp
from .models_room import Room
from .models_things import Glass, Table
from .models_vessels import FileName
from .models_views import Camera, Meter, Render
from .yamlplaces import Document

VERSION = 1
#: Sections that hold things by name, and what one of their things is called.
SECTIONS = {
    "glasses": "glass",
    "props": "prop",
    "lamps": "lamp",
    "flags": "flag",
    "cards": "card",
    "foils": "foil",
    "diffusers": "diffuser",
    "mirrors": "mirror",
    "meters": "meter",
}


def _section(description: str, default: Any = (), **limits: int) -> Any:
    names = {"propertyNames": {"pattern": NAME_PATTERN}}
    if default == ():
        return Field(default_factory=dict, description=description, json_schema_extra=names, **limits)
    return Field(default, description=description, json_schema_extra=names, **limits)


class SetFile(Part):
    """A photographer's set: a table, what stands on it, the light, the camera.

    Lengths are mm, angles degrees; z is up, the table top is z = 0, the camera stands on the -y side.
    A name that something aims at, looks at or faces is in `glasses`, `props` or `lamps`; the name `hero`
    always leads to `SetFile.hero`.
    """

    version: Annotated[int, Number(VERSION, VERSION, whole=True)] = Field(
        alias="brimcast", description="Version of the set file; so far there is only 1."
    )
    title: Annotated[str, Field(max_length=200)] = Field("Untitled set", description="Title of the set.")
    kit: FileName | None = Field(None, description="Kit file with the heads that lamps name.")
    table: Table = Field({}, description="The table.")
    glasses: dict[str, Glass] = _section("Glasses by name; the one named hero, else the first, is the hero.")
    props: dict[str, AnyProp] = _section("Solids of simple shapes by name.")
    lamps: dict[str, AnyLamp] = _section("Lamps by name.", ..., min_length=1)
    flags: dict[str, Flag] = _section("Black panels by name.")
    cards: dict[str, Card] = _section("Reflecting panels by name.")
    foils: dict[str, Foil] = _section("Black foil bent by hand, by name.")
    diffusers: dict[str, Diffuser] = _section("Panels that let light through diffusely, by name.")
    mirrors: dict[str, Mirror] = _section("Flat mirrors by name.")
    backdrop: Backdrop | None = Field(None, description="Paper that curves up behind the set.")
    camera: Camera | None = Field(None, description="The camera; left out, only maps can be made.")
    meters: dict[str, Meter] = _section("Light meters by name.")
    room: Room | None = Field(None, description="The room; it casts light only where it has a reflectance.")
    brief: Brief = Field({}, description="What is wanted of the set; no light depends on it.")
    render: Render = Field({}, description="How finely to compute.")

    _document: Document | None = PrivateAttr(None)

    @property
    def hero(self) -> str | None:
        """Name of the hero: the glass called so, else the first glass; without glasses, so with the props."""
        return hero_of(self.glasses, self.props)


def hero_of(glasses: dict, props: dict) -> str | None:
    """Return the name of the hero among glasses, or props where no glass is; None where there is neither."""
    for things in (glasses, props):
        if things:
            return "hero" if "hero" in things else next(iter(things))
    return None
