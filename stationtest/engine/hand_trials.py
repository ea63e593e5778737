"""Observations of a table of hand trials: one row a presentation, what was seen on each output, readings if they were noted."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stationtest.engine.learning import Taught
from stationtest.engine.sets import Members, assemble
from stationtest.errors import readings_error
from stationtest.model.case import Suite
from stationtest.model.observations import (
    NEVER,
    UNKNOWN_TARGET,
    VOID,
    Clock,
    Presentations,
    Responses,
    Signal,
    SourceObservations,
)
from stationtest.model.parts import Parts
from stationtest.signals.batch import TRUTH, UNKNOWN, Batch
from stationtest.signals.channel_distances import ChannelDistances
from stationtest.signals.conversion import SensorModel
from stationtest.signals.distances import known_of
from stationtest.sources.readings import Readings
from stationtest.sources.trials import void


def observe_trials(suite: Suite, recording: Readings, parts: Parts, taught: Taught) -> SourceObservations:
    """The rows of the table as presentations without times. What was noted counts as seen; nothing noted is not known."""
    station, form = suite.station, recording.form
    batch = recording.trials()
    n = len(batch)
    bare = presented_trials(suite, recording, batch)
    figures = _readings(suite, batch, parts, taught, bare.sensor, n)
    sets, belongs, notes = assemble(
        station,
        Members(
            target=bare.target, start_ns=bare.start_ns, end_ns=bare.end_ns, between=bare.between, status=bare.status,
            set_code=bare.set,
        ),
        tuple(batch.tables.get("set", ())), bare.targets, {}, (0, n),
    )  # fmt: skip
    presentations = replace(bare, set=belongs, **figures.pop("presentations"))
    sensor = bare.sensor
    signals: dict[tuple[str, str], Signal] = {}
    return SourceObservations(
        key=recording.path, kind="trials", basis="by hand", reader=recording.reader,
        clock=Clock(origin=None, zone=None, period_ns=(0, 0, 0), every_ns=0, rows=n, first_ns=0, end_ns=n),
        gaps=np.empty((0, 2), np.int64), presentations=presentations, responses=_responses(suite, batch, sensor, figures, n),
        sets=sets, signals=signals, outside=np.empty((0, 3), np.int64),
        outputs_seen={
            digital.name: batch.digital["output", digital.name].astype(np.int64) for digital in form.outputs
        },
        notes=tuple(notes), truth_by=form.known_by,
    )  # fmt: skip


def presented_trials(suite: Suite, recording: Readings, batch: Batch) -> Presentations:
    """The rows of a table as presentations, without the figures of their readings; `set` has the codes of the table."""
    form, n = recording.form, len(batch)
    tables = {name: tuple(batch.tables.get(name, ())) for name in (*TRUTH, *(name for name, _ in form.conditions))}
    codes = {name: batch.codes[name].astype(np.int64) if name in batch.codes else np.full(n, -1) for name in tables}
    if (codes["target"] < 0).any():
        row = int(np.flatnonzero(codes["target"] < 0)[0])
        raise readings_error(
            recording.path, row + 2, "target", "a hand trial must say what was presented; `?` says it is not known", "bad-value"
        )
    status = np.where(void(batch), VOID, 0)
    if UNKNOWN in tables["target"]:
        status |= np.where(codes["target"] == tables["target"].index(UNKNOWN), UNKNOWN_TARGET, 0)
    return Presentations(
        sensors=tuple(one.name for one in suite.station.sensors),
        targets=tables["target"], specimens=tables["specimen"], items=tables["item"],
        sensor=_sensors(suite, batch, codes["sensor"], tables["sensor"]), target=codes["target"], specimen=codes["specimen"],
        item=codes["item"], set=codes["set"],
        between=np.zeros(n, bool), start_ns=np.arange(n), end_ns=np.arange(n) + 1, covered_ns=np.full(n, NEVER),
        first_row=np.arange(n), rows=np.ones(n, np.int64), longest_step_ns=np.zeros(n, np.int64), status=status,
        touches_before=np.zeros(n, bool), touches_after=np.zeros(n, bool),
        conditions={name: (tables[name], codes[name]) for name, _ in form.conditions},
        **_no_readings(suite, n),
    )  # fmt: skip


def _sensors(suite: Suite, batch: Batch, codes: NDArray[np.int64], names: tuple[str, ...]) -> NDArray[np.int64]:
    """The sensor of each row: named, or the only one, or the one whose channels were noted."""
    station = suite.station
    if (codes >= 0).any():
        number = np.array([station.sensor_number(name) for name in names])
        return np.where(codes >= 0, number[np.maximum(codes, 0)], 0)
    noted = {station.channel(name).sensor for kind, name in batch.digital if kind == "channel"} | set(batch.bands)
    if len(noted) == 1:
        return np.full(len(batch), station.sensor_number(noted.pop()))
    return np.zeros(len(batch), np.int64)


def _no_readings(suite: Suite, n: int) -> dict[str, NDArray[Any]]:
    return {
        "level_min": np.full(n, np.nan), "level_max": np.full(n, np.nan), "clipped_rows": np.zeros(n, np.int64),
        "dark_rows": np.zeros(n, np.int64), "means": np.full((n, suite.station.most_bands), np.nan),
    }  # fmt: skip


def _readings(suite: Suite, batch: Batch, parts: Parts, taught: Taught, sensor: NDArray[np.int64], n: int) -> dict[str, Any]:
    """Closeness, level and means where the table holds the sensor's readings, else NaN."""
    station = suite.station
    count = len(station.channels)
    own = _no_readings(suite, n)
    distance = np.full((n, count), np.nan)
    for name, raw in batch.bands.items():
        model = SensorModel.from_sensor(station.sensor(name))
        mine = sensor == station.sensor_number(name)
        channels = station.channels_of(name)
        relative, level = model.relative(raw), model.level(raw)
        found = ChannelDistances(model, channels, taught.means, known_of(parts.distances)).compute(relative)
        own["level_min"][mine] = own["level_max"][mine] = level[mine]
        own["clipped_rows"][mine] = model.clipped(raw)[mine]
        own["dark_rows"][mine] = (model.is_dark(level) | (level <= 0))[mine]
        own["means"][mine, : len(relative)] = np.stack(relative, axis=1)[mine]
        names = [channel.name for channel in station.channels]
        for number, channel in enumerate(channels):
            distance[mine, names.index(channel.name)] = found[number][mine]
    return {"presentations": own, "distance": distance, "clipped": own["clipped_rows"] > 0}


def _responses(suite: Suite, batch: Batch, sensor: NDArray[np.int64], figures: dict[str, Any], n: int) -> Responses:
    station = suite.station
    count = len(station.channels)
    seen = np.full((n, count), -1)
    applies = np.zeros((n, count), bool)
    for number, channel in enumerate(station.channels):
        applies[:, number] = sensor == station.sensor_number(channel.sensor)
        if ("channel", channel.name) in batch.digital:
            seen[:, number] = batch.digital["channel", channel.name]
    tolerance = np.array([channel.tolerance for channel in station.channels])
    distance = figures["distance"]
    critical = np.where([channel.pulse_ns is None for channel in station.channels], distance, np.nan)
    zero, never = np.zeros((n, count), np.int64), np.full((n, count), NEVER)
    clipped = np.repeat(figures["clipped"][:, None], count, axis=1)
    return Responses(
        channels=tuple(channel.name for channel in station.channels), applies=applies, basis=("by hand",) * count,
        known=seen >= 0, fired=seen == 1, silent=seen == 0, perhaps=np.zeros((n, count), bool),
        held_over_ns=zero, held_from=np.full((n, count), -1), first_on_ns=never, on_ns=zero, longest_ns=zero,
        pulses_min=(seen == 1).astype(np.int64), pulses_max=(seen == 1).astype(np.int64),
        closeness_max=1 - distance / tolerance, critical_any=critical, critical_sure=critical, at_ns=never,
        rested_clipped=clipped, rested_dark=np.zeros((n, count), bool),
    )  # fmt: skip
