"""Channels that the logic ignores while an input is off (`enabled_while`): what they read meanwhile switches nothing.

The readings of such a time count as infinitely far from the reference (on it, with `off match`), so that margins agree with
verdicts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stationtest.engine.sensing import Sensed
from stationtest.engine.station_signals import Recorded
from stationtest.model.station import Channel
from stationtest.signals import intervals
from stationtest.signals.batch import Batch

if TYPE_CHECKING:
    from stationtest.sources.logged import Key, Logged

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def ignoring(sensed: Sensed, channels: Sequence[Channel], batch: Batch, logged: Mapping[Key, Logged]) -> Sensed:
    """With the distances of ignored readings such that they switch nothing (made in place)."""
    ignored: dict[int, Bools] = {}
    for number, channel in enumerate(channels):
        off = None if channel.enabled_while is None else _off(channel.enabled_while, batch, logged)
        if off is not None and off.any():
            far = np.inf if channel.on_match else 0.0
            sensed.distance[number][off if sensed.inside is None else off[sensed.inside]] = far
            ignored[number] = off
    return replace(sensed, ignored=ignored) if ignored else sensed


def _off(name: str, batch: Batch, logged: Mapping[Key, Logged]) -> Bools | None:
    """Where an input is off (n,); None if the recording does not have it."""
    column = batch.digital.get(("input", name))
    if column is not None:
        return ~column.astype(bool)
    log = logged.get(("input", name))
    if log is None or batch.t_ns is None:
        return None
    return ~intervals.contains(log.on, batch.t_ns) & ~intervals.contains(log.unknown, batch.t_ns)


def enabled(channels: Sequence[Channel], recorded: Mapping[Key, Recorded]) -> dict[str, Ints]:
    """When recorded channels may not be ignored (n, 2), by name; those that never are are left out."""
    inputs = {channel.name: recorded.get(("input", channel.enabled_while)) for channel in channels if channel.enabled_while}
    return {name: intervals.union(one.on, one.unknown) for name, one in inputs.items() if one is not None}


def unsure(channel: Channel, recorded: Mapping[Key, Recorded], span: tuple[int, int]) -> Ints | None:
    """Where it is not known whether a channel is ignored (n, 2); None for one that never is."""
    if channel.enabled_while is None:
        return None
    enabled = recorded.get(("input", channel.enabled_while))
    return np.array([span], np.int64) if enabled is None else enabled.unknown
