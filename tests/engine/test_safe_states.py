"""What each output settles to while a sensor fails (A35), against every assignment of what is not known, and against the logic
run over time."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stationtest import cli
from stationtest.commands import starter
from stationtest.engine.safe_states import safe_states, settled
from stationtest.model.station import Channel, Edge, Logic, Output, Sensor, SetKind, Settings, Station, WhenDark
from stationtest.signals import logic, ternary

BANDS = ("red", "green", "blue")


def station(outputs, when_dark=None, sets=(), **of):
    sensors = tuple(Sensor(name=name, reads="linear RGB", bands=BANDS, columns=BANDS, when_dark=when_dark) for name in ("a", "b"))
    channels = tuple(
        Channel(name=name, sensor="a" if name in "12" else "b", references=(), for_targets=(), distance="CIEDE2000", tolerance=1,
                **of.get(f"of_{name}", {}))
        for name in "123"
    )  # fmt: skip
    return Station(name="s", sensors=sensors, settings=(Settings(channels=channels),), inputs=("in", "out"),
                   outputs=tuple(outputs), sets=tuple(sets))  # fmt: skip


def found(one):
    return {(s.output.name, s.sensor, s.failure): (s.words, s.looks_good) for s in safe_states(one)}


@st.composite
def trees(draw, names):
    """Logic in which every name stands once; then three values lose nothing."""
    op = draw(st.sampled_from(("any_of", "all_of", "none_of", "at_least")))
    if len(names) <= 2 or draw(st.booleans()):
        of = tuple(names)
    else:
        cut = draw(st.integers(1, len(names) - 1))
        of = (draw(trees(names[:cut])), *names[cut:])
    return Logic(op=op, of=of, n=draw(st.integers(1, len(of))) if op == "at_least" else None)


def plain(tree, states):
    values = [states[part] if isinstance(part, str) else plain(part, states) for part in tree.of]
    answers = {"any_of": any(values), "all_of": all(values), "none_of": not any(values), "at_least": sum(values) >= (tree.n or 0)}
    return answers[tree.op]


@given(trees(("1", "2", "3", "in", "out")), st.lists(st.sampled_from((True, False, None)), min_size=5, max_size=5))
@settings(max_examples=200, deadline=None)
def test_nested_logic_settles_to_what_every_assignment_gives(tree, given_states):
    names = ("1", "2", "3", "in", "out")
    known = {name: state for name, state in zip(names, given_states, strict=True) if state is not None}
    free = [name for name in names if name not in known]
    answers = {plain(tree, known | dict(zip(free, bits, strict=True))) for bits in product((False, True), repeat=len(free))}
    one = station([Output(name="x", logic=tree)])
    assert settled(one, one.outputs[0], known) == (answers.pop() if len(answers) == 1 else None)
    span = (0, 100)
    always, never = np.array([span], np.int64), np.empty((0, 2), np.int64)
    signals = {name: ternary.known(always if state else never) for name, state in known.items()}
    over_time = ternary.bounded(logic.evaluate(one, signals, {}, span)["x"].state, span)
    assert (settled(one, one.outputs[0], known) is True) == (over_time.must.tolist() == [[0, 100]])
    assert (settled(one, one.outputs[0], known) is False) == (over_time.can.tolist() == [])


BOX = Edge(input="out")
COMPLETE = Output(name="complete", logic=Logic(op="all_of", of=("1", "2")), held_until=BOX)
FULL = SetKind(name="box", members=(), output="complete")


def test_a_box_check_that_fails_safe():
    """Absent: nothing is complete, so every box is thrown out; the good state of the flap follows from that of the set."""
    flap = Output(name="flap", logic=Logic(op="none_of", of=("complete",)), decided_at=BOX, pulse=10)
    states = found(station([COMPLETE, flap], sets=[FULL]))
    assert states["complete", "a", "absent"] == ("off", False)
    assert states["flap", "a", "absent"] == ("a pulse at each out", False)
    assert states["flap", "a", "dark"] == states["flap", "a", "clipped"] == ("on or off", False)
    assert not any(sensor == "b" for _, sensor, _ in states)


def test_a35_a_reject_that_waits_for_a_signal_lets_everything_pass_when_the_plug_is_pulled():
    reject = Output(name="reject", logic=Logic(op="any_of", of=("1",)), decided_at=BOX, pulse=10, good=False)
    states = found(station([reject], when_dark=WhenDark(below=0.02, channels="off")))
    assert states["reject", "a", "absent"] == states["reject", "a", "dark"] == ("no pulse at each out", True)
    assert states["reject", "a", "clipped"] == ("on or off", False)


def test_a_line_that_is_not_there_is_off_whatever_it_switches_on():
    bare = Output(name="bare", logic=Logic(op="none_of", of=("3",)), good=True)
    states = found(station([bare], of_3={"switches": "off match"}))
    assert states["bare", "b", "absent"] == ("on", True)


@pytest.mark.parametrize(
    ("output", "states", "answer"),
    [
        (Output(name="x", logic=Logic(op="any_of", of=("1",)), pulse=10), {"1": True}, False),  # it has risen once
        (Output(name="x", logic=Logic(op="any_of", of=("1",)), held_while="in"), {"1": True}, None),  # off with the input
        (Output(name="x", logic=Logic(op="none_of", of=("1",)), enabled_while="in"), {"1": False}, None),  # off with the input
        (Output(name="x", logic=Logic(op="none_of", of=("1",)), enabled_while="in"), {"1": True}, False),
        (Output(name="x", logic=Logic(op="any_of", of=("1",)), enabled_while="in", held_until=BOX), {"1": True}, None),
        (Output(name="x", logic=Logic(op="none_of", of=("1",)), enabled_while="in", decided_at=BOX), {"1": False}, True),
        (Output(name="x", logic=Logic(op="any_of", of=("1",)), held_until=BOX), {"1": True}, True),  # set again at each reset
        (Output(name="x", logic=Logic(op="all_of", of=("1",)), held_until=BOX), {"1": None}, None),
        (Output(name="x", logic=Logic(op="none_of", of=("1",)), decided_at=BOX), {"1": False}, True),
    ],
)  # fmt: skip
def test_latches_pulses_and_decisions(output, states, answer):
    assert settled(station([output]), output, states) is answer


def test_what_stays_on_does_not_rise():
    output = Output(name="x", logic=Logic(op="any_of", of=("1",)), held_until=BOX)
    one = station([output], of_1={"read_as": "edge"})
    assert settled(one, output, {"1": True}) is False


def test_check_says_it(tmp_path, capsys):
    for path, content in starter.files().items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text(content)
    station_yaml = tmp_path / "station.yaml"
    assert "outputs:" not in station_yaml.read_text()
    station_yaml.write_text(station_yaml.read_text() + "outputs:\n  pass on: {none_of: [1, 2], good: on}\n")
    assert cli.main(["check", str(tmp_path)]) == 0
    (caution,) = (line for line in capsys.readouterr().out.splitlines() if line.startswith("caution"))
    assert caution.endswith("outputs.pass on: with sensor eye absent this gives on, which looks like good")
