"""The events of a recording: a list beside it, with the columns `time`, `event` and `note`, on the recording's clock."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow as pa

from stationtest.errors import Problem, ReadingsError
from stationtest.files import tables
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.words import shown
from stationtest.model.events import Event
from stationtest.sources import times
from stationtest.sources.checks import Where, seconds, told_together
from stationtest.sources.listed import beside

if TYPE_CHECKING:
    from stationtest.sources.readings import Readings

COLUMNS = ("time", "event", "note")


def read_events(recording: Readings) -> tuple[Event, ...]:
    """The events in order of time: its own, or those of the list that the form names; none where it names none.

    Times are in the unit, decimals and zone of the recording's own. Raises `ReadingsError`: no such file, an event that the
    station does not declare, a time that is none or goes back, each with its line.
    """
    form = recording.form
    if form.events_path is None:
        return recording.events
    path = beside(recording.path, form.events_path)
    place = Path(recording.suite.folder) / path
    if not place.is_file():
        said = f"there is no file {shown(path)}; {shown(recording.path)} needs it"
        said += " (an empty list has the line `time,event,note` alone)"
        Where(path).refuse(None, "recordings.events", said, "no-file")
    table = tables.read(place.read_bytes(), path, COLUMNS, COLUMNS[:2])
    problems = list(table.problems)
    lines = [at.line for at, _ in table.rows]
    where = Where(path, 0, lambda row: lines[row])
    declared = [kind.name for kind in recording.suite.station.events]
    for row, (_, cells) in enumerate(table.rows):
        name = cells["event"] or ""
        if name and name not in declared:
            near = nearest(name, declared)
            hint = f"; did you mean {shown(near)}?" if near else f"; declared: {allowed_words(declared)}"
            with told_together(problems):
                where.refuse(row, "event", f"{shown(name)} is no event that the station declares{hint}", "unknown-name")
    instants: list[int] = []
    with told_together(problems):
        texts = [] if table.problems else [cells["time"] or "" for _, cells in table.rows]
        instants = _instants(recording, texts, where, problems)
    if problems:
        raise ReadingsError(problems)
    for row in range(1, len(instants)):
        if instants[row] < instants[row - 1]:
            back = seconds(instants[row - 1] - instants[row])
            said = f"this event is {back} before the one in the line above; list them in order"
            where.refuse(row, "time", said, "unsorted-time")
    return tuple(
        Event(name=cells["event"] or "", at_ns=at - recording.origin_ns, note=cells["note"] or "")
        for at, (_, cells) in zip(instants, table.rows, strict=True)
    )


def _instants(recording: Readings, texts: list[str], where: Where, problems: list[Problem]) -> list[int]:
    """Times as the recording writes its own, in nanoseconds since whatever it counts from."""
    form = recording.form
    if not texts:
        return []
    if form.decimal == "comma":
        texts = [text.replace(",", ".") for text in texts]
    if form.time_in in (times.ISO, times.TIME_OF_DAY):
        form = replace(form, time_in=times.ISO)  # events are written by people, who say the date
        column = pa.array(texts)
    else:
        numbers = []
        for row, text in enumerate(texts):
            with told_together(problems):
                numbers.append(_number(row, text, times.DIGITS[form.time_in or "s"], where))
        column = pa.array(numbers, times.arrow_type(form))
    found: list[int] = times.to_ns(column, "time", form, where).tolist()
    return found


def _number(row: int, text: str, digits: int, where: Where) -> Decimal:
    try:
        number = Decimal(text)
    except InvalidOperation:
        number = Decimal("nan")
    if not number.is_finite() or abs(number) > 10**15:
        where.refuse(row, "time", f"a time is due here, as the recording writes its own; found {shown(text)}")
    if number != round(number, digits):
        where.refuse(row, "time", f"this is finer than 1 ns; found {shown(text)}")
    return number
