"""Recordings of several tables: the same day in one table and in three, logs of samples and of changes, and what is refused."""

from __future__ import annotations

import csv
import dataclasses
import itertools
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
import pytest
from tables_station import Day

from stationtest import plugins
from stationtest.engine.observing import observe
from stationtest.errors import Problem, StationtestError
from stationtest.files.suite import load_station
from stationtest.model.observations import SourceObservations
from stationtest.sources.opening import open_recording
from stationtest.sources.several_tables import TablesRecording

TABLES = "recordings/day1.recording.yaml"
PLC = "recordings/day1_plc.csv"
SENSOR = "t,r,g,b,part\n" + "".join(f"{k},160,150,155,{'mint' if 20 <= k < 60 else ''}\n" for k in range(100))
MS = 1_000_000


def small(folder: Path, log: str, table: str, clocks: str = "{log: {to: eye, offset: 0 ms, within: 0 ms}}") -> TablesRecording:
    """100 ms of readings with a mint from 20 to 60 ms, and a log with what `table` says of it."""
    Day(0).write(folder)
    text = (
        "tables:\n  eye: {file: eye.csv, time: t, unit: ms, gap: 3 ms, target: part}\n"
        f"  log: {{file: log.csv, unit: ms, {table}}}\nclocks: {clocks}\n"
    )
    if log.startswith("t,tag,v\n") and log.count("\n") > 1:
        log += "100,watchdog,1\n"  # the log goes on as long as the readings
    for name, content in (("eye.csv", SENSOR), ("log.csv", log), ("day1.recording.yaml", text)):
        (folder / "recordings" / name).write_text(content, encoding="utf-8")
    found = open_recording(load_station(str(folder)), TABLES, plugins.load().formats)
    assert isinstance(found, TablesRecording)
    return found


def ms(pairs: np.ndarray) -> list[list[float]]:
    """Stretches within the recording, in ms."""
    return [[max(a, 0) / MS, min(b, 100 * MS) / MS] for a, b in pairs.tolist() if a < 100 * MS and b > 0]


def refusal(folder: Path, log: str, table: str) -> Problem:
    with pytest.raises(StationtestError) as caught:
        _ = small(folder, log, table).logged()
    (problem,) = caught.value.problems
    return problem


def observed(folder: Path, key: str) -> SourceObservations:
    return observe(load_station(str(folder)), key, plugins.load())


def same(a: object, b: object) -> bool:
    if dataclasses.is_dataclass(a):
        return all(same(getattr(a, field.name), getattr(b, field.name)) for field in dataclasses.fields(a))
    if isinstance(a, np.ndarray):
        return bool(np.array_equal(a, b, equal_nan=a.dtype.kind == "f"))  # type: ignore[arg-type]
    return a == b


LONG = "layout: long, time: t, name: tag, value: v, rows_are: changes"
FLAP = "signals: {flap: Q1}, values: {on: [TRUE], off: [FALSE], unknown: [Bad]}"


# --- the same day -------------------------------------------------------------------------------------------------------------


def test_three_tables_on_two_clocks_are_the_tidy_table_they_were_made_from(tmp_path: Path) -> None:
    """A change-only log with 37 ms offset and 20 ppm drift, and a list: the same numbers as one row a millisecond, bar none."""
    folder = Day(30).write(tmp_path)
    tidy, tables = observed(folder, "recordings/tidy.csv"), observed(folder, TABLES)
    assert len(tidy.presentations) == 2 * 56 + 1 and len(tidy.sets) == 30
    for part in ("presentations", "responses", "sets", "clock", "gaps", "outside", "carried_over", "notes", "basis"):
        assert same(getattr(tidy, part), getattr(tables, part)), part
    assert tidy.signals.keys() == tables.signals.keys()
    for key, signal in tidy.signals.items():
        assert same(dataclasses.replace(signal, unknown=None), dataclasses.replace(tables.signals[key], unknown=None)), key


def test_the_log_by_other_readers(tmp_path: Path) -> None:
    """The long log as Python's csv and as pyarrow's own reader see it, from CSV and from Parquet."""
    folder = Day(10).write(tmp_path)
    suite = load_station(str(folder))
    recording = open_recording(suite, TABLES, plugins.load().formats)
    assert isinstance(recording, TablesRecording)
    (table,) = recording.tables.signals
    with (folder / PLC).open(newline="") as file:
        rows = list(csv.DictReader(file))
    whole = pa.csv.read_csv(folder / PLC, convert_options=pa.csv.ConvertOptions(column_types={"VAL": pa.string()}))
    assert whole.num_rows == len(rows)
    pq.write_table(whole.set_column(0, "TS", [[round(float(r["TS"]) * 1000) for r in rows]]), folder / "recordings/log.parquet")
    text = (folder / TABLES).read_text().replace("day1_plc.csv", "log.parquet").replace("0 ms, unit: us", "0 ms, unit: ns")
    (folder / "recordings/b.recording.yaml").write_text(text)
    parquet = open_recording(suite, "recordings/b.recording.yaml", plugins.load().formats)
    for kind, signal in table.signals:
        on = {"TRUE": not signal.inverted, "0": signal.inverted}
        mine = [(row["TS"], on[row["VAL"]]) for row in rows if row["TAG"] == signal.column]
        changes = [mine[0], *(b for a, b in itertools.pairwise(mine) if a[1] != b[1])]
        found = recording._log(table)[kind, signal.name]
        assert [f"{t // 1000}.{t % 1000:03d}" for t in found.t_ns[:-1].tolist()] == [at for at, _ in changes]
        assert found.state.tolist() == [*(int(state) for _, state in changes), -1]  # after the last row, nothing is known
        assert same(recording.logged()[kind, signal.name], parquet.logged()[kind, signal.name])


def test_what_check_says_of_each_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from stationtest import cli

    folder = Day(4).write(tmp_path, 8000, "8 ms", "5 ms", "4 ms")
    assert cli.main(["look", str(folder / TABLES)]) == 0
    printed = capsys.readouterr().out
    for words in (
        "recordings/day1.recording.yaml: 3 tables, on the clock sensor of colour",
        "4300 rows, a reading every 1 ms, a gap from 3 ms on: no gap",
        "sensor sachet: red from r, green from g and blue from b",
        "time: column TS in us, clock plc, in steps of 8 ms, names in TAG, values in VAL",
        "changes: each holds until the next change of that signal; on is TRUE or 1, off is FALSE or 0, not known is 'Bad' or ''",
        "input box present from Gate3 inverted: on 4 times",
        "time: from start to end in us, clock plc, within 5 ms",
        "7 presentations: 4 mint and 3 chamomile",
        "row 1: mint, 0.207000 s to 0.287000 s",
        "clock sensor to plc: offset 37 ms at its first row, drift 20 ppm, within 4 ms, found by sync edges at start and end",
        "how far two instants lie apart is known to 16 ms at worst",
        "row 3: 0.002000 s, ",
    ):
        assert words in printed, words


# --- logs of changes ----------------------------------------------------------------------------------------------------------


def test_changes_hold_until_the_next_and_are_not_known_before_the_first(tmp_path: Path) -> None:
    log = "t,tag,v\n10,Q1,FALSE\n30,Q1,TRUE\n30,Q9,17.5\n35,Q9,\n70,Q1,FALSE\n"
    flap = small(tmp_path, log, f"{LONG}, {FLAP}").logged()["output", "flap"]
    assert ms(flap.on) == [[30, 70]] and ms(flap.unknown) == [[0, 10]]


def test_after_its_last_row_nothing_is_known(tmp_path: Path) -> None:
    """A25: a log that ends before the readings may have been stopped; nobody knows what its signals did from then on."""
    recording = small(tmp_path, "x,t,tag,v\n0,0,Q1,FALSE\n0,30,Q1,TRUE\n0,60,K7,1\n", f"{LONG}, {FLAP}")
    flap = recording.logged()["output", "flap"]
    assert ms(flap.on) == [[30, 60.000001]] and ms(flap.unknown) == [[60.000001, 100]]


def test_several_changes_in_one_instant_and_values_that_say_unknown(tmp_path: Path) -> None:
    log = "t,tag,v\n0,Q1,FALSE\n20,Q1,TRUE\n20,Q2,0\n20,Q1,FALSE\n30,Q1,TRUE\n40,Q1,Bad\n50,Q1,TRUE\n"
    flap = small(tmp_path, log, f"{LONG}, {FLAP}").logged()["output", "flap"]
    assert ms(flap.on) == [[30, 40], [50, 100]] and ms(flap.unknown) == [[40, 50]]


def test_wide_changes_with_cells_left_empty(tmp_path: Path) -> None:
    """An empty cell of a log of changes says nothing of that signal; inverted and packed ones as declared."""
    log = "t,a,b,word\n5,1,,6\n20,,1,\n40,0,,4\n60,,0,2\n100,,,\n"
    table = "time: t, rows_are: changes, signals: {flap: a, box in: {from: b, inverted: yes}, box out: {from: word, bit: 1}}"
    found = small(tmp_path, log, table).logged()
    assert ms(found["output", "flap"].on) == [[5, 40]] and ms(found["output", "flap"].unknown) == [[0, 5]]
    assert ms(found["input", "box in"].on) == [[60, 100]] and ms(found["input", "box in"].unknown) == [[0, 20]]
    assert ms(found["input", "box out"].on) == [[5, 40], [60, 100]]


def test_samples_hold_until_the_next_row_at_most_the_gap(tmp_path: Path) -> None:
    log = "t,a\n0,0\n8,1\n16,1\n24,1\n60,1\n68,0\n"
    table = "time: t, rows_are: samples, gap: longer than 12 ms, signals: {flap: a}"
    flap = small(tmp_path, log, table).logged()["output", "flap"]
    assert ms(flap.on) == [[8, 36], [60, 68]] and ms(flap.unknown) == [[36, 60], [80, 100]]


def test_a_signal_that_never_changed_is_not_known_and_said_so(tmp_path: Path) -> None:
    recording = small(tmp_path, "t,tag,v\n0,K7,TRUE\n", f"{LONG}, {FLAP}")
    assert ms(recording.logged()["output", "flap"].unknown) == [[0, 100]]
    assert recording.notes == ["recordings/log.csv has no row of flap: the state is not known"]


def test_a_clock_of_which_nothing_is_said(tmp_path: Path) -> None:
    recording = small(tmp_path, "t,tag,v\n0,Q1,TRUE\n", f"{LONG}, {FLAP}", clocks="{}")
    assert ms(recording.logged()["output", "flap"].unknown) == [[0, 100]]
    assert "how the clock log of recordings/log.csv lies to eye is not stated" in recording.notes[0]


def test_logs_and_lists_whose_times_start_again(tmp_path: Path) -> None:
    """16 bits of ms in the log, the time of day past midnight in the list: both on the clock of the readings (dates)."""
    Day(0).write(tmp_path)
    first = np.datetime64("2025-03-02T23:59:59.900")
    eye = "t,r,g,b\n" + "".join(f"{first + np.timedelta64(k, 'ms')}Z,160,150,155\n" for k in range(200))
    text = (
        "tables:\n  eye: {file: eye.csv, time: t, unit: ISO 8601, gap: 3 ms}\n"
        "  log: {file: log.csv, time: t, unit: ms, wraps_at: 65536, rows_are: changes, signals: {flap: a}}\n"
        "  truth: {file: truth.csv, kind: presentations, clock: eye, unit: time of day, date: 2025-03-02}\n"
        "clocks: {log: {to: eye, offset: 0 ms, within: 0 ms}}\n"
    )
    files = {
        "eye.csv": eye,
        "log.csv": "t,a\n65500,0\n65530,1\n14,0\n",
        "truth.csv": "start,end,target\n23:59:59.950,00:00:00.020,mint\n00:00:00.050,00:00:00.090,mint\n",
        "day1.recording.yaml": text,
    }
    for name, content in files.items():
        (tmp_path / "recordings" / name).write_text(content)
    recording = open_recording(load_station(str(tmp_path)), TABLES, plugins.load().formats)
    listed = recording.listed()
    assert listed is not None and listed.start_ns.tolist() == [50 * MS, 150 * MS]
    assert listed.end_ns.tolist() == [120 * MS, 190 * MS]
    ((rise, fall),) = recording.logged()["output", "flap"].on.tolist()
    assert fall - rise == 20 * MS


# --- what is refused ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("log", "line", "key", "message", "code"),
    [
        ("t,tag,v\n5,Q1,TRUE\n4,Q2,0\n", 3, "time", "0.001 s before that of the row before", "unsorted-time"),
        ("t,tag,v\n5,Q2,x\n6,Q1,WAHR\n", 3, "tables.log.values", "Q1 is WAHR, which is not declared", "bad-value"),
        ("t,tag,v\n5,Q2,x\n6,Q1,\n", 3, "tables.log.values", "the cell of Q1 is empty", "bad-value"),
        ("t,tag,v\n5,q1,TRUE\n", 0, "tables.log.signals.flap", "no row has the name Q1; did you mean q1?", "missing-column"),
        ("t,name,v\n5,Q1,TRUE\n", 0, "tables.log.signals", "there is no column tag in this file", "missing-column"),
        ("t,tag,v\n", 0, "", "the log has no rows", "empty-recording"),
    ],
)
def test_refused_with_row_and_key(tmp_path: Path, log: str, line: int, key: str, message: str, code: str) -> None:
    problem = refusal(tmp_path, log, f"{LONG}, {FLAP}")
    assert (problem.place.path, problem.place.line, problem.key, problem.code) == ("recordings/log.csv", line, key, code)
    assert message in problem.message


def test_a_gap_shorter_than_the_steps(tmp_path: Path) -> None:
    with pytest.raises(StationtestError, match="rows are 1 ms apart, so each would be a gap"):
        text = (Day(0).write(tmp_path) / TABLES).read_text().replace("longer than 3 ms", "500 us")
        (tmp_path / TABLES).write_text(text)
        open_recording(load_station(str(tmp_path)), TABLES, plugins.load().formats)


# --- what is not known --------------------------------------------------------------------------------------------------------


def judged(folder: Path, expect: str, log: str, kind: str = "present: mint") -> tuple[str, str]:
    """The verdict of the one trial, and why."""
    from stationtest import public

    small(folder, log, f"{LONG}, signals: {{1: Q1, flap: Q2}}, values: {{unknown: [Bad]}}")
    case = f"A: {{title: t, {kind}, expect: {expect}, evidence: {{trials: 1}}}}"
    (folder / "cases/a.case.yaml").write_text(f"readings: [../{TABLES}]\ncases:\n  {case}\n")
    result = public.run(public.load(str(folder)))["result"]["cases"][0]
    return result["verdict"], result["reason"]


@pytest.mark.parametrize(
    ("expect", "log", "verdict"),
    [
        ("{channels: 1}", "0,Q1,0\n25,Q1,1\n70,Q1,0\n", "pass"),
        ("{channels: 1}", "0,Q1,0\n", "fail"),
        ("{channels: 1}", "0,Q1,0\n40,Q1,Bad\n45,Q1,0\n", "not judged"),
        ("{silent: 1}", "0,Q1,0\n40,Q1,Bad\n45,Q1,0\n", "not judged"),
        ("{silent: 1}", "0,Q1,0\n25,Q1,1\n30,Q1,0\n40,Q1,Bad\n45,Q1,0\n", "fail"),  # what was seen stays seen (A9)
        ("{outputs: {flap: {is: on, from: start, within: 20 ms}}}", "0,Q2,0\n30,Q2,1\n35,Q2,0\n", "pass"),
        ("{outputs: {flap: {is: on, from: start, within: 20 ms}}}", "0,Q2,0\n15,Q2,Bad\n35,Q2,1\n60,Q2,0\n", "not judged"),
        # off before it and on after it: it rose in between, and that lies in the window
        ("{outputs: {flap: {is: on, from: start, within: 20 ms}}}", "0,Q2,0\n30,Q2,Bad\n35,Q2,1\n60,Q2,0\n", "pass"),
        ("{outputs: {flap: {is: on, from: start, within: 20 ms}}}", "0,Q2,0\n50,Q2,Bad\n55,Q2,0\n", "fail"),
        ("{outputs: {flap: {is: off, from: start, until: next decision}}}", "0,Q2,0\n30,Q2,Bad\n35,Q2,0\n", "not judged"),
        ("{outputs: {flap: {is: off, from: start, until: next decision}}}", "0,Q2,0\n30,Q2,Bad\n35,Q2,1\n60,Q2,0\n", "fail"),
    ],
)
def test_an_unknown_stretch_can_only_take_away_conforming(tmp_path: Path, expect: str, log: str, verdict: str) -> None:
    assert judged(tmp_path, expect, "t,tag,v\n" + log)[0] == verdict


def test_the_reason_says_so(tmp_path: Path) -> None:
    verdict, reason = judged(tmp_path, "{channels: 1}", "t,tag,v\n0,Q1,0\n40,Q1,Bad\n45,Q1,0\n")
    assert verdict == "not judged" and "the log does not say what channel 1 was for some of the time" in reason
