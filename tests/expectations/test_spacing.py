"""The distance between neighbours: in time and in length of belt, against subtraction; what is known to a reading period only."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from factory import MS, Table, case, of, run_case, station

from stationtest.model.case import Evidence
from stationtest.model.travel import NM, Belt
from stationtest.signals import intervals


def found(starts: list[float], nominal: str, within: str, *, way: Belt | None = None, **rows: Any) -> tuple[int, int, int, str]:
    """Conforming, nonconforming, not judged, and the reason, of mint presentations that start at these ms."""
    table = Table(station())
    for k, start in enumerate(starts):
        table.add("mint", start, start + 40, **{key: each[k] for key, each in rows.items()})
    obs = dataclasses.replace(table.observations(), belt=way)
    result = run_case(obs, case(of("mint"), Evidence(trials=1), spacing={"nominal": nominal, "within": within}))
    return result["conforming"], result["nonconforming"], result["not_judged"], result["reason"]


@pytest.mark.parametrize(
    ("within", "counts"),
    [("12 ms", (1, 0, 0)), ("11 ms", (1, 0, 0)), ("10 ms", (0, 0, 1)), ("9 ms", (0, 0, 1)), ("8 ms", (0, 1, 0))],
)
def test_by_subtraction(within: str, counts: tuple[int, int, int]) -> None:
    """260 - 100 = 160 ms, 10 ms more than 150; each start is known to one reading period of 1 ms."""
    assert found([100, 260], "150 ms", within)[:3] == counts


def test_the_reason_says_the_distance() -> None:
    assert "it starts 160 ms behind the one before it" in found([100, 260], "150 ms", "8 ms")[3]
    assert "it starts 160 ms behind the one before it, known to 1 ms only" in found([100, 260], "150 ms", "10 ms")[3]


def test_the_first_has_none_and_every_other_has_one() -> None:
    assert found([100, 260, 420, 600], "160 ms", "5 ms")[:3] == (2, 1, 0)
    assert found([100], "160 ms", "5 ms")[:3] == (0, 0, 0)


def test_not_across_sets_and_items() -> None:
    """Two webs of two marks each: one pair in each, and none from web to web."""
    assert found([100, 260, 900, 1060], "160 ms", "5 ms", item=["web 1", "web 1", "web 2", "web 2"])[:3] == (2, 0, 0)
    assert found([100, 260, 900, 1060], "160 ms", "5 ms", set=[0, 0, 1, 1])[:3] == (2, 0, 0)


def belt(*points: tuple[float, float], **more: Any) -> Belt:
    at = np.array([[round(t * MS), round(x * NM)] for t, x in points], np.int64)
    return Belt(**{"at_ns": at[:, 0], "at_nm": at[:, 1], "lost_ns": intervals.empty(), **more})


def test_in_length_a_stop_changes_nothing() -> None:
    """80 mm at 0.5 m/s are 160 ms; with a stop of 5 s between them the marks are 80 mm apart all the same."""
    steady, stopped = belt((0, 0), (20_000, 10_000)), belt((0, 0), (200, 100), (5200, 100), (20_000, 7500))
    assert found([100, 260], "80 mm", "2 mm", way=steady)[:3] == (1, 0, 0)
    assert found([100, 5260], "80 mm", "2 mm", way=stopped)[:3] == (1, 0, 0)
    assert found([100, 266], "80 mm", "2 mm", way=steady)[:3] == (0, 1, 0)  # 83 mm, known to 0.5 mm
    assert found([100, 264], "80 mm", "2 mm", way=steady)[:3] == (0, 0, 1)  # 82 mm, just so


def test_the_doubt_of_the_belt() -> None:
    doubtful = belt((0, 0), (20_000, 10_000), doubt_nm=2 * NM)
    assert found([100, 260], "80 mm", "2 mm", way=doubtful)[:3] == (0, 0, 1)
    assert found([100, 260], "80 mm", "3 mm", way=doubtful)[:3] == (1, 0, 0)
    lost = belt((0, 0), (20_000, 10_000), lost_ns=np.array([[200 * MS, 210 * MS]]))
    assert "the way of the belt between the two is not known" in found([100, 260], "80 mm", "3 mm", way=lost)[3]
    assert "no `travel` is stated for it" in found([100, 260], "80 mm", "3 mm")[3]


def test_times_and_lengths_do_not_mix() -> None:
    with pytest.raises(ValueError, match="both times or both lengths"):
        found([100, 260], "80 mm", "3 ms")
