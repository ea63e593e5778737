"""From the readings of a batch to distances: a pure function of the batch, which may run in any thread.

Only readings in presentations matter, and those outside that may be near a reference: a screen that misses none tells which.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stationtest.model.group import Group
from stationtest.model.station import Channel, Sensor
from stationtest.signals.channel_distances import ChannelDistances
from stationtest.signals.dated import DatedDistances
from stationtest.signals.elementwise import Columns
from stationtest.signals.nearest import Nearest
from stationtest.signals.screen import Screen

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sensed:
    """What `sense` finds in a batch: the m readings in presentations, and those outside that may be near a reference.

    `inside` numbers the rows (m,), None if they are all of the batch; `distance` (C, m), inf where it cannot be computed;
    `relative` (B, m), `level` (m,); `clipped`, `dark` (m,) or None if none is. `near` (h,) numbers rows outside,
    `near_distance` (C, h), `near_dark` (h,). `floor` (G, m), `near_floor` (G, h): the least own tolerances with which
    grouped channels win (see signals/nearest.py), None where the sensor has no group. `kept` (C, m), `near_kept` (C, h): where
    a channel keeps its state whatever the reading, having no reference then; None where references never change. `ignored`: by
    number of a channel, the rows of the batch that switch nothing there.
    """

    inside: Ints | None
    distance: Floats
    relative: Floats
    level: Floats
    clipped: Bools | None
    dark: Bools | None
    near: Ints
    near_distance: Floats
    near_dark: Bools
    floor: Floats | None = None
    near_floor: Floats | None = None
    kept: Bools | None = None
    near_kept: Bools | None = None
    ignored: Mapping[int, Bools] | None = None


class Sensing:
    """One sensor with its channels. `screen` is None where no reading lies outside a presentation, or none can be left out."""

    def __init__(
        self,
        sensor: Sensor,
        channels: Sequence[Channel],
        distances: ChannelDistances | DatedDistances,
        screen: Screen | None,
        groups: Sequence[Group] = (),
    ) -> None:
        self.sensor, self.channels, self.distances, self.screen = sensor, tuple(channels), distances, screen
        self.dated = isinstance(distances, DatedDistances)
        self.nearest = Nearest(channels, groups) if groups else None
        self.model = distances.model
        self._nothing_near = (np.empty(0, np.int64), np.empty((len(self.channels), 0)), np.empty(0, bool))

    @property
    def holds(self) -> bool:
        """A dark reading keeps every channel as it was."""
        return self.sensor.when_dark is not None and self.sensor.when_dark.channels == "hold"

    def sense(self, raw: Columns, begin: Ints, end: Ints, t_ns: Ints) -> Sensed:
        """Distances of the rows in presentations (row ranges [begin, end)), and of those outside that may be near a reference."""
        found = self._sense(raw, begin, end, t_ns)
        if isinstance(self.distances, DatedDistances):
            inside = t_ns if found.inside is None else t_ns[found.inside]
            kept = self.distances.kept(inside)
            found = replace(found, kept=kept, near_kept=self.distances.kept(t_ns[found.near]))
        if self.nearest is None:
            return found
        return replace(found, floor=self.nearest.floors(found.distance), near_floor=self.nearest.floors(found.near_distance))

    def _sense(self, raw: Columns, begin: Ints, end: Ints, t_ns: Ints) -> Sensed:
        n = len(raw[0])
        if int((end - begin).sum()) == n:
            return Sensed(None, *self._colours(raw, t_ns), *self._nothing_near)
        relative = self.model.relative(raw)
        mask = covered(begin, end, n)
        near = (
            np.flatnonzero((self.screen.may_be_within(relative) != 0) & ~mask)
            if self.screen is not None
            else np.flatnonzero(~mask)
        )
        inside = np.flatnonzero(mask)
        found = self._colours(tuple(column.take(inside) for column in raw), t_ns[inside] if self.dated else t_ns)
        if not len(near):
            return Sensed(inside, *found, *self._nothing_near)
        outside = tuple(column.take(near) for column in raw)
        distance, _, _, _, dark = self._colours(outside, t_ns[near] if self.dated else t_ns)
        return Sensed(inside, *found, near, distance, np.zeros(len(near), bool) if dark is None else dark)

    def _colours(self, raw: Columns, t_ns: Ints) -> tuple[Floats, Floats, Floats, Bools | None, Bools | None]:
        """Distance (C, m), relative (B, m), level, clipped, dark of readings; `t_ns` (m,) matters where references change."""
        relative = np.empty((len(raw), len(raw[0])))
        self.model.relative(raw, out=tuple(relative))
        if isinstance(self.distances, DatedDistances):
            distance = self.distances.compute(tuple(relative), t_ns)
        else:
            distance = self.distances.compute(tuple(relative))
        level = self.model.level(raw)
        clipped = self.model.clipped(raw)
        dark = level <= 0 if self.sensor.when_dark is None else self.model.is_dark(level)
        if dark.any() and self.sensor.when_dark is not None and self.sensor.when_dark.channels == "off":
            # a dark reading switches the channel off whatever its colour
            for number, channel in enumerate(self.channels):
                distance[number][dark] = np.inf if channel.on_match else 0.0
        return distance, relative, level, clipped if clipped.any() else None, dark if dark.any() else None

    def masks(self, number: int, sensed: Sensed, n: int) -> tuple[Bools, Bools]:
        """Where a channel's comparator is switched on, and where it stays as it was; (n,) each, for the n rows of the batch."""
        on, band = self._masks(number, sensed, n)
        if sensed.ignored is not None and number in sensed.ignored:
            off = sensed.ignored[number]
            on, band = on & ~off if self.channels[number].on_match else on | off, band & ~off
        return on, band

    def _masks(self, number: int, sensed: Sensed, n: int) -> tuple[Bools, Bools]:
        row = None if self.nearest is None else self.nearest.rows[number]
        on, band = self._compared(number, sensed.distance[number], sensed.dark, _row(sensed.floor, row), sensed.kept)
        if sensed.inside is None:
            return on, band
        all_on, all_band = np.zeros(n, bool), np.zeros(n, bool)
        all_on[sensed.inside], all_band[sensed.inside] = on, band
        if len(sensed.near):
            all_on[sensed.near], all_band[sensed.near] = self._compared(
                number, sensed.near_distance[number], sensed.near_dark, _row(sensed.near_floor, row), sensed.near_kept
            )
        return all_on, all_band

    def _compared(
        self, number: int, distance: Floats, dark: Bools | None, floor: Floats | None, kept: Bools | None
    ) -> tuple[Bools, Bools]:
        channel = self.channels[number]
        on = distance <= channel.tolerance
        if channel.hysteresis:
            band = (distance / (1 + channel.hysteresis) <= channel.tolerance) & ~on
        else:
            band = np.zeros(len(on), bool)
        if floor is not None:
            wins = floor <= channel.tolerance
            on, band = on & wins, band & wins
        if dark is not None and self.holds:
            on, band = on & ~dark, band | dark
        if kept is not None:
            on, band = on & ~kept[number], band | kept[number]
        return on, band


def _row(floors: Floats | None, row: int | None) -> Floats | None:
    """The floor of one channel; None if it has no group."""
    return None if floors is None or row is None else floors[row]


def covered(begin: Ints, end: Ints, n: int) -> Bools:
    """Which of n rows lie in the row ranges [begin, end), none of which is empty and no two of which overlap."""
    mark = np.zeros(n + 1, np.int8)
    mark[begin] = 1
    mark[end] -= 1
    return np.cumsum(mark[:n], dtype=np.int8).view(bool)
