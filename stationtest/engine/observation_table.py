"""The observations as one table, a row for each presentation and channel, so that every number behind a verdict can be had.

Columns: recording, presentation (row number from 0), start_s, end_s (seconds since the recording's origin), target, specimen,
set, sensor, channel, fired, silent, perhaps, known, basis, held_over_ms, first_on_ms (from the presentation's start), on_ms,
longest_ms, pulses_min, pulses_max, closeness_max, margin (as a channel that must fire or be silent, whichever the target asks
for), level_min, level_max, why_not (why the presentation cannot be called conforming). A table of hand trials has no times.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any, BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.csv

from stationtest.engine.arrow_columns import flags, nothing, numbers, texts
from stationtest.expectations.view import should_be_on
from stationtest.model.observations import NEVER, STATUS_WORDS, Presentations, SourceObservations
from stationtest.model.station import Station

PRESENTATIONS = 8192
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def table(station: Station, observed: SourceObservations) -> pa.Table:
    """The table of one recording, in order of presentations, then channels."""
    return pa.concat_tables(pieces(station, observed))


def pieces(station: Station, observed: SourceObservations) -> Iterator[pa.Table]:
    """The table in pieces of so many presentations, so that a long recording needs no more memory than its observations."""
    margins = margin(station, observed)
    for first in range(0, max(len(observed.presentations), 1), PRESENTATIONS):
        yield _piece(observed, margins, first, first + PRESENTATIONS)


def _piece(observed: SourceObservations, margins: Any, first: int, last: int) -> pa.Table:
    shown, did = observed.presentations, observed.responses
    row, column = np.nonzero(did.applies[first:last])
    row += first
    timed = observed.kind != "trials"

    def ms(values: Any) -> pa.Array:
        picked = values[row, column]
        return numbers(picked / 1e6, picked == NEVER) if timed else nothing(len(row))

    def number(values: Any) -> pa.Array:
        picked = values[row, column] if values.ndim == 2 else values[row]
        return numbers(np.round(picked, 9), ~np.isfinite(picked))

    def name(codes: Any, names: tuple[str, ...]) -> pa.Array:
        return texts(codes, [plain(text) for text in names])

    came_on = did.first_on_ns[row, column]
    from_start = came_on - shown.start_ns[row]
    columns: dict[str, pa.Array] = {
        "recording": texts(np.zeros(len(row), np.int64), [plain(observed.key)]),
        "presentation": numbers(row),
        "start_s": numbers(shown.start_ns[row] / 1e9) if timed else nothing(len(row)),
        "end_s": numbers(shown.end_ns[row] / 1e9) if timed else nothing(len(row)),
        "target": name(shown.target[row], shown.targets),
        "specimen": name(shown.specimen[row], shown.specimens),
        "set": name(shown.set[row], observed.sets.names),
        "item": name(shown.item[row], shown.items),
        "sensor": name(shown.sensor[row], shown.sensors),
        "channel": name(column, did.channels),
        "fired": flags(did.fired[row, column]),
        "silent": flags((did.silent & did.known)[row, column]),
        "perhaps": flags(did.perhaps[row, column]),
        "known": flags(did.known[row, column]),
        "basis": name(column, did.basis),
        "held_over_ms": ms(did.held_over_ns),
        "first_on_ms": numbers(from_start / 1e6, came_on == NEVER) if timed else nothing(len(row)),
        "on_ms": ms(did.on_ns),
        "longest_ms": ms(did.longest_ns),
        "pulses_min": numbers(did.pulses_min[row, column]),
        "pulses_max": numbers(did.pulses_max[row, column]),
        "closeness_max": number(did.closeness_max),
        "margin": number(margins),
        "level_min": number(shown.level_min),
        "level_max": number(shown.level_max),
        "why_not": _why_not(shown, row),
    }
    return pa.table(columns)


def margin(station: Station, observed: SourceObservations) -> Any:
    """The margin of each channel in each presentation (P, C), as the target asks for it: NaN where it has none."""
    did = observed.responses
    should = should_be_on(station, observed)
    tolerance = np.array([station.channel(name).tolerance for name in did.channels])
    sign = np.array([1.0 if station.channel(name).on_match else -1.0 for name in did.channels])
    return np.where(should, sign * (1 - did.critical_sure / tolerance), sign * (did.critical_any / tolerance - 1))


def write_csv(station: Station, observed: SourceObservations, file: BinaryIO) -> None:
    """The table as CSV (RFC 4180 but for the line ends, which are LF), shortest numbers that read back the same."""
    writer = None
    for piece in pieces(station, observed):
        writer = writer or pyarrow.csv.CSVWriter(file, piece.schema)
        writer.write_table(piece)
    if writer is not None:
        writer.close()


def csv_bytes(station: Station, observed: SourceObservations) -> bytes:
    """What `write_csv` writes."""
    buffer = io.BytesIO()
    write_csv(station, observed, buffer)
    return buffer.getvalue()


def parquet_bytes(station: Station, observed: SourceObservations) -> bytes:
    """The table as Parquet."""
    import pyarrow.parquet

    buffer = io.BytesIO()
    pyarrow.parquet.write_table(table(station, observed), buffer, compression="zstd")
    return buffer.getvalue()


def plain(text: str) -> str:
    """Text that a spreadsheet will not take for a formula: an apostrophe before what could begin one."""
    return f"'{text}" if text.startswith(FORMULA) else text


def _why_not(shown: Presentations, row: Any) -> pa.Array:
    status = shown.status[row]
    kinds = sorted(set(status.tolist()))
    words = ["; ".join(word for bit, word in STATUS_WORDS.items() if kind & bit) for kind in kinds]
    return texts(np.where(status == 0, -1, np.searchsorted(kinds, status)), words)
