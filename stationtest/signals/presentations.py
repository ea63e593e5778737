"""Presentations from a stream of batches: from its truth columns, or from a list with times.

    builder = builder_for(recording's facts …)
    for batch, ranges in builder.walk(recording.batches()):
        for each range k: rows [ranges.i0[k], ranges.i1[k]) of the batch belong to presentation ranges.id[k],
                          rows [ranges.p0[k], ranges.p1[k]) of it are plateau
    table = builder.finish()            # sorted; table.ids says which id each of its rows had while streaming

Ids count from 0 in order of appearance, so numbers gathered while streaming are kept in arrays by id and put in order at the end
by `gathered[table.ids]`. The rows of a range are consecutive; ranges of one sensor are in order and do not overlap, those of
several sensors may. Ranges are handed out sensor by sensor.

The plateau is [start + edge, end - edge), but the end of a presentation is known only once it has ended. `walk` therefore hands a
batch on only when the plateau of each of its rows is settled: a presentation that is still open lasts longer than the last time
seen, so all that lies more than an edge before that is plateau whatever follows. As a batch is far longer than an edge, `walk` is
at most a batch behind, and not behind at all where the edge is 0 or presentations come from a list. The ranges are exact and do
not depend on the cut.

Presentations end with the time of the first row after them; the last one `every` after the last row; one that is followed by a
gap at most `gap` after its last row. Stretches between presentations of a sensor become presentations of the station's `between`
target, where that is declared.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from stationtest.signals.batch import TRUTH, Batch, Codes, Ints, Listed, of_sensor
from stationtest.signals.listed_presentations import FromList
from stationtest.signals.presentation_table import (
    FOREVER,
    NOBODY,
    Facts,
    PresentationTable,
    Ranges,
    assembled,
    joined_ranges,
    with_plateau,
)

__all__ = ["Facts", "FromColumns", "FromList", "PresentationBuilder", "PresentationTable", "Ranges", "builder_for"]

class PresentationBuilder(Protocol):
    """Either kind of builder."""

    @property
    def times(self) -> tuple[Ints, Ints] | None:
        """Starts and ends by id where a list says them, None where the rows do."""

    def walk(self, batches: Iterable[Batch]) -> Iterator[tuple[Batch, Ranges]]:
        """Each batch with its ranges, in order."""

    def finish(self) -> PresentationTable:
        """All presentations, after the last batch."""


def builder_for(facts: Facts, listed: Listed | None = None) -> PresentationBuilder:
    """A builder from the truth columns of the batches, or from a list with times where there is one."""
    return FromColumns(facts) if listed is None else FromList(facts, listed)


@dataclass(slots=True)
class _Open:
    """The stretch of one sensor that is still under way; `id` is NOBODY for a stretch between that nobody asked for."""

    id: int
    codes: tuple[int, ...]
    start_ns: int
    first_row: int
    longest_ns: int
    after_gap: bool


@dataclass(slots=True)
class _Found:
    """Ranges of one sensor in one batch before their plateau is known: `end_ns` of the last is -1 while it is open."""

    i0: Ints
    i1: Ints
    id: Ints
    between: NDArray[np.bool_]
    start_ns: Ints
    end_ns: Ints


class FromColumns:
    """Presentations from the truth columns: a new one begins where one of them changes, or after an empty row.

    Several sensors: a row belongs to the sensor that its `sensor` column names; for every other sensor nothing is presented then.
    Where sensors have target columns of their own, one without has no presentations and no stretches between: nobody says what is
    before it.
    """

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self._names: list[str] = []  # what the recording has columns of, target first, then the other truth, then conditions
        self._keys: list[list[str | None]] = []  # for each sensor, where each of these stands in a batch
        self._open: list[_Open | None] = [None] * len(facts.sensors)
        self._closed: list[list[dict[str, NDArray]]] = [[] for _ in facts.sensors]
        self._ends: dict[int, int] = {}
        self._next_id = 0
        self._told: list[bool] = []  # for each sensor, whether the recording says what is before it
        self._last_ns: int | None = None
        self._rows = 0
        self._tables: Mapping[str, list[str]] = {}

    times: tuple[Ints, Ints] | None = None

    def walk(self, batches: Iterable[Batch]) -> Iterator[tuple[Batch, Ranges]]:
        """Each batch with its ranges, in order, as soon as their plateaus are settled."""
        waiting: deque[tuple[Batch, list[_Found]]] = deque()
        for batch in batches:
            waiting.append((batch, self._add(batch)))
            while waiting and self._settled(*waiting[0]):
                yield self._ranges(*waiting.popleft())
        self._close_all()
        while waiting:
            yield self._ranges(*waiting.popleft())

    def finish(self) -> PresentationTable:
        """All presentations that were walked over."""
        columns = [_whole(chunks) for chunks in self._closed]
        return assembled(self._facts, columns, self._in_one(columns), self._rows)

    def _in_one(self, columns: Sequence[dict[str, NDArray]]) -> Mapping[str, list[str]]:
        """One table of words for each name. Where sensors have columns of their own it is made of theirs, sensor by sensor, and
        the codes follow: a word that two of them use is one."""
        tables = dict(self._tables)
        for at, name in enumerate(self._names):
            words: list[str] = []
            for keys, column in zip(self._keys, columns, strict=True):
                if (key := keys[at]) in (None, name) or not column:
                    continue
                own = self._tables[key]
                words += [word for word in own if word not in words]
                column[name] = np.array([*map(words.index, own), -1], np.int32)[column[name]]
                tables[name] = words
        return tables

    def _add(self, batch: Batch) -> list[_Found]:
        assert batch.t_ns is not None
        t, n = batch.t_ns, len(batch)
        self._tables = batch.tables
        if not self._rows:
            self._begin(batch)
        steps = np.zeros(n + 1, np.int64)
        np.subtract(t[1:], t[:-1], out=steps[1:n])
        if self._last_ns is not None:
            steps[0] = t[0] - self._last_ns
        found = []
        empty = np.full(n, -1, np.int32)
        for k, sensor in enumerate(self._facts.sensors):
            target, *others = (empty if key is None else batch.codes[key] for key in self._keys[k])
            if "sensor" in batch.codes:
                names = batch.tables["sensor"]
                mine = names.index(sensor) if sensor in names else -2
                target = np.where(batch.codes["sensor"] == mine, target, np.int32(-1))
            found.append(self._one_sensor(k, t, steps, [target, *others], batch.first_row))
        self._last_ns = int(t[-1])
        self._rows = batch.first_row + n
        return found

    def _begin(self, batch: Batch) -> None:
        """Which columns there are, by sensor."""
        wanted, sensors = [*TRUTH[:-1], *self._facts.conditions], self._facts.sensors
        own = [{name: of_sensor(name, sensor) for name in wanted if of_sensor(name, sensor) in batch.codes} for sensor in sensors]
        apart = {name for columns in own for name in columns}
        self._names = [name for name in wanted if name in batch.codes or name in apart or name == "target"]
        self._keys = [[columns.get(name, name if name in batch.codes else None) for name in self._names] for columns in own]
        self._told = ["target" in columns or "target" in batch.codes for columns in own]

    def _one_sensor(self, k: int, t: Ints, steps: Ints, codes: list[Codes], first_row: int) -> _Found:
        n, truth = len(t), sum(name in TRUTH for name in self._names)
        going, gap_ns = self._open[k], self._facts.gap_ns
        starts = _changes(codes[:truth], None if going is None else going.codes[:truth])
        # a step belongs to the stretch of the row before it, so it also ends a stretch: (start, next start]
        longest = np.maximum.reduceat(steps, np.concatenate(([0], starts + 1)))
        before = np.empty(len(starts), np.int64)  # time of the row before each start
        before[:] = t[starts - 1]
        if len(starts) and starts[0] == 0:
            before[0] = t[0] if self._last_ns is None else self._last_ns
        target = codes[0][starts]
        asked = np.full(len(starts), True) if self._facts.between is not None and self._told[k] else target >= 0
        ids = np.where(asked, self._next_id + np.cumsum(asked) - 1, NOBODY)
        self._next_id += int(asked.sum())

        begin_ns, begin_row = t[starts], first_row + starts.astype(np.int64)
        close_ns = np.minimum(begin_ns, before + gap_ns)  # end of the stretch before each start
        after_gap = steps[starts] > gap_ns
        if going is not None:
            going.longest_ns = max(going.longest_ns, int(longest[0]))
            if len(starts):
                self._close(k, going, int(close_ns[0]), int(begin_row[0]))
        if len(starts) > 1:
            self._closed[k].append(
                self._columns(
                    [column[starts[:-1]] for column in codes],
                    *(ids[:-1], begin_ns[:-1], close_ns[1:], begin_row[:-1], np.diff(begin_row), longest[1:-1], after_gap[:-1]),
                )
            )
        if len(starts):
            last = int(starts[-1])
            here = tuple(int(column[last]) for column in codes)
            self._open[k] = _Open(
                int(ids[-1]), here, int(t[last]), int(begin_row[-1]), int(longest[-1]), bool(after_gap[-1])
            )

        head = going is not None and (not len(starts) or starts[0] > 0)
        i0 = np.concatenate(([0], starts)) if head else starts.astype(np.int64)
        all_ids = np.concatenate(([going.id], ids)) if head and going is not None else ids
        all_starts = np.concatenate(([going.start_ns], begin_ns)) if head and going is not None else begin_ns
        bare = np.concatenate(([going.codes[0] < 0], target < 0)) if head and going is not None else target < 0
        ends = np.append(close_ns if head else close_ns[1:], -1)
        keep = all_ids != NOBODY
        i1 = np.append(i0[1:], n)
        return _Found(i0[keep], i1[keep], all_ids[keep], bare[keep], all_starts[keep], ends[keep])

    def _columns(self, codes: Sequence[NDArray], *columns: NDArray) -> dict[str, NDArray]:
        keys = ("id", "start_ns", "end_ns", "first_row", "rows", "longest", "gap")
        return dict(zip((*keys, *self._names), (*columns, *codes), strict=True))

    def _close(self, k: int, going: _Open, end_ns: int, end_row: int) -> None:
        rows = end_row - going.first_row
        values = (going.id, going.start_ns, end_ns, going.first_row, rows, going.longest_ns, going.after_gap)
        codes = [np.array([code], np.int32) for code in going.codes]
        self._closed[k].append(self._columns(codes, *(np.array([value]) for value in values)))
        self._ends[going.id] = end_ns

    def _close_all(self) -> None:
        for k, going in enumerate(self._open):
            if going is not None and self._last_ns is not None:
                going.longest_ns = max(going.longest_ns, self._facts.every_ns)
                self._close(k, going, self._last_ns + self._facts.every_ns, self._rows)
        self._open = [None] * len(self._open)

    def _settled(self, batch: Batch, found: list[_Found]) -> bool:
        assert batch.t_ns is not None and self._last_ns is not None
        for sensor, ranges in zip(self._facts.sensors, found, strict=True):
            edge = self._facts.edge_ns.get(sensor, 0)
            still_open = len(ranges.id) > 0 and ranges.end_ns[-1] == -1 and int(ranges.id[-1]) not in self._ends
            if still_open and edge and self._last_ns - edge < batch.t_ns[-1]:
                return False
        return True

    def _ranges(self, batch: Batch, found: list[_Found]) -> tuple[Batch, Ranges]:
        assert batch.t_ns is not None
        parts = []
        for k, (sensor, ranges) in enumerate(zip(self._facts.sensors, found, strict=True)):
            ends = ranges.end_ns.copy()
            if len(ends) and ends[-1] == -1:
                ends[-1] = self._ends.get(int(ranges.id[-1]), FOREVER)  # still open, and longer than an edge beyond this batch
            parts.append(with_plateau(batch.t_ns, k, ranges.i0, ranges.i1, ranges.id, ranges.between, ranges.start_ns, ends,
                                      self._facts.edge_ns.get(sensor, 0)))  # fmt: skip
        return batch, joined_ranges(parts)


def _changes(codes: Sequence[Codes], before: tuple[int, ...] | None) -> Ints:
    """Rows (S,) at which a new stretch begins; `before` are the codes of the row before, None at the recording's first row.

    Where nothing is presented, the other columns do not matter.
    """
    target, *others = codes
    change = np.empty(len(target), np.bool_)
    np.not_equal(target[1:], target[:-1], out=change[1:])
    change[0] = before is None or target[0] != before[0]
    for position, column in enumerate(others, 1):
        differs = column[1:] != column[:-1]
        if differs.any():
            change[1:] |= differs & (target[1:] >= 0)
        if before is not None and column[0] != before[position] and target[0] >= 0:
            change[0] = True
    return np.flatnonzero(change)


def _whole(chunks: Sequence[Mapping[str, NDArray]]) -> dict[str, NDArray]:
    return {key: np.concatenate([chunk[key] for chunk in chunks]) for key in chunks[0]} if chunks else {}
