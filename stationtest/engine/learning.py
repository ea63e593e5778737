"""Learning references: the mean of dark-corrected readings on the plateau of a target, as a sensor is taught on the line.

Clipped or dark readings teach nothing: they are refused (counter-example A16). The presentations that taught are never trials.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stationtest.errors import Problem, ReadingsError, readings_error
from stationtest.model.case import Suite
from stationtest.model.parts import Parts
from stationtest.model.station import Learned, Sensor
from stationtest.signals import intervals
from stationtest.signals.batch import Batch
from stationtest.signals.conversion import SensorModel
from stationtest.signals.elementwise import Columns
from stationtest.signals.presentations import builder_for
from stationtest.sources.recorded import open_recording

Ints = NDArray[np.int64]


@dataclass(slots=True)
class Taught:
    """`means`: the mean relative reading of each learned reference. `stretches`: for each recording the stretches (n, 2) that
    taught, in ns. `rows`: how many readings each rests on."""

    means: dict[Learned, tuple[float, ...]] = field(default_factory=dict)
    stretches: dict[str, Ints] = field(default_factory=dict)
    rows: dict[Learned, int] = field(default_factory=dict)


def learn(suite: Suite, parts: Parts) -> Taught:
    """Every learned reference of the station. Raises `ReadingsError` with all that cannot be learned ('cannot-learn')."""
    taught = Taught()
    problems: list[Problem] = []
    for channel in suite.station.channels:
        for reference in channel.references:
            if reference.learned is not None and reference.learned not in taught.means:
                try:
                    _learn(suite, parts, reference.learned, suite.station.sensor(channel.sensor), taught)
                except ReadingsError as error:
                    problems.extend(error.problems)
    if problems:
        raise ReadingsError(problems)
    return taught


def _learn(suite: Suite, parts: Parts, learned: Learned, sensor: Sensor, taught: Taught) -> None:
    from stationtest.engine.observing import facts_of

    recording = open_recording(suite, learned.recording, parts.formats)
    if recording.form.rows == "trials":
        _from_trials(recording.trials(), learned, sensor, taught)
        return
    builder = builder_for(facts_of(suite.station, recording), recording.listed())
    model = SensorModel.from_sensor(sensor)
    gathered: list[tuple[int, NDArray[np.float64], int]] = []  # presentation, relative readings (B, n), how many teach nothing
    for batch, ranges in builder.walk(recording.batches()):
        if sensor.name not in batch.bands:
            raise _refused(learned, f"the recording has no columns of sensor {sensor.name}")
        number = recording.sensors.index(sensor.name)
        target = batch.codes.get("target")
        for k in np.flatnonzero((ranges.sensor == number) & ~ranges.between & (ranges.p0 < ranges.p1)):
            if target is not None and batch.tables["target"][target[ranges.i0[k]]] != learned.target:
                continue
            part = slice(int(ranges.p0[k]), int(ranges.p1[k]))
            raw = tuple(column[part] for column in batch.bands[sensor.name])
            gathered.append((int(ranges.id[k]), np.stack(model.relative(raw)), _useless(model, raw)))
    table = builder.finish()
    row_of = {int(identity): row for row, identity in enumerate(table.ids)}
    names = table.tables["target"]
    total, rows, stretches = np.zeros(len(sensor.bands)), 0, []
    wanted = learned.samples or np.iinfo(np.int64).max
    for identity, relative, useless in gathered:
        row = row_of[identity]
        if rows >= wanted or names[int(table.target[row])] != learned.target:
            continue
        if useless:
            raise _refused(learned, f"{useless} of its readings are clipped or dark; they teach nothing")
        taken = relative[:, : min(relative.shape[1], wanted - rows)]
        total += taken.sum(axis=1)
        rows += taken.shape[1]
        stretches.append((int(table.start_ns[row]), int(table.end_ns[row])))
    _keep(learned, total, rows, stretches, sorted({names[int(code)] for code in table.target if code >= 0}), taught)


def _from_trials(batch: Batch, learned: Learned, sensor: Sensor, taught: Taught) -> None:
    """From a table of hand trials that has the sensor's readings: every row of the target."""
    model = SensorModel.from_sensor(sensor)
    names = batch.tables["target"]
    mine = np.flatnonzero([code >= 0 and names[code] == learned.target for code in batch.codes["target"]])
    if sensor.name not in batch.bands:
        raise _refused(learned, f"the table has no columns of sensor {sensor.name}")
    mine = mine[: learned.samples] if learned.samples else mine
    raw = tuple(column[mine] for column in batch.bands[sensor.name])
    useless = _useless(model, raw)
    if useless:
        raise _refused(learned, f"{useless} of its readings are clipped or dark; they teach nothing")
    _keep(learned, np.stack(model.relative(raw)).sum(axis=1), len(mine), [], sorted(names), taught)


def _useless(model: SensorModel, raw: Columns) -> int:
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
