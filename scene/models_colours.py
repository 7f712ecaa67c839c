"""Colour of light as people write it: what a lamp sends out, the gels before it, what is to look white."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, NamedTuple

from pydantic_core import PydanticCustomError, core_schema

from .models_base import fault, listed, nearest, show
from .models_numbers import NAME_PATTERN, Quantity

DAYLIGHT_K = 5600.0  # common practice: what flash and daylight lamps are balanced to
TUNGSTEN_K = 3200.0  # common practice: studio halogen
# Common practice: full warming takes 5600 K to 3200 K, full cooling the other way, 134 mired.
FULL_MIRED = 1e6 / TUNGSTEN_K - 1e6 / DAYLIGHT_K
SIZES = {"full": 1.0, "three-quarter": 0.75, "half": 0.5, "quarter": 0.25, "eighth": 0.125}
AS_SHOT = "as shot"

TEMPERATURE = Quantity("temperature", least="1000 K", most="25000 K")
FLASH = Quantity("temperature", least="4000 K", most="25000 K", reason="flash is like daylight")
LED = Quantity("temperature", least="2200 K", most="10000 K")
WAVELENGTH = Quantity("wavelength", least="380 nm", most="700 nm")
WARMING = Quantity("mired", above="0 mired", most="400 mired")
COOLING = Quantity("mired", above="0 mired", most="200 mired")
DENSITY = Quantity("stops", above="0 stops", most="20 stops")
PURITY = Quantity("fraction", most="95 %")

_FILE = r"^[^\r\n]+\.[cC][sS][vV]$"
_HUE = re.compile(r"(complementary\s+)?(.*?nm)[\s,]+(?:purity\s+)?(\S.*%)", re.IGNORECASE)
_SIZED = re.compile(rf"(?:({'|'.join(SIZES)})\s+)?(cto|ctb|plus\s+green|minus\s+green)", re.IGNORECASE)


class Temperature(NamedTuple):
    """Colour of a lamp by its colour temperature, K."""

    temperature_k: float


class Line(NamedTuple):
    """A lamp of one wavelength, nm."""

    wavelength_nm: float


class Flash(NamedTuple):
    """A flash tube: a phase of daylight, K."""

    temperature_k: float


class Led(NamedTuple):
    """A white LED, K."""

    temperature_k: float
    high_cri: bool


class Measured(NamedTuple):
    """A measured spectrum or transmission: a CSV file, found from the set file's folder."""

    file: str


class Conversion(NamedTuple):
    """A gel that warms (positive) or cools."""

    shift_mired: float


class Green(NamedTuple):
    """A gel that makes greener (positive) or less green; 1 is full."""

    size: float


class Density(NamedTuple):
    """A neutral density gel."""

    stops: float


class Hue(NamedTuple):
    """A saturated gel by its dominant or complementary wavelength."""

    wavelength_nm: float
    purity: float
    complementary: bool


Emission = Temperature | Line | Flash | Led | Measured
Gel = Conversion | Green | Density | Hue | Measured
WORDS: dict[str, Emission] = {
    "daylight": Temperature(DAYLIGHT_K),
    "tungsten": Temperature(TUNGSTEN_K),
    "flash": Flash(DAYLIGHT_K),
}


def read_colour(value: object) -> Emission:
    """Return the colour of a lamp that a text says.

    Raises
    ------
    PydanticCustomError
        It says none.
    """
    if isinstance(value, str) and value.strip() in WORDS:
        return WORDS[value.strip()]
    if isinstance(value, str) and re.match(_FILE, value):
        return Measured(value)
    if isinstance(value, str) and (found := re.match(r"(?i)flash\s+(.*)", value.strip())):
        return Flash(FLASH.read(found[1]))
    if isinstance(value, str) and (found := re.match(r"(?i)(high-cri\s+)?led(?:\s+(.*))?$", value.strip())):
        return Led(LED.read(found[2] or f"{DAYLIGHT_K:g} K"), bool(found[1]))
    if not isinstance(value, str) or not re.search(r"\d", value):
        what = "has no unit" if isinstance(value, int | float) else "is no colour"
        allowed = "write a temperature such as '5600 K', a line such as '587.6 nm'"
        more = listed([*WORDS, "flash 5800 K", "LED 4000 K", "high-CRI LED 5600 K", "my-lamp.csv"])
        raise fault(f"{show(value)} {what}; {allowed}, {more}")
    if value.rstrip().endswith("nm"):
        return Line(WAVELENGTH.read(value))
    return Temperature(TEMPERATURE.read(value))


GEL_FORMS = (
    "warming 134 mired", "cooling 80 mired", "half CTO", "full CTB", "half plus green", "quarter minus green",
    "ND 1 stop", "530 nm 60 %", "complementary 530 nm 60 %", "my-gel.csv",
)  # fmt: skip


def read_gel(value: object) -> Gel:
    """Return the gel that a text says.

    Raises
    ------
    PydanticCustomError
        It says none.
    """
    text = " ".join(value.split()) if isinstance(value, str) else ""
    if re.match(_FILE, text):
        return Measured(text)
    if found := re.fullmatch(r"(?i)(warming|cooling)\s+(.*)", text):
        warming = found[1].lower() == "warming"
        shift = (WARMING if warming else COOLING).read(found[2])
        return Conversion(shift if warming else -shift)
    if found := _SIZED.fullmatch(text):
        size, kind = SIZES[(found[1] or "full").lower()], found[2].lower()
        if kind in ("cto", "ctb"):
            return Conversion(size * FULL_MIRED * (1 if kind == "cto" else -1))
        return Green(size if kind.startswith("plus") else -size)
    if found := re.fullmatch(r"(?i)(?:nd|neutral density)\s+(.*)", text):
        return Density(DENSITY.read(found[1]))
    if found := _HUE.fullmatch(text):
        return Hue(WAVELENGTH.read(found[2]), PURITY.read(found[3]), bool(found[1]))
    raise fault(f"{show(value)} is no gel{nearest(text, GEL_FORMS) or ';'} write it like {listed(GEL_FORMS)}")


def describe_gel(gel: Gel) -> str:
    """Return a gel in words that `read_gel` reads, but for a green correction of a size without a name."""
    match gel:
        case Conversion(shift):
            return f"{'warming' if shift > 0 else 'cooling'} {abs(shift):.4g} mired"
        case Green(size):
            name = next((name for name, share in SIZES.items() if share == abs(size)), f"{abs(size):g}")
            return f"{name} {'plus' if size > 0 else 'minus'} green"
        case Density(stops):
            return f"ND {stops:.4g} stops"
        case Hue(wavelength, purity, complementary):
            return f"{'complementary ' * complementary}{wavelength:.4g} nm {100 * purity:.4g} %"
        case Measured(file):
            return file


def said(error: PydanticCustomError) -> str:
    """Return the words of a fault that a reader raised."""
    return error.context["text"]


class ReadColour:
    """Colour of a lamp."""

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(read_colour)

    def __get_pydantic_json_schema__(self, core, handler) -> dict[str, Any]:
        kelvin = r"\s+\d[\d.]*\s*([kK]|[mM]ireds?)\s*$"
        forms = [
            {"type": "string", "pattern": rf"^\s*[fF]lash{kelvin}", "examples": ["flash 5800 K"]},
            {"type": "string", "pattern": rf"^\s*([hH]igh-[cC][rR][iI]\s+)?(LED|led)({kelvin[:-1]})?\s*$",
             "examples": ["LED 4000 K", "high-CRI LED 5600 K"]},
            {"type": "string", "pattern": _FILE, "description": "CSV file: wavelength in nm, power per nm"},
        ]  # fmt: skip
        return {"anyOf": [{"enum": list(WORDS)}, TEMPERATURE.json(), WAVELENGTH.json(), *forms]}


class ReadGel:
    """A gel."""

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(read_gel)

    def __get_pydantic_json_schema__(self, core, handler) -> dict[str, Any]:
        start = r"^\s*([wW]arming|[cC]ooling|[nN][dD]|[nN]eutral density|[cC]omplementary)\s"
        sized = rf"^\s*(({'|'.join(SIZES)})\s+)?(CTO|CTB|cto|ctb|plus\s+green|minus\s+green)\s*$"
        hue = r"^\s*\d[\d.]*\s*nm[\s,].*%\s*$"
        patterns = [rf"{start}.*\d.*\S\s*$", sized, hue, _FILE]
        return {"anyOf": [{"type": "string", "pattern": text} for text in patterns], "examples": [*GEL_FORMS]}


class ReadWhite:
    """What is to look white: a colour temperature, the name of a card or meter, or as shot."""

    KELVIN = {"daylight": DAYLIGHT_K, "tungsten": TUNGSTEN_K}

    def read(self, value: object) -> float | str:
        text = value.strip() if isinstance(value, str) else ""
        if text in self.KELVIN:
            return self.KELVIN[text]
        if text == AS_SHOT or re.match(NAME_PATTERN, text):
            return text
        if not isinstance(value, str):
            what = "has no unit" if isinstance(value, int | float) else "is no white"
            more = listed([*self.KELVIN, AS_SHOT])
            allowed = f"write a temperature such as '5600 K', {more}, or a card's name"
            raise fault(f"{show(value)} {what}; {allowed}")
        return TEMPERATURE.read(value)

    def __get_pydantic_core_schema__(self, source, handler):
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, core, handler) -> dict[str, Any]:
        name = {"type": "string", "pattern": NAME_PATTERN, "description": "name of a card or meter"}
        return {"anyOf": [{"enum": [*self.KELVIN, AS_SHOT]}, TEMPERATURE.json(), name]}


Colour = Annotated[Emission, ReadColour()]
OneGel = Annotated[Gel, ReadGel()]
White = Annotated[float | Literal["as shot"] | str, ReadWhite()]
