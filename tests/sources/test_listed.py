"""Presentations from a second table, from a gate and a list, and tables of hand trials."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from recording_kit import FORMATS, MS, csv_file, form, opened, sensor, station, trial_form

from stationtest.errors import Problem, ReadingsError
from stationtest.model.case import Suite
from stationtest.model.digital import Digital
from stationtest.model.recording_form import Gate, RecordingForm
from stationtest.model.station import Edge, SetKind
from stationtest.signals.presentations import Facts, builder_for
from stationtest.sources.opening import open_recording
from stationtest.sources.recorded import Recording
from stationtest.sources.trials import void

TABLE = RecordingForm(pattern="truth.csv", rows="trials", start="from", end="to", target="what", specimen="no")


def stream_csv(folder: Path, gate: str = "", name: str = "day.csv", times: list[str] | None = None) -> str:
    """Rows 1 ms apart from 0; the gate is on where the text has a 1."""
    gate = gate or "0" * 40
    times = times or [str(k) for k in range(len(gate))]
    return csv_file(folder, "t,r,g,b,gate\n" + "".join(f"{t},1,2,3,{bit}\n" for t, bit in zip(times, gate, strict=True)), name)


def with_table(**keys: object) -> RecordingForm:
    return form(target=None, presentations_path="truth.csv", presentations_form=replace(TABLE, **keys))  # type: ignore[arg-type]


def with_gate(**keys: object) -> RecordingForm:
    return form(
        target=None, inputs=(Digital(name="box in", column="gate"),), gate=Gate(input="box in", list_path="list.csv", **keys)
    )  # type: ignore[arg-type]


def problem_of(folder: Path, name: str, *forms: RecordingForm, **keys: object) -> Problem:
    with pytest.raises(ReadingsError) as caught:
        opened(folder, name, *forms, **keys).listed()
    (problem,) = caught.value.problems
    return problem


def test_a_second_table_is_sorted_and_on_the_clock_of_the_recording(tmp_path: Path) -> None:
    csv_file(tmp_path, "from,to,what,no\n20,25.5,chamomile,2\n3,9,mint,1\n", "truth.csv")
    recording = opened(tmp_path, stream_csv(tmp_path), with_table())
    listed = recording.listed()
    assert listed is not None
    assert listed.start_ns.tolist() == [3 * MS, 20 * MS] and listed.end_ns.tolist() == [9 * MS, 25_500_000]
    assert [listed.tables["target"][k] for k in listed.codes["target"]] == ["mint", "chamomile"]
    assert listed.rows.tolist() == [3, 2]
    builder = builder_for(Facts(sensors=recording.sensors, every_ns=MS, gap_ns=5 * MS), listed)
    for _ in builder.walk(recording.batches()):
        pass
    table = builder.finish()
    assert table.first_row.tolist() == [3, 20] and table.rows.tolist() == [6, 6]


def test_dates_in_both(tmp_path: Path) -> None:
    day = "2025-03-02T09:00:0"
    csv_file(tmp_path, f"from,to,what,no\n{day}0.010Z,{day}0.020Z,mint,1\n", "truth.csv")
    name = stream_csv(tmp_path, "000", times=[f"{day}0.0{k}1Z" for k in range(3)])
    own = {"time_in": "ISO 8601", "every_ns": 10 * MS}
    dated = form(target=None, presentations_path="truth.csv", presentations_form=TABLE, **own)
    listed = opened(tmp_path, name, dated).listed()
    assert listed is not None and listed.start_ns.tolist() == [9 * MS] and listed.end_ns.tolist() == [19 * MS]
    clash = replace(dated, presentations_form=replace(TABLE, time_in="ms"))
    problem = problem_of(tmp_path, name, clash)
    assert problem.key == "presentations.time.in" and "both must be of one clock" in problem.message


def test_a_star_stands_for_the_name_of_the_recording(tmp_path: Path) -> None:
    csv_file(tmp_path, "from,to,what,no\n3,9,mint,1\n", "day_truth.csv")
    own = form(target=None, presentations_path="*_truth.csv", presentations_form=TABLE)
    listed = opened(tmp_path, stream_csv(tmp_path), own).listed()
    assert listed is not None and listed.path == "day_truth.csv"
    assert problem_of(tmp_path, stream_csv(tmp_path, name="night.csv"), own).code == "no-file"


def test_overlap_is_refused_for_each_sensor(tmp_path: Path) -> None:
    """Two presentations may overlap on two sensors, never on one."""
    head = "from,to,what,no,where\n"
    both = (sensor(), sensor("lid", ("g", "b", "r")))
    csv_file(tmp_path, head + "3,9,mint,1,sachet\n5,12,mint,2,lid\n9,11,mint,3,sachet\n", "truth.csv")
    listed = opened(tmp_path, stream_csv(tmp_path), with_table(sensor="where"), sensors=both).listed()
    assert listed is not None and len(listed) == 3
    csv_file(tmp_path, head + "12,20,mint,1,lid\n3,9,mint,2,lid\n8,10,mint,3,lid\n", "truth.csv")
    problem = problem_of(tmp_path, stream_csv(tmp_path), with_table(sensor="where"), sensors=both)
    assert (problem.place.path, problem.place.line, problem.code) == ("truth.csv", 4, "overlap")
    assert problem.message == "this presentation begins at 0.008 s on lid, before that of line 3 ends, at 0.009 s"
    problem = problem_of(tmp_path, stream_csv(tmp_path), with_table(), sensors=both)
    assert problem.key == "presentations.sensor" and problem.code == "missing-key"


@pytest.mark.parametrize(
    ("text", "keys", "line", "key", "code"),
    [
        ("from,to,what,no\n3,3,mint,1\n", {}, 2, "presentations.end", "bad-presentation"),
        ("from,to,what,no\n1,2,mint,1\n3,4,,1\n", {}, 3, "presentations.target", "bad-presentation"),
        ("from,to,what,no\n1,2,mint,1\n3,4,mnt,1\n", {}, 3, "presentations.target", "unknown-name"),
        ("from,to,what,no\n1,,mint,1\n", {}, 2, "presentations.time", "bad-value"),
        ("from,till,what,no\n1,2,mint,1\n", {}, 0, "presentations.end", "missing-column"),
        ("from,to,what,no\n", {}, 0, "", "empty-recording"),
        ("from,to,what,no\n1,2,mint,1\n", {"end": None}, 0, "presentations.end", "missing-key"),
    ],
)
def test_second_tables_that_are_refused(tmp_path: Path, text: str, keys: dict, line: int, key: str, code: str) -> None:
    csv_file(tmp_path, text, "truth.csv")
    problem = problem_of(tmp_path, stream_csv(tmp_path), with_table(**keys))
    assert (problem.place.path, problem.place.line, problem.key, problem.code) == ("truth.csv", line, key, code)


def test_void_lines_of_a_second_table(tmp_path: Path) -> None:
    csv_file(tmp_path, "from,to,what,no,void\n1,2,mint,1,\n3,4,mint,2,1\n5,6,mint,3,0\n", "truth.csv")
    listed = opened(tmp_path, stream_csv(tmp_path), with_table(void="void")).listed()
    assert listed is not None and listed.void.tolist() == [False, True, False]


def test_a_gate_and_a_list(tmp_path: Path) -> None:
    """On-times that the recording begins or ends in are dropped, and so are those shorter than stated."""
    gate = "1100011110001000111100011"
    csv_file(tmp_path, "target,specimen\nmint,7\nchamomile,8\n", "list.csv")
    recording = opened(tmp_path, stream_csv(tmp_path, gate), with_gate(shortest_ns=2 * MS, offset_ns=3 * MS))
    listed = recording.listed()
    assert listed is not None
    assert listed.start_ns.tolist() == [8 * MS, 19 * MS] and listed.end_ns.tolist() == [12 * MS, 23 * MS]
    assert [listed.tables["target"][k] for k in listed.codes["target"]] == ["mint", "chamomile"]
    assert [listed.tables["specimen"][k] for k in listed.codes["specimen"]] == ["7", "8"]
    assert listed.rows.tolist() == [2, 3]


def test_unequal_numbers_are_never_shifted_to_fit(tmp_path: Path) -> None:
    """Counter-example A6: a list of so many and a gate of another number; both are told, and where to look."""
    csv_file(tmp_path, "target\nmint\nmint\nmint\n", "list.csv")
    name = stream_csv(tmp_path, "0110001100011111110001100")
    problem = problem_of(tmp_path, name, with_gate())
    assert problem.code == "bad-presentation" and problem.key == "gate"
    csv_file(tmp_path, "target\n" + "mint\n" * 5, "list.csv")
    problem = problem_of(tmp_path, name, with_gate())
    assert problem.message == (
        "box in was on 4 times, list.csv lists 5; the first began at 0.001 s, the last at 0.021 s; "
        "most unlike the others (2 ms) is the one at 0.011 s, 7 ms long"
    )
    assert "was on 0 times" in problem_of(tmp_path, stream_csv(tmp_path, "0" * 9), with_gate()).message


def test_a_gate_in_many_batches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The on-times do not depend on the cut; against runs found with plain Python."""
    rng = np.random.default_rng(5)
    gate = "".join("01"[int(bit)] for bit in np.repeat(rng.integers(0, 2, 60), rng.integers(1, 9, 60)))
    runs, at = [], None
    for k, bit in enumerate(gate):
        if bit == "1" and at is None and k and gate[k - 1] == "0":
            at = k
        if bit == "0" and at is not None:
            runs.append((at * MS, k * MS))
            at = None
    csv_file(tmp_path, "target\n" + "mint\n" * len(runs), "list.csv")
    name = stream_csv(tmp_path, gate)
    for block in (40, 1 << 20):
        monkeypatch.setattr("stationtest.sources.csv_readings.BLOCK", block)
        listed = opened(tmp_path, name, with_gate()).listed()
        assert listed is not None
        assert list(zip(listed.start_ns.tolist(), listed.end_ns.tolist(), strict=True)) == runs


def test_no_list_where_truth_stands_in_the_recording(tmp_path: Path) -> None:
    assert opened(tmp_path, stream_csv(tmp_path), form(target=None)).listed() is None


HAND = trial_form(
    specimen="no", seen_by="who", void="void", on=("lit", "yes"), off=("dark", "no"), channels=(Digital(name="1", column="lamp"),)
)


def test_a_table_of_hand_trials(tmp_path: Path) -> None:
    text = "target,no,who,lamp,void\nmint,1,Kim,lit,\nmint,2,Kim,dark,no\n?,3,Lee,,yes\n"
    recording = opened(tmp_path, csv_file(tmp_path, text), HAND)
    got = recording.trials()
    assert got.t_ns is None and len(got) == 3 and not got.bands
    assert got.digital["channel", "1"].tolist() == [1, 0, -1]
    assert [got.tables["seen_by"][k] for k in got.codes["seen_by"]] == ["Kim", "Kim", "Lee"]
    assert [got.tables["target"][k] for k in got.codes["target"]] == ["mint", "mint", "?"]
    assert void(got).tolist() == [False, False, True]
    assert recording.sensors == ()


def test_hand_trials_with_readings_and_inverted_lamps(tmp_path: Path) -> None:
    text = "target,no,who,lamp,void,r,g,b\nmint,1,Kim,lit,,1,2,3\nmint,2,Kim,,,1,2,4\n"
    own = replace(HAND, channels=(Digital(name="1", column="lamp", inverted=True),))
    got = opened(tmp_path, csv_file(tmp_path, text), own).trials()
    assert [band.tolist() for band in got.bands["sachet"]] == [[1, 1], [2, 2], [3, 4]]
    assert got.digital["channel", "1"].tolist() == [0, -1]


@pytest.mark.parametrize(
    ("line", "key", "words"),
    [
        (",4,Kim,lit,", "target", "does not say what was presented"),
        ("mint,4,Kim,maybe,", "on, off", "lamp holds maybe, which is not declared; on is lit, yes, off is dark, no"),
        ("minty,4,Kim,lit,", "target", "did you mean mint?"),
    ],
)
def test_hand_trials_that_are_refused(tmp_path: Path, line: str, key: str, words: str) -> None:
    name = csv_file(tmp_path, f"target,no,who,lamp,void\nmint,1,Kim,lit,\n{line}\n")
    with pytest.raises(ReadingsError) as caught:
        opened(tmp_path, name, HAND).trials()
    (problem,) = caught.value.problems
    assert problem.place.line == 3 and problem.key == key and words in problem.message


def test_an_empty_table_of_trials(tmp_path: Path) -> None:
    with pytest.raises(ReadingsError, match="no rows"):
        opened(tmp_path, csv_file(tmp_path, "target,no,who,lamp,void\n"), HAND).trials()


def test_void_says_nothing_in_a_stream(tmp_path: Path) -> None:
    with pytest.raises(ReadingsError, match="declared void in a table of trials or of presentations"):
        opened(tmp_path, stream_csv(tmp_path), form(target=None, void="gate"))


# A6: unequal numbers, set by set. `i` marks where the input that begins a set rises, `#` where the gate is on, each for 1 ms.


def by_sets(folder: Path, text: str, rows: str, **keys: object) -> Recording:
    """A list with sets, and a station whose sets begin with `box in`; the gate is `box out`."""
    lines = "".join(f"{t},1,2,3,{int(mark == '#')},{int(mark == 'i')}\n" for t, mark in enumerate(text))
    csv_file(folder, "t,r,g,b,gate,begin\n" + lines)
    csv_file(folder, "target,set,specimen\n" + rows, "list.csv")
    inputs = (Digital(name="box out", column="gate"), Digital(name="box in", column="begin"))
    written = form(target=None, inputs=inputs, gate=Gate(input="box out", list_path="list.csv"))
    kind = SetKind(name="box", members=(("mint", 1), ("chamomile", 1)), from_edge=Edge(input="box in", **keys))
    declared = replace(station(written), sets=(kind,))
    return open_recording(Suite(folder=str(folder), station=declared, cases=()), "day.csv", FORMATS)


THREE = "mint,A,1\nchamomile,A,2\nmint,B,3\nchamomile,B,4\nmint,C,5\nchamomile,C,6\n"


def targets(recording: Recording) -> list[str]:
    listed = recording.listed()
    assert listed is not None
    return [listed.tables["target"][code] for code in listed.codes["target"]]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (".i.#.#.i..#...i.#.#.", ["mint", "chamomile", "?", "mint", "chamomile"]),  # one was not seen
        (".i.#.#.i#.#.#.i.#.#.", ["mint", "chamomile", "?", "?", "?", "mint", "chamomile"]),  # one too many
        (".i.#.#.i......i.#.#.", ["mint", "chamomile", "mint", "chamomile"]),  # none at all
        (".#.#...i..#...i.#.#.", ["mint", "chamomile", "?", "mint", "chamomile"]),  # the first set began before the recording
    ],
)
def test_a6_what_does_not_match_is_not_known_and_the_rest_is_sure(tmp_path: Path, text: str, found: list[str]) -> None:
    """Set B has another number of on-times than of rows; A and C have as many of both."""
    recording = by_sets(tmp_path, text, THREE)
    assert targets(recording) == found
    listed = recording.listed()
    assert listed is not None and listed.expected == 6
    (note,) = listed.notes
    rows = text.count("#")
    counted = f"box out was on {rows} times, list.csv lists 6: {rows - 4} on-times and 2 rows"
    assert note.startswith(f"{counted} in set B, from 0.007 s to 0.014 s, so what was presented there is not known")
    assert [listed.tables["set"][code] for code in listed.codes["set"]] == ["A", "A", *["B"] * (rows - 4), "C", "C"]
    assert all(listed.codes["specimen"][k] == -1 for k, name in enumerate(found) if name == "?")


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        (".i.#.#.i..#......#.#.", THREE),  # the edge of a set was lost: nothing is sure
        (".i.#.#.i..#...i.#.#.", THREE.replace("A", "").replace("B", "").replace("C", "")),  # the list names no sets
    ],
)
def test_a6_without_sure_matches_unequal_numbers_are_refused(tmp_path: Path, text: str, rows: str) -> None:
    with pytest.raises(ReadingsError) as caught:
        by_sets(tmp_path, text, rows).listed()
    assert "box out was on 5 times, list.csv lists 6" in str(caught.value.problems[0])
