"""A column that counts how far the belt has moved: counts to nanometres since the first row, turns of the counter included."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stationtest.files.words import number_text
from stationtest.model.travel import Travel
from stationtest.sources.checks import Where

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


class BeltColumn:
    """One pass over the column, piece by piece. A count may tremble back by one step, where the belt then stands; further back it
    is refused, since a way that shrinks is no clock."""

    def __init__(self, travel: Travel, column: str) -> None:
        self.travel, self.column = travel, column
        self._last: float | None = None
        self._last_ns = 0
        self._way = 0.0  # counts since the first row
        self._farthest = 0.0

    def moved(self, counts: Floats, t_ns: Ints | None, gap_ns: int | None, where: Where) -> Ints:
        """How far the belt has moved at each row (n,), in nm; it never falls."""
        if not len(counts) or t_ns is None:
            return np.zeros(len(counts), np.int64)
        steps = np.diff(counts, prepend=counts[0] if self._last is None else self._last)
        if (turn := self.travel.wraps_at) is not None:
            self._in_range(counts, turn, where)
            waits = np.diff(t_ns, prepend=t_ns[0] if self._last is None else self._last_ns)
            forward = steps % turn  # after a gap the belt has moved on, never back
            half = forward - turn * (forward > turn / 2)
            steps = np.where(waits > gap_ns, forward, half) if gap_ns else half
        way = np.cumsum(np.concatenate(([self._way], steps)))[1:]
        farthest = np.maximum.accumulate(np.concatenate(([self._farthest], way)))[1:]
        step = (self.travel.within_nm or self.travel.per_count_nm) / self.travel.per_count_nm
        back = farthest - way
        if (bad := back > step * (1 + 1e-9)).any():
            index = int(np.argmax(bad))
            more = "" if turn is not None else "; a counter that starts again at 0 needs `wraps_at`"
            said = f"the position of the belt goes back by {number_text(float(back[index]))} counts in column {self.column}{more}"
            where.refuse(index, "travel.column", said)
        self._last, self._last_ns = float(counts[-1]), int(t_ns[-1])
        self._way, self._farthest = float(way[-1]), float(farthest[-1])
        return np.rint(farthest * self.travel.per_count_nm).astype(np.int64)

    def _in_range(self, counts: Floats, turn: float, where: Where) -> None:
        beyond = (counts < 0) | (counts >= turn)
        if beyond.any():
            index = int(np.argmax(beyond))
            found = number_text(float(counts[index]))
            said = f"column {self.column} holds {found}, and the count starts again at {number_text(turn)}"
            where.refuse(index, "travel.wraps_at", said)
