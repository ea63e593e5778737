"""The belt as a second clock, against arithmetic of speed and way, and against a machine that steps tick by tick.

A12: a flap 620 mm behind the sensor is reached after 620 / 0.5 = 1240 ms at 0.50 m/s, after 620 / 0.42 = 1476.19 ms at 0.42 m/s,
and a stop of 30 s on the way makes either 30 s later. Speed = way / time; no further source is needed.
"""

from __future__ import annotations

import numpy as np
import pytest
import tick_machine as ticks
from hypothesis import given, settings
from hypothesis import strategies as st

from stationtest.model.station import Edge, Logic, Output, Station
from stationtest.model.travel import NM, Belt, Length, Travel
from stationtest.signals import intervals, logic, ternary, travel
from stationtest.signals.belt_points import BeltPoints

MS = 1_000_000
S = 1000 * MS


def belt(*points: tuple[float, float], **more: object) -> Belt:
    """Points (ms, mm)."""
    at = np.array([[round(t * MS), round(x * NM)] for t, x in points], np.int64)
    return Belt(**{"at_ns": at[:, 0], "at_nm": at[:, 1], "lost_ns": intervals.empty(), **more})  # type: ignore[arg-type]


def mm(length: float) -> Length:
    return Length(round(length * NM))


def at(one: Belt | None, t_ms: float, length: float, which: str = "reached") -> float:
    """In ms."""
    delay = travel.OnBelt(one, mm(length))
    return float(getattr(travel, which)(np.array([round(t_ms * MS)]), delay)[0] / MS)


# --- arithmetic of way and speed ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("speed", "ms"), [(500, 1240.0), (420, 1476.190477)])
def test_a12_620_mm_at_two_speeds(speed: float, ms: float) -> None:
    """620 mm / 0.50 m/s = 1240 ms; 620 mm / 0.42 m/s = 1476.19... ms, the first nanosecond after it."""
    way = belt((0, 0), (100_000, speed * 100))
    assert at(way, 10_000, 620) == 10_000 + ms


def test_a12_a_stop_of_any_length_changes_nothing_in_mm() -> None:
    """Half of the way, a stop of 30 s, the other half: 31.24 s; and the way between the two instants is still 620 mm."""
    stopped = belt((0, 0), (10_620, 5310), (40_620, 5310), (60_000, 15_000))
    assert at(stopped, 10_000, 620) == 41_240
    way = travel.way_nm(stopped, np.array([10 * S]), np.array([41_240 * MS]))
    assert way.tolist() == [620 * NM]
    assert at(stopped, 20_000, 0) == 20_000  # nothing is over at once, also while the belt stands
    assert at(stopped, 20_000, 0.5) == 40_621


def test_a_length_that_is_not_reached_is_past_the_end() -> None:
    way = belt((0, 0), (1000, 500))
    assert at(way, 900, 50) == 1000
    assert at(way, 900, 51) == 1000 + 1e-6
    assert at(way, -5, 51) == -5 and at(way, 1500, 51) == 1500  # nothing is known outside
    assert at(way, -5, 51, "earliest") == -5 and at(way, -5, 51, "latest") == 102  # it may have begun just before the first row


def test_doubt_of_a_step_and_of_a_speed() -> None:
    """0.5 m/s known to 2 %: 620 mm are 607.6 to 632.4 mm, 1215.2 to 1264.8 ms. One step of 4 mm: 8 ms either way."""
    doubtful = belt((0, 0), (10_000, 5000), doubt_share=0.02)
    assert (at(doubtful, 1000, 620, "earliest"), at(doubtful, 1000, 620, "latest")) == (2215.2, 2264.8)
    stepped = belt((0, 0), (10_000, 5000), doubt_nm=4 * NM)
    assert (at(stepped, 1000, 620, "earliest"), at(stepped, 1000, 620, "latest")) == (2232, 2248)
    assert at(stepped, 1000, 1, "earliest") == 1000  # never before it began


def test_where_the_way_is_lost_it_may_have_been_any() -> None:
    lost = belt((0, 0), (1000, 500), (3000, 500), (9000, 3500), lost_ns=np.array([[1000 * MS, 3000 * MS]]))
    assert (at(lost, 500, 620, "earliest"), at(lost, 500, 620, "latest")) == (1000, 3740)
    assert at(lost, 2000, 10, "earliest") == 2000
    assert (at(lost, 3000, 620, "earliest"), at(lost, 3000, 620, "latest")) == (4240, 4240)
    assert at(None, 500, 620, "earliest") == 500 and at(None, 500, 620, "latest") > 10**12


@given(
    st.lists(st.tuples(st.integers(1, 10**12), st.integers(0, 10**12)), min_size=1, max_size=20),
    st.integers(0, 10**13),
    st.integers(0, 10**13),
)
def test_there_and_back(steps: list[tuple[int, int]], t: int, length: int) -> None:
    """What is reached at an instant is the position there: within 1 ns of travel, and not a nanosecond earlier."""
    points = np.cumsum(np.array([(0, 0), *steps], np.int64), axis=0)
    way = Belt(at_ns=points[:, 0], at_nm=points[:, 1], lost_ns=intervals.empty())
    t = min(t, int(points[-1, 0]))
    begin = np.array([t])
    when = travel.reached(begin, travel.OnBelt(way, Length(length)))
    wanted = travel.position_nm(way, begin) + length
    if when[0] > points[-1, 0]:
        assert wanted[0] > points[-1, 1]
        return
    fastest = max(x / ns for ns, x in steps)
    assert travel.position_nm(way, when)[0] >= wanted[0] - 1 - fastest * 0.01
    if when[0] > t:
        assert travel.position_nm(way, when - 2)[0] <= wanted[0] + 1


# --- points of a recording ----------------------------------------------------------------------------------------------------


def encoder(speeds: list[tuple[int, float]], per_pulse: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A recording at 1 kHz: (times in ns, the pulse input, true position in mm); `speeds` are (ms, mm/s)."""
    speed = np.concatenate([np.full(ms, mm_s) for ms, mm_s in speeds])
    way = np.concatenate(([0.0], np.cumsum(speed / 1000)[:-1]))
    return np.arange(len(way)) * MS, np.floor(way / per_pulse * 2 + 1e-9) % 2 == 1, way


def points(travel_: Travel, t: np.ndarray, values: np.ndarray, cut: int = 65_536) -> Belt:
    collected = BeltPoints(travel_)
    for low in range(0, len(t), cut):
        collected.add(t[low : low + cut], values[low : low + cut], [], [])
    return collected.finish(int(t[-1]) + MS)


def test_an_encoder_is_thinned_and_true_to_its_doubt() -> None:
    """Two hundred metres with a stop and a change of speed: the position is off by no more than is said, in few points."""
    t, pulses, way = encoder([(60_000, 500), (30_000, 0), (60_000, 420), (60_000, 500), (40_000, 300)], 4)
    one = points(Travel(input="encoder", per_pulse_nm=4 * NM), t, pulses)
    found = travel.position_nm(one, t) / NM
    # the way from one instant to another is what is asked, so the phase of the first pulse does not matter
    off = found - way
    assert off.max() - off.min() <= one.doubt_nm / NM
    assert one.doubt_nm == 5 * NM
    assert len(one.at_ns) < 40 and len(one.lost_ns) == 0


def test_a_counter_is_thinned_and_true_to_its_doubt() -> None:
    t, _, way = encoder([(60_000, 500), (3_000, 0), (60_000, 420)], 4)
    counts = np.floor(way / 0.5 + 1e-9).astype(np.int64)
    one = points(Travel(column="count", per_count_nm=NM // 2), t, counts * (NM // 2))
    off = travel.position_nm(one, t) / NM - way
    assert off.max() - off.min() <= one.doubt_nm / NM == 1.0
    assert len(one.at_ns) < 40


def test_pulses_as_fast_as_readings_are_lost() -> None:
    """0.5 mm a pulse at 500 mm/s and 1 kHz: a pulse a reading. What was counted is no position, and it is said."""
    t, pulses, _ = encoder([(2000, 100), (2000, 400), (2000, 100)], 1)
    one = points(Travel(input="encoder", per_pulse_nm=NM), t, pulses)
    assert len(one.lost_ns) >= 1
    assert one.lost_ns[0, 0] >= 1990 * MS and one.lost_ns[-1, 1] <= 4010 * MS


def test_pulses_in_a_gap_are_lost() -> None:
    t, pulses, _ = encoder([(3000, 100)], 4)
    t[1500:] += 200 * MS
    collected = BeltPoints(Travel(input="encoder", per_pulse_nm=4 * NM))
    collected.add(t, pulses, [1500], [int(t[1499]) + 5 * MS])
    assert collected.finish(int(t[-1]) + MS).lost_ns.tolist() == [[1504 * MS, 1700 * MS]]


def test_a_stated_speed() -> None:
    one = points(Travel(speed_nm_s=500 * NM, within=0.01), np.arange(1000) * MS, np.zeros(1000))
    assert at(one, 100, 62) == 224 and one.doubt_share == 0.01


@settings(max_examples=60)
@given(st.lists(st.integers(0, 30), min_size=2, max_size=400), st.integers(0, 40))
def test_thinned_lines_miss_no_point_by_more(steps: list[int], most: int) -> None:
    t, x = np.arange(len(steps)) * 3, np.cumsum(np.array(steps, np.int64))
    kept = travel.thinned(t, x, most)
    assert kept[0] == 0 and kept[-1] == len(steps) - 1 and (np.diff(kept) > 0).all()
    assert np.abs(np.interp(t, t[kept], x[kept]) - x).max() <= most + 1e-9


# --- logic, against a machine that steps --------------------------------------------------------------------------------------


def stepped_on_delay(on: list[bool], x: list[int], length: int) -> list[bool]:
    out, since = [], None
    for now, here in zip(on, x, strict=True):
        since = (here if since is None else since) if now else None
        out.append(since is not None and here - since >= length)
    return out


def stepped_off_delay(on: list[bool], x: list[int], length: int) -> list[bool]:
    out, left_at, before = [], None, False
    for now, here in zip(on, x, strict=True):
        if now:
            left_at = None
        elif before:
            left_at = here
        out.append(now or (left_at is not None and here - left_at < length))
        before = now
    return out


def stepped_queue(answers: list[bool | None], x: list[int], to_flap: int, pulse: int) -> list[bool]:
    """A shift register: each decision travels `to_flap` with its box, then gives a pulse of `pulse` unless one is running."""
    waiting: list[tuple[int, bool]] = []
    out, began = [], None
    for answer, here in zip(answers, x, strict=True):
        if answer is not None:
            waiting.append((here, answer))
        if began is not None and here - began >= pulse:
            began = None
        while waiting and here - waiting[0][0] >= to_flap:
            _, thrown = waiting.pop(0)
            if thrown and began is None:
                began = here
        out.append(began is not None)
    return out


@st.composite
def belts(draw: st.DrawFn) -> tuple[list[int], Belt]:
    """A belt that runs at 1 to 3 nm a tick and stands now and then: position at each tick, and the same as a `Belt`."""
    stretches = draw(st.lists(st.tuples(st.integers(1, 12), st.integers(0, 3)), min_size=1, max_size=6))
    speeds = [speed for ticks_, speed in stretches for _ in range(ticks_)]
    x = np.concatenate(([0], np.cumsum(speeds)))
    return x[:-1].tolist(), Belt(at_ns=np.arange(len(x)), at_nm=x, lost_ns=intervals.empty())


def on_ticks(signal: ternary.Ternary, n: int) -> list[bool]:
    assert signal.must.tolist() == signal.can.tolist()
    return ticks.bits(signal.must.tolist(), range(n))


def known(pattern: list[bool]) -> ternary.Ternary:
    return ternary.known(intervals.intervals(ticks.runs(pattern)))


@settings(max_examples=200)
@given(belts(), st.data())
def test_delays_in_length_against_a_stepping_machine(way: tuple[list[int], Belt], data: st.DataObject) -> None:
    x, one = way
    on = data.draw(st.lists(st.booleans(), min_size=len(x), max_size=len(x)))
    length = data.draw(st.integers(1, 12))
    delay = travel.OnBelt(one, Length(length))
    span = (0, len(x))
    rises = ternary.bounded(ternary.on_delay(known(on), delay), span)
    assert on_ticks(rises, len(x)) == stepped_on_delay(on, x, length)
    falls = ternary.bounded(ternary.off_delay(known(on), delay), span)
    assert on_ticks(falls, len(x)) == stepped_off_delay(on, x, length)


@settings(max_examples=200)
@given(belts(), st.data())
def test_a_queue_of_decisions_against_a_shift_register(way: tuple[list[int], Belt], data: st.DataObject) -> None:
    """Several boxes under way at once; each decision comes to the flap with its own box, however long the belt stood."""
    x, one = way
    n = len(x)
    bad = data.draw(st.lists(st.booleans(), min_size=n, max_size=n))
    gate = data.draw(st.lists(st.booleans(), min_size=n, max_size=n))
    to_flap, pulse = data.draw(st.integers(0, 15)), data.draw(st.integers(1, 6))
    # a pulse from before the first row might swallow the first one here (TP is not retriggered)
    gate = [now and here > pulse + 6 for now, here in zip(gate, x, strict=True)]
    output = Output(name="flap", logic=Logic(op="all_of", of=("bad",)), decided_at=Edge(input="gate"),
                    acts_after=Length(to_flap), pulse=Length(pulse))  # fmt: skip
    signals = {"bad": known(bad), "gate": known(gate)}
    edges = {Edge(input="gate"): np.array([i for i in range(1, n) if gate[i] and not gate[i - 1]], np.int64)}
    found = logic.evaluate(Station(name="s", outputs=(output,)), signals, edges, (0, n), one)["flap"].state
    answers = [bad[i - 1] if i and gate[i] and not gate[i - 1] else None for i in range(n)]
    expected = stepped_queue(answers, x, to_flap, pulse)
    must, can = (ticks.bits(each.tolist(), range(n)) for each in (found.must, found.can))
    for i in range(n):
        assert must[i] <= expected[i] <= can[i]
        # a decision from before the first row may still be under way; once it cannot be, everything is known
        if x[i] > to_flap + pulse + 6:  # two whole ticks of 3 nm at most
            assert must[i] == can[i]


def test_a_doubt_of_the_way_is_a_perhaps_at_both_ends() -> None:
    """On from 100 ms at 0.5 m/s for 50 mm, known to 4 mm: on for sure from 100 to 192 ms, perhaps until 208 ms."""
    stepped = belt((0, 0), (10_000, 5000), doubt_nm=4 * NM)
    pulse = ternary.pulse(ternary.known(intervals.intervals([(100 * MS, 110 * MS)])), travel.OnBelt(stepped, mm(50)))
    assert (pulse.must / MS).tolist() == [[100, 192]] and (pulse.can / MS).tolist() == [[100, 208]]
