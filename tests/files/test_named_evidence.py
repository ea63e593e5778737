# ruff: noqa: E501 (messages stand whole on one line)
"""Evidence by a name: defined once in station.yaml, so that nobody types 99/95 forty times and one of them differently (L4)."""

from __future__ import annotations

from pathlib import Path

from station_folder import CASES, STATION, make, problems, suite

CRITICAL = "evidence:\n  critical: {reliability: 99 %, confidence: 95 %, of: presentations, specimens: at least 5}\n"
NAMED = CASES.replace("evidence: {reliability: 95 %, confidence: 95 %, of: presentations}", "evidence: critical")


def test_a_file_and_a_case_take_it_by_name(tmp_path: Path) -> None:
    (case,) = suite(make(tmp_path, station=STATION + CRITICAL, cases=NAMED)).cases
    assert (case.evidence.reliability, case.evidence.specimens_at_least, case.evidence.name) == (0.99, 5, "critical")
    own = CASES.replace("    present:", "    evidence: critical\n    present:")
    (case,) = suite(make(tmp_path, station=STATION + CRITICAL, cases=own)).cases
    assert (case.evidence.reliability, case.evidence.name) == (0.99, "critical")  # lies over that of the file


def test_a_name_that_is_not_defined(tmp_path: Path) -> None:
    make(tmp_path, station=STATION + CRITICAL, cases=NAMED.replace("critical", "critcal"))
    assert next(line for line in problems(tmp_path) if "critcal" in line) == (
        "cases/a.case.yaml:2:11: evidence: there is no evidence of this name; did you mean `critical`?; found critcal; allowed critical [unknown-name]"
    )


def test_what_is_wrong_with_it_is_told_once_where_it_stands(tmp_path: Path) -> None:
    make(tmp_path, station=STATION + CRITICAL.replace(", of: presentations", ""), cases=NAMED)
    assert problems(tmp_path) == [
        "station.yaml:31:3: evidence.critical.of: this key is missing; it says of what the reliability is claimed; allowed presentations, specimens [missing-key]"
    ]


def test_a_demand_that_does_not_fit_the_case_is_told_at_the_case(tmp_path: Path) -> None:
    make(tmp_path, station=STATION + "evidence: {critical: {runs: 1}}\n", cases=NAMED)
    assert problems(tmp_path) == [
        "cases/a.case.yaml:2:11: cases.REC-01.evidence: `runs` counts whole runs, and this case is judged on each presentation [contradiction]"
    ]
