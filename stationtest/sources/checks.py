"""Columns of a file to native arrays, refusing what is not as the form says: nothing is repaired, nothing is guessed.

Every refusal names the row and the key of the form that would mend it.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NoReturn

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from stationtest.errors import Problem, ReadingsError, readings_error
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.words import shown
from stationtest.model.recording_form import RecordingForm
from stationtest.place import Place
from stationtest.sources.columns import plain

NOT_STATED: Mapping[str, Place] = {}
NOT_NOTED = -1  # a cell of a hand trial that was left empty


@dataclass(frozen=True, slots=True)
class Where:
    """Where a piece of a recording stands: the file as the user would type it, its first row, and how rows become lines."""

    path: str
    first_row: int = 0
    line: Callable[[int], int] = lambda row: row + 1

    def refuse(self, index: int | None, key: str, message: str, code: str = "bad-value") -> NoReturn:
        """Raise `ReadingsError` at the row of this piece with that index (None: no row can be named)."""
        row = 0 if index is None else self.line(self.first_row + index)
        raise readings_error(self.path, row, key, message, code)


@contextlib.contextmanager
def told_together(problems: list[Problem]) -> Iterator[None]:
    """What is refused inside is put with the others that are to be told at once."""
    try:
        yield
    except ReadingsError as error:
        problems += error.problems


def no_empty_cells(column: pa.Array, key: str, name: str, where: Where) -> None:
    """Refuse a column with an empty cell."""
    if column.null_count:
        empty = np.flatnonzero(plain(column.is_null()))
        where.refuse(int(empty[0]), key, f"the cell of column {shown(name)} is empty; a number or word is needed in every row")


def numbers(column: pa.Array, key: str, name: str, where: Where) -> NDArray[np.float64]:
    """A column of finite numbers as float64 (n,)."""
    if not (pa.types.is_floating(column.type) or pa.types.is_integer(column.type) or pa.types.is_decimal(column.type)):
        where.refuse(None, key, f"column {shown(name)} holds {column.type}, not numbers")
    no_empty_cells(column, key, name, where)
    if pa.types.is_decimal(column.type):
        column = column.cast(pa.float64())
    values = np.ascontiguousarray(plain(column), dtype=np.float64)
    if not (finite := np.isfinite(values)).all():
        index = int(np.argmin(finite))
        where.refuse(index, key, f"column {shown(name)} holds {values[index]}, which is no reading; finite numbers are needed")
    return values


def switches(
    column: pa.Array, key: str, name: str, form: RecordingForm, where: Where, *, may_be_empty: bool = False
) -> NDArray[np.bool_] | NDArray[np.int8]:
    """An on/off column as bool (n,), by the declared words; with `may_be_empty` as int8, -1 where the cell is empty."""
    empty = plain(column.is_null()) if column.null_count else None
    if not may_be_empty:
        no_empty_cells(column, key, name, where)
    if pa.types.is_boolean(column.type):
        on = _unpacked(column.fill_null(False) if column.null_count else column)
        known = None
    elif pa.types.is_integer(column.type) or pa.types.is_floating(column.type):
        values = plain(column.fill_null(0) if column.null_count else column)
        on = _any_equal(values, _as_numbers(form.on))
        known = on | _any_equal(values, _as_numbers(form.off))
    else:
        indices, dictionary = _dictionary(column, key, name, where)
        words = dictionary.to_pylist()
        if may_be_empty:
            blank = np.isin(indices, [code for code, word in enumerate(words) if not word.strip()])
            empty = blank if empty is None else blank | empty
        on = np.isin(indices, [code for code, word in enumerate(words) if word in form.on])
        known = on | np.isin(indices, [code for code, word in enumerate(words) if word in form.off])
    if known is not None:
        bad = ~known if empty is None else ~known & ~empty
        if bad.any():
            index = int(np.argmax(bad))
            declared = f"on is {allowed_words(form.on)}, off is {allowed_words(form.off)}"
            found = shown(str(column[index].as_py()))
            where.refuse(index, f"{key}, on, off", f"column {shown(name)} holds {found}, which is not declared; {declared}")
    if not may_be_empty:
        return on
    result = on.astype(np.int8)
    if empty is not None:
        result[empty] = NOT_NOTED
    return result


def bits(column: pa.Array, bit: int, key: str, name: str, where: Where) -> NDArray[np.bool_]:
    """One bit (0 is the lowest) of a column of packed whole numbers, as bool (n,)."""
    if not pa.types.is_integer(column.type):
        where.refuse(None, f"{key}.bit", f"column {shown(name)} holds {column.type}; a bit can be taken from whole numbers only")
    no_empty_cells(column, key, name, where)
    values = plain(column)
    return (values >> values.dtype.type(bit)) & 1 != 0


@dataclass(slots=True)
class Names:
    """A growing table of the words of a column. Words are numbered in order of first appearance, however the file is cut.

    `allowed` None takes any word. `empty` are the words that count as an empty cell.
    """

    key: str
    allowed: Collection[str] | None = None
    empty: Collection[str] = ("",)
    what: str = "word"
    words: list[str] = field(default_factory=list)
    codes: dict[Any, int] = field(default_factory=dict)

    def of(self, column: pa.Array, name: str, where: Where) -> NDArray[np.int32]:
        """Codes (n,) of a column of text or whole numbers; -1 where the cell is empty."""
        if pa.types.is_null(column.type) or not len(column):
            return np.full(len(column), -1, np.int32)
        if pa.types.is_integer(column.type):
            missing = plain(column.is_null()) if column.null_count else None
            values = plain(column.fill_null(0) if missing is not None else column)
            starts = _starts(values, missing)
            words: list[Any] = values[starts].tolist()
        else:
            values, dictionary = _dictionary(column, self.key, name, where)
            missing = values < 0 if column.null_count else None
            starts = _starts(values)
            listed = dictionary.to_pylist() or [""]
            words = [listed[index] for index in np.maximum(values[starts], 0).tolist()]
        # truth changes seldom: only the first row of each run of equal values is looked up
        codes = [-2 if word is None else self.codes.get(word, -2) for word in words]
        for k, code in enumerate(codes):
            if code == -2 and (missing is None or not missing[starts[k]]):
                codes[k] = self._code(words[k], int(starts[k]), where)
        found = np.repeat(np.array(codes, np.int32), np.diff(starts, append=len(values)))
        if missing is not None:
            found[missing] = -1
        return found

    def _code(self, value: Any, index: int, where: Where) -> int:
        """The code of a word, or of a whole number as a word, at its first appearance."""
        word = str(value)
        code = self.codes.get(word)
        if code is None:
            if word in self.empty or word == "":
                code = -1
            elif self.allowed is not None and word not in self.allowed:
                meant = nearest(word, self.allowed)
                hint = f"; did you mean {shown(meant)}?" if meant else f"; declared: {allowed_words(self.allowed)}"
                where.refuse(index, self.key, f"{shown(word)} is not a {self.what} of this station{hint}", "unknown-name")
            else:
                code = len(self.words)
                self.words.append(word)
        self.codes[word] = self.codes[value] = code
        return code


def strictly_rising(t_ns: NDArray[np.int64], last_ns: int | None, where: Where) -> None:
    """Refuse a time (n,) that is not later than the one before; `last_ns` is the time of the row before these."""
    if last_ns is not None and len(t_ns) and t_ns[0] <= last_ns:
        _not_rising(0, int(t_ns[0]), last_ns, where)
    if len(t_ns) > 1 and (back := t_ns[1:] <= t_ns[:-1]).any():
        index = int(np.argmax(back)) + 1
        _not_rising(index, int(t_ns[index]), int(t_ns[index - 1]), where)


def _not_rising(index: int, here_ns: int, before_ns: int, where: Where) -> NoReturn:
    step_ns = here_ns - before_ns
    said = "the same time as the row before" if step_ns == 0 else f"a time {seconds(-step_ns)} before that of the row before"
    if -step_ns > before_ns // 2 > 10**10:  # it fell by more than half of all it had counted
        said += " (of a count that starts again, `wraps_at` would say where)"
    where.refuse(index, "time", f"{said}; times must rise from row to row", "unsorted-time")


def seconds(ns: int) -> str:
    """A time for a message, exact, without idle zeros: 83.412 s."""
    sign, ns = ("-", -ns) if ns < 0 else ("", ns)
    return f"{sign}{ns // 10**9}.{ns % 10**9:09d}".rstrip("0").rstrip(".") + " s"


def all_there(
    asked: Iterable[tuple[str, str]], columns: Collection[str], where: Where, stated: Mapping[str, Place] = NOT_STATED
) -> None:
    """Refuse a file without some of these columns, each with the key that names it: all of them at once. `stated` says where
    station.yaml does, by the beginning of the key."""
    said: list[Problem] = []
    for column, key in asked:
        if column not in columns:
            meant = nearest(column, columns)
            hint = f"; did you mean {shown(meant)}?" if meant else ""
            by = next((f", named in {place}" for start, place in stated.items() if key.startswith(start) and place.path), "")
            message = f"there is no column {shown(column)} in this file{by}{hint}; it has {allowed_words(columns)}"
            said.append(Problem(Place(where.path, 0, 0), key, message, "missing-column"))
    if said:
        raise ReadingsError(said)


def _dictionary(column: pa.Array, key: str, name: str, where: Where) -> tuple[NDArray[np.int32], pa.Array]:
    """Indices (n,), -1 where null, and the dictionary of a column of text."""
    if not pa.types.is_dictionary(column.type):
        if not (pa.types.is_string(column.type) or pa.types.is_large_string(column.type)):
            where.refuse(None, key, f"column {shown(name)} holds {column.type}; text or whole numbers are needed")
        column = column.dictionary_encode()
    indices = column.indices
    if indices.null_count:
        indices = indices.cast(pa.int32()).fill_null(-1)
    kind = column.type.value_type
    if not (pa.types.is_string(kind) or pa.types.is_large_string(kind)):
        where.refuse(None, key, f"column {shown(name)} holds {column.type}; text or whole numbers are needed")
    return plain(indices), column.dictionary


def _starts(values: NDArray[Any], missing: NDArray[np.bool_] | None = None) -> NDArray[np.int64]:
    """Where runs of equal values, or of missing ones, begin."""
    change = values[1:] != values[:-1]
    if missing is not None:
        change |= missing[1:] != missing[:-1]
    return np.concatenate(([0], np.flatnonzero(change) + 1))


def _unpacked(column: pa.Array) -> NDArray[np.bool_]:
    """A boolean column without nulls as bool (n,); Arrow keeps eight in a byte, and is slow to take them apart."""
    first = column.offset % 8
    packed = np.frombuffer(column.buffers()[1], np.uint8)[column.offset // 8 :]
    return np.unpackbits(packed, count=first + len(column), bitorder="little")[first:].view(np.bool_)


def _as_numbers(words: Iterable[str]) -> list[float]:
    found = []
    for word in words:
        try:
            found.append(float(word))
        except ValueError:
            continue
    return found


def _any_equal(values: NDArray[Any], wanted: Collection[float]) -> NDArray[np.bool_]:
    result = np.zeros(len(values), np.bool_)
    for number in wanted:
        result |= values == number
    return result
