"""The work of one pytest run: stations read once, recordings observed once, verdicts gathered, one record a station.

Under xdist every worker reads the files and judges its cases; observations are shared through a folder of the controller, which
hears the verdicts in the reports and writes the records. What was planned is read from the files, never from what was collected.
"""

from __future__ import annotations

import datetime
import gc
import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, cast

import pytest

from stationtest import collector, plugins
from stationtest.engine import running, saving, sharing, strip
from stationtest.errors import StationtestError
from stationtest.files import canonical, safe_write, suite
from stationtest.model.case import Case, Suite
from stationtest.model.observations import SourceObservations
from stationtest.model.record import CaseResult

SELECTED = "selected.json"
AHEAD = 512
Heard = dict[str, Any]
"""`folder` and `result` of a case."""
Note = tuple[str, str, str | Heard]
"""Of a report of a case: when it was (`call`, or `???` if a worker died), its node id, its result (as text if it came from
another process) or nothing."""


class Session:
    """Everything is keyed by the station's folder, resolved."""

    def __init__(self, config: pytest.Config, shared: str | None) -> None:
        self.config, self.shared = config, shared
        self.started = datetime.datetime.now(datetime.UTC)
        self.manager = plugins.manager()
        self.parts = plugins.load(self.manager)
        self.listeners = plugins.Listeners(self.manager)
        self._suites: dict[str, Suite | StationtestError] = {}
        self._by_file: dict[str, dict[str, list[Case]]] = {}
        self._told: dict[str, Path] = {}
        self._observations: dict[tuple[str, str], SourceObservations] = {}
        self._selected: list[tuple[str, str]] = []
        self._coming: list[tuple[str, Case]] = []  # the selected cases in the order of the session, the next one last
        self._judged: dict[tuple[str, str], CaseResult] = {}

    # reading

    def station_of(self, path: Path) -> tuple[str, Suite]:
        """The folder and the suite of the nearest station.yaml at or above `path`. Raises every problem of every file."""
        folder = os.path.realpath(suite.find_station(str(path)))
        return folder, self.suite(folder)

    def suite(self, key: str) -> Suite:
        """The station whose folder, resolved, is `key`; its files are read once."""
        if key not in self._suites:
            outside = self.config.getoption("station_allow_outside") or self.config.getini("station_allow_outside")
            try:
                shown = os.path.relpath(key)
                shown = key if shown.startswith("..") else shown
                self._suites[key] = suite.load(shown, allow_outside=bool(outside), expectations=self.parts.expectations)
            except StationtestError as error:
                self._suites[key] = error
        found = self._suites[key]
        if isinstance(found, StationtestError):
            raise found
        return found

    def cases_of(self, folder: str, path: Path) -> tuple[Case, ...]:
        """The cases that stand in one file."""
        if folder not in self._by_file:
            by_file: dict[str, list[Case]] = {}
            found = self.suite(folder)
            for case in found.cases:
                by_file.setdefault(running.in_folder(found, case.place.path), []).append(case)
            self._by_file[folder] = by_file
        return tuple(self._by_file[folder].get(Path(os.path.relpath(path.resolve(), folder)).as_posix(), ()))

    def first_told(self, path: Path, error: StationtestError) -> str:
        """All problems for the first case file of a station, and a pointer to them for the others."""
        first = self._told.setdefault(str(error), path)
        return str(error) if first == path else f"the station cannot be read; its problems are listed under {first.name}"

    # observing and judging

    def observe(self, folder: str, key: str) -> SourceObservations:
        """The observations of one recording: made once a session, by whichever process needs them first."""
        if (folder, key) not in self._observations:
            found = self.suite(folder)

            def observe() -> SourceObservations:
                return running.observe_all(found, self.parts, [key])[key]

            name = f"{folder}::{key}"
            self._observations[folder, key] = sharing.observed_once(self.shared, name, observe) if self.shared else observe()
        return self._observations[folder, key]

    def judge(self, folder: str, case: Case) -> tuple[CaseResult, str, str | Heard]:
        """The result of a case, a strip of what switched if it is not a pass, and the result for whoever gathers them: as a text
        where that is another process."""
        result = self._judged.pop((folder, case.id), None) or self._judge_ahead(folder, case)
        shown = ""
        if result["verdict"] != "pass":
            shown = strip.of_case(result, {key: self.observe(folder, key) for key in case.readings})
        heard: Heard = {"folder": folder, "result": result}
        return result, shown, canonical.dumps(heard).decode() if hasattr(self.config, "workerinput") else heard

    def _judge_ahead(self, folder: str, case: Case) -> CaseResult:
        """The result of a case. The next ones that read the same recordings are judged with it and kept: in one go they take half
        the time that they take one by one, between all that pytest does for a test."""
        from stationtest.engine import as_found, judging

        found, coming = self.suite(folder), self._coming
        observations = {key: self.observe(folder, key) for key in case.readings}

        def judge(one: Case) -> CaseResult:
            as_found.stop_if_they_differ(found, [one], observations)
            return judging.judge(found, one, observations, self.parts)

        first = judge(case)
        if not coming or coming[-1][1] is not case:
            return first
        coming.pop()
        with collector.at_rest():
            while coming and len(self._judged) < AHEAD and coming[-1][0] == folder and coming[-1][1].readings == case.readings:
                try:
                    self._judged[folder, coming[-1][1].id] = judge(coming[-1][1])
                except Exception:  # it will come out again in its own turn
                    break
                coming.pop()
        return first

    def properties(self, result: CaseResult) -> list[tuple[str, Any]]:
        """Flat properties for JUnit."""
        counts = {"found": result["found"], "conforming": result["conforming"], "nonconforming": result["nonconforming"]}
        counts["not_judged"] = result["not_judged"]
        named = [("station.verdict", str(result["verdict"])), ("station.basis", result["basis"])]
        requirements = [("requirement", requirement) for requirement in result["requirements"]]
        return [*named, *((f"station.{name}", number) for name, number in counts.items()), *requirements]

    # the record

    def selected_are(self, items: Iterable[pytest.Item]) -> None:
        """What is about to run, after every kind of deselection. A worker leaves it for the controller."""
        chosen = [(item.folder, item.case) for item in items if hasattr(item, "case") and hasattr(item, "folder")]
        self._selected = [(folder, case.id) for folder, case in chosen]
        if not hasattr(self.config, "workerinput"):  # a worker does not know which cases will be its own
            self._coming = chosen[::-1]
            gc.freeze()  # thousands of cases stay to the end; the collector need not walk over them again and again
        if self.shared and hasattr(self.config, "workerinput"):
            safe_write.write(os.path.join(self.shared, SELECTED), json.dumps(self._selected).encode())

    def finish(self, notes: Sequence[Note], python_tests: int, stopped: str) -> list[str]:
        """Make and save the records. Returns lines for the terminal."""
        where, base = self.config.getoption("station_record"), self.config.invocation_params.dir
        if not where:
            where, base = self.config.getini("station_record"), self.config.rootpath
        if self.shared and os.path.exists(os.path.join(self.shared, SELECTED)):
            listed = json.loads(Path(self.shared, SELECTED).read_text("utf-8"))
            self._selected = [(folder, case_id) for folder, case_id in listed]
        folders = list(dict.fromkeys(folder for folder, _ in self._selected))
        lines: list[str] = []
        for number, folder in enumerate(folders, start=1):
            found = self.suite(folder)
            selected = [case_id for of, case_id in self._selected if of == folder]
            results, attempts, refused = self._heard(folder, found, selected, notes, stopped)
            lines += self._partial(found, selected, results, stopped)
            lines += self._reasons(results)
            if where and refused:
                lines.append(f"{found.station.name}: no record, since {', '.join(refused)} could not be judged")
            elif where:
                below = [f"{number}-{os.path.basename(folder)}"] if len(folders) > 1 else []
                target = None if where == "yes" else os.path.join(base, where, *below)
                lines.append(self._record(found, folder, selected, results, attempts, python_tests, target))
        return lines

    def _heard(
        self, folder: str, found: Suite, selected: Sequence[str], notes: Sequence[Note], stopped: str
    ) -> tuple[dict[str, CaseResult], dict[str, int], list[str]]:
        """Results, attempts, and the cases that were tried and gave none, since their readings were refused or an error came up.

        A case whose worker died, or of which nothing was heard although nobody stopped the session, is not judged: it may be
        neither left out nor taken for something that was never meant to run.
        """
        results: dict[str, CaseResult] = {}
        attempts: dict[str, int] = {}
        refused: list[str] = []
        died: list[str] = []
        cases = {case.id: case for case in found.cases}
        for when, nodeid, note in notes:
            if note:
                heard = json.loads(note) if isinstance(note, str) else note
                if heard["folder"] == folder:
                    case_id = heard["result"]["id"]
                    results[case_id] = heard["result"]
                    attempts[case_id] = attempts.get(case_id, 0) + 1
                continue
            file, _, case_id = nodeid.rpartition("::")
            case = cases.get(case_id)
            if case is not None and file.endswith(running.in_folder(found, case.place.path)):
                (refused if when == "call" else died).append(case_id)
        silent = [] if stopped else [case_id for case_id in selected if case_id not in refused]
        for case_id in dict.fromkeys([*died, *silent]):
            if case_id not in results:
                results[case_id], attempts[case_id] = _no_result(cases[case_id]), 1
        return results, attempts, [case_id for case_id in dict.fromkeys(refused) if case_id not in results]

    def _reasons(self, results: Mapping[str, CaseResult]) -> Iterator[str]:
        """Reasons in full, where the short summary of pytest will cut them to the width of the terminal."""
        if os.environ.get("CI") or os.environ.get("BUILD_NUMBER") or self.config.get_verbosity() >= 2:
            return
        for result in results.values():
            if result["verdict"] != "pass":
                yield f"{result['verdict']}: {result['id']}: {result['reason']}"

    def _partial(self, found: Suite, selected: list[str], results: Mapping[str, CaseResult], stopped: str) -> list[str]:
        planned = len(found.cases)
        if len(results) == planned:
            return []
        why = []
        if len(selected) < planned:
            options = [("-k", "keyword"), ("-m", "markexpr"), ("--lf", "lf"), ("--deselect", "deselect")]
            used = [
                f"{name} {value}" if isinstance(value, str) else name for name, key in options if (value := self._option(key))
            ]
            why.append(f"{planned - len(selected)} not selected" + (f" ({', '.join(used)})" if used else ""))
        if len(results) < len(selected):
            why.append(f"{len(selected) - len(results)} selected but not judged" + (f" ({stopped})" if stopped else ""))
        return [f"{found.station.name}: partial, {len(results)} of {planned} cases judged: {'; '.join(why)}"]

    def _option(self, key: str) -> Any:
        return self.config.getoption(key, default=None)

    def _record(
        self,
        found: Suite,
        folder: str,
        selected: Sequence[str],
        results: Mapping[str, CaseResult],
        attempts: Mapping[str, int],
        python_tests: int,
        target: str | None,
    ) -> str:
        from stationtest.report.front import in_a_line
        from stationtest.report.page import render

        try:
            keys = running.readings_of(found, [case for case in found.cases if case.id in results])
            observations = {key: self.observe(folder, key) for key in keys}
            about = running.Circumstances(
                door="pytest",
                command=("pytest", *self.config.getini("addopts"), *map(str, self.config.invocation_params.args)),
                started=self.started,
                ended=datetime.datetime.now(datetime.UTC),
                workers=int(self._option("numprocesses") or 0),
                python_tests=python_tests,
            )
            run = running.finish(found, self.parts, results, observations, selected=selected, attempts=attempts, about=about)
            written = saving.save(run, target or saving.run_folder(found, run.record), render)
        except StationtestError as error:
            return f"{found.station.name}: no record: {error}"
        self.listeners.tell("run_finished", record=run.record, folder=written)
        return f"{found.station.name}: {in_a_line(cast('dict[str, Any]', run.record))}; record and report in {written}"


def session_of(config: pytest.Config) -> Session:
    """The work of this pytest run, begun on first need by the plugin that pytest knows."""
    door: Any = config.pluginmanager.get_plugin("stationtest door")
    session: Session = door.session
    return session


def _no_result(case: Case) -> CaseResult:
    from stationtest.engine import case_entry

    result = case_entry.not_run(case)
    result["state"], result["verdict"], result["basis"] = "executed", "not judged", "computed"
    result["reason"] = "no result came back: the process that judged it ended without one"
    return result


class StationHandle:
    """What the fixture `station` gives to a Python test: the same observations and verdicts as the cases get.

    Python tests appear in no record; the report says how many there were.
    """

    def __init__(self, session: Session, path: Path) -> None:
        self._session = session
        self.folder, self.suite = session.station_of(path)

    def observe(self, recording: str) -> SourceObservations:
        """The observations of a recording, named relative to the station's folder."""
        return self._session.observe(self.folder, recording)

    def run(self, case_id: str) -> CaseResult:
        """The result of one case."""
        (case,) = [case for case in running.select(self.suite, [case_id]) if case.id == case_id]
        return self._session.judge(self.folder, case)[0]
