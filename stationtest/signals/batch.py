"""What sources of readings hand to signals: batches of rows as columns, and a list of presentations with their times.

Plain arrays, so that a simulated source can hand over the same. Times are int64 nanoseconds since the recording's origin.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Codes = NDArray[np.int32]

GRID = 65_536
"""Rows of a batch. Batches are cut every so many rows from the recording's start, whatever the file's own parts, so that no
number depends on how the file was cut."""

UNKNOWN = "?"
"""The target that says 'what was presented is not known'."""

TRUTH = ("target", "specimen", "set", "item", "sensor")
"""The columns that say what is presented; a change in one of them begins a new presentation."""


def of_sensor(role: str, sensor: str) -> str:
    """The key among codes and tables of a column of truth that speaks of one sensor only. No name holds a control character, so
    no condition has this key."""
    return f"{role}\n{sensor}"


def spoken(key: str) -> str:
    """A key among codes as a person would say it: `target`, `target of lid`."""
    return key.replace("\n", " of ")


@dataclass(frozen=True, slots=True)
class Batch:
    """Consecutive rows of a recording, n of them; every array has shape (n,).

    `first_row` counts the recording's rows from 0. `t_ns` (int64) is strictly rising, None for hand trials. `bands` holds, for
    each sensor by name, its bands as float64, as in the file. `digital` is keyed by ('input' | 'channel' | 'output', name):
    bool; in hand trials int8, -1 where nothing was noted. `codes` (int32) holds for target, specimen, set, item, sensor
    and each condition by name, and for a column of one sensor by `of_sensor`, the index into `tables[name]`, -1 where the cell is
    empty. The tables grow while a recording is
    read and are shared by all its batches. `position_nm` (int64) is how far the belt has moved since the first row, where a
    column says it.
    """

    first_row: int
    t_ns: Ints | None
    bands: Mapping[str, tuple[NDArray[np.float64], ...]] = field(default_factory=dict)
    digital: Mapping[tuple[str, str], NDArray[np.bool_] | NDArray[np.int8]] = field(default_factory=dict)
    codes: Mapping[str, Codes] = field(default_factory=dict)
    tables: Mapping[str, list[str]] = field(default_factory=dict)
    rows: int = 0
    position_nm: Ints | None = None

    def __len__(self) -> int:
        return self.rows

    def target_before(self, sensor: str, row: int) -> str:
        """What is presented to a sensor in a row in which something is."""
        own = of_sensor("target", sensor)
        key = own if own in self.codes else "target"
        return self.tables[key][self.codes[key][row]]

    def part(self, begin: int, end: int) -> Batch:
        """Rows [begin, end) of this batch, without a copy."""
        return Batch(
            self.first_row + begin,
            None if self.t_ns is None else self.t_ns[begin:end],
            {name: tuple(band[begin:end] for band in bands) for name, bands in self.bands.items()},
            {key: column[begin:end] for key, column in self.digital.items()},
            {name: column[begin:end] for name, column in self.codes.items()},
            self.tables,
            end - begin,
            None if self.position_nm is None else self.position_nm[begin:end],
        )


def joined(batches: Sequence[Batch]) -> Batch:
    """Consecutive batches as one."""
    first = batches[0]
    if len(batches) == 1:
        return first
    return Batch(
        first.first_row,
        None if first.t_ns is None else np.concatenate([b.t_ns for b in batches if b.t_ns is not None]),
        {
            name: tuple(np.concatenate([b.bands[name][band] for b in batches]) for band in range(len(bands)))
            for name, bands in first.bands.items()
        },
        {key: np.concatenate([b.digital[key] for b in batches]) for key in first.digital},
        {name: np.concatenate([b.codes[name] for b in batches]) for name in first.codes},
        first.tables,
        sum(len(b) for b in batches),
        None if first.position_nm is None else np.concatenate([b.position_nm for b in batches if b.position_nm is not None]),
    )


def on_grid(batches: Iterable[Batch], rows: int = GRID) -> Iterator[Batch]:
    """The same rows, cut where the row number is a multiple of `rows`. A batch that fits already is handed on as it is."""
    held: list[Batch] = []
    for batch in batches:
        while len(batch):
            room = rows - batch.first_row % rows
            if len(batch) < room:
                held.append(batch)
                break
            whole = len(batch) == room
            yield joined([*held, batch if whole else batch.part(0, room)])
            held = []
            if whole:
                break
            batch = batch.part(room, len(batch))
    if held:
        yield joined(held)


@dataclass(frozen=True, slots=True)
class Listed:
    """Presentations with their times (N,), from a second table or from a gate and a list; sorted by start, then sensor.

    `codes` and `tables` as in `Batch`. `rows` are lines of the file `path`, for messages. `void` (N,): declared void by whoever
    made the list. `expected` is how many the list has, where that is another number; `notes` say what does not fit.
    """

    path: str
    start_ns: Ints
    end_ns: Ints
    codes: Mapping[str, Codes]
    tables: Mapping[str, list[str]]
    rows: Ints
    void: NDArray[np.bool_]
    expected: int | None = None
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.start_ns)

    def moved(self, start_ns: int, end_ns: int, all_ns: int) -> Listed:
        """The same with every start and every end earlier or later, and all of them by `all_ns`; neighbours on one sensor that
        would meet meet half-way, and those that touch go on touching."""
        start, end = self.start_ns.copy(), self.end_ns.copy()
        sensor = self.codes.get("sensor", np.zeros(len(self), np.int32))
        for code in np.unique(sensor).tolist():
            mine = np.flatnonzero(sensor == code)
            a, b = self.start_ns[mine], self.end_ns[mine]
            half = (a + b) // 2
            early, late = a + start_ns, b + end_ns
            if start_ns > end_ns:
                early, late = np.minimum(early, half), np.maximum(late, half + 1)
            between, touch = (b[:-1] + a[1:]) // 2, b[:-1] == a[1:]
            if end_ns > start_ns:
                late[:-1], early[1:] = np.minimum(late[:-1], between), np.maximum(early[1:], between + 1)
            late[:-1] = np.where(touch, np.minimum(a[1:] + start_ns, late[1:] - 1), late[:-1])
            early[1:] = np.where(touch, late[:-1], early[1:])
            start[mine], end[mine] = early + all_ns, late + all_ns
        return replace(self, start_ns=start, end_ns=end)

    def of_sensors(self, names: Sequence[str]) -> Listed:
        """Those before one of these sensors; all of them where the list names no sensor."""
        if "sensor" not in self.codes:
            return self
        mine = [code for code, name in enumerate(self.tables["sensor"]) if name in names]
        kept = np.isin(self.codes["sensor"], mine)
        codes = {name: column[kept] for name, column in self.codes.items()}
        return Listed(
            self.path, self.start_ns[kept], self.end_ns[kept], codes, self.tables, self.rows[kept], self.void[kept]
        )  # fmt: skip
