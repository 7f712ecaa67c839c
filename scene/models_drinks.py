"""What is in a glass: a drink or layers of several, how far it is filled, its head and its bubbles."""

import re
from typing import Annotated, Any, NamedTuple

from pydantic import Field, ValidationInfo, field_validator, model_validator
from pydantic_core import core_schema

from .models_base import Part, fault, show
from .models_finish import Seed
from .models_materials import Liquid
from .models_numbers import Number, Quantity


class FillHeight(NamedTuple):
    """Fill line above the table top, mm; of a layer, how thick it is."""

    height_mm: float


class FillVolume(NamedTuple):
    """Volume of the drink, ml."""

    volume_ml: float


class FillShare(NamedTuple):
    """Share of the glass's capacity to the brim, 0 to 1; of a layer, share of the drink."""

    share: float


class _ReadFill:
    """How far a glass is filled; the unit tells whether by height, volume or share."""

    HEIGHT = Quantity("length", above="0 mm", most="2 m")
    VOLUME = Quantity("volume", above="0 ml", most="100 l")
    SHARE = Quantity("fraction", above="0 %")

    def read(self, value: object) -> FillHeight | FillVolume | FillShare:
        if not isinstance(value, str) or not re.search(r"[^\d\s./+-]", value):
            how = "has no unit" if isinstance(value, str | int | float) else "is no fill"
            raise fault(f"{show(value)} {how}; write a height '95 mm', a volume '150 ml' or a share '33 %'")
        if value.rstrip().endswith("%"):
            return FillShare(self.SHARE.read(value))
        if re.search(r"(ml|cl|\dl|\sl|lit(re|er))\s*$", value, re.IGNORECASE):
            return FillVolume(self.VOLUME.read(value))
        return FillHeight(self.HEIGHT.read(value))

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, core, handler) -> dict[str, Any]:
        return {"anyOf": [quantity.json() for quantity in (self.HEIGHT, self.VOLUME, self.SHARE)]}


Fill = Annotated[FillHeight | FillVolume | FillShare, _ReadFill()]
BubbleSize = Annotated[float, Quantity("length", least="0.05 mm", most="10 mm")]


class Layer(Part):
    """One of the layers of a drink, such as a float."""

    liquid: Liquid = Field(description="What it is.")
    amount: Fill | None = Field(
        None, description="Its volume, its share of the drink, or its thickness; the top one takes the rest."
    )
    blend_mm: Annotated[float, Quantity("length", least="0 mm", most="200 mm")] = Field(
        "0 mm", alias="blend", description="Over what height it goes over into the layer above."
    )


class Head(Part):
    """A head of foam."""

    height_mm: Annotated[float, Quantity("length", least="0.5 mm", most="300 mm")] = Field(
        alias="height", description="From the fill line to the top of its dome."
    )
    dome_mm: Annotated[float, Quantity("length", least="0 mm", most="100 mm")] = Field(
        "2 mm", alias="dome", description="How much higher its middle stands than its edge."
    )
    bubble_mm: BubbleSize = Field("0.3 mm", alias="bubble", description="Diameter of its bubbles.")
    wet: Annotated[float, Quantity("fraction", least="1 %", most="36 %")] = Field(
        "8 %", description="Share of liquid in it: drained 3 %, fresh 8 %, creamy 20 %."
    )

    @model_validator(mode="after")
    def _check_dome(self):
        if self.dome_mm >= self.height_mm:
            raise fault(f"{self.dome_mm:g} mm; allowed: less than its height, {self.height_mm:g} mm", "dome")
        return self


class Sparkling(Part):
    """Bubbles of gas in a drink: on the wall, and rising in trains."""

    count: Annotated[int, Number(1, 3000, whole=True)] = Field(150, description="How many.")
    rising: Annotated[float, Quantity("fraction")] = Field(
        "30 %", description="Share of them that rises; the others sit on the wall."
    )
    smallest_mm: BubbleSize = Field("0.2 mm", alias="smallest", description="Diameter of the smallest.")
    largest_mm: BubbleSize = Field("1 mm", alias="largest", description="Diameter of the largest.")
    seed: Seed = Field(1, description="Start of the random numbers; another seed, other places.")

    @model_validator(mode="after")
    def _check_sizes(self):
        if self.largest_mm < self.smallest_mm:
            text = f"{self.largest_mm:g} mm is less than the smallest, {self.smallest_mm:g} mm"
            raise fault(text, "largest")
        return self


class Drink(Part):
    """What is in a glass."""

    layers: tuple[Layer, ...] = Field(
        (), max_length=6, description="Instead of one liquid: several, from the bottom up."
    )
    liquid: Liquid | None = Field(None, description="What it is.")
    fill: Fill = Field(
        "70 %", description="Height of the fill line above the table, or volume, or share of the capacity."
    )
    contact_deg: Annotated[float, Quantity("angle", least="5 deg", most="90 deg")] = Field(
        "20 deg",
        alias="contact",
        description="Angle at which it meets the wall; 90 deg: its surface is flat.",
    )
    sparkling: Sparkling | None = Field(None, description="Bubbles of gas in it.")
    head: Head | None = Field(None, description="A head of foam on it.")

    @field_validator("liquid")
    @classmethod
    def _check_liquid(cls, liquid: object, info: ValidationInfo) -> object:
        layers = info.data.get("layers")
        if liquid is None and layers == ():
            raise fault("missing; write it: what it is; or layers: several, from the bottom up")
        if liquid is not None and layers:
            raise fault("a drink has one liquid or layers; keep one")
        return liquid

    @model_validator(mode="after")
    def _check_layers(self):
        if len(self.layers) == 1:
            raise fault("has 1 of the 2 that it needs at least; one alone is written as 'liquid'", "layers")
        for number, layer in enumerate(self.layers):
            top = number == len(self.layers) - 1
            if top and layer.amount is not None:
                text = "the top layer takes what is left up to the fill line; take this out"
                raise fault(text, "layers", number, "amount")
            if top and layer.blend_mm:
                raise fault("the top layer has none above it; take this out", "layers", number, "blend")
            if not top and layer.amount is None:
                text = "missing; write how much: a volume '30 ml', a share '25 %' or a thickness '20 mm'"
                raise fault(text, "layers", number, "amount")
        return self

    @property
    def liquids(self) -> tuple[Part, ...]:
        """Its liquid, or those of its layers."""
        return tuple(layer.liquid for layer in self.layers) if self.layers else (self.liquid,)

    @property
    def tables(self) -> tuple[str, ...]:
        """Names of the files that it is in."""
        return tuple(file for liquid in self.liquids for file in getattr(liquid, "tables", ()))
