"""Plugins: parts come through the hooks, clashes and failures stop the run with names, listeners change nothing."""

from __future__ import annotations

import ast
import importlib.metadata
import inspect
import sys
import types
from pathlib import Path
from typing import Any

import pluggy
import pytest
import station_kit as kit

from stationtest import hookspecs, plugins
from stationtest.engine import running
from stationtest.errors import FileProblems, UsageError
from stationtest.files import suite
from stationtest.hookspecs import hookimpl
from stationtest.model.parts import DistancePart, ExecutorPart, ExpectationPart, ReadingFormatPart


class Point:
    """Stands for an entry point of an installed package."""

    def __init__(self, name: str, plugin: object) -> None:
        self.name, self.value, self._plugin = name, f"{name}_package.plugin", plugin
        self.dist = types.SimpleNamespace(name=f"{name}-package", version="2.3")

    def load(self) -> object:
        if isinstance(self._plugin, Exception):
            raise self._plugin
        return self._plugin


def with_plugins(**named: object) -> pluggy.PluginManager:
    points: Any = [Point(name, plugin) for name, plugin in named.items()]
    return plugins.manager(entry_points=points)


def an_expectation(name: str = "exactly_mine", **changes: Any) -> ExpectationPart:
    base = "stationtest.expectations.no_channel"
    given: dict[str, Any] = {"fields": f"{base}:Fields", "judge": f"{base}:judge", "words": f"{base}:words", **changes}
    return ExpectationPart(name=name, version=1, unit="presentation", title="Mine", needs_times=False, **given)


class Brings:
    """A plugin with one expectation."""

    def __init__(self, *parts: ExpectationPart) -> None:
        self.parts = parts

    @hookimpl
    def stationtest_expectations(self) -> list[ExpectationPart]:
        return list(self.parts)


def test_built_in_parts_come_through_the_hooks() -> None:
    """A manager whose built-in plugin brings nothing has nothing: there is no second way in."""
    parts = plugins.load(plugins.manager(entry_points=[], built_in=Brings()))
    assert [dict(named) for _, named in parts.kinds()] == [{}, {}, {}, {}]


def test_every_dotted_path_of_a_built_in_part_can_be_loaded() -> None:
    parts = plugins.load()
    for _, named in parts.kinds():
        for part in named.values():
            for field in ("fields", "judge", "words", "reader", "function", "factory"):
                if hasattr(part, field):
                    assert callable(parts.resolve(getattr(part, field)))


def test_a_part_that_is_taken_away_is_missed_by_name(tmp_path: Path) -> None:
    built_in = plugins.BuiltIn()
    part = next(part for part in built_in.stationtest_expectations() if part.name == "no_channel")
    rest = plugins.load(plugins.manager(entry_points=[], built_in=Brings(part)))
    folder = kit.station(tmp_path, kit.PASSES)
    with pytest.raises(FileProblems) as error:
        suite.load(str(folder), expectations=rest.expectations)
    (problem,) = error.value.problems
    assert problem.code in ("unknown-name", "unknown-key") and "own_channel_only" in str(problem)


def test_a_format_that_is_taken_away_is_missed_by_its_suffix(tmp_path: Path) -> None:
    class NoFormats(plugins.BuiltIn):
        @hookimpl
        def stationtest_reading_formats(self) -> list[ReadingFormatPart]:
            return [part for part in super().stationtest_reading_formats() if part.name != "csv"]

    parts = plugins.load(plugins.manager(entry_points=[], built_in=NoFormats()))
    found = suite.load(str(kit.station(tmp_path, kit.PASSES)), expectations=parts.expectations)
    with pytest.raises(UsageError.__mro__[1], match=r"\.csv.*known: \.parquet") as error:
        running.run(found, parts)
    assert error.value.problems[0].code == "no-form"  # type: ignore[attr-defined]


def test_a_plugin_changes_a_verdict(tmp_path: Path) -> None:
    """A sample plugin whose expectation is `no channel switches`: mint, which fires channel 1, does not conform."""
    manager = with_plugins(mine=Brings(an_expectation()))
    parts = plugins.load(manager)
    mine = kit.FAILS.replace("no_channel", "exactly_mine")
    cases = mine + mine.replace("BAD", "GOOD").replace("present: mint", "present: chamomile").replace(
        "exactly_mine: yes", "channels: [2]"
    )
    found = suite.load(str(kit.station(tmp_path, cases)), expectations=parts.expectations)
    record = running.run(found, parts).record
    assert [case["verdict"] for case in record["result"]["cases"]] == ["fail", "pass"]
    brought = {plugin["package"]: plugin for plugin in record["run"]["plugins"]}
    assert brought["mine-package"] == {"package": "mine-package", "version": "2.3", "provides": "expectation exactly_mine 1"}


def test_two_plugins_with_one_name() -> None:
    with pytest.raises(UsageError) as error:
        plugins.load(with_plugins(first=Brings(an_expectation()), second=Brings(an_expectation())))
    (problem,) = error.value.problems
    assert str(problem) == (
        "the expectation exactly_mine is brought by first (of first-package 2.3) and by second (of second-package 2.3); "
        "uninstall one of them [clashing-plugins]"
    )


def test_a_plugin_that_names_a_part_like_a_built_in_one() -> None:
    with pytest.raises(UsageError, match=r"held is brought by stationtest and by mine \(of mine-package 2\.3\)"):
        plugins.load(with_plugins(mine=Brings(an_expectation("held"))))


def test_two_formats_for_one_suffix() -> None:
    class Format:
        @hookimpl
        def stationtest_reading_formats(self) -> list[ReadingFormatPart]:
            return [ReadingFormatPart(name="other", version=1, suffixes=(".csv",), reader="x:y")]

    with pytest.raises(UsageError, match=r"reading format \.csv is brought by stationtest and by mine"):
        plugins.load(with_plugins(mine=Format()))


@pytest.mark.parametrize("error", [ImportError("no module named x"), SyntaxError("bad"), RuntimeError("no licence")])
def test_a_plugin_that_cannot_be_loaded_stops_the_run(error: Exception) -> None:
    with pytest.raises(UsageError) as raised:
        with_plugins(mine=error)
    (problem,) = raised.value.problems
    assert problem.code == "broken-plugin"
    assert (
        problem.message.startswith("the plugin mine (of mine-package 2.3) cannot be loaded: ") and str(error) in problem.message
    )


def test_a_plugin_that_fails_when_asked() -> None:
    class Fails:
        @hookimpl
        def stationtest_distances(self) -> list[DistancePart]:
            raise KeyError("x")

    with pytest.raises(UsageError, match=r"mine \(of mine-package 2\.3\) failed when it was asked for its parts: KeyError"):
        plugins.load(with_plugins(mine=Fails()))


def test_a_plugin_that_returns_something_else() -> None:
    class Acts:
        @hookimpl
        def stationtest_executors(self) -> list[Any]:
            return [print]

    with pytest.raises(UsageError, match="which is no description of a part"):
        plugins.load(with_plugins(mine=Acts()))


def test_a_hook_that_does_not_exist() -> None:
    """Misspelt hooks are found, since pluggy is asked for what nobody declared."""

    class Misspelt:
        @hookimpl
        def stationtest_expectation(self) -> list[ExpectationPart]:
            return []

    with pytest.raises(UsageError, match="unknown hook 'stationtest_expectation'"):
        with_plugins(mine=Misspelt())


def test_a_dotted_path_that_leads_nowhere(tmp_path: Path) -> None:
    parts = plugins.load(with_plugins(mine=Brings(an_expectation(fields="not_there:Fields"))))
    with pytest.raises(UsageError) as error:
        suite.load(str(kit.station(tmp_path)), expectations=parts.expectations)
    assert error.value.problems[0].code == "broken-plugin" and "not_there:Fields" in str(error.value)


def test_an_executor_of_a_plugin_is_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And it may give the results in any order."""
    module = types.ModuleType("backwards_package")
    asked: list[int] = []

    class Backwards:
        def __init__(self, workers: int) -> None:
            asked.append(workers)

        def each(self, function: Any, tasks: Any) -> Any:
            return [function(task) for task in reversed(list(tasks))]

    module.Backwards = Backwards  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "backwards_package", module)

    class Plugin:
        @hookimpl
        def stationtest_executors(self) -> list[ExecutorPart]:
            return [ExecutorPart(name="backwards", version=1, factory="backwards_package:Backwards")]

    parts = plugins.load(with_plugins(mine=Plugin()))
    found = suite.load(str(kit.station(tmp_path)), expectations=parts.expectations)
    plain = running.run(found, parts).record["result_sha256"]
    assert running.run(found, parts, executor="backwards", workers=3).record["result_sha256"] == plain
    assert asked == [3]


# listening


class Listens:
    def __init__(self) -> None:
        self.heard: list[tuple[str, Any]] = []

    @hookimpl
    def stationtest_plan_made(self, plan: dict[str, Any]) -> None:
        self.heard.append(("plan", plan["cases"].copy()))
        plan["cases"].clear()

    @hookimpl
    def stationtest_case_finished(self, case: dict[str, Any]) -> None:
        self.heard.append((case["id"], case["verdict"]))
        case["verdict"] = "pass"

    @hookimpl
    def stationtest_run_finished(self, record: dict[str, Any], folder: str | None) -> None:
        self.heard.append(("run", folder))
        raise RuntimeError("the archive is full")


def test_listeners_hear_everything_and_change_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, second = Listens(), Listens()
    manager = with_plugins(first=first, second=second)
    parts = plugins.load(manager)
    told: list[str] = []
    listeners = plugins.Listeners(manager, told.append)
    found = suite.load(str(kit.station(tmp_path)), expectations=parts.expectations)
    record = running.run(found, parts, listeners=listeners).record
    listeners.tell("run_finished", record=record, folder="x")
    assert first.heard == second.heard == [("plan", list(kit.VERDICTS)), *kit.VERDICTS.items(), ("run", "x")]
    assert {case["id"]: case["verdict"] for case in record["result"]["cases"]} == kit.VERDICTS
    what = "failed in run_finished, which changes nothing: RuntimeError: the archive is full"
    assert told == [f"the plugin {name} (of {name}-package 2.3) {what}" for name in ("first", "second")]


def test_the_manual_of_the_hooks() -> None:
    """Each hook says when it is called, what becomes of several plugins, and shows an implementation with its exact arguments."""
    hooks = {name: hook for name, hook in vars(hookspecs).items() if name.startswith("stationtest_")}
    assert len(hooks) == 7
    for name, hook in hooks.items():
        manual = inspect.getdoc(hook) or ""
        assert "Called" in manual, name
        assert any(
            words in " ".join(manual.split()) for words in ("all are called", "two formats of the same name", "Two of the same")
        ), name
        example = ast.parse(inspect.cleandoc(manual[manual.index("@hookimpl") :])).body[0]
        assert isinstance(example, ast.FunctionDef) and example.name == name
        assert [argument.arg for argument in example.args.args] == list(inspect.signature(hook).parameters)


def test_entry_points_are_really_looked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Through the interface of installed packages, in the order of their names."""
    loaded: list[str] = []

    def entry_points(*, group: str) -> list[Point]:
        assert group == "stationtest"
        return [Point(name, Brings(an_expectation(f"mine_{name}"))) for name in ("b", "a")]

    monkeypatch.setattr(importlib.metadata, "entry_points", entry_points)
    manager = plugins.manager()
    loaded = [name for name, _ in manager.list_name_plugin()]
    assert loaded == ["stationtest", "a (of a-package 2.3)", "b (of b-package 2.3)"]
    assert {"mine_a", "mine_b"} <= set(plugins.load(manager).expectations)
