"""What was understood of a recording: how it is written, what its columns are, and its first rows in our words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from stationtest.commands.turns_told import starts_again
from stationtest.files.words import duration_text
from stationtest.model.case import Suite
from stationtest.model.endings import has_tables
from stationtest.model.match_number import Numbers
from stationtest.model.parts import Parts
from stationtest.model.recording_form import RecordingForm

if TYPE_CHECKING:
    from stationtest.sources.scenes.opened import OpenedScene

ROWS = 3


def lines(suite: Suite, key: str, parts: Parts) -> Iterator[str]:
    """Indented lines about one recording. Raises `ReadingsError` if its beginning is refused."""
    from stationtest.sources.opening import open_recording
    from stationtest.sources.scenes.opened import OpenedScene

    recording = open_recording(suite, key, parts.formats)
    if has_tables(key):
        from stationtest.commands import understood_tables
        from stationtest.sources.several_tables import TablesRecording

        assert isinstance(recording, TablesRecording)
        yield from understood_tables.lines(recording)
        yield from _first_rows(recording)
        return
    if isinstance(recording, OpenedScene):
        yield from _scene(recording)
        yield from _first_rows(recording)
        return
    form = recording.form
    facts = ", ".join(f"{name} {value}" for name, value in recording.reader.items() if name not in ("name", "version"))
    rows = f"{recording.rows_hint} rows" if recording.rows_hint else ""
    yield "; ".join(part for part in (f'{key}: by the entry "{form.pattern}"', facts, rows) if part)
    if form.rows == "trials":
        yield "  a table of hand trials: one row a presentation, no times"
    else:
        times = f"  time: column {form.time_column} in {form.time_in}{starts_again(form)}"
        times += f", a reading every {duration_text(form.every_ns or 0)}, a gap from {duration_text(form.gap_ns or 0)}"
        yield times + (f"; begins {recording.origin}" if recording.origin else "")
    for sensor in suite.station.sensors:
        if sensor.name in recording.sensors:
            pairs = ", ".join(f"{band} from {column}" for band, column in zip(sensor.bands, sensor.columns, strict=True))
            yield f"  sensor {sensor.name}: {pairs}"
    yield from _columns(form)
    yield from _by_sensor(form, recording.sensors)
    yield from _first_rows(recording)


def _scene(opened: OpenedScene) -> Iterator[str]:
    scene, line = opened.scene, opened.line
    yield f"{scene.path}: a scene, seed {scene.seed}; {line.rows} readings, one every {duration_text(scene.every_ns)}"
    shown = ", ".join(
        f"{int((line.target == number).sum())} {target.name}" for number, target in enumerate(scene.targets)
    )
    yield f"  {len(line.target)} presentations at {scene.belt.speed_mm_s:g} mm/s: {shown}"
    for number, kind in enumerate(scene.sets):
        yield f"  {int((line.set_kind == number).sum())} sets {kind.name}"
    yield f"  sensor {opened.sensors[0]}: simulated counts"
    if scene.inputs:
        yield f"  inputs: {', '.join(given.name for given in scene.inputs)}"


def _by_sensor(form: RecordingForm, sensors: Sequence[str]) -> Iterator[str]:
    """Columns of truth that speak of one sensor only, and the sensors of which none does."""
    if not form.by_sensor:
        return
    for name in sensors:
        columns = [f"{role} from {column}" for role, sensor, column in form.by_sensor if sensor == name]
        said = ", ".join(columns) if columns else "nothing says what, so this sensor has no presentations"
        yield f"  presented to sensor {name}: {said}"


def _columns(form: RecordingForm) -> Iterator[str]:
    truth = ("target", "specimen", "set", "item", "sensor", "seen_by", "void")
    named = [(name, getattr(form, name)) for name in truth] + list(form.conditions)
    found = ", ".join(f"{name} from {column}" for name, column in named if column)
    if found:
        yield f"  presented: {found}"
    if form.presentations_path:
        yield f"  presented: from the table {form.presentations_path}"
    if form.gate:
        yield f"  presented: while input {form.gate.input} is on, in the order of {form.gate.list_path}"
    if form.events_path:
        yield f"  events: from the list {form.events_path}"
    if form.coded:
        coded, strobe = form.coded, form.coded.strobe
        lines = ", ".join(line.column + (f" bit {line.bit}" if line.bit is not None else "") for line in coded.lines)
        valid = f", valid while {strobe.column} is {'off' if strobe.inverted else 'on'}" if strobe else ", always valid"
        yield f"  matches: {_numbers(coded.channels)}, none {coded.none}, in {coded.code} code on {lines}{valid}"
    if form.match:
        yield f"  matches: {_numbers(form.match.channels)}, none {form.match.none}, as numbers in {form.match.column}"
    for kind in ("inputs", "channels", "outputs"):
        signals = getattr(form, kind)
        if signals:
            words = ", ".join(
                f"{signal.name} from {signal.column}"
                + (f" bit {signal.bit}" if signal.bit is not None else "")
                + (" inverted" if signal.inverted else "")
                for signal in signals
            )
            yield f"  {kind}: {words}; on is {' or '.join(form.on)}, off is {' or '.join(form.off)}"


def _numbers(channels: Numbers) -> str:
    return ", ".join(f"channel {name} is {number}" for name, number in channels)


def _first_rows(recording) -> Iterator[str]:  # type: ignore[no-untyped-def]
    """The first rows, numbers as they were read. `recording` is a `sources.recorded.Recording`."""
    from stationtest.signals.batch import spoken

    batch = recording.trials() if recording.form.rows == "trials" else next(iter(recording.batches()))
    for row in range(min(ROWS, len(batch))):
        parts = [] if batch.t_ns is None else [f"{batch.t_ns[row] / 1e9:.6f} s"]
        for bands in batch.bands.values():
            parts += [f"{band[row]:g}" for band in bands]
        for name, codes in batch.codes.items():
            if codes[row] >= 0:
                parts.append(f"{spoken(name)} {batch.tables[name][codes[row]]}")
        for (_, name), states in batch.digital.items():
            on, off = ("yes", "no") if name == "void" else ("on", "off")
            parts.append(f"{name} {'not noted' if states[row] < 0 else on if states[row] else off}")
        yield f"  row {row + 1}: " + ", ".join(parts)
