# ruff: noqa: E501 (messages stand whole on one line)
"""Case files to the model, and every problem of the table in case_problems.py."""

from __future__ import annotations

from pathlib import Path

import pytest
from case_problems import CASE_PROBLEMS
from station_folder import CASES, make, problems, suite

from stationtest.model.case import Case

HEAD = """\
readings: [../recordings/day1.csv]
evidence: {reliability: 95 %, confidence: 95 %, of: presentations}
cases:
"""


@pytest.mark.parametrize(("old", "new", "answer"), CASE_PROBLEMS, ids=[new[:30] for _, new, _ in CASE_PROBLEMS])
def test_problems(tmp_path: Path, old: str, new: str, answer: list[str]) -> None:
    assert old in CASES
    make(tmp_path, cases=CASES.replace(old, new, 1))
    (tmp_path / "requirements.csv").write_text("id,text\nURS-12,a\nURS-13,b\n", encoding="utf-8")
    assert problems(tmp_path) == answer


def cases(folder: Path, text: str) -> tuple[Case, ...]:
    return suite(make(folder, cases=HEAD + text)).cases


def test_the_model(tmp_path: Path) -> None:
    (case,) = suite(make(tmp_path)).cases
    assert (case.id, case.unit, case.readings, case.requirements) == (
        "REC-01",
        "presentation",
        ("recordings/day1.csv",),
        ("URS-12", "URS-13"),
    )
    assert [label for label, _ in case.strata] == ["mint", "chamomile"]  # A2: evidence of each by itself
    assert (case.evidence.reliability, case.evidence.confidence, case.evidence.of) == (0.95, 0.95, "presentations")
    assert (case.evidence.nonconforming_at_most, case.evidence.not_judged_at_most, case.evidence.pooled) == (0, 0.0, False)
    assert case.expect[0].name == "own_channel_only" and case.expect[0].written == "yes" and type(case.expect[0].written) is str
    assert (case.place.path, case.place.line, case.place.column) == (str(tmp_path / "cases" / "a.case.yaml"), 4, 3)
    assert case.written["present"] == ["mint", "chamomile"] and case.written["evidence"]["reliability"] == "95 %"


def test_rows_replace_keys_whole(tmp_path: Path) -> None:  # Y19
    row, other = cases(
        tmp_path,
        """\
  REC-03:
    title: T
    present: mint
    where: {height: low, grade: normal}
    expect: {own_channel_only: yes}
    rows:
      - {id: light limit, where: {grade: light limit}}
      - present: chamomile
        expect: {silent: [1]}
        evidence: {trials: 20}
""",
    )
    assert (row.id, other.id) == ("REC-03.light limit", "REC-03.chamomile")
    assert row.where == (("grade", ("light limit",)),)  # not merged with the case's
    assert [expected.name for expected in other.expect] == ["silent"] and other.evidence.trials == 20
    assert (row.place.line, other.place.line) == (10, 11)


def test_an_error_of_a_base_is_told_once_for_all_its_rows(tmp_path: Path) -> None:
    make(
        tmp_path,
        cases=HEAD
        + """\
  REC-03:
    title: T
    present: mint
    expect: {silent: [9]}
    rows: [{id: a}, {id: b}, {id: c}]
""",
    )
    assert problems(tmp_path) == [
        "cases/a.case.yaml:7:23: cases.REC-03.a.expect.silent.1: there is no channel of this name; found 9; allowed 1, 2 [unknown-name]"
    ]


@pytest.mark.parametrize(
    ("present", "labels"),
    [
        ("{set: full box, lacking: each}", ["full box, lacking mint", "full box, lacking chamomile"]),  # A14
        ("{set: full box, lacking: mint}", ["full box, lacking mint"]),
        ("{set: full box, complete: yes}", ["full box, complete"]),
        ("{set: full box, contents: {mint: 2}}", ["full box with 2 mint"]),
        ("{set: full box, extra: any}", ["full box with anything in it"]),
    ],
)
def test_sets_and_their_strata(tmp_path: Path, present: str, labels: list[str]) -> None:
    (case,) = cases(
        tmp_path, f"  S:\n    title: T\n    present: {present}\n    expect: {{outputs: {{flap: {{is: on, from: box out}}}}}}\n"
    )
    assert [label for label, _ in case.strata] == labels
    assert case.unit == "set"  # an output is asked of what is presented


def test_pooled_evidence_is_one_stratum(tmp_path: Path) -> None:
    text = "  S:\n    title: T\n    present: [mint, chamomile]\n    expect: {own_channel_only: yes}\n    evidence: {trials: 59, pooled: yes}\n"
    (case,) = cases(tmp_path, text)
    assert [(label, present.targets) for label, present in case.strata] == [("mint, chamomile", ("mint", "chamomile"))]


def test_every_kind_of_evidence(tmp_path: Path) -> None:
    found = cases(
        tmp_path,
        """\
  A:
    title: T
    present: {between: bare belt}
    expect: {no_channel: yes}
    evidence: {duration: 10 min, events: none, confidence: 95 %}
  B:
    title: T
    present: mint
    expect: {channels: 1}
    evidence: {reliability: 85 %, confidence: 90 %, of: specimens, presented: 5, specimens: at least 5, nonconforming: at most 1,
               not_judged: at most 5 %}
""",
    )
    assert found[0].evidence.duration_ns == 600_000_000_000 and found[0].strata[0][0] == "between: bare belt"
    evidence = found[1].evidence
    assert (evidence.presented, evidence.specimens_at_least, evidence.nonconforming_at_most, evidence.not_judged_at_most) == (
        5,
        5,
        1,
        0.05,
    )


def test_ids_are_unique_over_the_folder(tmp_path: Path) -> None:
    make(tmp_path)
    (tmp_path / "cases" / "b.case.yaml").write_text(CASES, encoding="utf-8")
    assert problems(tmp_path) == [
        "cases/b.case.yaml:4:3: cases.REC-01: the id `REC-01` is given already, in cases/a.case.yaml:4:3; ids are unique over the "
        "station folder [duplicate-name]".replace("{tmp_path}/", "")
    ]


def test_all_problems_of_all_files_come_in_one_go(tmp_path: Path) -> None:
    make(tmp_path, cases=CASES.replace("own_channel_only", "own_chanel_only"))
    (tmp_path / "station.yaml").write_text(
        (tmp_path / "station.yaml").read_text().replace("pulse: 120 ms", "pulse: 120"), encoding="utf-8"
    )
    (tmp_path / "specimens.csv").write_text("id,target\nM1,mimt\n", encoding="utf-8")
    (tmp_path / "run.yaml").write_text("who:\n", encoding="utf-8")
    assert [line.split(":")[0] for line in problems(tmp_path)] == [
        "cases/a.case.yaml",
        "run.yaml",
        "specimens.csv",
        "station.yaml",
    ]


def test_a_link_that_leaves_the_folder(tmp_path: Path) -> None:
    outside = tmp_path / "outside.csv"
    outside.write_text("t,r,g,b,part\n", encoding="utf-8")
    folder = tmp_path / "station"
    folder.mkdir()
    make(folder, cases=CASES.replace("day1.csv", "link.csv"))
    (folder / "recordings" / "link.csv").symlink_to(outside)
    assert problems(folder) == [
        "cases/a.case.yaml:1:12: readings: this path leaves the station folder; found recordings/link.csv; allowed files "
        "inside it, or --allow-outside [outside-folder]"
    ]
    assert suite(folder, allow_outside=True).cases[0].readings == ("recordings/link.csv",)
