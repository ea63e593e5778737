"""Windows and limits in lengths of belt (A12), on tables made by hand.

Boxes every 180 mm, a flap 620 mm behind the sensor: 1240 ms at 0.50 m/s, 1476.19 ms at 0.42 m/s (way / speed).
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from factory import MS, Did, Table, case, of, run_case, station

from stationtest.model.case import Evidence, Present
from stationtest.model.observations import SourceObservations
from stationtest.model.station import Edge, Logic, Output
from stationtest.model.travel import NM, Belt, Length
from stationtest.signals import intervals

SHORT = Present(kind="set", set="full box", which="lacking", lacking="mint")
FULL = Present(kind="set", set="full box", which="complete")
ON = {"is": "on", "from": "box out", "after": "620 mm", "within": "15 mm"}


def belt(*points: tuple[float, float], **more: Any) -> Belt:
    at = np.array([[round(t * MS), round(x * NM)] for t, x in points], np.int64)
    return Belt(**{"at_ns": at[:, 0], "at_nm": at[:, 1], "lost_ns": intervals.empty(), **more})


def box(on: list[tuple[float, float]], way: Belt | None, end: float = 60_000, **more: Any) -> SourceObservations:
    """One box that lacks mint, box out at 10 s; the flap as recorded."""
    table = Table(station(**more), end=end)
    table.add_set(9000, 10_000, {"chamomile": 1})
    table.signal("input", "box out", must=[(10_000, 10_100)], basis="recorded")
    table.signal("output", "flap", must=on, basis="recorded", decisions=[10_000])
    return dataclasses.replace(table.observations(), belt=way)


def judged(obs: SourceObservations, **asked: Any) -> dict[str, Any]:
    return run_case(obs, case(SHORT, Evidence(trials=1), outputs={"flap": {**ON, **asked}}))


def outcome(result: dict[str, Any]) -> str:
    return next(word for word in ("conforming", "nonconforming", "not_judged") if result[word])


SPEED_50 = belt((0, 0), (60_000, 30_000))
SPEED_42 = belt((0, 0), (60_000, 25_200))
STOPPED = belt((0, 0), (10_400, 5200), (40_400, 5200), (60_000, 15_000))


@pytest.mark.parametrize(
    ("way", "at", "wanted"),
    [
        (SPEED_50, 11_240, "conforming"),  # 620 / 0.5 = 1240 ms
        (SPEED_50, 11_239, "nonconforming"),
        (SPEED_50, 11_269.999, "conforming"),  # 635 / 0.5 = 1270 ms, not included
        (SPEED_50, 11_270, "nonconforming"),
        (SPEED_42, 11_476.2, "conforming"),  # 620 / 0.42 = 1476.19 ms
        (SPEED_42, 11_476.1, "nonconforming"),
        (SPEED_42, 11_511.9, "conforming"),  # 635 / 0.42 = 1511.90 ms
        (SPEED_42, 11_512, "nonconforming"),
        (SPEED_42, 11_240, "nonconforming"),  # right at the other speed
        (STOPPED, 41_240, "conforming"),  # a stop of 30 s on the way
        (STOPPED, 11_240, "nonconforming"),
    ],
)
def test_a12_the_window_is_on_the_belt(way: Belt, at: float, wanted: str) -> None:
    assert outcome(judged(box([(at, at + 120)], way))) == wanted


def test_a12_a_neighbours_reject_is_not_this_boxs() -> None:
    """The rejects of the three boxes ahead come 160, 520 and 880 ms after this box out; none of them is its own."""
    ahead = [(10_000 + ms, 10_000 + ms + 120) for ms in (160, 520, 880)]
    result = judged(box(ahead, SPEED_50))
    assert outcome(result) == "nonconforming"
    assert "flap did not come on within 15 mm from 620 mm after box out at 10.000 s" in result["reason"]
    wide = {"after": "0 ms", "within": "1600 ms"}  # what one would write without travel: satisfied by a neighbour
    assert outcome(judged(box(ahead, SPEED_50), **wide)) == "conforming"


def test_time_and_length_may_be_mixed() -> None:
    late = box([(11_270, 11_390)], SPEED_50)  # 635 mm
    assert outcome(judged(late, within="31 ms")) == "conforming"
    assert outcome(judged(late, after="1.24 s")) == "nonconforming"
    assert outcome(judged(late, after="1.241 s")) == "conforming"


@pytest.mark.parametrize(("lasts", "wanted"), [("at least 60 mm", "conforming"), ("at least 61 mm", "nonconforming")])
def test_lasts_may_be_a_length(lasts: str, wanted: str) -> None:
    assert outcome(judged(box([(11_250, 11_370)], SPEED_50), lasts=lasts)) == wanted


def test_what_the_doubt_of_the_position_decides_is_not_judged() -> None:
    """4 mm: from 616 to 624 mm and from 631 to 639 mm nobody can tell; outside, a miss is a miss (A9)."""
    doubtful = dataclasses.replace(SPEED_50, doubt_nm=4 * NM)
    ways = [(615, "nonconforming"), (617, "not_judged"), (625, "conforming"), (633, "not_judged"), (640, "nonconforming")]
    for mm, wanted in ways:
        at = 10_000 + mm * 2
        result = judged(box([(at, at + 120)], doubtful))
        assert outcome(result) == wanted, mm
        if wanted == "not_judged":
            assert "the position of the belt is known to 4 mm over 620 mm: that does not settle it" in result["reason"]
    share = dataclasses.replace(SPEED_50, doubt_share=0.02)  # 12.4 mm: finer than that cannot conform
    assert outcome(judged(box([(11_255, 11_400)], share))) == "not_judged"
    assert outcome(judged(box([(11_300, 11_400)], share))) == "nonconforming"


def test_off_and_the_doubt() -> None:
    doubtful = dataclasses.replace(SPEED_50, doubt_nm=4 * NM)
    asked = {"is": "off", "after": "620 mm", "within": None}
    for at, wanted in [(11_225, "conforming"), (11_235, "not_judged"), (11_260, "nonconforming")]:
        obs = box([(at, at + 3)], doubtful)
        wrong = {key: value for key, value in {**ON, **asked, "until": "box in"}.items() if value is not None}
        table = dataclasses.replace(obs, signals={**obs.signals, ("input", "box in"): _input(30_000)})
        result = run_case(table, case(SHORT, Evidence(trials=1), outputs={"flap": wrong}))
        assert outcome(result) == wanted, result["reason"]


def _input(at: float) -> Any:
    table = Table(station())
    table.signal("input", "box in", must=[(at, at + 10)], basis="recorded")
    return table.signals["input", "box in"]


def test_lost_way_and_no_way() -> None:
    lost = dataclasses.replace(SPEED_50, lost_ns=np.array([[10_500 * MS, 10_600 * MS]]))
    assert outcome(judged(box([(11_250, 11_370)], lost))) == "not_judged"
    nothing = judged(box([(11_250, 11_370)], None))
    assert "this recording does not say how the belt moves: no `travel` is stated for it" in nothing["reason"]
    cut = judged(box([], belt((0, 0), (11_000, 5500)), end=11_000))
    assert "reaches past the end of the recording" in cut["reason"] and outcome(cut) == "not_judged"


def test_response_in_length() -> None:
    """The sensor answers 17 ms after the start: 8.5 mm at 0.5 m/s, known to one reading period of 1 ms (0.5 mm)."""

    def answered(at_most: str, **more: Any) -> dict[str, Any]:
        table = Table(station())
        table.add("mint", 1000, 1080, did={"1": Did(on=60, at=17)})
        obs = dataclasses.replace(table.observations(), belt=belt((0, 0), (2080, 1040), **more))
        return run_case(obs, case(of("mint"), Evidence(trials=1), response={"at_most": at_most, "from": "start"}))

    assert outcome(answered("9 mm")) == "conforming"
    slow = answered("8.9 mm")
    assert outcome(slow) == "nonconforming"
    worst = slow["expectations"][0]["worst"]
    assert (worst["value"], worst["unit"]) == (8.5, "mm")
    assert "channel 1 fired 17 ms after its start, known to 1 ms, 8.5 mm on" in slow["reason"]
    assert outcome(answered("9 mm", doubt_nm=NM)) == "not_judged"
    assert outcome(answered("11 mm", doubt_nm=NM)) == "conforming"
    assert outcome(answered("7 mm", doubt_nm=NM)) == "nonconforming"


def queue(on: list[tuple[float, float]], decisions: list[float], **asked: Any) -> dict[str, Any]:
    """A complete box out at 10 s, boxes every 180 mm (360 ms), a flap that acts after 620 mm: 11.24 s."""
    flap = dataclasses.replace(station().output("flap"), acts_after=Length(620 * NM))
    outputs = tuple(flap if one.name == "flap" else one for one in station().outputs)
    declared = station(outputs=outputs)
    table = Table(declared, end=60_000)
    table.add_set(9900, 10_000, {"mint": 1, "chamomile": 1})
    table.signal("input", "box out", must=[(t, t + 50) for t in (9640, 10_000, 10_360)], basis="recorded")
    table.signal("output", "flap", must=on, basis="recorded", decisions=decisions)
    obs = dataclasses.replace(table.observations(), belt=SPEED_50)
    one = case(FULL, Evidence(trials=1), outputs={"flap": {"is": "off", "from": "box out", **asked}})
    return run_case(obs, one, declared=declared)


@pytest.mark.parametrize(
    ("on", "wanted"),
    [
        ([(10_160, 10_280), (10_520, 10_640), (10_880, 11_000)], "conforming"),  # of the three boxes ahead
        ([(10_880, 11_000), (11_600, 11_720)], "conforming"),  # of the box before and of the box behind
        ([(11_240, 11_360)], "nonconforming"),
        ([(11_061, 11_181)], "nonconforming"),  # nearer to 11.24 s than to the 10.88 s of the box before
        ([(11_059, 11_179)], "conforming"),  # the other way round: held over from there
        ([(11_059, 11_300)], "nonconforming"),  # but no longer than its pulse of 120 ms and the scan explain
        ([(11_419, 11_500)], "nonconforming"),  # nearer than to the 11.60 s of the box behind
        ([(11_421, 11_500)], "conforming"),
    ],
)
def test_a_decision_that_acts_later_owns_what_comes_nearest(on: list[tuple[float, float]], wanted: str) -> None:
    """Acting instants are 360 ms apart, so the middles lie at 11.06 s and 11.42 s; also where the window counts from an instant
    after the decision, the fall of the same input."""
    for more in ({}, {"until": "next decision"}, {"from": "box out falls"}):
        assert outcome(queue(on, [9640, 10_000, 10_360], **more)) == wanted


def test_a_decision_that_was_not_taken_is_not_judged() -> None:
    """The decision at 10 s was left out (its input was off): the one at 10.36 s is of another box."""
    result = queue([(11_600, 11_720)], [9640, 10_360])
    assert outcome(result) == "not_judged" and "flap took no decision from box out at 10.000 s" in result["reason"]
    last = queue([], [9640, 10_000])
    assert outcome(last) == "not_judged" and "reaches past the end of the recording" in last["reason"]


def test_an_output_has_the_decisions_of_what_it_reads() -> None:
    """One flap for boxes (620 mm after box out) and lids (300 mm after their gate, `box in` here): each counts from its own edge,
    and `as the set is` from the one that ends the set."""
    declared = station(
        outputs=(
            dataclasses.replace(station().output("box complete")),
            dataclasses.replace(station().output("flap"), name="box reject", acts_after=Length(620 * NM)),
            Output(name="lid reject", logic=Logic(op="any_of", of=("1",)), decided_at=Edge(input="box in"),
                   acts_after=Length(300 * NM), pulse=120 * MS),
            Output(name="flap", logic=Logic(op="any_of", of=("box reject", "lid reject"))),
        ),
    )  # fmt: skip

    def asked(on: list[tuple[float, float]], **more: str) -> str:
        table = Table(declared, end=60_000)
        table.add_set(9000, 10_000, {"mint": 1, "chamomile": 1})
        table.add_set(19_000, 20_000, {"mint": 1})
        table.signal("input", "box out", must=[(t, t + 50) for t in (10_000, 10_500, 20_000)], basis="recorded")
        table.signal("output", "flap", must=[*on, (21_245, 21_365)], basis="recorded")
        table.signal("output", "box reject", must=[], decisions=[10_000, 10_500, 20_000])
        table.signal("output", "lid reject", must=[], decisions=[10_600, 11_000])
        obs = dataclasses.replace(table.observations(), belt=SPEED_50)
        return outcome(run_case(obs, case(FULL, Evidence(trials=1), outputs={"flap": more}), declared=declared))

    off = {"is": "off", "from": "box out", "until": "next decision"}
    assert asked([], **off) == "conforming"
    assert asked([(11_246, 11_366)], **off) == "nonconforming"
    assert asked([(11_740, 11_860)], **off) == "conforming"  # of the next box
    assert asked([], **{"is": "as the set is"}) == "conforming"
    assert asked([(11_246, 11_366)], **{"is": "as the set is"}) == "nonconforming"


def test_held_over_of_a_pulse_in_length_is_excepted() -> None:
    """A pulse of 40 mm from the box before may go on after this box's `from`, as long as it and the scan explain."""
    flap = dataclasses.replace(station().output("flap"), pulse=Length(40 * NM))
    outputs = tuple(flap if one.name == "flap" else one for one in station().outputs)
    asked = {"is": "off", "from": "box out", "until": "next decision"}
    for until, wanted in [(10_070, "conforming"), (10_080, "nonconforming")]:  # 40 mm are 80 ms, and 14 ms are seen for sure
        declared = station(outputs=outputs)
        table = Table(declared, end=60_000)
        table.add_set(9000, 10_000, {"mint": 1, "chamomile": 1})
        table.signal("input", "box out", must=[(9_950, 9_960), (10_000, 10_100), (12_000, 12_100)], basis="recorded")
        table.signal("output", "flap", must=[(9_980, until)], basis="recorded", decisions=[9_950, 10_000, 12_000])
        obs = dataclasses.replace(table.observations(), belt=SPEED_50)
        one = case(FULL, Evidence(trials=1), outputs={"flap": asked})
        assert outcome(run_case(obs, one, declared=declared)) == wanted
