"""Does it fail safe? What each output settles to when a sensor is absent, dark or clipped (counter-example A35).

The station's logic, evaluated with three values on states that last: True, False, None for 'either'. Inputs and the channels of
other sensors may be either. Nothing is read but station.yaml.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from stationtest.model.station import Logic, Output, Sensor, Station

State = bool | None
FAILURES = ("absent", "dark", "clipped")


@dataclass(frozen=True, slots=True)
class SafeState:
    """What `output` settles to when `sensor` fails so. `good` is its state that says that all is well, None if not known."""

    output: Output
    sensor: str
    failure: str
    state: State
    good: State

    @property
    def looks_good(self) -> bool:
        return self.good is not None and self.state == self.good

    @property
    def words(self) -> str:
        """`off`, `on`, `on or off`; of a decided output, what it does at each decision."""
        edge = self.output.decided_at
        if self.state is None:
            return "on or off"
        if edge is None:
            return "on" if self.state else "off"
        if self.output.pulse is not None:
            return f"{'a' if self.state else 'no'} pulse at each {edge}"
        return f"{'on' if self.state else 'off'} from each {edge}"


def safe_states(station: Station) -> Iterator[SafeState]:
    """Every output with every sensor that it rests on and every failure, in file order."""
    for output in station.outputs:
        for sensor in station.sensors:
            if not _rests_on(station, output.name, sensor):
                continue
            for failure in FAILURES:
                states = dict.fromkeys((channel.name for channel in station.channels_of(sensor.name)), lines(sensor, failure))
                yield SafeState(output, sensor.name, failure, settled(station, output, states), good(station, output))


def lines(sensor: Sensor, failure: str) -> State:
    """What every output line of a failing sensor shows. One that is not there gives no signal, whatever its polarity; a dark
    reading does what the station declares; a clipped one may match anything."""
    if failure == "absent" or (failure == "dark" and sensor.when_dark is not None and sensor.when_dark.channels == "off"):
        return False
    return None


def good(station: Station, output: Output) -> State:
    """The state that says that all is well: as declared; on for the output that says that a set is complete; else what follows
    from those, if it follows."""
    if output.good is not None:
        return output.good
    says_complete = {kind.output for kind in station.sets if kind.output is not None}
    if output.name in says_complete:
        return True
    with_it, without = (settled(station, output, dict.fromkeys(says_complete, state)) for state in (True, False))
    return with_it if with_it is not None and without is not None and with_it != without else None


def settled(station: Station, output: Output, given: Mapping[str, State]) -> State:
    """What an output settles to if the signals `given` stay so and all others may be either. For an output that is decided at an
    edge: what its decisions are."""
    if output.name in given:
        return given[output.name]
    outputs = {one.name: one for one in station.outputs}
    by_edge = {channel.name for channel in station.channels if channel.by_edge}

    def member(name: str) -> State:
        state = settled(station, outputs[name], given) if name in outputs else given.get(name)
        if name in by_edge and state:
            return False  # what stays on does not rise
        # held or set only while an input is on, it is off with the input
        gated = output.held_while is not None or (output.latched and output.enabled_while is not None)
        return None if gated and state else state

    state = _combined(output.logic, member)
    if output.enabled_while is not None and output.decided_at is None and not output.latched and state:
        return None
    if output.pulse is not None and output.decided_at is None and state is not None:
        return False  # what stays as it is gives no pulse
    return state


def _combined(logic: Logic, member) -> State:  # type: ignore[no-untyped-def]
    states = [member(part) if isinstance(part, str) else _combined(part, member) for part in logic.of]
    surely, perhaps = states.count(True), states.count(True) + states.count(None)
    need = {"any_of": 1, "none_of": 1, "all_of": len(states), "at_least": logic.n or 1}[logic.op]
    state = True if surely >= need else False if perhaps < need else None
    return state if logic.op != "none_of" or state is None else not state


def _rests_on(station: Station, name: str, sensor: Sensor) -> bool:
    outputs = {one.name: one for one in station.outputs}
    mine = {channel.name for channel in station.channels_of(sensor.name)}
    return any(part in mine or (part in outputs and _rests_on(station, part, sensor)) for part in outputs[name].logic.names())
