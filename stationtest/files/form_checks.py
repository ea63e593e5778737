"""What must hold within one entry under `recordings:`."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from stationtest.files.match_checks import numbered_problems
from stationtest.files.paths import Folder
from stationtest.files.recording_fields import RecordingFields
from stationtest.files.time_fields import TimeFields, time_problems

Told = tuple[tuple[str, ...], str, str]


def form_problems(form: RecordingFields, folder: Folder, channels: Collection[str]) -> Iterator[Told]:
    """The path of a key inside the entry, what is wrong with it, and the code. `channels` are the names of the station's."""
    if form.coded is not None and form.rows == "trials":
        yield ("coded",), "lines in a code are decoded from their times, and a table of trials has none", "contradiction"
    yield from numbered_problems(form.coded, form.match, channels, dict.fromkeys(form.channels, "a column of its own"))
    yield from _samples(form) if form.rows == "samples" else _trials(form)
    for loc, time in (
        (("time",), form.time),
        (("presentations", "time"), form.presentations.time if form.presentations else None),
    ):
        if time is not None:
            yield from _zone(loc, time)
    for dialect, loc in ((form, ()), *(((form.presentations, ("presentations",)),) if form.presentations else ())):
        if dialect.separator == "comma" and dialect.decimal == "comma":
            yield (*loc, "decimal"), "a comma cannot separate columns and decimals in one table", "contradiction"
    both = sorted(set(form.on) & set(form.off))
    if both:
        yield ("off",), f"the word `{both[0]}` stands under `on` and under `off`", "contradiction"
    yield from _columns(form)
    yield from _by_sensor(form)
    for loc, path in (
        (("presentations", "file"), form.presentations and form.presentations.file),
        (("gate", "list"), form.gate and form.gate.list_),
        (("events",), form.events),
    ):
        if path:
            problem = folder.problem(folder.relative(path, "")) if "*" not in path else None
            if problem:
                yield loc, *problem


def _samples(form: RecordingFields) -> Iterator[Told]:
    if form.time is None or form.time.column is None:
        yield ("time",), "this key is missing; samples have a time: {column: NAME, in: UNIT}", "missing-key"
    for key, why in (
        ("every", "how long the last reading holds"),
        ("gap", "the longest step between two readings that is no gap"),
    ):
        if getattr(form, key) is None:
            yield (key,), f"this key is missing; it says {why}, such as {'1 ms' if key == 'every' else '5 ms'}", "missing-key"
    if form.every and form.gap and form.gap < form.every:
        yield ("gap",), "a gap cannot be shorter than the time from one reading to the next (every)", "contradiction"
    if form.presentations and form.target:
        yield (
            ("target",),
            "what was presented stands either in a column here or in the second table under `presentations:`",
            "contradiction",
        )
    if form.presentations and form.gate:
        yield ("gate",), "presentations come either from a second table or from a gate and its list", "contradiction"
    if form.gate and form.target is None:
        yield ("target",), "this key is missing; it names the column of the list that says what was put through", "missing-key"
    if not (form.presentations or form.target or form.gate):
        yield (
            ("target",),
            "this key is missing; what was presented comes from a column (target), a second table (presentations) or a gate",
            "missing-key",
        )
    if form.gate and form.gate.input not in form.inputs:
        yield (
            ("gate", "input"),
            f"the gate's input `{form.gate.input}` has no column under `inputs:` of this recording",
            "contradiction",
        )


def _trials(form: RecordingFields) -> Iterator[Told]:
    for key in ("time", "every", "gap", "presentations", "gate", "events"):
        if getattr(form, key) is not None:
            yield (key,), "a table of trials has no times; leave the line out, or say rows: samples", "contradiction"
    if form.target is None:
        yield ("target",), "this key is missing; it names the column that says what was presented", "missing-key"


def _zone(loc: tuple[str, ...], time: TimeFields) -> Iterator[Told]:
    for key, message, code in time_problems(time.in_, time.zone, time.wraps_at, time.date):
        yield (*loc, key), message, code


def _by_sensor(form: RecordingFields) -> Iterator[Told]:
    """Columns of truth for each sensor stand in the rows of a stream, beside a target for each sensor."""
    message = ""
    if form.rows == "trials":
        message = "a row of a table of trials is one presentation before one sensor: name one column, and the column `sensor`"
    elif form.gate:
        message = "the list of a gate has one column for this, so it cannot be stated for each sensor"
    elif form.sensor:
        message = "the column `sensor` says whose the truth of a row is, so columns for each sensor cannot say it as well"
    elif not isinstance(form.target, Mapping):
        message = "this can be stated for each sensor only where `target` is, such as {lid: COLUMN, tin: COLUMN}"
    for key, said in form.columns_of_truth().items():
        if not isinstance(said, Mapping):
            continue
        if message:
            yield (key,), message, "contradiction"
            continue
        for sensor in said:
            if isinstance(form.target, Mapping) and sensor not in form.target:
                said_ = f"`target` names no column for sensor {sensor}, so nothing is presented to it"
                yield (key, sensor), said_, "contradiction"


def _columns(form: RecordingFields) -> Iterator[Told]:
    station = {part if isinstance(part, str) else part.column: f"{section}.{name}"
               for section in ("outputs", "channels", "inputs") for name, part in getattr(form, section).items()}  # fmt: skip
    for key, said in (form.columns_of_truth() | {"sensor": form.sensor}).items():
        named = {(key, sensor): one for sensor, one in said.items()} if isinstance(said, Mapping) else {(key,): said}
        for loc, column in named.items():
            if column in station:
                message = f"truth cannot be taken from the station's own signals; found column {column}, "
                yield loc, message + f"which is {station[column]}", "contradiction"
    seen: dict[tuple[str, int | None], str] = {}
    signals = [((section, name), name, digital) for section in ("inputs", "channels", "outputs") for name, digital in
               getattr(form, section).items()]  # fmt: skip
    if form.coded is not None:
        signals += [(("coded", "lines"), f"line {number}", line) for number, line in enumerate(form.coded.lines, 1)]
        signals += [(("coded", "strobe"), "the strobe", form.coded.strobe)] if form.coded.strobe else []
    for loc, name, digital in signals:
        column = (digital, None) if isinstance(digital, str) else (digital.column, digital.bit)
        first = seen.setdefault(column, name)
        if first != name:
            yield loc, f"`{first}` is read from the same column {column[0]}", "contradiction"
