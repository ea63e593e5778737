"""A recording of several tables: the sensor's log is the stream, the others are put on its clock."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stationtest.errors import readings_error
from stationtest.files.paths import Folder
from stationtest.files.recording_file import opened
from stationtest.files.words import duration_text, shown
from stationtest.model.case import Suite
from stationtest.model.parts import ReadingFormatPart
from stationtest.model.recording_form import RecordingForm
from stationtest.model.recording_tables import RecordingTables, SignalsTable, Table, TruthTable
from stationtest.signals.batch import TRUTH, Batch, Listed, on_grid
from stationtest.sources import clocks, composed, listed
from stationtest.sources.checks import Where, seconds
from stationtest.sources.formats import Reader, reader_of
from stationtest.sources.logged import Key, Logged, States, first_time, in_turn, read_log, silent_signals
from stationtest.sources.recorded import Recording
from stationtest.sources.units_line import agrees
from stationtest.sources.worlds import Doubts, World

Ints = NDArray[np.int64]


def open_tables(suite: Suite, path: str, formats: Mapping[str, ReadingFormatPart]) -> TablesRecording:
    """The recording that the file at a path declares. Raises `FileProblems` of that file, `ReadingsError` of its tables."""
    if not (Path(suite.folder) / path).is_file():
        raise readings_error(path, 0, "readings", f"there is no file {shown(path)}", "no-file")
    return TablesRecording(suite, opened(Folder(suite.folder, suite.allow_outside), path, suite.station), formats)


class TablesRecording(Recording):
    """A recording whose stream is the table of readings. Its presentations may stand in a table of their own, its signals in
    others."""

    def __init__(self, suite: Suite, tables: RecordingTables, formats: Mapping[str, ReadingFormatPart]) -> None:
        self.tables = tables
        main = tables.readings
        part, readers = reader_of(Path(suite.folder) / main.path, main.path, main.form, formats)
        for name, reader in readers:
            agrees(reader, name, main.form, f"tables.{main.name}.unit")
        super().__init__(suite, tables.path, main.form, part, readers, formats, only=main.sensor)
        form = replace(main.form, every_ns=main.form.every_ns or self._usual_step())
        if form.every_ns and form.gap_ns and form.gap_ns < form.every_ns:
            said = f"rows are {duration_text(form.every_ns)} apart, so each would be a gap; `gap` is {duration_text(form.gap_ns)}"
            raise readings_error(main.path, 0, f"tables.{main.name}.gap", said, "bad-dialect")
        if tables.truth is not None:
            form = replace(form, presentations_path=tables.truth.path, presentations_form=tables.truth.form)
        self.form: RecordingForm = replace(form, events_path=tables.events_path)
        self.worlds, self.truth_within_ns = self._worlds(), self._truth_within()
        self.composed_of = composed.composed_of(tables)

    def _counted(self, name: str) -> bool:
        return super()._counted(name) or any(
            (kind, signal.name) == ("input", name) for table in self.tables.signals for kind, signal in table.signals
        )

    def _usual_step(self) -> int:
        for batch in on_grid(self._pieces(self.layout.only(), 0)):
            if batch.t_ns is not None and len(batch.t_ns) > 1:
                return int(np.median(np.diff(batch.t_ns)))
        return 1

    def steps(self) -> tuple[int, int, int]:
        """Rows of the readings, how many steps between two of them are gaps, and the longest step in ns."""
        rows, gaps, longest, last = 0, 0, 0, None
        for piece in self._pieces(self.layout.only(), 0):
            if piece.t_ns is not None and len(piece):
                self._saw(piece)
                step = np.diff(piece.t_ns, prepend=piece.t_ns[0] if last is None else last)
                rows, gaps = rows + len(piece), gaps + int((step > (self.form.gap_ns or 0)).sum())
                longest, last = max(longest, int(step.max())), int(piece.t_ns[-1])
        return rows, gaps, longest

    def batches(self) -> Iterator[Batch]:
        """The whole stream in grid cells."""
        for batch in super().batches():
            self._saw(batch)
            yield batch

    def _saw(self, rows: Batch) -> None:
        """Readings were read that may begin earlier, or end later, than what was read before."""
        if rows.t_ns is not None and len(rows):
            first, last = int(rows.t_ns[0]), int(rows.t_ns[-1])
            self._span = (min(first, self._span[0]), max(last, self._span[1])) if self._span else (first, last)

    _span: tuple[int, int] | None = None
    """The first and the last of the readings that were read."""

    def way_from(self, clock: str) -> clocks.Way:
        """From a clock to the recording's own."""
        return clocks.way(self.tables.clocks, clock, self.tables.readings.clock, self._first_ns)

    def _worlds(self) -> tuple[World, ...]:
        truth, ways = self.tables.truth, {table.clock: self.way_from(table.clock).within_ns for table in self.tables.tables}
        return Doubts(
            truth=(truth.clock, truth.within_ns) if truth else None,
            signals={
                (kind, digital.name): (table.clock, table.resolution_ns)
                for table in self.tables.signals
                for kind, digital in table.signals
                if ways[table.clock] is not None
            },
            clocks={clock: within_ns for clock, within_ns in ways.items() if within_ns is not None},
        ).worlds()

    def _truth_within(self) -> int:
        truth = self.tables.truth
        return truth.within_ns + (self.way_from(truth.clock).within_ns or 0) if truth else 0

    def listed(self, world: World | None = None) -> Listed | None:
        """Presentations from the table of truth, or None where they stand in a column of the readings."""
        truth = self.tables.truth
        if truth is None:
            return None
        form = self._with_plain_words(truth)
        found = listed.from_table_at(self, truth.path, form, lambda t_ns: self._on_own_clock(truth, t_ns))
        found = found.of_sensors(self.sensors)
        return found if world is None else found.moved(*world.truth, world.clocks[truth.clock])

    def logged(self, world: World | None = None) -> Mapping[Key, Logged]:
        """Every signal of every log, on the recording's clock."""
        found: dict[Key, Logged] = {}
        for table in self.tables.signals:
            window = table.form.window_from, table.form.window_after_end
            related = self.way_from(table.clock).within_ns is not None
            log = self._log(table)
            if not related:  # on a clock of which nothing is known, states are not known at any instant of ours
                log = {key: States(states.t_ns[:0], states.state[:0]) for key, states in log.items()}
            instants = [self._on_own_clock(table, states.t_ns) - self.origin_ns for states in log.values()]
            if world is not None and related:
                moved = [States(t, s.state).moved(world.signals[key]) for t, (key, s) in zip(instants, log.items(), strict=True)]
                if table.resolution_ns:
                    moved = in_turn([states.t_ns for states in log.values()], moved, table.resolution_ns)
                instants = [t_ns + world.clocks[table.clock] for t_ns in moved]
            for t_ns, (key, states) in zip(instants, log.items(), strict=True):
                on, unknown = states.stretches(t_ns)
                found[key] = Logged(table.name, window, on, unknown, table.form.coded if key[0] == "line" else None)
        return found

    @property
    def notes(self) -> list[str]:
        """What a reader of verdicts must know of the tables."""
        told = []
        for table in self.tables.signals:
            silent = silent_signals(table, self._log(table))
            if silent:
                told.append(f"{table.path} has no row of {', '.join(silent)}: the state is not known")
            if self.way_from(table.clock).within_ns is None:
                own = self.tables.readings.clock
                told.append(f"how the clock {table.clock} of {table.path} lies to {own} is not stated: its signals are not known")
            else:
                told += self._elsewhere(table)
        if self.worlds:
            far = duration_text(max(world.apart_ns for world in self.worlds))
            told.append(
                f"how far two instants lie apart is known to {far} at worst ({self._doubts()}): a trial is judged as logged, "
                "and with its instants as early and as late as that allows, and its answer counts only where it is the same each "
                "time"
            )
        return told

    def _elsewhere(self, table: SignalsTable) -> Iterator[str]:
        """A word on a log of which nothing lies where the readings do."""
        begin, end = self._read()
        logs = [self._on_own_clock(table, log.t_ns) - self.origin_ns for log in self._log(table).values() if len(log.t_ns)]
        if not logs:
            return
        first, last = min(int(t_ns[0]) for t_ns in logs), max(int(t_ns[-1]) for t_ns in logs)
        what, inside = "row", first <= end and begin <= last
        if table.rows_are == "changes":  # the last instant of each is the end of the log
            what, inside = "change of its signals", any(((begin <= t) & (t <= end)).any() for t in (t_ns[:-1] for t_ns in logs))
        if not inside:
            yield self._apart(table, what, first, last)

    def listed_elsewhere(self, found: Listed) -> Iterator[str]:
        """A word on a table of presentations of which none lies where the readings do; observing refuses it."""
        begin, end = self._read()
        if self.tables.truth and len(found) and not ((found.start_ns <= end) & (begin < found.end_ns)).any():
            yield self._apart(self.tables.truth, "presentation", int(found.start_ns.min()), int(found.end_ns.max()))

    def _read(self) -> tuple[int, int]:
        """The first and the last reading."""
        if self._span is None:
            self.steps()
        assert self._span is not None
        return self._span

    def _apart(self, table: Table, what: str, first: int, last: int) -> str:
        """What an offset, a unit or a date that is wrong makes of a table."""
        (begin, end), clock = self._read(), self.tables.readings.clock
        return (
            f"{table.path}, put on the clock {clock}, has no {what} between the first and the last reading: it goes from "
            f"{_rounded(first)} to {_rounded(last)}, the readings from {_rounded(begin)} to {_rounded(end)}; "
            "an offset, a date or a unit of time may be wrong"
        )

    def _doubts(self) -> str:
        own = {table.name: (table.resolution_ns, "in steps of") for table in self.tables.signals}
        if self.tables.truth:
            own[self.tables.truth.name] = self.tables.truth.within_ns, "within"
        told = [f"{name} {word} {duration_text(ns)}" for name, (ns, word) in own.items() if ns]
        told += [f"clock {c.clock} to {c.to} within {duration_text(c.within_ns)}" for c in self.tables.clocks if c.within_ns]
        return ", ".join(told)

    def _log(self, table: SignalsTable) -> Mapping[Key, States]:
        if table.name not in self._logs:
            self._logs[table.name] = read_log(self.reader_for(table), table, Where(table.path))
        return self._logs[table.name]

    @cached_property
    def _logs(self) -> dict[str, Mapping[Key, States]]:
        return {}

    def reader_for(self, table: Table) -> Reader:
        """A reader of one of the tables. Raises `ReadingsError` where it is not as its form says."""
        if not (Path(self.suite.folder) / table.path).is_file():
            said = f"there is no file {shown(table.path)}; {shown(self.path)} needs it"
            raise readings_error(table.path, 0, f"tables.{table.name}.file", said, "no-file")
        name, reader = reader_of(Path(self.suite.folder) / table.path, table.path, table.form, self.formats)[1][0]
        agrees(reader, name, table.form, f"tables.{table.name}.unit")
        return reader

    def _first_ns(self, clock: str) -> int:
        """The first row of the first table on a clock, as in the file; read once."""
        if clock not in self._firsts:
            self._firsts[clock] = self._read_first_ns(clock)
        return self._firsts[clock]

    @cached_property
    def _firsts(self) -> dict[str, int]:
        return {}

    def _read_first_ns(self, clock: str) -> int:
        table = next(table for table in self.tables.tables if table.clock == clock)
        if isinstance(table, SignalsTable):
            return first_time(self.reader_for(table), table, Where(table.path))
        if isinstance(table, TruthTable):
            return listed.first_start(self, table.path, self._with_plain_words(table))
        pieces = self._pieces(self.layout.only(), 0)
        return next(int(piece.t_ns[0]) for piece in pieces if piece.t_ns is not None) + self.origin_ns

    def _on_own_clock(self, table: Table, t_ns: Ints) -> Ints:
        try:
            return self.way_from(table.clock).to(t_ns)
        except OverflowError as error:
            said = (
                f"put on the clock {self.tables.readings.clock}, its times lie {error}; the offset may be in a wrong unit, or "
                "leave out a date: where one clock has dates and the other counts from its start, it is as large as the date"
            )
            raise readings_error(table.path, 0, f"clocks.{table.clock}", said, "bad-value") from None

    def _with_plain_words(self, truth: TruthTable) -> RecordingForm:
        """Columns of truth that are not mapped have the plain words for their names, where they are there."""
        columns = self.reader_for(truth).columns
        named = {role: getattr(truth.form, role) or (role if role in columns else None) for role in TRUTH}
        return replace(truth.form, **named)  # type: ignore[arg-type]


def _rounded(ns: int) -> str:
    """An instant to the millisecond, which tells where a table lies."""
    return seconds(round(ns, -6))
