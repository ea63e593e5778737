"""The signals of the station: inputs, and outputs as its logic gives them and as they were recorded."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stationtest.engine.responses import ResponseTable
from stationtest.model.observations import Signal
from stationtest.model.station import Edge, Station
from stationtest.signals import intervals, logic, ternary
from stationtest.signals.ternary import Ternary

Ints = NDArray[np.int64]


class StationSignals(NamedTuple):
    """All signals by kind and name, channels among them; the instants at which inputs rise or fall for sure; latches that were
    set again at their reset (output, instant)."""

    signals: dict[tuple[str, str], Signal]
    edges: dict[Edge, Ints]
    carried_over: tuple[tuple[str, int], ...]


def station_signals(
    station: Station, channels: ResponseTable, recorded: Mapping[tuple[str, str], Ints], gaps: Ints, span: tuple[int, int]
) -> StationSignals:
    """`recorded` are the on-intervals (n, 2) of digital columns by kind and name; in `gaps` (n, 2) they are not known.

    An output that was recorded is judged by that; what the logic gives stays beside it under the kind 'computed output'.
    """
    signals = dict(channels.signals)
    given: dict[str, Ternary] = channels.as_seen()
    for channel in station.channels:
        if channel.by_edge and channel.name in given:
            given[channel.name] = ternary.at_rises(given[channel.name], span)
    edges: dict[Edge, Ints] = {}
    for (kind, name), on in recorded.items():
        if kind == "channel":
            continue
        given[name] = state = Ternary(on, intervals.union(on, gaps))
        signals[kind, name] = Signal(name=name, kind=kind, basis="recorded", must=state.must, can=state.can)
        if kind == "input":
            edges[Edge(input=name)] = ternary.rising(state, span).sure
            edges[Edge(input=name, falls=True)] = ternary.falling(state, span).sure
    carried: list[tuple[str, int]] = []
    for name, found in logic.evaluate(station, given, edges, span).items():
        carried += [(name, int(at)) for at in found.carried_over_ns]
        must, can, decisions = found.state.must, found.state.can, found.decisions_ns
        computed = Signal(name=name, kind="output", basis="computed", must=must, can=can, decisions_ns=decisions)
        seen = signals.get(("output", name))
        if seen is None:
            signals["output", name] = computed
        else:
            signals["computed output", name] = computed
            signals["output", name] = Signal(
                name=name, kind="output", basis="recorded", must=seen.must, can=seen.can, decisions_ns=decisions
            )
    return StationSignals(signals, edges, tuple(sorted(carried, key=lambda one: one[1])))
