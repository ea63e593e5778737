"""Trials by events: under way during one, begun in one, or the first after one (A25). Worked out for a whole table at once.

* `during: X`: under way at some instant of X.
* `event: X`: begun while X lasted.
* `after: X`: begun at or after X; with `first: n`, among the first n put through since then, until X comes again. Counted are all
  sets or items of that kind, or all presentations on that sensor, whatever a case presents.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationtest.expectations import timeline
from stationtest.expectations.view import View
from stationtest.expectations.wording import seconds
from stationtest.model.observations import NEVER, Presentations

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]

Where = tuple[tuple[str, tuple[str, ...]], ...]
WORDS = ("after", "during", "event", "first")
"""The words of `where:` that are about events. Of several, the last but `first` names the event that `from: event` means."""


def asked(where: Where) -> Where:
    """The part of a case's `where:` that is about events, in the order of `WORDS`."""
    return tuple(sorted((pair for pair in where if pair[0] in WORDS), key=lambda pair: WORDS.index(pair[0])))


def picked(view: View, unit: str, where: Where) -> tuple[Bools, Ints]:
    """(n,) the rows of the unit's table that meet `where` (of `asked`), and the instant of the event that each belongs to."""
    return view.once(("events", unit, where), lambda: _picked(view, unit, where))


def _picked(view: View, unit: str, where: Where) -> tuple[Bools, Ints]:
    rows = timeline.table(view, unit)
    found, at = np.ones(len(rows), dtype=np.bool_), np.full(len(rows), NEVER, dtype=np.int64)
    if not view.timed:
        return np.zeros(len(rows), dtype=np.bool_), at
    first = next((int(values[0]) for name, values in where if name == "first"), None)
    for name, values in where:
        if name == "first":
            continue
        start, end = spans(view, values)
        if name == "during":
            k = np.searchsorted(np.maximum.accumulate(end), rows.start_ns, "right")
            meets = np.append(start, np.int64(2**62))[k] < rows.end_ns
        else:
            k = np.searchsorted(start, rows.start_ns, "right") - 1
            meets = k >= 0
            if name == "event":
                meets &= rows.start_ns < np.append(end, np.int64(NEVER))[k]
            elif first is not None:
                meets &= _since(view, unit, start, k) < first
        found &= meets
        at = np.where(meets, np.append(start, np.int64(NEVER))[k], NEVER)
    return found, np.where(found, at, NEVER)


def spans(view: View, names: tuple[str, ...]) -> tuple[Ints, Ints]:
    """Starts and ends of every event of these names, in order of time. An event without `until` ends one nanosecond later; one
    that nothing ends lasts to the end of the recording."""
    until = {kind.name: kind.until for kind in view.station.events}
    pairs = []
    for event in view.obs.events:
        if event.name in names:
            over = until.get(event.name)
            ends = (later.at_ns for later in view.obs.events if later.name == over and later.at_ns >= event.at_ns)
            pairs.append((event.at_ns, event.at_ns + 1 if over is None else next(ends, view.obs.clock.end_ns)))
    made = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return made[:, 0], made[:, 1]


def begun_twice(view: View) -> list[str]:
    """Events that began again before anything had ended them, in words with their times."""
    until, found = {kind.name: kind.until for kind in view.station.events}, []
    open_: dict[str, int] = {}
    for event in view.obs.events:
        if event.name in open_ and until[event.name] is not None:
            since, at = seconds(open_[event.name], event.at_ns), seconds(event.at_ns, open_[event.name])
            found.append(f"two events {event.name} before a {until[event.name]}: at {since} and at {at}")
        open_ = {name: at for name, at in open_.items() if until[name] != event.name} | {event.name: event.at_ns}
    return found


def _since(view: View, unit: str, instants: Ints, k: Ints) -> Ints:
    """How many of its kind were put through since the event before each row: 0 for the first."""
    rows = timeline.table(view, unit)
    if isinstance(rows, Presentations):
        group, counts = rows.sensor, ~rows.between
    else:
        group, counts = rows.kind, np.ones(len(rows), dtype=np.bool_)
    number = np.full(len(rows), np.int64(2**62))
    for code in np.unique(group).tolist():
        mine = np.flatnonzero((group == code) & counts)
        mine = mine[np.argsort(rows.start_ns[mine], kind="stable")]
        begun = np.searchsorted(rows.start_ns[mine], instants, "left")
        number[mine] = np.arange(len(mine)) - np.append(begun, 0)[k[mine]]
    return number
