"""The number of the match on several lines (A18), against a reader that looks at the lines one tick at a time."""

from __future__ import annotations

import numpy as np
import tick_machine as ticks
from hypothesis import given
from hypothesis import strategies as st

from stationtest.signals import coded

EMPTY = np.empty((0, 2), np.int64)
NUMBERS = (("one", 1), ("two", 2), ("five", 5), ("seven", 7))


def lists(bits):
    return np.array(ticks.runs(bits), np.int64).reshape(-1, 2)


def decode(lines, strobe=None, gray=False, seen=0, gaps=EMPTY):
    span = (0, len(lines[0]))
    return coded.decode(
        [lists(line) for line in lines], None if strobe is None else lists(strobe), NUMBERS, gray=gray, none=0, seen_ns=seen,
        gaps=gaps, span=span,
    )  # fmt: skip


def number_at(lines, tick, gray):
    bits = [line[tick] for line in lines]
    if gray:  # the reflected code: each binary digit is the parity of all digits of the code from it up
        bits = [sum(bits[k:]) % 2 == 1 for k in range(len(bits))]
    return sum(2**k for k, bit in enumerate(bits) if bit)


LINES = st.lists(st.tuples(*[st.booleans()] * 4, st.integers(1, 4)), min_size=1, max_size=12)


@given(LINES, st.booleans(), st.sampled_from((0, 2, 3)))
def test_without_a_strobe_a_number_that_changes_soon_is_a_perhaps(stretches, gray, seen):
    each = [[part[k] for part in stretches for _ in range(part[4])] for k in range(3)]
    found = decode(each, gray=gray, seen=seen)
    shown = [number_at(each, tick, gray) for tick in range(len(each[0]))]
    assert not len(found.unknown)
    for name, number in NUMBERS:
        runs = ticks.runs([one == number for one in shown])
        long = [run for run in runs if run[1] - run[0] >= seen]
        assert found.channels[name].must.tolist() == long
        can = ticks.bits(found.channels[name].can.tolist(), range(len(shown)))
        for tick, one in enumerate(shown):
            assert can[tick] or one != number
            if can[tick] and one != number:  # only a short gap between two on-times may have been missed
                before, after = [r for r in runs if r[1] <= tick], [r for r in runs if r[0] > tick]
                assert before and after and after[0][0] - before[-1][1] < seen
    strange = {n for n, begin, end in found.strange}
    lasting = {n for n in (3, 4, 6) for a, b in ticks.runs([one == n for one in shown]) if b - a >= max(seen, 1)}
    assert strange == lasting


@given(LINES)
def test_with_a_strobe_the_number_is_known_until_a_line_changes_without_it(stretches):
    each = [[part[k] for part in stretches for _ in range(part[4])] for k in range(3)]
    strobe = [part[3] for part in stretches for _ in range(part[4])]
    found = decode(each, strobe=strobe, seen=3)
    held, known = 0, False
    expected = {name: [] for name, _ in NUMBERS}
    unknown = []
    for tick, valid in enumerate(strobe):
        now = number_at(each, tick, False)
        if valid:
            held, known = now, True
        elif now != held:
            known = False
        unknown.append(not known)
        for name, number in NUMBERS:
            expected[name].append(known and held == number)
    assert found.unknown.tolist() == ticks.runs(unknown)
    for name, bits in expected.items():
        assert found.channels[name].must.tolist() == found.channels[name].can.tolist() == ticks.runs(bits)


def test_a18_from_7_to_8_the_lines_pass_through_other_numbers():
    """0111 to 1000, the lowest line first to fall and the highest last to rise: 7, 6, 4, 0, 8 within 3 ticks."""
    lines = [lists([True] * 10 + [False] * 10), lists([True] * 11 + [False] * 9), lists([True] * 12 + [False] * 8),
             lists([False] * 13 + [True] * 7)]  # fmt: skip
    numbers = (("six", 6), ("seven", 7), ("eight", 8))
    found = coded.decode(lines, None, numbers, gray=False, none=0, seen_ns=3, gaps=EMPTY, span=(0, 20))
    assert found.channels["seven"].must.tolist() == [[0, 10]] and found.channels["eight"].must.tolist() == [[13, 20]]
    assert found.channels["six"].must.tolist() == [] and found.channels["six"].can.tolist() == [[10, 11]]
    strobe = lists([True] * 9 + [False] * 6 + [True] * 5)
    found = coded.decode(lines, strobe, numbers, gray=False, none=0, seen_ns=3, gaps=EMPTY, span=(0, 20))
    assert found.channels["six"].can.tolist() == [] and found.unknown.tolist() == [[10, 15]]
    assert found.channels["seven"].must.tolist() == [[0, 10]] and found.channels["eight"].must.tolist() == [[15, 20]]


def test_nothing_is_known_where_nothing_was_recorded():
    gap = np.array([[4, 6]], np.int64)
    line = [[True] * 4 + [False] * 2 + [True] * 4, [False] * 10, [False] * 10]
    found = decode(line, gaps=gap)
    assert found.unknown.tolist() == [[4, 6]] and found.channels["one"].must.tolist() == [[0, 4], [6, 10]]
    found = decode(line, gaps=gap, strobe=[True] * 3 + [False] * 5 + [True] * 2)
    assert found.unknown.tolist() == [[4, 8]]
