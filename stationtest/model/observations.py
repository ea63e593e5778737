"""What was observed of one recording: tables of presentations, of presentations by channel, of sets, and the signals.

Made once for each recording; every case is judged on it. It holds numpy arrays but does not import numpy. Times are integers in
nanoseconds since the recording's origin; -1 in a code column and `NEVER` in a time column mean 'none'. Readings are never kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stationtest.model.events import Event
from stationtest.model.station import Settings
from stationtest.model.travel import Belt

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

OBSERVING = 2
"""Counts up whenever any number in the observations can change for the same input."""

NEVER = -(2**62)

# bits of `Presentations.status`: why a presentation cannot be called conforming. 0 is a plain trial.
GAP = 1  # a step in time longer than the form's `gap`
CUT_START = 2  # under way at the first row, or states before it still unknown
CUT_END = 4  # under way at the last row
TAUGHT = 8  # a reference was learned from it
UNKNOWN_TARGET = 16  # `?`: what was presented is not known
VOID = 32  # a hand trial that whoever made it declared void
INVALID = 64  # its specimen was used outside its validity; laid over in judging, since observing does not know the register
SILENT = 128  # the log of an input that bounds it does not say, for some of the time, what it was
STATUS_WORDS = {
    GAP: "there is a gap in its readings",
    CUT_START: "the recording begins in it, or too shortly before it for the states to be known",
    CUT_END: "the recording ends in it",
    TAUGHT: "a reference was learned from it",
    UNKNOWN_TARGET: "what was presented is not known",
    VOID: "it was declared void",
    INVALID: "its specimen was used outside its validity",
    SILENT: "the log of an input that bounds it does not say what it was for some of the time",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """The time axis of a recording. `origin` is ISO 8601 text or None; periods are the least, median and greatest step."""

    origin: str | None
    zone: str | None
    period_ns: tuple[int, int, int]
    every_ns: int
    rows: int
    first_ns: int
    end_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Presentations:
    """One row a presentation, sorted by start, then sensor. Stretches between are presentations of the station's `between`
    target.

    Codes index the name tuples. `specimen`, `set`, `item` are -1 where not known. `set` indexes `Sets`. Arrays have shape (P,).
    `means` is (P, B), B the most bands that a sensor has: the mean dark-corrected relative reading of the plateau, NaN where
    there is none.
    """

    sensors: tuple[str, ...]
    targets: tuple[str, ...]
    specimens: tuple[str, ...]
    items: tuple[str, ...]
    sensor: Ints
    target: Ints
    specimen: Ints
    item: Ints
    set: Ints
    between: Bools
    start_ns: Ints
    end_ns: Ints
    covered_ns: Ints  # start plus the time the target needs to fill the spot; NEVER if that is not stated
    first_row: Ints  # row of the recording, 0 is the first data row
    rows: Ints
    longest_step_ns: Ints
    status: Ints
    touches_before: Bools
    touches_after: Bools
    level_min: Floats  # over the plateau
    level_max: Floats
    clipped_rows: Ints  # over all its readings
    dark_rows: Ints
    means: Floats
    conditions: Mapping[str, tuple[tuple[str, ...], Ints]] = field(default_factory=dict)  # name -> (values, codes (P,))

    def __len__(self) -> int:
        return len(self.start_ns)


@dataclass(frozen=True, slots=True, kw_only=True)
class Responses:
    """What each channel did in each presentation. Arrays have shape (P, C); columns follow `channels`.

    fired: on, caused by this presentation, for long enough to be seen for sure. silent: not on at all (in a stretch between: not
    on by its own cause). perhaps: on by its own cause, but too short to be seen for sure. `first_on_ns` is the start of the first
    own on-time that is seen for sure, `on_ns`/`longest_ns` its own on-time and the longest unbroken part of it. `held_over_ns` is
    on-time within the presentation that an earlier one caused, `held_from` the row of that presentation (-1 none).
    `critical_any` and `critical_sure` are critical tolerances (see signals/critical.py); NaN where there are no readings, and
    of channels that give pulses.
    `at_ns` is the instant of the least distance. `rested_clipped`, `rested_dark`: the answer rested on such a reading.
    """

    channels: tuple[str, ...]
    applies: Bools  # the channel belongs to this presentation's sensor
    basis: tuple[str, ...]  # for each channel: recorded, by hand, computed
    known: Bools  # False where states before the first row, a gap or overlapping windows leave the answer open
    fired: Bools
    silent: Bools
    perhaps: Bools
    held_over_ns: Ints
    held_from: Ints
    first_on_ns: Ints
    on_ns: Ints
    longest_ns: Ints
    pulses_min: Ints
    pulses_max: Ints
    closeness_max: Floats
    critical_any: Floats
    critical_sure: Floats
    at_ns: Ints
    rested_clipped: Bools
    rested_dark: Bools


@dataclass(frozen=True, slots=True, kw_only=True)
class Sets:
    """Sets of one recording, (S,) arrays. `kind` indexes `kinds`; `counts` is (S, T): how many of each target of `targets`.

    `complete` is what truth says: the counts equal the members' (extras allowed where the set says so).
    """

    kinds: tuple[str, ...]
    names: tuple[str, ...]  # the set's name in the recording, or its number
    targets: tuple[str, ...]
    kind: Ints
    start_ns: Ints
    end_ns: Ints
    status: Ints
    complete: Bools
    counts: Ints

    def __len__(self) -> int:
        return len(self.start_ns)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A digital signal as two sets of half-open intervals (n, 2): when it is on for sure, and when it may be on.

    `kind` is input, match (the comparator), channel or output; `basis` is recorded, by hand or computed. For a decided output,
    `decisions_ns` are the instants of its decisions. `unknown` are stretches in which its log does not say what it was; None
    where it is known wherever readings are.
    """

    name: str
    kind: str
    basis: str
    must: Ints
    can: Ints
    decisions_ns: Ints | None = None
    unknown: Ints | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """A recording as observed if its instants lie otherwise than logged: each by up to `off_ns` from there, and any two of them
    by up to `apart_ns` farther from each other, or nearer; a signal against what was presented by up to `late_ns`."""

    apart_ns: int
    off_ns: int
    late_ns: int
    observed: SourceObservations


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceObservations:
    """Everything observed of one recording. `kind` is 'stream' or 'trials' (no times there).

    `signals` is keyed by (kind, name); a recorded channel or output that could also be computed has its computed twin under the
    kinds 'computed channel' and 'computed output'. `outside` are on-times (n, 3: channel index, start, end) that belong to no
    presentation. `outputs_seen` (trials): for each output name, the on/off seen at each presentation (1, 0, -1 not seen).
    """

    key: str
    kind: str
    basis: str
    reader: Mapping[str, object]
    clock: Clock
    gaps: Ints
    presentations: Presentations
    responses: Responses
    sets: Sets
    signals: Mapping[tuple[str, str], Signal]
    outside: Ints
    outputs_seen: Mapping[str, Ints] = field(default_factory=dict)
    carried_over: tuple[tuple[str, int], ...] = ()  # latch set again at its reset: (output, instant)
    expected_presentations: int | None = None  # how many a list says there are
    placements: tuple[Placement, ...] = ()  # the same with its instants as far from where they are logged as is in doubt
    notes: tuple[str, ...] = ()
    events: tuple[Event, ...] = ()  # in order of time
    truth_by: str | None = None  # who says what was presented
    composed_of: Mapping[str, object] | None = None  # its tables, clocks and signals, as the record keeps them; None: one table
    settings: tuple[Settings, ...] = ()  # where references were learned at edges: the channels from each instant on
    belt: Belt | None = None  # how far the belt moved, where the recording says it
