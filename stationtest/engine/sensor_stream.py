"""The readings of one sensor, streamed: what needs every reading is done here, once, and readings are not kept.

Batches come in order. The state of the comparators is carried from batch to batch; a presentation that has ended is turned
into its figures, and only the rows of the one under way are held. Nothing depends on where the batches were cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from stationtest.engine.ended import Ended, Figures, Rows, Under
from stationtest.engine.growing import Growing
from stationtest.engine.sensing import Sensed, Sensing, covered
from stationtest.model.observations import NEVER
from stationtest.signals.comparator import Comparator, carried_in
from stationtest.signals.critical import Chain

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Cut:
    """How a batch of n rows at `t_ns` is cut: a segment starts at each row in `breaks`, the one before having ended at
    `gap_ends`."""

    t_ns: Ints
    breaks: Sequence[int]
    gap_ends: Sequence[int]

    def segments(self) -> list[tuple[int, int]]:
        return list(zip([0, *self.breaks], [*self.breaks, len(self.t_ns)], strict=True))


@dataclass(frozen=True, slots=True)
class Here:
    """The presentations of one sensor in a batch (k,): rows [begin, end), of which [plateau_begin, plateau_end) is plateau."""

    begin: Ints
    end: Ints
    plateau_begin: Ints
    plateau_end: Ints
    which: Ints
    between: Bools


class SensorStream:
    """The streaming state of one sensor and its channels. Call `start`, `fold` for each batch, `finish`; then read `ended`."""

    def __init__(self, sensing: Sensing, *, seen_ns: int, every_ns: int, gap_ns: int) -> None:
        self.sensing, self.channels = sensing, sensing.channels
        self.every_ns, self.gap_ns = every_ns, gap_ns
        self.chains = tuple(
            Chain(
                hysteresis=channel.hysteresis, on_match=channel.on_match, on_delay_ns=channel.on_delay_ns,
                off_delay_ns=channel.off_delay_ns, seen_ns=seen_ns,
            )
            for channel in self.channels
        )  # fmt: skip
        self.figures = Figures(sensing.sensor, self.channels, self.chains, every_ns, sensing.holds, sensing.nearest)
        self.comparators = [Comparator() for _ in self.channels]
        self.ended: dict[str, Growing] = {}  # the figures of all that has ended, by name
        self._times_listed: tuple[Ints, Ints] | None = None
        self._held: tuple[Rows, Under] | None = None  # the presentation under way
        self._last_ns = NEVER

    def start(self, at_ns: int, times: tuple[Ints, Ints] | None) -> None:
        """The recording begins. `times`: starts and ends by presentation, where a list says them."""
        self._times_listed = times
        for comparator in self.comparators:
            comparator.begin(at_ns)

    def fold(self, cut: Cut, here: Here, sensed: Sensed) -> None:
        """The next batch. The last of its presentations may go on in the one after it."""
        t = cut.t_ns
        if self._held is not None and not (len(here.which) and here.which[0] == self._held[1].which[0]):
            self._let_go(min(int(t[0]), self._last_ns + self.gap_ns))
        start_ns, end_ns = self._times(t, here)
        shape = len(self.channels), len(here.which)
        under = Under(
            starts=np.concatenate(([0], np.cumsum(here.end - here.begin)[:-1])).astype(np.int64), which=here.which,
            start_ns=start_ns, end_ns=end_ns, between=here.between, carried=np.zeros(shape, bool),
            since_ns=np.full(shape, NEVER), own_from=np.full(shape, NEVER),
        )  # fmt: skip
        for number in range(len(self.channels)):
            self._switch(number, cut, here, sensed, under)
        if len(here.which):
            self._close(self._rows(t, here, sensed), under, is_open=int(here.end[-1]) == len(t))
        self._last_ns = int(t[-1])

    def finish(self, end_ns: int) -> None:
        """The recording ends, and with it the presentation still under way."""
        for comparator in self.comparators:
            comparator.end(end_ns)
        if self._held is not None:
            under = self._held[1]
            under.end_ns = np.minimum(under.end_ns, end_ns)  # a list may go on
            self._let_go(end_ns)
        self._times_listed = None

    def _times(self, t_ns: Ints, here: Here) -> tuple[Ints, Ints]:
        """Start and end of each presentation: as listed, or from the rows (the end of one that goes on is not right yet)."""
        if self._times_listed is not None:
            return self._times_listed[0][here.which], self._times_listed[1][here.which]
        start_ns = t_ns[here.begin]
        if self._held is not None:
            start_ns[0] = self._held[1].start_ns[0]
        following = np.append(t_ns, t_ns[-1] + self.every_ns)[here.end]
        return start_ns, np.minimum(following, t_ns[here.end - 1] + self.gap_ns)

    def _switch(self, number: int, cut: Cut, here: Here, sensed: Sensed, under: Under) -> None:
        """One channel's comparator over the batch, and what it carries in to the presentations that begin here."""
        channel, comparator, t = self.channels[number], self.comparators[number], cut.t_ns
        on, band = self.sensing.masks(number, sensed, len(t))
        carried, since = under.carried[number], under.since_ns[number]
        for index, (low, high) in enumerate(cut.segments()):
            if index:
                comparator.end(cut.gap_ends[index - 1])
                comparator.begin(int(t[low]))
            if low == high:
                continue
            state, changed_at = comparator.state, comparator.changed_at
            rises, falls = comparator.add(t[low:high], on[low:high], band[low:high])
            mine = (here.begin >= low) & (here.begin < high)
            instants = under.start_ns[mine]
            was_on, changed = carried_in(instants, state, changed_at, rises, falls)
            if not channel.on_match:  # on before only from the instant at which the comparator was known to be off
                known_from = comparator.known_from
                was_on = ~was_on & (known_from != NEVER) & (instants > known_from)
                changed = np.maximum(changed, known_from)
            carried[mine], since[mine] = was_on, changed
        if self._held is not None:
            before = self._held[1]
            carried[0], since[0] = before.carried[number, 0], before.since_ns[number, 0]
        if not carried.any():
            return
        by_itself = np.flatnonzero(on if channel.on_match else ~(on | band))
        if len(by_itself):
            at = np.searchsorted(by_itself, here.begin)
            row = by_itself[np.minimum(at, len(by_itself) - 1)]
            found = (at < len(by_itself)) & (row < here.end)
            under.own_from[number, found] = t[row[found]]
        if self._held is not None and self._held[1].own_from[number, 0] != NEVER:
            under.own_from[number, 0] = self._held[1].own_from[number, 0]

    def _rows(self, t_ns: Ints, here: Here, sensed: Sensed) -> Rows:
        """The rows that lie in presentations, with the mark of those on a plateau."""
        some = here.plateau_begin < here.plateau_end
        on_plateau = covered(here.plateau_begin[some], here.plateau_end[some], len(t_ns))
        nothing = np.zeros(len(sensed.level), bool)
        return Rows(
            t_ns if sensed.inside is None else t_ns[sensed.inside],
            sensed.distance,
            sensed.relative,
            sensed.level,
            nothing if sensed.clipped is None else sensed.clipped,
            nothing if sensed.dark is None else sensed.dark,
            on_plateau if sensed.inside is None else on_plateau[sensed.inside],
            np.empty((0, len(sensed.level))) if sensed.floor is None else sensed.floor,
        )

    def _close(self, rows: Rows, under: Under, *, is_open: bool) -> None:
        """Figures of the presentations that end here; the last one is held if it may go on."""
        if self._held is not None:
            before = self._held[0]
            rows = Rows.joined([before, rows])
            under.starts[1:] += len(before.t_ns)
        done = len(under.which) - is_open
        upto = int(under.starts[done]) if is_open else len(rows.t_ns)
        if done:
            self._ended(self.figures.of(rows.part(slice(0, upto)), under.part(slice(0, done))))
        self._held = None
        if is_open:
            last = under.part(slice(done, None))
            last.starts = np.zeros(1, np.int64)
            self._held = rows.part(slice(upto, None)), last

    def _let_go(self, end_ns: int) -> None:
        """The presentation under way has ended."""
        assert self._held is not None
        rows, under = self._held
        if self._times_listed is None:
            under.end_ns = np.array([end_ns], np.int64)
        self._ended(self.figures.of(rows, under))
        self._held = None

    def _ended(self, found: Ended) -> None:
        for field in fields(Ended):
            column = getattr(found, field.name)
            self.ended.setdefault(field.name, Growing(column)).append(column)
