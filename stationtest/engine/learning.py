"""Learning references: the mean of dark-corrected readings on the plateau of a target, as a sensor is taught on the line.

Clipped or dark readings teach nothing: they are refused (counter-example A16). The presentations that taught are never trials.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stationtest.engine.facts import facts_of
from stationtest.errors import Problem, ReadingsError, readings_error
from stationtest.model.case import Suite
from stationtest.model.parts import Parts
from stationtest.model.station import Learned, Sensor
from stationtest.signals import intervals
from stationtest.signals.batch import Batch, Listed
from stationtest.signals.conversion import SensorModel
from stationtest.signals.elementwise import Columns
from stationtest.signals.presentations import builder_for
from stationtest.sources.opening import open_recording

Ints = NDArray[np.int64]


@dataclass(slots=True)
class Taught:
    """`means`: the mean relative reading of each learned reference. `stretches`: for each recording the stretches (n, 2) that
    taught, in ns. `rows`: how many readings each rests on."""

    means: dict[Learned, tuple[float, ...]] = field(default_factory=dict)
    stretches: dict[str, Ints] = field(default_factory=dict)
    rows: dict[Learned, int] = field(default_factory=dict)


def learn(suite: Suite, parts: Parts, sensors: Collection[str] | None = None) -> Taught:
    """Every learned reference of the station, or of the named sensors alone.

    Raises `ReadingsError` with all that cannot be learned ('cannot-learn').
    """
    taught = Taught()
    problems: list[Problem] = []
    for channel in suite.station.channels:
        for learned in channel.learned if sensors is None or channel.sensor in sensors else ():
            if learned not in taught.means:
                try:
                    _learn(suite, parts, learned, suite.station.sensor(channel.sensor), taught)
                except ReadingsError as error:
                    problems.extend(error.problems)
    if problems:
        raise ReadingsError(problems)
    return taught


def _learn(suite: Suite, parts: Parts, learned: Learned, sensor: Sensor, taught: Taught) -> None:
    recording = open_recording(suite, learned.recording, parts.formats)
    if recording.form.rows == "trials":
        _from_trials(recording.trials(), learned, sensor, taught)
        return
    listed = recording.listed()
    builder = builder_for(facts_of(suite.station, recording), listed)
    model, wanted = SensorModel.from_sensor(sensor), learned.samples or np.iinfo(np.int64).max
    mine = None if listed is None else _listed(listed, learned.target, sensor.name)
    total, rows, stretches, shown = np.zeros(len(sensor.bands)), 0, [], set[str]()
    for batch, ranges in builder.walk(recording.batches()):
        if sensor.name not in batch.bands:
            raise _refused(learned, f"the recording has no columns of sensor {sensor.name}")
        number = recording.sensors.index(sensor.name)
        assert batch.t_ns is not None
        for k in np.flatnonzero((ranges.sensor == number) & ~ranges.between & (ranges.p0 < ranges.p1)).tolist():
            begin, end = int(ranges.p0[k]), int(ranges.p1[k])
            if mine is not None:
                named = learned.target if len(intervals.clip(mine, (batch.t_ns[begin], batch.t_ns[begin] + 1))) else ""
            else:
                named = batch.target_before(sensor.name, int(ranges.i0[k]))
                shown.add(named)
            if named != learned.target:
                continue
            end = min(end, begin + wanted - rows)
            raw = tuple(column[begin:end] for column in batch.bands[sensor.name])
            if bad := useless(model, raw):
                raise _refused(learned, f"{bad} of its readings are clipped or dark; they teach nothing")
            total += np.stack(model.relative(raw)).sum(axis=1)
            rows += end - begin
            stretches.append((int(batch.t_ns[begin]), int(batch.t_ns[end - 1]) + 1))
            if rows == wanted:
                break
        if rows == wanted:
            break  # what comes later teaches nothing more
    if listed is not None:
        shown = {listed.tables["target"][code] for code in listed.codes["target"].tolist() if code >= 0}
    _keep(learned, total, rows, stretches, sorted(shown), taught)


def _listed(listed: Listed, target: str, sensor: str) -> Ints:
    """The stretches (n, 2) in which a list has a target before a sensor."""
    def is_(role: str, name: str) -> NDArray[np.bool_]:
        names = listed.tables[role]
        return np.asarray(listed.codes[role] == (names.index(name) if name in names else -2))

    mine = is_("target", target) & (is_("sensor", sensor) if "sensor" in listed.codes else True)
    return np.stack([listed.start_ns[mine], listed.end_ns[mine]], axis=1)


def _from_trials(batch: Batch, learned: Learned, sensor: Sensor, taught: Taught) -> None:
    """From a table of hand trials that has the sensor's readings: every row of the target."""
    model = SensorModel.from_sensor(sensor)
    names = batch.tables["target"]
    mine = np.flatnonzero([code >= 0 and names[code] == learned.target for code in batch.codes["target"]])
    if sensor.name not in batch.bands:
        raise _refused(learned, f"the table has no columns of sensor {sensor.name}")
    mine = mine[: learned.samples] if learned.samples else mine
    raw = tuple(column[mine] for column in batch.bands[sensor.name])
    if bad := useless(model, raw):
        raise _refused(learned, f"{bad} of its readings are clipped or dark; they teach nothing")
    _keep(learned, np.stack(model.relative(raw)).sum(axis=1), len(mine), [], sorted(names), taught)


def useless(model: SensorModel, raw: Columns) -> int:
    """How many readings teach nothing: clipped or dark."""
    level = model.level(raw)
    return int((model.clipped(raw) | model.is_dark(level) | (level <= 0)).sum())


def _keep(
    learned: Learned, total: NDArray[np.float64], rows: int, stretches: list[tuple[int, int]], shown: list[str], taught: Taught
) -> None:
    if not rows:
        raise _refused(learned, f"{learned.target} has no plateau in it; it shows {', '.join(shown) or 'nothing'}")
    if learned.samples and rows < learned.samples:
        raise _refused(learned, f"{learned.samples} samples were asked for, {rows} readings of {learned.target} lie on a plateau")
    taught.means[learned], taught.rows[learned] = tuple((total / rows).tolist()), rows
    before = taught.stretches.get(learned.recording, np.empty((0, 2), np.int64))
    if stretches:
        taught.stretches[learned.recording] = intervals.merge(np.concatenate([before, np.array(stretches, np.int64)]))


def _refused(learned: Learned, why: str) -> ReadingsError:
    return readings_error(learned.recording, 0, f"reference {learned.target}", f"cannot be learned: {why}", "cannot-learn")
