"""Truth is known apart from the station (A6): who says it is stated and printed; the station's inputs say only when."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from factory import Table, station

from stationtest.engine import claims, recording
from stationtest.engine.sets import Members, assemble
from stationtest.model.case import Suite
from stationtest.model.recording_form import RecordingForm
from stationtest.model.station import Edge


def members(set_code: list[int]) -> Members:
    """Mint and chamomile at 0.2 and 0.6 s, and again 2 s later."""
    start = np.array([200, 600, 2200, 2600]) * 10**6
    return Members(
        target=np.array([0, 1, 0, 1]), start_ns=start, end_ns=start + 80 * 10**6, between=np.zeros(4, bool),
        status=np.zeros(4, np.int64), set_code=np.array(set_code),
    )  # fmt: skip


def found(begins: list[int], ends: list[int], set_code: list[int]) -> tuple[list[bool], list[str]]:
    edges = {Edge(input="box in"): np.array(begins) * 10**6, Edge(input="box out"): np.array(ends) * 10**6}
    sets, _, notes = assemble(station(), members(set_code), ("A", "B"), ("mint", "chamomile"), edges, (0, 5 * 10**9))
    return sets.complete.tolist(), notes


def test_a6_a_bounce_splits_no_box_that_truth_names() -> None:
    """Box out bounces at 0.4 s, half-way through the first box. By the inputs: two boxes, each lacking one; by truth: one that is
    complete, and the bounce is a finding."""
    complete, notes = found([100, 2100], [400, 1000, 3000], [0, 0, 1, 1])
    assert complete == [True, True]
    assert "two box out before a box in: at 0.400 s and at 1.000 s" in notes
    assert any("box out also at 0.400 s, while the set was still coming" in note for note in notes)


@pytest.mark.parametrize("set_code", [[0, 0, 1, 1], [-1, -1, -1, -1]])
def test_a6_two_box_in_before_a_box_out_are_a_finding_with_their_times(set_code: list[int]) -> None:
    _, notes = found([100, 500, 2100], [1000, 3000], set_code)
    assert notes.count("two box in before a box out: at 0.100 s and at 0.500 s") == 1
    assert not [note for note in found([100, 2100], [1000, 3000], set_code)[1] if "two box" in note]


@pytest.mark.parametrize(("form", "told"), [(RecordingForm(pattern="*"), True), (RecordingForm(pattern="*", set="box"), False)])
def test_a6_sets_bounded_by_the_stations_own_inputs_are_a_limit(form: RecordingForm, told: bool) -> None:
    table = Table(station(recordings=(form,)))
    table.add_set(0, 700, {"mint": 1})
    suite = Suite(folder=".", station=table.station, cases=())
    limits = claims.limits(suite, [], [recording.source(suite, table.observations())])
    assert told == any("bounded by inputs of the station itself (box in and box out)" in limit for limit in limits)


def test_who_says_what_was_presented_is_printed(tmp_path: Path) -> None:
    import sys

    sys.path.insert(0, str(Path(__file__).parents[1] / "doors"))
    import station_kit as kit

    made = kit.station(tmp_path / "s", kit.PASSES)
    text = (made / "station.yaml").read_text(encoding="utf-8")
    assert kit.command("run", made, "-o", tmp_path / "a").returncode == 0
    assert kit.record_of(tmp_path / "a")["result"]["sources"][0]["truth_by"] is None
    said = text.replace("target: part, specimen: no}", "target: part, specimen: no, truth: {by: second instrument}}", 1)
    (made / "station.yaml").write_text(said, encoding="utf-8")
    assert kit.command("run", made, "-o", tmp_path / "b").returncode == 0
    assert kit.record_of(tmp_path / "b")["result"]["sources"][0]["truth_by"] == "second instrument"
    assert "<dt>Truth by</dt><dd>second instrument</dd>" in (tmp_path / "b" / "report.html").read_text(encoding="utf-8")


def test_a6_a_set_that_does_not_match_its_list_is_no_trial_and_counted(tmp_path: Path) -> None:
    """The second of three boxes has one gate pulse for two rows: its box and its sachet are no trials, the other four are."""
    import sys

    sys.path.insert(0, str(Path(__file__).parents[1] / "sources"))
    import test_listed
    from factory import PARTS

    from stationtest.engine import observing

    recording_ = test_listed.by_sets(tmp_path, ".i.#.#.i..#...i.#.#.....", test_listed.THREE)
    obs = observing.observe(recording_.suite, "day.csv", PARTS)
    shown = obs.presentations
    assert [shown.targets[code] for code in shown.target[~shown.between]] == ["mint", "chamomile", "?", "mint", "chamomile"]
    assert [bool(status & 16) for status in shown.status[~shown.between]] == [False, False, True, False, False]
    assert [bool(status & 16) for status in obs.sets.status] == [False, True, False]
    assert obs.expected_presentations == 6 and any("in set B" in note for note in obs.notes)
