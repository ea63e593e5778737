"""Times that start again: a counter that wraps, and the time of day past midnight. Both are declared; neither is guessed.

A fall by more than half a turn is a new turn; a smaller one is a time that goes back, and is refused as ever.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from stationtest.model.recording_form import RecordingForm
from stationtest.sources import times
from stationtest.sources.checks import Where, seconds

Ints = NDArray[np.int64]


class Turns:
    """The times of one table, taken in order the first time. From then on any stretch of rows can be taken, since the rows at
    which a turn begins are known."""

    def __init__(self, form: RecordingForm, key: str = "time") -> None:
        self.form, self.key = form, key
        self.turn_ns = times.DAY_NS if form.time_in == times.TIME_OF_DAY else form.wraps_ns or 0
        self.begin_at: list[int] = []  # rows at which a turn begins

    @classmethod
    def of(cls, form: RecordingForm, key: str = "time") -> Turns | None:
        """None where times do not start again."""
        return cls(form, key) if form.wraps_ns or form.time_in == times.TIME_OF_DAY else None

    def add(self, t_ns: Ints, first_row: int, before_ns: int | None, where: Where) -> Ints:
        """Times (n,) as in the file to times that go on; `before_ns` is that of the row before, as in the file."""
        if len(t_ns) and (over := (t_ns >= self.turn_ns) | (t_ns < 0)).any():
            at = int(np.argmax(over))
            said = f"{seconds(int(t_ns[at]))} is not below the turn of {seconds(self.turn_ns)}"
            where.refuse(at, f"{self.key}.wraps_at", said, "bad-value")
        before = np.concatenate(([t_ns[0] if before_ns is None else before_ns], t_ns[:-1])) if len(t_ns) else t_ns
        for row in (np.flatnonzero(before - t_ns > self.turn_ns // 2) + first_row).tolist():
            if not self.begin_at or row > self.begin_at[-1]:
                self.begin_at.append(row)
        turns = np.searchsorted(self.begin_at, np.arange(first_row, first_row + len(t_ns)), "right").astype(np.int64)
        return self._dated(t_ns + turns * self.turn_ns, where)

    def beside(self, end_ns: Ints, start_ns: Ints, started_ns: Ints) -> Ints:
        """Ends of stretches that start at `start_ns` in the file and, going on, at `started_ns`; each less than a turn long."""
        return started_ns + (end_ns - start_ns) % self.turn_ns

    def _midnight(self) -> int:
        """The first date, in ns since 1970; 0 for a counter."""
        if self.form.time_in != times.TIME_OF_DAY:
            return 0
        return int(np.datetime64(self.form.first_date, "ns").astype(np.int64))

    def _dated(self, t_ns: Ints, where: Where) -> Ints:
        """Of the time of day: with its date, and in the declared zone."""
        t_ns = t_ns + self._midnight()
        if self.form.time_in != times.TIME_OF_DAY or not self.form.zone:
            return t_ns
        local = pa.array(t_ns, pa.timestamp("ns"))
        return times.plain_ns(times.in_zone(local, self.form.zone, where, self.key))
