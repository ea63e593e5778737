"""Instants from clock to clock, against fractions of whole numbers."""

from __future__ import annotations

from fractions import Fraction
from math import floor

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationtest.model.recording_tables import ClockRelation
from stationtest.sources import clocks

DAY = 86_400 * 10**9
MS = 1_000_000


def relation(offset: int, drift_e12: int, within: int = 0, clock: str = "sensor", to: str = "plc") -> ClockRelation:
    return ClockRelation(clock=clock, to=to, offset_ns=offset, drift_e12=drift_e12, within_ns=within)


def nearest(x: Fraction) -> int:
    return floor(x + Fraction(1, 2))


@given(
    st.lists(st.integers(-100 * DAY, 100 * DAY), min_size=1, max_size=20),
    st.integers(-(2**60), 2**60),
    st.integers(-(2**61), 2**61),  # one clock counts from its start, the other has dates
    st.integers(-(10**9) + 1, 10**9 - 1),
)
def test_forth_and_back_against_fractions(since: list[int], t0: int, offset: int, drift: int) -> None:
    """t' = t + offset + drift (t - t0), and its inverse, each rounded once."""
    step = clocks.Step(relation(offset, drift), t0, back=False)
    back = clocks.Step(relation(offset, drift), t0, back=True)
    t = np.array([t0 + x for x in since], np.int64)
    rate = Fraction(drift, 10**12)
    there = step.to(t)
    assert there.tolist() == [int(a) + offset + nearest(rate * (int(a) - t0)) for a in t]
    expected = [t0 + x - nearest(Fraction(x * drift, 10**12 + drift)) for x in (int(b) - offset - t0 for b in t + offset)]
    assert back.to(t + offset).tolist() == expected
    assert np.abs(back.to(there) - t).max() <= 1  # there and back is the same instant, to the nanosecond


def test_the_numbers_of_a7() -> None:
    """Counter-example A7: 20 ppm are 72 ms after an hour."""
    step = clocks.Step(relation(37 * MS, 20 * 10**6), 0, back=False)
    assert step.to(np.array([0, 3600 * 10**9])).tolist() == [37 * MS, 3600 * 10**9 + 37 * MS + 72 * MS]


def test_over_several_clocks() -> None:
    """From the truth's clock by the controller's to the sensor's: along one relation, back along the other; doubts add up."""
    relations = [relation(37 * MS, 20 * 10**6, 4 * MS), relation(-5 * MS, 0, 2 * MS, "list", "plc")]
    first = {"sensor": 10**9, "list": 0}
    way = clocks.way(relations, "list", "sensor", lambda clock: first[clock])
    t_list = 60 * 10**9
    on_plc = Fraction(t_list - 5 * MS)
    on_sensor = 10**9 + (on_plc - 37 * MS - 10**9) / (1 + Fraction(20, 10**6))
    assert way.to(np.array([t_list])).tolist() == [nearest(on_sensor)] and way.within_ns == 6 * MS
    assert clocks.way(relations, "sensor", "sensor", lambda clock: 0) == clocks.Way((), 0)
    assert clocks.way(relations, "encoder", "sensor", lambda clock: 0).within_ns is None


def test_too_far_from_the_first_row() -> None:
    with pytest.raises(OverflowError):
        clocks.Step(relation(0, 1), 0, back=False).to(np.array([2**53]))
    assert clocks.Step(relation(5, 0), 0, back=False).to(np.array([2**60])).tolist() == [2**60 + 5]
    for back in (False, True):  # beyond 146 years from 0 whole nanoseconds would overflow
        far = clocks.Step(relation(-(2**62) if back else 2**62, 0), 0, back)
        assert far.to(np.array([0])).tolist() == [2**62]
        with pytest.raises(OverflowError, match="beyond all dates"):
            far.to(np.array([1]))


def test_a_date_and_a_count_from_a_start() -> None:
    """A logger that counts from 0, a controller with dates: 25 ppm against 12.340 s after 2026-03-02T07:15:00Z, both ways."""
    date = int(np.datetime64("2026-03-02T07:15:00", "ns").astype(np.int64))
    stated = relation(date + 12_340 * MS, 25 * 10**6)
    hour = np.array([0, 3600 * 10**9])
    there = clocks.way([stated], "sensor", "plc", lambda clock: 0).to(hour)
    assert there.tolist() == [date + 12_340 * MS, date + (3_612_340 + 90) * MS]
    assert clocks.way([stated], "plc", "sensor", lambda clock: 0).to(there).tolist() == hour.tolist()
    turned = relation(-date - 12_340 * MS, 0, clock="plc", to="sensor")
    assert clocks.way([turned], "plc", "sensor", lambda clock: date).to(there).tolist() == [0, 3_600_090 * MS]
    with pytest.raises(OverflowError, match="more than 104 days"):  # the date left out
        clocks.way([relation(12_340 * MS, 25 * 10**6)], "plc", "sensor", lambda clock: 0).to(there)
