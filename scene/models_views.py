"""What looks at the set: the camera, light meters, and how finely to compute."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from .models_base import Part, fault
from .models_colours import White
from .models_lights import Aim, Facing, FNumber, Focus, Iso
from .models_numbers import Aspect, At3, Azimuth, Elevation, Number, Pair, Quantity, Size, Slide


class Camera(Part):
    """The camera. It stands `distance` from its aim, or at a point."""

    sensor_mm: Pair = Field(["36 mm", "24 mm"], alias="sensor", description="Width and height of the sensor.")
    lens_mm: Annotated[float, Quantity("length", least="1 mm", most="3 m")] = Field(
        "100 mm", alias="lens", description="Focal length."
    )
    distance_mm: Size = Field("1.1 m", alias="distance", description="From the lens to the aim.")
    elevation_deg: Elevation = Field("12 deg", alias="elevation", description="Angle above the table plane.")
    azimuth_deg: Azimuth = Field("0 deg", alias="azimuth", description="0 deg is the camera side of the set.")
    at_mm: At3 | None = Field(
        None, alias="at", description="Centre of the lens, instead of distance, elevation and azimuth."
    )
    aim: Aim = Field("hero", description="A glass or prop (half its height), or a point [x, y, z].")
    focus: Focus | None = Field(
        None, description="A glass or prop, a point, or a distance from the lens; left out, the aim."
    )
    rise_mm: Slide = Field("0 mm", alias="rise", description="Lens moved up over the sensor; down below 0.")
    shift_mm: Slide = Field("0 mm", alias="shift", description="Lens moved right over the sensor.")
    tilt_deg: Annotated[float, Quantity("angle", least="-45 deg", most="45 deg")] = Field(
        "0 deg", alias="tilt", description="Lens turned downward against the sensor; the sensor stays."
    )
    crop: Annotated[float, Aspect()] | None = Field(
        None, description="Crop guide: width : height, centred in the frame, such as 4:5; or square."
    )
    f_number: FNumber = Field("f/11", description="Aperture.")
    iso: Iso = Field(100, description="Speed.")
    shutter_s: Annotated[float, Quantity("time", least="1/100000 s", most="3600 s")] = Field(
        "1/160 s", alias="shutter", description="Exposure time."
    )
    white: White = Field(
        "5600 K", description="White balance: a temperature, daylight, tungsten, a card's name, or as shot."
    )

    @model_validator(mode="after")
    def _check_place(self):
        if self.at_mm is None:
            return self
        for name in ("distance_mm", "elevation_deg", "azimuth_deg"):
            if name in self.model_fields_set:
                key = type(self).model_fields[name].alias
                raise fault("stands beside 'at', which already says where the camera is; keep one", key)
        return self


class Meter(Part):
    """A flat meter that reads the light falling on it."""

    shape: Literal["disc"] = Field("disc", description="Form of its receptor.")
    at_mm: At3 = Field(alias="at", description="Its centre.")
    facing: Facing = Field(
        "up", description="up, down, camera, the name of a lamp, glass or prop, or {azimuth:, elevation:}."
    )
    diameter_mm: Size = Field("10 mm", alias="diameter", description="Diameter of its receptor.")


class Render(Part):
    """How finely to compute."""

    width_px: Annotated[int, Number(16, 16384, whole=True)] = Field(
        900, alias="width", description="Width of the picture in pixels; its height follows the sensor."
    )
    quality: Literal["draft", "proof", "final"] = Field("draft", description="How clean the result is.")
    seed: Annotated[int, Number(0, 2**32 - 1, whole=True)] = Field(
        1, description="Start of the random numbers; another seed gives another grain."
    )
    cell_mm: Annotated[float, Quantity("length", least="0.02 mm", most="100 mm")] | None = Field(
        None, alias="cell", description="Cell of the table map; left out, by the quality."
    )
