"""A run: every recording observed once, every case judged on the observations, a record made and saved.

Both doors go through here. The command line calls `run`; pytest observes and judges item by item and then calls `finish` with the
same things, so that `result` is the same bytes by either door.
"""

from __future__ import annotations

import dataclasses
import datetime
import functools
import hashlib
import os
import re
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from stationtest.engine import environment, store
from stationtest.errors import Problem, ReadingsError, StationtestError, UsageError, told_in, usage
from stationtest.files import canonical, suggest
from stationtest.model.case import Case, Suite
from stationtest.model.observations import SourceObservations
from stationtest.model.parts import Parts
from stationtest.model.record import FORMAT, RECORD_VERSION, CaseResult, Record, ResultPart, Selftest
from stationtest.place import NOWHERE

Progress = Callable[[str, int, int | None], None]
"""Called with what is being done, how far it is, and how far it goes (None: not known)."""


class Told(Protocol):
    """Whoever tells the listening plugins (`plugins.Listeners`)."""

    def tell(self, hook: str, **what: Any) -> None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What may differ between two runs of the same thing: by which door, when, how many workers. Goes into the record's `run`."""

    door: Literal["cli", "pytest", "python"]
    command: tuple[str, ...]
    started: datetime.datetime
    ended: datetime.datetime
    workers: int = 0
    python_tests: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A finished run. `observations` is keyed by recording; `tables` are their files, by path in the run's folder."""

    record: Record
    observations: Mapping[str, SourceObservations]
    tables: Mapping[str, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class ObserveTask:
    """One recording to be observed by a worker, which leaves the observations in a file. All plain data, so that it travels."""

    suite: Suite
    key: str
    parts: Parts
    path: str | None


def run(
    suite: Suite,
    parts: Parts,
    *,
    only: Sequence[str] | None = None,
    workers: int = 0,
    executor: str | None = None,
    now: datetime.datetime | None = None,
    door: Literal["cli", "pytest", "python"] = "python",
    command: Sequence[str] = (),
    listeners: Told | None = None,
    progress: Progress | None = None,
) -> Run:
    """Judge the cases of a station, all or those named by `only`.

    `now` stands for both start and end, for tests. Raises `UsageError` (nothing selected, unknown ids) and `ReadingsError` with
    the problems of all recordings; a record is only made if every selected case could be judged.
    """
    from stationtest.engine import as_found, judging

    started = now or _utc_now()
    cases = select(suite, only)
    keys = readings_of(suite, cases)
    if listeners:
        plan = {
            "folder": suite.folder,
            "station": suite.station.name,
            "cases": [case.id for case in cases],
            "readings": list(keys),
        }
        listeners.tell("plan_made", plan=plan)
    observations = observe_all(suite, parts, keys, workers=workers, executor=executor, progress=progress)
    as_found.stop_if_they_differ(suite, cases, observations)
    results: dict[str, CaseResult] = {}
    for number, case in enumerate(cases):
        if progress:
            progress("judging", number, len(cases))
        results[case.id] = judging.judge(suite, case, observations, parts)
        if listeners:
            listeners.tell("case_finished", case=results[case.id])
    about = Circumstances(door=door, command=tuple(command), started=started, ended=now or _utc_now(), workers=workers)
    attempts = dict.fromkeys(results, 1)
    selected = [case.id for case in cases]
    return finish(suite, parts, results, observations, selected=selected, attempts=attempts, about=about)


def select(suite: Suite, only: Sequence[str] | None) -> tuple[Case, ...]:
    """The cases to be judged, in the order of the files. A case with rows may be named by its id without the row."""
    if only is None:
        cases = suite.cases
    else:
        known = {name for case in suite.cases for name in (case.id, _whole(case.id))}
        problems = [Problem(NOWHERE, "", _unknown("case", name, known), "unknown-name") for name in only if name not in known]
        if problems:
            raise UsageError(problems)
        cases = tuple(case for case in suite.cases if case.id in only or _whole(case.id) in only)
    if not cases:
        raise usage("there is no case to judge: write one under cases/, or name other ids", "nothing-selected")
    return cases


def _whole(case_id: str) -> str:
    return case_id.partition(".")[0]


def in_folder(suite: Suite, path: str) -> str:
    """A path that was noted as the user would type it, relative to the station's folder: the same wherever a run was started."""
    return os.path.relpath(path, suite.folder).replace(os.sep, "/")


def _unknown(what: str, name: str, allowed: Iterable[str]) -> str:
    near = suggest.nearest(name, allowed)
    return f"there is no {what} {name}; " + (
        f"did you mean {near}?" if near else f"there are: {suggest.allowed_words(sorted(allowed))}"
    )


def readings_of(suite: Suite, cases: Iterable[Case]) -> tuple[str, ...]:
    """The recordings that these cases name, in the order of the whole suite, whichever cases were selected."""
    named = {path for case in cases for path in case.readings}
    return tuple(path for path in suite.readings() if path in named)


def observe_all(
    suite: Suite,
    parts: Parts,
    keys: Sequence[str],
    *,
    workers: int = 0,
    executor: str | None = None,
    progress: Progress | None = None,
) -> dict[str, SourceObservations]:
    """Observe recordings, each once, in this process or spread over workers. Raises the problems of all of them together."""
    chosen = executor or ("processes" if workers > 0 and len(keys) > 1 else "in process")
    if chosen not in parts.executors:
        raise usage(_unknown("executor", chosen, parts.executors), "unknown-name")
    from stationtest.engine import correcting, register

    spread = parts.resolve(parts.executors[chosen].factory)(workers)
    bare = dataclasses.replace(suite, cases=(), station_written={})  # observing must not know what is expected
    problems: list[Problem] = []
    observed: dict[str, SourceObservations] = {}
    with tempfile.TemporaryDirectory(prefix="stationtest-") as folder:
        here = chosen == "in process"
        tasks = [
            ObserveTask(suite=bare, key=key, parts=parts, path=None if here else os.path.join(folder, f"{number}.npz"))
            for number, key in enumerate(keys)
        ]
        function = functools.partial(observe_task, progress=progress) if here else observe_task
        for done, (key, outcome, found) in enumerate(spread.each(function, tasks), start=1):
            problems.extend(found)
            if outcome is not None:
                observed[key] = store.load(outcome) if isinstance(outcome, str) else outcome
                unfit = correcting.problems(suite, observed[key])
                truth = correcting.laid_over(suite, observed[key]).presentations
                problems.extend(unfit or register.contradictions(suite, key, truth))
            if progress and not here:
                progress("observing", done, len(keys))
    if problems:
        raise ReadingsError(problems)
    return {key: observed[key] for key in keys}


def observe_task(
    task: ObserveTask, progress: Progress | None = None
) -> tuple[str, SourceObservations | str | None, tuple[Problem, ...]]:
    """Observe one recording; hand back the observations, or the file in which they were left, or what is wrong with it."""
    from stationtest.engine import observing

    def show(rows: int, of: int | None) -> None:
        if progress:
            progress(f"observing {task.key}", rows, of)

    try:
        observations = observing.observe(task.suite, task.key, task.parts, progress=show)
    except StationtestError as error:
        return task.key, None, told_in(task.suite.folder, error)
    if task.path is None:
        return task.key, observations, ()
    store.save(observations, task.path)
    return task.key, task.path, ()


def finish(
    suite: Suite,
    parts: Parts,
    results: Mapping[str, CaseResult],
    observations: Mapping[str, SourceObservations],
    *,
    selected: Sequence[str],
    attempts: Mapping[str, int],
    about: Circumstances,
) -> Run:
    """The record of the cases that were judged. `result` depends on the files, the selection and the versions alone."""
    from stationtest.engine import correcting, illustrating, observation_table, recording, tracing

    observations = {key: correcting.laid_over(suite, observed) for key, observed in observations.items()}
    ordered = [results[case.id] for case in suite.cases if case.id in results]
    tracer = tracing.Tracer(suite, parts)
    figures = illustrating.figures(suite, ordered, observations, tracer.trace, tracer.learned())
    result = recording.assemble(suite, ordered, observations, selected=selected, attempts=attempts, figures=figures)
    for entry in result["cases"]:
        entry["file"] = in_folder(suite, entry["file"])
    tables: dict[str, bytes] = {}
    for number, source in enumerate(result["sources"], start=1):
        name = re.sub(r"[^A-Za-z0-9._-]+", "-", source["key"]).strip("-.")
        path = f"observations/{number}-{name}.csv"  # the number keeps apart what a plain name cannot
        tables[path] = observation_table.csv_bytes(suite.station, observations[source["key"]])
        rows = tables[path].count(b"\n") - 1
        source["tables"] = [
            {"name": "observations", "path": path, "sha256": hashlib.sha256(tables[path]).hexdigest(), "rows": rows}
        ]
    return Run(record=seal_up(result, suite, parts, about), observations=observations, tables=tables)


def seal_up(result: ResultPart, suite: Suite, parts: Parts, about: Circumstances) -> Record:
    """`result` with its digest and the part that says how it came about."""
    known = _known_answers()
    result_sha256 = hashlib.sha256(canonical.dumps(result)).hexdigest()
    return {
        "format": FORMAT,
        "version": RECORD_VERSION,
        "result_sha256": result_sha256,
        "run": {
            "id": f"{about.started:%Y-%m-%dT%H-%M-%SZ}-{result_sha256[:8]}",
            "door": about.door,
            "command": list(about.command),
            "started": _iso(about.started),
            "ended": _iso(about.ended),
            "seconds": round((about.ended - about.started).total_seconds(), 3),
            "workers": about.workers,
            "facts": dict(suite.run_facts.facts),
            "tool": environment.tool(suite.station.language),
            "plugins": environment.plugins(parts),
            "selftest": known,
            "environment": environment.computer(),
            "python_tests": about.python_tests,
        },
        "result": result,
    }


def _known_answers() -> Selftest:
    """The answers of the self-test. A wrong one ends the run: no record may hold what this computer computes."""
    from stationtest import selftest

    found = selftest.run()
    wrong = [f"{check['name']} ({check['source']})" for check in found["checks"] if not check["passed"]]
    if wrong:
        raise usage(
            f"known answers come out wrong on this computer, so no record is made: {'; '.join(wrong)}; "
            "`stationtest selftest` lists all", "selftest-failed"
        )  # fmt: skip
    return found


def _utc_now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)


def _iso(instant: datetime.datetime) -> str:
    return instant.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
