"""The register of specimens (A20) and conditions (A30): validity, grades and lots, counts by condition, warnings.

Days are from the calendar: 2026-03-29 is the day on which clocks in Berlin go from UTC+1 to UTC+2 (tz database).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from factory import PARTS, Did, Table, case, of, run_case, station

from stationtest.engine import recording, register
from stationtest.engine.judging import judge, view_of
from stationtest.model.case import Evidence, Present, RunFacts, Suite
from stationtest.model.observations import SourceObservations
from stationtest.model.station import Specimen

OWN = {"own_channel_only": "yes"}
FEW = Evidence(trials=4)


def four(**first: Any) -> Table:
    """Four clean mint of the specimens M1 and M2 in turn; `first` changes the first presentation."""
    table = Table(station(conditions=(("belt", ("running", "stopped")), ("mark", ("splice", "plain")))))
    for i in range(4):
        more = first if i == 0 else {}
        table.add(
            "mint", 200 * i, 200 * i + 80, **{"did": {"1": Did(on=60)}, "specimen": f"M{i % 2 + 1}", "belt": "running", **more}
        )
    return table


def dated(obs: SourceObservations, origin: str | None, zone: str | None = None) -> SourceObservations:
    return replace(obs, clock=replace(obs.clock, origin=origin, zone=zone))


def judged(obs: SourceObservations, *specimens: Specimen, started: str | None = None, **more: Any) -> dict[str, Any]:
    one = case(of("mint"), FEW, **OWN, **more)
    declared = four().station
    suite = Suite(
        folder=".", station=declared, cases=(one,), specimens=specimens, run_facts=RunFacts(facts=(("started", started),))
    )
    return dict(judge(suite, one, {"r.csv": obs}, PARTS))


def mint(name: str, **more: Any) -> Specimen:
    return Specimen(id=name, target="mint", **more)


# --- validity (A20) -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limits", "origin", "zone", "not_judged"),
    [
        ({"valid_until": "2026-03-01"}, "2026-03-01T08:30:00Z", None, 0),  # the last day still counts
        ({"valid_until": "2026-02-28"}, "2026-03-01T08:30:00Z", None, 2),
        ({"valid_from": "2026-03-01"}, "2026-03-01T00:00:00Z", None, 0),  # and so does the first
        ({"valid_from": "2026-03-02"}, "2026-03-01T23:59:59Z", None, 1),  # M1 comes at 0 and at 0.4 s: midnight UTC lies between
        ({"valid_until": "2026-03-28"}, "2026-03-28T22:59:59.9Z", "Europe/Berlin", 1),  # 23:00 UTC is midnight there
        ({"valid_until": "2026-03-28"}, "2026-03-28T22:59:59.9Z", "UTC", 0),
        ({"valid_until": "9999-12-31"}, "2026-03-01T08:30:00Z", None, 0),
    ],
)  # fmt: skip
def test_a20_a_specimen_outside_its_validity_is_not_judged(
    limits: dict[str, str], origin: str, zone: str | None, not_judged: int
) -> None:
    table = four()
    table.rows[2]["start"], table.rows[2]["end"] = 1400, 1480
    result = judged(dated(table.observations(), origin, zone), mint("M1", **limits), mint("M2"))
    assert (result["not_judged"], result["conforming"]) == (not_judged, 4 - not_judged)
    if not_judged:
        assert "its specimen was used outside its validity" in result["reason"]


def test_a20_what_was_seen_to_be_nonconforming_stays_so() -> None:
    obs = dated(four(did={"3": Did(on=60)}).observations(), "2026-03-01T08:30:00Z")
    result = judged(obs, mint("M1", valid_until="2026-02-28"), mint("M2"))
    assert (result["nonconforming"], result["not_judged"], result["verdict"]) == (1, 1, "fail")


def test_the_day_may_come_from_run_yaml_and_is_asked_for_where_nobody_says_it() -> None:
    old, obs = mint("M1", valid_until="2026-02-28"), four().observations()
    assert judged(obs, old, started="2026-03-01T08:30")["not_judged"] == 2
    assert judged(obs, old, started="2026-02-28")["not_judged"] == 0
    unknown = judged(obs, old, started="a Monday in spring")
    assert unknown["not_judged"] == 0
    suite = Suite(folder=".", station=four().station, cases=(), specimens=(old,))
    (caution,) = [c for c in register.cautions([("r.csv", view_of(suite.station, obs))], suite) if "not checked" in c["title"]]
    assert (
        caution["text"] == "Neither r.csv nor `started` in run.yaml says the day, so the validity of these was not checked: M1."
    )


def test_a20_page_one_names_the_specimen() -> None:
    obs = dated(four().observations(), "2026-03-01T08:30:00Z")
    suite = Suite(
        folder=".", station=four().station, cases=(), specimens=(mint("M1", valid_from="2025-01-01", valid_until="2026-02-28"),)
    )
    result = recording.assemble(suite, [], {"r.csv": obs}, selected=[], attempts={}, figures=[])
    assert [caution["text"] for caution in result["cautions"]] == [
        "In r.csv, presented outside their validity and not judged there: M1 (valid from 2025-01-01 until 2026-02-28) 2 times.",
        "In r.csv, presented and not in the register: M2.",
    ]


def test_a_set_and_a_run_are_not_judged_with_a_specimen_that_is_not_valid() -> None:
    table = four()
    table.add_set(0, 700, {"mint": 1, "chamomile": 1})
    for row in table.rows[:2]:
        row["set"] = 0
    table.signal("output", "box complete", [(100, 700)])
    obs = dated(table.observations(), "2026-03-01T08:30:00Z")
    suite_of = {"specimens": (mint("M1", valid_until="2026-02-28"),)}
    box = case(Present(kind="set", set="full box", which="complete"), Evidence(trials=1), set="complete")
    assert run_case(obs, box, **suite_of)["not_judged"] == 1
    assert run_case(obs, box)["not_judged"] == 0
    levels = case(of("mint"), Evidence(runs=1), drift={"of": "level", "over": "1", "at_most": "3 %"})
    for row in table.rows:
        row["means"] = (0.5, 0.5, 0.5)
    obs = dated(table.observations(), "2026-03-01T08:30:00Z")
    worn = run_case(obs, levels, **suite_of)
    assert (worn["verdict"], run_case(obs, levels)["conforming"]) == ("not judged", 1)
    assert "used outside its validity" in worn["reason"]


def test_a20_a_specimen_that_is_listed_as_another_target_is_an_error() -> None:
    obs = four().observations()
    suite = Suite(folder=".", station=four().station, cases=(), specimens=(Specimen(id="M1", target="hibiscus"), mint("M2")))
    (problem,) = register.contradictions(suite, obs.key, obs.presentations)
    assert (problem.code, problem.place.path) == ("contradiction", "r.csv")
    assert problem.message.startswith(
        "specimen M1 is presented as mint in row 1, at 0.000 s, and the register has it as hibiscus"
    )
    assert not list(register.contradictions(replace(suite, specimens=(mint("M1"), mint("M2"))), obs.key, obs.presentations))


# --- conditions (A30) ---------------------------------------------------------------------------------------------------------

GRADED = (
    mint("M1", grade="light limit", lot="7", conditions=(("mark", "splice"),)),
    mint("M2", grade="normal", lot="8", conditions=(("mark", "plain"),)),
)


@pytest.mark.parametrize(
    ("where", "found"),
    [
        ((("grade", ("light limit",)),), 2),
        ((("grade", ("light limit", "normal")),), 4),
        ((("lot", ("8",)),), 2),
        ((("mark", ("splice",)),), 2),
        ((("mark", ("splice",)), ("belt", ("stopped",))), 1),
        ((("mark", ("plain",)), ("belt", ("stopped",))), 0),
    ],
)
def test_a30_where_over_columns_of_the_recording_and_of_the_register(where: Any, found: int) -> None:
    assert judged(four(belt="stopped").observations(), *GRADED, where=where)["found"] == found


def test_a30_a_value_that_never_occurs_is_a_warning() -> None:
    result = judged(four().observations(), *GRADED, where=(("grade", ("light limit", "dark limit")), ("belt", ("running",))))
    assert (result["found"], result["warnings"]) == (2, ["where: grade dark limit never occurs in these readings"])
    assert judged(four().observations(), *GRADED, where=(("grade", ("light limit",)),))["warnings"] == []


def test_check_warns_of_what_the_register_cannot_give() -> None:
    one = case(of("mint"), where=(("grade", ("dark limit",)), ("belt", ("stopped",))), **OWN)
    suite = Suite(folder=".", station=four().station, cases=(one,), specimens=GRADED)
    (told,) = register.unregistered(suite)
    assert told.endswith("X-01: where: no specimen of the register has grade dark limit")


def test_a30_counts_by_condition() -> None:
    """M1 is nonconforming once, in its first presentation, with the belt stopped."""
    obs = four(belt="stopped", did={"3": Did(on=60)}).observations()
    counts = {(c["condition"], c["value"]): (c["trials"], c["conforming"], c["nonconforming"], c["not_judged"])
              for c in judged(obs, *GRADED)["by_condition"]}  # fmt: skip
    assert counts == {
        ("belt", "stopped"): (1, 0, 1, 0), ("belt", "running"): (3, 3, 0, 0),
        ("grade", "light limit"): (2, 1, 1, 0), ("grade", "normal"): (2, 2, 0, 0),
        ("lot", "7"): (2, 1, 1, 0), ("lot", "8"): (2, 2, 0, 0),
        ("mark", "splice"): (2, 1, 1, 0), ("mark", "plain"): (2, 2, 0, 0),
    }  # fmt: skip


def test_a_set_counts_under_what_its_presentations_agree_in() -> None:
    table = Table(station(conditions=(("belt", ("running", "stopped")),)))
    for box, belts in enumerate((("running", "running"), ("running", "stopped"), ("", ""))):
        table.add_set(1000 * box, 1000 * box + 700, {"mint": 1, "chamomile": 1})
        for k, (target, belt) in enumerate(zip(("mint", "chamomile"), belts, strict=True)):
            table.add(target, 1000 * box + 200 * k, 1000 * box + 200 * k + 80, set=box, belt=belt)
    table.signal("output", "box complete", [(1000 * box + 300, 1000 * box + 700) for box in range(3)])
    box = case(Present(kind="set", set="full box", which="complete"), Evidence(trials=3), set="complete")
    found = {c["value"]: (c["trials"], c["conforming"]) for c in run_case(table, box)["by_condition"]}
    assert found == {"running": (1, 1), "several": (1, 1), "not stated": (1, 1)}
