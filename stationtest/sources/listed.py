"""Presentations with their times from beside the stream: a second table, or the on-times of a gate input and a list.

A list says what was put through, the gate only when. Their numbers must be equal; nothing is ever shifted to fit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from stationtest.errors import Problem, ReadingsError
from stationtest.files.words import duration_text, shown
from stationtest.model.case import Suite
from stationtest.model.parts import ReadingFormatPart, resolve
from stationtest.model.recording_form import Gate, RecordingForm
from stationtest.signals.batch import TRUTH, UNKNOWN, Batch, Ints, Listed
from stationtest.sources import times
from stationtest.sources.checks import Where, all_there, seconds, switches, told_together
from stationtest.sources.gate_matches import matched
from stationtest.sources.layout import names_of
from stationtest.sources.turns import Turns
from stationtest.sources.units_line import agrees

if TYPE_CHECKING:
    from stationtest.sources.formats import Reader


MOST_TOLD = 20  # of one kind of mistake in one table; a wrong column would fill the screen


class Recording(Protocol):
    """What is asked here of the recording that a list lies beside."""

    suite: Suite
    path: str
    form: RecordingForm
    formats: Mapping[str, ReadingFormatPart]
    sensors: tuple[str, ...]
    origin_ns: int

    def gate_pass(self, name: str) -> Iterator[Batch]:
        """Times and one input only."""


def from_table(recording: Recording) -> Listed:
    """The second table of a recording, sorted by start, then sensor.

    Raises `ReadingsError`: a row without target, an end that is not after its start, and two presentations on one sensor at one
    time, with the lines of the table.
    """
    form, own = recording.form, recording.form.presentations_form
    path = beside(recording.path, form.presentations_path or "")
    if own is None:
        Where(path).refuse(None, "presentations", "the form of the second table is not stated", "missing-key")
    own = replace(own, rows="trials", time_in=own.time_in or form.time_in, zone=own.zone or form.zone, on=form.on, off=form.off)
    dates = times.ISO, times.TIME_OF_DAY
    if (own.time_in in dates) != (form.time_in in dates):
        said = f"the recording's times are in {form.time_in}, the table's in {own.time_in}; both must be of one clock"
        Where(path).refuse(None, "presentations.time.in", said, "bad-presentation")
    return from_table_at(recording, path, own, lambda t_ns: t_ns)


def from_table_at(recording: Recording, path: str, own: RecordingForm, on_its_clock: Callable[[Ints], Ints]) -> Listed:
    """The table at a path, in a form of its own; `on_its_clock` puts the table's instants on the recording's clock."""
    reader = _opened(recording, path, own)
    table = _read(recording, path, own, reader, {"start": own.start, "end": own.end})
    start, end = (on_its_clock(table.times[role]) - recording.origin_ns for role in ("start", "end"))
    where = Where(path, 0, reader.line)
    wrong: list[Problem] = []
    for bad, role, said in (
        (table.codes["target"] < 0, "target", "the row does not say what was presented"),
        (end <= start, "end", "a presentation must end after it starts"),
    ):
        for row in np.flatnonzero(bad)[:MOST_TOLD].tolist():
            with told_together(wrong):
                where.refuse(row, f"presentations.{role}", said, "bad-presentation")
    if wrong:
        raise ReadingsError(wrong)
    sensor = table.codes.get("sensor", np.zeros(len(start), np.int32))
    _no_overlap(start, end, sensor, table.tables.get("sensor", []), where)
    order = np.lexsort((sensor, start))
    codes = {name: column[order] for name, column in table.codes.items()}
    lines = np.array([reader.line(int(row)) for row in order], np.int64)
    return Listed(path, start[order], end[order], codes, table.tables, lines, table.void[order])


def first_start(recording: Recording, path: str, own: RecordingForm) -> int:
    """The first start in a table of presentations, as in the file."""
    reader = _opened(recording, path, own)
    return int(_read(recording, path, own, reader, {"start": own.start, "end": own.end}).times["start"][0])


def from_gate(recording: Recording, gate: Gate) -> Listed:
    """On-times of the gate input, at least `shortest` long, paired in order with the rows of the list.

    An on-time that the recording begins or ends in is dropped. Where the numbers are unequal, they are matched set by set if list
    and station say what the sets are, and what does not match is presented but not known. Else they raise `ReadingsError` with
    both, the first and the last time, and the stretch whose length is most unlike the others.
    """
    path = beside(recording.path, gate.list_path)
    form = replace(recording.form, rows="trials")
    reader = _opened(recording, path, form)
    # a list names its columns as the form does, or by the plain words
    columns: dict[str, Any] = {role: getattr(form, role) or (role if role in reader.columns else None) for role in TRUTH}
    form = replace(form, **columns, conditions=tuple(pair for pair in form.conditions if pair[1] in reader.columns))
    table = _read(recording, path, form, reader, {})
    where = Where(path, 0, reader.line)
    if (empty := table.codes["target"] < 0).any():
        where.refuse(int(np.argmax(empty)), "gate.list", "the row does not say what was put through", "bad-presentation")
    on = gate_times(recording, gate)
    count = len(table.codes["target"])
    if count != len(on):
        return _by_sets(recording, gate, on, table, path, reader)
    rows = np.array([reader.line(row) for row in range(count)], np.int64)
    return Listed(path, on[:, 0] + gate.offset_ns, on[:, 1] + gate.offset_ns, table.codes, table.tables, rows, table.void)


def _by_sets(recording: Recording, gate: Gate, on: Ints, table: _Table, path: str, reader: Reader) -> Listed:
    """On-times and rows of unequal number, matched in the sets that have as many of both."""
    count, recorded = len(table.codes["target"]), {signal.name for signal in recording.form.inputs}
    edges = [kind.from_edge for kind in recording.suite.station.sets if kind.from_edge and kind.from_edge.input in recorded]
    found = None
    if edges and "set" in table.codes:
        begins = gate_times(recording, Gate(input=edges[0].input, list_path=""))[:, int(edges[0].falls)]
        said = f"{shown(gate.input)} was on {len(on)} times, {shown(path)} lists {count}"
        found = matched(on, table.codes["set"], begins, table.tables["set"], said)
    if found is None:
        Where(recording.path).refuse(None, "gate", _unequal(on, count, path, gate), "bad-presentation")
    known = found.row >= 0
    codes = {name: np.where(known, column[found.row], -1).astype(np.int32) for name, column in table.codes.items()}
    targets = list(table.tables["target"])
    if UNKNOWN not in targets:
        targets.append(UNKNOWN)
    codes["target"][~known] = targets.index(UNKNOWN)
    codes["set"] = table.codes["set"][found.set_row]
    rows = np.array([reader.line(row) for row in np.where(known, found.row, found.set_row).tolist()], np.int64)
    return Listed(
        path, on[:, 0] + gate.offset_ns, on[:, 1] + gate.offset_ns, codes, {**table.tables, "target": targets}, rows,
        table.void[found.row] & known, expected=count, notes=found.notes,
    )  # fmt: skip


def gate_times(recording: Recording, gate: Gate) -> Ints:
    """On-times (n, 2) of the gate input that are at least `shortest` long and not cut by an end of the recording."""
    gap_ns = recording.form.gap_ns or 0
    rises, falls = [], []
    on, last_ns = None, None
    for batch in recording.gate_pass(gate.input):
        signal, t = batch.digital[("input", gate.input)], batch.t_ns
        assert t is not None
        before = np.append(bool(signal[0]) if on is None else on, signal[:-1])
        rises.append(t[signal & ~before])
        earlier = np.append(t[0] if last_ns is None else last_ns, t[:-1])
        falls.append(np.minimum(t, earlier + gap_ns)[~signal & before])
        on, last_ns = bool(signal[-1]), int(t[-1])
    up, down = np.concatenate(rises), np.concatenate(falls)
    if len(down) and (not len(up) or down[0] <= up[0]):
        down = down[1:]  # on in the first row
    pairs = np.stack((up[: len(down)], down), axis=1)
    return pairs[pairs[:, 1] - pairs[:, 0] >= gate.shortest_ns]


def beside(recording: str, path: str) -> str:
    """The path of a file that belongs to a recording; `*` stands for the recording's name without its suffix."""
    return path.replace("*", PurePosixPath(recording).stem)


@dataclass(frozen=True, slots=True)
class _Table:
    """A small table that was read whole."""

    codes: Mapping[str, NDArray[np.int32]]
    tables: Mapping[str, list[str]]
    times: Mapping[str, Ints]
    void: NDArray[np.bool_]


def _opened(recording: Recording, path: str, form: RecordingForm) -> Reader:
    place = Path(recording.suite.folder) / path
    if not place.is_file():
        Where(path).refuse(None, "recordings", f"there is no file {shown(path)}; {shown(recording.path)} needs it", "no-file")
    part: ReadingFormatPart | None = next(
        (part for part in recording.formats.values() if place.suffix.lower() in part.suffixes), None
    )
    if part is None:
        Where(path).refuse(None, "recordings", f"no reading format takes files that end in {shown(place.suffix)}", "no-form")
    reader: Reader = resolve(part.reader)(place, path, form)
    agrees(reader, path, form, "presentations.time.in")
    return reader


def _read(recording: Recording, path: str, form: RecordingForm, reader: Reader, at: Mapping[str, str | None]) -> _Table:
    station, prefix = recording.suite.station, "presentations." if at else ""
    names = names_of(station, form, prefix)
    if "target" not in names:
        Where(path).refuse(None, f"{prefix}target", "the form must name the column of the target", "missing-key")
    if len(recording.sensors) > 1 and "sensor" not in names:
        said = f"the recording has {len(recording.sensors)} sensors, so each presentation must name its own"
        Where(path).refuse(None, f"{prefix}sensor", said, "missing-key")
    wanted: dict[str, str] = {}
    keys: dict[str, str] = {}
    for role, column in at.items():
        if column is None:
            Where(path).refuse(None, f"{prefix}{role}", f"the form must name the column of the {role}", "missing-key")
        wanted[column], keys[column] = "time", f"{prefix}{role}"
    for column, own in names.values():
        wanted[column], keys[column] = "text", own.key
    if form.void:
        wanted[form.void], keys[form.void] = "digital", f"{prefix}void"
    all_there(keys.items(), reader.columns, Where(path), {"": recording.form.place})
    held: dict[str, list[Any]] = {key: [] for key in (*at, *names, "void")}
    wrong: list[Problem] = []
    for begin, table in reader.tables(wanted):
        columns = dict(zip(table.schema.names, table.columns, strict=True))
        where = Where(path, begin, reader.line)
        for role, column in at.items():
            with told_together(wrong):
                held[role].append(times.to_ns(columns[column or ""], column or "", form, where, f"{prefix}time"))
        void = np.zeros(table.num_rows, np.int8)
        if form.void:
            with told_together(wrong):
                void = switches(columns[form.void], f"{prefix}void", form.void, form, where, may_be_empty=True)
        held["void"].append(void == 1)
        for role, (column, own) in names.items():
            with told_together(wrong):
                held[role].append(own.of(columns[column], column, where))
    if wrong:
        raise ReadingsError(wrong)
    if not held["target"]:
        Where(path).refuse(None, "", "the table has no rows", "empty-recording")
    whole = {key: np.concatenate(chunks) for key, chunks in held.items()}
    tables = {role: own.words for role, (_, own) in names.items()}
    turns = Turns.of(form, f"{prefix}time")
    if turns is not None and at:
        raw = whole["start"]
        whole["start"] = turns.add(raw, 0, None, Where(path, 0, reader.line))
        whole["end"] = turns.beside(whole["end"], raw, whole["start"])
    return _Table({role: whole[role] for role in names}, tables, {role: whole[role] for role in at}, whole["void"])



def _no_overlap(start: Ints, end: Ints, sensor: NDArray[np.int32], names: list[str], where: Where) -> None:
    for code in sorted(set(sensor.tolist())):
        mine = np.flatnonzero(sensor == code)
        mine = mine[np.argsort(start[mine], kind="stable")]
        if (over := start[mine][1:] < end[mine][:-1]).any():
            k = int(np.argmax(over))
            first, second = int(mine[k]), int(mine[k + 1])
            on = f" on {shown(names[code])}" if 0 <= code < len(names) else ""
            said = f"begins at {seconds(int(start[second]))}{on}, before that of line {where.line(first)} ends"
            where.refuse(second, "presentations", f"this presentation {said}, at {seconds(int(end[first]))}", "overlap")


def _unequal(on: Ints, count: int, path: str, gate: Gate) -> str:
    said = f"{shown(gate.input)} was on {len(on)} times, {shown(path)} lists {count}"
    if not len(on):
        return f"{said}; nothing is paired"
    lengths = on[:, 1] - on[:, 0]
    odd = int(np.argmax(np.abs(np.log(lengths / np.median(lengths)))))
    said += f"; the first began at {seconds(int(on[0, 0]))}, the last at {seconds(int(on[-1, 0]))}"
    usual, long = duration_text(int(np.median(lengths))), duration_text(int(lengths[odd]))
    return f"{said}; most unlike the others ({usual}) is the one at {seconds(int(on[odd, 0]))}, {long} long"


