"""The streaming comparator against a plain machine, and against a published table of a two-threshold comparator."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from stationtest.signals.comparator import NEVER, Comparator, carried_in

ON, BAND, OFF = 0, 1, 2


@given(st.lists(st.sampled_from((ON, BAND, OFF)), min_size=1, max_size=60), st.data())
@settings(max_examples=200, deadline=None)
def test_any_cutting_gives_the_states_of_a_plain_machine(levels, data):
    n = len(levels)
    level, t = np.array(levels), np.arange(n) * 10
    state, expected = None, []
    for one in levels:
        state = {ON: True, OFF: False}.get(one, state)
        expected.append(state)
    comparator = Comparator()
    comparator.begin(0)
    row = 0
    while row < n:
        to = min(n, row + data.draw(st.integers(1, 20)))
        before = comparator.state, comparator.changed_at
        rises, falls = comparator.add(t[row:to], level[row:to] == ON, level[row:to] == BAND)
        found, since = carried_in(t[row:to], *before, rises, falls)
        for index in range(row, to):
            assert found[index - row] == bool(index and expected[index - 1])
            changes = [k for k in range(index) if bool(expected[k]) != bool(k and expected[k - 1])]
            assert since[index - row] == (t[changes[-1]] if changes else NEVER)
        row = to
    comparator.end(n * 10)
    on, unknown = np.zeros(n, bool), np.zeros(n, bool)
    for begin, end in comparator.intervals():
        on |= (t >= begin) & (t < end)
    for begin, end in comparator.unknown_intervals():
        unknown |= (t >= begin) & (t < end)
    assert on.tolist() == [bool(one) for one in expected]
    assert unknown.tolist() == [one is None for one in expected]


def test_hysteresis_table():
    """On at or above 80, off below 70, values 50 79 80 75 71 70 69 79 80: 0 0 1 1 1 1 0 0 1. A two-threshold comparator
    (general practice, no standard; sequence `hyst_1`). Distances count the other way round, so they are taken as 100 -
    value: on at 20 or nearer, off beyond 30."""
    distance = 100 - np.array([50, 79, 80, 75, 71, 70, 69, 79, 80], float)
    on = distance <= 20
    band = (distance / 1.5 <= 20) & ~on
    comparator = Comparator()
    comparator.begin(0)
    rises, falls = comparator.add(np.arange(9), on, band)
    assert (rises.tolist(), falls.tolist()) == ([2, 8], [6])
