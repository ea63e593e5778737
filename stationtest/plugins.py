"""Which parts are present: those that come with stationtest and those that installed packages bring, through the same hooks.

Built-in parts are named by dotted path, so nothing here loads what it lists. A plugin that cannot be loaded stops the run, and so
do two that bring a part of the same name: an auditor must be able to tell from the record which code judged.
"""

from __future__ import annotations

import importlib.metadata
import json
import sys
from collections.abc import Callable, Iterable
from typing import Any

import pluggy

from stationtest import hookspecs
from stationtest.errors import Problem, UsageError, usage
from stationtest.hookspecs import hookimpl
from stationtest.model.parts import DistancePart, ExecutorPart, ExpectationPart, Part, Parts, PluginFacts, ReadingFormatPart
from stationtest.place import NOWHERE

GROUP = "stationtest"
PACKAGE = "stationtest"

# name, unit of a trial, needs times, version, title
EXPECTATIONS = (
    ("own_channel_only", "presentation", False, 1, "The channels of this target fire, and no other"),
    ("only_channels", "presentation", False, 1, "The named channels fire, and no other"),
    ("channels", "presentation", False, 1, "The named channels do as stated"),
    ("silent", "presentation", False, 1, "The named channels stay silent"),
    ("no_channel", "presentation", False, 1, "No channel switches"),
    ("outputs", "presentation", False, 2, "Outputs of the logic do as stated"),
    ("neighbours", "presentation", True, 1, "An output hits no neighbour"),
    ("set", "set", False, 1, "The set's output says what was presented"),
    ("pulses", "presentation", True, 1, "Number of pulses"),
    ("response", "presentation", True, 1, "Response time"),
    ("held", "presentation", True, 1, "Longest unbroken on-time"),
    ("margin", "presentation", False, 2, "Margin of the tolerance"),
    ("level", "presentation", False, 1, "Level of the readings"),
    ("order", "set", True, 1, "Order of first on-times"),
    ("count", "set", True, 1, "Pulses counted against what was presented"),
    ("spacing", "neighbouring pair", True, 1, "Distance from the one before"),
    ("alike", "set", False, 1, "Likeness of the colours of a set"),
    ("drift", "run", True, 1, "Drift over a run"),
    ("agrees", "presentation", True, 1, "Recorded and computed signals agree"),
)

# name, source, space, function of stationtest.signals.distances
DISTANCES = (
    ("CIE 1976 u'v'", "ISO/CIE 11664-5", "uv", "cie_1976_uv"),
    ("CIE 1976 L*a*b*", "ISO/CIE 11664-4", "Lab", "cie_1976_lab"),
    ("CIE 1994", "CIE 116", "Lab", "cie_1994"),
    ("CIEDE2000", "ISO/CIE 11664-6", "Lab", "ciede2000"),
    ("CMC(2:1)", "ISO 105-J03", "Lab", "cmc_2_1"),
    ("CMC(1:1)", "ISO 105-J03", "Lab", "cmc_1_1"),
    ("sensor chromaticity", "Euclidean distance of the band shares; not standardised", "shares", "sensor_chromaticity"),
)


class BuiltIn:
    """The parts that come with stationtest."""

    @hookimpl
    def stationtest_expectations(self) -> list[ExpectationPart]:
        return [
            ExpectationPart(
                name=name,
                version=version,
                unit=unit,
                title=title,
                fields=f"stationtest.expectations.{name}:Fields",
                judge=f"stationtest.expectations.{name}:judge",
                words=f"stationtest.expectations.{name}:words",
                needs_times=needs_times,
            )
            for name, unit, needs_times, version, title in EXPECTATIONS
        ]

    @hookimpl
    def stationtest_reading_formats(self) -> list[ReadingFormatPart]:
        return [
            ReadingFormatPart(
                name="csv", version=1, suffixes=(".csv", ".txt", ".tsv"), reader="stationtest.sources.csv_readings:open_file"
            ),
            ReadingFormatPart(
                name="parquet", version=1, suffixes=(".parquet",), reader="stationtest.sources.parquet_readings:open_file"
            ),
        ]

    @hookimpl
    def stationtest_distances(self) -> list[DistancePart]:
        return [
            DistancePart(name=name, version=1, source=source, space=space, function=f"stationtest.signals.distances:{function}")
            for name, source, space, function in DISTANCES
        ]

    @hookimpl
    def stationtest_executors(self) -> list[ExecutorPart]:
        return [
            ExecutorPart(name="in process", version=1, factory="stationtest.engine.executors:InProcess"),
            ExecutorPart(name="processes", version=1, factory="stationtest.engine.executors:Processes"),
        ]


def manager(
    *, entry_points: Iterable[importlib.metadata.EntryPoint] | None = None, built_in: object | None = None
) -> pluggy.PluginManager:
    """A plugin manager with the built-in parts and every plugin of the entry point group, sorted by name and loaded."""
    plugins = pluggy.PluginManager(hookspecs.PROJECT)
    plugins.add_hookspecs(hookspecs)
    plugins.register(built_in or BuiltIn(), PACKAGE)
    found = importlib.metadata.entry_points(group=GROUP) if entry_points is None else entry_points
    for point in sorted(found, key=lambda point: (point.name, point.value)):
        label = _label(point)
        try:
            plugin = point.load()
            plugins.register(plugin, label)
            plugins.check_pending()
        except Exception as error:  # whatever a foreign package raises, its name must be in the message
            message = f"the plugin {label} cannot be loaded: {type(error).__name__}: {error}; mend or uninstall it"
            raise usage(message, "broken-plugin") from error
    return plugins


def _label(point: importlib.metadata.EntryPoint) -> str:
    dist = getattr(point, "dist", None)
    return f"{point.name} (of {dist.name} {dist.version})" if dist else f"{point.name} (of {point.value})"


def load(plugins: pluggy.PluginManager | None = None) -> Parts:
    """Every part that is present. Raises `UsageError` for clashes and plugins that cannot be loaded."""
    plugins = plugins or manager()
    owners: dict[tuple[str, str], str] = {}
    clashes: list[Problem] = []
    provides: dict[str, list[str]] = {}

    def collect(kind: str, hook: Any, also: Callable[[Any], Iterable[str]] = lambda part: ()) -> dict[str, Any]:
        parts: dict[str, Any] = {}
        for implementation in hook.get_hookimpls():
            owner = implementation.plugin_name
            for part in _call(owner, implementation.function):
                for claim in (part.name, *also(part)):
                    other = owners.setdefault((kind, claim), owner)
                    if parts.get(part.name) is not None or other != owner:
                        message = f"the {kind} {claim} is brought by {other} and by {owner}; uninstall one of them"
                        clashes.append(Problem(NOWHERE, "", message, "clashing-plugins"))
                parts.setdefault(part.name, part)
                provides.setdefault(owner, []).append(f"{kind} {part.name} {part.version}")
        return dict(sorted(parts.items()))

    hook = plugins.hook
    expectations = collect("expectation", hook.stationtest_expectations)
    formats = collect("reading format", hook.stationtest_reading_formats, lambda part: part.suffixes)
    distances = collect("distance", hook.stationtest_distances)
    executors = collect("executor", hook.stationtest_executors)
    if clashes:
        raise UsageError(clashes)
    return Parts(
        expectations=expectations, formats=formats, distances=distances, executors=executors, plugins=_facts(plugins, provides)
    )


def _call(owner: str, function: Callable[[], Iterable[Part]]) -> list[Part]:
    try:
        parts = list(function())
        for part in parts:
            if not isinstance(part, Part):
                raise TypeError(f"it returned {part!r}, which is no description of a part")
        return parts
    except Exception as error:
        message = f"the plugin {owner} failed when it was asked for its parts: {type(error).__name__}: {error}"
        raise usage(message, "broken-plugin") from error


def _facts(plugins: pluggy.PluginManager, provides: dict[str, list[str]]) -> tuple[PluginFacts, ...]:
    from stationtest.version import VERSION

    facts = []
    for name, _ in plugins.list_name_plugin():
        if name == PACKAGE:
            package, version = PACKAGE, VERSION
        else:
            package, _, version = name.partition("(of ")[2].rstrip(")").rpartition(" ")
        facts.append(PluginFacts(package=package or name, version=version, provides=tuple(sorted(provides.get(name, ())))))
    return tuple(sorted(facts, key=lambda fact: (fact.package, fact.version, fact.provides)))


class Listeners:
    """Calls the listening hooks with a copy, one plugin after the other, and reports what they raise without heeding it."""

    def __init__(self, plugins: pluggy.PluginManager, report: Callable[[str], None] | None = None) -> None:
        self._plugins = plugins
        self._report = report or (lambda text: print(text, file=sys.stderr))

    def tell(self, hook: str, **what: Any) -> None:
        """Call every implementation of `stationtest_<hook>`, each with a copy of its own."""
        for implementation in getattr(self._plugins.hook, f"stationtest_{hook}").get_hookimpls():
            copy = json.loads(json.dumps(what))
            try:
                implementation.function(**{name: copy[name] for name in implementation.argnames})
            except Exception as error:
                why = f"{type(error).__name__}: {error}"
                self._report(f"the plugin {implementation.plugin_name} failed in {hook}, which changes nothing: {why}")
