"""The signals of the station: inputs, and outputs as its logic gives them and as they were recorded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stationtest.engine.responses import ResponseTable
from stationtest.model.observations import Signal
from stationtest.model.station import Edge, Station
from stationtest.model.travel import Belt
from stationtest.signals import intervals, logic, ternary
from stationtest.signals.ternary import Ternary

Ints = NDArray[np.int64]


class StationSignals(NamedTuple):
    """All signals by kind and name, channels among them; the instants at which inputs rise or fall for sure; latches that were
    set again at their reset (output, instant)."""

    signals: dict[tuple[str, str], Signal]
    edges: dict[Edge, Ints]
    carried_over: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Recorded:
    """A digital signal as recorded: on (n, 2) and not known (m, 2). `own_gaps`: its log has gaps of its own, apart from those of
    the readings."""

    on: Ints
    unknown: Ints
    own_gaps: bool = False


def station_signals(
    station: Station, channels: ResponseTable, recorded: Mapping[tuple[str, str], Recorded], span: tuple[int, int],
    belt: Belt | None = None,
) -> StationSignals:
    """`recorded` by kind and name.

    An output that was recorded is judged by that; what the logic gives stays beside it under the kind 'computed output'. Where a
    computed output is open only because of what was not read or not logged, it is `unknown` there: that is not a perhaps.
    """
    signals = dict(channels.signals)
    given: dict[str, Ternary] = channels.as_seen()
    edges: dict[Edge, Ints] = {}
    for (kind, name), one in recorded.items():
        if kind == "channel":
            continue
        given[name] = state = Ternary(one.on, intervals.union(one.on, one.unknown))
        unknown = one.unknown if one.own_gaps else None
        signals[kind, name] = Signal(name=name, kind=kind, basis="recorded", must=state.must, can=state.can, unknown=unknown)
        if kind == "input":
            edges[Edge(input=name)] = ternary.rising(state, span).sure
            edges[Edge(input=name, falls=True)] = ternary.falling(state, span).sure
    carried: list[tuple[str, int]] = []
    plain: list[dict[str, logic.Evaluated]] = []
    if _gaps(channels, recorded):
        either = (channels.as_if_known(on) | _as_if_known(recorded, on) for on in (False, True))
        plain = [logic.evaluate(station, signals_, edges, span, belt) for signals_ in either]
    for name, found in logic.evaluate(station, given, edges, span, belt).items():
        carried += [(name, int(at)) for at in found.carried_over_ns]
        must, can, decisions = found.state.must, found.state.can, found.decisions_ns
        unknown = None
        if plain:  # what is perhaps whether the unknown was on or off is so for its shortness
            off, on = (_doubt(each[name].state) for each in plain)
            unknown = intervals.subtract(_doubt(found.state), intervals.intersect(off, on))
        computed = Signal(
            name=name, kind="output", basis="computed", must=must, can=can, decisions_ns=decisions, unknown=unknown
        )
        seen = signals.get(("output", name))
        if seen is None:
            signals["output", name] = computed
        else:
            signals["computed output", name] = computed
            signals["output", name] = replace(seen, decisions_ns=decisions)
    return StationSignals(signals, edges, tuple(sorted(carried, key=lambda one: one[1])))


def _gaps(channels: ResponseTable, recorded: Mapping[tuple[str, str], Recorded]) -> bool:
    return len(channels.stretch.spans) > 1 or any(len(one.unknown) for one in recorded.values())


def _as_if_known(recorded: Mapping[tuple[str, str], Recorded], on: bool) -> dict[str, Ternary]:
    """The signals as if what is not known had been on, or off."""
    return {
        name: ternary.known(intervals.union(one.on, one.unknown) if on else one.on)
        for (kind, name), one in recorded.items()
        if kind != "channel"
    }


def _doubt(state: Ternary) -> Ints:
    return intervals.subtract(state.can, state.must)
