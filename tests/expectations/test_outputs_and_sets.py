"""Expectations about outputs, sets and runs. Worked by hand; A3, A10 … are the counter-examples from practice. Times are in
ms."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from factory import MS, Did, Edge, Table, case, of, run_case, sensor, station
from hypothesis import given, settings
from hypothesis import strategies as st

from stationtest.engine.judging import findings, view_of
from stationtest.expectations import output_windows, outputs, timeline
from stationtest.model.case import Evidence, Present, Suite
from stationtest.model.judged import CONFORMING, NONCONFORMING
from stationtest.model.observations import NEVER
from stationtest.model.station import Logic, Output, SetKind

ONE = Evidence(trials=1)
FULL = {"mint": 1, "chamomile": 1}
COMPLETE = Present(kind="set", set="full box", which="complete")


def lacking(name: str) -> Present:
    return Present(kind="set", set="full box", which="lacking", lacking=name)


def box(counts: dict[str, int] = FULL, start: float = 9000, end: float = 10000, **more: Any) -> Table:
    """One box from box in to box out, its sachets inside it."""
    table = Table(station(), end=more.pop("last", 12000))
    table.add_set(start, end, counts, name="7")
    at = start + 100
    for target, n in counts.items():
        for _ in range(n):
            own = {"mint": "1", "chamomile": "2"}.get(target, "3")
            table.add(target, at, at + 80, set=0, did=more.get("did", {}).get(target, {own: Did(on=60)}))
            at += 150
    table.signal("input", "box in", must=[(start, start + 50)], basis="recorded")
    table.signal("input", "box out", must=[(end, end + 300)], basis="recorded")
    return table


def judge_box(table: Table, present: Present = COMPLETE, **expect: Any) -> dict[str, Any]:
    return run_case(table, case(present, ONE, **expect))


def outcome(result: dict[str, Any]) -> str:
    return next((word for word in ("conforming", "nonconforming", "not_judged") if result[word]), "none")


def why(result: dict[str, Any]) -> str:
    return result["nonconforming_trials"][0]["text"] if result["nonconforming"] else result["reason"]


def flap(**more: str) -> dict[str, dict[str, str]]:
    return {"flap": {"from": "box out", **more}}


# --- outputs: on ---------------------------------------------------------------------------------------------------------------


def test_on_is_a_rising_edge_in_the_window_that_lasts() -> None:
    table = box({"chamomile": 1})
    table.signal("output", "flap", must=[(10050, 10170)], decisions=[10000])
    asked = flap(**{"is": "on", "within": "200 ms", "lasts": "at least 100 ms"})
    result = judge_box(table, lacking("mint"), outputs=asked)
    assert (outcome(result), result["unit"], result["basis"]) == ("conforming", "set", "computed")
    asked["flap"]["lasts"] = "at least 121 ms"
    short = judge_box(table, lacking("mint"), outputs=asked)
    assert why(short).startswith("full box 7, at 10.050 s: flap came on from 10.050 s for 120 ms")


def test_the_window_is_half_open() -> None:
    """[from + after, from + after + within): 10.050 lies in [10.050, 10.060) and not in [10.040, 10.050)."""
    table = box({"chamomile": 1})
    table.signal("output", "flap", must=[(10050, 10170)], decisions=[10000])
    inside = flap(**{"is": "on", "after": "50 ms", "within": "10 ms"})
    assert outcome(judge_box(table, lacking("mint"), outputs=inside)) == "conforming"
    before = flap(**{"is": "on", "after": "40 ms", "within": "10 ms"})
    late = why(judge_box(table, lacking("mint"), outputs=before))
    assert "did not come on within 10 ms from 40 ms after box out at 10.000 s" in late


def test_a11_an_output_that_is_already_on_does_not_count() -> None:
    """A11: the reject pulse of the box before, 9.95 to 10.07 s; box out at 10.00. No reject was given to this box."""
    table = box({"chamomile": 1})
    table.signal("output", "flap", must=[(9950, 10070)], decisions=[8000, 10000])
    result = judge_box(table, lacking("mint"), outputs=flap(**{"is": "on", "within": "200 ms"}))
    assert "flap was already on from 9.950 s" in why(result)


def test_a_rise_that_is_only_perhaps_in_time_is_not_enough() -> None:
    table = box({"chamomile": 1})
    table.signal("output", "flap", must=[(10210, 10300)], can=[(10190, 10300)], decisions=[10000])
    assert outcome(judge_box(table, lacking("mint"), outputs=flap(**{"is": "on", "within": "200 ms"}))) == "nonconforming"
    table.signal("output", "flap", must=[(10050, 10100)], can=[(9990, 10100)], decisions=[10000])
    assert outcome(judge_box(table, lacking("mint"), outputs=flap(**{"is": "on", "within": "200 ms"}))) == "nonconforming"


def test_a25_a_window_past_the_end_is_not_judged() -> None:
    """A25: the recording ends between box out and flap."""
    table = box({"chamomile": 1}, last=10100)
    table.signal("output", "flap", must=[], decisions=[10000])
    result = judge_box(table, lacking("mint"), outputs=flap(**{"is": "on", "within": "200 ms"}))
    assert "the window of flap from box out at 10.000 s reaches past the end of the recording" in result["reason"]
    table.signal("output", "flap", must=[(10050, 10100)], decisions=[10000])
    cut = judge_box(table, lacking("mint"), outputs=flap(**{"is": "on", "within": "90 ms", "lasts": "at least 80 ms"}))
    assert outcome(cut) == "not_judged"


def test_c17_a_window_finer_than_the_readings_is_not_judged() -> None:
    table = box({"chamomile": 1})
    table.period = 10
    table.signal("output", "flap", must=[(10050, 10170)], decisions=[10000])
    fine = judge_box(table, lacking("mint"), outputs=flap(**{"is": "on", "within": "5 ms"}))
    assert "could not be judged: readings come every 10 ms" in fine["reason"]


def test_a_gap_in_the_window_takes_away_conforming_only() -> None:
    table = box()
    table.signal("output", "flap", must=[], decisions=[10000])
    table.gaps = [(10500, 10600)]
    asked = flap(**{"is": "off", "until": "box in"})
    assert outcome(judge_box(table, outputs=asked)) == "not_judged"
    table.signal("output", "flap", must=[(10100, 10220)], decisions=[10000])
    assert outcome(judge_box(table, outputs=asked)) == "nonconforming"


# --- outputs: off --------------------------------------------------------------------------------------------------------------


def two_boxes() -> Table:
    table = box()
    table.add_set(11000, 12000, FULL, name="8")
    table.signal("input", "box out", must=[(10000, 10300), (12000, 12300)], basis="recorded")
    table.end = 15000
    return table


def test_a11_off_holds_until_the_next_decision() -> None:
    """A11: `within: 200 ms` would let a reject at 230 ms pass, and the good box is gone."""
    table = two_boxes()
    table.signal("output", "flap", must=[(10230, 10350)], decisions=[10000, 12000, 14000])
    result = run_case(table, case(COMPLETE, Evidence(trials=2), outputs=flap(**{"is": "off"})))
    assert (result["conforming"], result["nonconforming"]) == (1, 1)
    assert "flap was on from 10.230 s for 120 ms, and must be off from box out at 10.000 s" in why(result)


def test_on_time_of_an_earlier_decision_is_excepted_and_named() -> None:
    """A pulse of 120 ms from a decision at 9.95 s runs out at 10.07 s; one that goes on to 10.2 s is no pulse any more."""
    table = two_boxes()
    table.signal("output", "flap", must=[(9950, 10070)], decisions=[9950, 10000, 12000, 14000])
    result = run_case(table, case(COMPLETE, Evidence(trials=2), outputs=flap(**{"is": "off"})))
    assert result["conforming"] == 2
    view = view_of(table.station, table.observations())
    asked = outputs.Fields.model_validate(flap(**{"is": "off"})).root["flap"]
    judged = output_windows.judge_output(view, "set", "flap", asked)
    assert judged is not None
    words = output_windows.why(view, "set", "flap", asked, judged, 0)
    assert words == "conforms; flap was held over from an earlier decision until 10.070 s"
    table.signal("output", "flap", must=[(9950, 10200)], decisions=[9950, 10000, 12000, 14000])
    assert run_case(table, case(COMPLETE, Evidence(trials=2), outputs=flap(**{"is": "off"})))["nonconforming"] == 1


@pytest.mark.parametrize(
    ("on", "wanted"),
    [
        ((9_950, 10_070), "conforming"),  # of the decision at 8 s, and over within its pulse of 120 ms and the 14 ms of the scan
        ((9_950, 10_090), "nonconforming"),  # for longer than these explain
        ((10_000, 10_120), "nonconforming"),  # of its own decision, taken 30 ms before `from`
        ((10_010, 10_130), "nonconforming"),
        ((10_010, 10_030), "conforming"),  # off from the very instant
    ],
)
def test_on_time_of_its_own_decision_is_not_excepted(on: tuple[float, float], wanted: str) -> None:
    """`from` is where box out falls, 30 ms after the edge at which the flap is decided."""
    table = box()
    table.signal("input", "box out", must=[(10_000, 10_030)], basis="recorded")
    table.signal("output", "flap", must=[on], decisions=[8_000, 10_000, 11_000])
    result = judge_box(table, outputs={"flap": {"from": "box out falls", "is": "off"}})
    assert outcome(result) == wanted
    if wanted == "nonconforming":
        assert f"flap was on from {on[0] / 1000:.3f} s" in why(result)


@given(
    rejects=st.lists(st.booleans(), min_size=1, max_size=6), pulse=st.sampled_from((30, 120, 230)),
    falls=st.sampled_from((10, 60, 100)), origin=st.sampled_from(("box out", "box out falls", "end")),
)  # fmt: skip
@settings(max_examples=100, deadline=None)
def test_off_is_off_but_for_what_earlier_decisions_began(rejects: list[bool], pulse: int, falls: int, origin: str) -> None:
    """Against a plain machine that goes through the milliseconds and knows whose pulse is running (TP of IEC 61131-3 is not
    begun again while it runs). Boxes end, and are decided on, 200 ms apart."""
    decided = [200 * k + 200 for k in range(len(rejects) + 1)]
    whose: list[int | None] = []
    owner, until = None, 0
    for ms in range(decided[-1]):
        if ms in decided and rejects[decided.index(ms)] and ms >= until:
            owner, until = decided.index(ms), ms + pulse
        whose.append(owner if ms < until else None)
    flap = Output(name="flap", logic=Logic(op="any_of", of=("1",)), decided_at=Edge(input="box out"), pulse=pulse * MS)
    table = Table(station(outputs=(*station().outputs[:1], flap)), end=decided[-1] + 1000)
    for end in decided[:-1]:
        table.add_set(end - 80, end, FULL)
    table.signal("input", "box out", must=[(at, at + falls) for at in decided], basis="recorded")
    changes = [ms for ms in range(1, len(whose)) if (whose[ms] is None) != (whose[ms - 1] is None)]
    ends = [*changes, len(whose)][: len(changes) + len(changes) % 2]
    table.signal("output", "flap", must=list(zip(ends[::2], ends[1::2], strict=True)), decisions=list(decided))
    view = view_of(table.station, table.observations())
    asked = outputs.Fields.model_validate({"flap": {"from": origin, "is": "off"}}).root["flap"]
    judged = output_windows.judge_output(view, "set", "flap", asked)
    assert judged is not None
    for k, end in enumerate(decided[:-1]):
        begin = end + falls if origin == "box out falls" else end
        own = any(owner == k for owner in whose[begin : decided[k + 1]])
        assert judged.outcome[k] == (NONCONFORMING if own else CONFORMING), (k, whose[begin : decided[k + 1]])


def test_an_output_that_holds_is_not_excepted_by_having_been_on() -> None:
    holds = Output(name="flap", logic=Logic(op="none_of", of=("box complete",)), decided_at=Edge(input="box out"))
    table = two_boxes()
    table.station = station(outputs=(*station().outputs[:1], holds))
    table.signal("output", "flap", must=[(8000, 12000)], decisions=[8000, 10000, 12000, 14000])
    assert run_case(table, case(COMPLETE, Evidence(trials=2), outputs=flap(**{"is": "off"})))["nonconforming"] == 1


def test_perhaps_on_is_not_off_and_the_perhaps_is_named() -> None:
    """A10 (a): mint's only pulse is 3 ms long, so the latch may have missed it, and the good box may have been thrown out."""
    table = box(did={"mint": {"1": Did(on=3)}})
    table.signal("output", "flap", must=[], can=[(10000, 10120)], decisions=[10000, 11000])
    result = judge_box(table, outputs=flap(**{"is": "off"}))
    assert "flap was on perhaps, from 10.000 s for 120 ms; channel 1 was on for 3 ms at mint, 9.100 s, perhaps seen" in why(
        result
    )


def test_an_unknown_start_is_not_seen_to_be_on() -> None:
    table = box()
    table.signal("output", "flap", must=[], can=[(0, 10400)], decisions=[10000, 11000])
    assert outcome(judge_box(table, outputs=flap(**{"is": "off"}))) == "not_judged"


def test_an_on_that_belongs_to_no_decision_is_a_finding() -> None:
    table = box()
    table.signal("output", "flap", must=[(5000, 5100), (10000, 10120), (10600, 10700)], decisions=[10000])
    one = case(COMPLETE, ONE, outputs=flap(**{"is": "off"}))
    found = findings(Suite(folder=".", station=table.station, cases=(one,)), table.observations())
    assert found == ["output flap came on without a decision of its own at 5.000 s, 10.600 s"]


def test_outputs_of_a_presentation_from_its_start() -> None:
    table = Table(station())
    table.add("mint", 100, 180)
    table.signal("output", "counter", must=[(110, 150)])
    asked = {"counter": {"is": "on", "from": "start", "within": "20 ms"}, "flap": {"is": "off", "from": "start"}}
    missing = run_case(table, case(of("mint"), ONE, outputs=asked))
    assert "this recording has no output flap" in missing["reason"]
    del asked["flap"]
    assert outcome(run_case(table, case(of("mint"), ONE, outputs=asked))) == "conforming"
    asked["counter"]["from"] = "end"
    assert outcome(run_case(table, case(of("mint"), ONE, outputs=asked))) == "nonconforming"


def test_where_a_set_has_no_edge_of_its_own_there_is_no_reference() -> None:
    table = two_boxes()
    table.signal("input", "box out", must=[(10000, 10300)], basis="recorded")
    view = view_of(table.station, table.observations())
    found = timeline.reference_instants(view, "set", Edge(input="box out"))
    assert found.tolist()[0] == 10000 * MS
    result = run_case(table, case(COMPLETE, Evidence(trials=2), outputs=flap(**{"is": "on", "within": "200 ms"})))
    assert "this recording has no output flap" in result["reason"]


def test_where_no_set_is_as_asked_it_is_told_what_they_hold() -> None:
    """Two mints and a chamomile in the only box: it is not complete, and that no box came would not be true."""
    result = judge_box(box({"mint": 2, "chamomile": 1}), set="complete")
    others = "; 1 of this kind came with other contents: the first holds 2 mint and 1 chamomile"
    assert (result["verdict"], result["reason"]) == ("not shown", "0 of 1 sets: none came in these readings" + others)


def halves() -> Table:
    """Boxes from 1 to 2 s and from 3 to 4 s, a divider in the middle of each; the recording ends in the middle of a third."""
    box_in, divider, box_out = (Edge(input=name) for name in ("box in", "divider", "box out"))
    kinds = [("front", box_in, divider), ("rear", divider, box_out)]
    sets = tuple(SetKind(name=name, members=(("mint", 1),), from_edge=a, to_edge=b) for name, a, b in kinds)
    table = Table(station(sets=sets, inputs=("box in", "divider", "box out")), end=5700)
    for start in (1000, 3000, 5000):
        table.add_set(start, start + 500, {"mint": 1}, kind="front")
        if start < 5000:
            table.add_set(start + 500, start + 1000, {"mint": 1}, kind="rear")
    table.signal("input", "box in", must=[(1000, 1050), (3000, 3050), (5000, 5050)], basis="recorded")
    table.signal("input", "divider", must=[(1500, 1550), (3500, 3550), (5500, 5550)], basis="recorded")
    table.signal("input", "box out", must=[(2000, 2300), (4000, 4300)], basis="recorded")
    return table


def test_an_edge_belongs_to_the_last_set_that_the_same_edge_opened() -> None:
    """The end of a box is that of its front half too, though the rear half began before it; the box before is another one."""
    view = view_of((table := halves()).station, table.observations())
    assert [table.sets[row]["kind"] for row in range(5)] == ["front", "rear", "front", "rear", "front"]
    found = timeline.reference_instants(view, "set", Edge(input="box out"))
    assert found.tolist() == [2000 * MS, 2000 * MS, 4000 * MS, 4000 * MS, NEVER]
    found = timeline.reference_instants(view, "set", Edge(input="box in"))
    assert found.tolist() == [1000 * MS, 1000 * MS, 3000 * MS, 3000 * MS, 5000 * MS]
    found = timeline.reference_instants(view, "set", Edge(input="divider"))
    assert found.tolist() == [1500 * MS, 1500 * MS, 3500 * MS, 3500 * MS, 5500 * MS]
    flap_on = {"flap": {"from": "box out", "is": "on", "within": "200 ms"}}
    table.signal("output", "flap", must=[(4010, 4130)], decisions=[2000, 4000])
    front = Present(kind="set", set="front")
    result = run_case(table, case(front, Evidence(trials=3), outputs=flap_on))
    assert (result["conforming"], result["nonconforming"], result["not_judged"]) == (1, 1, 1)
    assert "flap did not come on within 200 ms from box out at 2.000 s" in why(result)


# --- sets ----------------------------------------------------------------------------------------------------------------------


def test_a3_the_state_just_before_the_edge_is_read() -> None:
    """A3: the latches are set by 9.8 s and reset at box out, 10.0 s: the box was complete."""
    table = box()
    table.signal("output", "box complete", must=[(9800, 10000)])
    result = judge_box(table, set="complete")
    assert (outcome(result), result["verdict"]) == ("conforming", "pass")
    short = box({"chamomile": 1})
    short.signal("output", "box complete", must=[(9800, 10000)])
    assert "box complete was on at its end, 10.000 s" in why(judge_box(short, lacking("mint"), set="incomplete"))


def test_a10a_a_latch_that_is_set_only_perhaps_is_neither() -> None:
    table = box(did={"mint": {"1": Did(on=3)}})
    table.signal("output", "box complete", must=[], can=[(9800, 10000)])
    result = judge_box(table, set="complete")
    assert "box complete was on only perhaps at its end; channel 1 was on for 3 ms at mint, 9.100 s, perhaps seen" in why(result)
    mirror = box({"chamomile": 1})
    mirror.signal("output", "box complete", must=[], can=[(9800, 10000)])
    assert outcome(judge_box(mirror, lacking("mint"), set="incomplete")) == "nonconforming"


def test_a_set_that_truth_calls_otherwise_is_not_judged() -> None:
    table = box({"chamomile": 1})
    table.signal("output", "box complete", must=[(9800, 10000)])
    result = judge_box(table, lacking("mint"), set="complete")
    assert outcome(result) == "not_judged"
    assert "truth says that it is incomplete" in result["reason"]


def test_a14_contents_decide_what_a_set_is() -> None:
    """A14: two mint and no chamomile is not complete and lacks chamomile only with something double, so it is 'contents'."""
    table = Table(station(), end=20000)
    for i, counts in enumerate((FULL, {"chamomile": 1}, {"mint": 2}, {"mint": 1, "chamomile": 1, "foreign": 1}, {"mint": 1})):
        table.add_set(1000 * i, 1000 * i + 900, counts)
    view = view_of(table.station, table.observations())
    from stationtest.engine.selecting import select

    def chosen(**which: Any) -> list[int]:
        present = Present(kind="set", set="full box", **which)
        return select(view, Suite(folder=".", station=table.station, cases=()), "set", present, ()).index.tolist()

    assert chosen(which="complete") == [0]
    assert chosen(which="lacking", lacking="mint") == [1]
    assert chosen(which="lacking", lacking="chamomile") == [4]
    assert chosen(which="lacking", lacking="each") == [1, 4]
    assert chosen(which="contents", contents=(("mint", 2),)) == [2]
    assert chosen(which="extra", extra="foreign") == [3]
    assert chosen(which="extra", extra="any") == [3]
    assert chosen(which="extra", extra="mint") == []


def test_order_of_first_on_times() -> None:
    table = box()
    assert outcome(judge_box(table, order=["1", "2"])) == "conforming"
    turned = judge_box(table, order=["2", "1"])
    assert why(turned) == "full box 7, at 9.102 s: channel 1 came on at 9.102 s, channel 2 at 9.252 s"
    assert "channel 3 did not fire in it" in why(judge_box(table, order=["1", "3"]))
    open_ = box(did={"mint": {"1": Did(on=60, known=False)}})
    assert outcome(judge_box(open_, order=["1", "2"])) == "not_judged"


def test_a23_a_count_finds_touching_parts_that_were_counted_once() -> None:
    """A23: 60 sachets, two of them touching and counted as one: 59 pulses."""
    table = Table(station())
    for i in range(60):
        table.add("mint", 200 * i + 100, 200 * i + 180, did={"1": Did(on=60)})
    pulses = [(200 * i + 110, 200 * i + 130) for i in range(60)]
    table.signal("output", "counter", must=pulses[:-1])
    run = Evidence(runs=1)
    result = run_case(table, case(of("mint"), run, unit="run", count={"output": "counter"}))
    assert result["unit"] == "run"
    assert "counter gave 59 pulses, truth lists 60" in why(result)
    table.signal("output", "counter", must=pulses)
    assert run_case(table, case(of("mint"), run, unit="run", count={"output": "counter"}))["verdict"] == "pass"
    table.expected = 61  # the list knows one more than came
    assert "truth lists 61" in why(run_case(table, case(of("mint"), run, unit="run", count={"output": "counter"})))
    table.rows[0]["status"] = 2
    table.expected = None
    assert run_case(table, case(of("mint"), run, unit="run", count={"output": "counter"}))["verdict"] == "not judged"


def test_count_in_a_set() -> None:
    table = box()
    table.signal("output", "counter", must=[(9110, 9130), (9260, 9280)])
    assert outcome(judge_box(table, count={"output": "counter"})) == "conforming"
    assert "counter gave 2 pulses, truth lists 1" in why(judge_box(table, count={"output": "counter", "targets": "mint"}))
    table.signal("output", "counter", must=[(9110, 9130)], can=[(9110, 9130), (9260, 9262)])
    assert "counter gave 1 to 2 pulses, truth lists 2" in why(judge_box(table, count={"output": "counter"}))
    table.gaps = [(9400, 9500)]
    assert outcome(judge_box(table, count={"output": "counter"})) == "not_judged"


# --- plateaus ------------------------------------------------------------------------------------------------------------------


def lab_table(points: list[tuple[float, float, float]], **more: Any) -> Table:
    lab = sensor("sachet")
    lab = replace(lab, reads="CIELAB", bands=("L", "a", "b"), illuminant="D65", observer="2 deg", full_scale=None, white=None)
    table = Table(station(sensors=(lab,)), end=20000)
    table.add_set(0, 10000, FULL)
    for i, point in enumerate(points):
        table.add("mint" if i % 2 == 0 else "chamomile", 100 * i, 100 * i + 80, set=0, means=point, **more)
    return table


def test_alike_is_the_largest_distance_of_any_two() -> None:
    """By hand: (50, 0, 0), (50, 3, 4), (50, 0, 1) by CIE 1976 L*a*b*: 5, 1 and the root of 18."""
    table = lab_table([(50, 0, 0), (50, 3, 4), (50, 0, 1)])
    asked = {"distance": "CIE 1976 L*a*b*", "at_most": "4"}
    result = judge_box(table, alike=asked)
    assert why(result).endswith("the largest distance in it is 5 (CIE 1976 L*a*b*)")
    assert result["expectations"][0]["worst"]["value"] == pytest.approx(5)
    assert outcome(judge_box(table, alike={**asked, "at_most": "5"})) == "conforming"
    assert outcome(judge_box(table, alike={**asked, "targets": "mint"})) == "conforming"
    assert "clipped readings" in judge_box(lab_table([(50, 0, 0), (50, 3, 4)], clipped=3), alike=asked)["reason"]
    assert "fewer than two" in judge_box(lab_table([(50, 0, 0)]), alike=asked)["reason"]


def test_shares_of_different_bands_are_not_compared() -> None:
    three, four = sensor("sachet"), sensor("tin")
    four = replace(four, reads="bands", bands=("a", "b", "c", "d"), dark=(0,) * 4, white=(1,) * 4)
    table = Table(station(sensors=(three, four)), end=20000)
    table.add_set(0, 10000, FULL)
    table.add("mint", 0, 80, set=0, means=(0.2, 0.3, 0.5, 0))
    asked = {"distance": "sensor chromaticity", "at_most": "0.2"}
    table.add("mint", 100, 180, set=0, sensor="tin", means=(0.2, 0.3, 0.4, 0.1))
    assert "were read in different bands" in judge_box(table, alike=asked)["reason"]
    table.rows[1] = {**table.rows[1], "sensor": "sachet"}
    result = judge_box(table, alike=asked)  # by hand: (2, 3, 4) / 9 against (2, 3, 5) / 10
    assert result["expectations"][0]["worst"]["value"] == pytest.approx((2**2 + 3**2 + 5**2) ** 0.5 / 90, rel=1e-9)


def test_a17_the_standard_of_a_distance_is_each_of_the_two_once() -> None:
    """A17: CIE 1994 with the weights of one or the other: 1.85 and 2.01 for (50, 50, 0) and (50, 44, 0); the larger counts."""
    table = lab_table([(50, 50, 0), (50, 44, 0)])
    result = judge_box(table, alike={"distance": "CIE 1994", "at_most": "1.9"})
    assert result["expectations"][0]["worst"]["value"] == pytest.approx(6 / (1 + 0.045 * 44), rel=1e-9)
    assert outcome(result) == "nonconforming"


def test_colours_that_a_sensor_cannot_give_are_not_judged() -> None:
    table = box()
    for row in table.rows:
        row["means"] = (0.3, 0.4, 0.3)
    result = judge_box(table, alike={"distance": "CIEDE2000", "at_most": "2"})
    assert "sensor sachet cannot give CIEDE2000" in result["reason"]
    assert outcome(judge_box(table, alike={"distance": "sensor chromaticity", "at_most": "0.01"})) == "conforming"


def test_drift_of_level() -> None:
    """By hand: levels 50, 50, 48, 46 %, two at a time: means 50 and 47 %, so 3 %."""
    table = Table(station(), end=20000)
    for i, share in enumerate((0.50, 0.50, 0.48, 0.46)):
        relative = share * (4095 - 12) / (4000 - 12)  # level is a share of full scale, relative readings of white
        table.add("mint", 100 * i, 100 * i + 80, means=(relative, relative / 2, relative / 3))
    run = Evidence(runs=1)
    asked = {"of": "level", "over": "2", "at_most": "2 %"}
    result = run_case(table, case(of("mint"), run, drift=asked))
    assert "mint at sachet moved by 3.00 % (level)" in why(result)
    assert result["nonconforming_trials"][0]["at_ns"] == 200 * MS
    assert (result["strata"][0]["lower_bound"], result["strata"][0]["upper_bound"]) == (None, None)
    within = run_case(table, case(of("mint"), run, drift={**asked, "at_most": "3.1 %"}))
    assert (within["verdict"], within["reason"]) == ("pass", "one run, judged by itself"), "a claim about no other run"
    assert within["claim"] == "one run, judged by itself"
    assert (within["strata"][0]["lower_bound"], within["strata"][0]["upper_bound"]) == (None, None)
    two = run_case(table, case(of("mint"), Evidence(runs=2), drift={**asked, "at_most": "3.1 %"}))
    assert two["reason"] == "1 of 2 runs, none nonconforming: the plan needs 1 more clean one"
    short = run_case(table, case(of("mint"), run, drift={**asked, "over": "3"}))
    assert short["verdict"] == "not judged"
    assert "4 presentations with a usable plateau, 6 are needed" in short["reason"]


def test_drift_of_colour() -> None:
    table = lab_table([(50, 0, 0), (50, 0, 0), (50, 3, 4), (50, 0, 1)])
    asked = {"of": "CIE 1976 L*a*b*", "over": "1", "at_most": "4"}
    result = run_case(table, case(of("mint"), Evidence(runs=1), drift=asked))
    assert "mint at sachet moved by 5" in why(result)
    assert run_case(table, case(of("chamomile"), Evidence(runs=1), drift=asked))["verdict"] == "pass"


# --- a table without times -----------------------------------------------------------------------------------------------------


def hand_trials() -> Table:
    """Three boxes by hand: two complete, one that lacks mint; the flap was seen at none, one, and not noted."""
    table = Table(station(), kind="trials", basis="by hand", channel_basis="by hand")
    for i, counts in enumerate((FULL, {"chamomile": 1}, FULL)):
        table.add_set(0, 0, counts, name=str(i + 1))
        for target in counts:
            table.add(target, 0, 0, set=i, did={{"mint": "1", "chamomile": "2"}[target]: Did(on=1)})
    table.seen = {"flap": [0, 0, 1, -1, 0], "box complete": [0, 1, 0, 0, 0]}
    return table


def test_i17_what_was_noted_can_be_judged_without_times() -> None:
    table = hand_trials()
    result = run_case(table, case(of("mint"), Evidence(trials=2), own_channel_only="yes"))
    assert (result["verdict"], result["basis"]) == ("pass", "by hand")
    off = run_case(table, case(COMPLETE, Evidence(trials=2), outputs=flap(**{"is": "off"})))
    assert (off["conforming"], off["not_judged"]) == (1, 1)
    on = run_case(table, case(lacking("mint"), ONE, outputs=flap(**{"is": "on"})))
    assert (on["verdict"], on["basis"]) == ("pass", "by hand")
    wrong = run_case(table, case(lacking("mint"), ONE, outputs=flap(**{"is": "off"})))
    assert why(wrong) == "full box 2: flap was seen on"


def test_i17_what_needs_time_is_not_judged_without() -> None:
    table = hand_trials()
    timed: list[tuple[Present, dict[str, Any]]] = [
        (of("mint"), {"response": {"at_most": "20 ms", "from": "start"}}),
        (of("mint"), {"held": "at least 20 ms"}),
        (of("mint"), {"pulses": {"channels": "own", "exactly": "1"}}),
        (of("mint"), {"agrees": {"edges_within": "20 ms"}}),
        (COMPLETE, {"order": ["1", "2"]}),
        (COMPLETE, {"count": {"output": "flap"}}),
        (COMPLETE, {"outputs": flap(**{"is": "on", "within": "200 ms"})}),
    ]
    for present, expect in timed:
        result = run_case(table, case(present, ONE, **expect))
        assert result["verdict"] == "not judged", expect
        assert "needs times" in result["reason"], expect


def test_a_set_by_hand() -> None:
    table = hand_trials()
    table.seen["box complete"] = [1, 0, 0, 1, 1]
    assert run_case(table, case(COMPLETE, Evidence(trials=2), set="complete"))["verdict"] == "pass"
    assert run_case(table, case(lacking("mint"), ONE, set="incomplete"))["verdict"] == "pass"
    table.seen["box complete"] = [1, 0, -1, 1, 1]
    assert run_case(table, case(lacking("mint"), ONE, set="incomplete"))["verdict"] == "not judged"


# --- windows against a plain reading of the rule -------------------------------------------------------------------------------


def test_pulse_ranges_against_counting_one_by_one() -> None:
    """A machine that walks through every run and window one at a time, on random signals."""
    rng = np.random.default_rng(7)
    for _ in range(60):
        table = Table(station(), end=1000)
        cuts = np.sort(rng.choice(np.arange(1, 999), 24, replace=False)).reshape(-1, 2)
        can = [(int(a), int(b)) for a, b in cuts]
        must = [(a + 1, a + 2) for a, b in can if b - a > 2 and rng.random() < 0.7]
        must += [(b - 2, b - 1) for a, b in can if b - a > 6 and rng.random() < 0.5]
        table.signal("output", "counter", must=sorted(must), can=can)
        view = view_of(table.station, table.observations())
        starts = np.sort(rng.choice(np.arange(0, 900), 5, replace=False)) * MS
        ends = np.append(starts[1:], 1000 * MS)
        found = timeline.pulse_range(view, "counter", starts, ends)
        assert found is not None
        for k in range(5):
            fewest = most = 0
            for a, b in can:
                inside = sorted(m for m in must if a <= m[0] < b)
                fewest += bool(inside) and starts[k] <= inside[0][0] * MS < ends[k]
                most += starts[k] <= a * MS < ends[k]
                most += sum(starts[k] <= m[0] * MS < ends[k] for m in inside[1:])
            assert (found[0][k], found[1][k]) == (fewest, max(fewest, most))
