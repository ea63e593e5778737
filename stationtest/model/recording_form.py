"""How a plant writes its recordings: which column holds what, in which words."""

from __future__ import annotations

from dataclasses import dataclass

from stationtest.model.digital import Digital
from stationtest.model.match_number import Coded, Match
from stationtest.model.travel import Reach, Travel
from stationtest.place import NOWHERE, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """Presentations from the on-time of an input, paired in order with a list of what was put through."""

    input: str
    list_path: str
    offset_ns: int = 0
    shortest_ns: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingForm:
    """How recordings that match `pattern` are written. `rows` is 'samples' (a stream) or 'trials' (no time, one row a
    presentation).

    `empty` are the words in the target column that mean 'nothing presented'. `start` and `end` are columns of a second table of
    presentations (`presentations_form`) only. A `*` in the path of such a table or of a gate's list stands for the
    recording's name. `by_sensor`: columns of truth that speak of one sensor only, as (role, sensor, column), where a role such as
    'target' is not one column for all. `wraps_ns`: the time starts again there; `first_date`: of a time of day, YYYY-MM-DD.
    """

    pattern: str
    rows: str = "samples"
    separator: str = "comma"
    decimal: str = "point"
    encoding: str = "utf-8"
    skip_lines: int = 0
    units_line: bool = False
    time_column: str | None = None
    time_in: str | None = None
    zone: str | None = None
    wraps_ns: int | None = None
    first_date: str | None = None
    every_ns: int | None = None
    gap_ns: int | None = None
    target: str | None = None
    specimen: str | None = None
    set: str | None = None
    item: str | None = None
    sensor: str | None = None
    by_sensor: tuple[tuple[str, str, str], ...] = ()
    seen_by: str | None = None
    void: str | None = None
    conditions: tuple[tuple[str, str], ...] = ()
    inputs: tuple[Digital, ...] = ()
    channels: tuple[Digital, ...] = ()
    outputs: tuple[Digital, ...] = ()
    coded: Coded | None = None
    match: Match | None = None
    on: tuple[str, ...] = ("1",)
    off: tuple[str, ...] = ("0",)
    empty: tuple[str, ...] = ("",)
    window_from: Reach = 0
    window_after_end: Reach = 0
    travel: Travel | None = None
    start: str | None = None
    end: str | None = None
    presentations_path: str | None = None
    presentations_form: RecordingForm | None = None
    gate: Gate | None = None
    events_path: str | None = None
    truth_by: str | None = None  # who says what was presented
    place: Place = NOWHERE

    def says(self, role: str) -> bool:
        """Whether a column, or one for some sensor, holds the target, specimen, set or item."""
        return getattr(self, role) is not None or any(role == of for of, _, _ in self.by_sensor)

    @property
    def known_by(self) -> str | None:
        """Who says what was presented: as the second table states, else as this form does."""
        second = self.presentations_form.truth_by if self.presentations_form else None
        return second or self.truth_by

    @property
    def recorded_channels(self) -> tuple[str, ...]:
        """The channels of which an on/off column says what they did, or the number of the match."""
        return tuple(one.name for one in self.channels) + tuple(name for name, _ in (self.match.channels if self.match else ()))
