"""Light and what shapes it: lamps with their meter readings, flags and cards."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field
from pydantic_core import core_schema

from .models_base import Part, fault, listed, show
from .models_fronts import Scrim
from .models_numbers import (
    LENGTH,
    NAME_PATTERN,
    At3,
    Azimuth,
    Elevation,
    Lengths,
    Pair,
    Point,
    Quantity,
    Size,
)
from .models_surfaces import Reflectance

DAYLIGHT_K = 5600.0  # common practice: what flash and daylight lamps are balanced to
TUNGSTEN_K = 3200.0  # common practice: studio halogen
DIRECTIONS = ("up", "down")


class Temperature(NamedTuple):
    """Colour of a lamp by its colour temperature, K."""

    temperature_k: float


class Line(NamedTuple):
    """A lamp of one wavelength, nm."""

    wavelength_nm: float


class Distance(NamedTuple):
    """A distance from the lens, mm."""

    distance_mm: float


class Direction(Part):
    """A direction by its angles."""

    azimuth_deg: Azimuth = Field("0 deg", alias="azimuth", description="0 deg toward the camera, clockwise.")
    elevation_deg: Elevation = Field("0 deg", alias="elevation", description="Above the table plane.")


class _ReadColour:
    """A colour temperature; on lamps also one wavelength."""

    WORDS = {"daylight": DAYLIGHT_K, "tungsten": TUNGSTEN_K}
    TEMPERATURE = Quantity("temperature", least="1000 K", most="25000 K")
    WAVELENGTH = Quantity("wavelength", least="380 nm", most="700 nm")

    def __init__(self, line: bool):
        self.line = line

    def read(self, value: object) -> Temperature | Line:
        if isinstance(value, str) and value in self.WORDS:
            return Temperature(self.WORDS[value])
        if not isinstance(value, str) or not re.search(r"\d", value):
            line = ", a line such as '587.6 nm'" if self.line else ""
            what = "has no unit" if isinstance(value, int | float) else "is no colour"
            allowed = f"write a temperature such as '5600 K'{line}, {listed(self.WORDS)}"
            raise fault(f"{show(value)} {what}; {allowed}")
        if self.line and value.rstrip().endswith("nm"):
            return Line(self.WAVELENGTH.read(value))
        return Temperature(self.TEMPERATURE.read(value))

    def __get_pydantic_core_schema__(self, source, handler):
        if self.line:
            return core_schema.no_info_plain_validator_function(self.read)
        return core_schema.no_info_plain_validator_function(lambda value: self.read(value).temperature_k)

    def __get_pydantic_json_schema__(self, core, handler) -> dict[str, Any]:
        texts = [self.TEMPERATURE, self.WAVELENGTH] if self.line else [self.TEMPERATURE]
        return {"anyOf": [{"enum": list(self.WORDS)}, *(quantity.json() for quantity in texts)]}


class Target:
    """The name of a thing, or a point, a distance, a direction; whether the name exists is checked later.

    Parameters
    ----------
    others : str
        Which forms are allowed beside a name: any of `point`, `distance`, `direction`.
    """

    DISTANCE = Quantity("length", above="0 mm", most="100 m")
    POINT = Lengths(("x", "y", "z"), LENGTH, Point)

    def __init__(self, *others: str):
        self.others = others

    def check(self, value: object) -> object:
        if isinstance(value, str) and re.match(NAME_PATTERN, value) or self.pick(value) != "<name>":
            return value
        forms = {
            "point": "a point [x, y, z]",
            "distance": "a distance such as '1.1 m'",
            "direction": "{azimuth: ..., elevation: ...}",
        }
        allowed = " or ".join(forms[other] for other in self.others)
        raise fault(f"{show(value)} is not known; write a name or {allowed}")

    def pick(self, value: object) -> str:
        """Return the form that a value has."""
        if isinstance(value, list | tuple) and "point" in self.others:
            return "<point>"
        if isinstance(value, dict | Part) and "direction" in self.others:
            return "<Direction>"
        if "distance" in self.others and not (isinstance(value, str) and re.match(NAME_PATTERN, value)):
            return "<distance>"
        return "<name>"

    def __get_pydantic_core_schema__(self, source, handler):
        def read_distance(value: object) -> Distance:
            return Distance(self.DISTANCE.read(value))

        forms = {
            "<name>": core_schema.str_schema(),
            "<point>": self.POINT.__get_pydantic_core_schema__(source, handler),
            "<distance>": core_schema.no_info_plain_validator_function(read_distance),
            "<Direction>": handler.generate_schema(Direction),
        }
        union = core_schema.tagged_union_schema(forms, self.pick)
        return core_schema.no_info_before_validator_function(self.check, union)

    def __get_pydantic_json_schema__(self, core, handler) -> dict[str, Any]:
        forms = {
            "point": lambda: self.POINT.__get_pydantic_json_schema__(core, handler),
            "distance": self.DISTANCE.json,
            "direction": lambda: handler(core["schema"]["choices"]["<Direction>"]),
        }
        name = {"type": "string", "pattern": NAME_PATTERN, "description": "name of a thing in the set"}
        return {"anyOf": [name, *(forms[other]() for other in self.others)]}


Aim = Annotated[str | Point, Target("point")]
Focus = Annotated[str | Point | Distance, Target("point", "distance")]
Facing = Annotated[str | Direction, Target("direction")]
FNumber = Annotated[float, Quantity("f_number", least="f/0.7", most="f/256")]
Iso = Annotated[float, Quantity("iso", most="ISO 1000000")]
White = Annotated[float, _ReadColour(line=False)]
Colour = Annotated[Temperature | Line, _ReadColour(line=True)]


class Reading(Part):
    """An incident meter reading of a lamp alone, on its axis, at the lamp's power 0."""

    f_number: FNumber = Field(description="What the meter shows.")
    iso: Iso = Field(100, description="Set on the meter.")
    distance_mm: Size = Field(alias="distance", description="From the lamp's front to the meter.")
    receptor: Literal["flat", "dome"] = Field(description="Flat disc or dome on the meter.")


class Light(Part):
    """What all lamps share, sun and sky too."""

    elevation_deg: Elevation = Field("35 deg", alias="elevation", description="Angle above the table plane.")
    azimuth_deg: Azimuth = Field("150 deg", alias="azimuth", description="0 deg toward camera, clockwise.")
    aim: Aim = Field("hero", description="A glass or prop (half its height), or a point [x, y, z].")
    colour: Colour = Field(
        "5600 K", description="Colour temperature, daylight (5600 K), tungsten (3200 K), or one wavelength."
    )
    power_stops: Annotated[
        float, Quantity("stops", least="-20 stops", most="0 stops", reason="0 is the power of the reading")
    ] = Field("0 stops", alias="power", description="Below the power at which the reading was taken.")


class Lamp(Light):
    """What all lamps share that stand on the set."""

    throw_mm: Size = Field("1.5 m", alias="throw", description="From the lamp's front to its aim.")
    reading: Reading | None = Field(None, description="Meter reading; for all lamps or for none.")
    scrim: Scrim | None = Field(None, description="A diffuser panel in front of the lamp.")


class Flag(Part):
    """A thin black panel that keeps light away."""

    size_mm: Pair = Field(["300 mm", "400 mm"], alias="size", description="Width and height.")
    at_mm: At3 = Field(alias="at", description="Its centre.")
    facing: Facing = Field("hero", description="Where its front looks.")


class Card(Part):
    """A thin panel that throws light back from both sides."""

    size_mm: Pair = Field(["200 mm", "300 mm"], alias="size", description="Width and height.")
    at_mm: At3 = Field(alias="at", description="Its centre.")
    facing: Facing = Field("hero", description="Where its front looks.")
    reflectance: Reflectance = Field("85 %", description="Share of the light thrown back.")
