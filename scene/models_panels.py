"""What shapes light on its way: flags, cards, foils, diffusers, mirrors, a backdrop."""

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator
from pydantic_core import core_schema

from .models_base import Part, fault, nearest, show
from .models_lights import Facing
from .models_numbers import SIZE, Aspect, At3, Lengths, Pair, Share, Size
from .models_surfaces import Reflectance
from .models_vessels import FileName

HIDDEN = "hidden"


class SizeOrHidden:
    """Width and height, or the word `hidden`."""

    PAIR = Lengths(("width", "height"), SIZE)

    def check(self, value: object) -> object:
        if isinstance(value, str) and value != HIDDEN:
            near = nearest(value, [HIDDEN]) or ";"
            raise fault(f"{show(value)} is not known{near} write [width, height] or {HIDDEN}")
        return value

    def __get_pydantic_core_schema__(self, source, handler):
        forms = {
            "<word>": core_schema.str_schema(),
            "<size>": self.PAIR.__get_pydantic_core_schema__(source, handler),
        }
        union = core_schema.tagged_union_schema(
            forms, lambda value: "<word>" if value == HIDDEN else "<size>"
        )
        return core_schema.no_info_before_validator_function(self.check, union)

    def __get_pydantic_json_schema__(self, core, handler) -> dict[str, Any]:
        return {"anyOf": [{"enum": [HIDDEN]}, self.PAIR.__get_pydantic_json_schema__(core, handler)]}


class Hung(Part):
    """A flat panel that looks somewhere."""

    at_mm: At3 = Field(alias="at", description="Its centre.")
    facing: Facing = Field("hero", description="Where its front looks.")


class Flag(Hung):
    """A thin panel, black or nearly, that keeps light away; of any outline."""

    size_mm: Pair = Field(["300 mm", "400 mm"], alias="size", description="Width and height.")
    picture: FileName | None = Field(
        None, description="Picture of its outline, beside the set file: black where it is dark."
    )
    reflectance: Reflectance = Field("0 %", description="Share of the light thrown back.")


class Card(Hung):
    """A thin panel that throws light back from both sides."""

    size_mm: Annotated[tuple[float, float] | str, SizeOrHidden()] = Field(
        ["200 mm", "300 mm"],
        alias="size",
        description="Width and height; or hidden: the largest that the camera does not see beside the hero.",
    )
    reflectance: Reflectance = Field(
        "85 %", description="Share of the light thrown back; gold, silver or white."
    )
    shape: Annotated[float, Aspect()] | None = Field(
        None, description="Of a hidden card, width : height; left out, the largest area."
    )
    behind: Literal["glass", "drink"] = Field("glass", description="What hides a hidden card.")

    @model_validator(mode="after")
    def _check_hidden(self):
        for key in ("shape", "behind"):
            if self.size_mm != HIDDEN and key in self.model_fields_set:
                raise fault(f"is for a card of size: {HIDDEN}; take this out, or let the size be found", key)
        return self


class Foil(Part):
    """Black foil, bent by hand along a line."""

    points_mm: tuple[At3, ...] = Field(
        alias="points", min_length=2, max_length=40, description="Points x, y, z along its middle."
    )
    width_mm: Size = Field(alias="width", description="Across, square to the plane of the points.")
    bend_mm: Size | None = Field(
        None, alias="bend", description="Radius of its bends; left out, it is folded sharply."
    )
    reflectance: Reflectance = Field("4 %", description="Share of the light thrown back by both sides.")


class Diffuser(Hung):
    """A thin panel that lets light through evenly, from either side, and throws some back."""

    size_mm: Pair = Field(["600 mm", "600 mm"], alias="size", description="Width and height.")
    transmittance: Share = Field("50 %", description="Share of the light let through, in all directions.")
    reflectance: Reflectance = Field("30 %", description="Share of the light thrown back.")

    @model_validator(mode="after")
    def _check_shares(self):
        most = max(self.reflectance.red, self.reflectance.green, self.reflectance.blue)
        if (total := self.transmittance + most) > 1 + 1e-9:
            text = f"lets through and throws back {total:.4g} of the light together; at most all of it can be"
            raise fault(text, "transmittance" if "transmittance" in self.model_fields_set else "reflectance")
        return self


class Mirror(Hung):
    """A flat mirror with a black back."""

    size_mm: Pair = Field(["100 mm", "150 mm"], alias="size", description="Width and height.")
    reflectance: Reflectance = Field("90 %", description="Share of the light mirrored.")


class Backdrop(Part):
    """Paper that comes off the table in a curve and goes up behind the set."""

    behind_mm: Size = Field(alias="behind", description="From the datum to the upright part.")
    radius_mm: Size = Field("300 mm", alias="radius", description="Radius of the curve.")
    height_mm: Size = Field("1 m", alias="height", description="Height of its upper edge above the table.")
    width_mm: Size = Field("1.2 m", alias="width", description="Across.")
    reflectance: Reflectance | None = Field(
        None, description="Share of the light thrown back; left out, as the table."
    )

    @model_validator(mode="after")
    def _check_height(self):
        if self.height_mm < self.radius_mm:
            text = f"{self.height_mm:g} mm is less than the radius of the curve ({self.radius_mm:g} mm)"
            key = "height" if "height_mm" in self.model_fields_set else "radius"
            raise fault(f"{text}; allowed: that and more", key)
        return self
