"""Trials by events (A25, L16): during one, begun in one, the first after one; outputs counted from one.

Boxes of 0.7 s come every second from 0.1 s on: box k lies in [1000 k + 100, 1000 k + 800) ms. Expected answers are arithmetic.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from factory import MS, PARTS, Did, Table, case, of, run_case, station

from stationtest.engine.judging import findings, judge
from stationtest.model.case import Evidence, Present, Suite
from stationtest.model.events import Event, EventKind
from stationtest.model.observations import SourceObservations

KINDS = (
    EventKind(name="belt stop", until="belt start"),
    EventKind(name="belt start"),
    EventKind(name="unplugged", until="plugged"),
    EventKind(name="plugged"),
    EventKind(name="power on"),
)
BOX = Present(kind="set", set="full box")
COMPLETE = Present(kind="set", set="full box", which="complete")
ANY = Evidence(trials=1)


def boxes(*events: tuple[float, str], lacking: tuple[int, ...] = (), flaps: Any = None) -> SourceObservations:
    """Ten boxes; the flap comes for each box in `flaps` (default: those lacking) at the end of the box, for 120 ms."""
    table = Table(station(events=KINDS), end=12000)
    for k in range(10):
        members = ("mint",) if k in lacking else ("mint", "chamomile")
        table.add_set(1000 * k + 100, 1000 * k + 800, dict.fromkeys(members, 1))
        for i, target in enumerate(members):
            start = 1000 * k + 200 + 200 * i
            table.add(target, start, start + 80, set=k, did={"1" if target == "mint" else "2": Did(on=60)})
    ends = [1000 * k + 800 for k in range(10)]
    table.signal("input", "box out", [(at, at + 50) for at in ends])
    hit = lacking if flaps is None else flaps
    table.signal("output", "flap", [(ends[k], ends[k] + 120) for k in hit], decisions=ends)
    return replace(table.observations(), events=tuple(Event(name=name, at_ns=round(at * MS)) for at, name in events))


def found(obs: SourceObservations, *where: tuple[str, tuple[str, ...]], present: Present = BOX, **expect: Any) -> dict[str, Any]:
    asked = expect or {"outputs": {"flap": {"is": "off", "from": "box out"}}}
    return run_case_on(obs, case(present, ANY, where=where, **asked))


def run_case_on(obs: SourceObservations, one: Any) -> dict[str, Any]:
    suite = Suite(folder=".", station=station(events=KINDS), cases=(one,))
    return dict(judge(suite, one, {"r.csv": obs}, PARTS))


@pytest.mark.parametrize(
    ("start", "end", "during", "begun"),
    [
        (300, 3050, 3, 2),  # under way: boxes 0, 1, 2; begun in it: 1 and 2
        (800, 1100, 0, 0),  # from the end of box 0, half-open, to the start of box 1
        (799, 1101, 2, 1),  # one ms more at either side
        (1100, 1100.1, 1, 1),  # box 1 begins with it
        (9500, 99000, 1, 0),  # to beyond the recording
        (-500, 150, 1, 1),  # begun before the first row
    ],
)
def test_a25_during_an_event_and_begun_in_one(start: float, end: float, during: int, begun: int) -> None:
    obs = boxes((start, "belt stop"), (end, "belt start"))
    assert found(obs, ("during", ("belt stop",)))["found"] == during
    assert found(obs, ("event", ("belt stop",)))["found"] == begun


def test_what_nothing_ends_lasts_to_the_end_of_the_recording() -> None:
    obs = boxes((7500, "belt stop"))
    assert found(obs, ("during", ("belt stop",)))["found"] == 3
    assert found(obs, ("event", ("belt stop",)))["found"] == 2


def test_an_instant_has_one_box_under_way_at_most() -> None:
    assert found(boxes((3450, "power on")), ("during", ("power on",)))["found"] == 1
    assert found(boxes((3900, "power on")), ("during", ("power on",)))["found"] == 0


def test_a25_the_first_three_after_power_on() -> None:
    """Power on at 2.5 s: boxes 3, 4, 5; again at 7.5 s: boxes 8 and 9, the last that come. Box 2, under way, does not count."""
    obs = boxes((2500, "power on"), (7500, "power on"), lacking=(4, 8))
    first = (("first", ("3",)), ("after", ("power on",)))
    assert found(obs, *first)["found"] == 5
    assert found(obs, ("after", ("power on",)))["found"] == 7
    lacks = Present(kind="set", set="full box", which="lacking", lacking="each")
    short = found(obs, *first, present=lacks)
    assert short["found"] == 2, "counted are all boxes, presented are those that lack one"
    assert found(boxes((4900, "power on"), lacking=(4, 8)), *first, present=lacks)["found"] == 0, "box 8 is the fourth"


def test_several_words_must_all_hold() -> None:
    obs = boxes((2500, "power on"), (3500, "belt stop"), (4500, "belt start"))
    both = found(obs, ("during", ("belt stop",)), ("after", ("power on",)))
    assert both["found"] == 2
    assert found(obs, ("during", ("belt stop",)), ("first", ("1",)), ("after", ("power on",)))["found"] == 1


def test_presentations_too() -> None:
    """Mint of box k lies in [1000 k + 200, 1000 k + 280), chamomile 200 ms later."""
    obs = boxes((1250, "belt stop"), (1450, "belt start"))

    def stopped(*where: Any) -> int:
        return int(run_case_on(obs, case(of("mint", "chamomile"), ANY, where=where, own_channel_only="yes"))["found"])

    assert stopped(("during", ("belt stop",))) == 2
    assert stopped(("event", ("belt stop",))) == 1
    assert stopped(("first", ("3",)), ("after", ("belt start",))) == 3


def test_l16_an_output_that_must_come_at_the_event() -> None:
    """SAFE-12: the alarm within 2 s of the unplugging, for every box that begins while it is unplugged."""

    def judged(alarm_at: float) -> dict[str, Any]:
        obs = boxes((2900, "unplugged"), (5900, "plugged"))
        hand = Table(station())
        hand.signal("output", "counter", [(alarm_at, alarm_at + 500)])
        obs = replace(obs, signals={**obs.signals, **hand.signals})
        asked = {"counter": {"is": "on", "from": "event", "within": "2 s"}}
        return found(obs, ("event", ("unplugged",)), present=COMPLETE, outputs=asked)

    good = judged(3500)
    assert (good["found"], good["conforming"]) == (3, 3)
    late = judged(4950)
    assert (late["conforming"], late["nonconforming"]) == (0, 3)
    assert "counter did not come on within 2 s from event at 2.900 s" in late["reason"]
    assert judged(2800)["nonconforming"] == 3, "one that was on already does not count"


def test_stop_11_the_box_under_way_at_a_stop() -> None:
    lacks = Present(kind="set", set="full box", which="lacking", lacking="each")
    on = {"flap": {"is": "on", "from": "box out", "within": "200 ms"}}
    stop = ((3450, "belt stop"), (3500, "belt start"))
    assert found(boxes(*stop, lacking=(3,)), ("during", ("belt stop",)), present=lacks, outputs=on)["verdict"] == "pass"
    missed = found(boxes(*stop, lacking=(3,), flaps=()), ("during", ("belt stop",)), present=lacks, outputs=on)
    assert missed["verdict"] == "fail"
    none = found(boxes(lacking=(3,)), ("during", ("belt stop",)), present=lacks, outputs=on)
    assert (none["verdict"], none["warnings"]) == ("not shown", ["where: during belt stop never occurs in these readings"])


def test_a6_two_stops_before_a_start_are_a_finding_with_their_times() -> None:
    obs = boxes((1000, "belt stop"), (2000, "belt stop"), (3000, "belt start"), (4000, "power on"), (5000, "power on"))
    suite = Suite(folder=".", station=station(events=KINDS), cases=())
    assert findings(suite, obs) == ["two events belt stop before a belt start: at 1.000 s and at 2.000 s"]


def test_hand_trials_have_no_events() -> None:
    table = Table(station(events=KINDS), kind="trials")
    table.add("mint", 0, 0, did={"1": Did(on=60)})
    assert run_case(table, case(of("mint"), ANY, where=(("after", ("power on",)),), own_channel_only="yes"))["found"] == 0
