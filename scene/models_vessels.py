"""Glasses that a person measured, drew or has as a file. The keys are those of vessel files too."""

from abc import abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, Strict, model_validator
from pydantic_core import core_schema

from brimcast.vessels import measured
from brimcast.vessels.measured import Drawing, Measured

from .models_base import Part, fault
from .models_numbers import Lengths, Number, Quantity, Size

OUTLINE_POINT = Lengths(("height", "outer diameter"), Quantity("length", least="0 mm", most="2 m"))
INSIDE_POINT = Lengths(("height", "inner diameter"), Quantity("length", least="0 mm", most="2 m"))
_LENGTH = Quantity("length").json()
_PAIR = {"type": "array", "prefixItems": [_LENGTH, _LENGTH], "items": False, "minItems": 2}
_POINTS = {"type": "array", "items": {"type": "integer", "minimum": 1, "maximum": 1000}}
_RADII = {
    "type": "object",
    "propertyNames": {"pattern": "^[1-9][0-9]*$"},
    "additionalProperties": Quantity("length", least="0 mm").json(),
}

FileName = Annotated[str, Field(min_length=1, max_length=1000)]


@dataclass(frozen=True, eq=False)
class Reading:
    """A value that `measured` reads, with what its JSON Schema is."""

    read: Callable[[object], Any]
    json: Any

    def check(self, value: object) -> Any:
        try:
            return self.read(value)
        except measured.Wrong as wrong:
            raise fault(wrong.text, *wrong.below) from None

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(self.check)

    def __get_pydantic_json_schema__(self, core, handler):
        return self.json


Thickness = Annotated[
    Any,
    Reading(measured.read_wall, {"anyOf": [_LENGTH, {"type": "array", "items": _PAIR, "minItems": 1}]}),
]
Edge = Annotated[Any, Reading(measured.read_edge, {"anyOf": [{"enum": list(measured.EDGES)}, _LENGTH]})]
Gap = Annotated[float, Reading(measured.read_gap, _LENGTH)]
Corners = Annotated[dict[int, float], Reading(measured.read_corners, {"anyOf": [_POINTS, _RADII]})]


class GlassMeasures(Part):
    """Wall, base and edges of a glass whose outside is known."""

    wall_mm: Thickness = Field(
        "2 mm", alias="wall", description="Thickness of the wall, or pairs [height, thickness]."
    )
    base_mm: Size = Field("8 mm", alias="base", description="Height of the inside's lowest point.")
    fillet_mm: Gap | None = Field(None, alias="fillet", description="Radius between inner base and wall.")
    heel_mm: Gap | None = Field(None, alias="heel", description="Radius at the foot's edge on the table.")
    hollow_mm: Gap | None = Field(None, alias="hollow", description="How high the underside is hollowed.")
    edge_mm: Edge = Field(
        "round", alias="edge", description="Rim: round, cut, or the radius of a cut rim's edges."
    )
    bead_mm: Size | None = Field(None, alias="bead", description="Diameter of a rolled rim, instead of edge.")
    corners: Corners = Field(
        (), description="Points of the outline, from 1, where it bends sharply, or each with a radius."
    )

    @model_validator(mode="after")
    def _check_rim(self):
        if self.bead_mm is not None and "edge_mm" in self.model_fields_set:
            raise fault("a rim has either an edge or a bead; keep one", "bead")
        return self

    @abstractmethod
    def measured(self) -> Measured:
        """Return the glass as `brimcast.vessels` takes it."""

    def _shared(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in GlassMeasures.model_fields}


class OutlineVessel(GlassMeasures):
    """A vessel measured by hand: its outer outline, and the glass inside it."""

    MARKS: ClassVar = ("outline",)

    outline_mm: tuple[Annotated[tuple[float, float], OUTLINE_POINT], ...] = Field(
        alias="outline",
        min_length=2,
        max_length=1000,
        description="Pairs [height, outer diameter], from the foot up to the rim.",
    )
    inside_mm: tuple[Annotated[tuple[float, float], INSIDE_POINT], ...] = Field(
        (), alias="inside", max_length=1000, description="Pairs [height, inner diameter], instead of a wall."
    )

    @model_validator(mode="before")
    @classmethod
    def _check_corners(cls, value: object) -> object:
        """Look at the corners as they were written, so that a fault finds its place."""
        if isinstance(value, dict) and isinstance(value.get("outline"), list):
            count, corners = len(value["outline"]), value.get("corners")
            places = enumerate(corners) if isinstance(corners, list | tuple) else ()
            for place, corner in zip(corners, corners, strict=True) if isinstance(corners, dict) else places:
                if str(corner).isdecimal() and int(corner) > count:
                    raise fault(f"the outline has {count} points, no point {corner}", "corners", place)
        return value

    def measured(self) -> Measured:
        return Measured(outline_mm=self.outline_mm, inside_mm=self.inside_mm, **self._shared())


class DrawnVessel(GlassMeasures):
    """A vessel whose outline is in a file: an SVG path, or points in CSV."""

    MARKS: ClassVar = ("drawing",)

    file: FileName = Field(alias="drawing", description="SVG or CSV file, found from the set file's folder.")
    height_mm: Size | None = Field(
        None, alias="height", description="Outer height, which sets the scale; left out, the file's own."
    )
    path: FileName | None = Field(None, description="Id of the SVG path; left out, the first.")
    inside_path: FileName | None = Field(None, description="Id of the SVG path that is the inside.")
    axis: Annotated[float, Number(-1e6, 1e6)] | None = Field(
        None, description="Where the axis stands, x in the drawing; left out, it is found."
    )

    def measured(self) -> Measured:
        drawing = Drawing(self.file, self.height_mm, self.path, self.inside_path, self.axis)
        return Measured(drawing=drawing, **self._shared())


class FileVessel(Part):
    """A vessel in a file of its own, as `brimcast vessel trace` writes it."""

    MARKS: ClassVar = ("file",)

    file: FileName = Field(description="Vessel file, found from the set file's folder.")


class MeshVessel(Part):
    """A vessel that is a mesh from another program; no drink can be poured into it."""

    MARKS: ClassVar = ("mesh",)

    file: FileName = Field(alias="mesh", description="PLY, OBJ, STL or GLB, from the set file's folder.")
    unit: Literal["mm", "cm", "m", "in"] | None = Field(
        None, description="Length of 1 in the file; left out, metres for GLB, else the height is needed."
    )
    height_mm: Size | None = Field(None, alias="height", description="Height, which sets the scale instead.")
    up: Literal["z", "y"] | None = Field(None, description="Upward axis; left out, y for GLB, else z.")
    sharp_deg: Annotated[float, Quantity("angle", least="0 deg", most="180 deg")] = Field(
        "30 deg", alias="sharp", description="Edges that turn by more stay sharp, others are made smooth."
    )
    repair: Annotated[bool, Strict()] = Field(False, description="Mend small holes and turned faces.")
