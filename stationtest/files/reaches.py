"""A time or a length of belt: how far delays and windows reach. And `travel:`, which says how the belt's position is known.

A length is an error where no `travel:` is declared, since nothing would say when it is over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import PlainSerializer, PlainValidator, ValidationInfo, WithJsonSchema

from stationtest.files import words
from stationtest.files.fields import Fields
from stationtest.files.names import Names
from stationtest.files.quantities import any_duration, bare, duration, lengths_nm, longer_than_nothing, share, wrong
from stationtest.files.scalars import InputName, Positive, PositiveDuration, Speed, Text
from stationtest.model.travel import Length
from stationtest.model.travel import Reach as ModelReach
from stationtest.model.travel import Travel as ModelTravel

_LENGTH = re.compile(r"[+-]?[0-9.]+\s*(um|mm|cm|m)")
_UNITS = "(ns|us|µs|μs|ms|s|min|h|um|µm|mm|cm|m)$"


def _is_length(value: object) -> bool:
    return _LENGTH.fullmatch(bare(value, "a duration or a length", "such as 40 ms or 620 mm")) is not None


def _length(value: object, info: ValidationInfo, *, least: int) -> Length:
    nm = lengths_nm(value)
    if nm < least:
        raise wrong("this length is out of range", value, "more than nothing" if least else "0 mm or more")
    if isinstance(info.context, Names) and not info.context.travel:
        raise wrong(
            "a length of belt needs `travel:` in station.yaml, which says how the belt moves, such as travel: {speed: 500 mm/s}",
            value, "a duration such as 40 ms", "missing-key",
        )  # fmt: skip
    return Length(nm)


def _reach(value: object, info: ValidationInfo) -> ModelReach:
    return _length(value, info, least=0) if _is_length(value) else duration(value)


def _positive(value: object, info: ValidationInfo) -> ModelReach:
    return _length(value, info, least=1) if _is_length(value) else longer_than_nothing(value)


def _any(value: object, info: ValidationInfo) -> ModelReach:
    return _length(value, info, least=0) if _is_length(value) else any_duration(value)


def _at_least(value: object, info: ValidationInfo) -> ModelReach:
    given = " ".join(bare(value, "a limit", "at least 100 ms").split())
    if not given.startswith("at least "):
        raise wrong("a limit begins with `at least`", given, "at least 100 ms, or at least 50 mm")
    return _reach(given.removeprefix("at least "), info)


def _scheme(before: str, example: str) -> WithJsonSchema:
    pattern = rf"^{before}[+−-]?[0-9]+(\.[0-9]+)?\s*{_UNITS}"
    return WithJsonSchema({"type": "string", "pattern": pattern, "description": f"a time or a length of belt, such as {example}"})


_said = PlainSerializer(words.reach_text)
Reach = Annotated[int | Length, PlainValidator(_reach), _said, _scheme("", "40 ms or 20 mm")]
PositiveReach = Annotated[int | Length, PlainValidator(_positive), _said, _scheme("", "40 ms or 20 mm")]
AnyReach = Annotated[int | Length, PlainValidator(_any), _said, _scheme("", "40 ms or 20 mm")]
AtLeastReach = Annotated[
    int | Length,
    PlainValidator(_at_least),
    PlainSerializer(lambda reach: f"at least {words.reach_text(reach)}"),
    _scheme("at least ", "at least 100 ms or at least 50 mm"),
]


def _belt_length(value: object) -> int:
    nm = lengths_nm(value)
    if nm <= 0:
        raise wrong("a length must be more than nothing", value, "such as 0.5 mm")
    return nm


def _within(value: object) -> float | Length:
    return Length(_belt_length(value)) if _is_length(value) else share(value)


def _said_within(within: float | Length) -> str:
    return words.reach_text(within) if isinstance(within, Length) else words.share_text(within)


BeltLength = Annotated[
    int,
    PlainValidator(_belt_length),
    PlainSerializer(lambda nm: words.reach_text(Length(nm))),
    WithJsonSchema({"type": "string", "description": "a length, such as 0.5 mm"}),
]
Within = Annotated[
    float | Length,
    PlainValidator(_within),
    PlainSerializer(_said_within),
    WithJsonSchema({"type": "string", "description": "a share such as 1 %, or a length such as 0.5 mm"}),
]


class TravelFields(Fields):
    """How the belt moves: exactly one of a stated speed, the pulses of an input, and a column that holds its position."""

    speed: Speed | None = None
    input: InputName | None = None
    per_pulse: BeltLength | None = None
    column: Text | None = None
    per_count: BeltLength | None = None
    wraps_at: Positive | None = None
    within: Within | None = None
    standstill: PositiveDuration | None = None


_BELONGS = {
    "speed": ("within",),
    "input": ("per_pulse", "standstill"),
    "column": ("per_count", "wraps_at", "within", "standstill"),
}
_NEEDS = {"input": "per_pulse", "column": "per_count"}


def travel_problems(travel: TravelFields) -> Iterator[tuple[tuple[str, ...], str, str]]:
    """The path of a key inside `travel:`, what is wrong with it, and the code."""
    ways = [key for key in _BELONGS if getattr(travel, key) is not None]
    if len(ways) != 1:
        said = f"the belt's way is known by exactly one of speed, input and column; found {words.listed(ways) or 'none'}"
        yield (), said, "contradiction" if ways else "missing-key"
        return
    (way,) = ways
    for key in ("per_pulse", "per_count", "wraps_at", "within", "standstill"):
        if getattr(travel, key) is not None and key not in _BELONGS[way]:
            yield (key,), f"this key does not belong to travel by {way}; leave the line out", "contradiction"
    needed = _NEEDS.get(way)
    if needed and getattr(travel, needed) is None:
        what = "one pulse" if way == "input" else "one count of the column"
        yield (needed,), f"this key is missing; it says how much belt {what} is, such as 0.5 mm", "missing-key"
    if travel.within is not None and isinstance(travel.within, Length) == (way == "speed"):
        kind, example = ("a share", "1 %") if way == "speed" else ("a length", "0.5 mm")
        yield ("within",), f"how far travel by {way} may be off is {kind}; allowed {kind} such as {example}", "wrong-value"


def travel_model(travel: TravelFields | None) -> ModelTravel | None:
    """The model of a `travel:` that has been checked."""
    if travel is None:
        return None
    within: Any = travel.within
    return ModelTravel(
        speed_nm_s=None if travel.speed is None else travel.speed * 1e6,
        within=within if isinstance(within, float) else 0.0,
        input=travel.input,
        per_pulse_nm=travel.per_pulse or 0,
        column=travel.column,
        per_count_nm=travel.per_count or 0,
        wraps_at=travel.wraps_at,
        standstill_ns=travel.standstill,
        within_nm=within.nm if isinstance(within, Length) else 0,
    )
