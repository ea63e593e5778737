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

* Every type takes the text of the file (or a `str` in a test: `Fields.model_validate({"at_most": "20 ms", "output": "flap"})`) and
  gives a builtin: durations int ns, lengths float mm, shares float 0..1, numbers float, counts int.
* Names are checked against the station that is passed as the validation context (`Names`); without a context any name goes.
* A rule over several fields is a `@model_validator(mode="after")` that raises `wrong(what, found, allowed, code=...)`.
* A value that is text or a mapping: `by_kind(text=..., mapping=..., items=...)` in fields.py.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Annotated, Any, Literal, TypeVar

from pydantic import GetJsonSchemaHandler, PlainSerializer, PlainValidator, ValidationInfo, WithJsonSchema
from pydantic import BeforeValidator as _Before
from pydantic_core import CoreSchema, PydanticCustomError

from stationtest.files import words
from stationtest.files.suggest import allowed_words, nearest
from stationtest.model.station import Edge as ModelEdge

T = TypeVar("T")

RESERVED_NAMES = ("any", "all", "none", "each", "set", "rows", "start", "end", "covered", "next decision", "?")
_MOST_NS = 2**53


@dataclass(frozen=True, slots=True)
class Names:
    """What the station declares, for checking names while typing: pass it as the validation context."""

    target: tuple[str, ...] = ()
    channel: tuple[str, ...] = ()
    sensor: tuple[str, ...] = ()
    input: tuple[str, ...] = ()
    output: tuple[str, ...] = ()
    set: tuple[str, ...] = ()
    conditions: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def signal(self) -> tuple[str, ...]:
        return self.channel + self.input + self.output


def wrong(what: str, found: object = None, allowed: str = "", code: str = "wrong-value") -> PydanticCustomError:
    """The error of a field: `what is wrong; found X; allowed Y`. `code` is one of errors.CODES."""
    message = what
    if found is not None:
        message += f"; found {words.shown(describe(found))}"
    if allowed:
        message += f"; allowed {allowed}"
    return PydanticCustomError("stationtest", "{message}", {"message": message, "code": code})


def describe(value: object) -> str:
    """What stands there, for a message."""
    if isinstance(value, Mapping):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    return str(value)


def _text_of(value: object, what: str, allowed: str) -> str:
    if isinstance(value, str):
        return value
    raise wrong(f"{what} is due here", value, allowed)


def _bare(value: object, what: str, allowed: str) -> str:
    """The text of an unquoted scalar in plain characters: units, signs and blanks as one would type them."""
    text = _text_of(value, what, allowed)
    if getattr(value, "quoted", False):
        raise wrong(f"{what} is due here, and what is quoted is text: write it without quotes", f'"{text}"', allowed)
    return unicodedata.normalize("NFKC", text).replace("\u2212", "-").replace("\u03bc", "u").strip()


# --- numbers and quantities ---------------------------------------------------------------------------------------------------

_DIGITS = r"[+-]?(?:0|[1-9][0-9]{0,17})(?:\.[0-9]{1,17})?"
_NUMBER = re.compile(_DIGITS + r"(?:[eE][+-]?[0-9]{1,3})?")
_QUANTITY = re.compile(rf"({_DIGITS})\s*([^\s\d.,+-].*)?")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+(\D.*)?")
_RATIONAL = {"ns": 1, "us": 1_000, "ms": 1_000_000, "s": 10**9, "min": 60 * 10**9, "h": 3600 * 10**9}
_LENGTHS = {"um": Decimal("0.001"), "mm": Decimal(1), "cm": Decimal(10), "m": Decimal(1000)}
_SPEEDS = {"mm/s": Decimal(1), "m/s": Decimal(1000), "m/min": Decimal(1000) / 60}
_FREQUENCIES = {"Hz": Decimal(1), "kHz": Decimal(1000), "MHz": Decimal(10**6)}


def _check_comma(text: str, allowed: str) -> None:
    if _COMMA.fullmatch(text):
        raise wrong("numbers are written with a decimal point, not a comma", text, f"{text.replace(',', '.', 1)} or {allowed}")


def _quantity(value: object, what: str, units: Mapping[str, Decimal | int], example: str) -> Decimal:
    allowed = f"a number with its unit ({', '.join(units)}), such as {example}"
    text = _bare(value, what, allowed)
    _check_comma(text, allowed)
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise wrong(f"this is not {what}", text, allowed)
    number, unit = match.groups()
    if unit is None:
        raise wrong(f"a bare number needs a unit: {number} {example.split()[1]}", text, allowed)
    if unit not in units:
        near = nearest(unit, units)
        raise wrong(f"`{words.shown(unit, 20)}` is no unit of {what}" + (f"; did you mean {number} {near}?" if near else ""), text, allowed)
    return Decimal(number) * units[unit]


def duration(value: object) -> int:
    """Nanoseconds, exact; not negative; below 2**53 (104 days)."""
    ns = _quantity(value, "a duration", _RATIONAL, "40 ms")
    if ns != ns.to_integral_value():
        raise wrong("a duration finer than 1 ns cannot be kept", value, "whole nanoseconds")
    if ns < 0 or ns >= _MOST_NS:
        raise wrong("a duration is out of range", value, "0 ms up to 104 days")
    return int(ns)


def longer_than_nothing(value: object) -> int:
    ns = duration(value)
    if not ns:
        raise wrong("this duration must be longer than nothing", value, "such as 1 ms")
    return ns


def any_duration(value: object) -> int:
    """Nanoseconds; may be negative (an offset)."""
    ns = _quantity(value, "a duration", _RATIONAL, "40 ms")
    if ns != ns.to_integral_value() or abs(ns) >= _MOST_NS:
        raise wrong("a duration is out of range", value, "whole nanoseconds, up to 104 days")
    return int(ns)


def _positive(value: object, what: str, units: Mapping[str, Decimal | int], example: str) -> float:
    amount = _quantity(value, what, units, example)
    if amount <= 0:
        raise wrong(f"{what} must be more than nothing", value, f"such as {example}")
    return float(amount)


def length(value: object) -> float:
    """Millimetres, more than 0."""
    return _positive(value, "a length", _LENGTHS, "4 mm")


def speed(value: object) -> float:
    """Millimetres a second, more than 0."""
    return _positive(value, "a speed", _SPEEDS, "500 mm/s")


def frequency(value: object) -> float:
    """Hertz, more than 0."""
    return _positive(value, "a frequency", _FREQUENCIES, "1 kHz")


def angle(value: object) -> float:
    """Degrees."""
    return float(_quantity(value, "an angle", {"deg": Decimal(1)}, "12 deg"))


def any_share(value: object) -> float:
    """`95 %` → 0.95, not negative."""
    amount = _quantity(value, "a share", {"%": Decimal(1)}, "95 %") / 100
    if amount < 0:
        raise wrong("a share is out of range", value, "0 % or more")
    return float(amount)


def share(value: object) -> float:
    """`95 %` → 0.95; from 0 to 1."""
    amount = any_share(value)
    if amount > 1:
        raise wrong("a share is out of range", value, "0 % to 100 %")
    return amount


def open_share(value: object) -> float:
    """A share above 0 % and below 100 %: a reliability or a confidence."""
    amount = share(value)
    if not 0 < amount < 1:
        raise wrong("no number of trials can show this", value, "more than 0 % and less than 100 %")
    return amount


def number(value: object) -> float:
    """A finite number without a unit. A digit must follow the point; no 1_000, no 0x1F, no leading zero."""
    allowed = "a number such as 0.012"
    text = _bare(value, "a number", allowed)
    _check_comma(text, allowed)
    if _NUMBER.fullmatch(text) is None or not math.isfinite(float(text)):
        raise wrong("this is not a number", text, allowed)
    return float(text) + 0.0


def positive(value: object) -> float:
    amount = number(value)
    if amount <= 0:
        raise wrong("this number must be more than 0", value, "a number such as 0.012")
    return amount


def count(value: object) -> int:
    """A whole number, 0 or more."""
    text = _bare(value, "a whole number", "a whole number such as 3")
    if re.fullmatch(r"0|[1-9][0-9]{0,8}", text) is None:
        raise wrong("this is not a whole number of 0 or more", text, "a whole number such as 3")
    return int(text)


def one_or_more(value: object) -> int:
    amount = count(value)
    if not amount:
        raise wrong("this number must be at least 1", value, "a whole number such as 3")
    return amount


# --- text and names -----------------------------------------------------------------------------------------------------------


def text(value: object) -> str:
    """Free text, on one or several lines, kept as written."""
    given = _text_of(value, "text", "text")
    if not given.strip():
        raise wrong("text is due here, and this is blank", f'"{given}"')
    if "\x00" in given or len(given) > 10_000:
        raise wrong("this text cannot be kept", given, "at most 10000 characters, none of them NUL")
    return str(given)


def _one_line(value: object, what: str) -> str:
    given = text(value)
    if given != given.strip() or any(unicodedata.category(char) in ("Cc", "Cf", "Zl", "Zp") for char in given):
        raise wrong(f"{what} has no blanks at its ends and no control characters", repr(given))
    if len(given) > 200:
        raise wrong(f"{what} has at most 200 characters", given)
    return given


def name(value: object) -> str:
    """The name of something that is declared: one line of any text, but for the words that the language keeps."""
    given = _one_line(value, "a name")
    if given.casefold() in RESERVED_NAMES:
        raise wrong("this word has a meaning of its own and cannot be a name", given, "any other word", "reserved-word")
    if given.endswith((" falls", " rises")):
        raise wrong("a name cannot end in `falls` or `rises`: that is how an edge is written", given, code="reserved-word")
    return given


def case_id(value: object) -> str:
    """A stable id. `::`, `[` and `]` would break how test runners name their items."""
    given = _one_line(value, "an id")
    if any(part in given for part in ("::", "[", "]")):
        raise wrong("an id cannot hold `::`, `[` or `]`", given, "such as REC-01")
    return given


def _known(value: object, info: ValidationInfo, kind: str) -> str:
    given = str(_text_of(value, f"the name of {_article(kind)}", "a name"))
    if isinstance(info.context, Names):
        declared: tuple[str, ...] = getattr(info.context, kind)
        if given not in declared:
            raise unknown(kind, given, declared)
    return given


def _article(kind: str) -> str:
    return {"input": "an input", "output": "an output", "signal": "a channel, input or output"}.get(kind, f"a {kind}")


def unknown(kind: str, given: str, declared: tuple[str, ...]) -> PydanticCustomError:
    """The error of a name that nobody declared, with the nearest one."""
    near = nearest(given, declared)
    hint = f"; did you mean `{near}`?" if near else ""
    return wrong(f"there is no {kind.replace('signal', 'channel, input or output')} of this name{hint}", given,
                 allowed_words(declared), "unknown-name")  # fmt: skip


def _known_as(kind: str) -> Callable[[object, ValidationInfo], str]:
    def check(value: object, info: ValidationInfo) -> str:
        return _known(value, info, kind)

    return check


def edge(value: object, info: ValidationInfo) -> ModelEdge:
    """`box out` or `box out rises` is the rising edge of an input, `box out falls` the falling one."""
    given = _text_of(value, "an edge of an input", "such as box out, or box out falls")
    falls = given.endswith(" falls")
    return ModelEdge(input=_known(given.removesuffix(" falls").removesuffix(" rises"), info, "input"), falls=falls)


def instant(value: object, info: ValidationInfo) -> str | ModelEdge:
    """`start`, `end`, `covered`, or an edge of an input."""
    return str(value) if value in ("start", "end", "covered") else edge(value, info)


def until(value: object, info: ValidationInfo) -> str | ModelEdge:
    """`next decision`, or an edge of an input."""
    return str(value) if value == "next decision" else edge(value, info)


# --- words --------------------------------------------------------------------------------------------------------------------


def yes_no(value: object) -> bool:
    given = _bare(value, "yes or no", "yes or no")
    if given not in ("yes", "no", "true", "false"):
        raise wrong("yes or no is due here", given, "yes or no")
    return given in ("yes", "true")


def yes(value: object) -> bool:
    if not yes_no(value):
        raise wrong("only `yes` says something here; leave the line out otherwise", value, "yes")
    return True


def on_off(value: object) -> bool:
    given = _bare(value, "on or off", "on or off")
    if given not in ("on", "off"):
        raise wrong("on or off is due here", given, "on or off")
    return given == "on"


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
    given = " ".join(_bare(value, "a limit", allowed).split())
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
Length = Annotated[float, PlainValidator(length), PlainSerializer(words.length_text), _scheme(_UNIT_NUMBER + "(um|µm|mm|cm|m)$")]
Speed = Annotated[float, PlainValidator(speed), PlainSerializer(words.speed_text), _scheme(_UNIT_NUMBER + "(mm/s|m/s|m/min)$")]
Frequency = Annotated[float, PlainValidator(frequency), PlainSerializer(words.frequency_text), _scheme(_UNIT_NUMBER + "(Hz|kHz|MHz)$")]
Angle = Annotated[float, PlainValidator(angle), PlainSerializer(words.angle_text), _scheme(_UNIT_NUMBER + "deg$")]
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
YesNo = Annotated[bool, PlainValidator(yes_no), PlainSerializer(lambda value: "yes" if value else "no"),
                  WithJsonSchema({"enum": ["yes", "no", True, False]})]  # fmt: skip
Yes = Annotated[bool, PlainValidator(yes), PlainSerializer(lambda value: "yes"), WithJsonSchema({"enum": ["yes", True]})]
OnOff = Annotated[bool, PlainValidator(on_off), PlainSerializer(lambda value: "on" if value else "off"),
                  WithJsonSchema({"enum": ["on", "off"]})]  # fmt: skip


def _name_scheme(kind: str) -> WithJsonSchema:
    # `names` is no keyword of JSON Schema: schema.py replaces it by an enum of the station's own names
    return WithJsonSchema({"type": ["string", "integer"], "names": kind})


TargetName = Annotated[str, PlainValidator(_known_as("target")), _name_scheme("target")]
ChannelName = Annotated[str, PlainValidator(_known_as("channel")), _name_scheme("channel")]
SensorName = Annotated[str, PlainValidator(_known_as("sensor")), _name_scheme("sensor")]
InputName = Annotated[str, PlainValidator(_known_as("input")), _name_scheme("input")]
OutputName = Annotated[str, PlainValidator(_known_as("output")), _name_scheme("output")]
SetName = Annotated[str, PlainValidator(_known_as("set")), _name_scheme("set")]
SignalName = Annotated[str, PlainValidator(_known_as("signal")), _name_scheme("signal")]
_said_text = PlainSerializer(str)
Edge = Annotated[ModelEdge, PlainValidator(edge), _said_text, _name_scheme("edge")]
Instant = Annotated[str | ModelEdge, PlainValidator(instant), _said_text, _name_scheme("instant")]
Until = Annotated[str | ModelEdge, PlainValidator(until), _said_text, _name_scheme("until")]

_AT = "^(at least|at most|exactly|within) "
AtLeastDuration = Annotated[int, PlainValidator(_bound(duration, "100 ms", "at least")),
                            PlainSerializer(lambda ns: f"at least {words.duration_text(ns)}"), _scheme("^at least ")]  # fmt: skip
AtMostDuration = Annotated[int, PlainValidator(_bound(duration, "100 ms", "at most")),
                           PlainSerializer(lambda ns: f"at most {words.duration_text(ns)}"), _scheme("^at most ")]  # fmt: skip
AtLeastNumber = Annotated[float, PlainValidator(_bound(number, "0.25", "at least")),
                          PlainSerializer(lambda value: f"at least {words.number_text(value)}"), _scheme("^at least ")]  # fmt: skip
AtMostNumber = Annotated[float, PlainValidator(_bound(number, "0.25", "at most")),
                         PlainSerializer(lambda value: f"at most {words.number_text(value)}"), _scheme("^at most ")]  # fmt: skip
AtLeastCount = Annotated[int, PlainValidator(_bound(count, "5", "at least")),
                         PlainSerializer(lambda value: f"at least {value}"), _scheme("^at least [0-9]+$")]  # fmt: skip
AtMostCount = Annotated[int, PlainValidator(_bound(count, "0", "at most")),
                        PlainSerializer(lambda value: f"at most {value}"), _scheme("^at most [0-9]+$")]  # fmt: skip
AtMostShare = Annotated[float, PlainValidator(_bound(share, "5 %", "at most")),
                        PlainSerializer(lambda value: f"at most {words.share_text(value)}"), _scheme("^at most ")]  # fmt: skip
DurationLimit = Annotated[Limit, PlainValidator(_limits(duration, "20 ms")), PlainSerializer(_limit_text(words.duration_text)), _scheme(_AT)]
ShareLimit = Annotated[Limit, PlainValidator(_limits(share, "30 %")), PlainSerializer(_limit_text(words.share_text)), _scheme(_AT)]
NumberLimit = Annotated[Limit, PlainValidator(_limits(number, "0.25")), PlainSerializer(_limit_text(words.number_text)), _scheme(_AT)]
CountLimit = Annotated[Limit, PlainValidator(_limits(count, "3", "at least", "at most", "exactly")),
                       PlainSerializer(_limit_text(words.number_text)), _scheme(_AT)]  # fmt: skip

DistanceName = Literal[
    "CIE 1976 u'v'", "CIE 1976 L*a*b*", "CIE 1994", "CIEDE2000", "CMC(2:1)", "CMC(1:1)", "sensor chromaticity"
]  # fmt: skip


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


OneOrMore = Annotated[tuple[T, ...], _Before(_listed), _Listed()]
