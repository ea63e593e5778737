"""How a table writes its times: the unit, the zone, where a count starts again, the first date of a time of day."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import BeforeValidator, PlainValidator, WithJsonSchema

from stationtest.files.fields import Fields
from stationtest.files.quantities import text_of, wrong
from stationtest.files.scalars import Positive, Text


def _unit(value: object) -> object:
    return value.replace("\u00b5", "u").replace("\u03bc", "u") if isinstance(value, str) else value


def _date(value: object) -> str:
    given = text_of(value, "a date", "such as 2025-03-02")
    try:
        return datetime.date.fromisoformat(given).isoformat()
    except ValueError:
        raise wrong("a date is due here", given, "such as 2025-03-02") from None


def _instant(value: object) -> str:
    given = text_of(value, "a date, with the time of day where it is known,", "such as 2025-03-02 or 2025-03-02T08:30")
    try:
        datetime.datetime.fromisoformat(given)
    except ValueError:
        message = "a date as in ISO 8601 is due here, with the time of day where it is known"
        raise wrong(message, given, "such as 2025-03-02 or 2025-03-02T08:30") from None
    return str(given)


TimeUnit = Annotated[Literal["ns", "us", "ms", "s", "ISO 8601", "time of day"], BeforeValidator(_unit)]
Date = Annotated[str, PlainValidator(_date), WithJsonSchema({"type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"})]

Instant = Annotated[str, PlainValidator(_instant), WithJsonSchema({"type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}"})]
"""A date or a date with a time of day, after ISO 8601, as it was written."""


def turn_ns(wraps_at: float | None, unit: str | None) -> int | None:
    """Where a time starts again, in ns."""
    return None if wraps_at is None else int(wraps_at * {"ns": 1, "us": 10**3, "ms": 10**6, "s": 10**9}.get(unit or "s", 1))


def time_problems(unit: str, zone: str | None, wraps_at: float | None, date: str | None) -> Iterator[tuple[str, str, str]]:
    """What does not go together in how a time is written: the key, what is wrong, and the code."""
    if zone is not None:
        if unit not in ("ISO 8601", "time of day"):
            yield "zone", f"a zone belongs to ISO 8601 times and times of day, and these are in {unit}", "contradiction"
        try:
            zoneinfo.ZoneInfo(zone)
        except (KeyError, ValueError, OSError):
            message = f"this time zone is not known; found {zone}; allowed names such as Europe/Berlin, or UTC"
            yield "zone", message, "wrong-value"
    if wraps_at is not None and unit not in ("ns", "us", "ms", "s"):
        yield "wraps_at", f"a count may start again, {unit} does so by itself or never", "contradiction"
    elif wraps_at is not None and not 1 <= (turn_ns(wraps_at, unit) or 0) < 2**53:
        yield "wraps_at", "a count must start again after 1 ns at the earliest and 104 days at the latest", "wrong-value"
    if unit == "time of day" and date is None:
        yield "date", "this key is missing; a time of day needs the date of the first row, such as 2025-03-02", "missing-key"
    if unit != "time of day" and date is not None:
        yield "date", f"a first date belongs to `in: time of day`, and these are in {unit}", "contradiction"


class TimeFields(Fields):
    """The time column, and what its numbers mean."""

    column: Text | None = None
    in_: TimeUnit
    zone: Text | None = None
    wraps_at: Positive | None = None
    date: Date | None = None
