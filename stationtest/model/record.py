"""The record of a run: the shape of record.json, as typed dictionaries of built-in types.

Typed dictionaries and not classes, since a record is what is written and read back, by this version and by later ones. Every key
is always present, absent is None, order is kept in lists, numbers are finite, integers stay below 2**53. Times are integers in
nanoseconds since a recording's origin. `result` depends on the files, the selection and the versions only; `run` holds what may
differ between two runs of the same thing. A minor version only adds keys; those that 1.0 did not have are `NotRequired`, since
its records are read as well. The JSON Schema is made from these classes (files/schema.py) and kept under test.
"""

from __future__ import annotations

from typing import Any, Final, Literal, NotRequired, TypedDict

FORMAT: Final = "stationtest record"
RECORD_VERSION = "1.1"


class Asked(TypedDict):
    """The evidence a case asks for, as planned. Shares from 0 to 1."""

    reliability: float | None
    confidence: float | None
    of: str | None
    presented: int | None
    specimens_at_least: int | None
    trials: int | None
    nonconforming_at_most: int
    not_judged_at_most: float
    pooled: bool
    duration_ns: int | None
    runs: int | None
    words: str  # in one sentence
    name: NotRequired[str | None]  # under which station.yaml defines it


class LeftOut(TypedDict):
    why: str
    n: int


class Worst(TypedDict):
    """A presentation or set worth looking at: the worst of its kind, or a nonconforming one."""

    source: str
    index: int  # row of the presentations or sets table of that source
    label: str  # `mint, specimen 14`
    at_ns: int | None
    at: str  # `83.412 s`, or '' without times
    channel: str
    value: float | None
    unit: str
    text: str  # the whole sentence


class Stratum(TypedDict):
    """Trials of one target, member or row, of which evidence is asked by itself."""

    label: str
    planned: int | None
    found: int
    conforming: int
    nonconforming: int
    not_judged: int
    specimens: int | None
    least_shown: int | None  # trials of the least shown specimen
    lower_bound: float | None  # one-sided, at the asked confidence, of the planned (else of all found) trials
    upper_bound: float | None
    least_shown_bound: float | None
    duration_ns: int | None  # for evidence by duration: what was judged
    events: int | None
    rate_bound_per_s: float | None  # one-sided upper bound on events a second
    verdict: Literal["pass", "fail", "not shown", "not judged"]
    reason: str


class ExpectationWorst(TypedDict):
    name: str
    nonconforming: int
    not_judged: int
    worst: Worst | None


class Expect(TypedDict):
    name: str
    written: Any  # the words of the file
    version: int
    words: str  # what one trial must do, in one sentence


class ConditionCount(TypedDict):
    """Trials of a case under one value of a condition; a set whose presentations differ in it counts as `several`."""

    condition: str
    value: str
    trials: int
    conforming: int
    nonconforming: int
    not_judged: int


class Caution(TypedDict):
    """Something for page one that is no verdict."""

    title: str
    text: str


class WithoutCorrections(TypedDict):
    """What a case comes to by the truth as it was written down, without corrections.csv."""

    verdict: Literal["pass", "fail", "not shown", "not judged"] | None
    found: int
    conforming: int
    nonconforming: int
    not_judged: int
    reason: str


CorrectionRow = TypedDict(
    "CorrectionRow",
    {"recording": str, "where": str, "what": str, "was": str, "is": str, "by": str, "when": str, "why": str},
)
"""One line of corrections.csv; `where` is `row 12` or `83.412 s`."""


class CaseResult(TypedDict):
    id: str
    title: str
    file: str
    line: int
    requirements: list[str]
    tags: list[str]
    do: str | None
    statement: str  # what is presented and expected, in words
    present: Any
    where: dict[str, list[str]]
    expect: list[Expect]
    unit: Literal["presentation", "neighbouring pair", "set", "item", "run"]
    readings: list[str]
    asked: Asked
    state: Literal["executed", "not run"]
    attempts: int
    verdict: Literal["pass", "fail", "not shown", "not judged"] | None
    basis: str  # recorded, by hand, computed, simulated
    basis_asked: str | None
    reason: str  # one or a few sentences, '' for a case not run
    claim: str  # what the trials show, in words, with the conditions
    planned: int | None
    found: int
    conforming: int
    nonconforming: int
    not_judged: int
    left_out: list[LeftOut]
    not_judged_first: NotRequired[str]  # why the first trial that was not judged was not, '' where all were
    specimens: list[str]  # at most 200, sorted; the table has all
    strata: list[Stratum]
    by_condition: NotRequired[list[ConditionCount]]
    without_corrections: NotRequired[WithoutCorrections | None]  # where its readings have corrections
    warnings: NotRequired[list[str]]
    expectations: list[ExpectationWorst]
    nonconforming_trials: list[Worst]  # the first 20
    figures: list[str]  # ids


class Tool(TypedDict):
    name: str
    version: str
    python: str
    platform: str
    packages: list[dict[str, str]]  # name, version
    observing: int
    language: int


class SelftestCheck(TypedDict):
    name: str
    passed: bool
    checks: int
    source: str


class Selftest(TypedDict):
    passed: bool
    checks: list[SelftestCheck]


class RunPart(TypedDict):
    id: str
    door: Literal["cli", "pytest", "python"]
    command: list[str]
    started: str  # ISO 8601, UTC
    ended: str
    seconds: float
    workers: int
    facts: dict[str, str | None]  # who, where, stage, ... from run.yaml; None = not recorded
    tool: Tool
    plugins: list[dict[str, str]]
    selftest: Selftest
    environment: dict[str, str]
    python_tests: int | None


class Input(TypedDict):
    path: str
    role: str
    sha256: str
    bytes: int


class ObservedPair(TypedDict):
    """One target against one channel, for the matrix and the distances figure."""

    target: str
    channel: str
    should: Literal["on", "off", ""]
    n: int
    fired: int
    perhaps: int
    silent: int
    held_over: int
    closeness: list[float] | None  # least, 5 %, median, 95 %, greatest of the greatest closeness of each presentation
    margin: list[float] | None  # the same five of the margin


class SourceEvent(TypedDict):
    at_ns: int
    event: str
    note: str


class ComposedTable(TypedDict):
    """One table of a recording of several. `resolution_ns`: steps of its instants; `within_ns`: how well truth is known."""

    name: str
    path: str
    kind: Literal["readings", "signals", "presentations"]
    clock: str
    layout: str | None  # of signals: wide or long
    rows_are: str | None  # of signals: samples or changes
    resolution_ns: int | None
    within_ns: int | None


class ClockStated(TypedDict):
    """An instant t of `clock` is t + offset + drift * (t - first row) on `to`. Decimal text, exact: offsets may be dates."""

    clock: str
    to: str
    offset_s: str
    drift_ppm: str
    within_ns: int
    found_by: str | None


class SignalMapped(TypedDict):
    """What a signal of the station is called in its log. `bit` of a packed number; `equals`: on where it is this number."""

    table: str
    kind: str  # input, channel, output, line (of a code)
    name: str
    logged_as: str
    bit: int | None
    equals: int | None
    inverted: bool


class ComposedOf(TypedDict):
    tables: list[ComposedTable]
    clocks: list[ClockStated]
    signals: list[SignalMapped]


class Source(TypedDict):
    key: str
    kind: Literal["stream", "trials", "scene"]
    basis: str
    reader: dict[str, Any]
    origin: str | None
    zone: str | None
    period_ns: list[int] | None  # least, median, greatest
    rows: int
    first_ns: int | None
    end_ns: int | None
    gaps: list[list[int]]
    presentations: int
    expected_presentations: int | None
    stretches_between: int
    status_counts: list[LeftOut]
    sets: int
    observed: list[ObservedPair]
    outside: list[dict[str, Any]]  # channel, start_ns, end_ns: on outside everything (the first 50)
    outside_count: int
    outside_ns: int
    carried_over: list[dict[str, Any]]  # output, at_ns
    notes: list[str]
    tables: list[dict[str, Any]]  # name, path, sha256, rows
    truth_by: NotRequired[str | None]  # who says what was presented
    composed_of: NotRequired[ComposedOf | None]  # of several tables on several clocks
    events: NotRequired[list[SourceEvent]]  # the first 100
    events_count: NotRequired[int]


class RequirementRow(TypedDict):
    id: str
    text: str
    listed: bool
    cases: list[str]
    verified_by: str | None
    state: Literal["shown", "not shown", "failed", "verified otherwise", "not covered"]


class Figure(TypedDict):
    """`kind`: plane, distances, nearest_pairs, margins, matrix, many_matrix, response, on_time, agreement, strip, trace.
    `data` is what report/drawings.py documents."""

    id: str
    kind: str
    title: str
    description: str
    data: dict[str, Any]


class Counts(TypedDict):
    """`planned`: cases in the folder; `repeated`: executed more than once."""

    planned: int
    selected: int
    executed: int
    repeated: int
    passed: int
    failed: int
    not_shown: int
    not_judged: int


class SettingsRead(TypedDict):
    """Settings as found in the devices: the exports, each mapped setting beside its declared value, what changed in the run."""

    exports: list[dict[str, str]]  # path, read, by, when
    compared: list[dict[str, Any]]  # setting, key, declared, found, after, agrees
    changed: list[dict[str, str]]  # key, first, after
    not_compared: int


class ResultPart(TypedDict):
    verdict: Literal["pass", "fail", "not shown", "not judged"]
    simulated: bool
    partial: bool
    partial_because: list[str]
    counts: Counts
    station: dict[str, Any]  # name, title, drawing, settings (the words of the file, defaults filled in), settings_sha256
    versions: dict[str, Any]  # of stationtest, language, observing, packages that compute
    inputs: list[Input]
    sources: list[Source]
    requirements: list[RequirementRow]
    cases: list[CaseResult]
    figures: list[Figure]
    limits: list[str]
    cautions: NotRequired[list[Caution]]
    corrections: NotRequired[list[CorrectionRow]]
    settings_as_found: NotRequired[SettingsRead | None]


class Record(TypedDict):
    format: Literal["stationtest record"]
    version: str
    result_sha256: str
    run: RunPart
    result: ResultPart
