"""Facts of a run that the station requires (A36): missing ones are printed as not recorded, never left out."""

from __future__ import annotations

from factory import station

from stationtest.engine import recording
from stationtest.files import run_file
from stationtest.files.tree import parse
from stationtest.model.case import Suite
from stationtest.report import front

REQUIRED = ("who", "lamp_hours", "stage")


def suite(written: bytes) -> Suite:
    facts, problems = run_file.read_run(parse(written, "run.yaml"), REQUIRED)
    assert not problems
    return Suite(folder=".", station=station(required_in_run=REQUIRED), cases=(), run_facts=facts)


def test_a36_what_is_missing_stands_on_page_one_and_among_the_facts() -> None:
    found = suite(b"who: trial crew 1\nambient: hall light\n")
    result = recording.assemble(found, [], {}, selected=[], attempts={}, figures=[])
    told = "The station requires these facts of every run, and run.yaml does not state them: lamp hours and stage."
    assert [caution["text"] for caution in result["cautions"]] == [told]
    assert told in [notice.text for notice in front.notices(dict(result)) if notice.loud]
    facts = {fact.label: fact.value for fact in front.facts({"facts": dict(found.run_facts.facts)})}
    assert (facts["lamp_hours"], facts["Stage"], facts["Temperature"]) == ("not recorded", "not recorded", "not recorded")


def test_what_is_stated_is_no_caution() -> None:
    found = suite(b"who: trial crew 1\nstage: SAT\nlamp_hours: 1200 h\n")
    assert recording.assemble(found, [], {}, selected=[], attempts={}, figures=[])["cautions"] == []


def test_no_file_at_all_records_nothing() -> None:
    assert dict(run_file.no_facts(REQUIRED).facts)["lamp_hours"] is None
