"""Observing once, judging many, one record: the same `result` however the work was cut, and nothing half-written on disk."""

from __future__ import annotations

import dataclasses
import datetime
import errno
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import station_kit as kit

import stationtest
from stationtest import plugins, selftest
from stationtest.engine import executors, running, saving, sharing, store, strip
from stationtest.errors import ReadingsError, UsageError, readings_error, usage
from stationtest.files import canonical, suite
from stationtest.model.case import Suite
from stationtest.model.observations import SourceObservations
from stationtest.report.page import render

PARTS = plugins.load()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return kit.station(tmp_path_factory.mktemp("running") / "station")


@pytest.fixture(scope="module")
def loaded(folder: Path) -> Suite:
    return suite.load(str(folder), expectations=PARTS.expectations)


@pytest.fixture(scope="module")
def whole(loaded: Suite) -> running.Run:
    return running.run(loaded, PARTS)


# the same bytes


@pytest.mark.parametrize("workers", [1, 2])
def test_workers_change_nothing(loaded: Suite, whole: running.Run, workers: int) -> None:
    other = running.run(loaded, PARTS, workers=workers, executor="processes")
    assert canonical.dumps(other.record["result"]) == canonical.dumps(whole.record["result"])
    assert other.tables == whole.tables


def test_the_order_of_judging_changes_nothing(loaded: Suite, whole: running.Run) -> None:
    """Cases judged in reverse, recordings observed in reverse; the files, whose order is part of the result, stay as they are."""
    from stationtest.engine import judging

    observations = running.observe_all(loaded, PARTS, loaded.readings()[::-1])
    results = {case.id: judging.judge(loaded, case, observations, PARTS) for case in reversed(loaded.cases)}
    ids = [case.id for case in loaded.cases]
    now = datetime.datetime(2026, 1, 2, tzinfo=datetime.UTC)
    about = running.Circumstances(door="python", command=(), started=now, ended=now)
    done = running.finish(loaded, PARTS, results, observations, selected=ids[::-1], attempts=dict.fromkeys(ids, 1), about=about)
    assert canonical.dumps(done.record["result"]) == canonical.dumps(whole.record["result"])


def test_where_it_was_started_changes_nothing(folder: Path, whole: running.Run, monkeypatch: pytest.MonkeyPatch) -> None:
    for start, named in ((folder, "."), (folder.parent, "station"), (folder.parent, "station/"), (folder / "cases", "..")):
        monkeypatch.chdir(start)
        found = suite.load(named, expectations=PARTS.expectations)
        assert running.run(found, PARTS).record["result_sha256"] == whole.record["result_sha256"]


def test_now_makes_two_records_the_same_bytes(loaded: Suite) -> None:
    now = datetime.datetime(2026, 1, 2, 3, 4, 5, tzinfo=datetime.UTC)
    first, second = (canonical.dumps(running.run(loaded, PARTS, now=now).record) for _ in range(2))
    assert first == second
    assert json.loads(first)["run"]["id"].startswith("2026-01-02T03-04-05Z-")


def test_the_digest_is_that_of_the_canonical_result(whole: running.Run) -> None:
    import hashlib

    assert hashlib.sha256(canonical.dumps(whole.record["result"])).hexdigest() == whole.record["result_sha256"]


def test_the_record_names_what_it_was_made_on(whole: running.Run) -> None:
    run = whole.record["run"]
    assert {package["name"] for package in run["tool"]["packages"]} >= {"numpy", "pytest", "colour-science", "pyarrow"}
    assert all(package["version"] != "missing" for package in run["tool"]["packages"])
    assert run["selftest"]["passed"] and sum(check["checks"] for check in run["selftest"]["checks"]) > 40
    assert run["facts"]["who"] == "not a real person" and run["facts"]["role"] is None


def test_the_problems_of_all_recordings_come_together(tmp_path: Path) -> None:
    broken = kit.station(tmp_path)
    for path in ("recordings/day1.csv", "hand/trials.csv"):
        (broken / path).write_text((broken / path).read_text().splitlines()[0] + "\n")
    found = suite.load(str(broken), expectations=PARTS.expectations)
    with pytest.raises(ReadingsError) as error:
        running.run(found, PARTS)
    assert {(problem.place.path, problem.code) for problem in error.value.problems} == {
        (str(broken / "recordings/day1.csv"), "empty-recording"),
        (str(broken / "hand/trials.csv"), "empty-recording"),
    }


# executors


def double(number: int) -> int:
    return 2 * number


def refuse(number: int) -> int:
    raise usage(f"number {number}", "no-file")


def leave(number: int) -> int:
    os._exit(1)


@pytest.mark.parametrize("executor", [executors.InProcess(0), executors.Processes(2)])
def test_each_gives_every_result_once(executor: executors.Executor) -> None:
    assert sorted(executor.each(double, range(5))) == [0, 2, 4, 6, 8]
    assert list(executor.each(double, [])) == []


@pytest.mark.parametrize("executor", [executors.InProcess(0), executors.Processes(2)])
def test_each_raises_what_the_function_raised(executor: executors.Executor) -> None:
    with pytest.raises(UsageError, match="number 7") as error:
        list(executor.each(refuse, [7]))
    assert error.value.problems[0].code == "no-file"


def test_a_process_that_ends_from_outside_is_named() -> None:
    with pytest.raises(UsageError, match="a worker process ended without a result"):
        list(executors.Processes(1).each(leave, [1]))


# store


def same(first: Any, second: Any) -> bool:
    if isinstance(first, np.ndarray):
        return first.dtype == second.dtype and np.array_equal(first, second, equal_nan=first.dtype.kind == "f")
    if dataclasses.is_dataclass(first):
        return type(first) is type(second) and all(
            same(getattr(first, field.name), getattr(second, field.name)) for field in dataclasses.fields(first)
        )
    if isinstance(first, dict):
        return list(first) == list(second) and all(same(first[key], second[key]) for key in first)
    if isinstance(first, (tuple, list)):
        return type(first) is type(second) and len(first) == len(second) and all(map(same, first, second))
    return type(first) is type(second) and (first == second or first != first)


def test_observations_to_disk_and_back(whole: running.Run, tmp_path: Path) -> None:
    for number, observed in enumerate(whole.observations.values()):
        path = str(tmp_path / f"{number}.npz")
        store.save(observed, path)
        assert same(observed, store.load(path))
    assert [name for name in os.listdir(tmp_path) if not name.endswith(".npz")] == []


def test_the_store_takes_no_objects(whole: running.Run, tmp_path: Path) -> None:
    """An array of objects would need pickle, and reading pickle can run code."""
    observed = next(iter(whole.observations.values()))
    for foreign in (np.array([object()]), np.float64(1), object(), b"x"):
        with pytest.raises(TypeError, match="no plain form"):
            store.save(dataclasses.replace(observed, reader={"x": foreign}), str(tmp_path / "x.npz"))
    assert os.listdir(tmp_path) == []


# sharing


def test_observed_once_and_read_by_the_others(whole: running.Run, tmp_path: Path) -> None:
    observed = next(iter(whole.observations.values()))
    calls: list[int] = []

    def observe() -> SourceObservations:
        calls.append(1)
        return observed

    for _ in range(3):
        assert same(sharing.observed_once(str(tmp_path), "name", observe), observed)
    assert calls == [1]


def test_what_one_process_met_is_raised_in_every_one(tmp_path: Path) -> None:
    calls: list[int] = []

    def observe() -> SourceObservations:
        calls.append(1)
        raise readings_error("x.csv", 17, "time", "not later", "unsorted-time")

    for _ in range(2):
        with pytest.raises(ReadingsError, match=r"x\.csv:17: time: not later \[unsorted-time\]"):
            sharing.observed_once(str(tmp_path), "name", observe)
    assert calls == [1]


@pytest.mark.skipif(os.name != "posix", reason="process ids of POSIX")
@pytest.mark.parametrize("owner", ["gone", "another with the same id"])
def test_the_lock_of_a_dead_owner_is_taken_over(whole: running.Run, tmp_path: Path, owner: str) -> None:
    observed = next(iter(whole.observations.values()))
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    sharing.observed_once(str(tmp_path), "name", lambda: observed)
    (done,) = tmp_path.iterdir()
    done.unlink()
    lock = tmp_path / f"{done.stem}.lock"
    lock.write_text(f"{ended.pid} 1" if owner == "gone" else f"{os.getpid()} 1")
    if owner != "gone" and not Path("/proc").is_dir():
        pytest.skip("this system does not say when a process was started")
    assert same(sharing.observed_once(str(tmp_path), "name", lambda: observed), observed)
    assert not lock.exists()


def test_a_folder_that_another_computer_cannot_see(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="workers on other computers cannot share observations"):
        sharing.observed_once(str(tmp_path / "not there"), "name", lambda: pytest.fail("observed"))


# saving


def test_saving_writes_everything_or_nothing(whole: running.Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full at the k-th call that writes, for every k until a run is saved without meeting that call."""
    real = {name: getattr(os, name) for name in ("fsync", "replace", "rename", "mkdir")}
    page = render(json.loads(canonical.dumps(whole.record)))
    (tmp_path / "mine.txt").write_text("mine")
    failures = 0
    for k in range(1, 200):
        calls = 0

        def counted(name: str, limit: int = k) -> Any:
            def call(*arguments: Any, **named: Any) -> Any:
                nonlocal calls
                calls += 1
                if calls == limit:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                return real[name](*arguments, **named)

            return call

        with monkeypatch.context() as patched:
            for name in real:
                patched.setattr(os, name, counted(name))
            try:
                saving.save(whole, str(tmp_path / "runs" / "one"), lambda record: page)
            except UsageError as error:
                failures += 1
                (problem,) = error.problems
                assert problem.code == "cannot-write" and "space" in problem.message.lower()
                assert kit.everything_in(tmp_path) == ["mine.txt"], f"left behind when call {k} failed"
                continue
        assert kit.everything_in(tmp_path / "runs") == [
            "one", "one/observations", "one/observations/1-recordings-day1.csv.csv", "one/observations/2-hand-trials.csv.csv",
            "one/record.json", "one/report.html",
        ]  # fmt: skip
        if calls < k:
            break
        shutil.rmtree(tmp_path / "runs")  # the call that failed was one that may: telling the disk of a name
    assert failures >= 3 + 4 * 2 + 1  # folders, four files with two calls each, the last name


def test_two_runs_in_one_second_have_two_folders(loaded: Suite, whole: running.Run) -> None:
    first = saving.run_folder(loaded, whole.record)
    os.makedirs(first)
    second = saving.run_folder(loaded, whole.record)
    os.rmdir(first)
    assert second == f"{first}-2"


def test_an_empty_folder_may_be_used(whole: running.Run, tmp_path: Path) -> None:
    assert saving.save(whole, str(tmp_path), render) == str(tmp_path)
    assert (tmp_path / "record.json").read_bytes() == canonical.dumps(whole.record)


# the strip of text


def test_the_strip_shows_what_switched(whole: running.Run) -> None:
    """Mint lies 60 ms before the sensor and 60 ms not; channel 1, with an off-delay of 5 ms, is on for 65 of the 120 ms shown.

    Half a presentation is shown on either side, so the bars stand at one and three quarters of the line.
    """
    failed = next(case for case in whole.record["result"]["cases"] if case["id"] == "BAD-01")
    lines = strip.of_case(failed, dict(whole.observations)).splitlines()
    scale = lines[0]
    name, line = lines[1].rsplit(maxsplit=1)
    begin = lines[1].index(line)
    assert name.split() == ["channel", "1"]
    assert [scale.index("|") - begin, scale.rindex("|") - begin] == [15, 45]
    assert line == "." * 15 + "#" * 33 + "." * 12  # 65 ms of 2 ms a cell: the last one is half on
    assert "0.030 s to 0.150 s" in lines[-1]


# Python


def test_the_public_names(folder: Path, whole: running.Run, tmp_path: Path) -> None:
    found = stationtest.load(folder)
    assert same(stationtest.observe(found, "recordings/day1.csv"), whole.observations["recordings/day1.csv"])
    record = stationtest.run(found)
    assert record["result_sha256"] == whole.record["result_sha256"] and record["run"]["door"] == "python"
    saving.save(whole, str(tmp_path / "run"), render)
    again = stationtest.read_record(tmp_path / "run")
    assert again == whole.record
    stationtest.write_report(again, tmp_path / "again.html")
    assert (tmp_path / "again.html").read_bytes() == (tmp_path / "run" / "report.html").read_bytes()
    assert stationtest.Verdict("not shown") and stationtest.__version__
    assert set(stationtest.__all__) <= set(dir(stationtest))
    with pytest.raises(AttributeError):
        stationtest.nothing  # noqa: B018


# selftest


def test_a_wrong_answer_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    def known_answers() -> Iterator[tuple[str, float, float, float, str]]:
        yield "good", 1.0, 1.0, 0.0, "a"
        yield "wrong", 1.1, 1.0, 0.05, "b"
        yield "no number", float("nan"), 1.0, 0.05, "c"

    monkeypatch.setattr("stationtest.stats.known.known_answers", known_answers)
    found = selftest.run([("bounds", "stationtest.stats.known")])
    assert [check["passed"] for check in found["checks"][:3]] == [True, False, False]
    assert not found["passed"]


def test_a_stand_in_for_scipy_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """With such an object in its place, a bound was seen to become 1.0 without any error."""
    from unittest.mock import MagicMock

    monkeypatch.setitem(sys.modules, "matplotlib", MagicMock())
    assert [check["passed"] for check in selftest.run([])["checks"]] == [False]


def test_a_response_limit_in_mm_has_a_verdict_and_a_report(tmp_path: Path) -> None:
    """At 500 mm/s a belt needs 100 ms for 50 mm (way = speed x time): sachets that switch at once are in time."""
    cases = kit.PASSES + (
        "  MM-01:\n    title: Mint answers on the belt\n    present: mint\n"
        "    expect: {response: {at_most: 50 mm, from: start}}\n    evidence: {trials: 3}\n"
    )
    folder = kit.station(tmp_path / "station", cases)
    with (folder / "station.yaml").open("a") as file:
        file.write("travel: {speed: 500 mm/s, within: 1 %}\n")
    done = running.run(suite.load(str(folder), expectations=PARTS.expectations), PARTS)
    found = {case["id"]: case for case in done.record["result"]["cases"]}
    assert found["MM-01"]["verdict"] == "pass"
    assert "MM-01" in render(done.record)
