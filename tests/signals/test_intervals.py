"""Interval algebra against plain lists of on/off at each tick."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import tick_machine as ticks
from hypothesis import given
from hypothesis import strategies as st

from stationtest.signals import intervals as ivs

N = 24
signals = st.lists(st.booleans(), min_size=N, max_size=N)
instants = st.integers(-3, N + 3)
windows = st.lists(st.tuples(instants, instants), max_size=6)


def made(bits):
    return ivs.from_mask(np.arange(len(bits)), np.array(bits, dtype=bool), len(bits))


def back(iv, n=N):
    """As bits; and the list keeps its promise: int64, (n, 2), sorted, nothing empty or touching."""
    assert iv.dtype == np.int64 and iv.ndim == 2 and iv.shape[1] == 2
    assert (np.diff(iv.ravel()) > 0).all()
    return ticks.bits(iv.tolist(), range(n))


def columns(pairs):
    both = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return both[:, 0], both[:, 1]


def on(bits, tick):
    return 0 <= tick < len(bits) and bits[tick]


@given(signals)
def test_a_mask_and_its_intervals_are_the_same_signal(a):
    assert made(a).tolist() == ticks.runs(a)
    assert back(made(a)) == a


def test_each_reading_holds_until_the_next_on_an_uneven_clock():
    t = np.array([3, 4, 10, 11], dtype=np.int64)
    assert ivs.from_mask(t, np.array([True, False, True, True]), 15).tolist() == [[3, 4], [10, 15]]
    assert ivs.from_mask(t[:0], np.array([], dtype=bool), 15).tolist() == []


@given(signals, signals, signals)
def test_set_operations(a, b, c):
    x, y, z = made(a), made(b), made(c)
    assert back(ivs.union(x, y)) == [p or q for p, q in zip(a, b, strict=True)]
    assert back(ivs.intersect(x, y)) == [p and q for p, q in zip(a, b, strict=True)]
    assert back(ivs.subtract(x, y)) == [p and not q for p, q in zip(a, b, strict=True)]
    for n in range(5):
        assert back(ivs.at_least([x, y, z], n, (0, N))) == [p + q + r >= n for p, q, r in zip(a, b, c, strict=True)]


@given(signals, instants, instants)
def test_complement_and_clip_within_a_span(a, start, end):
    inside = [start <= tick < end for tick in range(-5, N + 5)]
    plain = [on(a, tick) for tick in range(-5, N + 5)]
    complement = ivs.complement(made(a), (start, end)) + 5
    assert back(complement, N + 10) == [w and not p for w, p in zip(inside, plain, strict=True)]
    assert back(ivs.clip(made(a), (start, end)) + 5, N + 10) == [w and p for w, p in zip(inside, plain, strict=True)]


@given(st.lists(st.tuples(instants, instants), max_size=8))
def test_pairs_in_any_order_become_a_list(pairs):
    expected = [any(start <= tick < end for start, end in pairs) for tick in range(-3, N + 3)]
    assert back(ivs.intervals(pairs) + 3, N + 6) == expected
    assert ivs.union().tolist() == []


@given(signals, st.integers(0, 6))
def test_short_gaps_and_short_on_times(a, shorter):
    filled, stretches = list(a), ticks.runs(a)
    for (_, left), (right, _) in pairwise(stretches):
        if right - left < shorter:
            filled[left:right] = [True] * (right - left)
    assert back(ivs.fill_gaps(made(a), shorter)) == filled
    assert ivs.drop_short(made(a), shorter).tolist() == [[s, e] for s, e in stretches if e - s >= shorter]


@given(signals, st.lists(instants, max_size=8))
def test_on_at_and_on_just_before_an_instant(a, at):
    assert ivs.contains(made(a), at).tolist() == [on(a, t) for t in at]
    assert ivs.before(made(a), at).tolist() == [on(a, t - 1) for t in at]
    assert ivs.total(made(a)) == sum(a)


@given(signals, windows)
def test_windows(a, pairs):
    starts, ends = columns(pairs)
    iv = made(a)
    cut = [[on(a, tick) for tick in range(start, end)] for start, end in pairs]
    assert ivs.overlap(iv, starts, ends).tolist() == [sum(part) for part in cut]
    assert ivs.longest_in(iv, starts, ends).tolist() == [max((e - s for s, e in ticks.runs(part)), default=0) for part in cut]
    first, count = ivs.starting_in(iv, starts, ends)
    for (start, end), index, n in zip(pairs, first, count, strict=True):
        assert iv[index : index + n, 0].tolist() == [s for s, _ in ticks.runs(a) if start <= s < end]


@given(signals, windows, st.integers(1, 6))
def test_first_on_time_that_lasts(a, pairs, lasts):
    starts, ends = columns(pairs)
    expected = []
    for start, end in pairs:
        cut = ticks.runs([on(a, tick) for tick in range(start, end)], start)
        expected.append(next((s for s, e in cut if e - s >= lasts), ivs.NEVER))
    assert ivs.first_lasting(made(a), starts, ends, lasts).tolist() == expected


@given(signals)
def test_edges_within_a_recording(a):
    """Counter-example A25: an input that is on in the first row has had no edge; the end of a recording is no edge either."""
    rising, falling = ivs.edges(made(a), (0, N))
    assert rising.tolist() == [t for t, edge in enumerate(ticks.r_trig(a)) if edge]
    assert falling.tolist() == [t for t, edge in enumerate(ticks.r_trig([not bit for bit in a])) if edge]


def test_long_lists_are_handled_without_a_loop_over_them():
    """A channel that chatters at 1 kHz for an hour: 1.8 million intervals, exact sums in integers."""
    starts = np.arange(1_800_000, dtype=np.int64) * 2_000_000
    iv = np.column_stack((starts, starts + 1_000_000))
    hour = np.array([3_600_000_000_000])
    assert ivs.overlap(iv, np.array([0]), hour).tolist() == [1_800_000_000_000]
    assert ivs.fill_gaps(iv, 1_000_001).tolist() == [[0, 3_599_999_000_000]]


@pytest.mark.parametrize("function", [ivs.union, ivs.intersect, ivs.subtract])
def test_nothing_is_an_interval_list_too(function):
    assert function(ivs.empty(), ivs.empty()).tolist() == []
