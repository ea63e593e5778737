"""A recorded file, or a folder of its parts, streamed as batches on a fixed grid of rows."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from stationtest.errors import readings_error
from stationtest.model.case import Suite
from stationtest.model.events import Event
from stationtest.model.parts import ReadingFormatPart
from stationtest.model.recording_form import RecordingForm
from stationtest.model.travel import Travel
from stationtest.signals.batch import GRID, Batch, Listed, on_grid
from stationtest.sources import times
from stationtest.sources.ahead import ahead
from stationtest.sources.belt_column import BeltColumn
from stationtest.sources.checks import Where, strictly_rising
from stationtest.sources.formats import Reader
from stationtest.sources.layout import Layout, layout, travel_of
from stationtest.sources.turns import Turns

if TYPE_CHECKING:
    from stationtest.sources.logged import Key, Logged
    from stationtest.sources.worlds import World


class Recording:
    """One recording, opened. It can be read any number of times; `codes` are the same each time.

    `sensors` are those whose columns are there. `origin` is ISO 8601 text of the first row where the file's times are dates, else
    None; all times are nanoseconds since then, or as in the file. `only` names the one sensor to be taken from the file.
    """

    kind = "recording"
    events: tuple[Event, ...] = ()

    def __init__(
        self,
        suite: Suite,
        path: str,
        form: RecordingForm,
        part: ReadingFormatPart,
        readers: list[tuple[str, Reader]],
        formats: Mapping[str, ReadingFormatPart],
        only: str | None = None,
    ) -> None:
        self.suite, self.path, self.form, self.formats = suite, path, form, formats
        self.reader: dict[str, Any] = {"name": part.name, "version": part.version, **readers[0][1].facts}
        self.simulated = any("simulated" in reader.facts for _, reader in readers)
        hints = [reader.rows_hint for _, reader in readers]
        self.rows_hint: int | None = None if None in hints else sum(hint for hint in hints if hint is not None)
        self._readers = readers
        self._first_rows = [0]  # of each part, as far as known
        self._cells: list[int] = []  # time of the first row of each grid cell, as far as known
        self._seen_whole = False
        for name, reader in readers:
            found = layout(suite.station, form, reader.columns, Where(name), only)
            self.layout: Layout = found if name == readers[0][0] else self.layout
        self.sensors = tuple(sensor.name for sensor in self.layout.sensors)
        self.travel = self._travel()
        self._turns = Turns.of(form)
        self.origin_ns, self.origin = 0, None
        if not self.layout.trials:
            self.origin_ns, self.origin = self._origin()

    def _travel(self) -> Travel | None:
        """How the belt moves in this recording; None where it has not what that needs."""
        travel = travel_of(self.suite.station, self.form)
        if travel is None or travel.speed_nm_s is not None:
            return travel
        if travel.input is not None:
            return travel if self._counted(travel.input) else None
        return self.layout.travel

    def _counted(self, name: str) -> bool:
        """Whether this recording has an input."""
        return any(one.name == name for one in self.form.inputs)

    def batches(self) -> Iterator[Batch]:
        """The whole stream in grid cells. Every row is checked; the file is decoded ahead of the caller in another thread."""
        yield from self._on_grid(self.layout, 0, note=True)
        pa.default_memory_pool().release_unused()  # what decoding took is given back before the observations need it

    def seek(self, start_ns: int, end_ns: int) -> Iterator[Batch]:
        """The grid cells that hold rows of [start, end), read again."""
        if not self._seen_whole:
            for _ in self._on_grid(self.layout.only(), 0, note=True):
                pass
        cell = max(bisect_right(self._cells, start_ns) - 1, 0)
        for batch in self._on_grid(self.layout, cell * GRID):
            if batch.t_ns is None or batch.t_ns[0] >= end_ns:
                return
            yield batch

    def trials(self) -> Batch:
        """All rows of a table of hand trials, as one batch without times."""
        from stationtest.sources.trials import whole_table

        return whole_table(self._pieces(self.layout, 0), self.path)

    def listed(self, world: World | None = None) -> Listed | None:
        """Presentations from a second table, or from a gate and a list; None where they stand in a column of the recording."""
        from stationtest.sources.listed import from_gate, from_table

        if self.form.gate is not None:
            return from_gate(self, self.form.gate)
        if self.form.presentations_path is not None:
            return from_table(self)
        return None

    def logged(self, world: World | None = None) -> Mapping[Key, Logged]:
        """Signals that stand in tables of their own, by kind and name."""
        return {}

    worlds: Sequence[World] = ()
    """The ways in which its instants may lie otherwise than they are logged."""
    truth_within_ns = 0
    """How well the start and the end of a presentation are known against the readings."""
    composed_of: dict[str, Any] | None = None
    """Its tables, clocks and signals, where it has several tables."""

    @property
    def notes(self) -> list[str]:
        """What a reader of verdicts must know of how the recording was written."""
        return []

    def gate_pass(self, name: str) -> Iterator[Batch]:
        """Times and one input only, for a pass that finds when things were put through."""
        return self._on_grid(self.layout.only((name,)), 0)

    def truth_pass(self) -> Iterator[Batch]:
        """Times and what was presented only, for a look at truth that needs no reading."""
        return self._on_grid(replace(self.layout, sensors=(), digital=(), travel=None), 0)

    def _on_grid(self, wanted: Layout, from_row: int, *, note: bool = False) -> Iterator[Batch]:
        note = note and not self._seen_whole
        cells: list[int] = []
        batch = None
        for batch in on_grid(self._pieces(wanted, from_row)):
            if batch.t_ns is not None:
                if batch.first_row == 0:
                    times.plausible(batch.t_ns, self.form, self._where(0, 0))
                cells.append(int(batch.t_ns[0]))
            yield batch
        if batch is None:
            raise readings_error(self.path, 0, "", "the recording has no rows", "empty-recording")
        if note:
            self._cells, self._seen_whole = cells, True

    def _pieces(self, wanted: Layout, from_row: int, *, most_ahead: int = 2) -> Iterator[Batch]:
        """Checked pieces of the file from a row on, cut as the file is; so many of them are decoded ahead."""
        begin_part = bisect_right(self._first_rows, from_row) - 1
        row, last_ns, before = self._first_rows[begin_part], None, None
        way = BeltColumn(wanted.travel, wanted.travel.column) if wanted.travel and wanted.travel.column else None
        for k in range(begin_part, len(self._readers)):
            base = row
            if k == len(self._first_rows):
                self._first_rows.append(base)
            # the decoder leaves the interpreter to us; checking in a second thread as well costs more than it gains
            for begin, table in ahead(self._readers[k][1].tables(wanted.wanted, max(from_row - base, 0)), most_ahead):
                piece = wanted.batch(base + begin, table, self._where(k, begin), self.origin_ns, way)
                row = base + begin + len(piece)
                if self._turns is not None and piece.t_ns is not None and len(piece):
                    raw, where = piece.t_ns + self.origin_ns, self._where(k, begin)
                    piece = replace(piece, t_ns=self._turns.add(raw, piece.first_row, before, where) - self.origin_ns)
                    before = int(raw[-1])
                if piece.t_ns is not None and len(piece):
                    strictly_rising(piece.t_ns, last_ns, self._where(k, begin))
                    last_ns = int(piece.t_ns[-1])
                if row > from_row:
                    yield piece.part(from_row - piece.first_row, len(piece)) if piece.first_row < from_row else piece

    def _where(self, part: int, begin: int) -> Where:
        name, reader = self._readers[part]
        return Where(name, begin, reader.line)

    def _origin(self) -> tuple[int, str | None]:
        """What is taken off every time, and its text. Dates, and counts too large to be from a start, begin at the first row."""
        for piece in self._pieces(self.layout.only(), 0, most_ahead=1):
            if piece.t_ns is not None and len(piece):
                first = int(piece.t_ns[0])
                if self.form.time_in in (times.ISO, times.TIME_OF_DAY) or abs(first) >= times.LARGEST_NS:
                    return first, times.iso_text(first)
                return 0, None
        return 0, None


def grid_rows(t_ns: np.ndarray, start_ns: int, end_ns: int) -> tuple[int, int]:
    """Rows [i0, i1) of a batch that lie in [start, end)."""
    i0, i1 = np.searchsorted(t_ns, (start_ns, end_ns)).tolist()
    return i0, i1
