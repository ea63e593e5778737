"""One sensor's readings, streamed: what needs every reading is done here, once, and readings are not kept.

Two steps a batch. `sense` is a pure function of the batch and may run in any thread: readings to distances. `fold` takes the
batches in order: comparators with the state carried from batch to batch, and for each presentation that has ended its critical
tolerances, levels, plateau means. Only the rows of the presentation under way are held from one batch to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.model.observations import NEVER
from stationtest.model.station import Channel, Sensor
from stationtest.signals.channel_distances import ChannelDistances
from stationtest.signals.comparator import Comparator, carried_in
from stationtest.signals.conversion import Columns, SensorModel
from stationtest.signals.critical import Asked, Chain, Layout, Stretches, critical
from stationtest.signals.screen import Screen

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sensed:
    """What `sense` finds in a batch: the m readings in presentations, and those outside that may be near a reference.

    `inside` numbers the rows (m,), None if they are all of the batch; `distance` (C, m), inf where it cannot be computed;
    `relative` (3, m), `level` (m,); `clipped`, `dark` (m,) or None if none is. `near` (h,) numbers rows outside, `near_distance`
    (C, h), `near_dark` (h,).
    """

    inside: Ints | None
    distance: Floats
    relative: Floats
    level: Floats
    clipped: Bools | None
    dark: Bools | None
    near: Ints
    near_distance: Floats
    near_dark: Bools


@dataclass(slots=True)
class Rows:
    """Rows of presentations, held until the presentation has ended."""

    t_ns: Ints
    distance: Floats
    relative: Floats
    level: Floats
    clipped: Bools
    dark: Bools
    plateau: Bools

    def part(self, chosen: slice) -> Rows:
        return Rows(*(getattr(self, name)[..., chosen] for name in Rows.__slots__))

    @staticmethod
    def joined(parts: Sequence[Rows]) -> Rows:
        if len(parts) == 1:
            return parts[0]
        return Rows(*(np.concatenate([getattr(p, name) for p in parts], axis=-1) for name in Rows.__slots__))


@dataclass(frozen=True, slots=True)
class Ended:
    """Figures of k presentations that have ended; (k,) and (C, k) arrays."""

    which: Ints
    level_min: Floats
    level_max: Floats
    clipped_rows: Ints
    dark_rows: Ints
    longest_step_ns: Ints
    first_row_ns: Ints
    means: Floats  # (3, k)
    nearest: Floats
    at_ns: Ints
    own_from: Ints
    critical_any: Floats
    critical_sure: Floats
    rested_clipped: Bools
    rested_dark: Bools


class SensorStream:
    """The streaming state of one sensor and its channels."""

    def __init__(
        self, sensor: Sensor, channels: Sequence[Channel], distances: ChannelDistances, screen: Screen | None, *,
        seen_ns: int, every_ns: int, gap_ns: int,
    ) -> None:  # fmt: skip
        self.sensor, self.channels, self.distances, self.screen = sensor, tuple(channels), distances, screen
        self.model: SensorModel = distances.model
        self.every_ns, self.gap_ns = every_ns, gap_ns
        self.times: tuple[Ints, Ints] | None = None
        self.chains = [
            Chain(hysteresis=c.hysteresis, on_match=c.on_match, on_delay_ns=c.on_delay_ns, off_delay_ns=c.off_delay_ns, seen_ns=seen_ns)
            for c in self.channels
        ]
        self.comparators = [Comparator() for _ in self.channels]
        self.ended: list[Ended] = []
        self.held: Rows | None = None
        self.held_which = -1
        self.held_start = NEVER
        self.held_between = False
        self.last_ns = NEVER
        self._nothing_near = (np.empty(0, np.int64), np.empty((len(self.channels), 0)), np.empty(0, bool))
        self.carried: tuple[Bools, Ints, Ints] | None = None  # of the presentation held: state, since, own_from; (C,)

    # -- in any thread ----------------------------------------------------------------------------------------------------------
    def sense(self, raw: Columns, begin: Ints, end: Ints) -> Sensed:
        """Distances of the rows in presentations (row ranges [begin, end)), and of those outside that may be near a reference."""
        n = len(raw[0])
        if int((end - begin).sum()) == n:
            return Sensed(None, *self._colours(raw), *self._nothing_near)
        relative = self.model.relative(raw)
        mask = covered(begin, end, n)
        near = np.flatnonzero((self.screen.may_be_within(relative) != 0) & ~mask) if self.screen is not None else np.flatnonzero(~mask)
        inside = np.flatnonzero(mask)
        found = self._colours(tuple(column.take(inside) for column in raw))
        if not len(near):
            return Sensed(inside, *found, *self._nothing_near)
        outside = tuple(column.take(near) for column in raw)
        distance, _, _, _, dark = self._colours(outside)
        return Sensed(inside, *found, near, distance, np.zeros(len(near), bool) if dark is None else dark)

    def _colours(self, raw: Columns) -> tuple[Floats, Floats, Floats, Bools | None, Bools | None]:
        """Distance (C, m), relative (3, m), level, clipped, dark of readings."""
        relative = np.empty((3, len(raw[0])))
        self.model.relative(raw, out=tuple(relative))
        distance = self.distances.compute(tuple(relative))
        level = self.model.level(raw)
        clipped = self.model.clipped(raw)
        dark = level <= 0 if self.sensor.when_dark is None else self.model.is_dark(level)
        if dark.any() and self.sensor.when_dark is not None and self.sensor.when_dark.channels == "off":
            # a dark reading switches the channel off whatever its colour
            for number, channel in enumerate(self.channels):
                distance[number][dark] = np.inf if channel.on_match else 0.0
        return distance, relative, level, clipped if clipped.any() else None, dark if dark.any() else None

    # -- in order ---------------------------------------------------------------------------------------------------------------
    def fold(
        self, t_ns: Ints, breaks: Sequence[int], gap_ends: Sequence[int], sensed: Sensed, begin: Ints, end: Ints, plateau: tuple[Ints, Ints],
        which: Ints, between: Bools,
    ) -> None:  # fmt: skip
        """The next batch: n rows at `t_ns`; a segment starts at each row in `breaks`, the one before having ended at
        `gap_ends`.

        k presentations, numbered by `which`, have rows [begin, end) here, of which `plateau` [p0, p1) is plateau. The last one
        may go on in the next batch.
        """
        goes_on = self.held is not None and len(which) > 0 and int(which[0]) == self.held_which
        if self.held is not None and not goes_on:
            self._let_go(min(int(t_ns[0]), self.last_ns + self.gap_ns))
        start_ns, end_ns = self._times(t_ns, begin, end, which, goes_on)
        n = len(t_ns)
        begins_here = np.ones(len(which), bool)
        begins_here[:1] = not goes_on
        firsts = start_ns[begins_here]
        carried = np.empty((len(self.channels), len(firsts)), bool)
        since = np.empty((len(self.channels), len(firsts)), np.int64)
        own_from = np.full((len(self.channels), len(which)), NEVER)
        for number, channel in enumerate(self.channels):
            on, band = self._masks(number, sensed, n)
            comparator = self.comparators[number]
            for index, (low, high) in enumerate(zip([0, *breaks], [*breaks, n], strict=True)):
                if index:
                    comparator.end(gap_ends[index - 1])
                    comparator.begin(int(t_ns[low]))
                if low < high:
                    before = comparator.state, comparator.changed_at
                    _, rises, falls = comparator.add(t_ns[low:high], on[low:high], band[low:high])
                    mine = (begin[begins_here] >= low) & (begin[begins_here] < high)
                    state, changed = carried_in(firsts[mine], *before, rises, falls)
                    if not channel.on_match:  # on before only from the instant at which the comparator was known to be off
                        known_from = comparator.known_from
                        state = ~state & (known_from != NEVER) & (firsts[mine] > known_from)
                        changed = np.maximum(changed, known_from)
                    carried[number, mine], since[number, mine] = state, changed
            if not (carried[number].any() or (goes_on and self.carried is not None and self.carried[0][number])):
                continue
            by_itself = np.flatnonzero(on if channel.on_match else ~(on | band))
            if len(by_itself):
                at = np.searchsorted(by_itself, begin)
                row = by_itself[np.minimum(at, len(by_itself) - 1)]
                found = (at < len(by_itself)) & (row < end)
                own_from[number, found] = t_ns[row[found]]
        rows = self._rows(t_ns, sensed, begin, end, plateau)
        self._close(rows, end - begin, which, start_ns, end_ns, between, bool(len(end)) and int(end[-1]) == n, begins_here, carried, since, own_from)
        self.last_ns = int(t_ns[-1])

    def start(self, at_ns: int, times: tuple[Ints, Ints] | None) -> None:
        """The recording begins. `times`: starts and ends by presentation id, where a list says them."""
        self.times = times
        for comparator in self.comparators:
            comparator.begin(at_ns)

    def finish(self, at_ns: int, end_ns: int) -> None:
        """The recording ends at `at_ns`; the presentation still held, if any, at `end_ns`."""
        for comparator in self.comparators:
            comparator.end(at_ns)
        if self.held is not None:
            self._let_go(end_ns)

    def _let_go(self, end_ns: int) -> None:
        """The presentation held has ended."""
        assert self.held is not None and self.carried is not None
        if self.times is not None:
            end_ns = int(self.times[1][self.held_which])
        self._figures(
            self.held, np.zeros(1, np.int64), np.array([self.held_which]), np.array([self.held_start]), np.array([end_ns]),
            np.array([self.held_between]), *(part[:, None] for part in self.carried),
        )  # fmt: skip
        self.held, self.held_which, self.carried = None, -1, None

    def _times(self, t_ns: Ints, begin: Ints, end: Ints, which: Ints, goes_on: bool) -> tuple[Ints, Ints]:
        """Start and end of each presentation: as listed, or from the rows (the end of one that goes on is not right yet)."""
        if self.times is not None:
            return self.times[0][which], self.times[1][which]
        start_ns = t_ns[begin].copy()
        if goes_on:
            start_ns[0] = self.held_start
        following = np.append(t_ns, t_ns[-1] + self.every_ns)[end]
        return start_ns, np.minimum(following, t_ns[end - 1] + self.gap_ns)

    def _holds(self) -> bool:
        return self.sensor.when_dark is not None and self.sensor.when_dark.channels == "hold"

    def _masks(self, number: int, sensed: Sensed, n: int) -> tuple[Bools, Bools]:
        """Where the channel's comparator is switched on, and where it stays as it was; (n,) each."""
        on, band = self._compared(number, sensed.distance[number], sensed.dark)
        if sensed.inside is None:
            return on, band
        all_on, all_band = np.zeros(n, bool), np.zeros(n, bool)
        all_on[sensed.inside], all_band[sensed.inside] = on, band
        if len(sensed.near):
            all_on[sensed.near], all_band[sensed.near] = self._compared(number, sensed.near_distance[number], sensed.near_dark)
        return all_on, all_band

    def _compared(self, number: int, distance: Floats, dark: Bools | None) -> tuple[Bools, Bools]:
        channel = self.channels[number]
        on = distance <= channel.tolerance
        if channel.hysteresis:
            band = (distance / (1 + channel.hysteresis) <= channel.tolerance) & ~on
        else:
            band = np.zeros(len(on), bool)
        if dark is not None and self._holds():
            on, band = on & ~dark, band | dark
        return on, band

    def _close(
        self, rows: Rows, lengths: Ints, which: Ints, start_ns: Ints, end_ns: Ints, between: Bools, last_is_open: bool,
        begins_here: Bools, carried: Bools, since: Ints, own_from: Ints,
    ) -> None:  # fmt: skip
        """Sort the rows to their presentations; figures of those that end here, the last one may be held."""
        if not len(which):
            return
        starts = np.concatenate(([0], np.cumsum(lengths)[:-1]))
        all_carried = np.empty((len(self.channels), len(which)), bool)
        all_since = np.empty((len(self.channels), len(which)), np.int64)
        all_carried[:, begins_here], all_since[:, begins_here] = carried, since
        if self.held is not None and self.carried is not None:
            # the first of these presentations goes on from the batch before
            rows = Rows.joined([self.held, rows])
            starts[1:] += len(self.held.t_ns)
            was_carried, was_since, was_own = self.carried
            all_carried[:, 0], all_since[:, 0] = was_carried, was_since
            own_from[:, 0] = np.where(was_own != NEVER, was_own, own_from[:, 0])
        done = len(which) - last_is_open
        if done:
            upto = int(starts[done]) if last_is_open else len(rows.t_ns)
            self._figures(
                rows.part(slice(0, upto)), starts[:done], which[:done], start_ns[:done], end_ns[:done], between[:done],
                all_carried[:, :done], all_since[:, :done], own_from[:, :done],
            )  # fmt: skip
        self.held, self.held_which, self.carried = None, -1, None
        if last_is_open:
            self.held = rows.part(slice(int(starts[done]), None))
            self.held_which, self.held_start, self.held_between = int(which[done]), int(start_ns[done]), bool(between[done])
            self.carried = (all_carried[:, done].copy(), all_since[:, done].copy(), own_from[:, done].copy())

    def _rows(self, t_ns: Ints, sensed: Sensed, begin: Ints, end: Ints, plateau: tuple[Ints, Ints]) -> Rows:
        """The rows that lie in presentations, with the mark of those on a plateau."""
        some = plateau[0] < plateau[1]
        on_plateau = covered(plateau[0][some], plateau[1][some], len(t_ns))
        nothing = np.zeros(len(sensed.level), bool)
        return Rows(
            t_ns if sensed.inside is None else t_ns[sensed.inside],
            sensed.distance,
            sensed.relative,
            sensed.level,
            nothing if sensed.clipped is None else sensed.clipped,
            nothing if sensed.dark is None else sensed.dark,
            on_plateau if sensed.inside is None else on_plateau[sensed.inside],
        )

    def _figures(
        self, rows: Rows, starts: Ints, which: Ints, start_ns: Ints, end_ns: Ints, between: Bools, carried: Bools, since: Ints,
        own_from: Ints,
    ) -> None:  # fmt: skip
        n, k = len(rows.t_ns), len(starts)
        lengths = np.diff(np.append(starts, n))
        t = rows.t_ns
        step = np.empty(n, np.int64)
        step[:-1] = t[1:] - t[:-1]
        last = starts + lengths - 1
        step[last] = end_ns - t[last]
        even = (np.minimum.reduceat(step, starts) == self.every_ns) & (np.maximum.reduceat(step, starts) == self.every_ns)
        even &= t[starts] == start_ns
        inner = step.copy()
        inner[last] = 0
        plateau = None if rows.plateau.all() else rows.plateau
        hold = rows.dark if self._holds() and rows.dark.any() else None
        channels = len(self.channels)
        nearest, at_ns = np.empty((channels, k)), np.empty((channels, k), np.int64)
        rested_clipped, rested_dark = np.zeros((2, channels, k), bool)
        asked = []
        for number, channel in enumerate(self.channels):
            distance = rows.distance[number]
            stretches = Stretches(
                t_ns=t, starts=starts, start_ns=start_ns, end_ns=end_ns, own_only=between, carried=carried[number], since_ns=since[number]
            )
            asked.append(Asked(distance, hold, stretches, self.chains[number]))
            nearest[number], at_ns[number] = self._nearest(number, distance, rows, starts, lengths)
            for mask, into in ((rows.clipped, rested_clipped), (rows.dark, rested_dark)):
                if mask.any():
                    supports = (distance / (1 + channel.hysteresis) <= channel.tolerance) == channel.on_match
                    into[number] = np.add.reduceat(mask & supports, starts, dtype=np.int64) > 0
        borders = critical(asked, Layout.of(asked[0].stretches), even, self.every_ns) if asked else []
        found_any, found_sure = (np.array([border[which_one] for border in borders]).reshape(channels, k) for which_one in (0, 1))
        plain = plateau is None
        level_low = rows.level if plain else np.where(plateau, rows.level, np.inf)
        level_high = rows.level if plain else np.where(plateau, rows.level, -np.inf)
        count = lengths if plain else np.add.reduceat(plateau, starts, dtype=np.int64)
        relative = rows.relative if plain else np.where(plateau, rows.relative, 0.0)
        some = count > 0
        nothing = np.full(k, np.nan)
        self.ended.append(
            Ended(
                which=which,
                level_min=np.where(some, np.minimum.reduceat(level_low, starts), nothing),
                level_max=np.where(some, np.maximum.reduceat(level_high, starts), nothing),
                clipped_rows=np.add.reduceat(rows.clipped, starts, dtype=np.int64),
                dark_rows=np.add.reduceat(rows.dark, starts, dtype=np.int64),
                longest_step_ns=np.maximum.reduceat(inner, starts),
                first_row_ns=t[starts],
                means=np.where(some, np.add.reduceat(relative, starts, axis=1) / np.maximum(count, 1), np.nan),
                nearest=nearest,
                at_ns=at_ns,
                own_from=own_from,
                critical_any=found_any,
                critical_sure=found_sure,
                rested_clipped=rested_clipped,
                rested_dark=rested_dark,
            )
        )

    def _nearest(self, number: int, distance: Floats, rows: Rows, starts: Ints, lengths: Ints) -> tuple[Floats, Ints]:
        """The least distance in each presentation and the first instant at which it occurs."""
        when = self.sensor.when_dark
        if when is not None and when.channels == "off" and not self.channels[number].on_match and rows.dark.any():
            distance = np.where(rows.dark, np.inf, distance)
        least = np.minimum.reduceat(distance, starts)
        hits = np.flatnonzero(distance == np.repeat(least, lengths))
        first = hits[np.searchsorted(hits, starts)] if len(hits) else starts
        return least, rows.t_ns[np.minimum(first, len(rows.t_ns) - 1)]


def covered(begin: Ints, end: Ints, n: int) -> Bools:
    """Which of n rows lie in the row ranges [begin, end), none of which is empty and no two of which overlap."""
    mark = np.zeros(n + 1, np.int8)
    mark[begin] = 1
    mark[end] -= 1
    return np.cumsum(mark[:n], dtype=np.int8).view(bool)
