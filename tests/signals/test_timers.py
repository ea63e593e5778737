"""Timers against sequences derived from the timing diagrams of IEC 61131-3 (see timing_values.py) and small state machines."""

from __future__ import annotations

import numpy as np
import pytest
import tick_machine as ticks
from hypothesis import given
from hypothesis import strategies as st
from timing_values import ROWS, parameters, rows

from stationtest.signals import intervals as ivs
from stationtest.signals import timers

MS = 1_000_000
TIMED = rows("TON", "TOF", "TP", "TON+TOF")
# The diagrams do not decide what happens when an input changes as a time elapses, nor a time of nought: there these rows are a
# choice of the implementation and nothing that the standard asks for.
CHOICES = {"ton_exact", "tof_pt0"}


def events(text):
    """`100:1;350:0` (ms:value) as an interval list in ns."""
    at = [(int(ms) * MS, value) for ms, value in (event.split(":") for event in text.split(";") if event)]
    assert [value for _, value in at] == ["1", "0"] * (len(at) // 2)
    return np.array([ms for ms, _ in at], dtype=np.int64).reshape(-1, 2)


def chain(row, iv):
    times = parameters(row)
    match row["block"]:
        case "TON":
            return timers.on_delay(iv, times["PT_ms"] * MS)
        case "TOF":
            return timers.off_delay(iv, times["PT_ms"] * MS)
        case "TP":
            return timers.pulse(iv, times["PT_ms"] * MS)
        case "TON+TOF":
            return timers.off_delay(timers.on_delay(iv, times["on_ms"] * MS), times["off_ms"] * MS)


@pytest.mark.parametrize("name", [name for name in TIMED if name not in CHOICES])
def test_sequences_of_iec_61131_3(name):
    row = ROWS[name]
    assert chain(row, events(row["input_events"])).tolist() == events(row["expected_output_events"]).tolist(), row["rule"]


@pytest.mark.parametrize("name", sorted(CHOICES))
def test_sequences_that_the_standard_leaves_open_come_out_as_documented(name):
    row = ROWS[name]
    assert chain(row, events(row["input_events"])).tolist() == events(row["expected_output_events"]).tolist()


def test_the_value_table_is_whole():
    assert len(TIMED) == 15 and set(TIMED) >= CHOICES


N = 40
signals = st.lists(st.booleans(), min_size=N, max_size=N)
times = st.integers(0, 9)


def made(bits):
    return ivs.from_mask(np.arange(len(bits)), np.array(bits, dtype=bool), len(bits))


def back(iv):
    assert (np.diff(iv.ravel()) > 0).all()
    return ticks.bits(iv.tolist(), range(N))


@given(signals, times)
def test_on_delay_steps_as_the_state_machine(a, pt):
    assert back(timers.on_delay(made(a), pt)) == ticks.ton(a, pt)


@given(signals, times)
def test_off_delay_steps_as_the_state_machine(a, pt):
    assert back(timers.off_delay(made(a), pt)) == ticks.tof(a, pt)


@given(signals, times)
def test_pulse_steps_as_the_state_machine(a, pt):
    assert back(timers.pulse(made(a), pt)) == ticks.tp(a, pt)


@given(signals, times, times, times)
def test_the_chain_of_a_channel(a, on, off, length):
    chained = timers.pulse(timers.off_delay(timers.on_delay(made(a), on), off), length)
    assert back(chained) == ticks.tp(ticks.tof(ticks.ton(a, on), off), length)


@given(signals, signals, times)
def test_delays_are_monotone_so_that_two_bounds_suffice(a, b, pt):
    more = [p or q for p, q in zip(a, b, strict=True)]
    for timer in (timers.on_delay, timers.off_delay):
        assert all(y or not x for x, y in zip(back(timer(made(a), pt)), back(timer(made(more), pt)), strict=True))


def test_many_overlapping_triggers_stay_quick_and_are_not_retriggered():
    starts = np.arange(200_000, dtype=np.int64) * 10
    assert timers.triggered(starts, 25).tolist() == list(range(0, 2_000_000, 30))
