"""Reading a stretch of a recording again, for a scope-like figure of a trial. Verdicts never rest on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.engine import learning
from stationtest.model.case import Suite
from stationtest.model.parts import Parts
from stationtest.signals.channel_distances import ChannelDistances, Means
from stationtest.signals.conversion import SensorModel
from stationtest.signals.distances import known_of
from stationtest.sources.readings import Readings
from stationtest.sources.recorded import open_recording


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
        self._taught: learning.Taught | None = None

    def learned(self) -> Means:
        """The mean relative reading of each learned reference."""
        if self._taught is None:
            self._taught = learning.learn(self._suite, self._parts)
        return self._taught.means

    def trace(self, key: str, sensor: str, start_ns: int, end_ns: int) -> Trace:
        """The readings of a sensor in [start, end) of a recording."""
        if key not in self._opened:
            self._opened[key] = open_recording(self._suite, key, self._parts.formats)
        model = SensorModel.from_sensor(self._suite.station.sensor(sensor))
        channels = self._suite.station.channels_of(sensor)
        distances = ChannelDistances(model, channels, self.learned(), known_of(self._parts.distances))
        tolerance = np.array([[channel.tolerance] for channel in channels]).reshape(-1, 1)
        times, levels, found = [], [], []
        for batch in self._opened[key].seek(start_ns, end_ns):
            if sensor not in batch.bands or batch.t_ns is None:
                break
            low, high = np.searchsorted(batch.t_ns, (start_ns, end_ns)).tolist()
            raw = tuple(column[low:high] for column in batch.bands[sensor])
            times.append(batch.t_ns[low:high])
            levels.append(model.level(raw))  # type: ignore[arg-type]
            found.append(1 - distances.compute(model.relative(raw)) / tolerance)  # type: ignore[arg-type]
        names = tuple(channel.name for channel in channels)
        if not times:
            return Trace(np.empty(0, np.int64), np.empty(0), names, np.empty((len(names), 0)))
        return Trace(np.concatenate(times), np.concatenate(levels), names, np.concatenate(found, axis=1))
