"""A scene written out as a recording in Parquet, a grid cell at a time, and the form by which a station reads it.

Nobody can tell from the columns that they were simulated, so the file says so itself, and verdicts on it stay simulated.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from stationtest.errors import usage
from stationtest.files import safe_write
from stationtest.files.words import duration_text, shown, size_text
from stationtest.model.station import Sensor
from stationtest.signals.batch import GRID, Batch
from stationtest.sources.parquet_readings import SAYS_OF_ITSELF
from stationtest.sources.scenes.opened import OpenedScene

Progress = Callable[[int, int | None], None]
LEFT_FREE = 1 << 24  # bytes that a disk keeps beside what is written


class Columns:
    """The columns of the recording of a scene: which is what, none of them twice."""

    def __init__(self, opened: OpenedScene, sensor: Sensor) -> None:
        taken = set(sensor.columns)
        self.sensor = sensor

        def free(name: str, kind: str) -> str:
            while name in taken:
                name = f"{kind} {name}"
            taken.add(name)
            return name

        self.time = free("time", "scene")
        self.truth = {role: free(role, "scene") for role in opened.tables}
        self.inputs = {given.name: free(given.name, "input") for given in opened.scene.inputs}
        counts = pa.uint16() if opened.optics.detector.bits <= 16 else pa.uint32()
        fields = [pa.field(self.time, pa.int64())]
        fields += [pa.field(column, counts) for column in sensor.columns]
        fields += [pa.field(column, pa.dictionary(pa.int32(), pa.string())) for column in self.truth.values()]
        fields += [pa.field(column, pa.bool_()) for column in self.inputs.values()]
        said = json.dumps({"simulated": f"{opened.path}, seed {opened.scene.seed}"})
        self.schema = pa.schema(fields, metadata={SAYS_OF_ITSELF: said.encode()})
        self.words = {role: pa.array(words, pa.string()) for role, words in opened.tables.items()}

    def table(self, batch: Batch) -> pa.RecordBatch:
        """A batch as it is written."""
        arrays: list[pa.Array] = [pa.array(batch.t_ns)]
        kind = self.schema.field(1).type
        for column in batch.bands[self.sensor.name]:
            arrays.append(pa.array(column.astype(kind.to_pandas_dtype())))
        for role, words in self.words.items():
            codes = batch.codes[role]
            arrays.append(pa.DictionaryArray.from_arrays(pa.array(codes, mask=codes < 0), words))
        arrays += [pa.array(batch.digital["input", name]) for name in self.inputs]
        return pa.RecordBatch.from_arrays(arrays, schema=self.schema)

    def form(self, opened: OpenedScene, pattern: str) -> str:
        """The entry under `recordings:` that reads the file, as YAML to paste."""
        conditions = dict(opened.scene.conditions)
        keys = [f"time: {{column: {_plain(self.time)}, in: ns}}", f"every: {duration_text(opened.form.every_ns or 0)}"]
        keys.append(f"gap: {duration_text(opened.form.gap_ns or 0)}")
        keys += [f"{role}: {_plain(column)}" for role, column in self.truth.items() if role not in conditions]
        if conditions:
            keys.append(f"conditions: {{{', '.join(f'{_plain(name)}: {_plain(self.truth[name])}' for name in conditions)}}}")
        if opened.scene.events:
            keys.append(f"events: {json.dumps(events_beside(pattern), ensure_ascii=False)}")
        if self.inputs:
            keys.append(f"inputs: {{{', '.join(f'{_plain(name)}: {_plain(at)}' for name, at in self.inputs.items())}}}")
        return f"recordings:\n  {json.dumps(pattern, ensure_ascii=False)}:\n    {{{', '.join(keys)}}}\n"


def write(opened: OpenedScene, path: str, progress: Progress | None = None) -> Columns:
    """Write a scene to a new file, and its events, where it has any, to a list beside it. Returns its columns.

    Raises `UsageError`: 'exists' where there is something at that path, 'cannot-write' where the disk is too small for it (known
    from its first cell, before anything is written) or may not be written. Nothing half-written is left.
    """
    if os.path.lexists(path):
        raise usage(f"{shown(path, 200)} is there already and is not written over; name a new file", "exists")
    events = events_beside(path) if opened.scene.events else None
    if events and os.path.lexists(events):
        raise usage(f"{shown(events, 200)} is there already and is not written over; name another file", "exists")
    columns = Columns(opened, opened.suite.station.sensor(opened.sensors[0]))
    first = opened.cell(0)
    _fits(columns, first, opened.line.rows, path)
    with safe_write.streamed(path) as file, _writer(file, columns) as writer:
        for batch in _rest(opened, first):
            writer.write_batch(columns.table(batch), row_group_size=GRID)
            if progress:
                progress(batch.first_row + len(batch), opened.line.rows)
    if events:
        lines = ["time,event,note", *(f'{event.at_ns},"{event.name.replace(chr(34), chr(34) * 2)}",' for event in opened.events)]
        safe_write.write(events, ("\n".join(lines) + "\n").encode())
    return columns


def events_beside(path: str) -> str:
    """Where the events of a recording are written."""
    return path.removesuffix(".parquet") + "_events.csv"


def _rest(opened: OpenedScene, first: Batch) -> Iterator[Batch]:
    yield first
    for cell in range(1, -(-opened.line.rows // GRID)):
        yield opened.cell(cell)


def _writer(file: Any, columns: Columns) -> pq.ParquetWriter:
    # counts are noise in their low digits: plain pages, packed quickly
    return pq.ParquetWriter(
        file, columns.schema, compression="zstd", compression_level=1, use_dictionary=list(columns.truth.values())
    )


def _fits(columns: Columns, first: Batch, rows: int, path: str) -> None:
    packed = BytesIO()
    with _writer(packed, columns) as writer:
        writer.write_batch(columns.table(first))
    needed = int(packed.tell() / len(first) * rows)
    folder = Path(path).resolve().parent
    free = shutil.disk_usage(folder).free if folder.is_dir() else needed + LEFT_FREE
    if needed + LEFT_FREE > free:
        said = f"the recording would take about {size_text(needed)} beside {size_text(LEFT_FREE)} that stay free, and"
        said += f" {size_text(free)} are free"
        raise usage(f"{shown(path, 200)} cannot be written: {said}; make the scene shorter", "cannot-write")


def _plain(name: str) -> str:
    """A name as YAML of the files takes it."""
    simple = name.replace(" ", "").replace("_", "").isalnum() and name == name.strip()
    return name if simple else json.dumps(name, ensure_ascii=False)

