"""Signals that a controller logged in a table of their own: from rows of samples or changes to stretches of on and of unknown.

Only changes are kept, so a log of samples may be as long as it likes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.words import shown
from stationtest.model.digital import Digital
from stationtest.model.match_number import Coded
from stationtest.model.recording_tables import SignalsTable
from stationtest.model.travel import Reach
from stationtest.signals import intervals
from stationtest.signals.intervals import FAR
from stationtest.sources import times
from stationtest.sources.checks import Where, all_there, seconds
from stationtest.sources.columns import plain
from stationtest.sources.turns import Turns

Ints = NDArray[np.int64]
Key = tuple[str, str]

OFF, ON, NOT_KNOWN, NOTHING, WRONG = 0, 1, -1, -2, -3


@dataclass(frozen=True, slots=True)
class Logged:
    """A signal from a log, on the recording's clock: stretches of on (n, 2) and of not known (m, 2). `window`: in which its
    on-time belongs to a presentation (from its start, after its end). `lines`: the code that this is a line of."""

    table: str
    window: tuple[Reach, Reach]
    on: Ints
    unknown: Ints
    lines: Coded | None = None


@dataclass(slots=True)
class States:
    """One signal as its log tells it: `t_ns` (n,), not falling, on the log's own clock, and the state from each on (n,): 1 on,
    0 off, -1 not known. It is not known before the first."""

    t_ns: Ints
    state: NDArray[np.int8]

    def stretches(self, t_ns: Ints) -> tuple[Ints, Ints]:
        """On (k, 2) and not known (m, 2), with the instants `t_ns` (n,) in place of the log's own."""
        until = np.append(t_ns[1:], np.int64(FAR))[: len(t_ns)]
        pairs = np.stack([t_ns, until], axis=1)
        before = np.array([[-FAR, t_ns[0] if len(t_ns) else FAR]], np.int64)
        on = intervals.merge(pairs[self.state == ON])
        return on, intervals.merge(np.concatenate([before, pairs[self.state == NOT_KNOWN]]))

    def moved(self, shifts: Sequence[tuple[int, int]]) -> Ints:
        """The instants `t_ns`, each earlier or later than logged: the k-th rise by `shifts[k % len(shifts)][0]`, what follows it
        by `[1]`. What came first stays first: of two that would change places, each goes half the way."""
        pulse = np.maximum(np.cumsum(self.state == ON) - 1, 0) % len(shifts)
        shift = np.array(shifts, np.int64)[pulse, np.where(self.state == ON, 0, 1)]
        return in_order(self.t_ns, shift)


@dataclass(slots=True)
class _Signal:
    """What was seen of one signal so far."""

    held_for: int | None  # samples: how long a row holds at most
    t: list[Ints] = field(default_factory=list)
    state: list[NDArray[np.int8]] = field(default_factory=list)
    last_ns: int | None = None
    last_state: int = NOT_KNOWN

    def add(self, t_ns: Ints, states: NDArray[np.int8]) -> None:
        """Further rows, in order."""
        if not len(t_ns):
            return
        if self.held_for is not None:
            before = np.concatenate(([t_ns[0] if self.last_ns is None else self.last_ns], t_ns[:-1]))
            lost = np.flatnonzero(t_ns - before > self.held_for)
            if len(lost):
                t_ns = np.insert(t_ns, lost, before[lost] + self.held_for)
                states = np.insert(states, lost, NOT_KNOWN)
        self.last_ns = int(t_ns[-1])
        changed = np.concatenate(([states[0] != self.last_state], states[1:] != states[:-1]))
        self.last_state = int(states[-1])
        if changed.any():
            self.t.append(t_ns[changed])
            self.state.append(states[changed])

    def states(self, log_ends_ns: int) -> States:
        """All of it, after the last row. Whether a log of changes still ran after its last row, nobody knows (A25)."""
        if self.last_ns is not None:
            known_until = log_ends_ns + 1 if self.held_for is None else self.last_ns + self.held_for
            self.held_for = None
            self.add(np.array([known_until], np.int64), np.array([NOT_KNOWN], np.int8))
        if not self.t:
            return States(np.empty(0, np.int64), np.empty(0, np.int8))
        t_ns, state = np.concatenate(self.t), np.concatenate(self.state)
        last = np.append(t_ns[1:] != t_ns[:-1], True)  # of several values in one instant
        t_ns, state = t_ns[last], state[last]
        changed = np.append(True, state[1:] != state[:-1])
        return States(t_ns[changed], state[changed])


def in_order(t_ns: Ints, shift: Ints) -> Ints:
    """`t_ns + shift` (n,), but instants that rise go on rising: where two would meet, they meet half-way."""
    moved = t_ns + shift
    if len(t_ns) > 1:
        meet, half = shift[:-1] > shift[1:], (t_ns[:-1] + t_ns[1:]) // 2
        moved[:-1] = np.where(meet, np.minimum(moved[:-1], half), moved[:-1])
        moved[1:] = np.where(meet, np.maximum(moved[1:], half + 1), moved[1:])
    return moved


def in_turn(t_ns: Sequence[Ints], moved: Sequence[Ints], late_ns: int) -> list[Ints]:
    """The instants `moved` of several signals of one log, but those logged at least `late_ns` apart, `t_ns`, keep their order:
    what is logged at most so late cannot have come before what was logged so much earlier. Where two would change places they
    meet half-way."""
    logged, wanted = np.concatenate(t_ns), np.concatenate(moved)
    order = np.argsort(logged, kind="stable")
    logged, wanted = logged[order], wanted[order]
    latest, earliest = np.maximum.accumulate(wanted), np.minimum.accumulate(wanted[::-1])[::-1]
    floor = np.append(np.int64(-FAR), latest)[np.searchsorted(logged, logged - late_ns, "right")]
    ceiling = np.append(earliest, np.int64(FAR))[np.searchsorted(logged, logged + late_ns, "left")]
    kept = np.empty_like(wanted)
    kept[order] = (np.maximum(wanted, floor) + np.minimum(wanted, ceiling)) // 2
    found = np.split(kept, np.cumsum([len(one) for one in t_ns])[:-1])
    return [np.maximum.accumulate(one - np.arange(len(one))) + np.arange(len(one)) for one in found]


def first_time(reader, table: SignalsTable, where: Where) -> int:  # type: ignore[no-untyped-def]
    """The time of the first row, in ns as in the file. Raises `ReadingsError` where there is none."""
    for t_ns, _, _ in _pieces(reader, table, where, ()):
        if len(t_ns):
            return int(t_ns[0])
    where.refuse(None, "", "the log has no rows", "empty-recording")


def read_log(reader, table: SignalsTable, where: Where) -> dict[Key, States]:  # type: ignore[no-untyped-def]
    """Every mapped signal of a log. `reader` is a `sources.formats.Reader`.

    Raises `ReadingsError`: a time that goes back, a word that is not declared, a column or a name of a signal that is not there.
    """
    held = table.form.gap_ns if table.rows_are == "samples" else None
    found = {(kind, digital.name): _Signal(held) for kind, digital in table.signals}
    columns = [table.name_column, table.value_column] if table.layout == "long" else [d.column for _, d in table.signals]
    last_ns: int | None = None
    names: set[str] = set()
    for t_ns, cells, where_here in _pieces(reader, table, where, tuple(dict.fromkeys(c for c in columns if c))):
        _not_falling(t_ns, last_ns, where_here)
        last_ns = int(t_ns[-1]) if len(t_ns) else last_ns
        if table.layout == "long":
            tags, words = cells[table.name_column or ""]
            names.update(words)
        for kind, digital in table.signals:
            key = (kind, digital.name)
            if table.layout == "long":
                mine = np.flatnonzero(np.isin(tags, [code for code, word in enumerate(words) if word == digital.column]))
                states = _states(cells[table.value_column or ""], mine, digital, table, where_here)
            else:
                mine = np.arange(len(t_ns))
                states = _states(cells[digital.column], mine, digital, table, where_here)
                if (states == NOTHING).any():  # an empty cell of a log of changes says nothing of that signal
                    mine, states = mine[states != NOTHING], states[states != NOTHING]
            found[key].add(t_ns[mine], states)
    if last_ns is None:
        where.refuse(None, "", "the log has no rows", "empty-recording")
    if table.layout == "long":
        _some_of_each(table, names, found, where)
    return {key: signal.states(last_ns) for key, signal in found.items()}


def silent_signals(table: SignalsTable, found: Mapping[Key, States]) -> list[str]:
    """The signals of which the log has no row."""
    return [digital.name for kind, digital in table.signals if not len(found[kind, digital.name].t_ns)]


def _pieces(reader, table: SignalsTable, where: Where, columns: tuple[str, ...]) -> Iterator[tuple]:  # type: ignore[no-untyped-def,type-arg]
    """Times (n,) as in the file, the wanted columns as codes (n,) and words, and where they stand."""
    form = table.form
    time = form.time_column or ""
    asked = [(time, "time"), *((column, "signals") for column in columns)]
    all_there([(column, f"tables.{table.name}.{key}") for column, key in asked], reader.columns, where)
    wanted = {time: "time", **dict.fromkeys(columns, "text")}
    turns, before = Turns.of(form, f"tables.{table.name}"), None
    for begin, batch in reader.tables(wanted):
        here = Where(where.path, begin, reader.line)
        read = dict(zip(batch.schema.names, batch.columns, strict=True))
        t_ns = times.to_ns(read[time], time, form, here, f"tables.{table.name}.time")
        if turns is not None and len(t_ns):
            raw = t_ns
            t_ns, before = turns.add(raw, begin, before, here), int(raw[-1])
        yield t_ns, {column: _words(read[column]) for column in columns}, here


def _words(column: pa.Array) -> tuple[NDArray[np.int32], list[str]]:
    """Codes (n,) into a list of words; an empty cell is the empty word, numbers and truth values are as they are written."""
    if pa.types.is_boolean(column.type):
        column = column.cast(pa.int8())
    if not pa.types.is_dictionary(column.type):
        column = column.cast(pa.string()).dictionary_encode()
    words = [str(word) for word in column.dictionary.to_pylist()]
    indices = column.indices
    if indices.null_count:
        words.append("")
        indices = indices.cast(pa.int32()).fill_null(len(words) - 1)
    return plain(indices), words


def _states(
    cells: tuple[NDArray[np.int32], list[str]], rows: Ints, digital: Digital, table: SignalsTable, where: Where
) -> NDArray[np.int8]:
    """The states (k,) that the cells of some rows say."""
    codes, words = cells
    meant = np.array([_state(word, digital, table) for word in words], np.int8)
    states = meant[codes[rows]]
    if (wrong := states == WRONG).any():
        row = int(rows[int(np.argmax(wrong))])
        word, values = words[codes[row]], table.form
        declared = f"on is {allowed_words(values.on)}, off is {allowed_words(values.off)}"
        said = f"{shown(digital.column)} is {shown(word)}" if word else f"the cell of {shown(digital.column)} is empty"
        hint = "no whole number has that bit" if digital.bit is not None else declared
        if digital.equals is not None:
            hint = f"no channel has that number; declared are {allowed_words(map(str, digital.among))}"
        where.refuse(row, f"tables.{table.name}.values", f"{said}, which is not declared; {hint}; `unknown` may be meant")
    return states


def _state(word: str, digital: Digital, table: SignalsTable) -> int:
    form = table.form
    if word in table.unknown:
        return NOT_KNOWN
    if not word and table.layout == "wide" and table.rows_are == "changes" and word not in (*form.on, *form.off):
        return NOTHING
    if digital.equals is not None:
        number = int(word) if word.strip().isdecimal() else None
        return WRONG if number not in digital.among else ON if number == digital.equals else OFF
    if digital.bit is not None:
        if not word.strip().isdecimal():
            return WRONG
        on = bool(int(word) >> digital.bit & 1)
    elif word in form.on or word in form.off:
        on = word in form.on
    else:
        return WRONG
    return ON if on != digital.inverted else OFF


def _not_falling(t_ns: Ints, last_ns: int | None, where: Where) -> None:
    """Refuse a time before that of the row before; several signals may change in one instant."""
    before = np.concatenate(([t_ns[0] if last_ns is None else last_ns], t_ns[:-1])) if len(t_ns) else t_ns
    if (back := t_ns < before).any():
        index = int(np.argmax(back))
        said = f"a time {seconds(int(before[index] - t_ns[index]))} before that of the row before; times must not go back"
        where.refuse(index, "time", said, "unsorted-time")


def _some_of_each(table: SignalsTable, names: set[str], found: Mapping[Key, _Signal], where: Where) -> None:
    """A word that is nowhere in the log, and near one that is, is misspelt; another signal may simply never have changed."""
    mapped = {digital.column for _, digital in table.signals}
    for _, digital in table.signals:
        if digital.column not in names and (near := nearest(digital.column, names - mapped)):
            said = f"no row has the name {shown(digital.column)}; did you mean {shown(near)}?"
            where.refuse(None, f"tables.{table.name}.signals.{digital.name}", said, "missing-column")
