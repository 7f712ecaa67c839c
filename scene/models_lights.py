"""Light: lamps with their meter readings, and what things look at."""

import re
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field
from pydantic_core import core_schema

from .models_base import Part, fault, show
from .models_colours import Colour, OneGel
from .models_fronts import Scrim
from .models_numbers import (
    LENGTH,
    NAME_PATTERN,
    Azimuth,
    Elevation,
    Lengths,
    Point,
    Quantity,
    Size,
)

DIRECTIONS = ("up", "down")


class Distance(NamedTuple):
    """A distance from the lens, mm."""

    distance_mm: float


class Direction(Part):
    """A direction by its angles."""

    azimuth_deg: Azimuth = Field("0 deg", alias="azimuth", description="0 deg toward the camera, clockwise.")
    elevation_deg: Elevation = Field("0 deg", alias="elevation", description="Above the table plane.")


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
        "5600 K", description="Colour temperature, kind of lamp, one wavelength, or a measured spectrum."
    )
    gels: tuple[OneGel, ...] = Field(
        (), max_length=8, description="Gels before the lamp; its reading is taken without them."
    )
    power_stops: Annotated[
        float, Quantity("stops", least="-20 stops", most="0 stops", reason="0 is the power of the reading")
    ] = Field("0 stops", alias="power", description="Below the power at which the reading was taken.")


class Lamp(Light):
    """What all lamps share that stand on the set."""

    throw_mm: Size = Field("1.5 m", alias="throw", description="From the lamp's front to its aim.")
    reading: Reading | None = Field(None, description="Meter reading; for all lamps or for none.")
    scrim: Scrim | None = Field(None, description="A diffuser panel in front of the lamp.")
