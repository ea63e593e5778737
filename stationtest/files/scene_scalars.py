"""The types of the values that only scenes have: wavelengths, ageing, tilts, and spectra by file or as one share."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import PlainSerializer, PlainValidator, WithJsonSchema

from stationtest.files import quantities, words
from stationtest.files.names import text
from stationtest.files.quantities import share, text_of, wrong

_NUMBER = r"^[+−-]?[0-9]+(\.[0-9]+)?\s*"


def _unit(reader: Any, unit: str) -> Any:
    return Annotated[
        float,
        PlainValidator(reader),
        PlainSerializer(lambda value: f"{words.number_text(value)} {unit}"),
        WithJsonSchema({"type": "string", "pattern": f"{_NUMBER}{unit}$"}),
    ]


_mm = WithJsonSchema({"type": "string", "pattern": f"{_NUMBER}(um|µm|mm|cm|m)$"})
_said_mm = PlainSerializer(words.length_text)
AnyLength = Annotated[float, PlainValidator(quantities.any_length), _said_mm, _mm]
LengthOrNone = Annotated[float, PlainValidator(quantities.length_or_none), _said_mm, _mm]
SmallAngle = Annotated[
    float,
    PlainValidator(quantities.small_angle),
    PlainSerializer(words.angle_text),
    WithJsonSchema({"type": "string", "pattern": f"{_NUMBER}deg$"}),
]
Wavelength = _unit(quantities.wavelength, "nm")
WavelengthSpread = _unit(quantities.wavelength_spread, "nm")
Kelvin = _unit(quantities.kelvin, "K")
Hours = _unit(quantities.hours, "h")
ShiftPerKelvin = _unit(quantities.shift_per_kelvin, "nm/K")
ChangePerKelvin = Annotated[
    float,
    PlainValidator(quantities.change_per_kelvin),
    PlainSerializer(lambda value: f"{words.share_text(value)}/K"),
    WithJsonSchema({"type": "string", "pattern": f"{_NUMBER}%/K$"}),
]


def _share_or_file(value: object) -> float | str:
    given = text_of(value, "a share or the path of a spectrum", "such as 90 %, or ../spectra/film.csv")
    return share(value) if given.rstrip().endswith("%") else text(value)


ShareOrFile = Annotated[float | str, PlainValidator(_share_or_file), WithJsonSchema({"type": "string"})]


def _unit_number(value: object) -> float:
    amount = quantities.number(value)
    if not 0 <= amount <= 1:
        raise wrong("a roughness lies between 0 (polished) and 1", value, "such as 0.05")
    return amount


def _index(value: object) -> float:
    amount = quantities.number(value)
    if not 1 < amount <= 4:
        raise wrong("a refractive index lies above 1 and at most at 4", value, "such as 1.5")
    return amount


_number = PlainSerializer(words.number_text)
_up_to_1 = WithJsonSchema({"type": "number", "minimum": 0, "maximum": 1})
_up_to_4 = WithJsonSchema({"type": "number", "exclusiveMinimum": 1, "maximum": 4})
Roughness = Annotated[float, PlainValidator(_unit_number), _number, _up_to_1]
Index = Annotated[float, PlainValidator(_index), _number, _up_to_4]


def _at_least_one(value: object) -> float:
    amount = quantities.number(value)
    if amount < 1:
        raise wrong("a rejection ratio is at least 1 (1: ambient light is not rejected)", value, "such as 100")
    return amount


Rejection = Annotated[float, PlainValidator(_at_least_one), _number, WithJsonSchema({"type": "number", "minimum": 1})]


def _not_below_0(value: object) -> float:
    amount = quantities.number(value)
    if amount < 0:
        raise wrong("this number must not be below 0", value, "such as 1.5")
    return amount


NotBelow0 = Annotated[float, PlainValidator(_not_below_0), _number, WithJsonSchema({"type": "number", "minimum": 0})]


def _bits(value: object) -> int:
    amount = quantities.count(value)
    if not 1 <= amount <= 32:
        raise wrong("a converter has 1 to 32 bits", value, "such as 12")
    return amount


Bits = Annotated[int, PlainValidator(_bits), _number, WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 32})]
