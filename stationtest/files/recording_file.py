"""recordings/NAME.recording.yaml to `model.RecordingTables`: every problem it has, or its tables and clocks.

What is in the tables is checked when they are read.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from stationtest.errors import FileProblems, Problem
from stationtest.files import tables_checks
from stationtest.files.field_problems import locate, typed
from stationtest.files.names import Names
from stationtest.files.paths import Folder, open_file
from stationtest.files.recording_model import numbers, truth_columns
from stationtest.files.tables_fields import LoggedFields, RecordingFileFields, TableFields
from stationtest.files.time_fields import turn_ns
from stationtest.files.tree import MAX_BYTES, Hole, Map, Tree, parse
from stationtest.model.digital import Digital
from stationtest.model.match_number import Coded
from stationtest.model.recording_form import RecordingForm
from stationtest.model.recording_tables import ClockRelation, ReadingsTable, RecordingTables, SignalsTable, Table, TruthTable
from stationtest.model.station import Station
from stationtest.place import Place


def names_from(station: Station) -> Names:
    """What a station declares, for typing a file of its own."""
    return Names(
        target=tuple(target.name for target in station.targets),
        channel=tuple(channel.name for channel in station.channels),
        sensor=tuple(sensor.name for sensor in station.sensors),
        input=station.inputs,
        output=tuple(output.name for output in station.outputs),
        conditions=dict(station.conditions),
        travel=station.travel is not None,
    )


def opened(folder: Folder, path: str, station: Station) -> RecordingTables:
    """The tables of the recording at a path relative to the folder. FileProblems holds every problem of the file."""
    shown = folder.join(path)
    try:
        with open_file(shown) as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        said_ = f"the file cannot be opened: {(error.strerror or '').lower()}"
        raise FileProblems(Problem(Place(shown, 0, 0), "", said_, "unreadable")) from error
    found, problems = read(parse(data, shown), path, folder, names_from(station))
    if found is None:
        raise FileProblems(problems)
    return found


def read(tree: Tree, path: str, folder: Folder, names: Names) -> tuple[RecordingTables | None, list[Problem]]:
    """The typed tables, or None and what is wrong."""
    problems, root = list(tree.problems), tree.root
    if not isinstance(root, Map):
        if root is not None and not isinstance(root, Hole):
            message = "a recording of several tables is a mapping that begins with `tables:`"
            problems.append(Problem(tree.place(root), "", message, "wrong-value"))
        return None, problems
    fields, found = typed(RecordingFileFields, root, tree.path, context=names)
    problems += found
    if fields is None:
        return None, problems
    for loc, message, code in tables_checks.problems(fields, names, folder, path):
        _, at, words = locate(root, loc)
        problems.append(Problem(Place(tree.path, at.line, at.column), ".".join(words), message, code))
    return (None if problems else _model(fields, root, tree, names, folder, path)), problems


def _model(
    fields: RecordingFileFields, root: Map, tree: Tree, names: Names, folder: Folder, path: str
) -> RecordingTables:  # fmt: skip
    made: dict[str, Table] = {}
    for name, table in fields.tables.items():
        place = tree.place(next(key for key in root["tables"] if key == name))
        form = _form(name, table, _times(fields, name), place)
        common: dict[str, Any] = {
            "name": name, "path": folder.relative(table.file, path), "form": form, "clock": fields.clock_of(name), "place": place,
        }  # fmt: skip
        if table.what == "readings":
            made[name] = ReadingsTable(sensor=table.sensor, **common)
        elif table.what == "presentations":
            made[name] = TruthTable(within_ns=table.within, **common)
        else:
            coded, numbered = _numbered(name, table, names)
            common["form"] = replace(form, coded=coded)
            made[name] = SignalsTable(
                signals=(*((_kind(signal, names), digital) for signal, digital in _digitals(table.signals)), *numbered),
                layout=table.layout, rows_are=table.rows_are or "changes", name_column=table.name, value_column=table.value,
                unknown=table.values.unknown, resolution_ns=table.resolution, **common,
            )  # fmt: skip
    return RecordingTables(
        path=path,
        readings=next(table for table in made.values() if isinstance(table, ReadingsTable)),
        signals=tuple(table for table in made.values() if isinstance(table, SignalsTable)),
        truth=next((table for table in made.values() if isinstance(table, TruthTable)), None),
        clocks=tuple(
            ClockRelation(
                clock=name, to=clock.to, offset_ns=clock.offset, within_ns=clock.within, drift_e12=clock.drift,
                found_by=clock.found_by, place=tree.place(next(key for key in root["clocks"] if key == name)),
            )
            for name, clock in fields.clocks.items()
        ),
        order=tuple(made),
        events_path=folder.relative(fields.events, path) if fields.events else None,
        place=Place(tree.path, root.line, root.column),
    )  # fmt: skip


def _times(fields: RecordingFileFields, name: str) -> dict[str, Any]:
    """How the times of a table are written: as it states; else as the first table of its clock that does; else in seconds."""
    clock, own = fields.clock_of(name), fields.tables[name]
    others = [table for other, table in fields.tables.items() if fields.clock_of(other) == clock and table.unit]
    stated = own if own.unit or not others else others[0]
    return {
        "time_in": stated.unit or "s", "zone": stated.zone, "wraps_ns": turn_ns(stated.wraps_at, stated.unit),
        "first_date": stated.date,
    }  # fmt: skip


def _form(name: str, table: TableFields, times: dict[str, Any], place: Place) -> RecordingForm:
    form = RecordingForm(
        pattern=name,
        rows="trials" if table.what == "presentations" else "samples",
        time_column=table.time,
        every_ns=table.every,
        gap_ns=table.gap,
        on=table.values.on,
        off=table.values.off,
        window_from=table.window.from_,
        window_after_end=table.window.after_end,
        start=table.start,
        end=table.end,
        place=place,
        **times,
        **truth_columns(table),
    )
    return replace(form, sensor=None) if table.what == "readings" else form


def _numbered(name: str, table: TableFields, names: Names) -> tuple[Coded | None, list[tuple[str, Digital]]]:
    """The code of a log and its lines, and the channels of a signal that holds the number of the match."""
    coded, match = None, table.match
    found: list[tuple[str, Digital]] = []
    if table.coded is not None:
        lines = [digital for _, digital in _digitals({f"{name} line {n}": one for n, one in enumerate(table.coded.lines, 1)})]
        strobe = [digital for _, digital in _digitals({f"{name} strobe": table.coded.strobe})] if table.coded.strobe else []
        found += [("line", digital) for digital in (*lines, *strobe)]
        coded = Coded(
            lines=tuple(lines), channels=numbers(table.coded, names.channel), code=table.coded.code, none=table.coded.none,
            strobe=strobe[0] if strobe else None,
        )  # fmt: skip
    if match is not None:
        stated = numbers(match, names.channel)
        among = (match.none, *(number for _, number in stated))
        found += [
            ("channel", Digital(name=channel, column=match.from_, equals=number, among=among)) for channel, number in stated
        ]
    return coded, found


def _digitals(signals: Mapping[str, Any]) -> Iterable[tuple[str, Digital]]:
    for name, given in signals.items():
        if isinstance(given, LoggedFields):
            yield name, Digital(name=name, column=given.from_, bit=given.bit, inverted=given.inverted)
        else:
            yield name, Digital(name=name, column=given)


def _kind(signal: str, names: Names) -> str:
    return "channel" if signal in names.channel else "input" if signal in names.input else "output"
