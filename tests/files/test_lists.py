# ruff: noqa: E501 (messages stand whole on one line)
"""requirements.csv, specimens.csv, run.yaml."""

from __future__ import annotations

import pytest

from stationtest.files import run_file, tables
from stationtest.files.tree import parse


def told(problems: list) -> list[str]:  # type: ignore[type-arg]
    return [str(problem) for problem in problems]


def test_requirements() -> None:
    found, problems = tables.requirements(
        '\ufeffid;text;verified by\r\nURS-1;Mounted as drawn;inspection\r\n\r\nURS-2;"a; b";\r\n'.encode(), "r.csv"
    )
    assert not problems
    assert [(r.id, r.text, r.verified_by, r.place.line) for r in found] == [
        ("URS-1", "Mounted as drawn", "inspection", 2),
        ("URS-2", "a; b", None, 4),
    ]


def test_specimens() -> None:
    found, problems = tables.specimens(b"id,target,grade,valid_until\nM1,mint,light limit,2027-01-31\n", "s.csv", ("mint",), {})
    assert not problems
    assert (found[0].id, found[0].target, found[0].grade, found[0].valid_until, found[0].lot) == (
        "M1",
        "mint",
        "light limit",
        "2027-01-31",
        None,
    )


@pytest.mark.parametrize(
    ("data", "answer"),
    [
        (b"", ["r.csv:1: the file is empty; its first line names the columns id, text and verified_by [missing-column]"]),
        (b"id\nA\n", ["r.csv:1: the column `text` is missing; found id [missing-column]"]),
        (
            b"id,text,verifiedby\nA,b,c\n",
            [
                "r.csv:1: there is no column `verifiedby` in this list; did you mean `verified_by`?; allowed id, text and verified_by [unknown-key]"
            ],
        ),
        (b"id,text\nA,b\nA,c\n", ["r.csv:3: id: the id `A` stands twice; the first is in line 2 [duplicate-name]"]),
        (
            b"id,text\nA,b,c\n",
            ["r.csv:2: this line has 3 cells and the header 2; quote text that holds a separator [bad-dialect]"],
        ),
        (b"id,text\nA,\n", ["r.csv:2: text: this cell is empty [bad-value]"]),
        (b"id,text\n\xff,b\n", ["r.csv:2: the file is not UTF-8 text; save it as UTF-8 [unreadable]"]),
        (b'id,text\nA,"b\n', ["r.csv:1: the file cannot be read as a table: unexpected end of data [bad-dialect]"]),
        (
            b"id,text\n" + b"x" * 20_000_000,
            ["r.csv:1: the file is too large; found more than 20000000 bytes; allowed at most 20000000 [too-large]"],
        ),
    ],
)
def test_refusals_of_lists(data: bytes, answer: list[str]) -> None:
    assert told(tables.requirements(data, "r.csv")[1]) == answer


def test_refusals_of_specimens() -> None:
    assert told(tables.specimens(b"id,target,valid_until\nM1,mimt,31.1.2027\n", "s.csv", ("mint", "hibiscus"), {})[1]) == [
        "s.csv:2: target: there is no target of this name; did you mean `mint`?; found mimt; allowed mint, hibiscus [unknown-name]",
        "s.csv:2: valid_until: a date is due here; found 31.1.2027; allowed such as 2027-01-31 [wrong-value]",
    ]


@pytest.mark.parametrize(
    ("row", "answer"),
    [
        ("M1,mint,lihgt limit,,,", "s.csv:2: grade: this is no value of grade; did you mean `light limit`?; found lihgt limit; allowed normal, light limit, dark limit, reject [unknown-name]"),
        ("M1,mint,,splize,,", "s.csv:2: belt_mark: this is no value of belt mark; did you mean `splice`?; found splize; allowed splice, plain [unknown-name]"),
        ("M1,mint,,,2027-01-31,2027-01-30", "s.csv:2: valid_until: this day is before `valid_from`; found 2027-01-30 after 2027-01-31 [contradiction]"),
        ("M1,mint,,,1 May,", "s.csv:2: valid_from: a date is due here; found 1 May; allowed such as 2027-01-31 [wrong-value]"),
    ],
)  # fmt: skip
def test_a30_values_that_the_station_does_not_declare(row: str, answer: str) -> None:
    head = "id,target,grade,belt mark,valid_from,valid_until\n"
    found = tables.specimens((head + row).encode(), "s.csv", ("mint",), {"belt mark": ("splice", "plain")})[1]
    assert told(found) == [answer]


def test_a_station_may_declare_grades_and_columns_of_its_own() -> None:
    head = b"id,target,grade,belt mark,valid_from\nM1,mint,A,splice,2026-01-01\nM2,mint,,,\n"
    found, problems = tables.specimens(head, "s.csv", ("mint",), {"belt mark": ("splice",), "grade": ("A", "B")})
    assert not problems
    assert [(one.grade, one.conditions, one.valid_from) for one in found] == [
        ("A", (("belt mark", "splice"),), "2026-01-01"),
        (None, (), None),
    ]


def test_run_facts() -> None:
    facts, problems = run_file.read_run(parse(b"who: A\ninstruments: [x 1, y 2]\nweather: dry\n", "run.yaml"), ("weather", "lamp hours"))
    assert not problems
    known = dict(facts.facts)
    assert known["who"] == "A" and known["instruments"] == "x 1; y 2" and known["site"] is None and known["weather"] == "dry"
    assert known["lamp hours"] is None  # asked for by the station and not stated: kept, as not recorded (A36)
    assert [key for key, _ in facts.facts][: len(run_file.KNOWN)] == list(run_file.KNOWN)


def test_refusals_of_run_facts() -> None:
    assert told(run_file.read_run(parse(b"- a\n", "run.yaml"), ())[1]) == [
        "run.yaml:1:1: this file is a mapping of facts, such as `who: NAME` [wrong-value]"
    ]
    assert told(run_file.read_run(parse(b"who: {name: A}\n", "run.yaml"), ())[1]) == [
        "run.yaml:1:1: who: this is of the wrong kind; found a mapping; allowed text or a list [wrong-value]"
    ]
