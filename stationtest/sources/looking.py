"""Looking at a table of which nothing is declared: how it is written, and what its columns may be. Whatever is found here is a
proposal for a person to read; nothing is ever judged by it.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
from numpy.typing import NDArray

from stationtest.errors import usage
from stationtest.files.words import shown
from stationtest.sources.csv_readings import SEPARATORS
from stationtest.sources.times import DAY_NS, DIGITS, ISO, LARGEST_NS, TIME_OF_DAY, UNIT_NS

Ints = NDArray[np.int64]

MOST_BYTES = 8 << 20
MOST_ROWS = 50_000
GAP_OF_STEPS = 3
FINEST_GRID_NS = 100_000  # finer stamps are as good as exact, or digits that a log was written with
FEWEST_STEPS = 10  # from which on a common divisor of steps is hardly one by chance
ON = ("1", "true", "wahr", "on", "an", "ein", "high", "-1", "yes", "y", "ja", "j", "vrai", "oui", "lit", "x")
OFF = ("0", "false", "falsch", "off", "aus", "low", "no", "n", "nein", "faux", "non", "dark")
NUMBER = {"point": re.compile(r"[-+]?\d+(\.\d+)?([eE][-+]?\d+)?"), "comma": re.compile(r"[-+]?\d+(,\d+)?([eE][-+]?\d+)?")}
WHOLE = re.compile(r"[-+]?\d*")
DATE = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.,]\d+)?)?(Z|[+-]\d\d:?\d\d)?")
OF_DAY = re.compile(r"([01]\d|2[0-3]):[0-5]\d:[0-5]\d([.,]\d+)?")
UNIT = re.compile(r"(?<![A-Za-zµμ])(ns|us|µs|μs|ms|s|sec)(?![A-Za-z])", re.IGNORECASE)
_MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


@dataclass(slots=True)
class Column:
    """One column. `kind`: 'time', 'counter', 'number', 'digital', 'words' or 'empty'. `cells` (n,) as text."""

    name: str
    cells: list[str]
    unit: str = ""
    kind: str = "words"
    counts: Counter[str] = field(default_factory=Counter)

    def numbers(self) -> NDArray[np.float64]:
        """The cells as numbers; NaN where one is empty."""
        return np.array([float(cell.replace(",", ".")) if cell else np.nan for cell in self.cells])


@dataclass(slots=True)
class TimeColumn:
    """What the time column may be: its unit and where that was taken from, and its steps."""

    column: Column
    unit: str
    why: str
    t_ns: Ints
    every_ns: int
    gap_ns: int

    @property
    def steps(self) -> tuple[int, int]:
        """The least and the greatest step."""
        steps = np.diff(self.t_ns)
        return int(steps.min()), int(steps.max())

    @property
    def guessed(self) -> bool:
        """Whether nothing in the file says the unit."""
        return self.why.endswith("a guess")

    @property
    def possible(self) -> list[str]:
        """The units in which its digits are whole nanoseconds and its times a count from a start; one at least."""
        return _possible(self.column)

    @property
    def gaps(self) -> int:
        return int((np.diff(self.t_ns) > self.gap_ns).sum())

    @property
    def grid_ns(self) -> int:
        """The grid on which all stamps lie: the greatest common divisor of their steps. 0 where there is none to speak of."""
        steps = np.diff(self.t_ns)
        grid = int(np.gcd.reduce(steps)) if np.count_nonzero(steps) >= FEWEST_STEPS else 0
        return grid if grid >= FINEST_GRID_NS else 0


@dataclass(slots=True)
class Looked:
    """What was found in a table, in its first rows where it is long (`whole` False)."""

    path: str
    columns: list[Column]
    rows: int
    whole: bool
    form: dict[str, str] = field(default_factory=dict)  # keys of a form as they would be written, where not the usual
    time: TimeColumn | None = None
    counter: Column | None = None  # numbers the rows, where they are trials rather than samples

    def of_kind(self, kind: str) -> list[Column]:
        return [column for column in self.columns if column.kind == kind]

    @property
    def sampled(self) -> bool:
        """Whether rows come at a beat, as samples do; a row for each change comes when it will."""
        return self.time is not None and not self.long and 2 * self.time.steps[0] >= self.time.every_ns

    @property
    def long(self) -> bool:
        """Whether it looks like one row a value: a time, a column of names, and a column of values."""
        words = self.of_kind("words")
        return self.time is not None and len(self.columns) == 3 and bool(words) and len(words[0].counts) < max(self.rows // 3, 2)

    @property
    def log(self) -> bool:
        """Whether it looks like a log of signals: a long one, or rows that come when a column of on and off changes."""
        only_signals = bool(self.of_kind("digital")) and not self.of_kind("number") and not self.of_kind("words")
        return self.long or (self.time is not None and not self.sampled and only_signals)

    @property
    def trials(self) -> bool:
        """Whether it looks like a table of trials by hand: no time, and words that may say what was presented."""
        return self.time is None and bool(self.of_kind("words"))


def look(path: Path, name: str) -> Looked:
    """What a file may hold. Raises `UsageError` where it cannot be opened, or no table is found in it."""
    try:
        found = _parquet(path, name) if path.suffix.lower() == ".parquet" else _text(path, name)
    except OSError as error:
        raise usage(f"{shown(name)} cannot be opened: {(error.strerror or str(error)).lower()}", "unreadable") from error
    decimal = found.form.get("decimal", "point")
    for column in found.columns:
        column.counts.update(column.cells)
        column.kind = _kind(column, decimal)
    found.counter = _counter(found)
    found.time = None if found.counter else _time(found)
    return found


def _parquet(path: Path, name: str) -> Looked:
    try:
        with pq.ParquetFile(path) as file:
            rows = file.metadata.num_rows
            batch = next(file.iter_batches(MOST_ROWS), None)
    except Exception as error:  # Arrow has several kinds for a file that is none
        raise usage(f"{shown(name)} is not a Parquet file, or it was cut", "bad-dialect") from error
    if batch is None:
        raise usage(f"{shown(name)} has no rows", "empty-recording")
    columns = [
        Column(field_, ["" if value is None else _as_text(value) for value in batch.column(k).to_pylist()])
        for k, field_ in enumerate(batch.schema.names)
    ]
    return Looked(name, columns, rows, rows <= MOST_ROWS)


def _as_text(value: object) -> str:
    return value.isoformat() if hasattr(value, "isoformat") else str(int(value)) if isinstance(value, bool) else str(value)


def _text(path: Path, name: str) -> Looked:
    with path.open("rb") as file:
        data = file.read(MOST_BYTES)
        beyond, last = 0, b"\n"  # rows that are only counted, and what was read last of them
        while more := file.read(MOST_BYTES):
            beyond, last = beyond + more.count(b"\n"), more
        beyond += not last.endswith(b"\n")
        whole = file.tell() == len(data)
    text, encoding = _decoded(data if whole else data[: data.rfind(b"\n") + 1])  # not to cut a line, or a character
    lines = text.replace("\r\n", "\n").split("\n")
    if lines and not lines[-1]:
        lines.pop()
    if len(lines) < 2:
        raise usage(f"{shown(name)} has no lines of a table", "empty-recording")
    separator, width = _separator(lines)
    head = next(k for k, line in enumerate(lines) if _count(line, separator) == width)
    names = next(csv.reader([lines[head]], delimiter=SEPARATORS[separator]))
    under = csv.reader(lines[head + 1 : head + 2 + MOST_ROWS], delimiter=SEPARATORS[separator])
    rows = [row for row in under if len(row) == width]
    if not rows:
        raise usage(f"{shown(name)} has a line that may be a header and no rows under it", "empty-recording")
    decimal = _decimal(rows, separator)
    units = _is_units_line(rows, decimal)
    form = {"separator": separator} if separator != "comma" else {}
    form |= {"decimal": "comma"} if decimal == "comma" else {}
    form |= {"encoding": encoding} if encoding != "utf-8" else {}
    form |= {"skip_lines": str(head)} if head else {}
    form |= {"units_line": "yes"} if units else {}
    columns = [Column(column, [row[k] for row in rows[units:]], rows[0][k] if units else "") for k, column in enumerate(names)]
    all_rows = len(lines) - head - 1 - units + beyond
    return Looked(name, columns, all_rows, whole and all_rows <= MOST_ROWS, form)


def _decoded(data: bytes) -> tuple[str, str]:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return data.decode(encoding, "ignore").lstrip("\ufeff"), encoding
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace"), "cp1252"


def _count(line: str, separator: str) -> int:
    return len(next(csv.reader([line], delimiter=SEPARATORS[separator]), []))


def _separator(lines: Sequence[str]) -> tuple[str, int]:
    """The separator that gives most lines the same number of cells, more than one; a semicolon or tab before a comma, which may
    stand in numbers."""
    best = ("comma", 1, 0)
    for separator in ("semicolon", "tab", "bar", "comma"):
        widths = Counter(_count(line, separator) for line in lines[:200])
        width, number = max(widths.items(), key=lambda pair: (pair[0] > 1, pair[1], pair[0]))
        if width > 1 and number > best[2]:
            best = (separator, width, number)
    return best[0], best[1]


def _decimal(rows: Sequence[Sequence[str]], separator: str) -> str:
    cells = [cell.strip() for row in rows[:500] for cell in row]
    commas, points = (sum(bool(re.fullmatch(rf"[-+]?\d+{mark}\d+", cell)) for cell in cells) for mark in (",", r"\."))
    return "comma" if separator != "comma" and commas > points else "point"


def _is_units_line(rows: Sequence[Sequence[str]], decimal: str) -> bool:
    """Whether the first row has words where those under it have numbers."""
    if len(rows) < 2:
        return False
    numeric = [k for k, cell in enumerate(rows[1]) if NUMBER[decimal].fullmatch(cell.strip())]
    return any(rows[0][k].strip() and not NUMBER[decimal].fullmatch(rows[0][k].strip()) for k in numeric)


def _kind(column: Column, decimal: str) -> str:
    words = {word for word in column.counts if word}
    if not words:
        return "empty"
    folded = {word.casefold() for word in words}
    if len(folded) <= 2 and folded <= {*ON, *OFF} and "" not in column.counts:
        return "digital"
    if all(NUMBER[decimal].fullmatch(word) for word in words):
        return "number"
    return "time" if any(all(form.fullmatch(word) for word in words) for form in (DATE, OF_DAY)) else "words"


def on_and_off(columns: Sequence[Column]) -> tuple[list[str], list[str]]:
    """The words for on and for off in digital columns."""
    words = dict.fromkeys(word for column in columns for word in column.counts)
    return [word for word in words if word.casefold() in ON], [word for word in words if word.casefold() in OFF]


def _counter(found: Looked) -> Column | None:
    """A column of whole numbers, one more in each row, of trials rather than samples: the table has words that turn with most
    rows, as parts do in trials and never in a stream, or words and no readings (a sensor has three bands or more, so one further
    column of whole numbers is that of the parts). One whose unit is that of a time is none."""
    numbers, words = found.of_kind("number"), found.of_kind("words")
    whole = [column for column in numbers if all(map(WHOLE.fullmatch, column.counts))]
    if not words or not (any(map(_turns, words)) or len(whole) == len(numbers) <= 2):
        return None
    for column in whole:
        timed = UNIT.search(column.unit) or UNIT.search(column.name)
        if not timed and "" not in column.counts and len(column.cells) > 2 and (np.diff(column.numbers()) == 1).all():
            column.kind = "counter"
            return column
    return None


def _turns(words: Column) -> bool:
    """Whether a column of words has another one in more than half of the rows than in the row before."""
    cells = np.array(words.cells, object)
    return bool((cells[1:] != cells[:-1]).mean() > 0.5) if len(cells) > 2 else False


def _time(found: Looked) -> TimeColumn | None:
    """The first column whose values never go back and mostly rise."""
    for column in found.columns:
        if column.kind == "time" and OF_DAY.fullmatch(column.cells[0]):
            day = np.array([f"1970-01-01T{cell.replace(',', '.')}" for cell in column.cells], "datetime64[ns]").astype(np.int64)
            turns = np.cumsum(np.diff(day, prepend=day[0]) < -DAY_NS // 2) * DAY_NS
            return _steps(column, TIME_OF_DAY, "the file has no date: say which", day + turns)
        if column.kind == "time":
            text = [cell.replace(",", ".").replace("Z", "").replace(" ", "T") for cell in column.cells]
            t_ns = np.array([re.sub(r"[+-]\d\d:?\d\d$", "", cell) for cell in text], "datetime64[ns]").astype(np.int64)
            zoned = all(re.search(r"(Z|[+-]\d\d:?\d\d)$", cell) for cell in column.cells)
            return _steps(column, ISO, "dates" + ("" if zoned else " without a zone"), t_ns)
        if column.kind == "number" and "" not in column.counts and len(column.cells) > 2:
            values = column.numbers()
            steps = np.diff(values)
            if (steps >= 0).all() and (steps > 0).mean() > 0.2 and values[-1] > values[0]:
                unit, why = _unit(column, values)
                column.kind = "time"
                return _steps(column, unit, why, np.rint(values * UNIT_NS[unit]).astype(np.int64))
    return None


def _steps(column: Column, unit: str, why: str, t_ns: Ints) -> TimeColumn:
    steps = np.diff(t_ns)
    every = int(np.median(steps[steps > 0])) if (steps > 0).any() else 1
    return TimeColumn(column, unit, why, t_ns, every, GAP_OF_STEPS * every)


def _possible(column: Column) -> list[str]:
    """The units in which the digits of a column are whole nanoseconds and its times a count from a start; seconds if none."""
    digits, last = max(len(cell.replace(",", ".").partition(".")[2]) for cell in column.cells), column.numbers()[-1]
    return [unit for unit in UNIT_NS if digits <= DIGITS[unit] and last < LARGEST_NS / UNIT_NS[unit]] or ["s"]


def _unit(column: Column, values: NDArray[np.float64]) -> tuple[str, str]:
    """The unit of a time, from the line of units, from its name, or from its size."""
    for text, why in ((column.unit, "from the line of units"), (column.name, "from its name")):
        if match := UNIT.search(text):
            unit = match[1].lower().replace("µ", "u").replace("μ", "u")
            return "s" if unit == "sec" else unit, why
    if values[0] > 1e8:  # seconds since 1970 have ten digits, and each finer unit three more
        unit = "s" if values[0] < 1e11 else "ms" if values[0] < 1e14 else "us" if values[0] < 1e17 else "ns"
        return unit, "from its size, as a count since 1970"
    step = float(np.median(np.diff(values)[np.diff(values) > 0]))
    unit = min(_possible(column), key=lambda one: abs(np.log(step * UNIT_NS[one] / 1e6)))  # readings come about every ms
    return unit, "from its steps; a guess"
