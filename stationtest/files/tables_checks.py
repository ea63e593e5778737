"""What must hold in a recording of several tables: what each kind of table may say, and one way from clock to clock."""

from __future__ import annotations

from collections.abc import Iterator

from stationtest.files.match_checks import numbered_problems
from stationtest.files.names import Names
from stationtest.files.paths import Folder
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.tables_fields import LoggedFields, RecordingFileFields, TableFields
from stationtest.files.time_fields import time_problems
from stationtest.files.words import listed
from stationtest.model.station import LANGUAGE

Told = tuple[tuple[str | int, ...], str, str]

_TRUTH = ("truth", "target", "specimen", "set_", "item", "conditions", "empty")
_DIALECT = (
    "file", "kind", "clock", "time", "unit", "zone", "wraps_at", "date", "separator", "decimal", "encoding", "skip_lines",
    "units_line",
)  # fmt: skip
_OWN: dict[str, tuple[str, ...]] = {
    "readings": (*_DIALECT, *_TRUTH, "sensor", "rows_are", "gap", "every"),
    "signals": (
        *_DIALECT, "layout", "rows_are", "gap", "resolution", "name", "value", "signals", "coded", "match", "values", "window",
    ),
    "presentations": (*_DIALECT, *_TRUTH, "sensor", "start", "end", "within", "void", "values"),
}  # fmt: skip


def problems(fields: RecordingFileFields, names: Names, folder: Folder, path: str) -> Iterator[Told]:
    """The path of a key, what is wrong with it, and the code. `path` is the file's, relative to the folder."""
    if fields.language != LANGUAGE:
        yield ("language",), f"this version reads language {LANGUAGE}; found {fields.language}", "wrong-value"
    for name, table in fields.tables.items():
        for loc, message, code in _table_problems(table, names, folder, path):
            yield ("tables", name, *loc), message, code
    if fields.events and (problem := folder.problem(folder.relative(fields.events, path))):
        yield ("events",), *problem
    kinds = {name: table.what for name, table in fields.tables.items()}
    readings = [name for name, kind in kinds.items() if kind == "readings"]
    truths = [name for name, kind in kinds.items() if kind == "presentations"]
    if not readings:
        message = "no table holds the readings of a sensor; one of them says `sensor: NAME`"
        yield ("tables",), message, "missing-key"
    for name in readings[1:]:
        yield ("tables", name), f"a recording has one table of readings, and `{readings[0]}` is one", "contradiction"
    for name in truths[1:]:
        yield ("tables", name), f"a recording has one table of presentations, and `{truths[0]}` is one", "contradiction"
    for name in readings[:1]:
        target = fields.tables[name].target
        if target and truths:
            message = f"what was presented stands either in a column here or in the table `{truths[0]}`"
            yield ("tables", name, "target"), message, "contradiction"
        if not target and not truths:
            message = "nothing says what was presented: a column `target` here, or a table of `kind: presentations`"
            yield ("tables", name), message, "missing-key"
    yield from _twice(fields)
    clock_problems = list(_clock_problems(fields))
    yield from clock_problems
    truth = truths[0] if truths else None
    if readings and truth and not clock_problems and fields.clock_of(truth) not in _related(fields, fields.clock_of(readings[0])):
        message = (
            f"the readings are on the clock `{fields.clock_of(readings[0])}`, this table on `{fields.clock_of(truth)}`, "
            "and no offset is stated, "
            "so nobody can say which readings are whose"
        )
        yield ("tables", truth), message, "contradiction"


def _table_problems(table: TableFields, names: Names, folder: Folder, path: str) -> Iterator[Told]:
    kind, own = table.what, _OWN[table.what]
    for key in sorted(table.model_fields_set):
        if key not in own:
            message = f"a table of {kind} has no such key; allowed {listed(k.rstrip('_') for k in own)}"
            yield (key.rstrip("_"),), message, "unknown-key"
    problem = folder.problem(folder.relative(table.file, path))
    if problem:
        yield ("file",), *problem
    if table.unit is not None:
        for key, message, code in time_problems(table.unit, table.zone, table.wraps_at, table.date):
            yield (key,), message, code
    elif table.zone or table.wraps_at or table.date:
        yield ("unit",), "this key is missing; zone, wraps_at and date stand beside the unit that they belong to", "missing-key"
    if table.separator == "comma" and table.decimal == "comma":
        yield ("decimal",), "a comma cannot separate columns and decimals in one table", "contradiction"
    words: dict[str, str] = {}
    for role in ("on", "off", "unknown"):
        for word in getattr(table.values, role):
            if words.setdefault(word, role) != role:
                yield ("values", role), f"the word `{word}` stands under `{words[word]}` already", "contradiction"
    if kind != "presentations" and table.time is None:
        yield ("time",), "this key is missing; it names the column of the time", "missing-key"
    yield from {"readings": _readings_problems, "signals": _signals_problems, "presentations": lambda *_: iter(())}[kind](
        table, names
    )


def _readings_problems(table: TableFields, names: Names) -> Iterator[Told]:
    if table.sensor is not None and table.sensor not in names.sensor:
        near = nearest(table.sensor, names.sensor)
        hint = f"; did you mean `{near}`?" if near else ""
        message = f"there is no sensor of this name{hint}; found {table.sensor}; allowed {allowed_words(names.sensor)}"
        yield ("sensor",), message, "unknown-name"
    if table.rows_are == "changes":
        yield ("rows_are",), "readings are samples: a sensor does not write changes only", "contradiction"
    if table.gap is None:
        message = "this key is missing; it says from which step on readings are missing, such as longer than 3 ms"
        yield ("gap",), message, "missing-key"
    if table.gap and table.every and table.gap < table.every:
        yield ("gap",), "a gap cannot be shorter than the time from one reading to the next (every)", "contradiction"


def _signals_problems(table: TableFields, names: Names) -> Iterator[Told]:
    yield from numbered_problems(table.coded, table.match, names.channel, dict.fromkeys(table.signals, "`signals`"))
    if not (table.signals or table.coded or table.match):
        message = "this key is missing; it maps inputs, outputs and channels of the station to what they are called in this log"
        yield ("signals",), message, "missing-key"
    if table.rows_are is None:
        message = "this key is missing; rows are `samples` (a value holds until the next row) or `changes`"
        yield ("rows_are",), message, "missing-key"
    if table.rows_are == "samples" and table.gap is None:
        yield ("gap",), "this key is missing; a sample holds until the next row, at most this long", "missing-key"
    if table.rows_are == "changes" and table.gap is not None:
        yield ("gap",), "a log of changes has no gaps: a value holds until the next change of that signal", "contradiction"
    for key in ("name", "value"):
        if table.layout == "long" and getattr(table, key) is None:
            yield (key,), f"this key is missing; a long table has a column that holds the {key} of a signal", "missing-key"
        if table.layout == "wide" and getattr(table, key) is not None:
            yield (key,), "a wide table has a column for each signal; `layout: long` may be meant", "contradiction"
    seen: dict[tuple[str, int | None], str] = {}
    each = [(("signals", name), name, given) for name, given in table.signals.items()]
    if table.coded is not None:
        each += [(("coded", "lines"), f"line {number}", line) for number, line in enumerate(table.coded.lines, 1)]
        each += [(("coded", "strobe"), "the strobe", table.coded.strobe)] if table.coded.strobe else []
    for loc, name, given in each:
        column = (given.from_, given.bit) if isinstance(given, LoggedFields) else (given, None)
        first = seen.setdefault(column, name)
        if first != name:
            yield loc, f"`{first}` is read from `{column[0]}` too", "contradiction"


def _twice(fields: RecordingFileFields) -> Iterator[Told]:
    seen: dict[str, str] = {}
    for name, table in fields.tables.items():
        for signal in table.signals:
            first = seen.setdefault(signal, name)
            if first != name:
                yield ("tables", name, "signals", signal), f"this signal is in the table `{first}` already", "contradiction"


def _clock_problems(fields: RecordingFileFields) -> Iterator[Told]:
    used = {fields.clock_of(name) for name in fields.tables}
    related: dict[str, str] = {}

    def root_of(clock: str) -> str:
        while clock in related:
            clock = related[clock]
        return clock

    misspelt = set()
    for table, given in fields.tables.items():
        near = nearest(given.clock, fields.clocks) if given.clock is not None and given.clock not in fields.clocks else None
        if near is not None and near not in used:
            misspelt.add(near)
            said = f"there is no clock of this name; did you mean `{near}`?; found {given.clock}"
            yield ("tables", table, "clock"), said, "unknown-name"
    for name, clock in fields.clocks.items():
        for loc, word in (((), name), (("to",), clock.to)):
            if word in misspelt:
                continue
            if word not in used and word not in fields.clocks:
                near = nearest(word, used)
                hint = f"; did you mean `{near}`?" if near else ""
                yield ("clocks", name, *loc), f"no table has a clock of this name{hint}; found {word}", "unknown-name"
            elif loc == () and word not in used:
                message = f"no table has this clock, so it has no first row to count from; found {word}"
                yield ("clocks", name), message, "unknown-name"
        if root_of(name) == root_of(clock.to):
            yield ("clocks", name, "to"), f"`{name}` and `{clock.to}` are related already", "contradiction"
        else:
            related[root_of(name)] = root_of(clock.to)


def _related(fields: RecordingFileFields, clock: str) -> set[str]:
    found, waiting = {clock}, [clock]
    while waiting:
        here = waiting.pop()
        pairs = [(name, relation.to) for name, relation in fields.clocks.items()]
        for a, b in [*pairs, *((b, a) for a, b in pairs)]:
            if a == here and b not in found:
                found.add(b)
                waiting.append(b)
    return found
