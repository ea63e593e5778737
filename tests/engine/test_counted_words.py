"""Sentences that hold a number agree with it, and what they list can be told apart. Outside the project: English grammar."""

from __future__ import annotations

from pathlib import Path

import pytest
from factory import Did, Table, case, channel, of, run_case, station

from stationtest import plugins
from stationtest.engine import observation_table, planning
from stationtest.files import suite
from stationtest.files.words import size_text
from stationtest.model.station import Settings

ROOT = Path(__file__).parents[2]


def test_kinds_whose_names_hold_commas_are_parted_by_semicolons() -> None:
    found = suite.load(str(ROOT / "example_station"), expectations=plugins.load().expectations)
    needs = {case.id: planning.needs(case) for case in found.cases}
    boxes = [text for text in needs.values() if "full box, lacking" in text]
    assert boxes and all("lacking mint; full box, lacking" in text for text in boxes if "mint" in text)
    assert "(mint, hibiscus, chamomile, rooibos)" in needs["SORT-01"]


@pytest.mark.parametrize(
    ("number", "said"),
    [(999, "999 bytes"), (57_200, "57.2 kB"), (999_960_000, "1000.0 MB"), (16_777_216, "16.8 MB"), (5 * 10**10, "50.0 GB")],
)
def test_sizes_of_files(number: int, said: str) -> None:
    assert size_text(number) == said


@pytest.mark.parametrize(("judged", "said"), [(1, "so far 1 shows at least 5 %"), (2, "so far 2 show at least 22.36 %")])
def test_what_few_trials_show(judged: int, said: str) -> None:
    """0.05 to the power of 1 and of 1/2."""
    table = Table(station())
    table.clean("mint", judged)
    assert said in run_case(table, case(of("mint"), own_channel_only="yes"))["reason"]


@pytest.mark.parametrize(("wrong", "said"), [(3, ""), (4, "; so was 1 more"), (5, "; so were 2 more")])
def test_channels_beyond_those_that_are_named(wrong: int, said: str) -> None:
    names = [str(number) for number in range(1, wrong + 2)]
    channels = tuple(channel(name, "mint" if name == "1" else "rooibos") for name in names)
    table = Table(station(settings=(Settings(channels=channels),)))
    table.add("mint", 0, 80, did={name: Did(on=60) for name in names})
    (trial,) = run_case(table, case(of("mint"), own_channel_only="yes"))["nonconforming_trials"]
    assert trial["text"].count(" was on for ") == 3 and trial["text"].partition("; so ")[2] == said.removeprefix("; so ")


def test_what_is_not_known_is_not_called_silent() -> None:
    table = Table(station())
    table.add("mint", 0, 80, did={"1": Did(known=False), "2": Did()})
    written = observation_table.table(table.station, table.observations()).to_pylist()
    said = {row["channel"]: (row["known"], row["silent"]) for row in written}
    assert said["1"] == (False, False) and said["2"] == (True, True)
