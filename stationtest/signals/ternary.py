"""Signals of which not everything is known: when on for sure (`must`), and when perhaps (`can`).

A resolution of such a signal is any plain signal that is on wherever `must` is and nowhere but where `can` is. Every function
here gives bounds that hold for all resolutions of what it is given. They are the tightest bounds for the logic, TON, TOF, latches
and decisions, as long as no signal is used twice and no edge is sure but of unknown instant; else the answer can be wider than
needed (`any_of(x, none_of(x))` is perhaps where x is perhaps; so are pulses after a perhaps), never wrong.

Outside a recording everything is unknown: `unbounded` says so, and belongs before timers, latches and `seen`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationtest.signals import intervals as ivs
from stationtest.signals import timers, travel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationtest.signals.intervals import Bools, Ints, Span
    from stationtest.signals.travel import Delay

_ALWAYS = (-ivs.FAR, ivs.FAR)
_ONE_TICK = 1  # the clock is an integer: 'just before t' is t - 1 ns


@dataclass(frozen=True, slots=True, eq=False)
class Ternary:
    """Two interval lists (n, 2) in ns, `must` within `can`."""

    must: Ints
    can: Ints


class Edges(NamedTuple):
    """Instants (n,) of edges that took place for sure, and the stretches (n, 2) of instants at which one may have."""

    sure: Ints
    perhaps: Ints


def known(iv: Ints) -> Ternary:
    """A signal without any perhaps."""
    return Ternary(iv, iv)


def unknown() -> Ternary:
    """A signal of which nothing is known."""
    return Ternary(ivs.empty(), ivs.complement(ivs.empty()))


def unbounded(t: Ternary, span: Span) -> Ternary:
    """What is known within `span`; before and after it, nothing is (counter-example A25)."""
    outside = np.array([(-ivs.FAR, span[0]), (span[1], ivs.FAR)], dtype=np.int64)
    return Ternary(ivs.clip(t.must, span), ivs.union(ivs.clip(t.can, span), outside))


def bounded(t: Ternary, span: Span) -> Ternary:
    """The part within `span`."""
    return Ternary(ivs.clip(t.must, span), ivs.clip(t.can, span))


def any_of(*parts: Ternary) -> Ternary:
    """On where at least one part is on."""
    return Ternary(ivs.union(*(t.must for t in parts)), ivs.union(*(t.can for t in parts)))


def all_of(*parts: Ternary) -> Ternary:
    """On where every part is on."""
    return at_least(len(parts), *parts)


def none_of(*parts: Ternary) -> Ternary:
    """On where every part is off."""
    either = any_of(*parts)
    return Ternary(ivs.complement(either.can), ivs.complement(either.must))


def at_least(n: int, *parts: Ternary) -> Ternary:
    """On where at least `n` parts are on."""
    return Ternary(ivs.at_least([t.must for t in parts], n), ivs.at_least([t.can for t in parts], n))


def seen(t: Ternary, seen_ns: int) -> Ternary:
    """What a controller sees that is sure to notice only what lasts `seen_ns` (counter-example A10): shorter is perhaps."""
    return Ternary(ivs.drop_short(t.must, seen_ns), ivs.fill_gaps(t.can, seen_ns))


def on_delay(t: Ternary, delay: Delay) -> Ternary:
    """TON; more input never gives less output, so each bound is delayed by itself. A delay on the belt is over for sure at its
    latest, and perhaps from its earliest instant on."""
    if isinstance(delay, int):
        return Ternary(timers.on_delay(t.must, delay), timers.on_delay(t.can, delay))
    must, can = travel.latest(t.must[:, 0], delay), travel.earliest(t.can[:, 0], delay)
    return Ternary(timers.delayed_rises(t.must, must), timers.delayed_rises(t.can, can))


def off_delay(t: Ternary, delay: Delay) -> Ternary:
    """TOF; as `on_delay`."""
    if isinstance(delay, int):
        return Ternary(timers.off_delay(t.must, delay), timers.off_delay(t.can, delay))
    must, can = travel.earliest(t.must[:, 1], delay), travel.latest(t.can[:, 1], delay)
    return Ternary(timers.delayed_falls(t.must, must), timers.delayed_falls(t.can, can))


def pulse(t: Ternary, length: Delay) -> Ternary:
    """TP, which is not monotone: a rise that is sure gives a pulse unless one may be running."""
    if t.must is t.can and isinstance(length, int):
        return known(timers.pulse(t.must, length))
    runs, sure = _rises(t)
    return pulses(runs, sure, length)


def pulses(runs: Ints, sure: Bools, length: Delay) -> Ternary:
    """Pulses (TP) from triggers. Each row of `runs` (n, 2), sorted, is a stretch of instants at which a trigger may come; where
    `sure` (n,), at least one comes in it."""
    if isinstance(length, int) and bool(sure.all()) and bool((runs[:, 1] - runs[:, 0] == _ONE_TICK).all()):
        starts = timers.triggered(runs[:, 0], length)
        return known(ivs.merge(np.column_stack((starts, starts + length))))
    must: list[tuple[int, int]] = []
    can: list[tuple[int, int]] = []
    ends = travel.earliest(runs[:, 0], length), travel.latest(runs[:, 1] - _ONE_TICK, length)
    idle_perhaps = idle_surely = -2 * ivs.FAR  # when the pulse that ran last has ended: earliest, latest
    for first, end, is_sure, earliest, latest in zip(
        *(column.tolist() for column in (runs[:, 0], runs[:, 1], sure, *ends)), strict=True
    ):  # a pulse depends on the one before it
        last = end - _ONE_TICK
        if idle_perhaps > last:
            continue  # a pulse is running through all of it
        can.append((max(first, idle_perhaps), latest))
        if is_sure and idle_surely <= first:
            must.append((last, earliest))
            idle_perhaps = earliest
        idle_surely = max(idle_surely, latest)
    return Ternary(_merged(must), _merged(can))


def rising(t: Ternary, span: Span) -> Edges:
    """Rising edges within `span`. An input that is on in the first row, or after a gap, has had no sure edge there."""
    runs, sure = _rises(unbounded(t, span))
    single = sure & (runs[:, 1] - runs[:, 0] == _ONE_TICK)
    return Edges(runs[single, 0], runs[~single])


def falling(t: Ternary, span: Span) -> Edges:
    """Falling edges within `span`."""
    return rising(none_of(unbounded(t, span)), span)


def spread_rises(t: Ternary, span: Span) -> Ints:
    """Stretches of instants (n, 2) in which a rise took place for sure, though nobody knows when: from where the signal may be on
    to where it is on for sure. `rising` gives them as perhaps."""
    runs, sure = _rises(unbounded(t, span))
    return runs[sure & (runs[:, 1] - runs[:, 0] > _ONE_TICK)]


def at_rises(t: Ternary, span: Span) -> Ternary:
    """On for one tick at each rising edge within `span`: what a rung sees that reads a signal by its edges."""
    sure, perhaps = rising(t, span)
    must = np.column_stack((sure, sure + _ONE_TICK))
    return Ternary(must, ivs.union(must, perhaps))


def latch(set_by: Ternary, resets: Edges, enabled: Ternary | None = None) -> tuple[Ternary, Ints]:
    """RS bistable of IEC 61131-3 (reset dominant), Q1 := NOT R1 AND (S OR Q1), set by a level, and the instants of carrying over.

    `resets` act for one instant: a set that is still on afterwards sets again there, and is reported as carried over if it was on
    for sure before and after. While `enabled` is off the reset is held. `set_by` and `enabled` are unbounded: then the latch is
    unknown until a reset or a sure set. More set never gives less output and more reset never more, so each bound of the latch
    comes from one bound of each input.
    """
    enabled = enabled or known(ivs.complement(ivs.empty()))
    # where a reset may come at any instant, nothing is held for sure until the last of them
    first, last = resets.perhaps[:, 0], resets.perhaps[:, 1] - _ONE_TICK
    never_reset = ivs.subtract(enabled.must, ivs.merge(np.column_stack((first, last))))
    held_surely = _held(set_by.must, _cut(never_reset, np.concatenate((resets.sure, first))))
    must = ivs.union(held_surely, ivs.intersect(set_by.must, enabled.must))
    can = _held(set_by.can, _cut(enabled.can, resets.sure))
    releases, sure = _rises(enabled)
    again = np.union1d(resets.sure, releases[sure & (releases[:, 1] - releases[:, 0] == _ONE_TICK), 0])
    carried = again[ivs.before(set_by.must, again) & ivs.contains(set_by.must, again) & ivs.contains(enabled.must, again)]
    return Ternary(must, can), carried


def decided(logic: Ternary, at: Edges) -> Ternary:
    """The logic as it was just before each decision, held until the next one; unknown before the first."""
    cuts = _cut(ivs.complement(ivs.empty()), at.sure)
    bad, good = _decisions_perhaps(logic, at)
    yes_must = np.concatenate(([False], ivs.before(logic.must, at.sure)))
    yes_can = np.concatenate(([True], ivs.before(logic.can, at.sure)))
    must = ivs.subtract(ivs.merge(cuts[yes_must]), _held(bad, cuts))
    return Ternary(must, ivs.union(ivs.merge(cuts[yes_can]), _held(good, cuts)))


def enabled_edges(at: Edges, enabled: Ternary) -> Edges:
    """The edges that find a signal on just before them; perhaps where it is perhaps."""
    surely, perhaps = ivs.before(enabled.must, at.sure), ivs.before(enabled.can, at.sure)
    doubtful = at.sure[perhaps & ~surely]
    stretches = ivs.intersect(at.perhaps, enabled.can + _ONE_TICK)
    return Edges(at.sure[surely], ivs.union(stretches, np.column_stack((doubtful, doubtful + _ONE_TICK))))


def later(t: Ternary, delay: Delay) -> Ternary:
    """The signal `delay` later, rises and falls alike: what a shift register hands on."""
    if isinstance(delay, int):
        return Ternary(t.must + delay, t.can + delay) if delay else t
    must = np.column_stack((travel.latest(t.must[:, 0], delay), travel.earliest(t.must[:, 1], delay)))
    can = np.column_stack((travel.earliest(t.can[:, 0], delay), travel.latest(t.can[:, 1], delay)))
    return Ternary(ivs.merge(must), ivs.merge(can))


def decided_pulses(logic: Ternary, at: Edges, length: Delay, delays: Sequence[Delay] = ()) -> Ternary:
    """A pulse (TP) at each decision that finds the logic on, after all of `delays`; not retriggered while it runs."""
    must, can = ivs.before(logic.must, at.sure), ivs.before(logic.can, at.sure)
    _, good = _decisions_perhaps(logic, at)
    runs = np.concatenate((np.column_stack((at.sure, at.sure + _ONE_TICK))[can], good))
    sure = np.concatenate((must[can], np.zeros(len(good), dtype=np.bool_)))
    order = np.argsort(runs[:, 0], kind="stable")
    first, last = runs[order, 0], runs[order, 1] - _ONE_TICK
    for delay in delays:
        first, last = travel.earliest(first, delay), travel.latest(last, delay)
    return pulses(np.column_stack((first, last + _ONE_TICK)), sure[order], length)


def pulse_range(t: Ternary, starts: Ints, ends: Ints, seen_ns: int) -> tuple[Ints, Ints]:
    """Fewest and most pulses that a controller could count in each window [start, end), a pulse belonging to the window in which
    its on-time begins (counter-example A10d).

    A controller surely notices what lasts `seen_ns`: a shorter on-time counts 0 or 1, a shorter gap may or may not split. A
    stretch that is perhaps on is taken as on throughout or off throughout.
    """
    lasting = ivs.drop_short(t.must, max(seen_ns, 1))
    joined = ivs.fill_gaps(t.can, seen_ns)
    following = np.searchsorted(lasting[:, 0], joined[:, 0], "left")
    has_lasting = np.append(lasting[:, 0], ivs.FAR)[following] < joined[:, 1]
    begins, surely_begun = joined[has_lasting, 0], lasting[following[has_lasting], 0]
    fewest = np.searchsorted(surely_begun, ends, "left") - np.searchsorted(begins, starts, "left")
    # every sure stretch can be a pulse by itself; so can a perhaps that leads to none, or to one that begins after the window
    _, sure_ones = ivs.starting_in(t.must, starts, ends)
    _, all_ones = ivs.starting_in(t.can, starts, ends)
    first_sure = np.append(t.must[:, 0], ivs.FAR)[np.searchsorted(t.must[:, 0], t.can[:, 0], "left")]
    leads = first_sure < t.can[:, 1]
    both = np.searchsorted(first_sure[leads], ends, "left") - np.searchsorted(t.can[leads, 0], starts, "left")
    return np.maximum(fewest, 0), sure_ones + all_ones - np.maximum(both, 0)


def _rises(t: Ternary) -> tuple[Ints, Bools]:
    """Stretches of instants at which a resolution may rise (on there, off one tick before), and whether it must rise in each."""
    runs = ivs.subtract(t.can, t.must + _ONE_TICK)
    from_off = np.isin(runs[:, 0], t.can[:, 0])
    return runs, from_off & np.isin(runs[:, 1] - _ONE_TICK, t.must[:, 0])


def _decisions_perhaps(logic: Ternary, at: Edges) -> tuple[Ints, Ints]:
    """Instants at which a decision may come that may find the logic off, and that may find it on."""
    return ivs.subtract(at.perhaps, logic.must + _ONE_TICK), ivs.intersect(at.perhaps, logic.can + _ONE_TICK)


def _cut(segments: Ints, instants: Ints) -> Ints:
    """The segments, cut at the instants within them: sorted, disjoint, touching where cut (empty where cut at their start)."""
    inside = np.unique(instants)
    inside = inside[ivs.contains(segments, inside)]
    starts = np.sort(np.concatenate((segments[:, 0], inside)))
    ends = np.sort(np.concatenate((segments[:, 1], inside)))
    return np.column_stack((starts, ends))


def _held(iv: Ints, segments: Ints) -> Ints:
    """In each segment, on from the first instant at which `iv` is on to the segment's end."""
    following = np.searchsorted(iv[:, 1], segments[:, 0], "right")
    first = np.maximum(np.append(iv[:, 0], 2 * ivs.FAR)[following], segments[:, 0])
    return ivs.merge(np.column_stack((first, segments[:, 1])))


def _merged(pairs: Sequence[tuple[int, int]]) -> Ints:
    return ivs.merge(np.array(pairs, dtype=np.int64).reshape(-1, 2))
