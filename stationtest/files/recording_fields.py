"""What is written under `recordings:`: how this plant's logs are written. Nothing is guessed from a file."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator, ValidationInfo, WithJsonSchema

from stationtest.files.fields import ByKind, Fields, said
from stationtest.files.reaches import AnyReach, Reach, TravelFields
from stationtest.files.scalars import (
    AnyDuration,
    ChannelName,
    Count,
    Duration,
    InputName,
    Names,
    OneOrMore,
    OutputName,
    PositiveDuration,
    SensorName,
    Text,
    YesNo,
    unknown,
    wrong,
)
from stationtest.files.time_fields import TimeFields


def _cell(value: object) -> str:
    if not isinstance(value, str):
        raise wrong("the text of a cell is due here", value, "text")
    return str(value)


def _condition(value: object, info: ValidationInfo) -> str:
    given = _cell(value)
    if isinstance(info.context, Names) and given not in info.context.conditions:
        raise unknown("condition", given, tuple(info.context.conditions))
    return given


Cell = Annotated[str, PlainValidator(_cell), WithJsonSchema({"type": ["string", "number", "boolean"]})]
ConditionName = Annotated[str, PlainValidator(_condition), WithJsonSchema({"type": ["string", "integer"], "names": "condition"})]


class DigitalFields(Fields):
    """A digital column: a bit of a whole number, or one that is on where the signal is off."""

    column: Text
    bit: Count | None = None
    inverted: YesNo = said("no")


DigitalColumn = Annotated[Any, ByKind(text=Text, mapping=DigitalFields)]


class WindowFields(Fields):
    """When the on-time of a recorded signal belongs to a presentation."""

    from_: AnyReach = said("0 ms")
    after_end: Reach = said("0 ms")


class NumberedFields(Fields):
    """The number of the match. Without `channels`, a channel whose name is a whole number has that number."""

    none: Count = said("0")
    channels: dict[ChannelName, Count] = Field(default_factory=dict)


class CodedFields(NumberedFields):
    """Lines that carry the number of the match, the lowest bit first."""

    lines: list[DigitalColumn] = Field(min_length=1, max_length=16)
    code: Literal["binary", "gray"] = said("binary")
    strobe: DigitalColumn | None = None


class MatchFields(NumberedFields):
    """A column that holds the number of the match."""

    column: Text


class GateFields(Fields):
    """Presentations from the on-time of an input, in the order of a list of what was put through."""

    input: InputName
    list_: Text
    offset: AnyDuration = said("0 ms")
    shortest: Duration = said("0 ms")


class DialectFields(Fields):
    """How a text table is written."""

    separator: Literal["comma", "semicolon", "tab", "bar"] = said("comma")
    decimal: Literal["point", "comma"] = said("point")
    encoding: Literal["utf-8", "utf-16", "cp1252"] = said("utf-8")
    skip_lines: Count = said("0")
    units_line: YesNo = said("no")


class TruthByFields(Fields):
    """Who says what was presented: never the station that is judged."""

    by: Literal["list before the run", "operator", "second instrument"]


class TruthFields(DialectFields):
    """Columns that say what was presented."""

    truth: TruthByFields | None = None

    target: Text | None = None
    specimen: Text | None = None
    set_: Text | None = None
    item: Text | None = None
    sensor: Text | None = None
    conditions: dict[ConditionName, Text] = Field(default_factory=dict)
    empty: OneOrMore[Cell] = Field(default=("",), json_schema_extra={"default": [""]})
    void: Text | None = None

    def columns_of_truth(self) -> dict[str, Any]:
        """What is said of each: the name of its column, or a name for each sensor."""
        return {"target": self.target, "specimen": self.specimen, "set": self.set_, "item": self.item}


TruthColumn = Annotated[Any, ByKind(text=Text, mapping=Annotated[dict[SensorName, Text], Field(min_length=1)])]
"""One column for every sensor, or one for each: what stands before two sensors at one time is two truths."""


class PresentationsFields(TruthFields):
    """A second table: one row a presentation, with its start and end."""

    file: Text
    time: TimeFields | None = None
    start: Text
    end: Text
    target: Text


class RecordingFields(TruthFields):
    """How recordings that match a pattern are written."""

    target: TruthColumn | None = None
    specimen: TruthColumn | None = None
    set_: TruthColumn | None = None
    item: TruthColumn | None = None
    rows: Literal["samples", "trials"] = said("samples")
    time: TimeFields | None = None
    every: PositiveDuration | None = None
    gap: PositiveDuration | None = None
    inputs: dict[InputName, DigitalColumn] = Field(default_factory=dict)
    channels: dict[ChannelName, DigitalColumn] = Field(default_factory=dict)
    outputs: dict[OutputName, DigitalColumn] = Field(default_factory=dict)
    coded: CodedFields | None = None
    match: MatchFields | None = None
    on: OneOrMore[Cell] = Field(default=("1",), json_schema_extra={"default": ["1"]})
    off: OneOrMore[Cell] = Field(default=("0",), json_schema_extra={"default": ["0"]})
    window: WindowFields = Field(default_factory=WindowFields)
    presentations: PresentationsFields | None = None
    gate: GateFields | None = None
    travel: TravelFields | None = None
    seen_by: Text | None = None
    events: Text | None = None
