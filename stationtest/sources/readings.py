"""What the engine asks of any source of readings, be it a recorded file or a scene."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol

from stationtest.model.case import Suite
from stationtest.model.events import Event
from stationtest.model.recording_form import RecordingForm
from stationtest.model.travel import Travel
from stationtest.signals.batch import Batch, Listed

if TYPE_CHECKING:
    from stationtest.sources.logged import Key, Logged
    from stationtest.sources.worlds import World


class Readings(Protocol):
    """Readings, opened: they can be gone through any number of times, and are the same each time.

    `kind` is 'recording' or 'scene'; `simulated` also of a recording that was written from a scene. `sensors` are those that are
    in it. `origin` is ISO 8601 text of the first row where the times are dates, else None; all times are nanoseconds since then.
    `reader` says what read or made them. `events` are those that it brings itself. `travel` is how the belt moves in it, None
    where that is not known. `worlds` are the ways in which its instants may lie otherwise than logged, `truth_within_ns` how well
    presentations are known. `composed_of`: its tables, clocks and signals (model/record.py), where it has several tables.
    """

    kind: str
    simulated: bool
    suite: Suite
    path: str
    form: RecordingForm
    reader: dict[str, Any]
    sensors: tuple[str, ...]
    origin_ns: int
    origin: str | None
    rows_hint: int | None
    travel: Travel | None
    events: tuple[Event, ...]
    worlds: Sequence[World]
    truth_within_ns: int
    composed_of: dict[str, Any] | None

    def batches(self) -> Iterator[Batch]:
        """The whole stream in grid cells of `batch.GRID` rows."""

    def seek(self, start_ns: int, end_ns: int) -> Iterator[Batch]:
        """The grid cells that hold rows of [start, end), again."""

    def trials(self) -> Batch:
        """All rows of a table of hand trials, as one batch without times."""

    def logged(self, world: World | None = None) -> Mapping[Key, Logged]:
        """Signals that stand in tables of their own, by kind and name."""

    @property
    def notes(self) -> list[str]:
        """What is worth a reader's eye."""

    def listed(self, world: World | None = None) -> Listed | None:
        """Presentations that come with times of their own; None where they stand in the rows."""
