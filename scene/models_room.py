"""The room round a set: its floor, ceiling and walls, and where stands stand."""

from __future__ import annotations

from pydantic import Field, model_validator

from .models_base import Part, fault
from .models_numbers import At, Size


class Walls(Part):
    """Walls by how far they stand from the datum, level; one left out is far away."""

    behind_mm: Size | None = Field(None, alias="behind", description="From the datum to the wall behind.")
    left_mm: Size | None = Field(None, alias="left", description="From the datum to the wall on the left.")
    right_mm: Size | None = Field(None, alias="right", description="From the datum to the wall on the right.")
    front_mm: Size | None = Field(
        None, alias="front", description="From the datum to the wall on the camera's side."
    )


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
        description="Where the stand of a lamp, flag or card stands: x, y; left out, right under it.",
    )

    @model_validator(mode="after")
    def _check_ceiling(self):
        if self.ceiling_mm is not None and self.ceiling_mm <= self.table_height_mm:
            text = f"{self.ceiling_mm:g} mm is not above the table top ({self.table_height_mm:g} mm)"
            raise fault(f"{text}; measure both from the floor", "ceiling")
        return self
