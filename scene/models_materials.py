"""What things are made of: glass, liquids, metal, black, and media given by numbers."""

from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field, model_validator

from .models_base import ByKey, Part, fault
from .models_liquids import Beer, Clear, Cloudy, Cordial, Known, Mix, Spirit, Syrup, Water, Wine
from .models_numbers import Number, Quantity, Share

GLASS_KINDS = ("soda-lime", "borosilicate", "crystal", "acrylic")


class GlassMaterial(Part):
    """Glass of a kind the trade knows."""

    WORDS: ClassVar = {kind: {"kind": kind} for kind in GLASS_KINDS}
    MARKS: ClassVar = ("kind", "tint")

    kind: Literal["soda-lime", "borosilicate", "crystal", "acrylic"] = Field(
        "soda-lime", description="soda-lime (most tumblers), borosilicate, crystal (with lead), acrylic."
    )
    tint: Literal["clear", "low-iron", "green", "bronze", "grey"] = Field(
        "low-iron",
        description="Tint of soda-lime glass: low-iron (colourless tableware), clear (window glass, greenish "
        "where thick), green, bronze, grey. Other kinds have none.",
    )

    @model_validator(mode="after")
    def _check_tint(self):
        if "tint" in self.model_fields_set and self.kind != "soda-lime":
            raise fault(f"{self.tint!r}: only soda-lime has tints, {self.kind} has none; take it out", "tint")
        return self


class PlainMedium(Part):
    """A medium given by its numbers."""

    MARKS: ClassVar = ("index",)

    index: Annotated[float, Number(1.0, 4.0)] = Field(
        description="Refractive index at 587.6 nm, relative to air.", examples=[1.52]
    )
    abbe: Annotated[float, Number(10.0, 150.0)] | None = Field(
        None, description="Abbe number (dispersion); left out, all colours bend alike.", examples=[60]
    )
    absorption_per_mm: Annotated[float, Quantity("absorption")] = Field(
        "0 /mm", alias="absorption", description="Absorption, the same for all colours (Napierian)."
    )
    scattering_per_mm: Annotated[float, Quantity("absorption")] = Field(
        "0 /mm", alias="scattering", description="Scattering, the same for all colours; 0 is clear."
    )
    anisotropy: Annotated[float, Number(-0.99, 0.99)] = Field(
        0.0, description="Mean cosine of the angle of scattering: 0 even, towards 1 forward."
    )


class PlainLiquid(PlainMedium):
    """A liquid given by its numbers."""


class Metal(Part):
    """Polished metal."""

    WORDS: ClassVar = {"metal": {"metal": "90 %"}}
    MARKS: ClassVar = ("metal",)

    reflectance: Share = Field(alias="metal", description="Share of the light that is mirrored.")


class Black(Part):
    """Takes all light."""

    WORDS: ClassVar = {"black": {}}


GlassStuff = Annotated[GlassMaterial | PlainMedium, ByKey()]
Liquid = Annotated[
    Water | Spirit | Syrup | Cordial | Beer | Wine | Clear | Cloudy | Known | Mix | PlainLiquid, ByKey()
]
#: What gives way to glass where the two overlap.
LIQUIDS = (Water, Spirit, Syrup, Cordial, Beer, Wine, Clear, Cloudy, Known, Mix, PlainLiquid)


class MadeOfGlass(Part):
    """A solid of glass."""

    WORDS: ClassVar = {kind: {"glass": kind} for kind in GLASS_KINDS}
    MARKS: ClassVar = ("glass",)

    glass: GlassStuff = Field(description="The glass, written as under `glasses`.")


class MadeOfLiquid(Part):
    """A body of liquid, such as a tank of water."""

    WORDS: ClassVar = {"water": {"liquid": "water"}}
    MARKS: ClassVar = ("liquid",)

    liquid: Liquid = Field(description="The liquid, written as under `drink`.")


def _unwrap(made: Part) -> Part:
    match made:
        case MadeOfGlass():
            return made.glass
        case MadeOfLiquid():
            return made.liquid
    return made


Material = Annotated[
    MadeOfGlass | MadeOfLiquid | PlainMedium | Metal | Black, ByKey(), AfterValidator(_unwrap)
]
