"""What stands on the set: the table, glasses with their drinks, and props."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field, Strict, model_validator

from brimcast.vessels.shapes import SHAPES

from .models_base import ByKey, Part, fault, listed
from .models_cold import AnyIce, Condensation, Rimmed
from .models_drinks import Drink
from .models_finish import Finish
from .models_garnish import AnyGarnish
from .models_materials import GlassStuff, Material
from .models_numbers import NAME_PATTERN, At, Gap, Lengths, Pair, Quantity, Size, Turn
from .models_surfaces import Label, Reflectance
from .models_vessels import DrawnVessel, FileVessel, MeshVessel, OutlineVessel

YesNo = Annotated[bool, Strict()]
ShapeName = Literal[tuple(SHAPES)]


class Table(Part):
    """The table top, its middle at the datum, which is the point x = y = 0."""

    size_mm: Annotated[
        tuple[float, float], Lengths(("across", "deep"), Quantity("length", above="0 mm", most="100 m"))
    ] = Field(["1.2 m", "0.9 m"], alias="size", description="Across (x) and deep (y).")
    surface: Literal["matte"] = Field("matte", description="Finish of the table top.")
    reflectance: Reflectance = Field(
        "60 %", description="Share of the light thrown back; or red:, green:, blue: one each."
    )


class LibraryVessel(Part):
    """A vessel of a shape that is built in; what is left out follows the shape."""

    WORDS: ClassVar = {shape: {"shape": shape} for shape in SHAPES}
    MARKS: ClassVar = ("shape",)

    shape: ShapeName = Field(description="Shape of the vessel.")
    height_mm: Size | None = Field(None, alias="height", description="Outer height.")
    diameter_mm: Size | None = Field(None, alias="diameter", description="Outer diameter where it is widest.")
    wall_mm: Size | None = Field(None, alias="wall", description="Thickness of the wall.")
    base_mm: Size | None = Field(None, alias="base", description="Thickness of the base.")
    rim_diameter_mm: Size | None = Field(None, alias="rim", description="Outer diameter at the rim.")
    foot_diameter_mm: Size | None = Field(None, alias="foot", description="Outer diameter of the foot.")

    @model_validator(mode="after")
    def _check_measures(self):
        given = {name: getattr(self, name) for name in type(self).model_fields if name != "shape"}
        given = {name: value for name, value in given.items() if value is not None}
        if given:
            allowed = SHAPES[self.shape].allowed
            aliases = {name: field.alias for name, field in type(self).model_fields.items()}
            for name in given:
                if name not in allowed:
                    text = f"a {self.shape} has no such measure; allowed: "
                    raise fault(text + listed(aliases[other] for other in allowed), aliases[name])
        return self


Vessel = Annotated[LibraryVessel | OutlineVessel | DrawnVessel | FileVessel | MeshVessel, ByKey()]


class Glass(Finish):
    """A glass on the table, with or without a drink."""

    vessel: Vessel = Field(description="Its shape.")
    at_mm: At = Field(["0 mm", "0 mm"], alias="at", description="Centre of its foot on the table.")
    stands_on: Annotated[str, Field(pattern=NAME_PATTERN)] | None = Field(
        None, description="Prop that it stands on; left out, the table."
    )
    turn_deg: Turn = Field("0 deg", alias="turn", description="Turned about its axis, clockwise from above.")
    glass: GlassStuff = Field("soda-lime", description="What it is made of.")
    drink: Drink | None = Field(None, description="What is in it; left out, it is empty.")
    ice: tuple[AnyIce, ...] = Field((), max_length=20, description="Ice in it, in the order it falls in.")
    condensation: Condensation | None = Field(None, description="Drops of water on its outside.")
    rimmed: Rimmed | None = Field(None, description="Salt or sugar on its rim.")
    labels: tuple[Label, ...] = Field((), max_length=8, description="Labels and prints on its outside.")
    garnish: tuple[AnyGarnish, ...] = Field((), max_length=8, description="Garnish on its rim and in it.")

    @model_validator(mode="after")
    def _check_closed(self):
        shape = getattr(self.vessel, "shape", None)
        if shape and SHAPES[shape].lid:
            closed = [(key, f"is closed, so no {key} shows in it") for key in ("drink", "ice")]
            closed += [(key, "has no rim to drink from") for key in ("rimmed", "garnish")]
            for key, why in (("glass", "is of metal"), *closed):
                if key in self.model_fields_set:
                    raise fault(f"a {shape} {why}; take this out", key)
        return self

    @model_validator(mode="after")
    def _check_garnish(self):
        for number, one in enumerate(self.garnish):
            if self.drink is None and one.at_mm is None and getattr(one, "place", "rim") == "drink":
                raise fault("the glass is empty; give it a drink, or write rim", "garnish", number, "place")
        return self


class Prop(Part):
    """A solid of a simple shape."""

    at_mm: At = Field(["0 mm", "0 mm"], alias="at", description="Its middle, seen from above.")
    height_mm: Gap = Field("0 mm", alias="height", description="Gap between the table and its lowest point.")


class SolidProp(Prop):
    """A solid made of something."""

    material: Material = Field("soda-lime", description="What it is made of.")


class Ball(SolidProp):
    """A ball."""

    shape: Literal["ball"] = Field(description="Shape.")
    diameter_mm: Size = Field(alias="diameter", description="Diameter.")


class Rod(SolidProp):
    """A round rod, upright or lying along x."""

    shape: Literal["rod"] = Field(description="Shape.")
    diameter_mm: Size = Field(alias="diameter", description="Diameter.")
    length_mm: Size = Field(alias="length", description="Length.")
    lying: YesNo = Field(False, description="Lies along x; else upright.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="Turned clockwise from above.")


class Slab(SolidProp):
    """A block with square edges, lying flat."""

    shape: Literal["slab"] = Field(description="Shape.")
    width_mm: Size = Field(alias="width", description="Across (x).")
    depth_mm: Size = Field(alias="depth", description="Deep (y).")
    thickness_mm: Size = Field(alias="thickness", description="Thick (z).")
    tilt_deg: Turn = Field("0 deg", alias="tilt", description="Far edge lifted; 90 deg stands it upright.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="Turned clockwise from above, after the tilt.")


class Prism(SolidProp):
    """A prism with two equal sides: upright, its edge toward the camera; or lying along x, edge on top."""

    shape: Literal["prism"] = Field(description="Shape.")
    angle_deg: Annotated[float, Quantity("angle", above="0 deg", most="170 deg")] = Field(
        "60 deg", alias="angle", description="Angle between the two equal sides."
    )
    side_mm: Size = Field(alias="side", description="Length of each of the two equal sides.")
    length_mm: Size = Field(alias="length", description="Length along its edge.")
    lying: YesNo = Field(False, description="Lies along x with its edge on top; else upright.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="Turned clockwise from above.")


class Ring(SolidProp):
    """A ring standing on the table, its axis upright."""

    shape: Literal["ring"] = Field(description="Shape.")
    inside_diameter_mm: Size = Field(alias="inside", description="Inner diameter.")
    wall_mm: Size = Field("2 mm", alias="wall", description="Thickness of the wall.")
    tall_mm: Size = Field(alias="tall", description="Height of the wall.")


class RoundOpening(Part):
    """A round hole."""

    MARKS: ClassVar = ("round",)

    diameter_mm: Size = Field(alias="round", description="Diameter of the hole.")


class SlitOpening(Part):
    """A slit."""

    MARKS: ClassVar = ("slit",)

    size_mm: Pair = Field(alias="slit", description="Width (x) and length (y), the plate lying flat.")


class Plate(Prop):
    """A thin black plate, lying flat, with or without an opening in its middle."""

    shape: Literal["plate"] = Field(description="Shape.")
    size_mm: Pair = Field(alias="size", description="Across (x) and deep (y), lying flat.")
    opening: Annotated[RoundOpening | SlitOpening, ByKey()] | None = Field(
        None, description="Hole in its middle: {round: 10 mm} or {slit: [2 mm, 40 mm]}."
    )
    tilt_deg: Turn = Field("0 deg", alias="tilt", description="Far edge lifted; 90 deg stands it upright.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="Turned clockwise from above, after the tilt.")

    @model_validator(mode="after")
    def _check_opening(self):
        match self.opening:
            case RoundOpening(diameter_mm=across_mm):
                opening_mm = (across_mm, across_mm)
            case SlitOpening(size_mm=opening_mm):
                pass
            case _:
                return self
        if opening_mm[0] >= self.size_mm[0] or opening_mm[1] >= self.size_mm[1]:
            raise fault("the opening is not smaller than the plate; allowed: a smaller one", "opening")
        return self
