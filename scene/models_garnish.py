"""Garnish on a glass: citrus, herbs, fruit on a pick, straws."""

from typing import Annotated, Literal

from pydantic import Field, Strict, model_validator

from .models_base import ByWord, Part, fault
from .models_finish import ReadColour, Seed
from .models_numbers import At3, Azimuth, Number, Quantity, Turn

FRUIT_SIZE = Quantity("length", least="8 mm", most="40 mm")
GarnishSize = Annotated[float, Quantity("length", least="1 mm", most="400 mm")]
Slim = Annotated[float, Quantity("length", least="0.5 mm", most="40 mm")]
Hue = Annotated[str, ReadColour()]
Citrus = Literal["orange", "lemon", "lime", "grapefruit"]
Place = Literal["rim", "drink"]


class Garnish(Part):
    """A garnish, on the rim, in the drink, or placed by hand."""

    azimuth_deg: Azimuth = Field(
        "270 deg", alias="azimuth", description="Where on the rim, or to which side, before the glass turns."
    )
    at_mm: At3 | None = Field(
        None, alias="at", description="By hand: its middle, from the glass's axis and above the table."
    )
    tilt_deg: Turn = Field("0 deg", alias="tilt", description="With at: its far side lifted.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="With at: turned clockwise from above.")

    @model_validator(mode="after")
    def _check_hand(self):
        for key in ("tilt", "turn"):
            if self.at_mm is None and f"{key}_deg" in self.model_fields_set:
                raise fault("only what has an at is placed by hand; take this out", key)
        for key, name in (("place", "place"), ("azimuth", "azimuth_deg")):
            if self.at_mm is not None and name in self.model_fields_set:
                raise fault("with at it is placed by hand; take this out", key)
        return self


class CitrusCut(Garnish):
    """Cut citrus."""

    fruit: Citrus = Field("orange", description="Which fruit.")
    diameter_mm: GarnishSize | None = Field(
        None, alias="diameter", description="Of the fruit; left out, as the fruit usually is."
    )
    place: Place = Field("rim", description="On the rim or in the drink.")
    flesh: Hue | None = Field(None, description="Colour of the flesh; left out, the fruit's.")
    peel: Hue | None = Field(None, description="Colour of the peel; left out, the fruit's.")
    seed: Seed = Field(1, description="Start of the random numbers; another seed, another fruit.")


class Wheel(CitrusCut):
    """A wheel, upright: on the rim by a slit, across the wall; in the drink facing the azimuth."""

    kind: Literal["wheel"] = Field(description="Kind.")
    thickness_mm: Slim = Field("5 mm", alias="thickness", description="Thickness.")
    slit: Annotated[float, Quantity("fraction", least="10 %", most="100 %")] = Field(
        "80 %", description="How far the rim reaches into it, as a share of its radius."
    )

    @model_validator(mode="after")
    def _check_thickness(self):
        if self.diameter_mm is not None and self.thickness_mm > self.diameter_mm / 2:
            text = f"{self.thickness_mm:g} mm is no slice; allowed: up to {self.diameter_mm / 2:g} mm"
            raise fault(text, "thickness")
        return self


class Wedge(CitrusCut):
    """A wedge, its peel up: on the rim by a slit in its flesh; or in the drink."""

    kind: Literal["wedge"] = Field(description="Kind.")
    angle_deg: Annotated[float, Quantity("angle", least="20 deg", most="120 deg")] = Field(
        "60 deg", alias="angle", description="Between its cut faces."
    )
    slit: Annotated[float, Quantity("fraction", least="10 %", most="80 %")] = Field(
        "55 %", description="How far the rim reaches into it, as a share of its radius."
    )


class Twist(Garnish):
    """A strip of peel: hung over the rim, its long end curled; or a curl in the drink."""

    kind: Literal["twist"] = Field(description="Kind.")
    fruit: Citrus = Field("orange", description="Which fruit.")
    place: Place = Field("rim", description="On the rim or in the drink.")
    width_mm: Slim = Field("8 mm", alias="width", description="Width of the strip.")
    thickness_mm: Slim = Field("1.5 mm", alias="thickness", description="Its thickness.")
    turns: Annotated[float, Number(0.5, 12)] = Field(2.5, description="How many turns it curls.")
    curl_mm: Slim = Field("14 mm", alias="curl", description="Diameter of the curl.")
    pitch_mm: GarnishSize = Field("15 mm", alias="pitch", description="From turn to turn.")
    peel: Hue | None = Field(None, description="Colour of the peel; left out, the fruit's.")
    seed: Seed = Field(1, description="Start of the random numbers; another seed, another peel.")

    @model_validator(mode="after")
    def _check_curl(self):
        if self.curl_mm < 3 * self.thickness_mm:
            text = f"{self.curl_mm:g} mm is too tight; allowed: from {3 * self.thickness_mm:g} mm"
            raise fault(text, "curl")
        return self


class Sprig(Garnish):
    """A sprig of a herb: leaning on the rim, its foot in the glass; or upright on the drink."""

    kind: Literal["sprig"] = Field(description="Kind.")
    herb: Literal["mint", "rosemary"] = Field("mint", description="Which herb.")
    place: Place = Field("rim", description="On the rim or in the drink.")
    length_mm: Annotated[float, Quantity("length", least="10 mm", most="300 mm")] = Field(
        "50 mm", alias="length", description="Length of the part with leaves."
    )
    colour: Hue | None = Field(None, description="Colour of its leaves; left out, the herb's.")
    seed: Seed = Field(1, description="Start of the random numbers; another seed, another sprig.")


class Picked(Garnish):
    """Fruit on a pick, laid across the rim, or leaning in the drink."""

    count: Annotated[int, Number(1, 6, whole=True)] = Field(description="How many on the pick.")
    diameter_mm: Annotated[float, FRUIT_SIZE] = Field("18 mm", alias="diameter", description="Of each.")
    place: Place = Field("rim", description="Across the rim, or leaning in the drink.")
    pick: Literal["wood", "steel"] = Field("wood", description="What the pick is of.")
    length_mm: GarnishSize | None = Field(
        None, alias="length", description="Of the pick; left out, long enough."
    )
    colour: Hue | None = Field(None, description="Colour of the fruit; left out, as it usually is.")
    seed: Seed = Field(1, description="Start of the random numbers; another seed, other specks.")


class Olive(Picked):
    """Stuffed olives."""

    kind: Literal["olive"] = Field(description="Kind.")
    diameter_mm: Annotated[float, FRUIT_SIZE] = Field("16 mm", alias="diameter", description="Of each.")
    count: Annotated[int, Number(1, 6, whole=True)] = Field(3, description="How many on the pick.")


class Cherry(Picked):
    """Cocktail cherries."""

    kind: Literal["cherry"] = Field(description="Kind.")
    count: Annotated[int, Number(1, 6, whole=True)] = Field(1, description="How many on the pick.")
    stem: Annotated[bool, Strict()] = Field(True, description="With their stems.")


class Straw(Garnish):
    """A straw, standing on the floor of the glass and leaning on its rim."""

    kind: Literal["straw"] = Field(description="Kind.")
    material: Literal["paper", "acrylic", "steel"] = Field("paper", description="What it is of.")
    diameter_mm: Annotated[float, Quantity("length", least="2 mm", most="20 mm")] = Field(
        "6 mm", alias="diameter", description="Outer diameter."
    )
    length_mm: GarnishSize | None = Field(
        None, alias="length", description="Left out, a third longer than its way to the rim."
    )
    colour: Hue = Field("#f4f1ea", description="Colour of the paper.")
    stripes: Hue | None = Field(None, description="Colour of stripes wound round it; left out, it is plain.")

    @model_validator(mode="after")
    def _check_paper(self):
        for key in ("colour", "stripes"):
            if self.material != "paper" and key in self.model_fields_set:
                raise fault(f"only paper has colours here, no {self.material}; take this out", key)
        return self


AnyGarnish = Annotated[Wheel | Wedge | Twist | Sprig | Olive | Cherry | Straw, ByWord("kind")]
