"""Descriptions of the parts that plugins bring: what a describing hook returns.

A description names things and never holds them: code is given as a dotted path `package.module:name`, so that a description can
be pickled, printed in a record, and read without loading what it describes.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from stationtest.errors import usage

UNITS = ("presentation", "neighbouring pair", "set", "run")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectationPart:
    """One expectation that a case may state under `expect:`.

    `unit` is what one trial is: presentation, set or run. `fields` names a pydantic class of what is written under the
    expectation's name, `judge` a function `(fields, trials) -> Judged`, `words` a function `(fields, station) -> str` that says
    in one sentence what one trial must do. `needs_times` is False if a table of trials without times can be judged. `version`
    counts up whenever the judgement can change for the same input.
    """

    name: str
    version: int
    unit: str
    title: str
    fields: str
    judge: str
    words: str
    needs_times: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingFormatPart:
    """One way in which recordings are stored. `suffixes` are lower case, with their dot; `reader` names the function that opens
    one."""

    name: str
    version: int
    suffixes: tuple[str, ...]
    reader: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DistancePart:
    """One colour distance, under the name of its standard. `space` says what it compares: 'Lab', 'uv' or 'shares' of the
    bands."""

    name: str
    version: int
    source: str
    space: str
    function: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ExecutorPart:
    """One way to spread work. `factory` names a function `(workers) -> object` whose `each(function, tasks)` yields the
    results."""

    name: str
    version: int
    factory: str


def resolve(dotted: str) -> Any:
    """What `package.module:name` names. The module is imported on first need; one that fails stops the run."""
    module, _, name = dotted.partition(":")
    try:
        return getattr(importlib.import_module(module), name)
    except Exception as error:
        raise usage(f"{dotted} cannot be loaded: {type(error).__name__}: {error}", "broken-plugin") from error


Part = ExpectationPart | ReadingFormatPart | DistancePart | ExecutorPart


@dataclass(frozen=True, slots=True, kw_only=True)
class PluginFacts:
    """An installed plugin, as it stands in the record: the package that brings it, its version, and the names it provides."""

    package: str
    version: str
    provides: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """Every part that is present, by kind and name, sorted by name. Plain data: it travels to workers as it is."""

    expectations: Mapping[str, ExpectationPart] = field(default_factory=dict)
    formats: Mapping[str, ReadingFormatPart] = field(default_factory=dict)
    distances: Mapping[str, DistancePart] = field(default_factory=dict)
    executors: Mapping[str, ExecutorPart] = field(default_factory=dict)
    plugins: tuple[PluginFacts, ...] = ()

    @staticmethod
    def resolve(dotted: str) -> Any:
        """What `package.module:name` names (see `resolve`)."""
        return resolve(dotted)

    def kinds(self) -> Iterator[tuple[str, Mapping[str, Part]]]:
        """Every kind with its parts, in a fixed order."""
        yield "expectation", self.expectations
        yield "reading format", self.formats
        yield "distance", self.distances
        yield "executor", self.executors
