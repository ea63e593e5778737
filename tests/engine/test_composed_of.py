"""What a record says of a recording of several tables: its tables, its clocks and what its signals are called in the logs.

An auditor must be able to put the clocks together again from the record alone, so numbers come back without a rounding. Every
reader of JSON keeps whole numbers below 2**53 only (RFC 8785, which follows RFC 7493, section 2.2, from memory); 2**53 ns are 104
days, and an offset to a clock with dates is more.
"""

from __future__ import annotations

import copy
import hashlib
import itertools
import json
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from stationtest import plugins
from stationtest.cli import main
from stationtest.engine import running
from stationtest.files import canonical, schema, suite
from stationtest.model.digital import Digital
from stationtest.model.recording_form import RecordingForm
from stationtest.model.recording_tables import ClockRelation, ReadingsTable, RecordingTables, SignalsTable
from stationtest.report import page
from stationtest.sources.composed import composed_of

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sources"))
from tables_station import Day

CASES = """
readings: [../recordings/day1.recording.yaml]
evidence: {trials: 3}
cases:
  MINT: {title: Mint fires, present: mint, expect: {own_channel_only: yes}}
  TIDY:
    {title: The same in one table, readings: [../recordings/tidy.csv], present: mint, expect: {own_channel_only: yes}}
"""
TABLES = "recordings/day1.recording.yaml"
MS = 1_000_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = Day(6).write(tmp_path_factory.mktemp("day"), step_us=8000, resolution="8 ms", truth="5 ms", sync="4 ms")
    (made / "cases" / "all.case.yaml").write_text(CASES)
    return made


def run(folder: Path, workers: int = 0) -> dict[str, Any]:
    parts = plugins.load()
    found = suite.load(folder, expectations=parts.expectations)
    return dict(running.run(found, parts, workers=workers).record)


@pytest.fixture(scope="module")
def record(folder: Path) -> dict[str, Any]:
    return run(folder)


def sources(record: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {source["key"]: source for source in record["result"]["sources"]}


def test_the_record_holds_what_the_file_states(record: dict[str, Any]) -> None:
    """Beside `RECORDING` of tables_station.py, which is what was written."""
    found = sources(record)[TABLES]["composed_of"]
    nothing = dict.fromkeys(("layout", "rows_are", "resolution_ns", "within_ns"))
    assert found["tables"] == [
        {**nothing, "name": "colour", "path": "recordings/day1_sensor.csv", "kind": "readings", "clock": "sensor"},
        {**nothing, "name": "logic", "path": "recordings/day1_plc.csv", "kind": "signals", "clock": "plc", "layout": "long",
         "rows_are": "changes", "resolution_ns": 8 * MS},
        {**nothing, "name": "truth", "path": "recordings/day1_truth.csv", "kind": "presentations", "clock": "plc",
         "within_ns": 5 * MS},
    ]  # fmt: skip
    assert found["clocks"] == [
        {"clock": "sensor", "to": "plc", "offset_s": "0.037", "drift_ppm": "20", "within_ns": 4 * MS,
         "found_by": "sync edges at start and end"},
    ]  # fmt: skip
    assert {one["table"] for one in found["signals"]} == {"logic"}
    assert {(one["kind"], one["name"], one["logged_as"], one["inverted"]) for one in found["signals"]} == {
        ("input", "box in", "Gate1", False), ("input", "box out", "Gate2", False), ("input", "box present", "Gate3", True),
        ("output", "flap", "Q41", False), ("channel", "1", "Q1", False), ("channel", "2", "Q2", False),
    }  # fmt: skip
    assert all(one["bit"] is None and one["equals"] is None for one in found["signals"])


def test_a_recording_of_one_table_has_none(record: dict[str, Any]) -> None:
    assert sources(record)["recordings/tidy.csv"]["composed_of"] is None


def test_it_fits_the_published_schema_and_is_the_same_with_workers(folder: Path, record: dict[str, Any]) -> None:
    Draft202012Validator(schema.schemas()["record"]).validate(record)
    assert run(folder, workers=2)["result_sha256"] == record["result_sha256"]


@pytest.mark.parametrize(
    ("offset_ns", "seconds", "drift_e12", "ppm"),
    [
        (1_772_435_712_339_039_000, "1772435712.339039", 25_000_000, "25"),  # a date, in seconds since 1970
        (-1_772_435_712_339_039_001, "-1772435712.339039001", -1, "-0.000001"),
        (37 * MS, "0.037", 500_000, "0.5"),
        (10_000_000_000, "10", 0, "0"),
        (0, "0", 100_000_000, "100"),
        (1, "0.000000001", 1, "0.000001"),
    ],
)
def test_offsets_and_drifts_come_back_to_the_last_digit(offset_ns: int, seconds: str, drift_e12: int, ppm: str) -> None:
    form = RecordingForm(pattern="x")
    packed = Digital(name="flap", column="M7", bit=3, inverted=True)
    number = Digital(name="1", column="MatchNo", equals=5, among=(0, 5))
    tables = RecordingTables(
        path="r.recording.yaml",
        readings=ReadingsTable(name="eye", path="eye.csv", form=form, clock="eye"),
        signals=(
            SignalsTable(name="log", path="log.csv", form=form, clock="plc", signals=(("output", packed), ("channel", number))),
        ),
        clocks=(ClockRelation(clock="eye", to="plc", offset_ns=offset_ns, drift_e12=drift_e12, within_ns=0),),
        order=("eye", "log"),
    )
    found = json.loads(canonical.dumps(composed_of(tables)))
    (clock,) = found["clocks"]
    assert (clock["offset_s"], clock["drift_ppm"]) == (seconds, ppm)
    assert Decimal(clock["offset_s"]) * 10**9 == offset_ns and Decimal(clock["drift_ppm"]) * 10**6 == drift_e12
    assert [(one["logged_as"], one["bit"], one["equals"], one["inverted"]) for one in found["signals"]] == [
        ("M7", 3, None, True), ("MatchNo", None, 5, False),
    ]  # fmt: skip
    shown = {**_source(), "composed_of": found}
    (signals,) = (table for table in rows_of(shown) if table.name.startswith("Signals"))
    assert [row[-1] for row in signals.rows] == ["M7 bit 3, inverted", "MatchNo where it is 5"]


def _source() -> dict[str, Any]:
    return {"key": "r.recording.yaml"}


def rows_of(source: dict[str, Any]) -> list[Any]:
    from stationtest.report import rows

    return rows.composed_of(source)


def test_the_page_shows_it_with_the_readings(record: dict[str, Any]) -> None:
    html = page.render(record)
    part = html[html.index('<section id="sources"') : html.index('<section id="limits"')]
    for words in (
        f"Tables of {TABLES}", "<td>0.037 s</td>", "<td>20 ppm</td>", "<td>sync edges at start and end</td>",
        "<td>Gate3, inverted</td>", "<td>long</td>", "<td>changes</td>",
    ):  # fmt: skip
        assert words in part or words.replace("<td>", '<td class="n">') in part, words
    assert "Tables of recordings/tidy.csv" not in html


def test_show_says_it_in_words(record: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "record.json").write_bytes(canonical.dumps(record))
    assert main(["show", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert f"{TABLES}: of 3 tables\n" in out
    assert "  logic: recordings/day1_plc.csv, signals, clock plc, layout long, rows are changes, in steps of 8 ms\n" in out
    assert "input box in from Gate1; " in out and "input box present from Gate3, inverted" in out
    assert "  truth: recordings/day1_truth.csv, presentations, clock plc, known within 5 ms\n" in out
    said = "clock sensor to plc: offset 0.037 s at its first row, drift 20 ppm, within 4 ms, found by sync edges at start and end"
    assert f"  {said}\n" in out


@pytest.mark.parametrize("older", ["without the key", "without a value"])
def test_a_record_that_lacks_it_is_still_read(
    older: str, record: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = copy.deepcopy(record)
    for source in given["result"]["sources"]:
        source["composed_of"] = None
        if older == "without the key":
            del source["composed_of"]
    given["result_sha256"] = hashlib.sha256(canonical.dumps(given["result"])).hexdigest()
    Draft202012Validator(schema.schemas()["record"]).validate(given)
    (tmp_path / "record.json").write_bytes(canonical.dumps(given))
    assert main(["show", str(tmp_path)]) == 0 and "of 3 tables" not in capsys.readouterr().out
    assert main(["report", str(tmp_path)]) == 0
    assert "Tables of" not in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_captions_of_two_such_recordings_differ(record: dict[str, Any]) -> None:
    """Each table is a landmark of the page, and landmarks of one name cannot be told apart (rule landmark-unique of axe-core)."""
    given = copy.deepcopy(record)
    again = copy.deepcopy(sources(given)[TABLES])
    given["result"]["sources"].append({**again, "key": "recordings/day2.recording.yaml"})
    html = page.render(given)
    part = html[html.index('<section id="sources"') : html.index('<section id="limits"')]
    labels = [text.split('"', 1)[0] for text in part.split('aria-label="')[1:]]
    assert all(a != b for a, b in itertools.combinations(labels, 2))
