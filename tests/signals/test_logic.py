"""The station's logic against a plain machine that steps whole stations tick by tick, and the counter-examples of practice."""

from __future__ import annotations

import numpy as np
import pytest
import tick_machine as ticks
from hypothesis import given, settings
from hypothesis import strategies as st

from stationtest.model.station import Channel, Edge, HeldForItem, Logic, Output, Settings, Station
from stationtest.signals import intervals as ivs
from stationtest.signals import logic, ternary
from stationtest.signals.ternary import Ternary

MS = 1_000_000


def known(*pairs):
    return ternary.known(ivs.intervals(pairs))


def all_of(*of):
    return Logic(op="all_of", of=of)


def none_of(*of):
    return Logic(op="none_of", of=of)


def run(outputs, signals, span):
    """Evaluated with the edges that the inputs' own signals have."""
    found = logic.evaluate(Station(name="s", outputs=tuple(outputs)), signals, {}, span)
    assert list(found) == [output.name for output in outputs]
    return found


BOX_OUT = Edge(input="box out")


def tea_sampler(**latch):
    return [
        Output(name="box complete", logic=all_of("1", "2", "3", "4"), held_until=BOX_OUT, **latch),
        Output(name="flap", logic=none_of("box complete"), decided_at=BOX_OUT, pulse=120),
    ]


def test_a_complete_box_is_not_thrown_out():
    """Counter-example A3: four sachets seen by 9.8 s, box out at 10.0 s clears the latches and decides at the same edge. Times in
    ms; the box before it, which clears what was unknown, is empty and thrown out."""
    box_out = known((1_000, 1_300), (10_000, 10_300))
    sachets = {str(n): known((8_500 + 200 * n, 8_540 + 200 * n)) for n in range(1, 5)}
    found = run(tea_sampler(), {**sachets, "box out": box_out}, (0, 12_000))
    assert found["flap"].state.must.tolist() == []
    # not known: a pulse from before the first row, and what the latches were at the first box out
    assert found["flap"].state.can.tolist() == [[0, 119], [1_000, 1_120]]
    assert found["flap"].decisions_ns.tolist() == [1_000, 10_000]
    assert found["box complete"].state.must.tolist() == [[9_300, 10_000]]


def test_each_short_box_is_thrown_out():
    box_out = known((1_000, 1_300), (10_000, 10_300))
    for lacking in "1234":
        sachets = {n: known((8_000, 8_040)) if n != lacking else known() for n in "1234"}
        found = run(tea_sampler(), {**sachets, "box out": box_out}, (0, 12_000))
        assert found["flap"].state.must.tolist()[-1] == [10_000, 10_120]


def test_the_latch_is_cleared_by_the_edge_and_not_held_cleared_by_the_level():
    """Counter-example A3, second part: box out stays on for 300 ms and the next box's first sachet comes in that time."""
    signals = {"1": known((1_100, 1_140)), "box out": known((1_000, 1_300), (2_000, 2_300))}
    [box] = run([Output(name="box", logic=all_of("1"), held_until=BOX_OUT)], signals, (0, 3_000)).values()
    assert box.state.must.tolist() == [[1_100, 2_000]]


def test_what_came_before_the_box_is_ignored_from_its_edge_on():
    """Counter-example A3, third part: a stray sachet between the boxes must not count for the next one."""
    signals = {"1": known((1_400, 1_440)), "box in": known((1_600, 1_700)), "box out": known((1_000, 1_300), (2_000, 2_300))}
    output = Output(name="box", logic=all_of("1"), held_until=BOX_OUT, held_from=Edge(input="box in"))
    [box] = run([output], signals, (0, 3_000)).values()
    assert box.state.must.tolist() == [[1_400, 1_600]]
    assert not ivs.before(box.state.can, [2_000])[0]


def test_three_milliseconds_of_mint_leave_the_flap_a_perhaps():
    """Counter-example A10a: the only pulse is shorter than a scan, so the box is perhaps thrown out: neither can be claimed."""
    box_out = known((1_000, 1_300), (10_000, 10_300))
    sachets = {n: known((8_000, 8_040)) for n in "234"}
    short = ternary.seen(known((8_500, 8_503)), 8)
    found = run(tea_sampler(), {**sachets, "1": short, "box out": box_out}, (0, 12_000))
    assert found["flap"].state.must.tolist() == []
    assert found["flap"].state.can.tolist()[-1] == [10_000, 10_120]


def test_a_pulse_left_from_the_box_before_is_not_started_anew():
    """Counter-example A11: flap on from 9.95 to 10.07 s, box out at 10.00 s: this box was decided on, but got no rise."""
    box_out = known((1_000, 1_010), (9_950, 9_960), (10_000, 10_010))
    found = run(tea_sampler(), {**{n: known() for n in "1234"}, "box out": box_out}, (0, 12_000))
    assert found["flap"].decisions_ns.tolist() == [1_000, 9_950, 10_000]
    assert found["flap"].state.must.tolist() == [[9_950, 10_070]]
    rising, _ = ivs.edges(found["flap"].state.must, (0, 12_000))
    assert not ((rising >= 10_000) & (rising < 10_200)).any()


def test_a_recording_that_begins_in_mid_box():
    """Counter-example A25: the first box is neither complete nor incomplete, the second is known; a pulse under way at the last
    row is cut there; box out, on in the first row, has had no edge."""
    box_out = known((0, 50), (1_000, 1_300), (2_000, 2_300))
    signals = {**{n: known() for n in "1234"}, "box out": box_out}
    found = run(tea_sampler(), signals, (0, 2_050))
    assert found["flap"].decisions_ns.tolist() == [1_000, 2_000]
    assert found["flap"].state.must.tolist() == [[2_000, 2_050]]
    assert [1_000, 1_120] in found["flap"].state.can.tolist()
    assert found["box complete"].state.can.tolist() == [[0, 1_000]]


def test_an_edge_lost_in_a_gap_may_have_cleared_and_decided():
    """An input that is unknown in a gap may have had an edge there: what was held is not sure after it."""
    box_out = Ternary(ivs.intervals([(100, 110)]), ivs.intervals([(100, 110), (500, 510)]))
    outputs = [
        Output(name="box", logic=all_of("1"), held_until=BOX_OUT),
        Output(name="good", logic=all_of("2"), decided_at=Edge(input="box out", falls=True)),
    ]
    found = run(outputs, {"1": known((200, 210), (600, 610)), "2": known((90, 300)), "box out": box_out}, (0, 1_000))
    assert found["box"].state.must.tolist() == [[200, 500], [600, 1_000]]
    assert found["box"].state.can.tolist() == [[0, 100], [200, 1_000]]
    assert found["good"].state.must.tolist() == [[110, 501]]


def test_a_channel_still_on_is_carried_over_and_named():
    signals = {"1": known((900, 1_050)), "box out": known((1_000, 1_300), (2_000, 2_300))}
    [box] = run([Output(name="box", logic=all_of("1"), held_until=BOX_OUT)], signals, (0, 3_000)).values()
    assert box.carried_over_ns.tolist() == [1_000]
    assert box.state.must.tolist() == [[900, 2_000]]


def test_a_decision_holds_until_the_next_one_and_delays_act_on_it():
    signals = {"1": known((0, 120), (280, 500)), "at": known((100, 101), (200, 201), (300, 301), (400, 401))}
    at = Edge(input="at")
    outputs = [
        Output(name="held", logic=all_of("1"), decided_at=at),
        Output(name="late", logic=all_of("1"), decided_at=at, on_delay=30, off_delay=50),
        Output(name="moved", logic=all_of("1"), decided_at=at, pulse=40, on_delay=70),
    ]
    found = run(outputs, signals, (0, 600))
    assert found["held"].state.must.tolist() == [[100, 200], [300, 600]]
    assert found["late"].state.must.tolist() == [[130, 250], [330, 600]]
    # each decision gives its own pulse, moved by the delay, though the state between 300 and 400 did not change
    assert found["moved"].state.must.tolist() == [[170, 210], [370, 410], [470, 510]]


def test_outputs_are_evaluated_after_what_they_read():
    outputs = [Output(name="late", logic=none_of("early")), Output(name="early", logic=all_of("1"), pulse=20)]
    found = run(outputs, {"1": known((100, 200))}, (0, 300))
    assert found["late"].state.must.tolist() == [[19, 100], [120, 300]]
    loop = [Output(name="a", logic=all_of("b")), Output(name="b", logic=all_of("a"))]
    with pytest.raises(ValueError, match="depend on themselves: a, b"):
        run(loop, {}, (0, 10))


def test_an_output_that_others_read_is_unknown_before_the_recording_too():
    outputs = [Output(name="first", logic=all_of("1")), Output(name="second", logic=all_of("first"), held_until=BOX_OUT)]
    found = run(outputs, {"1": known(), "box out": known((50, 60))}, (0, 100))
    assert found["first"].state.can.tolist() == []
    assert found["second"].state.can.tolist() == [[0, 50]]


def test_a_recorded_output_is_what_others_read_and_is_still_computed():
    outputs = [Output(name="lamp", logic=all_of("1")), Output(name="alarm", logic=none_of("lamp"))]
    found = run(outputs, {"1": known((100, 200)), "lamp": known((103, 204))}, (0, 300))
    assert found["lamp"].state.must.tolist() == [[100, 200]]
    assert found["alarm"].state.must.tolist() == [[0, 103], [204, 300]]


def test_what_is_not_recorded_is_unknown():
    found = run(tea_sampler(), {n: known((10, 20)) for n in "1234"}, (0, 100))
    assert found["box complete"].state.must.tolist() == [[10, 20]]  # set for sure; box out may come at any instant
    assert found["flap"].state.must.tolist() == []
    assert found["flap"].state.can.tolist() == [[0, 100]]


def test_edges_that_are_given_are_the_edges():
    """Readers that know better when an input rose (a second clock, a list) say so."""
    [box] = logic.evaluate(
        Station(name="s", outputs=(Output(name="box", logic=all_of("1"), held_until=BOX_OUT),)),
        {"1": known((10, 20)), "box out": known((50, 60))},
        {BOX_OUT: np.array([5, 40, 200])},
        (0, 100),
    ).values()
    assert box.state.must.tolist() == [[10, 40]]
    assert box.state.can.tolist() == [[0, 5], [10, 40]]


# Whole stations at random, tick by tick. Ticks before FIRST lie before the recording and can be anything.
FIRST, END = 12, 30
names = ("1", "2", "i", "j")
parts = st.recursive(
    st.sampled_from(names),
    lambda inner: st.builds(
        lambda op, of, n: Logic(op=op, of=tuple(of), n=n if op == "at_least" else None),
        st.sampled_from(["any_of", "all_of", "none_of", "at_least"]),
        st.lists(inner, min_size=1, max_size=3),
        st.integers(1, 3),
    ),
    max_leaves=5,
)
edge = st.builds(Edge, input=st.sampled_from("ij"), falls=st.booleans())
maybe = st.none() | edge
short = st.integers(0, 3)
bits = st.lists(st.booleans(), min_size=END, max_size=END)


@st.composite
def stations(draw, may_be_disabled=True):
    outputs: list[Output] = []
    for index in range(draw(st.integers(1, 3))):
        inner = draw(parts)
        made = inner if isinstance(inner, Logic) else all_of(inner)
        if outputs and draw(st.booleans()):
            made = Logic(op="any_of", of=(made, draw(st.sampled_from([output.name for output in outputs]))))
        held = draw(st.sampled_from(["", "until", "from", "while"]))
        decided = draw(maybe)
        outputs.append(
            Output(
                name=f"out {index}",
                logic=made,
                held_until=draw(edge) if held in ("until", "from") else None,
                held_from=draw(edge) if held == "from" else None,
                held_while=draw(st.sampled_from("ij")) if held == "while" else None,
                decided_at=decided,
                acts_after=draw(short) if decided else 0,
                enabled_while=draw(st.none() | st.sampled_from("ij")) if may_be_disabled else None,
                on_delay=draw(short),
                off_delay=draw(short),
                pulse=draw(st.none() | st.integers(1, 4)),
            )
        )
    return outputs


def stepped(outputs, signals):
    """Every output at every tick, as the machine has it."""
    states = dict(signals)

    def edges_of(which):
        level = [on != which.falls for on in states[which.input]]
        return ticks.r_trig(level)

    def value(part, latched):
        if isinstance(part, str):
            return latched[part]
        columns = list(zip(*(value(inner, latched) for inner in part.of), strict=True))
        op = {"any_of": any, "all_of": all, "none_of": lambda c: not any(c), "at_least": lambda c: sum(c) >= part.n}[part.op]
        return [op(column) for column in columns]

    for output in outputs:
        latched = {name: states[name] for name in output.logic.names()}
        enabled = states[output.enabled_while] if output.enabled_while else [True] * len(states["i"])
        if output.latched:
            latched = {name: [a and b for a, b in zip(state, enabled, strict=True)] for name, state in latched.items()}
        clears = [edges_of(which) for which in (output.held_until, output.held_from) if which]
        if clears:
            at = [any(now) for now in zip(*clears, strict=True)]
            latched = {name: ticks.cleared_latch(state, at) for name, state in latched.items()}
        elif output.held_while:
            reset = [not on for on in states[output.held_while]]
            latched = {name: ticks.rs(state, reset) for name, state in latched.items()}
        out = value(output.logic, latched)
        if output.decided_at:
            taken = [now and before for now, before in zip(edges_of(output.decided_at), [False, *enabled], strict=False)]
        elif not output.latched:
            out = [a and b for a, b in zip(out, enabled, strict=True)]
        if output.decided_at and output.pulse is not None:
            out = ticks.decision_pulse(out, taken, output.pulse, output.acts_after + output.on_delay)
            out = ticks.tof(out, output.off_delay)
        else:
            if output.decided_at:
                out = [*[False] * output.acts_after, *ticks.decision(out, taken)][: len(out)]
            out = ticks.tof(ticks.ton(out, output.on_delay), output.off_delay)
            if output.pulse is not None:
                out = ticks.tp(out, output.pulse)
        states[output.name] = out
    return {output.name: states[output.name] for output in outputs}


def evaluated(outputs, signals, hazy=frozenset()):
    """What evaluate says of ticks FIRST to END, knowing the signals there but for the ticks in `hazy`."""
    seen = {}
    for name, state in signals.items():
        at = range(FIRST, END)
        must = [state[t] and t not in hazy for t in at]
        can = [state[t] or t in hazy for t in at]
        seen[name] = Ternary(ivs.intervals(ticks.runs(must, FIRST)), ivs.intervals(ticks.runs(can, FIRST)))
    found = run(outputs, seen, (FIRST, END))
    return {name: [ticks.bits(iv.tolist(), range(FIRST, END)) for iv in (e.state.must, e.state.can)] for name, e in found.items()}


@settings(max_examples=150)
@given(stations(), st.fixed_dictionaries(dict.fromkeys(names, bits)), st.frozensets(st.integers(FIRST, END - 1), max_size=4))
def test_whole_stations_are_never_wrong(outputs, signals, hazy):
    """Whatever came before the recording and whatever the perhapses are: between what is sure and what can be."""
    machine = stepped(outputs, signals)
    for name, (must, can) in evaluated(outputs, signals, hazy).items():
        plain = machine[name][FIRST:END]
        assert all(truly or not claimed for claimed, truly in zip(must, plain, strict=True)), name
        assert all(claimed or not truly for claimed, truly in zip(can, plain, strict=True)), name


@settings(max_examples=60)
@given(stations(may_be_disabled=False), st.fixed_dictionaries(dict.fromkeys(names, bits)))
def test_whole_stations_become_known(outputs, signals):
    """After some quiet and some edges of both inputs (a decision reads what only the edge before it cleared) nothing is open. (A
    decision at the input that enables it is never taken, and so never known.)"""
    wake = ([False] * 8 + [True]) * 5 + [False] * 15
    lead = {"i": wake, "j": wake}
    long = {name: [False] * FIRST + lead.get(name, [False] * len(wake)) + state for name, state in signals.items()}
    machine = stepped(outputs, long)
    start = FIRST + len(wake)
    seen = {name: known(*ticks.runs(state)) for name, state in long.items()}
    at = range(start, start + END)
    for name, found in run(outputs, seen, (FIRST, start + END)).items():
        must, can = (ticks.bits(iv.tolist(), at) for iv in (found.state.must, found.state.can))
        assert must == can == machine[name][start:], name


def held_machine(mine, other, edges, over):
    """A channel held for an item, tick by tick: set by its rise, ended by the rise of the other, by an edge, or `over` after it
    fell."""
    out, held, since_on = [], False, None
    for now, (is_on, was_on) in enumerate(zip(mine, [False, *mine], strict=False)):
        rises = is_on and not was_on
        if now and ((other[now] and not other[now - 1]) or edges[now]):
            held = False
        held = held or rises
        since_on = 0 if is_on else None if since_on is None else since_on + 1
        out.append(held and (over is None or (since_on is not None and since_on <= over)))
    return out


SWITCHING = st.lists(st.booleans(), min_size=40, max_size=40)


@given(SWITCHING, SWITCHING, SWITCHING, st.sampled_from((None, 1, 4, 9)))
@settings(max_examples=200, deadline=None)
def test_a27_a_channel_is_held_for_its_item(mine, other, gate, over):
    """Against the machine: never wrong, and known once both channels have risen (or a time has run out)."""
    mine, other, gate = ([False, False, *one] for one in (mine, other, gate))
    span = (0, len(mine))
    held = HeldForItem(over=over, until=None if over else Edge(input="gate"))
    channels = tuple(
        Channel(name=name, sensor="eye", references=(), for_targets=(), distance="CIEDE2000", tolerance=1, held=held)
        for name in ("mine", "other")
    )
    station = Station(name="s", settings=(Settings(channels=channels),), outputs=(Output(name="x", logic=all_of("mine")),))
    signals = {
        name: ternary.known(ivs.intervals(ticks.runs(bits))) for name, bits in (("mine", mine), ("other", other), ("gate", gate))
    }
    found = logic.evaluate(station, signals, {}, span)["x"].state
    edges = [False, *ticks.r_trig(gate)[1:]] if not over else [False] * len(gate)
    expected = held_machine(mine, other, edges, over)
    must, can = (ticks.bits(part.tolist(), range(len(mine))) for part in (found.must, found.can))
    known_from = max([next((t for t, on in enumerate(bits) if on), len(bits)) for bits in (mine, other)])
    for tick, (sure, perhaps, is_on) in enumerate(zip(must, can, expected, strict=True)):
        assert not sure or is_on
        assert perhaps or not is_on
        if tick >= known_from:
            assert sure == perhaps == is_on
