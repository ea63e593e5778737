"""The scalar types of the files: what text may stand for, with its unit. All field classes are built from these.

How to use them in an expectation (`stationtest/expectations/NAME.py`)::

    from stationtest.files.fields import Fields as Base, Single, said
    from stationtest.files.scalars import AtLeastDuration, Count, Duration, OneOrMore, OutputName, Yes

    class Fields(Base):                      # written as a mapping
        output: OutputName                   # must be declared; the nearest name is offered; gives exact `str`
        at_most: Duration                    # `20 ms` → int nanoseconds
        from_: Instant = said("start")       # key `from`; defaults are given as the text a user would write
        lasts: AtLeastDuration | None = None # `at least 100 ms` → int nanoseconds; None where the key is not there

    Fields = Single[Yes]                     # written as one word: the value is `fields.root`

* Every type takes the text of the file (or a `str` in a test: `Fields.model_validate({"at_most": "20 ms", "output": "flap"})`)
  and gives a builtin: durations int ns, lengths float mm, shares float 0..1, numbers float, counts int.
* Names are checked against the station that is passed as the validation context (`Names`); without a context any name goes.
* A rule over several fields is a `@model_validator(mode="after")` that raises `wrong(what, found, allowed, code=...)`.
* A value that is text or a mapping: `by_kind(text=..., mapping=..., items=...)` in fields.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BeforeValidator, GetJsonSchemaHandler, PlainSerializer, PlainValidator, WithJsonSchema
from pydantic_core import CoreSchema

from stationtest.files import words
from stationtest.files.names import AS_THE_SET, case_id, edge, instant, known_as, name, text, until
from stationtest.files.names import Names as Names
from stationtest.files.names import unknown as unknown
from stationtest.files.quantities import (
    angle,
    any_duration,
    any_share,
    bare,
    clock_offset,
    count,
    drift,
    duration,
    frequency,
    length,
    longer_than,
    longer_than_nothing,
    number,
    one_or_more,
    open_share,
    speed,
    wavelength,
)
from stationtest.files.quantities import describe as describe
from stationtest.files.quantities import positive as positive
from stationtest.files.quantities import share as share
from stationtest.files.quantities import wrong as wrong
from stationtest.model.station import Edge as ModelEdge

T = TypeVar("T")

# --- words --------------------------------------------------------------------------------------------------------------------


def yes_no(value: object) -> bool:
    given = bare(value, "yes or no", "yes or no")
    if given not in ("yes", "no", "true", "false"):
        raise wrong("yes or no is due here", given, "yes or no")
    return given in ("yes", "true")


def yes(value: object) -> bool:
    if not yes_no(value):
        raise wrong("only `yes` says something here; leave the line out otherwise", value, "yes")
    return True


def on_off(value: object) -> bool:
    given = bare(value, "on or off", "on or off")
    if given not in ("on", "off"):
        raise wrong("on or off is due here", given, "on or off")
    return given == "on"


def on_off_or_as_the_set(value: object) -> bool | str:
    given = bare(value, "on or off", f"on, off or {AS_THE_SET}")
    if given not in ("on", "off", AS_THE_SET):
        raise wrong("on or off is due here", given, f"on, off or {AS_THE_SET}")
    return AS_THE_SET if given == AS_THE_SET else given == "on"


LimitWord = Literal["at least", "at most", "exactly", "within"]


@dataclass(frozen=True, slots=True)
class Limit:
    """`at least 3`: the word and the value (ns, share or number, by the type of the field). `within x` is from -x to x."""

    word: LimitWord
    value: float

    def holds(self, measured: float) -> bool:
        if self.word == "at least":
            return measured >= self.value
        if self.word == "at most":
            return measured <= self.value
        if self.word == "exactly":
            return measured == self.value
        return abs(measured) <= self.value


def _limit(value: object, reader: Callable[[Any], float], allowed_limits: tuple[str, ...], example: str) -> Limit:
    allowed = " or ".join(f"{word} {example}" for word in allowed_limits)
    given = " ".join(bare(value, "a limit", allowed).split())
    for word in allowed_limits:
        if given.startswith(word + " "):
            return Limit(word, reader(given[len(word) + 1 :]))  # type: ignore[arg-type]
    raise wrong(f"a limit begins with {' or '.join(f'`{word}`' for word in allowed_limits)}", given, allowed)


def _limits(reader: Callable[[Any], float], example: str, *allowed: str) -> Callable[[object], Limit]:
    return lambda value: _limit(value, reader, allowed or ("at least", "at most", "exactly", "within"), example)


def _bound(reader: Callable[[Any], T], example: str, word: str) -> Callable[[object], T]:
    return lambda value: _limit(value, reader, (word,), example).value  # type: ignore[arg-type,return-value]


def _limit_text(of: Callable[[Any], str]) -> Callable[[Limit], str]:
    return lambda limit: f"{limit.word} {of(limit.value)}"


# --- the types ----------------------------------------------------------------------------------------------------------------
# Each: how it is read, how it is written back in the words of the file, and how an editor (YAML 1.2 core) sees it.

_UNIT_NUMBER = r"^[+−-]?[0-9]+(\.[0-9]+)?\s*"


def _scheme(pattern: str = "", kind: str | list[str] = "string", **more: Any) -> WithJsonSchema:
    return WithJsonSchema({"type": kind, **({"pattern": pattern} if pattern else {}), **more})


_duration_scheme = _scheme(_UNIT_NUMBER + "(ns|us|µs|μs|ms|s|min|h)$", description="a duration with its unit, such as 40 ms")
_share_scheme = _scheme(_UNIT_NUMBER + "%$", description="a share, such as 95 %")
_number_scheme = _scheme(kind="number")
_count_scheme = _scheme(kind="integer", minimum=0)
_text_scheme = _scheme(kind=["string", "number", "boolean"])
_said_number = PlainSerializer(words.number_text)
_said_duration = PlainSerializer(words.duration_text)
_said_share = PlainSerializer(words.share_text)

Duration = Annotated[int, PlainValidator(duration), _said_duration, _duration_scheme]
PositiveDuration = Annotated[int, PlainValidator(longer_than_nothing), _said_duration, _duration_scheme]
AnyDuration = Annotated[int, PlainValidator(any_duration), _said_duration, _duration_scheme]
ClockOffset = Annotated[int, PlainValidator(clock_offset), _said_duration, _duration_scheme]
Length = Annotated[float, PlainValidator(length), PlainSerializer(words.length_text), _scheme(_UNIT_NUMBER + "(um|µm|mm|cm|m)$")]
Speed = Annotated[float, PlainValidator(speed), PlainSerializer(words.speed_text), _scheme(_UNIT_NUMBER + "(mm/s|m/s|m/min)$")]
Frequency = Annotated[
    float, PlainValidator(frequency), PlainSerializer(words.frequency_text), _scheme(_UNIT_NUMBER + "(Hz|kHz|MHz)$")
]
Angle = Annotated[float, PlainValidator(angle), PlainSerializer(words.angle_text), _scheme(_UNIT_NUMBER + "deg$")]
Drift = Annotated[int, PlainValidator(drift), PlainSerializer(words.drift_text), _scheme(_UNIT_NUMBER + "ppm$")]
GapLength = Annotated[
    int,
    PlainValidator(longer_than),
    PlainSerializer(lambda ns: f"longer than {words.duration_text(ns)}"),
    _scheme("^(longer than )?[0-9]+(\\.[0-9]+)?\\s*(ns|us|µs|μs|ms|s|min|h)$"),
]
Wavelength = Annotated[
    float,
    PlainValidator(wavelength),
    PlainSerializer(lambda nm: f"{words.number_text(nm)} nm"),
    _scheme(_UNIT_NUMBER + "nm$"),
]
Share = Annotated[float, PlainValidator(share), _said_share, _share_scheme]
AnyShare = Annotated[float, PlainValidator(any_share), _said_share, _share_scheme]
OpenShare = Annotated[float, PlainValidator(open_share), _said_share, _share_scheme]
Number = Annotated[float, PlainValidator(number), _said_number, _number_scheme]
Positive = Annotated[float, PlainValidator(positive), _said_number, _scheme(kind="number", exclusiveMinimum=0)]
Count = Annotated[int, PlainValidator(count), _said_number, _count_scheme]
OneUp = Annotated[int, PlainValidator(one_or_more), _said_number, _scheme(kind="integer", minimum=1)]
Text = Annotated[str, PlainValidator(text), _text_scheme]
Name = Annotated[str, PlainValidator(name), _scheme(kind=["string", "integer"])]
CaseId = Annotated[str, PlainValidator(case_id), _scheme(kind=["string", "integer"])]
YesNo = Annotated[
    bool,
    PlainValidator(yes_no),
    PlainSerializer(lambda value: "yes" if value else "no"),
    WithJsonSchema({"enum": ["yes", "no", True, False]}),
]
Yes = Annotated[bool, PlainValidator(yes), PlainSerializer(lambda value: "yes"), WithJsonSchema({"enum": ["yes", True]})]
OnOff = Annotated[
    bool, PlainValidator(on_off), PlainSerializer(lambda value: "on" if value else "off"), WithJsonSchema({"enum": ["on", "off"]})
]
OnOffOrAsTheSet = Annotated[
    bool | str,
    PlainValidator(on_off_or_as_the_set),
    PlainSerializer(lambda value: value if isinstance(value, str) else "on" if value else "off"),
    WithJsonSchema({"enum": ["on", "off", AS_THE_SET]}),
]


def _name_scheme(kind: str) -> WithJsonSchema:
    # `names` is no keyword of JSON Schema: schema.py replaces it by an enum of the station's own names
    return WithJsonSchema({"type": ["string", "integer"], "names": kind})


TargetName = Annotated[str, PlainValidator(known_as("target")), _name_scheme("target")]
ChannelName = Annotated[str, PlainValidator(known_as("channel")), _name_scheme("channel")]
SensorName = Annotated[str, PlainValidator(known_as("sensor")), _name_scheme("sensor")]
InputName = Annotated[str, PlainValidator(known_as("input")), _name_scheme("input")]
OutputName = Annotated[str, PlainValidator(known_as("output")), _name_scheme("output")]
EventName = Annotated[str, PlainValidator(known_as("event")), _name_scheme("event")]
SetName = Annotated[str, PlainValidator(known_as("set")), _name_scheme("set")]
ItemName = Annotated[str, PlainValidator(known_as("item")), _name_scheme("item")]
EvidenceName = Annotated[str, PlainValidator(known_as("evidence")), _name_scheme("evidence")]
SignalName = Annotated[str, PlainValidator(known_as("signal")), _name_scheme("signal")]
_said_text = PlainSerializer(str)
Edge = Annotated[ModelEdge, PlainValidator(edge), _said_text, _name_scheme("edge")]
Instant = Annotated[str | ModelEdge, PlainValidator(instant), _said_text, _name_scheme("instant")]
Until = Annotated[str | ModelEdge, PlainValidator(until), _said_text, _name_scheme("until")]

_AT = "^(at least|at most|exactly|within) "
AtLeastDuration = Annotated[
    int,
    PlainValidator(_bound(duration, "100 ms", "at least")),
    PlainSerializer(lambda ns: f"at least {words.duration_text(ns)}"),
    _scheme("^at least "),
]
AtMostDuration = Annotated[
    int,
    PlainValidator(_bound(duration, "100 ms", "at most")),
    PlainSerializer(lambda ns: f"at most {words.duration_text(ns)}"),
    _scheme("^at most "),
]
AtLeastNumber = Annotated[
    float,
    PlainValidator(_bound(number, "0.25", "at least")),
    PlainSerializer(lambda value: f"at least {words.number_text(value)}"),
    _scheme("^at least "),
]
AtMostNumber = Annotated[
    float,
    PlainValidator(_bound(number, "0.25", "at most")),
    PlainSerializer(lambda value: f"at most {words.number_text(value)}"),
    _scheme("^at most "),
]
AtLeastCount = Annotated[
    int,
    PlainValidator(_bound(count, "5", "at least")),
    PlainSerializer(lambda value: f"at least {value}"),
    _scheme("^at least [0-9]+$"),
]
AtMostCount = Annotated[
    int,
    PlainValidator(_bound(count, "0", "at most")),
    PlainSerializer(lambda value: f"at most {value}"),
    _scheme("^at most [0-9]+$"),
]
AtMostShare = Annotated[
    float,
    PlainValidator(_bound(share, "5 %", "at most")),
    PlainSerializer(lambda value: f"at most {words.share_text(value)}"),
    _scheme("^at most "),
]
DurationLimit = Annotated[
    Limit, PlainValidator(_limits(duration, "20 ms")), PlainSerializer(_limit_text(words.duration_text)), _scheme(_AT)
]
ShareLimit = Annotated[
    Limit, PlainValidator(_limits(share, "30 %")), PlainSerializer(_limit_text(words.share_text)), _scheme(_AT)
]
NumberLimit = Annotated[
    Limit, PlainValidator(_limits(number, "0.25")), PlainSerializer(_limit_text(words.number_text)), _scheme(_AT)
]
CountLimit = Annotated[
    Limit,
    PlainValidator(_limits(count, "3", "at least", "at most", "exactly")),
    PlainSerializer(_limit_text(words.number_text)),
    _scheme(_AT),
]

DistanceName = Literal["CIE 1976 u'v'", "CIE 1976 L*a*b*", "CIE 1994", "CIEDE2000", "CMC(2:1)", "CMC(1:1)", "sensor chromaticity"]


class _Listed:
    """Schema of `OneOrMore`: the item itself, or a list of it."""

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        array = handler(core)
        return {"anyOf": [array.get("items", {}), {**array, "minItems": 1}]}


def _listed(value: object) -> object:
    if isinstance(value, list | tuple):
        if not value:
            raise wrong("this list is empty", None, "one or more")
        return value
    return (value,)


OneOrMore = Annotated[tuple[T, ...], BeforeValidator(_listed), _Listed()]
