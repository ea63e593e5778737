"""What is written in recordings/NAME.recording.yaml: the tables of one recording and their clocks."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from stationtest.files.fields import ByKind, Fields, said
from stationtest.files.recording_fields import Cell, NumberedFields, TruthFields, WindowFields
from stationtest.files.scalars import (
    ClockOffset,
    Count,
    Drift,
    Duration,
    GapLength,
    Name,
    OneOrMore,
    Positive,
    PositiveDuration,
    SignalName,
    Text,
    YesNo,
)
from stationtest.files.time_fields import Date, TimeUnit
from stationtest.model.station import LANGUAGE


class LoggedFields(Fields):
    """A signal of a log: its column, or its word in the column of names; a bit of a whole number; on where the signal is off."""

    from_: Text
    bit: Count | None = None
    inverted: YesNo = said("no")


LoggedSignal = Annotated[Any, ByKind(text=Text, mapping=LoggedFields)]


class CodedLogFields(NumberedFields):
    """Signals of a log that carry the number of the match, the lowest bit first."""

    lines: list[LoggedSignal] = Field(min_length=1, max_length=16)
    code: Literal["binary", "gray"] = said("binary")
    strobe: LoggedSignal | None = None


class MatchLogFields(NumberedFields):
    """A signal of a log that holds the number of the match."""

    from_: Text


class ValuesFields(Fields):
    """The words of a log: those for on, for off, and those that say that the state is not known."""

    on: OneOrMore[Cell] = Field(default=("1",), json_schema_extra={"default": ["1"]})
    off: OneOrMore[Cell] = Field(default=("0",), json_schema_extra={"default": ["0"]})
    unknown: OneOrMore[Cell] = Field(default=(), validate_default=False)


class TableFields(TruthFields):
    """One table of a recording: the readings of a sensor, a log of signals, or what was presented."""

    file: Text
    kind: Literal["readings", "signals", "presentations"] | None = None
    clock: Name | None = None
    time: Text | None = None
    unit: TimeUnit | None = None
    zone: Text | None = None
    wraps_at: Positive | None = None
    date: Date | None = None
    rows_are: Literal["samples", "changes"] | None = None
    gap: GapLength | None = None
    every: PositiveDuration | None = None
    resolution: Duration = said("0 ms")
    layout: Literal["wide", "long"] = said("wide")
    name: Text | None = None
    value: Text | None = None
    signals: dict[SignalName, LoggedSignal] = Field(default_factory=dict)
    coded: CodedLogFields | None = None
    match: MatchLogFields | None = None
    values: ValuesFields = Field(default_factory=ValuesFields)
    window: WindowFields = Field(default_factory=WindowFields)
    start: Text = said("start")
    end: Text = said("end")
    within: Duration = said("0 ms")

    @property
    def what(self) -> str:
        """`readings`, `signals` or `presentations`."""
        return self.kind or ("signals" if self.signals or self.coded or self.match else "readings")


class ClockFields(Fields):
    """How a clock goes against another: an instant t is t + offset + drift * (t - first row) there, known to +-within."""

    to: Name
    offset: ClockOffset
    drift: Drift = said("0 ppm")
    within: Duration
    found_by: Text | None = None


class RecordingFileFields(Fields):
    """A recording of several tables."""

    language: Count = said(str(LANGUAGE))
    tables: dict[Name, TableFields]
    clocks: dict[Name, ClockFields] = Field(default_factory=dict)
    events: Text | None = None

    def clock_of(self, table: str) -> str:
        """The clock of a table. One that does not name it has a clock of its own."""
        return self.tables[table].clock or table
