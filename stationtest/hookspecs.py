"""The hooks of stationtest: what a plugin can bring, and what it can listen to.

A plugin is a module (or object) that an installed package names in the entry point group `stationtest`:

    [project.entry-points.stationtest]
    my_part = "my_package.my_module"

and that implements some of the functions below, marked with `stationtest.hookspecs.hookimpl`. Plugins are found once, sorted by
the name of their entry point. One that cannot be loaded stops the run, and two that bring a part of the same name stop it with
both names: nobody should have to guess which of them judged. The parts that come with stationtest are brought by the same hooks.

All hooks are called in the process of the door (the command line, or the controller and each worker of pytest while files are
read), never by name of an argument that is not listed here; arguments may be added in later versions, never removed.

There are two kinds. *Describing* hooks return a list of descriptions (`stationtest.model.parts`): names, versions, dotted paths.
They act on nothing. *Listening* hooks get a copy, made of built-in types, of what has come about, and return nothing. No hook can
alter readings, counts or verdicts, so that whoever reads a plan and a record knows what happened.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pluggy

if TYPE_CHECKING:
    from stationtest.model.parts import DistancePart, ExecutorPart, ExpectationPart, ReadingFormatPart

PROJECT = "stationtest"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def stationtest_expectations() -> list[ExpectationPart]:  # type: ignore[empty-body]
    """Expectations that a case may state under `expect:`.

    Called once, before the first case file is read, since the fields of the expectations are part of the language. Two of the
    same name, or one that is named like a built-in one: the run stops and both packages are named.

        @hookimpl
        def stationtest_expectations():
            return [ExpectationPart(name="warm_up", version=1, unit="run", title="Warm-up time", needs_times=True,
                                    fields="my_package.warm_up:Fields", judge="my_package.warm_up:judge",
                                    words="my_package.warm_up:words")]
    """


@hookspec
def stationtest_reading_formats() -> list[ReadingFormatPart]:  # type: ignore[empty-body]
    """Formats in which recordings may be stored.

    Called once, before the first recording is opened. The suffix of a file decides its format; two formats of the same name or
    for the same suffix stop the run with both packages named.

        @hookimpl
        def stationtest_reading_formats():
            return [ReadingFormatPart(name="feather", version=1, suffixes=(".feather",), reader="my_package.feather:open_file")]
    """


@hookspec
def stationtest_distances() -> list[DistancePart]:  # type: ignore[empty-body]
    """Colour distances that a channel may name under `distance:`, each with the publication that defines it.

    Called once, before the first recording is observed. Two of the same name: the run stops and both packages are named.

        @hookimpl
        def stationtest_distances():
            return [DistancePart(name="DIN99o", version=1, source="DIN 6176:2018", space="Lab", function="my_package.din99o:of")]
    """


@hookspec
def stationtest_executors() -> list[ExecutorPart]:  # type: ignore[empty-body]
    """Ways to spread the observing of recordings over processes or computers, chosen with `--executor`.

    Called once, before a run. The factory gets the number of workers and returns an object with one method,
    `each(function, tasks)`: it calls the top-level `function` with each of the tasks, wherever it likes, and yields the results
    in any order; it raises what a function raised. Two of the same name: the run stops and both packages are named.

        @hookimpl
        def stationtest_executors():
            return [ExecutorPart(name="cluster", version=1, factory="my_package.cluster:Cluster")]
    """


@hookspec
def stationtest_plan_made(plan: dict[str, Any]) -> None:
    """Listening: a run is about to start. Called once by a run of the command line or of Python.

    `plan` has `folder`, `station`, `cases` (the ids to be judged, in order) and `readings` (the recordings to be observed). An
    exception is printed as one line and changes nothing else; with several plugins, all are called.

        @hookimpl
        def stationtest_plan_made(plan):
            print(len(plan["cases"]), "cases")
    """


@hookspec
def stationtest_case_finished(case: dict[str, Any]) -> None:
    """Listening: a case has been judged. `case` is its entry in the record (`CaseResult` in `stationtest.model.record`).

    Called in the order of the cases by the command line and Python, in the order of arrival by pytest. An exception is printed as
    one line and changes no verdict; with several plugins, all are called.

        @hookimpl
        def stationtest_case_finished(case):
            lamp.set("green" if case["verdict"] == "pass" else "red")
    """


@hookspec
def stationtest_run_finished(record: dict[str, Any], folder: str | None) -> None:
    """Listening: a record has been made (`Record` in `stationtest.model.record`), and saved in `folder` unless that is None.

    Called once for each record. An exception is printed as one line and changes nothing; with several plugins, all are called.

        @hookimpl
        def stationtest_run_finished(record, folder):
            shutil.copytree(folder, archive / record["run"]["id"])
    """
