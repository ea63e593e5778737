"""What was understood of a recording of several tables: each table, how it is written, and how its clock lies to the others."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from stationtest.commands.turns_told import starts_again
from stationtest.files.words import drift_text, duration_text, listed
from stationtest.model.recording_form import RecordingForm
from stationtest.model.recording_tables import ClockRelation, ReadingsTable, SignalsTable, Table, TruthTable

if TYPE_CHECKING:
    from stationtest.sources.several_tables import TablesRecording

ROWS = 3


def lines(recording: TablesRecording) -> Iterator[str]:
    """Indented lines, but for the first rows of the readings."""
    tables = recording.tables
    yield f"{tables.path}: {len(tables.tables)} tables, on the clock {tables.readings.clock} of {tables.readings.name}"
    for table in tables.tables:
        yield f"  {table.name}: {table.path}, {_dialect(recording, table)}"
        if isinstance(table, ReadingsTable):
            yield from _readings(recording, table)
        elif isinstance(table, SignalsTable):
            yield from _signals(recording, table)
        else:
            yield from _truth(recording, table)
    for relation in tables.clocks:
        yield f"  {_relation(relation)}"
    for note in recording.notes:
        yield f"  {note}"


def _dialect(recording: TablesRecording, table: Table) -> str:
    facts = recording.reader_for(table).facts
    return ", ".join(f"{name} {value}" for name, value in facts.items()) or "Parquet"


def _time(form: RecordingForm, clock: str) -> str:
    zone = f", zone {form.zone}" if form.zone else ""
    return f"in {form.time_in}{starts_again(form)}{zone}, clock {clock}"


def _readings(recording: TablesRecording, table: ReadingsTable) -> Iterator[str]:
    form = recording.form
    rows, gaps, longest_ns = recording.steps()
    every, gap = duration_text(form.every_ns or 0), duration_text(form.gap_ns or 0)
    begins = f"; begins {recording.origin}" if recording.origin else ""
    yield f"    time: column {form.time_column} {_time(form, table.clock)}{begins}"
    missing = f"{gaps} gaps, the longest {duration_text(longest_ns)}" if gaps else "no gap"
    yield f"    {rows} rows, a reading every {every}, a gap from {gap} on: {missing}"
    for sensor in recording.layout.sensors:
        pairs = listed(f"{band} from {column}" for band, column in zip(sensor.bands, sensor.columns, strict=True))
        yield f"    sensor {sensor.name}: {pairs}"


def _signals(recording: TablesRecording, table: SignalsTable) -> Iterator[str]:
    form = table.form
    names = f", names in {table.name_column}, values in {table.value_column}" if table.layout == "long" else ""
    steps = f"in steps of {duration_text(table.resolution_ns)}"
    yield f"    time: column {form.time_column} {_time(form, table.clock)}, {steps}{names}"
    held = "each holds until the next change of that signal"
    if table.rows_are == "samples":
        held = f"each holds until the next row, at most {duration_text(form.gap_ns or 0)}"
    unknown = f", not known is {listed(map(repr, table.unknown), 'or')}" if table.unknown else ""
    yield f"    {table.rows_are}: {held}; on is {' or '.join(form.on)}, off is {' or '.join(form.off)}{unknown}"
    logged = recording.logged()
    for kind, signal in table.signals:
        bit = f" bit {signal.bit}" if signal.bit is not None else ""
        found = logged[kind, signal.name]
        first = f", first on at {found.on[0, 0] / 1e9:.6f} s" if len(found.on) else ""
        inverted = " inverted" if signal.inverted else ""
        yield f"    {kind} {signal.name} from {signal.column}{bit}{inverted}: on {len(found.on)} times{first}"


def _truth(recording: TablesRecording, table: TruthTable) -> Iterator[str]:
    found = recording.listed()
    assert found is not None
    form = table.form
    yield f"    time: from {form.start} to {form.end} {_time(form, table.clock)}, within {duration_text(table.within_ns)}"
    words = found.tables["target"]
    counts = {name: int((found.codes["target"] == code).sum()) for code, name in enumerate(words)}
    yield f"    {len(found)} presentations: {listed(f'{number} {name}' for name, number in counts.items())}"
    for row in range(min(ROWS, len(found))):
        name = words[found.codes["target"][row]]
        yield f"    row {row + 1}: {name}, {found.start_ns[row] / 1e9:.6f} s to {found.end_ns[row] / 1e9:.6f} s"
    yield from (f"    {said}" for said in recording.listed_elsewhere(found))


def _relation(relation: ClockRelation) -> str:
    text = f"clock {relation.clock} to {relation.to}: offset {duration_text(relation.offset_ns)} at its first row"
    text += f", drift {drift_text(relation.drift_e12)}, within {duration_text(relation.within_ns)}"
    return text + (f", found by {relation.found_by}" if relation.found_by else "")
