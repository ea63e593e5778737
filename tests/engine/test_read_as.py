"""Channels that are read by their edges (A23), against every way in which a controller could see a recording.

The second opinion works on lists of on and off: each on- or off-time shorter than `seen` may be seen or missed, whichever; it
counts the rises that belong to each presentation in every one of these ways. It shares no code with the package.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_observing import folder_of, loaded_run, observe

from stationtest.signals import ternary


def by_edge(path):
    station = path / "station.yaml"
    station.write_text(station.read_text().replace("tolerance: 1,", "tolerance: 1, read_as: edge,"))
    return path


def output_of(rows, on_delay, off_delay):
    rose, last, out = None, None, []
    for index, (distance, _, _) in enumerate(rows):
        rose = (index if rose is None else rose) if distance <= 1 else None
        through = rose is not None and index - rose >= on_delay
        last = index if through else last
        out.append(through or (last is not None and index - last - 1 < off_delay))
    return out


def counts(output, shown, seen):
    """Fewest and most rises seen in each presentation."""
    stretches, begin = [], 0
    for index in range(1, len(output) + 1):
        if index == len(output) or output[index] != output[begin]:
            stretches.append((begin, index, output[begin]))
            begin = index
    short = [number for number, (a, b, _) in enumerate(stretches) if b - a < seen and 0 < number < len(stretches) - 1]
    low, high = [10**6] * len(shown), [0] * len(shown)
    for missed in product((False, True), repeat=len(short)):
        state = [is_on for _, _, is_on in stretches]
        for number, gone in zip(short, missed, strict=True):
            if gone:  # what is missed leaves the controller with what it saw before
                state[number] = state[number - 1]
        found = [0] * len(shown)
        for number in range(1, len(stretches)):
            if state[number] and not state[number - 1]:
                for p, (start, end, _) in enumerate(shown):
                    found[p] += start <= stretches[number][0] < end
        low, high = [min(*pair) for pair in zip(low, found, strict=True)], [max(*pair) for pair in zip(high, found, strict=True)]
    return low, high


@given(data=st.data())
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_fired_is_a_rise_in_every_way_of_seeing_it(tmp_path_factory, data):
    draw = data.draw
    rows = [(3, "", "")] * 12
    for _ in range(draw(st.integers(1, 5))):
        target, specimen = draw(st.sampled_from(("red", "red", ""))), draw(st.sampled_from(("a", "b")))
        for _ in range(draw(st.integers(1, 3))):
            rows += [(draw(st.sampled_from((0.5, 3.0))), target, specimen)] * draw(st.integers(1, 6))
    rows += [(3, "", "")] * 20
    on_delay, off_delay, seen = draw(st.sampled_from((0, 2))), draw(st.sampled_from((0, 3, 7))), draw(st.sampled_from((0, 2, 4)))
    path = folder_of(tmp_path_factory.mktemp("s"), rows, seen=seen, on_delay=on_delay, off_delay=off_delay)
    shown, begin = [], None
    for index, (_, target, specimen) in enumerate([*rows, (0, "", "")]):
        key = (target, specimen) if target else None
        if begin is not None and key != begin[1]:
            shown.append((begin[0], index, begin[1]))
            begin = None
        if begin is None and key:
            begin = index, key
    if not shown:
        return
    level, did = observe(path).responses, observe(by_edge(path)).responses
    low, high = counts(output_of(rows, on_delay, off_delay), shown, seen)
    for row in range(len(shown)):
        assert bool(did.fired[row, 0]) == (low[row] >= 1)
        assert bool(did.fired[row, 0] or did.perhaps[row, 0]) == (high[row] >= 1)
        assert did.pulses_min[row, 0] <= low[row] and did.pulses_max[row, 0] >= high[row]
        assert did.silent[row, 0] == level.silent[row, 0] and did.on_ns[row, 0] == level.on_ns[row, 0]
        sure = did.critical_sure[row, 0]
        assert np.isnan(sure) or (sure <= 1) == did.fired[row, 0]  # the sign of the margin is the verdict, or there is none


TOUCHING = [(3, "", "")] * 30 + [(0.5, "red", "a")] * 30 + [(0.5, "red", "b")] * 30 + [(3, "", "")] * 30


def test_a23_two_parts_that_touch_are_one_count(tmp_path):
    """By level both fire; by edge the second does not, and says why; nothing is left to say about its margin."""
    path = folder_of(tmp_path, TOUCHING, seen=8)
    assert observe(path).responses.fired[:, 0].tolist() == [True, True]
    did = observe(by_edge(path)).responses
    assert did.fired[:, 0].tolist() == [True, False] and did.perhaps[:, 0].tolist() == [False, False]
    assert did.pulses_min[:, 0].tolist() == did.pulses_max[:, 0].tolist() == [1, 0]
    assert did.critical_sure[0, 0] == 0.5 and np.isnan(did.critical_sure[1, 0])
    case = loaded_run(path)["A"]
    assert case["verdict"] == "fail" and (case["strata"][0]["conforming"], case["strata"][0]["nonconforming"]) == (1, 1)
    assert "channel one was on for 30 ms and did not rise: it was on already" in case["nonconforming_trials"][0]["text"]


def test_a_gap_too_short_to_be_seen_is_a_perhaps(tmp_path):
    gap = TOUCHING[:60] + [(3, "", "")] * 5 + TOUCHING[60:]
    path = by_edge(folder_of(tmp_path, gap, seen=8))
    did = observe(path).responses
    assert did.fired[:, 0].tolist() == [True, False] and did.perhaps[:, 0].tolist() == [False, True]
    assert (did.pulses_min[1, 0], did.pulses_max[1, 0]) == (0, 1)
    (wrong,) = loaded_run(path)["A"]["nonconforming_trials"]
    assert "rose, but was off before or on after it for less than the 8 ms" in wrong["text"]


def test_the_first_rise_is_not_known_where_the_recording_begins_on(tmp_path):
    path = by_edge(folder_of(tmp_path, [(1.05, "red", "a")] * 20 + [(3, "", "")] * 20, hysteresis=10))
    case = loaded_run(path)["A"]
    assert case["strata"][0]["not_judged"] == 1


def test_a_recorded_channel_that_goes_on_through_a_touching_neighbour_did_not_rise(tmp_path):
    """By level it could be anybody's and is not judged; by edge it is plain."""
    path = folder_of(tmp_path, TOUCHING, seen=8)
    station = path / "station.yaml"
    station.write_text(station.read_text().replace("specimen: specimen}", "specimen: specimen, channels: {one: Q}}"))
    recording = path / "recordings" / "r.csv"
    head, *lines = recording.read_text().splitlines()
    on = [f"{line},{int(30 <= number < 90)}" for number, line in enumerate(lines)]
    recording.write_text("\n".join([f"{head},Q", *on]) + "\n")
    assert loaded_run(path)["A"]["strata"][0]["not_judged"] == 1
    strata = loaded_run(by_edge(path))["A"]["strata"][0]
    assert (strata["conforming"], strata["nonconforming"], strata["not_judged"]) == (1, 1, 0)


def test_a_latch_read_by_edge_is_not_set_again_by_what_is_still_on():
    """On from 10 to 90, reset at 50: by level it is set again there, by edge it stays reset (the RS bistable of IEC 61131-3)."""
    signal = ternary.known(np.array([[10, 90]], np.int64))
    resets = ternary.Edges(np.array([50], np.int64), np.empty((0, 2), np.int64))
    span = (0, 100)
    rises = ternary.at_rises(ternary.unbounded(signal, span), span)
    state, carried = ternary.latch(ternary.unbounded(rises, span), resets)
    assert ternary.bounded(state, span).must.tolist() == [[10, 50]] and not len(carried)
    state, carried = ternary.latch(ternary.unbounded(signal, span), resets)
    assert ternary.bounded(state, span).must.tolist() == [[10, 100]] and carried.tolist() == [50]


@pytest.mark.parametrize("on", [[(0, 40)], []])
def test_what_is_on_in_the_first_row_has_not_risen(on):
    rises = ternary.at_rises(ternary.known(np.array(on, np.int64).reshape(-1, 2)), (0, 100))
    assert not len(rises.must)
