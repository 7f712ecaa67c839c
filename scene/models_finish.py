"""What was done to a glass: cut, relief, frosting, bubbles, tint, and how far it is from true."""

import re
from typing import Annotated, Any, ClassVar

from pydantic import Field, model_validator
from pydantic_core import core_schema

from .models_base import ByKey, Part, fault, show
from .models_numbers import Number, Quantity, Size

DEPTH = Quantity("length", above="0 mm", most="50 mm")
HEIGHT = Quantity("length", least="0 mm", most="2 m")
SCALE = Quantity("length", least="1 mm", most="500 mm", reason="what is finer is frosting")

Depth = Annotated[float, DEPTH]
Height = Annotated[float, HEIGHT]
Seed = Annotated[int, Number(0, 2**32 - 1, whole=True)]
Many = Annotated[int, Number(3, 200, whole=True)]
#: Shares of the light that pass a tint: none passes nothing at all.
Passing = Annotated[float, Quantity("fraction", least="0.01 %")]


class Zone(Part):
    """A stretch of the outside between two heights."""

    from_mm: Height = Field(alias="from", description="Height above the table where it begins.")
    to_mm: Height = Field(alias="to", description="Height above the table where it ends.")

    @model_validator(mode="after")
    def _check_order(self):
        if not self.from_mm < self.to_mm:
            raise fault(f"{self.to_mm:g} mm is not above 'from', {self.from_mm:g} mm", "to")
        return self


class Cut(Zone):
    """Flat panels cut round the glass, each with a flat bevel at its ends; one faces the camera."""

    facets: Annotated[int, Number(3, 60, whole=True)] = Field(description="How many.")
    depth_mm: Depth = Field(alias="depth", description="From the round outside to the middle of a panel.")
    bevel_deg: Annotated[float, Quantity("angle", least="10 deg", most="80 deg")] = Field(
        "45 deg", alias="bevel", description="Angle between a panel and the bevels that end it."
    )


class Flutes(Zone):
    """Rounded channels side by side; one faces the camera. As ribs: rounded bars instead."""

    count: Many = Field(description="How many.")
    depth_mm: Depth = Field(alias="depth", description="From the outermost to the deepest places, level.")
    twist_deg: Annotated[float, Quantity("angle", least="-3600 deg", most="3600 deg")] = Field(
        "0 deg", alias="twist", description="Turn from the lower to the upper end, clockwise from above."
    )


class Rings(Zone):
    """Rounded grooves round the glass, evenly spaced."""

    count: Annotated[int, Number(1, 200, whole=True)] = Field(description="How many.")
    depth_mm: Depth = Field(alias="depth", description="From the outermost to the deepest places, level.")


class Uneven(Part):
    """A surface uneven at random."""

    depth_mm: Depth = Field(alias="depth", description="From the outermost to the deepest places, level.")
    seed: Seed = Field(1, description="Start of the random numbers; another seed, another surface.")
    from_mm: Height | None = Field(
        None, alias="from", description="Height where it begins; left out, the base."
    )
    to_mm: Height | None = Field(
        None, alias="to", description="Height where it ends; left out, under the rim."
    )


class Hammered(Uneven):
    """Shallow round dents side by side."""

    scale_mm: Annotated[float, SCALE] = Field("8 mm", alias="scale", description="From dent to dent.")


class Wavy(Uneven):
    """Smooth waviness, as of blown or old glass."""

    scale_mm: Annotated[float, SCALE] = Field("30 mm", alias="scale", description="From crest to crest.")


class Frost(Zone):
    """A zone that is etched or blasted matt."""

    roughness: Annotated[float, Number(0.01, 1.0)] = Field(
        0.3, description="How matt: 0.1 satin, 0.3 etched, 0.6 blasted; the GGX width of its slopes."
    )


class Bubbles(Part):
    """Bubbles in the glass itself (seeds), strewn at random."""

    count: Annotated[int, Number(1, 1000, whole=True)] = Field(description="How many.")
    diameter_mm: Annotated[float, Quantity("length", least="0.05 mm", most="50 mm")] = Field(
        "0.4 mm", alias="diameter", description="Diameter of the smallest."
    )
    largest_mm: Annotated[float, Quantity("length", least="0.05 mm", most="50 mm")] | None = Field(
        None, alias="largest", description="Diameter of the largest; left out, all are alike."
    )
    seed: Seed = Field(1, description="Start of the random numbers; another seed, other places.")

    @model_validator(mode="after")
    def _check_sizes(self):
        if self.largest_mm is not None and self.largest_mm < self.diameter_mm:
            raise fault(
                f"{self.largest_mm:g} mm is less than the smallest, {self.diameter_mm:g} mm", "largest"
            )
        return self


class ReadColour:
    """A colour as on a screen: `"#3a7"` or `"#33aa77"`."""

    PATTERN = r"^#([0-9A-Fa-f]{3}|[0-9A-Fa-f]{6})$"

    def read(self, value: object) -> str:
        if not isinstance(value, str) or not re.match(self.PATTERN, value):
            raise fault(f'{show(value)} is no colour; write it like "#33aa77", with the quotes')
        digits = value[1:].lower()
        return "#" + (digits if len(digits) == 6 else "".join(2 * digit for digit in digits))

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, core, handler) -> dict[str, Any]:
        return {"type": "string", "pattern": self.PATTERN, "examples": ["#33aa77"]}


class Tint(Part):
    """What a thickness of the glass does to light on its way through; its surfaces are not counted."""

    at_mm: Size = Field(alias="at", description="The thickness.")


class ColourTint(Tint):
    """A tint by the colour that white light takes on."""

    MARKS: ClassVar = ("colour",)

    colour: Annotated[str, ReadColour()] = Field(description="Colour of white light behind the thickness.")


class ShareTint(Tint):
    """A tint by three shares."""

    MARKS: ClassVar = ("red", "green", "blue")

    red: Passing = Field(description="Share of the red light that passes.")
    green: Passing = Field(description="Share of the green light that passes.")
    blue: Passing = Field(description="Share of the blue light that passes.")


class BandTint(Tint):
    """A tint by bands."""

    MARKS: ClassVar = ("bands",)

    bands: tuple[Passing, ...] = Field(
        min_length=16, max_length=16, description="Shares that pass, one for every 20 nm from 380 to 700 nm."
    )


class Finish(Part):
    """What was done to a glass, beside its shape."""

    cut: Cut | None = Field(None, description="Flat panels cut round it.")
    flutes: Flutes | None = Field(None, description="Rounded channels.")
    ribs: Flutes | None = Field(None, description="Rounded bars.")
    rings: Rings | None = Field(None, description="Rounded grooves round it.")
    hammered: Hammered | None = Field(None, description="Shallow round dents.")
    wavy: Wavy | None = Field(None, description="Smooth waviness.")
    frosted: tuple[Frost, ...] = Field((), max_length=20, description="Matt zones of its outside.")
    bubbles: Bubbles | None = Field(None, description="Bubbles in the glass itself.")
    tint: Annotated[ColourTint | ShareTint | BandTint, ByKey()] | None = Field(
        None, description="Its tint, beside that of what it is made of."
    )
    tilt_deg: Annotated[float, Quantity("angle", least="0 deg", most="20 deg")] = Field(
        "0 deg", alias="tilt", description="Lean of its axis toward the camera's side, its foot flat."
    )
    out_of_round_mm: Annotated[float, Quantity("length", least="0 mm", most="50 mm")] = Field(
        "0 mm", alias="out_of_round", description="Largest less smallest diameter; the largest lies along x."
    )
