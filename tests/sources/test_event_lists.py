# ruff: noqa: E501 (messages stand whole on one line)
"""Lists of events beside recordings: read with the recording's own clock, refused with the line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from recording_kit import FORMATS, MS, form, opened, station

from stationtest.errors import ReadingsError
from stationtest.model.case import Suite
from stationtest.model.events import Event, EventKind
from stationtest.sources.events import read_events
from stationtest.sources.opening import open_recording
from stationtest.sources.recorded import Recording

ROWS = "t,r,g,b,target\n0,1,2,3,\n1,1,2,3,\n"


def recording(folder: Path, events: str | None, rows: str = ROWS, **keys: Any) -> Recording:
    """day.csv with its events in day_events.csv; three kinds of event are declared."""
    (folder / "day.csv").write_text(rows, encoding="utf-8")
    if events is not None:
        (folder / "day_events.csv").write_text(events, encoding="utf-8")
    declared = station(form(events_path="*_events.csv", **keys))
    kinds = (EventKind(name="belt stop", until="belt start"), EventKind(name="belt start"), EventKind(name="power on"))
    return open_recording(Suite(folder=str(folder), station=replace(declared, events=kinds), cases=()), "day.csv", FORMATS)


def test_events_in_the_unit_of_the_recording(tmp_path: Path) -> None:
    text = "time,event,note\n-5,power on,before the first row\n0.25,belt stop,\n0.25,belt start,by hand\n"
    assert read_events(recording(tmp_path, text)) == (
        Event(name="power on", at_ns=-5 * MS, note="before the first row"),
        Event(name="belt stop", at_ns=250_000),
        Event(name="belt start", at_ns=250_000, note="by hand"),
    )


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    text = "time;event\n0,25;belt stop\n"
    rows = ROWS.replace(",", ";")
    assert read_events(recording(tmp_path, text, rows, separator="semicolon", decimal="comma"))[0].at_ns == 250_000


def test_dates_count_from_the_first_row(tmp_path: Path) -> None:
    """The recording begins at 08:30:00.5 in Berlin, which is 07:30:00.5 UTC in winter."""
    rows = "t,r,g,b,target\n2026-03-01T08:30:00.500,1,2,3,\n2026-03-01T08:30:00.501,1,2,3,\n"
    text = "time,event\n2026-03-01T08:30:00.000,power on\n2026-03-01T08:31:00.500,belt stop\n"
    found = read_events(recording(tmp_path, text, rows, time_in="ISO 8601", zone="Europe/Berlin"))
    assert [event.at_ns for event in found] == [-500 * MS, 60_000 * MS]


def test_none_are_declared(tmp_path: Path) -> None:
    (tmp_path / "day.csv").write_text(ROWS, encoding="utf-8")
    assert read_events(opened(tmp_path, "day.csv", form())) == ()
    assert read_events(recording(tmp_path, "time,event,note\n")) == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (None, "day_events.csv: recordings.events: there is no file day_events.csv; day.csv needs it (an empty list has the line `time,event,note` alone) [no-file]"),
        ("time,event\n1,belt stpo\n", "day_events.csv:2: event: belt stpo is no event that the station declares; did you mean belt stop? [unknown-name]"),
        ("time,event\n\n5,power on\n3,power on\n", "day_events.csv:4: time: this event is 0.002 s before the one in the line above; list them in order [unsorted-time]"),
        ("time,event\nnoon,power on\n", "day_events.csv:2: time: a time is due here, as the recording writes its own; found noon [bad-value]"),
        ("time,event\nNaN,power on\n", "day_events.csv:2: time: a time is due here, as the recording writes its own; found NaN [bad-value]"),
        ("time,event\n1,\n", "day_events.csv:2: event: this cell is empty [bad-value]"),
        ("at,event\n1,power on\n", "day_events.csv:1: the column `time` is missing; found at and event [missing-column]"),
        ("time,event\n0.0000001,power on\n", "day_events.csv:2: time: this is finer than 1 ns; found 0.0000001 [bad-value]"),
    ],
)  # fmt: skip
def test_refusals(tmp_path: Path, text: str | None, told: str) -> None:
    with pytest.raises(ReadingsError) as caught:
        read_events(recording(tmp_path, text))
    assert str(caught.value.problems[0]) == told
