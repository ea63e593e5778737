"""The pytest door: `*.case.yaml` files are collected, one item a case.

This module is loaded by every pytest run of an environment in which stationtest is installed, so it imports pytest alone; all
work is imported where a case file, the fixture or a record is really wanted. Only names that pytest exports are used.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Generator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from stationtest.pytest_door.session import Note, Session, StationHandle

SUFFIX = ".case.yaml"
# the category stays `failed`: with one of its own, pytest would print neither the failure nor its reason in the short summary
LETTERS = {"not shown": ("failed", "N", "NOT SHOWN"), "not judged": ("failed", "J", "NOT JUDGED")}
MARKERS = (
    "requirement(id): a requirement that a case of a station verifies; select with -m 'requirement(id=\"URS-12\")'",
    "station(name): the station of a case",
    "target(name): a target that a case presents",
    "channel(name): a channel that a case is about",
)


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("stationtest", "acceptance tests of colour sensor stations")
    record = "write a record and a report of each station: below STATION/runs/, or with =FOLDER to a new folder"
    group.addoption("--station-record", nargs="?", const="yes", default=None, metavar="FOLDER", help=record)
    outside = "let the files of a station name paths that leave its folder"
    group.addoption("--station-allow-outside", action="store_true", default=None, help=outside)
    parser.addini("station_record", "as --station-record: `yes`, or a new folder (relative to the root folder)", default="")
    parser.addini("station_allow_outside", "as --station-allow-outside", type="bool", default=False)
    parser.addini(
        "station_junit_properties", "give verdict, trials and requirements as JUnit properties", type="bool", default=False
    )


def pytest_configure(config: pytest.Config) -> None:
    for line in MARKERS:
        config.addinivalue_line("markers", line)
    folder = config.getoption("station_record")
    if folder and folder != "yes" and os.path.isdir(folder) and os.listdir(folder):
        raise pytest.UsageError(
            f"--station-record={folder}: this folder is not empty, and a record is never written over something; name a new "
            "folder after an equals sign, or put --station-record behind the paths"
        )
    config.pluginmanager.register(StationDoor(config), "stationtest door")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """A station inside another is collected only where it is named: `pytest STATION` judges what `run STATION` judges."""
    if not os.path.isfile(collection_path / "station.yaml"):
        return None
    if not any(os.path.isfile(folder / "station.yaml") for folder in collection_path.parents):
        return None
    given = [(config.invocation_params.dir / os.fspath(name).partition("::")[0]).resolve() for name in config.args]
    real = collection_path.resolve()
    return None if any(real == path or real in path.parents for path in given) else True


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    if not file_path.name.endswith(SUFFIX):
        return None
    from stationtest.pytest_door.items import CaseFile

    return CaseFile.from_parent(parent, path=file_path)


def pytest_report_teststatus(report: pytest.CollectReport | pytest.TestReport) -> tuple[str, str, str] | None:
    verdict = getattr(report, "stationtest_verdict", "")
    return LETTERS.get(verdict) if report.outcome == "failed" else None


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Generator[None, Any, Any]:
    report = yield
    if call.when == "call" and hasattr(item, "stationtest_told"):
        # of a worker two texts, so that nothing can be in them that cannot be sent
        report.stationtest_verdict, report.stationtest_note = item.stationtest_told
    return report


@pytest.fixture
def station(request: pytest.FixtureRequest) -> StationHandle:
    """The station of the folder in which this test lies: `.observe("recordings/a.csv")`, `.run("REC-01")`."""
    from stationtest.pytest_door.session import StationHandle, session_of

    return StationHandle(session_of(request.config), request.path)


class StationDoor:
    """What this pytest run has heard of cases. The controller writes the record; a worker only leaves what it must share."""

    def __init__(self, config: pytest.Config) -> None:
        self.config = config
        self.notes: list[Note] = []  # when, node id and note of each report of a case
        self.python_tests = 0
        self.lines: list[str] = []
        self._session: Session | None = None
        # under xdist: the folder in which processes share observations; the controller makes it and tells the workers
        self.shared: str | None = getattr(config, "workerinput", {}).get("stationtest_folder")

    @property
    def session(self) -> Session:
        if self._session is None:
            from stationtest.pytest_door.session import Session

            self._session = Session(self.config, self.shared)
        return self._session

    @pytest.hookimpl(optionalhook=True)
    def pytest_configure_node(self, node: Any) -> None:
        """A worker of xdist is about to start."""
        self.shared = self.shared or tempfile.mkdtemp(prefix="stationtest-")
        node.workerinput["stationtest_folder"] = self.shared

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        if self._session is not None:
            self._session.selected_are(session.items)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if SUFFIX not in report.nodeid:
            self.python_tests += report.when == "call"
        elif report.when not in ("setup", "teardown") or report.failed:
            self.notes.append((str(report.when), report.nodeid, getattr(report, "stationtest_note", "")))

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self, session: pytest.Session, exitstatus: int | pytest.ExitCode) -> None:
        if hasattr(self.config, "workerinput") or self.config.getoption("collectonly"):
            return
        if exitstatus == pytest.ExitCode.USAGE_ERROR and not self.notes:
            return  # told when all was collected, as of a wrong -k or -m: no case was meant to run
        if self._session is not None or self.notes:
            interrupted = exitstatus == pytest.ExitCode.INTERRUPTED and "interrupted"
            stopped = str(session.shouldfail or session.shouldstop or interrupted or "")
            self.lines = self.session.finish(self.notes, self.python_tests, stopped)

    def pytest_terminal_summary(self, terminalreporter: Any) -> None:
        if self.lines:
            terminalreporter.section("stationtest")
            for line in self.lines:
                terminalreporter.write_line(line)

    def pytest_unconfigure(self) -> None:
        if self.shared and not hasattr(self.config, "workerinput"):
            shutil.rmtree(self.shared, ignore_errors=True)
