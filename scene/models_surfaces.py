"""Matte surfaces: what they throw back, and labels on glasses."""

from typing import Literal

from pydantic import Field, model_validator

from .models_base import Part, fault, listed, nearest, show
from .models_finish import Zone
from .models_numbers import Azimuth, Quantity, Share, Size
from .models_vessels import FileName

#: Matte reflectors by a word; typical values, from memory: no sheet was measured.
REFLECTORS = {
    "gold": {"red": "80 %", "green": "62 %", "blue": "30 %"},
    "silver": {"red": "80 %", "green": "80 %", "blue": "80 %"},
    "white": {"red": "85 %", "green": "85 %", "blue": "85 %"},
}


class Reflectance(Part):
    """Share of the light that a surface throws back, alike for all colours or one each, or by a word."""

    red: Share = Field(description="Share of the red light.")
    green: Share = Field(description="Share of the green light.")
    blue: Share = Field(description="Share of the blue light.")

    @model_validator(mode="before")
    @classmethod
    def _spread(cls, value: object) -> object:
        if isinstance(value, dict | Part):
            return value
        if isinstance(value, str) and value.isalpha():
            if value not in REFLECTORS:
                near = nearest(value, REFLECTORS) or ";"
                allowed = f"{listed(REFLECTORS)}, a share such as 60 %, or one each for red, green and blue"
                raise fault(f"{show(value)} is not known{near} allowed: {allowed}")
            return REFLECTORS[value]
        return {"red": value, "green": value, "blue": value}

    @classmethod
    def __get_pydantic_json_schema__(cls, core, handler):
        return {"anyOf": [{"enum": list(REFLECTORS)}, Quantity("fraction").json(), handler(core)]}


class Label(Zone):
    """A label on the outside of a glass, or a print on it."""

    kind: Literal["paper", "ink"] = Field(
        "paper", description="Paper stops light; ink lets it through in its colours, white being clear."
    )
    picture: FileName | None = Field(
        None, description="PNG, JPEG or the like, from the set file's folder; left out, plain paper."
    )
    width_mm: Size | None = Field(
        None, alias="width", description="Along the wall; left out, as the picture is, or all round."
    )
    facing_deg: Azimuth = Field(
        "0 deg", alias="facing", description="Where its middle looks before the glass is turned."
    )
    reflectance: Reflectance = Field("80 %", description="Of plain paper.")
    back: Reflectance = Field("70 %", description="Of the paper's back, seen through the glass.")

    @model_validator(mode="after")
    def _check_picture(self):
        if self.kind == "ink" and self.picture is None:
            raise fault("ink needs a picture; name one, or take paper", "kind")
        given = "reflectance" in self.model_fields_set
        if given and self.picture:
            raise fault("a picture has colours of its own; take this out", "reflectance")
        return self
