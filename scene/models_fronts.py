"""The bright fronts of lamps: form, size and beam, apart from where a lamp stands. Kit files use them too."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from .models_base import ByWord, Part, fault
from .models_numbers import Pair, Quantity, Size, Turn
from .models_things import YesNo
from .models_vessels import FileName

#: An even front has half of its intensity at 60 deg to either side.
Beam = Annotated[
    float, Quantity("angle", least="2 deg", most="120 deg", reason="an even front has a beam of 120 deg")
]
Acceptance = Annotated[float, Quantity("angle", least="2 deg", most="170 deg")]
Falloff = Annotated[float, Quantity("stops", least="0 stops", most="6 stops")]
_MEASURED = "Measured distribution, an LM-63 file beside the set file."


class Gridded(Part):
    """A flat front, on which a honeycomb can be put."""

    grid_deg: Acceptance | None = Field(
        None, alias="grid", description="Honeycomb: full angle beyond which no light passes."
    )


class Measured(Gridded):
    """A flat front whose beam may have been measured."""

    ies: FileName | None = Field(None, description=_MEASURED)


class Beamed(Measured):
    """A flat front with a beam by its angle or as measured."""

    beam_deg: Beam | None = Field(None, alias="beam", description="Full angle at half the intensity.")

    @model_validator(mode="after")
    def _check_beam(self):
        if self.ies is not None and "beam_deg" in self.model_fields_set:
            raise fault("stands beside 'ies', which already has the beam; keep one", "beam")
        return self


class DiscFront(Measured):
    """A lamp with a round, flat front."""

    kind: Literal["disc"] = Field("disc", description="Form of the bright front.")
    diameter_mm: Size = Field("30 mm", alias="diameter", description="Diameter of the bright front.")


class BulbFront(Part):
    """A bright ball."""

    kind: Literal["bulb"] = Field(description="Form of the bright front.")
    diameter_mm: Size = Field("30 mm", alias="diameter", description="Diameter of the ball.")


class PanelFront(Measured):
    """A lamp with a flat front with square corners."""

    kind: Literal["panel"] = Field(description="Form of the bright front.")
    size_mm: Pair = Field(alias="size", description="Width and height of the bright front.")


class TubeFront(Part):
    """A bare straight tube."""

    kind: Literal["tube"] = Field(description="Form of the bright front.")
    diameter_mm: Size = Field("15 mm", alias="diameter", description="Diameter of the tube.")
    length_mm: Size = Field("100 mm", alias="length", description="Length of what glows.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="0 deg is level; clockwise seen from the aim.")


class RingFront(Part):
    """A bare tube bent into a ring that faces the aim."""

    kind: Literal["ring"] = Field(description="Form of the bright front.")
    diameter_mm: Size = Field("60 mm", alias="diameter", description="Outer diameter of the ring.")
    tube_mm: Size = Field("8 mm", alias="tube", description="Diameter of the tube.")

    @model_validator(mode="after")
    def _check_tube(self):
        if self.tube_mm > self.diameter_mm / 3:
            text = f"{self.tube_mm:g} mm leaves no ring; at most a third of the diameter, "
            raise fault(f"{text}{self.diameter_mm / 3:.4g} mm", "tube")
        return self


class CandleFront(Part):
    """A candle's flame, upright."""

    kind: Literal["candle"] = Field(description="Form of the bright front.")
    diameter_mm: Size = Field("8 mm", alias="diameter", description="Diameter of the flame.")
    height_mm: Size = Field("25 mm", alias="height", description="Height of the flame.")


class ReflectorFront(Beamed):
    """A round reflector: its mouth glows, most brightly along the axis."""

    kind: Literal["reflector"] = Field(description="Form of the bright front.")
    diameter_mm: Size = Field("180 mm", alias="diameter", description="Diameter of the mouth.")
    beam_deg: Beam = Field("60 deg", alias="beam", description="Full angle at half the intensity.")


class LedFront(Beamed):
    """A small panel of LEDs."""

    kind: Literal["led"] = Field(description="Form of the bright front.")
    size_mm: Pair = Field(["150 mm", "100 mm"], alias="size", description="Width and height.")
    beam_deg: Beam = Field("95 deg", alias="beam", description="Full angle at half the intensity.")


class SnootFront(Gridded):
    """A tube, black inside, before a bright round back."""

    kind: Literal["snoot"] = Field(description="Form of the bright front.")
    diameter_mm: Size = Field("65 mm", alias="diameter", description="Diameter of the mouth.")
    length_mm: Size = Field("150 mm", alias="length", description="From the bright back to the mouth.")
    back_mm: Size | None = Field(None, alias="back", description="Diameter of the bright back.")


class BoxFront(Gridded):
    """What softboxes and strips share."""

    inner: YesNo = Field(True, description="Whether there is an inner diffuser.")
    falloff_stops: Falloff | None = Field(
        None, alias="falloff", description="How much darker the middle of an edge is than the centre."
    )


class SoftboxFront(BoxFront):
    """A softbox."""

    kind: Literal["softbox"] = Field(description="Form of the bright front.")
    size_mm: Pair = Field(["600 mm", "900 mm"], alias="size", description="Width and height.")


class StripFront(BoxFront):
    """A narrow softbox."""

    kind: Literal["strip"] = Field(description="Form of the bright front.")
    size_mm: Pair = Field(["300 mm", "1.2 m"], alias="size", description="Width and height.")


class SpotFront(Gridded):
    """A projection spot: its lens makes a round picture in a plane of focus."""

    kind: Literal["spot"] = Field(description="Form of the bright front.")
    lens_mm: Size = Field("65 mm", alias="lens", description="Diameter of the front lens.")
    beam_deg: Annotated[float, Quantity("angle", least="2 deg", most="100 deg")] = Field(
        "26 deg", alias="beam", description="Full angle of the picture, seen from the lens, iris open."
    )
    iris: Annotated[float, Quantity("fraction", above="0 %")] = Field(
        "100 %", description="Diameter of the iris, of its widest."
    )
    focus_mm: Size | None = Field(None, alias="focus", description="From the lens to the plane of focus.")
    mask: FileName | None = Field(None, description="Picture put in the gate: white lets light through.")
    turn_deg: Turn = Field("0 deg", alias="turn", description="Mask turned clockwise, along the beam.")


class WindowFront(Gridded):
    """A window, as bright all over as the sky behind it."""

    kind: Literal["window"] = Field(description="Form of the bright front.")
    size_mm: Pair = Field(["1 m", "1.4 m"], alias="size", description="Width and height.")


class Scrim(Part):
    """A diffuser panel across the beam; it then is the bright front, lit by what is behind it."""

    size_mm: Pair = Field(["600 mm", "600 mm"], alias="size", description="Width and height.")
    behind_mm: Size = Field("300 mm", alias="behind", description="How far behind it the lamp's front is.")


_OPEN = Quantity("angle", least="-60 deg", most="90 deg")


class Doors(Part):
    """Four hinged black blades round a flat front."""

    length_mm: Size = Field("120 mm", alias="length", description="From the hinge to the edge of a blade.")
    top_deg: Annotated[float, _OPEN] = Field("30 deg", alias="top", description="0 deg is along the beam.")
    bottom_deg: Annotated[float, _OPEN] = Field("30 deg", alias="bottom", description="The lower blade.")
    left_deg: Annotated[float, _OPEN] = Field("30 deg", alias="left", description="Seen along the beam.")
    right_deg: Annotated[float, _OPEN] = Field("30 deg", alias="right", description="Seen along the beam.")


FRONTS = (
    DiscFront, BulbFront, PanelFront, TubeFront, RingFront, CandleFront, ReflectorFront, LedFront, SnootFront,
    SoftboxFront, StripFront, SpotFront, WindowFront,
)  # fmt: skip
AnyFront = Annotated[
    DiscFront | BulbFront | PanelFront | TubeFront | RingFront | CandleFront | ReflectorFront | LedFront
    | SnootFront | SoftboxFront | StripFront | SpotFront | WindowFront,
    ByWord("kind"),
]  # fmt: skip
