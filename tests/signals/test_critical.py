"""Critical tolerances against a plain machine that steps through every nanosecond and shares no code with the package.

Counter-example A1: the sign of a margin taken from distances alone and the verdict disagree as soon as hysteresis or a timer
acts.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stationtest.signals import critical as module
from stationtest.signals.critical import Asked, Chain, Layout, Stretches, critical

DISTANCES = (0.2, 0.5, 0.8, 1.0, 1.05, 1.2, 1.5, 2.0, float("inf"))


def machine(times, distances, holds, start, end, carried, since, chain, tolerance, own_only):
    """(on at all, seen for sure by its own cause): comparator, on-delay, off-delay, one step a nanosecond."""
    actual = carried == chain.on_match  # the comparator, as it was before
    own = not chain.on_match  # the comparator of an output that was off before
    inputs, owned = [], []
    level = min(times[0], start)
    for index, distance in enumerate(distances):
        until = times[index + 1] if index + 1 < len(times) else end
        if not holds[index]:
            if distance <= tolerance and distance != float("inf"):
                actual = own = True
            elif distance / (1 + chain.hysteresis) > tolerance or distance == float("inf"):
                actual = own = False
        for _ in range(until - times[index]):
            inputs.append(actual if chain.on_match else not actual)
            owned.append(own if chain.on_match else not own)
    rose = since if carried else None
    through, mine = [], []
    for step, (is_on, is_own) in enumerate(zip(inputs, owned, strict=True)):
        if is_on and rose is None:
            rose = level + step
        if not is_on:
            rose = None
        passed = is_on and level + step - rose >= chain.on_delay_ns
        through.append(passed)
        mine.append(passed and is_own)
    last, run, best = None, 0, 0
    for step, is_on in enumerate([*mine, *[False] * chain.off_delay_ns]):
        if is_on:
            last = step
        stretched = is_on or (last is not None and step - last - 1 < chain.off_delay_ns)
        run = run + 1 if stretched else 0
        best = max(best, run)
    return any(mine) if own_only else any(through), best >= max(chain.seen_ns, 1)


@st.composite
def questions(draw):
    even = draw(st.booleans())
    period = draw(st.integers(1, 3))
    clock, times, distances, starts, begin, end = 100, [], [], [], [], []
    for _ in range(draw(st.integers(1, 3))):
        starts.append(len(times))
        begin.append(clock)
        for _ in range(draw(st.integers(1, 12))):
            times.append(clock)
            distances.append(draw(st.sampled_from(DISTANCES)))
            clock += period if even else draw(st.integers(1, 4))
        end.append(clock)
    k = len(starts)
    carried = draw(st.lists(st.booleans(), min_size=k, max_size=k))
    since = [b - draw(st.integers(1, 9)) for b in begin]
    stretches = Stretches(
        t_ns=np.array(times),
        starts=np.array(starts),
        start_ns=np.array(begin),
        end_ns=np.array(end),
        own_only=np.array(draw(st.lists(st.booleans(), min_size=k, max_size=k))),
        carried=np.array(carried),
        since_ns=np.array(since),
    )
    chain = Chain(
        hysteresis=draw(st.sampled_from((0.0, 0.1, 0.5))),
        on_match=draw(st.booleans()),
        on_delay_ns=draw(st.sampled_from((0, 3, 4, 7))),
        off_delay_ns=draw(st.sampled_from((0, 2, 5, 9))),
        seen_ns=draw(st.sampled_from((0, 3, 6))),
    )
    hold = np.array(draw(st.lists(st.booleans(), min_size=len(times), max_size=len(times)))) if draw(st.booleans()) else None
    return np.array(distances), hold, stretches, chain, even, period


@given(questions())
@settings(max_examples=300, deadline=None)
def test_agrees_with_the_machine_at_and_beside_every_border(question):
    distances, hold, stretches, chain, even, period = question
    k = len(stretches.starts)
    ((any_, sure),) = critical([Asked(distances, hold, stretches, chain)], Layout.of(stretches), np.full(k, even), period)
    edges = np.append(stretches.starts, len(distances))
    for index in range(k):
        rows = slice(edges[index], edges[index + 1])
        own = distances[rows]
        holds = np.zeros(len(own), bool) if hold is None else hold[rows]
        borders = {d for d in own if np.isfinite(d)} | {d / (1 + chain.hysteresis) for d in own if np.isfinite(d)}
        for tolerance in {t * f for t in borders for f in (0.99, 1.0, 1.01)} | {0.01, 9.0}:
            expected = machine(
                stretches.t_ns[rows].tolist(),
                own.tolist(),
                holds.tolist(),
                int(stretches.start_ns[index]),
                int(stretches.end_ns[index]),
                bool(stretches.carried[index]),
                int(stretches.since_ns[index]),
                chain,
                tolerance,
                bool(stretches.own_only[index]),
            )
            if chain.on_match:
                found = tolerance >= any_[index], tolerance >= sure[index]
            else:
                found = tolerance < any_[index], tolerance < sure[index]
            assert expected == found, (tolerance, any_[index], sure[index])


MS = 1_000_000
# Counter-example A1, its table: tolerance 0.012, readings every millisecond, seen 8 ms: what, distances, chain, whether on was
# carried in, which border is asked, the answer.
A1 = [
    ("hysteresis holds a short match", [0.0118] + [0.0125] * 20, {"hysteresis": 0.1}, False, "sure", True),
    ("the on-delay eats it", [0.05] + [0.004] * 20 + [0.05] * 9, {"on_delay_ns": 30 * MS}, False, "sure", False),
    ("the off-delay stretches one good reading", [0.004] + [0.05] * 40, {"off_delay_ns": 40 * MS}, False, "sure", True),
    ("must be silent, and the on-delay keeps it so", [0.006] + [0.05] * 40, {"on_delay_ns": 20 * MS}, False, "any", False),
    ("must be silent, held by hysteresis from before", [0.0125] * 30, {"hysteresis": 0.1}, True, "any", True),
    ("off match far from its reference", [0.05] * 30, {"on_match": False}, False, "sure", True),
]


@pytest.mark.parametrize(("what", "distances", "chain", "carried", "which", "on"), A1, ids=[row[0] for row in A1])
def test_a1_margin_and_answer_have_one_sign(what, distances, chain, carried, which, on):
    n = len(distances)
    plain = {"hysteresis": 0.0, "on_match": True, "on_delay_ns": 0, "off_delay_ns": 0, "seen_ns": 8 * MS} | chain
    stretches = Stretches(
        t_ns=np.arange(n) * MS,
        starts=np.array([0]),
        start_ns=np.array([0]),
        end_ns=np.array([n * MS]),
        own_only=np.array([False]),
        carried=np.array([carried]),
        since_ns=np.array([-50 * MS]),
    )
    asked = [Asked(np.array(distances), None, stretches, Chain(**plain))]
    ((any_, sure),) = critical(asked, Layout.of(stretches), np.array([True]), MS)
    border = (any_ if which == "any" else sure)[0]
    is_on = border <= 0.012 if plain["on_match"] else border > 0.012
    assert is_on == on
    margin_on = 1 - border / 0.012 if plain["on_match"] else border / 0.012 - 1
    assert (margin_on >= 0) == on


@pytest.mark.parametrize("shape", [(5000, 1), (7, 3), (300, 2), (64, 40)])
def test_the_scan_in_blocks_is_the_plain_recursion(shape):
    rng = np.random.default_rng(3)
    value = rng.random(shape)
    low = value / 1.3
    expected = value.copy()
    for row in range(1, shape[0]):
        expected[row] = np.minimum(expected[row], np.maximum(expected[row - 1], low[row]))
    module._scan_in_blocks(value, low)
    np.testing.assert_array_equal(value, expected)
