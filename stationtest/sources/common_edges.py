"""Instants at which something rises in a table that nobody declared, over the whole of it: what two logs may have in common."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from stationtest.model.recording_form import RecordingForm
from stationtest.sources import csv_readings, parquet_readings, times
from stationtest.sources.checks import Where
from stationtest.sources.looking import Looked, on_and_off

Ints = NDArray[np.int64]

BRIGHTEN = "the readings as they brighten"


def rises(found: Looked, path: Path) -> dict[str, Ints]:
    """Instants (n,) on the table's own clock: of each digital column, of each signal of a long log, and where the sum of the
    readings passes half of its range. Raises `ReadingsError` where the file is further on not as its beginning is."""
    if found.time is None:
        return {}
    form = form_of(found)
    reader = (parquet_readings if path.suffix.lower() == ".parquet" else csv_readings).open_file(path, found.path, form)
    name = found.time.column.name
    long, digital = found.long, [] if found.long else found.of_kind("digital")
    numbers = [] if long else [column for column in found.of_kind("number") if "" not in column.counts]
    words = [found.of_kind("words")[0], found.columns[-1]] if long else digital
    wanted = {name: "time"} | {c.name: "number" for c in numbers} | {c.name: "text" for c in words}
    half = _half([column.numbers() for column in numbers])
    on_words, _ = on_and_off([found.columns[-1]] if long else digital)
    signals: dict[str, _Rising] = {}
    for begin, batch in reader.tables(wanted):
        columns = dict(zip(batch.schema.names, batch.columns, strict=True))
        t_ns = times.to_ns(columns[name], name, form, Where(found.path, begin, reader.line))
        if long:
            tags, value = _text(columns[words[0].name]), np.isin(_text(columns[words[1].name]), on_words)
            for tag in np.unique(tags).tolist():
                signals.setdefault(tag, _Rising()).add(t_ns[tags == tag], value[tags == tag])
        for column in digital:
            signals.setdefault(column.name, _Rising()).add(t_ns, np.isin(_text(columns[column.name]), on_words))
        if numbers:
            bright = np.sum([columns[column.name].to_numpy(zero_copy_only=False) for column in numbers], axis=0)
            signals.setdefault(BRIGHTEN, _Rising()).add(t_ns, bright > half)
    return {signal: rising.instants() for signal, rising in signals.items()}


def form_of(found: Looked) -> RecordingForm:
    """The form that was found, as far as reading needs it."""
    written, time = found.form, found.time
    assert time is not None
    return RecordingForm(
        pattern=found.path,
        separator=written.get("separator", "comma"),
        decimal=written.get("decimal", "point"),
        encoding=written.get("encoding", "utf-8"),
        skip_lines=int(written.get("skip_lines", "0")),
        units_line="units_line" in written,
        time_column=time.column.name,
        time_in=time.unit,
        first_date="1970-01-01",
        zone="UTC" if time.why.endswith("without a zone") else None,
    )


class _Rising:
    """One signal, piece by piece."""

    def __init__(self) -> None:
        self.found: list[Ints] = []
        self.before: bool | None = None

    def add(self, t_ns: Ints, on: NDArray[np.bool_]) -> None:
        before = np.concatenate(([on[0] if self.before is None else self.before], on[:-1]))
        self.found.append(t_ns[on & ~before])
        self.before = bool(on[-1])

    def instants(self) -> Ints:
        return np.concatenate(self.found)


def _half(columns: list[NDArray[np.float64]]) -> float:
    if not columns:
        return 0.0
    total = np.sum(columns, axis=0)
    return float(total.min() + total.max()) / 2


def _text(column: pa.Array) -> NDArray[np.object_]:
    return np.array([str(value) for value in column.to_pylist()], object)
