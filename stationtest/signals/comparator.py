"""The comparator of a channel: from distances to the intervals in which it matches, streamed batch by batch.

On where distance <= tolerance, off where distance > tolerance * (1 + hysteresis), between them as before. The off point is
compared as distance / (1 + hysteresis) <= tolerance everywhere, so that the comparator and the critical tolerance
(critical.py) round alike.

At the start of a recording and after each gap the state is unknown until a reading lies outside the hysteresis band. `must`
takes it as off there and `unknown` lists those stretches, so that `can` is the union of both.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stationtest.model.observations import NEVER

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def states(on: Bools, band: Bools, before: bool) -> Bools:
    """The state at each row: `on` rows are on, `band` rows keep the state before, all others are off. Shapes (n,)."""
    state = on.copy()
    rows = np.flatnonzero(band)
    if len(rows):
        new_run = np.empty(len(rows), bool)
        new_run[0] = True
        np.not_equal(rows[1:], rows[:-1] + 1, out=new_run[1:])
        starts = rows[new_run]
        kept = np.where(starts > 0, on[starts - 1], before)
        state[rows] = kept[np.cumsum(new_run) - 1]
    return state


@dataclass(slots=True)
class Comparator:
    """Streaming state of one channel. `rises` and `falls` grow in order; an interval still open has a rise without a fall."""

    state: bool = False
    known: bool = False
    since_unknown: int = 0
    rises: list[Ints] = field(default_factory=list)
    falls: list[Ints] = field(default_factory=list)
    unknown: list[tuple[int, int]] = field(default_factory=list)
    changed_at: int = NEVER
    known_from: int = NEVER

    def begin(self, at_ns: int) -> None:
        """A new segment starts at `at_ns`: the state is not known there."""
        self.state, self.known, self.since_unknown = False, False, at_ns
        self.changed_at = self.known_from = NEVER

    def end(self, at_ns: int) -> None:
        """The segment ends at `at_ns` (a gap, or the end of the recording): whatever is on ends there."""
        if not self.known and self.since_unknown < at_ns:
            self.unknown.append((self.since_unknown, at_ns))
        if self.state:
            self.falls.append(np.array([at_ns], np.int64))
        self.state = False

    def add(self, t_ns: Ints, on: Bools, band: Bools) -> tuple[Ints, Ints]:
        """Rows of one segment. Returns the instants of the rises and falls in these rows."""
        if not self.known:
            sure = np.flatnonzero(~band[:4096])
            if not len(sure):
                sure = np.flatnonzero(~band)
            if len(sure):
                self.known, self.known_from = True, int(t_ns[sure[0]])
                if t_ns[sure[0]] > self.since_unknown:
                    self.unknown.append((self.since_unknown, int(t_ns[sure[0]])))
        state = states(on, band, self.state) if band.any() else on
        change = np.flatnonzero(state[1:] != state[:-1]) + 1
        if state[0] != self.state:
            change = np.concatenate(([0], change))
        at = t_ns[change]
        rising = state[change]
        rises, falls = at[rising], at[~rising]
        if len(rises):
            self.rises.append(rises)
        if len(falls):
            self.falls.append(falls)
        if len(at):
            self.changed_at = int(at[-1])
        self.state = bool(state[-1])
        return rises, falls

    def intervals(self) -> Ints:
        """All on-intervals after `end`, (n, 2)."""
        rises = np.concatenate(self.rises) if self.rises else np.empty(0, np.int64)
        falls = np.concatenate(self.falls) if self.falls else np.empty(0, np.int64)
        found = np.stack([rises, falls], axis=1)
        return found[found[:, 1] > found[:, 0]]

    def unknown_intervals(self) -> Ints:
        return np.array(self.unknown, np.int64).reshape(-1, 2)


def carried_in(instants: Ints, state: bool, changed_at: int, rises: Ints, falls: Ints) -> tuple[Bools, Ints]:
    """What held just before each of k instants of a batch: the state (k,), and the instant of its last change (k,).

    `state` and `changed_at` are those before the batch, `rises` and `falls` the changes within it. NEVER where it has not
    changed since the segment began.
    """
    changes = np.sort(np.concatenate((rises, falls)))
    passed = np.searchsorted(changes, instants, "left")
    since = np.where(passed > 0, changes[np.maximum(passed - 1, 0)] if len(changes) else NEVER, changed_at)
    return (passed % 2 == 1) != state, since
