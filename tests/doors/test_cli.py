"""The command line: each command, each exit code, each bad input at this door."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import station_kit as kit
from jsonschema import Draft202012Validator

from stationtest import cli
from stationtest.version import VERSION


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return kit.station(tmp_path_factory.mktemp("cli") / "station")


@pytest.fixture(scope="module")
def run(station: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[subprocess.CompletedProcess[str], Path]:
    out = tmp_path_factory.mktemp("out") / "run"
    return kit.command("run", station, "-o", out), out


def told(capsys: pytest.CaptureFixture[str], *arguments: str | os.PathLike[str]) -> tuple[int, str, str]:
    """Exit code, stdout, stderr of a command in this process."""
    try:
        code = cli.main([os.fspath(argument) for argument in arguments])
    except SystemExit as stop:
        code = int(stop.code or 0)
    out, err = capsys.readouterr()
    return code, out, err


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert told(capsys, "--version") == (0, f"stationtest {VERSION}\n", "")


def test_a_misspelt_command_is_answered_with_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = told(capsys, "chek", ".")
    assert (code, err.splitlines()[-1]) == (2, "stationtest: there is no chek; did you mean check? [usage]")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["run"], "the following arguments are required: STATION [usage]"),
        (["sizes", "--reliability", "99", "--confidence", "95%"], "99 is not a share such as 95%"),
        (["sizes", "--reliability", "100%", "--confidence", "95%"], "100% is not a share such as 95%"),
        (["sizes", "--reliability", "99%", "--confidence", "95%", "--nonconforming", "-1"], "nonconforming"),
        (["run", ".", "--workers", "two"], "two is not a whole number such as 0 or 2"),
    ],
)
def test_a_command_line_that_does_not_fit(arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = told(capsys, *arguments)
    assert code == 2
    assert words in err.splitlines()[-1]


def test_no_station_here(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = told(capsys, "check", tmp_path)
    assert (code, out) == (2, "")
    assert err.endswith("[no-station]\n") and len(err.splitlines()) == 1


def test_check_prints_every_problem_of_every_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = kit.station(tmp_path / "station")
    text = (folder / "station.yaml").read_text()
    (folder / "station.yaml").write_text(text.replace("hysteresis: 10 %", "hysteresis: 10"))
    (folder / "cases" / "second.case.yaml").write_text(
        kit.HEAD + kit.PASSES.replace("GOOD-01", "GOOD-02").replace("mint", "mimt")
    )
    (folder / "cases" / "third.case.yaml").write_text(kit.HEAD + kit.FAILS.replace("title: Mint", "titel: Mint"))
    code, out, err = told(capsys, "check", folder)
    assert (code, out) == (2, "")
    lines = err.splitlines()
    for file, word in (("station.yaml", "hysteresis"), ("second.case.yaml", "mint"), ("third.case.yaml", "title")):
        assert any(file in line and word in line for line in lines), err
    assert all(line.count(":") >= 3 and line.endswith("]") for line in lines), err


def test_check_says_what_it_found(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = told(capsys, "check", station)
    assert (code, err) == (0, "")
    for words in (
        "sensor eye: reads linear RGB",
        "channel 2 (eye): for chamomile",
        "4 cases, 2 recordings",
        "requirements: 2 of 3 covered by cases",
        "verified otherwise: URS-3",
        "time: column ms in ms, a reading every 1 ms",
        "target from part, specimen from no",
        "row 1: 0.000000 s, ",
        "2 × 59 = 118 presentations (mint, chamomile)",
        "channels: 1 from lamp 1, 2 from lamp 2; on is lit, off is dark",
    ):
        assert words in out


def test_check_refuses_a_recording_that_its_form_does_not_fit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = kit.station(tmp_path / "station")
    recording = folder / "recordings" / "day1.csv"
    recording.write_text(recording.read_text().replace("ms;r;g;b", "ms;r;green;b"))
    code, _, err = told(capsys, "check", folder)
    assert code == 2
    assert "recordings/day1.csv" in err and err.endswith("[missing-column]\n")


def test_check_tells_of_recordings_beside_the_problems_of_other_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    folder = kit.station(tmp_path / "station")
    recording = folder / "recordings" / "day1.csv"
    recording.write_text(recording.read_text().replace("ms;r;g;b", "ms;r;green;b"))
    (folder / "requirements.csv").write_text("id,text\nURS-1,a\nURS-1,b\n", encoding="utf-8")
    code, _, err = told(capsys, "check", folder)
    assert code == 2
    assert "requirements.csv:3" in err and "recordings/day1.csv" in err and "[missing-column]" in err


def test_new_writes_a_station_that_passes_check_and_run(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    assert kit.command("new", folder).returncode == 0
    assert kit.command("check", folder).returncode == 0
    done = kit.command("run", folder)
    assert done.returncode == 0, done.stdout + done.stderr
    (run,) = (folder / "runs").iterdir()
    assert f"report: {run / 'report.html'}" in done.stdout
    record = kit.record_of(run)
    assert run.name == record["run"]["id"] and run.name.endswith(record["result_sha256"][:8])


def test_new_never_writes_over_something(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    code, _, err = told(capsys, "new", tmp_path)
    assert code == 2 and err.endswith("[exists]\n")
    assert kit.everything_in(tmp_path) == ["mine.txt"]


def test_new_in_a_folder_that_may_not_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("")
    code, _, err = told(capsys, "new", tmp_path / "file" / "station")
    assert code == 2 and err.endswith("[cannot-write]\n") and len(err.splitlines()) == 1


def test_run_prints_each_verdict_and_reason_and_ends_with_1(run: tuple[subprocess.CompletedProcess[str], Path]) -> None:
    done, out = run
    assert (done.returncode, done.stderr) == (1, "")
    assert kit.verdicts_of(out) == kit.VERDICTS
    for case_id, verdict in kit.VERDICTS.items():
        assert any(line.startswith(verdict) and case_id in line for line in done.stdout.splitlines())
    for case in kit.record_of(out)["result"]["cases"]:
        assert case["verdict"] == "pass" or case["reason"] in done.stdout
    assert done.stdout.splitlines()[-1] == f"report: {out / 'report.html'}"


def test_a_run_leaves_record_observations_and_report(run: tuple[subprocess.CompletedProcess[str], Path]) -> None:
    _, out = run
    assert [name for name in kit.everything_in(out) if "." in name] == [
        "observations/1-recordings-day1.csv.csv",
        "observations/2-hand-trials.csv.csv",
        "record.json",
        "report.html",
    ]
    for source in kit.record_of(out)["result"]["sources"]:
        (table,) = source["tables"]
        lines = (out / table["path"]).read_bytes().splitlines()
        assert len(lines) == table["rows"] + 1


def test_the_record_fits_its_published_schema(
    run: tuple[subprocess.CompletedProcess[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = told(capsys, "schema", "record")
    assert code == 0
    Draft202012Validator(json.loads(out)).validate(kit.record_of(run[1]))


def test_all_schemas_and_writing_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = told(capsys, "schema")
    assert (code, sorted(json.loads(out))) == (0, ["case", "record", "recording", "run", "scene", "station"])
    folder = kit.station(tmp_path / "station")
    before = kit.everything_in(folder)
    code, out, _ = told(capsys, "schema", "--write", folder)
    assert code == 0 and len(kit.everything_in(folder)) > len(before)
    assert told(capsys, "check", folder)[0] == 0


def test_run_never_writes_over_an_earlier_one(
    station: Path, run: tuple[subprocess.CompletedProcess[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    _, out = run
    before = (out / "record.json").read_bytes()
    code, _, err = told(capsys, "run", station, "-o", out)
    assert code == 2 and err.endswith("[exists]\n")
    assert (out / "record.json").read_bytes() == before


def test_only_some_cases(station: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = told(capsys, "run", station, "-o", tmp_path / "run", "--only", "GOOD-01")
    assert code == 0 and "partial: 3 of the planned cases were not selected: BAD-01, FEW-01, HAND-01." in out
    assert "not run" not in out and "3 not selected" in out.splitlines()
    result = kit.record_of(tmp_path / "run")["result"]
    assert result["partial"] and result["counts"]["planned"] == 4 and result["counts"]["executed"] == 1
    assert [case["state"] for case in result["cases"]] == ["executed", "not run", "not run", "not run"]


def test_a_case_that_does_not_exist(station: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = told(capsys, "run", station, "-o", tmp_path / "run", "--only", "GOOD-1")
    assert (code, err) == (2, "there is no case GOOD-1; did you mean GOOD-01? [unknown-name]\n")
    assert kit.everything_in(tmp_path) == []


def test_a_station_without_cases(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = kit.station(tmp_path / "station")
    (folder / "cases" / "all.case.yaml").unlink()
    code, _, err = told(capsys, "run", folder)
    assert code == 2 and err.endswith("[nothing-selected]\n")
    assert not (folder / "runs").exists()


def test_a_recording_that_is_refused_leaves_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = kit.station(tmp_path / "station")
    recording = folder / "recordings" / "day1.csv"
    lines = recording.read_text().splitlines(keepends=True)
    lines[5000], lines[5001] = lines[5001], lines[5000]
    recording.write_text("".join(lines))
    code, _, err = told(capsys, "run", folder)
    assert code == 2 and err.endswith("[unsorted-time]\n")
    assert "day1.csv:5002" in err
    assert not (folder / "runs").exists()


def test_paths_that_leave_the_folder_are_refused_unless_allowed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = kit.station(tmp_path / "station", kit.PASSES)
    (folder / "recordings" / "day1.csv").rename(tmp_path / "day1.csv")
    (folder / "cases" / "all.case.yaml").write_text(kit.HEAD.replace("../recordings/day1.csv", "../../day1.csv") + kit.PASSES)
    text = (folder / "station.yaml").read_text()
    form = text[text.index('  "recordings/*.csv"') : text.index(kit.HAND_FORM)]
    (folder / "station.yaml").write_text(text + form.replace("recordings/*.csv", "../day1.csv"))
    code, _, err = told(capsys, "run", folder, "-o", tmp_path / "run")
    assert code == 2 and "[outside-folder]" in err
    code, _, err = told(capsys, "run", folder, "-o", tmp_path / "run", "--allow-outside")
    assert code == 0, err


def test_plan(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """59 and 299 clean trials for 95 % and 99 % at 95 % confidence: Touw and Hoogduin (2011), p. 126; 59 of 299 are there."""
    code, out, _ = told(capsys, "plan", station)
    assert code == 0
    assert "2 × 59 = 118 presentations" in out
    assert "59 clean trials pass a station that is 99 % right only 55 times in 100" in out  # 0.99 ** 59 = 0.5527
    assert "2 × 59 clean trials pass a station that is 99 % right with each of the 2 only 31 times in 100" in out  # 0.99 ** 118
    assert "FEW-01: 240 × mint" in out
    few = next(line for line in out.splitlines() if line.startswith("FEW-01"))
    assert "299 presentations" in few and "not shown" in few


def test_plan_where_nothing_could_be_judged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All mints were presented after their last valid day (the starter's run.yaml says 2026): all 59 are still to be presented.
    The belt is asked for in seconds and answered in seconds."""
    belt = "  BELT-01:\n    title: Bare\n    present: {between: bare belt}\n    expect: {no_channel: yes}\n"
    cases = kit.FAILS.replace("no_channel", "own_channel_only") + belt + "    evidence: {duration: 20 s, events: none}\n"
    folder = kit.station(tmp_path / "s", cases)
    day = folder / "recordings" / "day1.csv"
    lines = [line.split(";") for line in day.read_text(encoding="utf-8").splitlines()]
    lines = [[*line[:5], "M" + line[5] if line[4] == "mint" else line[5]] for line in lines]
    day.write_text("\n".join(";".join(line) for line in lines) + "\n", encoding="utf-8")
    register = "id,target,valid_until\n" + "".join(f"M{number},mint,2025-12-31\n" for number in range(1, 11))
    (folder / "specimens.csv").write_text(register, encoding="utf-8")
    code, out, _ = told(capsys, "plan", folder)
    rows = {line.split()[0]: line for line in out.splitlines() if line.startswith(("BAD-01", "BELT-01"))}
    assert code == 0 and rows["BAD-01"].split()[-4:] == ["59", "59", "not", "judged"]
    assert "  BAD-01: 59 × mint; those that are there were not judged: none of 59 presentations could be judged" in out
    assert rows["BELT-01"].count(" s ") == 3, "needs, found and still to present, each in seconds"


def test_chances_are_not_rounded_to_certainty() -> None:
    """0.999 ** 3 = 0.997003; 0.9999 ** 1 = 0.9999."""
    from stationtest.engine import planning

    assert planning._times(0.999**3) == "99.7 times in 100" and planning._times(0.9999) == "99.9 times in 100"
    assert planning._times(1.0) == "100 times in 100" and planning._times(0.5527) == "55 times in 100"


def test_sizes(capsys: pytest.CaptureFixture[str]) -> None:
    """299, 473, 628 trials for 99 % at 95 % with 0, 1, 2 accepted: Touw and Hoogduin (2011), p. 126."""
    code, out, _ = told(capsys, "sizes", "--reliability", "99%", "--confidence", "95%")
    assert code == 0
    rows = [line.split()[:2] for line in out.splitlines()[1:4]]
    assert rows == [["0", "299"], ["1", "473"], ["2", "628"]]


def test_observe(station: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = told(capsys, "observe", station, "recordings/day1.csv")
    assert code == 0
    header = out.splitlines()[0].split()
    wanted = """recording presentation start_s end_s target specimen set sensor channel fired silent perhaps held_over_ms
    first_on_ms
        on_ms pulses_min pulses_max closeness_max margin level_min level_max"""
    assert set(wanted.split()) <= set(header)
    assert "the first 40 of 474 rows" in out  # 118 presentations, 119 stretches between, two channels
    written = tmp_path / "day1.csv"
    assert told(capsys, "observe", station, "recordings/day1.csv", "--csv", written)[0] == 0
    assert len(written.read_text().splitlines()) == 475
    assert told(capsys, "observe", station, "recordings/day1.csv", "--parquet", tmp_path / "day1.parquet")[0] == 0
    import pyarrow.parquet as pq

    assert pq.read_table(tmp_path / "day1.parquet").num_rows == 474


def test_observe_to_the_terminal_as_csv(station: Path) -> None:
    done = kit.command("observe", station, "hand/trials.csv", "--csv", "-")
    assert done.returncode == 0
    assert len(done.stdout.splitlines()) == 1 + 2 * 2


def test_observe_several_into_one_file(station: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = told(capsys, "observe", station, "--csv", tmp_path / "all.csv")
    assert code == 2 and "recordings/day1.csv, hand/trials.csv [usage]" in err


def test_report_draws_the_same_page_again(run: tuple[subprocess.CompletedProcess[str], Path], tmp_path: Path) -> None:
    _, out = run
    page = tmp_path / "again.html"
    assert kit.command("report", out, "-o", page).returncode == 0
    assert page.read_bytes() == (out / "report.html").read_bytes()
    assert kit.command("report", out / "record.json").returncode == 0  # the same page is there already
    page.write_text("mine")
    done = kit.command("report", out, "-o", page)
    assert (done.returncode, page.read_text()) == (2, "mine")
    assert done.stderr.endswith("[exists]\n")
    assert kit.command("report", out, "-o", "-").stdout == (out / "report.html").read_text(encoding="utf-8")


def test_show(run: tuple[subprocess.CompletedProcess[str], Path], capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = told(capsys, "show", run[1])
    assert code == 0
    assert "who: not a real person" in out and "role: not recorded" in out
    assert all(case_id in out for case_id in kit.VERDICTS)


def of_version(text: bytes, version: str, **more: int) -> bytes:
    return json.dumps({**json.loads(text), "version": version, **more}).encode()


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (lambda text: text[: len(text) // 2], "it is not JSON"),
        (lambda text: b"[]", "it is not a `stationtest record`"),
        (lambda text: b"[" * 100_000, "it is not JSON"),
        (lambda text: of_version(text, "2.0"), "written as version 2.0; this stationtest reads version 1"),
        (lambda text: text.replace(b'"verdict":"fail"', b'"verdict":"pass"'), "changed after it was written"),
        (lambda text: text.replace(b'"result":', b'"results":'), "are not both there"),
    ],
)
def test_what_is_not_a_record(
    run: tuple[subprocess.CompletedProcess[str], Path], damage, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "record.json").write_bytes(damage((run[1] / "record.json").read_bytes()))
    code, _, err = told(capsys, "show", tmp_path)
    assert code == 2 and words in err and err.endswith("[bad-record]\n")


def test_a_later_minor_version_only_adds(
    run: tuple[subprocess.CompletedProcess[str], Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "record.json").write_bytes(of_version((run[1] / "record.json").read_bytes(), "1.999", more=1))
    assert told(capsys, "show", tmp_path)[0] == 0


def test_no_record_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = told(capsys, "show", tmp_path)
    assert code == 2 and err.endswith("[no-file]\n")


def test_selftest(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = told(capsys, "selftest")
    assert code == 0 and "Sharma, Wu and Dalal" in out and "IEC 61131-3" in out


def test_a_wrong_known_answer_ends_the_run(
    station: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The first pair of Sharma, Wu and Dalal 2005 (2.0425), computed as something else: no record may come of that."""
    known = [("CIEDE2000", 2.0500, 2.0425, 1e-4, "Sharma, Wu and Dalal 2005")]
    monkeypatch.setattr("stationtest.signals.distances.known_answers", lambda: known)
    code, out, _ = told(capsys, "selftest")
    assert code == 1 and "WRONG" in out and "trust nothing computed here" in out
    code, _, err = told(capsys, "run", station, "-o", tmp_path / "run")
    assert code == 2
    assert err.splitlines()[-1] == (
        "known answers come out wrong on this computer, so no record is made: distances (Sharma, Wu and Dalal 2005); "
        "`stationtest selftest` lists all [selftest-failed]"
    )
    assert not (tmp_path / "run").exists()


def test_plugins(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = told(capsys, "plugins")
    assert code == 0
    assert all(name in out for name in ("own_channel_only", "CIEDE2000", "parquet", "in process", f"stationtest {VERSION}"))


def broken(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def body(args: object) -> int:
        raise error

    monkeypatch.setattr("stationtest.commands.selftest.body", body)


def test_an_internal_error_is_one_line(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    broken(monkeypatch, ZeroDivisionError("two\nlines"))
    code, _, err = told(capsys, "selftest")
    assert code == 3
    assert err == (
        "internal error: ZeroDivisionError: two; this is a fault of stationtest, not of your files; "
        "STATIONTEST_TRACEBACK=1 shows where\n"
    )


def test_an_internal_error_with_its_traceback(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    broken(monkeypatch, ZeroDivisionError("two"))
    monkeypatch.setenv("STATIONTEST_TRACEBACK", "1")
    code, _, err = told(capsys, "selftest")
    assert code == 3 and err.startswith("Traceback") and "test_cli.py" in err


def test_stopped_from_the_keyboard(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    broken(monkeypatch, KeyboardInterrupt())
    assert told(capsys, "selftest") == (130, "", "stopped\n")


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_a_run_that_is_stopped_leaves_nothing(tmp_path: Path) -> None:
    folder = kit.station(tmp_path / "station")
    line = [sys.executable, "-m", "stationtest", "run", str(folder), "-o", str(tmp_path / "run")]
    process = subprocess.Popen(line, env=kit.ENVIRONMENT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(0.7)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert kit.everything_in(tmp_path / "station") == kit.everything_in(kit.station(tmp_path / "other"))
    assert not (tmp_path / "run").exists() or process.returncode == 1  # it may have been quick enough to end
    assert "Traceback" not in err or "cli.py" not in err


def test_a_reader_that_goes_away_is_met_with_silence(station: Path) -> None:
    line = f"{sys.executable} -m stationtest observe {station} recordings/day1.csv --csv - | head -n 1"
    done = subprocess.run(line, shell=True, env=kit.ENVIRONMENT, capture_output=True, text=True, check=False)
    assert done.stdout.startswith('"recording"') and done.stderr == ""


def test_names_that_the_terminal_cannot_show_do_not_stop_it(tmp_path: Path) -> None:
    folder = kit.station(tmp_path / "station", kit.PASSES.replace("Each sachet", "Каждый sachet ✓ [bold]"))
    done = kit.command("check", folder, PYTHONIOENCODING="ascii")
    assert done.returncode == 0 and "[bold]" in done.stdout
