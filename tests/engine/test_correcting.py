# ruff: noqa: E501 (messages stand whole on one line)
"""Truth that was written down wrongly (A6): corrections laid over it, with verdicts with and without."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from factory import PARTS, Did, Table, case, of, station

from stationtest.engine import correcting, recording
from stationtest.engine.judging import judge
from stationtest.files import corrections
from stationtest.files.names import Names
from stationtest.model.case import Case, Evidence, Present, Suite
from stationtest.model.correction import Correction
from stationtest.model.observations import UNKNOWN_TARGET, SourceObservations

OWN = {"own_channel_only": "yes"}
CONDITIONS = (("belt", ("running", "stopped")),)
NAMES = Names(target=("mint", "hibiscus", "bare belt"), conditions=dict(CONDITIONS))


def three() -> Table:
    """Mint, then what was written down as mint and fires the channel of hibiscus, then mint; rows 1-80, 81-160, 161-240."""
    table = Table(station(conditions=CONDITIONS))
    for k, own in enumerate(("1", "3", "1")):
        table.add("mint", 200 * k, 200 * k + 80, did={own: Did(on=60)}, specimen=f"M{k}", belt="running")
    return table


def observed(table: Table | None = None) -> SourceObservations:
    obs = (table or three()).observations()
    rows = obs.presentations
    return replace(obs, presentations=replace(rows, first_row=80 * rows.first_row))


def corrected(**keys: Any) -> Correction:
    usual = {"recording": "r.csv", "row": 100, "at_ns": None, "what": "target", "was": "mint", "is_": "hibiscus", "by": "A",
             "when": "2026-03-02", "why": "seen on the video"}  # fmt: skip
    return Correction(**{**usual, **keys})


def suite(*found: Correction, cases: tuple[Case, ...] = ()) -> Suite:
    return Suite(folder=".", station=three().station, cases=cases, corrections=found)


def judged(obs: SourceObservations, *found: Correction, one: Case | None = None) -> dict[str, Any]:
    one = one or case(of("mint"), Evidence(trials=2), **OWN)
    return dict(judge(suite(*found, cases=(one,)), one, {"r.csv": obs}, PARTS))


def test_a6_the_verdict_is_given_with_and_without() -> None:
    """With: two clean mint. Without: three mint, of which one fired channel 3."""
    with_it = judged(observed(), corrected())
    assert (with_it["verdict"], with_it["found"], with_it["conforming"]) == ("pass", 2, 2)
    without = with_it["without_corrections"]
    assert (without["verdict"], without["found"], without["nonconforming"]) == ("fail", 3, 1)
    assert "channel 3 was on" in without["reason"] or "channel 1 was" in without["reason"]
    alone = judged(observed())
    assert alone["without_corrections"] is None and alone["verdict"] == "fail"


def test_a6_page_one_says_which_verdicts_rest_on_them() -> None:
    one = case(of("mint"), Evidence(trials=2), **OWN)
    found = suite(corrected(), cases=(one,))
    obs = observed()
    result = recording.assemble(
        found, [judge(found, one, {"r.csv": obs}, PARTS)], {"r.csv": obs}, selected=["X-01"], attempts={}, figures=[]
    )
    told = "1 correction is laid over what was written down; these verdicts rest on them: X-01 (fail without, pass with)."
    assert told in [caution["text"] for caution in result["cautions"]]
    assert result["corrections"][0] == {
        "recording": "r.csv", "where": "row 100", "what": "target", "was": "mint", "is": "hibiscus", "by": "A",
        "when": "2026-03-02", "why": "seen on the video",
    }  # fmt: skip


def test_by_time_and_to_a_target_that_the_recording_never_had() -> None:
    obs = correcting.laid_over(suite(corrected(row=None, at_ns=210_000_000, is_="verbena")), observed())
    assert [obs.presentations.targets[code] for code in obs.presentations.target] == ["mint", "verbena", "mint"]


def test_a6_what_is_not_known_is_no_trial_but_counted() -> None:
    result = judged(observed(), corrected(is_="?"))
    assert (result["found"], result["left_out"]) == (2, [{"why": "what was presented is not known", "n": 1}])
    back = observed(table_with_unknown())
    assert judged(back, corrected(was="?", is_="mint"))["found"] == 3


def table_with_unknown() -> Table:
    table = three()
    table.rows[1]["target"], table.rows[1]["status"] = "?", UNKNOWN_TARGET
    return table


def test_specimens_and_conditions_too() -> None:
    obs = correcting.laid_over(
        suite(corrected(what="specimen", was="M1", is_="M9"), corrected(what="belt", was="running", is_="stopped")), observed()
    )
    shown = obs.presentations
    assert [shown.specimens[code] for code in shown.specimen] == ["M0", "M9", "M2"]
    words, codes = shown.conditions["belt"]
    assert [words[code] for code in codes] == ["running", "stopped", "running"]


def test_a_set_is_what_it_holds_in_truth() -> None:
    """Written down as mint and chamomile, complete; in truth hibiscus lay there. Incomplete without anything being read again."""
    table = Table(station(conditions=CONDITIONS))
    table.add_set(0, 700, {"mint": 1, "chamomile": 1})
    table.add("mint", 100, 180, set=0)
    table.add("chamomile", 300, 380, set=0)
    obs = observed(table)
    assert obs.sets.complete.tolist() == [True]
    made = correcting.laid_over(suite(corrected(row=81, was="chamomile")), obs)
    assert made.sets.complete.tolist() == [False]
    assert dict(zip(made.sets.targets, made.sets.counts[0].tolist(), strict=True))["hibiscus"] == 1
    asked = case(Present(kind="set", set="full box", which="lacking", lacking="chamomile"), Evidence(trials=1), set="incomplete")
    table.signal("output", "box complete", [])
    assert judged(observed(table), corrected(row=81, was="chamomile"), one=asked)["found"] == 0, "something foreign lay in it"
    unknown = correcting.laid_over(suite(corrected(row=81, was="chamomile", is_="?")), obs)
    assert unknown.sets.status.tolist() == [UNKNOWN_TARGET]


def test_the_observations_themselves_stay_as_they_are() -> None:
    obs = observed()
    before = obs.presentations.target.copy()
    assert correcting.laid_over(suite(corrected()), obs) is not obs
    assert (obs.presentations.target == before).all()
    assert correcting.laid_over(suite(corrected(recording="other.csv")), obs) is obs
    assert correcting.laid_over(suite(), obs) is obs


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (corrected(was="hibiscus", is_="mint"), "`was` does not fit: at row 100 of r.csv the target is mint; found hibiscus"),
        (corrected(what="specimen", was="", is_="M9"), "`was` does not fit: at row 100 of r.csv the specimen is M1; found nothing"),
        (corrected(row=241), "nothing is presented there in r.csv, at row 241"),
        (corrected(row=None, at_ns=90_000_000), "nothing is presented there in r.csv, at 0.090 s"),
    ],
)
def test_corrections_that_do_not_fit(found: Correction, told: str) -> None:
    (problem,) = correcting.problems(suite(found), observed())
    assert problem.message.startswith(told)


def test_one_presentation_is_corrected_once() -> None:
    (problem,) = correcting.problems(suite(corrected(), corrected(row=160, is_="verbena")), observed())
    assert problem.message.startswith("this presentation is corrected already") and problem.code == "duplicate-name"
    assert not correcting.problems(suite(corrected(), corrected(row=161, is_="verbena")), observed())


# --- the file ----------------------------------------------------------------------------------------------------------------------

HEAD = "recording,row,time,what,was,is,by,when,why\n"


def read(row: str) -> tuple[tuple[Correction, ...], list[str]]:
    found, problems = corrections.read((HEAD + row).encode(), "c.csv", NAMES, "bare belt", ("r.csv",))
    return found, [str(problem) for problem in problems]


def test_the_file() -> None:
    (one,), problems = read('r.csv,,83.412,,mint,?,A,2026-03-02,"not seen; covered"\n')
    assert not problems
    assert (one.at_ns, one.row, one.what, one.was, one.is_, one.why, one.place.line) == (
        83_412_000_000, None, "target", "mint", "?", "not seen; covered", 2,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("r.cvs,1,,,mint,?,A,B,C", "c.csv:2: recording: no case reads a recording of this name; did you mean `r.csv`?; found r.cvs; allowed r.csv [unknown-name]"),
        ("r.csv,,,,mint,?,A,B,C", "c.csv:2: row: a correction says where by exactly one of `row` and `time` [missing-key]"),
        ("r.csv,1,2,,mint,?,A,B,C", "c.csv:2: row: a correction says where by exactly one of `row` and `time` [contradiction]"),
        ("r.csv,0,,,mint,?,A,B,C", "c.csv:2: row: the number of a row is due here, the first row of data is 1; found 0 [wrong-value]"),
        ("r.csv,,noon,,mint,?,A,B,C", "c.csv:2: time: a time in seconds is due here, such as 83.412; found noon [wrong-value]"),
        ("r.csv,1,,set,1,2,A,B,C", "c.csv:2: what: this cannot be corrected; found set; allowed target, specimen, belt [unknown-name]"),
        ("r.csv,1,,,mint,hibicsus,A,B,C", "c.csv:2: is: this is no value of target; did you mean `hibiscus`?; found hibicsus; allowed mint, hibiscus, ? [unknown-name]"),
        ("r.csv,1,,belt,running,walking,A,B,C", "c.csv:2: is: this is no value of belt; found walking; allowed running, stopped [unknown-name]"),
        ("r.csv,1,,,mint,mint,A,B,C", "c.csv:2: is: this corrects nothing; found mint in both [contradiction]"),
        ("r.csv,1,,,mint,?,,B,C", "c.csv:2: by: this cell is empty [bad-value]"),
        ("r.csv,1,,,mint,?,A,B,", "c.csv:2: why: this cell is empty [bad-value]"),
        ("r.csv,1,,,mint,bare belt,A,B,C", "c.csv:2: is: this is no value of target; found bare belt; allowed mint, hibiscus, ? [unknown-name]"),
    ],
)  # fmt: skip
def test_rows_that_are_refused(row: str, told: str) -> None:
    assert read(row)[1] == [told]
