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
