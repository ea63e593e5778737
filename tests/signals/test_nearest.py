"""Groups of which only the nearest matches, against the definition written out for one reading at a time (A18)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationtest.model.group import Group
from stationtest.model.station import Channel
from stationtest.signals.nearest import Nearest


def channel(name: str, tolerance: float) -> Channel:
    return Channel(name=name, sensor="eye", references=(), for_targets=(), distance="CIEDE2000", tolerance=tolerance)


def floors(distance, tolerances, lead=0.0):
    names = [str(number) for number in range(len(tolerances))]
    nearest = Nearest([channel(*pair) for pair in zip(names, tolerances, strict=True)],
                      [Group(name="g", channels=tuple(names), lead=lead)])  # fmt: skip
    return nearest.floors(np.array(distance, float))


def test_a18_a_reading_between_two_references_is_a_coin_toss():
    """0.0040 from one and 0.0042 from the other, both with a tolerance of 0.012: closeness 0.67, but only 1 - 40 / 42 of room."""
    floor = floors([[0.0040], [0.0042]], [0.012, 0.012])
    assert 1 - floor[0, 0] / 0.012 == pytest.approx(1 - 40 / 42)
    assert floor[1, 0] / 0.012 - 1 == pytest.approx(42 / 40 - 1)


def test_a_tie_is_won_by_nobody():
    floor = floors([[0.3, 0.0, 0.3], [0.6, 0.0, math.inf]], [1.0, 2.0])
    assert (floor[:, 0] > [1.0, 2.0]).all() and (floor[:, 1] > [1.0, 2.0]).all()
    assert floor[0, 2] == 0.0 and floor[1, 2] == math.inf


DISTANCES = st.one_of(st.sampled_from((0.0, 0.25, 0.5, 1.0, 2.0, math.inf)), st.floats(0, 4))


@given(st.integers(2, 5), st.sampled_from((0.0, 0.1, 0.5, 1.0)), st.data())
def test_the_floor_is_reached_exactly_where_the_definition_says_that_a_channel_wins(k, lead, data):
    distance = [data.draw(DISTANCES) for _ in range(k)]
    tolerance = [data.draw(st.sampled_from((0.5, 1.0, 1.3, 3.0))) for _ in range(k)]
    found = floors([[d] for d in distance], tolerance, lead)[:, 0]
    ratio = [d / t for d, t in zip(distance, tolerance, strict=True)]
    won = []
    for number in range(k):
        others = min(ratio[:number] + ratio[number + 1 :])
        wins = ratio[number] * (1 + lead) < others
        assert (found[number] <= tolerance[number]) == wins
        won.append(wins)
        for scale in (0.5, 0.9, 1.1, 3.0):  # its own tolerance alone
            border = ratio[number] * (1 + lead)
            if math.isfinite(border) and not (others and math.isclose(border / scale, others, rel_tol=1e-9)):
                assert (found[number] <= scale * tolerance[number]) == (border / scale < others)
    assert sum(won) <= 1


def test_channels_without_a_group_have_no_floor_and_groups_do_not_meet():
    channels = [channel(name, 1.0) for name in "abcde"]
    nearest = Nearest(channels, [Group(name="g", channels=("d", "a")), Group(name="h", channels=("b", "e"))])
    assert nearest.rows == (1, 2, None, 0, 3)
    floor = nearest.floors(np.array([[0.2], [0.1], [0.0], [0.4], [0.3]]))
    assert (floor[:, 0] <= 1).tolist() == [False, True, True, False]
