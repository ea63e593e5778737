"""Where the belt was, streamed: from the pulses of an encoder, from a counted position, or from a stated speed.

Only points of the way are kept: every pulse, or every count, thinned as far as straight lines between them allow. Batches come in
order on the fixed grid of rows, so that the points do not depend on how the recording was cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from stationtest.model.travel import Belt, Travel
from stationtest.signals import intervals
from stationtest.signals.travel import thinned

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]


class BeltPoints:
    """Collects the points of one recording: `add` batch by batch, then `finish`."""

    def __init__(self, travel: Travel) -> None:
        self.travel = travel
        self._at: list[tuple[Ints, Ints]] = []
        self._lost: list[Ints] = []
        self._first_ns: int | None = None
        self._rows = 0
        self._pulses = 0
        self._was_on = False
        self._changed: tuple[int, int] = (-2, 0)  # row and instant of the last change of the pulse input

    def add(self, t_ns: Ints, values: NDArray[Any] | None, breaks: Sequence[int], gap_ends: Sequence[int]) -> None:
        """The next rows: times (n,) and, by the kind of travel, the pulse input (bool), the position in nm (rising), or None.

        Readings are missing before each row of `breaks`, from the instant in `gap_ends` on.
        """
        gaps = np.array([gap_ends, t_ns[list(breaks)]], np.int64).reshape(2, -1).T
        if self._first_ns is None:
            self._first_ns = int(t_ns[0])
            self._keep(t_ns[:1], np.zeros(1, np.int64) if self.travel.column is None or values is None else values[:1])
            if values is not None and self.travel.input:
                self._was_on = bool(values[0])
        if self.travel.input and values is not None:
            self._lost.append(gaps)
            self._count(t_ns, values, breaks)
        elif self.travel.column and values is not None:
            if self.travel.wraps_at is not None:
                self._lost.append(gaps)  # the count may have started again more than once
            for low, high in zip([0, *breaks], [*breaks, len(t_ns)], strict=True):
                kept = thinned(t_ns[low:high], values[low:high], self.travel.step_nm) + low
                self._keep(t_ns[kept], values[kept])
        self._rows += len(t_ns)

    def add_pulses(self, on: Ints, unknown: Ints) -> None:
        """All pulses of a log (n, 2), and where it does not know them (m, 2)."""
        self._lost.append(unknown)
        rises = on[on[:, 0] > (self._first_ns or 0), 0]
        if len(rises):
            x = np.arange(1, len(rises) + 1) * self.travel.per_pulse_nm
            kept = thinned(rises, x, self._thinned_by_nm)
            self._keep(rises[kept], x[kept])

    def finish(self, end_ns: int) -> Belt:
        """The belt from the first row to `end_ns`."""
        travel, first = self.travel, self._first_ns or 0
        if travel.speed_nm_s is not None:
            way = round(travel.speed_nm_s * (end_ns - first) / 1e9)
            ends = np.array([[first, end_ns], [0, way]], np.int64)
            return Belt(at_ns=ends[0], at_nm=ends[1], doubt_share=travel.within, lost_ns=intervals.empty())
        at_ns = np.concatenate([*(t for t, _ in self._at), [end_ns]]).astype(np.int64)
        at_nm = np.concatenate([*(x for _, x in self._at), self._at[-1][1][-1:]]).astype(np.int64)
        once = np.append(True, np.diff(at_ns) > 0)
        lost = intervals.merge(np.concatenate([intervals.empty(), *self._lost]))
        return Belt(at_ns=at_ns[once], at_nm=at_nm[once], doubt_nm=self.travel.step_nm + self._thinned_by_nm, lost_ns=lost)

    @property
    def _thinned_by_nm(self) -> int:
        """A pulse stands for an exact position, so its points need little room; a count is anywhere within its step."""
        return self.travel.step_nm // 4 if self.travel.input else self.travel.step_nm

    def _count(self, t_ns: Ints, on: NDArray[Any], breaks: Sequence[int]) -> None:
        """Rising edges are steps. A level of one row only says that pulses come as fast as rows: some may have been missed."""
        before = np.concatenate(([self._was_on], on[:-1])).astype(bool)
        before[list(breaks)] = on[list(breaks)]  # what happened in a gap is lost, and no edge
        rises = np.flatnonzero(on & ~before)
        if len(rises):
            x = (self._pulses + np.arange(1, len(rises) + 1)) * self.travel.per_pulse_nm
            kept = thinned(t_ns[rises], x, self._thinned_by_nm)
            self._keep(t_ns[rises][kept], x[kept])
            self._pulses += len(rises)
        changes = np.flatnonzero(on != before)
        if len(changes):
            rows = np.concatenate(([self._changed[0]], changes + self._rows))
            at = np.concatenate(([self._changed[1]], t_ns[changes]))
            fast = np.flatnonzero(np.diff(rows) == 1)
            self._lost.append(intervals.merge(np.column_stack((at[fast], at[fast + 1]))))
            self._changed = (int(rows[-1]), int(at[-1]))
        self._was_on = bool(on[-1])

    def _keep(self, t_ns: Ints, x_nm: NDArray[Any]) -> None:
        self._at.append((t_ns, x_nm.astype(np.int64)))
