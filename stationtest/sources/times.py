"""The time column: numbers in a declared unit or ISO 8601, to whole nanoseconds without rounding where the file allows it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from stationtest.files.words import duration_text, shown
from stationtest.model.recording_form import RecordingForm
from stationtest.sources.checks import Where, no_empty_cells
from stationtest.sources.columns import plain

ISO = "ISO 8601"
TIME_OF_DAY = "time of day"
DAY_NS = 86_400 * 10**9
UNIT_NS = {"ns": 1, "us": 1_000, "ms": 1_000_000, "s": 1_000_000_000}
DIGITS = {"ns": 0, "us": 3, "ms": 6, "s": 9}
LARGEST_NS = 2**53
"""Times are counted from the recording's first row where they are larger than this (104 days): they are then dates, not a count
from a start, and JSON carries no larger whole number exactly."""

FAR = 5  # a step so many times longer or shorter than `every` is a wrong unit, or a wrong `every`


def arrow_type(form: RecordingForm) -> Any:
    """The Arrow type as which a time column of text is read, so that the digits become whole nanoseconds exactly.

    Numbers are decimals with as many places as a nanosecond needs in their unit; what is finer refuses itself.
    """
    if form.time_in == TIME_OF_DAY:
        return pa.string()
    if form.time_in == ISO:
        if form.decimal == "comma":  # Arrow reads a point only
            return pa.string()
        return pa.timestamp("ns") if form.zone else pa.timestamp("ns", "UTC")
    return pa.decimal128(28, DIGITS[form.time_in or "s"])


def to_ns(column: pa.Array, name: str, form: RecordingForm, where: Where, key: str = "time") -> NDArray[np.int64]:
    """A time column as int64 nanoseconds (n,): since 1970-01-01T00:00Z for ISO 8601, since midnight for a time of day, else since
    whatever the file counts from."""
    no_empty_cells(column, key, name, where)
    kind = column.type
    unit = form.time_in or "s"
    if pa.types.is_dictionary(kind):
        column = column.cast(kind.value_type)
        kind = column.type
    if unit == TIME_OF_DAY:
        return _of_day(column, name, where, key)
    if pa.types.is_timestamp(kind) or pa.types.is_string(kind) or pa.types.is_large_string(kind):
        if unit != ISO:
            where.refuse(None, f"{key}.in", f"column {shown(name)} holds dates or text, `in` says {unit}; ISO 8601 may be meant")
        return _dates(column, name, form, where, key)
    if unit == ISO:
        where.refuse(None, f"{key}.in", f"column {shown(name)} holds numbers, `in` says ISO 8601; ns, us, ms or s is needed")
    if pa.types.is_decimal(kind):
        return _decimals(column, name, unit, where, key)
    if pa.types.is_integer(kind):
        values = plain(column)
        if len(values) and max(abs(int(values.min())), abs(int(values.max()))) > (2**62) // UNIT_NS[unit]:
            where.refuse(0, f"{key}.in", f"column {shown(name)} in {unit} is beyond all dates; a finer unit may be meant")
        return values.astype(np.int64) * UNIT_NS[unit]
    if pa.types.is_floating(kind):
        floats = plain(column).astype(np.float64)
        if not (fine := np.abs(floats) < 2.0**62 / UNIT_NS[unit]).all():
            index = int(np.argmin(fine))
            where.refuse(index, f"{key}.in", f"column {shown(name)} holds {floats[index]}, which is no time in {unit}")
        return np.rint(floats * UNIT_NS[unit]).astype(np.int64)
    where.refuse(None, key, f"column {shown(name)} holds {kind}, which is no time")


def _of_day(column: pa.Array, name: str, where: Where, key: str) -> NDArray[np.int64]:
    """`23:59:58.250` or `23:59:58,250`, or times of day of Parquet, in ns since midnight."""
    import pyarrow.compute as pc  # slow to load, and numbers do not need it

    if pa.types.is_string(column.type) or pa.types.is_large_string(column.type):
        text, wanted = pc.replace_substring(column, ",", "."), pa.timestamp("ns")
        text = pc.binary_join_element_wise(pa.scalar("1970-01-01T", text.type), text, pa.scalar("", text.type))
        try:
            return plain_ns(text.cast(wanted))
        except pa.ArrowInvalid:
            for index in range(len(text)):
                try:
                    text.slice(index, 1).cast(wanted)
                except pa.ArrowInvalid:
                    said = f"{shown(str(column[index].as_py()))} is not a time of day such as 23:59:58.250"
                    where.refuse(index, key, said)
    if not pa.types.is_time(column.type):
        where.refuse(None, f"{key}.in", f"column {shown(name)} holds {column.type}, `in` says time of day")
    return plain_ns(column.cast(pa.time64("ns")))


def plain_ns(column: pa.Array) -> NDArray[np.int64]:
    """Instants or times of day in ns (n,), read only where nothing had to be copied."""
    return plain(column.cast(pa.int64()))


def iso_text(ns: int) -> str:
    """Nanoseconds since 1970-01-01T00:00Z as ISO 8601 in UTC, with as many decimals as are needed."""
    whole, part = divmod(ns, 10**9)
    text = datetime.fromtimestamp(whole, UTC).strftime("%Y-%m-%dT%H:%M:%S")
    return f"{text}.{part:09d}".rstrip("0") + "Z" if part else f"{text}Z"


def plausible(t_ns: NDArray[np.int64], form: RecordingForm, where: Where) -> None:
    """Refuse times whose usual step is far from `every`, naming the unit that would fit."""
    if form.every_ns is None or len(t_ns) < 3:
        return
    step = int(np.median(np.diff(t_ns)))
    if form.every_ns <= step * FAR and step <= form.every_ns * FAR:
        return
    said = f"rows are {duration_text(step)} apart, `every` says {duration_text(form.every_ns)}"
    if form.time_in in UNIT_NS:
        for unit, size in UNIT_NS.items():
            fits = step * size // UNIT_NS[form.time_in]
            if unit != form.time_in and fits and form.every_ns <= fits * FAR and fits <= form.every_ns * FAR:
                where.refuse(1, "time.in", f"{said}; `in: {form.time_in}` may have to be {unit}", "bad-dialect")
    where.refuse(1, "every", said, "bad-dialect")


def _decimals(column: pa.Array, name: str, unit: str, where: Where, key: str) -> NDArray[np.int64]:
    wanted = pa.decimal128(28, DIGITS[unit])
    if column.type != wanted:
        try:
            column = column.cast(wanted)
        except pa.ArrowInvalid:
            where.refuse(None, f"{key}.in", f"column {shown(name)} in {unit} is finer than 1 ns or beyond all dates")
    halves = np.frombuffer(column.buffers()[1], np.int64).reshape(-1, 2)[column.offset : column.offset + len(column)]
    low, high = halves[:, 0], halves[:, 1]
    if (beyond := (high != low >> 63) | (np.abs(low) > 2**62)).any():
        where.refuse(int(np.argmax(beyond)), f"{key}.in", f"column {shown(name)} in {unit} is beyond all dates")
    return np.ascontiguousarray(low)


def _dates(column: pa.Array, name: str, form: RecordingForm, where: Where, key: str) -> NDArray[np.int64]:
    if not pa.types.is_timestamp(column.type):
        column = _parsed(column, name, form, where, key)
    if column.type.tz is None:
        if not form.zone:
            where.refuse(None, f"{key}.zone", f"the times of column {shown(name)} have no zone; declare one, such as UTC")
        column = in_zone(column, form.zone, where, key)
    try:
        return plain(column.cast(pa.timestamp("ns", "UTC")).cast(pa.int64()))
    except pa.ArrowInvalid:
        where.refuse(None, key, f"column {shown(name)} holds dates outside 1677 to 2262, which nanoseconds cannot count")


def _parsed(column: pa.Array, name: str, form: RecordingForm, where: Where, key: str) -> pa.Array:
    """Text to dates. Form.decimal says whether the seconds have a comma; ISO 8601 allows both."""
    import pyarrow.compute as pc  # slow to load, and numbers do not need it

    text = pc.replace_substring(column, ",", ".") if form.decimal == "comma" else column
    wanted = pa.timestamp("ns") if form.zone else pa.timestamp("ns", "UTC")
    try:
        return text.cast(wanted)
    except pa.ArrowInvalid:
        pass
    for index in range(len(text)):
        try:
            text.slice(index, 1).cast(wanted)
        except pa.ArrowInvalid:
            where.refuse(index, *not_a_date(column[index].as_py(), form, key))
    raise AssertionError("a column cannot be read though each of its cells can")


def not_a_date(cell: str, form: RecordingForm, key: str = "time") -> tuple[str, str, str]:
    """Key, message and code for a cell that is no date as the form says."""
    head = shown(cell)
    if not form.zone:
        try:
            pa.scalar(cell.replace(",", ".")).cast(pa.timestamp("ns"))
            return f"{key}.zone", f"{head} does not say its zone; declare one, such as `zone: UTC`", "bad-value"
        except pa.ArrowInvalid:
            pass
    else:
        try:
            pa.scalar(cell.replace(",", ".")).cast(pa.timestamp("ns", "UTC"))
            return f"{key}.zone", f"{head} says its zone itself; leave `zone` out", "bad-value"
        except pa.ArrowInvalid:
            pass
    if "," in cell and form.decimal != "comma":
        return "decimal", f"{head} has a decimal comma; `decimal: comma` would say so", "bad-dialect"
    return key, f"{head} is not a date and time such as 2025-03-02T09:00:00.125Z", "bad-value"


def in_zone(column: pa.Array, zone: str, where: Where, key: str) -> pa.Array:
    """Local times to instants. A time that a change of clocks makes double or skips is refused, never sorted away."""
    import pyarrow.compute as pc

    try:
        return pc.assume_timezone(column, zone)
    except pa.ArrowInvalid as error:
        if "Cannot locate" in str(error) or "not found" in str(error) or "unknown" in str(error).lower():
            where.refuse(None, f"{key}.zone", f"{shown(zone)} is not a time zone of this computer's table", "wrong-value")
    early = pc.assume_timezone(column, zone, ambiguous="earliest", nonexistent="earliest").cast(pa.int64())
    late = pc.assume_timezone(column, zone, ambiguous="latest", nonexistent="latest").cast(pa.int64())
    index = int(np.argmax(plain(early) != plain(late)))
    cell = str(column[index].as_py())
    said = f"{shown(cell)} does not exist or exists twice in {shown(zone)}, where clocks are changed"
    where.refuse(index, f"{key}.zone", f"{said}; a log in UTC has no such hour")
