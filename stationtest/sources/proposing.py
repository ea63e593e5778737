"""A mapping for a table that nobody declared, as YAML to paste: only what was found, and where it was a guess, a comment."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence

import numpy as np

from stationtest.files.suggest import nearest
from stationtest.files.words import drift_text, duration_text, listed
from stationtest.model.station import Sensor, Station
from stationtest.sources.looking import Column, Looked, on_and_off
from stationtest.sources.syncing import Sync
from stationtest.sources.times import TIME_OF_DAY

EPOCH = "1970-01-01"
VOID = ("void", "invalid", "ungültig", "ungueltig", "nicht werten")  # how tables call a trial that does not count; no source
PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_]*( [A-Za-z0-9_]+)*")
WORDS_OF_YAML = {"true", "false", "yes", "no", "on", "off", "null"}


def scalar(text: str) -> str:
    """A word as it stands in YAML: quoted where it could be read as anything else."""
    plain = PLAIN.fullmatch(text) and text.casefold() not in WORDS_OF_YAML
    return text if plain else json.dumps(text, ensure_ascii=False)


def entry(found: Looked, station: Station | None) -> Iterator[str]:
    """Lines of one entry under `recordings:` of station.yaml, for a stream in one table."""
    yield f"  {json.dumps(found.path, ensure_ascii=False)}:"
    for key, value in found.form.items():
        yield f"    {key}: {value}"
    time = found.time
    if found.trials:
        counted = f"{scalar(found.counter.name)} only numbers the rows" if found.counter else "no column rises from row to row"
        yield f"    rows: trials    # {counted}"
        yield from ("    " + line for line in _trials(found, station))
        yield from _sensor(found, station) if len(found.of_kind("number")) > 2 else ()  # three bands or more
        return
    if time is None:
        yield "    # no column rises from row to row, so this may be a table of trials: rows: trials"
    else:
        zone = ", zone: UTC" if time.why.endswith("without a zone") else ""
        zone += f", date: {EPOCH}" if time.unit == TIME_OF_DAY else ""
        yield f"    time: {{column: {scalar(time.column.name)}, in: {time.unit}{zone}}}    # {time.why}"
        yield f"    every: {duration_text(time.every_ns)}"
        yield f"    gap: {duration_text(time.gap_ns)}    # so far, steps are {_steps(found)}"
    yield from ("    " + line for line in _truth(found, station))
    yield from ("    " + line for line in _signals(found, station, found.of_kind("digital")))
    yield from _sensor(found, station)


def recording(
    readings: Looked, log: Looked, station: Station | None, sync: Sync | None, edges: tuple[str, str] | None
) -> Iterator[str]:  # fmt: skip
    """Lines of recordings/NAME.recording.yaml, for a sensor's log and a controller's log beside it."""
    sensor = next((one.name for one in station.sensors), None) if station and len(station.sensors) == 1 else None
    yield "tables:"
    yield "  readings:"
    yield from ("    " + line for line in _table(readings, "sensor"))
    yield f"    sensor: {scalar(sensor)}" if sensor else "    # sensor: NAME"
    yield f"    gap: longer than {duration_text(readings.time.gap_ns)}" if readings.time else "    # gap: longer than 3 ms"
    yield from ("    " + line for line in _truth(readings, station))
    yield "  log:"
    yield from ("    " + line for line in _table(log, "controller"))
    if log.time is not None and log.sampled:
        yield f"    rows_are: samples    # a row every {duration_text(log.time.every_ns)}"
        yield f"    gap: longer than {duration_text(log.time.gap_ns)}"
    else:
        yield "    rows_are: changes    # or samples, with a gap"
        if log.time is not None and log.time.grid_ns:
            yield f"    resolution: {duration_text(log.time.grid_ns)}    # all its stamps lie on this grid"
    columns = log.of_kind("digital")
    names = [column.name for column in columns]
    if log.long:
        tags, values = log.of_kind("words")[0], log.columns[-1]
        yield f"    layout: long\n    name: {scalar(tags.name)}\n    value: {scalar(values.name)}"
        names, columns = sorted(tags.counts), [values]
    yield "    signals:    # what each of them is, only you can know"
    known = [*station.inputs, *(c.name for c in station.channels), *(o.name for o in station.outputs)] if station else []
    for name in names:
        near = name if name in known else nearest(name, known)
        guessed = "" if near == name else "    # a guess"
        yield f"      {scalar(near)}: {scalar(name)}{guessed}" if near else f"      # NAME: {scalar(name)}"
    on, off = on_and_off(columns)
    other = sorted({word for column in columns for word in column.counts} - {*on, *off}) if not log.long else []
    yield f"    values: {{on: {_list(on or ['1'])}, off: {_list(off or ['0'])}{f', unknown: {_list(other)}' if other else ''}}}"
    yield "clocks:"
    if sync is None:
        yield "  # no edges were found that both logs saw: sensor: {to: controller, offset: 0 ms, within: 0 ms}"
        return
    if sync.also_ns is not None:
        yield f"  # not to be relied on: an offset of about {duration_text(sync.also_ns)} fits the edges as well"
    told = f"{sync.matched} of {sync.of} common edges, {edges[0]} and {edges[1]}" if edges else ""
    yield f"  sensor: {{to: controller, offset: {duration_text(sync.offset_ns)}, drift: {drift_text(sync.drift_e12)},"
    yield f"           within: {duration_text(sync.within_ns)}, found_by: {json.dumps(told, ensure_ascii=False)}}}"


def _table(found: Looked, clock: str) -> Iterator[str]:
    yield f"file: {json.dumps(found.path.rpartition('/')[2], ensure_ascii=False)}"
    yield f"clock: {clock}"
    yield from (f"{key}: {value}" for key, value in found.form.items())
    if found.time is not None:
        yield f"time: {scalar(found.time.column.name)}"
        yield f"unit: {found.time.unit}    # {found.time.why}"
        if found.time.why.endswith("without a zone"):
            yield "zone: UTC"
        if found.time.unit == TIME_OF_DAY:
            yield f"date: {EPOCH}"


def _steps(found: Looked) -> str:
    assert found.time is not None
    least, most = found.time.steps
    return duration_text(least) if least == most else f"{duration_text(least)} to {duration_text(most)}"


def _truth(found: Looked, station: Station | None) -> Iterator[str]:
    """The column of the target, and those that are empty wherever it is."""
    targets = {target.name for target in station.targets} if station else set()
    words = found.of_kind("words")
    target = next((column for column in words if targets & set(column.counts)), None)
    if target is None:
        yield "# which column says what was presented? target: NAME" if words else "# nothing here says what was presented"
        return
    yield f"target: {scalar(target.name)}"
    foreign = [word for word in target.counts if word and word not in targets]
    if foreign:
        yield f"empty: {_list(['', *foreign])}    # these are no targets of the station"
    bare = np.array([cell == "" or cell in foreign for cell in target.cells])
    number = 0
    for column in found.columns:
        if column is target or column.kind not in ("words", "number"):
            continue
        empty = np.array([cell == "" for cell in column.cells])
        if bare.any() and (empty == bare).all():
            yield f"specimen: {scalar(column.name)}" if not number else f"# set or item, perhaps: {scalar(column.name)}"
            number += 1


def _trials(found: Looked, station: Station | None) -> Iterator[str]:
    """The columns of a table of trials: what was presented, which part of it, what was seen, and which do not count."""
    targets = {target.name for target in station.targets} if station else set()
    words = [column for column in found.columns if column.kind in ("words", "number")]
    target = next((column for column in words if targets & set(column.counts)), None)
    if target is None:
        yield f"# which column says what was presented? target: {' or '.join(scalar(one.name) for one in words)}"
    else:
        yield f"target: {scalar(target.name)}"
        foreign = [word for word in target.counts if word not in targets]
        if foreign:
            yield f"# no targets of the station: {listed(map(scalar, foreign))}"
        parts = [column for column in words if column is not target]
        specimen = next((column for column in parts if _is_of(column, target)), None)
        if specimen is not None:
            yield f"specimen: {scalar(specimen.name)}    # a guess: each word stands with one target only"
        if left := [scalar(column.name) for column in parts if column is not specimen and column.kind == "words"]:
            yield f"# set, item or a condition, perhaps: {listed(left)}"
    columns = found.of_kind("digital")
    void = next((one for one in columns if any(word in one.name.casefold() for word in VOID)), None)
    if void is not None:
        yield f"void: {scalar(void.name)}    # a guess"
    yield from _signals(found, station, [column for column in columns if column is not void], by_last_word=True)


def _is_of(part: Column, target: Column) -> bool:
    """Whether each word of a column stands with one word of the other only, and there are more of them."""
    pairs = {(one, of) for one, of in zip(part.cells, target.cells, strict=True) if one}
    return len(target.counts) < len({one for one, _ in pairs}) == len(pairs)


def _signals(
    found: Looked, station: Station | None, columns: Sequence[Column], *, by_last_word: bool = False
) -> Iterator[str]:  # fmt: skip
    """Digital columns whose names are those of the station, or by their last word (`lamp 1`); the others as a comment."""
    if not columns:
        return
    sections: list[tuple[str, Sequence[str]]] = [("inputs", ()), ("channels", ()), ("outputs", ())]
    if station is not None:
        sections = [
            ("inputs", station.inputs),
            ("channels", [channel.name for channel in station.channels]),
            ("outputs", [output.name for output in station.outputs]),
        ]
    taken: set[str] = set()
    for section, names in sections:
        pairs = [(name, column) for column in columns for name in names if column.name.casefold() == name.casefold()]
        guessed = ""
        if by_last_word and not pairs:
            pairs = [(name, column) for column in columns for name in names if column.name.split()[-1:] == [name]]
            guessed = "    # a guess"
        if pairs and len(dict(pairs)) == len(pairs):
            taken |= {column.name for _, column in pairs}
            yield f"{section}: {{{', '.join(f'{scalar(name)}: {scalar(column.name)}' for name, column in pairs)}}}{guessed}"
    left = [column.name for column in columns if column.name not in taken]
    if left:
        yield f"# on or off, to be named under inputs, channels or outputs: {listed(map(scalar, left))}"
    on, off = on_and_off(found.of_kind("digital"))
    yield f"on: {_list(on or ['1'])}"
    yield f"off: {_list(off or ['0'])}"


def _sensor(found: Looked, station: Station | None) -> Iterator[str]:
    """A word on the columns of the readings, where they are not those that the station names."""
    sensors: Sequence[Sensor] = station.sensors if station else ()
    names = {column.name for column in found.columns}
    if any(names.issuperset(sensor.columns) for sensor in sensors):
        return
    numbers = [column.name for column in found.of_kind("number")]
    yield f"    # readings may be in {listed(map(scalar, numbers)) or 'no column'}; `columns` of the sensor must name them"


def _list(words: Sequence[str]) -> str:
    return f"[{', '.join(json.dumps(word, ensure_ascii=False) for word in words)}]"
