"""Lamps as they stand in a set: every kind of front with its place, and heads out of a kit file."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from .models_base import ByWord, Part, fault
from .models_fronts import (
    AnyFront,
    BulbFront,
    CandleFront,
    DiscFront,
    Doors,
    LedFront,
    PanelFront,
    ReflectorFront,
    RingFront,
    SnootFront,
    SoftboxFront,
    SpotFront,
    StripFront,
    TubeFront,
    WindowFront,
)
from .models_lights import Colour, FNumber, Iso, Lamp, Light, Reading
from .models_numbers import NAME_PATTERN, Gap, Number, Quantity
from .models_things import YesNo

KIT_VERSION = 1
Name = Annotated[str, Field(pattern=NAME_PATTERN)]


class MeasuredLamp(Lamp):
    """A lamp whose file of measurements may also say how strong it is."""

    candela: YesNo = Field(False, description="Take the strength from the ies file; no reading then.")

    @model_validator(mode="after")
    def _check_candela(self):
        if self.candela and getattr(self, "ies", None) is None:
            raise fault("needs 'ies', a file that has the candela", "candela")
        if self.candela and self.reading is not None:
            raise fault("stands beside 'reading', which already says how strong it is; keep one", "candela")
        return self


class DooredLamp(Lamp):
    """A lamp that may have barn doors."""

    doors: Doors | None = Field(None, description="Barn doors.")


class DiscLamp(DiscFront, DooredLamp, MeasuredLamp):
    """A lamp with a round, flat front."""


class BulbLamp(BulbFront, Lamp):
    """A bright ball."""


class PanelLamp(PanelFront, DooredLamp, MeasuredLamp):
    """A lamp with a flat front with square corners."""


class TubeLamp(TubeFront, Lamp):
    """A bare straight tube."""


class RingLamp(RingFront, Lamp):
    """A bare tube bent into a ring that faces the aim."""


class CandleLamp(CandleFront, Lamp):
    """A candle's flame."""

    colour: Colour = Field("1900 K", description="Colour temperature; as of other lamps.")


class ReflectorLamp(ReflectorFront, DooredLamp, MeasuredLamp):
    """A round reflector."""


class LedLamp(LedFront, DooredLamp, MeasuredLamp):
    """A small panel of LEDs."""


class SnootLamp(SnootFront, Lamp):
    """A snoot."""


class SoftboxLamp(SoftboxFront, Lamp):
    """A softbox."""


class StripLamp(StripFront, Lamp):
    """A narrow softbox."""


class SpotLamp(SpotFront, DooredLamp):
    """A projection spot."""


class WindowLamp(WindowFront, Lamp):
    """A window."""

    colour: Colour = Field("6500 K", description="Colour temperature; as of other lamps.")


class FarReading(Part):
    """An incident meter reading of the sun or sky alone, at the aim, the meter facing it."""

    f_number: FNumber = Field(description="What the meter shows.")
    iso: Iso = Field(100, description="Set on the meter.")
    receptor: Literal["flat", "dome"] = Field(description="Flat disc or dome on the meter.")


class SunLamp(Light):
    """The sun: a far disc of 0.53 deg."""

    kind: Literal["sun"] = Field(description="Form of the bright front.")
    colour: Colour = Field("5500 K", description="Colour temperature; as of other lamps.")
    reading: FarReading | None = Field(None, description="Meter reading; for all lamps or for none.")


class SkyLamp(Light):
    """The whole sky, equally bright down to the roofs."""

    kind: Literal["sky"] = Field(description="Form of the bright front.")
    horizon_deg: Annotated[float, Quantity("angle", least="10 deg", most="80 deg")] = Field(
        "15 deg", alias="horizon", description="Height of what hides the sky all round."
    )
    colour: Colour = Field("10000 K", description="Colour temperature; as of other lamps.")
    reading: FarReading | None = Field(None, description="Meter reading; for all lamps or for none.")

    @model_validator(mode="after")
    def _check_place(self):
        for key in ("elevation", "azimuth"):
            if f"{key}_deg" in self.model_fields_set:
                raise fault("the sky is overhead; take this out", key)
        return self


class HeadLamp(DooredLamp):
    """A head of the kit, with a modifier of the kit or bare."""

    head: Name = Field(description="Name of a head in the kit file.")
    modifier: Name | None = Field(None, description="Name of a modifier in the kit file; left out, bare.")
    use: Literal["flash", "modelling"] = Field("flash", description="Which of the head's two sources.")


AnyLamp = Annotated[
    DiscLamp | BulbLamp | PanelLamp | TubeLamp | RingLamp | CandleLamp | ReflectorLamp | LedLamp | SnootLamp
    | SoftboxLamp | StripLamp | SpotLamp | WindowLamp | SunLamp | SkyLamp | HeadLamp,
    ByWord("kind", mark="head", shared=Lamp),
]  # fmt: skip


class Source(Part):
    """One of the sources in a head."""

    front: AnyFront = Field(description="What glows with no modifier on: keys as of a lamp, kind and so on.")
    behind_mm: Gap = Field(
        "0 mm", alias="behind", description="How far it lies behind where the throw is measured from."
    )
    colour: Colour = Field("5600 K", description="Colour temperature; as of other lamps.")
    readings: dict[str, Reading] = Field(
        default_factory=dict, description="Readings at full power, by the modifier's name; bare without one."
    )


class Head(Part):
    """A head: a flash tube and a modelling lamp in it, or one of them."""

    flash: Source | None = Field(None, description="The flash tube.")
    modelling: Source | None = Field(None, description="The modelling lamp.")
    range_stops: Annotated[float, Quantity("stops", least="0 stops", most="20 stops")] = Field(
        "6 stops", alias="range", description="How far below full its power can be set."
    )

    @model_validator(mode="after")
    def _check_sources(self):
        if self.flash is None and self.modelling is None:
            raise fault("has neither 'flash' nor 'modelling'; give one or both")
        return self


class KitFile(Part):
    """A photographer's own heads and modifiers."""

    version: Annotated[int, Number(KIT_VERSION, KIT_VERSION, whole=True)] = Field(
        alias="brimcast-kit", description="Version of the kit file; so far there is only 1."
    )
    heads: dict[Name, Head] = Field(min_length=1, description="Heads by name.")
    modifiers: dict[Name, AnyFront] = Field(
        default_factory=dict, description="What goes on a head, by name: its bright front."
    )

    @model_validator(mode="after")
    def _check_readings(self):
        known = {"bare", *self.modifiers}
        for name, head in self.heads.items():
            for use in ("flash", "modelling"):
                for key in getattr(head, use).readings if getattr(head, use) else ():
                    if key not in known:
                        text = f"there is no modifier called {key!r}; allowed: {', '.join(sorted(known))}"
                        raise fault(text, "heads", name, use, "readings", key, at="key")
        if "bare" in self.modifiers:
            raise fault("the word is kept for a head without a modifier", "modifiers", "bare", at="key")
        return self
