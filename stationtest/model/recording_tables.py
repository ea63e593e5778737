"""A recording of several tables on several clocks, as `recordings/NAME.recording.yaml` declares it.

The clock of the sensor's log is the recording's own; instants of all other tables are put on it. Durations in nanoseconds.
"""

from __future__ import annotations

from dataclasses import dataclass

from stationtest.model.digital import Digital
from stationtest.model.recording_form import RecordingForm
from stationtest.place import NOWHERE, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingsTable:
    """The log of the sensor: samples on a clock of its own. `sensor` None: whichever has its columns there.

    `form.every_ns` None: the usual step of the first rows is taken.
    """

    name: str
    path: str
    form: RecordingForm
    clock: str
    sensor: str | None = None
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalsTable:
    """A log of inputs, outputs and channels. `rows_are` is 'samples' (a value holds until the next row of that signal, at most
    `form.gap_ns`) or 'changes' (until the next change of that signal).

    `layout` is 'wide' (a column each: `Digital.column` names it) or 'long' (one row a value: `Digital.column` is the word in
    `name_column`). An edge is logged up to `resolution_ns` late.
    """

    name: str
    path: str
    form: RecordingForm
    clock: str
    signals: tuple[tuple[str, Digital], ...]  # kind (input, channel, output) and column
    layout: str = "wide"
    rows_are: str = "changes"
    name_column: str | None = None
    value_column: str | None = None
    unknown: tuple[str, ...] = ()
    resolution_ns: int = 0
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthTable:
    """What was presented, one row a presentation. Each of its instants is known to +-`within_ns`."""

    name: str
    path: str
    form: RecordingForm
    clock: str
    within_ns: int = 0
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockRelation:
    """An instant t of `clock` is t + offset + drift * (t - t0) on `to`, known to +-`within_ns`; t0 is the first row of the first
    table on `clock`. `drift_e12` is in parts of 10**12: 20 ppm is 20,000,000."""

    clock: str
    to: str
    offset_ns: int
    within_ns: int
    drift_e12: int = 0
    found_by: str | None = None
    place: Place = NOWHERE


Table = ReadingsTable | SignalsTable | TruthTable


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingTables:
    """The tables of one recording, in the order of its file, and how their clocks are related."""

    path: str
    readings: ReadingsTable
    signals: tuple[SignalsTable, ...] = ()
    truth: TruthTable | None = None
    clocks: tuple[ClockRelation, ...] = ()
    order: tuple[str, ...] = ()
    events_path: str | None = None
    place: Place = NOWHERE

    @property
    def tables(self) -> tuple[Table, ...]:
        """All of them, in the order of the file."""
        all_: list[Table] = [self.readings, *self.signals]
        if self.truth is not None:
            all_.append(self.truth)
        return tuple(sorted(all_, key=lambda table: self.order.index(table.name)))
