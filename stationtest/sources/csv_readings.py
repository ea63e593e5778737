"""Recordings in CSV, in the declared dialect. The file is read in blocks that are cut at line ends here, so that memory stays
flat, a line without end costs one block, and every block knows the number of its first row and its place in the file.
"""

from __future__ import annotations

import csv
import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NoReturn

import pyarrow as pa
import pyarrow.csv as pc

from stationtest.files.words import shown as printable
from stationtest.model.recording_form import RecordingForm
from stationtest.sources import times
from stationtest.sources.checks import Where

BLOCK = 1 << 22  # bytes; also the longest line
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
TEXT = pa.dictionary(pa.int32(), pa.string())
_MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


def open_file(path: Path, shown: str, form: RecordingForm) -> CsvFile:
    """A reader of one CSV file. Raises `ReadingsError` if its beginning is not as the form says."""
    return CsvFile(path, shown, form)


class CsvFile:
    """One CSV file. Rows of data are numbered from 0, lines of the file, which the user sees, from 1."""

    def __init__(self, path: Path, shown: str, form: RecordingForm) -> None:
        self._path, self._form = path, form
        self._where = Where(shown, line=self.line)
        self._head_lines = form.skip_lines + 1 + form.units_line
        self._separator = SEPARATORS[form.separator]
        with path.open("rb") as file:
            head = file.read(BLOCK)
        if not head:
            self._refuse(None, "", "the file is empty", "empty-recording")
        self._codec, mark = self._encoding(head)
        self._newline = "\n".encode(self._codec)
        begin = mark
        for _ in range(form.skip_lines):
            begin = self._after_line(head, begin)
        end = self._after_line(head, begin)
        self._data_at = self._after_line(head, end) if form.units_line else end
        self.columns = self._header(head[begin:end])
        below = self._decoded(head[end : self._data_at], None).decode("utf-8", "replace").rstrip("\r\n")
        self.units = dict(zip(self.columns, next(csv.reader([below], delimiter=self._separator), []), strict=False))
        self._index = [(0, self._data_at)]  # first row and place of each block that was seen
        self.rows_hint: int | None = None
        self.facts: dict[str, Any] = {"encoding": self._codec, "separator": form.separator, "decimal": form.decimal}

    def line(self, row: int) -> int:
        return self._head_lines + row + 1

    def tables(self, wanted: Mapping[str, str], from_row: int = 0) -> Iterator[tuple[int, pa.RecordBatch]]:
        """First row and columns of consecutive blocks, beginning with the last block known to begin at or before `from_row`."""
        row, place = self._index[bisect_right(self._index, (from_row, 1 << 62)) - 1]
        rest = b""
        with self._path.open("rb") as file:
            file.seek(place)
            while True:
                data = file.read(BLOCK)
                rest += data
                cut = self._after_last_line(rest) if data else len(rest)
                if not cut and len(rest) >= BLOCK:
                    self._refuse(row, "separator", f"this line has no end within {BLOCK >> 20} MiB; a table has one row a line")
                if cut:
                    batch = self._parsed(rest[:cut], row, wanted)
                    yield row, batch
                    row, place, rest = row + batch.num_rows, place + cut, rest[cut:]
                    if row > self._index[-1][0]:
                        self._index.append((row, place))
                if not data and not rest:
                    return

    def _after_last_line(self, data: bytes) -> int:
        width = len(self._newline)
        cut = data.rfind(self._newline)
        while cut > 0 and cut % width:  # half of another character in UTF-16
            cut = data.rfind(self._newline, 0, cut + width - 1)
        return cut + width if cut >= 0 else 0

    def _after_line(self, head: bytes, begin: int) -> int:
        width = len(self._newline)
        cut = head.find(self._newline, begin)
        while cut >= 0 and (cut - begin) % width:
            cut = head.find(self._newline, cut + 1)
        if cut >= 0:
            return cut + width
        if len(head) == BLOCK:
            self._refuse(None, "separator", f"the header has no end within {BLOCK >> 20} MiB; a table has one row a line")
        return len(head)

    def _encoding(self, head: bytes) -> tuple[str, int]:
        """The codec, and the length of the byte-order mark. A mark that disagrees with the form is refused."""
        declared = self._form.encoding
        for mark, codec in _MARKS:
            if head.startswith(mark):
                if not codec.startswith(declared):
                    meant = codec[:6].rstrip("-")
                    self._refuse(None, "encoding", f"the file begins with the mark of {meant}, `encoding` says {declared}")
                return codec, len(mark)
        if declared == "utf-16":
            self._refuse(None, "encoding", "`encoding` says utf-16, but the file does not begin with its byte-order mark")
        if b"\0" in head[:1000]:
            self._refuse(None, "encoding", f"the file holds zero bytes, so it is not {declared} text; utf-16 may be meant")
        return declared, 0

    def _header(self, line: bytes) -> list[str]:
        text = self._decoded(line, None).decode("utf-8", "replace").rstrip("\r\n")
        if not text:
            self._refuse(None, "skip_lines", "there is no header line where the form expects it", "empty-recording")
        names = next(csv.reader([text], delimiter=self._separator))
        if len(names) == 1:
            for word, separator in SEPARATORS.items():
                if separator in text and word != self._form.separator:
                    found = f"with `separator: {self._form.separator}` the header is one column, {printable(text)}"
                    self._refuse(None, "separator", f"{found}; {word} would give {text.count(separator) + 1}")
        return names

    def _decoded(self, block: bytes, row: int | None) -> bytes:
        """A block as UTF-8."""
        if self._codec == "utf-8":
            return block
        try:
            return block.decode(self._codec).encode()
        except UnicodeDecodeError as error:
            at = None if row is None else row + block[: error.start].count(self._newline)
            self._refuse(at, "encoding", f"the file is not {self._form.encoding} text: {error.reason}")

    def _parsed(self, block: bytes, row: int, wanted: Mapping[str, str]) -> pa.RecordBatch:
        """A block as Arrow columns of the declared types; nothing is inferred from the text."""
        data = self._decoded(block, row)
        names = [f"{index} {name}" for index, name in enumerate(self.columns)]  # unique, whatever the header repeats
        chosen = {names[self.columns.index(name)]: self._type(kind) for name, kind in wanted.items()}
        options = pc.ConvertOptions(
            column_types=chosen,
            include_columns=list(chosen),
            null_values=[""],
            strings_can_be_null=False,
            true_values=list(self._form.on),
            false_values=list(self._form.off),
            decimal_point="," if self._form.decimal == "comma" else ".",
        )
        try:
            table = pc.read_csv(
                pa.py_buffer(data),
                # one thread, or errors do not know their row
                pc.ReadOptions(use_threads=False, column_names=names, block_size=len(data) + 1),
                pc.ParseOptions(delimiter=self._separator, ignore_empty_lines=False),
                options,
            )
        except pa.ArrowInvalid as error:
            self._explain(str(error), data, row, wanted)
        arrays = [column.chunk(0) if column.num_chunks == 1 else column.combine_chunks() for column in table.columns]
        return pa.RecordBatch.from_arrays(arrays, list(wanted))

    def _type(self, kind: str) -> Any:
        if kind == "time":
            return times.arrow_type(self._form)
        return {"number": pa.float64(), "digital": pa.bool_(), "packed": pa.int64(), "text": TEXT}[kind]

    def _explain(self, error: str, data: bytes, row: int, wanted: Mapping[str, str]) -> NoReturn:
        """Arrow's message in the words of the form, with the line and the key that would mend it."""
        found = re.search(r"Row #(\d+)", error)
        index = int(found.group(1)) - 1 if found else 0
        lines = data.split(b"\n", index + 1)
        line = lines[index].decode("utf-8", "replace").rstrip("\r") if index < len(lines) else ""
        if counts := re.search(r"Expected (\d+) columns, got (\d+)", error):
            self._wrong_count(int(counts.group(1)), int(counts.group(2)), line, data, index, row + index)
        column = re.search(r"In CSV column #(\d+)", error)
        name = self.columns[int(column.group(1))] if column else ""
        if "invalid UTF8" in error:
            said = f"column {printable(name)} is not {self._form.encoding} text; cp1252 may be meant"
            self._refuse(row + index, "encoding", said)
        cells = next(csv.reader([line], delimiter=self._separator), [])
        cell = cells[int(column.group(1))] if column and int(column.group(1)) < len(cells) else ""
        self._wrong_cell(name, cell, wanted.get(name, "text"), row + index)

    def _wrong_count(self, expected: int, got: int, line: str, data: bytes, index: int, row: int) -> NoReturn:
        if not line.strip():
            self._refuse(row, "", "the line is empty; every line of a recording is a row")
        if not data.endswith(b"\n") and data.count(b"\n") == index:
            self._refuse(row, "", f"the last line is cut: {got} cells of {expected}, and no line end")
        key, hint = "separator", ""
        if self._form.separator == "comma" and got > expected:
            hint = "; numbers with a decimal comma cannot stand between commas"
        self._refuse(row, key, f"the line has {got} cells, the header {expected}{hint}")

    def _wrong_cell(self, name: str, cell: str, kind: str, row: int) -> NoReturn:
        head, text = f"column {printable(name)} holds {printable(cell)}", cell.strip()
        if kind == "digital":
            on, off = ", ".join(self._form.on), ", ".join(self._form.off)
            self._refuse(row, "on, off", f"{head}, which is not declared; on is {on}, off is {off}", "bad-value")
        if kind == "time" and self._form.time_in == times.ISO:
            key, message, code = times.not_a_date(cell, self._form)
            self._refuse(row, key, f"column {printable(name)}: {message}", code)
        if self._form.decimal == "point" and re.fullmatch(r"[-+]?\d*,\d+", text):
            self._refuse(row, "decimal", f"{head}; `decimal: comma` would make it a number")
        if self._form.decimal == "comma" and re.fullmatch(r"[-+]?\d*\.\d+", text):
            self._refuse(row, "decimal", f"{head}; `decimal: point` would make it a number")
        if kind == "time" and re.fullmatch(r"[-+]?[\d.,]+([eE][-+]?\d+)?", text):
            said = f"{head}, which in {self._form.time_in} is finer than 1 ns or beyond all dates"
            self._refuse(row, "time.in", said, "bad-value")
        hint = "; `units_line: yes` would pass over it" if row == 0 and not self._form.units_line else ""
        number = "a whole number" if kind == "packed" else "a number"
        key = "units_line" if hint else getattr(kind, "key", "")  # a plain word where whoever asks knows no key
        self._refuse(row, key, f"{head}, which is not {number}{hint}", "bad-value")

    def _refuse(self, row: int | None, key: str, message: str, code: str = "bad-dialect") -> NoReturn:
        self._where.refuse(row, key, message, code)
