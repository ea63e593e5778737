"""Verdicts as lines in a terminal: one a case, and the reason of each that is not a pass."""

from __future__ import annotations

from typing import Any, cast

from stationtest.commands.terminal import table
from stationtest.model.record import CaseResult, Record
from stationtest.report.front import in_a_line, not_covered


def print_facts(record: Record) -> None:
    """What was judged, when, by which version; what nobody wrote down is said to be missing."""
    run, result = record["run"], record["result"]
    station = result["station"]
    print(f"{station['name']}: {station['title'] or 'no title'}, drawing {station['drawing'] or 'not recorded'}")
    print(f"run {run['id']}, started {run['started']}, by stationtest {run['tool']['version']}, door {run['door']}")
    for name, fact in run["facts"].items():
        print(f"{name.replace('_', ' ')}: {fact or 'not recorded'}")
    print(f"selftest: {'passed' if run['selftest']['passed'] else 'FAILED'}; result sha256 {record['result_sha256']}")
    print()


def print_verdicts(record: Record) -> None:
    """The table of cases, the reasons, and the verdict on the whole."""
    result = record["result"]
    cases, counts = [case for case in result["cases"] if case["state"] == "executed"], result["counts"]
    rows = [(case["verdict"] or "", case["id"], _conforming(case), case["basis"], case["title"]) for case in cases]
    table(("verdict", "case", "conforming", "basis", "title"), rows)
    for number, words in (
        (counts["planned"] - counts["selected"], "not selected"),
        (counts["selected"] - counts["executed"], "selected and not executed"),
    ):
        if number:
            print(f"{number} {words}")
    others = [case for case in cases if case["verdict"] != "pass"]
    if others:
        print()
    for case in others:
        print(f"{case['verdict']}: {case['id']} ({case['file']}:{case['line']}): {case['reason']}")
    for case in cases:
        for text in case.get("warnings", []):
            print(f"warning: {case['id']}: {text}")
    for caution in result.get("cautions", []):
        print(f"caution: {caution['title']}: {caution['text']}")
    print()
    counted = (
        f"{counts['passed']} pass, {counts['failed']} fail, {counts['not_shown']} not shown, {counts['not_judged']} not judged, "
        f"of {counts['planned']} planned"
    )
    plain = cast("dict[str, Any]", record)
    print(f"{in_a_line(plain)}: {counted}")
    uncovered = not_covered(plain["result"])
    if uncovered:
        print(uncovered.removesuffix("."))
    if result["partial"]:
        print("partial: " + " ".join(result["partial_because"]))
    if result["simulated"]:
        print("simulated: some or all readings were made by a program")


def _conforming(case: CaseResult) -> str:
    """`59 of 61`, and how many of the others nobody could judge."""
    text = f"{case['conforming']} of {case['found']}"
    return f"{text}, {case['not_judged']} not judged" if case["not_judged"] else text
