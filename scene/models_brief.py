"""What the pictures are to show, and what else the photographer's questions need to be answered."""

import re
from collections.abc import Iterable
from typing import Annotated

from pydantic import Field, field_validator
from pydantic_core import core_schema

from .models_base import Part, fault, show
from .models_numbers import At, Gap, Number, Quantity, Size
from .models_things import Vessel


class Ratio:
    """A lighting ratio written `4:1`; the value is the first over the second."""

    PATTERN = r"^\s*(\d{1,4}(?:\.\d+)?)\s*:\s*(\d{1,4}(?:\.\d+)?)\s*$"

    def read(self, value: object) -> float:
        """Return the ratio.

        Raises
        ------
        PydanticCustomError
            It is no such text, or beyond 1:10000 or 10000:1.
        """
        found = re.match(self.PATTERN, value) if isinstance(value, str) else None
        sides = [float(side) for side in found.groups()] if found else [0.0]
        if not min(sides) > 0:
            raise fault(f"{show(value)} is no ratio; write it like 4:1, incident, the key's light first")
        return sides[0] / sides[1]

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, core, handler):
        return {"type": "string", "pattern": self.PATTERN, "examples": ["4:1"]}


class Slips(Part):
    """How far glasses and lamps are off in practice: one standard deviation each."""

    place_mm: Gap = Field("2 mm", alias="place", description="A glass from its mark, in x and in y.")
    turn_deg: Annotated[float, Quantity("angle", least="0 deg", most="180 deg")] = Field(
        "10 deg", alias="turn", description="A glass about its axis."
    )
    throw_mm: Gap = Field("20 mm", alias="throw", description="A lamp along its throw.")
    angle_deg: Annotated[float, Quantity("angle", least="0 deg", most="30 deg")] = Field(
        "1 deg", alias="angle", description="A lamp's elevation and azimuth."
    )
    wall_mm: Gap = Field("0.1 mm", alias="wall", description="A glass's wall, within a batch.")
    diameter_mm: Gap = Field("0.3 mm", alias="diameter", description="A glass's diameter, likewise.")


class Flash(Part):
    """How long a flash head burns at one of its powers."""

    power_stops: Annotated[float, Quantity("stops", least="-12 stops", most="0 stops")] = Field(
        alias="power", description="Power, stops below full."
    )
    t01_s: Annotated[float, Quantity("time", least="1/1000000 s", most="1 s")] = Field(
        alias="time", description="How long it burns there above a tenth of its peak (t0.1)."
    )


class Brief(Part):
    """What is wanted. No light depends on it; `brimcast ask` and `brimcast solve` take their aims from it."""

    lamp: str | None = Field(
        None, description="Lamp that the questions are about; left out, the one called key, else the first."
    )
    line_width_mm: Size = Field("2 mm", alias="line_width", description="How narrow the line is to be.")
    mark: At | None = Field(None, description="Mark on the table where the caustic's tip is to lie: x, y.")
    ratios: dict[str, Annotated[float, Ratio()]] = Field(
        default_factory=dict,
        description="Incident ratio of the lamp that the questions are about to another, at the hero.",
    )
    rival: Vessel | None = Field(None, description="Another vessel for the hero's place, to compare with.")
    splash_speed_m_s: Annotated[float, Quantity("speed", above="0 m/s", most="100 m/s")] | None = Field(
        None, alias="splash_speed", description="How fast the splash flies."
    )
    flash: tuple[Flash, ...] = Field((), description="How long the head burns at its powers, two or more.")
    pixel_limit: Annotated[float, Number(0.01, 100)] | None = Field(
        None, description="How far anything may move between plates, in pixels of the final file."
    )
    file_width_px: Annotated[int, Number(16, 100000, whole=True)] | None = Field(
        None, alias="file_width", description="Width of the camera's own file, in pixels."
    )
    flag_distance_mm: Size | None = Field(
        None, alias="flag_distance", description="From the hero's axis to a flag to plan, along the light."
    )
    watts: dict[str, Annotated[float, Quantity("watts", above="0 W", most="100000 W")]] = Field(
        default_factory=dict, description="Electrical power of steady lamps, by lamp."
    )
    slips: Slips = Field({}, description="Making and placing errors, for tolerance bands.")

    @field_validator("flash")
    @classmethod
    def _check_flash(cls, flash: tuple[Flash, ...]):
        powers = [point.power_stops for point in flash]
        for number, power in enumerate(powers):
            if power in powers[:number]:
                raise fault(f"{power:g} stops is given twice; one time for each power", number, "power")
        return flash


def asked_lamp(named: str | None, lamps: Iterable[str]) -> str:
    """Return the lamp that the questions are about: the one that the brief names, key, else the first."""
    lamps = list(lamps)
    return named or ("key" if "key" in lamps else lamps[0])
