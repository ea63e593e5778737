"""recordings/NAME.recording.yaml: what it may say, and every mistake with its place."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from station_folder import make, problems

from stationtest.files.paths import Folder
from stationtest.files.recording_file import opened
from stationtest.files.suite import load_station

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sources"))
from tables_station import RECORDING, STATION

CASE = """\
readings: [../recordings/day1.recording.yaml]
evidence: {reliability: 95 %, confidence: 95 %, of: presentations}
cases:
  REC-01: {title: T, present: mint, expect: {own_channel_only: yes}}
"""
FILES = ("day1_sensor.csv", "day1_plc.csv", "day1_truth.csv")
SOUND = RECORDING.replace("RESOLUTION", "0 ms").replace("TRUTH}", "0 ms}").replace("SYNC", "0 ms")


def folder_with(path: Path, recording: str) -> Path:
    folder = make(path, station=STATION, cases=CASE)
    for name in FILES:
        (folder / "recordings" / name).write_text("")
    (folder / "recordings" / "day1.recording.yaml").write_text(recording)
    return folder


def test_counter_example_a7_as_printed(tmp_path: Path) -> None:
    """The file of A7, with the files that it names beside it."""
    text = """\
# recordings/day1.recording.yaml
tables:
  colour: {file: day1_sensor.parquet, sensor: sachet, time: t, unit: us, clock: sensor, rows_are: samples, gap: longer than 3 ms}
  logic:  {file: day1_plc.csv, layout: long, time: TS, name: TAG, value: VAL, clock: plc, rows_are: changes, resolution: 8 ms,
           signals: {box in: Gate1, box out: Gate2, flap: Q41, box present: {from: Gate3, inverted: yes}},
           values: {on: ["TRUE", "1"], off: ["FALSE", "0"], unknown: ["Bad", ""]}}
  truth:  {file: day1_truth.csv, kind: presentations, clock: plc, within: 5 ms}
clocks:
  sensor: {to: plc, offset: 37 ms, drift: 20 ppm, within: 4 ms, found_by: sync edges at start and end}
"""
    folder = folder_with(tmp_path, text)
    (folder / "recordings" / "day1_sensor.parquet").write_bytes(b"")
    assert problems(folder) == []
    found = opened(Folder(str(folder)), "recordings/day1.recording.yaml", load_station(str(folder)).station)
    assert found.signals[0].resolution_ns == 8_000_000 and found.signals[0].form.time_in == "s"
    assert found.truth is not None and found.truth.within_ns == 5_000_000 and found.clocks[0].within_ns == 4_000_000


def test_it_is_typed(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, SOUND)
    assert problems(folder) == []
    found = opened(Folder(str(folder)), "recordings/day1.recording.yaml", load_station(str(folder)).station)
    assert [table.path for table in found.tables] == [f"recordings/{name}" for name in FILES]
    assert found.readings.form.gap_ns == 3_000_000 and found.readings.sensor == "sachet" and found.readings.form.time_in == "us"
    (log,) = found.signals
    assert [(kind, one.name, one.column, one.inverted) for kind, one in log.signals][:4] == [
        ("input", "box in", "Gate1", False), ("input", "box out", "Gate2", False), ("output", "flap", "Q41", False),
        ("input", "box present", "Gate3", True),
    ]  # fmt: skip
    assert (log.form.on, log.form.off, log.unknown) == (("TRUE", "1"), ("FALSE", "0"), ("Bad", ""))
    assert found.truth is not None and found.truth.form.time_in == "us"  # as the first table of its clock that says so
    (clock,) = found.clocks
    assert (clock.clock, clock.to, clock.offset_ns, clock.drift_e12) == ("sensor", "plc", 37_000_000, 20_000_000)


@pytest.mark.parametrize(
    ("was", "is_", "expected"),
    [
        ("gap: longer than 3 ms", "gap: 3", "tables.colour.gap: a bare number needs a unit: 3 ms"),
        (", gap: longer than 3 ms", "", "tables.colour.gap: this key is missing; it says from which step on"),
        ("rows_are: samples", "rows_are: changes", "tables.colour.rows_are: readings are samples"),
        ("sensor: sachet", "sensor: sachett", "tables.colour.sensor: there is no sensor of this name; did you mean `sachet`?"),
        ("day1_plc.csv", "day1_pcl.csv", "tables.logic.file: there is no file recordings/day1_pcl.csv; did you mean"),
        ("layout: long, ", "", "tables.logic.name: a wide table has a column for each signal; `layout: long` may be meant"),
        ("name: TAG, ", "", "tables.logic.name: this key is missing; a long table has a column that holds the name"),
        ("rows_are: changes,", "", "tables.logic.rows_are: this key is missing; rows are `samples`"),
        ("rows_are: changes", "rows_are: changes, gap: 3 ms", "tables.logic.gap: a log of changes has no gaps"),
        ("flap: Q41", "flip: Q41", "tables.logic.signals.flip: there is no channel, input or output of this name; did you mean"),
        ("flap: Q41", "flap: Gate1", "tables.logic.signals.flap: `box in` is read from `Gate1` too"),
        ('off: ["FALSE", "0"]', 'off: ["FALSE", "1"]', "tables.logic.values.off: the word `1` stands under `on` already"),
        ("kind: presentations, ", "kind: presentations, gap: 3 ms, ", "truth.gap: a table of presentations has no such key"),
        ("drift: 20 ppm", "drift: 20", "clocks.sensor.drift: a bare number needs a unit: 20 ppm"),
        ("drift: 20 ppm", "drift: 20000 ppm", "clocks.sensor.drift: a drift is out of range"),
        ("clock: sensor,", "clock: sensr,", "tables.colour.clock: there is no clock of this name; did you mean `sensor`?"),
        ("to: plc", "to: pcl", "clocks.sensor.to: no table has a clock of this name; did you mean `plc`?"),
        ("to: plc", "to: sensor", "clocks.sensor.to: `sensor` and `sensor` are related already"),
        (", within: 0 ms, found_by: sync edges at start and end", "", "clocks.sensor.within: this key is missing"),
        ("  sensor: {to: plc", "  plc: {to: sensor", None),
        ("tables:", "tabels:", "did you mean `tables`?"),
    ],
)
def test_mistakes(tmp_path: Path, was: str, is_: str, expected: str | None) -> None:
    assert was in SOUND
    found = problems(folder_with(tmp_path, SOUND.replace(was, is_, 1)))
    if expected is None:
        assert found == []
    else:
        assert found and all(text.startswith("recordings/day1.recording.yaml:") for text in found)
        assert sum(expected in text for text in found) == 1 and len(found) <= 2, found


def test_readings_and_truth_on_clocks_of_which_nothing_is_said(tmp_path: Path) -> None:
    found = problems(folder_with(tmp_path, SOUND.partition("clocks:")[0]))
    assert len(found) == 1 and "so nobody can say which readings are whose" in found[0]


def test_the_one_of_the_readme(tmp_path: Path) -> None:
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    text = readme.partition("```yaml\n# recordings/day1.recording.yaml\n")[2].partition("```")[0]
    folder = folder_with(tmp_path, text)
    (folder / "recordings" / "day1_sensor.parquet").write_bytes(b"")
    assert problems(folder) == []


def test_two_tables_of_readings_or_none(tmp_path: Path) -> None:
    two = SOUND.replace("clocks:", "  more: {file: day1_sensor.csv, sensor: sachet, time: t, gap: 3 ms}\nclocks:")
    assert "tables.more: a recording has one table of readings, and `colour` is one" in problems(folder_with(tmp_path, two))[0]
    none = SOUND.replace("time: t, unit: us, clock: sensor, rows_are: samples, gap: longer than 3 ms", "kind: presentations")
    assert any("no table holds the readings of a sensor" in text for text in problems(folder_with(tmp_path, none)))


def test_with_the_problems_of_all_other_files(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, SOUND.replace("flap: Q41", "flip: Q41"))
    (folder / "cases" / "b.case.yaml").write_text(CASE.replace("REC-01", "REC-02").replace("title", "titel"))
    assert {text.split(":")[0] for text in problems(folder)} == {"recordings/day1.recording.yaml", "cases/b.case.yaml"}
