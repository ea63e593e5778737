"""Presentations that have ended: from their rows to their figures, several side by side.

Levels and means over the plateau, the least distance to each channel's references, critical tolerances, and whether an answer
rested on clipped or dark readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.model.station import Channel, Sensor
from stationtest.signals.critical import Asked, Chain, Layout, Stretches, critical
from stationtest.signals.nearest import Nearest

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(slots=True)
class Rows:
    """Rows of presentations, held until the presentation has ended."""

    t_ns: Ints
    distance: Floats
    relative: Floats
    level: Floats
    clipped: Bools
    dark: Bools
    plateau: Bools
    floor: Floats  # (G, n), of the channels that have a group

    def part(self, chosen: slice) -> Rows:
        return Rows(*(getattr(self, name)[..., chosen] for name in Rows.__slots__))

    @staticmethod
    def joined(parts: Sequence[Rows]) -> Rows:
        if len(parts) == 1:
            return parts[0]
        return Rows(*(np.concatenate([getattr(p, name) for p in parts], axis=-1) for name in Rows.__slots__))


@dataclass(frozen=True, slots=True)
class Ended:
    """Figures of k presentations that have ended; (k,) and (C, k) arrays."""

    which: Ints
    level_min: Floats
    level_max: Floats
    clipped_rows: Ints
    dark_rows: Ints
    longest_step_ns: Ints
    first_row_ns: Ints
    means: Floats  # (B, k)
    nearest: Floats
    at_ns: Ints
    own_from: Ints
    critical_any: Floats
    critical_sure: Floats
    rested_clipped: Bools
    rested_dark: Bools


@dataclass(slots=True)
class Under:
    """k presentations whose rows are at hand, concatenated: the first row of each, which they are, their times, whether they
    are stretches between, and what was carried in to each channel: the timers' input, since when, and the first instant of
    own on-time. (k,) and (C, k) arrays."""

    starts: Ints
    which: Ints
    start_ns: Ints
    end_ns: Ints
    between: Bools
    carried: Bools
    since_ns: Ints
    own_from: Ints

    def part(self, chosen: slice) -> Under:
        return Under(*(getattr(self, name)[..., chosen] for name in Under.__slots__))


@dataclass(frozen=True, slots=True)
class Figures:
    """What is asked of ended presentations of one sensor: its channels and what stands behind their comparators."""

    sensor: Sensor
    channels: tuple[Channel, ...]
    chains: tuple[Chain, ...]
    every_ns: int
    holds: bool  # a dark reading keeps the state as it was
    grouped: Nearest | None = None

    def of(self, rows: Rows, under: Under) -> Ended:
        """The figures of presentations that have ended. Every number depends on their rows alone, not on how they came."""
        starts, t, k = under.starts, rows.t_ns, len(under.starts)
        last = np.append(starts[1:], len(t)) - 1
        lengths = last - starts + 1
        step = np.empty(len(t), np.int64)
        step[:-1] = t[1:] - t[:-1]
        step[last] = 0
        longest = np.maximum.reduceat(step, starts)
        step[last] = under.end_ns - t[last]
        even = (np.minimum.reduceat(step, starts) == self.every_ns) & (np.maximum.reduceat(step, starts) == self.every_ns)
        even &= t[starts] == under.start_ns
        hold = rows.dark if self.holds and rows.dark.any() else None
        shape = len(self.channels), k
        nearest, at_ns = np.empty(shape), np.empty(shape, np.int64)
        rested_clipped, rested_dark = np.zeros(shape, bool), np.zeros(shape, bool)
        asked = []
        for number, channel in enumerate(self.channels):
            distance = rows.distance[number]
            stretches = Stretches(
                t_ns=t, starts=starts, start_ns=under.start_ns, end_ns=under.end_ns, own_only=under.between,
                carried=under.carried[number], since_ns=under.since_ns[number],
            )  # fmt: skip
            row = None if self.grouped is None else self.grouped.rows[number]
            floor = None if row is None else rows.floor[row]
            least = distance if floor is None else np.maximum(distance, floor)
            asked.append(Asked(least, hold, stretches, self.chains[number], floor))
            nearest[number], at_ns[number] = self._nearest(channel, distance, rows, starts, lengths)
            for mask, into in ((rows.clipped, rested_clipped), (rows.dark, rested_dark)):
                if mask.any():
                    supports = (distance / (1 + channel.hysteresis) <= channel.tolerance) == channel.on_match
                    into[number] = np.add.reduceat(mask & supports, starts, dtype=np.int64) > 0
        borders = critical(asked, Layout.of(asked[0].stretches), even, self.every_ns) if asked else []
        level_min, level_max, means = _plateaus(rows, starts, lengths)
        return Ended(
            which=under.which,
            level_min=level_min,
            level_max=level_max,
            clipped_rows=np.add.reduceat(rows.clipped, starts, dtype=np.int64),
            dark_rows=np.add.reduceat(rows.dark, starts, dtype=np.int64),
            longest_step_ns=longest,
            first_row_ns=t[starts],
            means=means,
            nearest=nearest,
            at_ns=at_ns,
            own_from=under.own_from,
            critical_any=np.array([at_all for at_all, _ in borders]).reshape(shape),
            critical_sure=np.array([sure for _, sure in borders]).reshape(shape),
            rested_clipped=rested_clipped,
            rested_dark=rested_dark,
        )

    def _nearest(self, channel: Channel, distance: Floats, rows: Rows, starts: Ints, lengths: Ints) -> tuple[Floats, Ints]:
        """The least distance in each presentation and the first instant at which it occurs."""
        when = self.sensor.when_dark
        if when is not None and when.channels == "off" and not channel.on_match and rows.dark.any():
            distance = np.where(rows.dark, np.inf, distance)  # 0 there stands for 'switched off', not for a colour
        least = np.minimum.reduceat(distance, starts)
        hits = np.flatnonzero(distance == np.repeat(least, lengths))
        return least, rows.t_ns[hits[np.searchsorted(hits, starts)]]


def _plateaus(rows: Rows, starts: Ints, lengths: Ints) -> tuple[Floats, Floats, Floats]:
    """Least and greatest level (k,), mean relative reading (B, k), over the plateau; NaN where there is none."""
    if rows.plateau.all():
        low = high = rows.level
        relative, count = rows.relative, lengths
    else:
        low, high = np.where(rows.plateau, rows.level, np.inf), np.where(rows.plateau, rows.level, -np.inf)
        relative, count = np.where(rows.plateau, rows.relative, 0.0), np.add.reduceat(rows.plateau, starts, dtype=np.int64)
    some = count > 0
    means = np.add.reduceat(relative, starts, axis=1) / np.maximum(count, 1)
    return (
        np.where(some, np.minimum.reduceat(low, starts), np.nan),
        np.where(some, np.maximum.reduceat(high, starts), np.nan),
        np.where(some, means, np.nan),
    )
