"""Who caused which on-time: from a channel's signal to what it did in each presentation.

On-time belongs to the presentation whose readings switched the comparator. Within a presentation the channel's own on-time
begins with the first reading that would switch it by itself (so a state carried in by hysteresis is not its own), passes the
on-delay with the time that was already running, ends at the presentation's end at the latest, and is then stretched by the
off-delay. Everything else that is on in the presentation is held over from an earlier one. Recorded outputs have no readings
behind them: they are attributed by the window that the station file states.

A channel that is read by its edges fires only with a rise of its output that such own on-time begins, and that the controller
surely sees: it has been off for long enough before, and is on for long enough after (counter-example A23).

Presentations are those of one sensor, sorted and not overlapping: `start`, `end` (P,). Intervals are (n, 2), half open, in ns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.model.observations import NEVER
from stationtest.signals import intervals, ternary, timers, travel
from stationtest.signals.critical import Chain
from stationtest.signals.travel import Delay

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(slots=True, kw_only=True)
class Attributed:
    """What one channel did in each presentation; the columns of `model.observations.Responses`, each (P,).

    `held` tells where the output was on at the start whatever the presentation's own readings were; `no_margin` where,
    read by its edges, whether it is seen to rise does not rest on own readings alone: what was on before, or goes on after.
    """

    fired: Bools
    silent: Bools
    perhaps: Bools
    held: Bools
    no_margin: Bools
    held_over_ns: Ints
    held_from: Ints
    first_on_ns: Ints
    on_ns: Ints
    longest_ns: Ints
    pulses_min: Ints
    pulses_max: Ints
    ambiguous: Bools


def outputs(timed: Ints, chain: Chain, pulse_ns: int | None) -> Ints:
    """The output's on-intervals from those of the timers' input: TON, TOF, then TP."""
    out = timers.off_delay(timers.on_delay(timed, chain.on_delay_ns), chain.off_delay_ns)
    return out if pulse_ns is None else timers.pulse(out, pulse_ns)


def by_cause(
    timed: Ints, start: Ints, end: Ints, between: Bools, own_from: Ints, first_row_ns: Ints, chain: Chain, pulse_ns: int | None,
    *, edge: bool = False,
) -> Attributed:  # fmt: skip
    """A computed channel. `timed` are the on-intervals of the timers' input (the match, or its opposite with `off match`);
    `own_from` (P,) is the first instant of own on-time where the input was on before the start, NEVER where there is none;
    `first_row_ns` (P,) the first reading of each presentation. `edge`: it is read by its edges."""
    out = outputs(timed, chain, pulse_ns)
    if pulse_ns is None:
        runs = _stretched(timed, start, end, own_from, chain)
    else:
        runs = _pulses(timed, start, end, own_from, chain, pulse_ns)
    which, begin, until = _joined(*runs)
    found = _summary(which, begin, until, start, chain.seen_ns)
    if edge:
        _by_edges(found, (which, begin, until), timed, out, start, chain.seen_ns)
    on_inside = intervals.overlap(out, start, end)
    own_inside = np.bincount(which, np.maximum(np.minimum(until, end[which]) - begin, 0), len(start)).astype(np.int64)
    found.held_over_ns = np.maximum(on_inside - own_inside, 0)
    found.silent = np.where(between, found.on_ns == 0, (on_inside == 0) & (found.on_ns == 0))
    found.held_from = _held_from(found.on_ns > 0, found.held_over_ns > 0)
    through = timers.on_delay(timed, chain.on_delay_ns)
    if pulse_ns is None:
        pieces = _pieces(timed, start, end, own_from)
        _name_who_switched(found, pieces, out, through[:, 0] - chain.on_delay_ns, through, start)
    if len(through):
        last = np.searchsorted(through[:, 0], start, "left") - 1
        until = through[np.maximum(last, 0), 1]
        goes_on = (until > start) & (first_row_ns > start)  # on from before, up to the presentation's first reading
        found.held = (last >= 0) & ((np.minimum(until, start) + chain.off_delay_ns > start) | goes_on)
    return found


def windows(start: Ints, end: Ints, window: tuple[Delay, Delay]) -> tuple[Ints, Ints]:
    """When the window of each presentation opens and closes (P,). A length reaches as far as the doubt of the belt's position
    allows, so that where two windows may overlap, nobody guesses."""
    return travel.earliest(start, window[0]), travel.latest(end, window[1])


def by_window(
    out: Ints, start: Ints, end: Ints, between: Bools, touches_before: Bools, window: tuple[Delay, Delay], *, edge: bool = False
) -> Attributed:
    """A recorded channel: on-time that begins in `[start + from, end + after_end)` is the presentation's own, however short.

    `ambiguous` where windows of neighbours overlap and something is on in the overlap, or where on-time goes through from a
    touching neighbour: whose it is cannot be told (with `edge` it can: nothing rose).
    """
    first, last = windows(start, end, window)
    k = len(start)
    # an interval belongs to the first window in which it begins; windows are in order of their ends too
    whose = np.searchsorted(last, out[:, 0], "right")
    inside = whose < k
    inside[inside] &= out[inside, 0] >= first[whose[inside]]
    which, begin, until = whose[inside], out[inside, 0], out[inside, 1]
    found = _summary(which, begin, until, start, 0)
    on_inside = intervals.overlap(out, start, end)
    own_inside = np.bincount(which, np.maximum(np.minimum(until, end[which]) - np.maximum(begin, start[which]), 0), k).astype(
        np.int64
    )
    found.held_over_ns = np.maximum(on_inside - own_inside, 0)
    found.held_from = _held_from(found.on_ns > 0, found.held_over_ns > 0)
    found.silent = np.where(between, found.on_ns == 0, (on_inside == 0) & (found.on_ns == 0))
    shared = np.zeros(k, bool)
    if k > 1:
        low, high = first[1:], last[:-1]
        overlapping = (low < high) & (intervals.overlap(out, np.minimum(low, high), high) > 0)
        shared[1:] |= overlapping
        shared[:-1] |= overlapping
    on_at_start = intervals.contains(out, start) & intervals.before(out, start)
    found.ambiguous = shared | (touches_before & on_at_start & ~found.fired & (not edge))
    return found


def between(least: Attributed, most: Attributed) -> Attributed:
    """What a channel did that was on at least as `least` says and at most as `most` says; fired and silent are for sure."""
    most.fired, most.first_on_ns = least.fired, least.first_on_ns
    most.perhaps = (most.on_ns > 0) & ~least.fired
    most.pulses_min = np.minimum(least.pulses_min, most.pulses_min)
    most.pulses_max = np.maximum(least.pulses_max, most.pulses_max)
    most.ambiguous = most.ambiguous | least.ambiguous
    return most


def _by_edges(found: Attributed, runs: tuple[Ints, Ints, Ints], timed: Ints, out: Ints, start: Ints, seen_ns: int) -> None:
    """Own runs counted by the rises of the output that begin them, in place: fired, perhaps, first on, pulses."""
    which, begin, until = runs
    rises = ~intervals.before(out, begin)
    which, begin, until = which[rises], begin[rises], until[rises]
    stays_on_until = np.append(out[:, 1], 0)[np.searchsorted(out[:, 0], begin, "right") - 1]
    lasts = stays_on_until - begin >= max(seen_ns, 1)
    # what the controller may take for one on-time: gaps that it need not see do not end it
    at_most = intervals.fill_gaps(out, max(seen_ns, 1))
    head = np.append(at_most[:, 0], 0)[np.searchsorted(at_most[:, 0], begin, "right") - 1]
    first = np.minimum(np.searchsorted(begin, head), max(len(begin) - 1, 0))
    own_head = (begin[first] == head) & (which[first] == which)
    by_rise = _summary(which, begin, stays_on_until, start, seen_ns)
    found.first_on_ns = np.full(len(start), NEVER)
    sure_which, at = np.unique(which[own_head & lasts], return_index=True)
    found.first_on_ns[sure_which] = begin[own_head & lasts][at]
    found.fired = found.first_on_ns != NEVER
    found.perhaps = (by_rise.on_ns > 0) & ~found.fired
    joins = np.zeros(len(start), bool)
    joins[which[~own_head]] = True
    found.pulses_min, found.pulses_max = np.maximum(by_rise.pulses_min - joins, 0), by_rise.pulses_max
    found.no_margin = intervals.overlap(out, start - max(seen_ns, 1), start) > 0
    found.no_margin |= intervals.before(timed, start)
    found.no_margin[which[lasts & (until - begin < seen_ns)]] = True


def began_outside(timed: Ints, start: Ints, end: Ints, own_from: Ints, chain: Chain) -> Ints:
    """On-time of the output that belongs to no presentation (n, 2): the timers' input rose while nothing was presented, or in a
    presentation that had ended before the on-delay was over, and none after it kept the input on by itself."""
    if not len(timed):
        return timed
    next_ = np.searchsorted(start, timed[:, 0], "right")
    inside = (next_ > 0) & (timed[:, 0] < end[np.maximum(next_ - 1, 0)]) if len(end) else np.zeros(len(timed), bool)
    free = timed[~inside]
    reaches = start[np.minimum(next_[~inside], len(start) - 1)] if len(start) else free[:, 1]
    until = np.where(next_[~inside] < len(start), np.minimum(free[:, 1], reaches), free[:, 1])
    found = np.stack([free[:, 0] + chain.on_delay_ns, until], axis=1)
    which, begin, own_until = _stretched(timed, start, end, own_from, chain)
    owned = intervals.merge(np.stack([begin, own_until], axis=1)) if len(which) else intervals.empty()
    late = timed[inside] + np.array([chain.on_delay_ns, 0])
    late = late[(late[:, 1] > late[:, 0]) & (intervals.overlap(owned, late[:, 0], late[:, 1]) == 0)]
    return intervals.merge(np.concatenate([found[found[:, 1] > found[:, 0]], late]))


def _pieces(timed: Ints, start: Ints, end: Ints, own_from: Ints) -> tuple[Ints, Ints, Ints, Ints]:
    """Own pieces of the input, cut at the presentations: (which, begin, until, where the whole interval began)."""
    low = np.searchsorted(end, timed[:, 0], "right")
    high = np.searchsorted(start, timed[:, 1], "left")
    each = np.maximum(high - low, 0)
    of = np.repeat(np.arange(len(timed)), each)
    which = np.arange(len(of)) - np.repeat(np.cumsum(each) - each, each) + low[of]
    timed_from, until = timed[of, 0], np.minimum(timed[of, 1], end[which])
    carried = timed_from < start[which]
    begin = np.where(carried, own_from[which], timed_from)
    kept = (begin != NEVER) & (begin < until)
    return which[kept], begin[kept], until[kept], timed_from[kept]


def _stretched(timed: Ints, start: Ints, end: Ints, own_from: Ints, chain: Chain) -> tuple[Ints, Ints, Ints]:
    """Own pieces of the input through on-delay and off-delay: (which, begin, until)."""
    which, begin, until, timed_from = _pieces(timed, start, end, own_from)
    begin = np.maximum(begin, timed_from + chain.on_delay_ns)
    kept = begin < until
    return which[kept], begin[kept], until[kept] + chain.off_delay_ns


def _joined(which: Ints, begin: Ints, until: Ints) -> tuple[Ints, Ints, Ints]:
    """Pieces of one presentation that touch or overlap become one run."""
    if not len(which):
        return which, begin, until
    new = np.empty(len(which), bool)
    new[0] = True
    new[1:] = (which[1:] != which[:-1]) | (begin[1:] > until[:-1])
    heads = np.flatnonzero(new)
    tails = np.append(heads[1:] - 1, len(which) - 1)
    return which[heads], begin[heads], until[tails]


def _pulses(timed: Ints, start: Ints, end: Ints, own_from: Ints, chain: Chain, pulse_ns: int) -> tuple[Ints, Ints, Ints]:
    """With a pulse: each pulse belongs to the presentation in which its trigger lies, if that was its own. Pulses that touch are
    still two: each has a trigger, and a presentation, of its own."""
    triggers = timers.triggered(outputs(timed, chain, None)[:, 0], pulse_ns)
    out = np.stack([triggers, triggers + pulse_ns], axis=1)
    which = np.searchsorted(start, out[:, 0], "right") - 1
    rose = np.searchsorted(timed[:, 0], out[:, 0] - chain.on_delay_ns, "right") - 1
    inside = (which >= 0) & (rose >= 0)
    inside[inside] &= out[inside, 0] < end[which[inside]]
    at = np.maximum(which, 0)
    carried = timed[np.maximum(rose, 0), 0] < start[at] if len(timed) and len(start) else np.zeros(len(out), bool)
    own = inside & (~carried | ((own_from[at] != NEVER) & (own_from[at] <= out[:, 0])))
    return which[own], out[own, 0], out[own, 1]


def _summary(which: Ints, begin: Ints, until: Ints, start: Ints, seen_ns: int) -> Attributed:
    """Runs (sorted by presentation) to figures for each presentation."""
    k = len(start)
    length = until - begin
    on_ns = np.bincount(which, length, k).astype(np.int64)
    longest = np.zeros(k, np.int64)
    np.maximum.at(longest, which, length)
    sure = length >= max(seen_ns, 1)
    first = np.full(k, NEVER)
    sure_which, at = np.unique(which[sure], return_index=True)
    first[sure_which] = begin[sure][at]
    fired = first != NEVER
    count = np.bincount(which, minlength=k)
    least, most = count.copy(), count.copy()
    doubtful = np.zeros(k, bool)
    doubtful[which[~sure]] = True
    if len(which) > 1:
        close = (which[1:] == which[:-1]) & (begin[1:] - until[:-1] < seen_ns)
        doubtful[which[1:][close]] = True
    if doubtful.any():
        least[doubtful], most[doubtful] = _counts(which, begin, until, doubtful, seen_ns)
    nothing = np.zeros(k, bool)
    return Attributed(
        fired=fired, silent=on_ns == 0, perhaps=(on_ns > 0) & ~fired, held=nothing, no_margin=nothing.copy(),
        held_over_ns=np.zeros(k, np.int64), held_from=np.full(k, -1), first_on_ns=first, on_ns=on_ns, longest_ns=longest,
        pulses_min=least, pulses_max=most, ambiguous=nothing.copy(),
    )  # fmt: skip


def _counts(which: Ints, begin: Ints, until: Ints, chosen: Bools, seen_ns: int) -> tuple[Ints, Ints]:
    """Fewest and most pulses that a controller could count in each of the chosen presentations, of their own runs alone: the
    presentations are laid one behind the other, too far apart to touch, and asked all at once."""
    mine = chosen[which]
    which, begin, until = which[mine], begin[mine], until[mine]
    head = np.flatnonzero(np.append(True, which[1:] != which[:-1]))
    tail = np.append(head[1:], len(which)) - 1
    lasts = until[tail] - begin[head]
    place = np.append(0, np.cumsum(lasts + seen_ns + 1)[:-1])
    shift = np.repeat(place - begin[head], tail - head + 1)
    runs = np.stack([begin + shift, until + shift], axis=1)
    return ternary.pulse_range(ternary.known(runs), place, place + lasts, seen_ns)


def _name_who_switched(
    found: Attributed, pieces: tuple[Ints, Ints, Ints, Ints], out: Ints, rose: Ints, through: Ints, start: Ints
) -> None:  # fmt: skip
    """`held_from`, in place: where what is held over comes of an input that the readings of one presentation switched on, that
    one, also if the on-delay ran out after it had ended. `rose`: when the input of each interval of `through` began."""
    which, begin, _, timed_from = pieces
    if not len(which) or not len(through):
        return
    rows = np.flatnonzero(found.held_over_ns > 0)
    since = np.maximum(out[np.searchsorted(out[:, 1], start[rows], "right"), 0], start[rows])
    last = np.searchsorted(through[:, 0], since, "right") - 1
    piece = np.searchsorted(begin, start[rows], "left") - 1
    same = (last >= 0) & (piece >= 0) & (rose[last] == timed_from[piece])
    found.held_from[rows[same]] = which[piece[same]]


def _held_from(own: Bools, held: Bools) -> Ints:
    """For each presentation with held-over time the last one before it that had own on-time; -1 where there is none. (P,)"""
    last = np.maximum.accumulate(np.where(own, np.arange(len(own)), -1)) if len(own) else np.empty(0, np.int64)
    before = np.concatenate(([-1], last[:-1])) if len(own) else last
    return np.where(held, before, -1)
