"""Critical tolerances: how far a channel's tolerance could be scaled in a presentation before its answer changes.

For each presentation two numbers are kept. `any`: the border between the tolerances with which the output is on at all, and
those with which it is not. `sure`: the same for 'on, by its own cause, long enough to be seen for sure'. With `on match` the
output is on where tolerance >= critical; with `off match` where tolerance < critical. Hysteresis scales with the tolerance;
the state carried in, polarity and delays stay as they are. Thresholding commutes with running minimum and maximum, which gives
the quick path on an even clock; the other path searches the distances that occur, asking each time the question that the
verdict asks. Tests hold the two and a plain state machine to each other. Pulse timers, latches and logic have no critical
tolerance: it is taken before them.

A presentation is a stretch of rows; `starts` (k,) are its first rows in the concatenated columns, `start_ns`, `end_ns` (k,)
its ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.signals.comparator import states

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """What stands behind the comparator of a channel. `own_only`: 'on at all' asks for own on-time only (a stretch between)."""

    hysteresis: float
    on_match: bool
    on_delay_ns: int
    off_delay_ns: int
    seen_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretches:
    """k presentations, concatenated: n rows in all. `carried` (k,): the timers' input was on just before the start, `since_ns`
    (k,)."""

    t_ns: Ints
    starts: Ints
    start_ns: Ints
    end_ns: Ints
    own_only: Bools
    carried: Bools
    since_ns: Ints

    def lengths(self) -> Ints:
        return np.diff(np.append(self.starts, len(self.t_ns)))

    def pick(self, chosen: Bools) -> tuple[Stretches, Bools]:
        """Some of the stretches, and which rows (n,) they are."""
        lengths = self.lengths()
        rows = np.repeat(chosen, lengths)
        starts = np.concatenate(([0], np.cumsum(lengths[chosen])[:-1])).astype(np.int64)
        part = Stretches(
            t_ns=self.t_ns[rows], starts=starts, start_ns=self.start_ns[chosen], end_ns=self.end_ns[chosen],
            own_only=self.own_only[chosen], carried=self.carried[chosen], since_ns=self.since_ns[chosen],
        )  # fmt: skip
        return part, rows


@dataclass(frozen=True, slots=True)
class Layout:
    """Stretches laid side by side, so that one step down the rows serves all of them. Made once, used for every channel.

    Each group is (which stretches (m,), rows (L, m)); a row number of n stands for 'past the end'.
    """

    groups: tuple[tuple[Ints, Ints], ...]

    @classmethod
    def of(cls, stretches: Stretches) -> Layout:
        lengths = stretches.lengths()
        n = len(stretches.t_ns)
        order = np.argsort(lengths, kind="stable")
        groups = []
        at = 0
        while at < len(order):
            # padding costs at most half as much again
            to = int(np.searchsorted(lengths[order], lengths[order[at]] * 3 // 2 + 8, "right"))
            which = np.sort(order[at:to])
            down = np.arange(int(lengths[which].max()))[:, None]
            groups.append((which, np.where(down < lengths[which], stretches.starts[which] + down, n)))
            at = to
        return cls(tuple(groups))


@dataclass(frozen=True, slots=True)
class Asked:
    """One channel: its distances (n,), which may hold inf (never on); readings at which its state is kept (n,) or None; what
    was carried in to each stretch (k,). `floor` (n,): the least tolerance with which it can be on, or stay on, at each reading
    at all (never above its distance here); None where nothing but the distance decides."""

    distance: Floats
    hold: Bools | None
    stretches: Stretches
    chain: Chain
    floor: Floats | None = None


def critical(asked: Sequence[Asked], layout: Layout, even: Bools, period_ns: int) -> list[tuple[Floats, Floats]]:
    """(any, sure), each (k,), for each of several channels with the same stretches.

    `even` (k,) tells which stretches have rows exactly `period_ns` apart, their end included: those go the quick way where they
    can, channels with the same delays side by side. Errors: none; +inf means that no tolerance would do.
    """
    quick = []
    alike: dict[tuple[float, int, int, bool, bool], list[int]] = {}
    for number, one in enumerate(asked):
        chain = one.chain
        bridges = 0 < chain.off_delay_ns < chain.seen_ns
        here = even & ~one.stretches.carried if chain.on_match and not bridges else np.zeros(len(even), bool)
        quick.append(here)
        if here.any():
            key = chain.hysteresis, *_widths(chain, period_ns), one.hold is not None, one.floor is not None
            alike.setdefault(key, []).append(number)
    found: list[tuple[Floats, Floats]] = [(np.empty(len(even)), np.empty(len(even))) for _ in asked]
    for numbers in alike.values():
        _slide([asked[number] for number in numbers], layout, period_ns, [found[number] for number in numbers])
    for number, one in enumerate(asked):
        slow = ~quick[number]
        if slow.all():
            found[number] = _search(one)
        elif slow.any():
            part, rows = one.stretches.pick(slow)
            hold = None if one.hold is None else one.hold[rows]
            floor = None if one.floor is None else one.floor[rows]
            any_, sure = _search(Asked(one.distance[rows], hold, part, one.chain, floor))
            found[number][0][slow], found[number][1][slow] = any_, sure
    return found


def _widths(chain: Chain, period_ns: int) -> tuple[int, int]:
    """Rows that must match for the output to come on at all, and for it to be seen for sure, on an even clock."""
    at_all = chain.on_delay_ns // period_ns + 1
    if chain.off_delay_ns >= chain.seen_ns:
        return at_all, at_all
    return at_all, max(at_all, -(-(chain.on_delay_ns + chain.seen_ns) // period_ns))


def _slide(asked: Sequence[Asked], layout: Layout, period_ns: int, found: Sequence[tuple[Floats, Floats]]) -> None:
    """On match, even clock, off just before the start: running maxima over the on-delay and over what must be seen."""
    chain, n = asked[0].chain, len(asked[0].distance)
    at_all, whole = _widths(chain, period_ns)
    padded = np.empty((len(asked), n + 1))
    padded[:, n] = np.inf
    held = None if asked[0].hold is None else np.append(asked[0].hold, False)
    for row, one in zip(padded, asked, strict=True):
        row[:n] = one.distance
        if one.hold is not None:
            row[:n][one.hold] = np.inf
    for which, rows in layout.groups:
        side_by_side = np.empty((len(rows), len(asked), len(which)))
        for number, row in enumerate(padded):
            side_by_side[:, number] = row[rows]
        value = side_by_side.reshape(len(rows), -1)
        # without delays the least critical tolerance is the least distance, hysteresis or not
        if whole > 1 and (chain.hysteresis or held is not None):
            hysteresis_scan(
                value, None if held is None else np.tile(held[rows], len(asked)), chain.hysteresis, _beside(asked, rows)
            )
        any_ = _least_of_greatest(value, at_all).reshape(len(asked), -1)
        sure = any_ if whole == at_all else _least_of_greatest(value, whole).reshape(len(asked), -1)
        for number, (into_any, into_sure) in enumerate(found):
            into_any[which], into_sure[which] = any_[number], sure[number]


def _beside(asked: Sequence[Asked], rows: Ints) -> Floats | None:
    """The floors of channels laid out as their distances are; None where they have none."""
    if asked[0].floor is None:
        return None
    return np.concatenate([np.append(one.floor, np.inf)[rows] for one in asked if one.floor is not None], axis=1)


def _least_of_greatest(value: Floats, width: int) -> Floats:
    """For each column of (L, m) the least, over its windows of `width` rows, of the greatest value; +inf where none fits."""
    if width > len(value):
        return np.full(value.shape[1], np.inf)
    reach = 1
    while reach < width:
        step = min(reach, width - reach)
        value = np.maximum(value[:-step], value[step:])
        reach += step
    return value.min(axis=0)


def hysteresis_scan(value: Floats, hold: Bools | None, hysteresis: float, floor: Floats | None = None) -> None:
    """In place: distances (L, m) become the least tolerance with which the comparator is on at each row, if it was off before.

    r[i] = min(d[i], max(r[i - 1], d[i] / (1 + h))); rows marked `hold` keep what was. Below a floor it is off at once.
    """
    low = value / (1 + hysteresis)
    if floor is not None:
        np.maximum(low, floor, out=low)
    if hold is not None:
        low[hold] = -np.inf
    if value.shape[1] * 4 < len(value):
        _scan_in_blocks(value, low)
        return
    scratch = np.empty(value.shape[1])
    for row in range(1, len(value)):
        np.maximum(value[row - 1], low[row], out=scratch)
        np.minimum(value[row], scratch, out=value[row])


def _scan_in_blocks(value: Floats, low: Floats) -> None:
    """The same for few long columns: each step is a clamp, clamps compose to a clamp, so blocks of rows are composed side by
    side and joined."""
    length, columns = value.shape
    block = max(2, int(length**0.5))
    blocks = -(-length // block)
    for column in range(columns):
        least, most = np.full((2, blocks * block), [[-np.inf], [np.inf]])
        least[:length], most[:length] = low[:, column], value[:, column]
        least[0] = most[0]
        least, most = (np.ascontiguousarray(part.reshape(blocks, block).T) for part in (least, most))
        for row in range(1, block):
            composed = np.minimum(most[row], np.maximum(least[row], most[row - 1]))
            np.minimum(most[row], np.maximum(least[row], least[row - 1]), out=least[row])
            most[row] = composed
        carry = np.empty(blocks)
        now = np.inf
        for index, (low_end, high_end) in enumerate(zip(least[-1].tolist(), most[-1].tolist(), strict=True)):
            carry[index] = now
            now = min(high_end, max(low_end, now))
        np.minimum(np.maximum(least, carry, out=least), most, out=least)
        value[:, column] = least.T.reshape(-1)[:length]


def _search(asked: Asked) -> tuple[Floats, Floats]:
    """Any clock, any state carried in: bisection over the distances that occur, all stretches side by side."""
    distance, hold, stretches, chain = asked.distance, asked.hold, asked.stretches, asked.chain
    starts, lengths = stretches.starts, stretches.lengths()
    owner = np.repeat(np.arange(len(starts)), lengths)
    off_point = distance / (1 + chain.hysteresis)
    if asked.floor is not None:
        np.maximum(off_point, asked.floor, out=off_point)
    values = np.concatenate((distance, off_point))
    owners = np.concatenate((owner, owner))
    order = np.lexsort((values, owners))
    values = values[order]
    first = 2 * starts
    last = first + 2 * lengths
    question = _Question(distance, off_point, hold, owner, stretches, chain)
    result = []
    for index in (0, 1):
        low, high = first.copy(), last.copy()
        while (low < high).any():
            middle = (low + high) // 2
            tolerance = np.where(low < high, values[np.minimum(middle, len(values) - 1)], 0.0)
            yes = question.ask(tolerance)[index]
            goes_down = yes if chain.on_match else ~yes
            open_ = low < high
            high = np.where(open_ & goes_down, middle, high)
            low = np.where(open_ & ~goes_down, middle + 1, low)
        border = np.where(low < last, values[np.minimum(low, len(values) - 1)], np.inf)
        # already answered so with a tolerance that nothing matches: no tolerance above 0 changes it
        nothing_matches = question.ask(np.full(len(starts), -1.0))[index]
        border[nothing_matches == chain.on_match] = 0.0
        result.append(border)
    return result[0], result[1]


class _Question:
    """Is the output on at all, and seen for sure by its own cause, in each stretch, with a tolerance for each? (k,), (k,)"""

    def __init__(
        self, distance: Floats, off_point: Floats, hold: Bools | None, owner: Ints, stretches: Stretches, chain: Chain
    ) -> None:
        self.distance, self.off_point, self.hold, self.owner = distance, off_point, hold, owner
        self.stretches, self.chain = stretches, chain
        n = len(distance)
        self.is_start = np.zeros(n, bool)
        self.is_start[stretches.starts] = True
        self.until = np.empty(n, np.int64)
        self.until[:-1] = stretches.t_ns[1:]
        last = np.append(stretches.starts[1:], n) - 1
        self.until[last] = stretches.end_ns

    def ask(self, tolerance: Floats) -> tuple[Bools, Bools]:
        on_match, stretches = self.chain.on_match, self.stretches
        each = tolerance[self.owner]
        on = (self.distance <= each) & np.isfinite(self.distance)
        band = ~on & (self.off_point <= each) & np.isfinite(self.distance)
        if self.hold is not None:
            on, band = on & ~self.hold, band | self.hold
        actual = self._states(on, band, stretches.carried == on_match)
        own = self._states(on, band, np.full(len(stretches.starts), not on_match))
        if not on_match:
            actual, own = ~actual, ~own
        return self._outputs(actual, own)

    def _states(self, on: Bools, band: Bools, before: Bools) -> Bools:
        on, band = on.copy(), band.copy()
        starts = self.stretches.starts
        undecided = band[starts]
        on[starts[undecided]] = before[undecided]
        band[starts] = False
        return states(on, band, False)

    def _outputs(self, actual: Bools, own: Bools) -> tuple[Bools, Bools]:
        stretches, chain, owner = self.stretches, self.chain, self.owner
        k = len(stretches.starts)
        rows = np.flatnonzero(actual)
        at_all, sure = np.zeros(k, bool), np.zeros(k, bool)
        if not len(rows):
            return at_all, sure
        first = np.empty(len(rows), bool)
        first[0] = True
        first[1:] = (rows[1:] != rows[:-1] + 1) | self.is_start[rows[1:]]
        heads = rows[first]
        tails = np.append(rows[np.flatnonzero(first)[1:] - 1], rows[-1])
        whose = owner[heads]
        begin, end = stretches.t_ns[heads], self.until[tails]
        continues = self.is_start[heads] & stretches.carried[whose]
        timed_from = np.where(continues, stretches.since_ns[whose], begin)
        # the first row of each run that is on by its own cause; a run is own from there to its end
        own_rows = np.append(np.flatnonzero(own), len(own))
        first_own = own_rows[np.searchsorted(own_rows, heads)]
        own_begin = np.where(first_own <= tails, np.append(stretches.t_ns, 0)[first_own], end)
        through = timed_from + chain.on_delay_ns
        on_from = np.maximum(begin, through)
        own_from = np.maximum(own_begin, through)
        counts = np.where(stretches.own_only[whose], own_from < end, on_from < end)
        at_all[whose[counts]] = True
        kept = own_from < end
        whose, own_from, until = whose[kept], own_from[kept], end[kept] + chain.off_delay_ns
        if len(whose):
            new = np.empty(len(whose), bool)
            new[0] = True
            new[1:] = (whose[1:] != whose[:-1]) | (own_from[1:] > until[:-1])
            heads = np.flatnonzero(new)
            tails = np.append(heads[1:] - 1, len(whose) - 1)
            long_enough = until[tails] - own_from[heads] >= chain.seen_ns
            sure[whose[heads[long_enough]]] = True
        return at_all, sure
