"""Drinks by how the trade measures them: strength, sugar, colour, absorbance, cloudiness."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from .cloudy import ANISOTROPY, MEASURED
from .liquids import MOST_BRIX
from .models_base import ByKey, Part
from .models_finish import BandTint, ColourTint, ReadColour, ShareTint, Tint
from .models_numbers import Number, Quantity
from .models_vessels import FileName

Strength = Annotated[float, Quantity("abv")]
Sugar = Annotated[float, Quantity("brix", most=f"{MOST_BRIX:g} Brix")]
Way = Annotated[float, Quantity("length", least="0.1 mm", most="1 m")]
Absorbance = Annotated[float, Number(0.0, 50.0)]


class TableTint(Tint):
    """A tint by a measured table of transmission or absorbance."""

    MARKS: ClassVar = ("table",)

    file: FileName = Field(alias="table", description="CSV file, found from the set file's folder.")


AnyTint = Annotated[ColourTint | ShareTint | BandTint | TableTint, ByKey()]


class LiquidPart(Part):
    """A liquid."""

    @property
    def tables(self) -> tuple[str, ...]:
        """Names of the files that it is in."""
        tint = getattr(self, "tint", None)
        return (tint.file,) if isinstance(tint, TableTint) else ()


class Water(LiquidPart):
    """Water, and drinks as clear and thin as water."""

    WORDS: ClassVar = {"water": {}}


class Spirit(LiquidPart):
    """Water and alcohol, and what is dissolved in it."""

    MARKS: ClassVar = ("spirit",)

    strength_abv: Strength = Field(alias="spirit", description="Alcohol by volume.")
    sugar_brix: Sugar = Field("0 Brix", alias="sugar", description="Sugar by weight, as of a liqueur.")
    tint: AnyTint | None = Field(None, description="Its colour; left out, it is clear as water.")


class Syrup(LiquidPart):
    """Sugar in water."""

    MARKS: ClassVar = ("syrup",)

    sugar_brix: Sugar = Field(alias="syrup", description="Sugar by weight.")


class Cordial(LiquidPart):
    """Sugar and colour in water: cordials, juices without pulp, sodas."""

    MARKS: ClassVar = ("cordial",)

    sugar_brix: Sugar = Field(alias="cordial", description="Sugar by weight.")
    tint: AnyTint = Field(description="Its colour.")


class Beer(LiquidPart):
    """Clear beer."""

    MARKS: ClassVar = ("beer",)

    colour_srm: Annotated[float, Quantity("beer_colour", most="80 SRM")] = Field(
        alias="beer", description="Colour of the beer."
    )
    strength_abv: Strength = Field("5 % vol", alias="strength", description="Alcohol by volume.")
    extract_brix: Sugar = Field("4 Brix", alias="extract", description="What is dissolved, by weight.")


class Wine(LiquidPart):
    """Wine by its absorbances."""

    MARKS: ClassVar = ("wine",)

    strength_abv: Strength = Field(alias="wine", description="Alcohol by volume.")
    absorbance: tuple[Absorbance, Absorbance, Absorbance] = Field(
        description="Absorbance (decadic) at 420, 520 and 620 nm.", examples=[[2.8, 4.1, 0.9]]
    )
    path_mm: Way = Field("10 mm", alias="path", description="Length of the way that it was measured over.")
    extract_brix: Sugar = Field("2.5 Brix", alias="extract", description="Sugar and all else, by weight.")


class Clear(LiquidPart):
    """Any clear drink by what it does to light."""

    MARKS: ClassVar = ("clear",)

    tint: AnyTint = Field(alias="clear", description="Its colour.")
    strength_abv: Strength = Field("0 % vol", alias="strength", description="Alcohol by volume.")
    sugar_brix: Sugar = Field("0 Brix", alias="sugar", description="Sugar by weight.")


class Cloudy(LiquidPart):
    """A drink that scatters light, by its looks."""

    MARKS: ClassVar = ("cloudy",)

    vanishing_mm: Way = Field(
        alias="cloudy", description="Depth at which a coin on the bottom just disappears, seen from above."
    )
    colour: Annotated[str, ReadColour()] = Field(
        "#ffffff", description="Its colour in a deep glass, in white light."
    )
    strength_abv: Strength = Field("0 % vol", alias="strength", description="Alcohol by volume.")
    sugar_brix: Sugar = Field("10 Brix", alias="sugar", description="Sugar by weight.")
    anisotropy: Annotated[float, Number(-0.99, 0.99)] = Field(
        ANISOTROPY, description="Mean cosine of the angle of scattering: 0 even, towards 1 forward."
    )


class Known(LiquidPart):
    """A drink that others have measured."""

    WORDS: ClassVar = {name: {"known": name} for name in MEASURED}
    MARKS: ClassVar = ("known",)

    name: Literal[tuple(MEASURED)] = Field(alias="known", description="Which drink.")


Pourable = Annotated[Water | Spirit | Syrup | Cordial | Beer | Wine | Clear | Cloudy | Known, ByKey()]


class MixPart(Part):
    """One of the liquids of a mix."""

    parts: Annotated[float, Number(0.001, 1e6)] = Field(1, description="How many parts of it, by volume.")
    liquid: Pourable = Field(description="What it is.")


class Mix(LiquidPart):
    """Liquids poured together and stirred."""

    MARKS: ClassVar = ("mix",)

    mix: tuple[MixPart, ...] = Field(min_length=2, max_length=12, description="What goes into it.")

    @property
    def tables(self) -> tuple[str, ...]:
        return tuple(file for part in self.mix for file in part.liquid.tables)
