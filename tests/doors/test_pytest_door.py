"""pytest as a door: collection, selection, what is printed, the record, the fixture. In this process, with pytester."""

from __future__ import annotations

import json
import re
import shutil
import sys
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import numpy
import pyarrow.csv
import pyarrow.parquet
import pytest
import scipy.special
import station_kit as kit

from stationtest import plugins
from stationtest.engine import illustrating, judging, observation_table, observing, recording, running, tracing
from stationtest.files import canonical, suite
from stationtest.report import page
from stationtest.sources import csv_readings, parquet_readings

# pytester forgets what was imported inside it, and compiled modules cannot be loaded twice: so all of them are loaded here
LOADED = (
    numpy,
    pyarrow.csv,
    pyarrow.parquet,
    scipy.special,
    illustrating,
    judging,
    observation_table,
    observing,
    recording,
    tracing,
)
LOADED_TOO = (page, csv_readings, parquet_readings)

IDS = [f"station/cases/all.case.yaml::{case_id}" for case_id in kit.VERDICTS]


@pytest.fixture
def door(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> pytest.Pytester:
    """A station with one case of each verdict in a folder of its own, and a wide terminal."""
    kit.station(pytester.path / "station")
    monkeypatch.setenv("COLUMNS", "240")
    monkeypatch.setenv("CI", "true")  # then pytest does not cut its short summary
    pytester.plugins = []
    return pytester


def run(door: pytest.Pytester, *arguments: str) -> pytest.RunResult:
    return door.runpytest(*kit.pytest_arguments(), "-p", "no:randomly", *arguments)


def collected(door: pytest.Pytester, *arguments: str) -> list[str]:
    result = run(door, "station", "--co", "-q", *arguments)
    return [line for line in result.outlines if "::" in line]


def test_an_item_a_case(door: pytest.Pytester) -> None:
    assert collected(door) == IDS


@pytest.mark.parametrize(
    ("option", "value", "ids"),
    [
        ("-k", "GOOD-01", ["GOOD-01"]),
        ("-k", "URS-2", ["BAD-01"]),
        ("-k", "chamomile", ["GOOD-01"]),
        ("-k", "smoke", ["GOOD-01"]),
        ("-k", "answers", ["HAND-01"]),
        ("-k", "not mint", []),
        ("-m", "smoke", ["GOOD-01"]),
        ("-m", "requirement(id='URS-1')", ["GOOD-01"]),
        ("-m", "requirement", ["GOOD-01", "BAD-01"]),
        ("-m", "target(name='chamomile')", ["GOOD-01"]),
        ("-m", "channel(name='2')", ["GOOD-01"]),
        ("-m", "station(name='first-station')", list(kit.VERDICTS)),
    ],
)
def test_selecting(door: pytest.Pytester, option: str, value: str, ids: list[str]) -> None:
    assert [line.rpartition("::")[2] for line in collected(door, option, value, "--strict-markers")] == ids


def test_selecting_by_id(door: pytest.Pytester) -> None:
    result = run(door, IDS[0], "-q")
    assert result.ret == 0
    result.stdout.fnmatch_lines(["1 passed*"])


def test_collecting_opens_no_recording(door: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*arguments: object, **named: object) -> None:
        raise AssertionError("a recording was opened")

    monkeypatch.setattr("stationtest.sources.opening.open_recording", refuse)
    monkeypatch.setattr("stationtest.engine.observing.open_recording", refuse)
    assert collected(door) == IDS
    result = run(door, "station", "--co", "-q", "--station-record=out")
    assert result.ret == 0 and not (door.path / "out").exists()
    result.stdout.no_fnmatch_line("*= stationtest =*")


def test_each_verdict_has_its_letter_word_and_reason(door: pytest.Pytester) -> None:
    result = run(door, "station", "-rA")
    assert result.ret == 1
    result.stdout.fnmatch_lines([
        "station/cases/all.case.yaml .FNJ*",
        "PASSED station/cases/all.case.yaml::GOOD-01",
        "FAILED station/cases/all.case.yaml::BAD-01 - 59 of 59 presentations nonconforming*channel 1 was on for*",
        "NOT SHOWN station/cases/all.case.yaml::FEW-01 - 59 of 299 presentations*",
        "NOT JUDGED station/cases/all.case.yaml::HAND-01 - *needs times*",
        "*3 failed, 1 passed*",
    ])  # fmt: skip


def test_reasons_are_there_in_full_where_pytest_cuts_its_summary(door: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI")
    monkeypatch.setenv("COLUMNS", "80")
    record = running.run(loaded(door), plugins.load()).record
    result = run(door, "station", "--tb=no")
    for case in record["result"]["cases"]:
        if case["verdict"] != "pass":
            assert f"{case['verdict']}: {case['id']}: {case['reason']}" in result.outlines


def loaded(door: pytest.Pytester) -> suite.Suite:
    return suite.load(str(door.path / "station"), expectations=plugins.load().expectations)


def test_what_a_failure_prints(door: pytest.Pytester) -> None:
    """Verdict line, place, reason and a strip of what switched when; no traceback."""
    result = run(door, "station", "-k", "BAD-01")
    result.stdout.fnmatch_lines([
        "*BAD-01: Mint fires nothing*",
        "59 of 59 presentations nonconforming*",
        "fail: BAD-01, Mint fires nothing (*cases/all.case.yaml:10:3)",
        "presented: mint*Basis: computed.",
        "59 trials: 0 conforming, 59 nonconforming, 0 not judged; asked: *",
        "  mint, specimen 1, at *channel 1 was on for*",
        "*|*|",
        "  channel 1  *.#####*",
        "*between the bars: mint, specimen 1*",
    ])  # fmt: skip
    assert "Traceback" not in result.stdout.str() and ".py:" not in result.stdout.str()


def test_the_line_of_a_case(door: pytest.Pytester) -> None:
    """Zero-based lines in reportinfo: `-v --co` tools and skip reports point to the case in the file."""
    items, _ = door.inline_genitems("station", *kit.pytest_arguments())
    lines = (door.path / "station/cases/all.case.yaml").read_text().splitlines()
    for item in items:
        path, line, title = item.reportinfo()
        assert Path(path).name == "all.case.yaml" and line is not None
        assert lines[line].strip() == f"{item.name}:" and title.startswith(item.name)


def test_stopping_at_the_first_one_that_is_not_a_pass(door: pytest.Pytester) -> None:
    result = run(door, "station", "-x", "--station-record=out")
    result.stdout.fnmatch_lines(["*partial, 2 of 4 cases judged: 2 selected but not judged (stopping after 1 failures)*"])
    found = kit.record_of(door.path / "out")["result"]
    assert found["partial"] and found["counts"]["selected"] == 4 and found["counts"]["executed"] == 2
    assert [case["state"] for case in found["cases"]] == ["executed", "executed", "not run", "not run"]


def test_last_failed(door: pytest.Pytester) -> None:
    run(door, "station", "-k", "GOOD-01 or BAD-01")
    result = run(door, "station", "--lf", "--station-record=out")
    result.stdout.fnmatch_lines(["*partial, 1 of 4 cases judged: 3 not selected (--lf)*"])
    assert [case["id"] for case in kit.record_of(door.path / "out")["result"]["cases"] if case["attempts"]] == ["BAD-01"]


def test_partial_runs_say_by_what(door: pytest.Pytester) -> None:
    result = run(door, "station", "-k", "GOOD-01")
    assert result.ret == 0
    result.stdout.fnmatch_lines(["first-station: partial, 1 of 4 cases judged: 3 not selected (-k GOOD-01)"])
    result = run(door, "station", "--deselect", IDS[1])
    result.stdout.fnmatch_lines(["*partial, 3 of 4 cases judged: 1 not selected (--deselect*"])


def test_junit(door: pytest.Pytester) -> None:
    run(door, "station", "--junitxml=junit.xml", "-o", "station_junit_properties=yes")
    cases = {case.get("name"): case for case in ET.parse(door.path / "junit.xml").iter("testcase")}
    assert set(cases) == set(kit.VERDICTS)
    failure = cases["FEW-01"].find("failure")
    assert failure is not None and "59 of 299 presentations" in str(failure.get("message"))
    facts = {(prop.get("name"), prop.get("value")) for prop in cases["GOOD-01"].iter("property")}
    assert {("station.verdict", "pass"), ("station.conforming", "118"), ("requirement", "URS-1")} <= facts


def test_junit_without_properties_fits_the_schema_of_ci_servers(door: pytest.Pytester) -> None:
    run(door, "station", "--junitxml=junit.xml")
    assert not list(ET.parse(door.path / "junit.xml").iter("property"))


def test_the_same_result_by_either_door(door: pytest.Pytester) -> None:
    result = run(door, "station", "--station-record=out")
    result.stdout.fnmatch_lines([f"first-station: fail; record and report in {door.path / 'out'}"])
    other = running.run(loaded(door), plugins.load(), door="cli").record
    record = kit.record_of(door.path / "out")
    assert canonical.dumps(record["result"]) == canonical.dumps(other["result"])
    assert record["run"]["door"] == "pytest" and record["run"]["command"][0] == "pytest"
    assert kit.verdicts_of(door.path / "out") == kit.VERDICTS
    assert (door.path / "out" / "report.html").stat().st_size > 10_000


def test_a_part_of_the_cases_gives_the_same_result_by_either_door(door: pytest.Pytester) -> None:
    run(door, "station", "-k", "GOOD-01 or FEW-01", "--station-record=out")
    other = running.run(loaded(door), plugins.load(), only=["FEW-01", "GOOD-01"]).record
    assert kit.record_of(door.path / "out")["result_sha256"] == other["result_sha256"]


def test_one_file_of_a_station_is_a_part_of_it(door: pytest.Pytester) -> None:
    """What was planned is read from the folder, never from what was collected."""
    (door.path / "station/cases/more.case.yaml").write_text(kit.HEAD + kit.PASSES.replace("GOOD-01", "MORE-01"))
    run(door, "station/cases/more.case.yaml", "--station-record=out")
    counts = kit.record_of(door.path / "out")["result"]["counts"]
    assert (counts["planned"], counts["selected"], counts["executed"]) == (5, 1, 1)


def test_the_record_goes_into_the_runs_of_the_station(door: pytest.Pytester) -> None:
    run(door, "station", "-k", "GOOD-01", "--station-record")
    (out,) = (door.path / "station" / "runs").iterdir()
    assert out.name == kit.record_of(out)["run"]["id"]


def test_nothing_is_written_unasked(door: pytest.Pytester) -> None:
    before = kit.everything_in(door.path / "station")
    run(door, "station", "-k", "GOOD-01", "-p", "no:cacheprovider")
    assert kit.everything_in(door.path / "station") == before


def test_the_ini_twin(door: pytest.Pytester) -> None:
    door.makeini("[pytest]\nstation_record = out\n")
    run(door, "station", "-k", "GOOD-01")
    assert kit.record_of(door.path / "out")["result"]["verdict"] == "pass"


def test_a_record_folder_that_is_not_empty(door: pytest.Pytester) -> None:
    """Also what comes of `--station-record station`, where the station was meant as the path to test."""
    result = run(door, "--station-record", "station")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["*--station-record=station: this folder is not empty*after an equals sign*"])


def test_two_stations_give_two_records(door: pytest.Pytester) -> None:
    kit.station(door.path / "second", kit.PASSES)
    run(door, "station", "second", "--station-record=out")
    assert kit.verdicts_of(door.path / "out" / "1-station") == kit.VERDICTS
    assert kit.verdicts_of(door.path / "out" / "2-second") == {"GOOD-01": "pass"}


def test_problems_of_the_files_are_one_collection_error_with_all_lines(door: pytest.Pytester) -> None:
    path = door.path / "station/cases/all.case.yaml"
    path.write_text(path.read_text().replace("present: mint", "present: mimt").replace("title: Mint", "titel: Mint"))
    (path.parent / "more.case.yaml").write_text(kit.HEAD + kit.PASSES.replace("GOOD", "MORE"))
    result = run(door, "station")
    assert result.ret == pytest.ExitCode.INTERRUPTED  # pytest's own code for errors while collecting
    text = result.stdout.str()
    assert re.search(r"all\.case\.yaml:\d+:\d+: .*mimt.*mint.*\[unknown-name\]", text)
    assert re.search(r"all\.case\.yaml:\d+:\d+: .*titel.*title.*\[unknown-key\]", text)
    assert "the station cannot be read; its problems are listed under all.case.yaml" in text
    assert "Traceback" not in text


def test_a_case_file_without_a_station(door: pytest.Pytester) -> None:
    (door.path / "lost.case.yaml").write_text("cases: {}")
    result = run(door, "lost.case.yaml")
    result.stdout.fnmatch_lines(["*[[]no-station]"])


def test_a_case_file_outside_the_folder_of_cases(door: pytest.Pytester) -> None:
    (door.path / "station/lost.case.yaml").write_text("cases: {}")
    result = run(door, "station/lost.case.yaml")
    result.stdout.fnmatch_lines(["*cases are read from the folder cases/ of a station*move this file there"])


@pytest.mark.parametrize("tag", ["xfail", "skip", "parametrize"])
def test_a_tag_that_means_something_to_pytest(door: pytest.Pytester, tag: str) -> None:
    """Tagged `xfail`, a case that fails would be green."""
    path = door.path / "station/cases/all.case.yaml"
    path.write_text(path.read_text().replace("[smoke]", f"[{tag}]"))
    result = run(door, "station")
    assert result.ret == pytest.ExitCode.INTERRUPTED
    result.stdout.fnmatch_lines([f"*{tag}*"])


def test_other_yaml_files_are_left_alone(door: pytest.Pytester) -> None:
    (door.path / "test_other.yaml").write_text("no: case")
    assert run(door, "test_other.yaml").ret in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED)


def test_a_recording_that_is_refused(door: pytest.Pytester) -> None:
    path = door.path / "station/recordings/day1.csv"
    path.write_text(path.read_text().replace("\n7;", "\n6;", 1))
    result = run(door, "station", "--station-record=out")
    result.stdout.fnmatch_lines([
        "NOT JUDGED *::GOOD-01 - station/recordings/day1.csv:9: *[[]unsorted-time]",
        "NOT JUDGED *::FEW-01 - station/recordings/day1.csv:9: *[[]unsorted-time]",
    ])  # fmt: skip
    assert "first-station: no record, since GOOD-01, BAD-01, FEW-01 could not be judged" in result.outlines
    assert not (door.path / "out").exists()


FIXTURE_TEST = """
def test_numbers(station):
    observed = station.observe("recordings/day1.csv")
    shown = observed.presentations
    assert [shown.targets[code] for code in shown.target[1:4]] == ["mint", "bare belt", "chamomile"]
    result = station.run("FEW-01")
    assert (result["verdict"], result["found"]) == ("not shown", 59)


def test_other_folder(station):
    assert station.suite.station.name == "first-station"
"""


def test_the_fixture_gives_the_same_observations(door: pytest.Pytester) -> None:
    (door.path / "station" / "test_mine.py").write_text(FIXTURE_TEST)
    result = run(door, "station", "-k", "GOOD-01 or numbers or folder", "--station-record=out")
    result.assert_outcomes(passed=3)
    record = kit.record_of(door.path / "out")
    assert record["run"]["python_tests"] == 2
    assert record["result"]["counts"]["selected"] == 1


@pytest.mark.parametrize("words", [("-m", "URS_18 or URS", "--strict-markers"), ("-m", "("), ("-k", "GOOD 01")])
def test_a_usage_error_says_nothing_of_cases(words: tuple[str, ...], door: pytest.Pytester) -> None:
    """pytest tells these when all is collected, and ends with 4 (its reference: exit codes); no case was meant to run then."""
    result = run(door, "station", *words, "--station-record=out")
    assert result.ret == pytest.ExitCode.USAGE_ERROR == 4
    said = "\n".join(result.outlines + result.errlines)
    assert "ERROR: " in said and "not judged" not in said and "stationtest ==" not in said
    assert not (door.path / "out").exists()


def test_the_example_of_the_readme_holds(tmp_path: Path) -> None:
    readme = (kit.ROOT / "README.md").read_text(encoding="utf-8")
    (test,) = re.findall(r"```python\n(# test_more\.py.*?)```", readme, re.DOTALL)
    shutil.copytree(kit.ROOT / "example_station", tmp_path / "station", ignore=shutil.ignore_patterns("runs"))
    (tmp_path / "station" / "test_more.py").write_text(test, encoding="utf-8")
    done = kit.pytest_run("station/test_more.py", cwd=tmp_path)
    assert done.returncode == 0 and "1 passed" in done.stdout, done.stdout + done.stderr


def test_a_recording_is_observed_once_a_session(door: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> None:
    from stationtest.engine import observing

    seen: list[str] = []
    real = observing.observe

    def observe(found, key, parts, **named):  # type: ignore[no-untyped-def]
        seen.append(key)
        return real(found, key, parts, **named)

    monkeypatch.setattr(observing, "observe", observe)
    (door.path / "station" / "test_mine.py").write_text(FIXTURE_TEST)
    run(door, "station", "--station-record=out")
    assert sorted(seen) == ["hand/trials.csv", "recordings/day1.csv"]


def test_repeated_cases_are_counted(door: pytest.Pytester) -> None:
    door.makeconftest("""
        import pytest

        @pytest.hookimpl(tryfirst=True)
        def pytest_runtest_protocol(item, nextitem):
            if item.name == "GOOD-01":
                from _pytest.runner import runtestprotocol
                for report in runtestprotocol(item, nextitem=item, log=False):
                    item.ihook.pytest_runtest_logreport(report=report)
    """)
    run(door, "station", "--station-record=out")
    result = kit.record_of(door.path / "out")["result"]
    assert result["counts"]["repeated"] == 1
    assert [case["attempts"] for case in result["cases"]] == [2, 1, 1, 1]


def test_a_project_that_does_not_use_it_sees_nothing_of_it(pytester: pytest.Pytester) -> None:
    pytester.makepyfile("def test_x(): pass")
    for name in [name for name in sys.modules if name.startswith("stationtest.pytest_door")]:
        del sys.modules[name]
    result = run(pytester, "--station-record=out")
    result.assert_outcomes(passed=1)
    result.stdout.no_fnmatch_line("*= stationtest =*")
    assert not (pytester.path / "out").exists()
    assert not any(name.startswith("stationtest.pytest_door") for name in sys.modules)


def test_with_strict_settings(door: pytest.Pytester) -> None:
    door.makeini("[pytest]\naddopts = --strict-markers --strict-config\nfilterwarnings = error\nxfail_strict = true\n")
    run(door, "station", "-k", "GOOD-01").assert_outcomes(passed=1, deselected=3)


def test_a_note_of_a_worker_is_text_that_reads_back(door: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> None:
    """What goes from a worker to the controller: exactly the case's part of the record."""
    results = notes_of(door)
    monkeypatch.setattr(pytest.Config, "workerinput", {}, raising=False)
    texts = notes_of(door)
    assert [type(note) for note in texts] == [str] * 4
    assert [json.loads(note)["result"]["id"] for note in texts] == list(kit.VERDICTS)
    assert all(len(note) < 20_000 for note in texts)
    assert [json.loads(note) for note in texts] == results


def notes_of(door: pytest.Pytester) -> list[Any]:
    reports = door.inline_run("station", *kit.pytest_arguments()).getreports("pytest_runtest_logreport")
    return [report.stationtest_note for report in reports if hasattr(report, "stationtest_note")]  # type: ignore[attr-defined]


def test_cases_are_judged_in_any_order(door: pytest.Pytester) -> None:
    """Cases are judged some ahead of their turn, in the order of the session; an order that is turned round says the same."""
    door.makeconftest(
        "import pytest\n\n@pytest.hookimpl(tryfirst=True)\ndef pytest_runtestloop(session):\n    session.items.reverse()\n"
    )
    back = notes_of(door)
    assert [note["result"]["id"] for note in back] == list(kit.VERDICTS)[::-1]
    (door.path / "conftest.py").write_text("")
    assert notes_of(door) == back[::-1]
