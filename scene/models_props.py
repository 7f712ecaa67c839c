"""Props that glasses stand on, and every form of a prop."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from .models_base import ByWord, fault
from .models_finish import Seed
from .models_numbers import Number, Pair, Quantity, Share, Size, Turn
from .models_surfaces import Reflectance
from .models_things import Ball, Plate, Prism, Prop, Ring, Rod, Slab
from .models_vessels import FileName


class Coaster(Prop):
    """A matte coaster, round or square, lying flat."""

    shape: Literal["coaster"] = Field(description="Shape.")
    diameter_mm: Size = Field("95 mm", alias="diameter", description="Diameter of a round one.")
    side_mm: Size | None = Field(None, alias="side", description="Side of a square one, instead.")
    thickness_mm: Size = Field("4 mm", alias="thickness", description="Thick (z).")
    reflectance: Reflectance = Field("50 %", description="Share of the light thrown back.")
    picture: FileName | None = Field(
        None, description="Picture on its top: PNG, JPEG or the like, from the set file's folder."
    )
    turn_deg: Turn = Field("0 deg", alias="turn", description="Turned clockwise from above.")

    @model_validator(mode="after")
    def _check_shape(self):
        if self.side_mm is not None and "diameter_mm" in self.model_fields_set:
            raise fault("a square coaster has a side and no diameter; keep one", "diameter")
        return self


class Tray(Prop):
    """A tray with an upright lip, rectangular or round, lying flat."""

    shape: Literal["tray"] = Field(description="Shape.")
    size_mm: Pair = Field(["400 mm", "280 mm"], alias="size", description="Across (x) and deep (y), outside.")
    diameter_mm: Size | None = Field(
        None, alias="diameter", description="Outer diameter of a round one, instead."
    )
    lip_mm: Size = Field("20 mm", alias="lip", description="Height of the lip over the underside.")
    thickness_mm: Size = Field("3 mm", alias="thickness", description="Of floor and lip.")
    reflectance: Reflectance = Field("30 %", description="Share of the light thrown back by a matte one.")
    metal: Share | None = Field(None, description="Bright metal instead: share of the light mirrored.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="Turned clockwise from above.")

    @model_validator(mode="after")
    def _check_form(self):
        if self.diameter_mm is not None and "size_mm" in self.model_fields_set:
            raise fault("a round tray has a diameter and no size; keep one", "size")
        if self.metal is not None and "reflectance" in self.model_fields_set:
            raise fault("bright metal throws no light back evenly; keep this or 'metal'", "reflectance")
        if not self.lip_mm > self.thickness_mm:
            raise fault(f"{self.lip_mm:g} mm is not over the floor, {self.thickness_mm:g} mm thick", "lip")
        least_mm = min(self.size_mm) if self.diameter_mm is None else self.diameter_mm
        if not 2 * self.thickness_mm < least_mm:
            text = (
                f"{self.thickness_mm:g} mm on both sides leave no floor; allowed: under {least_mm / 2:g} mm"
            )
            raise fault(text, "thickness")
        return self


class Napkin(Prop):
    """A thin cloth, folded to and fro, lying flat, its folds along x."""

    shape: Literal["napkin"] = Field(description="Shape.")
    size_mm: Pair = Field(
        ["180 mm", "180 mm"], alias="size", description="Across (x) and deep (y), as folded."
    )
    layers: Annotated[int, Number(1, 12, whole=True)] = Field(4, description="How many layers.")
    layer_mm: Annotated[float, Quantity("length", least="0.2 mm", most="10 mm")] = Field(
        "1 mm", alias="layer", description="From one layer to the next."
    )
    wave_mm: Annotated[float, Quantity("length", least="0 mm", most="50 mm")] = Field(
        "3 mm", alias="wave", description="How high its waviness lifts the topmost layer."
    )
    reflectance: Reflectance = Field("70 %", description="Share of the light thrown back.")
    transmittance: Reflectance = Field("10 %", description="Share that one layer lets through evenly.")
    seed: Seed = Field(1, description="Another seed, other waves and folds.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="Turned clockwise from above.")

    @model_validator(mode="after")
    def _check_shares(self):
        for colour in ("red", "green", "blue"):
            both = getattr(self.reflectance, colour) + getattr(self.transmittance, colour)
            if both > 1 + 1e-9:
                text = f"with what it throws back this is {both:.0%} of the {colour} light"
                raise fault(f"{text}; allowed: up to 100 %", "transmittance")
        return self

    @model_validator(mode="after")
    def _check_folds(self):
        if self.layers > 1 and not 4 * self.layer_mm < self.size_mm[1]:
            text = f"{self.layer_mm:g} mm from layer to layer do not fold into {self.size_mm[1]:g} mm"
            raise fault(text, "layer")
        return self


AnyProp = Annotated[
    Ball | Rod | Slab | Prism | Ring | Plate | Coaster | Tray | Napkin,
    ByWord("shape"),
]
#: What a glass can stand on; a slab of something solid that lies flat.
SUPPORTS = {"coaster": Coaster, "tray": Tray, "napkin": Napkin, "slab": Slab}
