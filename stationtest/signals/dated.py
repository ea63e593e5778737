"""Distances of the channels of one sensor whose references change at instants: each reading is compared with what held then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from stationtest.model.observations import NEVER
from stationtest.model.station import Channel, Settings
from stationtest.signals.channel_distances import ChannelDistances, Means
from stationtest.signals.conversion import SensorModel
from stationtest.signals.distances import BUILT_IN, Distance
from stationtest.signals.elementwise import Columns

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


class DatedDistances:
    """As `ChannelDistances`, with the instants of the readings.

    `channels` are those of one sensor as the station declares them; `settings` what they were set to, in order, the first from
    the start. A channel without a reference has an infinite distance, and keeps its state. `learning` are for each channel the
    stretches (n, 2) in which its reference is being learned: it then keeps its state too, or is off, as it says (`meanwhile`).
    """

    def __init__(
        self,
        model: SensorModel,
        channels: Sequence[Channel],
        settings: Sequence[Settings],
        learning: Mapping[str, Ints],
        learned: Means,
        known: Mapping[str, Distance] = BUILT_IN,
    ) -> None:
        self.model, self._channels = model, tuple(channels)
        self._off = [channel.learned_at is not None and channel.learned_at.meanwhile == "off" for channel in channels]
        self._from = np.array([NEVER if each.from_ns is None else each.from_ns for each in settings], np.int64)
        self._set: list[tuple[list[int], ChannelDistances]] = []
        for each in settings:
            mine = {channel.name: channel for channel in each.channels}
            rows = [number for number, channel in enumerate(channels) if mine[channel.name].references]
            self._set.append((rows, ChannelDistances(model, [mine[channels[row].name] for row in rows], learned, known)))
        self._learning = [learning.get(channel.name, np.empty((0, 2), np.int64)) for channel in channels]

    def compute(self, relative: Columns, t_ns: Ints) -> Floats:
        """Distances, float64 (C, n), of readings at rising instants (n,). Of a channel that is off while it learns, the distance
        is infinite then, or 0 if it is on where nothing matches."""
        found = np.full((len(self._learning), len(t_ns)), np.inf)
        for (begin, end), (rows, distances) in zip(self._pieces(t_ns), self._set, strict=True):
            if begin < end and rows:
                found[rows, begin:end] = distances.compute(tuple(column[begin:end] for column in relative))
        for number, (channel, stretches) in enumerate(zip(self._channels, self._learning, strict=True)):
            if self._off[number] and len(stretches):
                found[number, _within(stretches, t_ns)] = np.inf if channel.on_match else 0.0
        return found

    def kept(self, t_ns: Ints) -> Bools:
        """(C, n): where a channel keeps its state, having no reference or learning one."""
        found = np.zeros((len(self._learning), len(t_ns)), bool)
        for (begin, end), (rows, _) in zip(self._pieces(t_ns), self._set, strict=True):
            without = [number for number in range(len(found)) if number not in rows]
            found[without, begin:end] = True
        for number, stretches in enumerate(self._learning):
            if len(stretches):
                found[number, _within(stretches, t_ns)] = not self._off[number]
        return found

    def _pieces(self, t_ns: Ints) -> list[tuple[int, int]]:
        begins = np.searchsorted(t_ns, self._from).tolist()
        return list(zip(begins, [*begins[1:], len(t_ns)], strict=True))


def _within(stretches: Ints, t_ns: Ints) -> Bools:
    """Which instants (n,) lie in the half-open stretches (k, 2)."""
    which = np.searchsorted(stretches[:, 0], t_ns, "right") - 1
    return np.asarray((which >= 0) & (t_ns < stretches[np.maximum(which, 0), 1]))
