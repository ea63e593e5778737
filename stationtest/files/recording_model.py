"""How recordings are written: from the checked fields to the model."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from stationtest.files.paths import Folder
from stationtest.files.reaches import travel_model
from stationtest.files.recording_fields import NumberedFields, PresentationsFields, RecordingFields, TruthFields
from stationtest.files.time_fields import TimeFields, turn_ns
from stationtest.model.digital import Digital
from stationtest.model.match_number import Coded, Match
from stationtest.model.recording_form import Gate, RecordingForm
from stationtest.place import Place


def truth_columns(form: TruthFields) -> dict[str, Any]:
    """What a form says of its dialect and of the columns of truth."""
    said = form.columns_of_truth()
    by_sensor = {role: columns for role, columns in said.items() if isinstance(columns, Mapping)}
    return {
        "separator": form.separator,
        "decimal": form.decimal,
        "encoding": form.encoding,
        "skip_lines": form.skip_lines,
        "units_line": form.units_line,
        **{role: column for role, column in said.items() if role not in by_sensor},
        "by_sensor": tuple(
            (role, sensor, column) for role, columns in by_sensor.items() for sensor, column in columns.items()
        ),
        "sensor": form.sensor,
        "void": form.void,
        "empty": form.empty,
        "conditions": tuple(form.conditions.items()),
        "truth_by": form.truth.by if form.truth else None,
    }


def numbers(given: NumberedFields, channels: Iterable[str]) -> tuple[tuple[str, int], ...]:
    """Which number stands for which channel: as stated, else a channel that is named by a whole number has that one."""
    return tuple(given.channels.items()) or tuple((name, int(name)) for name in channels if name.isascii() and name.isdigit())


def _time(time: TimeFields | None) -> dict[str, Any]:
    """How times are written, apart from their column."""
    if time is None:
        return {}
    turn = turn_ns(time.wraps_at, time.in_)
    return {"time_in": time.in_, "zone": time.zone, "wraps_ns": turn, "first_date": time.date}


def form(pattern: str, form: RecordingFields, folder: Folder, channels: Iterable[str], place: Place) -> RecordingForm:
    """The form of the recordings that match a pattern; paths in it are relative to the station's folder. `channels` are those
    of the station."""
    coded, match = form.coded, form.match
    second = form.presentations
    gate = form.gate
    return RecordingForm(
        pattern=pattern,
        rows=form.rows,
        time_column=form.time.column if form.time else None,
        **_time(form.time),
        every_ns=form.every,
        gap_ns=form.gap,
        seen_by=form.seen_by,
        inputs=_digitals(form.inputs),
        channels=_digitals(form.channels),
        outputs=_digitals(form.outputs),
        coded=Coded(
            lines=_digitals({f"coded line {number}": line for number, line in enumerate(coded.lines, 1)}),
            channels=numbers(coded, channels),
            code=coded.code,
            none=coded.none,
            strobe=_digitals({"strobe": coded.strobe})[0] if coded.strobe else None,
        )
        if coded
        else None,
        match=Match(column=match.column, channels=numbers(match, channels), none=match.none) if match else None,
        on=form.on,
        off=form.off,
        window_from=form.window.from_,
        window_after_end=form.window.after_end,
        presentations_path=folder.relative(second.file, "") if second else None,
        presentations_form=_second(second, form, place) if second else None,
        gate=Gate(input=gate.input, list_path=folder.relative(gate.list_, ""), offset_ns=gate.offset, shortest_ns=gate.shortest)
        if gate
        else None,
        events_path=folder.relative(form.events, "") if form.events else None,
        travel=travel_model(form.travel),
        place=place,
        **truth_columns(form),
    )


def _second(second: PresentationsFields, form: RecordingFields, place: Place) -> RecordingForm:
    """The second table's times are read as the recording's own unless it says otherwise."""
    time = second.time or form.time
    return RecordingForm(
        pattern=second.file,
        rows="trials",
        **_time(time),
        start=second.start,
        end=second.end,
        place=place,
        **truth_columns(second),
    )


def _digitals(columns: Mapping[str, Any]) -> tuple[Digital, ...]:
    return tuple(
        Digital(name=name, column=digital)
        if isinstance(digital, str)
        else Digital(name=name, column=digital.column, bit=digital.bit, inverted=digital.inverted)
        for name, digital in columns.items()
    )
