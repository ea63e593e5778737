"""Three-valued signals against every way in which the perhapses can fall, each run through small state machines.

Ticks 0 to 2 lie before the recording: nothing is known there, so every resolution of them is tried. They are as many as the
longest time in these tests, and so bring about every state that timers, latches and decisions can be in at the first row. What
comes after the recording cannot act back into it.
"""

from __future__ import annotations

import numpy as np
import pytest
import tick_machine as ticks
from hypothesis import given, settings
from hypothesis import strategies as st
from timing_values import ROWS, parameters, rows

from stationtest.signals import intervals as ivs
from stationtest.signals import ternary
from stationtest.signals.ternary import Edges, Ternary

FIRST, END = 3, 8
N = END
SPAN = (FIRST, END)
NO_EDGES = Edges(np.empty(0, dtype=np.int64), ivs.empty())

sure = st.lists(st.booleans(), min_size=END - FIRST, max_size=END - FIRST)
perhaps = st.lists(st.sampled_from([False, True, None]), min_size=END - FIRST, max_size=END - FIRST)
hazy = perhaps.filter(lambda values: values.count(None) <= 3)
times = st.integers(0, FIRST)


def signal(values):
    """A Ternary of what is known in the recording."""
    must = ivs.intervals(ticks.runs([value is True for value in values], FIRST))
    can = ivs.intervals(ticks.runs([value is not False for value in values], FIRST))
    return Ternary(must, can)


def unbounded(values):
    return ternary.unbounded(signal(values), SPAN)


def every(values, before=FIRST):
    return ticks.resolutions([None] * before + list(values))


def briefly(values):
    """For blocks whose whole state is tried at the start: one tick before the recording is enough."""
    return list(every(values, before=1))


def inside(t):
    """(must, can) at each tick of the recording."""
    return tuple(ticks.bits(iv.tolist(), range(FIRST, END)) for iv in (t.must, t.can))


def tightest(outcomes):
    must, can = ticks.bounds([outcome[FIRST - END :] for outcome in outcomes])
    return must, can


def assert_never_wrong(t, outcomes):
    (must, can), (all_of_them, some) = inside(t), tightest(outcomes)
    assert all(truly or not claimed for claimed, truly in zip(must, all_of_them, strict=True))
    assert all(claimed or not truly for claimed, truly in zip(can, some, strict=True))


@given(perhaps, perhaps, st.integers(0, 3))
def test_logic_is_the_tightest_bound(a, b, n):
    x, y = unbounded(a), unbounded(b)
    for built, op in (
        (ternary.any_of(x, y), any),
        (ternary.all_of(x, y), all),
        (ternary.none_of(x, y), lambda now: not any(now)),
        (ternary.at_least(n, x, y), lambda now: sum(now) >= n),
    ):
        # without memory each tick stands for itself
        outcomes = [[op(now) for p in ticks.resolutions(at[:1]) for q in ticks.resolutions(at[1:]) for now in [p + q]]
                    for at in ([v, w] for v, w in zip(a, b, strict=True))]  # fmt: skip
        assert inside(built) == ([all(tick) for tick in outcomes], [any(tick) for tick in outcomes])


@given(perhaps)
def test_correlated_perhapses_are_wider_but_never_wrong(a):
    """A signal used twice: the algebra does not know that both are one."""
    x = unbounded(a)
    contradiction = ternary.all_of(x, ternary.none_of(x))
    assert_never_wrong(contradiction, [[False] * N])
    assert inside(contradiction) == ([False] * 5, [value is None for value in a])


@given(perhaps, times)
def test_delays_are_the_tightest_bound(a, delay):
    assert inside(ternary.on_delay(unbounded(a), delay)) == tightest([ticks.ton(p, delay) for p in every(a)])
    assert inside(ternary.off_delay(unbounded(a), delay)) == tightest([ticks.tof(p, delay) for p in every(a)])


@given(perhaps, times)
def test_pulses_are_never_wrong(a, length):
    assert_never_wrong(ternary.pulse(unbounded(a), length), [ticks.tp(p, length) for p in every(a)])


@given(st.lists(st.booleans(), min_size=N, max_size=N), st.integers(0, 6))
def test_pulses_of_a_known_signal_are_exact_by_the_three_valued_way_too(a, length):
    iv = ivs.intervals(ticks.runs(a))
    t = ternary.pulse(Ternary(iv, iv.copy()), length)
    assert (t.must.tolist(), t.can.tolist()) == (ternary.pulse(ternary.known(iv), length).must.tolist(),) * 2
    assert ticks.bits(t.must.tolist(), range(N)) == ticks.tp(a, length)


@given(sure, times)
def test_a_pulse_is_known_once_the_last_unknown_one_has_ended(a, length):
    """Off for the first rows, as long as a pulse: then nothing from before the recording matters."""
    a = [False] * length + a[length:]
    must, can = inside(ternary.pulse(unbounded(a), length))
    assert must[length:] == can[length:]


@given(hazy, st.sampled_from(["rising", "falling"]))
def test_edges_that_are_sure_and_edges_that_may_have_been(a, which):
    found = getattr(ternary, which)(signal(a), SPAN)
    flip = which == "falling"
    outcomes = [ticks.r_trig([value != flip for value in p], memory=False) for p in every(a)]
    must, can = tightest(outcomes)
    assert [FIRST + t for t, edge in enumerate(must) if edge] == found.sure.tolist()
    claimed = ticks.bits(found.perhaps.tolist(), range(FIRST, END))
    assert [c or FIRST + t in found.sure for t, c in enumerate(claimed)] == can


@given(hazy, hazy)
def test_latch_cleared_by_an_edge(a, b):
    """The least case of `held_until`: `must` is the tightest bound, `can` is too unless an edge is sure but not its instant."""
    state, _ = ternary.latch(unbounded(a), ternary.rising(signal(b), SPAN))
    outcomes = [
        ticks.cleared_latch(s, ticks.r_trig(r, memory=first), q)
        for s in briefly(a)
        for r in briefly(b)
        for q in (False, True)
        for first in (False, True)
    ]
    assert_never_wrong(state, outcomes)
    must, can = tightest(outcomes)
    assert inside(state)[0] == must
    if None not in b:
        assert inside(state)[1] == can


@given(hazy, hazy)
def test_latch_held_while_an_input_is_on(a, b):
    state, _ = ternary.latch(unbounded(a), NO_EDGES, unbounded(b))
    outcomes = [ticks.rs(s, [not on for on in e], q) for s in briefly(a) for e in briefly(b) for q in (False, True)]
    assert inside(state) == tightest(outcomes)


@given(hazy, hazy)
def test_decision_at_an_edge(a, b):
    held = ternary.decided(unbounded(a), ternary.rising(signal(b), SPAN))
    outcomes = [
        ticks.decision(s, ticks.r_trig(d, memory=False), value) for s in briefly(a) for d in briefly(b) for value in (False, True)
    ]
    assert_never_wrong(held, outcomes)
    if None not in b:
        assert inside(held) == tightest(outcomes)


@settings(max_examples=50)
@given(hazy, hazy, times, st.integers(0, 2))
def test_pulse_of_a_decision(a, b, length, delay):
    length = min(length, FIRST - delay)  # so that the ticks before the recording suffice
    pulsed = ternary.decided_pulses(unbounded(a), ternary.rising(signal(b), SPAN), length, (delay,))
    outcomes = [
        ticks.decision_pulse(s, ticks.r_trig(d, memory=False), length, delay) for s in every(a) for d in every(b)
    ]
    assert_never_wrong(pulsed, outcomes)


def test_before_the_first_row_everything_is_unknown():
    """Counter-example A25: a latch is unknown until a reset or a sure set, an output on-delayed until the delay has passed."""
    off = Ternary(ivs.empty(), ivs.empty())
    span = (0, 100)
    latch, _ = ternary.latch(ternary.unbounded(off, span), Edges(np.array([40]), ivs.empty()))
    assert ternary.bounded(latch, span).must.tolist() == []
    assert ternary.bounded(latch, span).can.tolist() == [[0, 40]]
    set_at_20 = ternary.known(ivs.intervals([(20, 25)]))
    latch, _ = ternary.latch(ternary.unbounded(set_at_20, span), Edges(np.array([40]), ivs.empty()))
    assert ternary.bounded(latch, span).must.tolist() == [[20, 40]]
    on = ternary.unbounded(ternary.known(ivs.intervals([(0, 100)])), span)
    assert ternary.bounded(ternary.on_delay(on, 30), span).must.tolist() == [[30, 100]]
    assert ternary.bounded(ternary.on_delay(on, 30), span).can.tolist() == [[0, 100]]


def test_before_the_first_decision_an_output_is_unknown():
    held = ternary.decided(known_off := ternary.known(ivs.empty()), Edges(np.array([40]), ivs.empty()))
    assert (known_off.can.tolist(), held.must.tolist(), held.can.tolist()) == ([], [], [[-ivs.FAR, 40]])


def test_a_short_pulse_sets_a_latch_only_perhaps():
    """Counter-example A10a: mint's only pulse lasts 3 ms, the scan 8 ms; of eight phases of the scan three see it."""
    span = (0, 100)
    no_resets_but_the_first = Edges(np.array([1]), ivs.empty())
    pulse = ternary.seen(ternary.unbounded(ternary.known(ivs.intervals([(50, 53)])), span), 8)
    latch = ternary.bounded(ternary.latch(pulse, no_resets_but_the_first)[0], span)
    assert latch.must.tolist() == []
    assert latch.can.tolist() == [[0, 1], [50, 100]]
    assert sum(any(50 <= scan < 53 for scan in range(phase, 100, 8)) for phase in range(8)) == 3


@given(st.lists(st.booleans(), min_size=20, max_size=20), st.integers(1, 6))
def test_what_is_seen_for_sure_is_seen_at_every_phase_of_every_scan(a, seen):
    """Counter-example A10: an on-time (off-time) of at least `seen` meets a scan whatever its phase; a shorter one may not."""
    t = ternary.seen(ternary.known(ivs.intervals(ticks.runs(a))), seen)
    for start, end in t.must.tolist():
        assert all(any(a[start:end][phase::scan]) for scan in range(1, seen + 1) for phase in range(min(scan, end - start)))
    assert t.must.tolist() == [[s, e] for s, e in ticks.runs(a) if e - s >= seen]
    gaps = [[s, e] for s, e in ticks.runs([not on for on in a]) if s > 0 and e < 20]
    filled = [any(s <= tick < e for s, e in gaps if e - s < seen) for tick in range(20)]
    assert ticks.bits(t.can.tolist(), range(20)) == [on or more for on, more in zip(a, filled, strict=True)]


def test_an_on_time_longer_than_the_scan_but_not_the_filter_too_is_perhaps():
    """Counter-example A10b: scan 8 ms nominal, 11 at worst, 3 ms input filter: on for 9 ms is not seen for sure, 14 ms is."""
    t = ternary.seen(ternary.known(ivs.intervals([(100, 109), (200, 214)])), 11 + 3)
    assert (t.must.tolist(), t.can.tolist()) == ([[200, 214]], [[100, 109], [200, 214]])


def test_a_later_sure_set_settles_a_perhaps():
    """Counter-example A10: perhaps goes on through latches until something sure settles it."""
    span = (0, 100)
    twice = ternary.seen(ternary.unbounded(ternary.known(ivs.intervals([(50, 53), (70, 90)])), span), 8)
    latch = ternary.bounded(ternary.latch(twice, Edges(np.array([1]), ivs.empty()))[0], span)
    assert latch.must.tolist() == [[70, 100]]


def test_what_is_still_on_after_a_reset_sets_again_and_is_named():
    on = ternary.known(ivs.intervals([(10, 30), (50, 60), (70, 80)]))
    latch, carried = ternary.latch(on, Edges(np.array([20, 40, 50, 65]), ivs.empty()))
    assert latch.must[:, 0].tolist() == [10, 50, 70]  # on through 20 unbroken
    assert latch.must[:, 1].tolist() == [40, 65, ivs.FAR]
    assert carried.tolist() == [20]  # at 50 it is set anew, at 40 and 65 it is not on


def test_what_is_on_when_a_held_reset_is_released_sets_again_and_is_named():
    on = ternary.known(ivs.intervals([(10, 30)]))
    latch, carried = ternary.latch(on, NO_EDGES, ternary.known(ivs.intervals([(5, 15), (20, 40)])))
    assert latch.must.tolist() == [[10, 15], [20, 40]]
    assert carried.tolist() == [20]


@pytest.mark.parametrize("name", rows("RS", "SR"))
def test_bistables_of_iec_61131_3(name):
    """Truth tables and sequences; SR (set dominant) is the RS with its set put over it: Q1 := S1 OR (NOT R AND Q1)."""
    row = ROWS[name]
    steps = row["input_events"] or row["parameters"]
    if row["input_events"]:
        events = [(int(t), *change.split("=")) for t, change in (event.split(":") for event in steps.split(";"))]
        level = {n: [(t, v == "1") for t, who, v in events if who == n] for n in "SR"}
    else:
        value = parameters(row)
        # Q before is brought about by a set at 2; the inputs of the row hold from 10 on
        level = {"S": [(2, bool(value["Q_before"])), (3, False), (10, bool(value["S"]))], "R": [(10, bool(value["R"]))]}
    sets, resets = (_levels(level[n]) for n in "SR")
    latch, _ = ternary.latch(ternary.known(sets), NO_EDGES, ternary.none_of(ternary.known(resets)))
    if row["block"] == "SR":
        latch = ternary.any_of(latch, ternary.known(sets))
    assert latch.must.tolist() == latch.can.tolist()
    if row["input_events"]:
        changes = [int(event.split(":")[0]) for event in row["expected_output_events"].split(";")]
        assert latch.must.ravel().tolist() == changes
    else:
        assert ivs.contains(latch.must, 10) == (row["expected_other"] == "Q=1")


def _levels(changes):
    ends = [t for t, _ in changes[1:]] + [200]
    return ivs.intervals((t, end) for (t, on), end in zip(changes, ends, strict=True) if on)


@pytest.mark.parametrize("name", rows("R_TRIG", "F_TRIG"))
def test_edge_triggers_of_iec_61131_3(name):
    row = ROWS[name]
    scans = [value == "1" for value in row["input_events"].split()]
    t = ternary.known(ivs.from_mask(np.arange(len(scans)), np.array(scans), len(scans)))
    found = (ternary.rising if row["block"] == "R_TRIG" else ternary.falling)(t, (0, len(scans)))
    assert found.sure.tolist() == [scan for scan, q in enumerate(row["expected_output_events"].split()) if q == "1"]


@pytest.mark.parametrize("name", rows("CTU"))
def test_counting_pulses_as_the_ctu_of_iec_61131_3(name):
    """CV is the number of pulses since the last reset; the 2nd edition stops at PV, the 3rd counts on."""
    row, value = ROWS[name], parameters(ROWS[name])
    steps = [pair.split(",") for pair in row["input_events"].split()]
    counted = ivs.from_mask(np.arange(len(steps)), np.array([cu == "1" for cu, _ in steps]), len(steps))
    for scan, expected in enumerate(row["expected_output_events"].split()):
        after_reset = max((k + 1 for k in range(scan + 1) if steps[k][1] == "1"), default=0)
        window = np.array([after_reset]), np.array([scan + 1])
        fewest, most = ternary.pulse_range(ternary.known(counted), *window, 0)
        assert fewest == most
        cv = min(int(most[0]), value["PV"]) if value["edition"] == 2 else int(most[0])
        assert f"{cv},{int(cv >= value['PV'])}" == expected


def counts(pairs, seen, window=(0, 1000)):
    fewest, most = ternary.pulse_range(ternary.known(ivs.intervals(pairs)), np.array([window[0]]), np.array([window[1]]), seen)
    return int(fewest[0]), int(most[0])


def test_pulses_counted_at_every_phase_of_the_scan():
    """Counter-example A10d: on 50, off 2, on 50, scan 8: six phases of eight count 1, two count 2."""
    a = ticks.bits([(16, 66), (68, 118)], range(200))
    by_phase = [ticks.count_rises(a[phase::8]) for phase in range(8)]
    assert sorted(by_phase) == [1, 1, 1, 1, 1, 1, 2, 2]
    assert counts([(16, 66), (68, 118)], 8) == (1, 2)
    assert counts([(16, 19)], 8) == (0, 1)
    assert counts([(16, 24)], 8) == (1, 1)


@given(st.lists(st.integers(1, 12), max_size=8), st.integers(1, 8))
def test_pulse_range_holds_at_every_phase_of_every_scan(lengths, seen):
    at, a = 9, [False] * 9
    for index, length in enumerate(lengths):
        a += [index % 2 == 0] * length
        at += length
    a += [False] * 9
    low, high = counts(ticks.runs(a), seen)
    for scan in range(1, seen + 1):
        for phase in range(scan):
            assert low <= ticks.count_rises(a[phase::scan]) <= high


@given(st.lists(st.sampled_from([False, True, None]), max_size=12), st.integers(0, 12), st.integers(0, 12))
def test_pulse_range_in_a_window_where_stretches_are_perhaps(values, start, end):
    """Against every choice for each stretch that is perhaps, as a whole: the range is exactly what they give."""
    stretches = ticks.runs([value is None for value in values])
    found = set()
    for choice in ticks.resolutions([None] * len(stretches)):
        a = [value is True for value in values]
        for (s, e), on in zip(stretches, choice, strict=True):
            a[s:e] = [on] * (e - s)
        found.add(sum(start <= s < end for s, _ in ticks.runs(a)))
    t = Ternary(
        ivs.intervals(ticks.runs([value is True for value in values])),
        ivs.intervals(ticks.runs([value is not False for value in values])),
    )
    fewest, most = ternary.pulse_range(t, np.array([start]), np.array([end]), 0)
    assert (int(fewest[0]), int(most[0])) == (min(found), max(found))
