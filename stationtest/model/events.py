"""Events of a recording: power came on, the belt stopped, a sensor was unplugged. Known from a list, apart from the station."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class EventKind:
    """A kind of event that the station declares. One with `until` lasts until the next event of that kind, or the end of the
    recording; one without is an instant."""

    name: str
    until: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One event, in nanoseconds on the recording's clock. It may lie before the first row."""

    name: str
    at_ns: int
    note: str = ""
