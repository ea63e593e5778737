"""Recordings in Parquet: only the mapped columns are decoded, a few row groups' pages at a time."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NoReturn

import pyarrow as pa
import pyarrow.parquet as pq

from stationtest.model.recording_form import RecordingForm
from stationtest.signals.batch import GRID
from stationtest.sources.checks import Where

SAYS_OF_ITSELF = b"stationtest"
"""Key of the file's metadata under which a simulated recording says so."""

BUFFER = 1 << 20  # bytes of a column chunk read at once; a whole chunk would be held otherwise


def open_file(path: Path, shown: str, form: RecordingForm) -> ParquetFile:
    """A reader of one Parquet file. Raises `ReadingsError` if it is none."""
    return ParquetFile(path, shown)


class ParquetFile:
    """One Parquet file. Rows are numbered from 0, and shown to the user from 1."""

    def __init__(self, path: Path, shown: str) -> None:
        self._path = path
        self._where = Where(shown)
        try:
            with self._open([]) as file:
                self._schema = file.schema_arrow
                self.rows_hint: int | None = file.metadata.num_rows
                self._group_rows = [file.metadata.row_group(k).num_rows for k in range(file.num_row_groups)]
        except (pa.ArrowException, OSError) as error:
            self._refuse(error)
        self.columns = list(self._schema.names)
        self.facts: dict[str, Any] = {}
        self.units: dict[str, str] = {}
        if said := (self._schema.metadata or {}).get(SAYS_OF_ITSELF):
            self.facts["simulated"] = str(json.loads(said)["simulated"])

    def line(self, row: int) -> int:
        return row + 1

    def tables(self, wanted: Mapping[str, str], from_row: int = 0) -> Iterator[tuple[int, pa.RecordBatch]]:
        """First row and columns of consecutive stretches, beginning with the row group that holds `from_row`.

        `wanted` maps column names to what they are read as; a Parquet column brings its own type, so only text is told apart.
        """
        text = [name for name, kind in wanted.items() if kind in ("text", "digital") and _is_text(self._schema.field(name).type)]
        first, row = 0, 0
        while first < len(self._group_rows) and row + self._group_rows[first] <= from_row:
            row += self._group_rows[first]
            first += 1
        groups = list(range(first, len(self._group_rows)))
        try:
            with self._open(text) as file:
                # one thread, since the batches are decoded while the caller works on the one before
                for batch in file.iter_batches(GRID, row_groups=groups, columns=list(wanted), use_threads=False):
                    yield row, batch
                    row += batch.num_rows
        except (pa.ArrowException, OSError) as error:
            self._refuse(error, row)

    def _open(self, text: list[str]) -> pq.ParquetFile:
        return pq.ParquetFile(self._path, pre_buffer=False, buffer_size=BUFFER, read_dictionary=text)

    def _refuse(self, error: Exception, row: int | None = None) -> NoReturn:
        reason = " ".join(str(error).split("\n")[0].split())
        said = "this is not a Parquet file, or it was cut" if row is None else "the file is damaged from about this row on"
        self._where.refuse(row, "", f"{said} ({reason[:200]})", "bad-dialect")


def _is_text(kind: Any) -> bool:
    return pa.types.is_string(kind) or pa.types.is_large_string(kind)
