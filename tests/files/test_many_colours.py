# ruff: noqa: E501 (messages stand whole on one line)
"""Channels with several references, switching points, groups: from the words to the model, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from station_folder import STATION, make, problems, suite

from stationtest.files.station_model import hysteresis_of

ONE = "  1: {reference: mint, distance: CIEDE2000, tolerance: 4}"
SEVERAL = (
    "  1: {references: [mint, {colour: {Lab: [60, -20, 10], illuminant: D65, observer: 2 deg}}, "
    "{learned: recordings/day1.csv, target: chamomile}], for: [mint, chamomile], distance: CIEDE2000, tolerance: 4}"
)


def test_a_channel_has_one_reference_or_several(tmp_path: Path) -> None:  # counter-example A18
    station = suite(make(tmp_path, station=STATION.replace(ONE, SEVERAL))).station
    channel = station.channel("1")
    assert [reference.name for reference in channel.references] == ["mint", "mint", "chamomile"]
    assert channel.for_targets == ("mint", "chamomile")
    assert station.should_be_on("chamomile", "sachet") == ("1", "2")
    assert [reference.learned is not None for reference in channel.references] == [False, False, True]


def test_several_references_stand_for_their_targets(tmp_path: Path) -> None:
    two = "  1: {references: [mint, {learned: recordings/day1.csv, target: chamomile}], distance: CIEDE2000, tolerance: 4}"
    assert suite(make(tmp_path, station=STATION.replace(ONE, two))).station.channel("1").for_targets == ("mint", "chamomile")


def test_switching_points_are_a_tolerance_and_a_hysteresis(tmp_path: Path) -> None:  # counter-example A32
    points = ONE.replace("tolerance: 4", "switching: {on_at: 0.0108, off_at: 0.0120}")
    channel = suite(make(tmp_path, station=STATION.replace(ONE, points))).station.channel("1")
    assert channel.tolerance == 0.0108 and channel.hysteresis == pytest.approx(1 / 9)


@given(st.floats(1e-4, 100), st.floats(1, 3))
def test_a_distance_of_exactly_the_off_point_keeps_the_state_and_no_farther_one(on_at: float, ratio: float) -> None:
    off_at = on_at * ratio
    h = hysteresis_of(on_at, off_at)
    assert h >= 0 and off_at / (1 + h) <= on_at
    assert off_at * (1 + 1e-12) / (1 + h) > on_at


THREE = "  3: {reference: {learned: recordings/day1.csv, target: bare belt}, distance: CIEDE2000, tolerance: 4}\n"
GROUPED = "  2: {reference: {learned: recordings/day1.csv, target: chamomile}, distance: CIEDE2000, tolerance: 4}\n"


def grouped(group: str) -> str:
    return STATION.replace(GROUPED, GROUPED + THREE + f"groups:\n  sorts: {group}\n")


def test_a_group(tmp_path: Path) -> None:
    station = suite(make(tmp_path, station=grouped("{channels: [2, 1], choose: nearest, lead: 12.5 %}"))).station
    (group,) = station.groups_of("sachet")
    assert (group.name, group.channels, group.lead) == ("sorts", ("2", "1"), 0.125)
    assert suite(make(tmp_path, station=grouped("{channels: [2, 1], choose: nearest}"))).station.groups[0].lead == 0


NO_GROUP = [
    ("{channels: [1, 2]}", "groups.sorts.choose: this key is missing [missing-key]"),
    ("{channels: [1], choose: nearest}", "station.yaml:22:11: groups.sorts.channels: this has the wrong number of entries; found 1; allowed at least 2"),
    ("{channels: [1, 9], choose: nearest}", "station.yaml:22:25: groups.sorts.channels.2: there is no channel"),
    ("{channels: [1, 2], choose: farthest}", "station.yaml:22:37: groups.sorts.choose: this word is not known here; did you mean `nearest`?"),
    ("{channels: [1, 2], choose: nearest, lead: 0.1}", "station.yaml:22:52: groups.sorts.lead: a bare number needs a unit"),
    ("{channels: [1, 2, 1], choose: nearest}", "station.yaml:22:28: groups.sorts.channels.3: channel 1 stands twice in this group [duplicate-name]"),
    ("{channels: [1, 2], choose: nearest}\n  more: {channels: [3, 2], choose: nearest}", "station.yaml:23:24: groups.more.channels.2: channel 2 is in the group `sorts` already; a channel has at most one [contradiction]"),
]


@pytest.mark.parametrize(("group", "answer"), NO_GROUP, ids=[group for group, _ in NO_GROUP])
def test_a_group_that_cannot_be(tmp_path: Path, group: str, answer: str) -> None:
    make(tmp_path, station=grouped(group))
    assert any(answer in problem for problem in problems(tmp_path)), problems(tmp_path)


def test_a_group_whose_nearest_cannot_be_told(tmp_path: Path) -> None:
    station = grouped("{channels: [1, 2, 3], choose: nearest}")
    two = THREE.replace("bare belt}", "chamomile}")
    assert problems(make(tmp_path, station=station.replace(THREE, two))) == [
        "station.yaml:22:28: groups.sorts.channels.3: channels 2 and 3 both stand for chamomile, and only one of a group can match it; give one channel both `references:`, or say with `for:` what each stands for [contradiction]"
    ]
    off = THREE.replace("tolerance: 4}", "tolerance: 4, switches: off match}")
    assert problems(make(tmp_path, station=station.replace(THREE, off))) == [
        "station.yaml:22:28: groups.sorts.channels.3: channel 3 switches off match; the channels of a group switch on match [contradiction]"
    ]
    sensor = STATION[STATION.index("  sachet:") : STATION.index("targets:")]
    other = station.replace("targets:\n", sensor.replace("sachet", "sleeve") + "targets:\n", 1)
    for number in (1, 2, 3):
        place = "sleeve" if number == 3 else "sachet"
        other = other.replace(f"  {number}: {{reference", f"  {number}: {{sensor: {place}, reference")
    assert [problem.partition(": ")[2] for problem in problems(make(tmp_path, station=other))] == [
        "groups.sorts.channels.3: channels 1 and 3 are of two sensors; a group compares readings of one [contradiction]"
    ]


EDGE = STATION.replace(ONE, ONE.replace("tolerance: 4", "tolerance: 4, read_as: edge"))


def test_a_channel_is_read_by_its_level_or_its_edges(tmp_path: Path) -> None:  # counter-example A23
    assert suite(make(tmp_path)).station.channel("1").read_as == "level"
    station = suite(make(tmp_path, station=EDGE)).station  # a latch of `complete` remembers the edge
    assert station.channel("1").by_edge and not station.channel("2").by_edge
    pulse = EDGE.replace("outputs:\n", "outputs:\n  counter: {any_of: [2, {all_of: [1]}], pulse: 20 ms}\n")
    assert suite(make(tmp_path, station=pulse)).station.output("counter").pulse == 20_000_000


@pytest.mark.parametrize("how", ["{any_of: [2, {all_of: [1]}]}", "{any_of: [1], decided_at: box out, pulse: 20 ms}"])
def test_an_instant_that_nothing_remembers(tmp_path: Path, how: str) -> None:
    make(tmp_path, station=EDGE.replace("outputs:\n", f"outputs:\n  counter: {how}\n"))
    assert problems(tmp_path) == [
        "station.yaml:22:3: outputs.counter: channel 1 is read by its edges, which last no time: this output needs a latch (held_until, held_while) or a pulse [contradiction]"
    ]


REFUSED = [
    (
        "reference: mint, distance: CIEDE2000, tolerance: 4}",
        "distance: CIEDE2000, tolerance: 4}",
        "station.yaml:18:3: channels.1.reference: this key is missing; a channel looks for one colour (`reference:`) or any of several (`references:`) [missing-key]",
    ),
    (
        "reference: mint, distance",
        "reference: mint, references: [mint], distance",
        "station.yaml:18:24: channels.1.references: a channel has either one `reference:` or several `references:` [contradiction]",
    ),
    (
        "reference: mint, distance",
        "references: [mint, chamomile], distance",
        "station.yaml:18:26: channels.1.references.2: the target `chamomile` has no colour to compare with; give it `colour:`, or write reference: {learned: RECORDING, target: NAME} [colour-mismatch]",
    ),
    (
        "CIEDE2000, tolerance: 4}\n  2",
        "CIEDE2000}\n  2",
        "station.yaml:18:3: channels.1.tolerance: this key is missing; it is the largest distance that switches [missing-key]",
    ),
    (
        "tolerance: 4}\n  2",
        "tolerance: 4, switching: {on_at: 3, off_at: 4}}\n  2",
        "station.yaml:18:56: channels.1.tolerance: the switching points stand under `switching:`; a channel has either those or a tolerance with its hysteresis [contradiction]",
    ),
    (
        "tolerance: 4}\n  2",
        "switching: {on_at: 4, off_at: 3}}\n  2",
        "station.yaml:18:75: channels.1.switching.off_at: a channel switches off farther from its reference than on, or as far; found off_at 3 below on_at 4 [contradiction]",
    ),
]


@pytest.mark.parametrize(("old", "new", "answer"), REFUSED, ids=[new[:40] for _, new, _ in REFUSED])
def test_refused(tmp_path: Path, old: str, new: str, answer: str) -> None:
    assert old in STATION
    make(tmp_path, station=STATION.replace(old, new, 1))
    assert answer in problems(tmp_path)
