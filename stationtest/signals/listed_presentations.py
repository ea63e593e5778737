"""Presentations whose times are known before the stream: from a second table, or from a gate input and a list."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.errors import readings_error
from stationtest.signals.batch import TRUTH, Batch, Codes, Ints, Listed
from stationtest.signals.presentation_table import (
    FOREVER,
    Facts,
    PresentationTable,
    Ranges,
    assembled,
    joined_ranges,
    with_plateau,
)


@dataclass(slots=True)
class _Stretches:
    """The presentations and stretches between of one sensor, (M,), in order; `source` is the row of the list, -1 between."""

    start_ns: Ints
    end_ns: Ints
    source: Ints
    id: Ints
    first_row: Ints
    rows: Ints
    longest: Ints
    conditions: dict[str, Codes]


class FromList:
    """Presentations from a list. Their times are as listed, clipped to the recording; what lies outside has no rows and is cut.

    On one sensor they do not overlap (whoever made the list has checked that).
    """

    def __init__(self, facts: Facts, listed: Listed) -> None:
        self._facts, self._listed = facts, listed
        self._stretches: list[_Stretches] = []
        self._tables: dict[str, Sequence[str]] = dict(listed.tables)
        self._first_ns = self._last_ns = 0
        self._rows = 0

    @property
    def times(self) -> tuple[Ints, Ints] | None:
        """Starts and ends as listed, by id; known once the first batch has been walked over."""
        return (
            np.concatenate([stretches.start_ns for stretches in self._stretches]),
            np.concatenate([stretches.end_ns for stretches in self._stretches]),
        )

    def walk(self, batches: Iterable[Batch]) -> Iterator[tuple[Batch, Ranges]]:
        """Each batch with its ranges, in order, at once. Raises `ReadingsError` if no presentation lies in the recording."""
        for batch in batches:
            assert batch.t_ns is not None
            before_ns = self._last_ns if self._rows else int(batch.t_ns[0])
            if not self._rows:
                self._begin(batch)
            steps = np.append(np.diff(batch.t_ns, prepend=before_ns), 0)
            parts = [self._one_sensor(k, batch, steps, before_ns) for k in range(len(self._stretches))]
            self._last_ns, self._rows = int(batch.t_ns[-1]), batch.first_row + len(batch)
            yield batch, joined_ranges(parts)
        self._some_inside()

    def finish(self) -> PresentationTable:
        """All presentations of the list, and the stretches between that lie in the recording."""
        columns = [self._columns(stretches) for stretches in self._stretches]
        return assembled(self._facts, columns, self._tables, self._rows)

    def _begin(self, batch: Batch) -> None:
        assert batch.t_ns is not None
        self._first_ns = int(batch.t_ns[0])
        for name in self._facts.conditions:
            self._tables.setdefault(name, batch.tables.get(name, ()))
        next_id = 0
        for sensor in self._facts.sensors:
            stretches = self._of_sensor(sensor, next_id)
            next_id += len(stretches.id)
            self._stretches.append(stretches)

    def _of_sensor(self, sensor: str, next_id: int) -> _Stretches:
        listed = self._listed
        mine = np.arange(len(listed))
        if "sensor" in listed.codes:
            names = listed.tables["sensor"]
            mine = np.flatnonzero(listed.codes["sensor"] == (names.index(sensor) if sensor in names else -2))
        start, end, source = listed.start_ns[mine], listed.end_ns[mine], mine.astype(np.int64)
        if self._facts.between is not None:
            free_from = np.maximum(np.concatenate(([self._first_ns], end)), self._first_ns)
            free_to = np.append(start, FOREVER)
            free = free_from < free_to
            start, end = np.concatenate((start, free_from[free])), np.concatenate((end, free_to[free]))
            source = np.concatenate((source, np.full(int(free.sum()), -1)))
            order = np.argsort(start, kind="stable")
            start, end, source = start[order], end[order], source[order]
        m = len(start)
        conditions = {name: np.full(m, -1, np.int32) for name in self._facts.conditions if name not in listed.codes}
        zeros = np.zeros(m, np.int64)
        return _Stretches(start, end, source, next_id + np.arange(m), zeros - 1, zeros.copy(), zeros.copy(), conditions)

    def _one_sensor(self, k: int, batch: Batch, steps: Ints, before_ns: int) -> Ranges:
        t, own = batch.t_ns, self._stretches[k]
        assert t is not None
        n = len(t)
        here = slice(
            int(np.searchsorted(own.end_ns, before_ns, side="right")), int(np.searchsorted(own.start_ns, t[-1], side="right"))
        )
        start, end = own.start_ns[here], own.end_ns[here]
        i0, i1 = np.searchsorted(t, start), np.searchsorted(t, end)
        # every step that overlaps the stretch counts, also that to its first row and that over its end
        pairs = np.stack((np.searchsorted(t, start, side="right"), np.minimum(i1 + 1, n)), axis=1).ravel()
        if len(pairs):
            own.longest[here] = np.maximum(own.longest[here], np.maximum.reduceat(steps, pairs)[::2])
        held = i1 > i0
        new = held & (own.rows[here] == 0)
        own.first_row[here] = np.where(new, batch.first_row + i0, own.first_row[here])
        own.rows[here] += i1 - i0
        for name, column in own.conditions.items():
            if name in batch.codes:
                column[here] = np.where(new, batch.codes[name][np.minimum(i0, n - 1)], column[here])
        return with_plateau(
            t, k, i0[held], i1[held], own.id[here][held], own.source[here][held] < 0, start[held], end[held],
            self._facts.edge_ns.get(self._facts.sensors[k], 0),
        )  # fmt: skip

    def _columns(self, own: _Stretches) -> Mapping[str, NDArray]:
        listed, end_ns = self._listed, self._last_ns + self._facts.every_ns
        bare = own.source < 0
        keep = ~bare | (own.start_ns < end_ns)
        start, end, source, bare = own.start_ns[keep], own.end_ns[keep], own.source[keep], bare[keep]
        inside = (start < end_ns) & (end > self._first_ns)
        found: dict[str, NDArray] = {
            "id": own.id[keep],
            "start_ns": np.where(inside, np.maximum(start, self._first_ns), start),
            "end_ns": np.where(inside, np.minimum(end, end_ns), end),
            "first_row": own.first_row[keep],
            "rows": own.rows[keep],
            "longest": own.longest[keep],
            "gap": np.zeros(len(start), np.bool_),
            "void": np.where(bare, False, listed.void[source]),
            # a stretch between that reaches to an end of the recording is cut there, and so is a presentation that goes on
            "cut_start": np.where(bare, start <= self._first_ns, start < self._first_ns),
            "cut_end": np.where(bare, end >= end_ns, end > end_ns),
        }
        nothing = np.full(len(source), -1, np.int32)
        for name in (*TRUTH[:-1], *self._facts.conditions):
            if name in listed.codes:
                found[name] = np.where(bare, -1, listed.codes[name][source])
            else:
                found[name] = own.conditions[name][keep] if name in own.conditions else nothing
        return found

    def _some_inside(self) -> None:
        if not len(self._listed) or any((own.rows[own.source >= 0] > 0).any() for own in self._stretches):
            return
        listed = self._listed
        said = f"none of the {len(listed)} presentations lies in the recording"
        times = f"they run from {listed.start_ns.min() / 1e9:.3f} s to {listed.end_ns.max() / 1e9:.3f} s"
        theirs = f"its rows from {self._first_ns / 1e9:.3f} s to {self._last_ns / 1e9:.3f} s"
        raise readings_error(listed.path, 0, "presentations.time", f"{said}: {times}, {theirs}", "bad-presentation")
