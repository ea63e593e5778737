# ruff: noqa: E501 (messages stand whole on one line)
"""Truth beside the station and its cases: specimens.csv, conditions and events, and what `where:` and outputs may ask of them."""

from __future__ import annotations

from pathlib import Path

import pytest
from station_folder import CASES, STATION, make, problems, suite

MARKED = STATION.replace("  height: [low, high]", "  height: [low, high]\n  mark: [splice, plain]")
REGISTER = "id,target,grade,lot,mark\nM1,mint,light limit,7,splice\nM2,mint,normal,8,plain\n"


def asked(where: str) -> str:
    return CASES.replace("    present: [mint, chamomile]", f"    where: {{{where}}}\n    present: mint")


def test_every_column_of_the_register_may_be_asked(tmp_path: Path) -> None:
    where = "grade: [normal, light limit], lot: 7, mark: splice, height: low, specimen: M1"
    make(tmp_path, MARKED, asked(where), **{"specimens.csv": REGISTER})
    found = suite(tmp_path)
    assert dict(found.cases[0].where)["mark"] == ("splice",)
    assert found.specimens[0].conditions == (("mark", "splice"),)


@pytest.mark.parametrize(
    ("where", "answer"),
    [
        ("grade: light", "`light` is no value of grade; did you mean `light limit`?; allowed normal, light limit, dark limit, reject [unknown-name]"),
        ("lot: 9", "`9` is no value of lot; allowed 7, 8 [unknown-name]"),
        ("mark: splise", "`splise` is no value of mark; did you mean `splice`?; allowed splice, plain [unknown-name]"),
        ("specimen: M3", "`M3` is no value of specimen; allowed M1, M2 [unknown-name]"),
    ],
)  # fmt: skip
def test_a30_what_nobody_declared_is_an_error(tmp_path: Path, where: str, answer: str) -> None:
    make(tmp_path, MARKED, asked(where), **{"specimens.csv": REGISTER})
    (problem,) = problems(tmp_path)
    assert problem.endswith(answer) and problem.startswith("cases/a.case.yaml:7:")


def test_a_condition_stands_in_the_recording_or_in_the_register(tmp_path: Path) -> None:
    both = MARKED.replace("target: part,", "target: part, conditions: {mark: m},")
    make(tmp_path, both, CASES, **{"specimens.csv": REGISTER})
    assert problems(tmp_path) == [
        "specimens.csv:1: mark: `mark` is a column here and in the recordings recordings/*.csv; it stands in one of them [contradiction]"
    ]


def test_a_condition_cannot_take_a_word_that_where_has(tmp_path: Path) -> None:
    make(tmp_path, STATION.replace("  height: [low, high]", "  height: [low, high]\n  touching: [a, b]"), CASES)
    assert problems(tmp_path) == [
        "station.yaml:28:3: conditions.touching: this word has a meaning of its own in `where:`; found touching; allowed any other word [reserved-word]"
    ]


EVENTS = STATION + "events: {stop: {until: start of belt}, power on: {}}\n"


def test_events_may_be_asked(tmp_path: Path) -> None:
    make(tmp_path, EVENTS, asked("during: [stop, power on], event: stop, first: 3, after: start of belt"))
    assert dict(suite(tmp_path).cases[0].where)["during"] == ("stop", "power on")
    assert [(kind.name, kind.until) for kind in suite(tmp_path).station.events] == [
        ("stop", "start of belt"), ("power on", None), ("start of belt", None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("where", "answer"),
    [
        ("during: stpo", "cases.REC-01.where.during: there is no event of this name; did you mean `stop`?; found stpo; allowed stop, power on, start of belt [unknown-name]"),
        ("event: power on", "cases.REC-01.where.event: this event is an instant, in which nothing begins; found power on; allowed `after:` or `during:`, or an end of it in station.yaml: events: {NAME: {until: EVENT}} [contradiction]"),
        ("first: 3", "cases.REC-01.where.first: the first after what? this key needs `after: EVENT` beside it [missing-key]"),
        ("first: none, after: stop", "cases.REC-01.where.first: a number of trials is due here; found none; allowed a whole number from 1 [wrong-value]"),
        ("first: 0, after: stop", "cases.REC-01.where.first: a number of trials is due here; found 0; allowed a whole number from 1 [wrong-value]"),
    ],
)  # fmt: skip
def test_events_that_cannot_be_asked(tmp_path: Path, where: str, answer: str) -> None:
    make(tmp_path, EVENTS, asked(where))
    (problem,) = problems(tmp_path)
    assert problem.endswith(answer)


def test_from_event_needs_an_event(tmp_path: Path) -> None:
    case = CASES.replace("    expect: {own_channel_only: yes}", "    expect: {outputs: {flap: {is: on, from: event, within: 2 s}}}")
    make(tmp_path, EVENTS, case)
    assert problems(tmp_path) == [
        "cases/a.case.yaml:8:14: cases.REC-01.expect.outputs: `from: event` needs to know which: where: {event: NAME}, {during: NAME} or {after: NAME} [missing-key]"
    ]
    make(tmp_path, EVENTS, case.replace("    present: [mint, chamomile]", "    where: {after: power on}\n    present: mint"))
    assert problems(tmp_path) == []


@pytest.mark.parametrize(
    ("expect", "answer"),
    [
        ("outputs: {flap: {is: as the set is}}", None),
        ("outputs: {flap: {is: on, from: box out}}, neighbours: {flap: off}", None),
        ("outputs: {complete: {is: as the set is}}", "cases.REC-01.expect.outputs.complete.from: this key is missing; complete has no `decided_at` in station.yaml from which it could count; allowed start, end, covered, event, or an edge of box in, box out [missing-key]"),
        ("outputs: {flap: {is: off, from: box out}}, neighbours: {flap: off}", "cases.REC-01.expect.neighbours.flap: a neighbour is missed in a window of its own, which the same case says: outputs: {NAME: {is: on, from: ..., within: ...}}; found no such window of flap [missing-key]"),
        ("neighbours: {flap: off}", "cases.REC-01.expect.neighbours.flap: a neighbour is missed in a window of its own, which the same case says: outputs: {NAME: {is: on, from: ..., within: ...}}; found no such window of flap [missing-key]"),
    ],
)  # fmt: skip
def test_what_neighbours_and_sets_need(tmp_path: Path, expect: str, answer: str | None) -> None:
    case = CASES.replace("[mint, chamomile]", "{set: full box, lacking: any}").replace("{own_channel_only: yes}", f"{{{expect}}}")
    make(tmp_path, cases=case)
    found = problems(tmp_path)
    assert not found if answer is None else [problem.partition(" ")[2] for problem in found] == [answer]


def test_as_the_set_is_speaks_of_sets(tmp_path: Path) -> None:
    make(tmp_path, cases=CASES.replace("{own_channel_only: yes}", "{outputs: {flap: {is: as the set is, from: box out}}}"))
    assert problems(tmp_path) == [
        "cases/a.case.yaml:8:35: cases.REC-01.expect.outputs.flap.is: `as the set is` speaks of sets; present: {set: NAME, ...} [mixed-units]"
    ]


def test_a_table_of_trials_has_no_events(tmp_path: Path) -> None:
    make(tmp_path, STATION.replace("recordings:\n", "recordings:\n  \"hand/*.csv\": {rows: trials, target: part, events: e.csv}\n"), CASES)
    assert any("hand/*.csv.events" in problem and "a table of trials has no times" in problem for problem in problems(tmp_path))


@pytest.mark.parametrize(
    ("old", "new", "answer"),
    [
        ("target: part, ", "target: part, truth: {by: flap}, ", "by: this word is not known here; found flap; allowed list before the run, operator, second instrument"),
        ("target: part, ", "target: I1, ", "target: truth cannot be taken from the station's own signals; found column I1, which is inputs.box in [contradiction]"),
        ("target: part, ", "target: part, set: Q7, outputs: {flap: Q7}, ", "set: truth cannot be taken from the station's own signals; found column Q7, which is outputs.flap [contradiction]"),
    ],
)  # fmt: skip
def test_a6_truth_from_the_station_itself_is_refused(tmp_path: Path, old: str, new: str, answer: str) -> None:
    make(tmp_path, STATION.replace(old, new, 1))
    told = problems(tmp_path)
    assert any(answer in problem for problem in told), told


def test_a_controllers_delays_need_its_scan(tmp_path: Path) -> None:
    stepped = STATION.replace("pulse: 120 ms}", "pulse: 120 ms, delays_in: controller}")
    make(tmp_path, stepped)
    assert problems(tmp_path) == [
        "station.yaml:23:78: outputs.flap.delays_in: how far a controller's delays step is its worst scan, and `scan: {worst: ...}` is not stated [missing-key]"
    ]
    make(tmp_path, stepped.replace("between:", "scan: {worst: 11 ms}\nbetween:"))
    assert suite(tmp_path).station.output("flap").delays_in == "controller"
