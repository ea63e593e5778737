"""Case files and cases as pytest sees them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from stationtest.errors import StationtestError
from stationtest.model.case import Case, Suite
from stationtest.model.record import CaseResult
from stationtest.pytest_door.session import Heard, Session, session_of

PYTEST_MARKS = (
    "filterwarnings",
    "parametrize",
    "skip",
    "skipif",
    "usefixtures",
    "xfail",
    "requirement",
    "station",
    "target",
    "channel",
)


class CaseNotPassed(Exception):
    """A case whose verdict is not pass."""


class CaseFile(pytest.File):
    """One `*.case.yaml`. The whole station folder is read with it, since ids are unique over the folder."""

    def collect(self) -> Iterator[CaseItem]:
        try:
            session = session_of(self.config)
        except StationtestError as error:
            raise self.CollectError(str(error)) from None
        try:
            folder, suite = session.station_of(self.path)
        except StationtestError as error:
            raise self.CollectError(session.first_told(self.path, error)) from None
        cases = session.cases_of(folder, self.path)
        if not cases:
            raise self.CollectError(
                f"{self.path}: cases are read from the folder cases/ of a station ({folder}); move this file there"
            )
        for case in cases:
            yield CaseItem.from_parent(self, name=case.id, case=case, folder=folder, suite=suite)


class CaseItem(pytest.Item):
    """One case."""

    def __init__(self, *, case: Case, folder: str, suite: Suite, **rest: Any) -> None:
        super().__init__(**rest)
        self.case, self.folder = case, folder
        self.result: CaseResult | None = None
        self.strip = ""
        self.stationtest_told: tuple[str, str | Heard]
        self._mark(suite)

    def _mark(self, suite: Suite) -> None:
        present, channels = _concerned(self.case, suite)
        for tag in self.case.tags:
            if tag in PYTEST_MARKS or tag.startswith("_"):
                raise pytest.Collector.CollectError(
                    f"{self.case.place}: tags: {tag} means something else to pytest; choose another word"
                )
            self.config.addinivalue_line("markers", f"{tag}: tag of a case")
            self.add_marker(getattr(pytest.mark, tag))
        self.add_marker(pytest.mark.station(name=suite.station.name))
        for requirement in self.case.requirements:
            self.add_marker(pytest.mark.requirement(id=requirement))
        for target in present:
            self.add_marker(pytest.mark.target(name=target))
        for channel in channels:
            self.add_marker(pytest.mark.channel(name=channel))
        title = self.case.title.split()
        words = (*self.case.requirements, *present, *channels, *self.case.tags, suite.station.name, self.case.title, *title)
        self.extra_keyword_matches.update(words)

    def reportinfo(self) -> tuple[Path, int | None, str]:
        return self.path, self.case.place.line - 1 if self.case.place.line else None, f"{self.case.id}: {self.case.title}"

    def runtest(self) -> None:
        session: Session = session_of(self.config)
        try:
            self.result, self.strip, note = session.judge(self.folder, self.case)
        except StationtestError:
            self.stationtest_told = ("not judged", "")
            raise
        self.stationtest_told = (str(self.result["verdict"]), note)
        if self.config.getini("station_junit_properties"):
            self.user_properties.extend(session.properties(self.result))
        if self.result["verdict"] != "pass":
            raise CaseNotPassed(self.result["reason"])

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """What a person needs on one screen. The first line is also the line of the short summary."""
        if isinstance(excinfo.value, StationtestError):
            return str(excinfo.value)
        if self.result is None or not isinstance(excinfo.value, CaseNotPassed):
            return super().repr_failure(excinfo, style)
        result = self.result
        lines = [result["reason"] or result["claim"]]
        lines.append(f"{result['verdict']}: {self.case.id}, {result['title']} ({self.case.place})")
        lines.append(f"{result['statement'].rstrip('.')}. Basis: {result['basis']}.")
        counted = f"{result['conforming']} conforming, {result['nonconforming']} nonconforming, {result['not_judged']} not judged"
        lines.append(f"{result['found']} trials: {counted}; asked: {result['asked']['words']}")
        lines.extend(f"  {trial['text']}" for trial in result["nonconforming_trials"][:3])
        return "\n".join([*lines, self.strip] if self.strip else lines)


def _concerned(case: Case, suite: Suite) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The targets that a case presents, and the channels that it names or that stand for those targets."""
    station = suite.station
    presents = [present for _, present in case.strata] + [case.present]
    members = [name for present in presents if present.set for name, _ in station.set_kind(present.set).members]
    targets = dict.fromkeys([*(name for present in presents for name in present.targets), *members])
    named = {word for expected in case.expect for word in _words(expected.written)}
    channels = [channel.name for channel in station.channels if channel.name in named or set(channel.for_targets) & set(targets)]
    return tuple(targets), tuple(channels)


def _words(written: Any) -> Iterator[str]:
    if isinstance(written, str):
        yield written
    elif isinstance(written, dict):
        for key, value in written.items():
            yield from (str(key), *_words(value))
    elif isinstance(written, (list, tuple)):
        for part in written:
            yield from _words(part)
