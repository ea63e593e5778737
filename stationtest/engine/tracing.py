"""Reading a stretch of a recording again, for a scope-like figure of a trial. Verdicts never rest on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.engine import learning
from stationtest.engine.learning_at_edges import Relearned, distances_of, learn_at_edges
from stationtest.model.case import Suite
from stationtest.model.parts import Parts
from stationtest.signals.channel_distances import ChannelDistances, Means
from stationtest.signals.conversion import SensorModel
from stationtest.signals.dated import DatedDistances
from stationtest.signals.distances import known_of
from stationtest.signals.elementwise import Columns
from stationtest.sources.opening import open_recording
from stationtest.sources.readings import Readings


@dataclass(frozen=True, slots=True)
class Trace:
    """Readings of one sensor: `t_ns`, `level` (n,); `closeness` (C, n) of its `channels`, -inf where there is no distance."""

    t_ns: NDArray[np.int64]
    level: NDArray[np.float64]
    channels: tuple[str, ...]
    closeness: NDArray[np.float64]


class Tracer:
    """Reads stretches again; recordings stay opened and references learned from one stretch to the next."""

    def __init__(self, suite: Suite, parts: Parts) -> None:
        self._suite, self._parts = suite, parts
        self._opened: dict[str, Readings] = {}
        self._relearned: dict[str, Relearned | None] = {}
        self._taught: learning.Taught | None = None

    def learned(self) -> Means:
        """The mean relative reading of each reference that was learned from a stretch."""
        return self._all_taught().means

    def _all_taught(self) -> learning.Taught:
        if self._taught is None:
            self._taught = learning.learn(self._suite, self._parts)
        return self._taught

    def trace(self, key: str, sensor: str, start_ns: int, end_ns: int) -> Trace:
        """The readings of a sensor in [start, end) of a recording."""
        if key not in self._opened:
            self._opened[key] = open_recording(self._suite, key, self._parts.formats)
            self._relearned[key] = learn_at_edges(self._suite.station, self._opened[key], self._all_taught())
        station = self._suite.station
        model, channels = SensorModel.from_sensor(station.sensor(sensor)), station.channels_of(sensor)
        distances = distances_of(
            station.sensor(sensor), channels, self._all_taught(), self._relearned[key], known_of(self._parts.distances)
        )
        tolerance = np.array([[channel.tolerance] for channel in channels]).reshape(-1, 1)
        times, levels, found = [], [], []
        for batch in self._opened[key].seek(start_ns, end_ns):
            if sensor not in batch.bands or batch.t_ns is None:
                break
            low, high = np.searchsorted(batch.t_ns, (start_ns, end_ns)).tolist()
            raw = tuple(column[low:high] for column in batch.bands[sensor])
            times.append(batch.t_ns[low:high])
            levels.append(model.level(raw))  # type: ignore[arg-type]
            relative = model.relative(raw)
            found.append(1 - _distance(distances, relative, batch.t_ns[low:high]) / tolerance)
        names = tuple(channel.name for channel in channels)
        if not times:
            return Trace(np.empty(0, np.int64), np.empty(0), names, np.empty((len(names), 0)))
        return Trace(np.concatenate(times), np.concatenate(levels), names, np.concatenate(found, axis=1))


def _distance(distances: ChannelDistances | DatedDistances, relative: Columns, t_ns: NDArray[np.int64]) -> NDArray[np.float64]:
    """Distances (C, n); infinite where a channel has no reference."""
    if isinstance(distances, DatedDistances):
        return distances.compute(relative, t_ns)
    return distances.compute(relative)
