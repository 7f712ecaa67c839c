"""What makes a drink look cold: ice, condensation, and a rim of salt or sugar."""

from typing import Annotated, Any, ClassVar, Literal, get_args

from pydantic import Field, model_validator

from .models_base import ByWord, Part, fault
from .models_finish import Seed
from .models_numbers import At3, Number, Quantity, Share, Turn
from .models_vessels import FileName

IceSize = Annotated[float, Quantity("length", least="2 mm", most="300 mm")]
EDGE = "Radius of its edges: 0 mm sharp, more as it melts."
Edge = Annotated[float, Quantity("length", least="0 mm", most="100 mm")]
Across = Annotated[float, Quantity("length", least="0.1 mm", most="8 mm")]


class Cracks(Part):
    """Cracks in ice: thin films of air, each a slightly bulging disc that ends inside the ice."""

    count: Annotated[int, Number(1, 60, whole=True)] = Field(description="How many in each piece.")
    size_mm: Annotated[float, Quantity("length", least="0.5 mm", most="100 mm")] = Field(
        "8 mm", alias="size", description="Diameter of the largest; the others go down to half of it."
    )
    gap_mm: Annotated[float, Quantity("length", least="0.005 mm", most="1 mm")] = Field(
        "0.05 mm", alias="gap", description="Thickness of the air in the middle."
    )


class Core(Part):
    """A core clouded by bubbles too small to see."""

    size: Annotated[float, Quantity("fraction", above="0 %", most="95 %")] = Field(
        "60 %", description="Its size, as a share of the piece's."
    )
    scattering_per_mm: Annotated[float, Quantity("absorption", above="0 /mm", most="20 /mm")] = Field(
        "1 /mm", alias="scattering", description="How much it scatters: 0.3 /mm a veil, 3 /mm white."
    )


class Ice(Part):
    """Pieces of ice alike in kind."""

    count: Annotated[int, Number(1, 60, whole=True)] = Field(1, description="How many.")
    material: Literal["ice", "acrylic"] = Field("ice", description="Real ice, or acrylic prop ice.")
    roughness: Annotated[float, Number(0.0, 1.0)] = Field(
        0.0, description="How unevenly its surface has melted: 0 polished, 0.1 dull, 0.3 matt."
    )
    at_mm: At3 | None = Field(
        None,
        alias="at",
        description="Middle of the piece, from the glass's axis and above the table; left out, it settles.",
    )
    tilt_deg: Turn = Field("0 deg", alias="tilt", description="With at: its far side lifted.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="With at: turned clockwise from above.")
    seed: Seed = Field(1, description="Start of the random numbers; another seed lies and breaks otherwise.")

    @model_validator(mode="after")
    def _check_hand(self):
        if self.at_mm is not None and self.count > 1:
            raise fault(f"{self.count} pieces cannot be in one place; write each with its own at", "count")
        for key in ("tilt", "turn"):
            if self.at_mm is None and f"{key}_deg" in self.model_fields_set:
                raise fault("only a piece with at is placed by hand; without, it settles; take this out", key)
        return self


class ShapedIce(Ice):
    """Ice of a shape that is built in."""

    cracks: Cracks | None = Field(None, description="Cracks inside.")
    core: Core | None = Field(None, description="A cloudy core.")


class IceCube(ShapedIce):
    """A cube."""

    shape: Literal["cube"] = Field(description="Shape.")
    side_mm: IceSize = Field("25 mm", alias="side", description="Length of its edges.")
    edge_mm: Edge = Field("1.5 mm", alias="edge", description=EDGE)

    @model_validator(mode="after")
    def _check_edge(self):
        return _edge_fits(self, self.side_mm)


class IceSpear(ShapedIce):
    """A spear, as for a tall glass."""

    shape: Literal["spear"] = Field(description="Shape.")
    length_mm: IceSize = Field("110 mm", alias="length", description="Length.")
    side_mm: IceSize = Field("25 mm", alias="side", description="Width, both ways.")
    edge_mm: Edge = Field("1.5 mm", alias="edge", description=EDGE)

    @model_validator(mode="after")
    def _check_edge(self):
        return _edge_fits(self, min(self.side_mm, self.length_mm))


class IceSphere(ShapedIce):
    """A ball."""

    shape: Literal["sphere"] = Field(description="Shape.")
    diameter_mm: IceSize = Field("50 mm", alias="diameter", description="Diameter.")


class IceCracked(ShapedIce):
    """Irregular pieces with flat faces, as broken off a block, no two alike."""

    shape: Literal["cracked"] = Field(description="Shape.")
    size_mm: IceSize = Field("25 mm", alias="size", description="Between its corners farthest apart.")
    edge_mm: Edge = Field("0.5 mm", alias="edge", description=EDGE)

    @model_validator(mode="after")
    def _check_edge(self):
        return _edge_fits(self, 0.4 * self.size_mm)


class IceMesh(Ice):
    """A piece from a mesh of another program."""

    shape: Literal["mesh"] = Field(description="Shape.")
    file: FileName = Field(description="PLY, OBJ, STL or GLB, from the set file's folder.")
    unit: Literal["mm", "cm", "m", "in"] | None = Field(
        None, description="Length of 1 in the file; left out, metres for GLB."
    )
    repair: bool = Field(False, description="Mend small holes and turned faces.")


AnyIce = Annotated[IceCube | IceSphere | IceSpear | IceCracked | IceMesh, ByWord("shape")]


def _edge_fits(piece, across_mm: float):
    if piece.edge_mm >= across_mm / 2:
        raise fault(f"{piece.edge_mm:g} mm leave nothing flat; allowed: under {across_mm / 2:g} mm", "edge")
    return piece


class _Worded(Part):
    """A part that can be written as one word, the value of its first key."""

    WORD: ClassVar[str]

    @model_validator(mode="before")
    @classmethod
    def _from_word(cls, value: object) -> object:
        return {cls.WORD: value} if isinstance(value, str) else value

    @classmethod
    def __get_pydantic_json_schema__(cls, core, handler) -> dict[str, Any]:
        field = next(one for name, one in cls.model_fields.items() if cls.WORD in (name, one.alias))
        return {"anyOf": [{"enum": list(get_args(field.annotation))}, handler(core)]}


class Condensation(_Worded):
    """Drops of water on the outside of a cold glass."""

    WORD = "look"

    look: Literal["mist", "drops", "heavy"] = Field(
        "drops", description="A light mist, drops, or heavy drops with runs: what the other keys start from."
    )
    count: Annotated[int, Number(1, 20_000, whole=True)] | None = Field(None, description="How many drops.")
    smallest_mm: Across | None = Field(None, alias="smallest", description="Diameter of the smallest.")
    largest_mm: Across | None = Field(None, alias="largest", description="Diameter of the largest.")
    angle_deg: Annotated[float, Quantity("angle", least="10 deg", most="90 deg")] | None = Field(
        None, alias="angle", description="Contact angle: 20 flat, on clean glass; 90 half balls, on wax."
    )
    runs: Annotated[int, Number(0, 60, whole=True)] | None = Field(
        None, description="Drops that have run down and left a track."
    )
    up_to_mm: Annotated[float, Quantity("length", above="0 mm", most="2 m")] | None = Field(
        None, alias="up_to", description="Height to which the glass is cold; left out, the fill line."
    )
    above: Share = Field("10 %", description="How dense drops are where it is not cold, as a share.")
    seed: Seed = Field(1, description="Start of the random numbers; another seed, other places.")


class Rimmed(_Worded):
    """Grains of salt or sugar that stick to the rim."""

    WORD = "with"

    with_: Literal["salt", "sugar"] = Field("salt", alias="with", description="Salt or sugar.")
    count: Annotated[int, Number(1, 10_000, whole=True)] = Field(2500, description="How many grains.")
    size_mm: Annotated[float, Quantity("length", least="0.1 mm", most="3 mm")] = Field(
        "0.6 mm", alias="size", description="Edge of the largest; the others go down to half of it."
    )
    down_mm: Annotated[float, Quantity("length", least="1 mm", most="60 mm")] = Field(
        "5 mm", alias="down", description="How far they reach down the outside from the rim."
    )
    share: Annotated[float, Quantity("fraction", above="0 %")] = Field(
        "100 %", description="Share of the way round, in the middle of which is the camera's side."
    )
    seed: Seed = Field(1, description="Start of the random numbers; another seed, other places.")
