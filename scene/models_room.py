"""The room round a set: its floor, ceiling and walls, and where stands stand."""

from pydantic import Field, PrivateAttr, model_validator

from .models_base import Part, fault
from .models_numbers import At, Quantity, Size
from .models_surfaces import REFLECTORS, Reflectance


class Walls(Part):
    """Walls by how far they stand from the datum, level; one left out is far away."""

    behind_mm: Size | None = Field(None, alias="behind", description="From the datum to the wall behind.")
    left_mm: Size | None = Field(None, alias="left", description="From the datum to the wall on the left.")
    right_mm: Size | None = Field(None, alias="right", description="From the datum to the wall on the right.")
    front_mm: Size | None = Field(
        None, alias="front", description="From the datum to the wall on the camera's side."
    )


class Shell(Part):
    """What walls, ceiling and floor throw back: each by itself, or one share for all that are known."""

    walls: Reflectance | None = Field(None, description="Share of the light thrown back by the known walls.")
    ceiling: Reflectance | None = Field(None, description="Share of the light thrown back by the ceiling.")
    floor: Reflectance | None = Field(None, description="Share of the light thrown back by the floor.")

    _alike: bool = PrivateAttr(False)

    @model_validator(mode="wrap")
    @classmethod
    def _spread(cls, value, handler):
        alike = not isinstance(value, dict | Part)
        made = handler(dict.fromkeys(("walls", "ceiling", "floor"), value) if alike else value)
        made._alike = alike
        return made

    @classmethod
    def __get_pydantic_json_schema__(cls, core, handler):
        return {"anyOf": [{"enum": list(REFLECTORS)}, Quantity("fraction").json(), handler(core)]}


class Room(Part):
    """The room that the set is built in."""

    table_height_mm: Size = Field(
        "750 mm", alias="table_height", description="Height of the table top above the floor."
    )
    ceiling_mm: Size | None = Field(
        None, alias="ceiling", description="Height of the ceiling above the floor; left out, not known."
    )
    walls: Walls = Field({}, description="How far the walls are.")
    stands: dict[str, At] = Field(
        default_factory=dict,
        description="Where the stand of a lamp or panel stands: x, y; left out, right under it.",
    )
    reflectance: Shell | None = Field(
        None, description="What walls, ceiling and floor throw back; left out, they cast no light."
    )

    @model_validator(mode="after")
    def _check_ceiling(self):
        if self.ceiling_mm is not None and self.ceiling_mm <= self.table_height_mm:
            text = f"{self.ceiling_mm:g} mm is not above the table top ({self.table_height_mm:g} mm)"
            raise fault(f"{text}; measure both from the floor", "ceiling")
        return self

    @model_validator(mode="after")
    def _check_shell(self):
        shell = self.reflectance
        if shell is None or shell._alike:
            return self
        if shell.ceiling and self.ceiling_mm is None:
            raise fault("no ceiling is known; say how high it is: room.ceiling", "reflectance", "ceiling")
        if shell.walls and not self.walls.model_fields_set:
            raise fault("no wall is known; say how far one is: room.walls", "reflectance", "walls")
        return self
