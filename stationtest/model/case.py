"""Acceptance cases: what is presented, what is expected, how much evidence is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from stationtest.model.correction import Correction
from stationtest.model.station import Requirement, Specimen, Station
from stationtest.place import NOWHERE, Place

if TYPE_CHECKING:  # few suites have any
    from stationtest.model.scene import Scene
    from stationtest.model.settings_found import Export, SettingsFound


@dataclass(frozen=True, slots=True, kw_only=True)
class Present:
    """What a case is about. `kind` is 'targets', 'between', 'set' or 'item' (`matching`: whether its parts match by truth, None
    if that is not asked).

    For a set, `which` is 'complete', 'lacking' (`lacking` names the member; 'each' was laid out into parts, see `Case.strata`;
    'any' is whichever),
    'contents' (exactly `contents`) or 'extra' (`extra` names a target that does not belong, or 'any').
    """

    kind: str
    targets: tuple[str, ...] = ()
    set: str | None = None
    which: str | None = None
    lacking: str | None = None
    contents: tuple[tuple[str, int], ...] = ()
    extra: str | None = None
    item: str | None = None
    matching: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """How much the trials must show. Every number that was not stated is None: there is no silent default.

    Either `reliability` and `confidence` (shares), or `trials`, or `duration_ns` (with no event), or `runs`. `name` is the one
    under which the station defines it, if it does.
    """

    reliability: float | None = None
    confidence: float | None = None
    of: str | None = None
    presented: int | None = None
    specimens_at_least: int | None = None
    trials: int | None = None
    nonconforming_at_most: int = 0
    not_judged_at_most: float = 0.0
    pooled: bool = False
    duration_ns: int | None = None
    runs: int | None = None
    name: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """One expectation of a case: its name, its typed fields, and the words it was written in (for the record)."""

    name: str
    fields: Any
    written: Mapping[str, Any] | str
    version: int
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One acceptance case, rows laid out: `REC-03.mint` is a case of its own.

    `strata` are the parts of which evidence is asked each by itself: the targets, or the members that may lack; their labels
    are what the record prints.
    """

    id: str
    title: str
    present: Present
    strata: tuple[tuple[str, Present], ...]
    expect: tuple[Expected, ...]
    evidence: Evidence
    readings: tuple[str, ...]
    where: tuple[tuple[str, tuple[str, ...]], ...] = ()
    requirements: tuple[str, ...] = ()
    tags: tuple[str, ...] = ()
    basis: str | None = None
    do: str | None = None
    written: Mapping[str, Any] = field(default_factory=dict)
    place: Place = NOWHERE

    @property
    def unit(self) -> str:
        """presentation, set, item or run."""
        return self.expect[0].unit


@dataclass(frozen=True, slots=True, kw_only=True)
class InputFile:
    """A file the result depends on. `role`: station, cases, recording, presentations, list, events, requirements, specimens,
    settings, corrections, run, spectrum."""

    path: str
    role: str
    sha256: str
    bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """What run.yaml says: who, where, stage, when, conditions. Missing ones are None and are printed as 'not recorded'."""

    facts: tuple[tuple[str, str | None], ...] = ()
    exports: tuple[Export, ...] = ()  # of the settings in the devices


@dataclass(frozen=True, slots=True, kw_only=True)
class Suite:
    """A station folder, read and typed: everything a run needs besides the readings."""

    folder: str
    station: Station
    cases: tuple[Case, ...]
    requirements: tuple[Requirement, ...] = ()
    specimens: tuple[Specimen, ...] = ()
    run_facts: RunFacts = field(default_factory=RunFacts)
    settings_found: SettingsFound | None = None
    corrections: tuple[Correction, ...] = ()
    station_written: Mapping[str, Any] = field(default_factory=dict)
    files: tuple[InputFile, ...] = ()
    scenes: tuple[Scene, ...] = ()
    other_readings: tuple[str, ...] = ()  # put under every case in place of its own, by whoever started the run
    allow_outside: bool = False

    def readings(self) -> tuple[str, ...]:
        """Every recording that a case names, each once, in order of first mention (paths relative to the folder, posix)."""
        return tuple(dict.fromkeys(path for case in self.cases for path in case.readings))
