"""Keys of a set file that hold the colour of light: of a lamp, of gels, of what is to look white."""

from collections.abc import Callable
from typing import Annotated, Any

from pydantic_core import core_schema

from brimcast.shared.quantity import QuantityError

from .colourwords import (
    AS_SHOT,
    FILE_PATTERN,
    GEL_FORMS,
    SIZES,
    WHITE_WORDS,
    WORDS,
    Emission,
    Gel,
    read_colour,
    read_gel,
    read_white,
)
from .models_base import fault
from .models_numbers import NAME_PATTERN, Quantity

TEMPERATURE = Quantity("temperature", least="1000 K", most="25000 K")
WAVELENGTH = Quantity("wavelength", least="380 nm", most="700 nm")


class _Read:
    """A text read by a function, and its JSON Schema."""

    def __init__(self, read: Callable[[object], Any], schema: Callable[[], dict[str, Any]]):
        self.read, self.schema = read, schema

    def check(self, value: object) -> Any:
        try:
            return self.read(value)
        except QuantityError as wrong:
            raise fault(str(wrong)) from None

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(self.check)

    def __get_pydantic_json_schema__(self, core, handler) -> dict[str, Any]:
        return self.schema()


def _colour_schema() -> dict[str, Any]:
    kelvin = r"\s+\d[\d.]*\s*([kK]|[mM]ireds?)"
    forms = [
        {"type": "string", "pattern": rf"^\s*[fF]lash{kelvin}\s*$", "examples": ["flash 5800 K"]},
        {"type": "string", "pattern": rf"^\s*([hH]igh-[cC][rR][iI]\s+)?(LED|led)({kelvin})?\s*$",
         "examples": ["LED 4000 K", "high-CRI LED 5600 K"]},
        {"type": "string", "pattern": FILE_PATTERN,
         "description": "CSV file: wavelength in nm, power per nm"},
    ]  # fmt: skip
    return {"anyOf": [{"enum": list(WORDS)}, TEMPERATURE.json(), WAVELENGTH.json(), *forms]}


def _gel_schema() -> dict[str, Any]:
    start = r"^\s*([wW]arming|[cC]ooling|[nN][dD]|[nN]eutral density|[cC]omplementary)\s"
    sized = rf"^\s*(({'|'.join(SIZES)})\s+)?(CTO|CTB|cto|ctb|plus\s+green|minus\s+green)\s*$"
    hue = r"^\s*\d[\d.]*\s*nm[\s,].*%\s*$"
    patterns = [rf"{start}.*\d.*\S\s*$", sized, hue, FILE_PATTERN]
    return {"anyOf": [{"type": "string", "pattern": text} for text in patterns], "examples": [*GEL_FORMS]}


def _white_schema() -> dict[str, Any]:
    name = {"type": "string", "pattern": NAME_PATTERN, "description": "name of a card or meter"}
    return {"anyOf": [{"enum": [*WHITE_WORDS, AS_SHOT]}, TEMPERATURE.json(), name]}


Colour = Annotated[Emission, _Read(read_colour, _colour_schema)]
OneGel = Annotated[Gel, _Read(read_gel, _gel_schema)]
White = Annotated[float | str, _Read(read_white, _white_schema)]
