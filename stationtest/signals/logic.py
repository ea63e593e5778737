"""The station's logic: from channels and inputs to outputs, with three values.

What happens at one instant happens in this order: decisions read the state that held just before it; latches are reset; latches
are set; pulses start. So an output that is decided at the edge that clears its latches still sees them (counter-example A3).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationtest.signals import intervals as ivs
from stationtest.signals import ternary
from stationtest.signals.ternary import Edges, Ternary
from stationtest.signals.travel import Stepped, on_belt

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from stationtest.model.station import Channel, Edge, Logic, Output, Station
    from stationtest.model.travel import Belt, Reach
    from stationtest.signals.intervals import Ints, Span
    from stationtest.signals.travel import Delay


class Evaluated(NamedTuple):
    """An output within the span; the instants of its decisions (None if it is not decided at an edge); the instants at which one
    of its latches was set again by what was still on after the reset."""

    state: Ternary
    decisions_ns: Ints | None
    carried_over_ns: Ints


def evaluate(
    station: Station, signals: Mapping[str, Ternary], edges: Mapping[Edge, Ints], span: Span, belt: Belt | None = None
) -> dict[str, Evaluated]:
    """Every output of the station, in file order. Lengths are of `belt`; without one they are of unknown duration.

    `signals` are channels (as the controller sees them, see `ternary.seen`; by level or edge, and held for an item, here) and
    inputs, known within `span`; one that is missing is unknown throughout. An output that is among them (a recorded one) is what
    other outputs read, and is still computed.
    `edges` are the instants at which inputs rise or fall for sure; for one that is missing they are taken from its signal. Where
    an input is perhaps, an edge may have been lost: resets and decisions there are perhaps too. Raises ValueError if outputs
    depend on themselves.
    """
    given = {name: ternary.unbounded(signal, span) for name, signal in signals.items()}
    given |= _as_read(station.channels, given, edges, span, belt)
    computed: dict[str, Evaluated] = {}
    for output in _dependency_order(station.outputs):
        timing = _Timing(belt, station.scan.worst_ns if output.delays_in == "controller" else 0)
        computed[output.name] = evaluated = _output(output, given, edges, span, timing)
        given.setdefault(output.name, ternary.unbounded(evaluated.state, span))
    return {output.name: computed[output.name] for output in station.outputs}


def _as_read(
    channels: Sequence[Channel], given: Mapping[str, Ternary], edges: Mapping[Edge, Ints], span: Span, belt: Belt | None
) -> dict[str, Ternary]:
    """The channels that the logic does not read as their outputs are: by their edges (A23), or held for an item (A27)."""
    found = {c.name: ternary.at_rises(given[c.name], span) for c in channels if c.by_edge and c.name in given}
    read = {**given, **found}
    for channel in channels:
        held = channel.held
        if held is None or channel.name not in given:
            continue
        others = [c.name for c in channels if c.held and c.sensor == channel.sensor and c is not channel and c.name in given]
        resets = [ternary.rising(given[name], span) for name in others]
        if held.until is not None:
            resets.append(_edges(held.until, given, edges, span))
        spread = [ivs.empty(), *(ternary.spread_rises(given[name], span) for name in others)]
        state = _latched(given[channel.name], _joined(*resets), np.concatenate(spread), span)
        if held.over is not None:
            state = ternary.all_of(state, ternary.off_delay(read[channel.name], on_belt(held.over, belt)))
        found[channel.name] = state
    return found


def _latched(signal: Ternary, resets: Edges, others_spread: Ints, span: Span) -> Ternary:
    """Set by a rise, reset by others. A short pulse that perhaps nobody saw before a longer one leaves open which of them was the
    rise; but where neither a reset nor a set may come between, what it did is done for sure once the longer one is on."""
    rises, own_spread = ternary.at_rises(signal, span), ternary.spread_rises(signal, span)
    at_all = ivs.union(np.column_stack((resets.sure, resets.sure + 1)), resets.perhaps)
    set_by = own_spread[ivs.overlap(at_all, own_spread[:, 0], own_spread[:, 1]) == 0, 1]
    reset_by = others_spread[ivs.overlap(rises.can, others_spread[:, 0], others_spread[:, 1]) == 0, 1]
    must = ivs.union(rises.must, np.column_stack((set_by - 1, set_by)))
    done = Edges(np.union1d(resets.sure, reset_by - 1), resets.perhaps)
    return ternary.latch(Ternary(must, ivs.union(rises.can, must)), done)[0]


class _Timing(NamedTuple):
    """In what an output's delays and pulses are counted: the belt for lengths, the steps of the controller for times."""

    belt: Belt | None
    scan_ns: int

    def of(self, reach: Reach) -> Delay:
        return Stepped(reach, self.scan_ns) if self.scan_ns and isinstance(reach, int) and reach else on_belt(reach, self.belt)


def _output(
    output: Output, given: Mapping[str, Ternary], edges: Mapping[Edge, Ints], span: Span, timing: _Timing
) -> Evaluated:
    members = {name: given.get(name, ternary.unknown()) for name in output.logic.names()}
    on = given.get(output.enabled_while, ternary.unknown()) if output.enabled_while else None
    carried: Ints = np.empty(0, dtype=np.int64)
    if output.held_until or output.held_from or output.held_while:
        resets = _joined(*(_edges(edge, given, edges, span) for edge in (output.held_until, output.held_from) if edge))
        enabled = given.get(output.held_while, ternary.unknown()) if output.held_while else None
        sets = members if on is None else {name: ternary.all_of(signal, on) for name, signal in members.items()}
        latches = {name: ternary.latch(signal, resets, enabled) for name, signal in sets.items()}
        members = {name: state for name, (state, _) in latches.items()}
        carried = np.unique(np.concatenate([carried, *(instants for _, instants in latches.values())]))
    state = _combine(output.logic, members)
    if output.decided_at is None:
        if on is not None and not output.latched:
            state = ternary.all_of(state, on)
        return Evaluated(_timed(output, state, span, output.pulse, timing), None, carried)
    decisions = _edges(output.decided_at, given, edges, span)
    if on is not None:
        decisions = ternary.enabled_edges(decisions, on)
    if output.pulse is None:
        state = ternary.later(ternary.decided(state, decisions), timing.of(output.acts_after))
        timed = _timed(output, state, span, None, timing)
    else:
        # each decision gives its own pulse, however the one before it went; a delay moves it
        delays = timing.of(output.acts_after), timing.of(output.on_delay)
        timed = ternary.decided_pulses(state, decisions, timing.of(output.pulse), delays)
        timed = ternary.bounded(ternary.off_delay(timed, timing.of(output.off_delay)), span)
    return Evaluated(timed, decisions.sure, carried)


def _timed(output: Output, state: Ternary, span: Span, pulse: Reach | None, timing: _Timing) -> Ternary:
    """On-delay, off-delay, pulse; the state is unknown before the span, so no timer has an age there."""
    state = ternary.off_delay(ternary.on_delay(state, timing.of(output.on_delay)), timing.of(output.off_delay))
    return ternary.bounded(state if pulse is None else ternary.pulse(state, timing.of(pulse)), span)


def _combine(logic: Logic, members: Mapping[str, Ternary]) -> Ternary:
    parts = [members[part] if isinstance(part, str) else _combine(part, members) for part in logic.of]
    if logic.op == "at_least":
        if logic.n is None:
            raise ValueError("at_least without a number")
        return ternary.at_least(logic.n, *parts)
    return {"any_of": ternary.any_of, "all_of": ternary.all_of, "none_of": ternary.none_of}[logic.op](*parts)


def _edges(edge: Edge, given: Mapping[str, Ternary], edges: Mapping[Edge, Ints], span: Span) -> Edges:
    signal = given.get(edge.input, ternary.unknown())
    own = ternary.falling(signal, span) if edge.falls else ternary.rising(signal, span)
    if edge not in edges:
        return own
    instants = edges[edge]
    sure: Ints = np.unique(instants[(instants >= span[0]) & (instants < span[1])])
    return Edges(sure, ivs.subtract(own.perhaps, np.column_stack((sure, sure + 1))))


def _joined(*several: Edges) -> Edges:
    if not several:
        return Edges(np.empty(0, dtype=np.int64), ivs.empty())
    return Edges(np.unique(np.concatenate([edges.sure for edges in several])), ivs.union(*(edges.perhaps for edges in several)))


def _dependency_order(outputs: tuple[Output, ...]) -> Iterator[Output]:
    """Outputs so that each comes after those that it reads; else in file order."""
    waiting = {output.name: output for output in outputs}
    while waiting:
        ready = [output for output in waiting.values() if not any(name in waiting for name in _reads(output))]
        if not ready:
            raise ValueError(f"outputs depend on themselves: {', '.join(waiting)}")
        for output in ready:
            del waiting[output.name]
        yield from ready


def _reads(output: Output) -> Iterator[str]:
    yield from output.logic.names()
    for edge in (output.held_until, output.held_from, output.decided_at):
        if edge:
            yield edge.input
    yield from (name for name in (output.held_while, output.enabled_while) if name)
