"""Which column of a file is what, by the station and the form; and a stretch of the file as a batch of native arrays."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pyarrow as pa

from stationtest.files.words import shown
from stationtest.model.digital import Digital
from stationtest.model.recording_form import RecordingForm
from stationtest.model.station import Sensor, Station
from stationtest.model.travel import Travel
from stationtest.signals.batch import TRUTH, UNKNOWN, Batch, of_sensor
from stationtest.sources import checks, match_column, times
from stationtest.sources.belt_column import BeltColumn
from stationtest.sources.checks import Names, Where

VOID = ("void", "void")  # key among the digital columns of hand trials


class As(str):
    """What a column is read as, for readers; and the key of the file that names the column, for their messages."""

    __slots__ = ("key",)
    key: str

    def __new__(cls, kind: str, key: str) -> As:
        made = super().__new__(cls, kind)
        made.key = key
        return made


@dataclass(frozen=True, slots=True)
class Layout:
    """The mapped columns: `wanted` says for each column what it is read as ('time', 'number', 'digital', 'packed', 'text')."""

    form: RecordingForm
    sensors: tuple[Sensor, ...] = ()
    digital: tuple[tuple[str, Digital], ...] = ()
    names: Mapping[str, tuple[str, Names]] = field(default_factory=dict)  # role or condition -> column, its words
    trials: bool = False
    travel: Travel | None = None  # where a column holds the position of the belt

    @property
    def wanted(self) -> dict[str, str]:
        found: dict[str, str] = {}
        if self.form.time_column and not self.trials:
            found[self.form.time_column] = As("time", "time")
        for sensor in self.sensors:
            for band, column in zip(sensor.bands, sensor.columns, strict=True):
                found[column] = As("number", f"sensors.{sensor.name}.columns.{band}")
        for kind, signal in self.digital:
            found[signal.column] = As("digital" if signal.bit is None else "packed", _key(kind, signal))
        if self.form.match is not None:
            found[self.form.match.column] = As("packed", "match.column")
        for column, names in self.names.values():
            found[column] = As("text", names.key)
        if self.travel is not None and self.travel.column is not None:
            found[self.travel.column] = As("number", "travel.column")
        return found

    @property
    def tables(self) -> dict[str, list[str]]:
        return {role: names.words for role, (_, names) in self.names.items()}

    def only(self, inputs: Collection[str] = ()) -> Layout:
        """The time and the named inputs, for a pass that needs no more."""
        digital = tuple(signal for signal in self.digital if signal[0] == "input" and signal[1].name in inputs)
        return replace(self, sensors=(), names={}, digital=digital, travel=None)

    def batch(
        self, first_row: int, table: pa.RecordBatch, where: Where, origin_ns: int = 0, way: BeltColumn | None = None
    ) -> Batch:
        """Columns of a file as a batch, every cell checked. Raises `ReadingsError` with the row. `way` counts the belt's position
        from batch to batch."""
        form = self.form
        columns = dict(zip(table.schema.names, table.columns, strict=True))
        t_ns = None
        if form.time_column and not self.trials:
            t_ns = times.to_ns(columns[form.time_column], form.time_column, form, where)
            if origin_ns:
                t_ns = t_ns - origin_ns
        bands = {
            sensor.name: tuple(
                checks.numbers(columns[column], f"sensors.{sensor.name}.columns.{band}", column, where)
                for band, column in zip(sensor.bands, sensor.columns, strict=True)
            )
            for sensor in self.sensors
        }
        digital = {(kind, one.name): self._signal(kind, one, columns[one.column], where) for kind, one in self.digital}
        if form.match is not None and form.match.column in columns:
            digital |= match_column.channels(form.match, columns[form.match.column], where, may_be_empty=self.trials)
        codes = {role: names.of(columns[column], column, where) for role, (column, names) in self.names.items()}
        if self.trials and "target" in codes and (empty := codes["target"] < 0).any():
            where.refuse(int(np.argmax(empty)), "target", "the row does not say what was presented", "bad-presentation")
        position = None
        if way is not None:
            counts = checks.numbers(columns[way.column], "travel.column", way.column, where)
            position = way.moved(counts, t_ns, form.gap_ns, where)
        return Batch(first_row, t_ns, bands, digital, codes, self.tables, table.num_rows, position)  # type: ignore[arg-type]

    def _signal(self, kind: str, signal: Digital, column: pa.Array, where: Where) -> np.ndarray:
        key = _key(kind, signal)
        if signal.bit is None:
            values = checks.switches(column, key, signal.column, self.form, where, may_be_empty=self.trials)
        else:
            values = checks.bits(column, signal.bit, key, signal.column, where)
        if not signal.inverted:
            return values.astype(np.int8) if self.trials else values
        if not self.trials:
            return ~values.astype(np.bool_)
        return np.where(values < 0, values, 1 - values.astype(np.int8)).astype(np.int8)


def _key(kind: str, signal: Digital) -> str:
    """The key of the form that maps a signal, for messages."""
    return {"void": "void", "line": "coded"}.get(kind) or f"{kind}s.{signal.name}"


def names_of(station: Station, form: RecordingForm, prefix: str = "") -> dict[str, tuple[str, Names]]:
    """The columns of words that a form maps, with the words that the station allows in them."""
    allowed: dict[str, tuple[Collection[str] | None, str]] = {
        "target": (dict.fromkeys([*(target.name for target in station.targets), UNKNOWN]), "target"),
        "sensor": (dict.fromkeys(sensor.name for sensor in station.sensors), "sensor"),
    }
    found: dict[str, tuple[str, Names]] = {}
    columns = [(role, role, role, column) for role in TRUTH if (column := getattr(form, role))]
    columns += [(of_sensor(role, sensor), role, f"{role}.{sensor}", column) for role, sensor, column in form.by_sensor]
    for name, role, key, column in columns:
        words, what = allowed.get(role, (None, role))
        found[name] = (column, Names(prefix + key, words, form.empty if role == "target" else ("",), what))
    declared = dict(station.conditions)
    for name, column in form.conditions:
        found[name] = (column, Names(f"{prefix}conditions.{name}", declared.get(name), ("",), f"value of {name}"))
    return found


def travel_of(station: Station, form: RecordingForm) -> Travel | None:
    """How the belt moves in recordings of this form: as the form says, else as the station does."""
    return None if form.rows == "trials" else form.travel or station.travel


def layout(
    station: Station, form: RecordingForm, columns: Collection[str], where: Where, only: str | None = None
) -> Layout:  # fmt: skip
    """The layout of a file with these columns. A sensor none of whose columns is there is not in this recording; `only` names
    the one that is to be taken from it.

    Raises `ReadingsError` 'missing-column' with the nearest column, 'contradiction' if one column would be read in two ways.
    """
    trials = form.rows == "trials"
    sensors = []
    asked = station.sensors if only is None else (station.sensor(only),)
    for sensor in asked:
        absent = [column for column in sensor.columns if column not in columns]
        alone = len(asked) == 1 and not trials
        if not absent or alone or len(absent) < len(sensor.columns):
            sensors.append(sensor)
    if not sensors and not trials:
        sensors = [station.sensors[0]]
    digital = [(kind, signal) for kind in ("input", "channel", "output") for signal in getattr(form, f"{kind}s")]
    if form.coded is not None:
        strobe = () if form.coded.strobe is None else (form.coded.strobe,)
        digital += [("line", line) for line in (*form.coded.lines, *strobe)]
    there = {sensor.name for sensor in sensors}
    names = names_of(station, replace(form, by_sensor=tuple(own for own in form.by_sensor if own[1] in there)))
    if form.gate is not None:  # what was presented stands in its list; conditions in either
        names = {role: named for role, named in names.items() if role not in TRUTH and named[0] in columns}
    if trials:
        if form.void:
            digital.append((VOID[0], Digital(name=VOID[1], column=form.void)))
        if form.seen_by:
            names["seen_by"] = (form.seen_by, Names("seen_by", None, ("",), "name"))
    elif form.void and form.gate is None:
        said = "presentations are declared void in a table of trials or of presentations, not in a stream"
        where.refuse(None, "void", said, "contradiction")
    elif not form.time_column:
        where.refuse(None, "time", "the form of a stream must name its time column", "missing-key")
    _check(form, sensors, digital, names, columns, where)
    if form.says("target") and form.sensor is None:
        _whose(sensors, where)
    travel = travel_of(station, form)
    if travel is not None and travel.column is not None and travel.column not in columns:
        if form.travel is not None:
            checks.all_there([(travel.column, "travel.column")], columns, where)
        travel = None  # the station's recordings may have it, and this one has not
    return Layout(form, tuple(sensors), tuple(digital), names, trials, travel if travel and travel.column else None)


def _whose(sensors: Collection[Sensor], where: Where) -> None:
    """Without a `sensor` column, readings that two sensors would take from one column are nobody's: they are never guessed."""
    reads: dict[str, str] = {}
    for sensor in sensors:
        for column in sensor.columns:
            first = reads.setdefault(column, sensor.name)
            if first != sensor.name:
                said = (
                    f"column {shown(column)} is read by sensor {shown(first)} too, and no `sensor:` column of the form says "
                    "whose readings these are"
                )
                where.refuse(None, f"sensors.{sensor.name}.columns", said, "contradiction")


def _check(
    form: RecordingForm,
    sensors: Collection[Sensor],
    digital: Collection[tuple[str, Digital]],
    names: Mapping[str, tuple[str, Names]],
    columns: Collection[str],
    where: Where,
) -> None:
    uses = [(form.time_column, "time", "time.column")] if form.time_column and form.rows != "trials" else []
    uses += [(column, "number", f"sensors.{sensor.name}.columns") for sensor in sensors for column in sensor.columns]
    uses += [(s.column, "on/off" if s.bit is None else "packed", _key(k, s)) for k, s in digital]
    uses += [(form.match.column, "number of the match", "match.column")] if form.match else []
    uses += [(column, "word", names_.key) for column, names_ in names.values()]
    stated = {f"sensors.{sensor.name}.": sensor.place for sensor in sensors} | {"": form.place}
    checks.all_there([(column, key) for column, _, key in uses], columns, where, stated)
    seen: dict[str, tuple[str, str]] = {}
    for column, kind, key in uses:
        if list(columns).count(column) > 1:
            where.refuse(None, key, f"there are two columns {shown(column)} in this file", "bad-dialect")
        before = seen.setdefault(column, (kind, key))
        if before[0] != kind:
            where.refuse(None, key, f"column {shown(column)} is already the {before[0]} column of {before[1]}", "contradiction")
